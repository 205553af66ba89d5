package sched

import "slices"

// occ is one stay in a vessel: [start, rel), preceded by a change [cfrom, cto) if those differ.
type occ struct {
	act        int32
	start, end int64
	own        int64 // end of the hold of act; Forever while it is open
	rel        int64 // when the vessel is free again: own, or later where facts overlap
	past       int64 // when it is free of the facts before that overlap, but for those whose holds end with this one's
	cfrom, cto int64
	over       int64 // overtime in the change
	attended   bool  // the change is attended and takes crew
	kept       bool  // the hold of act keeps this vessel
	fact       bool
}

// placement is where an activity stands in the plan under construction.
type placement struct {
	done  bool
	mode  int32
	start int64
	end   int64
	tm    timing
}

// undo is one step back.
type undo struct {
	kind undoKind
	ix   int32 // resource, or vessel
	x, y int64 // take: span
	q    int64 // take: amount
	act  int32
}

type undoKind uint8

const (
	undoTake undoKind = iota
	undoInsert
	undoSet // what was there is on top of state.olds
	undoPlace
	undoRemove  // the same; x is the index that the stay had
	undoUnplace // what was there is on top of state.saved
)

// state is a partial plan with a log for stepping back.
type state struct {
	p     *problem
	prof  []headroom
	occ   [][]occ
	pl    []placement
	log   []undo
	lb    []int64 // earliest start asked for, per activity
	tight bool    // see genotype
	slots *slotHint
	stays []int32 // number of open stores per resource (producer placed, consumer not)
	saved []placement
	olds  []occ
	cap   int64 // nothing may begin later: it would cost too much
	extra int64 // overtime in which vessels are cleaned
}

func newState(p *problem) *state {
	s := &state{
		p: p, prof: make([]headroom, len(p.base)), occ: make([][]occ, len(p.vessels)), pl: make([]placement, len(p.acts)),
		lb: make([]int64, len(p.acts)), stays: make([]int32, len(p.base)), cap: Forever,
	}
	for i := range p.base {
		s.prof[i].reset(&p.base[i])
	}
	return s
}

func (s *state) mark() int { return len(s.log) }

func (s *state) rollback(mark int) {
	for len(s.log) > mark {
		u := s.log[len(s.log)-1]
		s.log = s.log[:len(s.log)-1]
		switch u.kind {
		case undoTake:
			s.prof[u.ix].take(u.x, u.y, -u.q)
		case undoInsert:
			o := s.occ[u.ix]
			i := s.stay(u.ix, u.act, u.x)
			s.extra -= o[i].over
			copy(o[i:], o[i+1:])
			s.occ[u.ix] = o[:len(o)-1]
		case undoSet:
			old := s.popOld()
			o := &s.occ[u.ix][s.stay(u.ix, old.act, old.start)]
			s.extra += old.over - o.over
			*o = old
		case undoPlace:
			s.pl[u.act].done = false
			s.countStays(u.act, -1)
		case undoRemove:
			old := s.popOld()
			s.extra += old.over
			s.occ[u.ix] = slices.Insert(s.occ[u.ix], int(u.x), old)
		case undoUnplace:
			last := len(s.saved) - 1
			s.pl[u.act] = s.saved[last]
			s.saved = s.saved[:last]
			s.countStays(u.act, 1)
		}
	}
}

func (s *state) popOld() occ {
	last := len(s.olds) - 1
	o := s.olds[last]
	s.olds = s.olds[:last]
	return o
}

// countStays keeps the number of open stores per resource when a is placed (by = 1) or taken out (-1).
func (s *state) countStays(a int32, by int32) {
	c := &s.p.acts[a]
	for _, k := range c.storesOut {
		if st := &s.p.stores[k]; st.consumer >= 0 && !s.pl[st.consumer].done {
			s.stays[st.res] += by
		}
	}
	for _, k := range c.storesIn {
		if st := &s.p.stores[k]; s.pl[st.producer].done {
			s.stays[st.res] -= by
		}
	}
}

// stay finds the index of the stay of act, which starts at start, in vessel v.
func (s *state) stay(v, act int32, start int64) int {
	o := s.occ[v]
	i := s.firstAfter(v, start) - 1
	for i >= 0 && o[i].act != act {
		i--
	}
	return i
}

// firstAfter is the index of the first stay in v that starts after t.
func (s *state) firstAfter(v int32, t int64) int {
	o := s.occ[v]
	lo, hi := 0, len(o)
	for lo < hi {
		mid := int(uint(lo+hi) >> 1)
		if o[mid].start <= t {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return lo
}

func (s *state) take(res int32, x, y, q int64) {
	if x >= y || q == 0 {
		return
	}
	s.prof[res].take(x, y, q)
	s.log = append(s.log, undo{kind: undoTake, ix: res, x: x, y: y, q: q})
}

func (s *state) set(v int32, i int, o occ) {
	s.log, s.olds = append(s.log, undo{kind: undoSet, ix: v}), append(s.olds, s.occ[v][i])
	s.extra += o.over - s.occ[v][i].over
	s.occ[v][i] = o
}

func (s *state) insert(v int32, i int, o occ) {
	s.occ[v] = append(s.occ[v], occ{})
	copy(s.occ[v][i+1:], s.occ[v][i:])
	s.occ[v][i] = o
	s.extra += o.over
	s.log = append(s.log, undo{kind: undoInsert, ix: v, act: o.act, x: o.start})
}

// cleaned notes in a stay that change c of vessel v before it begins at t; without a change there is nothing to note.
func (s *state) cleaned(v int32, o *occ, t int64, c Change) {
	o.cfrom, o.cto, o.attended, o.over = t, t+c.Duration, c.Attended, 0
	if cal := s.p.vessels[v].setup.cal; c.Attended && cal != nil && len(cal.over) > 0 {
		o.over = cal.overtime(o.cfrom, o.cto)
	}
}

// change returns the cleaning that vessel v needs between the stay before (nil: start of the horizon) and activity a.
func (s *state) change(v int32, before *occ, a int32) Change {
	ve := &s.p.vessels[v]
	if ve.setup == nil || s.p.acts[a].fact {
		return Change{}
	}
	from := ve.first
	if before != nil {
		if before.kept && s.p.acts[before.act].until == a {
			return Change{}
		}
		from = ve.states[before.act]
	}
	if from < 0 {
		return Change{}
	}
	return ve.setup.in.Change[from][ve.states[a]]
}

// slot is the earliest beginning >= lo at which change c of vessel v can be carried out, or Forever.
func (s *state) slot(v int32, lo int64, c Change) int64 {
	if c.Duration == 0 {
		return lo
	}
	ve := &s.p.vessels[v]
	t := max(lo, s.p.from)
	for t < s.p.to {
		n := clearOf(ve.down, t, t+c.Duration)
		if n > t {
			t = n
			continue
		}
		if c.Attended {
			if n = ve.setup.cal.fits(t, c.Duration); n > t {
				t = n
				continue
			}
			for _, d := range ve.setup.needs {
				if e, ok := s.prof[d.res].blocked(t, t+c.Duration, d.add); !ok {
					n = max(n, e)
				}
			}
		}
		if n <= t {
			return t
		}
		t = n
	}
	return Forever
}

// wished returns where the cleaning of v before a is wanted, if it can be there between lo and hi, else w.
func (s *state) wished(v, a int32, lo, hi, w int64, c Change) int64 {
	if s.slots == nil {
		return w
	}
	h, ok := (*s.slots)[[2]int32{a, v}]
	if ok && h > w && h >= lo && h+c.Duration <= hi && s.slot(v, h, c) == h {
		return h
	}
	return w
}

// clearOf returns x if [x, y) meets none of the spans, else the end of the first that it meets.
func clearOf(spans []Span, x, y int64) int64 {
	lo, hi := 0, len(spans)
	for lo < hi {
		mid := int(uint(lo+hi) >> 1)
		if spans[mid].End <= x {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	if lo < len(spans) && spans[lo].Start < y {
		return spans[lo].End
	}
	return x
}

// relFor is when activity a may find the vessel of stay o free.
func (s *state) relFor(o *occ, a int32) int64 {
	if o.kept && s.p.acts[o.act].until == a {
		return max(o.end, o.past)
	}
	return o.rel
}

// overlapped is when the vessel is free of fact before for a fact that follows it and may overlap.
func (s *state) overlapped(before *occ, follower int32) int64 {
	if before.kept && s.p.acts[before.act].until == s.p.acts[follower].until {
		return max(before.end, before.past)
	}
	return before.rel
}

// gap returns t if activity a can occupy vessel v in [t, rel), else a later moment before which it cannot.
func (s *state) gap(v, a int32, t, rel int64, kept bool) int64 {
	if n := clearOf(s.p.vessels[v].down, t, rel); n > t {
		return n
	}
	o := s.occ[v]
	i := s.firstAfter(v, t)
	var before *occ
	lo := s.p.from
	if i > 0 {
		before = &o[i-1]
		lo = s.relFor(before, a)
		if lo > t {
			return lo
		}
	}
	if c := s.change(v, before, a); c.Duration > 0 {
		u := lo
		if lo+c.Duration <= t {
			u = s.slot(v, lo, c)
		}
		if u >= Forever {
			return Forever
		}
		if u+c.Duration > t {
			return u + c.Duration
		}
	}
	if i < len(o) {
		x := &o[i]
		if rel > x.start {
			return max(x.rel, t+1)
		}
		if !x.fact && !(kept && s.p.acts[a].until == x.act) {
			if c := s.changeStates(v, a, x.act); c.Duration > 0 {
				if u := rel; u+c.Duration > x.start || s.slot(v, u, c)+c.Duration > x.start {
					return max(x.rel, t+1)
				}
			}
		}
	}
	return t
}

// changeStates is the cleaning from the state of a to that of b in v.
func (s *state) changeStates(v, a, b int32) Change {
	ve := &s.p.vessels[v]
	if ve.setup == nil {
		return Change{}
	}
	return ve.setup.in.Change[ve.states[a]][ve.states[b]]
}

// short returns t if the demands of mode m fit, else a later moment before which they do not, and the resource.
func (s *state) short(m *cmode, t int64, tm *timing) (int64, int32) {
	for i := range m.dems {
		d := &m.dems[i]
		pr := &s.prof[d.res]
		switch d.kind {
		case demSolid:
			if e, ok := pr.blocked(tm.s[d.lo], tm.e[d.hi], d.check); !ok {
				return s.afterBlock(m, t, int(d.lo), false, e), d.res
			}
		case demHeld:
			if e, ok := pr.blocked(tm.b[d.lo], tm.e[d.lo], d.check); !ok {
				return s.afterBlock(m, t, int(d.lo), true, e), d.res
			}
		case demWork:
			var stop int64
			m.cal[d.lo].pieces(tm.s[d.lo], tm.e[d.lo], func(x, y int64) bool {
				if e, ok := pr.blocked(x, y, d.check); !ok {
					stop = e
					return false
				}
				return true
			})
			if stop != 0 {
				return s.afterBlock(m, t, int(d.lo), false, stop), d.res
			}
		}
	}
	return t, -1
}

func (s *state) afterBlock(m *cmode, t int64, k int, wait bool, e int64) int64 {
	if e >= Forever {
		return Forever
	}
	return m.later(t, k, wait, e)
}

// load adds the demands of a placed mode.
func (s *state) load(m *cmode, tm *timing, fact bool) {
	for i := range m.dems {
		d := &m.dems[i]
		switch {
		case d.kind == demSolid:
			s.take(d.res, tm.s[d.lo], tm.e[d.hi], d.add)
		case d.kind == demHeld || fact:
			s.take(d.res, tm.b[d.lo], tm.e[d.lo], d.add)
		default:
			m.cal[d.lo].pieces(tm.s[d.lo], tm.e[d.lo], func(x, y int64) bool {
				s.take(d.res, x, y, d.add)
				return true
			})
		}
	}
}
