package chill

import (
	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// IcePaddle is a closed plastic paddle with frozen water in it, which stirs and cools
// a pot from inside.
type IcePaddle struct {
	Stock        units.Mass
	SpecificHeat float64 // J/kg·K
	Start        units.Celsius
	// Ice in all paddles that are in at once, and its temperature, -40 to 0 C.
	Ice   units.Mass
	IceAt units.Celsius
	// Area of the paddles in the stock, thickness and conductivity of their wall (0 means
	// 3 mm and 0.4 W/m·K, polyethylene, from memory).
	Area         units.Area
	Wall         units.Length
	Conductivity float64
	// Film of the stirred stock outside and of the melt inside, W/m2·K; 0 means 1000 and
	// 300 (from memory, weak; the wall matters more).
	Film, Melt float64
}

// NewIcePaddle returns the model of a pot with an ice paddle in it: an IceBath whose
// water is the melt. Cold below 0 C is counted as more ice at 0 C, which has the same
// heat and a smaller difference: slower, hence cautious. A paddle is spent when
// State.Ice is 0; a fresh one is a new model from the temperature reached.
func NewIcePaddle(p IcePaddle) (*IceBath, error) {
	if p.Wall == 0 {
		p.Wall = 3 * units.Millimetre
	}
	if p.Conductivity == 0 {
		p.Conductivity = 0.4
	}
	if p.Film == 0 {
		p.Film = 1000
	}
	if p.Melt == 0 {
		p.Melt = 300
	}
	if err := first(
		within("ice temperature", float64(p.IceAt), -40, 0, "C"),
		within("ice", float64(p.Ice), 0.01, 5000, "kg"),
	); err != nil {
		return nil, err
	}
	u, err := Overall(p.Film, p.Melt, Layer{Thickness: p.Wall, Conductivity: p.Conductivity})
	if err != nil {
		return nil, err
	}
	cold := 1 - thermo.SpecificHeatIce*float64(p.IceAt)/thermo.LatentHeatFusion
	return NewIceBath(Bath{
		Mass: p.Stock, SpecificHeat: p.SpecificHeat, Coefficient: u, Area: p.Area, Start: p.Start, Ice: p.Ice * units.Mass(cold),
	})
}
