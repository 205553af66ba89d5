package shop

import "math"

// landscape is what an annealer walks in.
type landscape interface {
	// propose changes the plan and returns its new value; false if nothing changed.
	propose() (int64, bool)
	// undo takes back the last proposal.
	undo()
	// save copies the plan into p; load puts a plan in place and returns its value.
	save(p *plan, value int64)
	load(p *plan) int64
}

// annealer looks for good plans by simulated annealing. Cycles of cooling get longer and longer and start from the best
// plan, so that any budget is used well.
type annealer struct {
	l       landscape
	r       rng
	value   int64
	best    plan
	temp    float64
	cooling float64 // factor per proposal
	scale   float64 // mean worsening of a proposal from a good plan
	length  int
	cycle   int
	left    int // proposals left in the cycle
}

// firstCycle is the number of proposals in the first cycle of cooling where the budget leaves room for that.
const firstCycle = 50000

func newAnnealer(l landscape, seed uint64, budget int64) *annealer {
	return &annealer{l: l, r: rng{seed}, length: int(min(firstCycle, max(500, budget/10)))}
}

// begin takes p as the first plan.
func (a *annealer) begin(p *plan) {
	a.value = a.l.load(p)
	a.l.save(&a.best, a.value)
	a.cycle = 0
	a.heat()
}

// heat starts a cycle of cooling.
func (a *annealer) heat() {
	if a.cycle > 0 {
		a.length += a.length / 2
	}
	if a.scale == 0 {
		a.measure()
	}
	a.cycle++
	a.left = a.length
	a.temp = 0.5 * a.scale
	a.cooling = math.Exp(math.Log(0.02) / float64(a.length))
}

// measure goes downhill for a while and finds how much proposals worsen a plan on average.
func (a *annealer) measure() {
	var sum float64
	n := 0
	for range 2000 {
		v, ok := a.l.propose()
		switch {
		case !ok:
		case v > a.value:
			sum += float64(v - a.value)
			n++
			a.l.undo()
		default:
			a.take(v)
		}
	}
	a.scale = max(1, sum/float64(max(1, n)))
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
	if a.left == 0 {
		a.value = a.l.load(&a.best)
		a.heat()
	}
	a.left--
	a.temp *= a.cooling
	v, ok := a.l.propose()
	if !ok {
		return false
	}
	if d := float64(v - a.value); d > 0 && (d > 12*a.temp || a.r.unit() >= math.Exp(-d/a.temp)) {
		a.l.undo()
		return false
	}
	return a.take(v)
}
