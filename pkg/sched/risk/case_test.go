package risk_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/risk"
)

// small is a case of two activities, the first with a middle.
func small(t testing.TB) risk.Case {
	b := newBench()
	b.add("simmer", 0, sched.Mode{Start: 10, Middle: 100, End: 10}, "kettle")
	b.add("strain", 120, sched.Mode{Start: 20}, "kettle")
	b.due(150)
	b.lag("simmer", "strain")
	return b.spread(t, risk.Factor{})
}

func TestBadInputIsNamed(t *testing.T) {
	t.Parallel()
	phase := func(f risk.Factor) risk.Phase { return risk.Phase{Factor: f} }
	points := func(s risk.Shape, p ...risk.Point) risk.Phase {
		return phase(risk.Factor{Shape: s, Points: p})
	}
	spread := func(s risk.Spread) func(c *risk.Case, o *risk.Options) {
		return func(c *risk.Case, _ *risk.Options) { c.Spreads = []risk.Spread{s} }
	}
	for _, x := range []struct {
		name  string
		wants string
		spoil func(c *risk.Case, o *risk.Options)
	}{
		{"unknown activity", `"soup"`, spread(risk.Spread{Activity: "soup"})},
		{"two spreads", `"simmer" has two`, func(c *risk.Case, _ *risk.Options) {
			c.Spreads = []risk.Spread{{Activity: "simmer"}, {Activity: "simmer"}}
		}},
		{"negative sigma", `"simmer", spread of its middle: its sigma -1`, spread(risk.Spread{Activity: "simmer", Middle: phase(risk.LogNormal(1, -1))})},
		{"sigma not a number", "NaN", spread(risk.Spread{Activity: "simmer", Middle: phase(risk.LogNormal(1, math.NaN()))})},
		{"median not a number", "NaN", spread(risk.Spread{Activity: "simmer", Middle: phase(risk.LogNormal(math.NaN(), 1))})},
		{"infinite median", "+Inf", spread(risk.Spread{Activity: "simmer", End: phase(risk.LogNormal(math.Inf(1), 1))})},
		{"median zero", "median 0", spread(risk.Spread{Activity: "simmer", Start: phase(risk.LogNormal(0, 1))})},
		{"no such shape", "shape 9", spread(risk.Spread{Activity: "simmer", Middle: phase(risk.Factor{Shape: 9})})},
		{"a phase without duration", `"strain", spread of its middle: it has no duration`, spread(risk.Spread{Activity: "strain", Middle: phase(risk.LogNormal(1, 0.1))})},
		{"quantiles that do not reach 1", "end at 1", spread(risk.Spread{Activity: "simmer", Middle: points(risk.ShapeQuantiles, risk.Point{P: 0, Value: 1}, risk.Point{P: 0.9, Value: 2})})},
		{"quantiles that fall", "must ascend", spread(risk.Spread{Activity: "simmer", Middle: points(risk.ShapeQuantiles, risk.Point{P: 0, Value: 2}, risk.Point{P: 1, Value: 1})})},
		{"no quantiles", "least and the greatest", spread(risk.Spread{Activity: "simmer", Middle: points(risk.ShapeQuantiles)})},
		{"probabilities that miss 1", "sum to 0.9", spread(risk.Spread{Activity: "simmer", Middle: points(risk.ShapePoints, risk.Point{P: 0.9, Value: 2})})},
		{"probability not a number", "NaN", spread(risk.Spread{Activity: "simmer", Middle: points(risk.ShapePoints, risk.Point{P: math.NaN(), Value: 2})})},
		{"value negative", "value -2", spread(risk.Spread{Activity: "simmer", Middle: points(risk.ShapePoints, risk.Point{P: 1, Value: -2})})},
		{"extra above 1", "probability 1.5", spread(risk.Spread{Activity: "simmer", Middle: risk.Phase{Extras: []risk.Extra{{Probability: 1.5, Add: 1}}}})},
		{"extra negative", "extra of -1", spread(risk.Spread{Activity: "simmer", Middle: risk.Phase{Extras: []risk.Extra{{Probability: 0.5, Add: -1}}}})},
		{"nine extras", "9 extras", spread(risk.Spread{Activity: "simmer", Middle: risk.Phase{Extras: make([]risk.Extra, 9)}})},
		{"negative exponent", "exponent -1", spread(risk.Spread{Activity: "simmer", VesselPower: -1})},
		{"exponent not a number", "exponent NaN", spread(risk.Spread{Activity: "simmer", VesselPower: math.NaN()})},
		{"yield", "its yield", spread(risk.Spread{Activity: "simmer", Yield: risk.LogNormal(1000, 1)})},
		{"unknown vessel", `vessel "pan"`, func(c *risk.Case, _ *risk.Options) { c.Vessels = []risk.Common{{Name: "pan", Sigma: 0.1}} }},
		{"vessel twice", "two common causes", func(c *risk.Case, _ *risk.Options) { c.Vessels = []risk.Common{{Name: "kettle"}, {Name: "kettle"}} }},
		{"vessel sigma", "sigma 3", func(c *risk.Case, _ *risk.Options) { c.Vessels = []risk.Common{{Name: "kettle", Sigma: 3}} }},
		{"unknown order", `order "x"`, func(c *risk.Case, _ *risk.Options) { c.Orders = []risk.Common{{Name: "x", Sigma: 0.1}} }},
		{"order sigma not a number", "NaN", func(c *risk.Case, _ *risk.Options) { c.Orders = []risk.Common{{Name: "o", Sigma: math.NaN()}} }},
		{"an empty plan", `"simmer" is not in the plan`, func(c *risk.Case, _ *risk.Options) { c.Plan = sched.Plan{} }},
		{"a plan of something else", `"soup", which the instance`, func(c *risk.Case, _ *risk.Options) { c.Plan.Assignments[0].Activity = "soup" }},
		{"a plan with something twice", `"simmer" twice`, func(c *risk.Case, _ *risk.Options) { c.Plan.Assignments[1].Activity = "simmer" }},
		{"an unknown mode", `mode "z"`, func(c *risk.Case, _ *risk.Options) { c.Plan.Assignments[0].Mode = "z" }},
		{"a plan against time", "no span of time", func(c *risk.Case, _ *risk.Options) { c.Plan.Assignments[0].End = -5 }},
		{"a faulty instance", `no vessel "kettle"`, func(c *risk.Case, _ *risk.Options) { c.Instance.Vessels = nil }},
		{"an order that waits for itself", "wait for each other: ", func(c *risk.Case, _ *risk.Options) {
			c.Plan.Assignments[1].Start, c.Plan.Assignments[1].End = 0, 20
			c.Plan.Assignments[0].Start, c.Plan.Assignments[0].End = 20, 140
			c.Instance.Holds = []sched.Hold{{Activity: "simmer", Until: "strain"}}
		}},
		{"samples", "-1 samples", func(_ *risk.Case, o *risk.Options) { o.Samples = -1 }},
		{"too many samples", "2000000 samples", func(_ *risk.Case, o *risk.Options) { o.Samples = 2000000 }},
		{"policy", "policy 7", func(_ *risk.Case, o *risk.Options) { o.Policy = 7 }},
		{"sampling", "sampling 7", func(_ *risk.Case, o *risk.Options) { o.Sampling = 7 }},
		{"quantile", "quantile 1 ", func(_ *risk.Case, o *risk.Options) { o.Quantiles = []float64{1} }},
		{"quantile not a number", "NaN", func(_ *risk.Case, o *risk.Options) { o.Quantiles = []float64{math.NaN()} }},
		{"tolerance", "tolerance -3", func(_ *risk.Case, o *risk.Options) { o.Tolerance = -3 }},
	} {
		t.Run(x.name, func(t *testing.T) {
			t.Parallel()
			c, o := small(t), risk.Options{}
			x.spoil(&c, &o)
			_, err := risk.New(c, o)
			if err == nil || !strings.Contains(err.Error(), x.wants) {
				t.Errorf("error %v, want one with %q", err, x.wants)
			}
		})
	}
}

func TestAllFaultsAreReportedAtOnce(t *testing.T) {
	t.Parallel()
	c := small(t)
	c.Spreads = []risk.Spread{{Activity: "soup"}, {Activity: "simmer", Middle: risk.Phase{Factor: risk.LogNormal(1, 9)}}}
	c.Vessels = []risk.Common{{Name: "pan"}}
	_, err := risk.New(c, risk.Options{Samples: -1})
	var f risk.Faults
	if !errors.As(err, &f) || len(f) != 4 {
		t.Errorf("%v", err)
	}
}

func TestPromisesAreRefusedWhereTheyCannotBeMade(t *testing.T) {
	t.Parallel()
	r := report(t, small(t), risk.Options{Samples: 20})
	for _, p := range []float64{0, 1, -1, math.NaN(), 0.99} {
		if _, err := r.Promise("o", p); err == nil {
			t.Errorf("a promise with probability %v from 20 samples", p)
		}
	}
	if _, err := r.Promise("x", 0.5); err == nil {
		t.Error("a promise for an order that does not exist")
	}
	if p, err := r.Promise("o", 0.8); err != nil || p.Moment != 140 || p.Safe != 140 {
		t.Errorf("promise %+v, %v", p, err)
	}
}

func TestAnIntervalBecomesALogNormalSpread(t *testing.T) {
	t.Parallel()
	f, err := risk.LogNormalInterval(0.8, 1.25, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "median", f.Median, 1, 1e-12)
	near(t, "sigma", f.Sigma, math.Log(1.25)/1.6448536269514722, 1e-9) // normal quantile of 0.95 (tables)
	b := newBench()
	b.add("a", 0, middle(unit))
	r := report(t, b.spread(t, f, "a"), risk.Options{Samples: 2000, Quantiles: []float64{0.05, 0.95}})
	near(t, "low", float64(r.Activities[0].End.Quantiles[0]), 0.8*unit, 0.005*unit)
	near(t, "high", float64(r.Activities[0].End.Quantiles[1]), 1.25*unit, 0.005*unit)
	for _, x := range [][3]float64{{0, 1, 0.9}, {2, 1, 0.9}, {1, 1000, 0.9}, {1, 2, 0}, {1, 2, 1}, {math.NaN(), 1, 0.9}, {0.011, 99, 0.1}} {
		if _, err := risk.LogNormalInterval(x[0], x[1], x[2]); err == nil {
			t.Errorf("%v is accepted", x)
		}
	}
}

func TestARunningStepIsUncertainInWhatRemains(t *testing.T) {
	t.Parallel()
	c := small(t)
	c.Instance.Horizon.Start = 60
	c.Instance.Activities[0].Fixed = &sched.Fixed{Start: 0, Started: true, End: 160}
	c.Spreads = []risk.Spread{{Activity: "simmer", Middle: risk.Phase{Factor: risk.Factor{Shape: risk.ShapePoints, Points: []risk.Point{{P: 0.5, Value: 1}, {P: 0.5, Value: 1.5}}}}}}
	r := report(t, c, risk.Options{Samples: 100})
	near(t, "mean end", r.Activities[0].End.Mean, 160+0.25*100, 1e-9)
	near(t, "mean end of what follows", r.Activities[1].End.Mean, 185+20, 1e-9)
	near(t, "slips", r.Vessels[0].Slips.Value, 1, 0)
	// Nothing remains of a step that is over.
	c.Instance.Activities[0].Fixed.End = 50
	near(t, "a step that is over", report(t, c, risk.Options{Samples: 100}).Activities[0].End.SD, 0, 0)
}

func TestPeopleThatAreLateAreToBlame(t *testing.T) {
	t.Parallel()
	// One cook: a long first job delays the second, which has a due time of its own.
	b := newBench()
	b.in.Resources = []sched.Resource{{Name: "heads", Capacity: 1}}
	need := []sched.Need{{Resource: "heads", Amount: 1}}
	b.add("first", 0, sched.Mode{Middle: 100, Needs: need}).Order = "p"
	b.add("idle", 0, middle(100)).Order = "r"
	b.add("second", 100, sched.Mode{Middle: 100, Needs: need})
	b.due(210)
	c := b.spread(t, risk.Factor{Shape: risk.ShapePoints, Points: []risk.Point{{P: 0.75, Value: 1}, {P: 0.25, Value: 2}}}, "first", "idle")
	r := report(t, c, risk.Options{Samples: 1000})
	near(t, "criticality of the first", r.Activities[0].Criticality, 0.25, 1e-9)
	near(t, "criticality of the idle", r.Activities[1].Criticality, 0, 0)
	near(t, "criticality of the second", r.Activities[2].Criticality, 0.25, 1e-9)
	near(t, "sensitivity", r.Activities[0].Sensitivity, 1, 1e-9)
	if len(r.Drivers) == 0 || r.Drivers[0].Name != "first" || r.Drivers[0].Kind != risk.DriverActivity {
		t.Errorf("drivers %+v", r.Drivers)
	}
}

func TestWhatNeverEndsIsSaid(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.in.Calendars = []sched.Calendar{{Name: "crew", Open: []sched.Open{{Span: sched.Span{End: 300}}}}}
	b.in.Horizon.End = 400
	b.add("work", 0, sched.Mode{Start: 200, AttendedCalendar: "crew"})
	b.due(250)
	b.add("after", 200, middle(10))
	b.lag("work", "after")
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "work", Start: risk.Phase{Factor: risk.Factor{Shape: risk.ShapePoints, Points: []risk.Point{{P: 0.5, Value: 1}, {P: 0.5, Value: 2}}}}}}
	s := simulator(t, c, risk.Options{Samples: 100})
	r, err := s.Run()
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range r.Activities {
		near(t, a.Activity, a.Unfinished.Value, 0.5, 1e-9)
	}
	near(t, "tardiness, to the end of the horizon", r.Tardiness.Value, 0.5*150, 1e-9)
	checkReport(t, r)
	whole := 0
	for i := range 100 {
		if _, _, ok := s.Realisation(i); ok {
			whole++
		}
	}
	near(t, "whole realisations", float64(whole), 50, 0)
	if _, _, ok := s.Realisation(100); ok {
		t.Error("realisation 100 of 100")
	}
}

func TestAnEmptyKitchen(t *testing.T) {
	t.Parallel()
	r := report(t, risk.Case{Instance: sched.Instance{Horizon: sched.Span{End: 10}}}, risk.Options{Samples: 3})
	near(t, "all on time", r.AllOnTime.Value, 1, 0)
	checkReport(t, r)
}

// FuzzSpread throws arbitrary distributions at a small kitchen: an error or a sound report.
func FuzzSpread(f *testing.F) {
	f.Add(uint8(1), 1.0, 0.2, 0.0, 1.0, 0.1, int64(5), 0.1, int64(150), int64(0))
	f.Add(uint8(2), 0.5, 1.5, 0.0, 1.0, 1.0, int64(1<<35), 2.0, int64(-4), int64(20))
	f.Add(uint8(3), 1.0, 2.0, 0.5, 0.5, math.NaN(), int64(-1), -1.0, int64(1)<<40, int64(-7))
	f.Fuzz(func(t *testing.T, shape uint8, v1, v2, p1, p2, extra float64, add int64, sigma float64, due, start int64) {
		c := small(t)
		fac := risk.Factor{Shape: risk.Shape(shape % 5), Median: v1, Sigma: v2, Points: []risk.Point{{P: p1, Value: v1}, {P: p2, Value: v2}}}
		c.Spreads = []risk.Spread{
			{Activity: "simmer", Middle: risk.Phase{Factor: fac, Extras: []risk.Extra{{Probability: extra, Add: add}}}, Yield: fac},
			{Activity: "strain", Start: risk.Phase{Factor: fac}},
		}
		c.Vessels = []risk.Common{{Name: "kettle", Sigma: sigma}}
		c.Instance.Activities[1].Due = due
		c.Plan.Assignments[1].Start, c.Plan.Assignments[1].End = start, start+20
		for _, policy := range []risk.Policy{risk.PolicyPlanned, risk.PolicyEarly} {
			s, err := risk.New(c, risk.Options{Samples: 20, Policy: policy})
			if err != nil {
				continue
			}
			r, err := s.Run()
			if err != nil {
				t.Fatal(err)
			}
			r.Policy = risk.PolicyEarly // the planned start may be nonsense here
			checkReport(t, r)
			if _, err := r.Promise("o", 0.5); err != nil {
				t.Fatal(err)
			}
		}
	})
}
