package shop

import (
	"cmp"
	"slices"
)

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
	job    int32 // that is being moved
	limit  int32 // no mark is needed beyond it
	queue  []int32
	ends   []int32 // candidates of which one longest path is followed
	walk   gapWalk
	find   pathFinder
	whole  bool // the last proposal was a reinsertion
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
		find: newPathFinder(c.n),
		walk: gapWalk{
			absent: make([]bool, c.jobs), q: make([]int32, c.n+1), oldV: make([]node, c.n+1), oldH: make([]int32, c.resources),
			oldT: make([]int32, c.resources),
		},
	}
}

// sortStarts brings the order into that of the starts. Operations of one resource never start together, unless they take
// no time.
func (b *blockMoves) sortStarts() {
	slices.SortStableFunc(b.g.ord, func(u, v int32) int { return cmp.Compare(b.s[u], b.s[v]) })
}

func (b *blockMoves) save(p *plan, value int64) {
	for v := range b.g.n {
		b.g.ord[v] = int32(v)
	}
	b.sortStarts()
	b.g.save(p, value)
}

func (b *blockMoves) load(p *plan) int64 {
	b.g.build(p.mode, p.ord)
	b.schedule(never)
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

// schedule computes the starts by sweeps over the last known order. It reports false if there is a positive cycle or
// an end beyond limit.
func (b *blockMoves) schedule(limit int32) bool {
	if b.g.slots == 1 {
		return b.forward(limit)
	}
	g, none := b.g, b.g.none()
	for v := range g.n {
		b.s[v], b.parent[v], b.via[v] = g.v[v].rel, -1, -1
	}
	for range g.n + 2 {
		changed := false
		for _, v := range g.ord {
			if b.walk.absent[g.job[v]] {
				continue
			}
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
				if at > limit-nd.d {
					return false
				}
				b.s[v], b.parent[v], b.via[v] = at, parent, via
				changed = true
			}
		}
		if !changed {
			b.sortStarts()
			return true
		}
	}
	return false
}

// propose implements landscape.
func (b *blockMoves) propose(limit int64) (int64, bool) {
	copy(b.oldS, b.s)
	copy(b.oldPar, b.parent)
	copy(b.oldVia, b.via)
	b.moved = b.moved[:0]
	b.whole = false
	most := int32(never)
	if !b.g.tardy {
		most = int32(min(limit, never))
	}
	if !b.g.tardy && b.g.slots == 1 && b.r.unit() < reinsertions {
		if !b.reinsert(most) {
			return 0, false
		}
		return b.value(), true
	}
	v, ok := b.pick()
	if !ok {
		return 0, false
	}
	if b.r.next()&1 == 0 {
		b.pullBefore(v, b.via[v])
	} else {
		b.pushBehind(b.via[v], v)
	}
	if len(b.moved) == 0 {
		return 0, false
	}
	if !b.schedule(most) {
		b.undo()
		return 0, false
	}
	return b.value(), true
}

// reinsertions is the share of proposals that move whole jobs.
const reinsertions = 0.7

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
	if b.whole {
		copy(b.g.v, b.walk.oldV)
		copy(b.g.head, b.walk.oldH)
		copy(b.g.tail, b.walk.oldT)
	}
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

// pullBefore moves i before k, which precedes it on a resource, and what else of its job must go with it: whatever would
// have to start after k and yet gives way to an operation of the job that leaves no later than i does.
func (b *blockMoves) pullBefore(i, k int32) {
	g := b.g
	job := g.job[i]
	from, last := g.first[job], g.first[job+1]-1
	top := i + 1 // i leaves its resource when top starts
	b.job, b.limit = job, b.s[last]
	b.queue = b.queue[:0]
	b.markAfter(k, 1)
	for q, again := 0, true; again; {
		q = b.follow(q)
		again = false
		for v := from; v <= min(top, last); v++ {
			for slot := range g.slots {
				if g.modeRes[g.mode[v]][slot] >= 0 && b.pull(v, slot, v == top) {
					again = true
					if v == top {
						top++
					}
				}
			}
		}
	}
	b.forget()
}

// pull moves v before what must not precede it. edge says that v starts just when the job leaves what it is pulled from,
// so that starting together with something is allowed.
func (b *blockMoves) pull(v int32, slot int, edge bool) bool {
	g, none := b.g, b.g.none()
	x := g.v[v].mp[slot]
	for x != none && g.job[x] != b.job {
		t := g.v[x].js
		ends := t == none
		if ends {
			t = x
		}
		if b.reach[t] == 0 || edge && b.reach[t] == 1 && !ends {
			break
		}
		b.markAfter(x, 1)
		x = g.v[x].mp[slot]
	}
	if x == g.v[v].mp[slot] {
		return false
	}
	b.put(v, x, slot)
	return true
}

// pushBehind moves i behind k, which follows it on a resource, and what else of its job must go with it.
func (b *blockMoves) pushBehind(i, k int32) {
	g := b.g
	job := g.job[i]
	first, to := g.first[job], g.first[job+1]-1
	low := i - 1
	b.job, b.limit = job, b.s[first]
	b.queue = b.queue[:0]
	b.markLeaving(k)
	for q, again := 0, true; again; {
		q = b.precede(q)
		again = false
		for v := to; v >= max(low, first); v-- {
			for slot := range g.slots {
				if g.modeRes[g.mode[v]][slot] >= 0 && b.push(v, slot, v == low) {
					again = true
					if v == low {
						low--
					}
				}
			}
		}
	}
	b.forget()
}

// push is pull in the other direction.
func (b *blockMoves) push(v int32, slot int, edge bool) bool {
	g, none := b.g, b.g.none()
	x := v
	for {
		y := g.v[x].ms[slot]
		if y == none || g.job[y] == b.job || b.reach[y] == 0 || edge && b.reach[y] == 1 {
			break
		}
		b.markLeaving(y)
		x = y
	}
	if x == v {
		return false
	}
	b.put(v, x, slot)
	return true
}

// markAfter notes that x starts with or after what a move begins from: together with it if level is 1, later if it is 2.
func (b *blockMoves) markAfter(x int32, level int8) {
	if x != b.g.none() && b.g.job[x] != b.job && b.s[x] <= b.limit && b.reach[x] < level {
		b.reach[x] = level
		b.queue = append(b.queue, x)
	}
}

// markBefore is markAfter in the other direction.
func (b *blockMoves) markBefore(x int32, level int8) {
	if x != b.g.none() && b.g.job[x] != b.job && b.s[x] >= b.limit && b.reach[x] < level {
		b.reach[x] = level
		b.queue = append(b.queue, x)
	}
}

// markLeaving marks the moment at which x leaves its resource.
func (b *blockMoves) markLeaving(x int32) {
	if js := b.g.v[x].js; js != b.g.none() {
		b.markBefore(js, 1)
	} else {
		b.markBefore(x, 2)
	}
}

// follow completes the marks by all that starts no earlier than what is marked, without the moved job; it begins with
// entry q of the queue and returns its end.
func (b *blockMoves) follow(q int) int {
	g, none := b.g, b.g.none()
	next := func(x int32, slot int) int32 {
		y := g.v[x].ms[slot]
		for y != none && g.job[y] == b.job {
			y = g.v[y].ms[slot]
		}
		return y
	}
	for ; q < len(b.queue); q++ {
		y := b.queue[q]
		nd := &g.v[y]
		b.markAfter(nd.js, 2)
		for slot := range g.slots {
			if nd.jp != none {
				b.markAfter(next(nd.jp, slot), b.reach[y])
			}
			if nd.js == none {
				b.markAfter(next(y, slot), 2)
			}
		}
	}
	return q
}

// precede is follow in the other direction.
func (b *blockMoves) precede(q int) int {
	g, none := b.g, b.g.none()
	for ; q < len(b.queue); q++ {
		y := b.queue[q]
		nd := &g.v[y]
		b.markBefore(nd.jp, 2)
		for slot := range g.slots {
			p := nd.mp[slot]
			for p != none && g.job[p] == b.job {
				p = g.v[p].mp[slot]
			}
			if p == none {
				continue
			}
			if x := g.v[p].js; x != none {
				b.markBefore(x, b.reach[y])
			} else {
				b.markBefore(p, 2)
			}
		}
	}
	return q
}

func (b *blockMoves) forget() {
	for _, x := range b.queue {
		b.reach[x] = 0
	}
}
