package project

// relay gives its rounds to one worker for a while and then to several in turn.
type relay struct {
	first worker
	ticks int64 // that the first one has left
	then  []worker
	turn  int
}

func (w *relay) advance(r *round) {
	if w.ticks > 0 || len(w.then) == 0 {
		w.first.advance(r)
		w.ticks -= r.ticks
		return
	}
	for range w.then { // who can do nothing yet lets the next one try
		w.turn++
		w.then[w.turn%len(w.then)].advance(r)
		if r.ticks > 0 || r.nothing {
			return
		}
	}
}

// exactWorker runs the exact engine on the whole problem.
type exactWorker struct {
	p      *Problem
	o      engineOptions
	e      *engine
	end    int32 // the engine looks for schedules shorter than that
	starts []int32
	hint   []int32 // what to lean towards before there is a schedule
	probed bool
}

func newExactWorker(p *Problem, o engineOptions) *exactWorker {
	return &exactWorker{p: p, o: o, starts: make([]int32, len(p.Durations))}
}

func (w *exactWorker) advance(r *round) {
	if w.e == nil || r.end < w.end-w.end/8 { // under a much nearer horizon more follows from the start
		in := newInstance(w.p, r.end-1)
		if in == nil {
			r.nothing = true
			return
		}
		w.e = newEngine(in, nil, w.o)
		w.end = r.end
		if r.best != nil {
			w.e.follows(r.best)
		} else if w.hint != nil {
			w.e.follows(w.hint)
		}
	}
	if r.best != nil && !w.probed {
		w.probed = true
		r.newBound = max(r.newBound, rootBound(w.p, r.bound, r.end, r.limit.stop))
	}
	if r.end < w.end {
		w.end = r.end
		w.e.bound(r.end - 1)
		w.e.follows(r.best)
	}
	began, ticks := w.e.conflicts, w.e.ticks
	w.run(r)
	r.used = w.e.conflicts - began
	r.ticks = w.e.ticks - ticks
}

func (w *exactWorker) run(r *round) {
	began, ticks := w.e.conflicts, w.e.ticks
	for {
		l := r.limit
		l.conflicts -= w.e.conflicts - began
		l.ticks -= w.e.ticks - ticks
		switch w.e.search(l, w.starts) {
		case paused:
			r.newBound = max(r.newBound, w.e.root[2*w.e.n])
			return
		case exhausted:
			r.nothing = true
			r.end = w.end
			return
		case found:
			w.end = w.p.makespan(w.starts)
			r.improve(w.starts, w.end)
			w.e.bound(w.end - 1)
			w.e.follows(w.starts)
		}
	}
}

// rootBound raises a lower bound as far as a contradiction shows without search, below a makespan that is reached.
func rootBound(p *Problem, low, high int32, stop func() bool) int32 {
	for low < high { // low is a bound; nothing is known about high-1
		if stop != nil && stop() {
			break
		}
		mid := low + (high-low-1)/2
		in := newInstance(p, mid)
		if in != nil {
			e := newEngine(in, nil, engineOptions{pairs: true, energy: true})
			if !e.dead && e.propagate() {
				high = mid
				continue
			}
		}
		low = mid + 1
	}
	return low
}

// repairWorker works on parts of the best schedule.
type repairWorker struct {
	r *repair
}

func (w *repairWorker) advance(o *round) {
	if o.best == nil {
		return
	}
	r := w.r
	began, ticks := r.dives, r.ticks
	cur := append([]int32(nil), o.best...)
	end := o.end
	for r.ticks-ticks < o.limit.ticks && r.dives-began < o.limit.conflicts && end > o.bound {
		if o.limit.stop != nil && o.limit.stop() {
			break
		}
		if r.instance(end-1) == nil {
			o.nothing, o.end = true, end
			break
		}
		if now, ok := r.shorten(cur, end-1, o.limit.stop); ok {
			end = now
			o.improve(cur, end)
		}
		r.dives++
	}
	o.used = r.dives - began
	o.ticks = r.ticks - ticks
}

// listWorker evolves a population.
type listWorker struct {
	pop *population
}

func (w *listWorker) advance(r *round) {
	pop := w.pop
	if r.best != nil && r.end < pop.best.end {
		pop.adopt(r.best)
	}
	built, ticks := pop.built, pop.b.ticks
	for k := 0; pop.built-built < r.limit.conflicts && pop.b.ticks-ticks < r.limit.ticks; k++ {
		if k&63 == 63 && r.limit.stop != nil && r.limit.stop() {
			break
		}
		pop.step()
		if pop.best.end >= 0 && pop.best.end <= r.bound {
			break
		}
	}
	r.used = pop.built - built
	r.ticks = pop.b.ticks - ticks
	if pop.best.end >= 0 {
		r.improve(pop.best.starts, pop.best.end)
	}
}

// polishWorker works on parts of the members of a population.
type polishWorker struct {
	pop *population
	r   *repair
}

func (w *polishWorker) advance(o *round) {
	r, pop := w.r, w.pop
	if len(pop.members) == 0 {
		return
	}
	began, ticks := r.dives, r.ticks
	for r.ticks-ticks < o.limit.ticks && r.dives-began < o.limit.conflicts && pop.best.end > o.bound {
		if o.limit.stop != nil && o.limit.stop() {
			break
		}
		r.dives++
		m := pop.pick()
		for range 2 {
			if q := pop.pick(); q.end < m.end {
				m = q
			}
		}
		if r.instance(m.end-1) == nil {
			o.nothing, o.end = true, m.end
			break
		}
		copy(pop.child.starts, m.starts)
		if _, ok := r.shorten(pop.child.starts, m.end-1, o.limit.stop); ok {
			pop.insert(m)
		}
	}
	o.used = r.dives - began
	o.ticks = r.ticks - ticks
	o.improve(pop.best.starts, pop.best.end)
}
