package sched

// unplace takes activity a out of the plan, whatever was placed after it. Stays that followed it keep the change they
// have; renew makes it the one that they need now.
func (s *state) unplace(a int32) {
	c := &s.p.acts[a]
	pl := s.pl[a]
	mode := &c.modes[pl.mode]
	s.unfill(a, &pl)
	for _, h := range c.holdsFrom {
		if s.pl[h].done {
			s.shortenHold(h)
		}
	}
	for _, u := range mode.uses {
		i := s.stay(u.vessel, a, pl.start)
		o := s.occ[u.vessel][i]
		s.crew(u.vessel, &o, -1)
		s.remove(u.vessel, i)
	}
	s.unload(mode, &pl.tm)
	s.saved = append(s.saved, pl)
	s.pl[a].done = false
	s.countStays(a, -1)
	s.log = append(s.log, undo{kind: undoUnplace, act: a})
}

// shortenHold lets the vessels of h, which waited for an activity that is taken out, go at the end of h.
func (s *state) shortenHold(h int32) {
	for _, u := range s.p.acts[h].modes[s.pl[h].mode].uses {
		if u.free {
			continue
		}
		i := s.stay(u.vessel, h, s.pl[h].start)
		o := s.occ[u.vessel][i]
		o.own = o.end
		if s.p.acts[h].fixed {
			o.own = Forever
		}
		s.set(u.vessel, i, o)
		s.renewRel(u.vessel, i)
	}
}

// unfill gives back what a takes of the stores that it fills and empties.
func (s *state) unfill(a int32, pl *placement) {
	c := &s.p.acts[a]
	for _, k := range c.storesOut {
		st := &s.p.stores[k]
		until := st.until
		if st.consumer >= 0 {
			until = Forever
			if o := &s.pl[st.consumer]; o.done {
				until = o.start
			}
		}
		s.take(st.res, pl.end, until, -st.amount)
	}
	for _, k := range c.storesIn {
		st := &s.p.stores[k]
		if s.pl[st.producer].done {
			s.take(st.res, pl.start, Forever, st.amount)
		}
	}
}

// unload gives back the demands of a placed mode.
func (s *state) unload(m *cmode, tm *timing) {
	for i := range m.dems {
		d := &m.dems[i]
		switch d.kind {
		case demSolid:
			s.take(d.res, tm.s[d.lo], tm.e[d.hi], -d.add)
		case demHeld:
			s.take(d.res, tm.b[d.lo], tm.e[d.lo], -d.add)
		default:
			m.cal[d.lo].pieces(tm.s[d.lo], tm.e[d.lo], func(x, y int64) bool {
				s.take(d.res, x, y, -d.add)
				return true
			})
		}
	}
}

// remove deletes stay i of vessel v.
func (s *state) remove(v int32, i int) {
	s.log, s.olds = append(s.log, undo{kind: undoRemove, ix: v, x: int64(i)}), append(s.olds, s.occ[v][i])
	s.extra -= s.occ[v][i].over
	s.occ[v] = append(s.occ[v][:i], s.occ[v][i+1:]...)
}

// renew gives stay i of vessel v the change that it needs after the stay before it. It reports whether there is room.
func (s *state) renew(v int32, i int) bool {
	if s.p.vessels[v].setup == nil || i >= len(s.occ[v]) || s.occ[v][i].fact {
		return true
	}
	x := s.occ[v][i]
	var before *occ
	lo := s.p.from
	if i > 0 {
		b := s.occ[v][i-1]
		before = &b
		if lo = s.relFor(before, x.act); lo >= Forever {
			lo = before.end // both are fixed
		}
	}
	ch := s.change(v, before, x.act)
	if old := x.cto - x.cfrom; old == ch.Duration && (old == 0 || x.cfrom >= lo && x.attended == ch.Attended) {
		return true // the same work, and where it is it is in nobody's way
	}
	s.crew(v, &x, -1)
	x.cfrom, x.cto, x.over, x.attended = 0, 0, 0, false
	if ch.Duration > 0 {
		w := s.slot(v, lo, ch)
		if w >= Forever || w+ch.Duration > x.start {
			return false
		}
		w = s.wished(v, x.act, lo, x.start, w, ch)
		s.cleaned(v, &x, w, ch)
	}
	s.set(v, i, x)
	s.crew(v, &x, 1)
	return true
}

// forget makes the present plan the one from which stepping back begins.
func (s *state) forget() {
	s.log, s.saved, s.olds = s.log[:0], s.saved[:0], s.olds[:0]
}
