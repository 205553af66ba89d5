package kitchengen_test

import (
	"reflect"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/kitchengen"
)

func TestInstancesAreValidAndReproducible(t *testing.T) {
	t.Parallel()
	for seed := range uint64(20) {
		size := kitchengen.Size{Batches: 1 + int(seed)*3}
		in := kitchengen.Kitchen(seed, size)
		if err := in.Validate(); err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if len(in.Activities) != 8*size.Batches {
			t.Errorf("seed %d: %d activities for %d batches", seed, len(in.Activities), size.Batches)
		}
		if !reflect.DeepEqual(in, kitchengen.Kitchen(seed, size)) {
			t.Errorf("seed %d: two calls differ", seed)
		}
	}
}

func TestDisturbancesAreValidReproducibleAndDifferFromNothing(t *testing.T) {
	t.Parallel()
	in := kitchengen.Kitchen(4, kitchengen.Size{Batches: 24})
	published, _, err := sched.Solve(in, sched.Options{Iterations: 20})
	if err != nil || len(published.Assignments) == 0 {
		t.Fatalf("no plan to disturb: %v", err)
	}
	calm, now := kitchengen.Disturb(in, published, kitchengen.Nothing, 1)
	for _, what := range kitchengen.Disturbances() {
		out, at := kitchengen.Disturb(in, published, what, 1)
		if err := out.Validate(); err != nil {
			t.Errorf("%s: %v", what, err)
		}
		if same, _ := kitchengen.Disturb(in, published, what, 1); !reflect.DeepEqual(out, same) {
			t.Errorf("%s: two calls differ", what)
		}
		if at != now || reflect.DeepEqual(out, calm) {
			t.Errorf("%s at %d changes nothing", what, at)
		}
		for i, as := range published.Assignments {
			if f := out.Activities[i].Fixed; (as.Start < now) != (f != nil) || f != nil && (!f.Started || f.Start != as.Start || f.Mode != as.Mode) {
				t.Errorf("%s: %s was to begin at %d and is %+v at %d", what, as.Activity, as.Start, f, now)
			}
		}
	}
}
