package sched

// timing is how a mode runs when begun at a certain moment. Phase k waits from b[k], works from s[k], ends at e[k].
type timing struct {
	b, s, e [3]int64
}

func (tm *timing) start() int64 { return tm.s[0] }
func (tm *timing) end() int64   { return tm.e[2] }

// begin finds the earliest moment >= t, at most last, at which the mode can begin as far as calendars go.
func (m *cmode) begin(t, last int64, tm *timing) (int64, bool) {
	for t <= last {
		next := m.try(t, tm)
		if next == t {
			return t, true
		}
		t = next
	}
	return 0, false
}

// try fills tm for a beginning at t and returns t, or returns a later moment before which the mode cannot begin.
func (m *cmode) try(t int64, tm *timing) int64 {
	x := t
	begun := false
	for k := range 3 {
		d := m.d[k]
		tm.b[k] = x
		if d == 0 {
			tm.s[k], tm.e[k] = x, x
			continue
		}
		cal := m.cal[k]
		if m.pausable[k] {
			s := cal.nextOpen(x)
			if s >= Forever {
				return Forever
			}
			if !begun && s > x {
				return s
			}
			e := cal.finish(s, d)
			if e >= Forever {
				return Forever
			}
			tm.s[k], tm.e[k] = s, e
			x = e
		} else {
			if y := cal.fits(x, d); y > x {
				if y >= Forever {
					return Forever
				}
				return m.later(t, k, false, y)
			}
			tm.s[k], tm.e[k] = x, x+d
			x += d
		}
		begun = true
	}
	// Phases of no duration before the first real one begin with it.
	return t
}

// later returns the least t' > t for which phase k begins (with its wait if wait is set, else its work) at target or
// after. It is a lower bound of every feasible beginning that satisfies this, since a mode begun later does not pass
// any point earlier.
func (m *cmode) later(t int64, k int, wait bool, target int64) int64 {
	if !m.pauses {
		off := int64(0)
		for i := range k {
			off += m.d[i]
		}
		return max(t+1, target-off)
	}
	lo, hi := t+1, max(t+1, target) // a phase never begins before the mode does
	for lo < hi {
		mid := lo + (hi-lo)/2
		if m.reaches(mid, k, wait) >= target {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo
}

// reaches is when phase k begins if the mode begins at t, supposing that phases without pauses find open time.
func (m *cmode) reaches(t int64, k int, wait bool) int64 {
	x := t
	for i := range 3 {
		if m.d[i] == 0 {
			if i == k {
				return x
			}
			continue
		}
		if i == k && wait {
			return x
		}
		if m.pausable[i] {
			x = m.cal[i].nextOpen(x)
		}
		if i == k || x >= Forever {
			return x
		}
		if m.pausable[i] {
			x = m.cal[i].finish(x, m.d[i])
		} else {
			x += m.d[i]
		}
	}
	return x
}

// endReached is the least beginning >= t from which the mode cannot end before target.
func (m *cmode) endReached(t, target int64) int64 {
	if !m.pauses {
		return max(t, target-m.total)
	}
	lo, hi := t, max(t, target)
	for lo < hi {
		mid := lo + (hi-lo)/2
		if m.reaches(mid, 3, false) >= target {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo
}

// factTiming is how a started activity runs: see Fixed.
func (m *cmode) factTiming(start, end int64) timing {
	var tm timing
	if end != 0 {
		a := min(start+m.d[0], end)
		z := max(a, end-m.d[2])
		if m.d[1] == 0 {
			if m.d[2] == 0 {
				a = end
			}
			z = a
		}
		tm.b = [3]int64{start, a, z}
		tm.s = tm.b
		tm.e = [3]int64{a, z, end}
		return tm
	}
	x := start
	for k := range 3 {
		tm.b[k], tm.s[k] = x, x
		if m.d[k] > 0 && m.pausable[k] {
			if s := m.cal[k].nextOpen(x); s < Forever {
				tm.s[k] = s
			}
			x = m.cal[k].finish(tm.s[k], m.d[k])
			if x >= Forever {
				x = tm.s[k] + m.d[k]
			}
		} else {
			x += m.d[k]
		}
		tm.e[k] = x
	}
	return tm
}
