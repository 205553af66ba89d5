package risk_test

import (
	"fmt"
	"testing"

	"rondeau.internal/pkg/sched/kitchengen"
	"rondeau.internal/pkg/sched/risk"
)

// BenchmarkRun simulates a plan of 1,200 activities, each with uncertain phases, 1,000 times.
func BenchmarkRun(b *testing.B) {
	in, plan := planned(b, 1, kitchengen.Size{Batches: 150}, 5)
	for _, heedless := range []bool{false, true} {
		b.Run(fmt.Sprintf("heedless=%v", heedless), func(b *testing.B) {
			s := simulator(b, uncertain(in, plan, 0.15), risk.Options{Samples: 1000, Heedless: heedless})
			b.ReportAllocs()
			for b.Loop() {
				if _, err := s.Run(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkBuffers looks for buffers in a plan of 160 activities.
func BenchmarkBuffers(b *testing.B) {
	in, plan := planned(b, 1, kitchengen.Size{Batches: 20}, 200)
	s := simulator(b, uncertain(in, plan, 0.15), risk.Options{Samples: 1000})
	for b.Loop() {
		if _, err := s.Buffers(risk.BufferOptions{Budget: 4 * 3600}); err != nil {
			b.Fatal(err)
		}
	}
}
