package shop

// Moves inside the blocks of the critical path (runs of operations on one resource): an operation goes behind the last or
// before the first of its block, or the first or the last goes inside. That is neighbourhood N7 (Zhang et al. 2007), an
// extension of N6 (Balas and Vazacopoulos, "Guided local search with shifting bottleneck for job shop scheduling",
// Management Science 1998); moves are valued by the estimate of the latter. All from memory.

// considerBlocks offers the moves in all blocks of the critical path, which runs from its end to its beginning.
func (t *tabu) considerBlocks() {
	g := t.g
	path := t.path
	for k := range g.slots {
		for hi := 0; hi < len(path); {
			lo := hi + 1
			for lo < len(path) && g.v[path[lo-1]].mp[k] == path[lo] {
				lo++
			}
			first, last := path[lo-1], path[hi]
			if lo-hi >= 2 {
				t.moveBehind(first, last, k)
				t.moveBefore(last, first, k)
				for _, w := range path[hi+1 : lo-1] {
					t.moveBehind(w, last, k)
					t.moveBefore(w, first, k)
					t.moveBehind(first, w, k)
					t.moveBefore(last, w, k)
				}
			}
			hi = lo
		}
	}
}

// earliest returns when w can start as far as its job and its resources other than that of slot k tell.
func (g *graph) earliest(w int32, k int) int32 {
	nd := &g.v[w]
	a := max(g.e[nd.jp], nd.rel)
	for s := range g.slots {
		if s != k {
			a = max(a, g.e[nd.mp[s]])
		}
	}
	return a
}

// after returns the longest path behind w through its job and its resources other than that of slot k.
func (g *graph) after(w int32, k int) int32 {
	nd := &g.v[w]
	b := g.f[nd.js]
	for s := range g.slots {
		if s != k {
			b = max(b, g.f[nd.ms[s]])
		}
	}
	return b
}

// moveBehind values moving u to the place right after v, which follows it on the resource of slot k.
func (t *tabu) moveBehind(u, v int32, k int) {
	g := t.g
	nu := &g.v[u]
	afterU := g.after(u, k)
	if g.f[v] < afterU {
		return // what follows u elsewhere may precede v
	}
	banned := false
	before := g.e[nu.mp[k]]
	for w := nu.ms[k]; ; w = g.v[w].ms[k] {
		nd := &g.v[w]
		for s := range g.slots {
			if s != k && nd.mp[s] == u {
				return // w follows u on another resource too
			}
		}
		banned = banned || t.forbidden(w, u)
		before = max(before, g.earliest(w, k)) + nd.d
		t.e2[w] = before
		if w == v {
			break
		}
	}
	eu := max(before, g.earliest(u, k)) + nu.d
	after := max(afterU, g.f[g.v[v].ms[k]]) + nu.d
	worst := eu + after - nu.d
	for w := v; w != u; w = g.v[w].mp[k] {
		nd := &g.v[w]
		after = max(after, g.after(w, k)) + nd.d
		worst = max(worst, t.e2[w]+after-nd.d)
	}
	t.offerEstimate(u, v, k, worst, banned)
}

// moveBefore values moving u to the place right before v, which precedes it on the resource of slot k.
func (t *tabu) moveBefore(u, v int32, k int) {
	g := t.g
	nu := &g.v[u]
	earliestU := max(g.earliest(u, k), 0)
	if g.e[v] < earliestU {
		return // what precedes u elsewhere may follow v
	}
	banned := false
	after := g.f[nu.ms[k]]
	for w := nu.mp[k]; ; w = g.v[w].mp[k] {
		nd := &g.v[w]
		for s := range g.slots {
			if s != k && nd.ms[s] == u {
				return // w precedes u on another resource too
			}
		}
		banned = banned || t.forbidden(u, w)
		after = max(after, g.after(w, k)) + nd.d
		t.f2[w] = after
		if w == v {
			break
		}
	}
	fu := max(after, g.after(u, k)) + nu.d
	before := max(earliestU, g.e[g.v[v].mp[k]]) + nu.d
	worst := before + fu - nu.d
	for w := v; w != u; w = g.v[w].ms[k] {
		nd := &g.v[w]
		before = max(before, g.earliest(w, k)) + nd.d
		worst = max(worst, before+t.f2[w]-nd.d)
	}
	t.offerEstimate(u, g.v[v].mp[k], k, worst, banned)
}

// offerEstimate is offer for an estimated value.
func (t *tabu) offerEstimate(u, after int32, k int, value int32, banned bool) {
	p := place{u: u}
	at := t.g.v[u].mp
	at[k] = after
	t.offer(&p, t.g.mode[u], &at, value, banned || k >= t.g.tabuSlots && t.opTabu[u] > t.iter)
}
