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
)

// Geometry gives inside measures. Height runs from the lowest point to the brim;
// a Hemispherical vessel is at least its radius high. Diameter is for Cylinder and Hemispherical,
// Length and Width for Pan.
type Geometry struct {
	Shape    Shape
	Diameter units.Length
	Length   units.Length
	Width    units.Length
	Height   units.Length
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
	default:
		r := float64(g.Diameter) / 2
		return units.Area(math.Pi * r * r)
	}
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
	default:
		d := float64(g.Diameter)
		return units.Area(math.Pi*d*d/4 + math.Pi*d*h)
	}
}

// characteristic returns free surface over its perimeter, in metres.
func (g Geometry) characteristic(surface units.Area) float64 {
	if g.Shape == Pan {
		return float64(surface) / (2 * float64(g.Length+g.Width))
	}
	return math.Sqrt(float64(surface)/math.Pi) / 2
}

func (g Geometry) clampLevel(level units.Length) float64 {
	return math.Max(0, math.Min(float64(level), float64(g.Height)))
}

// Bed describes bones (or trim) as they lie in the vessel.
type Bed struct {
	Mass units.Mass
	// Density of the pieces themselves; 0 means DefaultBoneDensity.
	Density units.Density
	// Packing is the share of the bed's volume filled by pieces, 0.2 to 0.8;
	// 0 means DefaultPacking.
	Packing float64
}

// Working values for cut bones: common practice, no source. Measure once per cut
// by covering a weighed crate of bones with weighed water.
const (
	DefaultBoneDensity units.Density = 1250
	DefaultPacking     float64       = 0.45
)

// FillToCover returns the water that covers a bed of bones by the given depth
// and the level reached. It is an error when bones and cover do not fit below the
// brim; the error says how much bone would.
func FillToCover(g Geometry, bed Bed, cover units.Length) (water units.Volume, level units.Length, err error) {
	if err := g.Check(); err != nil {
		return 0, 0, err
	}
	bed, err = bed.normal()
	if err != nil {
		return 0, 0, err
	}
	if err := within("cover", float64(cover), 0, float64(g.Height), "m"); err != nil {
		return 0, 0, err
	}
	solid := float64(bed.Mass) / float64(bed.Density)
	bulk := units.Volume(solid / bed.Packing)
	room := g.VolumeAt(g.Height - cover)
	if bulk > room {
		fits := float64(room) * bed.Packing * float64(bed.Density)
		return 0, 0, fmt.Errorf("%.1f kg of bones covered by %.0f mm of water do not fit: at most %.1f kg go into this vessel (brimful %.1f L)",
			float64(bed.Mass), cover.Millimetres(), fits, g.Brimful().Litres())
	}
	level = g.LevelAt(bulk) + cover
	return g.VolumeAt(level) - units.Volume(solid), level, nil
}

func (b Bed) normal() (Bed, error) {
	if b.Density == 0 {
		b.Density = DefaultBoneDensity
	}
	if b.Packing == 0 {
		b.Packing = DefaultPacking
	}
	if err := within("mass of bones", float64(b.Mass), 0, 5000, "kg"); err != nil {
		return b, err
	}
	if err := within("density of bones", float64(b.Density), 800, 2500, "kg/m3"); err != nil {
		return b, err
	}
	return b, within("packing fraction", b.Packing, 0.2, 0.8, "")
}

func within(what string, v, low, high float64, unit string) error {
	if math.IsNaN(v) || v < low || v > high {
		return fmt.Errorf("%s %g %s is outside %g to %g %s", what, v, unit, low, high, unit)
	}
	return nil
}
