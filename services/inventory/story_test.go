package inventory_test

import (
	"errors"
	"slices"
	"testing"
	"time"

	"rondeau.internal/services/inventory"
)

func TestFromDeliveryToOutletAndBack(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.cook()
	packed := k.pack(8, "p1")
	if len(packed.Containers) != 8 || packed.Remainder != 0 || k.onHand(site+"/lots/g1") != kilos(2) {
		t.Fatalf("packed %d containers, rest %v, bulk left %v", len(packed.Containers), packed.Remainder, k.onHand(site+"/lots/g1"))
	}
	_, err := k.CreateShipment(k.ctx, inventory.Picking{Site: site, Outlet: site + "/outlets/harbour", Lines: []inventory.PickingLine{{Item: item("pouch"), Count: 3}}})
	k.refused(err, inventory.StockShort, "p1", "not released")
	k.release("p1")
	sh, err := k.CreateShipment(k.ctx, inventory.Picking{Site: site, Outlet: site + "/outlets/harbour", Order: site + "/outlets/harbour/orders/o1", Lines: []inventory.PickingLine{{Item: item("pouch"), Count: 3}}})
	k.must(err)
	if sh.NetMass != kilos(3) || len(sh.Lines[0].Containers) != 3 {
		t.Fatalf("picked %v, %v", sh.NetMass, sh.Lines)
	}
	k.booksAreRight()
	sh, err = k.DispatchShipment(k.ctx, inventory.Dispatch{Shipment: sh.Name})
	k.must(err)
	if want := []string{site + "/lots/f1", site + "/lots/g1", site + "/lots/p1", site + "/lots/s1"}; !slices.Equal(sorted(k.judge.asked), []string{want[1], want[2], want[3]}) {
		t.Errorf("food safety was asked about %v", k.judge.asked)
	}
	k.booksAreRight()
	sh, err = k.ReceiveShipment(k.ctx, inventory.Arrival{Shipment: sh.Name, Outlet: site + "/outlets/harbour", Missing: sh.Lines[0].Containers[:1]})
	k.must(err)
	c, err := k.Container(k.ctx, sh.Missing[0], "")
	k.must(err)
	if c.State != inventory.ContainerMissed {
		t.Errorf("missing container is %s", c.State)
	}
	losses := []inventory.Loss{{Kind: inventory.Evaporation, Mass: kilos(38)}, {Kind: inventory.StrainedSolids, Mass: kilos(27)}}
	m, err := k.CloseBatch(k.ctx, inventory.Closing{Site: site, Batch: batch("one"), Losses: losses})
	k.must(err)
	if m.Unexplained != kilos(1) || m.Recovery() != 99 || !m.Closed {
		t.Errorf("batch one: unexplained %v, recovery %v", m.Unexplained, m.Recovery())
	}
	if !slices.ContainsFunc(m.Outputs, func(p inventory.BalancePart) bool { return p.Title == "strained solids" && p.Mass == kilos(27) }) {
		t.Errorf("the balance does not tell the losses in words: %+v", m.Outputs)
	}
	k.booksAreRight()

	back, err := k.TraceBackward(k.ctx, sh.Lines[0].Containers[1])
	k.must(err)
	if s := back.Summary; s.Deliveries != 2 || s.Lots != 5 || s.Batches != 2 {
		t.Errorf("backward: %d deliveries, %d lots, %d batches", s.Deliveries, s.Lots, s.Batches)
	}
	b1, err := k.Lot(k.ctx, site+"/lots/b1")
	k.must(err)
	fore, err := k.TraceForward(k.ctx, b1.Delivery, false)
	k.must(err)
	if s := fore.Summary; s.Containers != 8 || s.ShippedContainers != 3 || s.PackedContainers != 5 || !slices.Equal(s.Outlets, []string{site + "/outlets/harbour"}) || s.Lots != 5 {
		t.Errorf("forward: %+v", s)
	}
	short, err := k.TraceForward(k.ctx, b1.Delivery, true)
	k.must(err)
	if s := short.Summary; s.Containers != 8 || s.ShippedContainers != 3 || !slices.Equal(s.Outlets, []string{site + "/outlets/harbour"}) {
		t.Errorf("forward without containers: %+v", s)
	}
}

func TestNothingShipsWithoutAnAnswer(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.cook()
	k.pack(2, "p1")
	k.release("p1")
	sh, err := k.CreateShipment(k.ctx, inventory.Picking{Site: site, Outlet: site + "/outlets/harbour", Lines: []inventory.PickingLine{{Item: item("pouch"), Count: 2}}})
	k.must(err)
	k.judge.down = errors.New("connection refused")
	_, err = k.DispatchShipment(k.ctx, inventory.Dispatch{Shipment: sh.Name})
	k.refused(err, inventory.FoodSafetyUnavailable, "nothing was shipped")
	k.judge.down = nil
	k.judge.says[site+"/lots/s1"] = inventory.LotSafety{Lot: site + "/lots/s1", Known: true, Reasons: []string{"chill failed"}}
	_, err = k.DispatchShipment(k.ctx, inventory.Dispatch{Shipment: sh.Name})
	k.refused(err, inventory.LotNotShippable, "s1", "chill failed")
	// A reason that names the lot itself names the lot once.
	k.judge.says[site+"/lots/s1"] = inventory.LotSafety{Lot: site + "/lots/s1", Known: true, Reasons: []string{site + "/lots/s1 is on hold: chill failed"}}
	_, err = k.DispatchShipment(k.ctx, inventory.Dispatch{Shipment: sh.Name})
	k.refused(err, inventory.LotNotShippable, "nothing was shipped: "+site+"/lots/s1 is on hold: chill failed. Take")
	delete(k.judge.says, site+"/lots/s1")
	k.judge.says[site+"/lots/p1"] = inventory.LotSafety{Lot: site + "/lots/p1", Known: true, Clear: true, Reasons: []string{"is not released"}}
	_, err = k.DispatchShipment(k.ctx, inventory.Dispatch{Shipment: sh.Name})
	k.refused(err, inventory.LotNotShippable, "p1", "is not released")
	delete(k.judge.says, site+"/lots/p1")
	// A hold on goods that went in long ago stops the shipment, even a bought-in lot that food safety was not asked about.
	k.must(k.NoteHold(k.ctx, inventory.Hold{Name: site + "/holds/h", Subject: site + "/lots/c1", PlaceTime: k.clock.Now()}))
	_, err = k.DispatchShipment(k.ctx, inventory.Dispatch{Shipment: sh.Name})
	k.refused(err, inventory.LotNotShippable, "p1", "c1")
	if got, err := k.Shipment(k.ctx, sh.Name, ""); err != nil || got.State != inventory.ShipmentDraft || k.onHand(site+"/lots/p1") != kilos(2) {
		t.Errorf("a refused dispatch changed something: %v %v", got, err)
	}
	k.must(k.NoteHold(k.ctx, inventory.Hold{Name: site + "/holds/h", Subject: site + "/lots/c1", PlaceTime: k.clock.Now(), Lifted: true}))
	if _, err := k.DispatchShipment(k.ctx, inventory.Dispatch{Shipment: sh.Name}); err != nil {
		t.Errorf("after everything was cleared: %v", err)
	}
	_, err = k.DispatchShipment(k.ctx, inventory.Dispatch{Shipment: sh.Name})
	k.refused(err, inventory.ShipmentNotDraft)
	k.booksAreRight()
}

func TestHeldExpiredAndUnreleasedLotsAreRefusedByName(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	b1 := k.receive("bones", 10, "b1", "2026-03-11")
	b2 := k.receive("bones", 10, "b2", "2026-03-15")
	k.must(k.NoteHold(k.ctx, inventory.Hold{Name: site + "/holds/h1", Subject: b2, PlaceTime: noon}))
	k.refused(k.consume("one", "bones", 5, b2), inventory.LotHeld, "b2", "h1")
	k.refused(k.consume("one", "bones", 15, ""), inventory.StockShort, "10 kg can be had", "10 kg of sites/quay/lots/b2", "on hold")
	k.clock.Advance(36 * time.Hour) // 12 March
	k.refused(k.consume("one", "bones", 5, b1), inventory.LotExpired, "b1", "2026-03-11", "2026-03-12")
	k.refused(k.consume("one", "bones", 5, ""), inventory.StockShort, "b1", "past its last day of use", "b2", "on hold")
	k.must(k.NoteHold(k.ctx, inventory.Hold{Name: site + "/holds/h1", Subject: b2, PlaceTime: noon, Lifted: true}))
	k.must(k.consume("one", "bones", 5, ""))
	if k.onHand(b2) != kilos(5) || k.onHand(b1) != kilos(10) {
		t.Error("the fresh lot was not taken")
	}
	if _, err := k.UpdateItem(k.ctx, item("stock"), "", func(i *inventory.Item) error { i.ReleaseRule = inventory.BeforeUse; return nil }); err != nil {
		t.Fatal(err)
	}
	s := k.produce("one", "stock", 4, "s1")
	k.refused(k.consume("two", "stock", 1, s), inventory.LotNotReleased, "s1", "sign its release")
	k.release("s1")
	k.must(k.consume("two", "stock", 1, s))
	// A hold voids the release; lifting it does not bring the release back.
	k.must(k.NoteHold(k.ctx, inventory.Hold{Name: site + "/holds/h2", Subject: batch("one"), PlaceTime: k.clock.Now()}))
	k.refused(k.consume("two", "stock", 1, s), inventory.LotHeld, "h2")
	k.must(k.NoteHold(k.ctx, inventory.Hold{Name: site + "/holds/h2", Subject: batch("one"), PlaceTime: k.clock.Now(), Lifted: true}))
	k.refused(k.consume("two", "stock", 1, s), inventory.LotNotReleased)
	k.booksAreRight()
}

func TestNewsOfHoldsInAnyOrder(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	lot := k.receive("bones", 10, "b1", "")
	placed := inventory.Hold{Name: site + "/holds/h1", Subject: lot, PlaceTime: noon}
	lifted := placed
	lifted.Lifted = true
	for range 2 { // lifted before placed, each twice
		k.must(k.NoteHold(k.ctx, lifted))
		k.must(k.NoteHold(k.ctx, placed))
	}
	if l, err := k.Lot(k.ctx, lot); err != nil || l.Held {
		t.Errorf("a lifted hold came back: %v", err)
	}
	// A batch is held before it gave anything.
	k.must(k.NoteHold(k.ctx, inventory.Hold{Name: site + "/holds/h2", Subject: batch("one"), PlaceTime: noon}))
	k.must(k.consume("one", "bones", 5, ""))
	s := k.produce("one", "stock", 4, "")
	if l, err := k.Lot(k.ctx, s); err != nil || !l.Held || !slices.Equal(l.Holds, []string{site + "/holds/h2"}) {
		t.Errorf("the lot of a held batch is free: %v %v", l, err)
	}
	k.refused(k.consume("two", "stock", 1, s), inventory.LotHeld, "h2")
}

func TestReservationsGoFirstExpiredFirstAndAreUsedFirst(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	late := k.receive("bones", 10, "late", "2026-03-14")
	soon := k.receive("bones", 10, "soon", "2026-03-11")
	never := k.receive("bones", 10, "later", "2026-04-14")
	r, err := k.ReserveStock(k.ctx, site, "r1", batch("one"), []inventory.ItemMass{{Item: item("bones"), Mass: kilos(12)}, {Item: item("water"), Mass: kilos(20)}})
	k.must(err)
	if len(r.Lines) != 2 || r.Lines[0].Lot != soon || r.Lines[0].Mass != kilos(10) || r.Lines[1].Lot != late || r.Lines[1].Mass != kilos(2) {
		t.Fatalf("reserved %+v", r.Lines)
	}
	_, err = k.ReserveStock(k.ctx, site, "", batch("two"), []inventory.ItemMass{{Item: item("bones"), Mass: kilos(19)}})
	k.refused(err, inventory.StockShort, "18 kg can be had", "12 kg is promised elsewhere")
	k.refused(k.consume("two", "bones", 1, soon), inventory.StockShort, "promised elsewhere")
	k.must(k.consume("two", "bones", 8, "")) // from the free rest of late
	if k.onHand(late) != kilos(2) || k.onHand(never) != kilos(10) {
		t.Errorf("late has %v, later %v", k.onHand(late), k.onHand(never))
	}
	_, taken, err := k.ConsumeStock(k.ctx, inventory.Consumption{Site: site, Batch: batch("one"), Inputs: []inventory.ConsumptionInput{{Item: item("bones"), Mass: kilos(13)}}})
	k.must(err)
	if len(taken) != 3 || taken[0].Lot != soon || taken[0].Reservation != r.Name || taken[1].Lot != late || taken[2].Lot != never || taken[2].Mass != kilos(1) || taken[2].Reservation != "" {
		t.Errorf("taken %+v", taken)
	}
	if r, err = k.Reservation(k.ctx, r.Name); err != nil || r.State != inventory.ReservationUsed {
		t.Errorf("reservation is %v, %v", r, err)
	}
	k.booksAreRight()
}

func TestClosingABatch(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.receive("bones", 50, "b1", "")
	_, err := k.CloseBatch(k.ctx, inventory.Closing{Site: site, Batch: batch("one")})
	k.refused(err, inventory.BatchUnknown)
	_, err = k.ReserveStock(k.ctx, site, "r1", batch("one"), []inventory.ItemMass{{Item: item("bones"), Mass: kilos(45)}})
	k.must(err)
	k.must(k.consume("one", "bones", 40, ""))
	k.must(k.consume("one", "water", 60, ""))
	_, _, err = k.RecordProduction(k.ctx, inventory.Production{Site: site, Batch: batch("one"), Outputs: []inventory.ProductionOutput{{Item: item("stock"), Mass: kilos(103)}}})
	k.refused(err, inventory.BatchOutputTooLarge, "took 100 kg", "103 kg")
	k.produce("one", "stock", 30, "s1")
	_, err = k.CloseBatch(k.ctx, inventory.Closing{Site: site, Batch: batch("one"), Losses: []inventory.Loss{{Kind: inventory.Evaporation, Mass: kilos(60)}}})
	k.refused(err, inventory.BatchUnbalanced, "10 kg is unexplained", "2 kg is allowed")
	losses := []inventory.Loss{{Kind: inventory.Evaporation, Mass: kilos(60)}, {Kind: inventory.StrainedSolids, Mass: kilos(8.5)}}
	m, err := k.CloseBatch(k.ctx, inventory.Closing{Site: site, Batch: batch("one"), Losses: losses, ValidateOnly: true})
	k.must(err)
	if m.Unexplained != kilos(1.5) {
		t.Errorf("a check found %v unexplained", m.Unexplained)
	}
	if m, err = k.MassBalance(k.ctx, batch("one")); err != nil || m.Closed || m.Inside != kilos(70) || m.Recovery() != 100 {
		t.Errorf("a check wrote something: %+v, %v", m, err)
	}
	m, err = k.CloseBatch(k.ctx, inventory.Closing{Site: site, Batch: batch("one"), Losses: losses})
	k.must(err)
	if m.Recovery() != 98.5 {
		t.Errorf("recovery %v", m.Recovery())
	}
	k.refused(k.consume("one", "bones", 1, ""), inventory.BatchClosed, "books")
	if r, err := k.Reservation(k.ctx, site+"/reservations/r1"); err != nil || r.State != inventory.ReservationReleased {
		t.Errorf("what was reserved is %v, %v", r, err)
	}
	k.booksAreRight()
}

// A lot that goes wholly back into the batch that made it was once missing from its own balance.
func TestALotGoesBackIntoItsOwnBatch(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.must(k.consume("one", "water", 10, ""))
	k.produce("one", "stock", 4, "s1")
	k.must(k.consume("one", "stock", 4, ""))
	m, err := k.MassBalance(k.ctx, site+"/lots/s1")
	k.must(err)
	if m.Accounted != kilos(4) || m.Recovery() != 100 {
		t.Errorf("accounted for %v of %v", m.Accounted, m.Input)
	}
	trace, err := k.TraceBackward(k.ctx, site+"/lots/s1")
	k.must(err)
	if len(trace.Nodes) != 2 || trace.Summary.Batches != 1 {
		t.Errorf("a loop gave %d nodes", len(trace.Nodes))
	}
	k.booksAreRight()
}
