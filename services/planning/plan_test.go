package planning_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/planning"
)

func find(t *testing.T, batches []*planning.Batch, output string) []*planning.Batch {
	t.Helper()
	var out []*planning.Batch
	for _, b := range batches {
		if b.OutputItem == item(output) {
			out = append(out, b)
		}
	}
	if len(out) == 0 {
		t.Fatalf("no batch of %s", output)
	}
	return out
}

func sumPlanned(batches []*planning.Batch) float64 {
	sum := 0.0
	for _, b := range batches {
		sum += float64(b.Planned.Mass())
	}
	return sum
}

func kg(m units.Milligrams) float64 { return float64(m.Mass()) }

// balanced checks what must hold for every plan: pegs sum to the planned output, sources to the inputs, and what a batch
// says it takes from another is what that one says it gives.
func balanced(t *testing.T, batches []*planning.Batch, purchases []planning.Purchase) {
	t.Helper()
	given, taken := map[[2]string]units.Milligrams{}, map[[2]string]units.Milligrams{}
	own := map[string]bool{} // batches in progress belong to an earlier plan and are pegged there
	pegs := func(from string, list []planning.Peg, total units.Milligrams) {
		own[from] = true
		var sum units.Milligrams
		for _, p := range list {
			sum += p.Mass
			if p.Batch != "" {
				given[[2]string{from, p.Batch}] += p.Mass
			}
		}
		if sum != total {
			t.Errorf("pegs of %s sum to %v, its output is %v", from, sum, total)
		}
	}
	for _, b := range batches {
		pegs(b.Name, b.Pegs, b.Planned)
		for _, in := range b.Inputs {
			var sum units.Milligrams
			for _, s := range in.Sources {
				sum += s.Mass
				if s.Mass <= 0 {
					t.Errorf("%s has an empty source of %s", b.Name, in.Item)
				}
				if from := s.Batch + s.Purchase; from != "" && !s.ByProduct {
					taken[[2]string{from, b.Name}] += s.Mass
				}
			}
			if sum != in.Mass && in.Item != item("water") {
				t.Errorf("sources of %s in %s sum to %v, it needs %v", in.Item, b.Name, sum, in.Mass)
			}
		}
	}
	for i := range purchases {
		pegs(purchases[i].Name, purchases[i].Pegs, purchases[i].Mass)
	}
	for pair, mass := range taken {
		// Both ends are rounded on their own: each to the milligram.
		if diff := given[pair] - mass; own[pair[0]] && (diff < -2 || diff > 2) {
			t.Errorf("%s gives %v to %s, which takes %v", pair[0], given[pair], pair[1], mass)
		}
	}
}

func TestPlanGoesFromPacksToBones(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.order("pier", "o1", "2026-03-11", 30)
	k.order("hill", "o2", "2026-03-12", 20)
	plan, batches := k.plan("week", "2026-03-02", "2026-03-16")
	balanced(t, batches, plan.Purchases)
	if len(plan.Shortages) != 0 {
		t.Fatalf("shortages: %+v", plan.Shortages)
	}
	packs, demi, stock := find(t, batches, "demi-pack"), find(t, batches, "demi-glace"), find(t, batches, "brown-stock")
	count := 0
	for _, b := range packs {
		count += b.Containers
	}
	if count != 50 {
		t.Errorf("%d packs are planned for 50 ordered", count)
	}
	// 50 packs of 1 kg with 2 % lost in packing need 50/0.98 kg of demi-glace; each kilogram before yield needs 2.5 kg stock.
	if got := sumPlanned(demi); got < 50/0.98-1e-3 {
		t.Errorf("planned demi-glace is %g kg, packing needs %g", got, 50/0.98)
	}
	nominal := 0.0
	for _, b := range demi {
		nominal += kg(b.Nominal)
		// Normal distribution, service level 0.9: mean less 1.2816 standard deviations (NIST/SEMATECH e-Handbook, table of
		// the standard normal, from memory).
		if want := kg(b.Nominal) * (1 - 1.28155*0.04); math.Abs(kg(b.Planned)-want) > 1e-4*want {
			t.Errorf("planned output of %s is %v, want %g", b.Name, b.Planned, want)
		}
		if math.Abs(kg(b.Expected)-kg(b.Nominal)) > 1e-6 {
			t.Errorf("expected output of %s is %v", b.Name, b.Expected)
		}
	}
	if got := sumPlanned(stock); got < 2.5*nominal-1e-3 {
		t.Errorf("planned stock is %g kg, demi-glace needs %g", got, 2.5*nominal)
	}
	for _, b := range stock {
		// Kettle: 40 to 150 litres at 2.2 L/kg; oven 50 kg at 0.7 kg/kg; chiller 80 kg.
		if n := kg(b.Nominal); n < 40/2.2-1e-6 || n > 150/2.2+1e-6 {
			t.Errorf("a batch of %g kg stock fits no kettle", n)
		}
		if fill := b.Steps[1].FillLiters; math.Abs(fill-2.2*kg(b.Nominal)) > 1e-9 {
			t.Errorf("fill is %g L for %v", fill, b.Nominal)
		}
	}
	bones := 0.0
	for _, p := range plan.Purchases {
		if p.Item == item("bones") {
			bones += kg(p.Mass)
			if p.Cases*20 != int(math.Round(kg(p.Mass))) {
				t.Errorf("%v of bones are %d cases of 20 kg", p.Mass, p.Cases)
			}
			if d := p.DeliveryDate.Weekday(); d != time.Tuesday && d != time.Thursday && d != time.Friday {
				t.Errorf("bones come on a %s", d)
			}
			if p.OrderDate.DaysUntil(p.DeliveryDate) != 1 || p.Supplier == "" {
				t.Errorf("purchase %+v", p)
			}
		}
	}
	need := 0.0
	for _, b := range stock {
		need += kg(b.Nominal) * 40 / 60
	}
	if bones < need-1e-3 {
		t.Errorf("%g kg of bones are bought, %g are needed", bones, need)
	}
}

func TestBatchesCarryWhatSchedulingNeeds(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	o := k.order("hill", "o1", "2026-03-11", 30)
	plan, batches := k.plan("week", "2026-03-02", "2026-03-16")
	pack, demi, stock := find(t, batches, "demi-pack")[0], find(t, batches, "demi-glace")[0], find(t, batches, "brown-stock")[0]
	if !pack.Due.Equal(o.DispatchTime) {
		t.Errorf("packs are due %s, the goods leave %s", pack.Due, o.DispatchTime)
	}
	if want := pack.Due.Add(-11 * time.Hour); !demi.Due.Equal(want) { // 30 kg at 30 kg/h and 10 h in the freezer
		t.Errorf("demi-glace is due %s, want %s", demi.Due, want)
	}
	if want := demi.Due.Add(-8*time.Hour - 30*time.Minute); !stock.Due.Equal(want) {
		t.Errorf("stock is due %s, want %s", stock.Due, want)
	}
	for _, b := range batches {
		if b.Weight != 500 {
			t.Errorf("%s weighs %d, the order of an outlet of weight 5 wants 500", b.Name, b.Weight)
		}
		if b.State != planning.BatchPlanned || b.Plan != plan.Name {
			t.Errorf("%s is %s of %s", b.Name, b.State, b.Plan)
		}
		if !b.EarliestStart.Before(b.Due) || b.EarliestStart.Before(k.clock.Now()) {
			t.Errorf("%s may start %s and is due %s", b.Name, b.EarliestStart, b.Due)
		}
	}
	if len(demi.Inputs) != 3 || demi.Inputs[0].Step != "reduce" || demi.Inputs[1].Step != "finish" {
		t.Fatalf("inputs %+v", demi.Inputs)
	}
	for _, in := range demi.Inputs[:2] {
		for _, s := range in.Sources {
			if !slices.ContainsFunc(find(t, batches, "brown-stock"), func(b *planning.Batch) bool { return b.Name == s.Batch }) {
				t.Errorf("stock comes from %+v", s)
			}
		}
	}
	if got := stock.Steps[2].Step; got.LimitsProfile == "" || !got.Critical || got.Chill.TargetCelsius != 3 {
		t.Errorf("chill step %+v", got)
	}
	// Bones are free of allergens; celery goes in at the simmer; butter at the finish; all of it is in the packs.
	for _, c := range []struct {
		step planning.BatchStep
		want []string
	}{
		{stock.Steps[0], nil},
		{stock.Steps[1], []string{"CELERY"}},
		{demi.Steps[0], []string{"CELERY"}},
		{demi.Steps[1], []string{"CELERY", "MILK"}},
		{pack.Steps[0], []string{"CELERY", "MILK"}},
	} {
		if !slices.Equal(c.step.Allergens, c.want) {
			t.Errorf("%s has %v, want %v", c.step.Step.DisplayName, c.step.Allergens, c.want)
		}
	}
	saved, own, err := k.Plan(t.Context(), plan.Name)
	if err != nil {
		t.Fatal(err)
	}
	if len(own) != len(batches) || saved.Summary.Batches != len(batches) || saved.Summary.OrderedContainers != 30 || saved.Summary.CoveredContainers != 30 {
		t.Errorf("saved plan %+v with %d batches", saved.Summary, len(own))
	}
}

func TestStockAndExpectedDeliveriesAreUsedFirst(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.order("pier", "o1", "2026-03-11", 30)
	k.stock.stock[item("demi-pack")] = planning.Stock{Lots: []planning.StockLot{{Lot: site + "/lots/p1", MassKg: 10, Containers: 10, UseBy: "2026-12-01"}, {Lot: site + "/lots/p0", MassKg: 9, Containers: 9, UseBy: "2026-03-03"}}}
	k.stock.stock[item("bones")] = planning.Stock{Expected: []planning.ExpectedDelivery{{Delivery: site + "/deliveries/d1", MassKg: 200, Date: "2026-03-06"}}}
	k.stock.stock[item("celery")] = planning.Stock{Lots: []planning.StockLot{{Lot: site + "/lots/c1", MassKg: 60}}}
	plan, batches := k.plan("week", "2026-03-02", "2026-03-16")
	balanced(t, batches, plan.Purchases)
	count := 0
	for _, b := range find(t, batches, "demi-pack") {
		count += b.Containers
	}
	if count != 20 {
		t.Errorf("%d packs are made; 30 are ordered, 10 in stock, 9 are out of date by then", count)
	}
	for _, p := range plan.Purchases {
		if p.Item == item("bones") {
			t.Errorf("bones are bought although a delivery is expected: %+v", p)
		}
	}
	stock := find(t, batches, "brown-stock")[0]
	s := stock.Inputs[0].Sources
	if len(s) != 1 || s[0].Delivery != site+"/deliveries/d1" {
		t.Errorf("bones come from %+v", s)
	}
	// Deliveries of a day count from 08:00 in Paris, 07:00 UTC in winter.
	if want := time.Date(2026, 3, 6, 7, 0, 0, 0, time.UTC); !stock.EarliestStart.Equal(want) {
		t.Errorf("stock may start %s, its bones come %s", stock.EarliestStart, want)
	}
}

func TestShortageNamesTheOrderTheRootAndTheWayOut(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	// On Monday morning for Wednesday: bones come on Tuesday, then stock, demi-glace, packs need a day each.
	k.order("pier", "rush", "2026-03-04", 12)
	k.order("hill", "later", "2026-03-12", 12)
	plan, batches := k.plan("week", "2026-03-02", "2026-03-16")
	balanced(t, batches, plan.Purchases)
	if len(plan.Shortages) != 1 {
		t.Fatalf("shortages: %+v", plan.Shortages)
	}
	s := plan.Shortages[0]
	if s.Order != outlet("pier")+"/orders/rush" || s.Containers != 12 || s.NeedDate != "2026-03-04" || s.Available == "" || s.Product != product("demi-1kg") {
		t.Errorf("shortage %+v", s)
	}
	if !strings.Contains(s.Reason, "12 packs of Demi-glace 1 kg are short for the dispatch of 2026-03-04") || !strings.Contains(s.Reason, string(s.Available)) {
		t.Errorf("reason: %s", s.Reason)
	}
	late := 0
	for _, b := range batches {
		if b.Late {
			late++
		}
	}
	if late == 0 {
		t.Error("no batch is marked late")
	}
	if plan.Summary.CoveredContainers != 12 || plan.Summary.Shortages != 1 {
		t.Errorf("summary %+v", plan.Summary)
	}
}

func TestScarceStockGoesToTheHeavierOutletOfADay(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.stock.stock[item("demi-pack")] = planning.Stock{Lots: []planning.StockLot{{Lot: site + "/lots/p1", Containers: 10}}}
	k.order("pier", "a", "2026-03-04", 10)
	k.order("hill", "b", "2026-03-04", 10)
	plan, _ := k.plan("week", "2026-03-02", "2026-03-09")
	if len(plan.Shortages) != 1 || plan.Shortages[0].Order != outlet("pier")+"/orders/a" {
		t.Errorf("shortages: %+v", plan.Shortages)
	}
}

func TestParOfAnOutletIsToppedUpAndOfTheKitchenIsHeld(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	counted := 4
	must(t)(k.CreatePar(ctx, site, "pier-demi", &planning.Par{Outlet: outlet("pier"), Product: product("demi-1kg"), Count: 10, Counted: &counted}))
	must(t)(k.CreatePar(ctx, site, "hill-demi", &planning.Par{Outlet: outlet("hill"), Product: product("demi-1kg"), Count: 10}))
	must(t)(k.CreatePar(ctx, site, "own", &planning.Par{Product: product("demi-1kg"), Count: 15}))
	k.order("pier", "o1", "2026-03-11", 2)
	plan, batches := k.plan("week", "2026-03-02", "2026-03-16")
	balanced(t, batches, plan.Purchases)
	count, parPeg, levelPeg := 0, 0, 0
	for _, b := range find(t, batches, "demi-pack") {
		count += b.Containers
		for _, p := range b.Pegs {
			switch p.Par {
			case site + "/pars/pier-demi":
				parPeg += p.Containers
			case site + "/pars/own":
				levelPeg += p.Containers
			}
		}
	}
	// 10 less 4 counted less 2 ordered is 4; 2 ordered; 15 to hold.
	if count != 21 || parPeg != 4 || levelPeg != 15 {
		t.Errorf("%d packs, %d for the par of the outlet, %d for the level", count, parPeg, levelPeg)
	}
	if !slices.ContainsFunc(plan.Notes, func(n string) bool { return strings.Contains(n, "never counted") }) {
		t.Errorf("notes: %q", plan.Notes)
	}
	if !slices.ContainsFunc(plan.Shortages, func(s planning.Shortage) bool { return s.Par == site+"/pars/own" && s.Available != "" }) {
		t.Errorf("the level cannot be there on the first day: %+v", plan.Shortages)
	}
}

func TestDryRunSavesNothingAndGivesTheSamePlan(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.order("pier", "o1", "2026-03-11", 30)
	r := planning.PlanRequest{ID: "week", Start: "2026-03-02", End: "2026-03-16"}
	_, first, err := k.CreatePlan(t.Context(), site, r, true)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := k.Plan(t.Context(), site+"/plans/week"); apierr.ReasonOf(err) != planning.PlanMissing {
		t.Fatalf("a dry run was saved: %v", err)
	}
	_, second, err := k.CreatePlan(t.Context(), site, r, false)
	if err != nil {
		t.Fatal(err)
	}
	if len(first) != len(second) {
		t.Fatalf("%d and %d batches", len(first), len(second))
	}
	for i := range first {
		if first[i].Name != second[i].Name || first[i].Nominal != second[i].Nominal || !first[i].Due.Equal(second[i].Due) {
			t.Errorf("batch %d: %s %v and %s %v", i, first[i].Name, first[i].Nominal, second[i].Name, second[i].Nominal)
		}
	}
}

func TestPlanRefusals(t *testing.T) {
	t.Parallel()
	span := planning.PlanRequest{Start: "2026-03-02", End: "2026-03-16"}
	for _, c := range []struct {
		name, reason, text string
		request            planning.PlanRequest
		change             func(k *kitchen)
	}{
		{"inventory is down", planning.InventoryUnavailable, "try again", span, func(k *kitchen) { k.stock.down = true }},
		{"scheduling is down", planning.SchedulingUnavailable, "try again", span, func(k *kitchen) { k.line.down = true }},
		{"an item is unknown", planning.ItemMissing, item("celery"), span, func(k *kitchen) { k.stock.items = slices.Delete(k.stock.items, 1, 2) }},
		{"no kettle", planning.NoVesselFits, "class kettle", span, func(k *kitchen) { k.line.vessels = k.line.vessels[1:] }},
		{"the kettle cannot be filled to its mark", planning.NoVesselFits, "no size of batch fits", span, func(k *kitchen) { k.line.vessels[2].LoadCapacityKg = 5 }},
		{"it begins yesterday", planning.PlanStartsInPast, "today is 2026-03-02", planning.PlanRequest{Start: "2026-03-01", End: "2026-03-09"}, func(*kitchen) {}},
		{"it ends before it begins", planning.FieldInvalid, "not after the first day", planning.PlanRequest{Start: "2026-03-09", End: "2026-03-09"}, func(*kitchen) {}},
		{"it is very long", planning.FieldInvalid, "at most 120", planning.PlanRequest{Start: "2026-03-09", End: "2027-03-09"}, func(*kitchen) {}},
		{"a day does not exist", planning.FieldInvalid, "2026-02-30", planning.PlanRequest{Start: "2026-02-30", End: "2026-03-09"}, func(*kitchen) {}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := newKitchen(t)
			k.order("pier", "o1", "2026-03-11", 30)
			c.change(k)
			_, _, err := k.CreatePlan(t.Context(), site, c.request, false)
			if !errors.Is(err, apierr.Reason(c.reason)) || !strings.Contains(err.Error(), c.text) {
				t.Errorf("got %v", err)
			}
		})
	}
}
