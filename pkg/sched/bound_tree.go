package sched

import (
	"cmp"
	"slices"
)

// tree is a part of the network that hangs together, reduced to activities joined without circles: ties that would
// close a circle are forgotten. Its cheapest run under rents is found by dynamic programming over cells.
type tree struct {
	acts  []int32
	nodes []node // parents before children
	least int64  // lateness cost that the activities have in every plan
	late  int64  // least lateness cost when some activity begins after its window
	width int32  // cells that windows have at most
	full  bool   // windows leave nothing out
	value int64  // of the last evaluation, in parts of 1/rentScale
	cut   bool   // the last evaluation ended outside of the windows
}

// node is an activity in a tree, with the cells in which it may begin and end.
type node struct {
	act         int32
	first, n    int32 // cells of the start
	efirst, en  int32 // cells of the end
	es          int64
	weight, due int64
	classes     []class
	parent      int32
	atEnd       bool  // the tie to the parent is at this activity's end
	parentEnd   bool  // and at the parent's end
	lo, hi      int32 // cells from the parent's edge to this one's
	before      []stay
	after       []stay
	s, e, back  []int64 // scratch: cost at the start, at the end; best from the children
	arg, argEnd []int32
	cell        int32 // of the start in the run found last
	ecell       int32 // of the end
}

// stay is rent for a time between the ends of two activities: both pay the rent up to their own cell, one of them with
// a minus.
type stay struct {
	l      *limit
	amount int64
	until  int32 // paid up to this cell by the same activity, -1: by another one
}

// class is a way to do an activity: all modes that the relaxation cannot tell apart.
type class struct {
	d      int64
	df, dc int32 // cells from the cell of the start to that of the end, at least and at most
	pauses bool
	mode   *cmode // one of the modes
	phases [3]int64
	cal    [3]*opening
	stop   [3]bool
	items  []item
	bars   []bar
	runs   []cellRun
	ends   []ending // per start cell, only if it pauses
}

// cellRun is a half-open range of cells.
type cellRun struct{ from, to int32 }

type ending struct {
	lo, hi int32
	real   int64
}

// item is a demand on a limit between two offsets in cells from the cell of the start; for work that pauses, until the
// end of the activity.
type item struct {
	l      *limit
	mask   *mask
	amount int64
	lo, hi int32
	toEnd  bool
}

func (x *item) paid() []int64 {
	if x.mask != nil {
		return x.mask.paid
	}
	return x.l.paid
}

// bar forbids starts whose cells between two offsets count a closed one.
type bar struct {
	count  []int32
	lo, hi int32
}

const wide = int32(1) << 29

// treeLimit bounds the activities of a tree that is looked at.
const treeLimit = 4000

// trees cuts the network.
func (r *rents) trees() {
	p := r.p
	comp := make([]int32, len(p.acts))
	for a := range comp {
		comp[a] = int32(a)
	}
	find := func(a int32) int32 {
		for comp[a] != a {
			comp[a] = comp[comp[a]]
			a = comp[a]
		}
		return a
	}
	for i := range p.arcs {
		if x := &p.arcs[i]; !p.acts[x.u].fact && !p.acts[x.v].fact {
			comp[find(x.u)] = find(x.v)
		}
	}
	members := map[int32][]int32{}
	var roots []int32
	for a := range p.acts {
		if p.acts[a].fact {
			r.base += p.least[a]
			continue
		}
		k := find(int32(a))
		if members[k] == nil {
			roots = append(roots, k)
		}
		members[k] = append(members[k], int32(a))
	}
	for _, k := range roots {
		r.addTree(members[k])
	}
}

func (r *rents) addTree(acts []int32) {
	p := r.p
	t := &tree{acts: acts}
	weight := false
	for _, a := range acts {
		t.least += p.least[a]
		weight = weight || p.acts[a].weight > 0
	}
	if !weight {
		return
	}
	if len(acts) > treeLimit {
		r.base += t.least
		return
	}
	r.join(t, acts)
	length := int64(0)
	for _, a := range acts {
		length = max(length, p.es[a]+p.tail[a]-p.es[acts[0]])
	}
	t.width = int32(min(int64(wide), max(int64(24), length/r.g.g)))
	if r.width > 0 {
		t.width = r.width
	}
	if len(acts) > 64 {
		t.width = wide // what follows a late activity takes long to find out
	}
	r.size(t)
	r.all = append(r.all, t)
}

// tie collects the arcs between two activities as bounds on the time from one edge to the other.
type tie struct {
	u, v       int32
	uEnd, vEnd bool
	lo, hi     int64
	rank       int
}

// ties lists the ties between members, the most telling first.
func (p *problem) ties(acts []int32) []tie {
	index := map[[2]int32]int{}
	var out []tie
	for pass := range 2 {
		for _, a := range acts {
			for _, k := range p.acts[a].arcs {
				x := &p.arcs[k]
				if x.u != a || p.acts[x.v].fact || x.u == x.v {
					continue
				}
				key := [2]int32{min(x.u, x.v), max(x.u, x.v)}
				i, ok := index[key]
				// Holds and stores, which pay rent from end to start, choose the edges first.
				if !ok && (pass == 1 || x.lag < 0) {
					index[key] = len(out)
					out = append(out, tie{u: x.u, v: x.v, uEnd: x.uEnd, vEnd: x.vEnd, lo: -Forever, hi: Forever})
					i, ok = len(out)-1, true
				}
				if ok && pass == 1 {
					p.tighten(&out[i], x)
				}
			}
		}
	}
	for i := range out {
		t := &out[i]
		switch {
		case p.acts[t.u].until == t.v:
			t.rank = 3
		case t.hi < Forever && t.lo > -Forever:
			t.rank = 2
		case t.lo > -Forever:
			t.rank = 1
		}
	}
	slices.SortStableFunc(out, func(a, b tie) int { return cmp.Compare(b.rank, a.rank) })
	return out
}

// tighten adds an arc to a tie between the same activities; an arc between other edges is moved to these where the
// duration between them is known.
func (p *problem) tighten(t *tie, x *arc) {
	move := func(a int32, from, to bool) (int64, bool) {
		c := &p.acts[a]
		switch {
		case from == to:
			return 0, true
		case c.minDur != c.maxDur:
			return 0, false
		case to:
			return c.minDur, true
		}
		return -c.minDur, true
	}
	eu, ev := t.uEnd, t.vEnd
	if x.u != t.u {
		eu, ev = ev, eu
	}
	du, ok1 := move(x.u, x.uEnd, eu)
	dv, ok2 := move(x.v, x.vEnd, ev)
	if !ok1 || !ok2 {
		return
	}
	w := x.w - du + dv
	if x.u == t.u {
		t.lo = max(t.lo, w)
	} else {
		t.hi = min(t.hi, -w)
	}
}

// join chooses the ties of the tree and orders its nodes from the earliest activity on.
func (r *rents) join(t *tree, acts []int32) {
	p := r.p
	comp := map[int32]int32{}
	root := acts[0]
	for _, a := range acts {
		comp[a] = a
		if p.es[a] < p.es[root] {
			root = a
		}
	}
	find := func(a int32) int32 {
		for comp[a] != a {
			a = comp[a]
		}
		return a
	}
	next := map[int32][]tie{}
	var used []tie
	for _, x := range p.ties(acts) {
		if a, b := find(x.u), find(x.v); a != b {
			comp[a] = b
			next[x.u] = append(next[x.u], x)
			next[x.v] = append(next[x.v], x)
			used = append(used, x)
		}
	}
	t.nodes = append(t.nodes, node{act: root, parent: -1})
	for i := 0; i < len(t.nodes); i++ {
		a := t.nodes[i].act
		for _, x := range next[a] {
			if i > 0 && t.nodes[t.nodes[i].parent].act == x.u+x.v-a {
				continue
			}
			n := node{act: x.v, parent: int32(i), atEnd: x.vEnd, parentEnd: x.uEnd, lo: r.cells(x.lo, false), hi: r.cells(x.hi, true)}
			if x.v == a {
				n.act, n.atEnd, n.parentEnd, n.lo, n.hi = x.u, x.uEnd, x.vEnd, -n.hi, -n.lo
			}
			t.nodes = append(t.nodes, n)
		}
	}
	index := make(map[int32]int32, len(acts))
	for i := range t.nodes {
		index[t.nodes[i].act] = int32(i)
	}
	for i := range used {
		// Only the ties of the tree are sure to keep the order in time that the rent of a stay needs.
		if x := &used[i]; x.uEnd && !x.vEnd && x.lo >= 0 {
			r.addStays(&t.nodes[index[x.u]], &t.nodes[index[x.v]])
		}
	}
	for _, a := range acts {
		for _, k := range p.acts[a].storesOut {
			if st := &p.stores[k]; st.consumer < 0 {
				if l := r.resource(st.res); l != nil && st.amount > 0 {
					n := &t.nodes[index[a]]
					n.after = append(n.after, stay{l: l, amount: st.amount, until: r.g.clamp(r.g.at(st.until))})
				}
			}
		}
	}
}

// addStays lets two activities pay for what is occupied from the end of the first to the start of the second.
func (r *rents) addStays(u, v *node) {
	p := r.p
	pay := func(l *limit, amount int64) {
		if l != nil && amount > 0 {
			u.after = append(u.after, stay{l: l, amount: amount, until: -1})
			v.before = append(v.before, stay{l: l, amount: amount, until: -1})
		}
	}
	if c := &p.acts[u.act]; c.until == v.act {
		for _, l := range r.limits {
			if l.res >= 0 {
				continue
			}
			least := Forever
			for m := range c.modes {
				if p.eligible(u.act, m, r.allow) {
					least = min(least, c.modes[m].usesOf(l, true))
				}
			}
			pay(l, least)
		}
	}
	for _, k := range p.acts[u.act].storesOut {
		if st := &p.stores[k]; st.consumer == v.act {
			pay(r.resource(st.res), st.amount)
		}
	}
}

func (r *rents) resource(res int32) *limit {
	for _, l := range r.limits {
		if l.res == res {
			return l
		}
	}
	return nil
}

// cells is a distance in cells, rounded to the looser side.
func (r *rents) cells(d int64, up bool) int32 {
	switch {
	case d <= -Forever:
		return -wide
	case d >= Forever:
		return wide
	case up:
		return int32(min(int64(wide), ceilDiv(d, r.g.g)))
	}
	return int32(max(-int64(wide), floorDiv(d, r.g.g)))
}
