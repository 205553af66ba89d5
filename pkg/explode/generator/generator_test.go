package generator_test

import (
	"reflect"
	"testing"

	"rondeau.internal/pkg/explode"
	"rondeau.internal/pkg/explode/generator"
)

func TestTheSameSeedGivesTheSameSolvableProblem(t *testing.T) {
	t.Parallel()
	a, b := generator.Generate(7, 20, 30, 14), generator.Generate(7, 20, 30, 14)
	if !reflect.DeepEqual(a, b) {
		t.Fatal("two problems of one seed differ")
	}
	if c := generator.Generate(8, 20, 30, 14); reflect.DeepEqual(a, c) {
		t.Fatal("problems of two seeds are equal")
	}
	if err := a.Check(); err != nil {
		t.Fatal(err)
	}
	share := float64(len(a.Demands)) / (20 * 30 * 14)
	if share < 0.25 || share > 0.35 {
		t.Errorf("share of ordered cells = %.3f, want near %.1f", share, generator.OrderShare)
	}
	r, err := explode.Solve(&a)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Batches) == 0 || len(r.Purchases) == 0 {
		t.Fatalf("%d batches, %d purchases; want some of both", len(r.Batches), len(r.Purchases))
	}
}

// The size is the target of the design: 2,000 outlets, 200 products, four weeks.
func BenchmarkSolve2000Outlets200Products28Days(b *testing.B) {
	p := generator.Generate(1, 2000, 200, 28)
	b.ReportAllocs()
	for b.Loop() {
		r, err := explode.Solve(&p)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(len(r.Batches)), "batches")
	}
	b.ReportMetric(float64(len(p.Demands)), "demands")
}
