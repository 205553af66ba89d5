package sched_test

import (
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/kitchengen"
	"rondeau.internal/pkg/sched/verify"
)

var calm = sched.Stability{MoveWeight: 1, ModeWeight: 3600}

func publishedKitchen(t testing.TB, seed uint64, batches, steps int) (sched.Instance, sched.Plan) {
	t.Helper()
	in := kitchengen.Kitchen(seed, kitchengen.Size{Batches: batches})
	plan, rep := mustSolve(t, in, sched.Options{Seed: seed, Iterations: steps})
	if len(plan.Assignments) == 0 {
		t.Fatalf("no plan to publish: %+v", rep.Conflicts)
	}
	return in, plan
}

// movedFrom counts the activities that are not where the published plan has them.
func movedFrom(published, plan sched.Plan) int {
	n := 0
	for i, was := range published.Assignments {
		if as := plan.Assignments[i]; as.Start != was.Start || as.Mode != was.Mode {
			n++
		}
	}
	return n
}

func TestPlanningAgainWithoutADisturbanceKeepsThePlan(t *testing.T) {
	t.Parallel()
	for seed := range uint64(6) {
		in, published := publishedKitchen(t, seed, 24, 400)
		again, now := kitchengen.Disturb(in, published, kitchengen.Nothing, seed)
		first, _, err := sched.Replan(again, published, now, calm, sched.Options{Seed: seed, Iterations: 1})
		if err != nil || len(first.Assignments) == 0 {
			t.Fatalf("seed %d: no plan, %v", seed, err)
		}
		if n := movedFrom(published, first); n > 0 || first.Objective.Change != 0 {
			t.Errorf("seed %d: %d activities moved at a cost of %d, and nothing had happened", seed, n, first.Objective.Change)
		}
	}
}

// Only changes count here, so that whatever the search tries the published plan stays the best.
func TestALongSearchWithNothingToGainKeepsThePlan(t *testing.T) {
	t.Parallel()
	in, published := publishedKitchen(t, 3, 20, 200)
	again, now := kitchengen.Disturb(in, published, kitchengen.Nothing, 3)
	again.Weights = sched.Weights{Change: 1}
	for i := range again.Activities {
		again.Activities[i].DueWeight = 0
	}
	plan, rep, err := sched.Replan(again, published, now, calm, sched.Options{Iterations: 2000})
	if err != nil || len(plan.Assignments) == 0 || movedFrom(published, plan) > 0 {
		t.Errorf("moved %d, %v, %v", movedFrom(published, plan), rep.Objective, err)
	}
	if rep.Status != sched.StatusOptimal {
		t.Errorf("a plan without any change is %v, not proved the best", rep.Status)
	}
}

func TestReplanningAnswersEveryDisturbance(t *testing.T) {
	t.Parallel()
	for seed := range uint64(5) {
		in, published := publishedKitchen(t, seed, 24, 400)
		for _, what := range kitchengen.Disturbances() {
			again, now := kitchengen.Disturb(in, published, what, seed)
			follow := sched.Follow(again, published, now, calm)
			plans := 0
			var last sched.Objective
			opt := sched.Options{Seed: seed, Iterations: 600, Warm: &published, Incumbent: func(p sched.Plan, r sched.Report) {
				for _, f := range verify.Check(follow, p) {
					t.Errorf("seed %d, %s, plan %d: %s", seed, what, plans, f)
				}
				if plans > 0 && !r.Objective.Less(last) {
					t.Errorf("seed %d, %s: plan %d is no better than the one before", seed, what, plans)
				}
				plans, last = plans+1, r.Objective
			}}
			plan, rep := mustSolve(t, follow, opt)
			if len(plan.Assignments) == 0 {
				t.Errorf("seed %d, %s: no plan: %+v", seed, what, rep.Conflicts)
				continue
			}
			for i, a := range follow.Activities {
				f := a.Fixed
				if as := plan.Assignments[i]; f != nil && (as.Start != f.Start || as.Mode != f.Mode || f.End != 0 && as.End != f.End) {
					t.Errorf("seed %d, %s: %s has started at %d and is planned at %d", seed, what, a.Name, f.Start, as.Start)
				}
				if as := plan.Assignments[i]; f == nil && as.Start < now {
					t.Errorf("seed %d, %s: %s is planned at %d, which is over", seed, what, a.Name, as.Start)
				}
			}
		}
	}
}

// A longer breakdown of the same kettle forces more change, on the whole: the first answer differs more.
func TestALargerDisturbanceCostsMoreChange(t *testing.T) {
	t.Parallel()
	var cost [4]int64
	hours := [4]int64{0, 2, 8, 24}
	for seed := range uint64(6) {
		in, published := publishedKitchen(t, seed, 24, 400)
		again, now := kitchengen.Disturb(in, published, kitchengen.Nothing, seed)
		kettle := emptyKettle(published, now)
		for k, h := range hours {
			down := again
			down.Vessels = append([]sched.Vessel(nil), again.Vessels...)
			for i := range down.Vessels {
				if v := &down.Vessels[i]; h > 0 && v.Name == kettle {
					v.Down = append(append([]sched.Span(nil), v.Down...), sched.Span{Start: now, End: now + h*3600})
				}
			}
			plan, _, err := sched.Replan(down, published, now, calm, sched.Options{Seed: seed, Iterations: 1})
			if err != nil || len(plan.Assignments) == 0 {
				t.Fatalf("seed %d, %d h: no plan, %v", seed, h, err)
			}
			cost[k] += plan.Objective.Change
		}
	}
	t.Logf("change in all: %v", cost)
	if cost[0] != 0 || cost[1] > cost[2] || cost[2] > cost[3] || cost[3] == 0 {
		t.Errorf("change of %v for %v hours", cost, hours)
	}
}

// emptyKettle names the kettle that is used soonest of those that are empty now.
func emptyKettle(published sched.Plan, now int64) string {
	full := map[string]bool{}
	best, name := int64(sched.Forever), ""
	for _, as := range published.Assignments {
		if as.Start < now && as.HeldUntil > now && len(as.Vessels) > 0 {
			full[as.Vessels[0]] = true
		}
	}
	for _, as := range published.Assignments {
		if as.Start >= now && as.Start < best && len(as.Vessels) > 0 && as.Vessels[0][:3] == "ket" && !full[as.Vessels[0]] {
			best, name = as.Start, as.Vessels[0]
		}
	}
	return name
}

func TestAPlanToBeginFromIsNeverMadeWorse(t *testing.T) {
	t.Parallel()
	for seed := range uint64(4) {
		in, warm := publishedKitchen(t, seed, 20, 300)
		for _, steps := range []int{1, 50, 800} {
			plan, _ := mustSolve(t, in, sched.Options{Seed: seed + 9, Iterations: steps, Warm: &warm})
			if warm.Objective.Less(plan.Objective) {
				t.Errorf("seed %d, %d steps: %+v is worse than %+v", seed, steps, plan.Objective, warm.Objective)
			}
		}
	}
	for seed := range uint64(200) { // every kind of constraint
		in := tiny(seed, int(seed*2654435761>>7)&0x7fff)
		if in.Validate() != nil {
			continue
		}
		warm, _ := mustSolve(t, in, sched.Options{Seed: seed, Iterations: 60})
		if len(warm.Assignments) == 0 {
			continue
		}
		for _, steps := range []int{1, 40} {
			plan, _ := mustSolve(t, in, sched.Options{Seed: seed + 1, Iterations: steps, Warm: &warm})
			if len(plan.Assignments) == 0 || warm.Objective.Less(plan.Objective) {
				t.Errorf("%s, %d steps: %+v is worse than %+v", in.Name, steps, plan.Objective, warm.Objective)
			}
		}
	}
}

func TestReplanningIsRepeatable(t *testing.T) {
	t.Parallel()
	in, published := publishedKitchen(t, 2, 24, 400)
	again, now := kitchengen.Disturb(in, published, kitchengen.VesselDown, 2)
	var plans [2]sched.Plan
	for i := range plans {
		plan, _, err := sched.Replan(again, published, now, calm, sched.Options{Seed: 5, Iterations: 1500})
		if err != nil {
			t.Fatal(err)
		}
		plans[i] = plan
	}
	if plans[0].Objective != plans[1].Objective || movedFrom(plans[0], plans[1]) > 0 {
		t.Errorf("%+v and %+v", plans[0].Objective, plans[1].Objective)
	}
}
