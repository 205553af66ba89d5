package simmer_test

import (
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/floats/scalar"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

var steamKettle = simmer.Vessel{
	Geometry: simmer.Geometry{Shape: simmer.Hemispherical, Diameter: 0.80, Height: 0.70}, ShellMass: 60,
	Heater: simmer.Jacket(2*units.Bar, 0.40),
}

// U·A·(Ts - T) by hand: 2 bar is 120.21 C, the whole bowl 2·pi·0.4², 800 W/m2·K.
func TestSteamJacketPower(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		level units.Length
		at    units.Celsius
		want  float64
	}{
		{0.40, 20, 800 * 2 * math.Pi * 0.16 * 100.21},
		{0.60, 20, 800 * 2 * math.Pi * 0.16 * 100.21}, // above the jacket nothing is added
		{0.20, 100, 800 * math.Pi * 0.16 * 20.21},     // half the height of the bowl is half its wall
		{0.40, 125, 0},
	} {
		q, err := steamKettle.Heater.Power(steamKettle.Geometry, c.level, c.at)
		if err != nil || !scalar.EqualWithinAbsOrRel(float64(q), c.want, 1e-9, 1e-4) {
			t.Errorf("level %v at %v: %v, %v; want %.0f W", c.level, c.at, q, err, c.want)
		}
	}
}

func TestJacketPowerFallsWithTheLevel(t *testing.T) {
	t.Parallel()
	out, err := simmer.Reduce(steamKettle, simmer.Load{Liquid: 120, Solids: 0.02, Start: 20}, simmer.Duty{}, simmer.Kitchen(), simmer.EndPoint{Mass: 20}, simmer.Settings{Every: 10 * time.Minute})
	if err != nil || !out.Reached {
		t.Fatal(out.Final, err)
	}
	for i := 1; i < len(out.Series); i++ {
		if out.Series[i].Power > out.Series[i-1].Power+1 {
			t.Errorf("power rises from %v to %v", out.Series[i-1].Power, out.Series[i].Power)
		}
		if s := out.Series[i]; float64(s.Superheat) > 120.21-float64(s.Temperature)+0.01 {
			t.Errorf("the wall is hotter than the steam: %.1f K above %v", float64(s.Superheat), s.Temperature)
		}
	}
	// In water-like contents the time to the boil is the closed form but for the losses.
	c := simmer.Kitchen()
	c.Cover = 1
	up, err := simmer.BringUp(steamKettle, simmer.Load{Liquid: 120, Start: 20}, c, 95, simmer.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	hand, err := simmer.JacketHeating(120+60*500/4186, 4186, 800, units.Area(2*math.Pi*0.16), 120.21, 20, 95)
	if err != nil || up.Time < hand*98/100 || up.Time > hand*110/100 {
		t.Errorf("%v, by hand without losses %v, %v", up.Time, hand, err)
	}
}

// A flame ring of 40 cm under a 28 cm pot: (28/40)² = 0.49 of it is caught.
func TestNarrowPotLosesFlame(t *testing.T) {
	t.Parallel()
	h := simmer.Gas(10 * units.Kilowatt)
	h.Diameter = 0.40
	for _, c := range []struct {
		d    units.Length
		want float64
	}{{0.28, 0.49 * 3000}, {0.40, 3000}, {0.60, 3000}} {
		g := simmer.Geometry{Shape: simmer.Cylinder, Diameter: c.d, Height: 0.3}
		q, err := h.Power(g, 0.1, 20)
		if err != nil || !scalar.EqualWithinRel(float64(q), c.want, 1e-12) {
			t.Errorf("%v: %v, %v; want %v W", c.d, q, err, c.want)
		}
	}
}

// A heater with a rating does what the same power and efficiency do.
func TestHeaterEqualsItsPowerAndEfficiency(t *testing.T) {
	t.Parallel()
	run := func(v simmer.Vessel) simmer.Outcome {
		out, err := simmer.Reduce(v, simmer.Load{Liquid: 50, Start: 20}, simmer.Duty{}, simmer.Kitchen(), simmer.EndPoint{Mass: 30}, simmer.Settings{})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	a := run(simmer.Vessel{Geometry: jacketed, Heater: simmer.Electric(20 * units.Kilowatt)})
	b := run(simmer.Vessel{Geometry: jacketed, Power: 20 * units.Kilowatt, Efficiency: simmer.DefaultElectricEfficiency})
	if a.Final != b.Final {
		t.Errorf("%+v\n%+v", a.Final, b.Final)
	}
}

func TestBadHeatersAreRefused(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	for name, h := range map[string]simmer.Heater{
		"no kind":             {Rating: 1000},
		"unknown kind":        {Kind: 9, Rating: 1000},
		"gas without rating":  {Kind: simmer.GasBurner},
		"NaN rating":          {Kind: simmer.GasBurner, Rating: units.Power(nan)},
		"efficiency above 1":  {Kind: simmer.InductionPlate, Rating: 1000, Efficiency: 1.5},
		"plate of a mile":     {Kind: simmer.ElectricPlate, Rating: 1000, Diameter: 1600},
		"flame far too wide":  {Kind: simmer.GasBurner, Rating: 1000, Diameter: 2},
		"no steam":            {Kind: simmer.SteamJacket},
		"steam of infinity":   {Kind: simmer.SteamJacket, Steam: units.Pressure(math.Inf(1))},
		"jacket over the rim": {Kind: simmer.SteamJacket, Steam: 200e3, Height: 3},
		"NaN coefficient":     {Kind: simmer.SteamJacket, Steam: 200e3, Coefficient: nan},
	} {
		if err := (simmer.Vessel{Geometry: stockPot, Heater: h}).Check(); err == nil {
			t.Errorf("%s: %+v must be refused", name, h)
		}
		if _, err := h.Power(stockPot, 0.1, 20); err == nil && h != (simmer.Heater{}) {
			t.Errorf("%s: power of %+v must be refused", name, h)
		}
	}
	for _, v := range []simmer.Vessel{
		{Geometry: stockPot, Power: 1000, Heater: simmer.Gas(1000)},
		{Geometry: stockPot, Power: 1000, Heater: simmer.Jacket(200e3, 0.3)},
		{Geometry: stockPot, Power: 1000, LidLoss: nan},
	} {
		if v.Check() == nil {
			t.Errorf("%+v must be refused", v)
		}
	}
	for i, f := range []func() error{
		func() error { _, err := simmer.OverallCoefficient(0, 10); return err },
		func() error { _, err := simmer.OverallCoefficient(10, nan); return err },
		func() error { _, err := simmer.OverallCoefficient(10, 10, simmer.Layer{Thickness: 1}); return err },
		func() error { _, err := simmer.JacketHeating(50, 4000, 300, 1, 90, 18, 95); return err },
		func() error { _, err := simmer.JacketHeating(50, nan, 300, 1, 120, 18, 95); return err },
		func() error { _, err := simmer.StefanFactor(101325, 2e5, 0); return err },
		func() error { _, err := simmer.FloorFilm(nan); return err },
		func() error { _, err := simmer.RelativeViscosity(2); return err },
	} {
		if f() == nil {
			t.Errorf("case %d must be refused", i)
		}
	}
}

// Wall and lid: insulation and lid slow the loss of a kettle whose heat is off.
func TestInsulationAndLidKeepHeat(t *testing.T) {
	t.Parallel()
	cooled := func(wall, cover float64) units.Celsius {
		c := simmer.Kitchen()
		c.Cover = cover
		k, err := simmer.NewKettle(simmer.Vessel{Geometry: jacketed, WallLoss: wall}, simmer.Load{Liquid: 80, Start: 95}, simmer.Duty{Off: true}, c)
		if err != nil {
			t.Fatal(err)
		}
		s, err := k.Step(2 * time.Hour)
		if err != nil {
			t.Fatal(err)
		}
		return s.Temperature
	}
	insulated, err := simmer.OverallCoefficient(1000, 10, simmer.Layer{Thickness: 0.05, Conductivity: 0.04})
	if err != nil {
		t.Fatal(err)
	}
	bare, wrapped, lidded := cooled(10, 0), cooled(insulated, 0), cooled(insulated, 1)
	if bare >= wrapped || wrapped >= lidded || lidded < 80 {
		t.Errorf("after 2 h: bare %v, insulated %v, lidded too %v", bare, wrapped, lidded)
	}
}
