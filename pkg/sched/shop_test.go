package sched

import (
	"testing"

	"rondeau.internal/pkg/sched/internal/shop"
)

// pair is a shop of two jobs with two operations each on two machines.
func pair(change func(*Instance)) Instance {
	in := Instance{Horizon: Span{Start: 100, End: 1000}, Vessels: []Vessel{{Name: "m1"}, {Name: "m2"}}, Weights: Weights{Makespan: 1}}
	for _, j := range []string{"a", "b"} {
		for k, m := range []string{"m1", "m2"} {
			in.Activities = append(in.Activities, Activity{Name: j + m, Order: j, Modes: []Mode{{Name: m, Middle: int64(3 + k), Uses: []Use{{Vessel: m}}}}})
		}
		in.Lags = append(in.Lags, Lag{From: j + "m1", To: j + "m2"})
	}
	if change != nil {
		change(&in)
	}
	return in
}

func viewOf(t *testing.T, in Instance) *shopView {
	t.Helper()
	if err := in.Validate(); err != nil {
		t.Fatal(err)
	}
	p := compile(&in)
	p.impossible()
	return p.asShop()
}

func TestShopsAreRecognised(t *testing.T) {
	need := func(in *Instance, resource string, capacity int64) {
		in.Resources = append(in.Resources, Resource{Name: resource, Capacity: capacity})
		for i := range in.Activities {
			in.Activities[i].Modes[0].Needs = append(in.Activities[i].Modes[0].Needs, Need{Resource: resource, Amount: 1})
		}
	}
	for _, c := range []struct {
		name   string
		change func(*Instance)
		want   func(*shop.Problem) bool
	}{
		{"a job shop", nil, func(p *shop.Problem) bool {
			return len(p.Jobs) == 2 && p.Resources == 2 && p.Operators == 0 && !p.Blocking && p.Objective == shop.Makespan
		}},
		{"operators", func(in *Instance) { need(in, "cooks", 2) }, func(p *shop.Problem) bool { return p.Operators == 2 && p.Resources == 2 }},
		{"one operator is a machine", func(in *Instance) { need(in, "cook", 1) }, func(p *shop.Problem) bool {
			return p.Operators == 0 && p.Resources == 3 && len(p.Jobs[0].Operations[0].Modes[0].Resources) == 2
		}},
		{"blocking", func(in *Instance) {
			in.Holds = []Hold{{Activity: "am1", Until: "am2"}, {Activity: "bm1", Until: "bm2"}}
		}, func(p *shop.Problem) bool { return p.Blocking }},
		{"due times count from the start of the horizon", func(in *Instance) {
			in.Activities[1].Due, in.Activities[1].DueWeight = 104, 7
		}, func(p *shop.Problem) bool {
			return p.Objective == shop.WeightedTardiness && p.Jobs[0].Due == 4 && p.Jobs[0].Weight == 7 && p.Jobs[1].Weight == 0
		}},
		{"a release", func(in *Instance) { in.Activities[2].Release = 105 }, func(p *shop.Problem) bool { return p.Jobs[1].Release == 5 }},
		{"a release in the midst", func(in *Instance) { in.Activities[1].Release = 150 }, func(p *shop.Problem) bool {
			return p.Jobs[0].Release == 0 && p.Jobs[0].Operations[1].Release == 50
		}},
	} {
		v := viewOf(t, pair(c.change))
		if v == nil {
			t.Errorf("%s: not recognised", c.name)
		} else if !c.want(&v.problem) {
			t.Errorf("%s: seen as %+v", c.name, v.problem)
		}
	}
}

func TestWhatIsMoreThanAShopIsLeftToTheGeneralSearch(t *testing.T) {
	for name, change := range map[string]func(*Instance){
		"a greatest lag":          func(in *Instance) { in.Lags[0].Max, in.Lags[0].HasMax = 5, true },
		"a least lag":             func(in *Instance) { in.Lags[0].Min = 5 },
		"one hold of two":         func(in *Instance) { in.Holds = []Hold{{Activity: "am1", Until: "am2"}} },
		"a join":                  func(in *Instance) { in.Lags = append(in.Lags, Lag{From: "am1", To: "bm2"}) },
		"a vessel that is down":   func(in *Instance) { in.Vessels[0].Down = []Span{{Start: 110, End: 120}} },
		"a deadline":              func(in *Instance) { in.Activities[0].Deadline = 500 },
		"a published plan":        func(in *Instance) { in.Activities[0].Previous = &Previous{Start: 100, Mode: "m1"} },
		"a pinned activity":       func(in *Instance) { in.Activities[0].Fixed = &Fixed{Mode: "m1", Start: 100} },
		"a due time in the midst": func(in *Instance) { in.Activities[0].Due, in.Activities[0].DueWeight = 104, 1 },
		"blended weights":         func(in *Instance) { in.Weights.Blend = 1 },
		"a calendar": func(in *Instance) {
			in.Calendars = []Calendar{{Name: "day", Open: []Open{{Span: Span{Start: 100, End: 900}}}}}
			in.Activities[0].Modes[0].UnattendedCalendar = "day"
		},
		"two of a resource": func(in *Instance) {
			in.Resources = []Resource{{Name: "power", Capacity: 3}}
			in.Activities[0].Modes[0].Needs = []Need{{Resource: "power", Amount: 2}}
		},
		"a resource that changes": func(in *Instance) {
			in.Resources = []Resource{{Name: "power", Capacity: 1, Levels: []Level{{At: 300, Capacity: 2}}}}
			in.Activities[0].Modes[0].Needs = []Need{{Resource: "power", Amount: 1}}
		},
	} {
		if v := viewOf(t, pair(change)); v != nil {
			t.Errorf("%s: taken for a shop", name)
		}
	}
}

func TestAShopIsSolvedWithinTheHorizon(t *testing.T) {
	// Machine 1 takes 3 for each job and machine 2 takes 4 after the first: 3 + 4 + 4.
	plan, report, err := Solve(pair(nil), Options{Seed: 3, Iterations: 50})
	if err != nil {
		t.Fatal(err)
	}
	if plan.Objective.Makespan != 11 || plan.Assignments[0].Start < 100 || report.Status != StatusOptimal {
		t.Errorf("got %+v, %s", plan, report.Status)
	}
}
