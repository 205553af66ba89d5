package chill_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/units"
)

func foresee(t *testing.T, r []chill.Reading, o chill.Options) chill.Outlook {
	t.Helper()
	return ok[chill.Outlook](t)(chill.Foresee(chill.FoodCode2022(), r, o))
}

func TestForesee(t *testing.T) {
	t.Parallel()
	ambient := units.Celsius(2)
	// 75 C and 0.65 1/h: 57.2 C after 0.43 h, 21.1 C after 2.06 h, 5 C after 4.9 h.
	v := foresee(t, newton(0.65, 2, 5*time.Minute, 1.2), chill.Options{Ambient: &ambient})
	s := v.Stages[0]
	if s.Entered != noon.Add(25*time.Minute) || s.Deadline != s.Entered.Add(2*time.Hour) || s.AtRisk || s.Chance < 0.9 {
		t.Errorf("%+v", s)
	}
	if s.Margin != s.Deadline.Sub(s.Likely) || s.LeastMargin != s.Deadline.Sub(s.Late) || s.Late.Before(s.Likely) || s.Early.After(s.Likely) {
		t.Errorf("%+v", s)
	}
	if v.Estimated || !slices.Contains(v.Cautions, chill.CautionSafety) || !slices.Contains(v.Cautions, chill.CautionGel) {
		t.Errorf("%+v", v)
	}
	// Too slow: at risk while there is still time to act, and surely so.
	v = foresee(t, newton(0.3, 2, 5*time.Minute, 2), chill.Options{Ambient: &ambient})
	if s := v.Stages[0]; !s.AtRisk || s.Chance > 0.02 || s.Margin > 0 || !s.Deadline.After(noon.Add(2*time.Hour)) {
		t.Errorf("%+v", s)
	}
	// Still hot: the clock has not started, the deadline is counted from when it will.
	v = foresee(t, newton(0.65, 2, 2*time.Minute, 0.3), chill.Options{Ambient: &ambient})
	if s := v.Stages[0]; !s.Entered.IsZero() || s.Deadline.Sub(noon) < 140*time.Minute || s.Deadline.Sub(noon) > 150*time.Minute || s.Chance < 0.5 {
		t.Errorf("%+v", s)
	}
	// Reached.
	v = foresee(t, newton(0.9, 2, 5*time.Minute, 2), chill.Options{Ambient: &ambient})
	if s := v.Stages[0]; !s.Reached || s.Chance != 1 || s.Margin <= 0 {
		t.Errorf("%+v", s)
	}
	// Surroundings too warm for the last limit.
	warm := units.Celsius(6)
	v = foresee(t, newton(0.9, 6, 5*time.Minute, 1), chill.Options{Ambient: &warm})
	if s := v.Stages[1]; !s.Never || !s.AtRisk || s.Chance != 0 {
		t.Errorf("%+v", s)
	}
	// A still stock that sets takes longer.
	gel := units.Celsius(15)
	r := newton(0.65, 2, 5*time.Minute, 1.2)
	still, liquid := foresee(t, r, chill.Options{Ambient: &ambient, GelBelow: &gel}).Stages[1], foresee(t, r, chill.Options{Ambient: &ambient}).Stages[1]
	if !still.Likely.After(liquid.Likely) || !still.Late.After(liquid.Late) || still.Chance > liquid.Chance {
		t.Errorf("still %+v, liquid %+v", still, liquid)
	}
}

// A probe that was out of the food for one reading changes nothing.
func TestForeseeIgnoresStrayReadings(t *testing.T) {
	t.Parallel()
	ambient := units.Celsius(2)
	r := newton(0.65, 2, 2*time.Minute, 1.2)
	clean := foresee(t, r, chill.Options{Ambient: &ambient})
	r[len(r)-5].Temperature = units.InCelsius(1)
	if v := foresee(t, r, chill.Options{Ambient: &ambient}); v.Stages[0].Reached || v.Stages[0].Likely.Sub(clean.Stages[0].Likely).Abs() > time.Second {
		t.Errorf("%+v, without the stray reading %+v", v.Stages[0], clean.Stages[0])
	}
}

// The forecast does not depend on the day or on the scale that a probe shows.
func TestForeseeMovesWithTheReadings(t *testing.T) {
	t.Parallel()
	ambient := units.Celsius(2)
	r := newton(0.65, 2, 5*time.Minute, 1.2)
	a := foresee(t, r, chill.Options{Ambient: &ambient})
	const later = 1000 * time.Hour
	for i := range r {
		r[i].At = r[i].At.Add(later)
		r[i].Temperature = r[i].Temperature.In(units.ScaleFahrenheit)
	}
	b := foresee(t, r, chill.Options{Ambient: &ambient})
	for i := range a.Stages {
		x, y := a.Stages[i], b.Stages[i]
		if d := y.Likely.Sub(x.Likely) - later; d.Abs() > time.Millisecond || math.Abs(x.Chance-y.Chance) > 1e-9 || y.Deadline.Sub(x.Deadline) != later {
			t.Errorf("%+v\n%+v", x, y)
		}
	}
}

func TestReachesBy(t *testing.T) {
	t.Parallel()
	r := newton(0.65, 2, 5*time.Minute, 1.2)
	last := -1.0
	for m := 60.0; m < 300; m += 5 {
		p := ok[float64](t)(chill.ReachesBy(r, 2, 21.1, noon.Add(time.Duration(m*float64(time.Minute)))))
		if p < last || p < 0 || p > 1 {
			t.Fatalf("chance falls from %v to %v at %v min", last, p, m)
		}
		last = p
	}
	if last < 0.999 {
		t.Errorf("chance at the end %v", last)
	}
}

// Surroundings estimated from readings of one exponential: the interval holds the truth
// about 19 times in 20, and too short series say that they do not tell.
func TestEstimateSurroundings(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(8, 8))
	held, all, unknown := 0, 0, 0
	for range 400 {
		k, ambient := uniform(r, 0.3, 2), units.Celsius(uniform(r, -10, 10))
		readings := newton(k, ambient, 4*time.Minute, uniform(r, 0.3, 3.5)/k)
		for i := range readings {
			readings[i].Temperature.Degrees += 0.3 * r.NormFloat64()
		}
		s, err := chill.EstimateSurroundings(readings)
		if err != nil {
			unknown++
			continue
		}
		all++
		if s.Low <= ambient && ambient <= s.High {
			held++
		}
		if s.Low > s.Likely || s.Likely > s.High || s.High-s.Low > 12 {
			t.Fatalf("%+v", s)
		}
	}
	share := float64(held) / float64(all)
	t.Logf("%d estimates, %d say too little, %.1f %% held", all, unknown, 100*share)
	if share < 0.9 || all < 100 || unknown < 50 {
		t.Errorf("%d estimates, %d say too little, %.1f %% held", all, unknown, 100*share)
	}
	// A forecast by them is no narrower than with the truth stated.
	readings := newton(0.8, 1, 4*time.Minute, 2.5)
	truth := units.Celsius(1)
	a, b := foresee(t, readings, chill.Options{}), foresee(t, readings, chill.Options{Ambient: &truth})
	if !a.Estimated || !slices.Contains(a.Cautions, chill.CautionEstimatedAmbient) || math.Abs(float64(a.Surroundings.Likely-1)) > 0.5 {
		t.Errorf("%+v", a)
	}
	if d := a.Stages[1].Likely.Sub(b.Stages[1].Likely).Abs(); d > 10*time.Minute {
		t.Errorf("by estimate %v later than by the truth", d)
	}
}

// A plate cooler or ice as an ingredient cools faster than a probe is believed to: at
// risk until the means is named or a reading by hand confirms it, and then passed. A
// probe that hangs in cold air stays at risk, however long.
func TestVeryFastCooling(t *testing.T) {
	t.Parallel()
	f := units.InFahrenheit
	series := []chill.Reading{at(0, f(180)), at(1, f(178)), at(2, f(38))}
	for m := 3.0; m < 60; m++ {
		series = append(series, at(m, f(38)))
	}
	j := judge(t, chill.FoodCode2022(), series, chill.Options{})
	if j.Verdict != chill.AtRisk || !j.Stages[1].Unconfirmed || j.Stages[1].Proven || !slices.Contains(j.Cautions, chill.CautionJump) {
		t.Errorf("a probe in cold air for an hour: %+v", j)
	}
	if j = judge(t, chill.FoodCode2022(), series, chill.Options{Fastest: 200}); j.Verdict != chill.Passed || slices.Contains(j.Cautions, chill.CautionJump) {
		t.Errorf("a plate cooler: %+v", j)
	}
	hand := slices.Clone(series)
	hand[20].ByHand = true
	j = judge(t, chill.FoodCode2022(), hand, chill.Options{})
	if j.Verdict != chill.Passed || j.Stages[1].Unconfirmed || j.Stages[1].Left != noon.Add(20*time.Minute) || !slices.Contains(j.Cautions, chill.CautionJump) {
		t.Errorf("confirmed by hand after 20 min: %+v", j)
	}
	// The thermometer finds the food warm: the chill was not over, and nothing confirms it.
	hand[20].Temperature = f(120)
	if j = judge(t, chill.FoodCode2022(), hand, chill.Options{}); j.Stages[0].Verdict == chill.Passed {
		t.Errorf("found at 120 F by hand: %+v", j)
	}
	// Confirmed too late is late.
	late := []chill.Reading{at(0, f(180)), at(1, f(178)), at(2, f(38)), {At: noon.Add(7 * time.Hour), Temperature: f(38), ByHand: true}}
	if j = judge(t, chill.FoodCode2022(), late, chill.Options{MaxGap: 8 * time.Hour}); j.Verdict != chill.Failed || j.Stages[1].Proven {
		t.Errorf("confirmed after seven hours: %+v", j)
	}
	if _, err := chill.Judge(chill.FoodCode2022(), series, chill.Options{Fastest: math.NaN()}); err == nil {
		t.Error("a NaN for the fastest cooling was taken")
	}
}

// Live displays make no garbage, nor do the inner loops of the models.
func TestNoAllocations(t *testing.T) {
	ambient := units.Celsius(3)
	readings := newton(0.5, 3, 2*time.Minute, 2)
	l := chill.FoodCode2022()
	o := chill.Options{Ambient: &ambient}
	var p chill.Projection
	var v chill.Outlook
	steps := map[string]chill.Model{
		"pot":     pot(t, stillPot(t, 20, 80)),
		"chiller": ok[*chill.Chiller](t)(chill.NewChiller(chill.Blast{Air: 0, Power: 1000, Loads: []chill.Pans{{Count: 9, Depth: 0.05, Area: 0.16, Material: stock(), Film: 25, Start: 85}}})),
		"room":    room(t, walkIn(pot(t, stillPot(t, 20, 80)))),
	}
	set := stillPot(t, 20, 80)
	set.GelBelow = 150
	steps["set pot"] = pot(t, set)
	steps["fat cap"] = ok[*chill.FatCap](t)(chill.NewFatCap(chill.FatLayer{Fat: chill.Lard, Thickness: 0.01, Air: 3}, pot(t, set)))
	for name, m := range steps {
		if n := testing.AllocsPerRun(20, func() {
			if _, err := m.Step(30 * time.Second); err != nil {
				t.Fatal(err)
			}
		}); n != 0 {
			t.Errorf("a step of the %s makes %v allocations", name, n)
		}
	}
	for name, f := range map[string]func() error{
		"ForecastInto": func() error { return chill.ForecastInto(&p, readings, ambient, l) },
		"ForeseeInto":  func() error { return chill.ForeseeInto(&v, l, readings, o) },
	} {
		if n := testing.AllocsPerRun(50, func() {
			if err := f(); err != nil {
				t.Fatal(err)
			}
		}); n != 0 {
			t.Errorf("%s makes %v allocations", name, n)
		}
	}
}

func BenchmarkForecast(b *testing.B) {
	ambient := units.Celsius(3)
	l := chill.FoodCode2022()
	for name, r := range map[string][]chill.Reading{"30 readings": newton(1.2, 3, 4*time.Minute, 2), "720 readings": newton(1.2, 3, 10*time.Second, 2)} {
		b.Run("into/"+name, func(b *testing.B) {
			var p chill.Projection
			b.ReportAllocs()
			for b.Loop() {
				if err := chill.ForecastInto(&p, r, ambient, l); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run("foresee/"+name, func(b *testing.B) {
			var v chill.Outlook
			o := chill.Options{Ambient: &ambient}
			b.ReportAllocs()
			for b.Loop() {
				if err := chill.ForeseeInto(&v, l, r, o); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run("estimated/"+name, func(b *testing.B) {
			var v chill.Outlook
			b.ReportAllocs()
			for b.Loop() {
				if err := chill.ForeseeInto(&v, l, r, chill.Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkRoomHour(b *testing.B) {
	d, err := chill.CylinderPot(0.4, 0.4, 1000)
	if err != nil {
		b.Fatal(err)
	}
	d.Start, d.Air = 85, 3
	p, err := chill.NewPot(d)
	if err != nil {
		b.Fatal(err)
	}
	m, err := chill.NewRoom(walkIn(p, p))
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := m.Step(time.Hour); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMostPans(b *testing.B) {
	pan := chill.Pans{Count: 1, Depth: 0.05, Area: 0.16, Material: stock(), Film: 25, Start: 85}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := chill.MostPans(chill.Blast{Air: -5, Power: 6000}, pan, chill.FoodCode2022()); err != nil {
			b.Fatal(err)
		}
	}
}
