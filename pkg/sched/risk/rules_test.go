package risk_test

import (
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/risk"
	"rondeau.internal/pkg/sched/verify"
)

func certainly(v float64) risk.Phase {
	return risk.Phase{Factor: risk.Factor{Shape: risk.ShapePoints, Points: []risk.Point{{P: 1, Value: v}}}}
}

// startsAndEnds plays a case whose outcome is certain and compares the times of its activities: start, end of each.
func startsAndEnds(t *testing.T, c risk.Case, o risk.Options, want ...int64) {
	t.Helper()
	o.Samples = 1
	_, got, ok := simulator(t, c, o).Realisation(0)
	if !ok {
		t.Fatal("something never ends")
	}
	for i, as := range got.Assignments {
		if as.Start != want[2*i] || as.End != want[2*i+1] {
			t.Errorf("%s is in [%d, %d), want [%d, %d)", as.Activity, as.Start, as.End, want[2*i], want[2*i+1])
		}
	}
}

func need(res string, amount int64, during sched.Phases) sched.Need {
	return sched.Need{Resource: res, Amount: amount, During: during}
}

func TestADelayedStartWaitsWhileItsVesselIsDown(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("a", 0, middle(100), "kettle")
	b.add("b", 100, sched.Mode{Middle: 20, End: 10}, "kettle")
	b.in.Vessels[0].Down = []sched.Span{{Start: 135, End: 140}, {Start: 165, End: 190}}
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "a", Middle: certainly(1.1)}}
	startsAndEnds(t, c, risk.Options{}, 0, 110, 190, 220) // 30 long: [110, 140) meets the first, [140, 170) the second
	c.Spreads[0].Middle = certainly(1.04)
	startsAndEnds(t, c, risk.Options{}, 0, 104, 104, 134)
}

func TestAHeldVesselThatShouldBeDownIsReported(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("reduce", 0, middle(50), "kettle")
	b.add("portion", 60, middle(20), "portioner")
	b.add("before", 0, middle(60), "portioner")
	b.in.Vessels[0].Down = []sched.Span{{Start: 70, End: 75}}
	b.in.Holds = []sched.Hold{{Activity: "reduce", Until: "portion"}}
	b.plan.Assignments[0].HeldUntil = 60
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "before", Middle: risk.Phase{Extras: []risk.Extra{{Probability: 0.25, Add: 20}, {Probability: 0.5, Add: 5}}}}}
	r := report(t, c, risk.Options{Samples: 1000, Tolerance: 15})
	near(t, "blocked", r.Vessels[0].Blocked.Value, 0.25, 1e-9)
	near(t, "slips of more than 15", r.Vessels[1].Slips.Value, 0.25, 1e-9)
	near(t, "slips of the activity", r.Activities[1].Slips.Value, 0.25, 1e-9)
	near(t, "share of slipping starts", r.Vessels[1].SlippingShare, 0.125, 1e-9)
	near(t, "delay", r.Activities[1].Delay, 7.5, 1e-9)
}

func TestPowerStaysOnUntilPeopleCome(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.in.Resources = []sched.Resource{{Name: "heads", Capacity: 1}, {Name: "power", Capacity: 1}}
	b.add("a", 0, sched.Mode{Start: 10, Middle: 100, End: 10, Needs: []sched.Need{need("heads", 1, sched.Attended), need("power", 1, 0)}})
	b.add("x", 60, sched.Mode{Start: 50, Needs: []sched.Need{need("heads", 1, 0)}})
	b.add("b", 120, sched.Mode{Middle: 50, Needs: []sched.Need{need("power", 1, 0)}})
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "x", Start: certainly(1.5)}}
	// x keeps the cook until 135, so a stands from 110 to 135 with its power on.
	startsAndEnds(t, c, risk.Options{}, 0, 145, 60, 135, 145, 195)
	r := report(t, c, risk.Options{Samples: 10})
	near(t, "standing", r.Activities[0].Standing.Value, 1, 0)
	near(t, "standing time", r.Activities[0].StandingTime, 25, 0)
	if r.Caution == "" {
		t.Error("no caution although something stands")
	}
	// A fast middle lets go of the power earlier, which PolicyEarly makes use of; x comes first with the cook.
	c.Spreads = []risk.Spread{{Activity: "a", Middle: certainly(0.5)}}
	startsAndEnds(t, c, risk.Options{Policy: risk.PolicyEarly}, 0, 70, 10, 60, 70, 120)
	startsAndEnds(t, c, risk.Options{}, 0, 120, 60, 110, 120, 170)
}

func TestAnActivityIsNotInItsOwnWay(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.in.Resources = []sched.Resource{{Name: "power", Capacity: 2}}
	b.add("a", 0, sched.Mode{Start: 10, Middle: 100, End: 10, Needs: []sched.Need{need("power", 2, sched.InStart|sched.InMiddle), need("power", 1, sched.InEnd)}})
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "a", Middle: certainly(0.5)}}
	startsAndEnds(t, c, risk.Options{}, 0, 70)
}

func TestEachPhaseTakesWhatItNeeds(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.in.Resources = []sched.Resource{{Name: "power", Capacity: 3}}
	b.add("before", 0, sched.Mode{Middle: 100, Needs: []sched.Need{need("power", 1, 0)}})
	b.add("a", 90, sched.Mode{Start: 10, Middle: 100, Needs: []sched.Need{need("power", 1, sched.InStart), need("power", 3, sched.InMiddle)}})
	b.add("b", 90, sched.Mode{Start: 10, Needs: []sched.Need{need("power", 1, 0)}})
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "before", Middle: certainly(1.2)}}
	startsAndEnds(t, c, risk.Options{}, 0, 120, 110, 220, 90, 100)
}

func TestCleaningWaitsForVesselCrewAndUptime(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.in.Resources = []sched.Resource{{Name: "heads", Capacity: 1}}
	b.add("fish", 0, middle(100), "kettle").State = "fish"
	b.add("stock", 120, middle(50), "kettle").State = "stock"
	b.add("cook", 110, sched.Mode{Start: 30, Needs: []sched.Need{need("heads", 1, 0)}})
	b.in.Setups = []sched.Setup{{
		Name: "wash", States: []string{"fish", "stock"}, Needs: []sched.Need{{Resource: "heads", Amount: 1}},
		Change: [][]sched.Change{{{}, {Duration: 10, Attended: true}}, {{}, {}}},
	}}
	b.in.Vessels[0].Setup = "wash"
	b.in.Vessels[0].Down = []sched.Span{{Start: 111, End: 112}}
	b.plan.Assignments[1].Changes = []sched.ChangeRun{{Vessel: "kettle", From: "fish", To: "stock", Start: 100, End: 110, Attended: true}}
	c := b.spread(t, risk.Factor{})
	startsAndEnds(t, c, risk.Options{}, 0, 100, 120, 170, 110, 140)
	c.Spreads = []risk.Spread{{Activity: "fish", Middle: certainly(1.05)}}
	// Free at 105; the cleaning would meet the down window, so it takes the cook from 112 to 122.
	startsAndEnds(t, c, risk.Options{}, 0, 105, 122, 172, 122, 152)
}

func TestEveryRunningStepMustLeaveTheVessel(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("long", 0, middle(100), "kettle").Fixed = &sched.Fixed{Started: true, Start: 0}
	b.add("short", 5, middle(10), "kettle").Fixed = &sched.Fixed{Started: true, Start: 5}
	b.add("next", 100, middle(10), "kettle")
	c := b.spread(t, risk.Factor{})
	c.Instance.Horizon.Start = 50
	c.Spreads = []risk.Spread{{Activity: "long", Middle: certainly(1.5)}}
	startsAndEnds(t, c, risk.Options{}, 0, 125, 5, 15, 125, 135)
}

func TestAShelfThatIsTooFullIsReported(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.in.Resources = []sched.Resource{{Name: "shelf", Capacity: 5}}
	b.add("a", 0, middle(10))
	b.add("b", 0, middle(50))
	b.in.Stores = []sched.Store{{Resource: "shelf", Amount: 3, Producer: "a", Until: 50}, {Resource: "shelf", Amount: 3, Producer: "b"}}
	c := b.spread(t, risk.Factor{Shape: risk.ShapePoints, Points: []risk.Point{{P: 0.7, Value: 1}, {P: 0.3, Value: 0.9}}}, "b")
	near(t, "exceeded", report(t, c, risk.Options{Samples: 1000}).Resources[0].Exceeded.Value, 0.3, 1e-9)
	// What is stored to the end of the horizon meets what is stored later.
	c.Instance.Stores[0].Until = 0
	near(t, "exceeded", report(t, c, risk.Options{Samples: 1000}).Resources[0].Exceeded.Value, 1, 0)
}

func TestAPinnedStepMaySlipButNotRunAhead(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("a", 0, middle(100))
	b.add("b", 150, middle(10)).Fixed = &sched.Fixed{Start: 150}
	b.lag("a", "b")
	c := b.spread(t, risk.Factor{})
	startsAndEnds(t, c, risk.Options{Policy: risk.PolicyEarly}, 0, 100, 150, 160)
	c.Spreads = []risk.Spread{{Activity: "a", Middle: certainly(2)}}
	startsAndEnds(t, c, risk.Options{Policy: risk.PolicyEarly}, 0, 200, 200, 210)
}

func TestALagToTheEndProlongsTheMiddle(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("u", 0, middle(100))
	b.add("v", 0, sched.Mode{Start: 10, Middle: 100, End: 10})
	b.add("w", 20, middle(100))
	b.in.Lags = []sched.Lag{{From: "u", To: "v", ToEdge: sched.EdgeEnd, Min: 20}, {From: "u", To: "w", ToEdge: sched.EdgeEnd, Min: 20}}
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "u", Middle: certainly(1.5)}}
	startsAndEnds(t, c, risk.Options{}, 0, 150, 0, 170, 70, 170)
}

func TestAStepThatIsDoneEarlyKeepsItsPowerWhileItStands(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.in.Resources = []sched.Resource{{Name: "heads", Capacity: 1}, {Name: "power", Capacity: 2}}
	b.add("a", 0, sched.Mode{Start: 10, Middle: 100, End: 10, Needs: []sched.Need{need("heads", 1, sched.Attended), need("power", 1, 0)}})
	b.add("before", 0, sched.Mode{Middle: 60, Needs: []sched.Need{need("power", 1, 0)}})
	b.add("x", 50, sched.Mode{Start: 60, Needs: []sched.Need{need("heads", 1, 0)}})
	b.add("b", 60, sched.Mode{Middle: 50, Needs: []sched.Need{need("power", 1, 0)}})
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "a", Middle: certainly(0.5)}, {Activity: "before", Middle: certainly(3)}}
	// a is done at 60, but the cook is with x until 110; the power is free when a ends at 120.
	startsAndEnds(t, c, risk.Options{}, 0, 120, 0, 180, 50, 110, 120, 170)
	near(t, "exceeded", report(t, c, risk.Options{Samples: 10}).Resources[1].Exceeded.Value, 0, 0)
}

func TestAPausedMiddleThatStandsIsLongerByItsOpenTimeOnly(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.in.Calendars = []sched.Calendar{
		{Name: "kitchen", Open: []sched.Open{{Span: sched.Span{End: 100}}, {Span: sched.Span{Start: 150, End: 300}}}},
		{Name: "crew", Open: []sched.Open{{Span: sched.Span{End: 70}}, {Span: sched.Span{Start: 160, End: 300}}}},
	}
	b.add("a", 0, sched.Mode{Start: 10, Middle: 40, End: 20, AttendedCalendar: "crew", UnattendedCalendar: "kitchen", Pausable: sched.InMiddle})
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "a", Middle: certainly(2)}}
	startsAndEnds(t, c, risk.Options{}, 0, 180)
	in, plan, _ := simulator(t, c, risk.Options{Samples: 1}).Realisation(0)
	if m := in.Activities[0].Modes[0].Middle; m != 80+10+10 {
		t.Errorf("the middle took %d", m)
	}
	if vs := verify.Check(in, plan); len(vs) > 0 {
		t.Error(vs)
	}
	r := report(t, c, risk.Options{Samples: 1})
	near(t, "standing time", r.Activities[0].StandingTime, 70, 0)
	near(t, "unwatched", r.Activities[0].Unwatched.Value, 1, 0)
}

func TestPeopleLookAhead(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.add("late", 0, middle(100), "kettle")
	b.add("roast", 50, middle(40))
	b.add("simmer", 100, middle(50), "kettle")
	l := b.lag("roast", "simmer")
	l.HasMax, l.Max = true, 20
	c := b.spread(t, risk.Factor{})
	// The kettle is known to be occupied since 30, and is expected to be until 130: the roast may end at 110.
	c.Instance.Activities[0].Release = 30
	startsAndEnds(t, c, risk.Options{}, 30, 130, 70, 110, 130, 180)
	startsAndEnds(t, c, risk.Options{Heedless: true}, 30, 130, 50, 90, 130, 180)
	// That it takes longer is known to nobody when the roast begins.
	c.Spreads = []risk.Spread{{Activity: "late", Middle: certainly(1.5)}}
	startsAndEnds(t, c, risk.Options{}, 30, 180, 70, 110, 180, 230)
	near(t, "broken", report(t, c, risk.Options{Samples: 1}).Lags[0].Excess, 50, 0)
	// Bones that thawed must not wait for the roast longer than until 65.
	c.Instance.Activities = append(c.Instance.Activities, sched.Activity{Name: "thaw", Modes: []sched.Mode{middle(40)}})
	c.Plan.Assignments = append(c.Plan.Assignments, sched.Assignment{Activity: "thaw", Start: 0, End: 40})
	c.Instance.Lags = append(c.Instance.Lags, sched.Lag{From: "thaw", To: "roast", HasMax: true, Max: 25})
	startsAndEnds(t, c, risk.Options{}, 30, 180, 70, 110, 180, 230, 5, 45) // so they are not thawed that early,
	c.Instance.Activities[3].Fixed = &sched.Fixed{Started: true}
	startsAndEnds(t, c, risk.Options{}, 30, 180, 65, 105, 180, 230, 0, 40) // unless they have been already.
}

func TestPeopleLookAheadOverTheNight(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.in.Calendars = []sched.Calendar{{Name: "crew", Open: []sched.Open{{Span: sched.Span{End: 200}}, {Span: sched.Span{Start: 300, End: 500}}}}}
	b.add("before", 0, middle(50), "kettle")
	b.add("reduce", 50, middle(100), "kettle")
	b.add("portion", 150, sched.Mode{Start: 30, AttendedCalendar: "crew"})
	l := b.lag("reduce", "portion")
	l.HasMax, l.Max = true, 10
	c := b.spread(t, risk.Factor{})
	c.Spreads = []risk.Spread{{Activity: "before", Middle: certainly(1.6)}}
	// Begun at 80 the sauce would be done at 180, and 30 of work do not fit before 200: it is done by 290 instead.
	startsAndEnds(t, c, risk.Options{}, 0, 80, 190, 290, 300, 330)
	startsAndEnds(t, c, risk.Options{Heedless: true}, 0, 80, 80, 180, 300, 330)
}
