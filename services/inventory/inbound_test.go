package inventory_test

import (
	"slices"
	"testing"
	"time"

	"rondeau.internal/services/inventory"
)

func TestProposedPurchasesGatherBySupplierAndDay(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	propose := func(id, what, day string) {
		k.must(k.ProposePurchase(k.ctx, inventory.Purchase{Name: site + "/plans/w/purchases/" + id, Item: item(what), Supplier: site + "/suppliers/marrow", Mass: kilos(20), Date: day}))
	}
	for range 2 {
		propose("1", "bones", "2026-03-11")
		propose("2", "celery", "2026-03-11")
		propose("3", "bones", "2026-03-12")
	}
	ds, err := k.Deliveries(k.ctx, inventory.ListQuery{Site: site, Limit: 10})
	k.must(err)
	if len(ds) != 2 || len(ds[0].Lines) != 2 || ds[0].Lines[1].Purchase != site+"/plans/w/purchases/2" || ds[1].ExpectedDate != "2026-03-12" {
		t.Fatalf("deliveries %+v", ds)
	}
	summary, err := k.SummarizeStock(k.ctx, inventory.StockQuery{Site: site, Items: []string{item("bones")}})
	k.must(err)
	stock := summary.Items
	if len(stock) != 1 || len(stock[0].Expected) != 2 || stock[0].Expected[0].Mass != kilos(20) || stock[0].Expected[0].Date != "2026-03-11" {
		t.Errorf("stock %+v", stock[0])
	}
	temp := 2.0
	_, err = k.ReceiveDelivery(k.ctx, inventory.Receipt{Delivery: ds[0].Name, Lines: []inventory.ReceiptLine{{LineID: "1", Mass: kilos(19), Temperature: &temp}}})
	k.must(err)
	propose("1", "bones", "2026-03-11") // heard again after the goods came
	propose("4", "bones", "2026-03-11") // more for the same day
	ds, err = k.Deliveries(k.ctx, inventory.ListQuery{Site: site, Limit: 10, Filter: "state = EXPECTED"})
	k.must(err)
	if len(ds) != 2 || len(ds[0].Lines) != 1 {
		t.Errorf("deliveries %+v", ds)
	}
	err = k.ProposePurchase(k.ctx, inventory.Purchase{Name: site + "/plans/w/purchases/9", Item: item("nothing"), Mass: kilos(1), Date: "2026-03-11"})
	k.refused(err, inventory.ItemMissing)
}

func TestThePurchasesOfWhichNoDeliveryWasMadeAreTold(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	purchase := func(id string) string { return site + "/plans/w/purchases/" + id }
	ask := func() []string {
		t.Helper()
		sum, err := k.SummarizeStock(k.ctx, inventory.StockQuery{Site: site, Purchases: []string{purchase("1"), purchase("2")}})
		k.must(err)
		return sum.UnknownPurchases
	}
	if got := ask(); !slices.Equal(got, []string{purchase("1"), purchase("2")}) {
		t.Errorf("before any is heard of, unknown are %v", got)
	}
	k.must(k.ProposePurchase(k.ctx, inventory.Purchase{Name: purchase("1"), Item: item("bones"), Supplier: site + "/suppliers/marrow", Mass: kilos(20), Date: "2026-03-11"}))
	if got := ask(); !slices.Equal(got, []string{purchase("2")}) {
		t.Errorf("unknown are %v", got)
	}
	ds, err := k.Deliveries(k.ctx, inventory.ListQuery{Site: site, Limit: 10})
	k.must(err)
	temp := 2.0
	_, err = k.ReceiveDelivery(k.ctx, inventory.Receipt{Delivery: ds[0].Name, Lines: []inventory.ReceiptLine{{LineID: "1", Mass: kilos(19), Temperature: &temp}}})
	k.must(err)
	if got := ask(); !slices.Equal(got, []string{purchase("2")}) {
		t.Errorf("after the goods came, unknown are %v", got)
	}
	_, err = k.SummarizeStock(k.ctx, inventory.StockQuery{Site: site, Purchases: []string{"sites/other/plans/w/purchases/1"}})
	k.refused(err, inventory.WrongSite)
}

func TestACancelledBatchGivesItsStockBack(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.receive("bones", 10, "b1", "")
	_, err := k.ReserveStock(k.ctx, site, "r1", batch("one"), []inventory.ItemMass{{Item: item("bones"), Mass: kilos(9)}})
	k.must(err)
	k.refused(k.consume("two", "bones", 2, ""), inventory.StockShort)
	for range 2 {
		k.must(k.CancelBatch(k.ctx, batch("one")))
	}
	k.must(k.consume("two", "bones", 2, ""))
	r, err := k.ReleaseReservation(k.ctx, site+"/reservations/r1")
	k.must(err)
	if r.State != inventory.ReservationReleased || r.Lines[0].Remaining != 0 {
		t.Errorf("reservation %+v", r)
	}
	k.booksAreRight()
}

func TestCountsAndWasteShortenPromises(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	b1 := k.receive("bones", 10, "b1", "")
	_, err := k.ReserveStock(k.ctx, site, "r1", batch("one"), []inventory.ItemMass{{Item: item("bones"), Mass: kilos(4)}})
	k.must(err)
	k.clock.Advance(time.Second)
	_, err = k.ReserveStock(k.ctx, site, "r2", batch("two"), []inventory.ItemMass{{Item: item("bones"), Mass: kilos(5)}})
	k.must(err)
	c, err := k.AdjustStock(k.ctx, inventory.Count{Lot: b1, Location: location("cold"), Counted: kilos(6), Reason: "counted twice"})
	k.must(err)
	if len(c.Shortened) != 1 || c.Shortened[0] != site+"/reservations/r2" || c.Lot.Reserved != kilos(6) {
		t.Errorf("shortened %v, reserved %v", c.Shortened, c.Lot.Reserved)
	}
	m, err := k.MassBalance(k.ctx, b1)
	k.must(err)
	if m.Unexplained != kilos(4) || m.Recovery() != 60 {
		t.Errorf("balance %+v", m)
	}
	c, err = k.AdjustStock(k.ctx, inventory.Count{Lot: b1, Location: location("cold"), Counted: kilos(6), Reason: "counted again"})
	k.must(err)
	if c.Move != nil {
		t.Error("a count that changes nothing wrote a move")
	}
	_, err = k.AdjustStock(k.ctx, inventory.Count{Lot: b1, Location: location("cold"), Counted: kilos(5)})
	k.refused(err, inventory.RequestInvalid, "say why")
	c, err = k.DiscardLot(k.ctx, inventory.Discarding{Lot: b1, Reason: "spoiled"})
	k.must(err)
	if c.Lot.OnHand != 0 || c.Lot.Reserved != 0 || len(c.Shortened) != 2 {
		t.Errorf("after discarding: %+v, %v", c.Lot.Lot, c.Shortened)
	}
	_, err = k.DiscardLot(k.ctx, inventory.Discarding{Lot: b1, Reason: "spoiled"})
	k.refused(err, inventory.StockShort, "nothing")
	k.booksAreRight()
}

func TestSummaryTellsPartsApart(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.receive("bones", 10, "old", "2026-03-10")
	held := k.receive("bones", 20, "held", "")
	k.receive("bones", 30, "good", "2026-03-20")
	k.must(k.NoteHold(k.ctx, inventory.Hold{Name: site + "/holds/h", Subject: held, PlaceTime: noon}))
	k.clock.Advance(24 * time.Hour)
	_, err := k.ReserveStock(k.ctx, site, "r", batch("one"), []inventory.ItemMass{{Item: item("bones"), Mass: kilos(5)}})
	k.must(err)
	k.must(k.consume("two", "bones", 7, ""))
	summary, err := k.SummarizeStock(k.ctx, inventory.StockQuery{Site: site})
	k.must(err)
	for _, r := range summary.Items {
		if r.Item != item("bones") {
			continue
		}
		if r.OnHand != kilos(53) || r.Expired != kilos(10) || r.Held != kilos(20) || r.Reserved != kilos(5) || r.Free != kilos(18) || r.InProcess != kilos(7) || len(r.FreeLots) != 1 || r.FreeLots[0].Mass != kilos(18) {
			t.Errorf("summary %+v", r)
		}
		if len(r.ReservedLots) != 1 || r.ReservedLots[0] != (inventory.ReservedLot{Lot: r.FreeLots[0].Lot, Batch: batch("one"), Mass: kilos(5), UseBy: "2026-03-20"}) {
			t.Errorf("promised to batches: %+v", r.ReservedLots)
		}
		if r.OnHand != r.Free+r.Reserved+r.Held+r.Expired {
			t.Error("the parts do not add up")
		}
		return
	}
	t.Error("bones are missing")
}
