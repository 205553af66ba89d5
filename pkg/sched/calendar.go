package sched

import "sort"

// opening is a compiled calendar: merged open spans with running totals, so that "when is d of open time over" is a
// binary search. A nil *opening is always open.
type opening struct {
	name string
	open []Span
	pre  []int64 // open time before open[i]
	over []Span  // overtime spans, disjoint, ascending
}

// mergeSpans returns the union of spans as disjoint ascending spans that do not touch.
func mergeSpans(spans []Span) []Span {
	s := append([]Span(nil), spans...)
	sort.Slice(s, func(i, j int) bool {
		if s[i].Start != s[j].Start {
			return s[i].Start < s[j].Start
		}
		return s[i].End < s[j].End
	})
	out := s[:0]
	for _, x := range s {
		if n := len(out); n > 0 && x.Start <= out[n-1].End {
			out[n-1].End = max(out[n-1].End, x.End)
			continue
		}
		out = append(out, x)
	}
	return out
}

// subtractSpans returns a minus b; both are merged.
func subtractSpans(a, b []Span) []Span {
	var out []Span
	j := 0
	for _, x := range a {
		from := x.Start
		for j < len(b) && b[j].End <= from {
			j++
		}
		for k := j; k < len(b) && b[k].Start < x.End; k++ {
			if b[k].Start > from {
				out = append(out, Span{from, b[k].Start})
			}
			from = max(from, b[k].End)
		}
		if from < x.End {
			out = append(out, Span{from, x.End})
		}
	}
	return out
}

func compileCalendar(c *Calendar) *opening {
	var all, normal []Span
	for _, o := range c.Open {
		all = append(all, o.Span)
		if !o.Overtime {
			normal = append(normal, o.Span)
		}
	}
	k := &opening{name: c.Name, open: mergeSpans(all)}
	k.over = subtractSpans(k.open, mergeSpans(normal))
	var sum int64
	for _, s := range k.open {
		k.pre = append(k.pre, sum)
		sum += s.End - s.Start
	}
	return k
}

// at returns the index of the first open span that ends after t.
func (k *opening) at(t int64) int {
	lo, hi := 0, len(k.open)
	for lo < hi {
		mid := int(uint(lo+hi) >> 1)
		if k.open[mid].End <= t {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return lo
}

// nextOpen is the earliest open moment >= t, or Forever.
func (k *opening) nextOpen(t int64) int64 {
	if k == nil {
		return t
	}
	i := k.at(t)
	if i == len(k.open) {
		return Forever
	}
	return max(t, k.open[i].Start)
}

// fits is the earliest t' >= t with [t', t'+d) open, or Forever.
func (k *opening) fits(t, d int64) int64 {
	if k == nil || d == 0 {
		return t
	}
	for i := k.at(t); i < len(k.open); i++ {
		if from := max(t, k.open[i].Start); from+d <= k.open[i].End {
			return from
		}
	}
	return Forever
}

// finish is the earliest moment by which d > 0 of open time has passed since t, or Forever.
func (k *opening) finish(t, d int64) int64 {
	if k == nil {
		return t + d
	}
	i := k.at(t)
	if i == len(k.open) {
		return Forever
	}
	want := k.pre[i] + max(0, t-k.open[i].Start) + d
	// The span in which the total reaches want is the last one whose prefix is below want.
	lo, hi := i, len(k.open)
	for lo < hi {
		mid := int(uint(lo+hi) >> 1)
		if k.pre[mid] < want {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	j := lo - 1
	end := k.open[j].Start + want - k.pre[j]
	if end > k.open[j].End {
		return Forever
	}
	return end
}

// overtime is the overtime within the open part of [a, b).
func (k *opening) overtime(a, b int64) int64 {
	if k == nil {
		return 0
	}
	var sum int64
	i := sort.Search(len(k.over), func(i int) bool { return k.over[i].End > a })
	for ; i < len(k.over) && k.over[i].Start < b; i++ {
		sum += min(b, k.over[i].End) - max(a, k.over[i].Start)
	}
	return sum
}

// pieces calls f for the open parts of [a, b) in order until f returns false.
func (k *opening) pieces(a, b int64, f func(x, y int64) bool) {
	if a >= b {
		return
	}
	if k == nil {
		f(a, b)
		return
	}
	for i := k.at(a); i < len(k.open) && k.open[i].Start < b; i++ {
		if !f(max(a, k.open[i].Start), min(b, k.open[i].End)) {
			return
		}
	}
}
