package sched_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/verify"
)

func explain(t testing.TB, in sched.Instance, opt sched.ExplainOptions) sched.Explanation {
	t.Helper()
	out, err := sched.Explain(in, opt)
	if err != nil {
		t.Fatal(err)
	}
	checkRemedies(t, in, out)
	return out
}

// checkRemedies applies each verified remedy and checks its plan.
func checkRemedies(t testing.TB, in sched.Instance, out sched.Explanation) {
	t.Helper()
	for _, r := range out.Remedies {
		changed, err := in.Apply(r.Edits...)
		if err != nil {
			t.Errorf("%s: %v", r.Message, err)
			continue
		}
		if err := changed.Validate(); err != nil {
			t.Errorf("%s makes a faulty instance: %v", r.Message, err)
			continue
		}
		if !r.Verified {
			continue
		}
		for _, v := range verify.Check(changed, r.Plan) {
			t.Errorf("%s: %s: %s", in.Name, r.Message, v)
		}
	}
}

func reasons(c sched.Core) []string {
	var out []string
	for _, r := range c.Reasons {
		out = append(out, fmt.Sprintf("%s %s", r.Kind, r.Subject))
	}
	slices.Sort(out)
	return out
}

func told(out sched.Explanation) string {
	var b strings.Builder
	fmt.Fprintf(&b, "core (proved %v, minimal %v):\n", out.Core.Proved, out.Core.Minimal)
	for _, r := range out.Core.Reasons {
		fmt.Fprintf(&b, "  %s %s %s needed %v: %s\n", r.Kind, r.Subject, r.Other, r.Needed, r.Message)
	}
	for _, c := range out.Further {
		fmt.Fprintf(&b, "further: %v\n", reasons(c))
	}
	for _, r := range out.Remedies {
		fmt.Fprintf(&b, "  remedy %d: %s (verified %v, least %v, objective %+v)\n", r.Price, r.Message, r.Verified, r.Least, r.Objective)
	}
	return b.String()
}

// simmers are batches of one long step each, in one of some kettles, before a deadline.
func simmers(n int, length, deadline int64, kettles ...string) sched.Instance {
	in := sched.Instance{Name: "simmers", Horizon: sched.Span{End: 200}, Weights: sched.DefaultWeights()}
	for _, k := range kettles {
		in.Vessels = append(in.Vessels, sched.Vessel{Name: k})
	}
	for i := range n {
		a := sched.Activity{Name: fmt.Sprintf("simmer %d", i), Order: fmt.Sprintf("batch %d", i), Deadline: deadline}
		for _, k := range kettles {
			a.Modes = append(a.Modes, sched.Mode{Name: k, Uses: []sched.Use{{Vessel: k}}, Middle: length})
		}
		in.Activities = append(in.Activities, a)
	}
	return in
}

// explained are instances without a plan, what must be said of them, and what must help.
var explained = []struct {
	name    string
	in      func() sched.Instance
	opt     sched.ExplainOptions
	core    []string
	remedy  []string // messages that must be among the remedies, verified
	further int
}{
	{
		name: "three batches and two kettles before one dispatch, among others that do not matter",
		in: func() sched.Instance {
			in := simmers(3, 10, 19, "kettle 1", "kettle 2")
			other := simmers(4, 10, 0, "kettle 1", "kettle 2")
			for _, a := range other.Activities {
				a.Name, a.Order = "other "+a.Name, "other "+a.Order
				in.Activities = append(in.Activities, a)
			}
			return in
		},
		core: []string{
			"activity simmer 0", "activity simmer 1", "activity simmer 2", "deadline simmer 0", "deadline simmer 1", "deadline simmer 2", "vessel kettle 1", "vessel kettle 2",
		},
		remedy: []string{"let simmer 0 end 1 later", "let simmer 2 end 1 later", "have one more vessel like kettle 1 in [0, 10)"},
	},
	{
		name: "a chill that nobody is there to begin: hours of one calendar",
		in: func() sched.Instance {
			in := problem(attended("draw", "crew", 2, 0, 0), attended("chill", "night", 1, 3, 0))
			in.Calendars = []sched.Calendar{crew(0, 8, 24, 32), calendar("night", 14, 18, 38, 42)}
			in.Lags = tight(4, "draw", "chill")
			return in
		},
		core:   []string{"activity chill", "activity draw", "calendar crew", "calendar night", "longest-wait draw"},
		remedy: []string{"let 2 more pass between draw and chill", "open crew in [8, 10)", "open night in [12, 14)"},
	},
	{
		name: "too few heads in the hours of two pours",
		in: func() sched.Instance {
			in := problem(step("pour", "kettle", 4), step("strain", "pot", 4))
			in.Resources = []sched.Resource{{Name: "heads", Capacity: 3}}
			for i := range in.Activities {
				in.Activities[i].Modes[0].Needs = []sched.Need{{Resource: "heads", Amount: 2}}
				in.Activities[i].Deadline = 7
			}
			return in
		},
		core:   []string{"activity pour", "activity strain", "capacity heads", "deadline pour", "deadline strain"},
		remedy: []string{"have 1 more of heads in [0, 4)", "let pour end 1 later"},
	},
	{
		name: "a kettle that is in repair too long",
		in: func() sched.Instance {
			in := problem(step("simmer", "kettle", 10))
			in.Vessels[0].Down = []sched.Span{{Start: 4, End: 30}}
			in.Activities[0].Deadline = 36
			return in
		},
		core:   []string{"activity simmer", "deadline simmer", "vessel-down kettle"},
		remedy: []string{"have kettle in service in [4, 10)", "have kettle in service in [26, 30)", "let simmer end 4 later"},
	},
	{
		name: "no vessel at all, but a smaller batch would fit",
		in: func() sched.Instance {
			in := problem(step("simmer", "kettle", 10))
			in.Activities[0].Modes = nil
			in.Activities[0].Refusals = []sched.Refusal{{Vessel: "kettle", Reason: "holds 60 L, the batch is 85 L"}}
			return in
		},
		opt: sched.ExplainOptions{Offers: []sched.Offer{{
			Name: "make 55 L instead of 85 L", Cost: 9,
			Activities: []sched.OfferModes{{Activity: "simmer", Modes: []sched.Mode{{Name: "55 L", Uses: []sched.Use{{Vessel: "kettle"}}, Middle: 8}}}},
		}}},
		core:   []string{"no-mode simmer"},
		remedy: []string{"make 55 L instead of 85 L"},
	},
	{
		name: "two conflicts that have nothing to do with each other",
		in: func() sched.Instance {
			in := problem(step("a", "kettle", 10), step("b", "pot", 10))
			in.Activities[0].Deadline, in.Activities[1].Deadline = 8, 7
			return in
		},
		core: []string{"activity a", "deadline a"}, remedy: []string{"let a end 2 later, and let b end 3 later"}, further: 1,
	},
	{
		name: "a pinned start and a delivery that comes too late for it",
		in: func() sched.Instance {
			in := problem(step("simmer", "kettle", 10))
			in.Activities[0].Fixed = &sched.Fixed{Mode: "kettle", Start: 3}
			in.Activities[0].Release = 5
			return in
		},
		core:   []string{"activity simmer", "pin simmer", "release simmer"},
		remedy: []string{"let simmer begin 2 earlier", "release simmer from its pinned start"},
	},
	{
		name: "work that does not end before the end of the schedule",
		in: func() sched.Instance {
			in := problem(step("a", "kettle", 60), step("b", "kettle", 60))
			return in
		},
		core:   []string{"activity a", "activity b", "horizon horizon", "vessel kettle"},
		remedy: []string{"let the horizon end 20 later"},
	},
}

func TestWhatStandsInTheWayAndWhatWouldHelp(t *testing.T) {
	t.Parallel()
	for _, c := range explained {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			in := c.in()
			out := explain(t, in, c.opt)
			if !out.Core.Proved || !out.Core.Minimal || out.Possible {
				t.Errorf("proved %v, minimal %v, possible %v", out.Core.Proved, out.Core.Minimal, out.Possible)
			}
			if got := reasons(out.Core); fmt.Sprint(got) != fmt.Sprint(c.core) {
				t.Errorf("core %v\nwant %v", got, c.core)
			}
			for _, want := range c.remedy {
				if !slices.ContainsFunc(out.Remedies, func(r sched.Remedy) bool { return r.Message == want && r.Verified }) {
					t.Errorf("no remedy %q", want)
				}
			}
			if len(out.Further) != c.further {
				t.Errorf("%d further conflicts", len(out.Further))
			}
			if t.Failed() {
				t.Log(told(out))
			}
		})
	}
}

func TestWhatBringsALateBatchInTime(t *testing.T) {
	t.Parallel()
	late := func(due ...int64) (sched.Instance, sched.Plan) {
		in := simmers(len(due), 10, 0, "kettle")
		for i := range due {
			in.Activities[i].Due, in.Activities[i].DueWeight = due[i], 1
		}
		in.Activities[0].DueWeight = 2
		plan, _ := mustSolve(t, in, sched.Options{Iterations: 200})
		return in, plan
	}
	in, plan := late(10, 12)
	out, err := sched.ExplainLate(in, plan, "simmer 1", sched.ExplainOptions{})
	if err != nil {
		t.Fatal(err)
	}
	t.Log(told(out))
	if out.Possible || !out.Core.Proved {
		t.Errorf("possible %v, proved %v", out.Possible, out.Core.Proved)
	}
	for _, want := range []string{"let simmer 1 go before others", "have one more vessel like kettle in [0, 10)"} {
		if !slices.ContainsFunc(out.Remedies, func(r sched.Remedy) bool { return r.Message == want && r.Verified }) {
			t.Errorf("no remedy %q", want)
		}
	}
	if slices.ContainsFunc(out.Remedies, func(r sched.Remedy) bool { return r.Message == "let simmer 1 end 8 later" }) {
		t.Error("to be as late as it is now is called a remedy")
	}
	if _, err := sched.ExplainLate(in, plan, "nobody", sched.ExplainOptions{}); err == nil {
		t.Error("an unknown activity is explained")
	}
}

func TestExplainIsDeterministicAndStops(t *testing.T) {
	t.Parallel()
	in := simmers(5, 10, 19, "kettle 1", "kettle 2")
	a, b := explain(t, in, sched.ExplainOptions{Seed: 3}), explain(t, in, sched.ExplainOptions{Seed: 3})
	if told(a) != told(b) {
		t.Errorf("%s\nand\n%s", told(a), told(b))
	}
	calls := 0
	out := explain(t, in, sched.ExplainOptions{Stop: func() bool { calls++; return calls > 40 }})
	if !out.Stopped {
		t.Error("was not stopped")
	}
	few := explain(t, in, sched.ExplainOptions{Solves: 3})
	if !few.Stopped {
		t.Error("the budget was not kept")
	}
	if out := explain(t, simmers(2, 10, 19, "kettle 1", "kettle 2"), sched.ExplainOptions{}); !out.Possible || len(out.Remedies) > 0 {
		t.Errorf("what is possible is explained: %s", told(out))
	}
	in.Vessels[0].Name = ""
	if _, err := sched.Explain(in, sched.ExplainOptions{}); err == nil {
		t.Error("a faulty instance is explained")
	}
}

func TestAFirmWaitIsNeverOfferedToBeLonger(t *testing.T) {
	t.Parallel()
	in := sched.Instance{
		Horizon:   sched.Span{End: 100},
		Calendars: []sched.Calendar{{Name: "late", Open: []sched.Open{{Span: sched.Span{Start: 50, End: 90}}}}},
		Activities: []sched.Activity{
			{Name: "strain", Deadline: 20, Modes: []sched.Mode{{Name: "pot", Start: 5}}},
			{Name: "chill", Modes: []sched.Mode{{Name: "chiller", Start: 5, AttendedCalendar: "late"}}},
		},
		Lags: []sched.Lag{{From: "strain", To: "chill", Max: 10, HasMax: true}},
	}
	offered := func() bool {
		for _, r := range explain(t, in, sched.ExplainOptions{}).Remedies {
			for _, e := range r.Edits {
				if e.Kind == sched.EditLag {
					return true
				}
			}
		}
		return false
	}
	if !offered() {
		t.Error("a wait that is not firm is not offered")
	}
	in.Lags[0].Firm = true
	if offered() {
		t.Error("a firm wait is offered to be longer")
	}
}

func TestWhatHasStartedIsNotHelpedToBeInTime(t *testing.T) {
	t.Parallel()
	in := sched.Instance{
		Horizon: sched.Span{Start: 50, End: 100},
		Activities: []sched.Activity{{
			Name: "freeze", Due: 20, DueWeight: 1, Modes: []sched.Mode{{Name: "shelf", Start: 30}}, Fixed: &sched.Fixed{Mode: "shelf", Start: 40, Started: true},
		}},
	}
	plan, report, err := sched.Solve(in, sched.Options{})
	if err != nil || len(report.Late) != 1 {
		t.Fatalf("%v %+v", err, report)
	}
	out, err := sched.ExplainLate(in, plan, "freeze", sched.ExplainOptions{})
	if err != nil || len(out.Remedies) > 0 {
		t.Errorf("%v %+v", err, out.Remedies)
	}
}

func TestLeavingOutWhatALateBatchIsMadeOfIsNoRemedy(t *testing.T) {
	t.Parallel()
	step := func(name, order string, due, weight int64) sched.Activity {
		return sched.Activity{
			Name: name, Order: order, Due: due, DueWeight: weight,
			Modes: []sched.Mode{{Name: "kettle", Start: 10, Uses: []sched.Use{{Vessel: "kettle"}}}},
		}
	}
	in := sched.Instance{
		Horizon: sched.Span{End: 200}, Vessels: []sched.Vessel{{Name: "kettle"}},
		Activities: []sched.Activity{step("fumet", "fish", 10, 5), step("stock", "stock", 20, 1), step("pack", "packs", 25, 1)},
		Lags:       []sched.Lag{{From: "stock", To: "pack"}},
	}
	plan, report := mustSolve(t, in, sched.Options{Iterations: 200})
	if len(report.Late) != 1 || report.Late[0].Activity != "pack" {
		t.Fatalf("late: %+v", report.Late)
	}
	out, err := sched.ExplainLate(in, plan, "pack", sched.ExplainOptions{})
	if err != nil {
		t.Fatal(err)
	}
	var left []string
	for _, r := range out.Remedies {
		for _, e := range r.Edits {
			if e.Kind == sched.EditOut {
				left = append(left, e.Subject)
			}
		}
	}
	if !slices.Equal(left, []string{"fish"}) {
		t.Errorf("left out: %v\n%s", left, told(out))
	}
}
