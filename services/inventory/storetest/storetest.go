// Package storetest is the contract of inventory.Store: every store must pass it.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/clock"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/inventory"
)

const site = "sites/quay"

var noon = time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)

// Run runs the contract. open gives a fresh, empty store for each part.
func Run(t *testing.T, open func(t *testing.T) inventory.Store) {
	for _, part := range []struct {
		name string
		test func(t *testing.T, s inventory.Store)
	}{
		{"a row comes back as it was written", rowComesBack},
		{"a missing row and a taken name have their reasons", missingAndTaken},
		{"an update of an old version is refused", oldVersion},
		{"names differ by case", namesDifferByCase},
		{"pages are complete while rows are added", pagesUnderWrites},
		{"filters select and bad ones are refused", filters},
		{"shipments are listed newest first and by outlet", shipmentsNewestFirst},
		{"an unbalanced move is refused", unbalancedMove},
		{"no place holds less than nothing", noPlaceBelowNothing},
		{"a failed transaction leaves nothing behind", rollback},
		{"counters give each number once", counters},
		{"a lot never promises more than it has", promiseWhatIsThere},
		{"two consumers cannot take the same stock", twoConsumers},
		{"two shipments cannot take the same container", twoShipments},
		{"lots come first expired first", firstExpiredFirst},
	} {
		t.Run(part.name, func(t *testing.T) {
			t.Parallel()
			part.test(t, open(t))
		})
	}
}

type silent struct{}

func (silent) Append(context.Context, ...inventory.Event) error { return nil }

func (silent) CheckLots(_ context.Context, _ string, lots []string) ([]inventory.LotSafety, error) {
	var out []inventory.LotSafety
	for _, l := range lots {
		out = append(out, inventory.LotSafety{Lot: l, Known: true, Clear: true, Shippable: true})
	}
	return out, nil
}

// kitchen is a service over the store with a few masters.
func kitchen(t *testing.T, s inventory.Store) *inventory.Service {
	t.Helper()
	service, err := inventory.New(inventory.Deps{Store: s, Clock: clock.NewFake(noon), Events: silent{}, FoodSafety: silent{}})
	must(t, err)
	ctx := t.Context()
	_, err = service.BatchCreateSuppliers(ctx, site, []inventory.NewSupplier{{ID: "marrow", Supplier: &inventory.Supplier{DisplayName: "Marrow and Sons", Active: true}}})
	must(t, err)
	_, err = service.BatchCreateLocations(ctx, site, []inventory.NewLocation{
		{ID: "cold", Location: &inventory.Location{DisplayName: "Walk-in", Kind: inventory.WalkIn, Active: true}},
		{ID: "ice", Location: &inventory.Location{DisplayName: "Freezer", Kind: inventory.Freezer, Active: true}},
	})
	must(t, err)
	limit := 5.5
	_, err = service.BatchCreateItems(ctx, site, []inventory.NewItem{
		{ID: "bones", Item: &inventory.Item{
			DisplayName: "Veal bones", Kind: inventory.Purchased, Storage: inventory.Chilled, Density: 1.1, ShelfLife: 72 * time.Hour, Active: true, MaxReceipt: &limit,
			Purchase: inventory.PurchaseTerms{Supplier: site + "/suppliers/marrow", Case: 10_000_000, LeadDays: 1, DeliveryWeekdays: []int{1, 4}}, Allergens: []inventory.Allergen{{Allergen: "FISH", Species: "cod"}},
		}},
		{ID: "pouch", Item: &inventory.Item{DisplayName: "Pouch", Kind: inventory.Pack, Storage: inventory.Frozen, NetMass: 1_000_000, ReleaseRule: inventory.NoRelease, Active: true}},
	})
	must(t, err)
	return service
}

// receive books kilograms of bones in.
func receive(t *testing.T, service *inventory.Service, lot string, kilos int64, bestBefore string) string {
	t.Helper()
	d, err := service.CreateDelivery(t.Context(), site, "", &inventory.Delivery{Supplier: site + "/suppliers/marrow", ExpectedDate: "2026-03-10", Lines: []inventory.DeliveryLine{{Item: site + "/items/bones"}}})
	must(t, err)
	cold := 2.0
	d, err = service.ReceiveDelivery(t.Context(), inventory.Receipt{Delivery: d.Name, Lines: []inventory.ReceiptLine{{LineID: "1", Mass: kg(kilos), Temperature: &cold, LotID: lot, BestBefore: bestBefore}}})
	must(t, err)
	return d.Lines[0].Lot
}

func kg(n int64) units.Milligrams { return units.Milligrams(n * 1_000_000) }

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func wantReason(t *testing.T, err error, reason string) {
	t.Helper()
	if !errors.Is(err, apierr.Reason(reason)) {
		t.Fatalf("got %v, want reason %s", err, reason)
	}
}

func audited(t *testing.T, s inventory.Store) {
	t.Helper()
	faults, err := s.Audit(t.Context(), site)
	must(t, err)
	for _, f := range faults {
		t.Errorf("the books are wrong: %s", f)
	}
}

func rowComesBack(t *testing.T, s inventory.Store) {
	service := kitchen(t, s)
	i, err := s.Items().Get(t.Context(), site+"/items/bones")
	must(t, err)
	if i.DisplayName != "Veal bones" || i.Density != 1.1 || i.ShelfLife != 72*time.Hour || *i.MaxReceipt != 5.5 || i.Purchase.Case != 10_000_000 || !slices.Equal(i.Purchase.DeliveryWeekdays, []int{1, 4}) ||
		i.Allergens[0].Species != "cod" || !i.Active || i.Version != 1 || !i.CreateTime.Equal(noon) {
		t.Errorf("item came back as %+v", i)
	}
	lot := receive(t, service, "b1", 7, "2026-03-12")
	l, err := s.Lots().Get(t.Context(), lot)
	must(t, err)
	if l.OnHand != kg(7) || l.UseBy != "2026-03-12" || l.Supplier != site+"/suppliers/marrow" || !l.ProduceTime.Equal(noon) || l.Held || l.Released || !l.ReleaseTime.IsZero() {
		t.Errorf("lot came back as %+v", l)
	}
	m, err := s.Moves().Get(t.Context(), l.OriginMove)
	must(t, err)
	if len(m.Entries) != 2 || m.Entries[0].Mass != -kg(7) || m.Entries[0].Account != inventory.AtSupplier || m.Entries[1].Reference != site+"/locations/cold" {
		t.Errorf("move came back as %+v", m)
	}
	audited(t, s)
}

func missingAndTaken(t *testing.T, s inventory.Store) {
	service := kitchen(t, s)
	_, err := s.Items().Get(t.Context(), site+"/items/nothing")
	wantReason(t, err, inventory.ItemMissing)
	_, err = s.Lots().Get(t.Context(), site+"/lots/nothing")
	wantReason(t, err, inventory.LotMissing)
	_, err = s.Moves().Get(t.Context(), site+"/moves/nothing")
	wantReason(t, err, inventory.MoveMissing)
	_, err = service.CreateItem(t.Context(), site, "bones", &inventory.Item{DisplayName: "Other bones", Kind: inventory.Purchased, Active: true})
	wantReason(t, err, inventory.ItemExists)
	if apierr.KindOf(err) != apierr.KindAlreadyExists {
		t.Errorf("kind %v", apierr.KindOf(err))
	}
	if a, err := s.Account(t.Context(), site+"/batches/none"); a != nil || err != nil {
		t.Errorf("account of nothing: %v, %v", a, err)
	}
}

func oldVersion(t *testing.T, s inventory.Store) {
	kitchen(t, s)
	a, err := s.Suppliers().Get(t.Context(), site+"/suppliers/marrow")
	must(t, err)
	b := *a
	a.DisplayName, a.Version = "First", a.Version+1
	must(t, s.InTx(t.Context(), func(ctx context.Context) error { return s.Suppliers().Update(ctx, a) }))
	b.DisplayName, b.Version = "Second", b.Version+1
	err = s.InTx(t.Context(), func(ctx context.Context) error { return s.Suppliers().Update(ctx, &b) })
	wantReason(t, err, inventory.EtagMismatch)
}

func namesDifferByCase(t *testing.T, s inventory.Store) {
	kitchen(t, s)
	_, err := s.Items().Get(t.Context(), site+"/items/Bones")
	wantReason(t, err, inventory.ItemMissing)
	rows, err := s.Suppliers().List(t.Context(), inventory.ListQuery{Site: site, Limit: 10, Filter: `display_name = "marrow and sons"`})
	must(t, err)
	if len(rows) != 0 {
		t.Error("a filter found a name of another case")
	}
}

func pagesUnderWrites(t *testing.T, s inventory.Store) {
	service := kitchen(t, s)
	add := func(id string) {
		_, err := service.BatchCreateSuppliers(t.Context(), site, []inventory.NewSupplier{{ID: id, Supplier: &inventory.Supplier{DisplayName: id, Active: true}}})
		must(t, err)
	}
	for i := range 7 {
		add(fmt.Sprintf("n%d", i))
	}
	var names []string
	q := inventory.ListQuery{Site: site, Limit: 3}
	for {
		rows, err := s.Suppliers().List(t.Context(), q)
		must(t, err)
		for _, r := range rows {
			names = append(names, r.DisplayName)
		}
		if len(rows) < 3 {
			break
		}
		q.Cursor = s.Suppliers().Cursor(rows[2])
		if len(names) == 3 {
			add("a-before") // behind the reader: not seen
			add("n1-5")     // before it: seen
		}
	}
	want := []string{"Marrow and Sons", "n0", "n1", "n1-5", "n2", "n3", "n4", "n5", "n6"}
	if !slices.Equal(names, want) {
		t.Errorf("pages gave %v, want %v", names, want)
	}
	_, err := s.Suppliers().List(t.Context(), inventory.ListQuery{Site: site, Limit: 3, Cursor: []string{"a", "b"}})
	wantReason(t, err, inventory.PageTokenInvalid)
}

func filters(t *testing.T, s inventory.Store) {
	service := kitchen(t, s)
	receive(t, service, "b1", 7, "2026-03-12")
	receive(t, service, "b2", 7, "2026-03-20")
	for filter, want := range map[string]int{
		`item = "sites/quay/items/bones"`: 2, `use_by_date < "2026-03-15"`: 1, `state = OPEN AND NOT held = true`: 2, `produce_time > "2026-03-11T00:00:00Z"`: 0,
		`name = "sites/quay/lots/b2" OR use_by_date = "2026-03-12"`: 2, "": 2,
	} {
		rows, err := s.Lots().List(t.Context(), inventory.ListQuery{Site: site, Limit: 10, Filter: filter})
		must(t, err)
		if len(rows) != want {
			t.Errorf("filter %s gave %d rows, want %d", filter, len(rows), want)
		}
	}
	_, err := s.Lots().List(t.Context(), inventory.ListQuery{Site: site, Limit: 10, Filter: "color = red"})
	wantReason(t, err, inventory.FilterInvalid)
	moves, err := s.Moves().List(t.Context(), inventory.ListQuery{Site: site, Limit: 10, Lot: site + "/lots/b1", Filter: "kind = RECEIVE"})
	must(t, err)
	if len(moves) != 1 || len(moves[0].Entries) != 2 {
		t.Errorf("moves of one lot: %v", moves)
	}
	if rows, err := s.Lots().List(t.Context(), inventory.ListQuery{Site: "sites/other", Limit: 10}); err != nil || len(rows) != 0 {
		t.Errorf("another kitchen sees %d lots, %v", len(rows), err)
	}
}

func shipmentsNewestFirst(t *testing.T, s inventory.Store) {
	var want []string
	for i := range 5 {
		sh := &inventory.Shipment{
			Name: fmt.Sprintf("%s/shipments/s%d", site, i), Outlet: fmt.Sprintf("%s/outlets/o%d", site, i%2), State: inventory.ShipmentDraft,
			Meta: inventory.Meta{UID: "u", Version: 1, CreateTime: noon.Add(time.Duration(i) * time.Hour)},
		}
		must(t, s.InTx(t.Context(), func(ctx context.Context) error { return s.Shipments().Insert(ctx, sh) }))
		want = append([]string{sh.Name}, want...)
	}
	var got []string
	q := inventory.ListQuery{Site: site, Limit: 2}
	for {
		rows, err := s.Shipments().List(t.Context(), q)
		must(t, err)
		for _, r := range rows {
			got = append(got, r.Name)
		}
		if len(rows) < 2 {
			break
		}
		q.Cursor = s.Shipments().Cursor(rows[1])
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	rows, err := s.Shipments().List(t.Context(), inventory.ListQuery{Site: site, Limit: 10, Outlet: site + "/outlets/o1"})
	must(t, err)
	if len(rows) != 2 {
		t.Errorf("an outlet sees %d shipments", len(rows))
	}
}
