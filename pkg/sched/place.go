package sched

// miss says why an activity could not be placed and what would help.
type miss struct {
	kind    ConflictKind
	subject int32 // vessel for ConflictVessel, resource for ConflictCapacity, else -1
	culprit int32 // activity to be taken out and begun at newLb or later; -1 when none would help
	newLb   int64
	open    bool // an open hold or store is in the way: its consumer should be placed first
}

var noMiss = miss{subject: -1, culprit: -1}

// bounds are the limits that placed activities and the instance put on an activity.
type bounds struct {
	lo, hi       int64 // start
	endLo, endHi int64
	hiBy, endBy  int32 // placed activity behind hi and endHi, or -1
}

func (s *state) bounds(a int32) bounds {
	p := s.p
	c := &p.acts[a]
	b := bounds{lo: max(s.lb[a], p.es[a], c.release), hi: p.ls[a], endLo: noPath, endHi: min(c.deadline, p.to), hiBy: -1, endBy: -1}
	for _, k := range c.arcs {
		r := &p.arcs[k]
		if r.v == a {
			if o := &s.pl[r.u]; o.done {
				t := o.start + r.w
				if r.uEnd {
					t = o.end + r.w
				}
				if r.vEnd {
					b.endLo = max(b.endLo, t)
				} else {
					b.lo = max(b.lo, t)
				}
			}
			continue
		}
		o := &s.pl[r.v]
		if !o.done {
			continue
		}
		t := o.start - r.w
		if r.vEnd {
			t = o.end - r.w
		}
		if r.uEnd {
			if t < b.endHi {
				b.endHi, b.endBy = t, r.v
			}
		} else if t < b.hi {
			b.hi, b.hiBy = t, r.v
		}
	}
	return b
}

// over is the miss of an activity that would begin (or end) past a limit by so much.
func (s *state) over(by int32, excess int64, kind ConflictKind, subject int32) miss {
	m := miss{kind: kind, subject: subject, culprit: by}
	if by >= 0 {
		if s.p.acts[by].fixed {
			m.culprit = -1
			return m
		}
		m.newLb = s.pl[by].start + excess
	}
	return m
}

// fit finds the earliest start of activity a in mode mi, from the given moment on, that respects everything placed so
// far. It gives up, with an empty miss, when the end must lie after cut.
func (s *state) fit(a, mi int32, from, cut int64, b *bounds, tm *timing) (int64, miss, bool) {
	c := &s.p.acts[a]
	m := &c.modes[mi]
	t := max(b.lo, from)
	if b.endLo > noPath {
		t = m.endReached(t, b.endLo)
	}
	kind, subject := ConflictWindow, int32(-1)
	for {
		if t+m.total > cut || t > s.cap {
			return 0, noMiss, false
		}
		// Past the limit set by a placed activity the search goes on, to learn how much later that one has to begin.
		if t > b.hi && (b.hiBy < 0 || t > s.p.ls[a]) {
			return 0, s.missed(b.hiBy, t-b.hi, kind, subject, t), false
		}
		if v, n := s.room(a, m, t); n > t {
			t, kind, subject = n, ConflictVessel, v
			continue
		}
		n, ok := m.begin(t, s.p.to, tm)
		if !ok {
			return 0, miss{kind: ConflictCalendar, subject: -1, culprit: -1}, false
		}
		if n > t {
			t, kind, subject = n, ConflictCalendar, -1
			if t > s.p.ls[a] {
				continue
			}
		}
		if e := tm.end(); e > b.endHi {
			return 0, s.missed(b.endBy, e-b.endHi, kind, subject, t), false
		}
		if v, n := s.busy(a, m, t, tm); n > t {
			t, kind, subject = n, ConflictVessel, v
			continue
		}
		if n, r := s.short(m, t, tm); n > t {
			t, kind, subject = n, ConflictCapacity, r
			continue
		}
		if t > b.hi {
			return 0, s.missed(b.hiBy, t-b.hi, kind, subject, t), false
		}
		if miss, ok := s.holdsReach(a, t); !ok {
			return 0, miss, false
		}
		return t, noMiss, true
	}
}

// missed builds the miss for a start at t beyond the limit set by an activity (or by nobody).
func (s *state) missed(by int32, excess int64, kind ConflictKind, subject int32, t int64) miss {
	if t >= Forever {
		m := miss{kind: kind, subject: subject, culprit: -1}
		m.open = kind == ConflictVessel && s.openHold(subject) || kind == ConflictCapacity && s.stays[subject] > 0
		if m.open || by < 0 {
			return m
		}
		// Nothing will ever fit here; trying the culprit later is the only thing left.
		return s.over(by, 1, kind, subject)
	}
	return s.over(by, excess, kind, subject)
}

// openHold reports whether some stay in v waits for an activity that is not placed.
func (s *state) openHold(v int32) bool {
	for i := range s.occ[v] {
		if s.occ[v][i].rel >= Forever {
			return true
		}
	}
	return false
}

// room is the least moment from t on at which the vessels of m are empty for as long as the mode and cleaning take at
// least; it passes over gaps that are too short before anything else is looked at.
func (s *state) room(a int32, m *cmode, t int64) (int32, int64) {
	vessel := int32(-1)
	for again := true; again; {
		again = false
		for _, u := range m.uses {
			if n := s.empty(u, a, t, m.total); n > t {
				t, vessel, again = n, u.vessel, len(m.uses) > 1
			}
		}
	}
	return vessel, t
}

// empty is the least moment from t on at which there is room in a vessel for a time d and cleaning before and after.
func (s *state) empty(u cuse, a int32, t, d int64) int64 {
	o := s.occ[u.vessel]
	until := s.p.acts[a].until
	if u.free {
		until = -1
	}
	for i := s.firstAfter(u.vessel, t); ; i++ {
		var before *occ
		free := s.p.from
		if i > 0 {
			before = &o[i-1]
			free = s.relFor(before, a)
		}
		if t = max(t, free+s.change(u.vessel, before, a).Duration); t >= Forever {
			return Forever
		}
		if i == len(o) {
			return t
		}
		x := &o[i]
		end := t + d
		if !x.fact && until != x.act {
			end += s.changeStates(u.vessel, a, x.act).Duration
		}
		if end <= x.start {
			return t
		}
	}
}

// busy checks the vessels of m; it returns the vessel in the way and the next moment to try.
func (s *state) busy(a int32, m *cmode, t int64, tm *timing) (int32, int64) {
	for _, u := range m.uses {
		kept := !u.free && s.p.acts[a].until >= 0
		if n := s.gap(u.vessel, a, t, s.relOf(a, kept, tm.end()), kept); n > t {
			return u.vessel, n
		}
	}
	return -1, t
}

// relOf is when a vessel of a becomes free if a ends at end: later than that if the hold's activity is already placed.
func (s *state) relOf(a int32, kept bool, end int64) int64 {
	if !kept {
		return end
	}
	u := s.p.acts[a].until
	if s.pl[u].done {
		return max(end, s.pl[u].start)
	}
	return end
}

// holdsReach checks that every vessel that waits for a can be held until t.
func (s *state) holdsReach(a int32, t int64) (miss, bool) {
	for _, h := range s.p.acts[a].holdsFrom {
		if !s.pl[h].done {
			continue
		}
		for _, u := range s.p.acts[h].modes[s.pl[h].mode].uses {
			if u.free {
				continue
			}
			n, by := s.holdUntil(u.vessel, h, a, t)
			if n == s.pl[h].start {
				continue
			}
			m := miss{kind: ConflictVessel, subject: u.vessel, culprit: h, newLb: n}
			if s.p.acts[h].fixed { // then what comes next in the vessel has to begin later
				m.culprit, m.newLb = by, t
				if by >= 0 && s.p.acts[by].fixed {
					m.culprit = -1
				}
			}
			return m, false
		}
	}
	return noMiss, true
}

// holdUntil returns the start of h if its hold of v can last until a starts at t, else a later start of h to try and the
// activity in the way, or -1. What has started holds on through windows in which the vessel is down.
func (s *state) holdUntil(v, h, a int32, t int64) (int64, int32) {
	pl, fact := &s.pl[h], s.p.acts[h].fact
	if n := clearOf(s.p.vessels[v].down, pl.end, t); n > pl.end && !fact {
		return n, -1
	}
	o := s.occ[v]
	i := s.stay(v, h, pl.start) + 1
	for fact && i < len(o) && o[i].fact {
		i++
	}
	if i >= len(o) || o[i].act == a || o[i].fact && o[i].start >= t {
		return pl.start, -1
	}
	x := &o[i]
	if x.start < t {
		return max(x.rel, pl.start+1), x.act
	}
	if c := s.changeStates(v, h, x.act); c.Duration > 0 && !fact {
		if w := s.slot(v, t, c); w >= Forever || w+c.Duration > x.start {
			return x.rel, x.act
		}
	}
	return pl.start, -1
}

// commit places a in mode mi at t. When a second look finds it impossible (several changes share the crew, stores are
// full) everything is as before and the result tells what to try.
func (s *state) commit(a, mi int32, t int64, tm *timing) (retry int64, m miss, ok bool) {
	mark := s.mark()
	c := &s.p.acts[a]
	mode := &c.modes[mi]
	for _, u := range mode.uses {
		if retry = s.occupy(a, u, t, tm); retry > t {
			s.rollback(mark)
			return retry, miss{kind: ConflictVessel, subject: u.vessel, culprit: -1}, false
		}
	}
	s.load(mode, tm, c.fact)
	s.pl[a] = placement{done: true, mode: mi, start: t, end: tm.end(), tm: *tm}
	s.log = append(s.log, undo{kind: undoPlace, act: a})
	s.countStays(a, 1)
	for _, u := range mode.uses {
		if retry = s.cleanNext(u.vessel, a, t); retry > t {
			s.rollback(mark)
			return retry, miss{kind: ConflictVessel, subject: u.vessel, culprit: -1}, false
		}
	}
	if m, ok = s.extendHolds(a, t); !ok {
		s.rollback(mark)
		return 0, m, false
	}
	if m, retry = s.fill(a, mode, tm); m.kind != "" {
		s.rollback(mark)
		return retry, m, false
	}
	return 0, noMiss, true
}

// occupy inserts the stay of a in one vessel with the change before it. It returns a later start if there is no room.
func (s *state) occupy(a int32, u cuse, t int64, tm *timing) int64 {
	c := &s.p.acts[a]
	o := s.occ[u.vessel]
	i := s.firstAfter(u.vessel, t)
	kept := !u.free && c.until >= 0
	stay := occ{act: a, start: t, end: tm.end(), kept: kept, fact: c.fact}
	stay.own = s.relOf(a, kept, stay.end)
	if kept && c.fixed && !s.pl[c.until].done {
		stay.own = Forever // nobody may come between, though the block of the successor is decoded later
	}
	stay.rel = stay.own
	var before *occ
	lo := s.p.from
	if i > 0 {
		before = &o[i-1]
		lo = s.relFor(before, a)
		if c.fact {
			stay.rel, stay.past = max(stay.rel, before.rel), s.overlapped(before, a)
		}
	}
	if ch := s.change(u.vessel, before, a); ch.Duration > 0 {
		w := s.slot(u.vessel, lo, ch)
		if w >= Forever || w+ch.Duration > t {
			return min(Forever, w+ch.Duration)
		}
		w = s.wished(u.vessel, a, lo, t, w, ch)
		s.cleaned(u.vessel, &stay, w, ch)
	}
	s.insert(u.vessel, i, stay)
	s.crew(u.vessel, &stay, 1)
	return t
}

// crew takes (by = 1) or gives back (-1) what the change before a stay needs.
func (s *state) crew(v int32, o *occ, by int64) {
	if !o.attended {
		return
	}
	for _, d := range s.p.vessels[v].setup.needs {
		s.take(d.res, o.cfrom, o.cto, by*d.add)
	}
}

// cleanNext renews the change of the stay that follows a in v. It returns a later start of a if there is no room.
func (s *state) cleanNext(v, a int32, t int64) int64 {
	if s.p.vessels[v].setup == nil {
		return t
	}
	i := s.stay(v, a, t)
	if i+1 >= len(s.occ[v]) || s.occ[v][i+1].fact {
		return t
	}
	before, x := s.occ[v][i], s.occ[v][i+1]
	ch := s.change(v, &before, x.act)
	old := x
	s.crew(v, &old, -1)
	x.cfrom, x.cto, x.over, x.attended = 0, 0, 0, false
	if ch.Duration > 0 {
		lo := s.relFor(&before, x.act)
		if lo >= Forever {
			lo = before.end // both are fixed; the open hold is looked at when it ends
		}
		w := s.slot(v, lo, ch)
		if w >= Forever || w+ch.Duration > x.start {
			return max(x.rel, t+1)
		}
		w = s.wished(v, x.act, lo, x.start, w, ch)
		s.cleaned(v, &x, w, ch)
	}
	s.set(v, i+1, x)
	s.crew(v, &x, 1)
	return t
}

// extendHolds lets the vessels that wait for a go at t.
func (s *state) extendHolds(a int32, t int64) (miss, bool) {
	for _, h := range s.p.acts[a].holdsFrom {
		if !s.pl[h].done {
			continue
		}
		for _, u := range s.p.acts[h].modes[s.pl[h].mode].uses {
			if u.free {
				continue
			}
			i := s.stay(u.vessel, h, s.pl[h].start)
			o := s.occ[u.vessel][i]
			o.own = max(o.end, t)
			s.set(u.vessel, i, o)
			s.renewRel(u.vessel, i)
			if next := i + 1; next < len(s.occ[u.vessel]) && s.occ[u.vessel][next].act == a {
				continue
			}
			if n := s.cleanNext(u.vessel, h, s.pl[h].start); n > s.pl[h].start {
				m := miss{kind: ConflictVessel, subject: u.vessel, culprit: h, newLb: n}
				if s.p.acts[h].fixed {
					m.culprit = -1
				}
				return m, false
			}
		}
	}
	return noMiss, true
}

// renewRel recomputes when vessel v is free again after stay i and after the overlapping facts that follow it.
func (s *state) renewRel(v int32, i int) {
	for k := i; k < len(s.occ[v]); k++ {
		o := s.occ[v][k]
		if k > i && !o.fact {
			return
		}
		o.rel = o.own
		if o.fact && k > 0 && s.occ[v][k-1].fact {
			o.rel, o.past = max(o.rel, s.occ[v][k-1].rel), s.overlapped(&s.occ[v][k-1], o.act)
		}
		s.set(v, k, o)
	}
}

// fill books the stores that a fills and empties. A miss has a kind; retry is a later start of a, or Forever.
func (s *state) fill(a int32, mode *cmode, tm *timing) (miss, int64) {
	c := &s.p.acts[a]
	end := tm.end()
	for _, k := range c.storesOut {
		st := &s.p.stores[k]
		until, must := st.until, st.until
		if st.consumer >= 0 {
			until, must = Forever, end+1
			if o := &s.pl[st.consumer]; o.done {
				until, must = o.start, o.start
			}
		}
		s.take(st.res, end, until, st.amount)
		if c.fact || st.amount == 0 || end >= must || s.lenient(a) && s.ownStays(a, st.res) > 0 {
			continue
		}
		if e, ok := s.prof[st.res].blocked(end, must, 0); !ok {
			m := miss{kind: ConflictCapacity, subject: st.res, culprit: -1, open: e >= Forever && s.stays[st.res] > s.ownStays(a, st.res)}
			if e >= Forever {
				return m, Forever
			}
			return m, mode.later(tm.start(), 3, false, e)
		}
	}
	for _, k := range c.storesIn {
		st := &s.p.stores[k]
		o := &s.pl[st.producer]
		if !o.done {
			continue
		}
		start := tm.start()
		s.take(st.res, start, Forever, -st.amount)
		if st.fact || st.amount == 0 {
			continue
		}
		limit := start
		if s.lenient(st.producer) {
			if s.ownStays(st.producer, st.res) > 0 {
				continue // looked at when the last of them is emptied
			}
			limit = s.storedUntil(st.producer, st.res)
		}
		if at := s.prof[st.res].firstShort(o.end, 0); at < limit {
			return s.over(st.producer, max(1, start-at), ConflictCapacity, st.res), Forever
		}
	}
	return miss{}, 0
}

// lenient reports whether a may fill stores that have no room, in the hope that they are emptied at once.
func (s *state) lenient(a int32) bool { return s.tight || s.p.acts[a].fixed }

// ownStays is the number of stores on a resource that a itself has opened.
func (s *state) ownStays(a, res int32) int32 {
	n := int32(0)
	for _, k := range s.p.acts[a].storesOut {
		if st := &s.p.stores[k]; st.res == res && st.consumer >= 0 && !s.pl[st.consumer].done {
			n++
		}
	}
	return n
}

// storedUntil is when the last of what a has put into a resource leaves it.
func (s *state) storedUntil(a, res int32) int64 {
	last := int64(noPath)
	for _, k := range s.p.acts[a].storesOut {
		st := &s.p.stores[k]
		if st.res != res || st.amount == 0 {
			continue
		}
		if st.consumer >= 0 {
			last = max(last, s.pl[st.consumer].start)
		} else {
			last = max(last, st.until)
		}
	}
	return last
}

// place puts a into its best allowed mode: the preferred one, or the one in which it ends first.
func (s *state) place(a, prefer int32, ok func(mode int32) bool) (miss, bool) {
	b := s.bounds(a)
	from := b.lo
	for {
		best, bestT, bestTm := int32(-1), int64(0), timing{}
		worst := noMiss
		cut := 2 * Forever
		for mi := range s.p.acts[a].modes {
			if !ok(int32(mi)) || prefer >= 0 && int32(mi) != prefer {
				continue
			}
			var tm timing
			t, m, fits := s.fit(a, int32(mi), from, cut, &b, &tm)
			if !fits {
				worst = worseMiss(worst, m)
				continue
			}
			if best < 0 || s.prefers(a, int32(mi), &tm, best, &bestTm) {
				best, bestT, bestTm = int32(mi), t, tm
				cut = tm.end()
			}
		}
		if best < 0 {
			if worst.kind == "" {
				worst.kind = ConflictLink
			}
			return worst, false
		}
		retry, m, done := s.commit(a, best, bestT, &bestTm)
		if done {
			return noMiss, true
		}
		if m.culprit >= 0 || retry >= Forever || retry <= bestT {
			return m, false
		}
		from = retry
	}
}

// waste is the time for which the vessels of a mode stand idle or are cleaned before a begins at t; cleaning counts more,
// since it takes the crew too.
func (s *state) waste(a int32, m *cmode, t int64) int64 {
	var sum int64
	for _, u := range m.uses {
		i := s.firstAfter(u.vessel, t)
		var before *occ
		free := s.p.from
		if i > 0 {
			before = &s.occ[u.vessel][i-1]
			free = s.relFor(before, a)
		}
		if c := s.change(u.vessel, before, a); c.Duration > 0 {
			sum += 3 * c.Duration
		}
		sum += max(0, t-free)
	}
	return sum
}

// prefers reports whether mode x of a, as timed, is a better greedy choice than mode y.
func (s *state) prefers(a, x int32, tx *timing, y int32, ty *timing) bool {
	if tx.end() != ty.end() {
		return tx.end() < ty.end()
	}
	mx, my := &s.p.acts[a].modes[x], &s.p.acts[a].modes[y]
	if wx, wy := s.waste(a, mx, tx.start()), s.waste(a, my, ty.start()); wx != wy {
		return wx < wy
	}
	if mx.energy != my.energy {
		return mx.energy < my.energy
	}
	return mx.total < my.total
}

// worseMiss keeps the more useful of two reasons: one with a culprit (the smallest push), then an open one.
func worseMiss(a, b miss) miss {
	switch {
	case a.kind == "":
		return b
	case b.culprit >= 0 && (a.culprit < 0 || b.newLb < a.newLb):
		return b
	case a.culprit >= 0:
		return a
	case b.open && !a.open:
		return b
	}
	return a
}
