package inventory_test

import (
	"slices"
	"strings"
	"testing"

	"rondeau.internal/services/inventory"
)

func TestPackingKeepsTheRestInTheBatch(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.cook()
	_, err := k.PackContainers(k.ctx, inventory.Packing{Site: site, Batch: batch("packing"), Item: item("pouch"), Sources: []inventory.PackingSource{{Lot: site + "/lots/g1", Mass: kilos(3)}}, Count: 4})
	k.refused(err, inventory.MassInvalid, "4 containers of 1 kg hold 4 kg", "3 kg only")
	_, err = k.PackContainers(k.ctx, inventory.Packing{Site: site, Batch: batch("packing"), Item: item("pouch"), SourceItem: item("glace"), Count: 40})
	k.refused(err, inventory.StockShort, "40 kg", "10 kg can be had")
	p, err := k.PackContainers(k.ctx, inventory.Packing{Site: site, Batch: batch("packing"), Item: item("pouch"), Sources: []inventory.PackingSource{{Lot: site + "/lots/g1", Mass: kilos(8.3)}}, Count: 8, LotID: "p1"})
	k.must(err)
	if p.Remainder != kilos(0.3) || p.Lot.OnHand != kilos(8) || p.Lot.ContainerCount != 8 || p.Lot.UseBy != "2026-09-06" {
		t.Errorf("packed %+v, rest %v", p.Lot.Lot, p.Remainder)
	}
	_, err = k.CloseBatch(k.ctx, inventory.Closing{Site: site, Batch: batch("packing")})
	k.refused(err, inventory.BatchUnbalanced, "0.3 kg is unexplained")
	m, err := k.CloseBatch(k.ctx, inventory.Closing{Site: site, Batch: batch("packing"), Losses: []inventory.Loss{{Kind: inventory.PackingLoss, Mass: kilos(0.25)}}})
	k.must(err)
	if m.Unexplained != kilos(0.05) {
		t.Errorf("unexplained %v", m.Unexplained)
	}
	k.booksAreRight()
}

// Two packing moves of one batch: a recall of one bulk lot must not take the containers of the other.
func TestContainersDescendFromTheirOwnBulkOnly(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.cook()
	k.must(k.consume("three", "water", 10, ""))
	k.produce("three", "glace", 5, "g2")
	k.pack(2, "p1")
	_, err := k.PackContainers(k.ctx, inventory.Packing{Site: site, Batch: batch("packing"), Item: item("pouch"), Sources: []inventory.PackingSource{{Lot: site + "/lots/g2"}}, Count: 3, LotID: "p2"})
	k.must(err)
	fore, err := k.TraceForward(k.ctx, site+"/lots/g2", false)
	k.must(err)
	if fore.Summary.Containers != 3 || slices.Contains(lotsIn(fore, ""), site+"/lots/p1") {
		t.Errorf("recall of g2 takes %d containers, lots %v", fore.Summary.Containers, lotsIn(fore, ""))
	}
	back, err := k.TraceBackward(k.ctx, site+"/lots/p1")
	k.must(err)
	if slices.Contains(lotsIn(back, ""), site+"/lots/g2") {
		t.Error("p1 does not descend from g2")
	}
	for _, e := range back.Edges {
		if e.Source == site+"/lots/b1" && e.Mass != kilos(40) || e.Target == site+"/lots/p1" && e.Mass != kilos(2) {
			t.Errorf("edge %+v has the wrong mass", e)
		}
	}
}

func TestPackedLotsMoveInWholeContainers(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.cook()
	p := k.pack(5, "p1")
	p1 := p.Lot.Name
	_, err := k.TransferStock(k.ctx, inventory.Transfer{Lot: p1, Source: location("ice"), Target: location("ice2"), Mass: kilos(1.5)})
	k.refused(err, inventory.MassInvalid, "sealed containers of 1 kg")
	c, err := k.TransferStock(k.ctx, inventory.Transfer{Lot: p1, Source: location("ice"), Target: location("ice2"), Mass: kilos(2)})
	k.must(err)
	if !slices.Equal(c.Lot.Places, []inventory.Place{{Location: location("ice"), Mass: kilos(3)}, {Location: location("ice2"), Mass: kilos(2)}}) {
		t.Errorf("places %v", c.Lot.Places)
	}
	_, err = k.TransferStock(k.ctx, inventory.Transfer{Lot: p1, Source: location("ice"), Target: location("dry"), Containers: []string{p.Containers[0].Name}})
	k.refused(err, inventory.ContainerNotAvailable, "ice2")
	k.refused(k.consume("four", "pouch", 0.5, ""), inventory.MassInvalid)
	k.must(k.consume("four", "pouch", 2, ""))
	_, err = k.AdjustStock(k.ctx, inventory.Count{Lot: p1, Location: location("ice"), Counted: kilos(1), Reason: "count"})
	k.refused(err, inventory.ItemKindWrong, "discard them")
	k.release("p1")
	sh, err := k.CreateShipment(k.ctx, inventory.Picking{Site: site, Outlet: site + "/outlets/o", Lines: []inventory.PickingLine{{Item: item("pouch"), Count: 2}}})
	k.must(err)
	_, err = k.DiscardLot(k.ctx, inventory.Discarding{Lot: p1, Reason: "thawed"})
	k.refused(err, inventory.ContainerNotAvailable, "picked for", sh.Name)
	_, err = k.CancelShipment(k.ctx, sh.Name, "")
	k.must(err)
	done, err := k.DiscardLot(k.ctx, inventory.Discarding{Lot: p1, Reason: "thawed"})
	k.must(err)
	if done.Lot.OnHand != 0 || done.Lot.ContainerCount != 0 {
		t.Errorf("left %+v", done.Lot.Lot)
	}
	k.booksAreRight()
	trace, err := k.TraceForward(k.ctx, p1, false)
	k.must(err)
	if s := trace.Summary; s.GoneContainers != 5 || s.Containers != 5 {
		t.Errorf("summary %+v", s)
	}
}

// Separators follow the unit tests of gs1/gs1-syntax-engine: one (ASCII 29) after the variable-length (10), none after elements of fixed
// length and none at the end.
func TestLabelsAndScans(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	_, err := k.UpdatePolicy(k.ctx, inventory.PolicyName(site), "", func(p *inventory.Policy) error { p.SerialPrefix, p.CompanyPrefix = "Q", "9520123"; return nil })
	k.must(err)
	k.cook()
	p := k.pack(3, "p1")
	c := p.Containers[1]
	if c.Serial != "Q000000002" || c.SGTIN() != "/01/09520123456788/21/Q000000002" || c.Label.NetMass != "1 kg" || !strings.Contains(c.Label.Allergens, "celery") {
		t.Errorf("container %+v", c)
	}
	if want := "(01)09520123456788(13)260310(15)260906(3100)000001(10)P1(21)Q000000002"; c.Label.Elements != want {
		t.Errorf("label %s, want %s", c.Label.Elements, want)
	}
	if want := "010952012345678813260310152609063100000001" + "10P1\x1d21Q000000002"; c.Label.Encoded != want {
		t.Errorf("encoded %q, want %q", c.Label.Encoded, want)
	}
	if want := "https://id.gs1.org/01/09520123456788/10/P1/21/Q000000002?13=260310&15=260906&3100=000001"; c.Label.Link != want {
		t.Errorf("link %s, want %s", c.Label.Link, want)
	}
	for _, code := range []string{c.Label.Elements, c.Label.Encoded, c.Label.Link, "]d2" + c.Label.Encoded, "]C1" + c.Label.Encoded, c.Serial, "q000000002", c.Name} {
		scan, err := k.ScanContainer(k.ctx, site, code, "")
		k.must(err)
		if scan.Container.Name != c.Name || scan.Lot.Name != p.Lot.Name || len(scan.Warnings) != 1 || !strings.Contains(scan.Warnings[0], "not released") {
			t.Errorf("code %q gives %v, %v", code, scan.Container, scan.Warnings)
		}
	}
	k.release("p1")
	k.must(k.NoteHold(k.ctx, inventory.Hold{Name: site + "/holds/h", Subject: site + "/lots/b1", PlaceTime: k.clock.Now()}))
	scan, err := k.ScanContainer(k.ctx, site, strings.Replace(c.Label.Elements, "(10)P1", "(10)P9", 1), "")
	k.must(err)
	if len(scan.Warnings) != 2 || !strings.Contains(scan.Warnings[0], "b1") || !strings.Contains(scan.Warnings[1], "P9") {
		t.Errorf("warnings %v", scan.Warnings)
	}
	for code, reason := range map[string]string{
		"(01)09520123456789(21)1":          inventory.CodeUnreadable, // wrong check digit
		"(01)09520123456788(10)A":          inventory.CodeUnreadable, // no serial number
		"%%%":                              inventory.CodeUnreadable,
		"(01)09520123456788(21)9":          inventory.CodeUnknown,
		"(01)09521234543213(21)Q000000002": inventory.CodeUnknown, // serial of another GTIN
	} {
		_, err := k.ScanContainer(k.ctx, site, code, "")
		k.refused(err, reason)
	}
	if _, err := k.ScanContainer(k.ctx, site, c.Serial, site+"/outlets/other"); err == nil {
		t.Error("an outlet scans what it never got")
	}
	k.must(k.NoteHold(k.ctx, inventory.Hold{Name: site + "/holds/h", Subject: site + "/lots/b1", PlaceTime: k.clock.Now(), Lifted: true}))
	sh, err := k.CreateShipment(k.ctx, inventory.Picking{Site: site, Outlet: site + "/outlets/o", Lines: []inventory.PickingLine{{Containers: []string{c.Name}}}})
	k.must(err)
	if scan, err = k.ScanContainer(k.ctx, site, "(00)"+sh.SSCC, ""); err != nil || scan.Shipment.Name != sh.Name {
		t.Errorf("scan of the SSCC: %v", err)
	}
}

// What packing leaves over goes into the other lots of its batch, and a hold follows it there; bulk that went wholly into containers does not.
func TestAHoldFollowsTheRestOfPacking(t *testing.T) {
	t.Parallel()
	for rest, reason := range map[float64]string{0: "", 0.5: inventory.LotHeld} {
		k := newKitchen(t)
		k.cook()
		_, err := k.PackContainers(k.ctx, inventory.Packing{Site: site, Batch: batch("packing"), Item: item("pouch"), Sources: []inventory.PackingSource{{Lot: site + "/lots/g1", Mass: kilos(2 + rest)}}, Count: 2, LotID: "p1"})
		k.must(err)
		k.must(k.consume("packing", "water", 5, ""))
		x := k.produce("packing", "stock", 3, "x1")
		var told inventory.LotCreated
		for _, e := range k.events.events {
			if c, ok := e.(inventory.LotCreated); ok && c.Lot.Name == x {
				told = c
			}
		}
		if (len(told.Inputs) == 1) != (rest > 0) || (len(told.MadeAncestors) == 2) != (rest > 0) {
			t.Errorf("rest %v: told of inputs %v, ancestors %v", rest, told.Inputs, told.MadeAncestors)
		}
		k.must(k.NoteHold(k.ctx, inventory.Hold{Name: site + "/holds/h", Subject: site + "/lots/g1", PlaceTime: noon}))
		err = k.consume("next", "stock", 1, x)
		if reason == "" {
			k.must(err)
			continue
		}
		k.refused(err, reason, "g1")
	}
}
