package chill_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/floats/scalar"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// stillPot is a pot as wide as high, in litres.
func stillPot(t *testing.T, litres float64, start units.Celsius) chill.StillPot {
	t.Helper()
	d := units.Length(math.Cbrt(litres * 1e-3 * 4 / math.Pi))
	p := ok[chill.StillPot](t)(chill.CylinderPot(d, d, 1000))
	p.Start, p.Air = start, 3
	return p
}

func pot(t *testing.T, p chill.StillPot) *chill.Pot {
	t.Helper()
	return ok[*chill.Pot](t)(chill.NewPot(p))
}

func room(t *testing.T, r chill.ColdRoom) *chill.Room {
	t.Helper()
	return ok[*chill.Room](t)(chill.NewRoom(r))
}

// walkIn is a small one: 2 by 2 by 2.2 m of 80 mm foam, its door open 3 % of the time, a
// machine of 550 W, which is a third more than its own losses.
func walkIn(loads ...chill.Exchanger) chill.ColdRoom {
	return chill.ColdRoom{
		Volume: 8.8, Fabric: 40e3, WallUA: 8, Outside: 28,
		Doors:   []chill.Door{{Width: 0.8, Height: 1.9, Open: 0.03, Protection: 0.5}},
		Machine: chill.Machine{Setting: 2, Capacity: 550, RatedAt: 2, Fall: 0.03},
		Gain:    80, Start: 2.5, Loads: loads,
	}
}

// The known hazard: 50 L of stock left in a cold room overnight.
func TestPotInTheWalkInOvernight(t *testing.T) {
	t.Parallel()
	for _, litres := range []float64{40, 60} {
		hot := stillPot(t, litres, 88)
		neighbour := stillPot(t, 5, 3)
		empty, loaded := room(t, walkIn(pot(t, neighbour))), room(t, walkIn(pot(t, neighbour), pot(t, hot)))
		warmest, night := units.Celsius(-99), 10*time.Hour
		for at := time.Duration(0); at < night; at += 10 * time.Minute {
			if _, err := loaded.Step(10 * time.Minute); err != nil {
				t.Fatal(err)
			}
			warmest = max(warmest, loaded.Air())
		}
		ok[chill.State](t)(empty.Step(night))
		stock := ok[chill.State](t)(loaded.Load(1))
		near, alone := ok[chill.State](t)(loaded.Load(0)), ok[chill.State](t)(empty.Load(0))
		t.Logf("%v L: air up to %v (empty %v); after %v stock %v, neighbour %v (without %v)", litres, warmest, empty.Air(), night, stock.Core, near.Core, alone.Core)
		if stock.Core < 25 {
			t.Errorf("%v L: stock at %v after a night", litres, stock.Core)
		}
		if warmest < empty.Air()+0.5 || near.Core < alone.Core+0.3 {
			t.Errorf("%v L: air %v against %v, neighbour %v against %v", litres, warmest, empty.Air(), near.Core, alone.Core)
		}
		seen := ok[chill.Model](t)(room(t, walkIn(pot(t, hot))).Watch(0))
		stages, margin, err := chill.Predict(seen, chill.FoodCode2022())
		if err != nil || margin > -2*time.Hour || stages[0].Reached {
			t.Errorf("%v L: margin %v, first limit reached %v, %v: a still pot misses the code by far", litres, margin, stages[0].Reached, err)
		}
	}
}

// What the study of Longree (J. Food Prot. 23 (1960) 142, abstract read at
// meridian.allenpress.com) found of white sauce in a refrigerator: larger loads warm the
// air more and cool more slowly; many small batches, moving air and food that was cooled
// before do better.
func TestLoadedRefrigerators(t *testing.T) {
	t.Parallel()
	run := func(batches int, gallons float64, film float64, start units.Celsius) (hours, warmest float64) {
		r := walkIn()
		for range batches {
			p := stillPot(t, gallons*3.785/float64(batches), start)
			p.Film, p.GelBelow = film, 150
			r.Loads = append(r.Loads, pot(t, p))
		}
		m := room(t, r)
		for m.State().Core > 15 && m.State().Elapsed < 150*time.Hour {
			ok[chill.State](t)(m.Step(15 * time.Minute))
			warmest = max(warmest, float64(m.Air()))
		}
		return m.State().Elapsed.Hours(), warmest
	}
	base, baseAir := run(4, 16, 0, 60)
	if h, a := run(4, 8, 0, 60); h >= base || a >= baseAir {
		t.Errorf("8 gal: %v h, %v C; 16 gal: %v h, %v C", h, a, base, baseAir)
	}
	if h, a := run(4, 32, 0, 60); h <= base || a <= baseAir {
		t.Errorf("32 gal: %v h, %v C; 16 gal: %v h, %v C", h, a, base, baseAir)
	}
	if h, _ := run(8, 16, 0, 60); h >= base {
		t.Errorf("8 batches: %v h; 4 batches: %v h", h, base)
	}
	if h, _ := run(4, 16, 20, 60); h >= base {
		t.Errorf("moving air: %v h; still: %v h", h, base)
	}
	if h, a := run(4, 16, 0, 26.7); h >= base || a >= baseAir {
		t.Errorf("cooled before: %v h, %v C; hot: %v h, %v C", h, a, base, baseAir)
	}
}

// Energy is kept: what the loads lost is what the room books, and the room's ledger
// closes, for random rooms with doors, breakdowns and mixed loads.
func TestRoomsKeepEnergy(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 5))
	for range 12 {
		var food func(m *chill.Room) float64
		p := stillPot(t, uniform(r, 2, 60), units.Celsius(uniform(r, 40, 95)))
		if r.IntN(2) == 0 {
			p.GelBelow = units.Celsius(uniform(r, 5, 60))
		}
		pans := chill.Pans{Count: 1 + r.IntN(20), Depth: units.Length(uniform(r, 0.02, 0.1)), Area: 0.16, Material: stock(), Speed: uniform(r, 0, 4) + 0.1, Start: units.Celsius(uniform(r, 20, 90))}
		stack := ok[*chill.Chiller](t)(chill.NewChiller(chill.Blast{Air: 3, Loads: []chill.Pans{pans}}))
		c := walkIn(pot(t, p), stack)
		c.Volume, c.Fabric = units.Volume(uniform(r, 0.5, 30)), uniform(r, 0, 1e5)
		c.Machine.Capacity = units.Power(uniform(r, 0, 8000))
		food = func(m *chill.Room) float64 {
			a, b := ok[chill.State](t)(m.Load(0)), ok[chill.State](t)(m.Load(1))
			stackHeat := float64(pans.Count) * 0.16 * float64(pans.Depth) * 1005 * 4070
			return float64(p.Mass)*p.SpecificHeat*float64(a.Mean) + stackHeat*float64(b.Mean)
		}
		m := room(t, c)
		before, air := food(m), float64(m.Air())
		for i := range 40 {
			if i == 20 {
				if err := m.SetDoor(0, 0.5); err != nil {
					t.Fatal(err)
				}
				if err := m.SetMachine(2, 100); err != nil {
					t.Fatal(err)
				}
			}
			ok[chill.State](t)(m.Step(time.Duration(uniform(r, 1, 600) * float64(time.Second))))
		}
		b := m.Balance()
		lost := before - food(m)
		if !scalar.EqualWithinAbsOrRel(lost, float64(b.Loads), 1, 1e-6) {
			t.Errorf("food lost %v J, room booked %v", lost, float64(b.Loads))
		}
		if sum := b.Loads + b.Walls + b.Doors + b.Gain - b.Machine; !scalar.EqualWithinAbsOrRel(float64(sum), float64(b.Stored), 1, 1e-6) {
			t.Errorf("ledger %+v leaves %v", b, float64(sum-b.Stored))
		}
		capacity := float64(c.Volume)*1.2*1006 + c.Fabric
		if kept := capacity * (float64(m.Air()) - air); !scalar.EqualWithinAbsOrRel(kept, float64(b.Stored), 1, 1e-6) {
			t.Errorf("air kept %v J, ledger says %v", kept, float64(b.Stored))
		}
	}
}

// An unlimited machine makes the room the constant air of a single pot; and smaller steps
// change nothing that matters.
func TestRoomMeetsConstantAir(t *testing.T) {
	t.Parallel()
	p := stillPot(t, 10, 85)
	p.Air = 3.01
	alone := pot(t, p)
	c := walkIn(pot(t, p))
	c.Machine = chill.Machine{Setting: 3, Capacity: 1e7, RatedAt: 3, Band: 0.01}
	c.Doors, c.Gain, c.WallUA, c.Start = nil, 0, 0, 3
	m := room(t, c)
	for range 10 {
		a, b := ok[chill.State](t)(alone.Step(time.Hour)), ok[chill.State](t)(m.Step(time.Hour))
		if !scalar.EqualWithinAbs(float64(a.Core), float64(b.Core), 0.05) {
			t.Errorf("%v: alone %v, in the room %v", a.Elapsed, float64(a.Core), float64(b.Core))
		}
	}
	fine, coarse := room(t, walkIn(pot(t, p))), room(t, walkIn(pot(t, p)))
	for range 3600 {
		ok[chill.State](t)(fine.Step(time.Second))
	}
	ok[chill.State](t)(coarse.Step(time.Hour))
	if a, b := float64(fine.State().Core), float64(coarse.State().Core); !scalar.EqualWithinAbs(a, b, 0.02) {
		t.Errorf("steps of 1 s %v, of 20 s %v", a, b)
	}
}

// A stack of pans in a room of great power is the stack in a chiller of constant air, and
// a freezing piece can be a load as well.
func TestAnyModelCanBeALoad(t *testing.T) {
	t.Parallel()
	pans := chill.Pans{Count: 6, Depth: 0.05, Area: 0.16, Material: stock(), Film: 25, Start: 85}
	blast := chill.Blast{Air: -5, Loads: []chill.Pans{pans}}
	stack, alone := ok[*chill.Chiller](t)(chill.NewChiller(blast)), ok[*chill.Chiller](t)(chill.NewChiller(blast))
	c := walkIn(stack)
	c.Machine = chill.Machine{Setting: -5.01, Capacity: 1e7, RatedAt: -5, Band: 0.02}
	c.Start, c.Volume = -5, 1
	m := room(t, c)
	a, b := ok[chill.State](t)(alone.Step(time.Hour)), ok[chill.State](t)(m.Step(time.Hour))
	if !scalar.EqualWithinAbs(float64(a.Core), float64(b.Core), 0.05) {
		t.Errorf("chiller %v, room %v", float64(a.Core), float64(b.Core))
	}
}

// The inside film of a still pot is that of water on a wall; it lies around the 100 to
// 300 W/m2·K of tables (from memory) while hot and falls with the difference.
func TestStillFilm(t *testing.T) {
	t.Parallel()
	hot := ok[float64](t)(chill.StillFilm(0.3, 80, 75))
	cold := ok[float64](t)(chill.StillFilm(0.3, 12, 11.5))
	if hot < 300 || hot > 900 || cold < 30 || cold > 200 || cold > hot {
		t.Errorf("hot %v, cold %v W/m2 K", hot, cold)
	}
}

// Set stock in the pot is the finite cylinder of the series.
func TestSetPotMeetsTheSeries(t *testing.T) {
	t.Parallel()
	p := stillPot(t, 20, 60)
	p.GelBelow, p.Film, p.Conductivity, p.Air = 150, 12, 0.6, 3
	m := pot(t, p)
	d := math.Cbrt(0.020 * 4 / math.Pi)
	s := solid(t, chill.Body{
		Shape: chill.FiniteCylinder, Thickness: units.Length(d), Diameter: units.Length(d), Film: 12, Start: 60, Surroundings: 3,
		Material: chill.Material{Density: 1000, SpecificHeat: p.SpecificHeat, Conductivity: 0.6},
	})
	for range 6 {
		a, b := ok[chill.State](t)(m.Step(4*time.Hour)), ok[chill.State](t)(s.Step(4*time.Hour))
		if !scalar.EqualWithinAbs(float64(a.Core), float64(b.Core), 0.25) || !scalar.EqualWithinAbs(float64(a.Mean), float64(b.Mean), 0.1) {
			t.Errorf("%v: volumes %.3f %.3f, series %.3f %.3f", a.Elapsed, float64(a.Core), float64(a.Mean), float64(b.Core), float64(b.Mean))
		}
	}
	if lost, given := float64(p.Mass)*p.SpecificHeat*(60-float64(m.State().Mean)), float64(m.Given()); !scalar.EqualWithinRel(lost, given, 1e-9) {
		t.Errorf("lost %v, given %v J", lost, given)
	}
}

// Pots keep energy through the whole of a chill, gelling on the way.
func TestPotsKeepEnergy(t *testing.T) {
	t.Parallel()
	p := stillPot(t, 30, 90)
	p.GelBelow = 14
	m := pot(t, p)
	for range 90 {
		s := ok[chill.State](t)(m.Step(time.Hour))
		if lost, given := float64(p.Mass)*p.SpecificHeat*(90-float64(s.Mean)), float64(m.Given()); !scalar.EqualWithinRel(lost, given, 1e-9) {
			t.Fatalf("lost %v, given %v J", lost, given)
		}
	}
	if !m.Gelled() {
		t.Error("the stock never set")
	}
	never := p
	never.GelBelow = 0
	if a, b := ok[chill.State](t)(pot(t, p).Step(40*time.Hour)), ok[chill.State](t)(pot(t, never).Step(40*time.Hour)); a.Core <= b.Core {
		t.Errorf("set %v, liquid %v: setting must not speed it up", a.Core, b.Core)
	}
}

// A machine whose power falls with the air is slower than one that keeps it, and a door
// that stands open slower again.
func TestChillerWithFallingPower(t *testing.T) {
	t.Parallel()
	pans := chill.Pans{Count: 20, Depth: 0.05, Area: 0.16, Material: stock(), Speed: 3, Start: 85}
	at := func(b chill.Blast) units.Celsius {
		b.Air, b.Power, b.Loads = -15, 5000, []chill.Pans{pans}
		m := ok[*chill.Chiller](t)(chill.NewChiller(b))
		s := ok[chill.State](t)(m.Step(90 * time.Minute))
		lost := 20 * 0.16 * 0.05 * 1005 * 4070 * (85 - float64(s.Mean))
		if !scalar.EqualWithinRel(lost, float64(m.Given()), 1e-9) {
			t.Errorf("lost %v, given %v J", lost, float64(m.Given()))
		}
		return s.Core
	}
	flat, falls, open := at(chill.Blast{}), at(chill.Blast{RatedAt: 30, Fall: 0.03}), at(chill.Blast{RatedAt: 30, Fall: 0.03, Gain: 800})
	if !(flat < falls && falls < open) {
		t.Errorf("flat %v, falling %v, falling with a door open %v", flat, falls, open)
	}
}

// An ice paddle of two gallons lowers 20 L by about 30 K before it is spent (arithmetic:
// 7.5 kg of ice, 2.5 MJ).
func TestIcePaddle(t *testing.T) {
	t.Parallel()
	m := ok[*chill.IceBath](t)(chill.NewIcePaddle(chill.IcePaddle{Stock: 20, SpecificHeat: 4060, Start: 60, Ice: 7.5, Area: 0.25}))
	for m.State().Ice > 0 && m.State().Elapsed < 3*time.Hour {
		ok[chill.State](t)(m.Step(time.Minute))
	}
	if s := m.State(); !scalar.EqualWithinAbs(float64(60-s.Core), 7.5*thermo.LatentHeatFusion/(20*4060), 1) || s.Elapsed < 5*time.Minute {
		t.Errorf("spent after %v at %v", s.Elapsed, s.Core)
	}
}

// The room is implicit in its air: halving the step halves the error.
func TestRoomOrderOfConvergence(t *testing.T) {
	t.Parallel()
	air := func(step time.Duration) float64 {
		p := stillPot(t, 5, 80)
		p.Film, p.Inner = 15, 500
		c := walkIn(pot(t, p))
		c.Machine.Capacity, c.Fabric = 100, 2e3
		m := room(t, c)
		for at := time.Duration(0); at < 4*time.Minute; at += step {
			ok[chill.State](t)(m.Step(step))
		}
		return float64(m.Air())
	}
	a, b, c := air(8*time.Second), air(4*time.Second), air(2*time.Second)
	if order := math.Log2((a - b) / (b - c)); !scalar.EqualWithinAbs(order, 1, 0.15) {
		t.Errorf("order %.3f (%v %v %v)", order, a, b, c)
	}
}

// Stock, ice and bath keep their heat together, for any ice bath.
func TestIceBathsKeepEnergy(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(2, 9))
	for range 200 {
		b := chill.Bath{
			Mass: units.Mass(uniform(r, 1, 200)), SpecificHeat: uniform(r, 3000, 4200), Coefficient: uniform(r, 20, 1000), Area: units.Area(uniform(r, 0.05, 3)),
			Start: units.Celsius(uniform(r, 5, 100)), Ice: units.Mass(uniform(r, 0, 200)), Water: units.Mass(uniform(r, 0.1, 100)), WaterStart: units.Celsius(uniform(r, 0, 30)),
		}
		m := ok[*chill.IceBath](t)(chill.NewIceBath(b))
		heat := func() float64 {
			s := m.State()
			return float64(b.Mass)*b.SpecificHeat*float64(s.Core) + float64(b.Water+b.Ice-s.Ice)*thermo.SpecificHeatWater*float64(s.Surroundings) - float64(s.Ice)*thermo.LatentHeatFusion
		}
		size := float64(b.Mass) * b.SpecificHeat * float64(b.Start)
		first := heat()
		for range 10 {
			ok[chill.State](t)(m.Step(time.Duration(uniform(r, 1, 3600) * float64(time.Second))))
			if d := heat() - first; math.Abs(d) > 1e-9*size {
				t.Fatalf("%+v: heat changes by %v J", b, d)
			}
		}
	}
}
