package sched_test

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/kitchengen"
	"rondeau.internal/pkg/sched/verify"
)

// step is an activity in the only vessel given (or none), wholly unattended.
func step(name, vessel string, d int64) sched.Activity {
	m := sched.Mode{Name: vessel, Middle: d}
	if vessel != "" {
		m.Uses = []sched.Use{{Vessel: vessel}}
	}
	return sched.Activity{Name: name, Modes: []sched.Mode{m}}
}

func vessels(names ...string) []sched.Vessel {
	var out []sched.Vessel
	for _, n := range names {
		out = append(out, sched.Vessel{Name: n})
	}
	return out
}

func problem(acts ...sched.Activity) sched.Instance {
	return sched.Instance{
		Name: "directed", Horizon: sched.Span{End: 100}, Vessels: vessels("kettle", "pot", "chiller"), Activities: acts,
		Weights: sched.Weights{Makespan: 1},
	}
}

func crew(spans ...int64) sched.Calendar {
	c := sched.Calendar{Name: "crew"}
	for i := 0; i < len(spans); i += 2 {
		c.Open = append(c.Open, sched.Open{Span: sched.Span{Start: spans[i], End: spans[i+1]}})
	}
	return c
}

// Each case has one answer that can be worked out by hand; want is the start of each activity.
func TestEachConstraintKindShapesThePlan(t *testing.T) {
	t.Parallel()
	a := func() sched.Activity { return step("a", "kettle", 4) }
	b := func() sched.Activity { return step("b", "kettle", 6) }
	for _, c := range []struct {
		name string
		in   func() sched.Instance
		want map[string]int64
	}{
		{"one vessel takes one activity at a time, the released one waits", func() sched.Instance {
			in := problem(a(), b())
			in.Activities[1].Release = 3
			return in
		}, map[string]int64{"a": 0, "b": 4}},
		{"a least lag delays", func() sched.Instance {
			in := problem(a(), step("c", "chiller", 2))
			in.Lags = []sched.Lag{{From: "a", To: "c", Min: 5}}
			return in
		}, map[string]int64{"a": 0, "c": 9}},
		{"a greatest lag delays the first of the two", func() sched.Instance {
			in := problem(a(), step("c", "chiller", 2))
			in.Activities[1].Release = 20
			in.Lags = []sched.Lag{{From: "a", To: "c", Max: 3, HasMax: true}}
			return in
		}, map[string]int64{"a": 13, "c": 20}},
		{"a held vessel stays blocked until the successor starts", func() sched.Instance {
			in := problem(a(), step("c", "chiller", 2), b())
			in.Activities[1].Release = 10
			in.Activities[2].Release = 1
			in.Activities[0].Deadline = 4
			in.Holds = []sched.Hold{{Activity: "a", Until: "c"}}
			return in
		}, map[string]int64{"a": 0, "c": 10, "b": 10}},
		{"a vessel that is free at the end is not held", func() sched.Instance {
			in := problem(a(), step("c", "chiller", 2), b())
			in.Activities[0].Modes[0].Uses[0].FreeAtEnd = true
			in.Activities[0].Deadline = 4
			in.Activities[1].Release = 10
			in.Activities[2].Release = 1
			in.Holds = []sched.Hold{{Activity: "a", Until: "c"}}
			return in
		}, map[string]int64{"a": 0, "c": 10, "b": 4}},
		{"several vessels at once", func() sched.Instance {
			x := step("strain", "kettle", 3)
			x.Modes[0].Uses = append(x.Modes[0].Uses, sched.Use{Vessel: "pot"})
			in := problem(x, step("p", "pot", 5))
			in.Activities[1].Deadline = 5
			return in
		}, map[string]int64{"p": 0, "strain": 5}},
		{"cleaning takes its time and its crew", func() sched.Instance {
			in := problem(a(), b())
			in.Calendars = []sched.Calendar{crew(6, 20)}
			in.Setups = []sched.Setup{{Name: "clean", States: []string{"x", "y"}, Calendar: "crew", Change: [][]sched.Change{{{}, {Duration: 3, Attended: true}}, {{Duration: 1}, {}}}}}
			in.Vessels[0].Setup = "clean"
			in.Activities[0].State, in.Activities[1].State = "x", "y"
			in.Activities[0].Deadline = 4
			return in
		}, map[string]int64{"a": 0, "b": 9}},
		{"an attended start waits for the shift, an unattended middle runs on", func() sched.Instance {
			x := step("a", "kettle", 10)
			x.Modes[0].Start, x.Modes[0].AttendedCalendar = 2, "crew"
			in := problem(x)
			in.Calendars = []sched.Calendar{crew(1, 2, 5, 8)}
			return in
		}, map[string]int64{"a": 5}},
		{"an attended end must find the shift", func() sched.Instance {
			x := step("a", "kettle", 10)
			x.Modes[0].End, x.Modes[0].AttendedCalendar = 1, "crew"
			in := problem(x)
			in.Calendars = []sched.Calendar{crew(0, 4, 17, 20)}
			return in
		}, map[string]int64{"a": 7}},
		{"a pausable phase may be cut by the night", func() sched.Instance {
			x := step("a", "kettle", 0)
			x.Modes[0].Start, x.Modes[0].AttendedCalendar, x.Modes[0].Pausable = 6, "crew", sched.InStart
			in := problem(x)
			in.Calendars = []sched.Calendar{crew(2, 6, 10, 14)}
			return in
		}, map[string]int64{"a": 2}},
		{"a vessel that is down waits", func() sched.Instance {
			in := problem(a())
			in.Vessels[0].Down = []sched.Span{{Start: 2, End: 7}}
			return in
		}, map[string]int64{"a": 7}},
		{"a cumulative limit that changes over time", func() sched.Instance {
			in := problem(step("a", "kettle", 4), step("c", "pot", 4))
			in.Resources = []sched.Resource{{Name: "power", Capacity: 1, Levels: []sched.Level{{At: 2, Capacity: 3}}}}
			in.Activities[0].Modes[0].Needs = []sched.Need{{Resource: "power", Amount: 2}}
			in.Activities[1].Modes[0].Needs = []sched.Need{{Resource: "power", Amount: 1}}
			return in
		}, map[string]int64{"a": 2, "c": 0}},
		{"shelves stay taken until the consumer starts", func() sched.Instance {
			in := problem(step("a", "kettle", 4), step("c", "", 2), step("d", "pot", 1), step("e", "", 1))
			in.Resources = []sched.Resource{{Name: "shelf", Capacity: 3}}
			in.Activities[1].Release = 15
			in.Activities[0].Deadline = 4
			in.Activities[3].Release = 8
			in.Lags = []sched.Lag{{From: "d", To: "e", Min: 1}}
			in.Stores = []sched.Store{{Resource: "shelf", Amount: 2, Producer: "a", Consumer: "c"}, {Resource: "shelf", Amount: 2, Producer: "d", Consumer: "e"}}
			return in
		}, map[string]int64{"a": 0, "c": 15, "d": 14, "e": 16}},
		{"links keep the material in its kettle", func() sched.Instance {
			x := step("a", "kettle", 4)
			x.Modes = append(x.Modes, step("", "pot", 3).Modes[0])
			y := step("y", "kettle", 4)
			y.Modes = append(y.Modes, step("", "pot", 9).Modes[0])
			in := problem(x, y)
			in.Lags = []sched.Lag{{From: "a", To: "y"}}
			in.Links = []sched.Link{{First: "a", Second: "y", Pairs: [][2]string{{"kettle", "kettle"}, {"pot", "pot"}}}}
			return in
		}, map[string]int64{"a": 0, "y": 4}},
		{"a pinned activity stays, others go round it", func() sched.Instance {
			in := problem(a(), b())
			in.Activities[0].Fixed = &sched.Fixed{Mode: "kettle", Start: 5}
			return in
		}, map[string]int64{"a": 5, "b": 9}},
		{"a started activity is a fact, even in a vessel that is down", func() sched.Instance {
			in := problem(a(), b())
			in.Vessels[0].Down = []sched.Span{{Start: 0, End: 8}}
			in.Activities[0].Fixed = &sched.Fixed{Mode: "kettle", Start: 1, Started: true, End: 11}
			return in
		}, map[string]int64{"a": 1, "b": 11}},
		{"what started before the horizon still occupies its vessel, and its successor keeps the greatest lag", func() sched.Instance {
			in := problem(a(), b(), step("c", "chiller", 2), step("d", "", 30))
			in.Activities[0].Fixed = &sched.Fixed{Mode: "kettle", Start: -20, Started: true, End: 3}
			in.Lags = []sched.Lag{{From: "a", To: "c", Min: 2, Max: 4, HasMax: true}}
			in.Activities[3].Fixed = &sched.Fixed{Mode: "", Start: -40, Started: true}
			return in
		}, map[string]int64{"a": -20, "b": 3, "c": 5, "d": -40}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			in := c.in()
			plan, rep := mustSolve(t, in, sched.Options{Iterations: 300})
			if len(plan.Assignments) == 0 {
				t.Fatalf("no plan: %+v", rep.Conflicts)
			}
			for _, as := range plan.Assignments {
				if w, ok := c.want[as.Activity]; ok && as.Start != w {
					t.Errorf("%s starts at %d, want %d", as.Activity, as.Start, w)
				}
			}
		})
	}
}

func TestTheCheaperAlternativeWinsWhenNothingIsLate(t *testing.T) {
	t.Parallel()
	x := step("a", "kettle", 4)
	x.Modes = append(x.Modes, step("", "pot", 6).Modes[0])
	x.Modes[0].Energy = 50
	x.Due, x.DueWeight = 5, 1
	in := problem(x)
	in.Weights.Energy = 1
	plan, _ := mustSolve(t, in, sched.Options{Iterations: 100})
	if plan.Assignments[0].Mode != "kettle" {
		t.Errorf("punctuality comes first: %+v", plan.Assignments[0])
	}
	in.Activities[0].Due = 6
	plan, rep := mustSolve(t, in, sched.Options{Iterations: 100})
	if plan.Assignments[0].Mode != "pot" || rep.Status == sched.StatusInfeasible {
		t.Errorf("nothing is late, so energy decides: %+v", plan.Assignments[0])
	}
}

func TestWorkIsMovedOutOfOvertimeWhenThatDelaysNothing(t *testing.T) {
	t.Parallel()
	x := step("a", "kettle", 0)
	x.Modes[0].Start, x.Modes[0].AttendedCalendar = 3, "crew"
	x.Due, x.DueWeight = 40, 1
	in := problem(x)
	c := crew(10, 20)
	c.Open = append(c.Open, sched.Open{Span: sched.Span{Start: 0, End: 4}, Overtime: true})
	in.Calendars = []sched.Calendar{c}
	in.Weights = sched.Weights{Overtime: 20, Makespan: 1}
	plan, _ := mustSolve(t, in, sched.Options{Iterations: 200})
	if plan.Assignments[0].Start != 10 || plan.Objective.Overtime != 0 {
		t.Errorf("%+v", plan)
	}
}

func TestInfeasibilityIsExplained(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		in     func() sched.Instance
		kind   sched.ConflictKind
		names  []string // must occur in the message
		relax  int64    // amount of some relaxation
		subjec string
	}{
		{"no vessel is large enough", func() sched.Instance {
			in := problem(sched.Activity{Name: "simmer", Refusals: []sched.Refusal{{Vessel: "pot", Reason: "holds 20 L, the batch is 60 L"}}})
			return in
		}, sched.ConflictNoMode, []string{"simmer", "pot", "holds 20 L"}, 0, "pot"},
		{"the way to the deadline is too long", func() sched.Instance {
			in := problem(step("a", "kettle", 4), step("b", "pot", 6))
			in.Lags = []sched.Lag{{From: "a", To: "b", Min: 2}}
			in.Activities[1].Deadline = 9
			return in
		}, sched.ConflictWindow, []string{"b", "a", "deadline"}, 3, "b"},
		{"least and greatest lags contradict", func() sched.Instance {
			in := problem(step("a", "kettle", 4), step("m", "pot", 6), step("b", "chiller", 1))
			in.Lags = []sched.Lag{{From: "a", To: "m"}, {From: "m", To: "b"}, {From: "a", To: "b", Max: 5, HasMax: true, Why: "hot stock must be chilled"}}
			return in
		}, sched.ConflictLags, []string{"a", "m", "b"}, 0, "a"},
		{"nobody is ever on shift long enough", func() sched.Instance {
			x := step("a", "kettle", 0)
			x.Modes[0].Start, x.Modes[0].AttendedCalendar = 5, "crew"
			in := problem(x)
			in.Calendars = []sched.Calendar{crew(0, 4, 10, 14)}
			return in
		}, sched.ConflictCalendar, []string{"a", "crew"}, 5, "crew"},
		{"more is needed than exists", func() sched.Instance {
			in := problem(step("a", "kettle", 5))
			in.Resources = []sched.Resource{{Name: "power", Capacity: 10}}
			in.Activities[0].Modes[0].Needs = []sched.Need{{Resource: "power", Amount: 12}}
			return in
		}, sched.ConflictCapacity, []string{"a", "power", "12", "10"}, 2, "power"},
		{"the vessel is down for the whole time", func() sched.Instance {
			in := problem(step("a", "kettle", 5))
			in.Vessels[0].Down = []sched.Span{{Start: 3, End: 97}}
			return in
		}, sched.ConflictVessel, []string{"a", "kettle"}, 0, "kettle"},
		{"the time allowed after a started activity is already over", func() sched.Instance {
			in := problem(step("simmer", "kettle", 5), step("chill", "chiller", 5))
			in.Activities[0].Fixed = &sched.Fixed{Mode: "kettle", Start: -10, Started: true, End: 2}
			in.Activities[1].Release = 20
			in.Lags = []sched.Lag{{From: "simmer", To: "chill", Max: 6, HasMax: true, Why: "hot stock must be chilled"}}
			return in
		}, sched.ConflictWindow, []string{"chill", "simmer", "20", "8"}, 12, "chill"},
		{"one vessel has more to do than time allows", func() sched.Instance {
			return problem(step("a", "kettle", 50), step("b", "kettle", 40), step("c", "kettle", 25))
		}, sched.ConflictVessel, []string{"kettle", "15"}, 15, "kettle"},
		{"all vessels together have too little time", func() sched.Instance {
			acts := []sched.Activity{step("a", "kettle", 70), step("b", "kettle", 70), step("c", "kettle", 70)}
			for i := range acts {
				acts[i].Modes = append(acts[i].Modes, step("", "pot", 70).Modes[0])
			}
			return problem(acts...)
		}, sched.ConflictVessel, []string{"kettle", "pot"}, 5, "horizon"},
		{"no linked modes remain", func() sched.Instance {
			in := problem(step("a", "kettle", 5), step("b", "pot", 5))
			in.Links = []sched.Link{{First: "a", Second: "b"}}
			return in
		}, sched.ConflictLink, []string{"a"}, 0, ""},
		{"two pinned activities meet", func() sched.Instance {
			in := problem(step("a", "kettle", 5), step("b", "kettle", 5))
			in.Activities[0].Fixed = &sched.Fixed{Mode: "kettle", Start: 0}
			in.Activities[1].Fixed = &sched.Fixed{Mode: "kettle", Start: 3}
			return in
		}, sched.ConflictFixed, []string{"b", "kettle"}, 0, "b"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			plan, rep := mustSolve(t, c.in(), sched.Options{Iterations: 50})
			if rep.Status != sched.StatusInfeasible || len(plan.Assignments) > 0 || len(rep.Conflicts) == 0 {
				t.Fatalf("%v with %d assignments, %+v", rep.Status, len(plan.Assignments), rep.Conflicts)
			}
			x := rep.Conflicts[0]
			if x.Kind != c.kind || !x.Proved {
				t.Errorf("kind %q proved %v, want %q proved: %s", x.Kind, x.Proved, c.kind, x.Message)
			}
			for _, n := range c.names {
				if !strings.Contains(x.Message, n) {
					t.Errorf("the message does not mention %q: %s", n, x.Message)
				}
			}
			if c.subjec != "" && !slices.ContainsFunc(x.Relaxations, func(r sched.Relaxation) bool { return r.Subject == c.subjec && r.By == c.relax }) {
				t.Errorf("no relaxation of %s by %d in %+v", c.subjec, c.relax, x.Relaxations)
			}
		})
	}
}

func TestALateOrderSaysWhatItWaitsFor(t *testing.T) {
	t.Parallel()
	in := problem(step("first", "kettle", 10), step("late", "kettle", 5), step("end", "", 1))
	in.Activities[0].Deadline = 10
	in.Activities[2].Due, in.Activities[2].DueWeight, in.Activities[2].Order = 7, 3, "order-7"
	in.Lags = []sched.Lag{{From: "late", To: "end"}}
	_, rep := mustSolve(t, in, sched.Options{Iterations: 100})
	if len(rep.Late) != 1 {
		t.Fatalf("%+v", rep.Late)
	}
	l := rep.Late[0]
	if l.Activity != "end" || l.Order != "order-7" || l.Tardiness != 9 || l.Cost != 27 {
		t.Errorf("%+v", l)
	}
	var kinds []sched.WaitKind
	for _, w := range l.Waits {
		kinds = append(kinds, w.Kind)
	}
	if !slices.Equal(kinds, []sched.WaitKind{sched.WaitLag, sched.WaitVessel, sched.WaitRelease}) || l.Waits[1].Subject != "kettle" || l.Waits[1].Behind != "first" {
		t.Errorf("%+v", l.Waits)
	}
}

func TestFaultsAreAllReportedByName(t *testing.T) {
	t.Parallel()
	in := problem(step("a", "cauldron", 4), step("a", "kettle", -1))
	in.Lags = []sched.Lag{{From: "a", To: "ghost", Min: 3, Max: 1, HasMax: true}}
	in.Vessels[0].Setup = "soap"
	in.Activities[1].DueWeight = -2
	in.Weights.Makespan = 1 << 60
	_, _, err := sched.Solve(in, sched.Options{})
	if err == nil {
		t.Fatal("accepted")
	}
	for _, want := range []string{"cauldron", "given twice", "ghost", "soap", "must not be negative", "greatest time 1 is below", "too large"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("no fault mentions %q in:\n%v", want, err)
		}
	}
}

func TestTheSameSeedAndBudgetGiveTheSamePlan(t *testing.T) {
	t.Parallel()
	in := kitchengen.Kitchen(5, kitchengen.Size{Batches: 12})
	p1, r1 := mustSolve(t, in, sched.Options{Seed: 9, Iterations: 80})
	p2, r2 := mustSolve(t, in, sched.Options{Seed: 9, Iterations: 80})
	if !reflect.DeepEqual(p1, p2) || !reflect.DeepEqual(r1, r2) {
		t.Error("two runs differ")
	}
}

func TestSolveDoesNotChangeTheInstance(t *testing.T) {
	t.Parallel()
	in, same := kitchengen.Kitchen(6, kitchengen.Size{Batches: 8}), kitchengen.Kitchen(6, kitchengen.Size{Batches: 8})
	mustSolve(t, in, sched.Options{Iterations: 20})
	if !reflect.DeepEqual(in, same) {
		t.Error("the instance was changed")
	}
}

func TestStopKeepsTheBestPlan(t *testing.T) {
	t.Parallel()
	in := kitchengen.Kitchen(7, kitchengen.Size{Batches: 15})
	stop, seen := false, 0
	var last sched.Plan
	plan, rep := mustSolve(t, in, sched.Options{
		Iterations: 100000,
		Stop:       func() bool { return stop },
		Incumbent: func(p sched.Plan, r sched.Report) {
			seen++
			last = p
			stop = seen == 3
			if r.Status != sched.StatusFeasible || r.Gap < 0 || r.Gap > 1 {
				t.Errorf("%+v", r)
			}
		},
	})
	if !rep.Stopped || rep.Iterations > 5000 || !reflect.DeepEqual(plan, last) {
		t.Errorf("stopped %v after %d iterations", rep.Stopped, rep.Iterations)
	}
	if _, rep := mustSolve(t, in, sched.Options{Stop: func() bool { return true }}); !rep.Stopped || rep.Status != sched.StatusBudgetSpent {
		t.Errorf("stopped before the first plan: %+v", rep.Status)
	}
}

func TestAnEmptyProblemHasAnEmptyPlan(t *testing.T) {
	t.Parallel()
	plan, rep := mustSolve(t, problem(), sched.Options{})
	if rep.Status != sched.StatusOptimal || len(plan.Assignments) != 0 {
		t.Errorf("%+v", rep)
	}
}

func TestReplanKeepsWhatNeedsNoChange(t *testing.T) {
	t.Parallel()
	in := kitchengen.Kitchen(3, kitchengen.Size{Batches: 20})
	in.Weights.Blend = 10
	published, _ := mustSolve(t, in, sched.Options{Iterations: 150})
	const now = 30 * 3600
	st := sched.Stability{MoveWeight: 1, ModeWeight: 600}
	started := 0
	for i, as := range published.Assignments {
		if as.Start < now {
			in.Activities[i].Fixed = &sched.Fixed{Mode: as.Mode, Start: as.Start, Started: true, End: as.End}
			started++
		}
	}
	if started == 0 || started == len(in.Activities) {
		t.Fatalf("%d of %d started", started, len(in.Activities))
	}
	calm, rep, err := sched.Replan(in, published, now, st, sched.Options{Iterations: 1})
	if err != nil || len(calm.Assignments) == 0 {
		t.Fatalf("%v %+v", err, rep)
	}
	if vs := verify.Check(sched.Follow(in, published, now, st), calm); len(vs) > 0 {
		t.Fatal(vs)
	}
	if calm.Objective.Change != 0 {
		t.Errorf("nothing happened, yet the first answer changes the plan by %d", calm.Objective.Change)
	}
	// A kettle fails for ten hours.
	for i := range in.Vessels {
		if in.Vessels[i].Name == "kettle-2" {
			in.Vessels[i].Down = append(in.Vessels[i].Down, sched.Span{Start: now, End: now + 10*3600})
		}
	}
	shaken, rep, err := sched.Replan(in, published, now, st, sched.Options{Iterations: 60})
	if err != nil || len(shaken.Assignments) == 0 {
		t.Fatalf("%v %+v", err, rep)
	}
	if vs := verify.Check(sched.Follow(in, published, now, st), shaken); len(vs) > 0 {
		t.Fatal(vs)
	}
	for i, as := range shaken.Assignments {
		if in.Activities[i].Fixed == nil && as.Start < now {
			t.Errorf("%s starts at %d, before now", as.Activity, as.Start)
		}
	}
	t.Logf("change %d, tardiness %d (published %d)", shaken.Objective.Change, shaken.Objective.Tardiness, published.Objective.Tardiness)
}

func ExampleSolve() {
	in := sched.Instance{
		Name: "two sauces", Horizon: sched.Span{End: 100}, Vessels: []sched.Vessel{{Name: "kettle"}},
		Activities: []sched.Activity{
			{Name: "veal", Modes: []sched.Mode{{Uses: []sched.Use{{Vessel: "kettle"}}, Middle: 30}}, Due: 70, DueWeight: 1},
			{Name: "fish", Modes: []sched.Mode{{Uses: []sched.Use{{Vessel: "kettle"}}, Middle: 20}}, Due: 20, DueWeight: 1},
		},
		Weights: sched.DefaultWeights(),
	}
	plan, report, err := sched.Solve(in, sched.Options{Iterations: 50})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, a := range plan.Assignments {
		fmt.Println(a.Activity, a.Start, a.End)
	}
	fmt.Println(report.Status, report.Objective.Tardiness)
	// Output:
	// veal 20 50
	// fish 0 20
	// optimal 0
}
