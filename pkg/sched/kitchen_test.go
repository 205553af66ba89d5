package sched_test

import (
	"fmt"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/kitchengen"
	"rondeau.internal/pkg/sched/verify"
)

func mustSolve(t testing.TB, in sched.Instance, opt sched.Options) (sched.Plan, sched.Report) {
	t.Helper()
	plan, rep, err := sched.Solve(in, opt)
	if err != nil {
		t.Fatal(err)
	}
	if len(plan.Assignments) > 0 {
		for i, v := range verify.Check(in, plan) {
			if i < 10 {
				t.Errorf("%s: %s", in.Name, v)
			}
		}
	}
	return plan, rep
}

func TestKitchenInstancesGetAVerifiedPlan(t *testing.T) {
	t.Parallel()
	for seed := range uint64(4) {
		in := kitchengen.Kitchen(seed, kitchengen.Size{Batches: 20})
		plan, rep := mustSolve(t, in, sched.Options{Seed: seed, Iterations: 60})
		if len(plan.Assignments) == 0 {
			t.Fatalf("seed %d: no plan, %v: %+v", seed, rep.Status, rep.Conflicts)
		}
		t.Logf("seed %d: %v tardiness %d makespan %d bound %d/%d gap %.3f", seed, rep.Status, rep.Objective.Tardiness, rep.Objective.Makespan, rep.Bound.Tardiness, rep.Bound.Makespan, rep.Gap)
	}
}

func BenchmarkFirstFeasible150(b *testing.B) {
	in := kitchengen.Kitchen(1, kitchengen.Size{Batches: 150})
	for b.Loop() {
		found := false
		_, rep, err := sched.Solve(in, sched.Options{Iterations: 500, Stop: func() bool { return found }, Incumbent: func(sched.Plan, sched.Report) { found = true }})
		if err != nil || !found {
			b.Fatal(rep, err)
		}
		b.ReportMetric(float64(rep.Iterations), "iterations")
	}
}

func BenchmarkImprove(b *testing.B) {
	in := kitchengen.Kitchen(1, kitchengen.Size{Batches: 150})
	for b.Loop() {
		plan, rep, err := sched.Solve(in, sched.Options{Iterations: 300})
		if err != nil || len(plan.Assignments) == 0 {
			b.Fatal(rep, err)
		}
		b.ReportMetric(float64(rep.Objective.Tardiness), "tardiness")
		b.ReportMetric(rep.Gap, "gap")
	}
}

// The first answer after a kettle failed in the middle of a published week.
func BenchmarkReplan150(b *testing.B) {
	in := kitchengen.Kitchen(1, kitchengen.Size{Batches: 150})
	published, _, err := sched.Solve(in, sched.Options{Iterations: 20})
	if err != nil {
		b.Fatal(err)
	}
	const now = 50 * 3600
	for i, as := range published.Assignments {
		if as.Start < now {
			in.Activities[i].Fixed = &sched.Fixed{Mode: as.Mode, Start: as.Start, Started: true, End: as.End}
		}
	}
	in.Vessels[3].Down = []sched.Span{{Start: now, End: now + 12*3600}}
	for b.Loop() {
		plan, rep, err := sched.Replan(in, published, now, sched.Stability{MoveWeight: 1, ModeWeight: 600}, sched.Options{Iterations: 1})
		if err != nil || len(plan.Assignments) == 0 {
			b.Fatal(rep, err)
		}
		b.ReportMetric(float64(rep.Objective.Tardiness), "tardiness")
	}
}

// What a step of the search costs, by the size of the plan.
func BenchmarkStep(b *testing.B) {
	for _, batches := range []int{50, 150, 500, 2000} {
		b.Run(fmt.Sprintf("%d batches", batches), func(b *testing.B) {
			step, err := sched.Stepper(kitchengen.Kitchen(1, kitchengen.Size{Batches: batches}), 1)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for b.Loop() {
				step()
			}
		})
	}
}
