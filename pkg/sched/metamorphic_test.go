package sched_test

import (
	"reflect"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/kitchengen"
)

// renamed gives every vessel another name.
func renamed(in sched.Instance, name func(string) string) sched.Instance {
	out := in
	out.Vessels = append([]sched.Vessel(nil), in.Vessels...)
	for i := range out.Vessels {
		out.Vessels[i].Name = name(out.Vessels[i].Name)
	}
	out.Activities = append([]sched.Activity(nil), in.Activities...)
	for i := range out.Activities {
		a := &out.Activities[i]
		a.Modes = append([]sched.Mode(nil), a.Modes...)
		for k := range a.Modes {
			a.Modes[k].Uses = append([]sched.Use(nil), a.Modes[k].Uses...)
			for u := range a.Modes[k].Uses {
				a.Modes[k].Uses[u].Vessel = name(a.Modes[k].Uses[u].Vessel)
			}
		}
	}
	return out
}

func TestOtherNamesForVesselsGiveTheSamePlan(t *testing.T) {
	t.Parallel()
	for seed := range uint64(3) {
		in := kitchengen.Kitchen(seed, kitchengen.Size{Batches: 10 + int(seed)*4}) // the larger ones are rebuilt
		p1, r1 := mustSolve(t, in, sched.Options{Seed: seed, Iterations: 90})
		p2, r2 := mustSolve(t, renamed(in, func(s string) string { return "z" + s[1:] + s[:1] }), sched.Options{Seed: seed, Iterations: 90})
		if r1.Objective != r2.Objective {
			t.Errorf("seed %d: %+v and %+v", seed, r1.Objective, r2.Objective)
		}
		for i := range p1.Assignments {
			if p1.Assignments[i].Start != p2.Assignments[i].Start {
				t.Fatalf("seed %d: %s moved", seed, p1.Assignments[i].Activity)
			}
		}
	}
}

func TestTheOrderOfVesselsDoesNotMatterForTheOptimum(t *testing.T) {
	t.Parallel()
	for seed := range uint64(60) {
		in := tiny(seed, 1|1<<2|1<<3|1<<4|1<<9)
		turned := in
		turned.Vessels = []sched.Vessel{in.Vessels[1], in.Vessels[0]}
		_, r1 := mustSolve(t, in, sched.Options{Iterations: 200})
		_, r2 := mustSolve(t, turned, sched.Options{Iterations: 200})
		if r1.Objective != r2.Objective && (r1.Objective.First != r2.Objective.First || r1.Objective.Rest != r2.Objective.Rest) {
			t.Errorf("%s: %+v and %+v", in.Name, r1.Objective, r2.Objective)
		}
	}
}

// shifted moves all times of a kitchen instance.
func shifted(in sched.Instance, by int64) sched.Instance {
	out := in
	move := func(s sched.Span) sched.Span { return sched.Span{Start: s.Start + by, End: s.End + by} }
	out.Horizon = move(in.Horizon)
	out.Calendars, out.Resources, out.Vessels, out.Activities = nil, nil, nil, nil
	for _, c := range in.Calendars {
		d := sched.Calendar{Name: c.Name}
		for _, o := range c.Open {
			d.Open = append(d.Open, sched.Open{Span: move(o.Span), Overtime: o.Overtime})
		}
		out.Calendars = append(out.Calendars, d)
	}
	for _, r := range in.Resources {
		q := sched.Resource{Name: r.Name, Capacity: r.Capacity}
		for _, l := range r.Levels {
			q.Levels = append(q.Levels, sched.Level{At: l.At + by, Capacity: l.Capacity})
		}
		out.Resources = append(out.Resources, q)
	}
	for _, v := range in.Vessels {
		w := v
		w.Down = nil
		for _, d := range v.Down {
			w.Down = append(w.Down, move(d))
		}
		out.Vessels = append(out.Vessels, w)
	}
	for _, a := range in.Activities {
		if a.Release > 0 {
			a.Release += by
		}
		if a.DueWeight > 0 {
			a.Due += by
		}
		out.Activities = append(out.Activities, a)
	}
	return out
}

func TestALaterClockShiftsThePlan(t *testing.T) {
	t.Parallel()
	const by = 7 * 86400
	for _, batches := range []int{10, 20} { // the larger one is rebuilt
		in := kitchengen.Kitchen(11, kitchengen.Size{Batches: batches})
		p1, r1 := mustSolve(t, in, sched.Options{Seed: 3, Iterations: 120})
		p2, r2 := mustSolve(t, shifted(in, by), sched.Options{Seed: 3, Iterations: 120})
		if !reflect.DeepEqual(r1.Objective, r2.Objective) || r1.Bound != r2.Bound {
			t.Errorf("%+v and %+v", r1.Objective, r2.Objective)
		}
		for i := range p1.Assignments {
			if p1.Assignments[i].Start+by != p2.Assignments[i].Start || p1.Assignments[i].Mode != p2.Assignments[i].Mode {
				t.Fatalf("%s is not shifted", p1.Assignments[i].Activity)
			}
		}
	}
}

func TestOneMoreVesselNeverHurts(t *testing.T) {
	t.Parallel()
	oneMoreVessel(t, func(o sched.Options) sched.Options { return o })
	oneMoreVessel(t, sched.ForceRebuild)
}

func oneMoreVessel(t *testing.T, with func(sched.Options) sched.Options) {
	for seed := range uint64(60) {
		in := tiny(seed, 1|1<<1|1<<2|1<<4|1<<9)
		in.Weights = sched.Weights{Makespan: 1}
		more := in
		more.Vessels = append(append([]sched.Vessel(nil), in.Vessels...), sched.Vessel{Name: "v2", Setup: in.Vessels[0].Setup})
		more.Activities = append([]sched.Activity(nil), in.Activities...)
		for i := range more.Activities {
			a := &more.Activities[i]
			extra := a.Modes[0]
			extra.Name, extra.Uses = "v2", []sched.Use{{Vessel: "v2"}}
			a.Modes = append(append([]sched.Mode(nil), a.Modes...), extra)
		}
		p1, r1 := mustSolve(t, in, with(sched.Options{Iterations: 200}))
		p2, r2 := mustSolve(t, more, with(sched.Options{Iterations: 400}))
		if len(p1.Assignments) > 0 && (len(p2.Assignments) == 0 || r1.Objective.Less(r2.Objective)) {
			t.Errorf("%s: %+v became %+v", in.Name, r1.Objective, r2.Objective)
		}
	}
}
