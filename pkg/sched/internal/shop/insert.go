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
	least, most, after := 0, -1, -1 // places that the job allows; the first place behind which only short tails follow
	for w := g.head[r]; w != none; w = g.v[w].ms[k] {
		i := len(b.ops)
		if least == i && t.f2[w]-g.v[w].d >= p.tailLimit {
			least++
		}
		if most < 0 && t.e2[w]-g.v[w].d >= p.startLimit {
			most = i
		}
		if b.lo == i && t.e2[w] <= p.a {
			b.lo++
		}
		if after < 0 && t.f2[w] <= p.b {
			after = i
		}
		b.ops = append(b.ops, w)
		b.key = append(b.key, t.e2[w]-t.f2[w])
		if own && w == old {
			b.at = i + 1
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
	g, none := t.g, int32(t.g.n)
	d := g.modeDur[mode]
	key := g.modeKey[mode]
	same := key == g.modeKey[g.mode[p.u]]
	modeBanned := !same && t.modeTabu[key] > t.iter
	opBanned := same && t.opTabu[p.u] > t.iter
	var at [maxSlots]int
	var after [maxSlots]int32
	for k := range after {
		after[k] = none
	}
	for i, b := range seq {
		if b.lo > b.hi {
			return
		}
		at[i] = b.lo
	}
	for {
		a, f := p.a, p.b
		banned, moved := modeBanned, mode != g.mode[p.u]
		stays := opBanned
		for i, b := range seq {
			q := at[i]
			after[slot[i]] = none
			if q > 0 {
				x := b.ops[q-1]
				after[slot[i]] = x
				a = max(a, t.e2[x])
			}
			if q < len(b.ops) {
				f = max(f, t.f2[b.ops[q]])
			}
			banned = banned || q < b.tabuLo || q > b.tabuHi
			moved = moved || q != b.at
			stays = stays && (slot[i] >= g.tabuSlots || q == b.at)
		}
		if moved {
			t.offer(p, mode, &after, a+d+f, banned || stays)
		}
		next := -1
		for i, b := range seq {
			if at[i] < b.hi && (next < 0 || t.earlier(b, at[i], seq[next], at[next])) {
				next = i
			}
		}
		if next < 0 {
			return
		}
		at[next]++
	}
}

// earlier compares two operations by the common order.
func (t *tabu) earlier(a *seqBuf, i int, b *seqBuf, j int) bool {
	if a.key[i] != b.key[j] {
		return a.key[i] < b.key[j]
	}
	return t.g.rank[a.ops[i]] < t.g.rank[b.ops[j]]
}
