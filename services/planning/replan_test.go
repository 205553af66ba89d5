package planning_test

import (
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/units"
	"rondeau.internal/services/planning"
)

// bought sums the purchases of an item.
func bought(plan *planning.Plan, id string) units.Milligrams {
	var sum units.Milligrams
	for _, p := range plan.Purchases {
		if p.Item == item(id) {
			sum += p.Mass
		}
	}
	return sum
}

func noted(plan *planning.Plan, parts ...string) bool {
	for _, n := range plan.Notes {
		all := true
		for _, p := range parts {
			all = all && strings.Contains(n, p)
		}
		if all {
			return true
		}
	}
	return false
}

func TestAReplanDoesNotBuyAgainWhatInventoryHasNotHeardOfYet(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.order("pier", "o1", "2026-03-11", 30)
	first, _ := k.plan("first", "2026-03-02", "2026-03-16")
	k.release(first)
	again, batches := k.plan("again", "2026-03-02", "2026-03-16")
	if len(again.Purchases) != 0 {
		t.Errorf("bought twice: %+v", again.Purchases)
	}
	if !noted(again, first.Name, "not among the expected deliveries") {
		t.Errorf("nothing says that purchases are counted on: %q", again.Notes)
	}
	balanced(t, batches, again.Purchases)
	from := map[string]bool{}
	for _, b := range batches {
		for _, in := range b.Inputs {
			for _, s := range in.Sources {
				from[s.Purchase] = true
			}
		}
	}
	for _, p := range first.Purchases {
		if !from[p.Name] {
			t.Errorf("no batch takes from %s", p.Name)
		}
	}
	// When inventory has made deliveries of them, it counts on those, and on nothing that it called off.
	for _, p := range first.Purchases {
		k.stock.heard[p.Name] = true
	}
	called, _ := k.plan("called-off", "2026-03-02", "2026-03-16")
	if got, want := bought(called, "bones"), bought(first, "bones"); got != want {
		t.Errorf("buys %v of bones after the delivery was called off, want %v", got, want)
	}
}

func TestAPurchaseWhoseDeliveryDayIsOverIsNotCountedOn(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.order("pier", "o1", "2026-03-19", 30)
	first, _ := k.plan("first", "2026-03-02", "2026-03-24")
	k.release(first)
	k.clock.Advance(20 * 24 * time.Hour)
	k.order("pier", "o2", "2026-04-01", 30)
	later, _ := k.plan("later", "2026-03-22", "2026-04-10")
	if noted(later, "not among the expected deliveries") || bought(later, "bones") == 0 {
		t.Errorf("bones that never came are counted on: %q", later.Notes)
	}
}

func TestAReplanCountsStockReservedForBatchesItReplaces(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.order("pier", "o1", "2026-03-11", 30)
	day := planning.Date("2026-03-20")
	k.stock.stock[item("bones")] = planning.Stock{Lots: []planning.StockLot{{Lot: site + "/lots/b", MassKg: 100, UseBy: day}}}
	first, batches := k.plan("first", "2026-03-02", "2026-03-16")
	if bought(first, "bones") != 0 {
		t.Fatalf("bones are bought although there are enough: %+v", first.Purchases)
	}
	k.release(first)
	for _, p := range first.Purchases {
		k.stock.heard[p.Name] = true
	}
	var needed units.Milligrams
	stock := find(t, batches, "brown-stock")
	promise := func(from string) {
		needed = 0
		row := planning.Stock{}
		for _, b := range stock {
			needed += b.Inputs[0].Mass
			name := b.Name
			if from != "" {
				name = from
			}
			row.Promised = append(row.Promised, planning.ReservedLot{Lot: site + "/lots/b", Batch: name, MassKg: kg(b.Inputs[0].Mass), UseBy: day})
		}
		row.ReservedKg = kg(needed)
		row.Lots = []planning.StockLot{{Lot: site + "/lots/b", MassKg: 1, UseBy: day}}
		k.stock.stock[item("bones")] = row
	}
	promise("")
	again, list := k.plan("again", "2026-03-02", "2026-03-16")
	if got := bought(again, "bones"); got != 0 {
		t.Errorf("%v of bones are bought although those of the batches that are replaced come free", got)
	}
	balanced(t, list, again.Purchases)
	promise(site + "/batches/of-somebody-else")
	other, _ := k.plan("other", "2026-03-02", "2026-03-16")
	if bought(other, "bones") == 0 {
		t.Error("bones promised to a batch that goes on are given away")
	}
	promise("")
	for _, b := range stock {
		if err := k.RecordRunStarted(t.Context(), b.Name, k.clock.Now()); err != nil {
			t.Fatal(err)
		}
	}
	k.order("hill", "o2", "2026-03-12", 40)
	running, _ := k.plan("running", "2026-03-02", "2026-03-16")
	if bought(running, "bones") == 0 {
		t.Error("bones promised to a batch in progress are given away")
	}
}

func TestAnOrderLeftOpenBeforeThePlanIsPlannedForItsFirstDayAndNoted(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.order("hill", "old", "2026-03-04", 7)
	k.order("pier", "late", "2026-03-09", 5)
	k.clock.Advance(10 * 24 * time.Hour) // 12 March
	k.order("pier", "next", "2026-03-17", 6)
	k.stock.stock[item("demi-pack")] = planning.Stock{Lots: []planning.StockLot{{Lot: site + "/lots/p", MassKg: 4, Containers: 4}}}
	plan, batches := k.plan("week", "2026-03-12", "2026-03-26")
	count := 0
	for _, b := range find(t, batches, "demi-pack") {
		count += b.Containers
	}
	if count != 7 { // 5 not shipped in time and 6 for later, of which 4 are in stock
		t.Errorf("%d packs are planned", count)
	}
	if !noted(plan, "orders/late", "5 packs", "2026-03-09") {
		t.Errorf("no note about the order that was not shipped: %q", plan.Notes)
	}
	if !noted(plan, "orders/old", "1 open order") {
		t.Errorf("no note about the order that is not planned: %q", plan.Notes)
	}
	late := 0
	for _, s := range plan.Shortages {
		if strings.HasSuffix(s.Order, "orders/late") {
			late += s.Containers
		}
	}
	if late != 1 {
		t.Errorf("%d packs of the late order are short, want the one that is not in stock: %+v", late, plan.Shortages)
	}
	if plan.Summary.OrderedContainers != 11 {
		t.Errorf("the summary counts %d packs ordered", plan.Summary.OrderedContainers)
	}
}

// The bones come on Tuesday 3 March, too late for an order of the 4th. What is cooked for it is due when it can be used, not
// before its bones are there; the packs keep the moment at which they were promised.
func TestNoBatchUpstreamOfALateOneIsDueBeforeItCanBeReady(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	o := k.order("pier", "o1", "2026-03-04", 30)
	k.order("hill", "o2", "2026-03-11", 10)
	_, batches := k.plan("week", "2026-03-02", "2026-03-16")
	byName := map[string]*planning.Batch{}
	for _, b := range batches {
		byName[b.Name] = b
	}
	late := 0
	for _, b := range batches {
		for _, in := range b.Inputs {
			for _, s := range in.Sources {
				if from := byName[s.Batch]; from != nil && b.EarliestStart.Before(from.EarliestStart) {
					t.Errorf("%s may start %s, before what it takes from %s", b.Name, b.EarliestStart, from.EarliestStart)
				}
			}
		}
		if b.Late {
			late++
		}
		if b.OutputItem == item("demi-pack") {
			if b.Late && !b.Due.Equal(o.DispatchTime) {
				t.Errorf("%s is due %s, the order leaves %s", b.Name, b.Due, o.DispatchTime)
			}
			continue
		}
		if ready := b.EarliestStart.Add(b.Duration); b.Due.Before(ready) {
			t.Errorf("%s is due %s and cannot be ready before %s", b.Name, b.Due, ready)
		}
	}
	if late < 3 {
		t.Errorf("%d batches are marked late, want the packs, the sauce and the stock of the late order", late)
	}
}
