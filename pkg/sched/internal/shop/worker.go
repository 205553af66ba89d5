package shop

// A tabu search ends after a number of moves without improvement, which grows while recombination brings nothing new.
const (
	leastPatience = 1500
	mostPatience  = 24000
)

// worker runs one search. It is advanced in steps of a given number of moves, so that workers can meet at fixed points
// whatever their speed.
type worker struct {
	c        *inst
	t        *tabu     // for the makespan
	a        *annealer // for the tardiness
	r        rng
	cons     *constructor
	relaxed  *relaxation // set if there are too few operators
	pool     *pool
	stop     func() bool
	bound    int64
	used     int64 // moves made
	bestAt   int64
	best     plan
	running  bool
	dull     int  // recombinations since the pool last took a plan
	patience int  // moves without improvement after which a search ends
	brief    bool // the search is left after a move: it only served to have a plan
	warm     *plan
	length   int // proposals in a cycle of annealing
}

func newWorker(p *Problem, c *inst, seed uint64, o *Options, bound int64) *worker {
	w := &worker{c: c, t: newTabu(c, seed*2+1), r: rng{seed}, cons: newConstructor(c), pool: newPool(c, 12), stop: o.Deadline, bound: bound}
	w.best.value = -1
	w.patience = leastPatience
	if c.pool > 0 {
		w.relaxed = newRelaxation(p, c, seed*2+3)
	}
	probes := int(min(2000, 1+o.Iterations/40))
	switch {
	case c.blocking:
		w.a = newAnnealer(newBlockMoves(c, seed*2+1), seed*2+2, 0.25, 0.015, probes)
		w.length = int(min(50000, max(500, o.Iterations/10)))
	case c.tardy:
		w.a = newAnnealer(newTardyMoves(c, seed*2+1), seed*2+2, 0.5, 0.02, probes)
		w.length = int(min(int64(4000*c.n), max(500, o.Iterations/10)))
		w.pool.size = 6
	}
	return w
}

// done reports whether the best plan is proved optimal.
func (w *worker) done() bool { return w.best.value >= 0 && w.best.value <= w.bound }

// advance makes moves until used reaches until. It reports false when the deadline has passed.
func (w *worker) advance(until int64) bool {
	for w.used < until && !w.done() {
		if w.used&63 == 0 && w.stop != nil && w.best.value >= 0 && w.stop() {
			return false
		}
		if w.a != nil {
			w.anneal()
			continue
		}
		if !w.running {
			w.begin()
			w.running = true
			w.note()
			continue
		}
		w.used++
		if !w.t.step() || w.t.stale >= w.patience || w.brief {
			w.finish()
		}
		if w.t.stale == 0 {
			w.note()
		}
	}
	return true
}

// note keeps the current search's best plan if it is the best of all.
func (w *worker) note() {
	if w.best.value < 0 || w.t.best.value < w.best.value {
		copyPlan(&w.best, &w.t.best)
		w.bestAt = w.used
	}
}

// begin chooses where the next search starts: a constructed plan until the pool is full, then a plan between two.
func (w *worker) begin() {
	p := w.pool
	w.brief = w.relaxed != nil && w.best.value < 0 && w.warm == nil
	switch {
	case w.warm != nil:
		w.load(w.warm.mode, w.warm.ord)
		w.warm = nil
	case len(p.plans) < p.size && w.dull < 2*p.size:
		w.construct()
	default:
		i := w.r.n(len(p.plans))
		j := w.r.n(len(p.plans))
		if i == j {
			j = (j + 1) % len(p.plans)
		}
		p.between(w.c, &p.plans[i], &p.plans[j], 0.3+0.4*w.r.unit(), &w.r)
		w.load(p.mode, p.ord)
	}
	w.t.begin()
}

// load puts a plan into the graph of the tabu search.
func (w *worker) load(mode, ord []int32) {
	if w.c.pool > 0 {
		w.t.g.dispatch(mode, ord)
	} else {
		w.t.g.build(mode, ord)
	}
}

// construct builds a plan by a rule, the best of several if it is the first. Where operators are short it mostly starts
// from the relaxed problem, but not for the first plan, which must not take long.
func (w *worker) construct() {
	if w.relaxed != nil && w.best.value >= 0 && (len(w.pool.plans) < 2 || w.r.n(4) != 0) {
		w.relaxed.start(w.t.g, &w.r, 0.5, w.stop)
		return
	}
	var pick plan
	tries := 1
	if w.best.value < 0 {
		tries = w.tries()
	}
	for i := range tries {
		by, jitter := rule(i)%rules, 0.0
		if tries == 1 {
			by = rule(w.r.n(int(rules)))
		}
		if i >= int(rules) || tries == 1 {
			jitter = 0.5
		}
		w.cons.make(&w.r, by, jitter)
		w.t.g.build(w.cons.mode, w.cons.ord)
		if pick.mode == nil || int64(w.t.g.span) < pick.value {
			w.t.g.save(&pick, int64(w.t.g.span))
		}
	}
	w.t.g.build(pick.mode, pick.ord)
}

// finish puts the result of a search into the pool, and starts the pool afresh when nothing new comes of it.
func (w *worker) finish() {
	w.running = false
	if w.pool.add(w.c, &w.t.best) {
		w.dull = 0
		return
	}
	w.dull++
	if w.dull%w.pool.size == 0 {
		w.patience = min(2*w.patience, mostPatience)
	}
	if w.dull > 4*w.pool.size {
		w.pool.plans = w.pool.plans[:0]
		w.dull, w.patience = 0, max(leastPatience, w.patience/4)
	}
}

// anneal makes one proposal.
func (w *worker) anneal() {
	if !w.running {
		w.running = true
		w.cycle()
	}
	w.used++
	if w.a.step() && w.a.best.value < w.best.value {
		copyPlan(&w.best, &w.a.best)
		w.bestAt = w.used
	}
	if w.a.ended() {
		w.running = false
		w.endCycle()
	}
}

// endCycle takes the outcome of a cycle into account: what brings nothing new is followed by longer cycles, and after a
// while by a new pool.
func (w *worker) endCycle() {
	switch {
	case w.c.blocking:
		w.length += w.length / 2
	case w.pool.add(w.c, &w.a.best):
		w.dull = 0
	default:
		if w.dull++; w.dull%3 == 0 {
			w.length += w.length / 2
		}
		if w.dull >= 2*w.pool.size {
			w.pool.plans, w.dull = w.pool.plans[:0], 0
		}
	}
}

// cycle starts a cycle of annealing. With blocking it starts from the best plan; for tardiness from constructed plans
// until the pool is full, then from a plan between two and not as hot.
func (w *worker) cycle() {
	a, p := w.a, w.pool
	switch {
	case w.best.value < 0:
		a.begin(w.firstPlan(), a.hot, w.length)
		copyPlan(&w.best, &a.best)
	case w.c.blocking:
		heat := a.hot
		if w.dull++; w.dull%3 == 0 {
			heat *= 3 // to get away from it for once
		}
		a.begin(&w.best, heat, w.length)
	case len(p.plans) < p.size && w.dull < p.size/2:
		w.cons.make(&w.r, rule(w.r.n(int(rules))), 0.5)
		a.begin(&plan{mode: w.cons.mode, ord: w.cons.ord}, a.hot, w.length)
	default:
		i := w.r.n(len(p.plans))
		j := w.r.n(len(p.plans))
		p.between(w.c, &p.plans[i], &p.plans[j], 0.3+0.4*w.r.unit(), &w.r)
		a.begin(&plan{mode: p.mode, ord: p.ord}, a.hot/2, w.length)
	}
}

// tries returns how many plans are constructed to find the first one: few of a large problem, which has to show a plan
// soon.
func (w *worker) tries() int {
	if w.c.n > 1000 {
		return 2
	}
	return 2 * int(rules)
}

// firstPlan returns the best of some constructed plans.
func (w *worker) firstPlan() *plan {
	if w.warm != nil {
		return w.warm
	}
	var pick plan
	for i := range w.tries() {
		jitter := 0.0
		if i >= int(rules) {
			jitter = 0.5
		}
		w.cons.make(&w.r, rule(i)%rules, jitter)
		if w.c.blocking {
			w.cons.oneByOne()
		}
		p := plan{mode: w.cons.mode, ord: w.cons.ord}
		if v := w.a.l.load(&p); pick.mode == nil || v < pick.value {
			p.value = v
			copyPlan(&pick, &p)
		}
	}
	return &pick
}
