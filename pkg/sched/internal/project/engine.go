package project

// The exact engine decides whether there is a schedule within bounds. Its variables are the starts of the activities,
// the end of the project, and an order variable per pair of activities that exclude each other (1: the first of the pair
// goes first). Variable k has two bound variables: b[2k] is its lower bound and b[2k+1] its negated upper bound, so that
// every step of propagation raises some b[x] and a literal is always "b[x] >= v". Its negation is "b[x^1] >= 1-v".

// lit is the statement b[x] >= v.
type lit struct{ x, v int32 }

func (l lit) not() lit { return lit{l.x ^ 1, 1 - l.v} }

// why tells how a bound was raised.
type why int32

const (
	decided   why = iota
	byClause      // aux: the clause, whose first literal it is
	byEdge        // aux: the edge
	byRefusal     // aux: the edge whose condition would overrun the bound of its target
	byProfile     // aux: the time at which the activity does not fit
	byEnergy      // aux: where the reason is stored
)

// step is one raised bound on the trail.
type step struct {
	x, v, old int32
	prev      int32 // the step before of the same x, -1 if none since the root
	level     int32
	why       why
	aux       int32
}

// edge says b[to] >= b[from] + w, provided that cond holds.
type edge struct {
	from, to, w int32
	cond        lit // x < 0: no condition
}

// engine is one search. All of its memory is kept from one call to the next.
type engine struct {
	in    *instance
	n     int // activities; variable n is the end of the project, those above are pairs
	vars  int
	b     []int32
	root  []int32 // bounds that hold for good
	last  []int32 // latest step of each bound variable
	trail []step
	lims  []int32 // where each level starts on the trail
	head  int     // first step that is not propagated yet

	edges   []edge
	edgeOff []int32 // edges from x are edges[edgeOff[x]:edgeOff[x+1]]
	condOff []int32 // edges with a condition on x are condEdge[condOff[x]:condOff[x+1]]
	condEdg []int32

	tt     timetable
	db     clauses
	cf     conflict
	heap   atoms
	energy energetic

	target    []int32 // schedule that decisions follow, by variable; nil if there is none
	listOnly  bool    // decide the earliest start first instead of the most active atom
	rand      rng
	conflicts int64
	ticks     int64 // work done
	restart   int64 // conflicts until the next restart
	luby      int64
	lubyUnit  int64
	reduceAt  int64 // number of conflicts at which the learned clauses are thinned out
	reduceBy  int64
	dead      bool // contradiction at the root
}

// engineOptions are the choices that make engines differ.
type engineOptions struct {
	seed     uint64
	pairs    bool // keep order variables
	energy   bool // reason over energy in intervals
	listOnly bool
	lubyUnit int64
}

// newEngine builds an engine for an instance. The extra lags hold in addition.
func newEngine(in *instance, extra []Lag, o engineOptions) *engine {
	e := &engine{}
	e.reset(in, extra, o)
	return e
}

// reset forgets everything and starts on an instance.
func (e *engine) reset(in *instance, extra []Lag, o engineOptions) {
	e.in, e.n = in, in.n
	pairs := in.pairs
	if !o.pairs {
		pairs = nil
	}
	e.vars = in.n + 1 + len(pairs)
	e.b = resize(e.b, 2*e.vars)
	e.last = resize(e.last, 2*e.vars)
	for i := range in.n + 1 {
		e.b[2*i], e.b[2*i+1] = in.lo[i], -in.hi[i]
	}
	for i := in.n + 1; i < e.vars; i++ {
		e.b[2*i], e.b[2*i+1] = 0, -1
	}
	for i := range e.last {
		e.last[i] = -1
	}
	e.root = append(e.root[:0], e.b...)
	e.trail, e.lims, e.head = e.trail[:0], e.lims[:0], 0
	e.buildEdges(extra, pairs)
	e.tt.reset(e)
	e.db.reset(2 * e.vars)
	e.cf.reset(2 * e.vars)
	e.heap.reset(e.vars)
	e.energy.reset(e, o.energy)
	e.target, e.listOnly = nil, o.listOnly
	e.rand = rng{o.seed}
	e.conflicts, e.luby = 0, 0
	e.lubyUnit = o.lubyUnit
	if e.lubyUnit == 0 {
		e.lubyUnit = 100
	}
	e.restart = e.lubyUnit
	e.reduceAt, e.reduceBy = 3000, 3000
	e.dead = false
	for x := range int32(2 * e.vars) { // the root bounds propagate like any others
		for k := e.edgeOff[x]; k < e.edgeOff[x+1] && !e.dead; k++ {
			e.dead = !e.follow(k)
		}
	}
}

func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n, n+n/4)
	}
	s = s[:n]
	clear(s)
	return s
}

func (e *engine) buildEdges(extra []Lag, pairs [][2]int32) {
	none := lit{x: -1}
	n32 := int32(e.n)
	e.edges = e.edges[:0]
	lag := func(i, j, w int32, cond lit) {
		e.edges = append(e.edges, edge{2 * i, 2 * j, w, cond}, edge{2*j + 1, 2*i + 1, w, cond})
	}
	for _, l := range e.in.lags {
		lag(l.From, l.To, l.Min, none)
	}
	for _, l := range extra {
		lag(l.From, l.To, l.Min, none)
	}
	for i := range n32 {
		lag(i, n32, e.in.dur[i], none)
	}
	for k, p := range pairs {
		v := 2 * (n32 + 1 + int32(k))
		lag(p[0], p[1], e.in.dur[p[0]], lit{v, 1})
		lag(p[1], p[0], e.in.dur[p[1]], lit{v + 1, 0})
	}
	e.sortEdges()
}

// sortEdges groups the edges by their origin, those without a condition first.
func (e *engine) sortEdges() {
	m := 2 * e.vars
	e.edgeOff = resize(e.edgeOff, m+1)
	for i := range e.edges {
		e.edgeOff[e.edges[i].from+1]++
	}
	for x := range m {
		e.edgeOff[x+1] += e.edgeOff[x]
	}
	at := append([]int32(nil), e.edgeOff[:m]...)
	sorted := make([]edge, len(e.edges))
	for _, conditional := range []bool{false, true} {
		for _, d := range e.edges {
			if (d.cond.x >= 0) == conditional {
				sorted[at[d.from]] = d
				at[d.from]++
			}
		}
	}
	e.edges = sorted
	e.condOff = resize(e.condOff, m+1)
	for i := range e.edges {
		if c := e.edges[i].cond.x; c >= 0 {
			e.condOff[c+1]++
		}
	}
	for x := range m {
		e.condOff[x+1] += e.condOff[x]
	}
	e.condEdg = resize(e.condEdg, int(e.condOff[m]))
	at = append(at[:0], e.condOff[:m]...)
	for i := range e.edges {
		if c := e.edges[i].cond.x; c >= 0 {
			e.condEdg[at[c]] = int32(i)
			at[c]++
		}
	}
}

func (e *engine) level() int32 { return int32(len(e.lims)) }

func (e *engine) holds(l lit) bool { return e.b[l.x] >= l.v }
func (e *engine) fails(l lit) bool { return e.b[l.x^1] > -l.v }

// set raises a bound. It returns false, with the conflict noted, if the bound meets the opposite one.
func (e *engine) set(x, v int32, w why, aux int32) bool {
	if v <= e.b[x] {
		return true
	}
	if v > -e.b[x^1] {
		e.cf.at = lit{x, v}
		e.cf.why, e.cf.aux = w, aux
		return false
	}
	e.trail = append(e.trail, step{x: x, v: v, old: e.b[x], prev: e.last[x], level: int32(len(e.lims)), why: w, aux: aux})
	e.last[x] = int32(len(e.trail) - 1)
	e.b[x] = v
	return true
}

// undo takes back the last step.
func (e *engine) undo() {
	k := len(e.trail) - 1
	s := &e.trail[k]
	e.b[s.x], e.last[s.x] = s.old, s.prev
	if s.x < 2*int32(e.n) {
		e.tt.shrunk(s.x >> 1)
	}
	e.trail = e.trail[:k]
}

// backTo returns to the end of a level.
func (e *engine) backTo(level int32) {
	if level >= e.level() {
		return
	}
	for len(e.trail) > int(e.lims[level]) {
		e.undo()
	}
	e.lims = e.lims[:level]
	e.head = len(e.trail)
	e.tt.settle(e)
	e.energy.forget(level)
	e.heap.backTo(level)
}

// decide opens a level with a literal that is neither true nor false.
func (e *engine) decide(l lit) {
	e.lims = append(e.lims, int32(len(e.trail)))
	e.heap.push()
	e.energy.push()
	e.set(l.x, l.v, decided, 0)
}

// follow propagates one edge.
func (e *engine) follow(k int32) bool {
	d := &e.edges[k]
	v := e.b[d.from] + d.w
	if v <= e.b[d.to] {
		return true
	}
	if d.cond.x < 0 || e.holds(d.cond) {
		return e.set(d.to, v, byEdge, k)
	}
	if v > -e.b[d.to^1] {
		return e.set(d.cond.x^1, 1-d.cond.v, byRefusal, k)
	}
	return true
}

// propagate draws all conclusions. It returns false on a contradiction, which e.cf then describes.
func (e *engine) propagate() bool {
	for {
		for e.head < len(e.trail) {
			s := e.trail[e.head]
			e.head++
			if !e.watched(s.x, s.old, s.v) {
				return false
			}
			lo, hi := e.edgeOff[s.x], e.edgeOff[s.x+1]
			e.ticks += 8 + int64(hi-lo)>>1
			for k := lo; k < hi; k++ {
				if !e.follow(k) {
					return false
				}
			}
			if s.x >= 2*int32(e.n+1) {
				for _, k := range e.condEdg[e.condOff[s.x]:e.condOff[s.x+1]] {
					if !e.follow(k) {
						return false
					}
				}
			} else if s.x < 2*int32(e.n) {
				e.tt.moved(s.x >> 1)
			}
		}
		ok, more := e.tt.propagate(e)
		if !ok {
			return false
		}
		if more {
			continue
		}
		if e.head < len(e.trail) {
			continue
		}
		if !e.energy.on || !e.energy.due(e) {
			return true
		}
		if !e.energy.propagate(e) {
			return false
		}
		if e.head == len(e.trail) {
			return true
		}
	}
}

// commit makes the steps of the root level permanent.
func (e *engine) commit() {
	for i := range e.trail {
		e.last[e.trail[i].x] = -1
	}
	copy(e.root, e.b)
	e.trail = e.trail[:0]
	e.head = 0
}
