package simmer_test

import (
	"testing"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

// The trade's experience. Common practice, no source, all of it.

// pot8 is a household pot of about 8 quarts.
func pot8(heater simmer.Heater) simmer.Vessel {
	return simmer.Vessel{Geometry: simmer.Geometry{Shape: simmer.Cylinder, Diameter: 0.28, Height: 0.14}, ShellMass: 1.5, Heater: heater}
}

// stock of 3.8 L at a temperature.
func gallonOfStock(t *testing.T, at units.Celsius) simmer.Load {
	t.Helper()
	mass, err := simmer.LiquidMass(3.8*units.Litre, 0.03, at)
	if err != nil {
		t.Fatal(err)
	}
	return simmer.Load{Liquid: mass, Solids: 0.03, Start: at}
}

// A very gentle simmer, 185 F with a quiet surface: a bubble now and then. It takes about 6
// h, not 2, from 3.8 L to 0.5 to 0.7 L. Clean water at 180 F comes near too.
func TestVeryGentleSimmerOfAGallonTakesAboutSixHours(t *testing.T) {
	t.Parallel()
	at := units.Fahrenheit(185).Celsius()
	quiet := simmer.Kitchen()
	quiet.Activity = simmer.Still
	out, err := simmer.Reduce(pot8(simmer.Gas(3*units.Kilowatt)), gallonOfStock(t, at), simmer.Duty{Hold: at}, quiet, simmer.EndPoint{Volume: 0.6 * units.Litre}, simmer.Settings{})
	if err != nil || !out.Reached || out.By != simmer.VolumeTarget {
		t.Fatalf("%+v, %v", out, err)
	}
	if h := out.Time.Hours(); h < 5.5 || h > 6.8 {
		t.Errorf("%.2f h, want about 6", h)
	}
	at = units.Fahrenheit(180).Celsius()
	out, err = simmer.Reduce(pot8(simmer.Gas(3*units.Kilowatt)), gallonOfStock(t, at), simmer.Duty{Hold: at}, simmer.Kitchen(), simmer.EndPoint{Volume: 0.6 * units.Litre}, simmer.Settings{})
	if h := out.Time.Hours(); err != nil || h < 5 || h > 7 {
		t.Errorf("clean water at 180 F: %.2f h, %v, want about 6", h, err)
	}
}

// The same at a hard boil on a domestic burner of 10 000 Btu/h: about 2 h when 38 % arrive,
// as with a wide pot on an efficient burner.
func TestHardBoilOfAGallonTakesAboutTwoHours(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ efficiency, low, high float64 }{{0.45, 1.5, 2.0}, {0.38, 1.8, 2.2}, {0.30, 2.2, 3.0}} {
		burner := simmer.Gas(10_000 * units.BTUPerHour)
		burner.Efficiency = c.efficiency
		out, err := simmer.Reduce(pot8(burner), gallonOfStock(t, 95), simmer.Duty{}, simmer.Kitchen(), simmer.EndPoint{Volume: 0.6 * units.Litre}, simmer.Settings{})
		if err != nil || !out.Reached {
			t.Fatalf("%+v, %v", out, err)
		}
		if h := out.Time.Hours(); h < c.low || h > c.high {
			t.Errorf("%.0f %% efficient: %.2f h, want %v to %v", 100*c.efficiency, h, c.low, c.high)
		}
	}
}

// Two pots of 30 L: below the boil the loss goes with the surface, so twice the diameter
// loses four times as much; at the boil both lose what the same power pays for, and the
// wide one less by what its surface radiates.
func TestTallPotLosesLessThanAWideOne(t *testing.T) {
	t.Parallel()
	loss := func(d, h units.Length, hold units.Celsius) float64 {
		v := simmer.Vessel{Geometry: simmer.Geometry{Shape: simmer.Cylinder, Diameter: d, Height: h}, Power: 24 * units.Kilowatt, Efficiency: 0.5}
		out, err := simmer.SimmerLoss(v, simmer.Load{Liquid: 28, Start: 88}, simmer.Duty{Hold: hold}, simmer.Kitchen(), time.Hour, simmer.Settings{})
		if err != nil {
			t.Fatal(err)
		}
		return float64(out.Evaporated)
	}
	if r := loss(0.60, 0.15, 88) / loss(0.30, 0.60, 88); r < 3.99 || r > 4.01 {
		t.Errorf("twice the diameter loses %.3f times as much below the boil, want 4", r)
	}
	if r := loss(0.60, 0.15, 0) / loss(0.30, 0.60, 0); r < 0.9 || r > 1 {
		t.Errorf("twice the diameter loses %.3f times as much at a hard boil, want a little below 1", r)
	}
}

// A demi-glace is boiled hard while it is thin and finished gently; the finish takes longer
// than its share, and boiling hard to the end is what burns it.
func TestReductionInTwoPhases(t *testing.T) {
	t.Parallel()
	rondeau := simmer.Vessel{Geometry: simmer.Geometry{Shape: simmer.Cylinder, Diameter: 0.50, Height: 0.20}, Power: 18 * units.Kilowatt, Efficiency: 0.40, ShellMass: 8}
	stock := simmer.Load{Liquid: 30, Solids: 0.05, Start: 90}
	end := simmer.EndPoint{Solids: 0.35, Superheat: simmer.DefaultSuperheat}
	hard, err := simmer.Reduce(rondeau, stock, simmer.Duty{}, simmer.Kitchen(), end, simmer.Settings{})
	if err != nil || hard.By != simmer.ScorchTarget || hard.Final.Solids > 0.30 || !contains(hard.Cautions, simmer.CautionLowerHeat) {
		t.Fatalf("hard to the end: by %v at %.2f solids, %v, %v", hard.By, hard.Final.Solids, hard.Cautions, err)
	}
	whole, parts, err := simmer.ReducePhases(rondeau, stock, []simmer.Phase{
		{Until: simmer.EndPoint{Solids: 0.15}},
		{Duty: simmer.Duty{PowerShare: 0.3}, Until: end},
	}, simmer.Kitchen(), simmer.Settings{Every: 10 * time.Minute})
	if err != nil || len(parts) != 2 || !whole.Reached || whole.By != simmer.SolidsTarget {
		t.Fatalf("%+v, %v", whole, err)
	}
	if whole.Time != parts[0].Time+parts[1].Time || whole.Final != parts[1].Final || whole.First != parts[0].First {
		t.Error("the phases do not add up")
	}
	for i := 1; i < len(whole.Series); i++ {
		if whole.Series[i].Elapsed <= whole.Series[i-1].Elapsed {
			t.Fatalf("series goes from %v to %v", whole.Series[i-1].Elapsed, whole.Series[i].Elapsed)
		}
	}
	if whole.Final.Superheat > simmer.DefaultSuperheat {
		t.Errorf("gentle finish at %.1f K", float64(whole.Final.Superheat))
	}
	// A cook who lowers the heat just enough is as careful and no slower.
	careful, err := simmer.Reduce(rondeau, stock, simmer.Duty{MaxSuperheat: simmer.DefaultSuperheat}, simmer.Kitchen(), simmer.EndPoint{Solids: 0.35}, simmer.Settings{Every: 10 * time.Minute})
	if err != nil || !careful.Reached || careful.Time > whole.Time {
		t.Errorf("lowering as it thickens takes %v, two phases %v, %v", careful.Time, whole.Time, err)
	}
	for _, s := range careful.Series {
		if float64(s.Superheat) > simmer.DefaultSuperheat+1e-6 {
			t.Errorf("%.2f K at %.2f solids", float64(s.Superheat), s.Solids)
		}
	}
	if _, _, err := simmer.ReducePhases(rondeau, stock, nil, simmer.Kitchen(), simmer.Settings{}); err == nil {
		t.Error("no phases must be refused")
	}
	if _, _, err := simmer.ReducePhases(rondeau, stock, []simmer.Phase{{Until: simmer.EndPoint{Mass: 20}}, {Until: simmer.EndPoint{Mass: 25}}}, simmer.Kitchen(), simmer.Settings{}); err == nil {
		t.Error("a phase that is over before it begins must be refused")
	}
}
