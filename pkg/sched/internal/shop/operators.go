package shop

// A pool of identical operators is modelled as unary resources that each operation takes one of. Which one is of no
// matter, so the assignment is made anew after every move in the way that ties the fewest operations together.

// poolSlot is the slot of the operators.
func (c *inst) poolSlot() int { return c.slots - 1 }

// rechain assigns the operators anew for the starts as they are. No operation starts later after it.
func (g *graph) rechain() {
	ord := g.ord
	for i := 1; i < len(ord); i++ {
		u := ord[i]
		s := g.e[u] - g.v[u].d
		k := i
		for k > 0 && g.e[ord[k-1]]-g.v[ord[k-1]].d > s {
			ord[k] = ord[k-1]
			k--
		}
		ord[k] = u
	}
	g.resetPool()
	for _, u := range ord {
		g.takeOperator(u, g.e[u]-g.v[u].d)
	}
	g.build(g.mode, g.ord)
}

// dispatch assigns the operators for a plan in which the operations start as early as possible in the order ord.
func (g *graph) dispatch(mode, ord []int32) {
	copy(g.mode, mode)
	g.resetPool()
	clear(g.freeRes)
	for _, u := range ord {
		nd := &g.v[u]
		nd.d = g.modeDur[g.mode[u]]
		at := max(g.e[nd.jp], nd.rel)
		res := &g.modeRes[g.mode[u]]
		for k := range g.poolSlot() {
			if r := res[k]; r >= 0 {
				at = max(at, g.freeRes[r])
			}
		}
		at = g.takeOperator(u, at)
		g.e[u] = at + nd.d
		for k := range g.poolSlot() {
			if r := res[k]; r >= 0 {
				g.freeRes[r] = g.e[u]
			}
		}
	}
	g.build(g.mode, ord)
}

func (g *graph) resetPool() {
	for k := range g.pool {
		g.poolFree[k], g.poolLast[k] = 0, int32(g.n)
	}
}

// takeOperator gives u the operator whose last operation precedes u anyway, or else who is free last before at. If none
// is free by then it waits for the first. It returns the start.
func (g *graph) takeOperator(u, at int32) int32 {
	nd := &g.v[u]
	if g.modeRes[g.mode[u]][g.poolSlot()] < 0 {
		return at
	}
	best, soonest := -1, 0
	for k := range g.pool {
		f := g.poolFree[k]
		if f < g.poolFree[soonest] {
			soonest = k
		}
		if f > at {
			continue
		}
		if l := g.poolLast[k]; l != int32(g.n) && (l == nd.jp || l == nd.mp[0]) {
			best = k
			break
		}
		if best < 0 || f > g.poolFree[best] {
			best = k
		}
	}
	if best < 0 {
		best = soonest
		at = g.poolFree[best]
	}
	g.mode[u] = g.modeKey[g.mode[u]] + int32(best)
	g.poolFree[best], g.poolLast[best] = at+nd.d, u
	return at
}

// relaxation searches the problem without the limit on operators: where operators are seldom scarce, its plans are good
// beginnings.
type relaxation struct {
	t    *tabu
	cons *constructor
	key  []int32 // mode of the relaxed problem -> first of the modes of the real one
	mode []int32
}

// relaxedMoves returns how many moves are made in the relaxed problem for one beginning.
func relaxedMoves(c *inst) int { return min(30000, max(3000, 60*c.n)) }

func newRelaxation(p *Problem, c *inst, seed uint64) *relaxation {
	q := *p
	q.Operators = 0
	free, err := compile(&q)
	if err != nil {
		return nil // cannot be: the real problem takes one resource more
	}
	x := &relaxation{t: newTabu(free, seed), cons: newConstructor(free), mode: make([]int32, c.n)}
	for m := range c.modeKey {
		if c.modeKey[m] == int32(m) {
			x.key = append(x.key, int32(m))
		}
	}
	return x
}

// start puts a plan of the relaxed problem, with operators assigned, into g. It takes what it has when stop says so.
func (x *relaxation) start(g *graph, r *rng, jitter float64, stop func() bool) {
	x.cons.make(r, rule(r.n(int(rules))), jitter)
	t := x.t
	t.g.build(x.cons.mode, x.cons.ord)
	t.begin()
	for i := range relaxedMoves(t.g.inst) {
		if !t.step() || stop != nil && i&63 == 63 && stop() {
			break
		}
	}
	for v, m := range t.best.mode {
		x.mode[v] = x.key[m]
	}
	g.dispatch(x.mode, t.best.ord)
}
