package project

import (
	"fmt"
	"testing"
)

// allSchedules lists every schedule that ends by the horizon.
func allSchedules(p *Problem, horizon int32) [][]int32 {
	var out [][]int32
	enumerate(p, func() int32 { return horizon }, func(s []int32) { out = append(out, append([]int32(nil), s...)) })
	return out
}

// holdsIn reports whether a schedule makes a literal true.
func holdsIn(e *engine, s []int32, l lit) bool {
	k := int(l.x >> 1)
	var v int32
	switch {
	case k < e.n:
		v = s[k]
	case k == e.n:
		v = e.in.p.makespan(s)
	default:
		p := e.in.pairs[k-e.n-1]
		if s[p[0]] < s[p[1]] {
			v = 1
		}
	}
	if l.x&1 == 1 {
		v = -v
	}
	return v >= l.v
}

func describe(e *engine, lits []lit) string {
	text := ""
	for _, l := range lits {
		if l.x&1 == 0 {
			text += fmt.Sprintf(" s%d>=%d", l.x>>1, l.v)
		} else {
			text += fmt.Sprintf(" s%d<=%d", l.x>>1, -l.v)
		}
	}
	return text
}

func TestNoLearnedClauseExcludesASchedule(t *testing.T) {
	t.Parallel()
	r := &rng{21}
	learned, byEnergyUsed := 0, 0
	for k := range 400 {
		p := randomProblem(r, 7, k%3 == 0, k%5 == 0)
		horizon := bruteForce(p, 12)
		if horizon < 0 {
			horizon = 6
		}
		all := allSchedules(p, horizon)
		if len(all) > 500 {
			continue
		}
		in := newInstance(p, horizon)
		if in == nil {
			if len(all) > 0 {
				t.Fatalf("problem %d %+v has schedules such as %v, said to have none", k, p, all[0])
			}
			continue
		}
		e := newEngine(in, nil, engineOptions{pairs: k%3 > 0, energy: k%2 == 0})
		for i := range int32(in.n) { // a random dive, without tightening the makespan
			for _, s := range all {
				if s[i] < in.lo[i] || s[i] > in.hi[i] {
					t.Fatalf("problem %d %+v: window %d..%d of %d excludes %v", k, p, in.lo[i], in.hi[i], i, s)
				}
			}
		}
		for range 60 {
			if !e.propagate() {
				if e.level() == 0 || !e.learn() {
					if len(all) > 0 {
						t.Fatalf("problem %d %+v has schedules such as %v, the engine proves there are none", k, p, all[0])
					}
					break
				}
				learned++
				for _, s := range all {
					ok := false
					for _, l := range e.cf.out {
						ok = ok || holdsIn(e, s, l)
					}
					if !ok {
						t.Fatalf("problem %d %+v: clause%s excludes %v", k, p, describe(e, e.cf.out), s)
					}
				}
				continue
			}
			for _, s := range all {
				checkStep(t, e, s)
			}
			for _, s := range e.trail {
				if s.why == byEnergy {
					byEnergyUsed++
				}
			}
			if e.level() == 0 {
				e.commit()
			}
			if !decideAtRandom(e, r) || r.n(30) == 0 {
				e.backTo(0)
			}
		}
	}
	if learned < 200 || byEnergyUsed < 20 {
		t.Fatalf("only %d clauses were learned and %d steps made by energy", learned, byEnergyUsed)
	}
}

// decideAtRandom halves the domain of some variable; it returns false if all are fixed.
func decideAtRandom(e *engine, r *rng) bool {
	var open []int32
	for v := range int32(e.vars) {
		if e.b[2*v] < -e.b[2*v+1] {
			open = append(open, v)
		}
	}
	if len(open) == 0 {
		return false
	}
	v := open[r.n(len(open))]
	lo, hi := e.b[2*v], -e.b[2*v+1]
	at := lo + int32(r.n(int(hi-lo)))
	e.heap.mark = int32(len(e.heap.taken))
	if r.n(2) == 0 {
		e.decide(lit{2*v + 1, -at})
	} else {
		e.decide(lit{2 * v, at + 1})
	}
	return true
}

// checkStep makes sure that a schedule that fits all decisions fits all bounds.
func checkStep(t *testing.T, e *engine, s []int32) {
	t.Helper()
	for _, x := range e.trail {
		if x.why == decided && x.level > 0 && !holdsIn(e, s, lit{x.x, x.v}) {
			return
		}
	}
	for x := range e.b {
		if !holdsIn(e, s, lit{int32(x), e.b[x]}) && x>>1 != e.n {
			t.Fatalf("%+v: propagation to%s excludes %v", e.in.p, describe(e, []lit{{int32(x), e.b[x]}}), s)
		}
	}
}

func TestTheTableOfFreeCapacityIsRestored(t *testing.T) {
	t.Parallel()
	r := &rng{5}
	for range 200 {
		p := randomProblem(r, 8, false, false)
		in := newInstance(p, int32(freeHorizon(p)))
		e := newEngine(in, nil, engineOptions{pairs: true, lubyUnit: 3})
		starts := make([]int32, in.n)
		e.search(limits{conflicts: 20, ticks: 1 << 40}, starts)
		if e.dead {
			continue
		}
		for i := range int32(in.n) {
			if e.tt.from[i] < e.tt.to[i] {
				e.tt.change(in, i, e.tt.from[i], e.tt.to[i], false)
			}
		}
		for k, f := range e.tt.free {
			if f != in.base[k] {
				t.Fatalf("cell %d holds %x, not %x", k, f, in.base[k])
			}
		}
	}
}

func TestNoLearnedClauseExcludesAKnownSchedule(t *testing.T) {
	t.Parallel()
	r := &rng{77}
	learned := 0
	for k := range uint64(24) {
		p := project(k, 20+int(k))
		if k%3 == 0 {
			for i := range int32(10) {
				p.Lags = append(p.Lags, Lag{i + 5, i, -20})
			}
		}
		known := mustSolve(t, p, Options{Iterations: 4000})
		if known.Starts == nil {
			continue
		}
		in := newInstance(p, known.Makespan)
		if in == nil {
			t.Fatalf("problem %d: nothing fits into %d, yet %v does", k, known.Makespan, known.Starts)
		}
		e := newEngine(in, nil, engineOptions{pairs: k%2 == 0, energy: k%4 < 2})
		for range 2500 {
			if !e.propagate() {
				if e.level() == 0 || !e.learn() {
					t.Fatalf("problem %d: nothing is said to fit into %d, yet %v does", k, known.Makespan, known.Starts)
				}
				learned++
				ok := false
				for _, l := range e.cf.out {
					ok = ok || holdsIn(e, known.Starts, l)
				}
				if !ok {
					t.Fatalf("problem %d: clause%s excludes %v", k, describe(e, e.cf.out), known.Starts)
				}
				continue
			}
			if e.level() == 0 {
				e.commit()
			}
			if !decideAtRandom(e, r) {
				e.backTo(0)
			}
		}
	}
	if learned < 300 {
		t.Fatalf("only %d clauses were learned", learned)
	}
}
