package scheduling

import (
	"sort"

	"rondeau.internal/pkg/sched"
)

const onShift = " on shift"

// shiftResource names what a crew can give while it is on shift, and only then. Steps that one crew begins and another
// ends take it beside the crew's heads, so that each part falls into the right shift.
func shiftResource(c *Crew) string { return c.Name + onShift }

// addShift adds a crew's shift as a limit that is its headcount while the calendar is open and zero otherwise.
func (x *instance) addShift(c *Crew, open []sched.Open) {
	r := sched.Resource{Name: shiftResource(c)}
	for _, span := range joined(open) {
		if span.Start <= 0 {
			r.Capacity = int64(c.Headcount)
		} else {
			r.Levels = appendLevel(r.Levels, sched.Level{At: span.Start, Capacity: int64(c.Headcount)})
		}
		r.Levels = appendLevel(r.Levels, sched.Level{At: span.End})
	}
	x.Resources = append(x.Resources, r)
}

// joined orders open time and joins what touches or overlaps, as the shifts of two crews do.
func joined(open []sched.Open) []sched.Span {
	spans := make([]sched.Span, len(open))
	for i, o := range open {
		spans[i] = o.Span
	}
	sort.Slice(spans, func(i, j int) bool { return spans[i].Start < spans[j].Start })
	var out []sched.Span
	for _, s := range spans {
		if n := len(out); n > 0 && s.Start <= out[n-1].End {
			out[n-1].End = max(out[n-1].End, s.End)
			continue
		}
		out = append(out, s)
	}
	return out
}
