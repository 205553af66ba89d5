package shop

// seqBuf is the sequence of one resource without the moved operation, and which places in it are worth trying.
type seqBuf struct {
	res    int32
	ops    []int32
	key    []int32 // earliest end less tail: grows along every path
	lo, hi int     // places to try: place i is before ops[i]; none if lo > hi
	at     int     // place where the moved operation was, or -1
	tabuLo int     // places outside tabuLo..tabuHi undo a recent move
	tabuHi int
}

// load fills the buffer for resource r in slot k. A place is allowed if nothing before it can follow the job successor
// and nothing after it can precede the job predecessor.
func (t *tabu) load(b *seqBuf, p *place, r int32, k int) {
	g, none := t.g, int32(t.g.n)
	b.res, b.at = r, -1
	b.ops, b.key = b.ops[:0], b.key[:0]
	b.lo = 0
	own := g.modeRes[g.mode[p.u]][k] == r
	old := none
	if own {
		old = g.v[p.u].mp[k]
		if old == none {
			b.at = 0
		}
	}
	jp, js := g.v[p.u].jp, g.v[p.u].js
	least, most, after := 0, -1, -1 // places that the job allows; the first place behind which only short tails follow
	for w := g.head[r]; w != none; w = g.v[w].ms[k] {
		i := len(b.ops)
		ew, fw, d := t.e2[w], t.f2[w], g.v[w].d
		if least == i && fw-d >= p.tailLimit || w == jp {
			least = i + 1
		}
		if most < 0 && (ew-d >= p.startLimit || w == js) {
			most = i
		}
		if b.lo == i && ew <= p.a {
			b.lo++
		}
		if after < 0 && fw <= p.b {
			after = i
		}
		b.ops = append(b.ops, w)
		b.key = append(b.key, ew-fw)
		if own && w == old {
			b.at = i + 1
		}
		if (after >= 0 || most >= 0) && b.lo <= i && least <= i && (!own || b.at >= 0) {
			break // no later place is worth trying
		}
	}
	if most < 0 {
		most = len(b.ops)
	}
	if after < 0 {
		after = len(b.ops)
	}
	b.lo = max(least, min(b.lo, most))
	b.hi = min(most, max(after, b.lo))
	b.tabuLo, b.tabuHi = 0, len(b.ops)
	if !own || k >= g.tabuSlots {
		return
	}
	for i := b.at - 1; i >= b.lo; i-- {
		if t.forbidden(p.u, b.ops[i]) {
			b.tabuLo = i + 1
			break
		}
	}
	for i := b.at; i < b.hi; i++ {
		if t.forbidden(b.ops[i], p.u) {
			b.tabuHi = i
			break
		}
	}
}

// sequences tries all modes of an operation that takes several resources. The places on its resources are cut at one
// point of a common order, so that no combination closes a cycle.
func (t *tabu) sequences(p *place) {
	g := t.g
	for k := range g.slots {
		t.seqs[k].res = -1
	}
	for m := g.modeFrom[p.u]; m < g.modeFrom[p.u+1]; m++ {
		if max(p.rest, p.a+g.modeDur[m]+p.b) > t.pick.value {
			continue // no place can be good enough
		}
		n := 0
		var slot [maxSlots]int
		var seq [maxSlots]*seqBuf
		for k := range g.slots {
			r := g.modeRes[m][k]
			if r < 0 {
				continue
			}
			b := &t.seqs[k]
			if b.res != r {
				t.load(b, p, r, k)
			}
			slot[n], seq[n] = k, b
			n++
		}
		t.cuts(p, m, slot[:n], seq[:n])
	}
}

// cuts walks along the common order of the sequences from the earliest place to the latest.
func (t *tabu) cuts(p *place, mode int32, slot []int, seq []*seqBuf) {
	g := t.g
	d := g.modeDur[mode]
	var at [maxSlots]int
	var a, f [maxSlots]int32 // end before and tail behind the place in each sequence
	for i, b := range seq {
		if b.lo > b.hi {
			return
		}
		at[i] = b.lo
		a[i], f[i] = t.around(b, b.lo)
	}
	for {
		x, y := p.a, p.b
		next := -1
		for i, b := range seq {
			x, y = max(x, a[i]), max(y, f[i])
			if at[i] < b.hi && (next < 0 || t.earlier(b, at[i], seq[next], at[next])) {
				next = i
			}
		}
		if max(p.rest, x+d+y) <= t.pick.value {
			t.offerCut(p, mode, slot, seq, &at, x+d+y)
		}
		if next < 0 {
			return
		}
		// An operation that comes next in several sequences is passed in all of them at once.
		for i, op := 0, seq[next].ops[at[next]]; i < len(seq); i++ {
			if b := seq[i]; at[i] < b.hi && b.ops[at[i]] == op {
				at[i]++
				a[i], f[i] = t.around(b, at[i])
			}
		}
	}
}

// around returns the end of what precedes place q of a sequence and the tail of what follows it.
func (t *tabu) around(b *seqBuf, q int) (e, f int32) {
	if q > 0 {
		e = t.e2[b.ops[q-1]]
	}
	if q < len(b.ops) {
		f = t.f2[b.ops[q]]
	}
	return e, f
}

// offerCut offers the places at of the sequences, unless they are those where the operation is.
func (t *tabu) offerCut(p *place, mode int32, slot []int, seq []*seqBuf, at *[maxSlots]int, through int32) {
	g, none := t.g, int32(t.g.n)
	key := g.modeKey[mode]
	same := key == g.modeKey[g.mode[p.u]]
	banned, moved := !same && t.modeTabu[key] > t.iter, mode != g.mode[p.u]
	stays := same && t.opTabu[p.u] > t.iter
	after := [maxSlots]int32{none, none, none, none}
	for i, b := range seq {
		q := at[i]
		if q > 0 {
			after[slot[i]] = b.ops[q-1]
		}
		banned = banned || q < b.tabuLo || q > b.tabuHi
		moved = moved || q != b.at
		stays = stays && (slot[i] >= g.tabuSlots || q == b.at)
	}
	if moved {
		t.offer(p, mode, &after, through, banned || stays)
	}
}

// earlier compares two operations by the common order.
func (t *tabu) earlier(a *seqBuf, i int, b *seqBuf, j int) bool {
	if a.key[i] != b.key[j] {
		return a.key[i] < b.key[j]
	}
	return t.g.rank[a.ops[i]] < t.g.rank[b.ops[j]]
}
