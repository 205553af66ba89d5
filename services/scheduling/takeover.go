package scheduling

import (
	"fmt"
	"strings"

	"rondeau.internal/pkg/sched"
)

// takeOver lets whoever is on shift do what has slipped out of the shift of the crew that it was planned for: the next
// shift strains the stock that the last one meant to strain. The heads are still counted as those of the planned crew,
// which is right as long as no step slips. Without this every overrun near the end of a shift would wait for the same
// crew until the next day. It is for outlooks; a schedule is published with its own crews.
func (x *instance) takeOver() {
	for i := range x.Activities {
		a := &x.Activities[i]
		it := x.items[a.Name]
		if it.run != nil {
			continue
		}
		for k := range a.Modes {
			m := &a.Modes[k]
			c := it.modes[m.Name]
			if m.Name != x.modes[a.Name] || c.crew == nil {
				continue
			}
			m.AttendedCalendar = x.anybody(classOf(c.vessel), it.step.CrewCount)
			var kept []sched.Need
			for _, n := range m.Needs {
				if !strings.HasSuffix(n.Resource, onShift) {
					kept = append(kept, n)
				}
			}
			m.Needs = kept
		}
	}
	for i := range x.Setups {
		if s := &x.Setups[i]; s.Calendar != "" {
			if v := x.vessels[s.Name]; v != nil {
				s.Calendar = x.anybody(v.Class, 1)
			}
		}
	}
}

// anybody is the calendar of the time in which some crew of so many people that works at a class of vessel is on shift.
func (x *instance) anybody(class string, count int) string {
	name := fmt.Sprintf("%d people at %q", count, class)
	open := map[string][]sched.Open{}
	for _, c := range x.Calendars {
		if c.Name == name {
			return name
		}
		open[c.Name] = c.Open
	}
	var all []sched.Open
	for i := range x.problem.Crews {
		if c := &x.problem.Crews[i]; c.Active && c.WorksAt(class) && c.Headcount >= count {
			all = append(all, open[c.Calendar]...)
		}
	}
	out := sched.Calendar{Name: name}
	for _, span := range joined(all) {
		out.Open = append(out.Open, sched.Open{Span: span})
	}
	x.Calendars = append(x.Calendars, out)
	return name
}
