package shop

import "math"

// landscape is what an annealer walks in.
type landscape interface {
	// propose changes the plan and returns its new value; false if nothing changed. It need not finish a change that leads
	// to a value above limit.
	propose(limit int64) (int64, bool)
	// undo takes back the last proposal.
	undo()
	// save copies the plan into p; load puts a plan in place and returns its value.
	save(p *plan, value int64)
	load(p *plan) int64
}

// annealer looks for good plans by simulated annealing, in cycles of cooling.
type annealer struct {
	l         landscape
	r         rng
	hot, cold float64 // temperatures at the ends of a full cycle, in units of scale
	value     int64
	best      plan // of the cycle
	temp      float64
	cooling   float64 // factor per proposal
	scale     float64 // mean worsening of a proposal from a good plan
	left      int     // proposals left in the cycle
	probes    int     // proposals left in which the scale is measured; they precede the first cycle
	worse     float64 // sum of the worsenings met there, and their number
	worsens   int
}

// newAnnealer returns an annealer that needs a plan to begin with. Its first probes proposals measure the scale.
func newAnnealer(l landscape, seed uint64, hot, cold float64, probes int) *annealer {
	return &annealer{l: l, r: rng{seed}, hot: hot, cold: cold, probes: probes}
}

// begin starts a cycle of the given length with plan p, at temperature hot.
func (a *annealer) begin(p *plan, hot float64, length int) {
	a.value = a.l.load(p)
	a.l.save(&a.best, a.value)
	a.left = length
	a.temp = hot
	a.cooling = math.Exp(math.Log(min(1, a.cold/hot)) / float64(length))
}

// ended reports whether the cycle is over.
func (a *annealer) ended() bool { return a.left == 0 }

// probe goes downhill for a while to find how much proposals worsen a plan on average.
func (a *annealer) probe() bool {
	if a.probes--; a.probes == 0 {
		a.scale = max(1, a.worse/float64(max(1, a.worsens)))
	}
	v, ok := a.l.propose(math.MaxInt64)
	if !ok {
		return false
	}
	if v > a.value {
		a.worse += float64(v - a.value)
		a.worsens++
		a.l.undo()
		return false
	}
	return a.take(v)
}

// take accepts the last proposal, of value v; it reports whether the plan is the best so far.
func (a *annealer) take(v int64) bool {
	a.value = v
	if v >= a.best.value {
		return false
	}
	a.l.save(&a.best, v)
	return true
}

// step makes one proposal. It reports whether the best plan got better.
func (a *annealer) step() bool {
	if a.probes > 0 {
		return a.probe()
	}
	a.left--
	a.temp *= a.cooling
	limit := a.value + int64(-a.temp*a.scale*math.Log(1-a.r.unit()))
	v, ok := a.l.propose(limit)
	if !ok {
		return false
	}
	if v > limit {
		a.l.undo()
		return false
	}
	return a.take(v)
}
