package microbe

import (
	"fmt"
	"math"

	"rondeau.internal/pkg/units"
)

// Form of a growth rate over temperature.
type Form uint8

const (
	// SquareRoot is the extended square-root form of Ratkowsky and others (1983):
	// mu = Scale·(T - Min)²·(1 - exp(Shape·(T - Max))).
	SquareRoot Form = iota + 1
	// Cardinal is the cardinal temperature form of Rosso, Lobry and Flandrois (1993):
	// mu = Peak·(T - Max)(T - Min)² / {(Opt - Min)·[(Opt - Min)(T - Opt) - (Opt - Max)(Opt + Min - 2T)]}.
	Cardinal
)

// String returns the name of the form.
func (f Form) String() string {
	switch f {
	case SquareRoot:
		return "square root"
	case Cardinal:
		return "cardinal"
	default:
		return "unknown form"
	}
}

// Curve is the specific growth rate mu over temperature for one food, in natural
// logarithms per hour. It is zero at and below Min, and at and above Max. It rises to
// Opt and falls behind it. A Curve is plain data and can be stored; take it from a
// RateModel, which fills the derived fields.
type Curve struct {
	Form Form
	// Min, Opt and Max are the cardinal temperatures, C.
	Min, Opt, Max float64
	// Peak is the rate at Opt, 1/h.
	Peak float64
	// Scale (1/h·K²), Shape (1/K) and 1/Shape (K) of the square-root form.
	Scale, Shape, Reach float64
	// AtMin and AtMax are the primitive at Min and Max; their difference is the
	// area below the curve, K/h.
	AtMin, AtMax float64
}

func squareRootCurve(scale, lowest, highest, shape float64) Curve {
	c := Curve{Form: SquareRoot, Min: lowest, Max: highest, Scale: scale, Shape: shape, Reach: 1 / shape}
	// The rate peaks where 2·(1 - e) = shape·(T - Min)·e; the left side falls and the
	// right side rises with T.
	low, high := lowest, highest
	for range 200 {
		mid := (low + high) / 2
		e := math.Exp(shape * (mid - highest))
		if 2*(1-e) > shape*(mid-lowest)*e {
			low = mid
		} else {
			high = mid
		}
	}
	c.Opt = (low + high) / 2
	c.Peak = c.Rate(units.Celsius(c.Opt))
	c.AtMin, c.AtMax = c.inner(lowest), c.inner(highest)
	return c
}

func cardinalCurve(lowest, optimum, highest, peak float64) (Curve, error) {
	c := Curve{Form: Cardinal, Min: lowest, Opt: optimum, Max: highest, Peak: peak}
	slope, root := c.denominator()
	if math.Abs(slope) < 1e-3*(highest-lowest) || root >= lowest && root <= highest {
		return Curve{}, fmt.Errorf("cardinal temperatures %g, %g and %g C do not give a curve with one peak: the optimum must lie in the upper half, and not at (Tmin + 2·Tmax)/3", lowest, optimum, highest)
	}
	c.AtMin, c.AtMax = c.inner(lowest), c.inner(highest)
	return c, nil
}

// denominator of the cardinal form: slope·(T - root).
func (c *Curve) denominator() (slope, root float64) {
	slope = 3*c.Opt - c.Min - 2*c.Max
	return slope, (c.Opt*(c.Opt-c.Min) + (c.Opt-c.Max)*(c.Opt+c.Min)) / slope
}

// Rate returns mu at a temperature, 1/h.
func (c *Curve) Rate(t units.Celsius) float64 {
	at := float64(t)
	if !(at > c.Min && at < c.Max) {
		return 0
	}
	x := at - c.Min
	if c.Form == SquareRoot {
		return c.Scale * x * x * -math.Expm1(c.Shape*(at-c.Max))
	}
	span := c.Opt - c.Min
	return c.Peak * (at - c.Max) * x * x / (span * (span*(at-c.Opt) - (c.Opt-c.Max)*(c.Opt+c.Min-2*at)))
}

// Primitive returns the integral of mu over temperature from Min, K/h. Over a straight
// piece of a temperature history from T1 to T2 that lasts dt, the integral of mu over
// time is exactly dt·(Primitive(T2) - Primitive(T1))/(T2 - T1), also across Min and Max.
func (c *Curve) Primitive(t units.Celsius) float64 {
	at := float64(t)
	switch {
	case !(at > c.Min):
		return 0
	case at >= c.Max:
		return c.AtMax - c.AtMin
	default:
		return c.inner(at) - c.AtMin
	}
}

// inner is the primitive up to a constant, inside Min to Max.
func (c *Curve) inner(at float64) float64 {
	if c.Form == SquareRoot {
		x, k := at-c.Min, c.Reach
		return c.Scale * (x*x*x*(1.0/3) - math.Exp(c.Shape*(at-c.Max))*k*(x*x-2*k*(x-k)))
	}
	slope, root := c.denominator()
	u, p, q := at-root, c.Max-root, c.Min-root
	return c.Peak / ((c.Opt - c.Min) * slope) *
		(u*u*u/3 - (p+2*q)*u*u/2 + (2*p*q+q*q)*u - p*q*q*math.Log(math.Abs(u)))
}

// cautiousRate is the largest rate within a tolerance of any temperature of a range.
func (c *Curve) cautiousRate(low, high, tolerance float64) float64 {
	return c.Rate(units.Celsius(min(max(c.Opt, low-tolerance), high+tolerance)))
}

// cautiousPrimitive integrates, over temperature, the largest rate within a tolerance
// of each temperature: the curve moved down the scale below the optimum, flat around it,
// and moved up the scale above it.
func (c *Curve) cautiousPrimitive(at, tolerance float64) float64 {
	switch {
	case tolerance == 0:
		return c.Primitive(units.Celsius(at))
	case at <= c.Opt-tolerance:
		return c.Primitive(units.Celsius(at + tolerance))
	case at < c.Opt+tolerance:
		return c.Primitive(units.Celsius(c.Opt)) + c.Peak*(at-c.Opt+tolerance)
	default:
		return c.Primitive(units.Celsius(at-tolerance)) + 2*tolerance*c.Peak
	}
}

// flat is the change of temperature, K, below which the difference of two primitives
// is replaced by the rate in the middle: the relative error of both is then below 1e-8.
const flat = 1e-3

// Accumulation is the state of the primary model of Baranyi and Roberts (1994) on the
// way through a temperature history. With constant coefficients but for mu(t) it has
// an exact solution in the integral of mu over time, which is Work:
//
//	Q(t)  = q0·exp(Work), q0 = 1/(exp(H0) - 1)
//	A     = ln[(1 + Q)/(1 + q0)]
//	y - y0 = A - ln[1 + (exp(A) - 1)/exp(ymax - y0)]
//
// with y the natural logarithm of the number per gram.
type Accumulation struct {
	Curve Curve
	// Tolerance, K, within which the temperature that grows most is taken.
	Tolerance float64
	// H0 is the work that must be done before growth starts (lag times rate).
	H0 float64
	// Room is ymax - y0, natural logarithm.
	Room float64
	// Work is the integral of mu over time.
	Work float64
	// Last is the primitive at the last temperature.
	Last float64
}

// begin sets the temperature without any time passing.
func (a *Accumulation) begin(at float64) { a.Last = a.Curve.cautiousPrimitive(at, a.Tolerance) }

// straight adds a piece with the temperature going straight from one value to another.
func (a *Accumulation) straight(from, to, hours float64) {
	next := a.Curve.cautiousPrimitive(to, a.Tolerance)
	if d := to - from; d > flat || d < -flat {
		a.Work += max(0, hours*(next-a.Last)/d)
	} else {
		mid := (from + to) / 2
		a.Work += hours * a.Curve.cautiousRate(mid, mid, a.Tolerance)
	}
	a.Last = next
}

// held adds a piece during which the temperature is anywhere between two values: the
// one that grows most, all the time.
func (a *Accumulation) held(from, to, hours float64) {
	a.Work += hours * a.Curve.cautiousRate(min(from, to), max(from, to), a.Tolerance)
	a.begin(to)
}

// Growth returns the increase in log10 per gram.
func (a *Accumulation) Growth() float64 { return primary(a.Work, a.H0, a.Room) / math.Ln10 }

// Adjusted returns the share of the adjustment that is done, Q/(1 + Q): near 0 in the
// lag, near 1 in full growth.
func (a *Accumulation) Adjusted() float64 {
	if a.H0 <= 0 {
		return 1
	}
	return 1 / (1 + math.Expm1(a.H0)*math.Exp(-a.Work))
}

// primary solves the Baranyi model: the increase of ln N after the work, with the lag
// h0 and the room up to the ceiling. Each branch is stable where it is used.
func primary(work, h0, room float64) float64 {
	if work <= 0 || room <= 0 {
		return 0
	}
	var grown float64
	if work < h0+1 {
		grown = math.Log1p(math.Exp(-h0) * math.Expm1(work))
	} else {
		grown = work - h0 + math.Log1p(-math.Expm1(-h0)*math.Exp(h0-work))
	}
	if grown < room {
		return grown - math.Log1p(math.Expm1(grown)*math.Exp(-room))
	}
	return room - math.Log1p(math.Exp(room-grown)-math.Exp(-grown))
}
