package shop

// node is an operation in the graph: its neighbours in the job and, per slot, on its resource. The sentinel n stands
// for "none".
type node struct {
	jp, js int32
	d      int32
	rel    int32
	mp, ms [maxSlots]int32
}

// graph is a selection: a mode per operation and an order on each resource, with a topological order and the longest
// paths that follow from them.
type graph struct {
	*inst
	v          []node  // n+1
	mode       []int32 // index into modeDur
	head, tail []int32 // per resource: first and last operation, or n
	ord, rank  []int32 // topological order, and place in it
	e          []int32 // earliest end of each operation; 0 for the sentinel
	f          []int32 // longest path from the start of each operation to the end of the plan; 0 for the sentinel
	span       int32   // makespan
	marked     []bool  // scratch
	buf, undo  []int32

	freeRes, poolFree, poolLast []int32 // scratch for assigning operators
}

// plan is what of a graph has to be kept to rebuild it.
type plan struct {
	mode, ord []int32
	value     int64
}

func newGraph(c *inst) *graph {
	g := &graph{
		inst: c, v: make([]node, c.n+1), mode: make([]int32, c.n), head: make([]int32, c.resources),
		tail: make([]int32, c.resources), ord: make([]int32, c.n), rank: make([]int32, c.n+1), e: make([]int32, c.n+1),
		f: make([]int32, c.n+1), marked: make([]bool, c.n+1), buf: make([]int32, c.n+1), undo: make([]int32, c.n+1),
		freeRes: make([]int32, c.resources), poolFree: make([]int32, c.pool), poolLast: make([]int32, c.pool),
	}
	none := int32(c.n)
	for i := range g.v {
		g.v[i].jp, g.v[i].js = none, none
		if i < c.n {
			g.v[i].rel = c.rel[i]
		}
	}
	for i := 1; i < c.n; i++ {
		if c.job[i] == c.job[i-1] {
			g.v[i].jp, g.v[i-1].js = int32(i-1), int32(i)
		}
	}
	return g
}

// none is the sentinel.
func (g *graph) none() int32 { return int32(g.n) }

// build sets modes and sequences: the resources serve their operations in the order ord, which must respect the jobs.
// mode and ord are copied.
func (g *graph) build(mode, ord []int32) {
	none := int32(g.n)
	copy(g.mode, mode)
	copy(g.ord, ord)
	for r := range g.head {
		g.head[r], g.tail[r] = none, none
	}
	for i, u := range g.ord {
		g.rank[u] = int32(i)
		nd := &g.v[u]
		nd.d = g.modeDur[g.mode[u]]
		res := &g.modeRes[g.mode[u]]
		for k := range maxSlots {
			nd.mp[k], nd.ms[k] = none, none
			r := res[k]
			if r < 0 {
				continue
			}
			if t := g.tail[r]; t == none {
				g.head[r] = u
			} else {
				g.v[t].ms[k] = u
				nd.mp[k] = t
			}
			g.tail[r] = u
		}
	}
	g.forward(0)
	g.backward(g.n - 1)
}

// save copies the selection into p.
func (g *graph) save(p *plan, value int64) {
	p.mode = append(p.mode[:0], g.mode...)
	p.ord = append(p.ord[:0], g.ord...)
	p.value = value
}

// forward recomputes the ends of the operations from place i of the topological order on, and the makespan.
func (g *graph) forward(i int) {
	ends(g.v, g.e, g.ord[i:], g.slots)
	g.span = 0
	for j := range g.jobs {
		if l := g.first[j+1]; l > g.first[j] {
			g.span = max(g.span, g.e[l-1])
		}
	}
}

// backward recomputes the tails of the operations up to place i of the topological order.
func (g *graph) backward(i int) { tails(g.v, g.f, g.ord[:i+1], g.slots) }

// ends computes e in the given order.
func ends(v []node, e, ord []int32, slots int) {
	e = e[:len(v)]
	switch slots {
	case 1:
		for _, u := range ord {
			nd := &v[u]
			a := max(e[nd.jp], e[nd.mp[0]], nd.rel)
			e[u] = a + nd.d
		}
	case 2:
		for _, u := range ord {
			nd := &v[u]
			a := max(e[nd.jp], e[nd.mp[0]], e[nd.mp[1]], nd.rel)
			e[u] = a + nd.d
		}
	default:
		for _, u := range ord {
			nd := &v[u]
			a := max(e[nd.jp], nd.rel)
			for _, p := range nd.mp {
				a = max(a, e[p])
			}
			e[u] = a + nd.d
		}
	}
}

// tails computes f against the given order.
func tails(v []node, f, ord []int32, slots int) {
	f = f[:len(v)]
	switch slots {
	case 1:
		for i := len(ord) - 1; i >= 0; i-- {
			nd := &v[ord[i]]
			f[ord[i]] = max(f[nd.js], f[nd.ms[0]]) + nd.d
		}
	case 2:
		for i := len(ord) - 1; i >= 0; i-- {
			nd := &v[ord[i]]
			f[ord[i]] = max(f[nd.js], f[nd.ms[0]], f[nd.ms[1]]) + nd.d
		}
	default:
		for i := len(ord) - 1; i >= 0; i-- {
			nd := &v[ord[i]]
			b := f[nd.js]
			for _, s := range nd.ms {
				b = max(b, f[s])
			}
			f[ord[i]] = b + nd.d
		}
	}
}

// unlink takes u out of the sequences of its resources. Its own links stay, so that relink can undo it.
func (g *graph) unlink(u int32) {
	none := int32(g.n)
	res := &g.modeRes[g.mode[u]]
	for k := range g.slots {
		r := res[k]
		if r < 0 {
			continue
		}
		p, s := g.v[u].mp[k], g.v[u].ms[k]
		if p == none {
			g.head[r] = s
		} else {
			g.v[p].ms[k] = s
		}
		if s == none {
			g.tail[r] = p
		} else {
			g.v[s].mp[k] = p
		}
	}
}

// attach gives u, which is unlinked, a mode and names its neighbours, given those that it comes after.
func (g *graph) attach(u, mode int32, after *[maxSlots]int32) {
	none := int32(g.n)
	nd := &g.v[u]
	g.mode[u], nd.d = mode, g.modeDur[mode]
	res := &g.modeRes[mode]
	for k := range g.slots {
		nd.mp[k], nd.ms[k] = none, none
		r := res[k]
		if r < 0 {
			continue
		}
		x := after[k]
		nd.mp[k] = x
		if x == none {
			nd.ms[k] = g.head[r]
		} else {
			nd.ms[k] = g.v[x].ms[k]
		}
	}
}

// relink puts u between the neighbours that it names.
func (g *graph) relink(u int32) {
	none := int32(g.n)
	res := &g.modeRes[g.mode[u]]
	for k := range g.slots {
		r := res[k]
		if r < 0 {
			continue
		}
		p, s := g.v[u].mp[k], g.v[u].ms[k]
		if p == none {
			g.head[r] = u
		} else {
			g.v[p].ms[k] = u
		}
		if s == none {
			g.tail[r] = u
		} else {
			g.v[s].mp[k] = u
		}
	}
}

// move is a new place for an operation: a mode and, per slot, the operation that it comes after (n: it comes first).
type move struct {
	u     int32
	mode  int32
	after [maxSlots]int32
}

// apply moves u, mends the topological order and recomputes all paths. It reports false, with the graph unchanged, if
// the move would close a cycle.
func (g *graph) apply(m *move) bool {
	from, to, ok := g.relocate(m)
	if ok {
		g.forward(from)
		g.backward(to)
	}
	return ok
}

// relocate is apply without the paths. It returns the places in the topological order from which ends (onwards) and
// tails (backwards) may have changed.
func (g *graph) relocate(m *move) (from, to int, ok bool) {
	oldMode, old := g.mode[m.u], g.v[m.u]
	g.unlink(m.u)
	g.attach(m.u, m.mode, &m.after)
	from, to, ok = g.reorder(m.u)
	if !ok {
		g.mode[m.u], g.v[m.u] = oldMode, old
	}
	g.relink(m.u)
	return from, to, ok
}

// reorder mends the topological order for the new neighbours of u, which is not linked yet. It returns the range of
// places from which ends and tails may have changed.
func (g *graph) reorder(u int32) (from, to int, ok bool) {
	nd := &g.v[u]
	lo, hi := int32(g.n), int32(-1)
	if nd.jp != int32(g.n) {
		hi = g.rank[nd.jp]
	}
	if nd.js != int32(g.n) {
		lo = g.rank[nd.js]
	}
	for k := range g.slots {
		if p := nd.mp[k]; p != int32(g.n) {
			hi = max(hi, g.rank[p])
		}
		if s := nd.ms[k]; s != int32(g.n) {
			lo = min(lo, g.rank[s])
		}
	}
	at := g.rank[u]
	switch {
	case hi < at && at < lo:
		return int(at), int(at), true
	case hi < lo && at <= hi:
		copy(g.ord[at:hi], g.ord[at+1:hi+1])
		g.place(u, at, hi)
		return int(at), int(hi), true
	case hi < lo:
		copy(g.ord[lo+1:at+1], g.ord[lo:at])
		g.ord[lo] = u
		for i := lo; i <= at; i++ {
			g.rank[g.ord[i]] = i
		}
		return int(lo), int(at), true
	}
	from, to = int(min(at, lo)), int(max(at, hi))
	return from, to, g.partition(u, from, to)
}

func (g *graph) place(u, from, to int32) {
	g.ord[to] = u
	for i := from; i <= to; i++ {
		g.rank[g.ord[i]] = i
	}
}

// partition reorders places from..to: first what does not follow u, then u, then what does.
func (g *graph) partition(u int32, from, to int) bool {
	nd := &g.v[u]
	mark := g.marked
	mark[nd.js] = true
	for k := range g.slots {
		mark[nd.ms[k]] = true
	}
	mark[g.n] = false
	at, later := from, g.buf[:0]
	region := g.ord[from : to+1]
	undo := append(g.undo[:0], region...)
	for _, w := range region {
		if w == u {
			continue
		}
		x := &g.v[w]
		m := mark[w] || mark[x.jp]
		for k := range g.slots {
			m = m || mark[x.mp[k]]
		}
		if m {
			mark[w] = true
			later = append(later, w)
		} else {
			g.ord[at] = w
			at++
		}
	}
	ok := !mark[nd.jp]
	for k := range g.slots {
		ok = ok && !mark[nd.mp[k]]
	}
	mark[nd.js] = false
	for k := range g.slots {
		mark[nd.ms[k]] = false
	}
	for _, w := range later {
		mark[w] = false
	}
	if !ok {
		copy(region, undo)
		return false
	}
	g.ord[at] = u
	copy(g.ord[at+1:], later)
	for i := from; i <= to; i++ {
		g.rank[g.ord[i]] = int32(i)
	}
	return true
}
