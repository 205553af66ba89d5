package sched

// window is the static room of activities and the arc that made it (or -1).
type window struct {
	es, ee, ls []int64
	esBy, lsBy []int32

	timeless bool   // calendars are ignored
	inside   []bool // if not nil, only arcs between these count
	queued   []bool
}

func newWindow(n int) *window {
	return &window{
		es: make([]int64, n), ee: make([]int64, n), ls: make([]int64, n), esBy: make([]int32, n), lsBy: make([]int32, n),
		queued: make([]bool, n),
	}
}

// windows computes the earliest starts and ends (with calendars) and latest starts (without) that lags, releases,
// deadlines and fixed starts leave.
func (p *problem) windows() *window {
	w := newWindow(len(p.acts))
	all := make([]int32, len(p.acts))
	for a := range all {
		all[a] = int32(a)
	}
	p.propagate(w, all)
	return w
}

// propagate fills w for some activities. It gives up refining, still validly, after a number of steps.
func (p *problem) propagate(w *window, acts []int32) {
	var queue []int32
	push := func(a int32) {
		if !w.queued[a] {
			w.queued[a] = true
			queue = append(queue, a)
		}
	}
	budget := 2000
	for _, a := range acts {
		c := &p.acts[a]
		w.esBy[a], w.lsBy[a] = -1, -1
		w.es[a], w.ee[a], w.ls[a] = c.release, noPath, min(c.deadline, p.to)-c.minDur
		if c.fixed {
			w.es[a], w.ls[a] = c.fixStart, c.fixStart
		}
		p.settle(a, w)
		push(a)
		budget += 60 * (1 + len(c.arcs))
	}
	for len(queue) > 0 && budget > 0 {
		u := queue[0]
		queue = queue[1:]
		w.queued[u] = false
		for _, k := range p.acts[u].arcs {
			budget--
			a := &p.arcs[k]
			if w.inside != nil && !(w.inside[a.u] && w.inside[a.v]) {
				continue
			}
			if a.u == u {
				p.raiseEarliest(k, w, push)
			} else {
				p.lowerLatest(k, w, push)
			}
		}
	}
	for _, a := range queue {
		w.queued[a] = false
	}
}

func (p *problem) raiseEarliest(k int32, w *window, push func(int32)) {
	a := &p.arcs[k]
	c := &p.acts[a.v]
	if c.fixed {
		return
	}
	t := w.es[a.u]
	if a.uEnd {
		t = w.ee[a.u]
	}
	t += a.w
	if a.vEnd {
		if c.maxDur >= Forever {
			return
		}
		t -= c.maxDur
	}
	if t > w.es[a.v] && w.es[a.v] <= p.to {
		w.es[a.v], w.esBy[a.v] = t, k
		p.settle(a.v, w)
		push(a.v)
	}
}

func (p *problem) lowerLatest(k int32, w *window, push func(int32)) {
	a := &p.arcs[k]
	if p.acts[a.u].fixed {
		return
	}
	lag, ok := p.startLag(a)
	if !ok {
		return
	}
	if t := w.ls[a.v] - lag; t < w.ls[a.u] && w.ls[a.u] >= -Forever {
		w.ls[a.u], w.lsBy[a.u] = t, k
		push(a.u)
	}
}

// settle moves the earliest start to where some mode can begin by its calendars and sets the earliest end: Forever when
// none can within the horizon.
func (p *problem) settle(a int32, w *window) {
	c := &p.acts[a]
	if c.fixed {
		w.ee[a] = c.fixStart + c.minDur
		return
	}
	if len(c.modes) == 0 {
		w.ee[a] = w.es[a]
		return
	}
	if w.timeless || w.es[a] > p.to {
		w.ee[a] = max(w.ee[a], w.es[a]+c.minDur)
		return
	}
	bestS, bestE := Forever, Forever
	for m := range c.modes {
		var tm timing
		if t, ok := c.modes[m].begin(w.es[a], p.to, &tm); ok {
			bestS = min(bestS, t)
			bestE = min(bestE, tm.end())
		}
	}
	w.es[a] = max(w.es[a], bestS)
	w.ee[a] = max(w.ee[a], bestE)
}

// overrun is by how much an activity begins after its latest start or ends after its limit; 0 if it has room.
func (p *problem) overrun(a int32, w *window) int64 {
	if p.acts[a].fact {
		return 0
	}
	limit, _ := p.limit(a)
	return max(0, w.es[a]-w.ls[a], w.ee[a]-limit)
}

// limit is when an activity must have ended, and what says so.
func (p *problem) limit(a int32) (int64, string) {
	if d := p.acts[a].deadline; d < p.to {
		return d, "its deadline"
	}
	return p.to, "the end of the horizon"
}
