package simmer_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

func finiteState(s simmer.State) bool {
	return finite(float64(s.Temperature), float64(s.Liquid), float64(s.Volume), float64(s.Level), s.Solids, s.Evaporation, float64(s.Power),
		float64(s.Evaporated), float64(s.EnergyIn), float64(s.EnergyLost), float64(s.EnergyVapour), float64(s.Enthalpy), s.FloorFlux, float64(s.Superheat))
}

// Whatever goes in: an error or a finite result, never a panic, never an endless run.
func FuzzReduce(f *testing.F) {
	nan, inf := math.NaN(), math.Inf(1)
	f.Add(uint8(1), 0.7, 0.65, uint8(0), 15e3, 50.0, 0.03, 20.0, 0.0, 25.0, 0.5, 0.0, 25.0, 0.0, uint8(0))
	f.Add(uint8(0), 0.28, 0.14, uint8(1), 3e3, 3.8, 0.03, 88.0, 85.0, 25.0, 0.5, 0.1, 0.7, 20.0, uint8(1))
	f.Add(uint8(3), 0.5, 0.25, uint8(4), 2e5, 20.0, 0.2, 95.0, 0.0, 20.0, 0.3, 0.0, 8.0, 20.0, uint8(7))
	f.Add(uint8(2), 1.0, 0.25, uint8(3), 2e4, 100.0, 0.0, 5.0, 93.0, 25.0, 1.0, 2.0, 60.0, 0.0, uint8(2))
	f.Add(uint8(0), nan, inf, uint8(9), -1.0, nan, 2.0, -40.0, nan, 500.0, -1.0, inf, 0.0, nan, uint8(255))
	f.Add(uint8(0), 5.0, 0.02, uint8(0), 1e6, 0.05, 0.69, 0.0, 30.0, 5.0, 0.0, 2.0, 0.04, 1.0, uint8(5))
	f.Fuzz(func(t *testing.T, shape uint8, size, height float64, kind uint8, power, liquid, solids, start, hold, room, humidity, speed, mass, superheat float64, flags uint8) {
		v := simmer.Vessel{Geometry: simmer.Geometry{
			Shape: simmer.Shape(shape), Diameter: units.Length(size), Length: units.Length(size), Width: units.Length(size / 2), Height: units.Length(height), Floor: units.Length(size * 0.7),
		}}
		switch simmer.HeaterKind(kind) {
		case simmer.RatedPower:
			v.Power = units.Power(power)
		case simmer.SteamJacket:
			v.Heater = simmer.Jacket(units.Pressure(power), units.Length(height/2))
		default:
			v.Heater = simmer.Heater{Kind: simmer.HeaterKind(kind), Rating: units.Power(power), Diameter: units.Length(size)}
		}
		l := simmer.Load{Liquid: units.Mass(liquid), Solids: solids, Start: units.Celsius(start)}
		d := simmer.Duty{Hold: units.Celsius(hold), Off: flags&64 != 0, MaxSuperheat: units.CelsiusDelta(superheat)}
		c := simmer.Conditions{
			Room: units.Celsius(room), Humidity: humidity, AirSpeed: speed, Transfer: simmer.Transfer(flags >> 1 & 3), HighRate: flags&1 != 0, Cover: float64(flags>>3&3) / 3,
		}
		end := simmer.EndPoint{Mass: units.Mass(mass), Superheat: units.CelsiusDelta(superheat)}
		out, err := simmer.Reduce(v, l, d, c, end, simmer.Settings{Horizon: 12 * time.Hour, Tolerance: 1e-5})
		if err == nil && (!finiteState(out.Final) || out.Time < 0 || !finite(out.ErrorEstimate)) {
			t.Fatalf("%+v", out)
		}
		if q, err := simmer.Quick(v, l, d, c, end); err == nil && (q.Total < 0 || !finite(float64(q.Liquid))) {
			t.Fatalf("%+v", q)
		}
		if out, err := simmer.BringUp(v, l, c, d.Hold, simmer.Settings{Horizon: 12 * time.Hour}); err == nil && !finiteState(out.Final) {
			t.Fatalf("%+v", out)
		}
		if whole, parts, err := simmer.ReducePhases(v, l, []simmer.Phase{{Duty: d, Until: end}, {Until: end}}, c, simmer.Settings{Horizon: 6 * time.Hour, Tolerance: 1e-5}); err == nil && (!finiteState(whole.Final) || len(parts) == 0) {
			t.Fatalf("%+v", whole)
		}
	})
}

func FuzzKettle(f *testing.F) {
	f.Add(15e3, 50.0, 20.0, int64(3600e9), 5.0, 15.0, 0.5)
	f.Add(math.NaN(), -1.0, math.Inf(1), int64(-1), math.NaN(), 1e9, 7.0)
	f.Add(1e6, 0.05, 99.0, int64(600e9), 0.0, 99.9, 1.0)
	f.Fuzz(func(t *testing.T, power, liquid, start float64, step int64, added, at, cover float64) {
		k, err := simmer.NewKettle(simmer.Vessel{Geometry: jacketed, Power: units.Power(power)}, simmer.Load{Liquid: units.Mass(liquid), Solids: 0.02, Start: units.Celsius(start)}, simmer.Duty{}, simmer.Kitchen())
		if err != nil {
			return
		}
		dt := time.Duration(step % int64(24*time.Hour))
		for _, f := range []func() error{
			func() error { _, err := k.Step(dt); return err },
			func() error { return k.Add(units.Mass(added), 0.01, units.Celsius(at)) },
			func() error { return k.SetCover(cover) },
			func() error { _, err := k.Step(dt); return err },
		} {
			if err := f(); err != nil && errors.Is(err, simmer.ErrDry) {
				break
			}
			if !finiteState(k.State()) {
				t.Fatalf("%+v", k.State())
			}
		}
	})
}

func FuzzSurfaceAndHeaters(f *testing.F) {
	f.Add(95.0, 0.3, 0.2, 25.0, 0.5, 0.0, uint8(0), 3e5)
	f.Add(math.NaN(), math.Inf(1), -1.0, 1e300, 2.0, -5.0, uint8(200), math.NaN())
	f.Add(99.97, 1e-4, 10.0, 60.0, 1.0, 2.0, uint8(9), 8e5)
	f.Fuzz(func(t *testing.T, water, area, length, room, humidity, speed float64, flags uint8, p float64) {
		c := simmer.Conditions{Room: units.Celsius(room), Humidity: humidity, AirSpeed: speed, Transfer: simmer.Transfer(flags & 3), HighRate: flags&8 != 0, Pressure: units.Pressure(p / 3)}
		if e, err := simmer.OpenSurface(units.Celsius(water), units.Area(area), length, c); err == nil && !(finite(float64(e.Total()), e.Evaporation) && e.Evaporation >= 0) {
			t.Fatalf("%+v", e)
		}
		for _, h := range []simmer.Heater{simmer.Gas(units.Power(p)), simmer.Jacket(units.Pressure(p), units.Length(length)), {Kind: simmer.HeaterKind(flags), Rating: units.Power(p), Steam: units.Pressure(p)}} {
			if q, err := h.Power(stockPot, units.Length(length), units.Celsius(water)); err == nil && !(finite(float64(q)) && q >= 0) {
				t.Fatalf("%+v: %v", h, q)
			}
		}
		if s, err := simmer.StefanFactor(units.Pressure(p), units.Pressure(water*1000), units.Pressure(room*10)); err == nil && !finite(s) {
			t.Fatal(s)
		}
		if u, err := simmer.OverallCoefficient(water, room, simmer.Layer{Thickness: units.Length(length), Conductivity: area}); err == nil && !finite(u) {
			t.Fatal(u)
		}
		if d, err := simmer.JacketHeating(units.Mass(p), 4000, water, units.Area(area), units.Celsius(room), units.Celsius(speed), units.Celsius(humidity)); err == nil && d < 0 {
			t.Fatal(d)
		}
	})
}

func FuzzGelatin(f *testing.F) {
	f.Add(0.2, 0.03, 84e3, 10.0, 95.0, int64(8*time.Hour), 12.0)
	f.Add(math.NaN(), -1.0, math.Inf(1), 1e300, -300.0, int64(-1), 0.0)
	f.Fuzz(func(t *testing.T, collagen, rate, activation, bones, at float64, held int64, liquid float64) {
		g, err := simmer.Extraction{Collagen: collagen, Rate: rate, Activation: activation}.Extract(units.Mass(bones), units.Celsius(at), time.Duration(held))
		if err != nil {
			return
		}
		if !finite(float64(g.Low), float64(g.Likely), float64(g.High), g.Share) || g.Low > g.Likely || g.Likely > g.High || g.Share < 0 || g.Share > 1 {
			t.Fatalf("%+v", g)
		}
		if r, err := g.In(units.Mass(liquid)); err == nil && !finite(r.Low, r.Likely, r.High) {
			t.Fatalf("%+v", r)
		}
	})
}

func FuzzGeometry(f *testing.F) {
	f.Add(uint8(0), 0.4, 0.3, 0.2, 0.3, 5.0)
	f.Add(uint8(1), 0.7, 0.3, 0.2, 0.6, 1e3)
	f.Add(uint8(3), 0.5, 0.3, 0.2, 0.25, 0.01)
	f.Add(uint8(9), math.NaN(), math.Inf(1), -1.0, 0.0, math.NaN())
	f.Fuzz(func(t *testing.T, shape uint8, diameter, length, floor, height, mass float64) {
		g := simmer.Geometry{Shape: simmer.Shape(shape), Diameter: units.Length(diameter), Length: units.Length(length), Width: units.Length(length), Floor: units.Length(floor), Height: units.Length(height)}
		if water, level, err := simmer.FillToCover(g, simmer.Bed{Mass: units.Mass(mass)}, 0.02); err == nil && !(finite(float64(water), float64(level)) && level <= g.Height && water >= 0) {
			t.Fatalf("%+v: %v, %v", g, water, level)
		}
		if g.Check() != nil {
			return
		}
		level := g.LevelAt(g.VolumeAt(units.Length(height / 3)))
		if !finite(float64(level), float64(g.SurfaceAt(level)), float64(g.WettedAt(level)), float64(g.FloorArea())) || math.Abs(float64(level)-height/3) > 1e-6 {
			t.Fatalf("%+v: level %v", g, level)
		}
	})
}
