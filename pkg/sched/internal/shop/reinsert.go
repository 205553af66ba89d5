package shop

// Reinsertion takes one or more jobs out of a blocking plan and puts each back where, as far as the starts and tails of
// the others tell, the longest path through it is shortest. Every place of an operation in the sequence of its resource
// is a gap; a job walks through one gap per operation and can wait in each.

// gapWalk is the scratch of reinsertion.
type gapWalk struct {
	absent []bool  // per job
	q      []int32 // longest path from the start of each operation to the end of the plan
	from   []int32 // per operation of the job: first of its gaps in the arrays below; one entry more than operations
	after  []int32 // operation before the gap
	free   []int32 // when the resource is free
	tail   []int32 // tail of the operation behind the gap, 0 if there is none
	t      []int32 // earliest start in the gap
	back   []int32 // gap of the operation before
	oldV   []node
	oldH   []int32
	oldT   []int32
	jobs   []int32
}

// backward computes the tails by sweeps against the order.
func (b *blockMoves) backward() {
	g, none := b.g, b.g.none()
	q, order := b.walk.q, b.find.order
	for v := range g.n {
		q[v] = g.v[v].d
	}
	for changed, sweep := true, 0; changed && sweep < g.n+2; sweep++ {
		changed = false
		for i := len(order) - 1; i >= 0; i-- {
			v := order[i]
			nd := &g.v[v]
			x := q[v]
			if nd.js != none {
				x = max(x, nd.d+q[nd.js])
			}
			for k := range g.slots {
				if nd.jp != none {
					if y := g.v[nd.jp].ms[k]; y != none && y != v {
						x = max(x, q[y])
					}
				}
				if nd.js == none {
					if y := nd.ms[k]; y != none {
						x = max(x, nd.d+q[y])
					}
				}
			}
			if x != q[v] {
				q[v] = x
				changed = true
			}
		}
	}
}

// reinsert moves some jobs. It reports false if the plan that results is not feasible or not within limit; the plan is
// then as before.
func (b *blockMoves) reinsert(limit int32) bool {
	g, w := b.g, &b.walk
	copy(w.oldV, g.v)
	copy(w.oldH, g.head)
	copy(w.oldT, g.tail)
	b.whole = true
	w.jobs = w.jobs[:0]
	n := 1
	for n < g.jobs-1 && n < 4 && b.r.n(3) == 0 {
		n++
	}
	if v, ok := b.pick(); ok {
		w.jobs = append(w.jobs, g.job[v])
		w.absent[g.job[v]] = true
	}
	for len(w.jobs) < n {
		j := int32(b.r.n(g.jobs))
		if !w.absent[j] {
			w.jobs = append(w.jobs, j)
			w.absent[j] = true
		}
	}
	for _, j := range w.jobs {
		for v := g.first[j]; v < g.first[j+1]; v++ {
			g.unlink(v)
		}
	}
	good := true
	for i := range w.jobs {
		k := i + b.r.n(len(w.jobs)-i)
		w.jobs[i], w.jobs[k] = w.jobs[k], w.jobs[i]
		good = good && b.schedule(limit)
		if good {
			b.backward()
			good = b.thread(w.jobs[i], limit)
		}
		w.absent[w.jobs[i]] = false
	}
	if !good || !b.schedule(limit) {
		b.undo()
		return false
	}
	return true
}

// thread finds gaps for the operations of job j and links them. It reports false if no walk stays within limit.
func (b *blockMoves) thread(j, limit int32) bool {
	g, none, w := b.g, b.g.none(), &b.walk
	w.from, w.after, w.free, w.tail = w.from[:0], w.after[:0], w.free[:0], w.tail[:0]
	lo := int32(0)
	for v := g.first[j]; v < g.first[j+1]; v++ {
		w.from = append(w.from, int32(len(w.after)))
		x, free := none, int32(0)
		y := none
		if r := g.modeRes[g.mode[v]][0]; r >= 0 {
			y = g.head[r]
		}
		for {
			tail := int32(0)
			if y != none {
				tail = w.q[y]
			}
			w.after, w.free, w.tail = append(w.after, x), append(w.free, free), append(w.tail, tail)
			if y == none {
				break
			}
			x = y
			if s := g.v[x].js; s != none {
				free = b.s[s]
			} else {
				free = b.s[x] + g.v[x].d
			}
			y = g.v[x].ms[0]
		}
	}
	w.from = append(w.from, int32(len(w.after)))
	if n := len(w.after); len(w.t) < n {
		w.t, w.back = make([]int32, 2*n), make([]int32, 2*n)
	}
	hi := limit
	if b.arrive(j, hi, false) < 0 {
		return false
	}
	for v := range g.n {
		if !w.absent[g.job[v]] {
			lo = max(lo, b.s[v]+g.v[v].d)
		}
	}
	lo = min(lo, hi)
	for hi > lo+hi/256 {
		mid := lo + (hi-lo)/2
		if b.arrive(j, mid, false) >= 0 {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	at := b.arrive(j, hi, true)
	for v := g.first[j+1] - 1; v >= g.first[j]; v-- {
		after := [maxSlots]int32{w.after[at], none, none, none}
		g.attach(v, g.mode[v], &after)
		g.relink(v)
		at = w.back[at]
	}
	return true
}

// arrive computes the earliest start in every gap such that no path gets longer than bound, and returns the gap of the
// last operation in which it ends first, -1 if there is none. Starts grow and tails shrink along the gaps of an operation,
// so one pass over both sequences is enough. If blur is set, an operation goes at random into a later gap than necessary
// where that costs no time.
func (b *blockMoves) arrive(j, bound int32, blur bool) int32 {
	g, w := b.g, &b.walk
	first, last := g.first[j], g.first[j+1]-1
	for k := w.from[0]; k < w.from[1]; k++ {
		w.t[k], w.back[k] = max(w.free[k], g.v[first].rel), -1
	}
	for v := first + 1; v <= last; v++ {
		i := v - first
		d := g.v[v-1].d
		p, end := w.from[i-1], w.from[i]
		fits := func(p, free int32) bool { return w.t[p] < never && max(w.t[p]+d, free)+w.tail[p] <= bound }
		for k := w.from[i]; k < w.from[i+1]; k++ {
			for p < end && !fits(p, w.free[k]) {
				p++
			}
			if p == end {
				w.t[k] = never
				continue
			}
			w.t[k] = max(w.t[p]+d, w.free[k])
			q := p
			for blur && q+1 < end && w.t[q+1]+d <= w.t[k] && fits(q+1, w.free[k]) && b.r.next()&1 == 0 {
				q++
			}
			w.back[k] = q
		}
	}
	d := g.v[last].d
	for k := w.from[last-first]; k < w.from[last-first+1]; k++ {
		if w.t[k] < never && w.t[k]+d+w.tail[k] <= bound {
			return k
		}
	}
	return -1
}
