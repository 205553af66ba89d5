package sched

import (
	"cmp"
	"fmt"
	"slices"
)

// chainLimit bounds the length of the chain reported behind a late activity.
const chainLimit = 12

// late explains the late activities of the best plan.
func (s *searcher) late() []Late {
	p := s.p
	var out []Late
	var acts []int32
	for a := range p.acts {
		c := &p.acts[a]
		if t := s.best.end[a] - c.due; c.weight > 0 && t > 0 {
			acts = append(acts, int32(a))
			in := &p.in.Activities[a]
			out = append(out, Late{Activity: in.Name, Order: in.Order, Due: c.due, End: s.best.end[a], Tardiness: t, Cost: t * c.weight})
		}
	}
	if len(out) == 0 {
		return nil
	}
	if o, _ := s.d.decode(s.best.geno, nil); o == decoded {
		for i := range out {
			out[i].Waits = s.d.waits(acts[i])
		}
	}
	slices.SortStableFunc(out, func(a, b Late) int { return cmp.Or(cmp.Compare(b.Cost, a.Cost), cmp.Compare(a.Activity, b.Activity)) })
	return out
}

// waits follows what an activity waits for, backwards.
func (d *decoder) waits(a int32) []Wait {
	var out []Wait
	seen := map[int32]bool{}
	for len(out) < chainLimit && !seen[a] {
		seen[a] = true
		w, next := d.wait(a)
		out = append(out, w)
		if next < 0 {
			break
		}
		a = next
	}
	return out
}

// wait says why a does not begin earlier in its mode, and which activity is behind it.
func (d *decoder) wait(a int32) (Wait, int32) {
	p, s := d.p, d.s
	x := &s.pl[a]
	w := Wait{Activity: p.name(a), Until: x.start}
	c := &p.acts[a]
	if c.fixed {
		w.Kind, w.Message = WaitPinned, fmt.Sprintf("%s is pinned or already started", w.Activity)
		return w, -1
	}
	for _, k := range c.arcs {
		r := &p.arcs[k]
		if r.v != a || r.lag < 0 && r.w != 0 {
			continue
		}
		t, at := s.pl[r.u].start, x.start
		if r.uEnd {
			t = s.pl[r.u].end
		}
		if r.vEnd {
			at = x.end
		}
		if t+r.w == at {
			w.Kind, w.Behind = WaitLag, p.name(r.u)
			w.Message = fmt.Sprintf("%s waits for %s", w.Activity, w.Behind)
			if r.lag >= 0 && p.in.Lags[r.lag].Why != "" {
				w.Message += " (" + p.in.Lags[r.lag].Why + ")"
			}
			return w, r.u
		}
	}
	m := &c.modes[x.mode]
	if v, b := d.vesselWait(a, m, x); v >= 0 {
		w.Kind, w.Subject = WaitVessel, p.in.Vessels[v].Name
		w.Message = fmt.Sprintf("%s waits for %s", w.Activity, w.Subject)
		if b >= 0 {
			w.Behind = p.name(b)
			w.Message += fmt.Sprintf(" to be free and clean after %s", w.Behind)
		} else {
			w.Message += " to be up and clean"
		}
		return w, b
	}
	if x.start <= c.release {
		w.Kind, w.Message = WaitRelease, fmt.Sprintf("%s may not start before %d", w.Activity, c.release)
		return w, -1
	}
	var tm timing
	if n := m.try(x.start-1, &tm); n > x.start-1 {
		w.Kind = WaitCalendar
		for k, cal := range m.cal {
			if w.Subject == "" && cal != nil && m.d[k] > 0 {
				w.Subject = cal.name
			}
		}
		w.Message = fmt.Sprintf("%s waits for open time in its calendar %s", w.Activity, w.Subject)
		return w, -1
	}
	if r, b := d.resourceWait(a, m, x); r >= 0 {
		w.Kind, w.Subject = WaitResource, p.in.Resources[r].Name
		w.Message = fmt.Sprintf("%s waits for enough of %s", w.Activity, w.Subject)
		if b >= 0 {
			w.Behind = p.name(b)
			w.Message += fmt.Sprintf(", taken until then by %s among others", w.Behind)
		}
		return w, b
	}
	w.Kind, w.Message = WaitChoice, fmt.Sprintf("%s could begin earlier by itself; it was put here for the sake of the whole plan", w.Activity)
	return w, -1
}

// vesselWait finds the vessel that becomes free, up and clean just when a begins.
func (d *decoder) vesselWait(a int32, m *cmode, x *placement) (vessel, behind int32) {
	s := d.s
	for _, u := range m.uses {
		i := s.stay(u.vessel, a, x.start)
		o := &s.occ[u.vessel][i]
		if o.cto > o.cfrom && o.cto == x.start || i > 0 && s.relFor(&s.occ[u.vessel][i-1], a) == x.start {
			if i > 0 {
				return u.vessel, s.occ[u.vessel][i-1].act
			}
			return u.vessel, -1
		}
		for _, w := range d.p.vessels[u.vessel].down {
			if w.End == x.start {
				return u.vessel, -1
			}
		}
	}
	return -1, -1
}

// resourceWait finds the resource that would be short one unit of time earlier, and an activity that frees it.
func (d *decoder) resourceWait(a int32, m *cmode, x *placement) (res, behind int32) {
	s := d.s
	mark := s.mark()
	for i := range m.dems {
		q := &m.dems[i]
		if q.kind == demHeld {
			s.take(q.res, x.tm.b[q.lo], x.tm.e[q.hi], -q.add)
		} else {
			s.take(q.res, x.tm.s[q.lo], x.tm.e[q.hi], -q.add)
		}
	}
	var tm timing
	res, behind = -1, -1
	if n := m.try(x.start-1, &tm); n == x.start-1 {
		if n, r := s.short(m, n, &tm); n > x.start-1 {
			res = r
		}
	}
	s.rollback(mark)
	if res < 0 {
		return res, behind
	}
	for b := range s.pl {
		o := &s.pl[b]
		if int32(b) == a || o.end > x.end || o.end < x.start || behind >= 0 && o.end >= s.pl[behind].end {
			continue
		}
		for _, q := range d.p.acts[b].modes[o.mode].dems {
			if q.res == res {
				behind = int32(b)
			}
		}
	}
	return res, behind
}
