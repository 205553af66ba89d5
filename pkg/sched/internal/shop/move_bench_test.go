package shop

import "testing"

// BenchmarkMove measures one move of the tabu search on problems of some hundred operations.
func BenchmarkMove(b *testing.B) {
	for _, variant := range []string{"job shop", "flexible", "workers", "operators"} {
		b.Run(variant, func(b *testing.B) {
			r := rng{s: 71}
			p := middling(&r, variant)
			for len(p.Jobs) < 32 {
				p.Jobs = append(p.Jobs, middling(&r, variant).Jobs...)
			}
			c, err := compile(p)
			if err != nil {
				b.Fatal(err)
			}
			t := newTabu(c, 1)
			cons := newConstructor(c)
			cons.make(&r, mostWork, 0)
			if c.pool > 0 {
				t.g.dispatch(cons.mode, cons.ord)
			} else {
				t.g.build(cons.mode, cons.ord)
			}
			t.begin()
			b.ReportAllocs()
			for b.Loop() {
				if !t.step() {
					b.Fatal("no move left")
				}
			}
		})
	}
}
