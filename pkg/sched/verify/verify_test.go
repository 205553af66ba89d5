package verify_test

import (
	"slices"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/verify"
)

// kitchen is a small instance that contains every constraint kind, with a plan made by hand:
//
//	cook   kettle  [2, 8)   attended 1, unattended 4, attended 1; holds the kettle until strain starts at 9
//	strain kettle + pot [9, 10)
//	chill  chiller [11, 14)
//	fish   kettle  [14, 16) after cleaning [10, 12) by one head
func kitchen() (sched.Instance, sched.Plan) {
	in := sched.Instance{
		Name: "hand-made", Horizon: sched.Span{Start: 0, End: 30},
		Vessels: []sched.Vessel{
			{Name: "kettle", Setup: "clean", State: "stock", Down: []sched.Span{{Start: 20, End: 22}}},
			{Name: "pot"},
			{Name: "chiller"},
		},
		Calendars: []sched.Calendar{
			{Name: "crew", Open: []sched.Open{{Span: sched.Span{Start: 2, End: 12}}, {Span: sched.Span{Start: 14, End: 18}, Overtime: true}}},
		},
		Resources: []sched.Resource{
			{Name: "heads", Capacity: 1, Levels: []sched.Level{{At: 16, Capacity: 0}}},
			{Name: "shelf", Capacity: 5},
		},
		Setups: []sched.Setup{{
			Name: "clean", States: []string{"stock", "fish"}, Calendar: "crew", Needs: []sched.Need{{Resource: "heads", Amount: 1}},
			Change: [][]sched.Change{{{}, {Duration: 2, Attended: true}}, {{Duration: 3, Attended: true}, {}}},
		}},
		Activities: []sched.Activity{
			{Name: "cook", State: "stock", Modes: []sched.Mode{
				{Name: "a", Uses: []sched.Use{{Vessel: "kettle"}}, Start: 1, Middle: 4, End: 1, AttendedCalendar: "crew", Needs: []sched.Need{{Resource: "heads", Amount: 1, During: sched.Attended}}, Energy: 3},
				{Name: "b", Uses: []sched.Use{{Vessel: "pot"}}, Start: 1, Middle: 6, End: 1, AttendedCalendar: "crew"},
			}},
			{Name: "strain", State: "stock", Modes: []sched.Mode{
				{Name: "a", Uses: []sched.Use{{Vessel: "kettle"}, {Vessel: "pot", FreeAtEnd: true}}, Start: 1, AttendedCalendar: "crew"},
			}},
			{Name: "chill", Release: 3, Deadline: 20, Due: 13, DueWeight: 2, Modes: []sched.Mode{
				{Name: "a", Uses: []sched.Use{{Vessel: "chiller"}}, Middle: 3, Needs: []sched.Need{{Resource: "shelf", Amount: 2}}},
			}},
			{Name: "fish", State: "fish", Previous: &sched.Previous{Mode: "a", Start: 13, MoveWeight: 4, ModeWeight: 9}, Fixed: &sched.Fixed{Mode: "a", Start: 14}, Modes: []sched.Mode{
				{Name: "a", Uses: []sched.Use{{Vessel: "kettle"}}, Start: 2, AttendedCalendar: "crew", Needs: []sched.Need{{Resource: "heads", Amount: 1}}},
			}},
		},
		Lags: []sched.Lag{
			{From: "strain", To: "chill", Min: 1, Max: 2, HasMax: true, FreshWeight: 5},
		},
		Holds:   []sched.Hold{{Activity: "cook", Until: "strain"}},
		Stores:  []sched.Store{{Resource: "shelf", Amount: 3, Producer: "strain", Consumer: "chill"}},
		Links:   []sched.Link{{First: "cook", Second: "strain", Pairs: [][2]string{{"a", "a"}}}},
		Weights: sched.Weights{Overtime: 1, Energy: 1, Freshness: 1, Change: 1, Makespan: 1},
	}
	plan := sched.Plan{
		Assignments: []sched.Assignment{
			{Activity: "cook", Mode: "a", Vessels: []string{"kettle"}, Start: 2, End: 8, HeldUntil: 9},
			{Activity: "strain", Mode: "a", Vessels: []string{"kettle", "pot"}, Start: 9, End: 10, HeldUntil: 10},
			{Activity: "chill", Mode: "a", Vessels: []string{"chiller"}, Start: 11, End: 14, HeldUntil: 14},
			{
				Activity: "fish", Mode: "a", Vessels: []string{"kettle"}, Start: 14, End: 16, HeldUntil: 16,
				Changes: []sched.ChangeRun{{Vessel: "kettle", From: "stock", To: "fish", Start: 10, End: 12, Attended: true}},
			},
		},
		// By hand: chill ends 1 late, weight 2; fish works 2 in overtime; energy 3; lag 1 at 5; fish moved 1 at 4; end 16.
		Objective: sched.Objective{Tardiness: 2, Overtime: 2, Energy: 3, Freshness: 5, Change: 4, Makespan: 16, First: 2, Rest: 30},
	}
	return in, plan
}

func TestAHandMadePlanIsRight(t *testing.T) {
	t.Parallel()
	in, plan := kitchen()
	if vs := verify.Check(in, plan); len(vs) > 0 {
		t.Fatal(vs)
	}
}

const (
	cook = iota
	strain
	chill
	fish
)

// move shifts an assignment and recomputes the objective, so that only the intended violation remains.
func move(p *sched.Plan, i int, by int64) {
	a := &p.Assignments[i]
	a.Start += by
	a.End += by
	a.HeldUntil += by
}

func TestEveryCorruptionIsCaught(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		kind    verify.Kind
		corrupt func(in *sched.Instance, p *sched.Plan)
	}{
		{"an activity is missing", verify.Missing, func(_ *sched.Instance, p *sched.Plan) { p.Assignments = p.Assignments[1:] }},
		{"an activity is there twice", verify.Missing, func(_ *sched.Instance, p *sched.Plan) { p.Assignments = append(p.Assignments, p.Assignments[0]) }},
		{"an activity is unknown", verify.Missing, func(_ *sched.Instance, p *sched.Plan) {
			p.Assignments = append(p.Assignments, sched.Assignment{Activity: "soup"})
		}},
		{"a mode is unknown", verify.Mode, func(_ *sched.Instance, p *sched.Plan) { p.Assignments[cook].Mode = "z" }},
		{"the vessels are not those of the mode", verify.Mode, func(_ *sched.Instance, p *sched.Plan) { p.Assignments[cook].Vessels = []string{"pot"} }},
		{"a pinned activity moved", verify.Fixed, func(_ *sched.Instance, p *sched.Plan) { move(p, fish, 1) }},
		{"an activity ends after the horizon", verify.Horizon, func(in *sched.Instance, _ *sched.Plan) { in.Horizon.End = 15 }},
		{"an activity starts before the horizon", verify.Horizon, func(in *sched.Instance, _ *sched.Plan) { in.Horizon.Start = 3 }},
		{"a release is broken", verify.Release, func(in *sched.Instance, _ *sched.Plan) { in.Activities[chill].Release = 12 }},
		{"a deadline is broken", verify.Deadline, func(in *sched.Instance, _ *sched.Plan) { in.Activities[chill].Deadline = 13 }},
		{"an attended start is outside the shift", verify.Calendar, func(in *sched.Instance, _ *sched.Plan) { in.Calendars[0].Open[0].Start = 3 }},
		{"an attended end is outside the shift", verify.Calendar, func(in *sched.Instance, _ *sched.Plan) {
			in.Calendars[0].Open = append(in.Calendars[0].Open[:0:0], sched.Open{Span: sched.Span{Start: 2, End: 7}}, sched.Open{Span: sched.Span{Start: 9, End: 12}}, in.Calendars[0].Open[1])
		}},
		{"an end does not follow from its start", verify.Calendar, func(_ *sched.Instance, p *sched.Plan) { p.Assignments[chill].End--; p.Assignments[chill].HeldUntil-- }},
		{"unattended work lies where it is not allowed", verify.Calendar, func(in *sched.Instance, _ *sched.Plan) {
			in.Calendars = append(in.Calendars, sched.Calendar{Name: "night", Open: []sched.Open{{Span: sched.Span{Start: 0, End: 5}}}})
			in.Activities[cook].Modes[0].UnattendedCalendar = "night"
		}},
		{"a least lag is broken", verify.Lag, func(in *sched.Instance, _ *sched.Plan) { in.Lags[0].Min = 2 }},
		{"a greatest lag is broken", verify.Lag, func(_ *sched.Instance, p *sched.Plan) { move(p, chill, 2) }},
		{"a hold ends early", verify.Hold, func(_ *sched.Instance, p *sched.Plan) { p.Assignments[cook].HeldUntil = 8 }},
		{"a successor of a hold starts early", verify.Hold, func(_ *sched.Instance, p *sched.Plan) { move(p, strain, -2) }},
		{"two activities share a vessel", verify.Overlap, func(in *sched.Instance, p *sched.Plan) {
			in.Activities[chill].Modes[0].Uses[0].Vessel = "kettle"
			in.Activities[chill].State = "stock"
			p.Assignments[chill].Vessels[0] = "kettle"
			p.Assignments[chill].Start, p.Assignments[chill].End, p.Assignments[chill].HeldUntil = 12, 15, 15
		}},
		{"a held vessel is used", verify.Overlap, func(in *sched.Instance, p *sched.Plan) {
			in.Activities[fish].Fixed.Start = 8
			move(p, fish, -6)
		}},
		{"a vessel is down", verify.Down, func(in *sched.Instance, _ *sched.Plan) { in.Vessels[0].Down[0] = sched.Span{Start: 8, End: 9} }},
		{"a cleaning is missing", verify.Cleaning, func(_ *sched.Instance, p *sched.Plan) { p.Assignments[fish].Changes = nil }},
		{"a cleaning is too short", verify.Cleaning, func(_ *sched.Instance, p *sched.Plan) { p.Assignments[fish].Changes[0].End-- }},
		{"a cleaning begins while the vessel is in use", verify.Cleaning, func(_ *sched.Instance, p *sched.Plan) {
			p.Assignments[fish].Changes[0].Start--
			p.Assignments[fish].Changes[0].End--
		}},
		{"a cleaning has nobody on shift", verify.Cleaning, func(_ *sched.Instance, p *sched.Plan) {
			p.Assignments[fish].Changes[0].Start++
			p.Assignments[fish].Changes[0].End++
		}},
		{"a cleaning lies where the vessel is down", verify.Cleaning, func(in *sched.Instance, _ *sched.Plan) { in.Vessels[0].Down[0] = sched.Span{Start: 11, End: 13} }},
		{"a cleaning is not needed", verify.Cleaning, func(_ *sched.Instance, p *sched.Plan) {
			p.Assignments[cook].Changes = []sched.ChangeRun{{Vessel: "kettle", From: "stock", To: "stock", Start: 0, End: 1}}
		}},
		{"the first cleaning from the state found is missing", verify.Cleaning, func(in *sched.Instance, _ *sched.Plan) { in.Vessels[0].State = "fish" }},
		{"people are needed twice", verify.Capacity, func(in *sched.Instance, _ *sched.Plan) {
			in.Activities[chill].Modes[0].Needs = append(in.Activities[chill].Modes[0].Needs, sched.Need{Resource: "heads", Amount: 1})
		}},
		{"a capacity falls", verify.Capacity, func(in *sched.Instance, _ *sched.Plan) { in.Resources[0].Levels[0].At = 15 }},
		{"a store is too full", verify.Capacity, func(in *sched.Instance, _ *sched.Plan) { in.Resources[1].Capacity = 2 }},
		{"a store is emptied before it is filled", verify.Store, func(in *sched.Instance, p *sched.Plan) { move(p, chill, -2) }},
		{"modes do not go together", verify.Link, func(in *sched.Instance, _ *sched.Plan) { in.Links[0].Pairs = [][2]string{{"b", "a"}} }},
		{"the cost is misstated", verify.Objective, func(_ *sched.Instance, p *sched.Plan) { p.Objective.Overtime = 0 }},
		{"the instance is faulty", verify.Invalid, func(in *sched.Instance, _ *sched.Plan) { in.Vessels[0].Setup = "soap" }},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			in, plan := kitchen()
			c.corrupt(&in, &plan)
			vs := verify.Check(in, plan)
			if !slices.ContainsFunc(vs, func(v verify.Violation) bool { return v.Kind == c.kind }) {
				t.Errorf("no violation of kind %q in %v", c.kind, vs)
			}
		})
	}
}

func TestStartedActivitiesAreFacts(t *testing.T) {
	t.Parallel()
	in, plan := kitchen()
	// The cook began before the shift and before its release, and is forecast to take longer.
	in.Activities[cook].Fixed = &sched.Fixed{Mode: "a", Start: 1, Started: true, End: 9}
	in.Activities[cook].Release = 2
	plan.Assignments[cook].Start, plan.Assignments[cook].End = 1, 9
	if vs := verify.Check(in, plan); len(vs) > 0 {
		t.Fatal(vs)
	}
	// What is still planned must respect it.
	in.Activities[cook].Fixed.End = 10
	plan.Assignments[cook].End = 10
	plan.Assignments[cook].HeldUntil = 10
	vs := verify.Check(in, plan)
	if !slices.ContainsFunc(vs, func(v verify.Violation) bool { return v.Kind == verify.Overlap }) {
		t.Errorf("an overlap with a started activity is not reported: %v", vs)
	}
}

func TestPausablePhasesWaitForOpenTime(t *testing.T) {
	t.Parallel()
	in := sched.Instance{
		Name: "pause", Horizon: sched.Span{End: 50},
		Calendars: []sched.Calendar{{Name: "crew", Open: []sched.Open{{Span: sched.Span{Start: 0, End: 4}}, {Span: sched.Span{Start: 10, End: 14}}, {Span: sched.Span{Start: 20, End: 24}}}}},
		Resources: []sched.Resource{{Name: "heads", Capacity: 0, Levels: []sched.Level{{At: 2, Capacity: 1}, {At: 4, Capacity: 0}, {At: 10, Capacity: 1}, {At: 14, Capacity: 0}, {At: 20, Capacity: 1}, {At: 24, Capacity: 0}}}},
		Activities: []sched.Activity{{Name: "a", Modes: []sched.Mode{{
			Start: 7, End: 1, AttendedCalendar: "crew", Pausable: sched.InStart | sched.InEnd, Needs: []sched.Need{{Resource: "heads", Amount: 1}},
		}}}},
	}
	// 2 of work until 4, 4 until 14, 1 until 21, then the end phase until 22.
	plan := sched.Plan{Assignments: []sched.Assignment{{Activity: "a", Start: 2, End: 22, HeldUntil: 22}}, Objective: sched.Objective{Makespan: 22}}
	if vs := verify.Check(in, plan); len(vs) > 0 {
		t.Fatal(vs)
	}
	in.Activities[0].Modes[0].Needs[0].WhilePaused = true
	vs := verify.Check(in, plan)
	if !slices.ContainsFunc(vs, func(v verify.Violation) bool { return v.Kind == verify.Capacity }) {
		t.Errorf("a demand in the pause is not counted: %v", vs)
	}
}
