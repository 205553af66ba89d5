package risk_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/kitchengen"
	"rondeau.internal/pkg/sched/risk"
	"rondeau.internal/pkg/sched/verify"
)

// planned solves a random kitchen.
func planned(t testing.TB, seed uint64, size kitchengen.Size, iterations int) (sched.Instance, sched.Plan) {
	t.Helper()
	in := kitchengen.Kitchen(seed, size)
	plan, rep, err := sched.Solve(in, sched.Options{Seed: seed, Iterations: iterations})
	if err != nil || len(plan.Assignments) == 0 {
		t.Fatalf("%s: %v, %v", in.Name, rep.Status, err)
	}
	return in, plan
}

// uncertain gives every phase of every activity a spread, a few extras, yields and common causes.
func uncertain(in sched.Instance, plan sched.Plan, sigma float64) risk.Case {
	c := risk.Case{Instance: in, Plan: plan}
	for i, a := range in.Activities {
		s := risk.Spread{Activity: a.Name}
		m := a.Modes[slices.IndexFunc(a.Modes, func(m sched.Mode) bool { return m.Name == plan.Assignments[i].Mode })]
		if m.Start > 0 {
			s.Start.Factor = risk.LogNormal(1, sigma/3)
		}
		if m.Middle > 0 {
			s.Middle.Factor = risk.LogNormal(1, sigma)
		}
		if m.End > 0 {
			s.End.Factor = risk.LogNormal(1, sigma/3)
		}
		if strings.HasSuffix(a.Name, "/chill") {
			s.Middle.Extras = []risk.Extra{{Probability: sigma / 2, Add: 6 * 3600}}
		}
		if strings.HasSuffix(a.Name, "/strain") {
			s.Yield = risk.LogNormal(1, sigma/4)
		}
		c.Spreads = append(c.Spreads, s)
	}
	for _, v := range in.Vessels {
		c.Vessels = append(c.Vessels, risk.Common{Name: v.Name, Sigma: sigma / 2})
	}
	return c
}

func simulator(t testing.TB, c risk.Case, o risk.Options) *risk.Simulator {
	t.Helper()
	s, err := risk.New(c, o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func report(t testing.TB, c risk.Case, o risk.Options) *risk.Report {
	t.Helper()
	r, err := simulator(t, c, o).Run()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestWithoutSpreadThePlanComesTrue(t *testing.T) {
	t.Parallel()
	for seed := range uint64(8) {
		in, plan := planned(t, seed, kitchengen.Size{Batches: 8 + int(seed)*3}, 60)
		for _, policy := range []risk.Policy{risk.PolicyPlanned, risk.PolicyEarly} {
			s := simulator(t, risk.Case{Instance: in, Plan: plan}, risk.Options{Policy: policy, Samples: 1})
			real, got, ok := s.Realisation(0)
			if !ok {
				t.Fatal("something never ends")
			}
			for _, v := range verify.Check(real, got) {
				if _, excused := notEnforced(v); policy == risk.PolicyPlanned || !excused {
					t.Fatalf("seed %d policy %d: %v", seed, policy, v)
				}
			}
			for i, as := range got.Assignments {
				want := plan.Assignments[i]
				if as.Start != want.Start && policy == risk.PolicyPlanned || as.Start > want.Start {
					t.Errorf("seed %d policy %d: %s starts at %d, planned %d", seed, policy, as.Activity, as.Start, want.Start)
				}
				if policy == risk.PolicyPlanned && as.End != want.End {
					t.Errorf("seed %d: %s ends at %d, planned %d", seed, as.Activity, as.End, want.End)
				}
			}
			if policy == risk.PolicyPlanned && got.Objective != plan.Objective {
				t.Errorf("seed %d: cost %+v, planned %+v", seed, got.Objective, plan.Objective)
			}
			r, err := s.Run()
			if err != nil {
				t.Fatal(err)
			}
			if policy == risk.PolicyPlanned && (r.Tardiness.Value != float64(plan.Objective.Tardiness) || r.Overtime.Value != float64(plan.Objective.Overtime)) {
				t.Errorf("seed %d: tardiness %v overtime %v, planned %+v", seed, r.Tardiness, r.Overtime, plan.Objective)
			}
			for _, l := range r.Lags {
				if policy == risk.PolicyPlanned && l.Broken.Value > 0 {
					t.Errorf("seed %d: lag %s to %s is broken", seed, l.From, l.To)
				}
			}
			for _, v := range r.Vessels {
				if v.Slips.Value > 0 {
					t.Errorf("seed %d: %s slips", seed, v.Vessel)
				}
			}
		}
	}
}

// notEnforced reports whether a violation is one that the package says reality does not wait for.
func notEnforced(v verify.Violation) (string, bool) {
	switch v.Kind {
	case verify.Lag:
		return "lag", strings.Contains(v.Message, "at most")
	case verify.Capacity:
		return "resource " + v.Resource, v.Resource != "heads"
	case verify.Down:
		return "vessel " + v.Vessel, true
	}
	return "", false
}

func TestEveryRealisationRespectsWhatIsEnforced(t *testing.T) {
	t.Parallel()
	const samples = 12
	checked := 0
	for seed := range uint64(6) {
		in, plan := planned(t, seed, kitchengen.Size{Batches: 6 + 5*int(seed)}, 60)
		for _, policy := range []risk.Policy{risk.PolicyPlanned, risk.PolicyEarly} {
			c := uncertain(in, plan, 0.1+0.1*float64(seed))
			s := simulator(t, c, risk.Options{Policy: policy, Samples: samples, Seed: seed, Heedless: seed%2 == 0})
			found := map[string]int{}
			whole := 0
			for i := range samples {
				real, got, ok := s.Realisation(i)
				if !ok {
					continue
				}
				whole++
				seen := map[string]bool{}
				for _, v := range verify.Check(real, got) {
					name, excused := notEnforced(v)
					if !excused {
						t.Fatalf("seed %d policy %d realisation %d: %v", seed, policy, i, v)
					}
					if v.Kind == verify.Lag {
						name = fmt.Sprint(v.Activities)
					}
					seen[name] = true
				}
				for name := range seen {
					found[name]++
				}
			}
			if whole < samples {
				continue
			}
			checked++
			// What the report counts is what the independent checker finds.
			r, err := s.Run()
			if err != nil {
				t.Fatal(err)
			}
			for _, l := range r.Lags {
				compare(t, seed, fmt.Sprint([]string{l.From, l.To}), l.Broken, found, samples)
			}
			for _, x := range r.Resources {
				compare(t, seed, "resource "+x.Resource, x.Exceeded, found, samples)
			}
			for _, x := range r.Vessels {
				compare(t, seed, "vessel "+x.Vessel, x.Blocked, found, samples)
			}
		}
	}
	if checked < 6 {
		t.Errorf("only %d cases had all realisations complete", checked)
	}
}

func compare(t *testing.T, seed uint64, name string, p risk.Probability, found map[string]int, n int) {
	t.Helper()
	if p.Value != float64(found[name])/float64(n) {
		t.Errorf("seed %d: %s is reported in a share of %v, the checker finds it in %d of %d", seed, name, p.Value, found[name], n)
	}
}
