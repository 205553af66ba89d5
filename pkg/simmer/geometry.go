package simmer

import (
	"fmt"
	"math"

	"rondeau.internal/pkg/units"
)

// Shape of the inside of a vessel.
type Shape uint8

// The shapes of kettles and pans.
const (
	// Cylinder is an upright pot with a flat bottom: stock pot, rondeau.
	Cylinder Shape = iota
	// Hemispherical has a half-sphere bottom below a cylinder, as jacketed kettles do.
	Hemispherical
	// Pan is a rectangular pan with upright walls: tilting braising pan, hotel pan.
	Pan
	// Conical has a round flat floor and straight walls that lean outwards: sloped
	// saucepan, cone-bottomed melting kettle.
	Conical
)

// Geometry gives inside measures. Height runs from the lowest point to the brim;
// a Hemispherical vessel is at least its radius high. Diameter is for the round
// shapes, for Conical at the brim; Floor is the diameter of a Conical vessel's
// floor; Length and Width are for Pan.
type Geometry struct {
	Shape    Shape
	Diameter units.Length
	Length   units.Length
	Width    units.Length
	Height   units.Length
	Floor    units.Length
}

// Check reports a measure outside 2 cm to 5 m, or an impossible shape.
func (g Geometry) Check() error {
	size := func(name string, l units.Length) error {
		if math.IsNaN(float64(l)) || l < 0.02 || l > 5 {
			return fmt.Errorf("vessel %s %g m is outside 0.02 to 5 m", name, float64(l))
		}
		return nil
	}
	if err := size("height", g.Height); err != nil {
		return err
	}
	switch g.Shape {
	case Cylinder:
		return size("diameter", g.Diameter)
	case Hemispherical:
		if err := size("diameter", g.Diameter); err != nil {
			return err
		}
		if g.Height < g.Diameter/2 {
			return fmt.Errorf("kettle height %g m is below its radius %g m: a hemispherical bottom does not fit", float64(g.Height), float64(g.Diameter/2))
		}
		return nil
	case Pan:
		if err := size("length", g.Length); err != nil {
			return err
		}
		return size("width", g.Width)
	case Conical:
		if err := size("diameter", g.Diameter); err != nil {
			return err
		}
		if err := size("floor diameter", g.Floor); err != nil {
			return err
		}
		if g.Floor > g.Diameter {
			return fmt.Errorf("floor diameter %g m is above the diameter %g m at the brim: a conical vessel opens upwards", float64(g.Floor), float64(g.Diameter))
		}
		return nil
	default:
		return fmt.Errorf("vessel shape %d is unknown", g.Shape)
	}
}

// Brimful is the volume to the brim.
func (g Geometry) Brimful() units.Volume { return g.VolumeAt(g.Height) }

// VolumeAt returns the volume below a level, which is taken within 0 and Height.
func (g Geometry) VolumeAt(level units.Length) units.Volume {
	h := g.clampLevel(level)
	switch g.Shape {
	case Pan:
		return units.Volume(float64(g.Length) * float64(g.Width) * h)
	case Hemispherical:
		r := float64(g.Diameter) / 2
		if h < r {
			return units.Volume(math.Pi * h * h * (3*r - h) / 3)
		}
		return units.Volume(2*math.Pi*r*r*r/3 + math.Pi*r*r*(h-r))
	case Conical:
		a, b := float64(g.Floor), g.across(h)
		return units.Volume(math.Pi * h * (a*a + a*b + b*b) / 12)
	default:
		r := float64(g.Diameter) / 2
		return units.Volume(math.Pi * r * r * h)
	}
}

// LevelAt returns the level of a volume, which is taken within 0 and Brimful.
func (g Geometry) LevelAt(volume units.Volume) units.Length {
	v := math.Max(0, float64(volume))
	var h float64
	switch g.Shape {
	case Pan:
		h = v / (float64(g.Length) * float64(g.Width))
	case Hemispherical:
		r := float64(g.Diameter) / 2
		if bowl := 2 * math.Pi * r * r * r / 3; v >= bowl {
			h = r + (v-bowl)/(math.Pi*r*r)
		} else {
			h = capHeight(v, r)
		}
	case Conical:
		h = g.frustumHeight(v)
	default:
		r := float64(g.Diameter) / 2
		h = v / (math.Pi * r * r)
	}
	return units.Length(math.Min(h, float64(g.Height)))
}

// capHeight solves pi·h²·(3r - h)/3 = v for h in [0, r].
func capHeight(v, r float64) float64 {
	// x = h/r satisfies x³ - 3x² + q = 0, q = 3v/(pi·r³) in [0, 2]. Put x = 1 + 2·cos(a):
	// 8cos³a - 6cos a - 2 + q = 0, that is 2·cos(3a) = 2 - q; the root in [0, 1] is
	// the branch a in [pi/2, 2pi/3].
	q := 3 * v / (math.Pi * r * r * r)
	c := math.Acos(math.Max(-1, math.Min(1, 1-q/2)))
	x := 1 + 2*math.Cos((2*math.Pi-c)/3)
	if x < 1e-3 { // cancellation: one Newton step from the thin-cap solution x = sqrt(q/3)
		x = math.Sqrt(q / 3)
		if x > 0 {
			x -= (x*x*x - 3*x*x + q) / (3*x*x - 6*x)
		}
	}
	return r * math.Max(0, x)
}

// SurfaceAt returns the free surface at a level.
func (g Geometry) SurfaceAt(level units.Length) units.Area {
	switch g.Shape {
	case Pan:
		return units.Area(float64(g.Length) * float64(g.Width))
	case Hemispherical:
		r, h := float64(g.Diameter)/2, g.clampLevel(level)
		if h < r {
			return units.Area(math.Pi * h * (2*r - h))
		}
		return units.Area(math.Pi * r * r)
	case Conical:
		d := g.across(g.clampLevel(level))
		return units.Area(math.Pi * d * d / 4)
	default:
		r := float64(g.Diameter) / 2
		return units.Area(math.Pi * r * r)
	}
}

// FloorArea is the part of the wall that a flame or plate below the vessel heats: the
// floor of the flat-bottomed shapes, the lower half of a Hemispherical vessel's bowl in
// height, which is half of the bowl.
func (g Geometry) FloorArea() units.Area {
	switch g.Shape {
	case Pan:
		return units.Area(float64(g.Length) * float64(g.Width))
	case Conical:
		return units.Area(math.Pi * float64(g.Floor) * float64(g.Floor) / 4)
	default: // pi·d·(r/2) of the bowl is pi·d²/4, as of a disc
		return units.Area(math.Pi * float64(g.Diameter) * float64(g.Diameter) / 4)
	}
}

// floorWidth is the diameter of the floor, of a pan its shorter side.
func (g Geometry) floorWidth() float64 {
	switch g.Shape {
	case Pan:
		return math.Min(float64(g.Length), float64(g.Width))
	case Conical:
		return float64(g.Floor)
	default:
		return float64(g.Diameter)
	}
}

// across is the inside diameter of a conical vessel at a level.
func (g Geometry) across(h float64) float64 {
	return float64(g.Floor) + float64(g.Diameter-g.Floor)*h/float64(g.Height)
}

// frustumHeight inverts pi·h·(a² + a·b + b²)/12 = v with b = a + s·h, in closed form:
// h = (cbrt(a³ + 12·v·s/pi) - a)/s, written without the cancellation for small s.
func (g Geometry) frustumHeight(v float64) float64 {
	a := float64(g.Floor)
	s := float64(g.Diameter-g.Floor) / float64(g.Height)
	b := math.Cbrt(a*a*a + 12*v*s/math.Pi)
	return 12 * v / (math.Pi * (b*b + a*b + a*a))
}

// WettedAt returns the wall touched by the contents at a level, bottom included.
func (g Geometry) WettedAt(level units.Length) units.Area {
	h := g.clampLevel(level)
	switch g.Shape {
	case Pan:
		l, w := float64(g.Length), float64(g.Width)
		return units.Area(l*w + 2*(l+w)*h)
	case Hemispherical:
		return units.Area(math.Pi * float64(g.Diameter) * h) // 2·pi·r·h holds for cap and cylinder
	case Conical:
		a, b := float64(g.Floor), g.across(h)
		return units.Area(math.Pi*a*a/4 + math.Pi*(a+b)/2*math.Hypot(h, (b-a)/2))
	default:
		d := float64(g.Diameter)
		return units.Area(math.Pi*d*d/4 + math.Pi*d*h)
	}
}

func (g Geometry) clampLevel(level units.Length) float64 {
	return math.Max(0, math.Min(float64(level), float64(g.Height)))
}

func within(what string, v, low, high float64, unit string) error {
	if math.IsNaN(v) || v < low || v > high {
		return fmt.Errorf("%s %g %s is outside %g to %g %s", what, v, unit, low, high, unit)
	}
	return nil
}
