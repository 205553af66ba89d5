package shop

// Moves inside the blocks of the critical path (runs of operations on one resource): an operation goes behind the last or
// before the first of its block, or the first or the last goes inside. That is neighbourhood N7 (Zhang et al. 2007), an
// extension of N6 (Balas and Vazacopoulos, "Guided local search with shifting bottleneck for job shop scheduling",
// Management Science 1998); moves are valued by the estimate of the latter. All from memory.

// blockBuf holds one block of the critical path in the order of its resource, flat, so that moves are valued without
// following links. Entry i+1 is operation i of the block; entries 0 and the last stand for what is around it.
type blockBuf struct {
	op    []int32
	d     []int32 // duration
	a     []int32 // earliest start as far as everything but the resource tells
	b     []int32 // longest path behind as far as everything but the resource tells
	e, f  []int32 // end and tail as they are
	times []int32 // starts or tails while a move is valued
}

func newBlockBuf(n int) blockBuf {
	make := func() []int32 { return make([]int32, n+2) }
	return blockBuf{op: make(), d: make(), a: make(), b: make(), e: make(), f: make(), times: make()}
}

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
			if lo-hi >= 2 {
				t.fillBlock(path[hi:lo], k)
				first := path[lo-1]
				t.moveInBlock(lo-hi, k, g.e[first] > g.v[first].d, hi > 0)
			}
			hi = lo
		}
	}
}

// moveInBlock offers the moves in the block of n operations that was loaded. Where nothing precedes the block in the path,
// or nothing follows it, another order of its front or of its rear alone does not make the path shorter (front and rear
// say whether it can), and such moves are left out: of the long blocks of many jobs on few resources they are the most.
func (t *tabu) moveInBlock(n, k int, front, rear bool) {
	t.moveBehind(1, n, k)
	t.moveBefore(n, 1, k)
	for i := 2; i < n; i++ {
		if rear {
			t.moveBehind(i, n, k)
			t.moveBefore(n, i, k)
		}
		if front {
			t.moveBefore(i, 1, k)
			t.moveBehind(1, i, k)
		}
	}
}

// fillBlock loads a block, given from its end to its beginning.
func (t *tabu) fillBlock(ops []int32, k int) {
	g, x := t.g, &t.block
	n := len(ops)
	first, last := ops[n-1], ops[0]
	x.e[0], x.f[n+1] = g.e[g.v[first].mp[k]], g.f[g.v[last].ms[k]]
	x.op[0] = g.v[first].mp[k]
	for i := 1; i <= n; i++ {
		u := ops[n-i]
		x.op[i], x.d[i], x.e[i], x.f[i] = u, g.v[u].d, g.e[u], g.f[u]
		x.a[i], x.b[i] = g.earliest(u, k), g.after(u, k)
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

// moveBehind values moving entry i of the block to the place right after entry j, which follows it.
func (t *tabu) moveBehind(i, j, k int) {
	x := &t.block
	own := x.b[i]
	if x.f[j] < own {
		return // what follows it elsewhere may precede entry j
	}
	limit := t.pick.value
	w, a, b, d := x.times[i:j+1], x.a[i:j+1], x.b[i:j+1], x.d[i:j+1]
	at := x.e[i-1]
	for m := 1; m < len(w); m++ {
		at = max(at, a[m])
		w[m] = at
		at += d[m]
	}
	after := max(own, x.f[j+1]) + d[0]
	worst := max(at, a[0]) + after
	for m := len(w) - 1; m > 0 && worst <= limit; m-- {
		after = max(after, b[m]) + d[m]
		worst = max(worst, w[m]+after)
	}
	if worst <= limit {
		t.offerBehind(i, j, k, worst)
	}
}

// moveBefore values moving entry i of the block to the place right before entry j, which precedes it.
func (t *tabu) moveBefore(i, j, k int) {
	x := &t.block
	own := x.a[i]
	if x.e[j] < own {
		return // what precedes it elsewhere may follow entry j
	}
	limit := t.pick.value
	w, a, b, d := x.times[j:i+1], x.a[j:i+1], x.b[j:i+1], x.d[j:i+1]
	last := len(w) - 1
	after := x.f[i+1]
	for m := last - 1; m >= 0; m-- {
		after = max(after, b[m]) + d[m]
		w[m] = after
	}
	at := max(own, x.e[j-1])
	worst := at + d[last] + max(after, b[last])
	at += d[last]
	for m := 0; m < last && worst <= limit; m++ {
		at = max(at, a[m])
		worst = max(worst, at+w[m])
		at += d[m]
	}
	if worst <= limit {
		t.offerBefore(i, j, k, worst)
	}
}

// offerBehind offers a move of entry i behind entry j unless another resource forbids it.
func (t *tabu) offerBehind(i, j, k int, worst int32) {
	g, x := t.g, &t.block
	u := x.op[i]
	banned := false
	for m := i + 1; m <= j; m++ {
		w := x.op[m]
		if g.slots > 1 && g.follows(w, u, k) {
			return
		}
		banned = banned || t.forbidden(w, u)
	}
	t.offerEstimate(u, x.op[j], k, worst, banned)
}

// offerBefore offers a move of entry i before entry j unless another resource forbids it.
func (t *tabu) offerBefore(i, j, k int, worst int32) {
	g, x := t.g, &t.block
	u := x.op[i]
	banned := false
	for m := j; m < i; m++ {
		w := x.op[m]
		if g.slots > 1 && g.follows(u, w, k) {
			return
		}
		banned = banned || t.forbidden(u, w)
	}
	t.offerEstimate(u, x.op[j-1], k, worst, banned)
}

// follows reports whether w comes right after u on a resource of another slot than k.
func (g *graph) follows(w, u int32, k int) bool {
	for s := range g.slots {
		if s != k && g.v[w].mp[s] == u {
			return true
		}
	}
	return false
}

// offerEstimate is offer for an estimated value.
func (t *tabu) offerEstimate(u, after int32, k int, value int32, banned bool) {
	p := place{u: u}
	at := t.g.v[u].mp
	at[k] = after
	t.offer(&p, t.g.mode[u], &at, value, banned || k >= t.g.tabuSlots && t.opTabu[u] > t.iter)
}
