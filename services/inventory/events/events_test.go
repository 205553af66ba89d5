package events_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/clock"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	pb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/inventory"
	"rondeau.internal/services/inventory/events"
	"rondeau.internal/services/inventory/sqlite"
)

const site = "sites/quay"

var noon = time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)

type nobody struct{}

func (nobody) CheckLots(context.Context, string, []string) ([]inventory.LotSafety, error) {
	return nil, errors.New("nobody asked")
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// stock is a service with one lot, b1, of 10 kg of bones.
func stock(t *testing.T) (*inventory.Service, *sqldb.DB) {
	t.Helper()
	ctx := t.Context()
	db := sqldbtest.SQLite(t)
	must(t, outbox.Migrate(ctx, db))
	store, err := sqlite.New(ctx, db)
	must(t, err)
	now := clock.NewFake(noon)
	s, err := inventory.New(inventory.Deps{Store: store, Clock: now, Events: events.NewPublisher(db, now), FoodSafety: nobody{}})
	must(t, err)
	_, err = s.BatchCreateLocations(ctx, site, []inventory.NewLocation{{ID: "cold", Location: &inventory.Location{DisplayName: "Walk-in", Kind: inventory.WalkIn, Active: true}}})
	must(t, err)
	_, err = s.CreateItem(ctx, site, "bones", &inventory.Item{DisplayName: "Bones", Kind: inventory.Purchased, Storage: inventory.Chilled, Active: true})
	must(t, err)
	d, err := s.CreateDelivery(ctx, site, "d1", &inventory.Delivery{ExpectedDate: "2026-03-10", Lines: []inventory.DeliveryLine{{Item: site + "/items/bones"}}})
	must(t, err)
	_, err = s.ReceiveDelivery(ctx, inventory.Receipt{Delivery: d.Name, Lines: []inventory.ReceiptLine{{LineID: "1", Mass: 10_000_000, LotID: "b1"}}})
	must(t, err)
	return s, db
}

func fact(t *testing.T, subject string, m proto.Message) outbox.Event {
	t.Helper()
	payload, err := proto.Marshal(m)
	must(t, err)
	return outbox.Event{ID: subject, Subject: subject, Time: noon, Payload: payload}
}

// TestFactsOfOthersInAnyOrderAndTwice applies news of a hold backwards and twice, and other facts twice.
func TestFactsOfOthersInAnyOrderAndTwice(t *testing.T) {
	t.Parallel()
	s, _ := stock(t)
	lot := site + "/lots/b1"
	hold := &foodsafetypb.Hold{Name: site + "/holds/h", Subject: lot, PlaceTime: timestamppb.New(noon)}
	placed := fact(t, "rondeau.foodsafety.v1.hold.placed", &foodsafetypb.HoldPlaced{Hold: hold})
	lifted := fact(t, "rondeau.foodsafety.v1.hold.lifted", &foodsafetypb.HoldLifted{Hold: hold})
	released := fact(t, "rondeau.foodsafety.v1.lot.released", &foodsafetypb.LotReleased{Lot: lot, Release: &foodsafetypb.Release{SignTime: timestamppb.New(noon.Add(time.Minute))}})
	bought := fact(t, "rondeau.planning.v1.purchase.proposed", &planningpb.PurchaseProposed{Purchase: &planningpb.Purchase{Name: site + "/plans/w/purchases/1", Item: site + "/items/bones", MassKg: 12.5, DeliveryDate: "2026-03-12"}})
	for _, e := range []outbox.Event{released, lifted, placed, placed, lifted, released, bought, bought} {
		must(t, events.Apply(t.Context(), s, e))
	}
	l, err := s.Lot(t.Context(), lot)
	must(t, err)
	if l.Held || !l.Released {
		t.Errorf("held %v, released %v", l.Held, l.Released)
	}
	ds, err := s.Deliveries(t.Context(), inventory.ListQuery{Site: site, Limit: 10, Filter: "state = EXPECTED"})
	must(t, err)
	if len(ds) != 1 || len(ds[0].Lines) != 1 || ds[0].Lines[0].Expected != units.Milligrams(12_500_000) {
		t.Errorf("deliveries %+v", ds)
	}
	_, err = s.ReserveStock(t.Context(), site, "r", site+"/batches/one", []inventory.ItemMass{{Item: site + "/items/bones", Mass: 9_000_000}})
	must(t, err)
	cancelled := fact(t, "rondeau.planning.v1.batch.cancelled", &planningpb.BatchCancelled{Batch: site + "/batches/one"})
	for range 2 {
		must(t, events.Apply(t.Context(), s, cancelled))
	}
	if l, err = s.Lot(t.Context(), lot); err != nil || l.Reserved != 0 {
		t.Errorf("reserved %v, %v", l.Reserved, err)
	}
	must(t, events.Apply(t.Context(), s, outbox.Event{Subject: "rondeau.planning.v1.order.placed"}))
}

func TestFactsThatCannotBeAppliedAreErrors(t *testing.T) {
	t.Parallel()
	s, _ := stock(t)
	if err := events.Apply(t.Context(), s, outbox.Event{Subject: "rondeau.foodsafety.v1.hold.placed", Payload: []byte{0xff}}); err == nil {
		t.Error("garbage was applied")
	}
	err := events.Apply(t.Context(), s, fact(t, "rondeau.foodsafety.v1.hold.placed", &foodsafetypb.HoldPlaced{Hold: &foodsafetypb.Hold{Name: "h", Subject: "somewhere"}}))
	if !errors.Is(err, apierr.Reason(inventory.NameInvalid)) {
		t.Errorf("a hold on nothing: %v", err)
	}
	err = events.Apply(t.Context(), s, fact(t, "rondeau.foodsafety.v1.lot.released", &foodsafetypb.LotReleased{Lot: site + "/lots/unknown"}))
	if !errors.Is(err, apierr.Reason(inventory.LotMissing)) {
		t.Errorf("the release of an unknown lot: %v", err)
	}
}

// TestFactsAreWrittenWithTheirCause reads the outbox after a change and after one that failed.
func TestFactsAreWrittenWithTheirCause(t *testing.T) {
	t.Parallel()
	s, db := stock(t)
	count, _, err := outbox.Lag(t.Context(), db)
	must(t, err)
	in := func(mass units.Milligrams) inventory.Consumption {
		return inventory.Consumption{Site: site, Batch: site + "/batches/one", Inputs: []inventory.ConsumptionInput{{Item: site + "/items/bones", Mass: mass}}}
	}
	if _, _, err := s.ConsumeStock(t.Context(), in(11_000_000)); err == nil {
		t.Fatal("more than there is was consumed")
	}
	_, _, err = s.ConsumeStock(t.Context(), in(4_000_000))
	must(t, err)
	after, _, err := outbox.Lag(t.Context(), db)
	must(t, err)
	if after != count+1 {
		t.Errorf("%d facts were written, want one", after-count)
	}
	var subject string
	var payload []byte
	must(t, db.Conn(t.Context()).QueryRowContext(t.Context(), "SELECT subject, payload FROM outbox ORDER BY id DESC LIMIT 1").Scan(&subject, &payload))
	var m pb.StockConsumed
	must(t, proto.Unmarshal(payload, &m))
	if subject != events.SubjectStockConsumed || m.GetInputs()[0].GetMassKg() != 4 || m.GetMove().GetKind() != pb.Move_CONSUME {
		t.Errorf("%s says %v", subject, &m)
	}
}
