package microbe

import (
	"testing"
	"time"

	"rondeau.internal/pkg/units"
)

// long is a cooling of 10,000 readings, one every 5 s.
func long() []Reading {
	h := make([]Reading, 10000)
	for i := range h {
		h[i] = Reading{day.Add(time.Duration(i) * 5 * time.Second), units.Celsius(60 - 55*float64(i)/10000)}
	}
	return h
}

func BenchmarkGrowth10000Readings(b *testing.B) {
	h := long()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Growth(h, Product{PH: 6.2, SaltPercent: 0.5}, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkGrowth10000ReadingsAllModels(b *testing.B) {
	h := long()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Growth(h, Product{PH: 6.2, SaltPercent: 0.5}, Options{Compare: true}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkTrackerAdd(b *testing.B) {
	tracker, err := NewTracker(Product{}, Options{})
	if err != nil {
		b.Fatal(err)
	}
	at, i := day, 0
	b.ReportAllocs()
	for b.Loop() {
		at = at.Add(time.Millisecond)
		i++
		if err := tracker.Add(at, units.Celsius(20+float64(i%300)/10)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkTrackerResult(b *testing.B) {
	tracker, err := NewTracker(Product{}, Options{})
	if err != nil {
		b.Fatal(err)
	}
	for _, r := range corners(0, 60, 3, 5) {
		if err := tracker.Add(r.At, r.Temperature); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		_ = tracker.Result()
	}
}

func BenchmarkLethality10000Readings(b *testing.B) {
	h := long()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Lethality(h, listeria, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
