package simmer_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/floats/scalar"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

// Over any history of heating, holding, boiling, adding, covering and shutting off: what
// came in left as loss or vapour or is still there, and so do water and solids. The
// enthalpy is the closed form of the polynomials, the flows are integrated.
func TestEnergyAndMassAreConservedOverRandomHistories(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(21, 22))
	worst := 0.0
	for range 300 {
		v, l, d, c := randomKettle(rng)
		c.HighRate = rng.IntN(3) == 0
		k, err := simmer.NewKettle(v, l, d, c)
		if err != nil {
			t.Fatal(err)
		}
		first := k.State()
		added, solids := 0.0, float64(l.Liquid)*l.Solids // J of what was poured in, kg
		liquid := float64(l.Liquid)
		for range 12 {
			switch rng.IntN(6) {
			case 0:
				m, at := units.Mass(rng.Float64()*0.1*float64(l.Liquid)), units.Celsius(5+80*rng.Float64())
				before := k.State()
				if k.Add(m, 0.02, at) == nil {
					added += float64(k.State().Enthalpy - before.Enthalpy)
					solids += 0.02 * float64(m)
					liquid += float64(m)
					// By the specific heat of a 2 % stock between 5 and 85 C, within 1 %.
					if hand := float64(m) * 4140 * float64(at); !scalar.EqualWithinAbsOrRel(float64(k.State().Enthalpy-before.Enthalpy), hand, 1, 0.01) {
						t.Fatalf("%v at %v brought %v J", m, at, k.State().Enthalpy-before.Enthalpy)
					}
				}
			case 1:
				if err := k.SetCover(rng.Float64()); err != nil {
					t.Fatal(err)
				}
			case 2:
				if err := k.SetDuty(simmer.Duty{Off: true}); err != nil {
					t.Fatal(err)
				}
			case 3:
				if err := k.SetDuty(simmer.Duty{Hold: units.Celsius(60 + 50*rng.Float64()), PowerShare: 0.1 + 0.9*rng.Float64()}); err != nil {
					t.Fatal(err)
				}
			}
			s, err := k.Step(time.Duration(rng.Int64N(int64(2 * time.Hour))))
			if err != nil && !errors.Is(err, simmer.ErrDry) {
				t.Fatal(err)
			}
			in := float64(s.EnergyIn) + added
			out := float64(s.EnergyLost) + float64(s.EnergyVapour) + float64(s.Enthalpy-first.Enthalpy)
			scale := math.Max(1e6, math.Abs(float64(s.EnergyIn))+math.Abs(float64(s.EnergyLost))+math.Abs(float64(s.Enthalpy)))
			worst = math.Max(worst, math.Abs(in-out)/scale)
			if math.Abs(in-out) > 1e-6*scale {
				t.Fatalf("energy in %.0f J, accounted %.0f J\n%+v\n%+v\n%+v\n%+v", in, out, s, v, d, c)
			}
			if !scalar.EqualWithinAbsOrRel(float64(s.Liquid+s.Evaporated), liquid, 1e-9, 1e-9) || !scalar.EqualWithinAbsOrRel(float64(s.Liquid)*s.Solids, solids, 1e-9, 1e-9) {
				t.Fatalf("liquid %v, gone %v of %v kg; solids %v of %v kg", s.Liquid, s.Evaporated, liquid, float64(s.Liquid)*s.Solids, solids)
			}
			if err != nil {
				break
			}
		}
	}
	t.Logf("worst energy balance %.1e", worst)
}

// Directions that hold for every kettle, whatever else it is.
func TestMonotonicities(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(31, 32))
	const horizon = 13 * 24 * time.Hour
	type change func(*simmer.Vessel, *simmer.Load, *simmer.Duty, *simmer.Conditions)
	run := func(v simmer.Vessel, l simmer.Load, d simmer.Duty, c simmer.Conditions, end simmer.EndPoint, f change) time.Duration {
		if f != nil {
			f(&v, &l, &d, &c)
		}
		out, err := simmer.Reduce(v, l, d, c, end, simmer.Settings{Horizon: horizon})
		if err != nil {
			return -1
		}
		if !out.Reached {
			return horizon
		}
		return out.Time
	}
	for i := range 120 {
		v, l, d, c := randomKettle(rng)
		v.Heater, v.Power, v.Efficiency = simmer.Heater{}, units.Power(2*(5e3+40e3*rng.Float64())*float64(v.FloorArea())), 0.5
		l.Start = min(l.Start, 30) // a start above what the power holds lets a heavy shell bring heat along
		end := simmer.EndPoint{Mass: l.Liquid * 0.6}
		base := run(v, l, d, c, end, nil)
		if base < 0 {
			t.Fatalf("%+v", v)
		}
		for name, f := range map[string]change{
			"more power is never slower":     func(v *simmer.Vessel, _ *simmer.Load, _ *simmer.Duty, _ *simmer.Conditions) { v.Power *= 1.3 },
			"less wall loss is never slower": func(v *simmer.Vessel, _ *simmer.Load, _ *simmer.Duty, _ *simmer.Conditions) { v.WallLoss /= 2 },
			"a warmer start is never slower": func(_ *simmer.Vessel, l *simmer.Load, _ *simmer.Duty, _ *simmer.Conditions) { l.Start += 5 },
			"less shell is never slower":     func(v *simmer.Vessel, _ *simmer.Load, _ *simmer.Duty, _ *simmer.Conditions) { v.ShellMass /= 2 },
		} {
			if got := run(v, l, d, c, end, f); got > base+time.Second {
				t.Errorf("case %d: %s: %v after %v", i, name, got, base)
			}
		}
		if d.Hold > 0 { // with the power to hold it, the surface decides
			strong := v
			strong.Power *= 20
			base := run(strong, l, d, c, end, nil)
			for name, f := range map[string]change{
				"a lid is never faster":             func(_ *simmer.Vessel, _ *simmer.Load, _ *simmer.Duty, c *simmer.Conditions) { c.Cover = 0.5 },
				"a damper room is never faster":     func(_ *simmer.Vessel, _ *simmer.Load, _ *simmer.Duty, c *simmer.Conditions) { c.Humidity = 1 },
				"a quieter surface is never faster": func(_ *simmer.Vessel, _ *simmer.Load, _ *simmer.Duty, c *simmer.Conditions) { c.Activity *= 0.7 },
				"a cooler simmer is never faster":   func(_ *simmer.Vessel, _ *simmer.Load, d *simmer.Duty, _ *simmer.Conditions) { d.Hold -= 5 },
			} {
				if got := run(strong, l, d, c, end, f); got < base-time.Second && got >= 0 {
					t.Errorf("case %d: %s: %v against %v", i, name, got, base)
				}
			}
		} else {
			high := func(_ *simmer.Vessel, l *simmer.Load, _ *simmer.Duty, c *simmer.Conditions) {
				c.Altitude += 800
				l.Start = min(l.Start, 80)
			}
			low := func(_ *simmer.Vessel, l *simmer.Load, _ *simmer.Duty, _ *simmer.Conditions) {
				l.Start = min(l.Start, 80)
			}
			if h, s := run(v, l, d, c, end, high), run(v, l, d, c, end, low); h > s+time.Second && s < horizon {
				t.Errorf("case %d: boiling off takes %v up high, %v below: less to heat and to lose", i, h, s)
			}
		}
	}
}

// The steady rate is a continuous, growing function of the power through the change from
// vapour transfer to energy-limited boiling, with and without the high-rate correction,
// and the temperature nears the boil from below.
func TestRegimesJoinContinuously(t *testing.T) {
	t.Parallel()
	pot := simmer.Geometry{Shape: simmer.Cylinder, Diameter: 0.4, Height: 0.4}
	for _, high := range []bool{false, true} {
		c := simmer.Kitchen()
		c.HighRate = high
		last := simmer.State{}
		seen := [3]int{} // below 98 C, 98 to 99.9 C, above
		var boiling units.Celsius
		const step = 40.0
		for q := 1000.0; q <= 11000; q += step {
			k, err := simmer.NewKettle(simmer.Vessel{Geometry: pot, Power: units.Power(q), Efficiency: 1}, simmer.Load{Liquid: 30, Start: 95}, simmer.Duty{}, c)
			if err != nil {
				t.Fatal(err)
			}
			// To the steady state without losing much water: warm up, refill by the loss.
			var s simmer.State
			for range 40 {
				if s, err = k.Step(10 * time.Minute); err != nil {
					t.Fatal(err)
				}
				if lost := 30 - s.Liquid; lost > 0 && s.Mode != simmer.Boiling {
					if err := k.Add(lost, 0, s.Temperature); err != nil {
						t.Fatal(err)
					}
				}
				if s.Mode == simmer.Boiling {
					break
				}
			}
			boiling = k.BoilingPoint()
			switch {
			case s.Temperature < 98:
				seen[0]++
			case s.Temperature < 99.9:
				seen[1]++
			default:
				seen[2]++
			}
			if last.Evaporation > 0 {
				jump := s.Evaporation - last.Evaporation
				if jump <= 0 || jump > 1.05*step/2.257e6 {
					t.Errorf("high rate %v, %.0f W: the rate goes from %.6f to %.6f kg/s, %.0f W pay for %.6f", high, q, last.Evaporation, s.Evaporation, step, step/2.257e6)
				}
				if s.Temperature < last.Temperature-1e-3 {
					t.Errorf("%.0f W: temperature falls from %v to %v", q, last.Temperature, s.Temperature)
				}
			}
			last = s
		}
		if seen[0] == 0 || seen[1] == 0 || seen[2] == 0 || last.Temperature > boiling {
			t.Errorf("high rate %v: the sweep did not pass through 98 to 99.9 C to the boil: %v, %v", high, seen, last.Temperature)
		}
	}
}

func TestStefanFactor(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ p, pw, pa, want float64 }{
		{101325, 12351, 0, 101325 * math.Log(101325/(101325.0-12351)) / 12351}, // 1.0663
		{101325, 84609, 1584, 101325 * math.Log((101325.0-1584)/(101325-84609)) / (84609 - 1584)},
		{100000, 1000, 1000, 100000.0 / 99000}, // the limit at equal pressures
		{100000, 1000, 999.999, 100000.0 / 99000},
	} {
		got, err := simmer.StefanFactor(units.Pressure(c.p), units.Pressure(c.pw), units.Pressure(c.pa))
		if err != nil || !scalar.EqualWithinRel(got, c.want, 1e-7) {
			t.Errorf("%+v: %v, %v", c, got, err)
		}
	}
	last := 0.0
	for pw := 0.0; pw <= 1e5; pw += 100 {
		f, err := simmer.StefanFactor(1e5, units.Pressure(pw), 0)
		if err != nil || f < last || math.IsInf(f, 0) {
			t.Fatalf("pw %v: %v after %v, %v", pw, f, last, err)
		}
		last = f
	}
}

func TestErrorFallsWithTheTolerance(t *testing.T) {
	t.Parallel()
	run := func(tol float64) (time.Duration, int) {
		out, err := simmer.Reduce(kettle100, simmer.Load{Liquid: 80, Solids: 0.03, Start: 20}, simmer.Duty{Hold: 93}, simmer.Kitchen(), simmer.EndPoint{Mass: 30}, simmer.Settings{Tolerance: tol})
		if err != nil || !out.Reached {
			t.Fatal(out, err)
		}
		return out.Time, out.Steps
	}
	exact, _ := run(1e-12)
	var steps []int
	for _, tol := range []float64{1e-4, 1e-6, 1e-8} {
		got, n := run(tol)
		if miss := math.Abs((got - exact).Seconds()); miss > 2e3*math.Pow(tol, 0.8)*exact.Seconds()/100+0.01 {
			t.Errorf("tolerance %g: off by %.4f s of %v", tol, miss, exact)
		}
		steps = append(steps, n)
	}
	if steps[0] > steps[1] || steps[1] >= steps[2] {
		t.Errorf("steps %v", steps)
	}
	if got, _ := run(0); math.Abs((got - exact).Seconds()) > 0.1 {
		t.Errorf("the default is off by %v of %v", got-exact, exact)
	}
}
