package sched_test

import (
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/kitchengen"
	"rondeau.internal/pkg/sched/verify"
)

// Whatever is taken out and placed anew, the running state is what the plan alone says, and stepping back restores it.
func TestRebuildingKeepsTheStateRight(t *testing.T) {
	t.Parallel()
	check := func(in sched.Instance, seed uint64, steps int) {
		plan, err := sched.CheckRebuilding(in, seed, steps)
		if err != nil {
			t.Error(err)
			return
		}
		if len(plan.Assignments) > 0 {
			for _, f := range verify.Check(in, plan) {
				t.Errorf("%s: %s", in.Name, f)
			}
		}
	}
	for seed := range uint64(400) {
		if in := tiny(seed, int(seed*2654435761>>7)&0x7fff); in.Validate() == nil {
			check(in, seed, 30)
		}
	}
	for seed := range uint64(3) {
		in := kitchengen.Kitchen(seed, kitchengen.Size{Batches: 12})
		check(in, seed, 60)
		published, _ := mustSolve(t, in, sched.Options{Seed: seed, Iterations: 40})
		for _, what := range kitchengen.Disturbances() {
			again, now := kitchengen.Disturb(in, published, what, seed)
			check(sched.Follow(again, published, now, calm), seed, 30)
		}
	}
}

// The material of what has started stays in its kettle until the next step takes it, also while that step is being moved.
func TestAKettleHeldByWhatHasStartedStaysHeld(t *testing.T) {
	t.Parallel()
	for seed := range uint64(20) {
		in := problem(step("started", "kettle", 4), step("strain", "pot", 3), step("other", "kettle", 2), step("third", "pot", 2))
		in.Activities[0].Fixed = &sched.Fixed{Mode: "kettle", Start: 0, Started: true}
		in.Activities[1].Due, in.Activities[1].DueWeight = 4, 1
		in.Activities[2].Due, in.Activities[2].DueWeight = 4, 5
		in.Activities[3].Release, in.Activities[3].Due, in.Activities[3].DueWeight = 4, 4, 5
		in.Holds = []sched.Hold{{Activity: "started", Until: "strain"}}
		if _, err := sched.CheckRebuilding(in, seed, 40); err != nil {
			t.Error(err)
		}
		mustSolve(t, in, sched.ForceRebuild(sched.Options{Seed: seed, Iterations: 60}))
	}
}
