package sched_test

import (
	"fmt"
	"slices"
	"testing"

	"rondeau.internal/pkg/sched"
)

// copied is an instance that can be changed without changing the original.
func copied(in sched.Instance) sched.Instance {
	out := in
	out.Vessels, out.Calendars, out.Resources = slices.Clone(in.Vessels), slices.Clone(in.Calendars), slices.Clone(in.Resources)
	out.Setups, out.Activities, out.Lags = slices.Clone(in.Setups), slices.Clone(in.Activities), slices.Clone(in.Lags)
	out.Holds, out.Stores, out.Links = slices.Clone(in.Holds), slices.Clone(in.Stores), slices.Clone(in.Links)
	for i := range out.Vessels {
		out.Vessels[i].Down = slices.Clone(out.Vessels[i].Down)
	}
	for i := range out.Calendars {
		out.Calendars[i].Open = slices.Clone(out.Calendars[i].Open)
	}
	for i := range out.Resources {
		out.Resources[i].Levels = slices.Clone(out.Resources[i].Levels)
	}
	for i := range out.Setups {
		s := &out.Setups[i]
		s.Needs, s.States, s.Change = slices.Clone(s.Needs), slices.Clone(s.States), slices.Clone(s.Change)
		for k := range s.Change {
			s.Change[k] = slices.Clone(s.Change[k])
		}
	}
	for i := range out.Activities {
		a := &out.Activities[i]
		a.Modes = slices.Clone(a.Modes)
		for k := range a.Modes {
			a.Modes[k].Uses, a.Modes[k].Needs = slices.Clone(a.Modes[k].Uses), slices.Clone(a.Modes[k].Needs)
		}
		if a.Fixed != nil {
			f := *a.Fixed
			a.Fixed = &f
		}
		if a.Previous != nil {
			p := *a.Previous
			a.Previous = &p
		}
	}
	for i := range out.Links {
		out.Links[i].Pairs = slices.Clone(out.Links[i].Pairs)
	}
	return out
}

// relabelled gives everything another name, in another alphabetical order.
func relabelled(in sched.Instance) sched.Instance {
	out := copied(in)
	name := func(s *string) {
		if *s != "" {
			*s = "z" + string('9'-(*s)[len(*s)-1]+'0') + *s
		}
	}
	for i := range out.Vessels {
		name(&out.Vessels[i].Name)
		name(&out.Vessels[i].Setup)
		name(&out.Vessels[i].State)
	}
	for i := range out.Calendars {
		name(&out.Calendars[i].Name)
	}
	for i := range out.Resources {
		name(&out.Resources[i].Name)
	}
	for i := range out.Setups {
		s := &out.Setups[i]
		name(&s.Name)
		name(&s.Calendar)
		for k := range s.States {
			name(&s.States[k])
		}
		for k := range s.Needs {
			name(&s.Needs[k].Resource)
		}
	}
	for i := range out.Activities {
		a := &out.Activities[i]
		name(&a.Name)
		name(&a.State)
		for k := range a.Modes {
			m := &a.Modes[k]
			name(&m.Name)
			name(&m.AttendedCalendar)
			name(&m.UnattendedCalendar)
			for u := range m.Uses {
				name(&m.Uses[u].Vessel)
			}
			for u := range m.Needs {
				name(&m.Needs[u].Resource)
			}
		}
		if a.Fixed != nil {
			name(&a.Fixed.Mode)
		}
		if a.Previous != nil {
			name(&a.Previous.Mode)
		}
	}
	for i := range out.Lags {
		name(&out.Lags[i].From)
		name(&out.Lags[i].To)
	}
	for i := range out.Holds {
		name(&out.Holds[i].Activity)
		name(&out.Holds[i].Until)
	}
	for i := range out.Stores {
		name(&out.Stores[i].Resource)
		name(&out.Stores[i].Producer)
		name(&out.Stores[i].Consumer)
	}
	for i := range out.Links {
		l := &out.Links[i]
		name(&l.First)
		name(&l.Second)
		for k := range l.Pairs {
			name(&l.Pairs[k][0])
			name(&l.Pairs[k][1])
		}
	}
	return out
}

// retimed moves every moment and stretches every length of time.
func retimed(in sched.Instance, moment, length func(int64) int64) sched.Instance {
	out := copied(in)
	span := func(s sched.Span) sched.Span { return sched.Span{Start: moment(s.Start), End: moment(s.End)} }
	some := func(t int64) int64 { // zero means none
		if t == 0 {
			return 0
		}
		return moment(t)
	}
	out.Horizon = span(in.Horizon)
	for i := range out.Vessels {
		for k := range out.Vessels[i].Down {
			out.Vessels[i].Down[k] = span(out.Vessels[i].Down[k])
		}
	}
	for i := range out.Calendars {
		for k := range out.Calendars[i].Open {
			out.Calendars[i].Open[k].Span = span(out.Calendars[i].Open[k].Span)
		}
	}
	for i := range out.Resources {
		for k := range out.Resources[i].Levels {
			out.Resources[i].Levels[k].At = moment(out.Resources[i].Levels[k].At)
		}
	}
	for i := range out.Setups {
		for _, row := range out.Setups[i].Change {
			for k := range row {
				row[k].Duration = length(row[k].Duration)
			}
		}
	}
	for i := range out.Activities {
		a := &out.Activities[i]
		a.Release, a.Deadline = some(a.Release), some(a.Deadline)
		if a.DueWeight > 0 {
			a.Due = moment(a.Due)
		}
		for k := range a.Modes {
			m := &a.Modes[k]
			m.Start, m.Middle, m.End = length(m.Start), length(m.Middle), length(m.End)
		}
		if a.Fixed != nil {
			a.Fixed.Start, a.Fixed.End = moment(a.Fixed.Start), some(a.Fixed.End)
		}
		if a.Previous != nil {
			a.Previous.Start, a.Previous.ModeWeight = moment(a.Previous.Start), length(a.Previous.ModeWeight)
		}
	}
	for i := range out.Lags {
		l := &out.Lags[i]
		if l.Min > -sched.Forever {
			l.Min = length(l.Min)
		}
		l.Max, l.Fresh = length(l.Max), length(l.Fresh)
	}
	for i := range out.Stores {
		out.Stores[i].Until = some(out.Stores[i].Until)
	}
	return out
}

func same(t int64) int64 { return t }

// reversed lists everything the other way round.
func reversed(in sched.Instance) sched.Instance {
	out := copied(in)
	slices.Reverse(out.Vessels)
	slices.Reverse(out.Calendars)
	slices.Reverse(out.Resources)
	slices.Reverse(out.Activities)
	slices.Reverse(out.Lags)
	slices.Reverse(out.Holds)
	slices.Reverse(out.Stores)
	slices.Reverse(out.Links)
	for i := range out.Activities {
		slices.Reverse(out.Activities[i].Modes)
	}
	for i := range out.Calendars {
		slices.Reverse(out.Calendars[i].Open)
	}
	return out
}

// unpaused makes no phase pausable: in an instance with pauses more open time may hurt, since work goes on, with all that
// it takes, where it would have paused.
func unpaused(in sched.Instance) sched.Instance {
	out := copied(in)
	for i := range out.Activities {
		for k := range out.Activities[i].Modes {
			out.Activities[i].Modes[k].Pausable = 0
		}
	}
	return out
}

// relation is how the optimum of a changed instance stands to that of the instance.
type relation int

const (
	equal relation = iota
	noWorse
)

func edited(in sched.Instance, edits ...sched.Edit) sched.Instance {
	out, err := in.Apply(edits...)
	if err != nil {
		panic(err) // the edits are those of this file
	}
	return out
}

// wholeChanges are changes of instances of the whole model.
var wholeChanges = []struct {
	name   string
	rel    relation
	before func(sched.Instance) sched.Instance // nil: as it is
	change func(sched.Instance) sched.Instance
}{
	{"other names", equal, nil, relabelled},
	{"a later clock", equal, nil, func(in sched.Instance) sched.Instance {
		return retimed(in, func(t int64) int64 { return t + 17 }, same)
	}},
	{"everything the other way round", equal, nil, reversed},
	{"a vessel, a calendar and a resource that nobody needs", equal, nil, func(in sched.Instance) sched.Instance {
		out := copied(in)
		out.Vessels = append(out.Vessels, sched.Vessel{Name: "idle vessel"})
		out.Calendars = append(out.Calendars, sched.Calendar{Name: "idle calendar"})
		out.Resources = append(out.Resources, in.Resources[0])
		out.Resources[len(out.Resources)-1].Name = "idle resource"
		return out
	}},
	{"calendars in pieces", equal, nil, func(in sched.Instance) sched.Instance {
		out := copied(in)
		for i := range out.Calendars {
			var pieces []sched.Open
			for _, o := range out.Calendars[i].Open {
				mid := (o.Start + o.End) / 2
				pieces = append(pieces, sched.Open{Span: sched.Span{Start: mid, End: o.End}, Overtime: o.Overtime}, o)
			}
			out.Calendars[i].Open = pieces
		}
		return out
	}},
	{"one more vessel like the first", noWorse, nil, func(in sched.Instance) sched.Instance {
		out := edited(in, sched.Edit{Kind: sched.EditVessel, Subject: "v0"})
		return out
	}},
	{"more heads and shelves", noWorse, nil, func(in sched.Instance) sched.Instance {
		out := edited(in,
			sched.Edit{Kind: sched.EditCapacity, Subject: "heads", By: 1, Window: in.Horizon}, sched.Edit{Kind: sched.EditCapacity, Subject: "shelf", By: 2, Window: sched.Span{Start: 3, End: 9}},
		)
		return out
	}},
	{"longer shifts, without pauses", noWorse, unpaused, func(in sched.Instance) sched.Instance {
		out := edited(in, sched.Edit{Kind: sched.EditOpen, Subject: "crew", Window: sched.Span{Start: 3, End: 6}}, sched.Edit{Kind: sched.EditOpen, Subject: "idle", Window: in.Horizon})
		return out
	}},
	{"limits of time that are let go", noWorse, nil, func(in sched.Instance) sched.Instance {
		out := copied(in)
		for i := range out.Activities {
			out.Activities[i].Deadline = 0
			out.Activities[i].Release = 0
		}
		for i := range out.Lags {
			out.Lags[i].Max++
		}
		for i := range out.Vessels {
			out.Vessels[i].Down = nil
		}
		return out
	}},
}

// TestTheOptimumFollowsChangesOfTheWholeModel compares optima by complete enumeration of an instance and of a changed
// one, and what the engine makes of the changed one.
func TestTheOptimumFollowsChangesOfTheWholeModel(t *testing.T) {
	t.Parallel()
	for _, c := range wholeChanges {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			reached, solved := 0, 0
			for seed := range uint64(14) {
				in := whole(seed)
				if c.before != nil {
					in = c.before(in)
				}
				out := c.change(in)
				if err := out.Validate(); err != nil {
					t.Fatalf("%s: %v", in.Name, err)
				}
				a, b := enumerate(in), enumerate(out)
				switch {
				case c.rel == equal && (a.found != b.found || a.best.First != b.best.First || a.best.Rest != b.best.Rest):
					t.Errorf("%s: %v %+v became %v %+v", in.Name, a.found, a.best, b.found, b.best)
				case c.rel == noWorse && a.found && (!b.found || a.best.Less(b.best)):
					t.Errorf("%s: %+v became %v %+v", in.Name, a.best, b.found, b.best)
				}
				plan, rep := mustSolve(t, out, sched.Options{Seed: seed, Iterations: 400})
				if (len(plan.Assignments) > 0) && (!b.found || plan.Objective.Less(b.best)) || rep.Status == sched.StatusInfeasible && b.found {
					t.Errorf("%s: the engine says %v %+v, enumeration %v %+v", in.Name, rep.Status, plan.Objective, b.found, b.best)
				}
				if b.found {
					solved++
					if plan.Objective == b.best || !b.best.Less(plan.Objective) && len(plan.Assignments) > 0 {
						reached++
					}
				}
			}
			if reached*100 < solved*90 {
				t.Errorf("the engine reaches only %d of %d optima", reached, solved)
			}
		})
	}
}

func TestTwiceTheTimeIsTwiceTheCost(t *testing.T) {
	t.Parallel()
	double := func(t int64) int64 { return 2 * t }
	done := 0
	for seed := range uint64(40) {
		in := whole(seed)
		in.Weights.Energy = 0
		o := enumerate(in)
		if !o.found {
			continue
		}
		done++
		out := retimed(in, double, double)
		// The optimal plan, stretched, is a plan of twice the cost ...
		p := sched.Plan{Assignments: slices.Clone(o.bestPlan.Assignments)}
		for i := range p.Assignments {
			as := &p.Assignments[i]
			as.Start, as.End, as.HeldUntil = 2*as.Start, 2*as.End, 2*as.HeldUntil
			as.Changes = slices.Clone(as.Changes)
			for k := range as.Changes {
				as.Changes[k].Start, as.Changes[k].End = 2*as.Changes[k].Start, 2*as.Changes[k].End
			}
		}
		n, cost := naiveJudge(&out, &p)
		delete(n.faults, "objective")
		if len(n.faults) > 0 || cost.First != 2*o.best.First || cost.Rest != 2*o.best.Rest {
			t.Errorf("%s: %v, %+v became %+v", in.Name, sorted(n.faults), o.best, cost)
		}
		// ... and none is better, since all data are even.
		if plan, rep := mustSolve(t, out, sched.Options{Seed: seed, Iterations: 400, Warm: &p}); len(plan.Assignments) == 0 || plan.Objective.Less(cost) || cost.Less(rep.Bound) {
			t.Errorf("%s: %+v, bound %+v, twice the optimum is %+v", in.Name, plan.Objective, rep.Bound, cost)
		}
	}
	if done < 15 {
		t.Errorf("only %d instances", done)
	}
}

func TestOtherNamesAndPiecesOfCalendarsChangeNothingForTheEngine(t *testing.T) {
	t.Parallel()
	for seed := range uint64(40) {
		in := whole(seed)
		p1, r1 := mustSolve(t, in, sched.Options{Seed: 5, Iterations: 150})
		p2, r2 := mustSolve(t, relabelled(in), sched.Options{Seed: 5, Iterations: 150})
		p3, r3 := mustSolve(t, retimed(in, func(t int64) int64 { return t + 1000 }, same), sched.Options{Seed: 5, Iterations: 150})
		where := func(p sched.Plan, by int64) string {
			var out []int64
			for _, a := range p.Assignments {
				out = append(out, a.Start-by, a.End-by)
			}
			return fmt.Sprint(out)
		}
		if r1.Objective != r2.Objective || r1.Bound != r2.Bound || r1.Status != r2.Status || where(p1, 0) != where(p2, 0) {
			t.Errorf("%s: %+v %s, with other names %+v %s", in.Name, r1.Objective, where(p1, 0), r2.Objective, where(p2, 0))
		}
		if r1.Objective != r3.Objective || r1.Status != r3.Status || len(p1.Assignments) > 0 && where(p1, 0) != where(p3, 1000) {
			t.Errorf("%s: %v %+v %s, later %v %+v %s", in.Name, r1.Status, r1.Objective, where(p1, 0), r3.Status, r3.Objective, where(p3, 1000))
		}
	}
}

func TestDeadlinesAtTheEndsThatWereFoundKeepThePlan(t *testing.T) {
	t.Parallel()
	plans, lost := 0, 0
	for seed := range uint64(60) {
		in := whole(seed)
		plan, rep := mustSolve(t, in, sched.Options{Seed: seed, Iterations: 100})
		if len(plan.Assignments) == 0 {
			continue
		}
		plans++
		out := copied(in)
		for i := range out.Activities {
			out.Activities[i].Deadline = max(plan.Assignments[i].End, 1)
		}
		again, rep2 := mustSolve(t, out, sched.Options{Seed: seed, Iterations: 100, Warm: &plan})
		if len(again.Assignments) == 0 || rep.Objective.Less(rep2.Objective) {
			lost++
			t.Logf("%s: %+v, then %v %+v", in.Name, rep.Objective, rep2.Status, rep2.Objective)
		}
		if _, rep3 := mustSolve(t, out, sched.Options{Seed: seed, Iterations: 300}); rep3.Status == sched.StatusInfeasible {
			t.Errorf("%s: called infeasible where there is a plan: %+v", in.Name, rep3.Conflicts)
		}
	}
	// As found: an activity that takes of the resource out of which it empties a full store is placed with difficulty.
	if lost > 1 {
		t.Errorf("%d of %d plans were lost", lost, plans)
	}
}
