package chill_test

import (
	"math"
	"testing"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/units"
)

// sound fails on NaN and infinity.
func sound(t *testing.T, what string, v ...float64) {
	t.Helper()
	for i, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			t.Fatalf("%s: value %d is %v", what, i, x)
		}
	}
}

func soundState(t *testing.T, what string, s chill.State) {
	t.Helper()
	sound(t, what, float64(s.Core), float64(s.Mean), float64(s.Surroundings), float64(s.Heat), float64(s.Ice))
}

// step runs a model that was accepted for an hour at most.
func run(t *testing.T, what string, m chill.Model, seconds float64) {
	t.Helper()
	soundState(t, what, m.State())
	if math.IsNaN(seconds) || seconds < 0 || seconds > 3600 {
		seconds = 600
	}
	for range 2 {
		s, err := m.Clone().Step(time.Duration(seconds * float64(time.Second)))
		if err != nil {
			continue
		}
		soundState(t, what, s)
	}
}

func FuzzFilms(f *testing.F) {
	f.Add(uint8(0), 0.3, 0.6, 1.5, 1000.0, 1e-3, 4000.0, 0.6, 0.02, 15.0)
	f.Add(uint8(6), 0.5, 0.6, 0.3, 1000.0, 5.0, 3800.0, 0.5, 0.0, 300.0)
	f.Add(uint8(200), math.NaN(), math.Inf(1), -1.0, 0.0, 1e308, -5.0, 1e-308, 1e9, -40.0)
	f.Fuzz(func(t *testing.T, impeller uint8, d, vessel, speed, rho, mu, cp, k, thick, x float64) {
		s := chill.Stirring{Impeller: chill.Impeller(impeller), Diameter: units.Length(d), Vessel: units.Length(vessel), Speed: speed, Density: units.Density(rho), Viscosity: mu, SpecificHeat: cp, Conductivity: k}
		if r, err := s.Film(); err == nil {
			sound(t, "stirring", r.Film, r.Nusselt, r.Reynolds, r.Prandtl)
		}
		keep := func(what string, v float64, err error) {
			if err == nil {
				sound(t, what, v)
			}
		}
		u, err := chill.Overall(d*1000, x, chill.Layer{Thickness: units.Length(thick), Conductivity: k})
		keep("overall", u, err)
		n, err := chill.VerticalNusselt(rho, mu)
		keep("vertical", n, err)
		n, err = chill.HorizontalNusselt(x)
		keep("horizontal", n, err)
		n, err = chill.CylinderNusselt(x, k)
		keep("cylinder", n, err)
		n, err = chill.PlateNusselt(x, k)
		keep("plate", n, err)
		n, err = chill.PanFilm(speed, units.Length(d), units.Celsius(x))
		keep("pan", n, err)
		n, err = chill.PotFilm(speed, units.Length(d), units.Celsius(x))
		keep("pot", n, err)
		n, err = chill.StillFilm(units.Length(d), units.Celsius(x), units.Celsius(thick))
		keep("still", n, err)
		door := chill.Door{Width: units.Length(d), Height: units.Length(vessel), Open: k, Protection: thick}
		a, err1 := chill.MoistAirAt(units.Celsius(x), k)
		b, err2 := chill.MoistAirAt(units.Celsius(speed), thick)
		if err1 == nil && err2 == nil {
			if q, err := door.Infiltration(a, b); err == nil {
				sound(t, "door", float64(q))
			}
		}
	})
}

func FuzzPlateCooler(f *testing.F) {
	f.Add(0.25, 4060.0, 88.0, 2000.0, 0.6, 14.0, 5000.0, 0.8, -1.0, 200.0)
	f.Add(math.NaN(), 0.0, -1.0, math.Inf(1), 1e9, 200.0, 0.0, 0.0, 0.0, -5.0)
	f.Fuzz(func(t *testing.T, flow, cp, start, ua1, c1, t1, ua2, c2, t2, batch float64) {
		p := chill.PlateCooler{Flow: flow, SpecificHeat: cp, Start: units.Celsius(start), Batch: units.Mass(batch), Sections: []chill.Section{
			{UA: ua1, Coolant: c1, CoolantIn: units.Celsius(t1)}, {UA: ua2, Coolant: c2, CoolantIn: units.Celsius(t2)},
		}}
		if r, err := p.Run(); err == nil {
			sound(t, "plates", float64(r.Outlet), float64(r.Duty), r.Sections[0].NTU, r.Sections[1].Effectiveness)
			if m, err := chill.NewPlateRun(p); err == nil {
				run(t, "plate run", m, 900)
			}
		}
		if ua, err := p.PlatesNeeded(p.Sections[0], units.Celsius(t2)); err == nil {
			sound(t, "plates needed", ua)
		}
	})
}

func FuzzPotsAndRooms(f *testing.F) {
	f.Add(20.0, 4060.0, 0.3, 0.07, 0.3, 0.0, 0.0, 12.0, 85.0, 3.0, 600.0, 500.0, 0.03)
	f.Add(5.0, 3800.0, 0.2, 0.0, 0.2, 25.0, 150.0, 150.0, 60.0, -10.0, 60.0, 0.0, 1.0)
	f.Add(0.01, 500.0, 100.0, 100.0, 0.01, 100.0, 5000.0, 0.0, 100.0, -45.0, 3600.0, 1e6, 0.0)
	f.Add(math.NaN(), 1e9, -1.0, math.Inf(1), 0.0, 1e-300, 1e300, -1.0, 500.0, -273.0, 1e12, -1.0, 7.0)
	f.Fuzz(func(t *testing.T, mass, cp, wall, top, height, film, inner, gel, start, air, seconds, power, open float64) {
		m, err := chill.NewPot(chill.StillPot{
			Mass: units.Mass(mass), SpecificHeat: cp, Wall: units.Area(wall), Top: units.Area(top), Height: units.Length(height),
			Film: film, Inner: inner, GelBelow: units.Celsius(gel), Start: units.Celsius(start), Air: units.Celsius(air),
		})
		if err != nil {
			return
		}
		run(t, "pot", m, seconds)
		r, err := chill.NewRoom(chill.ColdRoom{
			Volume: units.Volume(math.Abs(height) * 10), WallUA: math.Abs(top) * 10, Outside: 30, Doors: []chill.Door{{Width: 1, Height: 2, Open: open}},
			Machine: chill.Machine{Setting: units.Celsius(air), Capacity: units.Power(power), RatedAt: 0, Fall: 0.03}, Start: 5, Loads: []chill.Exchanger{m},
		})
		if err == nil {
			run(t, "room", r, seconds)
		}
		c, err := chill.NewFatCap(chill.FatLayer{Fat: chill.Lard, Thickness: units.Length(height / 20), Film: film, Air: units.Celsius(air)}, m)
		if err == nil {
			run(t, "fat cap", c, seconds)
			sound(t, "firm depth", float64(c.FirmDepth()))
		}
		p, err := chill.NewIcePaddle(chill.IcePaddle{Stock: units.Mass(mass), SpecificHeat: cp, Start: units.Celsius(start), Ice: units.Mass(power / 100), IceAt: units.Celsius(air), Area: units.Area(wall)})
		if err == nil {
			run(t, "ice paddle", p, seconds)
		}
	})
}

func FuzzForesee(f *testing.F) {
	f.Add(85.0, 60.0, 40.0, 30.0, 22.0, 300.0, 3.0, 15.0, false)
	f.Add(85.0, 85.0, 85.0, 85.0, 85.0, 0.0, 3.0, 0.0, true)
	f.Add(math.NaN(), 1e300, -60.0, 300.0, 0.0, 1e9, -60.0, 60.0, false)
	f.Add(57.2, 21.1, 5.0, 4.0, 3.0, 1e-9, 2.99, 15.0, true)
	f.Fuzz(func(t *testing.T, a, b, c, d, e, seconds, ambient, gel float64, unknown bool) {
		if math.IsNaN(seconds) || seconds < 0 || seconds > 1e8 {
			seconds = 60
		}
		var r []chill.Reading
		for i, v := range [5]float64{a, b, c, d, e} {
			r = append(r, chill.Reading{At: noon.Add(time.Duration(float64(i) * seconds * float64(time.Second))), Temperature: units.InCelsius(v), ByHand: i == 3})
		}
		air, set := units.Celsius(ambient), units.Celsius(gel)
		o := chill.Options{Ambient: &air, GelBelow: &set}
		if unknown {
			o.Ambient = nil
		}
		v, err := chill.Foresee(chill.FoodCode2022(), r, o)
		if err == nil {
			sound(t, "outlook", v.Rate, float64(v.Surroundings.Likely), float64(v.Surroundings.Low), float64(v.Surroundings.High))
			for _, s := range v.Stages {
				sound(t, "chance", s.Chance)
				if s.Chance < 0 || s.Chance > 1 || !s.Never && (s.Likely.Before(s.Early) || !s.Open && s.Late.Before(s.Likely)) {
					t.Fatalf("%+v", s)
				}
			}
		}
		if s, err := chill.EstimateSurroundings(r); err == nil && !(s.Low <= s.Likely && s.Likely <= s.High) {
			t.Fatalf("%+v", s)
		}
		if p, err := chill.ReachesBy(r, air, set, noon.Add(time.Hour)); err == nil && !(p >= 0 && p <= 1) {
			t.Fatalf("chance %v", p)
		}
		if j, err := chill.Judge(chill.FoodCode2022(), r, chill.Options{Fastest: math.Abs(ambient)}); err == nil && j.Verdict > chill.Failed {
			t.Fatalf("%+v", j)
		}
	})
}
