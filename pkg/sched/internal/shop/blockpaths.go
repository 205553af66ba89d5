package shop

// pathFinder computes starts in the graph of a blocking plan in which each operation takes at most one resource: in
// topological order, and where that ends, by finding a cycle. If all its arcs are of length zero, the jobs on it swap
// machines at one instant and start together; otherwise there is no plan.
type pathFinder struct {
	order []int32 // operations in the order in which their starts became known
	open  []int8  // predecessors not yet known
	stamp []int32
	round int32
	trail []int32
	long  []bool // per step of the trail: the arc has a length
}

func newPathFinder(n int) pathFinder {
	return pathFinder{order: make([]int32, 0, n), open: make([]int8, n+1), stamp: make([]int32, n+1)}
}

// forward computes the starts. It reports false if there is no plan or one that ends after limit.
func (b *blockMoves) forward(limit int32) bool {
	g, none, f := b.g, b.g.none(), &b.find
	order := f.order[:0]
	total := 0
	for j := range g.jobs {
		if b.walk.absent[j] {
			continue
		}
		for v := g.first[j]; v < g.first[j+1]; v++ {
			nd := &g.v[v]
			b.s[v], b.parent[v], b.via[v] = nd.rel, -1, -1
			n := int8(0)
			if nd.jp != none {
				n++
			}
			if p := nd.mp[0]; p != none && g.v[p].js != v {
				n++
			}
			if f.open[v] = n; n == 0 {
				order = append(order, v)
			}
			total++
		}
	}
	relax := func(w, at, parent, via int32) {
		if at > b.s[w] {
			b.s[w], b.parent[w], b.via[w] = at, parent, via
		}
		if f.open[w]--; f.open[w] == 0 {
			order = append(order, w)
		}
	}
	scan := int32(0)
	for q := 0; ; q++ {
		if q == len(order) {
			if len(order) == total {
				break
			}
			for f.open[scan] <= 0 || b.walk.absent[g.job[scan]] {
				scan++
			}
			cycle := b.swap(scan)
			if cycle == nil {
				return false
			}
			order = append(order, cycle...)
		}
		v := order[q]
		nd := &g.v[v]
		end := b.s[v] + nd.d
		if end > limit {
			return false
		}
		if nd.js != none {
			relax(nd.js, end, v, -1)
		} else if w := nd.ms[0]; w != none {
			relax(w, end, v, v)
		}
		if nd.jp != none {
			if w := g.v[nd.jp].ms[0]; w != none && w != v {
				relax(w, b.s[v], v, nd.jp)
			}
		}
	}
	f.order = order
	return true
}

// swap finds a cycle by walking from v against the arcs, and lets the operations on it start together. It returns them,
// or nil if the cycle has a length.
func (b *blockMoves) swap(v int32) []int32 {
	g, f := b.g, &b.find
	f.round++
	f.trail, f.long = f.trail[:0], f.long[:0]
	for f.stamp[v] != f.round {
		f.stamp[v] = f.round
		nd := &g.v[v]
		x, long := nd.jp, true
		if x == g.none() || f.open[x] <= 0 {
			p := nd.mp[0]
			if x = g.v[p].js; x == g.none() {
				x = p
			} else {
				long = false
			}
		}
		f.trail, f.long = append(f.trail, v), append(f.long, long)
		v = x
	}
	from := 0
	for f.trail[from] != v {
		from++
	}
	cycle := f.trail[from:]
	at := int32(0)
	for i, u := range cycle {
		if f.long[from+i] {
			return nil
		}
		at = max(at, b.s[u])
	}
	for i, u := range cycle {
		f.open[u] = 0
		if b.s[u] < at {
			b.s[u], b.parent[u], b.via[u] = at, cycle[(i+1)%len(cycle)], g.v[u].mp[0]
		}
	}
	return cycle
}
