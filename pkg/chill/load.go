package chill

import "rondeau.internal/pkg/units"

// Exchanger is a Model that stands in air or a bath which something else sets, step
// by step: the loads of a ColdRoom. Pot, Chiller (as a stack of pans) and Conduction
// (freezing, too) are Exchangers. State.Heat must be the heat that leaves the load
// now. One that also has
//
//	Given() units.Energy   // heat given off since time 0
//	Conductance() float64  // W/K by which the heat falls per K of warmer surroundings
//
// makes the balance of the room exact and its steps surer; without them the heat of a
// step is taken as the mean of State.Heat before and after it, and the conductance from
// State.Heat over the difference between food and surroundings.
type Exchanger interface {
	Model
	// SetSurroundings sets the temperature of the air or bath from now on.
	SetSurroundings(units.Celsius) error
}

type giver interface{ Given() units.Energy }

type conductor interface{ Conductance() float64 }

var (
	_ Exchanger = (*Pot)(nil)
	_ Exchanger = (*Chiller)(nil)
	_ Exchanger = (*Conduction)(nil)
	_ giver     = (*Pot)(nil)
	_ giver     = (*Chiller)(nil)
	_ giver     = (*Conduction)(nil)
	_ conductor = (*Pot)(nil)
	_ conductor = (*Chiller)(nil)
)

// conductance of a load against the air around it, W/K.
func conductance(x Exchanger) float64 {
	if c, ok := x.(conductor); ok {
		return c.Conductance()
	}
	s := x.State()
	d := float64(s.Mean - s.Surroundings)
	if d > -1e-3 && d < 1e-3 {
		return 0
	}
	return max(0, float64(s.Heat)/d)
}
