package sched

import (
	"slices"
	"testing"

	"rondeau.internal/pkg/sched/internal/project"
)

// works is a project of three activities: the first before the other two, which share two of a resource.
func works(change func(*Instance)) Instance {
	in := Instance{
		Horizon: Span{Start: 50, End: 500}, Weights: Weights{Makespan: 1}, Vessels: []Vessel{{Name: "oven"}},
		Resources: []Resource{{Name: "cooks", Capacity: 2}},
	}
	for i, name := range []string{"a", "b", "c"} {
		in.Activities = append(in.Activities, Activity{Name: name, Modes: []Mode{{Name: "m", Middle: int64(10 + i), Needs: []Need{{Resource: "cooks", Amount: int64(1 + i%2)}}}}})
	}
	in.Lags = []Lag{{From: "a", To: "b"}, {From: "a", To: "c", Min: 3, Max: 20, HasMax: true}}
	if change != nil {
		change(&in)
	}
	return in
}

func projectOf(t *testing.T, in Instance) *project.Problem {
	t.Helper()
	if err := in.Validate(); err != nil {
		t.Fatal(err)
	}
	p := compile(&in)
	p.impossible()
	return p.asProject()
}

func TestProjectsAreRecognised(t *testing.T) {
	v := projectOf(t, works(nil))
	if v == nil {
		t.Fatal("not recognised")
	}
	// Lags between starts: b follows the 10 of a; c at least 13 and at most 30 after the start of a.
	want := []project.Lag{{From: 0, To: 1, Min: 10}, {From: 0, To: 2, Min: 13}, {From: 2, To: 0, Min: -30}}
	if !slices.Equal(v.Lags, want) || v.Horizon != 450 || v.Levels != nil || !slices.Equal(v.Durations, []int32{10, 11, 12}) {
		t.Errorf("seen as %+v", v)
	}
	v = projectOf(t, works(func(in *Instance) {
		in.Resources[0].Levels = []Level{{At: 40, Capacity: 3}, {At: 60, Capacity: 1}}
		in.Activities[1].Modes[0].Uses = []Use{{Vessel: "oven"}}
		in.Activities[2].Fixed = &Fixed{Mode: "m", Start: 70}
		in.Activities[0].Deadline = 90
	}))
	if v == nil {
		t.Fatal("a richer one is not recognised")
	}
	if v.Capacities[0] != 3 || !slices.Equal(v.Levels[0], []project.Level{{At: 10, Capacity: 1}}) {
		t.Errorf("the levels are seen as %v, %v", v.Capacities, v.Levels)
	}
	if v.Demands[1][1] != 1 || v.Releases[2] != 20 || v.Deadlines[2] != 32 || v.Deadlines[0] != 40 || v.Deadlines[1] != -1 {
		t.Errorf("seen as %+v", v)
	}
}

func TestWhatIsMoreThanAProjectIsLeftToTheGeneralSearch(t *testing.T) {
	for name, change := range map[string]func(*Instance){
		"a second mode": func(in *Instance) {
			in.Activities[0].Modes = append(in.Activities[0].Modes, Mode{Name: "n", Middle: 5})
		},
		"a due time":     func(in *Instance) { in.Activities[1].Due, in.Activities[1].DueWeight = 80, 1 },
		"a hold":         func(in *Instance) { in.Holds = []Hold{{Activity: "a", Until: "b"}} },
		"a store":        func(in *Instance) { in.Stores = []Store{{Resource: "cooks", Amount: 1, Producer: "a", Consumer: "b"}} },
		"freshness":      func(in *Instance) { in.Lags[0].FreshWeight, in.Weights.Freshness = 1, 1 },
		"no early end":   func(in *Instance) { in.Weights.Makespan = 0 },
		"a published":    func(in *Instance) { in.Activities[0].Previous = &Previous{Start: 60, Mode: "m"} },
		"a long horizon": func(in *Instance) { in.Horizon.End = 1 << 30 },
		"a calendar": func(in *Instance) {
			in.Calendars = []Calendar{{Name: "day", Open: []Open{{Span: Span{Start: 50, End: 300}}}}}
			in.Activities[0].Modes[0].UnattendedCalendar = "day"
		},
	} {
		if projectOf(t, works(change)) != nil {
			t.Errorf("%s: taken for a project", name)
		}
	}
}

func TestAProjectIsSolvedAndAContradictionNamed(t *testing.T) {
	// b takes both cooks for 11 after the 10 of a, c one of them for 12 within 20 after a: 10 + 11 + 12.
	plan, report, err := Solve(works(nil), Options{Iterations: 100})
	if err != nil {
		t.Fatal(err)
	}
	if plan.Objective.Makespan != 33 || report.Status != StatusOptimal || plan.Assignments[0].Start != 50 {
		t.Errorf("%s, makespan %d from %d", report.Status, plan.Objective.Makespan, plan.Assignments[0].Start)
	}
	// Both b and c must begin when a ends, and together they need three cooks.
	_, report, err = Solve(works(func(in *Instance) {
		in.Lags = []Lag{{From: "a", To: "b", HasMax: true}, {From: "a", To: "c", HasMax: true}}
	}), Options{Iterations: 100})
	if err != nil {
		t.Fatal(err)
	}
	if report.Status != StatusInfeasible || len(report.Conflicts) == 0 || !report.Conflicts[0].Proved {
		t.Errorf("%s: %+v", report.Status, report.Conflicts)
	}
}
