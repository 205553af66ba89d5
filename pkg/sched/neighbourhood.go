package sched

// choice is how a rebuilder decides what to take out and how to put it back.
type choice struct {
	kinds  bandit // what is taken out
	rules  bandit // in which order it is placed
	styles bandit // how each activity is placed
	kind   int
	rule   int
	style  int
	seed   int32     // the activity that a neighbourhood grew from, or -1
	calm   bool      // places of a published plan count
	key    []float64 // per block
	rival  []int32   // scratch: blocks in the way
	done   []bool    // scratch: per block, listed by order
}

// What is taken out. Each grows from one activity.
const (
	kindLate     = iota // a late batch, what it depends on, and rivals for what it uses
	kindBlockers        // a late batch and what ends just when one of its activities begins, and so on backwards
	kindRandom          // the same around any activity
	kindPool            // what is in the alternative vessels of one activity at about the same time
	kindScatter         // blocks from anywhere
	kindFamily          // what is in one vessel around a cleaning
	kindHit             // around what a disturbance has hit
	kindAway            // what is away from its published place, and who is there
	kindCount
)

// In which order blocks are placed.
const (
	ruleUrgent = iota // latest start that keeps the due times
	ruleDue           // due time
	ruleEarly         // earliest possible start
	ruleAsWas         // present start
	ruleMixed         // any
	ruleSeed          // the one that the neighbourhood grew from first, the others as they were
	ruleCountOfOrder
)

// How activities are placed.
const (
	styleEarly = iota // as early as possible in the vessel where that ends first
	styleOwn          // mostly in the vessels where they were
	styleStay         // all but the seed's block not before they were
	styleCalm         // as published, or later
	styleLater        // some not before a moment at which it is cheaper
	styleCount
)

func (r *rebuilder) newChoice() choice {
	c := choice{key: make([]float64, len(r.p.blocks)), done: make([]bool, len(r.p.blocks)), seed: -1}
	w := &r.p.in.Weights
	for i := range r.p.in.Activities {
		if pr := r.p.in.Activities[i].Previous; pr != nil && w.Change > 0 && (pr.MoveWeight > 0 || pr.ModeWeight > 0) {
			c.calm = true
		}
	}
	kinds := make([]float64, kindCount)
	kinds[kindLate], kinds[kindBlockers], kinds[kindRandom], kinds[kindPool], kinds[kindScatter] = 5, 3, 2, 2, 1
	for i := range r.p.vessels {
		if r.p.vessels[i].setup != nil {
			kinds[kindFamily] = 1
		}
	}
	styles := make([]float64, styleCount)
	styles[styleEarly], styles[styleOwn], styles[styleStay] = 5, 3, 2
	if w.Overtime > 0 && len(r.p.in.Calendars) > 0 || w.Freshness > 0 {
		styles[styleLater] = 1
	}
	if c.calm {
		kinds[kindAway], styles[styleCalm] = 4, 10
	}
	if len(r.hit) > 0 {
		kinds[kindHit] = 8
	}
	c.kinds, c.styles = newBandit(kinds...), newBandit(styles...)
	c.rules = newBandit(2, 1, 1, 2, 1, 2)
	return c
}

// choose marks the blocks to be taken out.
func (r *rebuilder) choose() {
	rnd := &r.r
	r.kind, r.rule, r.style = r.kinds.pick(rnd), r.rules.pick(rnd), r.styles.pick(rnd)
	if len(r.p.stores) > 0 {
		r.d.s.tight = rnd.n(4) == 0
	}
	size := 2 + rnd.n(4)
	if rnd.n(6) == 0 {
		size = 4 + rnd.n(8)
	}
	size = min(size, max(3, len(r.p.blocks)/2))
	r.seed = r.grain()
	switch r.kind {
	case kindBlockers:
		r.blockers(size)
	case kindPool:
		r.pool(size)
	case kindScatter:
		for range size {
			r.take(r.p.blockOf[rnd.n(len(r.p.acts))])
		}
	case kindFamily:
		r.family(size)
	case kindAway:
		r.athome(size)
	default:
		r.around(size)
	}
}

// grain is the activity from which a neighbourhood grows.
func (r *rebuilder) grain() int32 {
	rnd := &r.r
	a := int32(-1)
	switch r.kind {
	case kindLate, kindBlockers:
		a = r.late.draw(rnd)
	case kindPool, kindFamily:
		if rnd.n(3) > 0 {
			a = r.late.draw(rnd)
		}
	case kindHit:
		a = r.hit[rnd.n(len(r.hit))]
	case kindAway:
		a = r.away.draw(rnd)
	}
	if a < 0 {
		a = int32(rnd.n(len(r.p.acts)))
	}
	return a
}

// Rewards of a step; a better plan than ever is what counts, and a step that is kept leads away from where the search is.
const (
	rewardBest   = 20
	rewardBetter = 6
	rewardKept   = 1
)

// reward tells the bandits how a step went, given the cost before it.
func (r *rebuilder) reward(kept bool, was *Objective) {
	earned := 0.0
	switch {
	case kept && r.cost.Less(r.least):
		earned = rewardBest
	case kept && r.cost.Less(*was):
		earned = rewardBetter
	case kept && was.Less(r.cost):
		earned = rewardKept
	}
	work := 4.0
	for _, b := range r.taken {
		work += float64(len(r.p.blocks[b].acts))
	}
	r.kinds.pay(r.kind, earned, work)
	r.rules.pay(r.rule, earned, work)
	r.styles.pay(r.style, earned, work)
}

// around marks the block of the seed, blocks that it depends on, and some that stand in their way.
func (r *rebuilder) around(size int) {
	p, rnd := r.p, &r.r
	b := p.blockOf[r.seed]
	r.take(b)
	for len(r.taken) < size && rnd.n(3) > 0 && len(p.blocks[b].preds) > 0 {
		b = p.blocks[b].preds[rnd.n(len(p.blocks[b].preds))]
		r.take(b)
	}
	for tries := 0; len(r.taken) > 0 && len(r.taken) < size && tries < 3*size; tries++ {
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
	x := &r.d.s.pl[a]
	reach := (x.end - x.start) + 1
	from, to := x.start-reach-int64(r.r.n(3))*reach, x.end
	r.rival = r.rival[:0]
	r.inVessels(a, from, to)
	if len(r.rival) == 0 || r.r.n(3) == 0 {
		r.sharing(a, from, to)
	}
}

// inVessels lists the blocks of what is in the vessels that a could use between two moments.
func (r *rebuilder) inVessels(a int32, from, to int64) {
	p, s := r.p, r.d.s
	for mi := range p.acts[a].modes {
		for _, u := range p.acts[a].modes[mi].uses {
			for i := s.firstAfter(u.vessel, to) - 1; i >= 0; i-- {
				o := &s.occ[u.vessel][i]
				if o.rel < from {
					break
				}
				if o.act != a && !p.acts[o.act].fixed {
					r.rival = append(r.rival, p.blockOf[o.act])
				}
			}
		}
	}
}

// sharing lists the blocks of a few activities that share a resource with a between two moments: some from the vessels,
// which know what is in them at a moment, and some from anywhere, since not everything is in a vessel.
func (r *rebuilder) sharing(a int32, from, to int64) {
	p, s, rnd := r.p, r.d.s, &r.r
	m := &p.acts[a].modes[s.pl[a].mode]
	if len(m.dems) == 0 {
		return
	}
	add := func(b int32) {
		y := &s.pl[b]
		if b != a && y.end >= from && y.start <= to && !p.acts[b].fixed && sharesNeed(m, &p.acts[b].modes[y.mode]) {
			r.rival = append(r.rival, p.blockOf[b])
		}
	}
	for range 8 {
		if len(p.vessels) > 0 {
			v := int32(rnd.n(len(p.vessels)))
			t := from + int64(rnd.next()%uint64(to-from+1))
			if i := s.firstAfter(v, t) - 1; i >= 0 {
				add(s.occ[v][i].act)
			}
		}
		add(int32(rnd.n(len(p.acts))))
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

// blockers marks the seed's block and, going backwards, what is in the way just before the activities of marked blocks.
func (r *rebuilder) blockers(size int) {
	p, rnd := r.p, &r.r
	r.take(p.blockOf[r.seed])
	for tries := 0; len(r.taken) > 0 && len(r.taken) < size && tries < 4*size; tries++ {
		b := r.taken[max(0, len(r.taken)-1-rnd.n(2))]
		acts := p.blocks[b].acts
		a := acts[rnd.n(len(acts))]
		x := &r.d.s.pl[a]
		r.rival = r.rival[:0]
		r.inVessels(a, x.start-1, x.start-1)
		if len(r.rival) == 0 {
			r.sharing(a, x.start-1, x.start-1)
		}
		if len(r.rival) > 0 {
			r.take(r.rival[rnd.n(len(r.rival))])
		}
	}
}

// pool marks blocks that are in the alternative vessels of one activity of the seed's block at about the same time.
func (r *rebuilder) pool(size int) {
	p, rnd := r.p, &r.r
	acts := p.blocks[p.blockOf[r.seed]].acts
	a := acts[rnd.n(len(acts))]
	x := &r.d.s.pl[a]
	reach := (x.end-x.start)*int64(1+rnd.n(3))/2 + 1
	r.rival = r.rival[:0]
	r.inVessels(a, x.start-reach, x.start+reach)
	if len(r.rival) == 0 {
		r.sharing(a, x.start-reach, x.start+reach)
	}
	r.take(p.blockOf[a])
	for tries := 0; len(r.rival) > 0 && len(r.taken) < size && tries < 3*size; tries++ {
		r.take(r.rival[rnd.n(len(r.rival))])
	}
}

// family marks what is in one vessel around a stay that is cleaned for, and what is of its kind nearby.
func (r *rebuilder) family(size int) {
	p, s, rnd := r.p, r.d.s, &r.r
	acts := p.blocks[p.blockOf[r.seed]].acts
	v := int32(-1)
	t := int64(0)
	for tries := 0; tries < 6 && v < 0; tries++ {
		a := acts[rnd.n(len(acts))]
		uses := p.acts[a].modes[s.pl[a].mode].uses
		if len(uses) == 0 {
			continue
		}
		if u := uses[rnd.n(len(uses))].vessel; p.vessels[u].setup != nil {
			v, t = u, s.pl[a].start
		}
	}
	r.take(p.blockOf[r.seed])
	if v < 0 {
		return
	}
	o := s.occ[v]
	at := s.firstAfter(v, t) - 1
	lo, hi := max(0, at-4), min(len(o), at+5)
	state := p.vessels[v].states[o[at].act]
	for tries := 0; len(r.taken) < size && tries < 3*size; tries++ {
		x := &o[lo+rnd.n(hi-lo)]
		if p.vessels[v].states[x.act] == state || rnd.n(2) == 0 {
			r.take(p.blockOf[x.act])
		}
	}
}

// athome marks the seed's block and what is where the published plan has its activities.
func (r *rebuilder) athome(size int) {
	p, rnd := r.p, &r.r
	b := p.blockOf[r.seed]
	r.take(b)
	r.rival = r.rival[:0]
	for _, a := range p.blocks[b].acts {
		if pr := p.in.Activities[a].Previous; pr != nil && r.away.at[a] >= 0 {
			x := &r.d.s.pl[a]
			r.inVessels(a, pr.Start, pr.Start+x.end-x.start)
		}
	}
	for tries := 0; len(r.rival) > 0 && len(r.taken) < size && tries < 2*size; tries++ {
		r.take(r.rival[rnd.n(len(r.rival))])
	}
}
