package sched

import (
	"cmp"
	"slices"
)

// salvage takes over a plan that may have become impossible in places: what is still possible stays exactly where it is,
// and only the blocks that are not, or that the plan did not know, are placed anew among the others. A block that finds
// no room drives out the one in its way. So the first answer after a disturbance comes early and differs little from the
// plan that people follow; the search then goes on from it, around the disturbance first.
//
// It is the idea of repairing by what was hit and what that pushes (matchup scheduling: Bean, Birge, Mittenthal and
// Noon, Operations Research 39, 1991; from memory), with places instead of a moment from which everything is as before.
type salvage struct {
	r     *rebuilder
	wish  *genotype // modes and earliest starts as the plan had them; see warm
	seq   []int32   // the order of placing what stays
	start []int64   // where the plan had the activity; noPath if it did not know it
	key   []float64
	left  []int32 // blocks to be placed
	hit   []bool  // per block: was ever left
}

// salvage makes the plan that a genotype follows the best one, as far as that is possible. It reports whether there is
// a plan now, and whether most of it is the old one.
func (s *searcher) salvage(g *genotype, start []int64) (ok, most bool) {
	r := s.emptyRebuilder()
	if r == nil {
		return false, false
	}
	v := &salvage{r: r, wish: g, seq: slices.Clone(g.seq), start: start, hit: make([]bool, len(s.p.blocks))}
	v.key = s.p.blockKeys(v.keys())
	s.used++
	known := v.keep()
	if v.pinched() {
		v.again()
		slices.SortStableFunc(v.seq, func(x, y int32) int {
			return cmp.Compare(s.keys.pressing[s.p.blockOf[x]], s.keys.pressing[s.p.blockOf[y]])
		})
		known = v.keep()
	}
	broken := len(v.left)
	if !v.fill(s.opt.Stop) {
		s.stopped = s.opt.Stop != nil && s.opt.Stop()
		return false, false
	}
	r.settle()
	sol := r.d.s.solution(r.cost)
	for b, hit := range v.hit {
		if hit {
			s.hit = append(s.hit, s.p.blocks[b].acts[0])
		}
	}
	if s.best == nil || sol.cost.Less(s.best.cost) {
		s.best, s.plan = sol, r.d.s.plan(sol.cost)
		s.tell(true)
	}
	return true, 2*broken <= known
}

// keys order the activities: what cannot wait, then by their place in the plan, those without one by urgency.
func (v *salvage) keys() []float64 {
	out := make([]float64, len(v.start))
	for a, t := range v.start {
		if t == noPath {
			t = v.r.keys.latest[a]
		}
		out[a] = v.r.keys.press(v.r.p.blockOf[a], float64(t))
	}
	return out
}

// pinched reports whether something that cannot wait has lost its place, perhaps to something that can.
func (v *salvage) pinched() bool {
	for _, b := range v.left {
		if v.r.keys.pressing[b] < Forever && v.start[v.r.p.blocks[b].acts[0]] > noPath {
			return true
		}
	}
	return false
}

// again takes everything out that is not fixed.
func (v *salvage) again() {
	for a := range v.r.p.acts {
		if v.r.d.s.pl[a].done && !v.r.p.acts[a].fixed {
			v.r.d.s.unplace(int32(a))
		}
	}
	v.r.d.s.forget()
	v.left = v.left[:0]
	clear(v.hit)
}

// keep places what can be where it was, in the order of the sequence, and lists the blocks that cannot. It returns the number of
// blocks that the plan knew.
func (v *salvage) keep() (known int) {
	d, p := v.r.d, v.r.p
	d.s.slots, d.s.tight = v.wish.slots, len(p.stores) > 0
	whole := make([]bool, len(p.blocks))
	for b := range p.blocks {
		whole[b] = true
		for _, a := range p.blocks[b].acts {
			whole[b] = whole[b] && v.start[a] > noPath && !p.acts[a].fixed
		}
		switch {
		case whole[b]:
			known++
		case !p.acts[p.blocks[b].acts[0]].fixed:
			v.leave(int32(b))
		}
	}
	for _, a := range v.seq {
		b := p.blockOf[a]
		if whole[b] && !v.hit[b] && !d.placeAt(a, v.wish.mode[a], v.start[a]) {
			v.eject(b)
		}
	}
	d.s.forget()
	d.s.tight = false
	return known
}

// leave notes that a block has to be placed.
func (v *salvage) leave(b int32) {
	v.left = append(v.left, b)
	v.hit[b] = true
}

// eject takes out what is placed of a block and of those that can then no longer be cleaned for.
func (v *salvage) eject(b int32) {
	d, p := v.r.d, v.r.p
	v.leave(b)
	v.r.touched = v.r.touched[:0]
	for _, a := range p.blocks[b].acts {
		if !d.s.pl[a].done {
			continue
		}
		v.r.touch(a)
		d.s.unplace(a)
	}
	for {
		culprit, ok := v.r.renewChanges()
		if ok || p.acts[culprit].fixed {
			return
		}
		v.eject(p.blockOf[culprit])
	}
}

// placeAt places a exactly there, or not at all.
func (d *decoder) placeAt(a, mode int32, t int64) bool {
	if mode < 0 || !d.allowed(a, mode) {
		return false
	}
	d.s.lb[a] = noPath
	b := d.s.bounds(a)
	if b.lo > t || b.hi < t {
		return false
	}
	b.lo, b.hi, b.hiBy = t, t, -1
	var tm timing
	if at, _, ok := d.s.fit(a, mode, t, 2*Forever, &b, &tm); !ok || at != t {
		return false
	}
	_, _, ok := d.s.commit(a, mode, t, &tm)
	return ok
}

// fill places the blocks that are left, the ones that come first in the plan first.
func (v *salvage) fill(stop func() bool) bool {
	d, p := v.r.d, v.r.p
	for ejections := 10 + 2*len(v.left); len(v.left) > 0; {
		if stop != nil && stop() {
			return false
		}
		b := p.topological(v.left, v.key)[0]
		v.left = slices.DeleteFunc(v.left, func(x int32) bool { return x == b })
		culprit, ok := v.best(b)
		if ok {
			d.s.forget()
			continue
		}
		if ejections--; ejections < 0 {
			return false
		}
		v.left = append(v.left, b)
		if !v.makeRoom(b, culprit) {
			return false
		}
	}
	return true
}

// makeRoom takes out the block of the activity in the way of block b; if nobody is known to be, what it meets between
// the first and the last moment at which the activity that found no place could begin, and the blocks that follow it.
func (v *salvage) makeRoom(b, culprit int32) bool {
	d, p := v.r.d, v.r.p
	if culprit >= 0 && !p.acts[culprit].fixed && p.blockOf[culprit] != b {
		v.eject(p.blockOf[culprit])
		return true
	}
	before := len(v.left)
	for _, q := range p.blocks[b].succs {
		v.ejectPlaced(q)
	}
	a := d.stuck
	if a < 0 {
		return len(v.left) > before
	}
	d.s.lb[a] = noPath
	limits := d.s.bounds(a)
	hi := min(limits.hi, limits.lo+p.acts[a].minDur) // there is more than one try
	for mi := range p.acts[a].modes {
		m := &p.acts[a].modes[mi]
		if !d.allowed(a, int32(mi)) {
			continue
		}
		for y := range p.acts {
			x := &d.s.pl[y]
			if x.done && x.start < hi+m.total && x.end > limits.lo && rival(m, &p.acts[y].modes[x.mode]) {
				v.ejectPlaced(p.blockOf[y])
			}
		}
	}
	return len(v.left) > before
}

// rival reports whether two modes use the same vessel or resource.
func rival(m, n *cmode) bool {
	for _, u := range m.uses {
		for _, w := range n.uses {
			if u.vessel == w.vessel {
				return true
			}
		}
	}
	return sharesNeed(m, n)
}

// ejectPlaced ejects a block that is placed and could wait.
func (v *salvage) ejectPlaced(b int32) {
	p := v.r.p
	a := p.blocks[b].acts[0]
	if v.r.d.s.pl[a].done && !p.acts[a].fixed && v.r.keys.pressing[b] == Forever {
		v.eject(b)
	}
}

// best places a block the cheapest of a few ways: as it was but later, in other vessels, or as early as it can be. When
// none goes it names an activity in the way, or -1.
func (v *salvage) best(b int32) (culprit int32, ok bool) {
	d := v.r.d
	var least Objective
	way, found := int32(-1), -1
	mark := d.s.mark()
	for k := range 3 {
		c, done := v.try(b, k)
		if !done {
			if way < 0 {
				way = c
			}
			d.s.rollback(mark)
			continue
		}
		var o Objective
		for _, a := range v.r.p.blocks[b].acts {
			d.addCost(&o, a, 1)
		}
		d.s.rollback(mark)
		if o = v.r.p.in.Weights.Weigh(o); found < 0 || o.Less(least) {
			found, least = k, o
		}
	}
	if found < 0 {
		return way, false
	}
	return v.try(b, found)
}

// try places a block in one of the ways of best.
func (v *salvage) try(b int32, way int) (culprit int32, ok bool) {
	d := v.r.d
	d.seq = append(d.seq[:0], v.r.p.blocks[b].acts...)
	for i, a := range d.seq {
		d.pos[a], d.mode[a], d.s.lb[a] = int32(i), -1, noPath
		if way == 0 {
			d.mode[a] = v.wish.mode[a]
		}
		if way < 2 {
			d.s.lb[a] = v.start[a]
		}
	}
	return d.reinsert(nil, 0)
}
