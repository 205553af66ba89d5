package sched

// solution is a genotype with what its plan looks like.
type solution struct {
	geno  *genotype
	cost  Objective
	start []int64
	end   []int64
	mode  []int32
	chain *critical // lazily built
}

// tally counts why decodings failed.
type tally map[failure]int

// searcher looks for a better and better plan.
type searcher struct {
	p       *problem
	opt     *Options
	d       *decoder
	mirror  *decoder // of the reversed problem, nil where that has no meaning
	keys    *keys
	r       rng
	bound   Objective
	used    int
	budget  int
	stopped bool
	best    *solution
	plan    Plan
	why     tally
	moves   []move
	hit     []int32 // activities of the blocks of a warm plan that could not stay where they were, one of each
	tell    func(improved bool)
	rents   *rents // nil until the bound is raised
	noRents bool   // there is nothing to raise it by
}

// halted reports whether the search must end: budget, Stop or proof.
func (s *searcher) halted() bool {
	s.raiseBound()
	if s.stopped || s.used >= s.budget || s.proved() {
		return true
	}
	if s.opt.Stop != nil && s.opt.Stop() {
		s.stopped = true
	}
	return s.stopped
}

// proved reports whether the best plan reaches the bound.
func (s *searcher) proved() bool {
	return s.best != nil && !s.bound.Less(s.best.cost)
}

// try decodes g. It returns nil when there is no plan, it is above limit, or the search was told to stop.
func (s *searcher) try(g *genotype, limit *Objective) (*solution, failure) {
	if s.used++; s.used%200 == 0 {
		s.tell(false)
	}
	out, f := s.d.decode(g, limit)
	switch out {
	case stopping:
		s.stopped = true
		return nil, failure{act: -1}
	case failed:
		if s.best == nil {
			f.newLb, f.culprit = 0, -1
			s.why[f]++
		}
		return nil, f
	case pruned:
		return nil, failure{act: -1}
	}
	cost := s.d.objective()
	if limit != nil && limit.Less(cost) {
		return nil, failure{act: -1}
	}
	sol := &solution{geno: g, cost: cost}
	n := len(s.p.acts)
	sol.start, sol.end, sol.mode = make([]int64, n), make([]int64, n), make([]int32, n)
	for a := range s.d.s.pl {
		x := &s.d.s.pl[a]
		sol.start[a], sol.end[a], sol.mode[a] = x.start, x.end, x.mode
	}
	if s.best == nil || cost.Less(s.best.cost) {
		s.best = sol
		s.plan = s.d.s.plan(cost)
		s.tell(true)
	}
	return sol, failure{act: -1}
}

// run does the whole search. It answers a contradiction if it finds that there is no plan.
func (s *searcher) run() (impossible *Conflict) {
	if s.opt.Warm == nil && !s.opt.rebuildAlways {
		if v := s.p.asShop(); v != nil && s.runShop(v) {
			return nil
		}
		if v := s.p.asProject(); v != nil {
			if done, impossible := s.runProject(v); done {
				return impossible
			}
		}
	}
	s.construct()
	if s.best == nil {
		return nil
	}
	if len(s.p.blocks) >= 12 && s.delayPays() || s.opt.rebuildAlways {
		s.rebuild()
	}
	s.improve()
	return nil
}

// manyActivities is from where on a first plan takes so long that a few must do.
const manyActivities = 3000

// construct tries the warm plan and every rule, with repairs until the first plan exists, then the budget's remainder
// on random rules if none is found.
func (s *searcher) construct() {
	if s.takeOver() {
		return
	}
	for i := 0; i < ruleCount && !s.halted(); i++ {
		s.repair(s.p.plain(s.p.rule(i, s.keys)), 12)
		if s.best != nil && i >= 2 && (s.used > s.budget/3 || len(s.p.acts) > manyActivities) {
			break // improving a plan pays more than another first one
		}
	}
	for s.best == nil && !s.halted() {
		raw := s.p.rule(s.r.n(ruleCount), s.keys)
		spread := 0.05 + 0.5*s.r.unit()
		lo, hi := spanOf(raw)
		for a := range raw {
			raw[a] += (hi - lo) * spread * s.r.unit()
		}
		g := s.p.plain(raw)
		s.scatter(g)
		s.repair(g, 20)
	}
}

// takeOver takes over the warm plan. It reports whether that makes other first plans needless.
func (s *searcher) takeOver() bool {
	g, start := s.warm()
	if g == nil || s.halted() {
		return false
	}
	ok, most := s.salvage(g, start)
	if s.stopped {
		return true
	}
	if !ok || s.p.in.Weights.Change == 0 && len(s.p.acts) <= manyActivities {
		s.repair(g, 30) // the plan without its gaps
	}
	return ok && most
}

// scatter varies what a plain genotype leaves to the decoder: the order within blocks, some modes, some waits.
func (s *searcher) scatter(g *genotype) {
	g.tight = len(s.p.stores) > 0 && s.r.n(2) == 0
	modes, waits := s.r.n(3) == 0, s.r.n(4) == 0
	for _, b := range g.order {
		if len(g.inner[b]) > 1 && s.r.n(2) == 0 {
			g.inner[b] = s.shuffledInner(g.inner[b])
		}
		for _, a := range g.inner[b] {
			if modes && s.r.n(3) == 0 {
				s.setMode(g, a)
			}
			if room := s.p.ls[a] - s.p.es[a]; waits && room > 0 && s.r.n(4) == 0 {
				g.after[a] = s.p.es[a] + int64(s.r.next()%uint64(room))
			}
		}
	}
}

func spanOf(x []float64) (lo, hi float64) {
	for i, v := range x {
		if i == 0 || v < lo {
			lo = v
		}
		if i == 0 || v > hi {
			hi = v
		}
	}
	return lo, hi
}

// repair decodes g; when an activity finds no place its block (with what it needs) is moved ahead of what was there
// before it, and decoding is tried again, a number of times.
func (s *searcher) repair(g *genotype, tries int) {
	for t := 0; t <= tries && !s.halted(); t++ {
		sol, f := s.try(g, nil)
		if sol != nil || f.act < 0 || s.best != nil || s.p.acts[f.act].fixed {
			return
		}
		g = g.clone()
		g.seq = nil
		b := s.p.blockOf[f.act]
		if f.kind == ConflictLink || t%4 == 3 {
			for _, a := range s.p.blocks[b].acts {
				s.setMode(g, a)
			}
		}
		moved := len(g.inner[b]) > 1
		if moved {
			g.inner[b] = s.promoteInner(g.inner[b], f.act)
		}
		if s.promote(g, b, t) {
			moved = true
		}
		if !moved || s.r.n(8) == 0 {
			s.jolt(g)
		}
	}
}

// jolt gives a few random activities another mode or a later start.
func (s *searcher) jolt(g *genotype) {
	for range 1 + s.r.n(3) {
		inner := g.inner[g.order[s.r.n(len(g.order))]]
		a := inner[s.r.n(len(inner))]
		room := s.p.ls[a] - s.p.es[a]
		switch {
		case s.r.n(2) == 0:
			s.setMode(g, a)
		case g.after[a] > noPath || room <= 0:
			g.after[a] = noPath
		default:
			g.after[a] = s.p.es[a] + int64(s.r.next()%uint64(room))
		}
	}
}

// promote moves block b and the blocks that it needs ahead by half of the way (at the first try) or to the front.
func (s *searcher) promote(g *genotype, b int32, try int) bool {
	at := 0
	for i, x := range g.order {
		if x == b {
			at = i
		}
	}
	to := at / 2
	if try%3 == 2 {
		to = 0
	}
	return s.hoist(g, at, to)
}

// hoist moves the block at index at to index to, and with it those of the blocks between that it needs. It reports
// whether that changed the order.
func (s *searcher) hoist(g *genotype, at, to int) bool {
	if to >= at {
		return false
	}
	need := map[int32]bool{g.order[at]: true}
	seg := g.order[to : at+1]
	for i := len(seg) - 1; i >= 0; i-- {
		if need[seg[i]] {
			for _, q := range s.p.blocks[seg[i]].preds {
				need[q] = true
			}
		}
	}
	var first, second []int32
	for _, b := range seg {
		if need[b] {
			first = append(first, b)
		} else {
			second = append(second, b)
		}
	}
	copy(seg, append(first, second...))
	return len(second) > 0
}

// promoteInner moves an activity somewhat towards the front of its block.
func (s *searcher) promoteInner(acts []int32, a int32) []int32 {
	out := append([]int32(nil), acts...)
	for i, x := range out {
		if x == a && i > 0 {
			to := s.r.n(i)
			copy(out[to+1:i+1], out[to:i])
			out[to] = a
			break
		}
	}
	return out
}

// shuffledInner makes a few random swaps.
func (s *searcher) shuffledInner(acts []int32) []int32 {
	out := append([]int32(nil), acts...)
	for range 1 + s.r.n(len(out)) {
		i := s.r.n(len(out) - 1)
		out[i], out[i+1] = out[i+1], out[i]
	}
	return out
}

// improve is a late-acceptance local search (Burke and Bykov, European Journal of Operational Research 2017, the idea
// from memory): a neighbour replaces the current plan if it is no worse than the current one or than the one some steps
// ago. After a long stall it goes on from the best plan.
func (s *searcher) improve() {
	cur := s.best
	memory := make([]Objective, 40)
	for i := range memory {
		memory[i] = cur.cost
	}
	s.moves = s.chooseMoves(cur)
	s.prepareMirror()
	if len(s.moves) == 0 {
		return
	}
	patience := max(200, s.budget/8)
	stall := 0
	for step := 0; !s.halted(); step++ {
		slot := step % len(memory)
		limit := memory[slot]
		if limit.Less(cur.cost) {
			limit = cur.cost
		}
		best := s.best
		g := s.neighbour(cur)
		if g == nil {
			s.used++
			continue
		}
		if s.mirror != nil && s.r.n(3) == 0 {
			if sol, _ := s.try(g, nil); sol != nil {
				if j := s.justify(sol); j != nil && j.cost.Less(sol.cost) {
					sol = j
				}
				if !limit.Less(sol.cost) {
					cur = sol
				}
			}
		} else if sol, _ := s.try(g, &limit); sol != nil {
			cur = sol
		}
		if cur.cost.Less(memory[slot]) {
			memory[slot] = cur.cost
		}
		if stall++; s.best != best {
			stall = 0
		}
		if stall > patience {
			cur, stall = s.best, 0
			for i := range memory {
				memory[i] = worsened(cur.cost, i)
			}
		}
	}
}

// worsened gives the memory after a restart a little room above the best cost.
func worsened(o Objective, i int) Objective {
	o.First += o.First / 200 * int64(i%4)
	o.Rest += o.Rest / 200 * int64(i%4)
	return o
}
