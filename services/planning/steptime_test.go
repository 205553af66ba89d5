package planning_test

import (
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"rondeau.internal/services/planning"
)

func step(formula, id string) string {
	return site + "/formulas/" + formula + "/versions/1/steps/" + id
}

func between(shortest, longest float64) planning.StepTime {
	return planning.StepTime{Possible: true, Shortest: *hours(shortest), Longest: *hours(longest), Basis: "by heat"}
}

// planned plans one order of packs and returns the batches of demi-glace and of stock.
func planned(t *testing.T, k *kitchen) (plan *planning.Plan, demi, stock *planning.Batch) {
	t.Helper()
	k.order("hill", "o1", "2026-03-11", 30)
	plan, batches := k.plan("week", "2026-03-02", "2026-03-16")
	balanced(t, batches, plan.Purchases)
	return plan, find(t, batches, "demi-glace")[0], find(t, batches, "brown-stock")[0]
}

func TestWhatTheVesselsNeedMovesTheStartEarlier(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.line.times = map[string]planning.StepTime{
		step("demi-glace", "reduce"):                  between(8, 10.5), // 5 h typed
		step("demi-glace", "chill"):                   between(2, 3.5),  // 3 h typed lie between
		site + "/products/demi-1kg/steps/freeze":      between(11, 11),  // 10 h typed
		site + "/formulas/gone/versions/1/steps/boil": between(40, 40),
	}
	plan, demi, stock := planned(t, k)
	if d := demi.Steps[0].Duration; d != *hours(9.25) {
		t.Errorf("the reduction is planned with %v; the middle of 8 h and 10 h 30 min is 9 h 15 min", d)
	}
	if d := demi.Steps[2].Duration; d != *hours(2.75) {
		t.Errorf("the chill is planned with %v", d)
	}
	if want := *hours(9.25 + 0.5 + 2.75); demi.Duration != want {
		t.Errorf("demi-glace takes %v, want %v", demi.Duration, want)
	}
	if want := demi.Due.Add(-demi.Duration); !stock.Due.Equal(want) {
		t.Errorf("stock is due %s, demi-glace must start %s", stock.Due, want)
	}
	for _, words := range []string{
		"Reduce of Demi-glace takes 8 h to 10 h 30 min in the vessels there are and the plan counts 9 h 15 min; its formula counts 5 h: correct the formula (slowest: by heat)",
		"Freeze of Demi-glace 1 kg takes 11 h in the vessels there are and the plan counts 11 h; its product counts 10 h: correct the product",
	} {
		if !noted(plan, words) {
			t.Errorf("no note says %q: %q", words, plan.Notes)
		}
	}
	if noted(plan, "Chill of") {
		t.Errorf("a typed time that a vessel can keep is noted: %q", plan.Notes)
	}
	other := newKitchen(t)
	other.line.times = k.line.times
	again, demiAgain, stockAgain := planned(t, other)
	if !reflect.DeepEqual(plan.Notes, again.Notes) || !demiAgain.Due.Equal(demi.Due) || !stockAgain.Due.Equal(stock.Due) {
		t.Errorf("the same facts give another plan: %q", again.Notes)
	}
}

func TestTypedTimesCountWhereThePhysicsAreNotKnown(t *testing.T) {
	t.Parallel()
	_, typedDemi, typedStock := planned(t, newKitchen(t))
	if typedDemi.Duration != *hours(8.5) {
		t.Fatalf("typed times sum to %v", typedDemi.Duration)
	}
	impossible := between(40, 50)
	impossible.Possible = false
	for _, c := range []struct {
		name   string
		line   func(l *line)
		silent bool
	}{
		{"scheduling does not answer", func(l *line) { l.untimed = true }, true},
		{"no vessel can do it", func(l *line) { l.times = map[string]planning.StepTime{step("demi-glace", "reduce"): impossible} }, false},
		{"the answer makes no sense", func(l *line) { l.times = map[string]planning.StepTime{step("demi-glace", "reduce"): between(9, 8)} }, false},
		{"the answer is nothing", func(l *line) { l.times = map[string]planning.StepTime{step("demi-glace", "reduce"): between(0, 0)} }, false},
		{"the step has no physics", func(l *line) { l.times = map[string]planning.StepTime{step("demi-glace", "finish"): between(9, 9)} }, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := newKitchen(t)
			c.line(k.line)
			plan, demi, stock := planned(t, k)
			if demi.Duration != typedDemi.Duration || !demi.Due.Equal(typedDemi.Due) || !stock.Due.Equal(typedStock.Due) {
				t.Errorf("demi-glace takes %v and is due %s, stock %s", demi.Duration, demi.Due, stock.Due)
			}
			if noted(plan, "scheduling does not say how long") != c.silent || noted(plan, "in the vessels there are") {
				t.Errorf("notes: %q", plan.Notes)
			}
		})
	}
}

func TestASimmerIsNeverPlannedShorterThanItsHold(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.line.times = map[string]planning.StepTime{step("brown-stock", "simmer"): between(4, 6)} // it holds 8 h
	_, _, stock := planned(t, k)
	if d := stock.Steps[1].Duration; d != 8*time.Hour {
		t.Errorf("the simmer is planned with %v", d)
	}
	k = newKitchen(t)
	k.line.times = map[string]planning.StepTime{step("brown-stock", "simmer"): between(8.5, 9)} // 10 h typed
	_, _, stock = planned(t, k)
	if d := stock.Steps[1].Duration; d != *hours(8.75) {
		t.Errorf("the simmer is planned with %v", d)
	}
}

func TestSchedulingIsAskedOnceForSizesThatTheVesselsMake(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.line.vessels[0].MaxFillLiters = 66 // 30 kg of stock at 2.2 L/kg, of 60 kg that the formula is written for
	planned(t, k)
	if len(k.line.asked) != 1 {
		t.Fatalf("asked %d times", len(k.line.asked))
	}
	got := map[string]planning.StepQuestion{}
	for _, q := range k.line.asked[0] {
		got[strings.TrimPrefix(q.Key, site)] = q
	}
	for _, c := range []struct {
		key              string
		fill, load, size float64
	}{
		{"/formulas/brown-stock/versions/1/steps/simmer", 66, 0, 30},
		{"/formulas/brown-stock/versions/1/steps/chill", 0, 30, 30},
		{"/formulas/demi-glace/versions/1/steps/reduce", 50, 0, 20},
		{"/formulas/demi-glace/versions/1/steps/chill", 0, 20, 20},
		{"/products/demi-1kg/steps/freeze", 0, 120, 120},
	} {
		q, asked := got[c.key]
		if !asked || math.Abs(q.FillLiters-c.fill) > 1e-9 || math.Abs(q.LoadKg-c.load) > 1e-9 || math.Abs(q.OutputKg-c.size) > 1e-9 || q.Step == nil {
			t.Errorf("%s (%v): %+v", c.key, asked, q)
		}
		delete(got, c.key)
	}
	if len(got) != 0 {
		t.Errorf("asked for what no physics decide: %v", got)
	}
}
