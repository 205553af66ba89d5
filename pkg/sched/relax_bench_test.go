package sched_test

import (
	"fmt"
	"slices"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/kitchengen"
)

// tightened is a kitchen in which every due time is a deadline.
func tightened(seed uint64, batches int) sched.Instance {
	in := kitchengen.Kitchen(seed, kitchengen.Size{Batches: batches})
	for i := range in.Activities {
		if a := &in.Activities[i]; a.DueWeight > 0 {
			a.Deadline = max(a.Due, 1)
		}
	}
	return in
}

// nights say that the heads of the day would be there in longer shifts.
func nights(in sched.Instance) map[string]sched.Shift {
	most := int64(0)
	for _, l := range in.Resources[0].Levels {
		most = max(most, l.Capacity)
	}
	return map[string]sched.Shift{"crew": {Resources: []sched.Need{{Resource: in.Resources[0].Name, Amount: most}}}}
}

func TestAKitchenInWhichEveryDueTimeIsADeadlineIsHelped(t *testing.T) {
	t.Parallel()
	for seed := range uint64(2) {
		in := tightened(seed, 8)
		out := explain(t, in, sched.ExplainOptions{Grain: 300, Shifts: nights(in), Iterations: 30, Measure: 40})
		if out.Possible {
			continue
		}
		if !out.Core.Proved || !out.Core.Minimal {
			t.Errorf("seed %d: %s", seed, told(out))
		}
		if !slices.ContainsFunc(out.Remedies, func(r sched.Remedy) bool { return r.Verified }) {
			t.Errorf("seed %d: nothing helps: %s", seed, told(out))
		}
	}
}

func BenchmarkExplain(b *testing.B) {
	for _, n := range []int{10, 20, 40} {
		b.Run(fmt.Sprintf("%d batches", n), func(b *testing.B) {
			in := tightened(1, n)
			for b.Loop() {
				out, err := sched.Explain(in, sched.ExplainOptions{Grain: 300, Shifts: nights(in)})
				if err != nil {
					b.Fatal(err)
				}
				verified := 0
				for _, r := range out.Remedies {
					if r.Verified {
						verified++
					}
				}
				b.ReportMetric(float64(len(out.Core.Reasons)), "reasons")
				b.ReportMetric(float64(verified), "remedies")
			}
		})
	}
}

func BenchmarkExplainLate(b *testing.B) {
	for _, n := range []int{20, 150} {
		b.Run(fmt.Sprintf("%d batches", n), func(b *testing.B) {
			in := kitchengen.Kitchen(1, kitchengen.Size{Batches: n})
			plan, rep, err := sched.Solve(in, sched.Options{Iterations: 60})
			if err != nil || len(rep.Late) == 0 {
				b.Fatal(err, rep.Status)
			}
			for b.Loop() {
				out, err := sched.ExplainLate(in, plan, rep.Late[0].Activity, sched.ExplainOptions{Grain: 300, Shifts: nights(in), Solves: 80, Tests: 80, Iterations: 10, Measure: 20})
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(len(out.Core.Reasons)), "reasons")
				b.ReportMetric(float64(len(out.Remedies)), "remedies")
			}
		})
	}
}
