package sched

// move changes a copy of the current genotype; it reports whether it changed anything.
type move struct {
	name string
	do   func(s *searcher, cur *solution, g *genotype) bool
}

// chooseMoves lists the moves that make sense for the instance; frequent ones several times.
func (s *searcher) chooseMoves(cur *solution) []move {
	var out []move
	add := func(n int, name string, do func(*searcher, *solution, *genotype) bool) {
		for range n {
			out = append(out, move{name, do})
		}
	}
	n := len(cur.geno.order)
	if n > 1 {
		add(6, "advance", (*searcher).moveAdvance)
		add(3, "shift", (*searcher).moveShift)
		add(2, "window", (*searcher).moveWindow)
		add(1, "resort", (*searcher).moveResort)
	}
	choice, inner := false, false
	for _, b := range cur.geno.order {
		inner = inner || len(cur.geno.inner[b]) > 1
		for _, a := range cur.geno.inner[b] {
			choice = choice || len(s.p.acts[a].modes) > 1
		}
	}
	if choice {
		add(5, "mode", (*searcher).moveMode)
		add(1, "free", (*searcher).moveFree)
	}
	if inner {
		add(4, "inner", (*searcher).moveInner)
	}
	if n > 0 && s.delayPays() {
		add(4, "delay", (*searcher).moveDelay)
	}
	if n > 0 && len(s.p.stores) > 0 {
		add(1, "tight", func(_ *searcher, _ *solution, g *genotype) bool { g.tight = !g.tight; return true })
	}
	return out
}

// delayPays reports whether a later start can be better by itself, so that earliest placing is not enough.
func (s *searcher) delayPays() bool {
	in := s.p.in
	w := &in.Weights
	if w.Change > 0 || w.Overtime > 0 && len(in.Calendars) > 0 || len(in.Stores) > 0 {
		return true
	}
	for i := range in.Lags {
		if w.Freshness > 0 && in.Lags[i].FreshWeight > 0 || in.Lags[i].HasMax {
			return true
		}
	}
	return len(in.Holds) > 0 || len(in.Setups) > 0
}

// neighbour applies one or, now and then, several moves.
func (s *searcher) neighbour(cur *solution) *genotype {
	g := cur.geno.clone()
	if g.seq != nil && s.r.n(8) == 0 {
		g.seq = nil // leave the plan that was followed: blocks by their present starts, each as early as it can be
		if s.r.n(2) == 0 {
			s.loosen(g)
		}
		g.order = s.p.topological(g.order, s.p.blockKeys(startKeys(cur)))
	}
	if g.seq != nil {
		return s.nearNeighbour(cur, g)
	}
	n := 1
	switch s.r.n(10) {
	case 0:
		n = 3
	case 1, 2:
		n = 2
	}
	changed := false
	for range n {
		if s.moves[s.r.n(len(s.moves))].do(s, cur, g) {
			changed = true
		}
	}
	if !changed {
		return nil
	}
	return g
}

// loosen gives up the waits of a followed plan, other than for the sake of a published place.
func (s *searcher) loosen(g *genotype) {
	for a := range g.after {
		if pr := s.p.in.Activities[a].Previous; pr == nil || pr.MoveWeight == 0 || pr.Start != g.after[a] {
			g.after[a] = noPath
		}
	}
}

// moveAdvance takes an activity that keeps another one waiting on a critical chain and puts the waiting one before it.
func (s *searcher) moveAdvance(cur *solution, g *genotype) bool {
	c := s.chain(cur)
	if len(c.waits) == 0 {
		return s.moveShift(cur, g)
	}
	w := c.waits[s.r.n(len(c.waits))]
	bi, bj := s.p.blockOf[w.behind], s.p.blockOf[w.act]
	if bi == bj {
		g.inner[bj] = s.promoteInner(g.inner[bj], w.act)
		return true
	}
	at, to := -1, -1
	for i, b := range g.order {
		if b == bj {
			at = i
		}
		if b == bi {
			to = i
		}
	}
	if at < 0 || to < 0 {
		return false
	}
	if to < at {
		s.hoist(g, at, to)
		return true
	}
	// The waiting one is already decided first: let it choose again or wait less.
	s.setMode(g, w.act)
	return true
}

// moveShift moves a block to another index between its preds and succs.
func (s *searcher) moveShift(_ *solution, g *genotype) bool {
	n := len(g.order)
	i := s.r.n(n)
	b := g.order[i]
	lo, hi := i, i
	reach := 4 + s.r.n(n)
	for lo > 0 && i-lo < reach && !has(s.p.blocks[b].preds, g.order[lo-1]) {
		lo--
	}
	for hi < n-1 && hi-i < reach && !has(s.p.blocks[b].succs, g.order[hi+1]) {
		hi++
	}
	if lo == hi {
		return false
	}
	to := lo + s.r.n(hi-lo+1)
	if to == i {
		to = lo
	}
	if to < i {
		copy(g.order[to+1:i+1], g.order[to:i])
	} else {
		copy(g.order[i:to], g.order[i+1:to+1])
	}
	g.order[to] = b
	return to != i
}

func has(list []int32, x int32) bool {
	for _, y := range list {
		if y == x {
			return true
		}
	}
	return false
}

// moveWindow rebuilds a part of the order by a rule with noise and frees the modes in it (ruin and recreate).
func (s *searcher) moveWindow(cur *solution, g *genotype) bool {
	n := len(g.order)
	size := min(n, 3+s.r.n(max(2, min(40, n/3))))
	from := s.r.n(n - size + 1)
	seg := g.order[from : from+size]
	key := make([]float64, len(s.p.blocks))
	kind := s.r.n(3)
	for _, b := range seg {
		a := s.p.blocks[b].acts[0]
		switch kind {
		case 0:
			key[b] = float64(s.keys.latest[a])
		case 1:
			key[b] = float64(cur.start[a])
		default:
			key[b] = float64(cur.end[a])
		}
	}
	lo, hi := key[seg[0]], key[seg[0]]
	for _, b := range seg {
		lo, hi = min(lo, key[b]), max(hi, key[b])
	}
	spread := (hi - lo + 1) * s.r.unit()
	free := s.r.n(3) == 0
	for _, b := range seg {
		key[b] += spread * s.r.unit()
		if free {
			for _, a := range s.p.blocks[b].acts {
				g.mode[a] = -1
			}
		}
	}
	copy(seg, s.p.topological(append([]int32(nil), seg...), key))
	return true
}

// moveResort orders all blocks by their present starts, which lets the decoder close gaps, and now and then fixes the
// present modes.
func (s *searcher) moveResort(cur *solution, g *genotype) bool {
	key := make([]float64, len(s.p.acts))
	noise := float64(max(1, cur.cost.Makespan)) * 0.02 * s.r.unit()
	for a := range key {
		key[a] = float64(cur.start[a]) + noise*s.r.unit()
		if s.r.n(2) == 0 {
			g.mode[a] = cur.mode[a]
		}
	}
	g.order = s.p.topological(g.order, s.p.blockKeys(key))
	return true
}

// moveMode gives a random activity, more often a critical one, another mode.
func (s *searcher) moveMode(cur *solution, g *genotype) bool {
	a := s.pick(cur)
	for t := 0; t < 20 && len(s.p.acts[a].modes) < 2; t++ {
		a = s.pick(cur)
	}
	if len(s.p.acts[a].modes) < 2 || s.p.acts[a].fixed {
		return false
	}
	s.setMode(g, a)
	return true
}

// setMode chooses a random mode for a, or leaves it to the decoder, and mates linked activities with it.
func (s *searcher) setMode(g *genotype, a int32) {
	n := len(s.p.acts[a].modes)
	if n < 2 || s.p.acts[a].fixed {
		return
	}
	if s.r.n(4) == 0 && len(s.p.acts[a].links) == 0 {
		g.mode[a] = -1
		return
	}
	m := int32(s.r.n(n))
	for t := 0; t < n && s.d.allow != nil && !s.d.allow[a][m]; t++ {
		m = (m + 1) % int32(n)
	}
	g.mode[a] = m
	s.mate(g, a)
}

// mate gives the activities linked with a, directly or not, modes that go with that of a.
func (s *searcher) mate(g *genotype, a int32) {
	seen := map[int32]bool{a: true}
	todo := []int32{a}
	for len(todo) > 0 {
		x := todo[0]
		todo = todo[1:]
		for _, k := range s.p.acts[x].links {
			l := &s.p.links[k]
			y := l.other(x)
			if seen[y] || s.p.acts[y].fixed {
				continue
			}
			seen[y] = true
			if g.mode[x] >= 0 && g.mode[y] >= 0 && l.joins(x, g.mode[x], g.mode[y]) {
				continue
			}
			g.mode[y] = s.partner(l, x, y, g.mode[x])
			todo = append(todo, y)
		}
	}
}

// partner picks a random mode of y that goes with mode m of x, or -1.
func (s *searcher) partner(l *clink, x, y, m int32) int32 {
	if m < 0 {
		return -1
	}
	n := len(s.p.acts[y].modes)
	from := s.r.n(n)
	for i := range n {
		k := int32((from + i) % n)
		if l.joins(x, m, k) && s.d.allow[y][k] {
			return k
		}
	}
	return -1
}

// moveFree leaves the modes of a few activities to the decoder again.
func (s *searcher) moveFree(cur *solution, g *genotype) bool {
	changed := false
	for range 1 + s.r.n(8) {
		a := s.pick(cur)
		if g.mode[a] >= 0 {
			g.mode[a], changed = -1, true
		}
	}
	return changed
}

// moveInner changes the order within a block.
func (s *searcher) moveInner(cur *solution, g *genotype) bool {
	for range 20 {
		b := s.p.blockOf[s.pick(cur)]
		if n := len(g.inner[b]); n > 1 {
			if s.r.n(2) == 0 {
				g.inner[b] = s.promoteInner(g.inner[b], g.inner[b][1+s.r.n(n-1)])
			} else {
				g.inner[b] = s.shuffledInner(g.inner[b])
			}
			return true
		}
	}
	return false
}

// moveDelay asks for a later start of one activity: at an interesting moment, or no more.
func (s *searcher) moveDelay(cur *solution, g *genotype) bool {
	a := s.pick(cur)
	if s.p.acts[a].fixed {
		return false
	}
	if g.after[a] > noPath && s.r.n(2) == 0 {
		g.after[a] = noPath
		return true
	}
	t := noPath
	switch s.r.n(4) {
	case 0: // where the published plan has it
		if pr := s.p.in.Activities[a].Previous; pr != nil {
			t = pr.Start
		}
	case 1: // when something else ends
		t = cur.end[s.r.n(len(cur.end))]
	case 2: // at the next end of overtime or opening of its calendar
		m := &s.p.acts[a].modes[cur.mode[a]]
		if cal := m.cal[0]; cal != nil {
			t = cal.afterOvertime(cur.start[a])
		}
	default: // so that it ends when its successor begins
		t = s.lastChance(cur, a)
	}
	if t <= cur.start[a] && t <= g.after[a] || t >= s.p.to {
		return false
	}
	g.after[a] = t
	return true
}

// lastChance is the latest start of a that leaves the activities after it where they are.
func (s *searcher) lastChance(cur *solution, a int32) int64 {
	t := Forever
	dur := cur.end[a] - cur.start[a]
	for _, k := range s.p.acts[a].arcs {
		r := &s.p.arcs[k]
		if r.u != a {
			continue
		}
		x := cur.start[r.v]
		if r.vEnd {
			x = cur.end[r.v]
		}
		x -= r.w
		if r.uEnd {
			x -= dur
		}
		t = min(t, x)
	}
	if t == Forever {
		return noPath
	}
	return t
}

// afterOvertime is the first moment after t that is open and not overtime.
func (k *opening) afterOvertime(t int64) int64 {
	for _, o := range k.over {
		if o.End > t && o.Start <= t {
			t = o.End
		}
	}
	t = k.nextOpen(t + 1)
	for _, o := range k.over {
		if o.Start <= t && t < o.End {
			t = k.nextOpen(o.End)
		}
	}
	return t
}

// pick returns a free activity, in half of the cases one of a critical chain.
func (s *searcher) pick(cur *solution) int32 {
	if c := s.chain(cur); len(c.acts) > 0 && s.r.n(2) == 0 {
		return c.acts[s.r.n(len(c.acts))]
	}
	b := cur.geno.order[s.r.n(len(cur.geno.order))]
	acts := cur.geno.inner[b]
	return acts[s.r.n(len(acts))]
}
