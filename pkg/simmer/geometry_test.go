package simmer_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/floats/scalar"
	"gonum.org/v1/gonum/integrate/quad"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

var (
	stockPot = simmer.Geometry{Shape: simmer.Cylinder, Diameter: 0.40, Height: 0.40}
	jacketed = simmer.Geometry{Shape: simmer.Hemispherical, Diameter: 0.70, Height: 0.65}
	brasier  = simmer.Geometry{Shape: simmer.Pan, Length: 0.9, Width: 0.6, Height: 0.25}
	sloped   = simmer.Geometry{Shape: simmer.Conical, Diameter: 0.50, Floor: 0.30, Height: 0.25}
	straight = simmer.Geometry{Shape: simmer.Conical, Diameter: 0.4, Floor: 0.4 - 1e-9, Height: 0.40}
)

func TestVolumesOfKnownSolids(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		g    simmer.Geometry
		want float64
	}{
		{"cylinder", stockPot, math.Pi * 0.04 * 0.40},
		{"half sphere and cylinder", jacketed, 2*math.Pi*math.Pow(0.35, 3)/3*1*1 + math.Pi*0.35*0.35*0.30},
		{"pan", brasier, 0.135},
		{"frustum", sloped, math.Pi * 0.25 / 3 * (0.15*0.15 + 0.15*0.25 + 0.25*0.25)},
		{"frustum as good as a cylinder", straight, math.Pi * 0.04 * 0.40},
	} {
		if got := float64(c.g.Brimful()); !scalar.EqualWithinRel(got, c.want, 1e-8) {
			t.Errorf("%s holds %v, want %v", c.name, got, c.want)
		}
	}
}

func TestLevelInvertsVolume(t *testing.T) {
	t.Parallel()
	for _, g := range []simmer.Geometry{stockPot, jacketed, brasier, sloped, straight} {
		for i := 0; i <= 4000; i++ {
			want := float64(g.Height) * math.Pow(float64(i)/4000, 3)
			got := float64(g.LevelAt(g.VolumeAt(units.Length(want))))
			if !scalar.EqualWithinAbs(got, want, 1e-9) {
				t.Fatalf("shape %d: level %v came back as %v", g.Shape, want, got)
			}
		}
		if l := g.LevelAt(g.Brimful() * 2); l != g.Height {
			t.Errorf("overfull level %v", l)
		}
	}
}

// The surface is the derivative of the volume, so its integral is the volume.
func TestSurfaceIsTheDerivativeOfVolume(t *testing.T) {
	t.Parallel()
	for _, g := range []simmer.Geometry{stockPot, jacketed, brasier, sloped, straight} {
		for _, to := range []float64{0.1, 0.2, 0.24} {
			f := func(h float64) float64 { return float64(g.SurfaceAt(units.Length(h))) }
			if got := quad.Fixed(f, 0, to, 20, nil, 0); !scalar.EqualWithinRel(got, float64(g.VolumeAt(units.Length(to))), 1e-10) {
				t.Errorf("shape %d to %v: integral %v, volume %v", g.Shape, to, got, float64(g.VolumeAt(units.Length(to))))
			}
		}
	}
}

func TestWettedWall(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		g    simmer.Geometry
		h    units.Length
		want float64
	}{
		{stockPot, 0.2, math.Pi*0.04 + math.Pi*0.4*0.2},
		{jacketed, 0.35, 2 * math.Pi * 0.35 * 0.35},
		{brasier, 0.1, 0.54 + 2*1.5*0.1},
		{sloped, 0.25, math.Pi*0.15*0.15 + math.Pi*(0.15+0.25)*math.Hypot(0.25, 0.10)}, // lateral frustum pi(r+R)s
	} {
		if got := float64(c.g.WettedAt(c.h)); !scalar.EqualWithinRel(got, c.want, 1e-14) {
			t.Errorf("shape %d: wetted %v, want %v", c.g.Shape, got, c.want)
		}
	}
}

// The ratio taught in culinary schools, 8 lb bones : 6 qt water, fills to cover in
// a pot of the usual proportions (a published kitchen ratio; packing is our own
// working value).
func TestFillToCoverMeetsTheKitchenRatio(t *testing.T) {
	t.Parallel()
	pot := simmer.Geometry{Shape: simmer.Cylinder, Diameter: 0.26, Height: 0.26}
	water, level, err := simmer.FillToCover(pot, simmer.Bed{Mass: 8 * units.Pound}, 4*units.Centimetre)
	if err != nil || !scalar.EqualWithinRel(water.USQuarts(), 6, 0.15) {
		t.Errorf("8 lb of bones take %.2f qt (level %v), %v; the ratio says 6", water.USQuarts(), level, err)
	}
	// By hand: pieces 3.6287/1250 = 2.903 L, bed 6.451 L, level 121.5 + 40 mm,
	// water 8.575 - 2.903 = 5.672 L.
	if !scalar.EqualWithinAbs(water.Litres(), 5.672, 2e-3) || !scalar.EqualWithinAbs(level.Millimetres(), 161.5, 0.1) {
		t.Errorf("water %v, level %v", water, level)
	}
	if _, _, err := simmer.FillToCover(pot, simmer.Bed{Mass: 20}, 4*units.Centimetre); err == nil {
		t.Error("20 kg of bones must not fit a 14 L pot")
	}
	for _, b := range []simmer.Bed{{Mass: -1}, {Mass: units.Mass(math.NaN())}, {Mass: 1, Packing: 1.2}, {Mass: 1, Density: 10}} {
		if _, _, err := simmer.FillToCover(pot, b, 0); err == nil {
			t.Errorf("%+v must be refused", b)
		}
	}
}

// A bed that fills a bowl to its rim: bulk pi·2r³/3, so the level is the radius, and with no
// cover the water is the bowl's volume less the pieces. In the cone the level comes from
// the cubic of the frustum.
func TestFillToCoverAgainstClosedForms(t *testing.T) {
	t.Parallel()
	r := 0.35
	bowl := 2 * math.Pi * r * r * r / 3
	bed := simmer.Bed{Mass: units.Mass(bowl * 0.5 * 1250), Packing: 0.5}
	water, level, err := simmer.FillToCover(jacketed, bed, 0)
	if err != nil || !scalar.EqualWithinRel(float64(level), r, 1e-9) || !scalar.EqualWithinRel(float64(water), bowl/2, 1e-9) {
		t.Errorf("bowl: level %v, water %v, %v", level, water, err)
	}
	// Half the height of the sloped pan: diameter 0.40 there, bulk pi·0.125/3·(0.15² + 0.15·0.2 + 0.2²).
	bulk := math.Pi * 0.125 / 3 * (0.15*0.15 + 0.15*0.2 + 0.2*0.2)
	water, level, err = simmer.FillToCover(sloped, simmer.Bed{Mass: units.Mass(bulk * 0.45 * 1250)}, 0.05)
	full := math.Pi * 0.175 / 3 * (0.15*0.15 + 0.15*0.22 + 0.22*0.22)
	if err != nil || !scalar.EqualWithinRel(float64(level), 0.175, 1e-9) || !scalar.EqualWithinRel(float64(water), full-bulk*0.45, 1e-9) {
		t.Errorf("cone: level %v, water %v, %v; want 175 mm and %v", level, water, err, full-bulk*0.45)
	}
}

func TestFloorArea(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		g    simmer.Geometry
		want float64
	}{{stockPot, math.Pi * 0.04}, {brasier, 0.54}, {sloped, math.Pi * 0.0225}, {jacketed, math.Pi * 0.35 * 0.35}} {
		if got := float64(c.g.FloorArea()); !scalar.EqualWithinRel(got, c.want, 1e-14) {
			t.Errorf("shape %d: floor %v, want %v", c.g.Shape, got, c.want)
		}
	}
}

func TestBadGeometryIsRefused(t *testing.T) {
	t.Parallel()
	nan := units.Length(math.NaN())
	for _, g := range []simmer.Geometry{
		{},
		{Shape: simmer.Cylinder, Diameter: nan, Height: 1},
		{Shape: simmer.Pan, Length: 1, Height: 1},
		{Shape: simmer.Hemispherical, Diameter: 1, Height: 0.4},
		{Shape: 9, Diameter: 1, Height: 1},
		{Shape: simmer.Cylinder, Diameter: 1, Height: 50},
		{Shape: simmer.Conical, Diameter: 0.3, Height: 0.3},
		{Shape: simmer.Conical, Diameter: 0.3, Floor: 0.4, Height: 0.3},
	} {
		if g.Check() == nil {
			t.Errorf("%+v must be refused", g)
		}
	}
}
