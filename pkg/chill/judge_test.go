package chill_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/floats/scalar"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/units"
)

var noon = time.Date(2031, 3, 4, 12, 0, 0, 0, time.UTC)

func at(minutes float64, t units.Temperature) chill.Reading {
	return chill.Reading{At: noon.Add(time.Duration(minutes * float64(time.Minute))), Temperature: t}
}

func fahrenheit(minutesAndDegrees ...float64) []chill.Reading {
	var out []chill.Reading
	for i := 0; i < len(minutesAndDegrees); i += 2 {
		out = append(out, at(minutesAndDegrees[i], units.InFahrenheit(minutesAndDegrees[i+1])))
	}
	return out
}

func judge(t *testing.T, l chill.Limits, r []chill.Reading, o chill.Options) chill.Judgement {
	t.Helper()
	j, err := chill.Judge(l, r, o)
	if err != nil {
		t.Fatal(err)
	}
	return j
}

// celsius limits of the code's own rounded pairs.
func rounded() chill.Limits {
	return chill.Limits{Name: "rounded", Stages: []chill.Stage{
		{From: units.InCelsius(57.2), To: units.InCelsius(21.1), Within: 2 * time.Hour},
		{From: units.InCelsius(57.2), To: units.InCelsius(5), Within: 6 * time.Hour},
	}}
}

// Newton cooling implied by the two-stage rule, computed separately: the first
// stage governs below 3 C, both bind at 3 C, the second above; none from 5 C up.
func TestRequiredRate(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		ambient units.Celsius
		k1, k2  float64
	}{{0, 0.499, 0.406}, {2, 0.531, 0.485}, {3, 0.548, 0.550}, {4, 0.567, 0.662}} {
		for i, want := range []float64{c.k1, c.k2} {
			l := rounded()
			l.Stages = l.Stages[i : i+1]
			k, _, err := l.RequiredRate(c.ambient)
			if err != nil || !scalar.EqualWithinAbs(k, want, 5.1e-4) {
				t.Errorf("%v stage %d: %.4f, %v; want %v", c.ambient, i+1, k, err, want)
			}
		}
		k, _, err := rounded().RequiredRate(c.ambient)
		if err != nil || !scalar.EqualWithinAbs(k, max(c.k1, c.k2), 5.1e-4) {
			t.Errorf("%v: %v, %v", c.ambient, k, err)
		}
	}
	for _, a := range []units.Celsius{5, 7, units.Celsius(math.NaN())} {
		if k, _, err := rounded().RequiredRate(a); err == nil {
			t.Errorf("surroundings of %v gave %v", a, k)
		}
	}
}

// newton samples an exponential from 75 C.
func newton(k float64, ambient units.Celsius, every time.Duration, hours float64) []chill.Reading {
	var out []chill.Reading
	for d := time.Duration(0); d.Hours() <= hours; d += every {
		out = append(out, chill.Reading{At: noon.Add(d), Temperature: units.InCelsius(newtonAt(k, ambient, d))})
	}
	return out
}

func newtonAt(k float64, ambient units.Celsius, d time.Duration) float64 {
	return float64(ambient) + (75-float64(ambient))*math.Exp(-k*d.Hours())
}

func TestBothStagesBindTogetherAtThreeDegrees(t *testing.T) {
	t.Parallel()
	k, _, err := chill.FoodCode2022().RequiredRate(3)
	if err != nil {
		t.Fatal(err)
	}
	fast := judge(t, chill.FoodCode2022(), newton(k*1.02, 3, time.Minute, 12), chill.Options{})
	if fast.Verdict != chill.Passed || fast.Finished.IsZero() || !slices.Contains(fast.Cautions, chill.CautionSafety) {
		t.Errorf("2 %% faster than needed: %+v", fast)
	}
	slow := judge(t, chill.FoodCode2022(), newton(k*0.98, 3, time.Minute, 12), chill.Options{})
	if slow.Verdict != chill.Failed || slow.Stages[0].Verdict != chill.Failed && slow.Stages[1].Verdict != chill.Failed || !slow.Stages[1].Proven {
		t.Errorf("2 %% slower than needed: %+v", slow)
	}
}

// Whatever the sampling, the clock read is never shorter than the true one, and more
// readings never make it longer.
func TestReadingsAreTakenOnTheCautiousSide(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(11, 12))
	for range 200 {
		k, ambient := 0.3+rng.Float64(), units.Celsius(rng.Float64()*4)
		fine := newton(k, ambient, time.Minute, 20)
		var coarse []chill.Reading
		for i, r := range fine {
			if i == 0 || i == len(fine)-1 || rng.IntN(25) == 0 {
				coarse = append(coarse, r)
			}
		}
		a := judge(t, chill.FoodCode2022(), fine, chill.Options{})
		b := judge(t, chill.FoodCode2022(), coarse, chill.Options{})
		for i, s := range chill.FoodCode2022().Stages {
			ratio := float64((s.From.Celsius() - ambient) / (s.To.Celsius() - ambient))
			truth := time.Duration(math.Log(ratio) / k * float64(time.Hour))
			if a.Stages[i].Left.IsZero() {
				continue
			}
			if a.Stages[i].Elapsed < truth || b.Stages[i].Elapsed < a.Stages[i].Elapsed || a.Stages[i].Elapsed > truth+2*time.Minute {
				t.Fatalf("stage %d: true %v, fine %v, coarse %v", i+1, truth, a.Stages[i].Elapsed, b.Stages[i].Elapsed)
			}
			if truth > s.Within && b.Stages[i].Verdict != chill.Failed {
				t.Fatalf("stage %d took %v and was judged %v", i+1, truth, b.Stages[i].Verdict)
			}
			if b.Stages[i].Verdict == chill.Failed && b.Stages[i].Proven && truth <= s.Within {
				t.Fatalf("stage %d took %v and was proven late", i+1, truth)
			}
		}
	}
}

func TestTheSixHoursAreATotal(t *testing.T) {
	t.Parallel()
	// A fast first stage leaves more than four hours for the second.
	fast := judge(t, chill.FoodCode2022(), fahrenheit(0, 136, 5, 134, 30, 70, 355, 41), chill.Options{MaxGap: 8 * time.Hour})
	if fast.Verdict != chill.Passed || fast.Stages[1].Elapsed != 355*time.Minute {
		t.Errorf("%+v", fast)
	}
	// A slow first stage is a failure even when the total is kept.
	slow := judge(t, chill.FoodCode2022(), fahrenheit(0, 135, 5, 134, 119, 80, 130, 70, 200, 41), chill.Options{})
	if slow.Verdict != chill.Failed || slow.Stages[0].Verdict != chill.Failed || slow.Stages[1].Verdict != chill.Passed {
		t.Errorf("%+v", slow)
	}
	// FSIS: the second clock starts at 80 F.
	fsis := judge(t, chill.FSISOption1(), fahrenheit(0, 131, 5, 129, 60, 80, 65, 79, 355, 40), chill.Options{MaxGap: 8 * time.Hour})
	if fsis.Verdict != chill.Passed || fsis.Stages[1].Entered != noon.Add(time.Hour) {
		t.Errorf("%+v", fsis)
	}
}

func TestLimitsAreComparedInTheirOwnUnit(t *testing.T) {
	t.Parallel()
	// 5 C is 41 F exactly; 57.2 C is 134.96 F and so below 135 F; 5.01 C is above 41 F.
	r := []chill.Reading{at(0, units.InCelsius(57.3)), at(10, units.InCelsius(57.2)), at(60, units.InCelsius(21.1)), at(100, units.InCelsius(5))}
	j := judge(t, chill.FoodCode2022(), r, chill.Options{MaxGap: time.Hour})
	if j.Verdict != chill.Passed || j.Stages[0].Entered != noon || j.Finished != noon.Add(100*time.Minute) {
		t.Errorf("%+v", j)
	}
	r[3] = at(100, units.InCelsius(5.01))
	if j = judge(t, chill.FoodCode2022(), r, chill.Options{MaxGap: time.Hour}); j.Verdict == chill.Passed || !j.Finished.IsZero() {
		t.Errorf("%+v", j)
	}
	// 135 F written in Fahrenheit, or as the same temperature in Celsius, is not below.
	for _, hot := range []units.Temperature{units.InFahrenheit(135), units.InFahrenheit(135).In(units.ScaleCelsius)} {
		j := judge(t, chill.FoodCode2022(), []chill.Reading{at(0, hot)}, chill.Options{})
		if !j.Stages[0].Entered.IsZero() || j.Verdict != chill.Pending {
			t.Errorf("%v: %+v", hot, j)
		}
	}
}

func TestTheClockOfAnOpenStage(t *testing.T) {
	t.Parallel()
	r := fahrenheit(0, 136, 5, 134, 30, 110, 60, 95)
	for _, c := range []struct {
		now  float64
		want chill.Verdict
	}{{60, chill.Pending}, {85, chill.Pending}, {95, chill.AtRisk}, {121, chill.Failed}} {
		j := judge(t, chill.FoodCode2022(), r, chill.Options{Now: noon.Add(time.Duration(c.now) * time.Minute)})
		if j.Stages[0].Verdict != c.want {
			t.Errorf("at %v min: %v, want %v", c.now, j.Stages[0].Verdict, c.want)
		}
		if c.now == 121 && (j.Stages[0].Proven || len(j.Gaps) != 1) {
			t.Errorf("a reading is missing, nothing is proven: %+v", j)
		}
	}
	// The forecast sees what the clock does not yet: 0.2 1/h is far too slow.
	ambient := units.Celsius(3)
	slow := newton(0.2, 3, 5*time.Minute, 2.3) // 57.2 C after 1.42 h
	j := judge(t, chill.FoodCode2022(), slow, chill.Options{Ambient: &ambient})
	if j.Verdict != chill.AtRisk {
		t.Errorf("slow cooling: %v", j.Verdict)
	}
	good := newton(0.9, 3, 5*time.Minute, 1.5)
	if j = judge(t, chill.FoodCode2022(), good, chill.Options{Ambient: &ambient}); j.Verdict != chill.Pending {
		t.Errorf("good cooling: %v", j.Verdict)
	}
}

func TestSilentProbeInHotFoodIsARisk(t *testing.T) {
	t.Parallel()
	r := fahrenheit(0, 180, 10, 178)
	if j := judge(t, chill.FoodCode2022(), r, chill.Options{Now: noon.Add(time.Hour)}); j.Verdict != chill.Pending || len(j.Gaps) != 1 {
		t.Errorf("%+v", j)
	}
	if j := judge(t, chill.FoodCode2022(), r, chill.Options{Now: noon.Add(3 * time.Hour)}); j.Verdict != chill.AtRisk {
		t.Errorf("%+v", j)
	}
}

func TestUnknownStart(t *testing.T) {
	t.Parallel()
	r := fahrenheit(0, 120, 60, 70, 200, 41)
	j := judge(t, chill.FoodCode2022(), r, chill.Options{MaxGap: 5 * time.Hour})
	if j.Verdict != chill.AtRisk || !slices.Contains(j.Cautions, chill.CautionStart) {
		t.Errorf("%+v", j)
	}
	j = judge(t, chill.FoodCode2022(), r, chill.Options{MaxGap: 5 * time.Hour, Began: noon.Add(-30 * time.Minute)})
	if j.Verdict != chill.Passed || j.Stages[0].Elapsed != 90*time.Minute {
		t.Errorf("%+v", j)
	}
	// Late even by the clock that started too late: surely late.
	j = judge(t, chill.FoodCode2022(), fahrenheit(0, 120, 130, 90, 140, 69, 200, 41), chill.Options{MaxGap: 5 * time.Hour})
	if s := j.Stages[0]; s.Verdict != chill.Failed || !s.Proven {
		t.Errorf("%+v", s)
	}
	// A probe put in late reads cold for a moment; food that was cool for an hour and
	// then warmed again is not a fresh start.
	j = judge(t, chill.FoodCode2022(), fahrenheit(0, 72, 2, 150, 10, 134, 60, 70, 200, 41), chill.Options{MaxGap: 5 * time.Hour})
	if j.Verdict != chill.Passed || j.Ignored != 1 {
		t.Errorf("%+v", j)
	}
	j = judge(t, chill.FoodCode2022(), fahrenheit(0, 110, 60, 100, 90, 140, 150, 70, 200, 41), chill.Options{MaxGap: 5 * time.Hour})
	if j.Verdict != chill.Failed || j.Ignored != 0 {
		t.Errorf("%+v", j)
	}
}

func TestAmbientIngredients(t *testing.T) {
	t.Parallel()
	j := judge(t, chill.FoodCodeAmbient(), fahrenheit(0, 68, 120, 50, 239, 41), chill.Options{MaxGap: 3 * time.Hour})
	if j.Verdict != chill.Passed || j.Stages[0].Entered != noon {
		t.Errorf("%+v", j)
	}
}

func TestOddReadingsAreSaid(t *testing.T) {
	t.Parallel()
	j := judge(t, chill.FoodCode2022(), fahrenheit(0, 136, 5, 134, 30, 69, 31, 72, 60, 69, 100, 55), chill.Options{})
	if !slices.Contains(j.Cautions, chill.CautionRebound) || j.Stages[0].Left != noon.Add(time.Hour) {
		t.Errorf("rebound: %+v", j)
	}
	j = judge(t, chill.FoodCode2022(), fahrenheit(0, 136, 5, 134, 6, 40), chill.Options{})
	if !slices.Contains(j.Cautions, chill.CautionJump) {
		t.Errorf("jump: %+v", j)
	}
	if j.Verdict != chill.AtRisk || j.Stages[1].Proven {
		t.Errorf("a probe in ice water must not pass the chill: %+v", j)
	}
	// The probe goes back into the food: the chill goes on.
	j = judge(t, chill.FoodCode2022(), fahrenheit(0, 136, 5, 134, 6, 33, 7, 133, 60, 100, 130, 80), chill.Options{MaxGap: 5 * time.Hour})
	if !j.Finished.IsZero() || j.Stages[0].Verdict != chill.Failed {
		t.Errorf("glitch: %+v", j)
	}
	j = judge(t, chill.FoodCode2022(), fahrenheit(0, 136, 5, 134, 100, 69, 110, 60), chill.Options{})
	if len(j.Gaps) != 1 || j.Gaps[0].From != noon.Add(5*time.Minute) || !slices.Contains(j.Cautions, chill.CautionGap) {
		t.Errorf("gap: %+v", j)
	}
	// What the walk-in does next week does not touch a finished chill.
	j = judge(t, chill.FoodCode2022(), fahrenheit(0, 136, 5, 134, 60, 70, 200, 41, 5000, 45), chill.Options{MaxGap: 5 * time.Hour})
	if j.Verdict != chill.Passed || len(j.Gaps) != 0 {
		t.Errorf("finished: %+v", j)
	}
}

func TestBadReadingsAndLimitsAreRefused(t *testing.T) {
	t.Parallel()
	good := fahrenheit(0, 136, 5, 134)
	for name, c := range map[string]struct {
		l chill.Limits
		r []chill.Reading
		o chill.Options
	}{
		"none":         {chill.FoodCode2022(), nil, chill.Options{}},
		"NaN":          {chill.FoodCode2022(), fahrenheit(0, math.NaN()), chill.Options{}},
		"order":        {chill.FoodCode2022(), fahrenheit(5, 136, 0, 134), chill.Options{}},
		"absurd":       {chill.FoodCode2022(), fahrenheit(0, 3000), chill.Options{}},
		"past now":     {chill.FoodCode2022(), good, chill.Options{Now: noon}},
		"no stages":    {chill.Limits{}, good, chill.Options{}},
		"warming":      {chill.Limits{Stages: []chill.Stage{{From: units.InCelsius(5), To: units.InCelsius(60), Within: time.Hour}}}, good, chill.Options{}},
		"no time":      {chill.Limits{Stages: []chill.Stage{{From: units.InCelsius(60), To: units.InCelsius(5)}}}, good, chill.Options{}},
		"negative gap": {chill.FoodCode2022(), good, chill.Options{MaxGap: -1}},
	} {
		if j, err := chill.Judge(c.l, c.r, c.o); err == nil {
			t.Errorf("%s gave %+v", name, j)
		}
	}
	for _, l := range []chill.Limits{chill.FoodCode2022(), chill.FoodCodeAmbient(), chill.FSISOption1(), chill.UKCookChill(), chill.FSANZ()} {
		if err := l.Check(); err != nil || l.Source == "" {
			t.Errorf("%s: %v", l.Name, err)
		}
	}
}

func TestForecastOfAnExactExponential(t *testing.T) {
	t.Parallel()
	r := newton(0.55, 3, 5*time.Minute, 1.5)
	f, err := chill.Forecast(r, 3, chill.FoodCode2022())
	if err != nil || !scalar.EqualWithinAbs(f.Rate, 0.55, 1e-9) {
		t.Fatalf("%+v, %v", f, err)
	}
	for i, to := range []float64{190.0 / 9, 5} {
		want := noon.Add(time.Duration(math.Log(72/(to-3)) / 0.55 * float64(time.Hour)))
		c := f.Crossings[i]
		if d := c.Likely.Sub(want).Abs(); d > time.Second || !c.Early.Before(want) || !(c.Open || c.Late.After(want)) {
			t.Errorf("to %v C: %+v, want %v", to, c, want)
		}
	}
	if f, err = chill.Forecast(r, 7, chill.FoodCode2022()); err != nil || !f.Crossings[1].Never || !slices.Contains(f.Cautions, chill.CautionAmbient) {
		t.Errorf("surroundings warmer than the limit: %+v, %v", f, err)
	}
	if _, err = chill.Forecast(r[:1], 3, chill.FoodCode2022()); err == nil {
		t.Error("one reading carries no forecast")
	}
}

// The interval claims 19 of 20; with probes of 0.5 C scatter and surroundings known to
// 1 C it must hold the truth at least that often.
func TestForecastIntervalHoldsTheTruth(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(21, 22))
	const trials = 400
	held, bounded := 0, 0
	var width time.Duration
	for range trials {
		k, ambient := 0.4+0.6*rng.Float64(), units.Celsius(3+rng.NormFloat64()*0.5)
		r := newton(k, ambient, 5*time.Minute, 1.8)
		for i := range r {
			r[i].Temperature.Degrees += rng.NormFloat64() * 0.5
		}
		l := chill.FoodCode2022()
		l.Stages[1].To = units.InCelsius(10)
		f, err := chill.Forecast(r, 3, l)
		if err != nil {
			t.Fatal(err)
		}
		c := f.Crossings[1]
		truth := noon.Add(time.Duration(math.Log(float64(75-ambient)/float64(10-ambient)) / k * float64(time.Hour)))
		if c.Open || !c.Late.Before(truth) {
			if !c.Early.After(truth) {
				held++
			}
		}
		if !c.Open {
			bounded++
			width += c.Late.Sub(c.Early)
		}
	}
	if held < trials*95/100 {
		t.Errorf("held %d of %d", held, trials)
	}
	if bounded < trials/2 || width/time.Duration(bounded) > 3*time.Hour {
		t.Errorf("%d bounded, mean width %v: an interval that says nothing", bounded, width/time.Duration(max(1, bounded)))
	}
}

// A pan does not follow one exponential from the start; the interval must cover it.
func TestForecastOfAPanHoldsItsTruth(t *testing.T) {
	t.Parallel()
	m := solid(t, chill.Body{Shape: chill.Slab, Thickness: 0.06, Material: stock(), Film: 25, Start: 75, Surroundings: 1})
	truth, ok, err := chill.TimeTo(m, units.Fahrenheit(41).Celsius(), 24*time.Hour)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	var r []chill.Reading
	for d := time.Duration(0); d <= 80*time.Minute; d += 5 * time.Minute {
		s := m.State()
		r = append(r, chill.Reading{At: noon.Add(d), Temperature: units.InCelsius(float64(s.Core))})
		if _, err := m.Step(5 * time.Minute); err != nil {
			t.Fatal(err)
		}
	}
	f, err := chill.Forecast(r, 1, chill.FoodCode2022())
	if err != nil {
		t.Fatal(err)
	}
	if c := f.Crossings[1]; c.Early.After(noon.Add(truth)) || !c.Open && c.Late.Before(noon.Add(truth)) {
		t.Errorf("true %v, forecast %v to %v", truth, c.Early.Sub(noon), c.Late.Sub(noon))
	}
}

// The two-point check asks for 0.236 and 0.232 log10 F/h at 37 F (computed from the
// Food Code's limits).
func TestTwoPointRate(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ minutes, to, want float64 }{{120, 70, 0.236}, {360, 41, 0.232}} {
		r := fahrenheit(0, 135, c.minutes, c.to)
		got, err := chill.TwoPointRate(r[0], r[1], units.InFahrenheit(37))
		if err != nil || !scalar.EqualWithinAbs(got, c.want, 6e-4) {
			t.Errorf("%v, %v; want %v", got, err, c.want)
		}
	}
	r := fahrenheit(0, 135, 60, 36)
	if _, err := chill.TwoPointRate(r[0], r[1], units.InFahrenheit(37)); err == nil {
		t.Error("a reading below the air must be refused")
	}
}

func TestDeepestPan(t *testing.T) {
	t.Parallel()
	pan := chill.Pans{Area: 0.16, Material: stock(), Film: 25, Start: 85}
	l := chill.FoodCode2022()
	a, err := chill.DeepestPan(pan, 1, l)
	if err != nil || a.Margin < 0 || a.Value < 0.02 || a.Value > 0.12 {
		t.Fatalf("%+v, %v", a, err)
	}
	check := func(depth float64) time.Duration {
		pan.Count, pan.Depth = 1, units.Length(depth)
		c, err := chill.NewChiller(chill.Blast{Air: 1, Loads: []chill.Pans{pan}})
		if err != nil {
			t.Fatal(err)
		}
		_, margin, err := chill.Predict(c, l)
		if err != nil {
			t.Fatal(err)
		}
		return margin
	}
	if check(a.Value) < 0 || check(a.Value+1e-3) >= 0 {
		t.Errorf("at %.4f m margin %v, 1 mm deeper %v", a.Value, check(a.Value), check(a.Value+1e-3))
	}
	pan.OneFace = true
	one, err := chill.DeepestPan(pan, 1, l)
	if err != nil || one.Value >= a.Value {
		t.Errorf("one face %v, both %v, %v", one.Value, a.Value, err)
	}
	if _, err = chill.DeepestPan(pan, 6, l); err == nil {
		t.Error("air of 6 C meets no limit of 5 C")
	}
}

func TestIceNeeded(t *testing.T) {
	t.Parallel()
	bath := chill.Bath{Mass: 20, SpecificHeat: 4060, Coefficient: 400, Area: 0.35, Start: 85, Water: 10, WaterStart: 15}
	a, err := chill.IceNeeded(bath, chill.FoodCode2022())
	if err != nil || a.Margin < 0 {
		t.Fatalf("%+v, %v", a, err)
	}
	// Heat balance: never less than the ideal with melt and bath at 5 C.
	ideal := (20*4060*80.0 + 10*4190*10) / (333550 + 4190*5)
	if a.Value < ideal || a.Value > 1.5*ideal {
		t.Errorf("%.2f kg, ideal %.2f kg", a.Value, ideal)
	}
	bath.Coefficient = 5
	if _, err = chill.IceNeeded(bath, chill.FoodCode2022()); err == nil {
		t.Error("with a bad wall no ice helps")
	}
}

func TestLayerFactor(t *testing.T) {
	t.Parallel()
	// Ra by hand at 40 C, 5 cm, 5 K: beta 3.85e-4, nu 6.58e-7, alpha 1.53e-7 give 2.3e7 and
	// Nu 0.069·286·1.11 = 21.9 (property rounding 3 %).
	f, err := chill.LayerFactor(0.05, 5, 40)
	if err != nil || !scalar.EqualWithinRel(f, 21.9, 0.03) {
		t.Errorf("%v, %v", f, err)
	}
	if f, err = chill.LayerFactor(0.002, 0.1, 40); err != nil || f != 1 {
		t.Errorf("a thin layer does not convect: %v, %v", f, err)
	}
}

func TestShiftingAllTimesShiftsTheJudgement(t *testing.T) {
	t.Parallel()
	r := newton(0.5, 2, 7*time.Minute, 9)
	a := judge(t, chill.FoodCode2022(), r, chill.Options{})
	by := 1000 * time.Hour
	for i := range r {
		r[i].At = r[i].At.Add(by)
	}
	b := judge(t, chill.FoodCode2022(), r, chill.Options{})
	if a.Verdict != b.Verdict || !a.Finished.Add(by).Equal(b.Finished) || a.Stages[0].Elapsed != b.Stages[0].Elapsed {
		t.Errorf("%+v, %+v", a, b)
	}
}

// Any readings give a verdict or an error, never a panic; a pass has readings at every
// limit; a verdict is the heaviest of its stages.
func FuzzJudge(f *testing.F) {
	f.Add([]byte{0, 140, 5, 134, 30, 70, 100, 41}, uint8(0))
	f.Add([]byte{0, 70, 1, 150, 250, 41}, uint8(3))
	f.Fuzz(func(t *testing.T, data []byte, profile uint8) {
		l := []chill.Limits{chill.FoodCode2022(), chill.FoodCodeAmbient(), chill.FSISOption1(), chill.UKCookChill(), chill.FSANZ()}[profile%5]
		var r []chill.Reading
		minute := 0.0
		for i := 0; i+1 < len(data); i += 2 {
			minute += float64(data[i])
			r = append(r, at(minute, units.Temperature{Degrees: float64(data[i+1]), Scale: units.Scale(data[i] % 2)}))
		}
		ambient := units.Celsius(profile % 9)
		j, err := chill.Judge(l, r, chill.Options{Ambient: &ambient})
		if err != nil {
			return
		}
		worst := chill.Passed
		for _, s := range j.Stages {
			worst = max(worst, s.Verdict)
			if s.Verdict == chill.Passed && (s.Left.IsZero() || s.Entered.IsZero() || s.Elapsed > s.Stage.Within || s.Elapsed < 0) {
				t.Errorf("passed without proof: %+v", s)
			}
		}
		if worst != j.Verdict || j.Verdict == chill.Passed && j.Finished.IsZero() {
			t.Errorf("%+v", j)
		}
	})
}

func BenchmarkDeepestPan(b *testing.B) {
	pan := chill.Pans{Area: 0.16, Material: stock(), Film: 25, Start: 85}
	for b.Loop() {
		if _, err := chill.DeepestPan(pan, 1, chill.FoodCode2022()); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkJudgeDay(b *testing.B) {
	r := newton(0.4, 3, time.Minute, 24)
	l := chill.FoodCode2022()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := chill.Judge(l, r, chill.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
