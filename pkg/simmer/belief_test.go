package simmer_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"rondeau.internal/pkg/simmer"
)

// someBelief draws a belief with correlations that fit together.
func someBelief(rng *rand.Rand) simmer.Belief {
	f := func() simmer.Factor {
		return simmer.Factor{Log: 0.3 * rng.NormFloat64(), Spread: 0.01 + 0.4*rng.Float64()}
	}
	c := func() float64 { return 0.5 * (rng.Float64() - 0.5) }
	return simmer.Belief{
		Version: simmer.BeliefVersion, Surface: f(), Power: f(), Wall: f(), Marks: f(),
		Correlation: simmer.Ties{SurfacePower: c(), SurfaceWall: c(), SurfaceMarks: c(), PowerWall: c(), PowerMarks: c(), WallMarks: c()},
		Readings:    rng.IntN(100), Runs: rng.IntN(10),
	}
}

func TestBeliefSurvivesJSON(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		b := someBelief(rng)
		if err := b.Check(); err != nil {
			t.Fatalf("%+v: %v", b, err)
		}
		data, err := json.Marshal(b)
		if err != nil {
			t.Fatal(err)
		}
		var back simmer.Belief
		if err := json.Unmarshal(data, &back); err != nil {
			t.Fatal(err)
		}
		if back != b {
			t.Errorf("%+v came back as %+v", b, back)
		}
	}
	if err := (simmer.Belief{}).Check(); err != nil {
		t.Errorf("the zero belief: %v", err)
	}
}

func TestForeignBeliefsAreChecked(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	for want, spoil := range map[string]func(*simmer.Belief){
		"version 0":                 func(b *simmer.Belief) { b.Version = 0 },
		"version 7":                 func(b *simmer.Belief) { b.Version = 7 },
		"log of the surface factor": func(b *simmer.Belief) { b.Surface.Log = nan },
		"log of the power factor":   func(b *simmer.Belief) { b.Power.Log = 3 },
		"spread of the wall factor": func(b *simmer.Belief) { b.Wall.Spread = -0.1 },
		"spread of the marks":       func(b *simmer.Belief) { b.Marks.Spread = inf },
		"correlation power-wall":    func(b *simmer.Belief) { b.Correlation.PowerWall = 1.2 },
		"count of readings":         func(b *simmer.Belief) { b.Readings = -1 },
		"contradict each other": func(b *simmer.Belief) {
			b.Correlation = simmer.Ties{SurfacePower: 0.9, SurfaceWall: 0.9, PowerWall: -0.9}
		},
	} {
		b := simmer.Uninformed()
		spoil(&b)
		if err := b.Check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v", want, err)
		}
		if _, err := b.Forget(simmer.Uninformed(), 0.1); err == nil {
			t.Errorf("%s was forgotten without an error", want)
		}
	}
}

// Forgetting nothing keeps the belief, forgetting all returns the prior, anything between
// widens every factor, never beyond the wider of the two.
func TestForgettingGoesBackToThePrior(t *testing.T) {
	t.Parallel()
	near := func(a, b simmer.Factor) bool {
		return math.Abs(a.Log-b.Log) < 1e-9 && math.Abs(a.Spread-b.Spread) < 1e-9
	}
	rng := rand.New(rand.NewPCG(3, 4))
	for range 100 {
		b, prior := someBelief(rng), someBelief(rng)
		none, err := b.Forget(prior, 0)
		if err != nil {
			t.Fatal(err)
		}
		all, err := b.Forget(prior, 1)
		if err != nil {
			t.Fatal(err)
		}
		if !near(none.Power, b.Power) || !near(none.Surface, b.Surface) || !near(all.Power, prior.Power) || !near(all.Marks, prior.Marks) {
			t.Errorf("%+v and %+v gave %+v and %+v", b, prior, none, all)
		}
		if none.Readings != b.Readings || none.Runs != b.Runs {
			t.Errorf("counts were lost: %+v", none)
		}
	}
	learned := simmer.Uninformed()
	learned.Power = simmer.Factor{Log: 0.2, Spread: 0.03}
	half, err := learned.Forget(simmer.Uninformed(), 0.5)
	if err != nil {
		t.Fatal(err)
	}
	// By hand: precision (1/0.03² + 1/0.34657²)/2 = 559.72, spread 0.042268; mean
	// 0.5·0.2/0.03²/559.72 = 0.198512.
	if math.Abs(half.Power.Spread-0.042268) > 1e-6 || math.Abs(half.Power.Log-0.198512) > 1e-6 {
		t.Errorf("half forgotten: %+v", half.Power)
	}
	// Seven runs without readings at the usual share halve the precision gained.
	b := learned
	for range 7 {
		if b, err = b.Forget(simmer.Uninformed(), simmer.UsualForgetting); err != nil {
			t.Fatal(err)
		}
	}
	gained := func(b simmer.Belief) float64 {
		return math.Pow(b.Power.Spread, -2) - math.Pow(simmer.Uninformed().Power.Spread, -2)
	}
	if r := gained(b) / gained(learned); math.Abs(r-0.478) > 0.001 { // 0.9^7
		t.Errorf("after seven runs %.3f of the precision is left", r)
	}
	if _, err := learned.Forget(simmer.Uninformed(), math.NaN()); err == nil {
		t.Error("a NaN share was accepted")
	}
}

func TestEveryClassHasAUsablePrior(t *testing.T) {
	t.Parallel()
	for _, c := range simmer.Classes() {
		if err := c.Prior.Check(); err != nil {
			t.Errorf("%s: %v", c.Class, err)
		}
		v := simmer.Vessel{Geometry: jacketed, Power: 20e3, Efficiency: c.Efficiency, WallLoss: c.WallLoss}
		if err := v.Check(); err != nil {
			t.Errorf("%s: %v", c.Class, err)
		}
		if c.Source == "" {
			t.Errorf("%s names no source", c.Class)
		}
		if got, err := simmer.TypicalOf(c.Class); err != nil || got != c {
			t.Errorf("%s: %+v, %v", c.Class, got, err)
		}
	}
	if _, err := simmer.TypicalOf("cauldron"); err == nil || !strings.Contains(err.Error(), "tilting_pan") {
		t.Errorf("an unknown class gave %v", err)
	}
}

func FuzzBeliefJSON(f *testing.F) {
	for _, b := range []simmer.Belief{{}, simmer.Uninformed(), simmer.Classes()[0].Prior} {
		data, err := json.Marshal(b)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte(`{"version":1,"surface":{"log":1e308,"spread":-1}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var b simmer.Belief
		if json.Unmarshal(data, &b) != nil || b.Check() != nil {
			return
		}
		next, err := b.Forget(simmer.Uninformed(), simmer.UsualForgetting)
		if err != nil {
			t.Fatalf("%+v: %v", b, err)
		}
		if err := next.Check(); err != nil {
			t.Fatalf("%+v became %+v: %v", b, next, err)
		}
	})
}
