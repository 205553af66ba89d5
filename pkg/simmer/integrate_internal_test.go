package simmer

import (
	"math"
	"testing"
	"time"

	"rondeau.internal/pkg/units"
)

func testKettle(t testing.TB, d Duty, start units.Celsius) *Kettle {
	t.Helper()
	k, err := NewKettle(Vessel{
		Geometry: Geometry{Shape: Hemispherical, Diameter: 0.7, Height: 0.6}, Power: 30 * units.Kilowatt, Efficiency: 0.5, WallLoss: 8, ShellMass: 60,
	}, Load{Liquid: 100, Solids: 0.03, Bones: 10, Start: start}, d, Kitchen())
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// Steps of fixed length, no events: halving the step divides the error by at least 2^5; the
// fifth-order term is small here, so that up to 2^6.6 is seen before it takes over.
func TestOrderOfConvergenceIsFive(t *testing.T) {
	t.Parallel()
	end := func(steps int) vector {
		k := testKettle(t, Duty{Off: true}, 95) // cooling 100 kg for 5 h: smooth and strongly curved
		for range steps {
			k.y, _ = k.try(5 * 3600 / float64(steps))
		}
		return k.y
	}
	exact := end(4096)
	for _, n := range []int{0, 1, 4} { // temperature, water, energy gone with the vapour
		var order []float64
		last := 0.0
		for _, steps := range []int{16, 32, 64} {
			miss := math.Abs(end(steps)[n] - exact[n])
			if last > 0 {
				order = append(order, math.Log2(last/miss))
			}
			last = miss
		}
		for _, o := range order {
			if o < 4.9 || o > 6.8 {
				t.Errorf("component %d: orders %.2f, want 5 or a little more", n, order)
				break
			}
		}
	}
}

// With a constant specific heat in water alone, no surface and no vapour, cooling through the
// wall is exponential: T = Troom + (T0 - Troom)·exp(-U·A·t/C).
func TestWallCoolingIsExponential(t *testing.T) {
	t.Parallel()
	c := Kitchen()
	c.Cover, c.Activity = 1, 1e-9
	v := Vessel{Geometry: Geometry{Shape: Cylinder, Diameter: 0.3, Height: 0.5}, WallLoss: 20, LidLoss: 0.1, ShellMass: 1500}
	k, err := NewKettle(v, Load{Liquid: 0.05, Start: 90}, Duty{Off: true}, c)
	if err != nil {
		t.Fatal(err)
	}
	k.vessel.LidLoss = 0
	heat := k.capacity(k.y)
	level := k.State().Level
	ua := 20 * float64(v.WettedAt(level))
	s, err := k.Step(20 * time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	// The 50 g of water change the heat capacity and the wetted wall by 1e-4.
	want := 25 + 65*math.Exp(-ua*20*3600/heat)
	if math.Abs(float64(s.Temperature)-want) > 0.01 {
		t.Errorf("%.4f C, closed form %.4f C", float64(s.Temperature), want)
	}
}

// A lid-free pan held at a temperature loses at a constant rate: a straight line, exact in
// any method, and the event is found to a microsecond.
func TestHeldPanLosesInAStraightLine(t *testing.T) {
	t.Parallel()
	v := Vessel{Geometry: Geometry{Shape: Pan, Length: 1, Width: 0.6, Height: 0.3}, Power: 40 * units.Kilowatt, Efficiency: 0.5}
	k, err := NewKettle(v, Load{Liquid: 100, Start: 88}, Duty{Hold: 88}, Kitchen())
	if err != nil {
		t.Fatal(err)
	}
	e, err := OpenSurface(88, 0.6, 0.6/3.2, Kitchen())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := k.advance(1e6, func(_ *Kettle, y vector) float64 { return y[1] - 50 }); err != nil {
		t.Fatal(err)
	}
	if want := 50 / e.Evaporation; math.Abs(k.clock-want) > 2e-6*want/1e4+2e-6 {
		t.Errorf("%.7f s, closed form %.7f s", k.clock, want)
	}
}

// Stepping, asking for the state and the quick numbers inside do not allocate.
func TestInnerLoopsDoNotAllocate(t *testing.T) {
	k := testKettle(t, Duty{}, 20)
	event := func(_ *Kettle, y vector) float64 { return y[1] - 1 }
	for name, f := range map[string]func(){
		"Step":      func() { _, _ = k.Step(10 * time.Second) },
		"State":     func() { _ = k.State() },
		"flows":     func() { _, _ = k.flows(k.y) },
		"advance":   func() { _, _ = k.advance(5, event) },
		"SetDuty":   func() { _ = k.SetDuty(Duty{Hold: 90}) },
		"quickHeat": func() { _, _, _ = testQuick.quickHeat(95, 10) },
	} {
		if n := testing.AllocsPerRun(50, f); n != 0 {
			t.Errorf("%s allocates %.1f times", name, n)
		}
	}
}

var testQuick = func() *Kettle {
	k, err := NewKettle(Vessel{Geometry: Geometry{Shape: Cylinder, Diameter: 0.5, Height: 0.5}, Power: 2e4}, Load{Liquid: 50, Start: 20}, Duty{Hold: 95}, Kitchen())
	if err != nil {
		panic(err)
	}
	return k
}()

// The quadrature nodes: exact to degree 7 and 11.
func TestGaussRules(t *testing.T) {
	t.Parallel()
	for n := range 12 {
		four, six := 0.0, 0.0
		for _, g := range gauss4 {
			four += g[1] * math.Pow(g[0], float64(n))
		}
		for _, g := range gauss6 {
			six += g[1] * math.Pow(g[0], float64(n))
		}
		if want := 1 / float64(n+1); n < 8 && math.Abs(four-want) > 1e-14 || math.Abs(six-want) > 1e-14 {
			t.Errorf("degree %d: %v and %v, want %v", n, four, six, want)
		}
	}
}
