package shop

import "math"

const never = math.MaxInt32

// tabu is a tabu search over one graph.
type tabu struct {
	g        *graph
	r        rng
	e2, f2   []int32 // ends and tails without the operation that is being moved
	pair     []int32 // by pairSlot of (a, b): iteration until which a must not be put before b
	pairMask uint32
	modeTabu []int32 // per mode (by modeKey): iteration until which it must not be taken
	opTabu   []int32 // per operation: iteration until which it must not go to another operator of the pool for its own sake
	iter     int32
	path     []int32
	seqs     [maxSlots]seqBuf
	block    blockBuf
	tenure   int32

	modeTenure int32 // as tenure, for the modes that are left

	pick, bad choice // best allowed candidate; a random one among the forbidden ones
	best      plan
	stale     int // iterations since best was found
}

// choice is a candidate move and what it leads to.
type choice struct {
	move
	value   int32 // makespan afterwards
	through int32 // longest path through the moved operation afterwards
	ties    int
}

// leastTenure is for how many moves the reverse of a move is forbidden at least; a quarter of the operations per resource
// come on top, and as much again at random. A move counts as forbidden if it restores any pair, so short tenures do:
// three to four times as much, which serves rules that forbid less, cost 0.5 to 1 % on published job shops.
const leastTenure = 3

func newTabu(c *inst, seed uint64) *tabu {
	t := &tabu{g: newGraph(c), r: rng{seed}, e2: make([]int32, c.n+1), f2: make([]int32, c.n+1), modeTabu: make([]int32, len(c.modeDur)), opTabu: make([]int32, c.n)}
	t.block = newBlockBuf(c.n)
	size := uint32(1 << 10)
	for int(size) < c.n*c.jobs && size < 1<<20 {
		size <<= 1
	}
	t.pair, t.pairMask = make([]int32, size), size-1
	t.tenure = int32(leastTenure + c.n/max(1, 4*c.resources))
	if t.modeTenure = t.tenure; c.slots > 1 {
		t.modeTenure += 3 // modes that differ in one of their resources only are many and alike
	}
	return t
}

// begin starts a search from g as it stands.
func (t *tabu) begin() {
	if t.iter > 1<<30 {
		t.iter = 0
		clear(t.pair)
		clear(t.modeTabu)
		clear(t.opTabu)
	}
	t.iter += 1000 // longer than any tenure: nothing is forbidden at first
	t.stale = 0
	t.g.save(&t.best, int64(t.g.span))
}

// pairSlot is where the expiry of "a before b" is kept. The pairs of a with operations of one job that take the same
// resource, and some pairs of a very large problem, share a slot, which forbids a little more than necessary.
func (t *tabu) pairSlot(a, b int32) uint32 {
	return (uint32(a)*uint32(t.g.jobs) + uint32(t.g.job[b])) & t.pairMask
}

func (t *tabu) forbidden(a, b int32) bool { return t.pair[t.pairSlot(a, b)] > t.iter }

// step makes one move. It reports false when there is none.
func (t *tabu) step() bool {
	g := t.g
	t.iter++
	t.stale++
	t.criticalPath()
	t.pick.value, t.pick.ties = never, 0
	t.bad.value, t.bad.ties = never, 0
	t.considerBlocks()
	switch {
	case g.plain:
	case g.slots == 1:
		t.estimate()
	default:
		t.sample()
		for _, u := range t.path {
			t.consider(u)
		}
	}
	c := &t.pick
	if c.value == never {
		if c = &t.bad; c.value == never {
			return false
		}
	}
	t.forbid(&c.move)
	if from, to, ok := g.relocate(&c.move); ok {
		g.forward(from)
		if g.pool > 0 {
			g.rechain()
		} else {
			g.backward(to)
		}
	}
	if int64(g.span) < t.best.value {
		g.save(&t.best, int64(g.span))
		t.stale = 0
	}
	return true
}

// criticalPath collects one longest path, chosen at random, from its end to its beginning.
func (t *tabu) criticalPath() {
	g := t.g
	t.path = t.path[:0]
	last, ties := int32(-1), 0
	for j := range g.jobs {
		if l := g.first[j+1] - 1; l >= g.first[j] && g.e[l] == g.span {
			ties++
			if ties == 1 || t.r.n(ties) == 0 {
				last = l
			}
		}
	}
	for u := last; u >= 0; {
		t.path = append(t.path, u)
		nd := &g.v[u]
		at := g.e[u] - nd.d
		u, ties = -1, 0
		if at <= 0 {
			break
		}
		if nd.jp != int32(g.n) && g.e[nd.jp] == at {
			u, ties = nd.jp, 1
		}
		for k := range g.slots {
			p := nd.mp[k]
			if p != int32(g.n) && g.e[p] == at && p != u {
				if ties++; ties == 1 || t.r.n(ties) == 0 {
					u = p
				}
			}
		}
	}
}

// estimate offers the other modes of the operations in the path, valued by the longest path through the operation alone,
// with ends and tails as they are before the move.
func (t *tabu) estimate() {
	g := t.g
	e2, f2 := t.e2, t.f2
	t.e2, t.f2 = g.e, g.f
	for _, u := range t.path {
		nd := &g.v[u]
		p := place{u: u, a: max(g.e[nd.jp], nd.rel), b: g.f[nd.js], startLimit: never, tailLimit: never}
		if nd.js != g.none() {
			p.startLimit = g.e[nd.js]
		}
		if nd.jp != g.none() {
			p.tailLimit = g.f[nd.jp]
		}
		for m := g.modeFrom[u]; m < g.modeFrom[u+1]; m++ {
			switch {
			case m == g.mode[u]:
			case g.modeRes[m][0] == g.modeRes[g.mode[u]][0]: // another duration at the same place
				through := max(p.a, g.e[nd.mp[0]]) + g.modeDur[m] + max(p.b, g.f[nd.ms[0]])
				t.offer(&p, m, &nd.mp, through, t.modeTabu[g.modeKey[m]] > t.iter)
			default:
				t.otherSequence(&p, m)
			}
		}
	}
	t.e2, t.f2 = e2, f2
}

// width is how many operations of the critical path are valued exactly for one move, where they take several resources.
const width = 6

// sample leaves at most width operations in the path, chosen at random.
func (t *tabu) sample() {
	for i := range min(width, len(t.path)) {
		k := i + t.r.n(len(t.path)-i)
		t.path[i], t.path[k] = t.path[k], t.path[i]
	}
	t.path = t.path[:min(width, len(t.path))]
}

// consider evaluates all places worth trying for u, exactly: the makespan after a move is that of the graph without u,
// or the longest path through u at its new place.
func (t *tabu) consider(u int32) {
	g := t.g
	nd := &g.v[u]
	if g.modeFrom[u+1]-g.modeFrom[u] == 1 {
		alone := true
		for k := range g.slots {
			alone = alone && nd.mp[k] == int32(g.n) && nd.ms[k] == int32(g.n)
		}
		if alone {
			return
		}
	}
	g.unlink(u)
	copy(t.e2, g.e)
	t.e2[u] = max(g.e[nd.jp], nd.rel)
	ends(g.v, t.e2, g.ord[g.rank[u]+1:], g.slots)
	rest := int32(0)
	for j := range g.jobs {
		if l := g.first[j+1]; l > g.first[j] {
			rest = max(rest, t.e2[l-1])
		}
	}
	if rest <= t.pick.value {
		copy(t.f2, g.f)
		t.f2[u] = g.f[nd.js]
		tails(g.v, t.f2, g.ord[:g.rank[u]], g.slots)
		p := place{u: u, rest: rest, a: t.e2[u], b: t.f2[u], startLimit: never, tailLimit: never}
		if nd.js != int32(g.n) {
			p.startLimit = t.e2[nd.js]
		}
		if nd.jp != int32(g.n) {
			p.tailLimit = t.f2[nd.jp]
		}
		t.sequences(&p)
	}
	g.relink(u)
}

// place is what limits where an operation can go. An operation that starts at startLimit or later may follow the job
// successor; one whose tail after itself is tailLimit or more may precede the job predecessor.
type place struct {
	u, rest               int32
	a, b                  int32 // earliest start and tail that the job allows
	startLimit, tailLimit int32
}

// offer takes a candidate if it is better than what there is, or as good and the dice say so.
func (t *tabu) offer(p *place, mode int32, after *[maxSlots]int32, through int32, banned bool) {
	value := max(p.rest, through)
	c := &t.pick
	if banned && int64(value) >= t.best.value {
		c = &t.bad
		c.ties++
		if c.ties > 1 && t.r.n(c.ties) != 0 {
			return
		}
	} else {
		switch {
		case value > c.value || value == c.value && through > c.through:
			return
		case value == c.value && through == c.through:
			c.ties++
			if t.r.n(c.ties) != 0 {
				return
			}
		default:
			c.ties = 1
		}
	}
	c.u, c.mode, c.after = p.u, mode, *after
	c.value, c.through = value, through
}

// otherSequence tries the places on the resource of another mode. Places from which u could be moved on without making
// any path through it longer are left out.
func (t *tabu) otherSequence(p *place, mode int32) {
	g, none := t.g, int32(t.g.n)
	d := g.modeDur[mode]
	banned := t.modeTabu[g.modeKey[mode]] > t.iter
	r := g.modeRes[mode][0]
	after := [maxSlots]int32{none, none, none, none}
	if r < 0 {
		t.offer(p, mode, &after, p.a+d+p.b, banned)
		return
	}
	jp, js := g.v[p.u].jp, g.v[p.u].js
	x, y := none, g.head[r]
	for y != none && y != js && t.e2[y]-g.v[y].d < p.startLimit && (y == jp || t.e2[y] <= p.a || t.f2[y]-g.v[y].d >= p.tailLimit) {
		x, y = y, g.v[y].ms[0]
	}
	if y != none && (y == jp || t.f2[y]-g.v[y].d >= p.tailLimit) {
		return
	}
	for {
		after[0] = x
		t.offer(p, mode, &after, max(p.a, t.e2[x])+d+max(p.b, t.f2[y]), banned)
		if y == none || y == js || t.f2[y] <= p.b || t.e2[y]-g.v[y].d >= p.startLimit {
			return
		}
		x, y = y, g.v[y].ms[0]
	}
}

// forbid makes the reverse of a move tabu for a while.
func (t *tabu) forbid(m *move) {
	g := t.g
	old := g.mode[m.u]
	until := t.iter + t.tenure + int32(t.r.n(int(t.tenure)))
	if g.modeKey[m.mode] != g.modeKey[old] {
		t.modeTabu[g.modeKey[old]] = t.iter + t.modeTenure + int32(t.r.n(int(g.modeFrom[m.u+1]-g.modeFrom[m.u]+t.modeTenure)))
	}
	if g.pool > 0 {
		t.opTabu[m.u] = until
	}
	for k := range g.tabuSlots {
		r := g.modeRes[m.mode][k]
		if r < 0 || r != g.modeRes[old][k] {
			continue
		}
		x := m.after[k]
		if x == g.v[m.u].mp[k] {
			continue
		}
		if x != int32(g.n) && g.rank[x] > g.rank[m.u] {
			for w := g.v[m.u].ms[k]; ; w = g.v[w].ms[k] {
				t.pair[t.pairSlot(m.u, w)] = until
				if w == x {
					break
				}
			}
			continue
		}
		for w := g.v[m.u].mp[k]; w != x; w = g.v[w].mp[k] {
			t.pair[t.pairSlot(w, m.u)] = until
		}
	}
}
