package verify

import (
	"sort"

	"rondeau.internal/pkg/sched"
)

// hours is a calendar cut at every border of its spans; each piece is wholly open (or not) and wholly overtime (or not).
type hours struct {
	pieces []piece // ascending, only open ones; neighbours may touch
}

type piece struct {
	start, end int64
	extra      bool // overtime
}

func newHours(open []sched.Open) *hours {
	var cuts []int64
	for _, o := range open {
		cuts = append(cuts, o.Start, o.End)
	}
	sort.Slice(cuts, func(i, j int) bool { return cuts[i] < cuts[j] })
	h := &hours{}
	for i := 1; i < len(cuts); i++ {
		a, b := cuts[i-1], cuts[i]
		if a == b {
			continue
		}
		covered, normal := false, false
		for _, o := range open {
			if o.Start <= a && b <= o.End {
				covered = true
				normal = normal || !o.Overtime
			}
		}
		if covered {
			h.pieces = append(h.pieces, piece{a, b, !normal})
		}
	}
	return h
}

// openIn is the open time within [a, b).
func (h *hours) openIn(a, b int64) int64 {
	if h == nil {
		return b - a
	}
	var sum int64
	for _, p := range h.pieces {
		if x, y := max(a, p.start), min(b, p.end); x < y {
			sum += y - x
		}
	}
	return sum
}

// overtime is the overtime within [a, b).
func (h *hours) overtime(a, b int64) int64 {
	var sum int64
	for _, p := range h.pieces {
		if x, y := max(a, p.start), min(b, p.end); p.extra && x < y {
			sum += y - x
		}
	}
	return sum
}

// isOpen reports whether the moment t (that is, the unit of time that begins at t) is open.
func (h *hours) isOpen(t int64) bool {
	return h == nil || h.openIn(t, t+1) == 1
}

// opens is the first open moment from t on; ok is false if there is none.
func (h *hours) opens(t int64) (int64, bool) {
	if h == nil {
		return t, true
	}
	for _, p := range h.pieces {
		if p.end > t {
			return max(t, p.start), true
		}
	}
	return 0, false
}

// worked is the moment by which d of open time has passed from t on; ok is false if there is not that much.
func (h *hours) worked(t, d int64) (int64, bool) {
	if h == nil {
		return t + d, true
	}
	for _, p := range h.pieces {
		x := max(t, p.start)
		if x >= p.end {
			continue
		}
		if p.end-x >= d {
			return x + d, true
		}
		d -= p.end - x
	}
	return 0, false
}

// phase is one phase of an activity: it waits from wait, is at work (with pauses) from start to end.
type phase struct {
	wait, start, end int64
	work             int64 // duration of work
	pausable         bool
}

func (c *checker) calendarOf(e *entry, k int) string {
	if k == 1 {
		return e.mode.UnattendedCalendar
	}
	return e.mode.AttendedCalendar
}

func durations(m *sched.Mode) [3]int64 { return [3]int64{m.Start, m.Middle, m.End} }

// checkPhases runs through the phases of a planned activity from its start and compares the end.
func (c *checker) checkPhases(e *entry) {
	n := []string{e.in.Name}
	x := e.as.Start
	first := true
	for k, d := range durations(e.mode) {
		ph := phase{wait: x, start: x, end: x, work: d}
		if d == 0 {
			e.phases[k] = ph
			continue
		}
		h := c.hours[c.calendarOf(e, k)]
		if first && !h.isOpen(x) {
			c.add(Calendar, n, "%s starts at %d, when calendar %q is closed", e.in.Name, x, c.calendarOf(e, k))
		}
		first = false
		ph.pausable = h != nil && e.mode.Pausable&(1<<k) != 0
		ph.end = x + d
		if ph.pausable {
			begin, ok := h.opens(x)
			end, enough := h.worked(x, d)
			if !ok || !enough {
				c.add(Calendar, n, "phase %d of %s does not find %d of open time in calendar %q after %d", k+1, e.in.Name, d, c.calendarOf(e, k), x)
				begin, end = x, x+d
			}
			ph.start, ph.end = begin, end
		} else if h.openIn(x, x+d) != d {
			c.add(Calendar, n, "phase %d of %s, [%d, %d), is not wholly in open time of calendar %q", k+1, e.in.Name, x, x+d, c.calendarOf(e, k))
		}
		x = ph.end
		e.phases[k] = ph
	}
	if x != e.as.End {
		c.add(Calendar, n, "%s started at %d ends at %d, the plan says %d", e.in.Name, e.as.Start, x, e.as.End)
	}
}

// factPhases places the phases of a started activity as Fixed describes.
func (c *checker) factPhases(e *entry) [3]phase {
	d := durations(e.mode)
	f := e.in.Fixed
	var out [3]phase
	if f.End != 0 {
		a := min(f.Start+d[0], f.End)
		b := max(a, f.End-d[2])
		if d[1] == 0 && d[2] == 0 {
			a = f.End
		}
		if d[1] == 0 {
			b = a
		}
		borders := [4]int64{f.Start, a, b, f.End}
		for k := range out {
			out[k] = phase{wait: borders[k], start: borders[k], end: borders[k+1], work: borders[k+1] - borders[k]}
		}
		for k := range out {
			if d[k] == 0 {
				out[k].work = 0
			}
		}
		return out
	}
	x := f.Start
	for k := range out {
		out[k] = phase{wait: x, start: x, end: x + d[k], work: d[k]}
		h := c.hours[c.calendarOf(e, k)]
		if d[k] > 0 && h != nil && e.mode.Pausable&(1<<k) != 0 {
			if s, ok := h.opens(x); ok {
				out[k].start = s
				out[k].end = s + d[k]
				if t, enough := h.worked(s, d[k]); enough {
					out[k].end = t
				}
			}
		}
		x = out[k].end
	}
	return out
}
