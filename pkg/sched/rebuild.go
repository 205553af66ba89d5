package sched

import (
	"cmp"
	"slices"
	"sync"
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
	acts Objective // the part of it that activities cost by themselves

	best    *solution
	plan    Plan      // of best, once it is better than what was given
	least   Objective // the best cost seen
	pending bool      // the plan that d holds costs least and is not copied to best yet

	memory []Objective // late acceptance
	steps  int
	stall  int // steps since the best plan

	out     []bool  // per block, taken out now
	taken   []int32 // blocks taken out now
	touched []int32 // vessels that something was taken out of
	rival   []int32 // scratch: blocks in the way
	key     []float64
	late    []int32 // activities that end after their due time
	listed  bool    // late is that of the present plan
	hit     []int32 // activities of the blocks that a disturbance has hit, one of each
}

// newRebuilder begins from a solution; nil when the solution cannot be read back.
func (s *searcher) newRebuilder(sol *solution, seed uint64) *rebuilder {
	r := s.emptyRebuilder()
	if r == nil || !r.load(sol) {
		return nil
	}
	r.best, r.least, r.r.s = sol, sol.cost, seed
	r.remember(shortMemory)
	return r
}

// emptyRebuilder holds what is fixed and nothing else; nil when even that is impossible.
func (s *searcher) emptyRebuilder() *rebuilder {
	r := &rebuilder{
		p: s.p, keys: s.keys, d: newDecoder(s.p), out: make([]bool, len(s.p.blocks)), key: make([]float64, len(s.p.blocks)), hit: s.hit,
	}
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

// settle counts the cost of the present plan, which is complete, and makes it the one from which stepping back begins.
func (r *rebuilder) settle() {
	d := r.d
	d.s.slots = nil
	r.cost, r.acts, r.listed = d.objective(), Objective{}, false
	for a := range d.p.acts {
		d.addCost(&r.acts, int32(a), 1)
	}
	d.s.forget()
}

// step tries one neighbour. It is kept when its cost is at most limit; the result says whether it was. A best plan that
// is not copied yet is copied before it is left, at the price of the step that would have left it.
func (r *rebuilder) step(limit *Objective) bool {
	d := r.d
	r.choose()
	mark := d.s.mark()
	acts, ok := r.acts, false
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
		leaves := r.pending && !cost.Less(r.least)
		if ok = !limit.Less(cost) && !leaves; ok {
			r.cost, r.listed = cost, false
			d.s.forget()
		} else {
			d.s.rollback(mark)
			r.acts = acts
		}
		if leaves {
			r.keep()
		}
	}
	for _, b := range r.taken {
		r.out[b] = false
	}
	r.taken = r.taken[:0]
	if ok && r.cost.Less(r.least) {
		r.least, r.pending, r.stall = r.cost, true, 0
	}
	return ok
}

// keep copies the present plan, which is the best one.
func (r *rebuilder) keep() {
	if r.pending {
		r.best, r.plan, r.pending = r.solution(), r.d.plan(r.cost), false
	}
}

// total is the cost of the plan after a step.
func (r *rebuilder) total() Objective {
	d := r.d
	o := r.acts
	last := d.p.from
	for a := range d.s.pl {
		last = max(last, d.s.pl[a].end)
	}
	o.Makespan = last - d.p.from
	o.Overtime += d.cleaningOvertime()
	o.Freshness = d.p.freshness(d.s.pl)
	return d.p.in.Weights.Weigh(o)
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
	return -1, true
}

// touch notes the vessels of an activity in which cleaning may change when it is taken out.
func (r *rebuilder) touch(a int32) {
	for _, u := range r.p.acts[a].modes[r.d.s.pl[a].mode].uses {
		if r.p.vessels[u.vessel].setup != nil && !has(r.touched, u.vessel) {
			r.touched = append(r.touched, u.vessel)
		}
	}
}

// renewChanges makes the changes after what was taken out fit their new predecessors.
func (r *rebuilder) renewChanges() (culprit int32, ok bool) {
	d := r.d
	for _, v := range r.touched {
		for i := range d.s.occ[v] {
			if !d.s.renew(v, i) {
				return d.s.occ[v][i].act, false
			}
		}
	}
	return -1, true
}

// order fills the decoder's sequence with the activities that were taken out, and their wishes.
func (r *rebuilder) order() {
	d, p, rnd := r.d, r.p, &r.r
	rule := rnd.n(6)
	var span int64 = 1
	for _, b := range r.taken {
		a := p.blocks[b].acts[0]
		switch rule {
		case 0, 1: // urgency
			r.key[b] = float64(r.keys.latest[a])
		case 2:
			r.key[b] = float64(r.keys.due[a])
		case 3:
			r.key[b] = float64(p.es[a])
		default: // as it was
			r.key[b] = float64(d.s.pl[a].start)
		}
		span = max(span, d.s.pl[a].end-p.from)
	}
	noise := float64(span) * 0.3 * rnd.unit() * rnd.unit()
	if rule == 5 {
		noise = float64(span)
	}
	for _, b := range r.taken {
		r.key[b] += noise * rnd.unit()
	}
	d.seq = d.seq[:0]
	for _, b := range p.topological(r.taken, r.key) {
		d.seq = append(d.seq, p.blocks[b].acts...)
	}
	own := rnd.n(3) == 0
	for i, a := range d.seq {
		d.pos[a] = int32(i)
		d.s.lb[a] = noPath
		d.mode[a] = -1
		switch {
		case own && rnd.n(3) > 0:
			d.mode[a] = d.s.pl[a].mode
		case len(p.acts[a].modes) > 1 && rnd.n(12) == 0 && len(p.acts[a].links) == 0:
			d.mode[a] = int32(rnd.n(len(p.acts[a].modes)))
		}
	}
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
	d.base, d.s.cap = before, Forever
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

// choose marks the blocks to be taken out.
func (r *rebuilder) choose() {
	p, rnd := r.p, &r.r
	size := 2 + rnd.n(4)
	if rnd.n(6) == 0 {
		size = 4 + rnd.n(8)
	}
	size = min(size, max(1, len(p.blocks)/2))
	switch k := rnd.n(10); {
	case k < 7 && r.pickLate() >= 0:
		r.around(r.late[rnd.n(len(r.late))], size)
	case k < 9:
		r.around(int32(rnd.n(len(p.acts))), size)
	default:
		for range size {
			r.take(p.blockOf[rnd.n(len(p.acts))])
		}
	}
}

// pickLate lists the activities that end after their due time and returns their number less one.
func (r *rebuilder) pickLate() int {
	if r.listed {
		return len(r.late) - 1
	}
	r.late, r.listed = r.late[:0], true
	for a := range r.p.acts {
		if c := &r.p.acts[a]; c.weight > 0 && !c.fixed && r.d.s.pl[a].end > c.due {
			r.late = append(r.late, int32(a))
		}
	}
	return len(r.late) - 1
}

// around marks the block of an activity, blocks that it depends on, and some that stand in their way.
func (r *rebuilder) around(a int32, size int) {
	p, rnd := r.p, &r.r
	b := p.blockOf[a]
	r.take(b)
	for len(r.taken) < size && rnd.n(3) > 0 && len(p.blocks[b].preds) > 0 {
		b = p.blocks[b].preds[rnd.n(len(p.blocks[b].preds))]
		r.take(b)
	}
	if len(r.taken) == 0 {
		return
	}
	for tries := 0; len(r.taken) < size && tries < 3*size; tries++ {
		from := p.blocks[r.taken[rnd.n(len(r.taken))]]
		r.rivals(from.acts[rnd.n(len(from.acts))])
		if len(r.rival) > 0 {
			r.take(r.rival[rnd.n(len(r.rival))])
		}
	}
}

// rivals lists the blocks of what is in the vessels that a could use, or takes a resource that a needs, shortly before
// or while it runs.
func (r *rebuilder) rivals(a int32) {
	p, d := r.p, r.d
	r.rival = r.rival[:0]
	x := &d.s.pl[a]
	reach := (x.end - x.start) + 1
	from, to := x.start-reach-int64(r.r.n(3))*reach, x.end
	for mi := range p.acts[a].modes {
		for _, u := range p.acts[a].modes[mi].uses {
			for i := d.s.firstAfter(u.vessel, to) - 1; i >= 0; i-- {
				o := &d.s.occ[u.vessel][i]
				if o.rel < from {
					break
				}
				if o.act != a && !p.acts[o.act].fixed {
					r.rival = append(r.rival, p.blockOf[o.act])
				}
			}
		}
	}
	if len(r.rival) > 0 && r.r.n(3) > 0 {
		return
	}
	// Somebody who shares a resource: a few samples are enough.
	for range 24 {
		b := int32(r.r.n(len(p.acts)))
		y := &d.s.pl[b]
		if y.end >= from && y.start <= to && !p.acts[b].fixed && sharesNeed(&p.acts[a].modes[x.mode], &p.acts[b].modes[y.mode]) {
			r.rival = append(r.rival, p.blockOf[b])
		}
	}
}

func sharesNeed(a, b *cmode) bool {
	for i := range a.dems {
		for j := range b.dems {
			if a.dems[i].res == b.dems[j].res {
				return true
			}
		}
	}
	return false
}

// A long memory finds better plans and takes longer to do so: it begins short and doubles whenever nothing better has
// come for a while.
const (
	shortMemory = 80
	longMemory  = 5000
	// patience is how many times its memory a search goes on without a better plan.
	patience = 20
)

// rebuildWorkers search at the same time; their number is part of what makes a result repeatable.
const rebuildWorkers = 2

// longRound is the greatest number of steps that each worker makes before they compare their plans.
const longRound = 400

// rebuild searches by taking out and placing anew. The workers meet after a number of steps, not of seconds, so that the
// result does not depend on how fast each of them is.
func (s *searcher) rebuild() {
	var workers []*rebuilder
	for range rebuildWorkers {
		r := s.newRebuilder(s.best, s.r.next())
		if r == nil {
			return
		}
		workers = append(workers, r)
	}
	for round := 10; !s.halted(); round = min(2*round, longRound) {
		n := min(round, max(1, (s.budget-s.used)/len(workers)))
		var wait sync.WaitGroup
		for _, r := range workers {
			wait.Go(func() { r.search(n, s.opt.Stop) })
		}
		wait.Wait()
		s.used += n * len(workers)
		for _, r := range workers {
			if r.best.cost.Less(s.best.cost) {
				s.best, s.plan = r.best, r.plan
				s.tell(true)
			}
		}
		s.tell(false)
		for _, r := range workers {
			if r.stall > patience*len(r.memory) && !r.restart(s.best) {
				return
			}
		}
	}
}

// restart goes on from a solution with a longer memory.
func (r *rebuilder) restart(sol *solution) bool {
	if !r.load(sol) {
		return false
	}
	r.best, r.least, r.pending = sol, sol.cost, false
	r.remember(min(2*len(r.memory), longMemory))
	return true
}

// search makes n steps of late acceptance.
func (r *rebuilder) search(n int, stop func() bool) {
	for range n {
		if stop != nil && stop() {
			break
		}
		slot := &r.memory[r.steps%len(r.memory)]
		limit := *slot
		if limit.Less(r.cost) {
			limit = r.cost
		}
		r.step(&limit)
		if r.cost.Less(*slot) {
			*slot = r.cost
		}
		r.steps++
		r.stall++
	}
	r.keep()
}

// solution copies the present plan; its genotype follows the plan.
func (r *rebuilder) solution() *solution {
	p, d := r.p, r.d
	n := len(p.acts)
	sol := &solution{cost: r.cost, start: make([]int64, n), end: make([]int64, n), mode: make([]int32, n)}
	g := p.plain(make([]float64, n))
	g.tight = d.s.tight
	var seq []int32
	slots := slotHint{}
	for a := range n {
		x := &d.s.pl[a]
		sol.start[a], sol.end[a], sol.mode[a] = x.start, x.end, x.mode
		g.mode[a] = x.mode
		if !p.acts[a].fixed {
			g.after[a] = x.start
			seq = append(seq, int32(a))
		}
		for _, u := range p.acts[a].modes[x.mode].uses {
			if o := &d.s.occ[u.vessel][d.s.stay(u.vessel, int32(a), x.start)]; o.cto > o.cfrom {
				slots[[2]int32{int32(a), u.vessel}] = o.cfrom
			}
		}
	}
	slices.SortStableFunc(seq, func(a, b int32) int { return cmp.Compare(sol.start[a], sol.start[b]) })
	g.seq, g.slots = seq, &slots
	g.order = p.topological(g.order, p.blockKeys(startKeys(sol)))
	sol.geno = g
	return sol
}
