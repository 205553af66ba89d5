package chill_test

import (
	"math"
	"testing"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

func finite(t *testing.T, what string, vs ...float64) {
	t.Helper()
	for _, v := range vs {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("%s: %v", what, vs)
		}
	}
}

// FuzzConduction: any piece is refused or gives finite states within its bounds.
func FuzzConduction(f *testing.F) {
	f.Add(uint8(0), 0.05, 0.05, 25.0, 0.0, 1.0, 60.0, 2.0, uint8(0), 3600.0)
	f.Add(uint8(3), 0.1, 0.1, 10.0, 0.0, 6.0, 80.0, -30.0, uint8(1), 86400.0)
	f.Add(uint8(4), 0.1, 0.1, 1e5, 0.01, 50.0, -40.0, 150.0, uint8(2), 10.0)
	f.Add(uint8(0), 1e-3, 3.0, 0.0, 0.2, 1.0, 150.0, -60.0, uint8(6), 2.6e6)
	f.Add(uint8(1), math.NaN(), math.Inf(1), -1.0, math.NaN(), 0.0, 1e300, -1e300, uint8(255), -5.0)
	sharp := tylose
	sharp.Sharp = true
	subs := []*chill.Substance{frozenStock(f), phases(f, tylose), phases(f, sharp)}
	f.Fuzz(func(t *testing.T, shape uint8, thick, wide, film, layer, still, start, air float64, kind uint8, seconds float64) {
		p := chill.Piece{
			Shape: chill.Shape(shape % 6), Thickness: units.Length(thick), Diameter: units.Length(wide), Width: units.Length(wide), Length: units.Length(2 * wide),
			Substance: subs[int(kind)%len(subs)], Upper: chill.Face{Film: film}, StillFactor: still, GelBelow: 15,
			Start: units.Celsius(start), Surroundings: units.Celsius(air), Cells: 8, Tolerance: 0.5,
		}
		if layer != 0 {
			p.Upper.Layers = []chill.Layer{{Thickness: units.Length(layer), Conductivity: 0.17}}
		}
		if kind&4 != 0 {
			p.Lower = chill.Face{Film: film / 2}
		}
		if kind&8 != 0 {
			a, err := chill.NewAirFilm(chill.AirSetting{Orientation: chill.Orientation(kind >> 4 % 5), Length: units.Length(wide), Emissivity: 0.9})
			if err != nil {
				return
			}
			p.Upper.Air = a
		}
		m, err := chill.NewConduction(p)
		if err != nil {
			return
		}
		if !(seconds >= 0 && seconds < 1e5) {
			seconds = 3600
		}
		s, err := m.Step(time.Duration(seconds * 1e9))
		if err != nil {
			return
		}
		finite(t, "state", float64(s.Core), float64(s.Mean), float64(s.Heat), float64(m.Surface()), float64(m.Given()), float64(m.Content()), m.Frozen(), m.Conductance())
		if low, high := min(start, air)-1, max(start, air)+1; float64(s.Mean) < low || float64(s.Mean) > high {
			t.Fatalf("mean %v outside %v to %v", float64(s.Mean), low, high)
		}
		if _, err := chill.Equalise(m, chill.Store{Air: units.Celsius(air), Upper: p.Upper, Lower: p.Lower, Horizon: time.Hour}); err == nil {
			if r, err := chill.RunFreezing(m, chill.FreezeGoal{Horizon: time.Hour, Sample: 10 * time.Minute}); err == nil {
				finite(t, "run", float64(r.Heat), float64(r.Peak), float64(r.Rest))
			}
		}
	})
}

// FuzzSubstance: any composition or pair of phases is refused or gives a substance that goes up.
func FuzzSubstance(f *testing.F) {
	f.Add(0.95, 0.03, 0.01, -0.5, 209000.0, 0.55, 1.65)
	f.Add(0.0, 0.0, 0.0, -10.0, 1e4, 0.1, 5.0)
	f.Add(0.5, 0.5, 0.0, -5.0, 4e5, 5.0, 0.1)
	f.Add(math.NaN(), 2.0, -1.0, 0.0, math.Inf(1), -1.0, 0.0)
	f.Fuzz(func(t *testing.T, water, protein, ash, freezing, latent, ku, kf float64) {
		one, err1 := chill.FoodSubstance(thermo.Composition{Water: water, Protein: protein, Ash: ash, Fat: 1 - water - protein - ash}, units.Celsius(freezing))
		two, err2 := chill.PhaseSubstance(chill.Phases{Density: 1000, HeatUnfrozen: 3500, HeatFrozen: 1900, Latent: latent, Unfrozen: ku, Frozen: kf, FreezingAt: units.Celsius(freezing), Sharp: water > 0.5})
		for _, s := range []*chill.Substance{one, two} {
			if s == one && err1 != nil || s == two && err2 != nil {
				continue
			}
			last := math.Inf(-1)
			for c := -60.0; c <= 150; c += 7 {
				h, err := s.Enthalpy(units.Celsius(c))
				k, err2 := s.Conductivity(units.Celsius(c))
				if err != nil || err2 != nil || !(h > last) || !(k > 0) {
					t.Fatalf("%v C: enthalpy %v after %v, conductivity %v, %v, %v", c, h, last, k, err, err2)
				}
				last = h
			}
		}
	})
}

// FuzzPhaseTimes: the formulas refuse or give a finite time.
func FuzzPhaseTimes(f *testing.F) {
	f.Add(uint8(0), 0.05, 0.1, 0.2, 30.0, 10.0, -18.0, -30.0, 2.1e8, 1.6)
	f.Add(uint8(3), 0.05, 0.05, 0.05, 1e4, 100.0, -40.0, -200.0, 1e7, 0.1)
	f.Add(uint8(4), 3.0, 3.0, 3.0, 0.1, 0.0, -5.0, -10.6, 4e8, 5.0)
	f.Add(uint8(9), math.NaN(), -1.0, 0.0, math.Inf(1), math.NaN(), 1.0, 1e9, 0.0, -1.0)
	f.Fuzz(func(t *testing.T, shape uint8, thick, wide, long, film, start, final, medium, heat, k float64) {
		b := chill.PhaseBody{
			Shape: chill.Shape(shape % 6), Thickness: units.Length(thick), Diameter: units.Length(wide), Width: units.Length(wide), Length: units.Length(long),
			CapacityUnfrozen: 3.7e6, CapacityFrozen: 1.9e6, ToMinusTen: heat, Unfrozen: 0.55, Frozen: k, FreezingAt: -0.6, Film: film,
			Start: units.Celsius(start), Medium: units.Celsius(medium), Final: units.Celsius(final),
		}
		for _, method := range []func(chill.PhaseBody) (chill.PhaseTime, error){chill.ClelandEarle, chill.Thaw} {
			if r, err := method(b); err == nil {
				finite(t, "phase time", r.Biot, r.Stefan, r.Plank, r.P, r.R, r.ShapeFactor)
				if r.Time < 0 || r.Time > 3650*24*time.Hour {
					t.Fatalf("time %v", r.Time)
				}
			}
		}
		if r, err := chill.Pham(chill.PhamBody{
			Shape: b.Shape, Thickness: b.Thickness, Diameter: b.Diameter, Width: b.Width, Length: b.Length, DensityUnfrozen: 1000, DensityFrozen: 950,
			HeatUnfrozen: 3700, HeatFrozen: 1900, Latent: heat / 1000, Frozen: k, Film: film, Start: b.Start, Final: b.Final, Medium: b.Medium,
		}); err == nil {
			finite(t, "pham", r.Biot, r.ShapeFactor, float64(r.MeanFreezing))
			if r.Time < 0 {
				t.Fatalf("pham %v", r.Time)
			}
		}
		if d, err := chill.Plank(chill.PlankBody{Shape: b.Shape, Full: b.Thickness, Density: 1000, Latent: heat / 1000, Frozen: k, Film: film, FreezingAt: -0.6, Medium: b.Medium}); err == nil && d < 0 {
			t.Fatalf("plank %v", d)
		}
	})
}

// FuzzAirFilm: a film is refused or finite and not negative.
func FuzzAirFilm(f *testing.F) {
	f.Add(uint8(0), 0.1, 2.0, 0.5, 0.9, 60.0, 2.0)
	f.Add(uint8(1), 5.0, 30.0, 10.0, 1.0, -60.0, 150.0)
	f.Add(uint8(7), math.NaN(), -1.0, 0.0, 2.0, math.Inf(1), math.NaN())
	f.Fuzz(func(t *testing.T, o uint8, length, speed, run, emissivity, face, air float64) {
		m, err := chill.NewAirFilm(chill.AirSetting{Orientation: chill.Orientation(o % 6), Length: units.Length(length), Speed: speed, Run: units.Length(run), Emissivity: emissivity})
		if err != nil {
			return
		}
		if h, err := m.Coefficient(units.Celsius(face), units.Celsius(air)); err == nil && !(h >= 0 && h < 1e4) {
			t.Fatalf("film %v", h)
		}
	})
}

// FuzzSolid: the series model refuses or stays between start and surroundings.
func FuzzSolid(f *testing.F) {
	f.Add(uint8(0), 0.05, 0.1, 25.0, 60.0, 2.0, 1.0, 3600.0)
	f.Add(uint8(4), 1e-4, 5.0, 1e5, -60.0, 150.0, 50.0, 0.0)
	f.Add(uint8(2), math.Inf(1), math.NaN(), 0.0, 1e9, -1e9, -1.0, 1e12)
	f.Fuzz(func(t *testing.T, shape uint8, thick, wide, film, start, air, still, seconds float64) {
		m, err := chill.NewSolid(chill.Body{
			Shape: chill.Shape(shape % 6), Thickness: units.Length(thick), Diameter: units.Length(wide), Width: units.Length(wide), Length: units.Length(wide),
			Material: chill.Material{Density: 1000, SpecificHeat: 4000, Conductivity: 0.6}, Film: film, StillFactor: still, Start: units.Celsius(start), Surroundings: units.Celsius(air),
		})
		if err != nil {
			return
		}
		if !(seconds >= 0 && seconds < 2e6) {
			seconds = 60
		}
		s, err := m.Step(time.Duration(seconds * 1e9))
		if err != nil {
			t.Fatal(err)
		}
		low, high := min(start, air)-1e-9, max(start, air)+1e-9
		for _, v := range []float64{float64(s.Core), float64(s.Mean), float64(m.Surface())} {
			if !(v >= low && v <= high) {
				t.Fatalf("%v outside %v to %v", v, low, high)
			}
		}
		finite(t, "heat", float64(s.Heat))
	})
}
