package chill

import (
	"math"
	"testing"
	"time"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

func build(t testing.TB, p Piece) *Conduction {
	t.Helper()
	c, err := NewConduction(p)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func stockOf(t testing.TB) *Substance {
	t.Helper()
	s, err := FoodSubstance(thermo.LeanStock, -0.5)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func jellyOf(t testing.TB) *Substance {
	t.Helper()
	s, err := ConstantSubstance(Material{Density: 1010, SpecificHeat: 4060, Conductivity: 0.6})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// order of convergence from errors of which each belongs to half the step of the one before.
func order(t *testing.T, what string, errs []float64, low, high float64) {
	t.Helper()
	for i := 1; i < len(errs); i++ {
		p := math.Log2(errs[i-1] / errs[i])
		t.Logf("%s: error %.3g, order %.2f", what, errs[i], p)
		if !(p >= low && p <= high) {
			t.Errorf("%s: errors %.3g: order %.2f, want %v to %v", what, errs, p, low, high)
		}
	}
}

// Smooth surroundings, properties of water-like stock that vary with temperature, two faces: the
// result of N equal steps against that of very many.
func TestTimeIsSecondOrder(t *testing.T) {
	t.Parallel()
	s := stockOf(t)
	run := func(step float64) []float64 {
		c := build(t, Piece{
			Shape: Slab, Thickness: 0.05, Substance: s, Upper: Face{Film: 25}, Lower: Face{Film: 10}, Start: 60, Cells: 16,
			Course: func(d time.Duration) units.Celsius { return units.Celsius(32 + 28*math.Cos(d.Seconds()/1500)) },
		})
		c.fixed = step
		if _, err := c.Step(2 * time.Hour); err != nil {
			t.Fatal(err)
		}
		return c.h
	}
	exact := run(2)
	var errs []float64
	for _, h := range []float64{600, 300, 150, 75} {
		sum := 0.0
		for i, v := range run(h) {
			sum += (v - exact[i]) * (v - exact[i])
		}
		errs = append(errs, math.Sqrt(sum/16)/4000)
	}
	order(t, "time", errs, 1.7, 2.3)
}

// Constant properties against the series solution, in slab, cylinder, sphere, finite cylinder
// and brick.
func TestSpaceIsSecondOrder(t *testing.T) {
	t.Parallel()
	s := jellyOf(t)
	m := Material{Density: 1010, SpecificHeat: 4060, Conductivity: 0.6}
	for _, c := range []struct {
		shape Shape
		cells []int
	}{{Slab, []int{8, 16, 32}}, {LongCylinder, []int{8, 16, 32}}, {Sphere, []int{8, 16, 32}}, {FiniteCylinder, []int{8, 16}}, {Brick, []int{8, 16}}} {
		exact, err := NewSolid(Body{Shape: c.shape, Thickness: 0.06, Diameter: 0.08, Width: 0.08, Length: 0.1, Material: m, Film: 30, Start: 80, Surroundings: 2})
		if err != nil {
			t.Fatal(err)
		}
		want, _ := exact.Step(time.Hour)
		var core, mean []float64
		for _, n := range c.cells {
			p := build(t, Piece{Shape: c.shape, Thickness: 0.06, Diameter: 0.08, Width: 0.08, Length: 0.1, Substance: s, Upper: Face{Film: 30}, Start: 80, Surroundings: 2, Cells: n, Tolerance: 5e-4})
			got, err := p.Step(time.Hour)
			if err != nil {
				t.Fatal(err)
			}
			core = append(core, math.Abs(float64(got.Core-want.Core)))
			mean = append(mean, math.Abs(float64(got.Mean-want.Mean)))
		}
		order(t, "core", core, 1.6, 2.5)
		order(t, "mean", mean, 1.6, 2.5)
	}
}

// The step loop does not allocate, nor do reading the state and the heat.
func TestStepDoesNotAllocate(t *testing.T) {
	air, err := NewAirFilm(AirSetting{Orientation: FacingUp, Length: 0.08, Speed: 2, Run: 0.5, Emissivity: 0.9})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []*Conduction{
		build(t, Piece{Shape: Slab, Thickness: 0.065, Substance: stockOf(t), Upper: Face{Air: air}, Lower: Face{Film: 10}, Start: 85, Surroundings: -30, StillFactor: 8, GelBelow: 15}),
		build(t, Piece{Shape: FiniteCylinder, Thickness: 0.1, Diameter: 0.1, Substance: stockOf(t), Upper: Face{Film: 20}, Start: 60, Surroundings: -30, Cells: 8}),
	} {
		n := testing.AllocsPerRun(20, func() {
			if _, err := c.Step(5 * time.Minute); err != nil {
				t.Fatal(err)
			}
			_ = c.HeatFlow(-20)
			_ = c.Surface()
		})
		if n != 0 {
			t.Errorf("%v allocations a step", n)
		}
	}
}

// An error in the course leaves the model as it was, and a clone goes its own way.
func TestFailedStepChangesNothing(t *testing.T) {
	t.Parallel()
	c := build(t, Piece{
		Shape: Slab, Thickness: 0.05, Substance: stockOf(t), Upper: Face{Film: 25}, Start: 60, Surroundings: 2,
		Course: func(d time.Duration) units.Celsius {
			if d > 90*time.Minute {
				return units.Celsius(math.NaN())
			}
			return 2
		},
	})
	if _, err := c.Step(time.Hour); err != nil {
		t.Fatal(err)
	}
	before, h, given := c.State(), append([]float64(nil), c.h...), c.given
	if _, err := c.Step(time.Hour); err == nil {
		t.Fatal("surroundings of NaN are an error")
	}
	if after := c.State(); after != before || given != c.given {
		t.Errorf("state moved from %+v to %+v", before, after)
	}
	for i := range h {
		if h[i] != c.h[i] {
			t.Fatalf("cell %d moved", i)
		}
	}
	d := c.Copy()
	if _, err := d.Step(20 * time.Minute); err != nil {
		t.Fatal(err)
	}
	if c.State() != before {
		t.Error("stepping the clone moved the original")
	}
}

func BenchmarkConductionChill64(b *testing.B) {
	m := build(b, Piece{Shape: Slab, Thickness: 0.065, Substance: stockOf(b), Upper: Face{Film: 25}, Lower: Face{Film: 10}, Start: 85, Surroundings: 2, Cells: 64})
	benchmarkDay(b, m)
}

func BenchmarkConductionAirFilm64(b *testing.B) {
	air, err := NewAirFilm(AirSetting{Orientation: FacingUp, Length: 0.08, Speed: 2, Run: 0.5, Emissivity: 0.9})
	if err != nil {
		b.Fatal(err)
	}
	m := build(b, Piece{Shape: Slab, Thickness: 0.065, Substance: stockOf(b), Upper: Face{Air: air}, Lower: Face{Film: 10}, Start: 85, Surroundings: 2, Cells: 64, StillFactor: 8, GelBelow: 15})
	benchmarkDay(b, m)
}

func BenchmarkConductionFreeze32(b *testing.B) {
	m := build(b, Piece{Shape: Slab, Thickness: 0.0508, Substance: stockOf(b), Upper: Face{Film: 25}, Start: 4, Surroundings: -30})
	benchmarkDay(b, m)
}

func BenchmarkConductionFreezeTub(b *testing.B) {
	m := build(b, Piece{Shape: FiniteCylinder, Thickness: 0.2, Diameter: 0.2, Substance: stockOf(b), Upper: Face{Film: 25}, Start: 4, Surroundings: -30})
	benchmarkDay(b, m)
}

func BenchmarkConductionFreezeBlock(b *testing.B) {
	m := build(b, Piece{Shape: Brick, Thickness: 0.1, Width: 0.2, Length: 0.3, Substance: stockOf(b), Upper: Face{Film: 25}, Start: 4, Surroundings: -30})
	benchmarkDay(b, m)
}

// benchmarkDay runs a model for 24 h from the same start again and again.
func benchmarkDay(b *testing.B, m *Conduction) {
	start := append([]float64(nil), m.h...)
	b.ReportAllocs()
	for b.Loop() {
		copy(m.h, start)
		m.next, m.elapsed = 0.5, 0
		if _, err := m.Step(24 * time.Hour); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(m.steps)/float64(b.N), "steps/op")
}

func BenchmarkSubstance(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		stockOf(b)
	}
}
