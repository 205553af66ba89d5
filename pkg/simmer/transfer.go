package simmer

import (
	"math"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// Transfer chooses how vapour leaves a free surface below the boil. The tables and
// rules for hot tanks that could be read (published_test.go) differ among themselves by a
// third at 85 C; FreeConvection lies between them over the range of a simmer, Pool below
// all, and only FreeConvection was tested against measurements up to 94 C.
type Transfer uint8

// The transfer models.
const (
	// FreeConvection is Shah's correlation of natural convection over warm water,
	//
	//	m = activity·A·35/3600·(p0/p)^(2/3)·rw·(ra - rw)^(1/3)·(Ww - Wa)
	//
	// with r the mass of dry air per volume of moist air (kg/m3) and W the humidity ratio,
	// w saturated at the surface, a of the room, m in kg/s; never below
	// 5e-5/3600·A·(pw - pa), which stands for the currents of a room (Shah, Methods for
	// Calculation of Evaporation from Swimming Pools and Other Water Surfaces, ASHRAE
	// Trans. 120, 2014: its look-up table read, the last constant from memory). Against
	// 11 sources of data, water at 7 to 94 C, its mean deviation was 18 %, the best of 11
	// correlations; the others but one were "unacceptably high" (Shah 2002, HVAC&R
	// Research 8:125, abstract read). The constant holds at p0 = 101.325 kPa; the factor
	// of pressure is that of the heat and mass transfer analogy. A draught adds the wind
	// part of the pool equation, the two combined as the root of the sum of squares
	// (Adams and others, evaporation from heated water bodies, abstract read).
	FreeConvection Transfer = iota
	// Pool is the pool equation of the ASHRAE Handbook (HVAC Applications; Carrier
	// 1918), m = activity·A·(pw - pa)·(0.089 + 0.0782·V)/h, kPa, m/s, kJ/kg, kg/s:
	// fitted at about 30 to 50 C, 15 to 45 % low for hot tanks.
	Pool
	// Analogy is the heat and mass transfer analogy, Nu = 0.15·Ra^(1/3), Sh =
	// 0.15·(Gr·Sc)^(1/3), properties at the film; it ignores Conditions.AirSpeed.
	Analogy
)

const (
	gasConstantAir   = 287.05 // J/kg·K
	standardPressure = 101325 // Pa
	// StefanCap is the share of the air pressure at which StefanFactor stops growing:
	// within 0.03 K of the boil bubbles carry the rest.
	StefanCap = 0.999
)

// StefanFactor is the high-rate correction of vapour transfer, by how much the outward
// flow of the vapour itself raises the rate above that of a small vapour share. Vapour of
// mole fraction y diffuses through resting air: with the total molar flux N and the
// molar conductance K of the film, N·(1 - y) = -K·dy/dx, so that
//
//	N = K·ln((1 - ya)/(1 - yw)) = K·ln((p - pa)/(p - pw)),
//
// against N0 = K·(pw - pa)/p for small shares. The factor is N/N0 =
// p·ln((p - pa)/(p - pw))/(pw - pa): 1 for small pressures, 1.07 at 50 C, 2.2 at 95 C
// and without bound at the boil, where the rate is the one that the power pays for; a
// kettle with the factor on nears the boil and never shows a step in evaporation. It is
// capped at pw = StefanCap·p.
//
// Over a free surface the outward flow also thickens the film, and what was measured up to
// 94 C (Transfer, FreeConvection) is met without the factor: with it rates above 85 C are
// 1.5 to 2 times those of any table or rule read. Hence it is off unless Conditions.HighRate is set. pa below
// pw below p, all in Pa above 0.
func StefanFactor(p, surface, room units.Pressure) (float64, error) {
	for _, err := range []error{
		within("air pressure", float64(p), 1e3, 1e7, "Pa"),
		within("vapour pressure at the surface", float64(surface), 0, float64(p), "Pa"),
		within("vapour pressure of the room", float64(room), 0, StefanCap*float64(p), "Pa"),
	} {
		if err != nil {
			return 0, err
		}
	}
	return stefan(float64(p), float64(surface), float64(room)), nil
}

func stefan(p, pw, pa float64) float64 {
	pw = math.Min(pw, StefanCap*p)
	d := (pw - pa) / (p - pa)
	if math.Abs(d) < 1e-4 { // -ln(1 - d)/d, and p/(p - pa) goes with it
		return p / (p - pa) * (1 + d/2)
	}
	return -p / (p - pa) * math.Log1p(-d) / d
}

func moistDensity(p, pv, kelvin float64) float64 {
	return (p-pv)/(gasConstantAir*kelvin) + pv/(thermo.GasConstantVapour*kelvin)
}

// exchange assumes checked input: water between 0 C and the boil.
func (a *air) exchange(t, area float64) Exchange {
	h, _ := thermo.LatentHeat(units.Celsius(math.Max(t, 0.01))) // in range by the caller's check
	e := a.flux(t, h)
	e.Radiation *= units.Power(area)
	e.Convection *= units.Power(area)
	e.Evaporation *= area
	e.Latent *= units.Power(area)
	return e
}

// flux is the exchange of 1 m2 at a latent heat. With the cube root of the Grashof number
// the length of the surface cancels in both convection and analogy.
func (a *air) flux(t, h float64) Exchange {
	tk := t + 273.15
	ps, _ := thermo.SaturationPressure(units.Celsius(t))
	pw := math.Min(float64(ps), a.pressure)

	var e Exchange
	e.Radiation = units.Power(emissivityWater * stefanBoltzmann * (tk*tk*tk*tk - a.roomK*a.roomK*a.roomK*a.roomK))
	film, _ := thermo.AirAt(units.Celsius((t+a.room)/2), units.Pressure(a.pressure))
	surface := moistDensity(a.pressure, pw, tk)
	grashof := gravity * math.Max(0, a.density-surface) / ((a.density + surface) / 2 * film.Viscosity * film.Viscosity)
	e.Convection = units.Power(0.15 * math.Cbrt(grashof*film.Prandtl) * film.Conductivity * (t - a.room))
	switch a.model {
	case Analogy:
		schmidt := film.Viscosity / film.VapourDiffusion
		hm := 0.15 * math.Cbrt(grashof*schmidt) * film.VapourDiffusion
		e.Evaporation = hm * (pw/(thermo.GasConstantVapour*tk) - a.vapourDensity)
	case Pool: // in kPa and kJ/kg; the two factors of 1000 cancel
		e.Evaporation = (pw - a.vapour) * (0.089 + 0.0782*a.speed) / h
	default:
		vapour, dry := pw/(thermo.GasConstantVapour*tk), (a.pressure-pw)/(gasConstantAir*tk)
		rise := math.Cbrt(math.Max(0, a.dry-dry))
		free := 35.0 / 3600 * a.factor * rise * (vapour - dry*a.ratio) // rw·Ww is the vapour density
		free = math.Max(free, 5e-5/3600*(pw-a.vapour))
		if free > 0 {
			e.Evaporation = math.Hypot(free, 0.0782*a.speed*(pw-a.vapour)/h)
		}
	}
	e.Evaporation = math.Max(0, a.activity*e.Evaporation)
	if a.highRate {
		e.Evaporation *= stefan(a.pressure, pw, a.vapour)
	}
	e.Latent = units.Power(e.Evaporation * h)
	return e
}
