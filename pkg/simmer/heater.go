package simmer

import (
	"errors"
	"fmt"
	"math"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// HeaterKind is how heat gets into a vessel.
type HeaterKind uint8

// The kinds of heater.
const (
	// RatedPower is a vessel of which only power and efficiency are known.
	RatedPower HeaterKind = iota
	// GasBurner is an open flame under the floor.
	GasBurner
	// ElectricPlate is a resistive plate or element under the floor.
	ElectricPlate
	// InductionPlate heats the floor itself.
	InductionPlate
	// SteamJacket is steam condensing around the vessel.
	SteamJacket
)

// String returns the English word.
func (k HeaterKind) String() string {
	switch k {
	case RatedPower:
		return "rated power"
	case GasBurner:
		return "gas burner"
	case ElectricPlate:
		return "electric plate"
	case InductionPlate:
		return "induction plate"
	case SteamJacket:
		return "steam jacket"
	default:
		return fmt.Sprintf("heater kind %d", uint8(k))
	}
}

// Defaults of heaters. Each is one figure out of a wide range: measure the vessel.
const (
	// DefaultGasEfficiency of an open burner under a pot that covers the flame: typical
	// gas range tops 0.25 to 0.30, high-efficiency ones 0.30 to 0.40 (Sorensen and
	// Zabrowski, Improving Range-Top Efficiency, Appliance Magazine, August 2009).
	DefaultGasEfficiency = 0.30
	// DefaultElectricEfficiency of a resistive plate, 0.5 to 0.75: the low end measured
	// from cold (a quart on a 1500 W plate in 7 min 20 s, jefftk.com, Electric Kettle vs
	// Stove, 2022), the high end from memory.
	DefaultElectricEfficiency = 0.60
	// DefaultInductionEfficiency, 0.70 to 0.85: 317 of 430 Btu reached the water in the
	// one measurement read (Scheckel, as told in Fast Company, 2016), the high end from
	// memory.
	DefaultInductionEfficiency = 0.75
	// DefaultJacketCoefficient, W/m2·K, of steam to stirred water-like contents: 690 to
	// 850 follow from the heating times of Oklahoma State University Extension, Steam
	// Kettle Hookup, table 1, with the jacket around the whole bowl; thick or unstirred
	// contents half of that or less.
	DefaultJacketCoefficient = 800.0
)

// Heater is a heat source. The zero value leaves it to Vessel.Power and
// Vessel.Efficiency. For the flame and the plates Rating and Efficiency replace those
// of the vessel, which must then be zero.
type Heater struct {
	Kind HeaterKind
	// Rating is the input of a burner or plate, above 0 to 1 MW.
	Rating units.Power
	// Efficiency is the share of Rating that enters a vessel which covers the flame or
	// plate, 0.05 to 1; 0 means the default of the kind.
	Efficiency float64
	// Diameter of the flame ring or plate, 5 cm to 2 m; 0 means that the vessel covers
	// it. What a narrower floor does not cover is lost past the wall: the share
	// (floor/Diameter)² is caught, as if the heat were even over the ring (chosen, no
	// source).
	Diameter units.Length
	// Steam is the absolute pressure in the jacket, 0.5 to 8 bar; gauge readings are
	// this less the air pressure.
	Steam units.Pressure
	// Coefficient from steam to contents, 50 to 5000 W/m2·K; 0 means
	// DefaultJacketCoefficient.
	Coefficient float64
	// Height to which the jacket reaches above the lowest point; 0 means the brim. Only
	// the part that the contents wet gives heat, so the power falls with the level.
	Height units.Length
}

// Gas returns an open burner of a rated input with the default efficiency.
func Gas(rating units.Power) Heater { return Heater{Kind: GasBurner, Rating: rating} }

// Electric returns a resistive plate of a rated input with the default efficiency.
func Electric(rating units.Power) Heater { return Heater{Kind: ElectricPlate, Rating: rating} }

// Induction returns an induction plate of a rated input with the default efficiency.
func Induction(rating units.Power) Heater { return Heater{Kind: InductionPlate, Rating: rating} }

// Jacket returns a steam jacket at an absolute pressure that reaches to a height, with
// the default coefficient.
func Jacket(steam units.Pressure, height units.Length) Heater {
	return Heater{Kind: SteamJacket, Steam: steam, Height: height}
}

// Covered is the share of the flame or plate that a vessel's floor covers, 0 to 1.
func (h Heater) Covered(g Geometry) float64 {
	if h.Diameter <= 0 || h.Kind == SteamJacket {
		return 1
	}
	r := g.floorWidth() / float64(h.Diameter)
	return math.Min(1, r*r)
}

// JacketArea is the wall of a vessel that a steam jacket heats at a level of contents.
func (h Heater) JacketArea(g Geometry, level units.Length) units.Area {
	if h.Height > 0 {
		level = min(level, h.Height)
	}
	return g.WettedAt(level)
}

// SteamTemperature is the saturation temperature in the jacket.
func (h Heater) SteamTemperature() (units.Celsius, error) {
	if err := within("steam pressure", float64(h.Steam), 50e3, 800e3, "Pa"); err != nil {
		return 0, err
	}
	return thermo.SaturationTemperature(h.Steam)
}

// Power returns what a heater at full rate gives to contents at a temperature and level.
func (h Heater) Power(g Geometry, level units.Length, contents units.Celsius) (units.Power, error) {
	v, err := Vessel{Geometry: g, Heater: h}.normal()
	if err != nil {
		return 0, err
	}
	if err := within("contents temperature", float64(contents), -1, 150, "C"); err != nil {
		return 0, err
	}
	if err := within("level", float64(level), 0, float64(g.Height), "m"); err != nil {
		return 0, err
	}
	if h.Kind != SteamJacket {
		return units.Power(float64(v.Power) * v.Efficiency), nil
	}
	t, err := h.SteamTemperature()
	if err != nil {
		return 0, err
	}
	q := v.Heater.Coefficient * float64(v.Heater.JacketArea(g, level)) * float64(t-contents)
	return units.Power(math.Max(0, q)), nil
}

// fold checks the heater and brings flame and plates down to a power and an efficiency
// of the vessel. A folded heater has no Rating, so folding twice changes nothing.
func (v *Vessel) fold() error {
	h := &v.Heater
	switch h.Kind {
	case RatedPower:
		if *h != (Heater{}) {
			return errors.New("the heater has data but no kind: say whether it is a gas burner, an electric or induction plate or a steam jacket")
		}
	case GasBurner, ElectricPlate, InductionPlate:
		if h.Rating == 0 && v.Power > 0 {
			return nil // folded before, or the vessel's own power by this kind of heater
		}
		if v.Power != 0 || v.Efficiency != 0 {
			return fmt.Errorf("the vessel has a %s and a power or efficiency of its own: give one of the two", h.Kind)
		}
		if h.Efficiency == 0 {
			h.Efficiency = [...]float64{GasBurner: DefaultGasEfficiency, ElectricPlate: DefaultElectricEfficiency, InductionPlate: DefaultInductionEfficiency}[h.Kind]
		}
		if err := errors.Join(
			within("heater rating", float64(h.Rating), 1, 1e6, "W"),
			within("heater efficiency", h.Efficiency, 0.05, 1, ""),
			zeroOrWithin("flame or plate diameter", float64(h.Diameter), 0.05, 2, "m"),
		); err != nil {
			return err
		}
		v.Power, v.Efficiency = h.Rating, h.Efficiency*h.Covered(v.Geometry)
		h.Rating = 0
	case SteamJacket:
		if v.Power != 0 {
			return errors.New("the vessel has a steam jacket and a power: give one of the two")
		}
		if h.Coefficient == 0 {
			h.Coefficient = DefaultJacketCoefficient
		}
		if v.Efficiency == 0 {
			v.Efficiency = 1
		}
		return errors.Join(
			within("steam pressure", float64(h.Steam), 50e3, 800e3, "Pa"),
			within("jacket coefficient", h.Coefficient, 50, 5000, "W/m2 K"),
			zeroOrWithin("jacket height", float64(h.Height), 0.01, float64(v.Height), "m"),
		)
	default:
		return fmt.Errorf("heater kind %d is unknown", uint8(h.Kind))
	}
	return nil
}

func zeroOrWithin(what string, v, low, high float64, unit string) error {
	if v == 0 {
		return nil
	}
	return within(what, v, low, high, unit)
}
