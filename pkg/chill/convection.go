package chill

import (
	"math"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// VerticalNusselt is natural convection at a vertical plate, laminar and turbulent:
// Nu = (0.825 + 0.387·Ra^(1/6)/(1 + (0.492/Pr)^(9/16))^(8/27))², Churchill and Chu,
// Int. J. Heat Mass Transfer 18 (1975) 1323. Ra 0 to 1e14 (fitted 0.1 to 1e12), Pr
// above 0.001. A cylinder counts as a plate when D/H is above 35/Gr^0.25.
func VerticalNusselt(rayleigh, prandtl float64) (float64, error) {
	if err := first(within("Rayleigh number", rayleigh, 0, 1e14, ""), within("Prandtl number", prandtl, 1e-3, 1e5, "")); err != nil {
		return 0, err
	}
	return verticalNusselt(rayleigh, prandtlFactor(prandtl)), nil
}

func verticalNusselt(ra, factor float64) float64 {
	n := 0.825 + 0.387*math.Sqrt(math.Cbrt(ra))*factor
	return n * n
}

func prandtlFactor(pr float64) float64 {
	return 1 / math.Pow(1+math.Pow(0.492/pr, 9.0/16), 8.0/27)
}

// HorizontalNusselt is natural convection at the upper face of a warm horizontal
// plate, or the lower face of a cold one: the larger of McAdams' 0.54·Ra^0.25 (to 1e7)
// and 0.15·Ra^(1/3) (above; Incropera equations 9.30 and 9.31), not less than 1. Ra 0 to
// 1e12; the length is area over perimeter.
func HorizontalNusselt(rayleigh float64) (float64, error) {
	if err := within("Rayleigh number", rayleigh, 0, 1e12, ""); err != nil {
		return 0, err
	}
	return horizontalNusselt(rayleigh), nil
}

func horizontalNusselt(ra float64) float64 {
	return max(1, 0.54*math.Sqrt(math.Sqrt(ra)), 0.15*math.Cbrt(ra))
}

// CylinderNusselt is forced convection across a cylinder: Churchill and Bernstein, J.
// Heat Transfer 99 (1977) 300. Re 0 to 1e7, Pr 0.01 to 1000 (fitted for Re·Pr above 0.2).
func CylinderNusselt(reynolds, prandtl float64) (float64, error) {
	if err := first(within("Reynolds number", reynolds, 0, 1e7, ""), within("Prandtl number", prandtl, 0.01, 1000, "")); err != nil {
		return 0, err
	}
	low := 0.62 * math.Sqrt(reynolds) * math.Cbrt(prandtl) / math.Sqrt(math.Sqrt(1+math.Pow(0.4/prandtl, 2.0/3)))
	return 0.3 + low*math.Pow(1+math.Pow(reynolds/282000, 5.0/8), 4.0/5), nil
}

// PlateNusselt is forced convection along a flat plate with a blunt edge, averaged
// over its length: the larger of 0.664·Re^0.5·Pr^(1/3), laminar, and 0.037·Re^0.8·
// Pr^(1/3), turbulent from the edge on (Incropera equations 7.30 and 7.38). Re 0 to 1e8,
// Pr 0.6 to 60.
func PlateNusselt(reynolds, prandtl float64) (float64, error) {
	if err := first(within("Reynolds number", reynolds, 0, 1e8, ""), within("Prandtl number", prandtl, 0.6, 60, "")); err != nil {
		return 0, err
	}
	return math.Max(0.664*math.Sqrt(reynolds), 0.037*math.Pow(reynolds, 0.8)) * math.Cbrt(prandtl), nil
}

// stillAir is the film of a pan in air that does not move, W/m2·K (5 to 10 in
// handbooks, from memory).
const stillAir = 5.0

// PanFilm returns the film of air that moves along a pan, W/m2·K: PlateNusselt on
// the length of the pan in the direction of the air, at the air's temperature, and
// never less than 5 W/m2·K of still air. The rim of a pan trips the air, so that it is
// turbulent well below the Reynolds number of a smooth plate. Speed 0 to 20 m/s, length
// 0.05 to 2 m, air -45 to 60 C. Stacks shield each other: measure between the pans.
func PanFilm(speed float64, length units.Length, air units.Celsius) (float64, error) {
	return airFilm(speed, "length of the pan", length, air, PlateNusselt)
}

// PotFilm is PanFilm for a pot of a diameter that stands in moving air: Churchill
// and Bernstein around it, never less than 5 W/m2·K.
func PotFilm(speed float64, diameter units.Length, air units.Celsius) (float64, error) {
	return airFilm(speed, "pot diameter", diameter, air, CylinderNusselt)
}

func airFilm(speed float64, what string, length units.Length, air units.Celsius, law func(re, pr float64) (float64, error)) (float64, error) {
	if err := first(
		within("air speed", speed, 0, 20, "m/s"),
		within(what, float64(length), 0.05, 2, "m"),
		within("air temperature", float64(air), -45, 60, "C"),
	); err != nil {
		return 0, err
	}
	a, err := thermo.AirAt(air, units.Atmosphere)
	if err != nil {
		return 0, err
	}
	nu, err := law(speed*float64(length)/a.Viscosity, a.Prandtl)
	if err != nil {
		return 0, err
	}
	return math.Max(stillAir, nu*a.Conductivity/float64(length)), nil
}

// liquid holds the properties of water that films need, SI.
type liquid struct {
	density, k, nu, cp float64
	// ra is the Rayleigh number per m3 and K, prandtl the factor of Churchill and Chu.
	ra, prandtl float64
}

// waterAt returns them at 0 to 120 C: IAPWS density, Choi and Okos conductivity and
// specific heat, viscosity 2.414e-5·10^(247.8/(T - 140)) Pa·s (within 2.5 %, from
// memory). Around the density maximum at 4 C the expansion counts by its amount: a
// cold pot still convects, if little.
func waterAt(t units.Celsius) (liquid, error) {
	if err := within("liquid temperature", float64(t), 0, 120, "C"); err != nil {
		return liquid{}, err
	}
	p, err := thermo.Composition{Water: 1}.At(t)
	if err != nil {
		return liquid{}, err
	}
	below := max(t-0.5, 0)
	cold, err := thermo.WaterDensity(below)
	if err != nil {
		return liquid{}, err
	}
	warm, err := thermo.WaterDensity(t + 0.5)
	if err != nil {
		return liquid{}, err
	}
	l := liquid{density: float64(cold+warm) / 2, k: p.Conductivity, cp: p.SpecificHeat}
	expansion := math.Abs(float64(cold-warm)) / float64(t+0.5-below) / l.density
	l.nu = 2.414e-5 * math.Pow(10, 247.8/(float64(t.Kelvin())-140)) / l.density
	alpha := l.k / (l.density * l.cp)
	l.ra = gravity * expansion / (l.nu * alpha)
	l.prandtl = prandtlFactor(l.nu / alpha)
	return l, nil
}

// waters is waterAt at every degree from 0 to 120 C, for models that ask often.
var waters = func() (w [121]liquid) {
	for i := range w {
		l, err := waterAt(units.Celsius(i))
		if err != nil {
			panic(err) // the whole range is known
		}
		w[i] = l
	}
	return w
}()

// natural returns the film of water at a face, W/m2·K, at the mean temperature t of
// both; linear between whole degrees.
func natural(t, length, difference float64, law func(ra, factor float64) float64) float64 {
	t = math.Max(0, math.Min(120, t))
	i := min(int(t), 119)
	a, b, f := &waters[i], &waters[i+1], t-float64(i)
	ra := (a.ra + f*(b.ra-a.ra)) * math.Abs(difference) * length * length * length
	return law(ra, a.prandtl+f*(b.prandtl-a.prandtl)) * (a.k + f*(b.k-a.k)) / length
}

// StillFilm returns the film inside a still pot: natural convection of water along a
// vertical wall of the liquid's height (VerticalNusselt) at the mean of liquid and
// wall, W/m2·K. Height 0.01 to 5 m, both temperatures 0 to 120 C. Stock with gelatin or
// starch convects less; once it gels it does not convect at all.
func StillFilm(height units.Length, bulk, wall units.Celsius) (float64, error) {
	if err := first(
		within("height", float64(height), 0.01, 5, "m"),
		within("liquid temperature", float64(bulk), 0, 120, "C"),
		within("wall temperature", float64(wall), 0, 120, "C"),
	); err != nil {
		return 0, err
	}
	return natural(float64(bulk+wall)/2, float64(height), float64(bulk-wall), verticalNusselt), nil
}
