package inventory_test

import (
	"errors"
	"testing"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/services/inventory"
)

func TestReceivingDecidesEachLine(t *testing.T) {
	t.Parallel()
	five := func(x float64) *float64 { return &x }
	for name, c := range map[string]struct {
		line     inventory.ReceiptLine
		decision inventory.Decision
		reason   string
		refused  string // reason of the error, when the receipt itself is wrong
	}{
		"at the limit":                        {line: inventory.ReceiptLine{LineID: "1", Mass: kilos(9), Temperature: five(5)}, decision: inventory.Accepted},
		"above the limit, whatever is wanted": {line: inventory.ReceiptLine{LineID: "1", Mass: kilos(9), Temperature: five(5.1), Decision: inventory.Accepted}, decision: inventory.Rejected, reason: "5.1 °C is above the limit of 5 °C"},
		"not measured":                        {line: inventory.ReceiptLine{LineID: "1", Mass: kilos(9)}, refused: inventory.DeliveryInvalid},
		"spoiled":                             {line: inventory.ReceiptLine{LineID: "1", Mass: kilos(9), Temperature: five(2), Condition: inventory.Spoiled}, decision: inventory.Rejected, reason: "goods are spoiled"},
		"damaged packaging":                   {line: inventory.ReceiptLine{LineID: "1", Mass: kilos(9), Temperature: five(2), Condition: inventory.PackagingDamaged}, decision: inventory.Accepted},
		"past its day":                        {line: inventory.ReceiptLine{LineID: "1", Mass: kilos(9), Temperature: five(2), BestBefore: "2026-03-09"}, decision: inventory.Rejected, reason: "last day of use 2026-03-09 was over on arrival"},
		"on its last day":                     {line: inventory.ReceiptLine{LineID: "1", Mass: kilos(9), Temperature: five(2), BestBefore: "2026-03-10"}, decision: inventory.Accepted},
		"nothing came":                        {line: inventory.ReceiptLine{LineID: "1"}, decision: inventory.Missing, reason: "nothing came"},
		"sent back by the receiver":           {line: inventory.ReceiptLine{LineID: "1", Mass: kilos(9), Decision: inventory.Rejected, DecisionReason: "wrong cut"}, decision: inventory.Rejected, reason: "wrong cut"},
		"sent back without a word":            {line: inventory.ReceiptLine{LineID: "1", Mass: kilos(9), Decision: inventory.Rejected}, refused: inventory.DeliveryInvalid},
		"unknown line":                        {line: inventory.ReceiptLine{LineID: "7", Mass: kilos(9)}, refused: inventory.DeliveryInvalid},
		"a day that does not exist":           {line: inventory.ReceiptLine{LineID: "1", Mass: kilos(9), Temperature: five(2), BestBefore: "2026-02-30"}, refused: inventory.DateInvalid},
		"a code that no barcode carries":      {line: inventory.ReceiptLine{LineID: "1", Mass: kilos(9), Temperature: five(2), SupplierLot: "Küche 7"}, refused: inventory.DeliveryInvalid},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := newKitchen(t)
			d, err := k.CreateDelivery(k.ctx, site, "d1", &inventory.Delivery{Supplier: site + "/suppliers/marrow", ExpectedDate: "2026-03-10", Lines: []inventory.DeliveryLine{{Item: item("bones"), Expected: kilos(10)}}})
			k.must(err)
			d, err = k.ReceiveDelivery(k.ctx, inventory.Receipt{Delivery: d.Name, Lines: []inventory.ReceiptLine{c.line}})
			if c.refused != "" {
				k.refused(err, c.refused)
				if d, err = k.Delivery(k.ctx, site+"/deliveries/d1"); err != nil || d.State != inventory.DeliveryExpected {
					t.Errorf("a refused receipt left %v, %v", d, err)
				}
				return
			}
			k.must(err)
			l := d.Lines[0]
			if l.Decision != c.decision || l.DecisionReason != c.reason || (l.Lot != "") != (c.decision == inventory.Accepted) {
				t.Errorf("got %s %q lot %q", l.Decision, l.DecisionReason, l.Lot)
			}
			rejections := 0
			for _, e := range k.events.events {
				if _, ok := e.(inventory.DeliveryLineRejected); ok {
					rejections++
				}
			}
			if (rejections == 1) != (c.decision == inventory.Rejected) {
				t.Errorf("%d rejections were told", rejections)
			}
			_, err = k.ReceiveDelivery(k.ctx, inventory.Receipt{Delivery: d.Name, Lines: []inventory.ReceiptLine{c.line}})
			k.refused(err, inventory.DeliveryNotExpected, "received already")
			k.booksAreRight()
		})
	}
}

func TestGoodsThatWereNotAnnounced(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	d, err := k.CreateDelivery(k.ctx, site, "d1", &inventory.Delivery{Supplier: site + "/suppliers/marrow", ExpectedDate: "2026-03-10", Lines: []inventory.DeliveryLine{{Item: item("bones"), Expected: kilos(10)}}})
	k.must(err)
	temp := 3.0
	d, err = k.ReceiveDelivery(k.ctx, inventory.Receipt{Delivery: d.Name, Lines: []inventory.ReceiptLine{{Item: item("celery"), Mass: kilos(2)}, {Item: item("bones"), Mass: kilos(4), Temperature: &temp, SupplierLot: "A/1"}}})
	k.must(err)
	if len(d.Lines) != 3 || d.Lines[0].Decision != inventory.Missing || d.Lines[1].Decision != inventory.Accepted || d.Lines[2].Decision != inventory.Accepted {
		t.Fatalf("lines %+v", d.Lines)
	}
	l, err := k.Lot(k.ctx, d.Lines[2].Lot)
	k.must(err)
	if l.Code != "A/1" || l.Released || l.ReleaseRequired || l.Places[0].Location != location("cold") || l.UseBy != "2026-03-13" {
		t.Errorf("lot %+v", l.Lot)
	}
}

func TestTimesAndNamesAreChecked(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	b1 := k.receive("bones", 10, "b1", "")
	in := []inventory.ConsumptionInput{{Item: item("bones"), Mass: kilos(1)}}
	_, _, err := k.ConsumeStock(k.ctx, inventory.Consumption{Site: site, Batch: batch("one"), Time: noon.Add(3 * time.Minute), Inputs: in})
	k.refused(err, inventory.TimeInFuture, "move_time", "12:03")
	move, _, err := k.ConsumeStock(k.ctx, inventory.Consumption{Site: site, Batch: batch("one"), Time: noon.Add(-5 * time.Hour), Inputs: in})
	k.must(err)
	if !move.MoveTime.Equal(noon.Add(-5*time.Hour)) || !move.RecordTime.Equal(noon) || move.Actor != "ada" {
		t.Errorf("a late entry keeps both times: %+v", move)
	}
	_, _, err = k.ConsumeStock(k.ctx, inventory.Consumption{Site: site, Batch: "sites/other/batches/one", Inputs: in})
	k.refused(err, inventory.WrongSite, "sites/other")
	_, _, err = k.ConsumeStock(k.ctx, inventory.Consumption{Site: site, Batch: batch("one"), Run: batch("two") + "/runs/simmer", Inputs: in})
	k.refused(err, inventory.RequestInvalid, "is not a run of")
	k.refused(k.consume("one", "celery", 1, b1), inventory.LotWrongItem, "b1", "celery")
	_, err = k.CreateItem(k.ctx, site, "Bad Id", &inventory.Item{DisplayName: "x", Kind: inventory.Made})
	k.refused(err, inventory.NameInvalid, "Bad Id")
	_, err = k.CreateItem(k.ctx, site, "", &inventory.Item{DisplayName: "Pouch", Kind: inventory.Pack, GTIN: "09520123456789", Density: 9})
	k.refused(err, inventory.ItemInvalid)
	var e *apierr.Error
	if errors.As(err, &e); len(e.Violations) != 3 {
		t.Errorf("faults named: %v", e.Violations)
	}
	i, err := k.CreateItem(k.ctx, site, "", &inventory.Item{DisplayName: "Crème fraîche 30 %", Kind: inventory.Purchased, Active: true})
	k.must(err)
	if i.Name != item("cr-me-fra-che-30") {
		t.Errorf("name %s", i.Name)
	}
	_, err = k.UpdateItem(k.ctx, item("bones"), "", func(i *inventory.Item) error { i.Kind = inventory.Made; return nil })
	k.refused(err, inventory.ItemInvalid)
	_, err = k.UpdateItem(k.ctx, item("bones"), "stale", func(*inventory.Item) error { return nil })
	k.refused(err, inventory.EtagMismatch, "read it again")
}

// The day ends in the kitchen, not in Greenwich.
func TestUseByDaysEndInTheKitchensTimeZone(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	_, err := k.UpdatePolicy(k.ctx, inventory.PolicyName(site), "", func(p *inventory.Policy) error { p.TimeZone = "America/New_York"; return nil })
	k.must(err)
	b1 := k.receive("bones", 10, "b1", "2026-03-10")
	k.clock.Set(time.Date(2026, 3, 11, 3, 59, 0, 0, time.UTC)) // 23:59 on 10 March in New York, daylight saving
	k.must(k.consume("one", "bones", 1, b1))
	k.clock.Set(time.Date(2026, 3, 11, 4, 1, 0, 0, time.UTC))
	k.refused(k.consume("one", "bones", 1, b1), inventory.LotExpired, "2026-03-10")
	_, err = k.UpdatePolicy(k.ctx, inventory.PolicyName(site), "", func(p *inventory.Policy) error { p.TimeZone = "Mars/Base"; return nil })
	k.refused(err, inventory.StockPolicyInvalid)
}

// A generated lot name once ran into one that a person had chosen, for ever.
func TestGeneratedLotNamesLeaveChosenOnesOut(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.receive("bones", 1, "l260310-0002", "")
	names := map[string]bool{}
	for range 3 {
		names[k.receive("bones", 1, "", "")] = true
	}
	if len(names) != 3 || names[site+"/lots/l260310-0002"] {
		t.Errorf("names %v", names)
	}
}
