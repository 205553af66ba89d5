package sched_test

import (
	"fmt"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/kitchengen"
)

// What the bound costs: to set the relaxation up, and for each step.
func BenchmarkRents(b *testing.B) {
	for _, n := range []int{10, 150, 2000} {
		in := kitchengen.Kitchen(1, kitchengen.Size{Batches: n})
		b.Run(fmt.Sprintf("setup/%d", n), func(b *testing.B) {
			b.ReportAllocs()
			setup := sched.RentSetup(in)
			for b.Loop() {
				setup()
			}
		})
		b.Run(fmt.Sprintf("step/%d", n), func(b *testing.B) {
			b.ReportAllocs()
			step := sched.RentStep(in)
			for b.Loop() {
				step()
			}
		})
	}
}
