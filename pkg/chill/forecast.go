package chill

import (
	"errors"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Crossing is the forecast of one limit temperature.
type Crossing struct {
	Temperature units.Temperature
	// Reached: a reading is at or below it; Likely is then that reading's time.
	Reached bool
	// Never: the surroundings are too warm, or the food does not cool.
	Never bool
	// Likely, and the interval meant to hold it in about 19 of 20 cases. Open means
	// that Late has no bound.
	Early, Likely, Late time.Time
	Open                bool
}

// Projection is the forecast of the rest of a cooling.
type Projection struct {
	// Crossings in the order of the stages of the limits.
	Crossings []Crossing
	// Rate of Newton cooling in 1/h and its standard error.
	Rate, RateError float64
	// Points of the fit.
	Points   int
	Cautions []string
}

// probeSigma is the standard deviation of one reading, K: half the tolerance of
// Food Code 4-203.11 (1 C).
const probeSigma = 0.5

// Forecast fits T - Ta = exp(a - k·t) to the newer half of the readings (at least
// four when there are as many), weighted by what an error of the probe means for the
// logarithm, and returns when the limits will be reached. Early and Late span: two
// standard errors of the fit; the fit to all readings (a core that has only begun to
// move, or a stock that sets, does not follow one exponential); and surroundings 1 C
// warmer and colder. Cooling curves of food are straight in log(T - Ta) (Igo, Hedeen
// and Schaffner). At least two readings above the ambient are needed.
func Forecast(readings []Reading, ambient units.Celsius, l Limits) (Projection, error) {
	if err := first(l.Check(), checkReadings(readings), foodTemperature("ambient temperature", ambient)); err != nil {
		return Projection{}, err
	}
	readings = cooling(l, readings)
	newer := readings[min(len(readings)/2, max(0, len(readings)-4)):]
	main, err := fitLine(newer, ambient)
	if err != nil {
		return Projection{}, err
	}
	p := Projection{Rate: main.k * 3600, RateError: main.kError * 3600, Points: len(newer)}
	c := newCautions()
	c.add(CautionModel)
	if len(readings) < 4 {
		c.add(CautionFewPoints)
	}
	others := make([]line, 0, 3)
	for _, o := range []struct {
		r []Reading
		a units.Celsius
	}{{readings, ambient}, {newer, ambient - 1}, {newer, ambient + 1}} {
		if f, err := fitLine(o.r, o.a); err == nil {
			others = append(others, f)
		}
	}
	for _, s := range l.Stages {
		p.Crossings = append(p.Crossings, crossing(s.To, readings, main, others, c))
	}
	p.Cautions = c.list
	return p, nil
}

// cooling drops the time of hot holding: everything before the last reading not
// below the first From, or before the hottest reading while all are above it.
func cooling(l Limits, readings []Reading) []Reading {
	start, hottest := 0, 0
	for i, r := range readings {
		if !below(r, l.Stages[0].From) {
			start = i
		}
		if r.Temperature.Celsius() >= readings[hottest].Temperature.Celsius() {
			hottest = i
		}
	}
	if start == len(readings)-1 {
		start = hottest
	}
	return readings[start:]
}

func crossing(to units.Temperature, readings []Reading, main line, others []line, c *cautions) Crossing {
	x := Crossing{Temperature: to}
	if i := firstAtOrBelow(readings, to); i >= 0 {
		x.Reached = true
		x.Early, x.Likely, x.Late = readings[i].At, readings[i].At, readings[i].At
		return x
	}
	last := readings[len(readings)-1].At
	likely, ok := main.when(to.Celsius(), 0)
	if !ok {
		x.Never = true
		if to.Celsius() <= main.ambient {
			c.add(CautionAmbient)
		}
		return x
	}
	x.Likely = later(likely, last)
	x.Early, x.Late = x.Likely, x.Likely
	widen := func(t time.Time, ok bool) {
		if !ok {
			x.Open = true
			return
		}
		t = later(t, last)
		if t.Before(x.Early) {
			x.Early = t
		}
		if t.After(x.Late) {
			x.Late = t
		}
	}
	widen(main.when(to.Celsius(), +2))
	widen(main.when(to.Celsius(), -2))
	for _, o := range others {
		widen(o.when(to.Celsius(), 0))
	}
	if x.Open {
		x.Late = time.Time{}
	}
	return x
}

func later(a, b time.Time) time.Time {
	if a.Before(b) {
		return b
	}
	return a
}

// line is ln(T - Ta) = a - k·(t - origin), t in s, with the origin at the weighted
// mean time, where a and k are independent.
type line struct {
	origin         time.Time
	ambient        units.Celsius
	a, k           float64
	aError, kError float64
}

var errNoFit = errors.New("a forecast needs at least two readings above the surroundings, at different times")

func fitLine(readings []Reading, ambient units.Celsius) (line, error) {
	zero := readings[0].At
	var n int
	var sw, st, sy, stt, sty float64
	each := func(f func(w, t, y float64)) {
		for _, r := range readings {
			d := float64(r.Temperature.Celsius() - ambient)
			if d <= 0.2 { // its logarithm says nothing within the probe's error
				continue
			}
			s := probeSigma / d
			f(1/(s*s), r.At.Sub(zero).Seconds(), math.Log(d))
		}
	}
	each(func(w, t, y float64) {
		n++
		sw += w
		st += w * t
		sy += w * y
	})
	if n < 2 {
		return line{}, errNoFit
	}
	mt, my := st/sw, sy/sw
	each(func(w, t, y float64) {
		stt += w * (t - mt) * (t - mt)
		sty += w * (t - mt) * (y - my)
	})
	if stt <= 0 {
		return line{}, errNoFit
	}
	k := -sty / stt
	chi := 0.0
	each(func(w, t, y float64) {
		e := y - my + k*(t-mt)
		chi += w * e * e
	})
	// Scatter beyond the probe's own widens the errors; less does not narrow them.
	scatter := 1.0
	if n > 2 {
		scatter = math.Max(1, chi/float64(n-2))
	}
	f := line{
		origin: zero.Add(time.Duration(mt * float64(time.Second))), ambient: ambient, a: my, k: k,
		aError: math.Sqrt(scatter / sw), kError: math.Sqrt(scatter / stt),
	}
	if math.IsNaN(f.k) || math.IsInf(f.k, 0) || math.IsNaN(f.kError) || math.IsInf(f.kError, 0) {
		return line{}, errNoFit
	}
	return f, nil
}

// when returns the time at which the line reaches a temperature, with the line
// shifted by s standard errors of its prediction there (plus is faster).
func (f line) when(to units.Celsius, s float64) (time.Time, bool) {
	d := float64(to - f.ambient)
	if d <= 0 {
		return time.Time{}, false
	}
	// Solve a - s·sqrt(ea² + ek²·t²) - k·t = ln d for t by fixed sign: the two bounds
	// are the roots of a quadratic (Fieller).
	b := f.a - math.Log(d)
	if s == 0 {
		if f.k <= 0 {
			return time.Time{}, false
		}
		return f.after(b / f.k)
	}
	qa := f.k*f.k - s*s*f.kError*f.kError
	qb := -2 * b * f.k
	qc := b*b - s*s*f.aError*f.aError
	disc := qb*qb - 4*qa*qc
	if qa <= 0 || f.k <= 0 || disc < 0 {
		return time.Time{}, false
	}
	r := math.Sqrt(disc)
	if s > 0 {
		return f.after((-qb - r) / (2 * qa))
	}
	return f.after((-qb + r) / (2 * qa))
}

// after refuses times beyond a month: the fit says nothing about them.
func (f line) after(seconds float64) (time.Time, bool) {
	if math.IsNaN(seconds) || math.Abs(seconds) > 31*86400 {
		return time.Time{}, false
	}
	return f.origin.Add(time.Duration(seconds * float64(time.Second))), true
}

// TwoPointRate returns the cooling rate of the two-point check (Hedeen, Schaffner
// and Brown; exact form from memory): [log10(T1 - Td) - log10(T2 - Td)]/dt in 1/h, Td
// the driving (air) temperature. The Food Code's first stage asks for 0.236, the whole
// for 0.232 at Td 37 F.
func TwoPointRate(a, b Reading, drive units.Temperature) (float64, error) {
	if err := first(checkReadings([]Reading{a, b}), drive.Check()); err != nil {
		return 0, err
	}
	// Differences in degrees of one scale: their ratio does not depend on it.
	d := drive.Degrees
	hi, lo := a.Temperature.In(drive.Scale).Degrees-d, b.Temperature.In(drive.Scale).Degrees-d
	h := b.At.Sub(a.At).Hours()
	if hi <= 0 || lo <= 0 {
		return 0, errors.New("both readings must be warmer than the driving temperature")
	}
	if h <= 0 {
		return 0, errors.New("the second reading must be later than the first")
	}
	return (math.Log10(hi) - math.Log10(lo)) / h, nil
}
