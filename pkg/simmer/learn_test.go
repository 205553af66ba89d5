package simmer_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

// followed is a run of kettle100 whose true factors are known, read every step with the
// usual errors.
type followed struct {
	setup simmer.Setup
	truth *simmer.Kettle
	rng   *rand.Rand
}

func follow(t *testing.T, duty simmer.Duty, surface, power float64) *followed {
	t.Helper()
	s := simmer.Setup{
		Vessel: kettle100, Load: simmer.Load{Liquid: 100, Solids: 0.04, Start: 90}, Duty: duty,
		Conditions: simmer.Kitchen(), End: simmer.EndPoint{Mass: 60},
	}
	v, c := s.Vessel, s.Conditions
	v.Efficiency *= power
	c.Activity = simmer.Activity(surface)
	k, err := simmer.NewKettle(v, s.Load, duty, c)
	if err != nil {
		t.Fatal(err)
	}
	return &followed{s, k, rand.New(rand.NewPCG(5, 6))}
}

func (f *followed) weigh(t *testing.T, step time.Duration) simmer.Reading {
	t.Helper()
	s, err := f.truth.Step(step)
	if err != nil {
		t.Fatal(err)
	}
	return simmer.Reading{Elapsed: s.Elapsed, Mass: s.Liquid + units.Mass(0.5*f.rng.NormFloat64())}
}

func newTracker(t *testing.T, s simmer.Setup) *simmer.Tracker {
	t.Helper()
	tr, err := simmer.NewTracker(s)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

func read(t *testing.T, tr *simmer.Tracker, r simmer.Reading) {
	t.Helper()
	if err := tr.Read(r); err != nil {
		t.Fatal(err)
	}
}

func finish(t *testing.T, tr *simmer.Tracker) simmer.Finish {
	t.Helper()
	f, err := tr.Finish(0)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// A vessel whose true factor is known is watched through noisy readings: the belief closes
// in on the factor that governs, leaves the other one as it was, and the forecast of the
// next run narrows.
func TestLearningFindsTheVessel(t *testing.T) {
	t.Parallel()
	prior := simmer.Uninformed()
	for name, c := range map[string]struct {
		duty           simmer.Duty
		surface, power float64
		step           time.Duration
	}{
		"held simmer, lively surface": {simmer.Duty{Hold: 95}, 1.5, 1, 40 * time.Minute},
		"held simmer, fat on top":     {simmer.Duty{Hold: 95}, 0.7, 1, 40 * time.Minute},
		"boil, weak burner":           {simmer.Duty{}, 1, 0.8, 12 * time.Minute},
	} {
		f := follow(t, c.duty, c.surface, c.power)
		var seen []simmer.Reading
		for range 9 {
			seen = append(seen, f.weigh(t, c.step))
		}
		b, err := simmer.Learn(f.setup, seen, nil)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		governs, other, truth := b.Surface, b.Power, c.surface
		if c.duty.Hold == 0 {
			governs, other, truth = b.Power, b.Surface, c.power
		}
		if off := math.Abs(governs.Log - math.Log(truth)); off > 3*governs.Spread || governs.Spread > 0.1 {
			t.Errorf("%s: factor %.3f, spread %.3f, true %v", name, governs.Median(), governs.Spread, truth)
		}
		if math.Abs(other.Log) > 0.25*prior.Power.Spread || math.Abs(other.Spread/prior.Power.Spread-1) > 0.2 {
			t.Errorf("%s: nothing told of the other factor, it moved to %+v", name, other)
		}
		if b.Runs != 1 || b.Readings < 8 {
			t.Errorf("%s: %d readings, %d runs", name, b.Readings, b.Runs)
		}
		width := func(b simmer.Belief) time.Duration {
			i, err := simmer.ReduceBelieving(kettle100, f.setup.Load, c.duty, simmer.Kitchen(), f.setup.End, simmer.Settings{}, b, 0)
			if err != nil {
				t.Fatal(err)
			}
			if !(i.Early < i.Median && i.Median < i.Late) || i.Reached < 0.9 {
				t.Errorf("%s: interval %v %v %v, reached %v", name, i.Early, i.Median, i.Late, i.Reached)
			}
			return i.Late - i.Early
		}
		if before, after := width(prior), width(b); after > before/2 {
			t.Errorf("%s: the plan's interval went from %v to %v", name, before, after)
		}
	}
}

// Yesterday's posterior, with forgetting, is today's prior: over runs the spread shrinks
// and stays above what forgetting allows.
func TestVesselsAreLearnedOverRuns(t *testing.T) {
	t.Parallel()
	prior := simmer.Uninformed()
	b := prior
	var spreads []float64
	for run := range 4 {
		f := follow(t, simmer.Duty{}, 1, 0.8)
		f.rng = rand.New(rand.NewPCG(uint64(run), 9))
		f.setup.Prior = b
		var seen []simmer.Reading
		for range 5 {
			seen = append(seen, f.weigh(t, 15*time.Minute))
		}
		post, err := simmer.Learn(f.setup, seen, nil)
		if err != nil {
			t.Fatal(err)
		}
		spreads = append(spreads, post.Power.Spread)
		if off := math.Abs(post.Power.Log - math.Log(0.8)); off > 3*post.Power.Spread {
			t.Errorf("run %d: factor %.3f +- %.3f, true 0.8", run, post.Power.Median(), post.Power.Spread)
		}
		if b, err = post.Forget(prior, simmer.UsualForgetting); err != nil {
			t.Fatal(err)
		}
	}
	if spreads[3] >= spreads[0] || b.Runs != 4 {
		t.Errorf("spreads %v, %d runs", spreads, b.Runs)
	}
}

func TestAnUntoldChangeIsNoticed(t *testing.T) {
	t.Parallel()
	f := follow(t, simmer.Duty{}, 1, 1)
	tr := newTracker(t, f.setup)
	for range 6 {
		read(t, tr, f.weigh(t, 10*time.Minute))
	}
	if c := finish(t, tr).Change; c.Noticed() {
		t.Errorf("a change was noticed before there was one: %+v", c)
	}
	if err := f.truth.SetDuty(simmer.Duty{PowerShare: 0.6}); err != nil {
		t.Fatal(err)
	}
	for range 4 {
		read(t, tr, f.weigh(t, 10*time.Minute))
	}
	got := finish(t, tr)
	c := got.Change
	if !c.Noticed() || c.Power < 0.5 || c.Power > 0.72 {
		t.Errorf("after the burner was turned to 0.6: %+v", c)
	}
	if c.Early > 65*time.Minute || c.Late < 50*time.Minute || c.Late > 80*time.Minute {
		t.Errorf("the change at 1 h was placed between %v and %v", c.Early, c.Late)
	}
	if !slices.ContainsFunc(got.Cautions, func(s string) bool { return strings.Contains(s, "changed untold, about") }) {
		t.Errorf("no caution: %q", got.Cautions)
	}
	// The vessel itself is not blamed for the burner.
	if p := got.Belief.Power; math.Abs(p.Log) > 3*p.Spread {
		t.Errorf("power factor %+v, true 1", p)
	}
	// The cook records it: the untold change is over.
	if err := tr.SetDuty(tr.Now(), simmer.Duty{PowerShare: 0.6}); err != nil {
		t.Fatal(err)
	}
	if c := finish(t, tr).Change; c.Chance > 0.99 && c.Power < 0.7 {
		t.Errorf("after it was told: %+v", c)
	}
}

func TestATurnedDownHoldIsNoticed(t *testing.T) {
	t.Parallel()
	f := follow(t, simmer.Duty{Hold: 95}, 1.1, 1)
	tr := newTracker(t, f.setup)
	for i := range 14 {
		if i == 6 {
			if err := f.truth.SetDuty(simmer.Duty{Hold: 87}); err != nil {
				t.Fatal(err)
			}
		}
		read(t, tr, f.weigh(t, 50*time.Minute))
	}
	if c := tr.Change(); !c.Noticed() || c.Hold > -4 || c.Hold < -14 {
		t.Errorf("held 8 K lower: %+v", c)
	}
}

func TestASlipIsNotBelieved(t *testing.T) {
	t.Parallel()
	f := follow(t, simmer.Duty{}, 1, 1)
	tr := newTracker(t, f.setup)
	for i := range 8 {
		r := f.weigh(t, 10*time.Minute)
		if i == 4 {
			r.Mass *= 0.8 // the tare was taken twice
		}
		read(t, tr, r)
	}
	d := tr.Doubted()
	if len(d) != 1 || d[0].Number != 5 || d[0].Chance < 0.9 {
		t.Errorf("doubted %+v, want reading 5", d)
	}
	truth, err := simmer.Reduce(kettle100, f.setup.Load, simmer.Duty{}, f.setup.Conditions, f.setup.End, simmer.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	if got, err := tr.Finish(0.95); err != nil || got.Early > truth.Time || got.Late < truth.Time || got.Change.Noticed() {
		t.Errorf("finish %v to %v, true %v; change %+v", got.Early, got.Late, truth.Time, got.Change)
	}
}

func TestForecastSaysWhatItIs(t *testing.T) {
	t.Parallel()
	f := follow(t, simmer.Duty{}, 1, 1)
	f.setup.End = simmer.EndPoint{Mass: 60, Solids: 0.2}
	tr := newTracker(t, f.setup)
	blind := finish(t, tr)
	if !slices.Contains(blind.Cautions, simmer.CautionFewReadings) || blind.By != simmer.MassTarget || blind.Coverage != simmer.DefaultCoverage {
		t.Errorf("before any reading: %+v", blind)
	}
	for range 5 {
		read(t, tr, f.weigh(t, 10*time.Minute))
	}
	got := finish(t, tr)
	if slices.Contains(got.Cautions, simmer.CautionFewReadings) || got.Late-got.Early > (blind.Late-blind.Early)/2 {
		t.Errorf("after five readings: %+v", got)
	}
	state := f.truth.State()
	if math.Abs(float64(got.Liquid-state.Liquid)) > 3*float64(got.LiquidSpread) || math.Abs(got.Evaporation/state.Evaporation-1) > 0.2 {
		t.Errorf("now %v +- %v, %.2g kg/s; true %v, %.2g kg/s", got.Liquid, got.LiquidSpread, got.Evaporation, state.Liquid, state.Evaporation)
	}
	// Chances of being done follow the quantiles.
	for at, want := range map[time.Duration]float64{got.Early: 0.1, got.Likely: 0.5, got.Late: 0.9} {
		if p, err := tr.DoneBy(at); err != nil || math.Abs(p-want) > 0.01 {
			t.Errorf("done by %v: %v, %v, want %v", at, p, err, want)
		}
	}
	wide, err := tr.Finish(0.95)
	if err != nil || wide.Early >= got.Early || wide.Late <= got.Late || wide.Likely != got.Likely {
		t.Errorf("coverage 0.95 gives %v to %v, 0.8 %v to %v (%v)", wide.Early, wide.Late, got.Early, got.Late, err)
	}
	// A run that has passed its end says when.
	for range 8 {
		read(t, tr, f.weigh(t, 10*time.Minute))
	}
	if past := finish(t, tr); past.Late > past.Now || past.Reached < 0.99 {
		t.Errorf("past the end at %v: %+v", past.Now, past)
	}
}

func TestAnEndOutOfReachIsSaid(t *testing.T) {
	t.Parallel()
	f := follow(t, simmer.Duty{Hold: 70}, 1, 1)
	f.setup.Horizon = 10 * time.Hour
	tr := newTracker(t, f.setup)
	read(t, tr, f.weigh(t, time.Hour))
	got := finish(t, tr)
	if got.Reached > 0.1 || got.Likely != f.setup.Horizon || !slices.Contains(got.Cautions, simmer.CautionUnreachable) {
		t.Errorf("%+v", got)
	}
	if err := tr.SetDuty(tr.Now(), simmer.Duty{Off: true}); err != nil {
		t.Fatal(err)
	}
	if got = finish(t, tr); got.Reached > 0.01 || !slices.Contains(got.Cautions, simmer.CautionHeatOff) || !slices.Contains(got.Cautions, simmer.CautionHotHolding) {
		t.Errorf("off: %+v", got)
	}
}

// A bring-up is a run that ends with a temperature.
func TestBringUpIsFollowed(t *testing.T) {
	t.Parallel()
	f := follow(t, simmer.Duty{}, 1, 0.8)
	load := simmer.Load{Liquid: 100, Start: 15}
	s := simmer.Setup{Vessel: kettle100, Load: load, Conditions: simmer.Kitchen(), Until: 95}
	weak := kettle100
	weak.Efficiency *= 0.8
	truth, err := simmer.BringUp(weak, load, s.Conditions, 95, simmer.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	k, err := simmer.NewKettle(weak, load, simmer.Duty{}, s.Conditions)
	if err != nil {
		t.Fatal(err)
	}
	tr := newTracker(t, s)
	for range 3 {
		state, err := k.Step(8 * time.Minute)
		if err != nil {
			t.Fatal(err)
		}
		read(t, tr, simmer.Reading{Elapsed: state.Elapsed, Temperature: state.Temperature + units.Celsius(f.rng.NormFloat64())})
	}
	got := finish(t, tr)
	if got.By != simmer.TemperatureTarget || got.Early > truth.Time || got.Late < truth.Time || float64(got.Late-got.Early) > 0.4*float64(truth.Time) {
		t.Errorf("reaches 95 C between %v and %v, true %v", got.Early, got.Late, truth.Time)
	}
}

// The same input gives the same output, and asking does not change the answer to later
// questions.
func TestTrackingIsRepeatable(t *testing.T) {
	t.Parallel()
	run := func(ask bool) simmer.Finish {
		f := follow(t, simmer.Duty{}, 1, 1)
		tr := newTracker(t, f.setup)
		for range 5 {
			read(t, tr, f.weigh(t, 11*time.Minute))
			if ask {
				finish(t, tr)
			}
		}
		return finish(t, tr)
	}
	if a, b := fmt.Sprint(run(false)), fmt.Sprint(run(true)); a != b {
		t.Errorf("%s\nand then\n%s", a, b)
	}
}

func TestWhatCannotBeIsRefused(t *testing.T) {
	t.Parallel()
	f := follow(t, simmer.Duty{Hold: 95}, 1, 1)
	nan := math.NaN()
	for want, r := range map[string]simmer.Reading{
		"gives 0":                 {Elapsed: 2 * time.Hour},
		"gives 2":                 {Elapsed: 2 * time.Hour, Mass: 70, Solids: 0.1},
		"mass read NaN":           {Elapsed: 2 * time.Hour, Mass: units.Mass(nan)},
		"mass read -4":            {Elapsed: 2 * time.Hour, Mass: -4},
		"level read +Inf":         {Elapsed: 2 * time.Hour, Level: units.Length(math.Inf(1))},
		"solids read 12":          {Elapsed: 2 * time.Hour, Solids: 12},
		"temperature read 300":    {Elapsed: 2 * time.Hour, Temperature: 300},
		"standard error":          {Elapsed: 2 * time.Hour, Mass: 70, Sigma: nan},
		"outside 0 to the horizo": {Elapsed: -time.Hour, Mass: 70},
		"in order":                {Elapsed: 30 * time.Minute, Mass: 70},
	} {
		tr := newTracker(t, f.setup)
		read(t, tr, simmer.Reading{Elapsed: time.Hour, Mass: 96})
		before := fmt.Sprint(finish(t, tr))
		if err := tr.Read(r); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v", want, err)
		}
		if after := fmt.Sprint(finish(t, tr)); after != before {
			t.Errorf("%s: the refused reading changed the forecast", want)
		}
	}
	for want, spoil := range map[string]func(*simmer.Setup){
		"wander":            func(s *simmer.Setup) { s.Wander = nan },
		"particles":         func(s *simmer.Setup) { s.Particles = 3 },
		"horizon":           func(s *simmer.Setup) { s.Horizon = -1 },
		"nothing to reduce": func(s *simmer.Setup) { s.End.Mass = 120 },
		"superheat":         func(s *simmer.Setup) { s.End = simmer.EndPoint{Superheat: 20} },
		"above the":         func(s *simmer.Setup) { s.Until = 99 },
		"version":           func(s *simmer.Setup) { s.Prior.Version = 9 },
		"efficiency":        func(s *simmer.Setup) { s.Vessel.Efficiency = nan },
	} {
		s := f.setup
		spoil(&s)
		if _, err := simmer.NewTracker(s); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v", want, err)
		}
	}
	if _, err := simmer.Learn(f.setup, nil, nil); err == nil {
		t.Error("learned from nothing")
	}
	if _, err := simmer.Learn(f.setup, []simmer.Reading{{Elapsed: time.Hour, Mass: 10}}, nil); !errors.Is(err, simmer.ErrNotExplained) {
		t.Errorf("10 kg of 100 after an hour: %v", err)
	}
	s := f.setup
	s.End = simmer.EndPoint{}
	if _, err := newTracker(t, s).Finish(0); err == nil {
		t.Error("a finish without an end point")
	}
	if _, err := newTracker(t, f.setup).Finish(1.5); err == nil {
		t.Error("a coverage of 1.5")
	}
}

// Many readings are forgotten by the particles but not by the tracker.
func TestOldDoubtsAreKept(t *testing.T) {
	t.Parallel()
	f := follow(t, simmer.Duty{Hold: 95}, 1, 1)
	tr := newTracker(t, f.setup)
	for i := range 100 {
		r := f.weigh(t, 4*time.Minute)
		if i == 20 || i == 80 {
			r.Mass *= 1.2
		}
		read(t, tr, r)
	}
	d := tr.Doubted()
	numbers := make([]int, len(d))
	for i := range d {
		numbers[i] = d[i].Number
	}
	if !slices.Contains(numbers, 21) || !slices.Contains(numbers, 81) || len(d) > 5 {
		t.Errorf("doubted %v, want 21 and 81", numbers)
	}
}

// A change that the cook records is neither taken for the vessel's nor for an untold one.
func TestToldChangesAreNotLearned(t *testing.T) {
	t.Parallel()
	f := follow(t, simmer.Duty{}, 1, 0.9)
	var seen []simmer.Reading
	for i := range 10 {
		if i == 4 {
			if err := f.truth.SetDuty(simmer.Duty{PowerShare: 0.65}); err != nil {
				t.Fatal(err)
			}
		}
		seen = append(seen, f.weigh(t, 12*time.Minute))
	}
	told := []simmer.Setting{{Elapsed: 48 * time.Minute, Duty: simmer.Duty{PowerShare: 0.65}}}
	b, err := simmer.Learn(f.setup, seen, told)
	if err != nil {
		t.Fatal(err)
	}
	if off := math.Abs(b.Power.Log - math.Log(0.9)); off > 3*b.Power.Spread || b.Power.Spread > 0.1 {
		t.Errorf("power factor %.3f, spread %.3f, true 0.9", b.Power.Median(), b.Power.Spread)
	}
	told[0].Duty.PowerShare = 7
	if _, err := simmer.Learn(f.setup, seen, told); err == nil {
		t.Error("a power share of 7 was accepted")
	}
}

// A kettle is turned up to boil, read now and then, and asked when it will be done.
func ExampleTracker() {
	vessel := simmer.Vessel{
		Geometry: simmer.Geometry{Shape: simmer.Hemispherical, Diameter: 0.7, Height: 0.65},
		Power:    30 * units.Kilowatt, Efficiency: 0.52, WallLoss: 6,
	}
	gas, err := simmer.TypicalOf(simmer.GasKettle)
	if err != nil {
		fmt.Println(err)
		return
	}
	tracker, err := simmer.NewTracker(simmer.Setup{
		Vessel: vessel, Load: simmer.Load{Liquid: 100, Solids: 0.04, Start: 95}, Conditions: simmer.Kitchen(),
		End: simmer.EndPoint{Mass: 60}, Prior: gas.Prior,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, kilograms := range []units.Mass{94.1, 88.7} {
		if err := tracker.Read(simmer.Reading{Elapsed: time.Duration(i+1) * 20 * time.Minute, Mass: kilograms}); err != nil {
			fmt.Println(err)
			return
		}
	}
	finish, err := tracker.Finish(0.8)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(finish.Early < finish.Likely, finish.Likely < finish.Late, finish.By)
	fmt.Println(finish.Cautions[0])
	// Output:
	// true true mass
	// Fewer than three readings are believed: the forecast rests on what is usual of such vessels; weigh, dip or take the Brix again.
}
