package chill_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/floats/scalar"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// twoStage is tap water, then ice water, for 200 kg of stock.
func twoStage() chill.PlateCooler {
	return chill.PlateCooler{
		Flow: 0.25, SpecificHeat: 4060, Start: 88, Batch: 200,
		Sections: []chill.Section{
			{Plates: 22, PlateArea: 0.04, Coefficient: 2500, Coolant: 0.6, CoolantIn: 14},
			{Plates: 32, PlateArea: 0.04, Coefficient: 2500, Coolant: 0.8, CoolantHeat: 3700, CoolantIn: -1},
		},
	}
}

func TestPlateCooler(t *testing.T) {
	t.Parallel()
	p := twoStage()
	r := ok[chill.PlateCooling](t)(p.Run())
	if r.Outlet > 4 || r.Outlet < 0 || r.Pass != 800*time.Second || len(r.Sections) != 2 {
		t.Fatalf("%+v", r)
	}
	// Heat that the food loses is what the coolants gain.
	gained := 0.6*thermo.SpecificHeatWater*float64(r.Sections[0].CoolantOut-14) + 0.8*3700*float64(r.Sections[1].CoolantOut+1)
	if lost := 0.25 * 4060 * float64(88-r.Outlet); !scalar.EqualWithinRel(lost, gained, 1e-9) || !scalar.EqualWithinRel(lost, float64(r.Duty), 1e-9) {
		t.Errorf("lost %v, gained %v, duty %v W", lost, gained, float64(r.Duty))
	}
	// The inverse gives the area back.
	ua := ok[float64](t)(p.PlatesNeeded(p.Sections[0], r.Sections[0].Out))
	if !scalar.EqualWithinRel(ua, 20*0.04*2500, 1e-9) {
		t.Errorf("UA %v", ua)
	}
	if _, err := p.PlatesNeeded(p.Sections[0], 13); err == nil {
		t.Error("stock cannot leave colder than the water enters")
	}
	// The batch meets the code: the last litre waits hot and then passes in seconds.
	m := ok[*chill.PlateRun](t)(chill.NewPlateRun(p))
	st, margin, err := chill.Predict(m, chill.FoodCode2022())
	if err != nil || margin < 119*time.Minute || !st[1].Reached || st[1].At < 800*time.Second {
		t.Errorf("%+v, %v, %v", st, margin, err)
	}
	if s := m.State(); s.Core != 88 || s.Heat != r.Duty {
		t.Errorf("%+v", s)
	}
	ok[chill.State](t)(m.Step(400 * time.Second))
	if s := m.State(); s.Core != 88 || !scalar.EqualWithinAbs(float64(s.Mean), float64(88+r.Outlet)/2, 1e-9) {
		t.Errorf("%+v", s)
	}
	// More plates, more or colder coolant never leave the stock warmer.
	rng := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		s := chill.Section{UA: uniform(rng, 10, 20000), Coolant: uniform(rng, 0.05, 3), CoolantIn: units.Celsius(uniform(rng, 1, 20))}
		out := func(s chill.Section) units.Celsius {
			p.Sections = []chill.Section{s}
			return ok[chill.PlateCooling](t)(p.Run()).Outlet
		}
		base := out(s)
		more, colder, flow := s, s, s
		more.UA *= 1.3
		colder.CoolantIn--
		flow.Coolant *= 1.3
		if base < s.CoolantIn-1e-9 || out(more) > base+1e-9 || out(colder) > base+1e-9 || out(flow) > base+1e-9 {
			t.Fatalf("%+v: %v, more plates %v, colder %v, more coolant %v", s, base, out(more), out(colder), out(flow))
		}
	}
}

func TestCounterflowHasItsLimits(t *testing.T) {
	t.Parallel()
	for _, n := range []float64{0, 0.1, 1, 3, 10, 100} {
		e0 := ok[float64](t)(chill.CounterflowEffectiveness(n, 0))
		e1 := ok[float64](t)(chill.CounterflowEffectiveness(n, 1))
		near := ok[float64](t)(chill.CounterflowEffectiveness(n, 1-1e-7))
		if !scalar.EqualWithinAbs(e0, -math.Expm1(-n), 1e-12) || !scalar.EqualWithinAbs(e1, n/(1+n), 1e-12) || !scalar.EqualWithinAbs(near, e1, 1e-6) {
			t.Errorf("NTU %v: %v %v %v", n, e0, e1, near)
		}
		for _, c := range []float64{0, 0.3, 0.9, 1} {
			if e := ok[float64](t)(chill.CounterflowEffectiveness(n, c)); e < 0.999 {
				if back := ok[float64](t)(chill.CounterflowNTU(e, c)); !scalar.EqualWithinAbsOrRel(back, n, 1e-9, 1e-9) {
					t.Errorf("NTU %v, C %v comes back as %v", n, c, back)
				}
			}
		}
	}
}

// Beef tallow on a pot sets in the evening; poultry fat on the same pot has not set after
// a night, and the answer says why; in a shallow pan it has.
func TestFatCap(t *testing.T) {
	t.Parallel()
	tall := stillPot(t, 50, 85)
	tall.GelBelow = 12
	lift := func(f chill.Fat, stock chill.Model, horizon time.Duration) chill.CapSetting {
		c := ok[*chill.FatCap](t)(chill.NewFatCap(chill.FatLayer{Fat: f, Thickness: 0.015, Air: 3}, stock))
		return ok[chill.CapSetting](t)(c.LiftCap(horizon))
	}
	night := 12 * time.Hour
	beef, chicken := lift(chill.BeefTallow, pot(t, tall), 3*night), lift(chill.ChickenFat, pot(t, tall), night)
	t.Logf("beef firm after %v with the stock at %v; chicken after %v: fat %v, stock %v", beef.Firm, beef.StockThen, night, chicken.FatThen, chicken.StockThen)
	if !beef.FirmSet || beef.Firm < 4*time.Hour || beef.Skin > beef.Firm {
		t.Errorf("beef %+v", beef)
	}
	if chicken.FirmSet || chicken.StockThen < 20 || !slices.Contains(chicken.Cautions, chill.CautionWarmStock) {
		t.Errorf("chicken %+v", chicken)
	}
	pan := ok[*chill.Chiller](t)(chill.NewChiller(chill.Blast{Air: 2, Loads: []chill.Pans{{Count: 1, Depth: 0.05, Area: 0.16, Material: stock(), Film: 15, Start: 85}}}))
	if a := lift(chill.ChickenFat, pan, night); !a.FirmSet {
		t.Errorf("chicken fat on a pan: %+v", a)
	}
	// Published melting ranges lie above what is called firm.
	for _, f := range []chill.Fat{chill.BeefTallow, chill.MuttonFat, chill.Lard, chill.ChickenFat, chill.GooseFat} {
		if !(f.Firm < f.MeltFrom && f.MeltFrom < f.MeltTo) {
			t.Errorf("%+v", f)
		}
	}
}

// In the end the flux through a liquid cap is the flux off its top: a closed form from
// core (the lowest volume) and mean (half way, on a straight line).
func TestFatCapFluxIsContinuous(t *testing.T) {
	t.Parallel()
	vat := ok[*chill.Stirred](t)(chill.NewStirred(chill.Vat{Mass: 50, SpecificHeat: 4060, Coefficient: 500, Area: 1, Jacket: 60, Room: 60, Start: 60}))
	oil := chill.Fat{Name: "never sets", Firm: -9, MeltFrom: -8.5, MeltTo: -8}
	for _, thick := range []float64{0.005, 0.02, 0.05} {
		c := ok[*chill.FatCap](t)(chill.NewFatCap(chill.FatLayer{Fat: oil, Thickness: units.Length(thick), Film: 12, Air: 0}, vat))
		s := ok[chill.State](t)(c.Step(24 * time.Hour))
		n := math.Round(thick / 1e-3)
		if n > 40 {
			n = 40
		}
		dx, low := thick/n, float64(s.Core)
		top := 2*float64(s.Mean) - low
		const k = 0.172 // fat at 30 C by Choi and Okos
		through, off := k*(low-top)/(thick-dx), top/(1.0/12+dx/(2*k))
		if !scalar.EqualWithinRel(through, off, 1e-3) || low >= 60 || top <= 0 {
			t.Errorf("%v m: through %v, off %v W/m2", thick, through, off)
		}
	}
}

// Heat that enters and leaves the fat is what it holds: a cap between surroundings of one
// temperature ends there.
func TestFatCapEndsAtItsSurroundings(t *testing.T) {
	t.Parallel()
	vat := ok[*chill.Stirred](t)(chill.NewStirred(chill.Vat{Mass: 50, SpecificHeat: 4060, Coefficient: 500, Area: 1, Jacket: 10, Room: 10, Start: 80}))
	c := ok[*chill.FatCap](t)(chill.NewFatCap(chill.FatLayer{Fat: chill.BeefTallow, Thickness: 0.02, Air: 10}, vat))
	last := units.Celsius(80)
	for range 48 {
		s := ok[chill.State](t)(c.Step(30 * time.Minute))
		if s.Core > last+1e-9 {
			t.Fatalf("fat warms to %v", s.Core)
		}
		last = s.Core
	}
	if s := c.State(); !scalar.EqualWithinAbs(float64(s.Core), 10, 0.05) || c.FirmDepth() < 0.02-1e-9 {
		t.Errorf("%+v, firm %v", s, c.FirmDepth())
	}
}

func TestInverseAnswers(t *testing.T) {
	t.Parallel()
	code := chill.FoodCode2022()
	pan := chill.Pans{Count: 1, Depth: 0.05, Area: 0.16, Material: stock(), Film: 25, Start: 85}
	meets := func(a chill.Answer) {
		t.Helper()
		if a.Margin < 0 || len(a.Stages) != 2 || !slices.Contains(a.Cautions, chill.CautionSafety) {
			t.Errorf("%+v", a)
		}
	}
	deep := ok[chill.Answer](t)(chill.DeepestPan(pan, 0, code))
	meets(deep)
	warm := ok[chill.Answer](t)(chill.WarmestAir(pan, code))
	meets(warm)
	speed := ok[chill.Answer](t)(chill.LeastAirSpeed(pan, -2, code))
	meets(speed)
	machine := chill.Blast{Air: -5, Power: 6000}
	pans := ok[chill.Answer](t)(chill.MostPans(machine, pan, code))
	meets(pans)
	small := ok[chill.Answer](t)(chill.MostStock(chill.PotFamily{}, chill.StillPot{SpecificHeat: 4060, Film: 25, Start: 85, Air: 0}, code))
	meets(small)
	bath := chill.Bath{SpecificHeat: 4060, Coefficient: 400, Start: 88, Ice: 1.5, Water: 0.5, WaterStart: 10}
	iced := ok[chill.Answer](t)(chill.MostStockInIce(chill.PotFamily{}, bath, code))
	meets(iced)
	t.Logf("depth %.0f mm at 0 C; warmest air %.1f C; air speed %.2f m/s at -2 C; %v pans in 6 kW; %.1f L still at 0 C in moving air; %.0f L stirred in ice",
		deep.Value*1000, warm.Value, speed.Value, pans.Value, small.Value*1000, iced.Value*1000)
	if iced.Value < 5*small.Value {
		t.Errorf("still %v, in ice %v m3", small.Value, iced.Value)
	}
	// One step beyond each answer misses the limits.
	misses := func(what string, m chill.Model, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		if _, margin, err := chill.Predict(m, code); err != nil || margin >= 0 {
			t.Errorf("%s: margin %v, %v", what, margin, err)
		}
	}
	p := pan
	p.Depth = units.Length(deep.Value + 4e-4)
	m, err := chill.NewChiller(chill.Blast{Air: 0, Loads: []chill.Pans{p}})
	misses("deeper", m, err)
	m, err = chill.NewChiller(chill.Blast{Air: units.Celsius(warm.Value + 0.2), Loads: []chill.Pans{pan}})
	misses("warmer", m, err)
	p = pan
	p.Count = int(pans.Value) + 1
	machine.Loads = []chill.Pans{p}
	m, err = chill.NewChiller(machine)
	misses("more", m, err)
	p = pan
	p.Film, p.Speed = 0, speed.Value-0.1
	m, err = chill.NewChiller(chill.Blast{Air: -2, Loads: []chill.Pans{p}})
	misses("slower air", m, err)
	// Impossible questions say so.
	for name, f := range map[string]func() (chill.Answer, error){
		"still pot at 3 C": func() (chill.Answer, error) {
			return chill.MostStock(chill.PotFamily{}, chill.StillPot{SpecificHeat: 4060, Start: 85, Air: 3}, code)
		},
		"air too warm": func() (chill.Answer, error) { return chill.LeastAirSpeed(pan, 6, code) },
		"thick pan":    func() (chill.Answer, error) { q := pan; q.Depth = 0.3; return chill.WarmestAir(q, code) },
		"no machine": func() (chill.Answer, error) {
			return chill.MostPans(chill.Blast{Air: 4.9, Power: 100}, pan, code)
		},
		"NaN": func() (chill.Answer, error) { q := pan; q.Film = math.NaN(); return chill.WarmestAir(q, code) },
	} {
		if a, err := f(); err == nil {
			t.Errorf("%s gave %+v", name, a)
		}
	}
}

// More of what cools never makes a chill slower.
func TestMonotone(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(21, 4))
	took := func(m chill.Model, err error) time.Duration {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		d, _, err := chill.TimeTo(m, 8, 30*time.Hour)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	const same = 300 * time.Millisecond // the resolution of TimeTo, twice, and some
	for range 20 {
		b := chill.Bath{Mass: 20, SpecificHeat: 4060, Coefficient: uniform(r, 50, 500), Area: 0.3, Start: 85, Ice: units.Mass(uniform(r, 1, 30)), Water: 10, WaterStart: 12}
		more := b
		more.Ice += units.Mass(uniform(r, 0, 20))
		if x, y := took(chill.NewIceBath(b)), took(chill.NewIceBath(more)); y > x+same {
			t.Errorf("%v of ice %v, %v of ice %v", b.Ice, x, more.Ice, y)
		}
		p := chill.Pans{Count: 1, Depth: units.Length(uniform(r, 0.02, 0.08)), Area: 0.16, Material: stock(), Film: uniform(r, 5, 50), Start: 85}
		deep, windy := p, p
		deep.Depth *= 1.2
		windy.Film *= 1.2
		pans := func(p chill.Pans) time.Duration {
			return took(chill.NewChiller(chill.Blast{Air: 0, Loads: []chill.Pans{p}}))
		}
		if x := pans(p); pans(deep) < x || pans(windy) > x+same {
			t.Errorf("%+v: %v, deeper %v, more air %v", p, x, pans(deep), pans(windy))
		}
		q := stillPot(t, uniform(r, 2, 60), 80)
		q.Film = uniform(r, 5, 40)
		windyPot := q
		windyPot.Film *= 1.2
		if x, y := took(chill.NewPot(q)), took(chill.NewPot(windyPot)); y > x+same {
			t.Errorf("pot %v, more air %v", x, y)
		}
	}
}

func TestBadDevicesAreRefused(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	var errs []error
	add := func(_ any, err error) { errs = append(errs, err) }
	add(chill.PlateCooler{}.Run())
	p := twoStage()
	p.Start = units.Celsius(nan)
	add(p.Run())
	p = twoStage()
	p.Sections[1].CoolantIn = -30
	p.Sections[1].Plates = 500
	add(p.Run()) // freezes on the plates
	add(chill.NewPlateRun(chill.PlateCooler{Flow: inf}))
	add(chill.CounterflowEffectiveness(nan, 0.5))
	add(chill.CounterflowNTU(1, 0.5))
	add(chill.Stirring{}.Film())
	add(chill.Stirring{Impeller: 99, Diameter: 0.3, Vessel: 1, Speed: 1, Density: 1000, Viscosity: 1e-3, SpecificHeat: 4000, Conductivity: 0.6}.Film())
	add(chill.Overall(nan, 10))
	add(chill.Overall(100, 10, chill.Layer{Thickness: -1, Conductivity: 15}))
	add(chill.VerticalNusselt(nan, 1))
	add(chill.HorizontalNusselt(-1))
	add(chill.CylinderNusselt(1e9, 1))
	add(chill.PlateNusselt(100, 0.1))
	add(chill.PanFilm(nan, 0.5, 0))
	add(chill.PotFilm(1, 0, 0))
	add(chill.StillFilm(0.3, units.Celsius(inf), 3))
	add(chill.CylinderPot(0.3, units.Length(nan), 1000))
	add(chill.NewRoom(chill.ColdRoom{}))
	r := walkIn()
	r.Doors[0].Open = 2
	add(chill.NewRoom(r))
	r = walkIn(nil)
	add(chill.NewRoom(r))
	m := room(t, walkIn())
	add(m.Load(0))
	add(m.Watch(3))
	add(nil, m.SetDoor(5, 0.5))
	add(nil, m.SetDoor(0, nan))
	add(nil, m.SetMachine(units.Celsius(nan), 1))
	add(chill.MoistAirAt(20, 1.5))
	add(chill.Door{Width: 1, Height: 2}.Infiltration(chill.MoistAir{}, chill.MoistAir{}))
	add(chill.NewIcePaddle(chill.IcePaddle{Ice: 1, IceAt: 5}))
	add(chill.NewFatCap(chill.FatLayer{}, nil))
	add(chill.NewFatCap(chill.FatLayer{Fat: chill.Lard, Thickness: units.Length(nan)}, m))
	add(chill.EstimateSurroundings(nil))
	add(chill.Foresee(chill.FoodCode2022(), nil, chill.Options{}))
	add(chill.ReachesBy(nil, 3, 5, noon))
	for i, err := range errs {
		if err == nil {
			t.Errorf("case %d gave no error", i)
		}
	}
}
