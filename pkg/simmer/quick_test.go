package simmer_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

// randomKettle draws a vessel, a load that fits, conditions and a duty from what kitchens have.
func randomKettle(rng *rand.Rand) (simmer.Vessel, simmer.Load, simmer.Duty, simmer.Conditions) {
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	g := simmer.Geometry{
		Shape: simmer.Shape(rng.IntN(4)), Diameter: units.Length(between(0.2, 1.2)),
		Length: units.Length(between(0.3, 1.4)), Width: units.Length(between(0.2, 0.8)),
	}
	g.Height = g.Diameter * units.Length(between(0.5, 1.3))
	if g.Shape == simmer.Pan {
		g.Height = units.Length(between(0.1, 0.4))
	}
	if g.Shape == simmer.Conical {
		g.Floor = g.Diameter * units.Length(between(0.4, 1))
	}
	flux := between(8e3, 45e3) * float64(g.FloorArea())
	v := simmer.Vessel{Geometry: g, WallLoss: between(1, 15), ShellMass: units.Mass(60 * float64(g.FloorArea()))}
	switch rng.IntN(5) {
	case 0:
		v.Heater = simmer.Gas(units.Power(flux / 0.3))
	case 1:
		v.Heater = simmer.Induction(units.Power(flux / 0.75))
	case 2:
		v.Heater = simmer.Jacket(units.Pressure(between(150e3, 400e3)), g.Height*units.Length(between(0.4, 1)))
	default:
		v.Power, v.Efficiency = units.Power(flux/0.5), 0.5
	}
	l := simmer.Load{
		Liquid: units.Mass(float64(g.Brimful()) * 950 * between(0.2, 0.9)), Solids: between(0.005, 0.08),
		Start: units.Celsius(between(5, 90)),
	}
	l.Bones = l.Liquid * units.Mass(between(0, 0.05))
	c := simmer.Conditions{
		Room: units.Celsius(between(15, 35)), Humidity: between(0.2, 0.8), AirSpeed: between(0, 0.3),
		Altitude: between(0, 2000), Transfer: simmer.Transfer(rng.IntN(3)), Activity: simmer.Activity(between(0.7, 1.7)),
	}
	d := simmer.Duty{}
	if rng.IntN(2) == 0 {
		d.Hold = units.Celsius(between(82, 92))
	}
	if rng.IntN(4) == 0 {
		d.MaxSuperheat = 20
	}
	return v, l, d, c
}

func randomEnd(rng *rand.Rand, l simmer.Load) simmer.EndPoint {
	share := 0.15 + 0.75*rng.Float64()
	switch rng.IntN(3) {
	case 0:
		return simmer.EndPoint{Mass: units.Mass(share) * l.Liquid}
	case 1:
		return simmer.EndPoint{Solids: l.Solids / share}
	default:
		return simmer.EndPoint{Volume: units.Volume(share * float64(l.Liquid) / 1000)}
	}
}

func TestQuickEstimateKeepsItsErrorBound(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(11, 12))
	given, refused, worst := 0, 0, 0.0
	for range 1500 {
		v, l, d, c := randomKettle(rng)
		end := randomEnd(rng, l)
		q, err := simmer.Quick(v, l, d, c, end)
		if errors.Is(err, simmer.ErrNotQuick) {
			refused++
			continue
		}
		if err != nil {
			t.Fatalf("%+v %+v %+v %+v: %v", v, l, d, end, err)
		}
		out, err := simmer.Reduce(v, l, d, c, end, simmer.Settings{Horizon: 14 * 24 * time.Hour})
		if err != nil || !out.Reached {
			t.Fatalf("%+v, %v: quick says %v", out, err, q.Total)
		}
		given++
		miss := math.Abs((q.Total - out.Time).Seconds())
		bound := simmer.QuickRelative*out.Time.Seconds() + simmer.QuickAbsolute.Seconds()
		worst = math.Max(worst, miss/bound)
		if miss > bound || q.By != out.By {
			t.Errorf("quick %v by %v, full %v by %v\n%+v\n%+v\n%+v\n%+v\n%+v", q.Total, q.By, out.Time, out.By, v, l, d, c, end)
		}
	}
	t.Logf("%d estimates, %d refused, worst %.2f of the bound", given, refused, worst)
	if given < 900 {
		t.Errorf("only %d estimates of 1500 were given", given)
	}
}
