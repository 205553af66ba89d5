package shop

// Where every operation has one mode and one resource, moves are made inside the blocks of the critical path (runs of
// operations on one resource): an operation goes behind the last or before the first of its block, or the first or the
// last goes inside. That is neighbourhood N7 (Zhang et al. 2007), an extension of N6 (Balas and Vazacopoulos, "Guided
// local search with shifting bottleneck for job shop scheduling", Management Science 1998); moves are valued by the
// estimate of the latter. All from memory.

// plain reports whether each operation has one mode that takes at most one resource.
func (c *inst) plain() bool { return c.slots == 1 && len(c.modeDur) == c.n }

// considerBlocks offers the moves in all blocks of the critical path, which runs from its end to its beginning.
func (t *tabu) considerBlocks() {
	g := t.g
	path := t.path
	for hi := 0; hi < len(path); {
		lo := hi + 1
		for lo < len(path) && g.v[path[lo-1]].mp[0] == path[lo] {
			lo++
		}
		first, last := path[lo-1], path[hi]
		if lo-hi >= 2 {
			t.moveBehind(first, last)
			t.moveBefore(last, first)
			for _, w := range path[hi+1 : lo-1] {
				t.moveBehind(w, last)
				t.moveBefore(w, first)
				t.moveBehind(first, w)
				t.moveBefore(last, w)
			}
		}
		hi = lo
	}
}

// moveBehind values moving u to the place right after v, which follows it on the resource.
func (t *tabu) moveBehind(u, v int32) {
	g := t.g
	nu := &g.v[u]
	if g.f[v] < g.f[nu.js] {
		return // the job successor may precede v
	}
	banned := false
	before := g.e[nu.mp[0]]
	for w := nu.ms[0]; ; w = g.v[w].ms[0] {
		nd := &g.v[w]
		banned = banned || t.forbidden(w, u)
		before = max(before, g.e[nd.jp], nd.rel) + nd.d
		t.e2[w] = before
		if w == v {
			break
		}
	}
	eu := max(before, g.e[nu.jp], nu.rel) + nu.d
	after := max(g.f[nu.js], g.f[g.v[v].ms[0]]) + nu.d
	worst := eu + after - nu.d
	for w := v; w != u; w = g.v[w].mp[0] {
		nd := &g.v[w]
		after = max(after, g.f[nd.js]) + nd.d
		worst = max(worst, t.e2[w]+after-nd.d)
	}
	t.offerEstimate(u, v, worst, banned)
}

// moveBefore values moving u to the place right before v, which precedes it on the resource.
func (t *tabu) moveBefore(u, v int32) {
	g := t.g
	nu := &g.v[u]
	if g.e[v] < g.e[nu.jp] {
		return // the job predecessor may follow v
	}
	banned := false
	after := g.f[nu.ms[0]]
	for w := nu.mp[0]; ; w = g.v[w].mp[0] {
		nd := &g.v[w]
		banned = banned || t.forbidden(u, w)
		after = max(after, g.f[nd.js]) + nd.d
		t.f2[w] = after
		if w == v {
			break
		}
	}
	fu := max(after, g.f[nu.js]) + nu.d
	before := max(g.e[nu.jp], g.e[g.v[v].mp[0]], nu.rel) + nu.d
	worst := before + fu - nu.d
	for w := v; w != u; w = g.v[w].ms[0] {
		nd := &g.v[w]
		before = max(before, g.e[nd.jp], nd.rel) + nd.d
		worst = max(worst, before+t.f2[w]-nd.d)
	}
	t.offerEstimate(u, g.v[v].mp[0], worst, banned)
}

// offerEstimate is offer for an estimated value.
func (t *tabu) offerEstimate(u, after, value int32, banned bool) {
	p := place{u: u}
	at := [maxSlots]int32{after, t.g.none(), t.g.none(), t.g.none()}
	t.offer(&p, t.g.mode[u], &at, value, banned)
}
