package shop

// tardyMoves is the landscape of weighted tardiness. A proposal swaps two neighbours on the longest path to the end of a
// late job, or moves an operation of that path to another mode; its value is computed exactly (van Laarhoven, Aarts and
// Lenstra, "Job shop scheduling by simulated annealing", Operations Research 1992, for the swaps; from memory).
type tardyMoves struct {
	g        *graph
	r        rng
	late     []int32
	oldE     []int32
	oldOrd   []int32
	oldRank  []int32
	oldPlan  plan
	oldMove  move
	flexible bool
}

func newTardyMoves(c *inst, seed uint64) *tardyMoves {
	a := &tardyMoves{
		g: newGraph(c), r: rng{seed}, late: make([]int32, 0, c.jobs), oldE: make([]int32, c.n+1), oldOrd: make([]int32, c.n),
		oldRank: make([]int32, c.n+1),
	}
	for v := range c.n {
		a.flexible = a.flexible || c.choice(int32(v))
	}
	return a
}

// choice reports whether an operation has several modes, or may go to several operators.
func (c *inst) choice(v int32) bool { return c.modeFrom[v+1]-c.modeFrom[v] > 1 }

// value returns the objective for the ends of the operations in e.
func (c *inst) value(e []int32) int64 {
	var sum, last int64
	for j := range c.jobs {
		if l := c.first[j+1]; l > c.first[j] {
			end := int64(e[l-1])
			last = max(last, end)
			sum += c.weight[j] * max(0, end-c.due[j])
		}
	}
	if c.tardy {
		return sum
	}
	return last
}

func (a *tardyMoves) save(p *plan, value int64) { a.g.save(p, value) }

func (a *tardyMoves) load(p *plan) int64 {
	if a.g.pool > 0 {
		a.g.dispatch(p.mode, p.ord)
	} else {
		a.g.build(p.mode, p.ord)
	}
	return a.g.value(a.g.e)
}

// propose implements landscape.
func (a *tardyMoves) propose(int64) (int64, bool) {
	g := a.g
	a.late = a.late[:0]
	for j := range g.jobs {
		if l := g.first[j+1]; l > g.first[j] && g.weight[j] > 0 && int64(g.e[l-1]) > g.due[j] {
			a.late = append(a.late, l-1)
		}
	}
	if len(a.late) == 0 {
		return 0, false
	}
	m, ok := a.pick(a.late[a.r.n(len(a.late))])
	if !ok {
		return 0, false
	}
	return a.try(&m)
}

// pick chooses a move at random among those on one longest path that ends with u.
func (a *tardyMoves) pick(u int32) (m move, ok bool) {
	g, none := a.g, a.g.none()
	seen := 0
	reassign := false
	var before int32
	for u >= 0 {
		nd := &g.v[u]
		at := g.e[u] - nd.d
		if a.flexible && g.choice(u) {
			if seen++; seen == 1 || a.r.n(seen) == 0 {
				m.u, reassign = u, true
			}
		}
		next := int32(-1)
		if nd.jp != none && g.e[nd.jp] == at {
			next = nd.jp
		}
		for k := range g.slots {
			p := nd.mp[k]
			if p == none || g.e[p] != at || p == nd.jp {
				continue
			}
			if seen++; seen == 1 || a.r.n(seen) == 0 {
				m.u, before, reassign = u, p, false
			}
			if next < 0 || a.r.next()&1 == 0 {
				next = p
			}
		}
		u = next
	}
	switch {
	case seen == 0:
		return m, false
	case reassign:
		a.reassign(&m)
	default:
		m.mode = g.mode[m.u]
		for k := range g.slots {
			m.after[k] = g.v[m.u].mp[k]
			if m.after[k] == before {
				m.after[k] = g.v[before].mp[k]
			}
		}
	}
	return m, true
}

// reassign completes m to a move of m.u to any mode, at a random time between the earliest and the latest that the job
// leaves room for.
func (a *tardyMoves) reassign(m *move) {
	g := a.g
	from, to := g.modeFrom[m.u], g.modeFrom[m.u+1]
	m.mode = from + int32(a.r.n(int(to-from)))
	nd := &g.v[m.u]
	at := max(g.e[nd.jp], nd.rel)
	latest := g.e[m.u] - nd.d
	if nd.js != g.none() {
		latest = max(latest, g.e[nd.js]-g.v[nd.js].d-nd.d)
	}
	if latest > at {
		at += int32(a.r.n(int(latest - at + 1)))
	}
	for k := range g.slots {
		m.after[k] = g.none()
		r := g.modeRes[m.mode][k]
		if r < 0 {
			continue
		}
		for w := g.tail[r]; w != g.none(); w = g.v[w].mp[k] {
			if w != m.u && 2*g.e[w]-g.v[w].d <= 2*at+g.modeDur[m.mode] {
				m.after[k] = w
				break
			}
		}
	}
}

// try makes the move and values it.
func (a *tardyMoves) try(m *move) (int64, bool) {
	g := a.g
	if g.pool > 0 {
		g.save(&a.oldPlan, 0)
	} else {
		copy(a.oldE, g.e)
		copy(a.oldOrd, g.ord)
		copy(a.oldRank, g.rank)
		a.oldMove.u, a.oldMove.mode, a.oldMove.after = m.u, g.mode[m.u], g.v[m.u].mp
	}
	from, _, ok := g.relocate(m)
	if !ok {
		return 0, false
	}
	g.forward(from)
	if g.pool > 0 {
		g.rechain()
	}
	return g.value(g.e), true
}

// undo implements landscape.
func (a *tardyMoves) undo() {
	g := a.g
	if g.pool > 0 {
		g.build(a.oldPlan.mode, a.oldPlan.ord)
		return
	}
	m := &a.oldMove
	g.unlink(m.u)
	g.attach(m.u, m.mode, &m.after)
	g.relink(m.u)
	copy(g.e, a.oldE)
	copy(g.ord, a.oldOrd)
	copy(g.rank, a.oldRank)
}
