package sched

import (
	"math/rand/v2"
	"reflect"
	"testing"
)

// plainRoom is free capacity moment by moment.
type plainRoom []int64

func (p plainRoom) blocked(x, y, q int64) (int64, bool) {
	for t := y - 1; t >= x; t-- {
		if p[t] < q {
			for t < int64(len(p)) && p[t] < q {
				t++
			}
			return t, false
		}
	}
	return 0, true
}

func TestHeadroomAgainstEveryMoment(t *testing.T) {
	t.Parallel()
	for seed := range uint64(30) {
		r := rand.New(rand.NewPCG(seed, 3))
		const size = 1200
		base := baseProfile(&Resource{Capacity: 40, Levels: []Level{{At: 300, Capacity: 20}, {At: 700, Capacity: 60}}})
		var h headroom
		h.reset(&base)
		plain := make(plainRoom, size)
		for i := range plain {
			plain[i] = 40
			if i >= 300 {
				plain[i] = 20
			}
			if i >= 700 {
				plain[i] = 60
			}
		}
		type taken struct{ x, y, q int64 }
		var log []taken
		change := func(c taken) {
			h.take(c.x, c.y, c.q)
			for m := c.x; m < min(c.y, size); m++ {
				plain[m] -= c.q
			}
		}
		for range 1500 {
			if len(log) > 0 && r.IntN(5) < 2 {
				c := log[len(log)-1]
				log = log[:len(log)-1]
				change(taken{c.x, c.y, -c.q})
			} else {
				c := taken{x: r.Int64N(size), q: 1 + r.Int64N(9)}
				c.y = c.x + 1 + r.Int64N(60)
				if r.IntN(9) == 0 {
					c.y = Forever
				}
				log = append(log, c)
				change(c)
			}
			x := r.Int64N(size - 100)
			y, q := x+r.Int64N(100), r.Int64N(30)-5
			// The plain one ends a shortage with the last moment below q, the other with the segment: compare whether.
			end, ok := h.blocked(x, y, q)
			want, fine := plain.blocked(x, y, q)
			if ok != fine || !ok && (end > want && want < size || end <= x) {
				t.Fatalf("seed %d: blocked(%d, %d, %d) is %d, %v, want at most %d, %v", seed, x, y, q, end, ok, want, fine)
			}
			if !ok {
				for m := end; m < y; m++ {
					if plain[m] < q {
						t.Fatalf("seed %d: still short at %d after %d", seed, m, end)
					}
				}
			}
			first := Forever
			for m := int64(size) - 1; m >= x; m-- {
				if plain[m] < q {
					first = m
				}
			}
			if got := h.firstShort(x, q); got != first && first < Forever {
				t.Fatalf("seed %d: first short at %d, want %d", seed, got, first)
			}
		}
		for len(log) > 0 {
			c := log[len(log)-1]
			log = log[:len(log)-1]
			h.take(c.x, c.y, -c.q)
		}
		if got := h.steps(); !reflect.DeepEqual(got, base) {
			t.Fatalf("seed %d: %v is left of %v", seed, got, base)
		}
	}
}
