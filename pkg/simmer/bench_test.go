package simmer_test

import (
	"testing"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

var benchLoad = simmer.Load{Liquid: 100, Solids: 0.03, Start: 20}

func BenchmarkReduceHardBoil(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if out, err := simmer.Reduce(kettle100, benchLoad, simmer.Duty{}, simmer.Kitchen(), simmer.EndPoint{Mass: 50}, simmer.Settings{}); err != nil || !out.Reached {
			b.Fatal(out, err)
		}
	}
}

func BenchmarkReduceJacketCarefully(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if out, err := simmer.Reduce(steamKettle, benchLoad, simmer.Duty{MaxSuperheat: 20}, simmer.Kitchen(), simmer.EndPoint{Solids: 0.20}, simmer.Settings{}); err != nil || !out.Reached {
			b.Fatal(out, err)
		}
	}
}

func BenchmarkReduceHighRate(b *testing.B) {
	c := simmer.Kitchen()
	c.HighRate = true
	b.ReportAllocs()
	for b.Loop() {
		if out, err := simmer.Reduce(kettle100, benchLoad, simmer.Duty{}, c, simmer.EndPoint{Mass: 50}, simmer.Settings{}); err != nil || !out.Reached {
			b.Fatal(out, err)
		}
	}
}

func BenchmarkQuick(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := simmer.Quick(kettle100, benchLoad, simmer.Duty{}, simmer.Kitchen(), simmer.EndPoint{Mass: 50}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkQuickHeld(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := simmer.Quick(kettle100, benchLoad, simmer.Duty{Hold: 93}, simmer.Kitchen(), simmer.EndPoint{Mass: 50}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkKettleStep(b *testing.B) {
	k, err := simmer.NewKettle(kettle100, benchLoad, simmer.Duty{Hold: 93}, simmer.Kitchen())
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		s, err := k.Step(time.Minute)
		if err != nil {
			b.Fatal(err)
		}
		if s.Liquid < 50 {
			if err := k.Add(100-s.Liquid, 0, units.Celsius(90)); err != nil {
				b.Fatal(err)
			}
		}
	}
}

func BenchmarkOpenSurface(b *testing.B) {
	c := simmer.Kitchen()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := simmer.OpenSurface(95, 1, 0.25, c); err != nil {
			b.Fatal(err)
		}
	}
}
