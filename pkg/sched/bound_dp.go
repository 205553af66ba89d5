package sched

const dear = int64(1) << 60 // more than any cost

// cheapest finds the least cost of the tree under the present rents: lateness times rentScale plus rent. With use set,
// what the run found takes is counted in the limits.
func (r *rents) cheapest(t *tree, use bool) int64 {
	r.room(t)
	for i := range t.nodes {
		n := &t.nodes[i]
		fillStays(n.s, n.before, n.first, 1)
		fillStays(n.e, n.after, n.efirst, -1)
	}
	for i := len(t.nodes) - 1; i > 0; i-- {
		n := &t.nodes[i]
		r.costs(n)
		q := &t.nodes[n.parent]
		from, at := n.first, q.first
		into := q.s
		if n.atEnd {
			from = n.efirst
		}
		if n.parentEnd {
			at, into = q.efirst, q.e
		}
		r.reach(n.back, from, n.lo, n.hi, into, at, n.arg)
	}
	root := &t.nodes[0]
	r.costs(root)
	best, at := dear, -1
	for i, v := range root.back {
		if v < best {
			best, at = v, i
		}
	}
	least := t.least * rentScale
	if at < 0 || !t.full && t.late*rentScale < best {
		if at < 0 && t.full {
			return least
		}
		t.value, t.cut = max(least, t.late*rentScale), true
		return t.value
	}
	t.value, t.cut = max(least, best), false
	if use && best >= least {
		r.trace(t, int32(at))
	}
	return t.value
}

// fillStays sets the rents that an edge of an activity pays by itself.
func fillStays(out []int64, stays []stay, first int32, sign int64) {
	clear(out)
	for k := range stays {
		x := &stays[k]
		if !x.l.live {
			continue
		}
		last := int32(len(x.l.paid)) - 1
		until := x.until
		if until >= 0 {
			for i := range out {
				if c := first + int32(i); c < until {
					out[i] += x.amount * (x.l.paid[until] - x.l.paid[c])
				}
			}
			continue
		}
		for i := range out {
			out[i] += sign * x.amount * x.l.paid[min(first+int32(i), last)]
		}
	}
}

// costs fills n.back: the least cost of the activity and all below it, per cell of the edge that the parent sees.
func (r *rents) costs(n *node) {
	for i := range n.back {
		n.back[i] = dear
	}
	for k := range n.classes {
		x := &n.classes[k]
		for _, run := range x.runs {
			buf := r.buf[:run.to-run.from]
			r.runCosts(n, x, run, buf)
			switch {
			case n.parent < 0 || !n.atEnd:
				addEnds(n, x, run, buf)
				back := n.back[run.from-n.first:]
				for i, v := range buf {
					if v < back[i] {
						back[i] = v
					}
				}
			default:
				spreadEnds(n, x, run, buf)
			}
		}
	}
}

// runCosts computes the cost of beginning in each cell of a run, without what hangs on the end of the activity.
func (r *rents) runCosts(n *node, x *class, run cellRun, buf []int64) {
	copy(buf, n.s[run.from-n.first:])
	if n.weight > 0 {
		w, end := n.weight*rentScale, r.g.begin(run.from)+x.d-n.due
		for i := range buf {
			late := end
			if x.pauses {
				late = x.ends[int(run.from-n.first)+i].real - n.due
			} else if i == 0 {
				late = max(end, n.es+x.d-n.due)
			}
			if late > 0 {
				buf[i] += w * late
			}
			end += r.g.g
		}
	}
	for k := range x.items {
		d := &x.items[k]
		if !d.l.live {
			continue
		}
		paid, q := d.paid(), d.amount
		lo := run.from + d.lo
		if d.toEnd {
			for i := range buf {
				if to := x.ends[int(run.from-n.first)+i].lo; to > lo+int32(i) {
					buf[i] += q * (paid[to] - paid[max(0, lo+int32(i))])
				}
			}
			continue
		}
		up := paid[run.from+d.hi:]
		i := 0
		for ; i < len(buf) && lo+int32(i) < 0; i++ {
			buf[i] += q * up[i]
		}
		if i == len(buf) {
			continue
		}
		down := paid[lo+int32(i):]
		rest := buf[i:]
		up = up[i:][:len(rest)]
		down = down[:len(rest)]
		for j := range rest {
			rest[j] += q * (up[j] - down[j])
		}
	}
}

// addEnds adds the least that hangs on the end, for each start of a run.
func addEnds(n *node, x *class, run cellRun, buf []int64) {
	if x.pauses {
		for i := range buf {
			e := &x.ends[int(run.from-n.first)+i]
			v, _ := leastOf(n.e, e.lo-n.efirst, e.hi-n.efirst)
			buf[i] = addDear(buf[i], v)
		}
		return
	}
	lo, hi := n.e[run.from+x.df-n.efirst:], n.e[run.from+x.dc-n.efirst:]
	for i := range buf {
		buf[i] = addDear(buf[i], min(lo[i], hi[i]))
	}
}

// spreadEnds does it for each end, and remembers the start.
func spreadEnds(n *node, x *class, run cellRun, buf []int64) {
	for i, v := range buf {
		c := run.from + int32(i)
		lo, hi := c+x.df, c+x.dc
		if x.pauses {
			e := &x.ends[c-n.first]
			lo, hi = e.lo, e.hi
		}
		for k := lo - n.efirst; k <= hi-n.efirst; k++ {
			if y := addDear(v, n.e[k]); y < n.back[k] {
				n.back[k], n.argEnd[k] = y, c
			}
		}
	}
}

func addDear(a, b int64) int64 {
	if a >= dear/2 || b >= dear/2 {
		return dear
	}
	return a + b
}

func leastOf(v []int64, lo, hi int32) (int64, int32) {
	best, at := v[lo], lo
	for k := lo + 1; k <= hi; k++ {
		if v[k] < best {
			best, at = v[k], k
		}
	}
	return best, at
}

// reach adds to every cell j of the parent the least of the child's costs over the cells j+lo..j+hi, and keeps where it
// is. The window moves on with j, so that a queue of candidates, the best first, does it in linear time.
func (r *rents) reach(cost []int64, from, lo, hi int32, into []int64, at int32, arg []int32) {
	n := int32(len(cost))
	queue := r.queue[:0]
	head := 0
	next := int32(0) // the next cell of the child to be queued
	for j := range into {
		c := at + int32(j) - from
		right := min(int64(c)+int64(hi), int64(n)-1)
		for int64(next) <= right {
			v := cost[next]
			for len(queue) > head && cost[queue[len(queue)-1]] > v {
				queue = queue[:len(queue)-1]
			}
			if v < dear {
				queue = append(queue, next)
			}
			next++
		}
		left := int64(c) + int64(lo)
		for head < len(queue) && int64(queue[head]) < left {
			head++
		}
		if head == len(queue) {
			into[j], arg[j] = dear, -1
			continue
		}
		into[j], arg[j] = addDear(into[j], cost[queue[head]]), from+queue[head]
	}
	r.queue = queue[:0]
}

// trace follows the cheapest run down and counts what it takes.
func (r *rents) trace(t *tree, at int32) {
	for i := range t.nodes {
		n := &t.nodes[i]
		cell := n.first + at
		edge := int32(0)
		if i > 0 {
			q := &t.nodes[n.parent]
			if n.parentEnd {
				edge = n.arg[q.ecell-q.efirst]
			} else {
				edge = n.arg[q.cell-q.first]
			}
			cell = edge
			if n.atEnd {
				cell = n.argEnd[edge-n.efirst]
			}
		}
		n.cell = cell
		best := dear
		var by *class
		for k := range n.classes {
			x := &n.classes[k]
			if !x.begins(cell) {
				continue
			}
			var one [1]int64
			r.runCosts(n, x, cellRun{cell, cell + 1}, one[:])
			lo, hi := cell+x.df, cell+x.dc
			if x.pauses {
				e := &x.ends[cell-n.first]
				lo, hi = e.lo, e.hi
			}
			var v int64
			e := edge
			if i > 0 && n.atEnd {
				if edge < lo || edge > hi {
					continue
				}
				v = n.e[edge-n.efirst]
			} else {
				v, e = leastOf(n.e, lo-n.efirst, hi-n.efirst)
				e += n.efirst
			}
			if v = addDear(v, one[0]); v < best {
				best, by, n.ecell = v, x, e
			}
		}
		if by != nil {
			n.take(by)
		}
	}
}

func (x *class) begins(c int32) bool {
	for _, run := range x.runs {
		if run.from <= c && c < run.to {
			return true
		}
	}
	return false
}

// take counts what the run found takes of the limits.
func (n *node) take(x *class) {
	for k := range x.items {
		d := &x.items[k]
		lo, hi := max(0, n.cell+d.lo), n.cell+d.hi
		if d.toEnd {
			hi = x.ends[n.cell-n.first].lo
		}
		if d.mask == nil {
			if hi > lo {
				d.l.use[lo] += d.amount
				d.l.use[hi] -= d.amount
			}
			continue
		}
		for c := lo; c < hi; c++ {
			if d.mask.open[c] {
				d.l.use[c] += d.amount
				d.l.use[c+1] -= d.amount
			}
		}
	}
	for k := range n.before {
		s := &n.before[k]
		s.l.use[n.cell] -= s.amount
	}
	for k := range n.after {
		s := &n.after[k]
		switch {
		case s.until < 0:
			s.l.use[n.ecell] += s.amount
		case n.ecell < s.until:
			s.l.use[n.ecell] += s.amount
			s.l.use[s.until] -= s.amount
		}
	}
}
