package sched

// refuter proves that an instance has no plan by searching through decisions instead of times: which mode an activity
// takes, which of two activities is first in a vessel, which of those that are too many for a resource gives way. After
// each decision the earliest times that follow from all decisions are computed, calendars included; a branch ends when
// one of them is too late. The earliest times of a complete set of decisions are a schedule, so nothing is lost by not
// searching through times (the argument is that of branching on minimal forbidden sets: Igelmund and Radermacher,
// Networks 1983, from memory; with Helly's theorem on intervals for demands that last only for a phase).
//
// Everything that is left out (people who clean, cleaning that has no room) makes the searched problem easier, so a
// refutation is a proof; the lack of one proves nothing.
type refuter struct {
	p     *problem
	nodes int // left
	stop  func() bool
	gave  bool // up: nodes spent or stopped
	reach []*closure
	steps int     // propagation steps left in this node
	path  []int64 // scratch of circles
}

// refuteLimit is the number of activities up to which the search is tried.
const refuteLimit = 48

// refuteNodes is the number of nodes after which a solve gives up to prove that there is no plan.
const refuteNodes = 2000

// point is a moment in the life of an activity.
type point struct {
	act int32
	at  pointKind
}

type pointKind uint8

const (
	pointStart pointKind = iota // the beginning
	pointEnd
	pointWait0 // phase k begins to wait
	pointWait1
	pointWait2
	pointWork0 // phase k begins to work
	pointWork1
	pointWork2
	pointDone0 // phase k ends
	pointDone1
	pointDone2
)

// follow requires u + w <= v; without an activity u is the moment w itself.
type follow struct {
	u, v point
	w    int64
}

const noAct = int32(-1)

// situation is one state of the search. Children are copies.
type situation struct {
	es, ee []int64
	open   [][]bool // modes left
	mode   []int32  // the only mode left, or -1
	tm     []timing // valid with a mode
	ties   []follow
}

func (n *situation) clone() *situation {
	c := &situation{
		es: append([]int64(nil), n.es...), ee: append([]int64(nil), n.ee...), mode: append([]int32(nil), n.mode...),
		tm: append([]timing(nil), n.tm...), ties: append(make([]follow, 0, len(n.ties)+2), n.ties...), open: make([][]bool, len(n.open)),
	}
	for a := range n.open {
		c.open[a] = append([]bool(nil), n.open[a]...)
	}
	return c
}

// refutes reports whether the search proves within a number of nodes that there is no plan.
func (p *problem) refutes(nodes int, stop func() bool) bool {
	if len(p.acts) > refuteLimit || len(p.acts) == 0 {
		return false
	}
	x := &refuter{p: p, nodes: nodes, stop: stop}
	for v := range p.vessels {
		x.reach = append(x.reach, p.cleanClosure(int32(v)))
	}
	return x.impossible(x.root()) && !x.gave
}

func (x *refuter) root() *situation {
	p := x.p
	n := &situation{
		es: make([]int64, len(p.acts)), ee: make([]int64, len(p.acts)), mode: make([]int32, len(p.acts)),
		tm: make([]timing, len(p.acts)), open: make([][]bool, len(p.acts)),
	}
	linked := p.linkedModes()
	for a := range p.acts {
		c := &p.acts[a]
		n.mode[a], n.es[a], n.ee[a] = -1, c.release, noPath
		n.open[a] = make([]bool, len(c.modes))
		for m := range c.modes {
			n.open[a][m] = (!c.fixed || int32(m) == c.fixMode) && (linked == nil || c.fact || linked[a][m])
		}
		if c.fact {
			f := p.in.Activities[a].Fixed
			n.mode[a], n.es[a] = c.fixMode, f.Start
			n.tm[a] = c.modes[c.fixMode].factTiming(f.Start, f.End)
			n.ee[a] = n.tm[a].end()
		}
	}
	for i := range p.arcs {
		r := &p.arcs[i]
		t := follow{u: point{r.u, pointStart}, v: point{r.v, pointStart}, w: r.w}
		if r.uEnd {
			t.u.at = pointEnd
		}
		if r.vEnd {
			t.v.at = pointEnd
		}
		n.ties = append(n.ties, t)
	}
	return n
}

// impossible reports whether no plan exists below n. It is also true, with gave set, when the search gives up.
func (x *refuter) impossible(n *situation) bool {
	if x.nodes--; x.nodes < 0 || x.nodes&63 == 0 && x.stop != nil && x.stop() {
		x.gave = true
		return true
	}
	x.steps = 2000 * (len(n.ties) + len(n.es))
	if x.circle(n) || !x.settleAll(n) {
		return true
	}
	if x.steps < 0 {
		x.gave = true
		return true
	}
	children := x.conflict(n)
	if children == nil {
		return x.branchModes(n)
	}
	for i := range children {
		c := n.clone()
		c.ties = append(c.ties, children[i]...)
		if !x.impossible(c) || x.gave {
			return x.gave
		}
	}
	return true
}

// branchModes tries the modes of the activity that has fewest left; false when all are decided: a schedule exists.
func (x *refuter) branchModes(n *situation) bool {
	best, count := noAct, 0
	for a := range n.open {
		if n.mode[a] >= 0 {
			continue
		}
		left := 0
		for _, ok := range n.open[a] {
			if ok {
				left++
			}
		}
		if best == noAct || left < count {
			best, count = int32(a), left
		}
	}
	if best == noAct {
		return false
	}
	for m, ok := range n.open[best] {
		if !ok {
			continue
		}
		c := n.clone()
		for k := range c.open[best] {
			c.open[best][k] = k == m
		}
		if !x.impossible(c) || x.gave {
			return x.gave
		}
	}
	return true
}

// settleAll raises earliest times until nothing changes; false if something is too late.
func (x *refuter) settleAll(n *situation) bool {
	for a := range x.p.acts {
		if !x.settle(n, int32(a)) {
			return false
		}
	}
	for changed := true; changed && x.steps >= 0; {
		changed = false
		for i := range n.ties {
			x.steps--
			moved, ok := x.pull(n, &n.ties[i])
			if !ok {
				return false
			}
			changed = changed || moved
		}
		// Holds keep a vessel until another activity begins: a window that is down may have come into the way.
		for a := range x.p.acts {
			if x.p.acts[a].until < 0 {
				continue
			}
			was := n.es[a]
			if !x.settle(n, int32(a)) {
				return false
			}
			changed = changed || n.es[a] > was
		}
		if !x.agree(n) {
			return false
		}
	}
	return true
}

// circle reports whether ties contradict each other whatever the times: a longest path that never settles. Without this
// check earliest times would creep around such a circle until one of them is too late.
func (x *refuter) circle(n *situation) bool {
	if x.path == nil {
		x.path = make([]int64, len(n.es))
	}
	clear(x.path)
	for range len(n.es) + 1 {
		changed := false
		for i := range n.ties {
			t := &n.ties[i]
			if t.u.act == noAct || x.p.acts[t.u.act].fact && x.p.acts[t.v.act].fact {
				continue
			}
			u, _ := x.offset(n, t.u)
			v, known := x.offset(n, t.v)
			if d := x.path[t.u.act] + u + t.w - v; known && d > x.path[t.v.act] {
				x.path[t.v.act], changed = d, true
			}
		}
		if !changed {
			return false
		}
	}
	return true
}

// offset is how long after the start of its activity a point is at least; known if it is never later than that.
func (x *refuter) offset(n *situation, q point) (least int64, known bool) {
	c := &x.p.acts[q.act]
	if q.at == pointStart {
		return 0, true
	}
	if c.fixed {
		if c.fact {
			return n.value(q) - c.fixStart, true
		}
		return 0, false
	}
	if n.mode[q.act] < 0 {
		return c.minDur, c.minDur == c.maxDur
	}
	m := &c.modes[n.mode[q.act]]
	upTo := 3
	switch {
	case q.at == pointEnd:
	case q.at >= pointDone0:
		upTo = int(q.at-pointDone0) + 1
	case q.at >= pointWork0:
		upTo = int(q.at - pointWork0)
	default:
		upTo = int(q.at - pointWait0)
	}
	for k := range upTo {
		least += m.d[k]
	}
	return least, !m.pauses
}

// value is the earliest that a point can be.
func (n *situation) value(q point) int64 {
	switch {
	case q.at == pointStart:
		return n.es[q.act]
	case q.at == pointEnd:
		return n.ee[q.act]
	case q.at >= pointDone0:
		return n.tm[q.act].e[q.at-pointDone0]
	case q.at >= pointWork0:
		return n.tm[q.act].s[q.at-pointWork0]
	}
	return n.tm[q.act].b[q.at-pointWait0]
}

// pull makes a follow hold by moving v to later.
func (x *refuter) pull(n *situation, t *follow) (moved, ok bool) {
	target := t.w
	if t.u.act != noAct {
		target += n.value(t.u)
	}
	v := t.v.act
	if n.value(t.v) >= target {
		return false, true
	}
	c := &x.p.acts[v]
	if c.fixed {
		return false, c.fact && t.u.act != noAct && x.p.acts[t.u.act].fact
	}
	least := Forever
	for m, open := range n.open[v] {
		if !open {
			continue
		}
		mode := &c.modes[m]
		switch {
		case t.v.at == pointStart:
			least = min(least, target)
		case t.v.at == pointEnd:
			least = min(least, mode.endReached(n.es[v], target))
		case t.v.at >= pointDone0:
			return false, true // nothing asks for this
		case t.v.at >= pointWork0:
			least = min(least, mode.later(n.es[v], int(t.v.at-pointWork0), false, target))
		default:
			least = min(least, mode.later(n.es[v], int(t.v.at-pointWait0), true, target))
		}
	}
	if least <= n.es[v] {
		// The point of the mode that ends first is too early though none begins too early: nothing to raise.
		return false, true
	}
	n.es[v] = least
	return true, x.settle(n, v)
}

// settle moves an activity to where its first mode can begin, by calendars and windows in which vessels are down, and
// takes out modes that end too late. It reports whether one is left.
func (x *refuter) settle(n *situation, a int32) bool {
	c := &x.p.acts[a]
	if c.fact {
		return true
	}
	limit, _ := x.p.limit(a)
	bestS, bestE := Forever, Forever
	left, last := 0, int32(-1)
	for m := range c.modes {
		if !n.open[a][m] {
			continue
		}
		var tm timing
		t, ok := x.earliest(n, a, int32(m), &tm)
		if !ok || tm.end() > limit || c.fixed && t != c.fixStart {
			n.open[a][m] = false
			continue
		}
		left, last = left+1, int32(m)
		bestS, bestE = min(bestS, t), min(bestE, tm.end())
		n.tm[a] = tm
	}
	if left == 0 {
		return false
	}
	n.es[a], n.ee[a] = max(n.es[a], bestS), max(n.ee[a], bestE)
	n.mode[a] = -1
	if left == 1 {
		n.mode[a] = last
	}
	return true
}

// earliest is when a can begin in mode m as far as it alone goes.
func (x *refuter) earliest(n *situation, a, m int32, tm *timing) (int64, bool) {
	c := &x.p.acts[a]
	mode := &c.modes[m]
	t := n.es[a]
	if c.fixed {
		if t > c.fixStart {
			return 0, false
		}
		t = c.fixStart
	}
	for _, u := range mode.uses {
		if ve := &x.p.vessels[u.vessel]; ve.first >= 0 {
			r := x.reach[u.vessel]
			t = max(t, x.p.from+r.cost[int(ve.first)*r.n+int(ve.states[a])])
		}
	}
again:
	t, ok := mode.begin(t, x.p.to, tm)
	if !ok {
		return 0, false
	}
	for _, u := range mode.uses {
		free := tm.end()
		if c.until >= 0 && !u.free {
			free = max(free, n.es[c.until])
		}
		for _, d := range x.p.vessels[u.vessel].down {
			if t < d.End && d.Start < free {
				t = d.End
				goto again
			}
		}
	}
	return t, true
}

// agree takes out modes that links leave without a partner; false if an activity has none left.
func (x *refuter) agree(n *situation) bool {
	for i := range x.p.links {
		l := &x.p.links[i]
		if x.p.acts[l.a].fact && x.p.acts[l.b].fact {
			continue
		}
		for _, second := range []bool{false, true} {
			a := l.a
			if second {
				a = l.b
			}
			if x.p.acts[a].fact {
				continue
			}
			changed := false
			for m, open := range n.open[a] {
				if open && !supported(l, n.open, m, second) {
					n.open[a][m], changed = false, true
				}
			}
			if changed && !x.settle(n, a) {
				return false
			}
		}
	}
	return true
}
