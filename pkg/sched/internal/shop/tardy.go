package shop

// tardyMoves is the landscape of weighted tardiness. A proposal swaps two neighbours on the longest path to the end of a
// late job, or moves an operation of that path to another mode; its value is computed exactly (van Laarhoven, Aarts and
// Lenstra, "Job shop scheduling by simulated annealing", Operations Research 1992, for the swaps; from memory). As many
// proposals swap any two neighbours: without that drift, which costs nothing while the jobs concerned are on time, the
// search got stuck for good on several published instances.
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
	if ok && a.r.n(2) == 0 {
		m, ok = a.drift()
	}
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
		a.swap(&m, before)
	}
	return m, true
}

// drift swaps any two neighbours on a resource: late jobs may gain nothing by it now, but other moves become possible.
func (a *tardyMoves) drift() (m move, ok bool) {
	g := a.g
	m.u = int32(a.r.n(g.n))
	p := g.v[m.u].mp[a.r.n(g.slots)]
	if p == g.none() || p == g.v[m.u].jp {
		return m, false
	}
	a.swap(&m, p)
	return m, true
}

// swap completes m to a move of m.u before its neighbour p, or, now and then, of one of the two past further operations of
// the block on the longest path that they belong to.
func (a *tardyMoves) swap(m *move, p int32) {
	g := a.g
	if a.r.n(2) == 0 {
		if k := a.shared(m.u, p); a.r.next()&1 == 0 {
			for q := g.v[p].mp[k]; q != g.none() && g.e[q] == g.e[p]-g.v[p].d && a.r.n(3) != 0; q = g.v[p].mp[k] {
				p = q
			}
		} else {
			u := m.u
			for q := g.v[u].ms[k]; q != g.none() && g.e[q]-g.v[q].d == g.e[u] && a.r.n(3) != 0; q = g.v[u].ms[k] {
				u = q
			}
			m.u, m.mode, m.after = p, g.mode[p], g.v[p].mp
			m.after[k] = u
			return
		}
	}
	m.mode, m.after = g.mode[m.u], g.v[m.u].mp
	for k := range g.slots {
		if g.modeRes[m.mode][k] >= 0 && g.modeRes[m.mode][k] == g.modeRes[g.mode[p]][k] {
			m.after[k] = g.v[p].mp[k]
		}
	}
}

// shared returns a slot in which u follows p directly.
func (a *tardyMoves) shared(u, p int32) int {
	for k := range a.g.slots {
		if a.g.v[u].mp[k] == p {
			return k
		}
	}
	return 0
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
