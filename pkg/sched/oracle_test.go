package sched_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"sort"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/verify"
)

// tiny makes a random instance small enough for complete enumeration. Every constraint kind occurs; which ones depends
// on the bits of features.
func tiny(seed uint64, features int) sched.Instance {
	r := rand.New(rand.NewPCG(seed, 7))
	on := func(bit int) bool { return features&(1<<bit) != 0 && r.IntN(3) > 0 }
	h := int64(12 + r.IntN(3))
	in := sched.Instance{
		Name: fmt.Sprintf("tiny %d/%d", seed, features), Horizon: sched.Span{End: h},
		Weights: sched.Weights{Makespan: 1, Energy: int64(r.IntN(2))},
	}
	in.Calendars = []sched.Calendar{
		{Name: "crew", Open: []sched.Open{{Span: sched.Span{Start: 1, End: 5}}, {Span: sched.Span{Start: 6, End: h - 2}}, {Span: sched.Span{Start: h - 2, End: h}, Overtime: true}}},
		{Name: "idle", Open: []sched.Open{{Span: sched.Span{Start: 0, End: 8}}, {Span: sched.Span{Start: 9, End: h}}}},
	}
	in.Resources = []sched.Resource{{Name: "heads", Capacity: 2}, {Name: "shelf", Capacity: 3}}
	if on(0) {
		in.Resources[0].Levels = []sched.Level{{At: 4, Capacity: 1}, {At: 7, Capacity: 2}}
	}
	if on(1) {
		in.Setups = []sched.Setup{{
			Name: "clean", States: []string{"x", "y"}, Calendar: "crew", Needs: []sched.Need{{Resource: "heads", Amount: 1}},
			Change: [][]sched.Change{{{}, {Duration: 1, Attended: r.IntN(2) == 0}}, {{Duration: 2, Attended: r.IntN(2) == 0}, {Duration: int64(r.IntN(2))}}},
		}}
	}
	for v := range 2 {
		ve := sched.Vessel{Name: fmt.Sprintf("v%d", v)}
		if len(in.Setups) > 0 {
			ve.Setup = "clean"
			if r.IntN(2) == 0 {
				ve.State = "x"
			}
		}
		if on(2) {
			at := int64(r.IntN(8))
			ve.Down = []sched.Span{{Start: at, End: at + 2}}
		}
		in.Vessels = append(in.Vessels, ve)
	}
	n := 3
	if features&(1<<9) == 0 {
		n = 4
	}
	for i := range n {
		in.Activities = append(in.Activities, tinyActivity(r, on, i))
	}
	tinyTies(r, on, &in)
	if on(8) {
		in.Weights.Overtime, in.Weights.Change = 2, 1
		for i := range in.Activities {
			if r.IntN(2) == 0 {
				in.Activities[i].Previous = &sched.Previous{Start: int64(r.IntN(8)), MoveWeight: int64(r.IntN(3)), Mode: "v1", ModeWeight: 2}
			}
		}
	}
	return in
}

func tinyActivity(r *rand.Rand, on func(int) bool, i int) sched.Activity {
	a := sched.Activity{Name: fmt.Sprintf("a%d", i), State: []string{"x", "y"}[r.IntN(2)]}
	from, to := 0, 2
	if r.IntN(2) == 0 {
		from = r.IntN(2)
		to = from + 1
	}
	pause := sched.Phases(0)
	if on(3) {
		pause = sched.Phases(r.IntN(8))
	}
	cal := on(4)
	s, m, e := int64(1+r.IntN(2)), int64(r.IntN(3)), int64(r.IntN(2))
	for v := from; v < to; v++ {
		mode := sched.Mode{Name: fmt.Sprintf("v%d", v), Uses: []sched.Use{{Vessel: fmt.Sprintf("v%d", v)}}, Start: s, Middle: m + int64(v), End: e, Pausable: pause, Energy: int64(r.IntN(3))}
		if cal {
			mode.AttendedCalendar, mode.UnattendedCalendar = "crew", "idle"
		}
		if r.IntN(2) == 0 {
			mode.Needs = []sched.Need{{Resource: "heads", Amount: 1 + int64(r.IntN(2)), During: sched.Phases(r.IntN(8)), WhilePaused: r.IntN(2) == 0}}
		}
		a.Modes = append(a.Modes, mode)
	}
	if on(5) && r.IntN(3) == 0 {
		other := fmt.Sprintf("v%d", 1-from)
		if to-from == 1 {
			a.Modes[0].Uses = append(a.Modes[0].Uses, sched.Use{Vessel: other, FreeAtEnd: r.IntN(2) == 0})
		}
	}
	if r.IntN(3) == 0 {
		a.Release = int64(r.IntN(4))
	}
	if r.IntN(2) == 0 {
		a.Due, a.DueWeight = int64(3+r.IntN(6)), int64(1+r.IntN(3))
	}
	if on(6) && r.IntN(3) == 0 {
		a.Deadline = int64(7 + r.IntN(6))
	}
	if on(7) && i == 0 {
		a.Fixed = &sched.Fixed{Mode: a.Modes[0].Name, Start: int64(r.IntN(3)), Started: r.IntN(3) > 0}
		if a.Fixed.Started && r.IntN(2) == 0 {
			a.Fixed.End = a.Fixed.Start + int64(1+r.IntN(5))
		}
	}
	return a
}

func tinyTies(r *rand.Rand, on func(int) bool, in *sched.Instance) {
	name := func(i int) string { return fmt.Sprintf("a%d", i) }
	for i := 1; i < len(in.Activities); i++ {
		if r.IntN(2) == 0 {
			continue
		}
		j := r.IntN(i)
		l := sched.Lag{From: name(j), To: name(i), Min: int64(r.IntN(3) - 1), FromEdge: sched.Edge(r.IntN(3)), ToEdge: sched.Edge(r.IntN(3))}
		if on(10) {
			l.HasMax, l.Max = true, l.Min+int64(r.IntN(4))
		}
		if on(11) {
			l.Fresh, l.FreshWeight = int64(r.IntN(2)), 1
			in.Weights.Freshness = 1
		}
		in.Lags = append(in.Lags, l)
		switch {
		case on(12) && r.IntN(2) == 0:
			in.Holds = append(in.Holds, sched.Hold{Activity: name(j), Until: name(i)})
		case on(13):
			in.Stores = append(in.Stores, sched.Store{Resource: "shelf", Amount: int64(1 + r.IntN(3)), Producer: name(j), Consumer: name(i)})
		}
		if on(14) {
			var link sched.Link
			link.First, link.Second = name(j), name(i)
			for _, x := range in.Activities[j].Modes {
				for _, y := range in.Activities[i].Modes {
					if r.IntN(3) > 0 {
						link.Pairs = append(link.Pairs, [2]string{x.Name, y.Name})
					}
				}
			}
			in.Links = append(in.Links, link)
		}
	}
	seen := map[string]bool{}
	holds := in.Holds[:0]
	for _, h := range in.Holds {
		if !seen[h.Activity] {
			holds = append(holds, h)
		}
		seen[h.Activity] = true
	}
	in.Holds = holds
	if on(13) && r.IntN(2) == 0 {
		in.Stores = append(in.Stores, sched.Store{Resource: "shelf", Amount: 1, Producer: name(0), Until: int64(r.IntN(10))})
	}
}

// oracle enumerates all plans: every mode, every start, every place of every cleaning. It uses the checker to judge
// them and shares nothing with the engine.
type oracle struct {
	in    sched.Instance
	plan  sched.Plan
	cands [][]sched.Assignment
	best  sched.Objective
	found bool
	// bestPlan is a plan of the best cost.
	bestPlan sched.Plan
}

func enumerate(in sched.Instance) *oracle {
	o := &oracle{in: in}
	for i := range in.Activities {
		o.cands = append(o.cands, candidates(in, i))
	}
	o.plan.Assignments = make([]sched.Assignment, len(in.Activities))
	o.place(0)
	return o
}

// candidates lists the places of one activity that are right when it is alone.
func candidates(in sched.Instance, i int) []sched.Assignment {
	a := in.Activities[i]
	alone := in
	alone.Activities = []sched.Activity{a}
	alone.Lags, alone.Holds, alone.Stores, alone.Links = nil, nil, nil, nil
	var out []sched.Assignment
	for _, m := range a.Modes {
		var vessels []string
		for _, u := range m.Uses {
			vessels = append(vessels, u.Vessel)
		}
		from, to := in.Horizon.Start, in.Horizon.End
		if a.Fixed != nil {
			from, to = a.Fixed.Start, a.Fixed.Start
		}
		for s := from; s <= to; s++ {
			least := s // an activity takes its durations at least, and ends at one moment only
			if a.Fixed == nil || !a.Fixed.Started {
				least += m.Start + m.Middle + m.End
			}
			for e := least; e <= in.Horizon.End+6; e++ {
				as := sched.Assignment{Activity: a.Name, Mode: m.Name, Vessels: vessels, Start: s, End: e, HeldUntil: e}
				ok := true
				for _, v := range verify.Check(alone, sched.Plan{Assignments: []sched.Assignment{as}}) {
					ok = ok && (v.Kind == verify.Objective || v.Kind == verify.Cleaning)
				}
				if ok {
					out = append(out, as)
					break
				}
			}
		}
	}
	return out
}

func (o *oracle) place(i int) {
	if i == len(o.in.Activities) {
		o.leaf()
		return
	}
	for _, as := range o.cands[i] {
		o.plan.Assignments[i] = as
		if o.lagsHold(i) && !o.hopeless(i) {
			o.place(i + 1)
		}
	}
}

// hopeless reports whether the first i+1 activities are late by more than the best plan.
func (o *oracle) hopeless(i int) bool {
	if !o.found {
		return false
	}
	var late int64
	for k := range i + 1 {
		if a := &o.in.Activities[k]; a.DueWeight > 0 {
			late += a.DueWeight * max(0, o.plan.Assignments[k].End-a.Due)
		}
	}
	if w := o.in.Weights.Blend; w > 0 {
		return w*late > o.best.Rest
	}
	return late > o.best.First
}

func (o *oracle) index(name string) int {
	for i := range o.in.Activities {
		if o.in.Activities[i].Name == name {
			return i
		}
	}
	return -1
}

// lagsHold prunes: lags and vessel overlaps between the first i+1 activities.
func (o *oracle) lagsHold(i int) bool {
	for _, l := range o.in.Lags {
		f, t := o.index(l.From), o.index(l.To)
		if max(f, t) != i {
			continue
		}
		x, y := o.plan.Assignments[f], o.plan.Assignments[t]
		d := y.Start - x.End
		if l.FromEdge == sched.EdgeStart {
			d += x.End - x.Start
		}
		if l.ToEdge == sched.EdgeEnd {
			d += y.End - y.Start
		}
		started := func(k int) bool { return o.in.Activities[k].Fixed != nil && o.in.Activities[k].Fixed.Started }
		if (d < l.Min || l.HasMax && d > l.Max) && !(started(f) && started(t)) {
			return false
		}
	}
	for k := range i {
		x, y := o.plan.Assignments[k], o.plan.Assignments[i]
		if f, g := o.in.Activities[k].Fixed, o.in.Activities[i].Fixed; f != nil && g != nil && f.Started && g.Started {
			continue
		}
		if x.Start >= y.End || y.Start >= x.End {
			continue
		}
		for _, v := range x.Vessels {
			for _, w := range y.Vessels {
				if v == w {
					return false
				}
			}
		}
	}
	return true
}

// leaf completes holds and tries all places of the cleanings.
func (o *oracle) leaf() {
	as := o.plan.Assignments
	hold := map[string]string{}
	for _, h := range o.in.Holds {
		hold[h.Activity] = h.Until
	}
	for i := range as {
		as[i].HeldUntil = as[i].End
		as[i].Changes = nil
		if u, ok := hold[as[i].Activity]; ok {
			as[i].HeldUntil = max(as[i].End, as[o.index(u)].Start)
		}
	}
	type need struct {
		act    int
		run    sched.ChangeRun
		lo, hi int64
	}
	var needs []need
	for _, v := range o.in.Vessels {
		if v.Setup == "" {
			continue
		}
		var in []int
		for i := range as {
			for _, name := range as[i].Vessels {
				if name == v.Name {
					in = append(in, i)
				}
			}
		}
		sort.SliceStable(in, func(a, b int) bool { return as[in[a]].Start < as[in[b]].Start })
		for k, i := range in {
			from, free := v.State, o.in.Horizon.Start
			if k > 0 {
				p := in[k-1]
				from, free = o.in.Activities[p].State, as[p].HeldUntil
				kept := true
				for _, m := range o.in.Activities[p].Modes {
					for _, u := range m.Uses {
						if m.Name == as[p].Mode && u.Vessel == v.Name {
							kept = !u.FreeAtEnd
						}
					}
				}
				if !kept {
					free = as[p].End
				}
				if kept && hold[as[p].Activity] == as[i].Activity {
					continue
				}
			}
			if f := o.in.Activities[i].Fixed; from == "" || f != nil && f.Started {
				continue
			}
			s := o.in.Setups[0]
			c := s.Change[slices.Index(s.States, from)][slices.Index(s.States, o.in.Activities[i].State)]
			if c.Duration > 0 {
				needs = append(needs, need{i, sched.ChangeRun{Vessel: v.Name, From: from, To: o.in.Activities[i].State, Attended: c.Attended, End: c.Duration}, free, as[i].Start - c.Duration})
			}
		}
	}
	var try func(k int)
	try = func(k int) {
		if k == len(needs) {
			o.judge()
			return
		}
		n := needs[k]
		for t := n.lo; t <= n.hi; t++ {
			run := n.run
			run.Start, run.End = t, t+n.run.End
			old := as[n.act].Changes
			as[n.act].Changes = append(old[:len(old):len(old)], run)
			try(k + 1)
			as[n.act].Changes = old
		}
	}
	try(0)
}

func (o *oracle) judge() {
	cost, ok := verify.Cost(o.in, o.plan)
	if !ok || o.found && !cost.Less(o.best) {
		return
	}
	o.plan.Objective = cost
	if len(verify.Check(o.in, o.plan)) == 0 {
		o.best, o.found = cost, true
		o.bestPlan = sched.Plan{Objective: cost, Assignments: slices.Clone(o.plan.Assignments)}
		for i := range o.bestPlan.Assignments {
			o.bestPlan.Assignments[i].Changes = slices.Clone(o.bestPlan.Assignments[i].Changes)
		}
	}
}

func TestEngineAgainstCompleteEnumeration(t *testing.T) {
	t.Parallel()
	againstEnumeration(t, func(o sched.Options) sched.Options { return o })
}

// The search of large problems, on the same small ones.
func TestRebuildingAgainstCompleteEnumeration(t *testing.T) {
	t.Parallel()
	againstEnumeration(t, sched.ForceRebuild)
}

// againstEnumeration wants a plan wherever there is one, and the best one in nearly all cases.
func againstEnumeration(t *testing.T, with func(sched.Options) sched.Options) {
	count, feasible, equal, missed, proved := 0, 0, 0, 0, 0
	for seed := range uint64(160) {
		in := tiny(seed, int(seed*2654435761>>7)&0x7fff|1<<9)
		if err := in.Validate(); err != nil {
			t.Fatalf("%s: %v", in.Name, err)
		}
		count++
		o := enumerate(in)
		plan, rep := mustSolve(t, in, with(sched.Options{Seed: seed, Iterations: 400}))
		if !o.found {
			if len(plan.Assignments) > 0 {
				t.Errorf("%s: a plan where enumeration finds none", in.Name)
			}
			if rep.Status == sched.StatusInfeasible {
				proved++
			}
			continue
		}
		feasible++
		if rep.Status == sched.StatusInfeasible {
			t.Errorf("%s: called infeasible, but a plan of %+v exists: %+v", in.Name, o.best, rep.Conflicts)
			continue
		}
		if o.best.Less(rep.Bound) {
			t.Errorf("%s: bound %+v above the optimum %+v", in.Name, rep.Bound, o.best)
		}
		if len(plan.Assignments) == 0 {
			missed++
			t.Logf("%s: no plan found, optimum %+v; %+v", in.Name, o.best, rep.Conflicts)
			continue
		}
		if plan.Objective.Less(o.best) {
			t.Errorf("%s: %+v is better than complete enumeration %+v", in.Name, plan.Objective, o.best)
		}
		if plan.Objective.First == o.best.First && plan.Objective.Rest == o.best.Rest {
			equal++
		} else {
			t.Logf("%s: %+v, optimum %+v", in.Name, plan.Objective, o.best)
		}
	}
	t.Logf("%d instances, %d feasible, %d solved to the optimum, %d not solved, %d of %d infeasible ones proved", count, feasible, equal, missed, proved, count-feasible)
	if equal*100 < feasible*97 || missed > 0 {
		t.Errorf("only %d of %d reach the optimum, %d have no plan", equal, feasible, missed)
	}
}

// Whatever the instance, a returned plan passes the checker and its cost respects the bound.
func FuzzEngine(f *testing.F) {
	f.Add(uint64(1), uint16(0x7fff))
	f.Add(uint64(53), uint16(31331))
	f.Add(uint64(2180), uint16(21134))
	f.Fuzz(func(t *testing.T, seed uint64, features uint16) {
		in := tiny(seed, int(features))
		if in.Validate() != nil {
			return
		}
		plan, rep := mustSolve(t, in, sched.Options{Seed: seed, Iterations: 40})
		if len(plan.Assignments) > 0 && plan.Objective.Less(rep.Bound) {
			t.Errorf("cost %+v below the bound %+v", plan.Objective, rep.Bound)
		}
		if rep.Gap < 0 || rep.Gap > 1 {
			t.Errorf("gap %v", rep.Gap)
		}
	})
}

// Whatever the instance, an explanation is no fault, and what it offers holds.
func FuzzExplain(f *testing.F) {
	f.Add(uint64(1))
	f.Add(uint64(83))
	f.Fuzz(func(t *testing.T, seed uint64) {
		in := whole(seed)
		out := explain(t, in, sched.ExplainOptions{Solves: 60, Tests: 60, Iterations: 20, Measure: 20})
		for _, r := range out.Remedies {
			if r.Price < 0 || r.Message == "" || len(r.Edits) == 0 {
				t.Errorf("%s: a remedy that says nothing: %+v", in.Name, r)
			}
		}
	})
}
