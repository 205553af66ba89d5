package planning_test

import (
	"fmt"
	"testing"

	"rondeau.internal/services/planning"
)

// BenchmarkCreatePlan computes, without saving, two weeks for 200 orders of two outlets over three levels.
func BenchmarkCreatePlan(b *testing.B) {
	k := newKitchen(b)
	for i := range 200 {
		outletID := []string{"pier", "hill"}[i%2]
		k.order(outletID, fmt.Sprintf("o%d", i), planning.Date("2026-03-08").AddDays(i%8), 5+i%7)
	}
	r := planning.PlanRequest{ID: "bench", Start: "2026-03-02", End: "2026-03-16"}
	batches := 0
	for b.Loop() {
		_, list, err := k.CreatePlan(b.Context(), site, r, true)
		if err != nil {
			b.Fatal(err)
		}
		batches = len(list)
	}
	b.ReportMetric(float64(batches), "batches")
}
