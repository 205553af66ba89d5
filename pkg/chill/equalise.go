package chill

import (
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Store is a frozen (or cold) store into which a piece goes from the blast freezer.
type Store struct {
	Air units.Celsius // -60 to 30 C
	// Upper and Lower as in Piece; still or slow air, and the wrapping.
	Upper, Lower Face
	// Band is how near to Air the core has to come, 0.05 to 10 K; 0 means 1 K.
	Band units.CelsiusDelta
	// Horizon is how far to look, to 31 days; 0 means 14 days.
	Horizon time.Duration
}

// Equalisation is what happens to a piece in the store.
type Equalisation struct {
	// Rest is the equalisation temperature: where the piece would come to rest by itself,
	// from its mean enthalpy. Colder than the store means that the store gains by it.
	Rest units.Celsius
	// Core and Surface at the start.
	Core, Surface units.Celsius
	// Reached tells whether the core came within the band of the air, Time when.
	Reached bool
	Time    time.Duration
	// Warmest is the highest temperature of the surface in the store.
	Warmest units.Celsius
	// Load is the heat that the store had to take until then, negative when the piece cooled
	// the store; Peak its highest rate, Average the mean one.
	Load          units.Energy
	Peak, Average units.Power
	Cautions      []string
}

// Equalise puts a piece as it is into a store and follows it until its core is within the
// band of the air. The model is not changed.
func Equalise(m *Conduction, s Store) (Equalisation, error) {
	if s.Band == 0 {
		s.Band = 1
	}
	if s.Horizon == 0 {
		s.Horizon = 14 * 24 * time.Hour
	}
	if err := first(
		within("store air", float64(s.Air), -60, 30, "C"),
		within("band", float64(s.Band), 0.05, 10, "K"),
		within("horizon", s.Horizon.Hours(), 1.0/3600, longestStep.Hours(), "h"),
	); err != nil {
		return Equalisation{}, err
	}
	run := m.Copy()
	state := run.State()
	e := Equalisation{Rest: state.Mean, Core: state.Core, Surface: run.Surface(), Cautions: []string{CautionModel, CautionSafety}}
	if err := run.SetFaces(s.Upper, s.Lower); err != nil {
		return Equalisation{}, err
	}
	if err := run.SetSurroundings(s.Air); err != nil {
		return Equalisation{}, err
	}
	start, given := run.elapsed, run.given
	e.Warmest, e.Peak = run.Surface(), run.State().Heat
	away := func() float64 { return math.Abs(float64(run.State().Core - s.Air)) }
	last := away()
	e.Reached = last <= float64(s.Band)
	for step := time.Minute; !e.Reached && run.elapsed-start < s.Horizon; step = min(step*5/4, 15*time.Minute) {
		step = min(step, s.Horizon-(run.elapsed-start))
		before := run.elapsed
		state, err := run.Step(step)
		if err != nil {
			return Equalisation{}, err
		}
		e.Warmest, e.Peak = max(e.Warmest, run.Surface()), max(e.Peak, state.Heat)
		now := away()
		e.Time = run.elapsed - start
		if now <= float64(s.Band) {
			e.Reached = true
			share := (last - float64(s.Band)) / math.Max(last-now, 1e-12)
			e.Time = before - start + seconds(share*step.Seconds())
		}
		last = now
	}
	e.Load = units.Energy((run.given - given) * run.scale)
	if t := (run.elapsed - start).Seconds(); t > 0 {
		e.Average = units.Power(float64(e.Load) / t)
	}
	return e, nil
}
