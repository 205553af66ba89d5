package sched

import (
	"slices"
)

// rebuilder improves a complete plan by taking a few blocks out and placing them anew while the rest stays where it is
// (large neighbourhood search: Shaw, "Using constraint programming and local search methods to solve vehicle routing
// problems", CP 1998; ruin and recreate: Schrimpf and others, Journal of Computational Physics 159, 2000; both from
// memory). Its work is in proportion to what is taken out, not to the size of the plan. Several search side by side.
type rebuilder struct {
	p    *problem
	keys *keys
	r    rng
	d    *decoder
	cost Objective // of the plan that d holds
	acts Objective // the part of it that activities cost by themselves, and staleness
	last int32     // an activity that ends last, or -1

	least Objective // the best cost seen
	kept  snapshot  // the plan that costs least

	memory []Objective // late acceptance
	steps  int
	stall  int // steps since the best plan

	out     []bool  // per block, taken out now
	taken   []int32 // blocks taken out now
	touched []gone  // what was taken out of vessels that are cleaned
	late    crowd   // activities that end after their due time
	away    crowd   // activities that are not where the published plan has them
	hit     []int32 // activities of the blocks that a disturbance has hit, one of each

	choice
}

// newRebuilder begins from a solution; nil when the solution cannot be read back.
func (s *searcher) newRebuilder(sol *solution, seed uint64) *rebuilder {
	r := s.emptyRebuilder()
	if r == nil {
		return nil
	}
	r.r.s = seed
	if !r.load(sol) {
		return nil
	}
	r.remember(shortMemory)
	return r
}

// emptyRebuilder holds what is fixed and nothing else; nil when even that is impossible.
func (s *searcher) emptyRebuilder() *rebuilder {
	n := len(s.p.acts)
	r := &rebuilder{
		p: s.p, keys: s.keys, d: newDecoder(s.p), out: make([]bool, len(s.p.blocks)), hit: s.hit, late: newCrowd(n), away: newCrowd(n),
		kept: newSnapshot(s.p),
	}
	r.choice = r.newChoice()
	r.d.stop = s.opt.Stop
	if _, ok := r.d.placeFixed(); !ok {
		return nil
	}
	return r
}

// remember makes a late-acceptance memory of so many steps at the present cost.
func (r *rebuilder) remember(n int) {
	r.memory = slices.Grow(r.memory[:0], n)[:n]
	for i := range r.memory {
		r.memory[i] = r.cost
	}
	r.stall = 0
}

// load makes a solution the present plan.
func (r *rebuilder) load(sol *solution) bool {
	d := r.d
	for a := range d.s.pl {
		if d.s.pl[a].done && !d.p.acts[a].fixed {
			d.s.unplace(int32(a))
		}
	}
	d.s.forget()
	d.base.mark, d.stack, d.pure = 0, d.stack[:0], 0
	copy(d.sure, d.p.least)
	if out, _ := d.decode(sol.geno, nil); out != decoded {
		return false
	}
	r.settle()
	return true
}

// settle counts the cost of the present plan, which is complete, and makes it the best one and the one from which
// stepping back begins.
func (r *rebuilder) settle() {
	d := r.d
	d.s.slots, d.s.tight = nil, false
	r.cost, r.acts, r.last = d.objective(), Objective{Freshness: d.p.freshness(d.s.pl)}, -1
	for a := range d.p.acts {
		d.addCost(&r.acts, int32(a), 1)
		if r.last < 0 || d.s.pl[a].end > d.s.pl[r.last].end {
			r.last = int32(a)
		}
		r.classify(int32(a))
	}
	d.s.forget()
	r.kept.whole(d.s)
	r.least = r.cost
}

// classify notes whether an activity is late or away from its published place.
func (r *rebuilder) classify(a int32) {
	c, x := &r.p.acts[a], &r.d.s.pl[a]
	r.late.set(a, c.weight > 0 && !c.fixed && x.end > c.due)
	if r.calm {
		pr := r.p.in.Activities[a].Previous
		r.away.set(a, pr != nil && !c.fixed && (pr.MoveWeight > 0 && pr.Start != x.start || pr.ModeWeight > 0 && c.prevMode != -1 && c.prevMode != x.mode))
	}
}

// step tries one neighbour. It is kept when its cost is at most limit; the result says whether it was.
func (r *rebuilder) step(limit *Objective) bool {
	d := r.d
	r.choose()
	mark := d.s.mark()
	acts, last, was, ok := r.acts, r.last, r.cost, false
	for ejected := 0; ; ejected++ {
		culprit, done := r.place(limit)
		if done {
			ok = true
			break
		}
		d.s.rollback(mark)
		r.acts = acts
		if culprit < 0 || ejected == 4 || d.p.acts[culprit].fixed || r.out[d.p.blockOf[culprit]] {
			break
		}
		r.take(d.p.blockOf[culprit])
	}
	if ok {
		cost := r.total()
		if ok = !limit.Less(cost); ok {
			r.cost = cost
		} else {
			d.s.rollback(mark)
			r.acts, r.last = acts, last
		}
	}
	if ok {
		for _, b := range r.taken {
			for _, a := range r.p.blocks[b].acts {
				r.classify(a)
			}
		}
		r.kept.note(d.s)
		d.s.forget()
	}
	r.reward(ok, &was)
	if ok && r.cost.Less(r.least) {
		r.least, r.stall = r.cost, 0
		r.kept.take(d.s)
	}
	for _, b := range r.taken {
		r.out[b] = false
	}
	r.taken = r.taken[:0]
	return ok
}

// total is the cost of the plan after a step.
func (r *rebuilder) total() Objective {
	d := r.d
	o := r.acts
	whole := r.last < 0 || r.out[r.p.blockOf[r.last]]
	if whole { // what ended last has been moved
		r.last = 0
		for a := range d.s.pl {
			if d.s.pl[a].end > d.s.pl[r.last].end {
				r.last = int32(a)
			}
		}
	} else {
		for _, a := range d.seq {
			if d.s.pl[a].end > d.s.pl[r.last].end {
				r.last = a
			}
		}
	}
	o.Makespan = max(0, d.s.pl[r.last].end-d.p.from)
	o.Overtime += d.s.extra
	return d.p.in.Weights.Weigh(o)
}

// staleness adds up what the lags of the blocks that are taken out cost.
func (r *rebuilder) staleness() int64 {
	var sum int64
	for _, b := range r.taken {
		for _, a := range r.p.blocks[b].acts {
			for _, k := range r.p.acts[a].fresh {
				ends := r.p.lagEnds[k]
				if ends[0] == a || !r.out[r.p.blockOf[ends[0]]] {
					sum += r.p.staleness(k, r.d.s.pl)
				}
			}
		}
	}
	return sum
}

// take marks a block to be taken out.
func (r *rebuilder) take(b int32) {
	if !r.out[b] && !r.p.acts[r.p.blocks[b].acts[0]].fixed {
		r.out[b] = true
		r.taken = append(r.taken, b)
	}
}

// place takes the marked blocks out and places them anew. When that fails it names the activity in the way, or -1; the
// caller steps back.
func (r *rebuilder) place(limit *Objective) (culprit int32, ok bool) {
	d, p := r.d, r.p
	r.touched = r.touched[:0]
	r.acts.Freshness -= r.staleness()
	for _, b := range r.taken {
		for _, a := range p.blocks[b].acts {
			d.addCost(&r.acts, a, -1)
			r.touch(a)
			d.s.unplace(a)
		}
	}
	if culprit, ok = r.renewChanges(); !ok {
		return culprit, false
	}
	r.order()
	if culprit, ok = d.reinsert(limit, r.acts.Tardiness); !ok {
		return culprit, false
	}
	for _, a := range d.seq {
		d.addCost(&r.acts, a, 1)
	}
	r.acts.Freshness += r.staleness()
	return -1, true
}

// gone is a stay that was taken out of a vessel: the one after it may need another change now.
type gone struct {
	vessel int32
	start  int64
}

// touch notes the stays of an activity, before it is taken out, after which cleaning may change.
func (r *rebuilder) touch(a int32) {
	x := &r.d.s.pl[a]
	for _, u := range r.p.acts[a].modes[x.mode].uses {
		if r.p.vessels[u.vessel].setup != nil {
			r.touched = append(r.touched, gone{u.vessel, x.start})
		}
	}
}

// renewChanges makes the changes after what was taken out fit their new predecessors.
func (r *rebuilder) renewChanges() (culprit int32, ok bool) {
	s := r.d.s
	for _, g := range r.touched {
		for i := s.firstAfter(g.vessel, g.start-1); i < len(s.occ[g.vessel]); i++ {
			if !s.renew(g.vessel, i) {
				return s.occ[g.vessel][i].act, false
			}
			if s.occ[g.vessel][i].start > g.start {
				break
			}
		}
	}
	return -1, true
}

// reinsert places the activities of d.seq into a plan that holds all others. When that fails it names an activity of
// the others in the way, or -1. tardiness is that of the others; with a limit, nothing is placed where it would be above.
func (d *decoder) reinsert(limit *Objective, tardiness int64) (culprit int32, ok bool) {
	d.stack, d.pure = d.stack[:0], 0
	before := d.base
	d.base = frame{mark: d.s.mark(), due: -1, tard: tardiness}
	for _, a := range d.seq {
		d.sure[a] = d.p.least[a]
		d.base.tard += d.sure[a]
	}
	culprit, ok = d.reinsertAll(limit)
	d.base, d.s.cap, d.stuck = before, Forever, -1
	if !ok && len(d.stack) < len(d.seq) {
		d.stuck = d.seq[len(d.stack)]
	}
	return culprit, ok
}

func (d *decoder) reinsertAll(limit *Objective) (culprit int32, ok bool) {
	raises, pulls := 20+2*len(d.seq), 2
	for len(d.stack) < len(d.seq) {
		k := len(d.stack)
		a := d.seq[k]
		if k == 0 || d.p.blockOf[d.seq[k-1]] != d.p.blockOf[a] {
			d.enterBlock(a)
		}
		f := d.top()
		f.mark = d.s.mark()
		if limit != nil {
			d.s.cap = d.latest(a, &f, limit)
		}
		m, placed := d.s.place(a, d.mode[a], func(m int32) bool { return d.allowed(a, m) })
		if placed {
			d.count(&f, a)
			d.stack = append(d.stack, f)
			if limit != nil && d.exceeds(&f, limit) {
				return -1, false
			}
			continue
		}
		switch {
		case m.culprit >= 0 && !d.moving(m.culprit):
			return m.culprit, false
		case m.culprit >= 0 && raises > 0:
			raises--
			if !d.raise(m.culprit, m.newLb) {
				return -1, false
			}
		case m.open && pulls > 0:
			pulls--
			if !d.pull(a, &m) {
				return -1, false
			}
		default:
			return -1, false
		}
	}
	return -1, true
}

// latest is the last start of a with which the plan can cost no more than limit.
func (d *decoder) latest(a int32, f *frame, limit *Objective) int64 {
	due := d.foresee.promise[a]
	if due < 0 {
		return Forever
	}
	c, room := &d.p.acts[due], limit.First
	if w := d.p.in.Weights.Blend; w > 0 {
		room = limit.Rest / w
	}
	room += d.sure[due] - f.tard
	if room < 0 {
		return noPath
	}
	return c.due + room/c.weight - d.foresee.path[a]
}

// moving reports whether an activity is one of those that are placed anew.
func (d *decoder) moving(a int32) bool {
	k := int(d.pos[a])
	return k < len(d.seq) && d.seq[k] == a
}
