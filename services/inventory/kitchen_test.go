package inventory_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/clock"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/inventory"
	"rondeau.internal/services/inventory/sqlite"
)

const site = "sites/quay"

// noon is a Tuesday.
var noon = time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)

// record is an Events that remembers.
type record struct {
	mu     sync.Mutex
	events []inventory.Event
}

func (r *record) Append(_ context.Context, events ...inventory.Event) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.events = append(r.events, events...)
	return nil
}

// judge is a FoodSafety that lets everything pass but what it was told not to.
type judge struct {
	mu    sync.Mutex
	down  error
	says  map[string]inventory.LotSafety
	asked []string
}

func (j *judge) CheckLots(_ context.Context, _ string, lots []string) ([]inventory.LotSafety, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.asked = append(j.asked, lots...)
	if j.down != nil {
		return nil, j.down
	}
	var out []inventory.LotSafety
	for _, l := range lots {
		a, ok := j.says[l]
		if !ok {
			a = inventory.LotSafety{Lot: l, Known: true, Clear: true, Shippable: true}
		}
		out = append(out, a)
	}
	return out, nil
}

// kitchen is a service over a real database with master data.
type kitchen struct {
	*inventory.Service
	t      testing.TB
	ctx    context.Context
	clock  *clock.Fake
	events *record
	judge  *judge
	store  inventory.Store
}

func newKitchen(t testing.TB) *kitchen {
	t.Helper()
	store, err := sqlite.New(t.Context(), sqldbtest.SQLite(t))
	if err != nil {
		t.Fatal(err)
	}
	return kitchenOver(t, store)
}

func kitchenOver(t testing.TB, store inventory.Store) *kitchen {
	t.Helper()
	k := &kitchen{t: t, clock: clock.NewFake(noon), events: &record{}, judge: &judge{says: map[string]inventory.LotSafety{}}, store: store}
	k.ctx = auth.NewContext(t.Context(), auth.Principal{Subject: "ada", Role: "cook"})
	var err error
	if k.Service, err = inventory.New(inventory.Deps{Store: store, Clock: k.clock, Events: k.events, FoodSafety: k.judge}); err != nil {
		t.Fatal(err)
	}
	k.masters()
	return k
}

func (k *kitchen) masters() {
	k.t.Helper()
	limit := 5.0
	_, err := k.BatchCreateSuppliers(k.ctx, site, []inventory.NewSupplier{
		{ID: "marrow", Supplier: &inventory.Supplier{DisplayName: "Marrow and Sons", Active: true}},
	})
	k.must(err)
	_, err = k.BatchCreateLocations(k.ctx, site, []inventory.NewLocation{
		{ID: "dry", Location: &inventory.Location{DisplayName: "Dry store", Kind: inventory.DryStore, Active: true}},
		{ID: "cold", Location: &inventory.Location{DisplayName: "Walk-in", Kind: inventory.WalkIn, Active: true}},
		{ID: "ice", Location: &inventory.Location{DisplayName: "Freezer", Kind: inventory.Freezer, Active: true}},
		{ID: "ice2", Location: &inventory.Location{DisplayName: "Second freezer", Kind: inventory.Freezer, Active: true}},
	})
	k.must(err)
	day := 24 * time.Hour
	_, err = k.BatchCreateItems(k.ctx, site, []inventory.NewItem{
		{ID: "bones", Item: &inventory.Item{DisplayName: "Veal bones", Kind: inventory.Purchased, Storage: inventory.Chilled, ShelfLife: 3 * day, MaxReceipt: &limit, Purchase: inventory.PurchaseTerms{Supplier: site + "/suppliers/marrow"}, Active: true}},
		{ID: "celery", Item: &inventory.Item{DisplayName: "Celery", Kind: inventory.Purchased, Storage: inventory.Chilled, ShelfLife: 5 * day, Active: true, Allergens: []inventory.Allergen{{Allergen: "CELERY"}}}},
		{ID: "water", Item: &inventory.Item{DisplayName: "Water", Kind: inventory.Utility, Active: true}},
		{ID: "stock", Item: &inventory.Item{DisplayName: "Brown stock", Kind: inventory.Made, Storage: inventory.Chilled, ShelfLife: 4 * day, Active: true}},
		{ID: "fat", Item: &inventory.Item{DisplayName: "Rendered fat", Kind: inventory.Made, Storage: inventory.Chilled, ShelfLife: 20 * day, Active: true}},
		{ID: "glace", Item: &inventory.Item{DisplayName: "Demi-glace", Kind: inventory.Made, Storage: inventory.Chilled, ShelfLife: 5 * day, Active: true}},
		{ID: "pouch", Item: &inventory.Item{DisplayName: "Demi-glace, 1 kg", Kind: inventory.Pack, Storage: inventory.Frozen, ShelfLife: 180 * day, NetMass: kilos(1), GTIN: "09520123456788", Active: true, Allergens: []inventory.Allergen{{Allergen: "CELERY"}}}},
	})
	k.must(err)
}

func (k *kitchen) must(err error) {
	k.t.Helper()
	if err != nil {
		k.t.Fatal(err)
	}
}

// refused asserts the reason of an error and that its message holds the words given.
func (k *kitchen) refused(err error, reason string, words ...string) {
	k.t.Helper()
	if !errors.Is(err, apierr.Reason(reason)) {
		k.t.Fatalf("got %v, want reason %s", err, reason)
	}
	var e *apierr.Error
	errors.As(err, &e)
	for _, w := range words {
		if !strings.Contains(e.Message, w) {
			k.t.Errorf("message %q does not say %q", e.Message, w)
		}
	}
}

// booksAreRight recomputes the books.
func (k *kitchen) booksAreRight() {
	k.t.Helper()
	faults, err := k.store.Audit(k.ctx, site)
	k.must(err)
	for _, f := range faults {
		k.t.Errorf("the books are wrong: %s", f)
	}
}

func kilos(x float64) units.Milligrams {
	m, err := units.Mass(x).Milligrams()
	if err != nil {
		panic(err)
	}
	return m
}

func item(id string) string     { return site + "/items/" + id }
func location(id string) string { return site + "/locations/" + id }
func batch(id string) string    { return site + "/batches/" + id }

// receive books goods in and returns the lot.
func (k *kitchen) receive(id string, mass float64, lotID, bestBefore string) string {
	k.t.Helper()
	d, err := k.CreateDelivery(k.ctx, site, "", &inventory.Delivery{Supplier: site + "/suppliers/marrow", ExpectedDate: "2026-03-10", Lines: []inventory.DeliveryLine{{Item: item(id), Expected: kilos(mass)}}})
	k.must(err)
	temp := 3.0
	d, err = k.ReceiveDelivery(k.ctx, inventory.Receipt{Delivery: d.Name, Lines: []inventory.ReceiptLine{{LineID: "1", Mass: kilos(mass), Temperature: &temp, Condition: inventory.Sound, LotID: lotID, BestBefore: bestBefore}}})
	k.must(err)
	if d.Lines[0].Decision != inventory.Accepted {
		k.t.Fatalf("line was %s: %s", d.Lines[0].Decision, d.Lines[0].DecisionReason)
	}
	return d.Lines[0].Lot
}

func (k *kitchen) consume(b, id string, mass float64, lot string) error {
	_, _, err := k.ConsumeStock(k.ctx, inventory.Consumption{Site: site, Batch: batch(b), Inputs: []inventory.ConsumptionInput{{Item: item(id), Mass: kilos(mass), Lot: lot}}})
	return err
}

func (k *kitchen) produce(b, id string, mass float64, lotID string) string {
	k.t.Helper()
	lots, _, err := k.RecordProduction(k.ctx, inventory.Production{Site: site, Batch: batch(b), Outputs: []inventory.ProductionOutput{{Item: item(id), Mass: kilos(mass), LotID: lotID}}})
	k.must(err)
	return lots[0].Name
}

// cook makes 30 kg of stock (lot s1) and 4 kg of fat (f1) of 40 kg of bones (b1) and 60 kg of water in batch one, and 10 kg of demi-glace
// (g1) of 28 kg of the stock and 2 kg of celery (c1) in batch two.
func (k *kitchen) cook() {
	k.t.Helper()
	k.receive("bones", 50, "b1", "")
	k.receive("celery", 5, "c1", "")
	k.must(k.consume("one", "bones", 40, ""))
	k.must(k.consume("one", "water", 60, ""))
	k.produce("one", "stock", 30, "s1")
	k.produce("one", "fat", 4, "f1")
	k.must(k.consume("two", "stock", 28, ""))
	k.must(k.consume("two", "celery", 2, ""))
	k.produce("two", "glace", 10, "g1")
}

func (k *kitchen) release(lots ...string) {
	k.t.Helper()
	for _, l := range lots {
		k.must(k.NoteRelease(k.ctx, site+"/lots/"+l, k.clock.Now()))
	}
	k.clock.Advance(time.Second)
}

// pack packs 8 pouches (lot p1) of the demi-glace.
func (k *kitchen) pack(count int, lotID string) *inventory.Packed {
	k.t.Helper()
	p, err := k.PackContainers(k.ctx, inventory.Packing{Site: site, Batch: batch("packing"), Item: item("pouch"), Sources: []inventory.PackingSource{{Lot: site + "/lots/g1"}}, Count: count, LotID: lotID})
	k.must(err)
	return p
}

func (k *kitchen) onHand(lot string) units.Milligrams {
	k.t.Helper()
	l, err := k.Lot(k.ctx, lot)
	k.must(err)
	return l.OnHand
}

func sorted(s []string) []string { return slices.Sorted(slices.Values(s)) }
