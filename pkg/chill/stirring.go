package chill

import (
	"math"

	"rondeau.internal/pkg/units"
)

// Impeller of a stirred vessel, as far as its film at the vessel wall is published.
type Impeller uint8

// The impellers. Paddle is the flat paddle of Kern (Process Heat Transfer, 1950,
// equation 20.1: 0.36 after Chilton, Drew and Jebens, 1944), no baffles; the others
// are those of Penney and Atiemo-Obeng (Handbook of Industrial Mixing, 2004, chapter
// 14), with baffles where turbulent.
const (
	Paddle Impeller = iota
	DiskTurbine
	FlatBlades
	PitchedBlades
	Hydrofoil
	Propeller
	Anchor
	HelicalRibbon
)

// Stirring describes a stirred vessel for the film at its wall.
type Stirring struct {
	Impeller Impeller
	// Diameter of the impeller and of the vessel; Height of the liquid, 0 means as high
	// as wide.
	Diameter, Vessel, Height units.Length
	// Speed in revolutions per second, 0.01 to 50.
	Speed float64
	// Of the liquid: kg/m3, Pa·s (1e-4 to 1000) in the bulk and at the wall (0 means the
	// same), J/kg·K, W/m·K.
	Density                  units.Density
	Viscosity, WallViscosity float64
	SpecificHeat             float64
	Conductivity             float64
}

// StirredFilm is the result of Stirring.Film.
type StirredFilm struct {
	// Film at the wall, W/m2·K.
	Film                       float64
	Reynolds, Prandtl, Nusselt float64
	// InRange tells whether the Reynolds number lies where the constants were fitted.
	InRange bool
}

// WaterStirring fills in the properties of water at a temperature, 0 to 120 C, which
// thin stock has within a few per cent; a reduced sauce needs measured ones.
func WaterStirring(i Impeller, diameter, vessel units.Length, speed float64, t units.Celsius) (Stirring, error) {
	w, err := waterAt(t)
	if err != nil {
		return Stirring{}, err
	}
	return Stirring{
		Impeller: i, Diameter: diameter, Vessel: vessel, Speed: speed, Density: units.Density(w.density),
		Viscosity: w.nu * w.density, SpecificHeat: w.cp, Conductivity: w.k,
	}, nil
}

// impellerLaw holds the constants of Nu = c·Re^a·Pr^(1/3)·(mu/muw)^0.14·(H/T)^e and
// the Reynolds numbers from which and up to which they hold.
type impellerLaw struct{ c, a, e, low, high float64 }

func (i Impeller) law(re float64) impellerLaw {
	const third = 1.0 / 3
	switch i {
	case Paddle:
		return impellerLaw{0.36, 2 * third, 0, 300, 3e5}
	case DiskTurbine:
		return impellerLaw{0.74, 2 * third, -0.15, 100, 1e7}
	case FlatBlades:
		return impellerLaw{0.66, 2 * third, -0.15, 100, 1e7}
	case PitchedBlades:
		return impellerLaw{0.45, 2 * third, -0.15, 100, 1e7}
	case Hydrofoil:
		return impellerLaw{0.31, 2 * third, -0.15, 100, 1e7}
	case Propeller:
		return impellerLaw{0.50, 2 * third, -0.15, 100, 1e7}
	case Anchor:
		if re < 100 {
			return impellerLaw{0.69, 0.5, 0, 12, 100}
		}
		return impellerLaw{0.32, 2 * third, 0, 100, 1e7}
	default: // helical ribbon
		switch {
		case re < 13:
			return impellerLaw{0.94, third, 0, 1, 13}
		case re < 210:
			return impellerLaw{0.61, 0.5, 0, 13, 210}
		default:
			return impellerLaw{0.25, 2 * third, 0, 210, 1e7}
		}
	}
}

// Film returns the film at the wall of the vessel by Nu = h·T/k = c·Re^a·Pr^(1/3)·
// (mu/muw)^0.14, Re = N·D²·rho/mu, T the vessel's diameter. Fouling, gelled skins and
// baffles that a kettle lacks lower it: take half of it for a kettle that is not new
// (from memory). Outside the fitted range the result is flagged.
func (s Stirring) Film() (StirredFilm, error) {
	if s.WallViscosity == 0 {
		s.WallViscosity = s.Viscosity
	}
	if s.Height == 0 {
		s.Height = s.Vessel
	}
	if err := first(
		within("impeller", float64(s.Impeller), 0, float64(HelicalRibbon), ""),
		within("vessel diameter", float64(s.Vessel), 0.05, 10, "m"),
		within("impeller diameter", float64(s.Diameter), 0.01, float64(s.Vessel), "m"),
		within("liquid height", float64(s.Height), 0.01, 20, "m"),
		within("speed", s.Speed, 0.01, 50, "1/s"),
		within("density", float64(s.Density), 500, 2000, "kg/m3"),
		within("viscosity", s.Viscosity, 1e-4, 1000, "Pa s"),
		within("viscosity at the wall", s.WallViscosity, 1e-4, 1e4, "Pa s"),
		within("specific heat", s.SpecificHeat, 500, 5000, "J/kg K"),
		within("conductivity", s.Conductivity, 0.05, 5, "W/m K"),
	); err != nil {
		return StirredFilm{}, err
	}
	d := float64(s.Diameter)
	f := StirredFilm{
		Reynolds: s.Speed * d * d * float64(s.Density) / s.Viscosity,
		Prandtl:  s.Viscosity * s.SpecificHeat / s.Conductivity,
	}
	l := s.Impeller.law(f.Reynolds)
	f.Nusselt = l.c * math.Pow(f.Reynolds, l.a) * math.Cbrt(f.Prandtl) *
		math.Pow(s.Viscosity/s.WallViscosity, 0.14) * math.Pow(float64(s.Height/s.Vessel), l.e)
	f.Film = f.Nusselt * s.Conductivity / float64(s.Vessel)
	f.InRange = f.Reynolds >= l.low && f.Reynolds <= l.high
	return f, nil
}

// Overall returns the overall coefficient of a flat wall between two films: 1/U =
// 1/h1 + sum(d/k) + 1/h2. Films 0.1 to 1e5 W/m2·K.
func Overall(inside, outside float64, layers ...Layer) (float64, error) {
	if err := first(
		within("inside film", inside, 0.1, 1e5, "W/m2 K"),
		within("outside film", outside, 0.1, 1e5, "W/m2 K"),
	); err != nil {
		return 0, err
	}
	wall, err := Face{Layers: layers}.resistance("wall")
	if err != nil {
		return 0, err
	}
	return 1 / (1/inside + wall + 1/outside), nil
}
