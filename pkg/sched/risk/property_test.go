package risk_test

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/kitchengen"
	"rondeau.internal/pkg/sched/risk"
)

func TestTheSameSeedGivesTheSameReport(t *testing.T) {
	t.Parallel()
	in, plan := planned(t, 3, kitchengen.Size{Batches: 6}, 20)
	c := uncertain(in, plan, 0.3)
	s := simulator(t, c, risk.Options{Samples: 700, Seed: 5})
	first, err := s.Run()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Buffers(risk.BufferOptions{Budget: 7200, Samples: 50, Candidates: 4}); err != nil {
		t.Fatal(err)
	}
	s.Realisation(650)
	again, err := s.Run()
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(first, again) {
		t.Error("a second run differs")
	}
	if !reflect.DeepEqual(first, report(t, c, risk.Options{Samples: 700, Seed: 5})) {
		t.Error("another simulator differs")
	}
	if reflect.DeepEqual(first.Tardiness, report(t, c, risk.Options{Samples: 700, Seed: 6}).Tardiness) {
		t.Error("another seed gives the same tardiness")
	}
}

func TestLuckBelongsToNamesNotToPositions(t *testing.T) {
	t.Parallel()
	in, plan := planned(t, 3, kitchengen.Size{Batches: 4}, 20)
	c := uncertain(in, plan, 0.3)
	r := report(t, c, risk.Options{Samples: 300})
	for _, list := range []any{c.Instance.Activities, c.Plan.Assignments, c.Spreads, c.Vessels, c.Instance.Vessels, c.Instance.Lags} {
		swap := reflect.Swapper(list)
		for i, n := 0, reflect.ValueOf(list).Len(); i < n/2; i++ {
			swap(i, n-1-i)
		}
	}
	back := report(t, c, risk.Options{Samples: 300})
	for i, a := range r.Activities {
		b := back.Activities[len(r.Activities)-1-i]
		if a.Activity != b.Activity || !reflect.DeepEqual(a.End, b.End) {
			t.Fatalf("%s ends at %v, in reverse order at %v (%s)", a.Activity, a.End, b.End, b.Activity)
		}
	}
}

func TestProbabilitiesAndQuantilesAreInOrder(t *testing.T) {
	t.Parallel()
	for seed := range uint64(4) {
		in, plan := planned(t, seed, kitchengen.Size{Batches: 10}, 20)
		for _, policy := range []risk.Policy{risk.PolicyPlanned, risk.PolicyEarly} {
			checkReport(t, report(t, uncertain(in, plan, 0.1+0.2*float64(seed)), risk.Options{Samples: 200, Policy: policy, Seed: seed}))
		}
	}
}

// checkReport fails where a number of a report cannot be.
func checkReport(t *testing.T, r *risk.Report) {
	t.Helper()
	var walk func(path string, v reflect.Value)
	walk = func(path string, v reflect.Value) {
		switch v.Kind() {
		case reflect.Struct:
			if p, ok := v.Interface().(risk.Probability); ok && (!(p.Value >= 0 && p.Value <= 1) || p.StandardError < 0 || p.StandardError > 0.5) {
				t.Errorf("%s is %v", path, p)
			}
			for i := range v.NumField() {
				if v.Type().Field(i).IsExported() {
					walk(path+"."+v.Type().Field(i).Name, v.Field(i))
				}
			}
		case reflect.Slice:
			for i := range v.Len() {
				walk(fmt.Sprintf("%s[%d]", path, i), v.Index(i))
			}
		case reflect.Float64:
			if math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0) {
				t.Errorf("%s is %v", path, v.Float())
			}
		}
	}
	walk("report", reflect.ValueOf(*r))
	for _, a := range r.Activities {
		if !slices.IsSorted(a.End.Quantiles) {
			t.Errorf("%s: quantiles %v", a.Activity, a.End.Quantiles)
		}
		if r.Policy == risk.PolicyPlanned && a.PlannedStart > int64(a.End.Mean) {
			t.Errorf("%s ends on average at %v, before its planned start %d", a.Activity, a.End.Mean, a.PlannedStart)
		}
		if a.Criticality < 0 || a.Criticality > 1-r.AllOnTime.Value+1e-9 || math.Abs(a.Sensitivity) > 1 {
			t.Errorf("%s: criticality %v, sensitivity %v", a.Activity, a.Criticality, a.Sensitivity)
		}
		// Whoever is late is to blame for it itself.
		if a.HasDue && a.Criticality < 1-a.OnTime.Value-1e-9 {
			t.Errorf("%s: criticality %v, late in a share of %v", a.Activity, a.Criticality, 1-a.OnTime.Value)
		}
	}
}

func TestALaterDueTimeIsMetMoreOften(t *testing.T) {
	t.Parallel()
	in, plan := planned(t, 2, kitchengen.Size{Batches: 8}, 20)
	before := -1.0
	for _, later := range []int64{-36000, -7200, 0, 3600, 14400, 86400} {
		c := uncertain(in, plan, 0.3)
		c.Instance.Activities = slices.Clone(in.Activities)
		for i := range c.Instance.Activities {
			c.Instance.Activities[i].Due += later
		}
		r := report(t, c, risk.Options{Samples: 300})
		if p := r.AllOnTime.Value; p < before {
			t.Errorf("due %d later: all on time %v, before %v", later, p, before)
		} else {
			before = p
		}
	}
	if before <= 0 {
		t.Error("nothing was ever on time")
	}
}

// Under the same luck a single step with slack is on time less often the wider its spread, exactly; a chain is late by
// more.
func TestMoreSpreadDoesNotHelp(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("a", 0, middle(unit), "kettle")
	b.due(unit * 11 / 10)
	b.add("b", unit, middle(unit), "kettle")
	b.due(2 * unit) // no slack at all
	onTime, slack0, tard := 2.0, 2.0, -1.0
	for _, sigma := range []float64{0.02, 0.05, 0.1, 0.2, 0.4, 0.8} {
		r := report(t, b.spread(t, risk.LogNormal(1, sigma), "a", "b"), risk.Options{Samples: 2000})
		if p := r.Activities[0].OnTime.Value; p > onTime {
			t.Errorf("sigma %v: on time %v, with less spread %v", sigma, p, onTime)
		} else {
			onTime = p
		}
		if p := r.Activities[1].OnTime.Value; p > slack0+2*r.Activities[1].OnTime.StandardError {
			t.Errorf("sigma %v without slack: on time %v, with less spread %v", sigma, p, slack0)
		} else {
			slack0 = p
		}
		if r.Tardiness.Value <= tard {
			t.Errorf("sigma %v: tardiness %v, with less spread %v", sigma, r.Tardiness.Value, tard)
		}
		tard = r.Tardiness.Value
	}
}

// Every duration longer, the same order: nothing that only waits for vessels, lags and calendars ends earlier.
func TestLongerDurationsDelayNobodyLess(t *testing.T) {
	t.Parallel()
	in, plan := planned(t, 4, kitchengen.Size{Batches: 10}, 20)
	for i := range in.Resources {
		in.Resources[i].Capacity, in.Resources[i].Levels = sched.Forever, nil
	}
	ends := func(factor float64) []risk.ActivityRisk {
		c := risk.Case{Instance: in, Plan: plan}
		for _, a := range in.Activities {
			if a.Modes[0].Middle > 0 {
				c.Spreads = append(c.Spreads, risk.Spread{Activity: a.Name, Middle: risk.Phase{Factor: risk.LogNormal(factor, 0.2)}})
			}
		}
		return report(t, c, risk.Options{Samples: 50}).Activities
	}
	short, long := ends(1), ends(1.2)
	for i := range short {
		for k := range short[i].End.Quantiles {
			if long[i].End.Quantiles[k] < short[i].End.Quantiles[k] {
				t.Errorf("%s: quantiles %v with longer durations, else %v", short[i].Activity, long[i].End.Quantiles, short[i].End.Quantiles)
			}
		}
	}
}

func TestLatinHypercubesVaryLess(t *testing.T) {
	t.Parallel()
	in, plan := planned(t, 2, kitchengen.Size{Batches: 4}, 20)
	c := uncertain(in, plan, 0.2)
	variance := func(s risk.Sampling) float64 {
		const seeds = 40
		sum, squares := 0.0, 0.0
		for seed := range uint64(seeds) {
			m := 0.0
			for _, a := range report(t, c, risk.Options{Samples: 60, Seed: seed, Sampling: s}).Activities {
				m += a.End.Mean
			}
			sum += m
			squares += m * m
		}
		return squares/seeds - sum*sum/seeds/seeds
	}
	// Sampling distribution of the ratio of two variances with 39 degrees of freedom: above 0.52 in 98 of 100 cases if
	// they were equal (F distribution, tables); the ends are nearly additive, so the true ratio is far below.
	if l, i := variance(risk.SamplingLatin), variance(risk.SamplingIndependent); l > 0.5*i {
		t.Errorf("variance %v with Latin hypercubes, %v with independent draws", l, i)
	}
}

// All outcomes of a tiny kitchen with two-point durations, each played for certain and weighed with its probability.
func TestAllOutcomesOfATinyKitchen(t *testing.T) {
	t.Parallel()
	in, plan := planned(t, 9, kitchengen.Size{Batches: 2, Kettles: 2, Ovens: 1, Chillers: 1}, 40)
	var names []string
	for _, a := range in.Activities {
		if a.Modes[0].Middle > 0 && len(names) < 7 {
			names = append(names, a.Name)
		}
	}
	for i := range in.Activities {
		if in.Activities[i].DueWeight > 0 {
			in.Activities[i].Due = plan.Assignments[i].End + 3600
		}
	}
	const p = 0.35
	exact, onTime := make([]float64, len(in.Activities)), 0.0
	for outcome := range 1 << len(names) {
		c, prob := risk.Case{Instance: in, Plan: plan}, 1.0
		for i, n := range names {
			v, q := 1.0, 1-p
			if outcome>>i&1 == 1 {
				v, q = 1.6, p
			}
			prob *= q
			c.Spreads = append(c.Spreads, risk.Spread{Activity: n, Middle: risk.Phase{Factor: risk.Factor{Shape: risk.ShapePoints, Points: []risk.Point{{P: 1, Value: v}}}}})
		}
		r := report(t, c, risk.Options{Samples: 1})
		for i, a := range r.Activities {
			exact[i] += prob * a.End.Mean
		}
		onTime += prob * r.AllOnTime.Value
	}
	c := risk.Case{Instance: in, Plan: plan}
	for _, n := range names {
		c.Spreads = append(c.Spreads, risk.Spread{Activity: n, Middle: risk.Phase{Factor: risk.Factor{Shape: risk.ShapePoints, Points: []risk.Point{{P: 1 - p, Value: 1}, {P: p, Value: 1.6}}}}})
	}
	const n = 10000
	r := report(t, c, risk.Options{Samples: n})
	if onTime < 0.05 || onTime > 0.95 {
		t.Errorf("on time with certainty %v: the kitchen tests nothing", onTime)
	}
	near(t, "all on time", r.AllOnTime.Value, onTime, 4*r.AllOnTime.StandardError)
	for i, a := range r.Activities {
		near(t, a.Activity+" mean end", a.End.Mean, exact[i], 4*a.End.SD/math.Sqrt(n)+1e-6*exact[i]/n)
	}
}

func TestStoppingEndsTheRun(t *testing.T) {
	t.Parallel()
	in, plan := planned(t, 2, kitchengen.Size{Batches: 2}, 5)
	s := simulator(t, uncertain(in, plan, 0.2), risk.Options{Stop: func() bool { return true }})
	if _, err := s.Run(); !errors.Is(err, risk.ErrStopped) {
		t.Errorf("error %v", err)
	}
	if _, err := s.Buffers(risk.BufferOptions{Budget: 100}); !errors.Is(err, risk.ErrStopped) {
		t.Errorf("error %v", err)
	}
}
