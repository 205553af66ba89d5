package chill

import (
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// PlankBody are the inputs of Plank's equation.
type PlankBody struct {
	Shape      Shape        // Slab, LongCylinder or Sphere
	Full       units.Length // full thickness or diameter
	Density    units.Density
	Latent     float64 // heat of freezing of the food, J/kg
	Frozen     float64 // conductivity of the frozen food, W/m·K
	Film       float64 // W/m2·K
	FreezingAt units.Celsius
	Medium     units.Celsius
}

// Plank returns the time from the freezing point, still unfrozen, to frozen at the
// freezing point: t = rho·L/(Tf - Ta)·(P·a/h + R·a²/k); slab P 1/2, R 1/8; long
// cylinder 1/4, 1/16; sphere 1/6, 1/24. It leaves out cooling before and after,
// and so gives too short a time.
func Plank(b PlankBody) (time.Duration, error) {
	if err := first(
		within("thickness", float64(b.Full), 1e-3, 2, "m"),
		within("density", float64(b.Density), 500, 2000, "kg/m3"),
		within("heat of freezing", b.Latent, 1e4, 4e5, "J/kg"),
		within("frozen conductivity", b.Frozen, 0.1, 5, "W/m K"),
		within("film coefficient", b.Film, 0.1, 1e4, "W/m2 K"),
		within("freezing point", float64(b.FreezingAt), -10, 0, "C"),
		within("medium", float64(b.Medium), -200, float64(b.FreezingAt)-0.5, "C"),
	); err != nil {
		return 0, err
	}
	var p, r float64
	switch b.Shape {
	case Slab:
		p, r = 1.0/2, 1.0/8
	case LongCylinder:
		p, r = 1.0/4, 1.0/16
	case Sphere:
		p, r = 1.0/6, 1.0/24
	default:
		return 0, errShape(b.Shape, "is not covered by Plank's constants; use Pham")
	}
	a := float64(b.Full)
	t := float64(b.Density) * b.Latent / float64(b.FreezingAt-b.Medium) * (p*a/b.Film + r*a*a/b.Frozen)
	return time.Duration(t * float64(time.Second)), nil
}

// PhamBody are the inputs of Pham's method.
type PhamBody struct {
	Shape     Shape        // any
	Thickness units.Length // slab, height of a finite cylinder, shortest side of a brick
	Diameter  units.Length // cylinders and sphere
	Width     units.Length // brick, middle
	Length    units.Length // brick, longest

	DensityUnfrozen, DensityFrozen units.Density
	HeatUnfrozen, HeatFrozen       float64 // specific heats, J/kg·K
	Latent                         float64 // heat of freezing of the food, J/kg
	Frozen                         float64 // conductivity of the frozen food, W/m·K
	Film                           float64 // W/m2·K
	Start, Final, Medium           units.Celsius
}

// Freezing is the result of Pham's method.
type Freezing struct {
	Time         time.Duration
	MeanFreezing units.Celsius // Tfm
	Biot         float64       // h·dc/kf
	ShapeFactor  float64       // Ef
	// InRange tells whether the published validity holds: Biot 0.02 to 11, medium -45
	// to -15 C, start up to 40 C, final core -18 to -10 C.
	InRange bool
}

// Pham returns the time from a start temperature to a final core temperature (Pham
// 1986, as in Singh and Heldman, chapter 7, and the ASHRAE Handbook): Tfm = 1.8 +
// 0.263·Tc + 0.105·Ta; t = dc/(Ef·h)·(dH1/dT1 + dH2/dT2)·(1 + NBi/2). Brick and
// finite cylinder by the shape factor Ef = G1 + G2·E1 + G3·E2. About 10 % within
// the range; outside it the result is flagged.
func Pham(b PhamBody) (Freezing, error) {
	if err := first(
		within("unfrozen density", float64(b.DensityUnfrozen), 500, 2000, "kg/m3"),
		within("frozen density", float64(b.DensityFrozen), 500, 2000, "kg/m3"),
		within("unfrozen specific heat", b.HeatUnfrozen, 500, 5000, "J/kg K"),
		within("frozen specific heat", b.HeatFrozen, 500, 5000, "J/kg K"),
		within("heat of freezing", b.Latent, 1e4, 4e5, "J/kg"),
		within("frozen conductivity", b.Frozen, 0.1, 5, "W/m K"),
		within("film coefficient", b.Film, 0.1, 1e4, "W/m2 K"),
		within("final temperature", float64(b.Final), -40, -5, "C"),
		within("medium", float64(b.Medium), -200, float64(b.Final)-0.5, "C"),
		within("start temperature", float64(b.Start), 0, 100, "C"),
	); err != nil {
		return Freezing{}, err
	}
	dc, err := b.radius()
	if err != nil {
		return Freezing{}, err
	}
	f := Freezing{Biot: b.Film * dc / b.Frozen}
	f.ShapeFactor = b.shapeFactor(f.Biot)
	tfm := 1.8 + 0.263*float64(b.Final) + 0.105*float64(b.Medium)
	f.MeanFreezing = units.Celsius(tfm)
	start, final, medium := float64(b.Start), float64(b.Final), float64(b.Medium)
	h1 := float64(b.DensityUnfrozen) * b.HeatUnfrozen * (start - tfm)
	h2 := float64(b.DensityFrozen) * (b.Latent + b.HeatFrozen*(tfm-final))
	d1, d2 := (start+tfm)/2-medium, tfm-medium
	if err := within("drive of the freezing phase", d2, 0.5, 300, "K"); err != nil {
		return Freezing{}, err
	}
	t := dc / (f.ShapeFactor * b.Film) * (h1/d1 + h2/d2) * (1 + f.Biot/2)
	f.Time = time.Duration(t * float64(time.Second))
	f.InRange = f.Biot >= 0.02 && f.Biot <= 11 && medium >= -45 && medium <= -15 && start <= 40 && final >= -18 && final <= -10
	return f, nil
}

// radius returns the characteristic half size.
func (b PhamBody) radius() (float64, error) {
	side := func(what string, l units.Length) error { return within(what, float64(l), 1e-3, 3, "m") }
	t, d := float64(b.Thickness), float64(b.Diameter)
	switch b.Shape {
	case Slab:
		return t / 2, side("thickness", b.Thickness)
	case LongCylinder, Sphere:
		return d / 2, side("diameter", b.Diameter)
	case FiniteCylinder:
		return math.Min(t, d) / 2, first(side("height", b.Thickness), side("diameter", b.Diameter))
	case Brick:
		if b.Width < b.Thickness || b.Length < b.Width {
			return 0, errShape(b.Shape, "needs thickness <= width <= length")
		}
		return t / 2, first(side("thickness", b.Thickness), side("width", b.Width), side("length", b.Length))
	default:
		return 0, errShape(b.Shape, "is unknown")
	}
}

func (b PhamBody) shapeFactor(bi float64) float64 {
	r1, r2 := b.ratios()
	return dimensionality(b.Shape, r1, r2, bi)
}

// ratios of the sides to the shortest, for dimensionality.
func (b PhamBody) ratios() (float64, float64) {
	switch b.Shape {
	case FiniteCylinder:
		if b.Thickness < b.Diameter {
			return float64(b.Diameter / b.Thickness), 1
		}
		return 1, float64(b.Thickness / b.Diameter)
	case Brick:
		return float64(b.Width / b.Thickness), float64(b.Length / b.Thickness)
	default:
		return 1, 1
	}
}
