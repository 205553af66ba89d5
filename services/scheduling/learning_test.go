package scheduling

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

// weakFire is the part of the heat on its plate that the true kettle gives.
const weakFire = 0.75

func reducingKettle() Vessel {
	return Vessel{
		Name: "sites/a/vessels/kettle-1", DisplayName: "Kettle 1", Active: true, HeatSource: HeatSteam, PowerWatts: 30000, Efficiency: 0.85,
		Shape: Shape{Kind: ShapeHemisphere, Diameter: 0.8, Height: 0.3}, MaxFillLiters: 250,
	}
}

func reducingStep() Step {
	return Step{ID: "reduce", Kind: KindReduce, FillLiters: 100, Duration: DurationModel{Reduce: &ReduceModel{StartCelsius: 60, MassFraction: 0.3}}}
}

// cookIt runs the reduction in the true vessel and weighs it every half an hour; it answers when the end was reached.
func cookIt(t *testing.T, begin time.Time) (weights []Measurement, took time.Duration) {
	t.Helper()
	setup, _, err := newEstimator(SiteFacts{}, DefaultLimits("sites/a")).reduction(reducingStep(), reducingKettle())
	if err != nil {
		t.Fatal(err)
	}
	setup.Vessel.Efficiency *= weakFire
	kettle, err := simmer.NewKettle(setup.Vessel, setup.Load, setup.Duty, setup.Conditions)
	if err != nil {
		t.Fatal(err)
	}
	for {
		state, err := kettle.Step(5 * time.Minute)
		if err != nil {
			t.Fatal(err)
		}
		if state.Elapsed%(30*time.Minute) == 0 {
			weights = append(weights, Measurement{Kind: MeasureMassKg, Value: float64(state.Liquid), ObserveTime: begin.Add(state.Elapsed)})
		}
		if state.Liquid <= setup.End.Mass {
			return weights, state.Elapsed
		}
	}
}

func TestAWeakFireIsLearnedAndTheNextPlanTakesLonger(t *testing.T) {
	t.Parallel()
	begin := time.Date(2026, 11, 23, 6, 0, 0, 0, time.UTC)
	weights, took := cookIt(t, begin)
	e := newEstimator(SiteFacts{}, DefaultLimits("sites/a"))
	v := reducingKettle()
	before := e.estimate(reducingStep(), &v)
	setup, _, err := e.reduction(reducingStep(), v)
	if err != nil {
		t.Fatal(err)
	}
	setup.End = simmer.EndPoint{}
	tracker, used, err := follow(setup, begin, weights)
	if err != nil || used != len(weights) {
		t.Fatalf("used %d of %d weights, %v", used, len(weights), err)
	}
	v.Learned = &Learned{Belief: tracker.Belief()}
	after := newEstimator(SiteFacts{}, DefaultLimits("sites/a")).estimate(reducingStep(), &v)
	if off := after.Total().Minutes()/took.Minutes() - 1; math.Abs(off) > 0.08 {
		t.Errorf("it took %v, the plan says %v after learning and said %v before", took, after.Total(), before.Total())
	}
	if before.Total() >= took*9/10 {
		t.Errorf("the plan said %v before, with the full fire; the weak one took %v: nothing to learn", before.Total(), took)
	}
	if !strings.Contains(after.Basis, "% of the heat stated") {
		t.Errorf("basis %q does not say what it was learned from", after.Basis)
	}
	if p := v.Learned.Belief.Power.Median(); p < 0.65 || p > 0.9 {
		t.Errorf("the fire is believed to give %.2f of what is stated; it gives %.2f", p, weakFire)
	}
}

func TestTheForecastFollowsTheWeightsOfARun(t *testing.T) {
	t.Parallel()
	begin := time.Date(2026, 11, 23, 6, 0, 0, 0, time.UTC)
	weights, took := cookIt(t, begin)
	half := weights[:slices.IndexFunc(weights, func(m Measurement) bool { return m.ObserveTime.After(begin.Add(took / 2)) })]
	e := newEstimator(SiteFacts{}, DefaultLimits("sites/a"))
	r := Run{Step: reducingStep(), Start: begin}
	f := Forecast{At: half[len(half)-1].ObserveTime}
	if !e.forecastReduction(&f, r, reducingKettle(), half) {
		t.Fatal("no forecast")
	}
	truth := begin.Add(took)
	if off := f.Expected.Sub(truth); off.Abs() > took/20 {
		t.Errorf("at half time the finish is expected at %v, it was %v", f.Expected, truth)
	}
	if truth.Before(f.Earliest) || truth.After(f.Latest) || f.Coverage != reductionCoverage || f.Measurements != len(half) {
		t.Errorf("forecast %+v, truth %v", f, truth)
	}
	spread := func(n int) time.Duration {
		f := Forecast{At: begin.Add(time.Minute)}
		if n > 0 {
			f.At = half[n-1].ObserveTime
		}
		if !e.forecastReduction(&f, r, reducingKettle(), half[:n]) {
			t.Fatal("no forecast")
		}
		return f.Latest.Sub(f.Earliest)
	}
	if none, all := spread(0), spread(len(half)); all >= none {
		t.Errorf("the interval is %v wide with measurements, %v without", all, none)
	}
}

func TestASlipIsNotBelieved(t *testing.T) {
	t.Parallel()
	begin := time.Date(2026, 11, 23, 6, 0, 0, 0, time.UTC)
	weights, _ := cookIt(t, begin)
	weights[1].Value *= 0.5 // somebody weighed another pot
	f := Forecast{At: weights[len(weights)-2].ObserveTime}
	if !newEstimator(SiteFacts{}, DefaultLimits("sites/a")).forecastReduction(&f, Run{Step: reducingStep(), Start: begin}, reducingKettle(), weights[:len(weights)-1]) {
		t.Fatal("no forecast")
	}
	if !slices.ContainsFunc(f.Notices, func(n string) bool {
		return strings.Contains(n, "not believed") && strings.Contains(n, weights[1].ObserveTime.Format(time.RFC3339))
	}) {
		t.Errorf("notices %q do not name the slip", f.Notices)
	}
}

func TestVesselsAreBelievedByTheirHeat(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		v    Vessel
		want simmer.Class
	}{
		{Vessel{HeatSource: HeatSteam, Shape: Shape{Kind: ShapeHemisphere}}, simmer.SteamKettle},
		{Vessel{HeatSource: HeatGas, Shape: Shape{Kind: ShapeHemisphere}}, simmer.GasKettle},
		{Vessel{HeatSource: HeatGas, Shape: Shape{Kind: ShapeCylinder}}, simmer.OpenBurnerPot},
		{Vessel{HeatSource: HeatElectric, Shape: Shape{Kind: ShapePan}}, simmer.TiltingPan},
		{Vessel{HeatSource: HeatElectric, Shape: Shape{Kind: ShapeHemisphere}}, simmer.ElectricKettle},
		{Vessel{HeatSource: HeatElectric, Shape: Shape{Kind: ShapeCylinder}}, simmer.HotPlatePot},
	} {
		if got := c.v.heatClass(); got != c.want {
			t.Errorf("%+v: %s, want %s", c.v, got, c.want)
		}
	}
	worn := Vessel{HeatSource: HeatSteam, Learned: &Learned{Belief: simmer.Belief{Version: 99}}}
	if err := worn.prior().Check(); err != nil {
		t.Errorf("a belief of another version leaves %v", err)
	}
}

func TestReadingsOfMeasurements(t *testing.T) {
	t.Parallel()
	begin := time.Date(2026, 11, 23, 6, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		m    Measurement
		want simmer.Reading
		ok   bool
	}{
		{Measurement{Kind: MeasureMassKg, Value: 40, ObserveTime: begin.Add(time.Hour)}, simmer.Reading{Elapsed: time.Hour, Mass: 40}, true},
		{Measurement{Kind: MeasureVolumeLiters, Value: 40, ObserveTime: begin}, simmer.Reading{Volume: 40 * units.Litre}, true},
		{Measurement{Kind: MeasureLevelMeters, Value: 0.2, ObserveTime: begin.Add(-time.Minute)}, simmer.Reading{Level: 0.2}, true},
		{Measurement{Kind: MeasureBrixDegrees, Value: 12, ObserveTime: begin}, simmer.Reading{Solids: 0.12}, true},
		{Measurement{Kind: MeasureTemperatureCelsius, Value: 96, ObserveTime: begin}, simmer.Reading{Temperature: 96}, true},
		{Measurement{Kind: MeasureBrixDegrees, Value: 0, ObserveTime: begin}, simmer.Reading{}, false},
		{Measurement{Kind: MeasureCheck, ObserveTime: begin}, simmer.Reading{}, false},
	} {
		got, ok := readingOf(c.m, begin)
		if ok != c.ok || ok && got != c.want {
			t.Errorf("%+v: %+v %v, want %+v %v", c.m, got, ok, c.want, c.ok)
		}
	}
}
