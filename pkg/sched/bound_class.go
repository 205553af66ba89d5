package sched

import "slices"

// size lays out the windows of a tree's activities, their classes and the room for the dynamic program.
func (r *rents) size(t *tree) {
	p := r.p
	t.full, t.late = true, int64(1)<<60
	for i := range t.nodes {
		n := &t.nodes[i]
		c := &p.acts[n.act]
		n.es, n.weight, n.due = p.es[n.act], c.weight, c.due
		n.first = r.g.clamp(r.g.at(n.es))
		n.n = max(1, min(r.g.at(min(p.ls[n.act], p.to)), r.g.cells)-n.first+1)
		if n.n > t.width {
			n.n, t.full = t.width, false
		}
		r.classes(n)
	}
	if !t.full {
		r.lateness(t)
	}
	for i := range t.nodes {
		n := &t.nodes[i]
		n.efirst, n.en = wide, 0
		last := -wide
		for k := range n.classes {
			x := &n.classes[k]
			for _, run := range x.runs {
				lo, hi := run.from+x.df, run.to-1+x.dc
				if x.pauses {
					lo, hi = x.ends[run.from-n.first].lo, x.ends[run.to-1-n.first].hi
				}
				n.efirst, last = min(n.efirst, lo), max(last, hi)
			}
		}
		if last >= n.efirst {
			n.en = last - n.efirst + 1
		}
	}
}

// room lends the nodes of a tree the scratch that all trees share.
func (r *rents) room(t *tree) {
	r.long.used, r.short.used = 0, 0
	for i := range t.nodes {
		n := &t.nodes[i]
		n.s, n.e = r.long.take(n.n), r.long.take(n.en)
		if n.parent < 0 {
			n.back = r.long.take(n.n)
			continue
		}
		out := n.n
		if n.atEnd {
			out = n.en
			n.argEnd = r.short.take(out)
		}
		n.back = r.long.take(out)
		q := &t.nodes[n.parent]
		in := q.n
		if n.parentEnd {
			in = q.en
		}
		n.arg = r.short.take(in)
	}
}

// slab hands out pieces of one array, again and again.
type slab[T any] struct {
	all  []T
	used int
}

func (s *slab[T]) take(n int32) []T {
	if s.used+int(n) > len(s.all) {
		// Pieces that are lent keep the old array.
		s.all, s.used = make([]T, 2*(s.used+int(n))), 0
	}
	out := s.all[s.used : s.used+int(n) : s.used+int(n)]
	s.used += int(n)
	return out
}

// lateness finds what it costs at least when some activity begins after its window: everything that must follow it is
// late.
func (r *rents) lateness(t *tree) {
	p := r.p
	cost := make([]int64, len(t.nodes))
	index := make(map[int32]int, len(t.nodes))
	for i := range t.nodes {
		index[t.nodes[i].act] = i
		cost[i] = t.least
	}
	d := make([]int64, len(t.nodes))
	for x := range t.nodes {
		due := &t.nodes[x]
		if due.weight == 0 {
			continue
		}
		for i := range d {
			d[i] = noPath
		}
		d[x] = p.acts[due.act].minDur
		for changed, round := true, 0; changed && round < len(d); round++ {
			changed = false
			for _, a := range t.acts {
				for _, k := range p.acts[a].arcs {
					y := &p.arcs[k]
					if y.u != a || p.acts[y.v].fact || p.acts[a].fixed {
						continue
					}
					w, ok := p.startLag(y)
					if i, j := index[a], index[y.v]; ok && d[j] > noPath && d[j]+w > d[i] {
						d[i], changed = d[j]+w, true
					}
				}
			}
		}
		for i := range t.nodes {
			n := &t.nodes[i]
			if d[i] == noPath {
				continue
			}
			end := r.g.begin(n.first+n.n) + d[i]
			cost[i] += max(0, due.weight*max(0, end-due.due)-p.least[due.act])
		}
	}
	for i := range t.nodes {
		n := &t.nodes[i]
		if n.first+n.n <= min(r.g.at(min(p.ls[n.act], p.to)), r.g.cells) {
			t.late = min(t.late, cost[i])
		}
	}
}

// classes groups the modes of an activity and finds where each group can begin. A group that asks for all that another
// one asks for, and more, is left out: under no rents is it cheaper.
func (r *rents) classes(n *node) {
	c := &r.p.acts[n.act]
	n.classes = n.classes[:0]
	last := -1
	for m := range c.modes {
		if !r.p.eligible(n.act, m, r.allow) || last >= 0 && r.twins(&c.modes[last], &c.modes[m]) {
			continue
		}
		last = m
		x := r.classOf(n.act, &c.modes[m])
		if slices.ContainsFunc(n.classes, func(y class) bool { return y.within(&x) }) {
			continue
		}
		x.mode = &c.modes[m]
		n.classes = slices.DeleteFunc(n.classes, func(y class) bool { return x.within(&y) })
		n.classes = append(n.classes, x)
	}
	for k := range n.classes {
		if n.classes[k].pauses {
			r.pausingRuns(n, &n.classes[k])
		} else {
			r.plainRuns(n, &n.classes[k])
		}
	}
}

// twins reports whether two modes are sure to be of one class: alike but for vessels that belong to the same limits.
func (r *rents) twins(a, b *cmode) bool {
	if a.d != b.d || a.cal != b.cal || a.pausable != b.pausable || len(a.uses) != len(b.uses) || !slices.Equal(a.dems, b.dems) {
		return false
	}
	for i := range a.uses {
		v, w := a.uses[i].vessel, b.uses[i].vessel
		if r.member[v] != r.member[w] || r.p.vessels[v].setup != r.p.vessels[w].setup {
			return false
		}
	}
	return true
}

// within reports whether whoever can afford y can afford x: as long, with no other demands and no other closed times.
func (x *class) within(y *class) bool {
	if x.d != y.d || x.pauses != y.pauses || x.pauses && (x.phases != y.phases || x.cal != y.cal || x.stop != y.stop) {
		return false
	}
	for i := range x.items {
		if !slices.Contains(y.items, x.items[i]) {
			return false
		}
	}
	for i := range x.bars {
		b := &x.bars[i]
		if !slices.ContainsFunc(y.bars, func(c bar) bool { return c.lo == b.lo && c.hi == b.hi && &c.count[0] == &b.count[0] }) {
			return false
		}
	}
	return true
}

// classOf says what the relaxation sees of a mode.
func (r *rents) classOf(a int32, m *cmode) class {
	g := r.g.g
	x := class{d: m.total, df: int32(m.total / g), dc: int32(ceilDiv(m.total, g)), pauses: m.pauses, phases: m.d, cal: m.cal, stop: m.pausable}
	var off [4]int64
	for k := range 3 {
		off[k+1] = off[k] + m.d[k]
	}
	up := func(t int64) int32 { return int32(ceilDiv(t, g)) }
	down := func(t int64) int32 { return int32(floorDiv(t, g)) }
	if !m.pauses {
		for k := range 3 {
			if m.d[k] > 0 && m.cal[k] != nil {
				x.addBar(r.closed(m.cal[k]), up(off[k]), down(off[k+1]))
			}
		}
	}
	for _, l := range r.limits {
		if l.res < 0 {
			if q := m.usesOf(l, false); q > 0 {
				before := -down(r.p.cleanBefore(a, m, l))
				x.items = append(x.items, item{l: l, amount: q, lo: before, hi: x.df, toEnd: m.pauses})
				if !m.pauses {
					x.addBar(l.shorts(q), 0, x.df)
				}
			}
			continue
		}
		for i := range m.dems {
			d := &m.dems[i]
			switch {
			case d.res != l.res || d.add == 0:
			case !m.pauses:
				x.items = append(x.items, item{l: l, amount: d.add, lo: up(off[d.lo]), hi: down(off[d.hi+1])})
				x.addBar(l.shorts(d.check), up(off[d.lo]), down(off[d.hi+1]))
			case m.d[d.lo] < m.total || d.kind == demSolid:
				// What begins or ends amid pauses goes free.
			case d.kind == demHeld:
				x.items = append(x.items, item{l: l, amount: d.add, toEnd: true})
			default:
				x.items = append(x.items, item{l: l, mask: l.maskBy(&r.g, m.cal[d.lo]), amount: d.add, toEnd: true})
			}
		}
	}
	x.items = slices.DeleteFunc(x.items, func(i item) bool { return !i.toEnd && i.hi <= i.lo })
	return x
}

func (x *class) addBar(count []int32, lo, hi int32) {
	if count != nil && hi > lo && count[len(count)-1] > 0 {
		x.bars = append(x.bars, bar{count: count, lo: lo, hi: hi})
	}
}

// closed counts the cells at whose last moment a calendar is closed, before each cell.
func (r *rents) closed(cal *opening) []int32 {
	if s, ok := r.shut[cal]; ok {
		return s
	}
	s := make([]int32, r.g.cells+1)
	for c := range r.g.cells {
		s[c+1] = s[c]
		if t := r.g.last(c); cal.nextOpen(t) != t {
			s[c+1]++
		}
	}
	r.shut[cal] = s
	return s
}

// plainRuns finds the cells in which a class without pauses can begin.
func (r *rents) plainRuns(n *node, x *class) {
	x.runs = x.runs[:0]
	for c := n.first; c < n.first+n.n; c++ {
		if !x.fits(c, r.g.cells) {
			continue
		}
		if k := len(x.runs) - 1; k >= 0 && x.runs[k].to == c {
			x.runs[k].to++
		} else {
			x.runs = append(x.runs, cellRun{c, c + 1})
		}
	}
}

func (x *class) fits(c, cells int32) bool {
	if c+x.df > cells {
		return false
	}
	for i := range x.bars {
		b := &x.bars[i]
		if b.count[c+b.hi] != b.count[min(c+b.lo, cells)] {
			return false
		}
	}
	return true
}

// pausingRuns does the same with pauses, and keeps between which cells the end lies.
func (r *rents) pausingRuns(n *node, x *class) {
	x.runs, x.ends = x.runs[:0], make([]ending, n.n)
	var tm timing
	t, ok := x.mode.begin(max(r.g.begin(n.first), n.es), r.p.to, &tm)
	for c := n.first; ok && c < n.first+n.n; c++ {
		if t > r.g.last(c) {
			continue
		}
		if tm.end() > r.p.to {
			break
		}
		e := ending{lo: r.g.clamp(r.g.at(tm.end())), hi: r.g.cells, real: tm.end()}
		// No beginning in this cell ends later than one at the next moment that can be a beginning.
		if t, ok = x.mode.begin(r.g.last(c)+1, r.p.to, &tm); ok {
			e.hi = r.g.clamp(r.g.at(tm.end()))
		}
		x.ends[c-n.first] = e
		if k := len(x.runs) - 1; k >= 0 && x.runs[k].to == c {
			x.runs[k].to++
		} else {
			x.runs = append(x.runs, cellRun{c, c + 1})
		}
	}
}
