package simmer

import (
	"fmt"
	"time"
)

// Interval is a forecast with its spread.
type Interval struct {
	// Likely is the outcome at the median factors.
	Likely Outcome
	// Early, Median and Late are quantiles of the time from the start; Early and Late
	// hold it with the Coverage. They are at most the horizon.
	Early, Median, Late time.Duration
	Coverage            float64
	// Reached is the chance to reach the end within the horizon.
	Reached float64
}

// planPoints of a plan's spread.
const planPoints = 256

// ReduceBelieving is Reduce under a belief about the vessel: the interval of the coverage
// asked (0 means DefaultCoverage) by planPoints low-discrepancy draws of factors, load,
// drift and untold changes of the heat through the reduced model.
func ReduceBelieving(v Vessel, l Load, d Duty, c Conditions, end EndPoint, s Settings, b Belief, coverage float64) (Interval, error) {
	b, err := b.normal()
	if err != nil {
		return Interval{}, err
	}
	if coverage == 0 {
		coverage = DefaultCoverage
	}
	if err := within("coverage", coverage, 0.1, 0.99, ""); err != nil {
		return Interval{}, err
	}
	if err := (Duty{Off: d.Off}).needsHeat(); err != nil {
		return Interval{}, err
	}
	vessel, cond, err := b.Apply(v, c)
	if err != nil {
		return Interval{}, err
	}
	out := Interval{Coverage: coverage}
	if out.Likely, err = Reduce(vessel, l, d, cond, end, s); err != nil {
		return Interval{}, err
	}
	t, err := NewTracker(Setup{
		Vessel: v, Load: l, Duty: d, Conditions: c, End: end, Prior: b, Horizon: s.Horizon, Particles: planPoints,
	})
	if err != nil {
		return Interval{}, err
	}
	if err := t.forecast(); err != nil {
		return Interval{}, err
	}
	at := func(p float64) time.Duration {
		return seconds(min(quantile(t.finishes, p), t.setup.Horizon.Seconds()))
	}
	out.Early, out.Median, out.Late = at((1-coverage)/2), at(0.5), at((1+coverage)/2)
	if out.Reached, err = t.DoneBy(t.setup.Horizon); err != nil {
		return Interval{}, err
	}
	return out, nil
}

// needsHeat refuses a reduction with the heat off.
func (d Duty) needsHeat() error {
	if d.Off {
		return fmt.Errorf("the heat is off: a reduction needs it on")
	}
	return nil
}

// Apply puts the median factors of a belief into a vessel and its conditions, for use with
// Reduce and Kettle. Factors that would leave the range of those are cut there: efficiency
// 0.05 to 1, wall loss 0.1 to 100 W/m2 K, activity up to 3.
func (b Belief) Apply(v Vessel, c Conditions) (Vessel, Conditions, error) {
	b, err := b.normal()
	if err != nil {
		return v, c, err
	}
	if v, err = v.normal(); err != nil {
		return v, c, err
	}
	if err := c.Check(); err != nil {
		return v, c, err
	}
	if c.Activity == 0 {
		c.Activity = Gentle
	}
	v.Efficiency = max(0.05, min(v.Efficiency*b.Power.Median(), 1))
	v.WallLoss = max(0.1, min(v.WallLoss*b.Wall.Median(), 100))
	c.Activity = min(c.Activity*Activity(b.Surface.Median()), 3)
	return v, c, nil
}
