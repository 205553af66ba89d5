package chill_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

func frozenStock(t testing.TB) *chill.Substance {
	t.Helper()
	s, err := chill.FoodSubstance(thermo.LeanStock, -0.5)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// tylose is the gel in which freezing and thawing were measured; properties of Cleland and
// Earle 1977, from memory.
var tylose = chill.Phases{Density: 1000, HeatUnfrozen: 3710, HeatFrozen: 1900, Latent: 209000, Unfrozen: 0.55, Frozen: 1.65, FreezingAt: -0.6}

func phases(t testing.TB, p chill.Phases) *chill.Substance {
	t.Helper()
	s, err := chill.PhaseSubstance(p)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func piece(t testing.TB, p chill.Piece) *chill.Conduction {
	t.Helper()
	m, err := chill.NewConduction(p)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// arbitrary makes a piece of any kind.
func arbitrary(t testing.TB, r *rand.Rand, subs []*chill.Substance) chill.Piece {
	p := chill.Piece{
		Shape: chill.Shape(r.IntN(5)), Thickness: units.Length(0.01 + 0.15*r.Float64()), Diameter: units.Length(0.02 + 0.2*r.Float64()),
		Width: units.Length(0.05 + 0.3*r.Float64()), Length: units.Length(0.1 + 0.4*r.Float64()), Area: units.Area(0.05 + r.Float64()),
		Count: 1 + r.IntN(20), Substance: subs[r.IntN(len(subs))], Upper: chill.Face{Film: 3 + 300*r.Float64()*r.Float64()},
		Start: units.Celsius(-30 + 120*r.Float64()), Surroundings: units.Celsius(-40 + 60*r.Float64()), Cells: 8 + r.IntN(8),
	}
	if p.Shape == chill.Brick {
		p.Cells = 8
	}
	if r.IntN(2) == 0 {
		p.Upper.Layers = []chill.Layer{{Thickness: 0.001, Conductivity: 15}, {Thickness: units.Length(0.01 * r.Float64()), Conductivity: 0.17}}
	}
	if r.IntN(3) == 0 {
		f, err := chill.NewAirFilm(chill.AirSetting{Orientation: chill.Orientation(r.IntN(4)), Length: 0.1, Speed: 3 * r.Float64(), Run: 0.5, Emissivity: r.Float64()})
		if err != nil {
			t.Fatal(err)
		}
		p.Upper.Air = f
	}
	switch {
	case p.Shape == chill.Slab && r.IntN(2) == 0:
		p.Lower = chill.Face{Film: 1 + 50*r.Float64()}
	default:
		p.OneFace = r.IntN(2) == 0
	}
	if r.IntN(2) == 0 {
		p.StillFactor, p.GelBelow = 1+10*r.Float64(), units.Celsius(20*r.Float64())
	}
	return p
}

// Whatever happens, the enthalpy lost is the heat that passed the faces, to rounding; and no
// point gets warmer or colder than start and surroundings.
func TestHeatIsKept(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 1))
	sharp := tylose
	sharp.Sharp = true
	constant, err := chill.ConstantSubstance(of(0.5, 1.3e-7))
	if err != nil {
		t.Fatal(err)
	}
	subs := []*chill.Substance{frozenStock(t), phases(t, tylose), phases(t, sharp), constant}
	for range 30 {
		p := arbitrary(t, r, subs)
		m := piece(t, p)
		start := float64(m.Content())
		size := math.Abs(start)
		for range 4 {
			if _, err := m.Step(time.Duration(r.Float64() * float64(3*time.Hour))); err != nil {
				t.Fatalf("%+v: %v", p, err)
			}
			content, given := float64(m.Content()), float64(m.Given())
			size = math.Max(size, math.Max(math.Abs(given), float64(m.Mass())*1e4))
			if off := math.Abs(start-content-given) / size; off > 2e-11 {
				t.Fatalf("%+v: heat is off by %.2g of its amount", p, off)
			}
			low, high := min(p.Start, p.Surroundings)-0.1, max(p.Start, p.Surroundings)+0.1
			for _, v := range append(m.Profile(nil), m.State().Core, m.State().Mean, m.Surface()) {
				if !(v >= low && v <= high) {
					t.Fatalf("%+v: %v outside %v to %v", p, float64(v), float64(low), float64(high))
				}
			}
		}
	}
}

// The same slab as a half and as a whole, with one face and of double thickness, and with
// a layer or the film it amounts to, is the same.
func TestEqualPiecesCoolEqually(t *testing.T) {
	t.Parallel()
	s := frozenStock(t)
	base := chill.Piece{Shape: chill.Slab, Thickness: 0.05, Area: 0.2, Substance: s, Upper: chill.Face{Film: 25}, Start: 70, Surroundings: -30, Cells: 32, Tolerance: 0.002}
	whole, one, layered := base, base, base
	whole.Lower, whole.Cells = chill.Face{Film: 25}, 64
	one.OneFace, one.Thickness = true, 0.025
	layered.Upper = chill.Face{Film: 100, Layers: []chill.Layer{{Thickness: 0.003, Conductivity: 0.1}}}
	want := piece(t, base)
	for name, p := range map[string]chill.Piece{"whole slab": whole, "one face": one, "layer": layered} {
		a, b := want.Copy(), piece(t, p)
		for range 8 {
			x, y := stepped(t, a, 1800), stepped(t, b, 1800)
			if math.Abs(float64(x.Core-y.Core)) > 0.02 || math.Abs(float64(x.Mean-y.Mean)) > 0.02 {
				t.Fatalf("%s at %v: core %v and %v, mean %v and %v", name, x.Elapsed, float64(x.Core), float64(y.Core), float64(x.Mean), float64(y.Mean))
			}
			half := 1.0
			if name == "one face" {
				half = 2 // the same area carries half of the food
			}
			if math.Abs(float64(x.Heat)-half*float64(y.Heat)) > 0.01*math.Max(5, float64(x.Heat)) {
				t.Fatalf("%s: heat %v and %v", name, float64(x.Heat), float64(y.Heat))
			}
		}
	}
}

// However a day is cut into steps, and whether the surroundings are given at once or minute by
// minute, it ends the same.
func TestStepsMayBeCut(t *testing.T) {
	t.Parallel()
	air := func(d time.Duration) units.Celsius { return units.Celsius(-15 - 15*math.Cos(d.Hours())) }
	p := chill.Piece{Shape: chill.Slab, Thickness: 0.05, Substance: frozenStock(t), Upper: chill.Face{Film: 25}, Start: 70, Surroundings: -30, Course: air}
	whole, cut := piece(t, p), piece(t, p)
	p.Course = nil
	told := piece(t, p)
	for minute := range 360 {
		stepped(t, cut, 60)
		if err := told.SetSurroundings(air(time.Duration(minute)*time.Minute + 30*time.Second)); err != nil {
			t.Fatal(err)
		}
		stepped(t, told, 60)
	}
	want := stepped(t, whole, 360*60)
	for name, m := range map[string]*chill.Conduction{"cut": cut, "told": told} {
		s := m.State()
		if math.Abs(float64(s.Core-want.Core)) > 0.05 || math.Abs(float64(s.Mean-want.Mean)) > 0.05 || math.Abs(float64(m.Given()/whole.Given())-1) > 1e-3 {
			t.Errorf("%s: %+v, whole %+v", name, s, want)
		}
	}
	if whole.Steps() == 0 || whole.Steps() > cut.Steps() {
		t.Errorf("%d steps at once, %d in minutes", whole.Steps(), cut.Steps())
	}
}

// What helps, helps; what hinders, hinders.
func TestCoolingGoesTheRightWay(t *testing.T) {
	t.Parallel()
	base := chill.Piece{Shape: chill.Slab, Thickness: 0.05, Substance: frozenStock(t), Upper: chill.Face{Film: 25}, Start: 80, Surroundings: 2}
	took := func(change func(*chill.Piece)) float64 {
		p := base
		change(&p)
		return coreTime(t, piece(t, p), 5)
	}
	plain := took(func(*chill.Piece) {})
	for name, c := range map[string]struct {
		change func(*chill.Piece)
		faster bool
	}{
		"more air":                {func(p *chill.Piece) { p.Upper.Film = 40 }, true},
		"colder air":              {func(p *chill.Piece) { p.Surroundings = 0 }, true},
		"shallower":               {func(p *chill.Piece) { p.Thickness = 0.04 }, true},
		"convecting":              {func(p *chill.Piece) { p.StillFactor = 10 }, true},
		"convecting until 20 C":   {func(p *chill.Piece) { p.StillFactor, p.GelBelow = 10, 20 }, true},
		"fat on top, both faces":  {func(p *chill.Piece) { p.Upper.Layers = []chill.Layer{{Thickness: 0.01, Conductivity: 0.17}} }, false},
		"lower face in still air": {func(p *chill.Piece) { p.Lower = chill.Face{Film: 5} }, false},
		"on a shelf":              {func(p *chill.Piece) { p.OneFace = true }, false},
		"air that warms": {func(p *chill.Piece) {
			p.Course = func(d time.Duration) units.Celsius { return units.Celsius(2 + 2*math.Min(1, d.Hours())) }
		}, false},
	} {
		if v := took(c.change); v < plain != c.faster {
			t.Errorf("%s: %.0f s against %.0f s", name, v, plain)
		}
	}
	gel := took(func(p *chill.Piece) { p.StillFactor, p.GelBelow = 10, 20 })
	if liquid := took(func(p *chill.Piece) { p.StillFactor = 10 }); liquid >= gel {
		t.Errorf("gelling at 20 C takes %.0f s, never gelling %.0f s", gel, liquid)
	}
}

// Bricks and finite cylinders of constant properties follow the product solution.
func TestBlocksFollowTheProductSolution(t *testing.T) {
	t.Parallel()
	m := chill.Material{Density: 1010, SpecificHeat: 4060, Conductivity: 0.6}
	for _, b := range []chill.Body{
		{Shape: chill.FiniteCylinder, Thickness: 0.06, Diameter: 0.08},
		{Shape: chill.FiniteCylinder, Thickness: 0.2, Diameter: 0.08, OneFace: true},
		{Shape: chill.Brick, Thickness: 0.06, Width: 0.10, Length: 0.15},
		{Shape: chill.Brick, Thickness: 0.06, Width: 0.10, Length: 0.15, OneFace: true},
	} {
		b.Material, b.Film, b.Start, b.Surroundings = m, 25, 85, 2
		exact := solid(t, b)
		s, err := chill.ConstantSubstance(m)
		if err != nil {
			t.Fatal(err)
		}
		c := piece(t, chill.Piece{Shape: b.Shape, Thickness: b.Thickness, Diameter: b.Diameter, Width: b.Width, Length: b.Length, OneFace: b.OneFace, Substance: s, Upper: chill.Face{Film: b.Film}, Start: b.Start, Surroundings: b.Surroundings, Cells: 20})
		for range 12 {
			x, y := stepped(t, exact, 1200), stepped(t, c, 1200)
			if math.Abs(float64(x.Core-y.Core)) > 0.12 || math.Abs(float64(x.Mean-y.Mean)) > 0.12 {
				t.Fatalf("shape %d at %v: core %v, exact %v; mean %v, exact %v", b.Shape, x.Elapsed, float64(y.Core), float64(x.Core), float64(y.Mean), float64(x.Mean))
			}
			if math.Abs(float64(x.Heat-y.Heat)) > 0.01*float64(x.Heat)+0.2 {
				t.Fatalf("shape %d at %v: heat %v, exact %v", b.Shape, x.Elapsed, float64(y.Heat), float64(x.Heat))
			}
		}
	}
}

func TestSubstanceInvertsItself(t *testing.T) {
	t.Parallel()
	sharp := tylose
	sharp.Sharp = true
	constant, err := chill.ConstantSubstance(of(0.5, 1.3e-7))
	if err != nil {
		t.Fatal(err)
	}
	for name, s := range map[string]*chill.Substance{"stock": frozenStock(t), "tylose": phases(t, tylose), "sharp": phases(t, sharp), "constant": constant} {
		last := math.Inf(-1)
		for c := -59.9; c < 150; c += 0.31 {
			h := number[float64](t)(s.Enthalpy(units.Celsius(c)))
			if h <= last {
				t.Fatalf("%s: enthalpy falls at %v C", name, c)
			}
			last = h
			back, err := s.Temperature(h)
			if err != nil || math.Abs(float64(back)-c) > 1e-9 {
				t.Fatalf("%s: %v C came back as %v, %v", name, c, float64(back), err)
			}
		}
	}
	// Against the table it is made from.
	food, err := thermo.NewFoodTable(thermo.LeanStock, -0.5, thermo.TableSettings{})
	if err != nil {
		t.Fatal(err)
	}
	s := frozenStock(t)
	zero := number[float64](t)(food.Enthalpy(-0.5))
	for _, c := range []units.Celsius{-40, -18, -5, -1, -0.6, 0.3, 5, 33, 90} {
		want := number[float64](t)(food.Enthalpy(c)) - zero
		got := number[float64](t)(s.Enthalpy(c))
		k, wantK := number[float64](t)(s.Conductivity(c)), number[float64](t)(food.Conductivity(c))
		if math.Abs(got-want) > 15+1e-4*math.Abs(want) || math.Abs(k/wantK-1) > 2e-3 {
			t.Errorf("%v C: enthalpy %v, table %v; conductivity %v, table %v", float64(c), got, want, k, wantK)
		}
	}
	if f, frozen := s.FreezingPoint(); !frozen || f != -0.5 {
		t.Errorf("freezing point %v, %v", float64(f), frozen)
	}
	if _, frozen := constant.FreezingPoint(); frozen {
		t.Error("a constant substance does not freeze")
	}
}

// Every refusal names the value and the bound.
func TestConductionRefusesNonsense(t *testing.T) {
	t.Parallel()
	good := chill.Piece{Shape: chill.Slab, Thickness: 0.05, Diameter: 0.05, Width: 0.1, Length: 0.1, Substance: frozenStock(t), Upper: chill.Face{Film: 25}, Start: 60, Surroundings: 2}
	nan, inf := math.NaN(), math.Inf(1)
	for name, change := range map[string]func(*chill.Piece){
		"needs a substance":              func(p *chill.Piece) { p.Substance = nil },
		"thickness 0 m":                  func(p *chill.Piece) { p.Thickness = 0 },
		"thickness NaN m":                func(p *chill.Piece) { p.Thickness = units.Length(nan) },
		"diameter +Inf m":                func(p *chill.Piece) { p.Shape, p.Diameter = chill.Sphere, units.Length(inf) },
		"height -1 m":                    func(p *chill.Piece) { p.Shape, p.Thickness = chill.FiniteCylinder, -1 },
		"width 9 m":                      func(p *chill.Piece) { p.Shape, p.Width = chill.Brick, 9 },
		"shape 9 is unknown":             func(p *chill.Piece) { p.Shape = 9 },
		"area -1 m2":                     func(p *chill.Piece) { p.Area = -1 },
		"upper film coefficient NaN":     func(p *chill.Piece) { p.Upper.Film = nan },
		"upper layer conductivity 0":     func(p *chill.Piece) { p.Upper.Layers = []chill.Layer{{Thickness: 0.01}} },
		"upper layer thickness -1":       func(p *chill.Piece) { p.Upper.Layers = []chill.Layer{{Thickness: -1, Conductivity: 1}} },
		"lower face has layers":          func(p *chill.Piece) { p.Lower.Layers = []chill.Layer{{Thickness: 0.01, Conductivity: 1}} },
		"has one surface":                func(p *chill.Piece) { p.Shape, p.Lower = chill.Sphere, chill.Face{Film: 5} },
		"no lower film":                  func(p *chill.Piece) { p.OneFace, p.Lower = true, chill.Face{Film: 5} },
		"still factor 0.5":               func(p *chill.Piece) { p.StillFactor = 0.5 },
		"gel temperature 99":             func(p *chill.Piece) { p.GelBelow = 99 },
		"start temperature 300 C":        func(p *chill.Piece) { p.Start = 300 },
		"surroundings -300 C":            func(p *chill.Piece) { p.Surroundings = -300 },
		"tolerance 5 K":                  func(p *chill.Piece) { p.Tolerance = 5 },
		"cells 4":                        func(p *chill.Piece) { p.Cells = 4 },
		"cells 100":                      func(p *chill.Piece) { p.Shape, p.Cells = chill.Brick, 100 },
		"count of pieces -3":             func(p *chill.Piece) { p.Count = -3 },
		"surroundings NaN C":             func(p *chill.Piece) { p.Course = func(time.Duration) units.Celsius { return units.Celsius(nan) } },
		"outside -60 to 150 C":           func(p *chill.Piece) { p.Start = units.Celsius(-inf) },
		"upper film coefficient 1e+09 W": func(p *chill.Piece) { p.Upper.Film = 1e9 },
	} {
		p := good
		change(&p)
		if _, err := chill.NewConduction(p); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("want an error with %q, got %v", name, err)
		}
	}
	m := piece(t, good)
	if _, err := m.Step(-time.Second); err == nil {
		t.Error("a negative step is an error")
	}
	if m.SetSurroundings(units.Celsius(nan)) == nil || m.SetFaces(chill.Face{Film: -1}, chill.Face{}) == nil || m.SetFaces(chill.Face{Film: 1}, chill.Face{Film: 1}) == nil {
		t.Error("bad surroundings and faces are errors")
	}
}

func TestAirFilmRefusesNonsense(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	for name, s := range map[string]chill.AirSetting{
		"orientation 9": {Orientation: 9}, "length for natural convection 0 m": {}, "air speed NaN": {Length: 0.1, Speed: nan},
		"run of the air 0 m": {Length: 0.1, Speed: 1}, "emissivity 2": {Length: 0.1, Emissivity: 2}, "air pressure 1 Pa": {Length: 0.1, Pressure: 1},
	} {
		if _, err := chill.NewAirFilm(s); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("want an error with %q, got %v", name, err)
		}
	}
	f, err := chill.NewAirFilm(chill.AirSetting{Length: 0.1})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Coefficient(units.Celsius(nan), 0); err == nil {
		t.Error("a face of NaN is an error")
	}
	// Warm and cold change places between the sides of a plate; nothing moves at rest.
	up, _ := chill.NewAirFilm(chill.AirSetting{Orientation: chill.FacingUp, Length: 0.1})
	down, _ := chill.NewAirFilm(chill.AirSetting{Orientation: chill.FacingDown, Length: 0.1})
	a, b := number[float64](t)(up.Coefficient(50, 20)), number[float64](t)(down.Coefficient(20, 50))
	if math.Abs(a/b-1) > 1e-12 || number[float64](t)(up.Coefficient(20, 20)) != 0 {
		t.Errorf("warm up %v, cold down %v", a, b)
	}
}
