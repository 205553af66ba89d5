package thermo

import (
	"fmt"
	"math"

	"rondeau.internal/pkg/units"
)

// Constants of dilute aqueous solutions.
const (
	// MolarMassWater in kg/mol.
	MolarMassWater = 0.018015268
	// MolarMassSucrose and MolarMassSalt (sodium chloride) in kg/mol.
	MolarMassSucrose = 0.34230
	MolarMassSalt    = 0.05844
	gasConstant      = 8.314462618 // J/mol·K
	maxOsmolality    = 12.0        // mol/kg
)

// Osmolality returns the osmotic molality of a solute, mol of particles per kg of
// water: phi·ions·mass/(molar mass·water mass). Give the solute and the water in
// the same mass unit; molar mass in kg/mol (0.018 to 1000), ions 1 to 5 per formula
// unit, osmotic coefficient phi 0.3 to 2 (1 for an ideal solution, 0.93 for sodium
// chloride at 0.1 to 0.5 mol/kg).
func Osmolality(solute, water, molarMass float64, ions int, phi float64) (float64, error) {
	switch {
	case !(solute >= 0) || math.IsInf(solute, 0):
		return 0, fmt.Errorf("mass of solute %g must be a finite number, 0 or more", solute)
	case !(water > 0) || math.IsInf(water, 0):
		return 0, fmt.Errorf("mass of water %g must be a finite number above 0", water)
	case ions < 1 || ions > 5:
		return 0, fmt.Errorf("ions per formula unit %d is outside 1 to 5", ions)
	}
	if err := within("molar mass", molarMass, 0.018, 1000, "kg/mol"); err != nil {
		return 0, err
	}
	if err := within("osmotic coefficient", phi, 0.3, 2, ""); err != nil {
		return 0, err
	}
	m := phi * float64(ions) * solute / (molarMass * water)
	if err := within("osmolality", m, 0, maxOsmolality, "mol/kg"); err != nil {
		return 0, err
	}
	return m, nil
}

// WaterActivity returns the activity of water of an osmolality, exp(-Mw·m), 0 to
// 12 mol/kg.
func WaterActivity(osmolality float64) (float64, error) {
	if err := within("osmolality", osmolality, 0, maxOsmolality, "mol/kg"); err != nil {
		return 0, err
	}
	return math.Exp(-MolarMassWater * osmolality), nil
}

// SolutionBoilingPoint returns the boiling point of a solution at a pressure: that
// of water at p·aw^(-1/Z). Z is the compressibility of steam at p (0.985 at 101 kPa),
// which stands for its fugacity. Range 611.657 Pa to 2 MPa, osmolality 0 to 12 mol/kg.
func SolutionBoilingPoint(p units.Pressure, osmolality float64) (units.Celsius, error) {
	if err := within("osmolality", osmolality, 0, maxOsmolality, "mol/kg"); err != nil {
		return 0, err
	}
	if err := within("pressure", float64(p), triplePascal, 2e6, "Pa"); err != nil {
		return 0, err
	}
	t, err := SaturationTemperature(p)
	if err != nil {
		return 0, err
	}
	k := float64(t.Kelvin())
	z := float64(p) / (vapourDensity(k) * GasConstantVapour * k)
	t, err = SaturationTemperature(p * units.Pressure(math.Exp(MolarMassWater*osmolality/z)))
	if err != nil {
		return 0, fmt.Errorf("boiling point of a solution of %g mol/kg: %w", osmolality, err)
	}
	return t, nil
}

// SolutionFreezingPoint returns the temperature at which ice and a solution of an
// osmolality (0 to 12 mol/kg) are in equilibrium: ln aw = -L·Mw/R·(1/T - 1/T0) with
// the heat of fusion at 0 C, so 1.860 K per mol/kg at the start. The heat of fusion
// falls with temperature, which brings the true value up to 5 % lower at 10 mol/kg.
func SolutionFreezingPoint(osmolality float64) (units.Celsius, error) {
	if err := within("osmolality", osmolality, 0, maxOsmolality, "mol/kg"); err != nil {
		return 0, err
	}
	const t0 = 273.15
	t := units.Kelvin(1 / (1/t0 + gasConstant*osmolality/LatentHeatFusion)).Celsius()
	return min(t, 0), nil
}

// FreezingOsmolality is the inverse of SolutionFreezingPoint, -20 to 0 C.
func FreezingOsmolality(freezing units.Celsius) (float64, error) {
	if err := within("freezing point", float64(freezing), -20, 0, "C"); err != nil {
		return 0, err
	}
	return (1/float64(freezing.Kelvin()) - 1/273.15) * LatentHeatFusion / gasConstant, nil
}
