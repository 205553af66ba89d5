package project

import (
	"testing"
)

// randomProblem makes a small project; with greatest, some lags are greatest lags and it may be impossible.
func randomProblem(r *rng, n int, greatest, extras bool) *Problem {
	res := 1 + r.n(3)
	p := &Problem{Horizon: 0}
	for range res {
		p.Capacities = append(p.Capacities, int32(2+r.n(4)))
	}
	for range n {
		p.Durations = append(p.Durations, int32(r.n(4)))
		row := make([]int32, res)
		for k := range row {
			if r.n(3) > 0 {
				row[k] = int32(r.n(int(p.Capacities[k]) + 1))
			}
		}
		p.Demands = append(p.Demands, row)
	}
	for range n {
		i, j := r.n(n), r.n(n)
		if i == j {
			continue
		}
		i, j = min(i, j), max(i, j)
		lag := p.Durations[i]
		if greatest {
			lag = int32(r.n(5) - 1)
		}
		p.Lags = append(p.Lags, Lag{int32(i), int32(j), lag})
		if greatest && r.n(2) == 0 {
			p.Lags = append(p.Lags, Lag{int32(j), int32(i), -max(0, lag) - int32(r.n(3))})
		}
	}
	if extras {
		p.Releases, p.Deadlines = make([]int32, n), make([]int32, n)
		for i := range n {
			p.Releases[i] = int32(r.n(3))
			p.Deadlines[i] = -1
			if r.n(4) == 0 {
				p.Deadlines[i] = p.Releases[i] + p.Durations[i] + int32(r.n(6))
			}
		}
		p.Levels = make([][]Level, res)
		for k := range res {
			if r.n(2) == 0 {
				p.Levels[k] = []Level{{int32(1 + r.n(4)), int32(r.n(5))}, {int32(6 + r.n(4)), p.Capacities[k]}}
			}
		}
	}
	return p
}

// capacityAt is the plain definition.
func capacityAt(p *Problem, r int, t int32) int32 {
	c := p.Capacities[r]
	if p.Levels != nil {
		for _, l := range p.Levels[r] {
			if l.At <= t {
				c = l.Capacity
			}
		}
	}
	return c
}

// broken says in plain terms what is wrong with starts, or "".
func broken(p *Problem, s []int32) string {
	end := makespanOf(p, s)
	for i := range s {
		if s[i] < 0 || p.Releases != nil && s[i] < p.Releases[i] {
			return "release"
		}
		if p.Deadlines != nil && p.Deadlines[i] >= 0 && s[i]+p.Durations[i] > p.Deadlines[i] {
			return "deadline"
		}
	}
	if p.Horizon > 0 && end > p.Horizon {
		return "horizon"
	}
	for _, l := range p.Lags {
		if s[l.To] < s[l.From]+l.Min {
			return "lag"
		}
	}
	for r := range p.Capacities {
		for t := range end {
			var sum int32
			for i := range s {
				if s[i] <= t && t < s[i]+p.Durations[i] {
					sum += p.Demands[i][r]
				}
			}
			if sum > capacityAt(p, r, t) {
				return "capacity"
			}
		}
	}
	return ""
}

func makespanOf(p *Problem, s []int32) int32 {
	var end int32
	for i := range s {
		end = max(end, s[i]+p.Durations[i])
	}
	return end
}

// bruteForce tries all starts up to a horizon; it returns -1 if nothing is feasible.
func bruteForce(p *Problem, horizon int32) int32 {
	best := horizon + 1
	enumerate(p, func() int32 { return best - 1 }, func(s []int32) { best = makespanOf(p, s) })
	if best > horizon {
		return -1
	}
	return best
}

// enumerate visits all schedules that end by a limit, which may fall meanwhile.
func enumerate(p *Problem, limit func() int32, visit func(s []int32)) {
	n := len(p.Durations)
	s := make([]int32, n)
	use := make([][]int32, len(p.Capacities))
	for r := range use {
		use[r] = make([]int32, limit()+1)
	}
	fits := func(i int) bool {
		for _, l := range p.Lags {
			if int(max(l.From, l.To)) == i && s[l.To] < s[l.From]+l.Min {
				return false
			}
		}
		for r := range use {
			for t := s[i]; t < s[i]+p.Durations[i]; t++ {
				if use[r][t]+p.Demands[i][r] > capacityAt(p, r, t) {
					return false
				}
			}
		}
		return true
	}
	add := func(i int, sign int32) {
		for r := range use {
			for t := s[i]; t < s[i]+p.Durations[i]; t++ {
				use[r][t] += sign * p.Demands[i][r]
			}
		}
	}
	var try func(i int)
	try = func(i int) {
		if i == n {
			if makespanOf(p, s) <= limit() {
				visit(s)
			}
			return
		}
		s[i] = 0
		if p.Releases != nil {
			s[i] = p.Releases[i]
		}
		for ; s[i]+p.Durations[i] <= limit(); s[i]++ {
			if p.Deadlines != nil && p.Deadlines[i] >= 0 && s[i]+p.Durations[i] > p.Deadlines[i] {
				break
			}
			if fits(i) {
				add(i, 1)
				try(i + 1)
				add(i, -1)
			}
		}
	}
	try(0)
}

// exactOptimum runs the exact engine alone.
func exactOptimum(t *testing.T, p *Problem, horizon int32, o engineOptions) int32 {
	in := newInstance(p, horizon)
	if in == nil {
		return -1
	}
	e := newEngine(in, nil, o)
	starts := make([]int32, in.n)
	best := int32(-1)
	for {
		switch e.search(limits{conflicts: 1 << 40, ticks: 1 << 60}, starts) {
		case exhausted:
			return best
		case found:
			if b := broken(p, starts); b != "" {
				t.Fatalf("engine returns a schedule that breaks a %s: %v of %+v", b, starts, p)
			}
			m := makespanOf(p, starts)
			if best >= 0 && m >= best {
				t.Fatalf("engine goes from %d to %d", best, m)
			}
			best = m
			e.bound(m - 1)
			e.follows(starts)
		default:
			t.Fatal("engine paused without reason")
		}
	}
}

func TestTheExactEngineAgreesWithTryingEverything(t *testing.T) {
	t.Parallel()
	r := &rng{7}
	infeasible := 0
	for k := range 3000 {
		p := randomProblem(r, 3+r.n(4), k%3 > 0, k%4 == 0)
		horizon := int32(min(freeHorizon(p), 14))
		want := bruteForce(p, horizon)
		if want < 0 {
			infeasible++
		}
		for _, o := range []engineOptions{{}, {pairs: true}, {pairs: true, lubyUnit: 1}, {listOnly: true, pairs: true}, {energy: true, lubyUnit: 2}} {
			if got := exactOptimum(t, p, horizon, o); got != want {
				t.Fatalf("problem %d %+v: engine %+v finds %d within %d, trying everything %d", k, p, o, got, horizon, want)
			}
		}
	}
	if infeasible < 100 {
		t.Fatalf("only %d problems were impossible", infeasible)
	}
}
