package risk_test

import (
	"math"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/risk"
)

// twice is a factor that is 2 with a probability and otherwise 1.
func twice(p float64) risk.Phase {
	return risk.Phase{Factor: risk.Factor{Shape: risk.ShapePoints, Points: []risk.Point{{P: 1 - p, Value: 1}, {P: p, Value: 2}}}}
}

func shareOf(o risk.OrderRisk, kind risk.CauseKind, subject string) (share, excess float64) {
	for _, c := range o.Causes {
		if c.Kind == kind && (c.Activity == subject || c.Resource == subject) {
			return c.Share, c.Excess
		}
	}
	return 0, 0
}

// Three steps in a row, each late by 100 or by 200 with its own probability; when two are, the longer one is the cause.
func TestTheLongestOverrunOfTheChainIsTheCause(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("a", 0, middle(100))
	b.add("b", 100, middle(200))
	b.lag("a", "b")
	b.add("c", 300, middle(50))
	b.lag("b", "c")
	b.due(360)
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "a", Middle: twice(0.5)}, {Activity: "b", Middle: twice(0.2)}}
	r := report(t, c, risk.Options{Samples: 4000})
	o := r.Orders[0]
	// Late with 1 - 0.5*0.8; of that b with 0.2, a with 0.5*0.8.
	near(t, "in time", o.OnTime.Value, 0.4, 0.03)
	share, excess := shareOf(o, risk.CauseDuration, "b")
	near(t, "share of b", share, 0.2/0.6, 0.03)
	near(t, "excess of b", excess, 200, 0)
	share, excess = shareOf(o, risk.CauseDuration, "a")
	near(t, "share of a", share, 0.4/0.6, 0.03)
	near(t, "excess of a", excess, 100, 0)
	if len(o.Causes) != 2 || o.Causes[0].Activity != "a" {
		t.Errorf("causes %+v", o.Causes)
	}
	p, known := r.DoneBy("o", 360)
	if !known || p != o.OnTime {
		t.Errorf("done by its due time with %+v, in time with %+v", p, o.OnTime)
	}
	if p, _ := r.DoneBy("o", 349); p.Value != 0 {
		t.Errorf("done before it can be with %+v", p)
	}
	if _, known := r.DoneBy("x", 0); known {
		t.Error("an order that does not exist is done")
	}
}

// A plan that is late as it stands has itself to blame, and nothing else.
func TestALatePlanIsItsOwnCause(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("a", 0, middle(100))
	b.due(50)
	o := report(t, b.spread(t, risk.Factor{}), risk.Options{Samples: 10}).Orders[0]
	if o.OnTime.Value != 0 || len(o.Causes) != 1 || o.Causes[0] != (risk.Cause{Kind: risk.CausePlan, Share: 1}) {
		t.Errorf("causes %+v", o.Causes)
	}
}

// Another order holds the only cook for twice as long as planned: its step is the cause, and the cook is short.
func TestAShortCookIsNamedBesideTheStepThatKeepsHim(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.in.Resources = []sched.Resource{{Name: "cook", Capacity: 1}}
	work := sched.Mode{Start: 100, Needs: []sched.Need{{Resource: "cook", Amount: 1}}}
	b.add("other", 0, work).Order = "p"
	b.plan.Assignments[0].Order = "p"
	b.add("mine", 100, work)
	b.due(250)
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "other", Start: twice(0.5)}}
	for _, o := range report(t, c, risk.Options{Samples: 1000}).Orders {
		if o.Order != "o" {
			continue
		}
		near(t, "in time", o.OnTime.Value, 0.5, 0.05)
		if share, excess := shareOf(o, risk.CauseDuration, "other"); share != 1 || excess != 100 {
			t.Errorf("causes %+v", o.Causes)
		}
		if share, _ := shareOf(o, risk.CauseResource, "cook"); share != 1 {
			t.Errorf("causes %+v", o.Causes)
		}
	}
}

// The step before runs ten over, so that the attended one no longer fits the shift and waits for the next.
func TestAMissedShiftIsNamedBesideTheStepThatMissedIt(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.in.Calendars = []sched.Calendar{{Name: "day", Open: []sched.Open{{Span: sched.Span{End: 200}}, {Span: sched.Span{Start: 1000, End: 1200}}}}}
	b.add("a", 0, middle(100))
	b.add("b", 100, sched.Mode{Start: 95, AttendedCalendar: "day"})
	b.lag("a", "b")
	b.due(300)
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "a", Middle: risk.Phase{Extras: []risk.Extra{{Probability: 0.25, Add: 10}}}}}
	o := report(t, c, risk.Options{Samples: 1000}).Orders[0]
	near(t, "in time", o.OnTime.Value, 0.75, 0.04)
	if share, excess := shareOf(o, risk.CauseDuration, "a"); share != 1 || excess != 10 {
		t.Errorf("causes %+v", o.Causes)
	}
	if share, excess := shareOf(o, risk.CauseCalendar, "b"); share != 1 || excess != 890 {
		t.Errorf("causes %+v", o.Causes)
	}
}

// A common factor of deviation s raised to the power k has the deviation k s of the logarithm (exp(sz)^k = exp(ksz)), and
// steps that share it go together whatever their powers.
func TestACommonCauseIsRaisedToThePowerOfTheStep(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("whole", 0, middle(unit), "kettle")
	b.add("half", unit, middle(unit), "kettle")
	c := b.spread(t, risk.Factor{})
	c.Vessels = []risk.Common{{Name: "kettle", Sigma: 0.2}}
	c.Spreads = []risk.Spread{{Activity: "half", VesselPower: 0.5}}
	r := report(t, c, risk.Options{Samples: 20000, Quantiles: []float64{0.1, 0.9}, Policy: risk.PolicyEarly})
	const z = 1.2816
	whole, half := r.Activities[0].End.Quantiles, r.Activities[1].End.Quantiles
	near(t, "deviation of the whole", math.Log(float64(whole[1])/float64(whole[0]))/(2*z), 0.2, 0.005)
	for i, sign := range []float64{-1, 1} {
		want := math.Exp(sign*0.2*z) + math.Exp(sign*0.1*z) // the second ends after the first
		near(t, "end of the second", float64(half[i])/unit, want, 0.01)
	}
}
