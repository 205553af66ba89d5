package simmer

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Belief is what is known of a vessel's factor: a log-normal distribution. Below the
// boil the factor multiplies Conditions.Activity, at the boil Vessel.Efficiency: the
// one number that decides how fast the vessel reduces. The zero value stands for
// Uninformed.
type Belief struct {
	// Log is the mean of ln(factor), Spread its standard deviation, 0.005 to 1.5.
	Log, Spread float64
}

// Uninformed is the belief about a vessel nobody has measured: the model may be off by
// a factor of two either way (two standard deviations).
func Uninformed() Belief { return Belief{Log: 0, Spread: math.Ln2 / 2} }

func (b Belief) normal() (Belief, error) {
	if b == (Belief{}) {
		b = Uninformed()
	}
	return b, errors.Join(
		within("log factor", b.Log, -2, 2, ""),
		within("spread of the log factor", b.Spread, 0.005, 1.5, ""),
	)
}

// Factor returns the median factor.
func (b Belief) Factor() float64 { return math.Exp(b.Log) }

// Observation of a reduction under way. Give one of Volume, Mass or Solids.
type Observation struct {
	Elapsed time.Duration
	Volume  units.Volume // of the liquid, hot
	Mass    units.Mass   // of the liquid
	Solids  float64      // mass fraction (Brix/100)
	// Sigma is the standard error of the value in its SI unit; 0 means 2 % of the
	// volume at the start, 0.5 % of the mass at the start, 0.005 of solids.
	Sigma float64
}

// grid points of the posterior, over four prior spreads on both sides.
const gridPoints = 65

// Learn returns the belief about a vessel after observations of one reduction: the
// posterior on a grid of the factor, each point run through the model, with normal
// errors. Keep it per vessel and give it as the prior next time. It is an error when
// the observations lie outside what the prior can explain.
func Learn(v Vessel, l Load, d Duty, c Conditions, seen []Observation, prior Belief) (Belief, error) {
	prior, err := prior.normal()
	if err != nil {
		return Belief{}, err
	}
	base, err := NewKettle(v, l, d, c)
	if err != nil {
		return Belief{}, err
	}
	obs, err := checkObservations(seen, base.State())
	if err != nil {
		return Belief{}, err
	}
	var logs, post [gridPoints]float64
	best := math.Inf(-1)
	low, high := -1, -1 // first and last possible points
	for i := range gridPoints {
		x := 8*float64(i)/(gridPoints-1) - 4
		logs[i] = prior.Log + x*prior.Spread
		post[i] = math.Inf(-1)
		k, ok := withFactor(v, l, d, c, math.Exp(logs[i]))
		if !ok {
			continue
		}
		if high = i; low < 0 {
			low = i
		}
		post[i] = -x*x/2 + k.logLikelihood(obs)
		best = math.Max(best, post[i])
	}
	if math.IsInf(best, 0) {
		return Belief{}, errors.New("no factor in the range of the prior is possible for this vessel")
	}
	var sum, mean, square float64
	for i := range gridPoints {
		post[i] = math.Exp(post[i] - best)
		sum += post[i]
		mean += post[i] * logs[i]
	}
	mean /= sum
	for i := range gridPoints {
		square += post[i] * (logs[i] - mean) * (logs[i] - mean)
	}
	if edge := (post[low] + post[high]) / sum; edge > 0.01 {
		return Belief{}, fmt.Errorf("the observations ask for a factor near %.2f, outside what was believed possible: check the vessel's measures, the load and the readings", math.Exp(mean))
	}
	// No belief is narrower than the grid resolves.
	return Belief{Log: mean, Spread: math.Max(math.Sqrt(square/sum), prior.Spread/8)}, nil
}

// logLikelihood advances the kettle through the observations.
func (k *Kettle) logLikelihood(obs []Observation) float64 {
	sum := 0.0
	s := k.State()
	for _, o := range obs {
		if n, err := k.Step(o.Elapsed - s.Elapsed); err == nil {
			s = n
		} // dry: the last state stands, far from what was seen
		var e float64
		switch {
		case o.Volume > 0:
			e = float64(s.Volume-o.Volume) / o.Sigma
		case o.Mass > 0:
			e = float64(s.Liquid-o.Mass) / o.Sigma
		default:
			e = (s.Solids - o.Solids) / o.Sigma
		}
		sum -= e * e / 2
	}
	return sum
}

func checkObservations(seen []Observation, start State) ([]Observation, error) {
	if len(seen) == 0 {
		return nil, errors.New("there are no observations: weigh, dip or take the Brix at least once")
	}
	out := append([]Observation(nil), seen...)
	for i := range out {
		o := &out[i]
		given := 0
		for _, g := range []bool{o.Volume != 0, o.Mass != 0, o.Solids != 0} {
			if g {
				given++
			}
		}
		if given != 1 {
			return nil, fmt.Errorf("observation %d must give one of volume, mass and solids, it gives %d", i+1, given)
		}
		if o.Sigma == 0 {
			switch {
			case o.Volume != 0:
				o.Sigma = 0.02 * float64(start.Volume)
			case o.Mass != 0:
				o.Sigma = 0.005 * float64(start.Liquid)
			default:
				o.Sigma = 0.005
			}
		}
		if err := errors.Join(
			within("observed volume", float64(o.Volume), 0, 20, "m3"),
			within("observed mass", float64(o.Mass), 0, 20000, "kg"),
			within("observed solids", o.Solids, 0, 1, ""),
			within("standard error", o.Sigma, 1e-9, 1e4, ""),
		); err != nil {
			return nil, fmt.Errorf("observation %d: %w", i+1, err)
		}
		if o.Elapsed <= 0 || o.Elapsed > 14*24*time.Hour || i > 0 && o.Elapsed < out[i-1].Elapsed {
			return nil, fmt.Errorf("observation %d is at %v: it must be after the start, at most 336 h, and in order", i+1, o.Elapsed)
		}
	}
	return out, nil
}

// withFactor builds the kettle with a factor on what governs it; false when the factor
// leaves the possible range.
func withFactor(v Vessel, l Load, d Duty, c Conditions, f float64) (*Kettle, bool) {
	v, c = scaled(v, d, c, f)
	k, err := NewKettle(v, l, d, c)
	return k, err == nil
}

// scaled applies a factor to efficiency when the duty is to boil, else to activity.
func scaled(v Vessel, d Duty, c Conditions, f float64) (Vessel, Conditions) {
	if a, err := newAir(c); err == nil && (d.Hold == 0 || d.Hold >= a.boil) {
		if v.Efficiency == 0 {
			v.Efficiency = DefaultEfficiency
		}
		v.Efficiency *= f
		return v, c
	}
	if c.Activity == 0 {
		c.Activity = Gentle
	}
	c.Activity *= Activity(f)
	return v, c
}

// Interval is a forecast with its spread: the outcomes at the median factor and two
// standard deviations to the fast and the slow side (about 19 of 20 cases, when the
// belief is right). A factor that would leave the possible range is cut there.
type Interval struct{ Early, Likely, Late Outcome }

// ReduceBelieving is Reduce under a belief about the vessel.
func ReduceBelieving(v Vessel, l Load, d Duty, c Conditions, end EndPoint, s Settings, b Belief) (Interval, error) {
	b, err := b.normal()
	if err != nil {
		return Interval{}, err
	}
	var out Interval
	for _, r := range []struct {
		to *Outcome
		x  float64
	}{{&out.Likely, 0}, {&out.Early, 2}, {&out.Late, -2}} {
		vessel, cond := scaled(v, d, c, math.Exp(b.Log+r.x*b.Spread))
		vessel.Efficiency = math.Min(vessel.Efficiency, 1)
		if vessel.Efficiency != 0 {
			vessel.Efficiency = math.Max(vessel.Efficiency, 0.05)
		}
		cond.Activity = min(cond.Activity, 3)
		if *r.to, err = Reduce(vessel, l, d, cond, end, s); err != nil {
			return Interval{}, err
		}
	}
	return out, nil
}
