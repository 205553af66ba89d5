package kitchengen_test

import (
	"reflect"
	"testing"

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
