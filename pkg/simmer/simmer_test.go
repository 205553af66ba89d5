package simmer_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/floats/scalar"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

var kettle100 = simmer.Vessel{Geometry: jacketed, Power: 30 * units.Kilowatt, Efficiency: 0.5, WallLoss: 8, ShellMass: 60}

// Pool equation in a room of 25 C, 50 %, computed separately, kg/m2·h.
func TestPoolEquationAtSimmer(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ t, v, want, tol float64 }{
		{50, 0, 1.45, 0.006}, {80, 0, 6.36, 0.006}, {85, 0.1, 8.55, 0.006}, {90, 0, 9.63, 0.006}, {90, 0.3, 12.2, 0.06}, {95, 0, 11.7, 0.06}, {95, 0.3, 14.8, 0.06},
	} {
		cond := simmer.Kitchen()
		cond.AirSpeed, cond.Transfer = c.v, simmer.Pool
		e, err := simmer.OpenSurface(units.Celsius(c.t), 1, 0.25, cond)
		if err != nil || !scalar.EqualWithinAbs(e.Evaporation*3600, c.want, c.tol) {
			t.Errorf("%v C, %v m/s: %.3f, %v; want %v", c.t, c.v, e.Evaporation*3600, err, c.want)
		}
	}
}

// 3600 s / 2256.47 kJ/kg (IF97 latent heat at 100 C) = 1.5954 kg/h per kW.
func TestBoilOffOfOneKilowatt(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		p    units.Power
		want float64
	}{{units.Kilowatt, 1.5954}, {10 * units.Kilowatt, 15.954}, {100_000 * units.BTUPerHour * 0.30, 14.03}} {
		m, err := simmer.BoilOff(c.p, 100)
		if err != nil || !scalar.EqualWithinRel(m*3600, c.want, 5e-4) {
			t.Errorf("%v: %.4f kg/h, %v; want %v", c.p, m*3600, err, c.want)
		}
	}
}

func TestBoilingKettleEvaporatesWhatThePowerLeftPaysFor(t *testing.T) {
	t.Parallel()
	k, err := simmer.NewKettle(kettle100, simmer.Load{Liquid: 100, Start: 90}, simmer.Duty{}, simmer.Kitchen())
	if err != nil {
		t.Fatal(err)
	}
	s, err := k.Step(2 * time.Hour)
	if err != nil || s.Mode != simmer.Boiling || s.Temperature != k.BoilingPoint() {
		t.Fatalf("%+v, %v", s, err)
	}
	h, _ := thermo.LatentHeat(s.Temperature)
	before := s
	s, err = k.Step(time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	net := float64(s.EnergyIn-before.EnergyIn) - float64(s.EnergyLost-before.EnergyLost)
	if got := float64(s.Evaporated - before.Evaporated); !scalar.EqualWithinRel(got, net/h, 1e-9) {
		t.Errorf("evaporated %v kg, net energy pays for %v", got, net/h)
	}
	if s.EnergyLost <= before.EnergyLost || float64(s.Power) != 15000 {
		t.Errorf("losses %v, power %v", s.EnergyLost-before.EnergyLost, s.Power)
	}
}

func TestShapeDecidesTheLoss(t *testing.T) {
	t.Parallel()
	loss := func(d, h units.Length) units.Mass {
		v := simmer.Vessel{Geometry: simmer.Geometry{Shape: simmer.Cylinder, Diameter: d, Height: h}, Power: 20 * units.Kilowatt}
		out, err := simmer.SimmerLoss(v, simmer.Load{Liquid: 30, Start: 93}, simmer.Duty{Hold: 93}, simmer.Kitchen(), 4*time.Hour, simmer.Settings{})
		if err != nil {
			t.Fatal(err)
		}
		return out.Evaporated
	}
	tall, wide := loss(0.32, 0.5), loss(0.64, 0.2)
	if !scalar.EqualWithinRel(float64(wide), 4*float64(tall), 1e-3) {
		t.Errorf("tall %v, wide %v: four times the surface loses four times as much below the boil", tall, wide)
	}
}

func TestDirectionsOfTheModel(t *testing.T) {
	t.Parallel()
	base := func() (simmer.Vessel, simmer.Load, simmer.Duty, simmer.Conditions) {
		return kettle100, simmer.Load{Liquid: 80, Solids: 0.03, Start: 20}, simmer.Duty{}, simmer.Kitchen()
	}
	run := func(change func(*simmer.Vessel, *simmer.Load, *simmer.Duty, *simmer.Conditions)) time.Duration {
		v, l, d, c := base()
		change(&v, &l, &d, &c)
		out, err := simmer.Reduce(v, l, d, c, simmer.EndPoint{Mass: 40}, simmer.Settings{Horizon: 14 * 24 * time.Hour})
		if err != nil || !out.Reached {
			t.Fatalf("%+v, %v", out, err)
		}
		return out.Time
	}
	type V = simmer.Vessel
	type L = simmer.Load
	type D = simmer.Duty
	type C = simmer.Conditions
	normal := run(func(*V, *L, *D, *C) {})
	for name, c := range map[string]struct {
		change func(*V, *L, *D, *C)
		slower bool
	}{
		"half the power":          {func(_ *V, _ *L, d *D, _ *C) { d.PowerShare = 0.5 }, true},
		"a held simmer":           {func(_ *V, _ *L, d *D, _ *C) { d.Hold = 92 }, true},
		"a leaky wall":            {func(v *V, _ *L, _ *D, _ *C) { v.WallLoss = 30 }, true},
		"a heavier shell":         {func(v *V, _ *L, _ *D, _ *C) { v.ShellMass = 200 }, true},
		"more power":              {func(v *V, _ *L, _ *D, _ *C) { v.Power *= 2 }, false},
		"a warm start":            {func(_ *V, l *L, _ *D, _ *C) { l.Start = 80 }, false},
		"altitude, lower boil":    {func(_ *V, _ *L, _ *D, c *C) { c.Altitude = 2000 }, false},
		"bones to heat":           {func(_ *V, l *L, _ *D, _ *C) { l.Bones = 30 }, true},
		"a hotter, drier room":    {func(_ *V, _ *L, _ *D, c *C) { c.Room, c.Humidity = 40, 0.1 }, false},
		"a lid, held at a simmer": {func(_ *V, _ *L, d *D, c *C) { d.Hold, c.Cover = 92, 1 }, true},
	} {
		if got := run(c.change); (got > normal) != c.slower {
			t.Errorf("%s: %v against %v", name, got, normal)
		}
	}
}

func TestWhichEndPointComesFirst(t *testing.T) {
	t.Parallel()
	load := simmer.Load{Liquid: 60, Solids: 0.04, Start: 95}
	out, err := simmer.Reduce(kettle100, load, simmer.Duty{}, simmer.Kitchen(), simmer.EndPoint{Volume: 5 * units.Litre, Mass: 10, Solids: 0.20}, simmer.Settings{Every: 10 * time.Minute})
	if err != nil || !out.Reached || out.By != simmer.SolidsTarget {
		t.Fatalf("by %v, %v", out.By, err)
	}
	// Mass balance of solids: 60·0.04/0.20 = 12 kg.
	if !scalar.EqualWithinRel(float64(out.Final.Liquid), 12, 1e-5) {
		t.Errorf("final %v", out.Final.Liquid)
	}
	if n := len(out.Series); n < 10 || out.Series[0] != out.First || out.Series[n-1] != out.Final {
		t.Errorf("series of %d states", n)
	}
	for i := 1; i < len(out.Series); i++ {
		if out.Series[i].Level >= out.Series[i-1].Level {
			t.Errorf("level does not fall at %v", out.Series[i].Elapsed)
		}
	}
}

func TestBringUp(t *testing.T) {
	t.Parallel()
	out, err := simmer.BringUp(kettle100, simmer.Load{Liquid: 100, Start: 15}, simmer.Kitchen(), 90, simmer.Settings{})
	if err != nil || !out.Reached || !scalar.EqualWithinAbs(float64(out.Final.Temperature), 90, 1e-3) {
		t.Fatalf("%+v, %v", out, err)
	}
	// Without losses: (100·4186 + 60·500)·75/15000 = 2243 s. Losses must add some.
	if s := out.Time.Seconds(); s < 2243 || s > 2243*1.25 {
		t.Errorf("%.0f s, lossless 2243 s", s)
	}
	weak := kettle100
	weak.Power = 2 * units.Kilowatt
	out, err = simmer.BringUp(weak, simmer.Load{Liquid: 100, Start: 15}, simmer.Kitchen(), 90, simmer.Settings{})
	if err != nil || out.Reached || out.Final.Temperature > 80 || !contains(out.Cautions, simmer.CautionNotReached) || !contains(out.Cautions, simmer.CautionBelowTarget) {
		t.Errorf("weak kettle: %+v, %v", out, err)
	}
	denver := simmer.Kitchen()
	denver.Altitude = 1609
	if _, err = simmer.BringUp(kettle100, simmer.Load{Liquid: 100, Start: 15}, denver, 97, simmer.Settings{}); err == nil {
		t.Error("97 C cannot be reached at 1609 m")
	}
}

func contains(list []string, s string) bool {
	for _, l := range list {
		if l == s {
			return true
		}
	}
	return false
}

func TestStepSizeOfTheCallerDoesNotMatter(t *testing.T) {
	t.Parallel()
	run := func(step time.Duration) simmer.State {
		k, err := simmer.NewKettle(kettle100, simmer.Load{Liquid: 80, Solids: 0.03, Start: 20}, simmer.Duty{Hold: 95}, simmer.Kitchen())
		if err != nil {
			t.Fatal(err)
		}
		var s simmer.State
		for at := time.Duration(0); at < 6*time.Hour; at += step {
			if s, err = k.Step(step); err != nil {
				t.Fatal(err)
			}
		}
		return s
	}
	a, b := run(10*time.Second), run(time.Hour)
	if !scalar.EqualWithinAbs(float64(a.Temperature), float64(b.Temperature), 1e-4) || !scalar.EqualWithinRel(float64(a.Liquid), float64(b.Liquid), 1e-5) {
		t.Errorf("10 s steps: %v, %v; 1 h steps: %v, %v", a.Temperature, a.Liquid, b.Temperature, b.Liquid)
	}
}

func TestCookActsOnTheKettle(t *testing.T) {
	t.Parallel()
	k, err := simmer.NewKettle(kettle100, simmer.Load{Liquid: 50, Solids: 0.05, Start: 95}, simmer.Duty{Hold: 95}, simmer.Kitchen())
	if err != nil {
		t.Fatal(err)
	}
	if k.State().Mode != simmer.Holding {
		t.Fatalf("mode %v", k.State().Mode)
	}
	if err := k.Add(20, 0, 15); err != nil {
		t.Fatal(err)
	}
	s := k.State()
	if s.Mode != simmer.Heating || !scalar.EqualWithinRel(float64(s.Liquid), 70, 1e-12) || !scalar.EqualWithinRel(s.Solids, 2.5/70, 1e-12) {
		t.Errorf("after adding water: %+v", s)
	}
	if err := k.SetDuty(simmer.Duty{Off: true}); err != nil {
		t.Fatal(err)
	}
	before := k.State()
	if s, err = k.Step(time.Hour); err != nil || s.Temperature >= before.Temperature || s.EnergyIn != before.EnergyIn || s.Mode != simmer.Cooling {
		t.Errorf("off: %+v, %v", s, err)
	}
	if err := k.Add(1000, 0, 15); err == nil {
		t.Error("a ton of water must not fit")
	}
	if err := k.SetDuty(simmer.Duty{}); err != nil {
		t.Fatal(err)
	}
	for range 100 {
		if s, err = k.Step(time.Hour); err != nil {
			break
		}
	}
	if !errors.Is(err, simmer.ErrDry) || s.Solids > simmer.MaxSolids+0.01 {
		t.Errorf("boiled for 100 h: %+v, %v", s, err)
	}
}

// Any kettle that is accepted stays finite, never gains water, and never passes the
// boil.
func TestRandomKettlesStaySane(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 6))
	for range 300 {
		g := simmer.Geometry{Shape: simmer.Shape(rng.IntN(3)), Diameter: units.Length(0.1 + rng.Float64()), Length: units.Length(0.1 + rng.Float64()), Width: units.Length(0.1 + rng.Float64())}
		g.Height = g.Diameter/2 + units.Length(0.05+rng.Float64())
		v := simmer.Vessel{Geometry: g, Power: units.Power(rng.Float64() * 60e3), Efficiency: 0.05 + 0.95*rng.Float64(), WallLoss: 0.1 + 40*rng.Float64(), ShellMass: units.Mass(rng.Float64() * 100)}
		l := simmer.Load{Liquid: units.Mass(float64(g.Brimful()) * 950 * (0.05 + 0.9*rng.Float64())), Solids: rng.Float64() * 0.3, Start: units.Celsius(rng.Float64() * 85)}
		c := simmer.Conditions{Room: units.Celsius(10 + 30*rng.Float64()), Humidity: rng.Float64(), AirSpeed: rng.Float64(), Altitude: 3000 * rng.Float64(), Cover: rng.Float64(), Transfer: simmer.Transfer(rng.IntN(2))}
		d := simmer.Duty{Hold: units.Celsius(40 + 70*rng.Float64()), PowerShare: 0.05 + 0.95*rng.Float64()}
		k, err := simmer.NewKettle(v, l, d, c)
		if err != nil {
			t.Fatalf("%+v %+v: %v", v, l, err)
		}
		last := k.State()
		for range 48 {
			s, err := k.Step(15 * time.Minute)
			if err != nil && !errors.Is(err, simmer.ErrDry) {
				t.Fatal(err)
			}
			for _, x := range []float64{float64(s.Temperature), float64(s.Liquid), float64(s.Volume), float64(s.Level), s.Solids, s.Evaporation, float64(s.Power), float64(s.EnergyIn), float64(s.EnergyLost)} {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					t.Fatalf("%+v", s)
				}
			}
			if s.Liquid > last.Liquid || s.Temperature > k.BoilingPoint() || s.Evaporation < 0 || s.EnergyIn < last.EnergyIn {
				t.Fatalf("%+v after %+v", s, last)
			}
			if last = s; err != nil {
				break
			}
		}
	}
}

func TestBadInputIsRefused(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	good := simmer.Load{Liquid: 50, Solids: 0.05, Start: 20}
	try := func(name string, v simmer.Vessel, l simmer.Load, d simmer.Duty, c simmer.Conditions, e simmer.EndPoint) {
		t.Helper()
		if out, err := simmer.Reduce(v, l, d, c, e, simmer.Settings{}); err == nil {
			t.Errorf("%s gave %+v", name, out)
		}
	}
	half := simmer.EndPoint{Mass: 25}
	c := simmer.Kitchen()
	try("no room temperature", kettle100, good, simmer.Duty{}, simmer.Conditions{}, half)
	try("NaN humidity", kettle100, good, simmer.Duty{}, simmer.Conditions{Room: 25, Humidity: nan}, half)
	try("NaN mass", kettle100, simmer.Load{Liquid: units.Mass(nan), Start: 20}, simmer.Duty{}, c, half)
	try("overfull", kettle100, simmer.Load{Liquid: 500, Start: 20}, simmer.Duty{}, c, half)
	try("infinite power", simmer.Vessel{Geometry: jacketed, Power: units.Power(math.Inf(1))}, good, simmer.Duty{}, c, half)
	try("no end point", kettle100, good, simmer.Duty{}, c, simmer.EndPoint{})
	try("end above start", kettle100, good, simmer.Duty{}, c, simmer.EndPoint{Mass: 60})
	try("no solids", kettle100, simmer.Load{Liquid: 50, Start: 20}, simmer.Duty{}, c, simmer.EndPoint{Solids: 0.2})
	try("NaN end", kettle100, good, simmer.Duty{}, c, simmer.EndPoint{Volume: units.Volume(nan)})
	try("NaN superheat", kettle100, good, simmer.Duty{MaxSuperheat: units.CelsiusDelta(nan)}, c, half)
	try("superheat of a forge", kettle100, good, simmer.Duty{MaxSuperheat: 500}, c, half)
	try("scorch limit of nothing", kettle100, good, simmer.Duty{}, c, simmer.EndPoint{Superheat: 0.01})
	try("scorch limit passed already", kettle100, simmer.Load{Liquid: 5, Solids: 0.6, Start: 95}, simmer.Duty{}, c, simmer.EndPoint{Superheat: 2})
	try("unknown transfer", kettle100, good, simmer.Duty{}, simmer.Conditions{Room: 25, Transfer: 7}, half)
	for _, tol := range []float64{nan, -1, 1} {
		if out, err := simmer.Reduce(kettle100, good, simmer.Duty{}, c, half, simmer.Settings{Tolerance: tol}); err == nil {
			t.Errorf("tolerance %v gave %+v", tol, out)
		}
	}
	try("cold hold", kettle100, good, simmer.Duty{Hold: 5}, c, half)
}

func BenchmarkReduceOvernight(b *testing.B) {
	load := simmer.Load{Liquid: 100, Solids: 0.03, Start: 20}
	b.ReportAllocs()
	for b.Loop() {
		out, err := simmer.Reduce(kettle100, load, simmer.Duty{Hold: 95}, simmer.Kitchen(), simmer.EndPoint{Mass: 60}, simmer.Settings{})
		if err != nil || !out.Reached {
			b.Fatal(out, err)
		}
	}
}
