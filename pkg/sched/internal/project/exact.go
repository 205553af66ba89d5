package project

// outcome of a stretch of exact search.
type outcome uint8

const (
	paused    outcome = iota // budget spent
	found                    // a schedule within the bounds
	exhausted                // there is none
)

// limits bound a stretch of search.
type limits struct {
	conflicts int64
	ticks     int64
	stop      func() bool // nil: never
}

// bound demands schedules that end by m, and goes back to the root.
func (e *engine) bound(m int32) {
	e.backTo(0)
	if !e.dead && !e.set(2*int32(e.n)+1, -m, decided, 0) {
		e.dead = true
	}
}

// follows makes decisions lean towards a schedule.
func (e *engine) follows(starts []int32) {
	e.target = append(append(e.target[:0], starts...), e.in.p.makespan(starts))
	for k := e.n + 1; k < e.vars; k++ {
		p := e.in.pairs[k-e.n-1]
		var first int32
		if starts[p[0]] < starts[p[1]] {
			first = 1
		}
		e.target = append(e.target, first)
	}
}

// pollTicks is how much work lies between two looks at the deadline.
const pollTicks = 1 << 17

// search continues from where it paused, until a limit. What it finds is written into starts.
func (e *engine) search(l limits, starts []int32) outcome {
	stopAt, tickAt := e.conflicts+l.conflicts, e.ticks+l.ticks
	if e.dead {
		return exhausted
	}
	poll := e.ticks
	for {
		if !e.propagate() {
			e.conflicts++
			if e.level() == 0 || !e.learn() {
				e.dead = true
				return exhausted
			}
			continue
		}
		if e.level() == 0 {
			e.commit()
			if e.conflicts >= e.reduceAt {
				e.reduceBy += 300
				e.reduceAt = e.conflicts + e.reduceBy
				e.reduce()
				if e.dead {
					return exhausted
				}
				continue
			}
		}
		if e.conflicts >= stopAt || e.ticks >= tickAt {
			return paused
		}
		if e.ticks-poll >= pollTicks {
			if poll = e.ticks; l.stop != nil && l.stop() {
				return paused
			}
		}
		if e.conflicts >= e.restart {
			e.luby++
			e.restart = e.conflicts + e.lubyUnit*lubyAt(e.luby)
			e.backTo(0)
			continue
		}
		d, open := e.choose()
		if !open {
			for i := range starts {
				starts[i] = e.b[2*i]
			}
			e.backTo(0)
			return found
		}
		e.decide(d)
	}
}

// learn adds the clause that follows from a contradiction and goes back to where it asserts something.
func (e *engine) learn() bool {
	level := e.cf.analyse(e)
	if level < 0 {
		return false
	}
	e.backTo(level)
	e.heap.grain /= decay
	e.db.grain /= 0.999
	l := e.cf.out[0]
	if len(e.cf.out) == 1 {
		return e.set(l.x, l.v, decided, 0)
	}
	c := e.db.add(e.cf.out, e.cf.aux)
	return e.set(l.x, l.v, byClause, c)
}

// lubyAt is the sequence 1 1 2 1 1 2 4 ... of Luby, Sinclair and Zuckerman (1993), from index 0.
func lubyAt(i int64) int64 {
	for {
		k := uint(1)
		for int64(1)<<k-1 < i+1 {
			k++
		}
		if int64(1)<<k-1 == i+1 {
			return 1 << (k - 1)
		}
		i -= int64(1)<<(k-1) - 1
	}
}

// strayEvery is how often, counted in restarts, decisions do not follow the target, lest the search stays near it.
const strayEvery = 4

// choose returns the next decision, or false if all starts are fixed.
func (e *engine) choose() (lit, bool) {
	if !e.listOnly {
		for len(e.heap.heap) > 0 {
			e.heap.mark = int32(len(e.heap.taken))
			id := e.heap.take()
			k, v := e.heap.of[id], e.heap.at[id]
			lo, hi := e.b[2*k], -e.b[2*k+1]
			if v < lo || v >= hi {
				continue
			}
			if e.target != nil && e.luby%strayEvery != strayEvery-1 && e.target[k] > v {
				return lit{2 * k, v + 1}, true
			}
			return lit{2*k + 1, -v}, true
		}
	}
	e.heap.mark = int32(len(e.heap.taken))
	best := int32(-1)
	for i := range int32(e.n) {
		if e.b[2*i] == -e.b[2*i+1] {
			continue
		}
		if best < 0 || e.b[2*i] < e.b[2*best] || e.b[2*i] == e.b[2*best] && e.b[2*i+1] > e.b[2*best+1] {
			best = i
		}
	}
	if best < 0 {
		return lit{}, false
	}
	return lit{2*best + 1, -e.b[2*best]}, true
}
