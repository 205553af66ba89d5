package chill

import (
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// FreezeGoal says what a freezing run is for.
type FreezeGoal struct {
	// Core is the temperature at which the run ends, -40 to -2 C; 0 means -18 C.
	Core units.Celsius
	// Horizon is how far to look, to 31 days; 0 means 72 h.
	Horizon time.Duration
	// Sample is the distance of the points of the curve, 1 s to 1 h, at most 100 000 in the
	// horizon; 0 means one minute. Times are interpolated between points.
	Sample time.Duration
}

// HeatPoint is one point of a freezing curve. Heat is what the machine has to take away at
// that moment.
type HeatPoint struct {
	At                  time.Duration
	Core, Mean, Surface units.Celsius
	Heat                units.Power
}

// FreezingRun is a computed freezing: cooling, freezing and tempering in one.
type FreezingRun struct {
	// Reached tells whether the core came to its goal within the horizon, Time when.
	Reached bool
	Time    time.Duration
	// Zone is how long the core lay between 0 and -5 C, where most of the water freezes: the
	// shorter, the finer the ice. With ZoneLeft false it had not left it.
	Zone     time.Duration
	ZoneLeft bool
	// Equalised is when the mean enthalpy was that of the goal: closed off then, the whole
	// piece would come to the goal's temperature. False when it did not come to that.
	Equalised        time.Duration
	EqualisedReached bool
	// Rest is the equalisation temperature at the end, colder than the core.
	Rest units.Celsius
	// Heat given off, and its highest rate.
	Heat units.Energy
	Peak units.Power
	// Curve from the start to the end, one point a sample.
	Curve []HeatPoint
	// Cautions to be shown with the run.
	Cautions []string
}

// RunFreezing follows a piece until its core is frozen to the goal. The model is not
// changed. It is an error when its substance does not freeze.
func RunFreezing(m *Conduction, g FreezeGoal) (FreezingRun, error) {
	if g.Core == 0 {
		g.Core = -18
	}
	if g.Horizon == 0 {
		g.Horizon = 72 * time.Hour
	}
	if g.Sample == 0 {
		g.Sample = time.Minute
	}
	if err := first(
		within("goal", float64(g.Core), -40, -2, "C"),
		within("horizon", g.Horizon.Hours(), 1.0/3600, longestStep.Hours(), "h"),
		within("sample", g.Sample.Seconds(), 1, 3600, "s"),
		within("points in the horizon", float64(g.Horizon/g.Sample), 0, 1e5, ""),
	); err != nil {
		return FreezingRun{}, err
	}
	if _, ok := m.substance.FreezingPoint(); !ok {
		return FreezingRun{}, errNotFreezing
	}
	run := m.Copy()
	r := FreezingRun{Cautions: []string{CautionModel, CautionSafety}}
	if m.still > 1 {
		r.Cautions = append(r.Cautions, CautionStillStock)
	}
	start, given := run.elapsed, run.given
	now := run.point(start)
	r.Curve = append(r.Curve, now)
	r.Peak = now.Heat
	zoneIn := 0.0
	zone := fall{at: math.NaN()}
	if now.Core > 0 {
		zoneIn = math.NaN()
	}
	goal, rest := fall{at: math.NaN()}, fall{at: math.NaN()}
	for run.elapsed-start < g.Horizon {
		if _, err := run.Step(min(g.Sample, g.Horizon-(run.elapsed-start))); err != nil {
			return FreezingRun{}, err
		}
		before := now
		now = run.point(start)
		r.Curve = append(r.Curve, now)
		r.Peak = max(r.Peak, now.Heat)
		if math.IsNaN(zoneIn) {
			zoneIn = passed(before, now, 0, coreOf)
		}
		zone.look(before, now, -5, coreOf)
		rest.look(before, now, g.Core, meanOf)
		goal.look(before, now, g.Core, coreOf)
		if !math.IsNaN(goal.at) {
			break
		}
	}
	r.Reached, r.Time = goal.result()
	r.EqualisedReached, r.Equalised = rest.result()
	left, until := zone.result()
	r.ZoneLeft = left
	if !left {
		until = run.elapsed - start
	}
	if !math.IsNaN(zoneIn) {
		r.Zone = max(0, until-seconds(zoneIn))
	}
	r.Rest = now.Mean
	r.Heat = units.Energy((run.given - given) * run.scale)
	return r, nil
}

func (c *Conduction) point(start time.Duration) HeatPoint {
	s := c.State()
	return HeatPoint{At: s.Elapsed - start, Core: s.Core, Mean: s.Mean, Surface: c.Surface(), Heat: s.Heat}
}

func coreOf(p HeatPoint) units.Celsius { return p.Core }
func meanOf(p HeatPoint) units.Celsius { return p.Mean }

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// passed returns when a temperature fell to a value between two points, s, or NaN.
func passed(a, b HeatPoint, to units.Celsius, of func(HeatPoint) units.Celsius) float64 {
	from, until := of(a), of(b)
	if from <= to {
		return a.At.Seconds()
	}
	if until > to {
		return math.NaN()
	}
	share := float64(from-to) / float64(from-until)
	return a.At.Seconds() + share*(b.At-a.At).Seconds()
}

// fall keeps the first time at which a temperature fell to a value.
type fall struct{ at float64 }

func (c *fall) look(a, b HeatPoint, to units.Celsius, of func(HeatPoint) units.Celsius) {
	if math.IsNaN(c.at) {
		c.at = passed(a, b, to, of)
	}
}

func (c *fall) result() (bool, time.Duration) {
	if math.IsNaN(c.at) {
		return false, 0
	}
	return true, seconds(c.at)
}
