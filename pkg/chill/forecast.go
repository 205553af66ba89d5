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

const (
	// probeSigma is the standard deviation of one reading, K: half the tolerance of Food
	// Code 4-203.11 (1 C).
	probeSigma = 0.5
	// rateSpread is the relative standard deviation, beyond that of the fit, of the rate
	// from the last reading on: food is not one exponential. Chosen so that the interval
	// holds about 19 of 20 crossings of this package's numerical models.
	rateSpread = 0.20
	// ambientSpread is how well surroundings are known that somebody states, K.
	ambientSpread = 1.0
	// most is the number of readings a fit uses; of longer series it takes as many,
	// evenly. Errors of one probe in one place are not independent anyway.
	most = 64
	// sigmas of the interval.
	sigmas = 2.0
	// usualGel is about where the gelatin of a good stock sets, C (from memory: 10 to 20).
	usualGel = 15.0
	// Once a still stock has set, what is left of a forecast takes up to gelSlowest times
	// and typically gelSlower times as long: its middle waits for conduction (chosen to
	// hold this package's own still pots that set).
	gelSlowest, gelSlower = 3.0, 1.6
)

// Forecast fits T - Ta = exp(a - k·t) to the newer half of the readings (at least
// four when there are as many), weighted by what an error of the probe means for the
// logarithm, and returns when the limits will be reached. Early and Late span: two
// standard errors of the fit and of a rate that changes by 20 % from the last reading
// on; the fit to all readings (a core that has only begun to move, or a stock that sets,
// does not follow one exponential); and surroundings 1 C warmer and colder. Cooling
// curves of food are straight in log(T - Ta) (Igo, Hedeen and Schaffner, J. Food
// Prot. 83 (2020): R² above 0.90 for nearly all typical ones). At least two readings
// above the ambient are needed.
func Forecast(readings []Reading, ambient units.Celsius, l Limits) (Projection, error) {
	var p Projection
	err := ForecastInto(&p, readings, ambient, l)
	return p, err
}

// ForecastInto is Forecast into a Projection whose slices are used again, so that a
// live display makes no garbage. On an error p is empty but for its slices.
func ForecastInto(p *Projection, readings []Reading, ambient units.Celsius, l Limits) error {
	*p = Projection{Crossings: p.Crossings[:0], Cautions: p.Cautions[:0]}
	if err := first(l.Check(), checkReadings(readings), foodTemperature("ambient temperature", ambient)); err != nil {
		return err
	}
	a := float64(ambient)
	return project(p, readings, l, a, a-ambientSpread, a+ambientSpread)
}

// project forecasts with surroundings between two bounds.
func project(p *Projection, readings []Reading, l Limits, ambient, cold, warm float64) error {
	readings, coldest := cooling(l, readings)
	f, err := fitAll(readings, ambient, cold, warm)
	if err != nil {
		return err
	}
	f.coldest = coldest
	p.Rate, p.RateError, p.Points = f.main.k*3600, math.Sqrt(f.main.kVar)*3600, f.points
	c := cautions{list: p.Cautions}
	c.add(CautionModel)
	if len(readings) < 4 {
		c.add(CautionFewPoints)
	}
	for i := range l.Stages {
		p.Crossings = append(p.Crossings, f.crossing(l.Stages[i].To, readings, &c))
		if to := float64(l.Stages[i].To.Celsius()); to < usualGel && f.now > usualGel {
			c.add(CautionGel)
		}
	}
	p.Cautions = c.list
	return nil
}

// cooling drops the time of hot holding: everything before the last reading not
// below the first From, or before the hottest reading while all are above it. It also
// tells the coldest of all readings.
func cooling(l Limits, readings []Reading) (kept []Reading, coldest units.Celsius) {
	start, hottest := 0, 0
	top := math.Inf(-1)
	from := l.Stages[0].From
	limit := from.Celsius()
	coldest = units.Celsius(math.Inf(1))
	for i := range readings {
		c := readings[i].Temperature.Celsius()
		coldest = min(coldest, c)
		// In the unit of the rule only where it can matter.
		if c > limit+closeTo || c > limit-closeTo && !below(readings[i], from) {
			start = i
		}
		if float64(c) >= top {
			hottest, top = i, float64(c)
		}
	}
	if start == len(readings)-1 {
		start = hottest
	}
	return readings[start:], coldest
}

// closeTo is more than the rounding of unit conversions and less than a probe shows, K.
const closeTo units.Celsius = 1e-6

// reached is firstAtOrBelow without stray readings; it takes one look at the coldest
// first.
func (f *fits) reached(readings []Reading, limit units.Temperature) int {
	if f.coldest > limit.Celsius()+closeTo {
		return -1
	}
	for i := range readings {
		if !above(readings[i], limit) && !stray(readings, i) {
			return i
		}
	}
	return -1
}

// points are readings as numbers: seconds after the last reading (so not above 0) and
// C.
type points struct {
	n    int
	t, c [most]float64
}

func (p *points) take(readings []Reading, last time.Time) {
	p.n = 0
	for i := range min(len(readings), most) {
		if len(readings) > most {
			i = i * (len(readings) - 1) / (most - 1)
		}
		if stray(readings, i) {
			continue
		}
		r := &readings[i]
		p.t[p.n], p.c[p.n] = r.At.Sub(last).Seconds(), float64(r.Temperature.Celsius())
		p.n++
	}
}

// stray tells a reading that differs from both of its neighbours, in the same
// direction, by more than food can: the probe was out of the food.
func stray(readings []Reading, i int) bool {
	if i == 0 || i == len(readings)-1 {
		return false
	}
	a, b, c := &readings[i-1], &readings[i], &readings[i+1]
	down := b.Temperature.Celsius() < a.Temperature.Celsius()
	return down == (b.Temperature.Celsius() < c.Temperature.Celsius()) && jump(*a, *b, 0) && jump(*b, *c, 0)
}

// fits are the fits that a forecast spans.
type fits struct {
	last   time.Time
	now    float64 // C at the last reading
	main   line
	others [3]line
	count  int
	points int
	// coldest of all readings, set by the caller.
	coldest units.Celsius
	gel     float64 // C below which the stock sets and stays still; minus infinity: never
}

func fitAll(readings []Reading, ambient, cold, warm float64) (fits, error) {
	end := readings[len(readings)-1]
	f := fits{last: end.At, now: float64(end.Temperature.Celsius()), gel: math.Inf(-1)}
	newer := readings[min(len(readings)/2, max(0, len(readings)-4)):]
	var p points
	p.take(newer, f.last)
	f.points = len(newer)
	ok := false
	if f.main, ok = p.fit(ambient); !ok {
		return fits{}, errNoFit
	}
	for _, a := range [2]float64{cold, warm} {
		if o, ok := p.fit(a); ok {
			f.others[f.count] = o
			f.count++
		}
	}
	if len(newer) < len(readings) {
		p.take(readings, f.last)
		if o, ok := p.fit(ambient); ok {
			f.others[f.count] = o
			f.count++
		}
	}
	return f, nil
}

func (f *fits) crossing(to units.Temperature, readings []Reading, c *cautions) Crossing {
	x := Crossing{Temperature: to}
	if i := f.reached(readings, to); i >= 0 {
		x.Reached = true
		x.Early, x.Likely, x.Late = readings[i].At, readings[i].At, readings[i].At
		return x
	}
	goal := float64(to.Celsius())
	likely, ok := f.main.when(goal, 0)
	if !ok {
		x.Never = true
		if goal <= f.main.ambient {
			c.add(CautionAmbient)
		}
		return x
	}
	early, late := likely, likely
	open := false
	widen := func(t float64, ok bool) {
		if !ok {
			open = true
			return
		}
		early, late = math.Min(early, t), math.Max(late, t)
	}
	if t, ok := f.main.when(goal, +sigmas); ok {
		early = math.Min(early, t)
	} else {
		early = 0
	}
	widen(f.main.when(goal, -sigmas))
	for i := range f.count {
		widen(f.others[i].when(goal, 0))
	}
	if goal < f.gel {
		set := f.sets()
		likely = set + max(0, likely-set)*gelSlower
		late = set + max(0, late-set)*gelSlowest
	}
	x.Open = open
	x.Early, x.Likely = f.at(early), f.at(likely)
	if !open {
		x.Late = f.at(late)
	}
	return x
}

// sets is when the stock sets, in seconds after the last reading; 0 when it has.
func (f *fits) sets() float64 {
	if f.now <= f.gel {
		return 0
	}
	t, ok := f.main.when(f.gel, 0)
	if !ok {
		return 0
	}
	return math.Max(0, t)
}

// at turns seconds after the last reading into a moment, not before that reading.
func (f *fits) at(seconds float64) time.Time {
	return f.last.Add(time.Duration(math.Max(0, seconds) * float64(time.Second)))
}

// line is ln(T - Ta) = a - k·(t - origin), t in s after the last reading, with the
// origin at the weighted mean time, where a and k are independent.
type line struct {
	ambient, origin  float64
	a, k, aVar, kVar float64
}

var errNoFit = errors.New("a forecast needs at least two readings above the surroundings, at different times")

// fit is weighted least squares in one pass.
func (p *points) fit(ambient float64) (line, bool) {
	var n int
	var sw, st, sy, stt, sty, syy float64
	for i := range p.n {
		d := p.c[i] - ambient
		if d <= 0.2 { // its logarithm says nothing within the probe's error
			continue
		}
		n++
		w := d * d / (probeSigma * probeSigma)
		t, y := p.t[i], math.Log(d)
		sw += w
		st += w * t
		sy += w * y
		stt += w * t * t
		sty += w * t * y
		syy += w * y * y
	}
	if n < 2 {
		return line{}, false
	}
	mt, my := st/sw, sy/sw
	vtt := stt - st*mt
	if vtt <= 1e-9*math.Max(1, stt) {
		return line{}, false
	}
	vty, vyy := sty-st*my, syy-sy*my
	f := line{ambient: ambient, origin: mt, a: my, k: -vty / vtt}
	// Scatter beyond the probe's own widens the errors; less does not narrow them.
	scatter := 1.0
	if n > 2 {
		scatter = math.Max(1, (vyy-vty*vty/vtt)/float64(n-2))
	}
	f.aVar, f.kVar = scatter/sw, scatter/vtt
	if math.IsNaN(f.k+f.kVar+f.a) || math.IsInf(f.k+f.kVar+f.a, 0) {
		return line{}, false
	}
	return f, true
}

// spread is the variance of the logarithm that the line predicts at t.
func (f *line) spread(t float64) float64 {
	d := t - f.origin
	v := f.aVar + f.kVar*d*d
	if t > 0 {
		v += rateSpread * rateSpread * f.k * f.k * t * t
	}
	return v
}

// when returns the seconds after the last reading at which the line, shifted by s
// standard deviations of its own prediction there (plus is faster), reaches a
// temperature.
func (f *line) when(goal, s float64) (float64, bool) {
	d := goal - f.ambient
	if d <= 0 || f.k <= 0 {
		return 0, false
	}
	// With u the time after the origin: b - k·u = s·sqrt(var a + var k·u² + e²·(u +
	// origin)²). Squared, both bounds are roots of one quadratic (Fieller); the sign of
	// b - k·u tells them apart.
	b := f.a - math.Log(d)
	if s == 0 {
		return within31Days(f.origin + b/f.k)
	}
	e2 := rateSpread * rateSpread * f.k * f.k
	s2 := s * s
	qa := f.k*f.k - s2*(f.kVar+e2)
	qb := -2*b*f.k - 2*s2*e2*f.origin
	qc := b*b - s2*(f.aVar+e2*f.origin*f.origin)
	disc := qb*qb - 4*qa*qc
	if disc < 0 || qa == 0 {
		return 0, false
	}
	r := math.Sqrt(disc)
	best, found := 0.0, false
	for _, u := range [2]float64{(-qb - r) / (2 * qa), (-qb + r) / (2 * qa)} {
		if left := b - f.k*u; s > 0 && left >= 0 || s < 0 && left <= 0 {
			if t := f.origin + u; !found || t < best {
				best, found = t, true
			}
		}
	}
	if !found {
		return 0, false
	}
	return within31Days(best)
}

// within31Days refuses times beyond a month: the fit says nothing about them.
func within31Days(seconds float64) (float64, bool) {
	return seconds, math.Abs(seconds) <= 31*86400
}

// TwoPointRate returns the cooling rate of the two-point check (Hedeen, Schaffner
// and Brown, J. Environ. Health 2022: [log(T1 - Tdf) - log(T2 - Tdf)]/dt, as read in its
// abstract at 2022.neha.org/node/62441; base 10 from memory): 1/h, Td the driving (air)
// temperature. The Food Code's first stage asks for 0.236, the whole for 0.232 at Td 37 F.
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
