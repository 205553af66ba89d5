package simmer_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

// A vessel whose true factor is known is watched through noisy readings: the belief
// must close in on it, its interval hold it, and the forecast narrow.
func TestLearningFindsTheVessel(t *testing.T) {
	t.Parallel()
	load := simmer.Load{Liquid: 80, Solids: 0.03, Start: 90}
	end := simmer.EndPoint{Solids: 0.12}
	for name, c := range map[string]struct {
		duty  simmer.Duty
		truth float64
	}{
		"held simmer, lively surface": {simmer.Duty{Hold: 95}, 1.5},
		"held simmer, fat on top":     {simmer.Duty{Hold: 95}, 0.7},
		"boil, weak burner":           {simmer.Duty{}, 0.8},
	} {
		rng := rand.New(rand.NewPCG(31, 32))
		vessel, cond := kettle100, simmer.Kitchen()
		if c.duty.Hold == 0 {
			vessel.Efficiency *= c.truth
		} else {
			cond.Activity = simmer.Activity(c.truth)
		}
		k, err := simmer.NewKettle(vessel, load, c.duty, cond)
		if err != nil {
			t.Fatal(err)
		}
		var seen []simmer.Observation
		for i := range 6 {
			s, err := k.Step(20 * time.Minute)
			if err != nil {
				t.Fatal(err)
			}
			o := simmer.Observation{Elapsed: s.Elapsed}
			if i%2 == 0 {
				o.Mass = s.Liquid + units.Mass(0.4*rng.NormFloat64())
			} else {
				o.Volume = s.Volume + units.Volume(0.0016*rng.NormFloat64())
			}
			seen = append(seen, o)
		}
		b, err := simmer.Learn(kettle100, load, c.duty, simmer.Kitchen(), seen, simmer.Belief{})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if off := math.Abs(b.Log - math.Log(c.truth)); off > 3*b.Spread || b.Spread > 0.1 {
			t.Errorf("%s: factor %.3f, spread %.3f, true %v", name, b.Factor(), b.Spread, c.truth)
		}
		truth, err := simmer.Reduce(vessel, load, c.duty, cond, end, simmer.Settings{})
		if err != nil {
			t.Fatal(err)
		}
		before, err := simmer.ReduceBelieving(kettle100, load, c.duty, simmer.Kitchen(), end, simmer.Settings{}, simmer.Belief{})
		if err != nil {
			t.Fatal(err)
		}
		after, err := simmer.ReduceBelieving(kettle100, load, c.duty, simmer.Kitchen(), end, simmer.Settings{}, b)
		if err != nil {
			t.Fatal(err)
		}
		if truth.Time < before.Early.Time || truth.Time > before.Late.Time || truth.Time < after.Early.Time || truth.Time > after.Late.Time {
			t.Errorf("%s: true %v, before %v to %v, after %v to %v", name, truth.Time, before.Early.Time, before.Late.Time, after.Early.Time, after.Late.Time)
		}
		if after.Late.Time-after.Early.Time > (before.Late.Time-before.Early.Time)/2 {
			t.Errorf("%s: the forecast did not narrow", name)
		}
	}
}

func TestObservationsThatCannotBeAreRefused(t *testing.T) {
	t.Parallel()
	load := simmer.Load{Liquid: 80, Solids: 0.03, Start: 90}
	for name, o := range map[string][]simmer.Observation{
		"none":             nil,
		"two values":       {{Elapsed: time.Hour, Mass: 70, Solids: 0.1}},
		"no value":         {{Elapsed: time.Hour}},
		"NaN":              {{Elapsed: time.Hour, Mass: units.Mass(math.NaN())}},
		"before the start": {{Elapsed: -time.Hour, Mass: 70}},
		"out of order":     {{Elapsed: 2 * time.Hour, Mass: 70}, {Elapsed: time.Hour, Mass: 75}},
		"impossible":       {{Elapsed: time.Hour, Mass: 10}},
	} {
		if b, err := simmer.Learn(kettle100, load, simmer.Duty{Hold: 95}, simmer.Kitchen(), o, simmer.Belief{}); err == nil {
			t.Errorf("%s gave %+v", name, b)
		}
	}
}

func BenchmarkLearn(b *testing.B) {
	load := simmer.Load{Liquid: 80, Solids: 0.03, Start: 90}
	seen := []simmer.Observation{{Elapsed: time.Hour, Mass: 75.5}, {Elapsed: 2 * time.Hour, Mass: 71}}
	for b.Loop() {
		if _, err := simmer.Learn(kettle100, load, simmer.Duty{Hold: 95}, simmer.Kitchen(), seen, simmer.Belief{}); err != nil {
			b.Fatal(err)
		}
	}
}
