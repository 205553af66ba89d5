package project

import (
	"cmp"
	"slices"
)

// repair shortens schedules by taking some activities out and letting the exact engine put them back, while the others
// keep their order or, in regular instances, mostly their times: large neighbourhood search.
type repair struct {
	p      *Problem
	rand   rng
	e      engine
	cache  [4]*instance // by horizon, the latest first
	empty  map[int32]bool
	order  []int32 // activities by start
	free   []bool
	lags   []Lag
	tokens []token
	loose  float64 // how many activities to take out if the others keep their order
	pinned float64 // and if the others are pinned
	b      *builder
	fixed  []int32
	after  []int32
	out    []int32
	ticks  int64
	dives  int64 // conflicts so far
}

// token is an amount of a resource that an activity passes on.
type token struct {
	from, amount, at int32
}

// diveConflicts bounds the search for one neighbour.
const diveConflicts = 250

// pinShare is the share in per cent of neighbours with pinned activities, which are searched many times faster than
// those with a kept order.
const pinShare = 85

func newRepair(p *Problem, seed uint64) *repair {
	n := len(p.Durations)
	return &repair{
		p: p, rand: rng{seed}, free: make([]bool, n), order: make([]int32, n), out: make([]int32, n),
		loose: min(float64(n), 20+float64(n)/8), pinned: min(float64(n), 30), empty: map[int32]bool{},
	}
}

// instance returns the problem under a horizon, nil if nothing fits.
func (r *repair) instance(horizon int32) *instance {
	if r.empty[horizon] {
		return nil
	}
	for k, in := range r.cache {
		if in != nil && in.horizon == horizon {
			copy(r.cache[1:], r.cache[:k])
			r.cache[0] = in
			return in
		}
	}
	in := newInstance(r.p, horizon)
	r.ticks += int64(len(r.p.Durations)) * int64(len(r.p.Durations)) * int64(len(r.p.Durations)) >> 5
	if in == nil {
		r.empty[horizon] = true
		return nil
	}
	copy(r.cache[1:], r.cache[:])
	r.cache[0] = in
	return in
}

// shorten looks for a neighbour of a schedule that ends by end, into which something must fit as far as is known. It
// overwrites the schedule with what it finds.
func (r *repair) shorten(starts []int32, end int32, stop func() bool) (int32, bool) {
	in := r.instance(end)
	for i := range r.order {
		r.order[i] = int32(i)
	}
	slices.SortFunc(r.order, func(a, b int32) int {
		return cmp.Or(cmp.Compare(starts[a], starts[b]), cmp.Compare(starts[a]+in.dur[a], starts[b]+in.dur[b]), cmp.Compare(a, b))
	})
	o := engineOptions{seed: r.rand.next(), pairs: true, lubyUnit: 50}
	count := &r.loose
	r.ticks += int64(in.n) * 40
	if in.regular && r.rand.n(100) < pinShare {
		count = &r.pinned
		if !r.pin(in, starts, min(in.n, int(*count))) {
			return 0, false
		}
		r.e.reset(in, nil, o)
		for i, t := range r.fixed {
			if !r.free[i] && !r.e.dead {
				r.e.dead = !r.e.set(int32(2*i), t, decided, 0) || !r.e.set(int32(2*i+1), -t, decided, 0)
			}
		}
	} else {
		r.takeOut(starts, min(in.n, int(*count)))
		r.keepOrder(in, starts)
		r.e.reset(in, r.lags, o)
	}
	r.e.follows(starts)
	best, done := r.dive(starts, stop)
	if done {
		*count = min(float64(in.n), *count*1.02+0.1)
	} else {
		*count = max(8, *count*0.98)
	}
	return best, best >= 0
}

// dive searches with the engine as it was set up. It returns the best makespan, -1 if none was found, and whether the
// search came to its end.
func (r *repair) dive(starts []int32, stop func() bool) (best int32, done bool) {
	best = -1
	began := r.e.ticks
	for {
		switch r.e.search(limits{conflicts: diveConflicts - r.e.conflicts, ticks: 1 << 40, stop: stop}, r.out) {
		case found:
			best = r.p.makespan(r.out)
			copy(starts, r.out)
			r.e.bound(best - 1)
			r.e.follows(r.out)
			continue
		case exhausted:
			done = true
		}
		r.dives += r.e.conflicts
		r.ticks += r.e.ticks - began
		return best, done
	}
}

// pin frees a stretch of the activities in the order of their starts, fixes those before where they are and those after
// as late as they can be, so that the stretch alone has to make up for what the end is nearer.
func (r *repair) pin(in *instance, starts []int32, count int) bool {
	if r.b == nil || r.b.in != in {
		r.b = newBuilder(in)
	}
	from := r.rand.n(in.n+count/2) - count/2
	clear(r.free)
	r.fixed = append(r.fixed[:0], starts...)
	r.after = r.after[:0]
	for k, j := range r.order {
		switch {
		case k >= from+count:
			r.after = append(r.after, j)
		case k >= from:
			r.free[j] = true
		}
	}
	// Later ends first; of equal ones the later start, so that an activity comes after those that have to follow it.
	slices.SortFunc(r.after, func(i, j int32) int {
		return cmp.Or(cmp.Compare(starts[j]+in.dur[j], starts[i]+in.dur[i]), cmp.Compare(starts[j], starts[i]),
			cmp.Compare(in.rank[j], in.rank[i]))
	})
	copy(r.b.free, in.base)
	for _, j := range r.after {
		t := in.horizon - in.dur[j]
		for e := in.succ.off[j]; e < in.succ.off[j+1]; e++ {
			t = min(t, r.fixed[in.succ.to[e]]-in.succ.min[e])
		}
		if t < 0 {
			return false
		}
		if t = r.b.latest(j, t); t < in.lo[j] {
			return false
		}
		r.fixed[j] = t
		r.b.enter(j, t)
	}
	return true
}

// takeOut chooses the activities that get free: those around a moment, or around two, or some at random among them.
func (r *repair) takeOut(starts []int32, count int) {
	n := len(starts)
	clear(r.free)
	switch r.rand.n(4) {
	case 0: // two stretches
		for range 2 {
			from := r.rand.n(n)
			for k := range count / 2 {
				r.free[r.order[(from+k)%n]] = true
			}
		}
	case 1: // a wider stretch, with gaps
		from := r.rand.n(n)
		for k := range count * 3 / 2 {
			if r.rand.n(3) > 0 {
				r.free[r.order[(from+k)%n]] = true
			}
		}
	default:
		from := r.rand.n(n+count/2) - count/2
		for k := max(0, from); k < min(n, from+count); k++ {
			r.free[r.order[k]] = true
		}
	}
}

// keepOrder writes lags that keep the order in which the resources pass from one activity to the next, among those that
// are not free (after Policella et al., "From precedence constraint posting to partial order schedules", AI
// Communications 2007, from memory).
func (r *repair) keepOrder(in *instance, starts []int32) {
	r.lags = r.lags[:0]
	if r.p.Levels != nil {
		r.keepPairs(in, starts)
		return
	}
	known := make(map[[2]int32]bool, in.n)
	for k, c := range in.p.Capacities {
		r.tokens = append(r.tokens[:0], token{-1, c, 0})
		for _, j := range r.order {
			need := in.p.Demands[j][k]
			if r.free[j] || need == 0 || in.dur[j] == 0 {
				continue
			}
			r.pass(in, j, need, starts[j], known)
			r.tokens = append(r.tokens, token{j, need, starts[j] + in.dur[j]})
		}
	}
}

// pass takes an amount for activity j from those that have it, preferring where a lag is kept already, then the latest.
func (r *repair) pass(in *instance, j, need, at int32, known map[[2]int32]bool) {
	for need > 0 {
		best, bestKnown := -1, false
		for q := range r.tokens {
			t := &r.tokens[q]
			if t.at > at || t.amount == 0 {
				continue
			}
			k := t.from < 0 || known[[2]int32{t.from, j}]
			if best < 0 || k && !bestKnown || k == bestKnown && t.at > r.tokens[best].at {
				best, bestKnown = q, k
			}
		}
		t := &r.tokens[best]
		take := min(need, t.amount)
		need -= take
		t.amount -= take
		if !bestKnown {
			known[[2]int32{t.from, j}] = true
			r.lags = append(r.lags, Lag{From: t.from, To: j, Min: in.dur[t.from]})
		}
		if t.amount == 0 {
			*t = r.tokens[len(r.tokens)-1]
			r.tokens = r.tokens[:len(r.tokens)-1]
		}
	}
}

// keepPairs keeps the order of all pairs that share a resource and do not overlap.
func (r *repair) keepPairs(in *instance, starts []int32) {
	for _, i := range r.order {
		for _, j := range r.order {
			if r.free[i] || r.free[j] || in.dur[i] == 0 || in.dur[j] == 0 || starts[i]+in.dur[i] > starts[j] {
				continue
			}
			for k := range in.peak {
				if in.p.Demands[i][k] > 0 && in.p.Demands[j][k] > 0 {
					r.lags = append(r.lags, Lag{From: i, To: j, Min: in.dur[i]})
					break
				}
			}
		}
	}
}
