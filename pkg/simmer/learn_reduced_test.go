package simmer

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"rondeau.internal/pkg/units"
)

// randomSetup draws a vessel, load, duty and end point of the kinds a kitchen has.
// Efficiencies stay where the class's belief can move them without leaving 0.05 to 1.
func randomSetup(rng *rand.Rand) (Setup, Typical) {
	between := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	classes := Classes()
	typical := classes[rng.IntN(len(classes))]
	var g Geometry
	switch rng.IntN(3) {
	case 0:
		d := between(0.25, 0.6)
		g = Geometry{Shape: Cylinder, Diameter: units.Length(d), Height: units.Length(d * between(0.6, 1.3))}
	case 1:
		d := between(0.4, 0.9)
		g = Geometry{Shape: Hemispherical, Diameter: units.Length(d), Height: units.Length(d * between(0.6, 1))}
	default:
		g = Geometry{Shape: Pan, Length: units.Length(between(0.5, 1.2)), Width: units.Length(between(0.4, 0.8)), Height: units.Length(between(0.15, 0.35))}
	}
	fill := float64(g.Brimful()) * between(0.45, 0.85) * 960
	l := Load{Liquid: units.Mass(fill), Solids: between(0.03, 0.07), Start: units.Celsius(between(10, 90))}
	v := Vessel{
		Geometry: g, Efficiency: typical.Efficiency, WallLoss: typical.WallLoss, ShellMass: units.Mass(between(0.1, 0.4) * fill),
	}
	c := Conditions{Room: units.Celsius(between(18, 35)), Humidity: between(0.2, 0.8), AirSpeed: between(0, 0.2), Altitude: between(0, 1500)}
	k, _ := NewKettle(v, l, Duty{}, c)
	d := Duty{}
	if rng.IntN(2) == 0 {
		d.Hold = k.BoilingPoint() - units.Celsius(between(2, 12))
	}
	// Power that boils a tenth to a fifth of the load off in an hour, and covers losses.
	v.Power = units.Power(fill*between(0.10, 0.25)/3600*2.257e6/v.Efficiency + float64(g.SurfaceAt(g.Height))*5500/v.Efficiency)
	s := Setup{Vessel: v, Load: l, Duty: d, Conditions: c}
	reduce := between(0.4, 0.75)
	switch rng.IntN(3) {
	case 0:
		s.End.Mass = units.Mass(fill * reduce)
	case 1:
		s.End.Solids = l.Solids / reduce
	default:
		s.End.Volume = units.Volume(float64(k.State().Volume) * reduce)
	}
	return s, typical
}

// The reduced model, without noise and at factors other than 1, finishes when the Kettle
// does. reducedError bounds the difference relative to the whole time; the worst of the
// runs is logged.
func TestReducedModelFollowsTheKettle(t *testing.T) {
	t.Parallel()
	const reducedError = 0.002
	rng := rand.New(rand.NewPCG(11, 12))
	worst, reached := 0.0, 0
	for i := range 150 {
		s, _ := randomSetup(rng)
		switch i % 5 { // some by steam, some spared from scorching
		case 3:
			s.Vessel.Heater = Jacket(2.5*units.Bar, 0.6*s.Vessel.Height)
			s.Vessel.Power, s.Vessel.Efficiency = 0, 0.8
		case 4:
			s.Duty.MaxSuperheat = 12
		}
		b := Belief{Version: BeliefVersion}
		for r, f := range b.parts() {
			*f = Factor{Log: 0.2 * rng.NormFloat64(), Spread: 0.1}
			if r == iMarks || r == iPower {
				f.Log = -0.1 * rng.Float64()
			}
		}
		v, c, err := b.Apply(s.Vessel, s.Conditions)
		if err != nil {
			t.Fatal(err)
		}
		out, err := Reduce(v, s.Load, s.Duty, c, s.End, Settings{})
		if err != nil {
			t.Fatalf("run %d: %v", i, err)
		}
		p, err := newPlant(s.Vessel, s.Load, s.Duty, s.Conditions)
		if err != nil {
			t.Fatalf("run %d: %v", i, err)
		}
		e := ending{float64(s.End.Volume), float64(s.End.Mass), s.End.Solids, 0}
		y := body{float64(s.Load.Liquid) * (1 - s.Load.Solids), float64(s.Load.Start), p.solids}
		d := drive{
			surface: b.Surface.Median(), wall: b.Wall.Median(), power: b.Power.Median(), hold: p.held.temp,
		}
		used, met := p.march(&y, &d, (96 * time.Hour).Seconds(), &e)
		if met != out.Reached {
			t.Errorf("run %d: reduced model reached %v, kettle %v", i, met, out.Reached)
			continue
		}
		if !met {
			continue
		}
		reached++
		off := math.Abs(used/out.Time.Seconds() - 1)
		worst = math.Max(worst, off)
		if off > reducedError {
			t.Errorf("run %d, %+v: reduced model %.0f s, kettle %.0f s", i, s, used, out.Time.Seconds())
		}
	}
	t.Logf("worst difference %.2f %% in %d runs", 100*worst, reached)
	if reached < 100 {
		t.Errorf("only %d runs reach their end", reached)
	}
}

func BenchmarkPlant(b *testing.B) {
	s, _ := randomSetup(rand.New(rand.NewPCG(1, 1)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := newPlant(s.Vessel, s.Load, s.Duty, s.Conditions); err != nil {
			b.Fatal(err)
		}
	}
}
