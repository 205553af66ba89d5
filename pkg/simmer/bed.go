package simmer

import (
	"fmt"

	"rondeau.internal/pkg/units"
)

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
