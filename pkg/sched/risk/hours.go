package risk

import (
	"slices"

	"rondeau.internal/pkg/sched"
)

// hours is a calendar compiled for searching: merged open spans with running totals. A nil *hours is always open.
type hours struct {
	open    []sched.Span
	pre     []int64 // open time before open[i]
	over    []sched.Span
	overPre []int64
}

func union(spans []sched.Span) []sched.Span {
	s := slices.Clone(spans)
	slices.SortFunc(s, func(a, b sched.Span) int {
		if a.Start != b.Start {
			return int(max(-1, min(1, a.Start-b.Start)))
		}
		return int(max(-1, min(1, a.End-b.End)))
	})
	out := s[:0]
	for _, x := range s {
		if n := len(out); n > 0 && x.Start <= out[n-1].End {
			out[n-1].End = max(out[n-1].End, x.End)
		} else {
			out = append(out, x)
		}
	}
	return out
}

// without is a minus b, both merged.
func without(a, b []sched.Span) []sched.Span {
	var out []sched.Span
	for _, x := range a {
		from := x.Start
		for _, y := range b {
			if y.End <= from || y.Start >= x.End {
				continue
			}
			if y.Start > from {
				out = append(out, sched.Span{Start: from, End: y.Start})
			}
			from = max(from, y.End)
		}
		if from < x.End {
			out = append(out, sched.Span{Start: from, End: x.End})
		}
	}
	return out
}

func totals(spans []sched.Span) []int64 {
	var sum int64
	out := make([]int64, len(spans))
	for i, s := range spans {
		out[i] = sum
		sum += s.End - s.Start
	}
	return out
}

func newHours(c *sched.Calendar) *hours {
	var all, normal []sched.Span
	for _, o := range c.Open {
		all = append(all, o.Span)
		if !o.Overtime {
			normal = append(normal, o.Span)
		}
	}
	h := &hours{open: union(all)}
	h.over = without(h.open, union(normal))
	h.pre, h.overPre = totals(h.open), totals(h.over)
	return h
}

// after is the index of the first span that ends after t.
func after(spans []sched.Span, t int64) int {
	lo, hi := 0, len(spans)
	for lo < hi {
		mid := int(uint(lo+hi) >> 1)
		if spans[mid].End <= t {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return lo
}

// opens is the first open moment from t on, or Forever.
func (h *hours) opens(t int64) int64 {
	if h == nil {
		return t
	}
	i := after(h.open, t)
	if i == len(h.open) {
		return sched.Forever
	}
	return max(t, h.open[i].Start)
}

// fits is the first t' >= t with [t', t'+d) open, or Forever.
func (h *hours) fits(t, d int64) int64 {
	if h == nil || d == 0 {
		return t
	}
	for i := after(h.open, t); i < len(h.open); i++ {
		if from := max(t, h.open[i].Start); from+d <= h.open[i].End {
			return from
		}
	}
	return sched.Forever
}

// worked is the first moment by which d > 0 of open time has passed since t, or Forever.
func (h *hours) worked(t, d int64) int64 {
	if h == nil {
		return t + d
	}
	for i := after(h.open, t); i < len(h.open); i++ {
		from := max(t, h.open[i].Start)
		if from+d <= h.open[i].End {
			return from + d
		}
		d -= h.open[i].End - from
	}
	return sched.Forever
}

// within is the part of [a, b) that the spans with their totals cover.
func within(spans []sched.Span, pre []int64, a, b int64) int64 {
	if a >= b {
		return 0
	}
	upTo := func(t int64) int64 {
		i := after(spans, t)
		if i < len(spans) {
			return pre[i] + max(0, t-spans[i].Start)
		}
		if i == 0 {
			return 0
		}
		return pre[i-1] + spans[i-1].End - spans[i-1].Start
	}
	return upTo(b) - upTo(a)
}

// openIn is the open time within [a, b).
func (h *hours) openIn(a, b int64) int64 {
	if h == nil {
		return b - a
	}
	return within(h.open, h.pre, a, b)
}

// overtime is the overtime within [a, b).
func (h *hours) overtime(a, b int64) int64 {
	if h == nil || len(h.over) == 0 {
		return 0
	}
	return within(h.over, h.overPre, a, b)
}

// clearOf returns x if [x, y) meets none of the spans, else the end of the first that it meets.
func clearOf(spans []sched.Span, x, y int64) int64 {
	if i := after(spans, x); i < len(spans) && spans[i].Start < y {
		return spans[i].End
	}
	return x
}
