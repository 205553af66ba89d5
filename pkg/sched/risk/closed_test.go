package risk_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/risk"
	"rondeau.internal/pkg/sched/verify"
)

// unit is long enough for the rounding to whole units of time not to matter.
const unit = 1_000_000

// bench is an instance under construction together with its plan.
type bench struct {
	in   sched.Instance
	plan sched.Plan
}

func newBench() *bench {
	return &bench{in: sched.Instance{Name: "bench", Horizon: sched.Span{End: 1000 * unit}}}
}

// add appends an activity of one mode in the named vessels, planned at start.
func (b *bench) add(name string, start int64, m sched.Mode, vessels ...string) *sched.Activity {
	for _, v := range vessels {
		m.Uses = append(m.Uses, sched.Use{Vessel: v})
		known := false
		for _, x := range b.in.Vessels {
			known = known || x.Name == v
		}
		if !known {
			b.in.Vessels = append(b.in.Vessels, sched.Vessel{Name: v})
		}
	}
	end := start + m.Start + m.Middle + m.End
	b.in.Activities = append(b.in.Activities, sched.Activity{Name: name, Order: "o", Modes: []sched.Mode{m}})
	b.plan.Assignments = append(b.plan.Assignments, sched.Assignment{Activity: name, Order: "o", Vessels: vessels, Start: start, End: end, HeldUntil: end})
	return &b.in.Activities[len(b.in.Activities)-1]
}

func (b *bench) lag(from, to string) *sched.Lag {
	b.in.Lags = append(b.in.Lags, sched.Lag{From: from, To: to})
	return &b.in.Lags[len(b.in.Lags)-1]
}

// due gives the last activity added a due time.
func (b *bench) due(t int64) {
	a := &b.in.Activities[len(b.in.Activities)-1]
	a.Due, a.DueWeight = t, 1
}

// spread is the case with the given factor on the middle of the named activities.
func (b *bench) spread(t testing.TB, f risk.Factor, names ...string) risk.Case {
	t.Helper()
	b.plan.Objective, _ = verify.Cost(b.in, b.plan)
	if vs := verify.Check(b.in, b.plan); len(vs) > 0 {
		t.Fatalf("the plan of the test is wrong: %v", vs)
	}
	c := risk.Case{Instance: b.in, Plan: b.plan}
	for _, n := range names {
		c.Spreads = append(c.Spreads, risk.Spread{Activity: n, Middle: risk.Phase{Factor: f}})
	}
	return c
}

func uniform(lo, hi float64) risk.Factor {
	return risk.Factor{Shape: risk.ShapeQuantiles, Points: []risk.Point{{P: 0, Value: lo}, {P: 1, Value: hi}}}
}

func middle(d int64) sched.Mode { return sched.Mode{Middle: d} }

// near fails unless got is within the given distance of want.
func near(t *testing.T, what string, got, want, distance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= distance) {
		t.Errorf("%s is %v, want %v within %v", what, got, want, distance)
	}
}

// A sum of independent log-normal durations: the mean of one is m exp(s^2/2), its variance m^2 exp(s^2)(exp(s^2)-1)
// (textbook moments of the log-normal distribution; from memory), and they add.
func TestAChainOfLogNormalDurationsHasTheMomentsOfTheSum(t *testing.T) {
	t.Parallel()
	b := newBench()
	var names []string
	at, mean, variance := int64(0), 0.0, 0.0
	for i := range 6 {
		name := fmt.Sprint("a", i)
		d := int64(i+1) * unit
		b.add(name, at, middle(d))
		if i > 0 {
			b.lag(names[i-1], name)
		}
		names = append(names, name)
		at += d
		m := float64(d) * 1.1
		mean += m * math.Exp(0.2*0.2/2)
		variance += m * m * math.Exp(0.2*0.2) * (math.Exp(0.2*0.2) - 1)
	}
	for _, sampling := range []risk.Sampling{risk.SamplingLatin, risk.SamplingIndependent} {
		const n = 20000
		r := report(t, b.spread(t, risk.LogNormal(1.1, 0.2), names...), risk.Options{Policy: risk.PolicyEarly, Samples: n, Sampling: sampling})
		end := r.Activities[5].End
		sd := math.Sqrt(variance)
		near(t, "mean", end.Mean, mean, 4*sd/math.Sqrt(n))
		// The standard error of a standard deviation is about sd/sqrt(2n) for a nearly normal sum; the tails of this
		// one add less than half of that.
		near(t, "standard deviation", end.SD, sd, 1.5*4*sd/math.Sqrt(2*n))
		near(t, "order mean", r.Orders[0].End.Mean, end.Mean, 1e-6)
		if sampling == risk.SamplingLatin {
			near(t, "mean of the Latin hypercube", end.Mean, mean, 0.4*sd/math.Sqrt(n))
		}
	}
}

func TestProbabilityOnTimeOfOneLogNormalDuration(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ sigma, slack float64 }{{0.1, 0}, {0.1, 0.1}, {0.3, 0.2}, {0.3, 0.6}, {1, 0.5}} {
		b := newBench()
		b.add("a", 0, middle(unit))
		b.due(int64(unit * (1 + c.slack)))
		r := report(t, b.spread(t, risk.LogNormal(1, c.sigma), "a"), risk.Options{Samples: 5000})
		want := 0.5 * math.Erfc(-math.Log(1+c.slack)/c.sigma/math.Sqrt2)
		near(t, fmt.Sprint("on time ", c), r.Activities[0].OnTime.Value, want, 1.0/risk.RoundSize)
		near(t, "all on time", r.AllOnTime.Value, r.Activities[0].OnTime.Value, 0)
		near(t, "order on time", r.Orders[0].OnTime.Value, r.Activities[0].OnTime.Value, 0)
	}
}

// The greater of two independent uniform durations on [0.5, 1.5] has mean 0.5 + 2/3 and variance 1/18 (order
// statistics of the uniform distribution: beta(2, 1)).
func TestTheLaterOfTwoUniformBranches(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("a", 0, middle(unit))
	b.add("b", 0, middle(unit))
	b.add("c", unit, middle(unit))
	b.due(unit * 22 / 10)
	b.lag("a", "c")
	b.lag("b", "c")
	const n = 20000
	r := report(t, b.spread(t, uniform(0.5, 1.5), "a", "b"), risk.Options{Policy: risk.PolicyEarly, Samples: n})
	sd := unit * math.Sqrt(1.0/18)
	near(t, "mean", r.Activities[2].End.Mean, unit*(1+0.5+2.0/3), 4*sd/math.Sqrt(n))
	near(t, "standard deviation", r.Activities[2].End.SD, sd, 0.02*sd)
	// On time if both take at most 1.2: (0.7)^2. Late, the later one is to blame: half of the time each.
	p := r.Activities[2].OnTime
	near(t, "on time", p.Value, 0.49, 4*p.StandardError)
	near(t, "criticality of a", r.Activities[0].Criticality, 0.51/2, 4*0.0036)
	near(t, "criticality of c", r.Activities[2].Criticality, 1-p.Value, 1e-12)
	// With the planned start of c at 1 the mean is E max(1, a, b): the part of max(a, b) below 1 is lifted by
	// the integral of (u^2) for u from 0 to 1/2 = 1/24.
	r = report(t, b.spread(t, uniform(0.5, 1.5), "a", "b"), risk.Options{Samples: n})
	near(t, "mean after planned starts", r.Activities[2].End.Mean, unit*(1+0.5+2.0/3+1.0/24), 4*sd/math.Sqrt(n))
}

func TestAnExtraStepHappensAsOftenAsStated(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("chill", 0, middle(10))
	b.due(12)
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "chill", Middle: risk.Phase{Extras: []risk.Extra{{Probability: 0.25, Add: 6}, {Probability: 0.5, Add: 1}}}}}
	r := report(t, c, risk.Options{Samples: 2000})
	near(t, "on time", r.Activities[0].OnTime.Value, 0.75, 1e-9)
	near(t, "mean", r.Activities[0].End.Mean, 10+0.25*6+0.5, 1e-9)
	near(t, "tardiness", r.Tardiness.Value, 0.25*4+0.25*0.5, 4*r.Tardiness.StandardError)
}

// Jobs that want one vessel at fixed moments wait by Lindley's recursion W' = max(0, W + S - T) (Lindley, "The theory of
// queues with a single server", 1952; from memory). All outcomes of two-point services are enumerated.
func TestAVesselThatServesOneAfterTheOther(t *testing.T) {
	t.Parallel()
	const jobs, p = 6, 0.3
	b := newBench()
	var names []string
	for i := range jobs {
		names = append(names, fmt.Sprint("job", i))
		b.add(names[i], int64(i)*100, middle(90), "kettle")
	}
	b.due(jobs * 100)
	f := risk.Factor{Shape: risk.ShapePoints, Points: []risk.Point{{P: 1 - p, Value: 1}, {P: p, Value: 1.5}}}
	onTime, delay, slips := 0.0, 0.0, 0.0
	for outcome := range 1 << jobs {
		prob, wait, last, slip := 1.0, 0.0, 0.0, false
		for i := range jobs {
			s := 90.0
			if outcome>>i&1 == 1 {
				s, prob = 135, prob*p
			} else {
				prob *= 1 - p
			}
			slip = slip || wait > 0
			last = float64(i)*100 + wait + s
			if i < jobs-1 {
				wait = max(0, wait+s-100)
			}
		}
		if last <= jobs*100 {
			onTime += prob
		}
		delay += prob * wait
		if slip {
			slips += prob
		}
	}
	const n = 20000
	for _, sampling := range []risk.Sampling{risk.SamplingLatin, risk.SamplingIndependent} {
		r := report(t, b.spread(t, f, names...), risk.Options{Samples: n, Sampling: sampling})
		a := r.Activities[jobs-1]
		near(t, "on time", a.OnTime.Value, onTime, 4*a.OnTime.StandardError)
		near(t, "delay", a.Delay, delay, 4*60/math.Sqrt(n))
		near(t, "slips", r.Vessels[0].Slips.Value, slips, 4*r.Vessels[0].Slips.StandardError)
	}
}

func TestACommonCauseMovesAllRunsInItsVessel(t *testing.T) {
	t.Parallel()
	const s = 0.2
	one := math.Sqrt(math.Exp(s*s) * (math.Exp(s*s) - 1)) // standard deviation of a log-normal factor of median 1
	b := newBench()
	b.add("a", 0, middle(unit), "kettle")
	b.add("b", unit, middle(unit), "kettle")
	c := b.spread(t, risk.Factor{})
	c.Vessels = []risk.Common{{Name: "kettle", Sigma: s}}
	o := risk.Options{Policy: risk.PolicyEarly, Samples: 10000}
	near(t, "two runs on one burner", report(t, c, o).Activities[1].End.SD, 2*unit*one, 0.03*2*unit*one)
	near(t, "two independent runs", report(t, b.spread(t, risk.LogNormal(1, s), "a", "b"), o).Activities[1].End.SD, math.Sqrt2*unit*one, 0.03*2*unit*one)
	c.Spreads = []risk.Spread{{Activity: "a", IgnoreVessel: true}}
	near(t, "one of the runs does not use the burner", report(t, c, o).Activities[1].End.SD, unit*one, 0.03*unit*one)
	c.Spreads, c.Vessels, c.Orders = nil, nil, []risk.Common{{Name: "o", Sigma: s}}
	near(t, "a cause in the batch", report(t, c, o).Activities[1].End.SD, 2*unit*one, 0.03*2*unit*one)
}

func TestAYieldMultipliesWhatFollows(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("strain", 0, middle(100))
	b.add("reduce", 100, middle(100))
	b.add("portion", 200, middle(100))
	b.add("other", 0, middle(100)).Order = "another"
	b.lag("strain", "reduce")
	b.lag("reduce", "portion")
	b.lag("strain", "other").Min = -sched.Forever
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "strain", Yield: risk.Factor{Shape: risk.ShapePoints, Points: []risk.Point{{P: 1, Value: 1.2}}}}}
	r := report(t, c, risk.Options{Samples: 2})
	near(t, "strain", r.Activities[0].End.Mean, 100, 0)
	near(t, "reduce", r.Activities[1].End.Mean, 220, 0)
	near(t, "portion", r.Activities[2].End.Mean, 340, 0)
	near(t, "a step of another order", r.Activities[3].End.Mean, 100, 0)
}

func TestHotStockThatWaitsTooLongIsCounted(t *testing.T) {
	t.Parallel()
	// The chiller is busy until a moment uniform in [50, 150); the strained stock is there at 60 and may wait 30.
	b := newBench()
	b.add("before", 0, middle(100*unit), "chiller")
	b.add("strain", 50*unit, middle(10*unit))
	b.add("chill", 100*unit, middle(10*unit), "chiller")
	l := b.lag("strain", "chill")
	l.HasMax, l.Max, l.Why = true, 40*unit, "hot"
	c := b.spread(t, uniform(0.5, 1.5), "before")
	c.Instance.Lags[0].Max = 30 * unit
	r := report(t, c, risk.Options{Samples: 10000, Policy: risk.PolicyEarly, Heedless: true})
	// Under PolicyEarly the stock is there at 10, so the chiller is always too late: broken if it frees up after 40.
	near(t, "broken, early", r.Lags[0].Broken.Value, 1, 0)
	// Who looks ahead expects the chiller at 100 and strains from 60 to 70.
	r = report(t, c, risk.Options{Samples: 10000, Policy: risk.PolicyEarly})
	near(t, "broken by those who look ahead", r.Lags[0].Broken.Value, 0.5, 1.0/risk.RoundSize)
	c.Instance.Activities[1].Release = 50 * unit
	r = report(t, c, risk.Options{Samples: 10000, Policy: risk.PolicyEarly, Heedless: true})
	near(t, "broken", r.Lags[0].Broken.Value, 0.6, 1.0/risk.RoundSize)
	near(t, "excess", r.Lags[0].Excess, 30*unit, 0.2*unit)
	if r.Caution == "" || r.Lags[0].Why != "hot" {
		t.Error("the caution or the reason is missing")
	}
	r = report(t, c, risk.Options{Samples: 10000, Heedless: true})
	near(t, "broken, planned starts", r.Lags[0].Broken.Value, 1, 0) // planned at 100, 40 after the strain
}

func TestASimmerThatIsDoneAtNightStandsUntilMorning(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.in.Calendars = []sched.Calendar{
		{Name: "crew", Open: []sched.Open{{Span: sched.Span{End: 200 * unit}}, {Span: sched.Span{Start: 300 * unit, End: 400 * unit}, Overtime: true}}},
		{Name: "kitchen", Open: []sched.Open{{Span: sched.Span{End: 250 * unit}}, {Span: sched.Span{Start: 260 * unit, End: 500 * unit}}}},
	}
	b.add("simmer", 0, sched.Mode{Start: 10 * unit, Middle: 100 * unit, End: 20 * unit, AttendedCalendar: "crew", UnattendedCalendar: "kitchen"})
	b.due(310 * unit)
	// The middle is over at 10 + [50, 250); the end fits before 180, else it waits for 300.
	r := report(t, b.spread(t, uniform(0.5, 2.3), "simmer"), risk.Options{Samples: 10000})
	a := r.Activities[0]
	late := 1 - (170.0-50)/180
	near(t, "standing", a.Standing.Value, late, 2.0/risk.RoundSize)
	near(t, "standing time", a.StandingTime, (120+60)/2*unit, 0.5*unit)
	near(t, "unwatched", a.Unwatched.Value, late, 2.0/risk.RoundSize)
	near(t, "on time", a.OnTime.Value, 1-late, 2.0/risk.RoundSize)
	near(t, "overtime", r.Overtime.Value, late*20*unit, 0.1*unit)
	near(t, "tardiness", r.Tardiness.Value, late*10*unit, 0.1*unit)
}

func TestQuantilesCoverAndPromisesAreSafe(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("a", 0, middle(unit))
	b.due(unit)
	c := b.spread(t, risk.LogNormal(1, 0.3), "a")
	truth := unit * math.Exp(0.3*1.2815515655446004) // the standard normal quantile of 0.9 (tables)
	const runs, n = 400, 200
	safe := 0
	for seed := range uint64(runs) {
		r := report(t, c, risk.Options{Samples: n, Seed: seed, Sampling: risk.SamplingIndependent, Quantiles: []float64{0.9}})
		p, err := r.Promise("o", 0.9)
		if err != nil {
			t.Fatal(err)
		}
		if p.Moment > p.Safe || p.Moment != r.Orders[0].End.Quantiles[0] {
			t.Fatalf("promise %+v, quantile %v", p, r.Orders[0].End)
		}
		if float64(p.Safe) >= truth {
			safe++
		}
	}
	// Rank 188 of 200: the binomial distribution (exact sum, computed apart) gives a confidence of 0.9680.
	near(t, "share of safe promises", float64(safe)/runs, 0.9680, 3*math.Sqrt(0.968*0.032/runs))
	r := report(t, c, risk.Options{Samples: 5000, Quantiles: []float64{0.9}})
	near(t, "quantile", float64(r.Activities[0].End.Quantiles[0]), truth, 0.01*unit)
}

// One-sided tolerance limits without a distribution: with 95 % confidence 95 % lie below the largest of 59, the second
// largest of 93, the third largest of 124 draws (Wilks, Annals of Mathematical Statistics 12, 1941; the numbers from
// memory). One draw less does not suffice.
func TestSafePromisesNeedWilksNumberOfDraws(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("a", 0, middle(unit))
	c := b.spread(t, risk.LogNormal(1, 0.3), "a")
	for below, n := range []int{59, 93, 124} {
		s := simulator(t, c, risk.Options{Samples: n, Sampling: risk.SamplingIndependent})
		var ends []int64
		for i := range n {
			_, plan, _ := s.Realisation(i)
			ends = append(ends, plan.Assignments[0].End)
		}
		slices.Sort(ends)
		p, err := report(t, c, risk.Options{Samples: n, Sampling: risk.SamplingIndependent}).Promise("o", 0.95)
		if err != nil || p.Safe != ends[n-1-below] {
			t.Errorf("%d draws: safe at %d, want %d; %v", n, p.Safe, ends[n-1-below], err)
		}
		p, err = report(t, c, risk.Options{Samples: n - 1, Sampling: risk.SamplingIndependent}).Promise("o", 0.95)
		if below == 0 && err == nil {
			t.Errorf("%d draws suffice for %+v", n-1, p)
		}
	}
}
