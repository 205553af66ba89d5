package sched_test

import (
	"slices"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/kitchengen"
)

// hurried gives every activity a due time, so that the tardiness has something to say.
func hurried(seed uint64, in sched.Instance) sched.Instance {
	in.Activities = slices.Clone(in.Activities)
	for i := range in.Activities {
		a := &in.Activities[i]
		if a.DueWeight == 0 {
			a.Due, a.DueWeight = int64(2+(seed+uint64(i))%4), 1+int64(seed+uint64(i))%3
		}
	}
	return in
}

// Whatever the rents, cells and windows, no value of the relaxation is above the optimum that complete enumeration finds.
func TestNoRentsProveMoreThanTheOptimum(t *testing.T) {
	t.Parallel()
	checked, raised, tight := 0, 0, 0
	const ties = 1<<5 | 1<<9 | 1<<10 | 1<<12 // second vessels, greatest lags and holds
	for seed := range uint64(420) {
		features := int(seed*2654435761>>7)&0x7fff | 1<<9
		if seed%3 == 0 {
			features = ties
		}
		in := hurried(seed, tiny(seed, features))
		in.Weights.Blend = 0
		if err := in.Validate(); err != nil {
			t.Fatalf("%s: %v", in.Name, err)
		}
		o := enumerate(in)
		if !o.found {
			continue
		}
		best := o.best.Tardiness
		for _, cell := range []int64{0, 2, 3} {
			for _, width := range []int32{0, 1, 2, 3} {
				for i, v := range sched.RentValues(in, cell, width, best, seed) {
					checked++
					if v > best {
						t.Fatalf("%s: value %d with cells of %d and windows of %d proves %d, but a plan costs %d", in.Name, i, cell, width, v, best)
					}
				}
			}
		}
		if v := sched.RentValues(in, 0, 0, best, seed); len(v) > 0 {
			if v[len(v)-1] > v[0] {
				raised++
			}
			if v[len(v)-1] == best {
				tight++
			}
		}
	}
	t.Logf("%d values; the climb raised %d bounds, %d are the optimum", checked, raised, tight)
	if checked < 100000 || raised < 50 {
		t.Errorf("only %d values checked and %d bounds raised: the test says too little", checked, raised)
	}
}

// Each part of the bound is one of its own: no plan is below it, the best one included.
func TestEveryPartOfTheBoundIsBelowEveryPlan(t *testing.T) {
	t.Parallel()
	var sum sched.Objective
	for seed := range uint64(260) {
		in := tiny(seed, int(seed*2654435761>>6)&0x7fff|1<<8|1<<11|1<<9)
		o := enumerate(in)
		if !o.found {
			continue
		}
		_, rep := mustSolve(t, in, sched.Options{Seed: seed, Iterations: 60})
		b := rep.Bound
		sum.Energy += b.Energy
		sum.Change += b.Change
		sum.Freshness += b.Freshness
		sum.Tardiness += b.Tardiness
		sum.Makespan += b.Makespan
		if c := o.best; b.Tardiness > c.Tardiness || b.Overtime > c.Overtime || b.Energy > c.Energy || b.Freshness > c.Freshness || b.Change > c.Change || b.Makespan > c.Makespan {
			t.Errorf("%s: bound %+v, optimum %+v", in.Name, b, c)
		}
	}
	if sum.Energy == 0 || sum.Change == 0 || sum.Freshness == 0 || sum.Tardiness == 0 || sum.Makespan == 0 {
		t.Errorf("a part is never bounded: %+v", sum)
	}
}

func TestMoreOfAResourceOrALaterDueTimeNeverRaisesAValue(t *testing.T) {
	t.Parallel()
	compared := 0
	for seed := range uint64(400) {
		in := hurried(seed, tiny(seed, int(seed*2654435761>>5)&0x7fff))
		later := in
		later.Activities = slices.Clone(in.Activities)
		k := int(seed % uint64(len(in.Activities)))
		later.Activities[k].Due++
		if x, y, ok := sched.SameRents(in, later, seed); ok {
			compared++
			if y > x {
				t.Errorf("%s: a later due time raises %d to %d", in.Name, x, y)
			}
		}
		longer := in
		longer.Vessels = slices.Clone(in.Vessels)
		longer.Vessels[0].Down = nil
		if x, y, ok := sched.SameRents(in, longer, seed); ok {
			compared++
			if y > x {
				t.Errorf("%s: a vessel that is never down raises %d to %d", in.Name, x, y)
			}
		}
	}
	if compared < 300 {
		t.Errorf("only %d pairs compared", compared)
	}
}

// One more vessel can only make the optimum smaller, so the bound with it must stay below the optimum without it.
func TestTheBoundWithOneMoreVesselIsBelowTheOptimumWithout(t *testing.T) {
	t.Parallel()
	for seed := range uint64(80) {
		in := hurried(seed, tiny(seed, 1|1<<1|1<<2|1<<4|1<<9))
		in.Weights.Blend = 0
		o := enumerate(in)
		if !o.found {
			continue
		}
		more := in
		more.Vessels = append(slices.Clone(in.Vessels), sched.Vessel{Name: "v2", Setup: in.Vessels[0].Setup})
		more.Activities = slices.Clone(in.Activities)
		for i := range more.Activities {
			a := &more.Activities[i]
			extra := a.Modes[0]
			extra.Name, extra.Uses = "v2", []sched.Use{{Vessel: "v2"}}
			a.Modes = append(slices.Clone(a.Modes), extra)
		}
		for _, v := range sched.RentValues(more, 0, 0, o.best.Tardiness, seed) {
			if v > o.best.Tardiness {
				t.Fatalf("%s: %d with one vessel more, the optimum without is %d", in.Name, v, o.best.Tardiness)
			}
		}
	}
}

// Two kettles for eight batches: the bound must say that the kettles are what is scarce, and rise well above what the
// steps of the batches need by themselves.
func TestTheReportSaysThatTheKettlesAreScarce(t *testing.T) {
	t.Parallel()
	in := kitchengen.Kitchen(0, kitchengen.Size{Batches: 8, Days: 2, Kettles: 2, Ovens: 2, Chillers: 2})
	var last int64
	_, rep := mustSolve(t, in, sched.Options{Seed: 1, Iterations: 4000, Progress: func(r sched.Report) {
		if r.Bound.Tardiness < last {
			t.Errorf("the bound falls from %d to %d", last, r.Bound.Tardiness)
		}
		last = r.Bound.Tardiness
	}})
	if len(rep.BoundBy) < 2 {
		t.Fatalf("%+v", rep.BoundBy)
	}
	steps, kettles := rep.BoundBy[0], rep.BoundBy[1]
	if steps.Kind != sched.WaitLag || kettles.Kind != sched.WaitVessel || !slices.Equal(kettles.Vessels, []string{"kettle-1", "kettle-2"}) {
		t.Errorf("%+v", rep.BoundBy)
	}
	if steps.Cost <= 0 || kettles.Cost <= 0 || steps.Cost+kettles.Cost > rep.Objective.Tardiness {
		t.Errorf("%d and %d of %d", steps.Cost, kettles.Cost, rep.Objective.Tardiness)
	}
	if rep.Bound.Tardiness < 3*steps.Cost {
		t.Errorf("the bound %d is hardly above the %d of the steps", rep.Bound.Tardiness, steps.Cost)
	}
	if kettles.From >= kettles.To || kettles.From < in.Horizon.Start || kettles.To > in.Horizon.End {
		t.Errorf("scarce between %d and %d", kettles.From, kettles.To)
	}
	for _, r := range rep.BoundBy {
		if r.Message == "" {
			t.Errorf("no words for %+v", r)
		}
		t.Log(r.Message)
	}
}

// Where nothing competes the relaxation is no relaxation: for one batch by itself, with its calendars, pauses, holds and
// greatest lags, the bound under no rents is what the best plan costs.
func TestForOneBatchTheBoundIsTheOptimum(t *testing.T) {
	t.Parallel()
	late := 0
	for seed := range uint64(40) {
		in := kitchengen.Kitchen(seed, kitchengen.Size{Batches: 1})
		for i := range in.Activities {
			if a := &in.Activities[i]; a.DueWeight > 0 {
				a.Due -= 12 * 3600
			}
		}
		_, rep := mustSolve(t, in, sched.Options{Seed: seed, Iterations: 400})
		if rep.Objective.Tardiness > 0 {
			late++
		}
		v := sched.RentValues(in, 0, 0, rep.Objective.Tardiness, seed)
		if len(v) == 0 || v[0] != rep.Objective.Tardiness {
			t.Errorf("seed %d: a plan of %d, bound %v", seed, rep.Objective.Tardiness, v[:min(1, len(v))])
		}
	}
	if late < 20 {
		t.Errorf("only %d batches are late", late)
	}
}

// A vessel that is let go at the end of an activity is not kept by its hold: a strain frees the kettle while the pot waits.
func TestAVesselLetGoIsNotKeptByTheHold(t *testing.T) {
	t.Parallel()
	use := func(names ...string) (out []sched.Use) {
		for _, n := range names {
			out = append(out, sched.Use{Vessel: n, FreeAtEnd: n == "kettle" && len(names) > 1})
		}
		return out
	}
	in := sched.Instance{
		Horizon: sched.Span{End: 16},
		Vessels: []sched.Vessel{{Name: "kettle"}, {Name: "pot"}},
		Activities: []sched.Activity{
			{Name: "strain", Modes: []sched.Mode{{Name: "both", Uses: use("kettle", "pot"), Start: 2}}, Due: 2, DueWeight: 3},
			{Name: "pour", Modes: []sched.Mode{{Name: "pot", Uses: use("pot"), Start: 1}}, Due: 8, DueWeight: 1},
			{Name: "boil", Modes: []sched.Mode{{Name: "kettle", Uses: use("kettle"), Start: 3}}, Due: 4, DueWeight: 2},
		},
		Lags:  []sched.Lag{{From: "strain", To: "pour", Min: 5}},
		Holds: []sched.Hold{{Activity: "strain", Until: "pour"}},
	}
	o := enumerate(in)
	if !o.found || o.best.Tardiness != 2 {
		t.Fatalf("optimum %+v, by hand it is 2: the boil begins when the strain ends and is late by one", o.best)
	}
	for _, v := range sched.RentValues(in, 0, 0, 6, 1) {
		if v > 2 {
			t.Fatalf("a value of %d", v)
		}
	}
}
