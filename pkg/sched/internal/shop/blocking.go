package shop

// A machine that stays blocked until the next operation of the job starts makes the start of that next operation the
// moment at which the machine is free. Jobs may swap machines at one instant, so the graph of starts may have cycles of
// length zero, but none of positive length.
//
// A proposal turns round the order of two operations that follow one another on a longest path, by moving the job of one
// of them: together with that operation, those of its job that would otherwise close a cycle are moved by as little as
// possible. That keeps every plan feasible (job insertion: Groeflin and Klinkert, "A new neighborhood and tabu search for
// the blocking job shop", Discrete Applied Mathematics 2009; from memory).
type blockMoves struct {
	g      *graph // links and modes only
	r      rng
	s      []int32 // starts
	parent []int32 // operation whose start or end decides the start, -1 none
	via    []int32 // operation on the same resource through which the parent decides it, -1 if through the job
	oldS   []int32
	oldPar []int32
	oldVia []int32
	moved  []moved
	e      []int32
	reach  []int8
	queue  []int32
	ends   []int32 // candidates of which one longest path is followed
}

// moved remembers where an operation was.
type moved struct {
	u  int32
	mp [maxSlots]int32
}

func newBlockMoves(c *inst, seed uint64) *blockMoves {
	return &blockMoves{
		g: newGraph(c), r: rng{seed}, s: make([]int32, c.n+1), parent: make([]int32, c.n+1), via: make([]int32, c.n+1),
		oldS: make([]int32, c.n+1), oldPar: make([]int32, c.n+1), oldVia: make([]int32, c.n+1), e: make([]int32, c.n+1),
		reach: make([]int8, c.n+1), queue: make([]int32, 0, 2*c.n+2),
	}
}

// sortStarts brings the order into that of the starts. Operations of one resource never start together, unless they take
// no time.
func (b *blockMoves) sortStarts() {
	ord := b.g.ord
	for i := 1; i < len(ord); i++ {
		u := ord[i]
		k := i
		for k > 0 && b.s[ord[k-1]] > b.s[u] {
			ord[k] = ord[k-1]
			k--
		}
		ord[k] = u
	}
}

func (b *blockMoves) save(p *plan, value int64) {
	b.sortStarts()
	b.g.save(p, value)
}

func (b *blockMoves) load(p *plan) int64 {
	b.g.build(p.mode, p.ord)
	b.schedule()
	return b.value()
}

func (b *blockMoves) value() int64 {
	for j := range b.g.jobs {
		if l := b.g.first[j+1]; l > b.g.first[j] {
			b.e[l-1] = b.s[l-1] + b.g.v[l-1].d
		}
	}
	return b.g.inst.value(b.e)
}

// schedule computes the starts by sweeps over the last known order. It reports false if there is a positive cycle.
func (b *blockMoves) schedule() bool {
	g, none := b.g, b.g.none()
	for v := range g.n {
		b.s[v], b.parent[v], b.via[v] = g.v[v].rel, -1, -1
	}
	for range g.n + 2 {
		changed := false
		for _, v := range g.ord {
			nd := &g.v[v]
			at, parent, via := b.s[v], int32(-1), int32(-1)
			if nd.jp != none {
				if t := b.s[nd.jp] + g.v[nd.jp].d; t > at {
					at, parent = t, nd.jp
				}
			}
			for k := range g.slots {
				p := nd.mp[k]
				if p == none {
					continue
				}
				x, t := g.v[p].js, int32(0)
				if x != none && x != v {
					t = b.s[x]
				} else {
					x, t = p, b.s[p]+g.v[p].d
				}
				if t > at {
					at, parent, via = t, x, p
				}
			}
			if parent >= 0 {
				b.s[v], b.parent[v], b.via[v] = at, parent, via
				changed = true
			}
		}
		if !changed {
			return true
		}
	}
	return false
}

// propose implements landscape.
func (b *blockMoves) propose() (int64, bool) {
	v, ok := b.pick()
	if !ok {
		return 0, false
	}
	u := b.via[v]
	b.moved = b.moved[:0]
	copy(b.oldS, b.s)
	copy(b.oldPar, b.parent)
	copy(b.oldVia, b.via)
	if b.r.next()&1 == 0 {
		b.pullBefore(v, u)
	} else {
		b.pushBehind(u, v)
	}
	if len(b.moved) == 0 {
		return 0, false
	}
	if !b.schedule() {
		b.undo()
		return 0, false
	}
	return b.value(), true
}

// pick chooses an operation at random among those on one longest path whose start another job decides.
func (b *blockMoves) pick() (int32, bool) {
	g := b.g
	b.ends = b.ends[:0]
	last := int32(-1)
	for j := range g.jobs {
		l := g.first[j+1] - 1
		if l < g.first[j] {
			continue
		}
		end := b.s[l] + g.v[l].d
		switch {
		case g.tardy:
			if g.weight[j] > 0 && int64(end) > g.due[j] {
				b.ends = append(b.ends, l)
			}
		case end > last:
			last = end
			b.ends = append(b.ends[:0], l)
		case end == last:
			b.ends = append(b.ends, l)
		}
	}
	if len(b.ends) == 0 {
		return 0, false
	}
	pick, seen := int32(-1), 0
	for v := b.ends[b.r.n(len(b.ends))]; v >= 0; v = b.parent[v] {
		if p := b.via[v]; p >= 0 && g.job[p] != g.job[v] {
			if seen++; seen == 1 || b.r.n(seen) == 0 {
				pick = v
			}
		}
	}
	return pick, pick >= 0
}

// undo implements landscape.
func (b *blockMoves) undo() {
	for i := len(b.moved) - 1; i >= 0; i-- {
		m := &b.moved[i]
		b.g.unlink(m.u)
		b.g.attach(m.u, b.g.mode[m.u], &m.mp)
		b.g.relink(m.u)
	}
	copy(b.s, b.oldS)
	copy(b.parent, b.oldPar)
	copy(b.via, b.oldVia)
}

// put moves u to the place after x in slot k.
func (b *blockMoves) put(u, x int32, k int) {
	b.moved = append(b.moved, moved{u, b.g.v[u].mp})
	after := b.g.v[u].mp
	after[k] = x
	b.g.unlink(u)
	b.g.attach(u, b.g.mode[u], &after)
	b.g.relink(u)
}

// pullBefore moves i before k, which precedes it on a resource, and what else of its job must go with it.
func (b *blockMoves) pullBefore(i, k int32) {
	g, none := b.g, b.g.none()
	top := g.v[i].js // the moment at which i leaves its resource is the start of top
	if top == none {
		top = i
	}
	b.follow(k, g.job[i], b.s[top])
	for v := g.first[g.job[i]]; v <= top; v++ {
		for slot := range g.slots {
			if g.modeRes[g.mode[v]][slot] < 0 {
				continue
			}
			x := g.v[v].mp[slot]
			for x != none && g.job[x] != g.job[i] {
				t := g.v[x].js
				ends := t == none
				if ends {
					t = x
				}
				if b.reach[t] == 0 || v == top && top != i && b.reach[t] == 1 && !ends {
					break
				}
				x = g.v[x].mp[slot]
			}
			if x != g.v[v].mp[slot] {
				b.put(v, x, slot)
			}
		}
	}
	b.forget()
}

// pushBehind moves i behind k, which follows it on a resource, and what else of its job must go with it.
func (b *blockMoves) pushBehind(i, k int32) {
	g, none := b.g, b.g.none()
	free, ends := g.v[k].js, false // the moment at which k leaves its resource is the start of free
	if free == none {
		free, ends = k, true
	}
	low := i
	if g.v[i].jp != none {
		low = g.v[i].jp
	}
	b.precede(free, g.job[i], b.s[i])
	for v := g.first[g.job[i]+1] - 1; v >= low; v-- {
		for slot := range g.slots {
			if g.modeRes[g.mode[v]][slot] < 0 {
				continue
			}
			x := v
			for {
				y := g.v[x].ms[slot]
				if y == none || g.job[y] == g.job[i] {
					break
				}
				if b.reach[y] == 0 || v != i && v == low && b.reach[y] == 1 && !ends {
					break
				}
				x = y
			}
			if x != v {
				b.put(v, x, slot)
			}
		}
	}
	b.forget()
}

// follow marks what starts at the same time as k or later because of it, without the given job, up to start limit: 1 if
// only paths of length zero lead there, 2 otherwise.
func (b *blockMoves) follow(k, job, limit int32) {
	g, none := b.g, b.g.none()
	mark := func(x int32, level int8) {
		if x != none && g.job[x] != job && b.s[x] <= limit && b.reach[x] < level {
			b.reach[x] = level
			b.queue = append(b.queue, x)
		}
	}
	next := func(x int32, slot int) int32 {
		y := g.v[x].ms[slot]
		for y != none && g.job[y] == job {
			y = g.v[y].ms[slot]
		}
		return y
	}
	b.queue = b.queue[:0]
	mark(k, 1)
	for q := 0; q < len(b.queue); q++ {
		y := b.queue[q]
		nd := &g.v[y]
		mark(nd.js, 2)
		for slot := range g.slots {
			if nd.jp != none {
				mark(next(nd.jp, slot), b.reach[y])
			}
			if nd.js == none {
				mark(next(y, slot), 2)
			}
		}
	}
}

// precede is follow in the other direction, down to start limit.
func (b *blockMoves) precede(k, job, limit int32) {
	g, none := b.g, b.g.none()
	mark := func(x int32, level int8) {
		if x != none && g.job[x] != job && b.s[x] >= limit && b.reach[x] < level {
			b.reach[x] = level
			b.queue = append(b.queue, x)
		}
	}
	b.queue = b.queue[:0]
	mark(k, 1)
	for q := 0; q < len(b.queue); q++ {
		y := b.queue[q]
		nd := &g.v[y]
		mark(nd.jp, 2)
		for slot := range g.slots {
			p := nd.mp[slot]
			for p != none && g.job[p] == job {
				p = g.v[p].mp[slot]
			}
			if p == none {
				continue
			}
			if x := g.v[p].js; x != none {
				mark(x, b.reach[y])
			} else {
				mark(p, 2)
			}
		}
	}
}

func (b *blockMoves) forget() {
	for _, x := range b.queue {
		b.reach[x] = 0
	}
}
