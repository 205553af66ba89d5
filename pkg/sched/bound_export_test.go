package sched

import "math/rand/v2"

// RentValues evaluates the relaxation of an instance on cells of length cell (0: the engine's choice) with windows of
// width cells (0: the engine's choice): under zero rents, under random ones and on a climb towards goal. Each value, rounded up, is a bound of the
// tardiness by itself. It returns nothing when the instance is impossible or has no due times.
func RentValues(in Instance, cell int64, width int32, goal int64, seed uint64) []int64 {
	p := compile(&in)
	w, conflicts := p.impossible()
	if len(conflicts) > 0 {
		return nil
	}
	p.lowerBound(w, p.urgency())
	g := p.grid()
	if cell > 0 {
		g = grid{from: p.from, g: cell, cells: int32(ceilDiv(p.to-p.from, cell))}
	}
	r := p.rentsOn(g, width)
	if r == nil {
		return nil
	}
	out := []int64{r.bound()}
	src := rand.New(rand.NewPCG(seed, 11))
	for round := range 30 {
		for _, l := range r.limits {
			for c := range l.rent {
				l.rent[c] = 0
				if src.IntN(3) == 0 {
					l.rent[c] = src.Int64N(int64(1+40*(round%3))) * rentScale / 8
				}
			}
		}
		out = append(out, ceilDiv(r.value(round%2 == 0), rentScale))
	}
	for range 60 {
		if len(r.limits) > 0 {
			r.step(goal)
			out = append(out, ceilDiv(r.climb.value, rentScale))
		}
	}
	return append(out, r.bound())
}

// SameRents evaluates two instances under the same random rents; they must have the same limits.
func SameRents(a, b Instance, seed uint64) (x, y int64, ok bool) {
	value := func(in *Instance) (int64, int) {
		p := compile(in)
		w, conflicts := p.impossible()
		if len(conflicts) > 0 {
			return 0, -1
		}
		p.lowerBound(w, p.urgency())
		r := p.rentsOn(grid{from: p.from, g: 1, cells: int32(p.to - p.from)}, 0)
		if r == nil {
			return 0, -1
		}
		src := rand.New(rand.NewPCG(seed, 12))
		for _, l := range r.limits {
			for c := range l.rent {
				l.rent[c] = src.Int64N(2 * rentScale)
			}
		}
		return r.value(false), len(r.limits)
	}
	x, n := value(&a)
	y, m := value(&b)
	return x, y, n >= 0 && n == m
}

// RentSetup and RentStep are for benchmarks.
func RentSetup(in Instance) func() {
	p := ready(in)
	return func() { p.newRents() }
}

func RentStep(in Instance) func() {
	r := ready(in).newRents()
	goal := 2 * r.bound()
	return func() { r.step(goal) }
}

func ready(in Instance) *problem {
	p := compile(&in)
	w, _ := p.impossible()
	p.lowerBound(w, p.urgency())
	return p
}
