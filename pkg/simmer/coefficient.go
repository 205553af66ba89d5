package simmer

import (
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Layer is one solid layer of a wall.
type Layer struct {
	Thickness units.Length
	// Conductivity, W/m·K, 0.01 to 500: stainless steel 16, aluminium 200, mineral wool
	// 0.04 (from memory).
	Conductivity float64
}

// OverallCoefficient adds resistances in series, 1/U = 1/inside + sum(thickness /
// conductivity) + 1/outside, W/m2·K, for films of 1 to 100 000 W/m2·K. It serves a wall
// that loses heat to the room (outside about 10, radiation included) as well as a
// jacket (outside the condensing steam, 6000 to 15 000).
func OverallCoefficient(inside, outside float64, layers ...Layer) (float64, error) {
	if err := within("inside film", inside, 1, 1e5, "W/m2 K"); err != nil {
		return 0, err
	}
	if err := within("outside film", outside, 1, 1e5, "W/m2 K"); err != nil {
		return 0, err
	}
	resistance := 1/inside + 1/outside
	for i, l := range layers {
		if err := within("thickness", float64(l.Thickness), 0, 1, "m"); err != nil {
			return 0, fmt.Errorf("layer %d: %w", i+1, err)
		}
		if err := within("conductivity", l.Conductivity, 0.01, 500, "W/m K"); err != nil {
			return 0, fmt.Errorf("layer %d: %w", i+1, err)
		}
		resistance += float64(l.Thickness) / l.Conductivity
	}
	return 1 / resistance, nil
}

// JacketHeating returns the time in which a jacket at a steady temperature warms a
// stirred batch without losses: t = m·c/(U·A)·ln((Ts - T0)/(Ts - T1)). m kg, c J/kg·K,
// U W/m2·K, A m2. T0 and T1 must lie below Ts, T1 above T0. It is the check by hand of a
// Kettle with a SteamJacket.
func JacketHeating(m units.Mass, specificHeat, coefficient float64, area units.Area, jacket, from, to units.Celsius) (time.Duration, error) {
	for _, err := range []error{
		within("mass", float64(m), 0.01, 1e5, "kg"),
		within("specific heat", specificHeat, 500, 5000, "J/kg K"),
		within("coefficient", coefficient, 1, 20000, "W/m2 K"),
		within("area", float64(area), 1e-3, 100, "m2"),
		within("jacket temperature", float64(jacket), 20, 200, "C"),
		within("start temperature", float64(from), -5, 200, "C"),
		within("target temperature", float64(to), -5, 200, "C"),
	} {
		if err != nil {
			return 0, err
		}
	}
	if to <= from || to >= jacket {
		return 0, fmt.Errorf("target %g C must be above the start %g C and below the jacket %g C", float64(to), float64(from), float64(jacket))
	}
	s := float64(m) * specificHeat / (coefficient * float64(area)) * math.Log(float64(jacket-from)/float64(jacket-to))
	if s > 1e8 {
		return 0, fmt.Errorf("heating takes %.3g s: check mass, coefficient and area", s)
	}
	return seconds(s), nil
}
