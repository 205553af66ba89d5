package sched

import (
	"cmp"
	"slices"
)

// closure holds the least cleaning that must pass between two states in one vessel, whatever comes between.
type closure struct {
	n    int
	cost []int64
}

// cleanClosure computes the closure of a vessel's matrix by shortest paths. Between an activity and the one that its
// hold waits for, and before a started activity, nothing is cleaned.
func (p *problem) cleanClosure(v int32) *closure {
	ve := &p.vessels[v]
	if ve.setup == nil {
		return nil
	}
	n := len(ve.setup.in.States)
	c := &closure{n: n, cost: make([]int64, n*n)}
	for i := range n {
		for j := range n {
			c.cost[i*n+j] = ve.setup.in.Change[i][j].Duration
		}
	}
	for a := range p.acts {
		to := ve.states[a]
		if to < 0 {
			continue
		}
		if p.acts[a].fact {
			for i := range n {
				c.cost[i*n+int(to)] = 0
			}
		}
		for _, h := range p.acts[a].holdsFrom {
			if from := ve.states[h]; from >= 0 {
				c.cost[int(from)*n+int(to)] = 0
			}
		}
	}
	for k := range n {
		for i := range n {
			for j := range n {
				c.cost[i*n+j] = min(c.cost[i*n+j], c.cost[i*n+k]+c.cost[k*n+j])
			}
		}
	}
	return c
}

// between is the least time from the moment when u leaves vessel v until w can begin in it.
func (x *refuter) between(v, u, w int32) int64 {
	c := x.reach[v]
	if c == nil || x.p.acts[u].until == w {
		return 0
	}
	return c.cost[int(x.p.vessels[v].states[u])*c.n+int(x.p.vessels[v].states[w])]
}

// conflict finds decided activities that are in each other's way in the schedule of earliest times, and the ways out,
// one of which every plan takes; nil if there is no such conflict.
func (x *refuter) conflict(n *situation) [][]follow {
	var best [][]follow
	when := Forever
	for v := range x.p.vessels {
		if out, t := x.vesselClash(n, int32(v)); out != nil && (best == nil || t < when) {
			best, when = out, t
		}
	}
	if best != nil {
		return best
	}
	for r := range x.p.base {
		if out, t := x.overload(n, int32(r)); out != nil && (best == nil || t < when) {
			best, when = out, t
		}
	}
	return best
}

// inVessel reports whether the decided mode of a occupies v, and whether a hold keeps it there.
func (x *refuter) inVessel(n *situation, a, v int32) (uses, kept bool) {
	if n.mode[a] < 0 {
		return false, false
	}
	for _, u := range x.p.acts[a].modes[n.mode[a]].uses {
		if u.vessel == v {
			return true, !u.free && x.p.acts[a].until >= 0
		}
	}
	return false, false
}

// leaves is the earliest moment when a gives vessel v free.
func (x *refuter) leaves(n *situation, a int32, kept bool) int64 {
	if kept {
		return max(n.ee[a], n.es[x.p.acts[a].until])
	}
	return n.ee[a]
}

// vesselClash finds the first two activities that overlap in a vessel: one of them must be done with before the other.
func (x *refuter) vesselClash(n *situation, v int32) (out [][]follow, when int64) {
	type stay struct {
		a    int32
		kept bool
	}
	var in []stay
	for a := range n.es {
		if uses, kept := x.inVessel(n, int32(a), v); uses {
			in = append(in, stay{int32(a), kept})
		}
	}
	slices.SortStableFunc(in, func(a, b stay) int { return cmp.Compare(n.es[a.a], n.es[b.a]) })
	for i := range in {
		for j := i + 1; j < len(in); j++ {
			a, b := in[i], in[j]
			if x.p.acts[a.a].fact && x.p.acts[b.a].fact {
				continue
			}
			ab := x.leaves(n, a.a, a.kept)+x.between(v, a.a, b.a) <= n.es[b.a]
			ba := x.leaves(n, b.a, b.kept)+x.between(v, b.a, a.a) <= n.es[a.a]
			if ab || ba || out != nil && n.es[b.a] >= when {
				continue
			}
			out, when = [][]follow{x.first(v, a.a, b.a, a.kept), x.first(v, b.a, a.a, b.kept)}, n.es[b.a]
		}
	}
	return out, when
}

// first are the ties that say that a is done with in v before b begins.
func (x *refuter) first(v, a, b int32, kept bool) []follow {
	w := x.between(v, a, b)
	out := []follow{{u: point{a, pointEnd}, v: point{b, pointStart}, w: w}}
	if u := x.p.acts[a].until; kept && u != b {
		out = append(out, follow{u: point{u, pointStart}, v: point{b, pointStart}, w: w})
	}
	return out
}

// load is a demand of a decided activity on a resource in the schedule of earliest times.
type load struct {
	from, to   point
	start, end int64
	amount     int64
	fact       bool
	within     Span // the demand is there only in this time: a piece of open time, or until a store is cleared
	store      bool
}

func always() Span { return Span{-4 * Forever, 4 * Forever} }

// loads lists the demands on resource r.
func (x *refuter) loads(n *situation, r int32) []load {
	var out []load
	for a := range n.es {
		m := n.mode[a]
		if m < 0 {
			continue
		}
		c, tm := &x.p.acts[a], &n.tm[a]
		for i := range c.modes[m].dems {
			d := &c.modes[m].dems[i]
			if d.res != r || d.add == 0 {
				continue
			}
			l := load{
				from: point{int32(a), pointWork0 + pointKind(d.lo)}, to: point{int32(a), pointDone0 + pointKind(d.hi)},
				start: tm.s[d.lo], end: tm.e[d.hi], amount: d.add, fact: c.fact, within: always(),
			}
			if d.kind == demHeld {
				l.from.at, l.start = pointWait0+pointKind(d.lo), tm.b[d.lo]
			}
			if d.kind != demWork || c.fact {
				out = append(out, l)
				continue
			}
			c.modes[m].cal[d.lo].pieces(l.start, l.end, func(s, e int64) bool {
				piece := l
				piece.start, piece.end, piece.within = s, e, x.openPiece(c.modes[m].cal[d.lo], s)
				out = append(out, piece)
				return true
			})
		}
	}
	for i := range x.p.stores {
		st := &x.p.stores[i]
		if st.res != r || st.amount == 0 {
			continue
		}
		l := load{from: point{st.producer, pointEnd}, to: point{noAct, 0}, start: n.ee[st.producer], end: st.until, amount: st.amount, fact: st.fact, within: always(), store: true}
		if st.consumer >= 0 {
			l.to, l.end = point{st.consumer, pointStart}, n.es[st.consumer]
		} else {
			l.within.End = st.until
		}
		if l.start < l.end {
			out = append(out, l)
		}
	}
	return out
}

// openPiece is the open span around t.
func (x *refuter) openPiece(k *opening, t int64) Span {
	if k == nil {
		return always()
	}
	return k.open[k.at(t)]
}

// overload finds the first moment at which the demands on a resource are more than there is.
func (x *refuter) overload(n *situation, r int32) ([][]follow, int64) {
	ls := x.loads(n, r)
	var cuts []int64
	for i := range ls {
		cuts = append(cuts, ls[i].start)
	}
	cuts = append(cuts, x.p.base[r].at...)
	slices.Sort(cuts)
	for _, t := range slices.Compact(cuts) {
		var on []load
		sum, planned := int64(0), false
		for i := range ls {
			if ls[i].start <= t && t < ls[i].end {
				on = append(on, ls[i])
				sum += ls[i].amount
				planned = planned || !ls[i].fact
			}
		}
		if planned && sum > x.p.base[r].free[x.p.base[r].find(t)] {
			return x.waysOut(r, t, on), t
		}
	}
	return nil, 0
}

// waysOut lists, for demands that are too many at t, what one of them must do in every plan: end before another begins,
// or begin after the time in which they are too many.
func (x *refuter) waysOut(r int32, t int64, on []load) [][]follow {
	base := &x.p.base[r]
	i := base.find(t)
	slices.SortStableFunc(on, func(a, b load) int {
		if a.fact != b.fact {
			if a.fact {
				return 1
			}
			return -1
		}
		return cmp.Compare(b.amount, a.amount)
	})
	var facts int64
	for k := range on {
		if on[k].fact {
			facts += on[k].amount
		}
	}
	// The fewest: large ones first, started ones only as far as they are needed.
	sum, few := int64(0), 0
	for few < len(on) && sum <= base.free[i] {
		sum += on[few].amount
		few++
	}
	if facts > base.free[i] {
		on = append(on[:1:1], slices.DeleteFunc(slices.Clone(on[1:]), func(l load) bool { return !l.fact })...)
		few, sum = len(on), facts+on[0].amount
	}
	on = on[:few]
	within := always()
	for k := i; k+1 < len(base.at); k++ {
		if base.free[k+1] >= sum {
			within.End = base.at[k+1]
			break
		}
	}
	for k := range on {
		within.End = min(within.End, on[k].within.End)
	}
	var out [][]follow
	for a := range on {
		la := &on[a]
		if la.store && la.to.act != noAct {
			// or the store is filled and emptied at one moment
			out = append(out, []follow{{u: la.to, v: la.from}})
		}
		if la.fact && la.from.act != noAct && x.p.acts[la.from.act].fact {
			continue // a started one does not begin later
		}
		if within.End < 4*Forever {
			out = append(out, []follow{{u: point{noAct, 0}, v: la.from, w: within.End}})
		}
		for b := range on {
			lb := &on[b]
			if a == b || lb.to.act == noAct {
				continue
			}
			if lb.to.act == la.from.act && lb.from.act == la.from.act {
				continue // phases of one activity
			}
			out = append(out, []follow{{u: lb.to, v: la.from}})
		}
	}
	if out == nil {
		out = [][]follow{} // nothing can give way
	}
	return out
}
