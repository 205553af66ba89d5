package risk

import (
	"fmt"
	"math"
	"strings"

	"rondeau.internal/pkg/sched"
)

// Faults lists everything that is wrong with a Case or its Options, in plain words and by name.
type Faults []string

// Error joins all faults, one per line.
func (f Faults) Error() string {
	return fmt.Sprintf("the uncertain schedule has %d fault(s):\n%s", len(f), strings.Join(f, "\n"))
}

// Case is a plan with what is known about its durations.
type Case struct {
	// Instance and Plan belong together: every activity of one is in the other, in one of its modes. The plan should
	// pass verify.Check. One that does not (a running step is late) is still followed in its order.
	Instance sched.Instance
	Plan     sched.Plan
	// Spreads say which durations are uncertain, at most one per activity. All others are as planned.
	Spreads []Spread
	// Vessels and Orders are causes shared by all runs in a vessel and by all steps of an order.
	Vessels []Common
	Orders  []Common
}

// Spread is the uncertainty of one activity. The zero value of a part leaves it as planned.
type Spread struct {
	Activity string
	// Start, Middle and End are the phases of the mode. A phase without duration cannot have a distribution. For a
	// started activity only Middle is read; it applies to the time that remains after the start of the horizon.
	Start, Middle, End Phase
	// Yield multiplies the durations of all steps of the same order that follow this one over lags, holds and stores:
	// more liquid to reduce, more to portion.
	Yield Factor
	// IgnoreVessel and IgnoreOrder keep the common causes away from this activity.
	IgnoreVessel, IgnoreOrder bool
	// VesselPower is the exponent, 0 to 4, of the common causes of its vessels on this activity; zero means 1. A weak burner
	// makes the bring-up of a simmer longer, but not its hold.
	VesselPower float64
}

// Phase is the uncertainty of the duration of a phase: planned duration times Factor, plus the extras that happen. The
// result is rounded to whole units of time and is at least one.
type Phase struct {
	Factor Factor
	Extras []Extra
}

// Extra is a step that is sometimes needed: "the fat has not set, wait another 6 h".
type Extra struct {
	// Probability in [0, 1].
	Probability float64
	// Add >= 0, in units of time.
	Add int64
}

// Common is a cause shared by several activities: a weak burner slows every run in its vessel. It multiplies their
// middle phases (of an activity without a middle, its start) by a log-normal factor of median 1.
type Common struct {
	// Name of the vessel or order.
	Name string
	// Sigma is the standard deviation of the logarithm of the factor, 0 to 2.
	Sigma float64
}

// Shape is the kind of a Factor.
type Shape uint8

// The shapes.
const (
	ShapeNone      Shape = iota // the factor is 1
	ShapeLogNormal              // Median and Sigma
	ShapeQuantiles              // Points with ascending P from 0 to 1, the inverse distribution function is linear between
	ShapePoints                 // Points with P the probability of each value, summing to 1
)

// Factor is the distribution of a positive factor on a planned duration.
type Factor struct {
	Shape Shape
	// Median 0.01 to 100 and Sigma (standard deviation of the logarithm) 0 to 2, of ShapeLogNormal.
	Median, Sigma float64
	Points        []Point
}

// Point is a quantile or an outcome.
type Point struct {
	// P is the cumulative probability (ShapeQuantiles) or the probability of the value (ShapePoints).
	P float64
	// Value is the factor, 0.01 to 100.
	Value float64
}

const (
	leastFactor   = 0.01
	mostFactor    = 100.0
	mostSigma     = 2.0
	mostPower     = 4.0
	mostExtras    = 8
	longest       = sched.Forever / 16 // a drawn duration is at most this
	probTolerance = 1e-9               // by which probabilities may miss a sum of 1
)

// LogNormal is a factor whose logarithm is normal, given by its median and the standard deviation of the logarithm.
func LogNormal(median, sigma float64) Factor {
	return Factor{Shape: ShapeLogNormal, Median: median, Sigma: sigma}
}

// LogNormalInterval is the log-normal factor with the given central interval: it lies below low and above high with
// probability (1-coverage)/2 each. Forecasts with an interval become a spread by this.
func LogNormalInterval(low, high, coverage float64) (Factor, error) {
	if !(low >= leastFactor && high >= low && high <= mostFactor) {
		return Factor{}, fmt.Errorf("interval of a duration factor: %v to %v must be ascending and within %v and %v", low, high, leastFactor, mostFactor)
	}
	if !(coverage > 0 && coverage < 1) {
		return Factor{}, fmt.Errorf("interval of a duration factor: its coverage %v must lie between 0 and 1", coverage)
	}
	z := normalQuantile((1 + coverage) / 2)
	f := LogNormal(math.Sqrt(low*high), math.Log(high/low)/(2*z))
	if f.Sigma > mostSigma {
		return Factor{}, fmt.Errorf("interval of a duration factor: %v to %v is too wide for a coverage of %v", low, high, coverage)
	}
	return f, nil
}

// normalQuantile is the inverse of the standard normal distribution function, p in (0, 1).
func normalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// certain reports whether the factor is always 1.
func (f *Factor) certain() bool {
	return f.Shape == ShapeNone || f.Shape == ShapeLogNormal && f.Sigma == 0 && f.Median == 1
}

// at is the factor of cumulative probability u in (0, 1).
func (f *Factor) at(u float64) float64 {
	switch f.Shape {
	case ShapeLogNormal:
		return f.Median * math.Exp(f.Sigma*normalQuantile(u))
	case ShapeQuantiles:
		i := 1
		for i < len(f.Points)-1 && f.Points[i].P < u {
			i++
		}
		a, b := f.Points[i-1], f.Points[i]
		return a.Value + (b.Value-a.Value)*(u-a.P)/(b.P-a.P)
	case ShapePoints:
		for i := range f.Points {
			if u -= f.Points[i].P; u < 0 {
				return f.Points[i].Value
			}
		}
		for i := len(f.Points) - 1; i >= 0; i-- { // rounding left u at or above the sum
			if f.Points[i].P > 0 {
				return f.Points[i].Value
			}
		}
	}
	return 1
}

// check reports what is wrong with the factor.
func (f *Factor) check() error {
	switch f.Shape {
	case ShapeNone:
		return nil
	case ShapeLogNormal:
		if !(f.Median >= leastFactor && f.Median <= mostFactor) {
			return fmt.Errorf("its median %v must lie between %v and %v", f.Median, leastFactor, mostFactor)
		}
		if !(f.Sigma >= 0 && f.Sigma <= mostSigma) {
			return fmt.Errorf("its sigma %v must lie between 0 and %v", f.Sigma, mostSigma)
		}
		return nil
	case ShapeQuantiles, ShapePoints:
		return f.checkPoints()
	}
	return fmt.Errorf("its shape %d does not exist", f.Shape)
}

func (f *Factor) checkPoints() error {
	sum := 0.0
	for i, p := range f.Points {
		if !(p.Value >= leastFactor && p.Value <= mostFactor) {
			return fmt.Errorf("its value %v must lie between %v and %v", p.Value, leastFactor, mostFactor)
		}
		if !(p.P >= 0 && p.P <= 1) {
			return fmt.Errorf("its probability %v must lie between 0 and 1", p.P)
		}
		if f.Shape == ShapeQuantiles && i > 0 && (p.P <= f.Points[i-1].P || p.Value < f.Points[i-1].Value) {
			return fmt.Errorf("its quantiles must ascend: %v at %v follows %v at %v", p.Value, p.P, f.Points[i-1].Value, f.Points[i-1].P)
		}
		sum += p.P
	}
	switch n := len(f.Points); {
	case f.Shape == ShapeQuantiles && (n < 2 || f.Points[0].P != 0 || f.Points[n-1].P != 1):
		return fmt.Errorf("its quantiles must begin at probability 0 and end at 1; state the least and the greatest factor")
	case f.Shape == ShapePoints && math.Abs(sum-1) > probTolerance:
		return fmt.Errorf("its probabilities sum to %v, not to 1", sum)
	}
	return nil
}

// check reports what is wrong with a phase of planned duration d.
func (p *Phase) check(d int64) error {
	if err := p.Factor.check(); err != nil {
		return err
	}
	if len(p.Extras) > mostExtras {
		return fmt.Errorf("it has %d extras, at most %d are allowed", len(p.Extras), mostExtras)
	}
	for _, e := range p.Extras {
		if !(e.Probability >= 0 && e.Probability <= 1) {
			return fmt.Errorf("the probability %v of its extra must lie between 0 and 1", e.Probability)
		}
		if e.Add < 0 || e.Add > longest {
			return fmt.Errorf("its extra of %d must lie between 0 and %d", e.Add, longest)
		}
	}
	if d == 0 && !p.certain() {
		return fmt.Errorf("it has no duration in the planned mode; put the spread on a phase that has one")
	}
	return nil
}

func (p *Phase) certain() bool {
	if !p.Factor.certain() {
		return false
	}
	for _, e := range p.Extras {
		if e.Probability > 0 && e.Add > 0 {
			return false
		}
	}
	return true
}
