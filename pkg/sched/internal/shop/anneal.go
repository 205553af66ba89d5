package shop

import (
	"math"
	"os"
	"strconv"
)

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
	probes  int     // proposals left in which the scale is measured
	worse   float64 // sum of the worsenings met there, and their number
	worsens int
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
	a.probes = 1 + min(2000, a.length/4)
}

// heat starts a cycle of cooling.
func (a *annealer) heat() {
	if a.cycle > 0 {
		a.length += a.length / 2
	}
	a.cycle++
	a.left = a.length
	a.temp = hot * a.scale
	a.cooling = math.Exp(math.Log(cold) / float64(a.length))
}

// probe goes downhill for a while to find how much proposals worsen a plan on average.
func (a *annealer) probe() bool {
	if a.probes--; a.probes == 0 {
		a.scale = max(1, a.worse/float64(max(1, a.worsens)))
		a.heat()
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
	if a.left == 0 {
		a.value = a.l.load(&a.best)
		a.heat()
	}
	a.left--
	a.temp *= a.cooling
	limit := a.value + int64(-a.temp*math.Log(1-a.r.unit()))
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

var hot, cold = 0.5, 0.02

func init() {
	if v, err := strconv.ParseFloat(os.Getenv("HOT"), 64); err == nil {
		hot = v
	}
	if v, err := strconv.ParseFloat(os.Getenv("COLD"), 64); err == nil {
		cold = v
	}
}

func envInt(k string, d int) int {
	if v, err := strconv.Atoi(os.Getenv(k)); err == nil {
		return v
	}
	return d
}
