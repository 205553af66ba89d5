package sched_test

import (
	"fmt"
	"slices"
	"sort"

	"rondeau.internal/pkg/sched"
)

// naive judges a plan unit of time by unit of time, from the words of the model alone. It is slow, wants small numbers,
// and shares nothing with the engine or with package verify, whose judgement it is compared with.
type naive struct {
	in     *sched.Instance
	faults map[string]bool // "kind subject activities"
	units  map[string][]unit
	fuzzy  bool // some phase has no place: what depends on where phases lie is not judged
}

// unit is one unit of time in the life of an activity.
type unit struct {
	at      int64
	phase   int
	working bool
}

func (n *naive) fault(format string, args ...any) { n.faults[fmt.Sprintf(format, args...)] = true }

// naiveJudge answers the faults of a plan and its cost.
func naiveJudge(in *sched.Instance, plan *sched.Plan) (*naive, sched.Objective) {
	n := &naive{in: in, faults: map[string]bool{}, units: map[string][]unit{}}
	byName := map[string]*sched.Assignment{}
	for i := range plan.Assignments {
		as := &plan.Assignments[i]
		if byName[as.Activity] != nil {
			n.fault("missing %s", as.Activity)
		}
		byName[as.Activity] = as
	}
	whole := true
	for i := range in.Activities {
		a := &in.Activities[i]
		as := byName[a.Name]
		if as == nil {
			n.fault("missing %s", a.Name)
			whole = false
			continue
		}
		if modeOf(a, as.Mode) == nil {
			n.fault("mode %s", a.Name)
			whole = false
		}
	}
	for name := range byName {
		if !slices.ContainsFunc(in.Activities, func(a sched.Activity) bool { return a.Name == name }) {
			n.fault("missing %s", name)
		}
	}
	if !whole || len(plan.Assignments) != len(in.Activities) {
		return n, sched.Objective{}
	}
	for i := range in.Activities {
		n.live(&in.Activities[i], byName[in.Activities[i].Name])
	}
	n.ties(byName)
	n.vesselsOf(byName)
	cost := n.cost(byName)
	if !n.fuzzy {
		n.heads(byName)
		if cost != plan.Objective {
			n.fault("objective")
		}
	}
	return n, cost
}

func modeOf(a *sched.Activity, name string) *sched.Mode {
	for i := range a.Modes {
		if a.Modes[i].Name == name {
			return &a.Modes[i]
		}
	}
	return nil
}

func isFact(a *sched.Activity) bool { return a.Fixed != nil && a.Fixed.Started }

// opens says whether a calendar is open at t, and whether that is overtime.
func (n *naive) opens(calendar string, t int64) (open, extra bool) {
	if calendar == "" {
		return true, false
	}
	extra = true
	for _, c := range n.in.Calendars {
		if c.Name != calendar {
			continue
		}
		for _, o := range c.Open {
			if o.Start <= t && t < o.End {
				open = true
				extra = extra && o.Overtime
			}
		}
	}
	return open, open && extra
}

func calendarAt(m *sched.Mode, phase int) string {
	return []string{m.AttendedCalendar, m.UnattendedCalendar, m.AttendedCalendar}[phase]
}

// live lets an activity happen.
func (n *naive) live(a *sched.Activity, as *sched.Assignment) {
	m := modeOf(a, as.Mode)
	want := []string{}
	for _, u := range m.Uses {
		want = append(want, u.Vessel)
	}
	got := append([]string{}, as.Vessels...)
	sort.Strings(want)
	sort.Strings(got)
	if fmt.Sprint(want) != fmt.Sprint(got) {
		n.fault("mode %s", a.Name)
	}
	if a.Fixed != nil && (a.Fixed.Mode != as.Mode || a.Fixed.Start != as.Start) {
		n.fault("fixed %s", a.Name)
	}
	var end int64
	if isFact(a) {
		end = n.liveFact(a, m)
		if end != as.End {
			n.fault("calendar %s", a.Name)
		}
		return
	}
	if end = n.livePlanned(a, m, as); end != as.End {
		n.fault("calendar %s", a.Name)
	}
	if as.Start < n.in.Horizon.Start || as.End > n.in.Horizon.End {
		n.fault("horizon %s", a.Name)
	}
	if as.Start < a.Release {
		n.fault("release %s", a.Name)
	}
	if a.Deadline > 0 && as.End > a.Deadline {
		n.fault("deadline %s", a.Name)
	}
}

func (n *naive) livePlanned(a *sched.Activity, m *sched.Mode, as *sched.Assignment) int64 {
	t := as.Start
	for k, d := range []int64{m.Start, m.Middle, m.End} {
		pausable := m.Pausable&(1<<k) != 0
		begun := len(n.units[a.Name]) > 0
		for left := d; left > 0; t++ {
			open, _ := n.opens(calendarAt(m, k), t)
			if !open && (!pausable || !begun && left == d) || t > n.in.Horizon.End+200 {
				n.fault("calendar %s", a.Name)
				n.fuzzy = true
				return as.End
			}
			n.units[a.Name] = append(n.units[a.Name], unit{t, k, open})
			if open {
				left--
			}
		}
	}
	return t
}

func (n *naive) liveFact(a *sched.Activity, m *sched.Mode) int64 {
	d := []int64{m.Start, m.Middle, m.End}
	if a.Fixed.End != 0 {
		length := a.Fixed.End - a.Fixed.Start
		last := 0
		for k := range d {
			if d[k] > 0 {
				last = k
			}
		}
		for i := range length {
			phase := 1
			switch {
			case i < d[0]:
				phase = 0
			case i >= length-d[2]:
				phase = 2
			}
			if phase == 1 && d[1] == 0 {
				phase = last
			}
			if d[phase] > 0 {
				n.units[a.Name] = append(n.units[a.Name], unit{a.Fixed.Start + i, phase, true})
			}
		}
		return a.Fixed.End
	}
	t := a.Fixed.Start
	for k := range d {
		pauses := m.Pausable&(1<<k) != 0
		if pauses { // only as long as it opens again
			var sum int64
			for x := t; x < t+300; x++ {
				if open, _ := n.opens(calendarAt(m, k), x); open {
					sum++
				}
			}
			if sum == 0 {
				pauses = false
			} else if sum < d[k] {
				// It opens again, but not for long enough: waits for it to open, then runs through.
				for open, _ := n.opens(calendarAt(m, k), t); !open; open, _ = n.opens(calendarAt(m, k), t) {
					n.units[a.Name] = append(n.units[a.Name], unit{t, k, false})
					t++
				}
				pauses = false
			}
		}
		for left := d[k]; left > 0; t++ {
			open, _ := n.opens(calendarAt(m, k), t)
			working := open || !pauses
			n.units[a.Name] = append(n.units[a.Name], unit{t, k, working})
			if working {
				left--
			}
		}
	}
	return t
}

func (n *naive) activity(name string) *sched.Activity {
	for i := range n.in.Activities {
		if n.in.Activities[i].Name == name {
			return &n.in.Activities[i]
		}
	}
	return nil
}

func edgeOf(as *sched.Assignment, start bool) int64 {
	if start {
		return as.Start
	}
	return as.End
}

func (n *naive) ties(by map[string]*sched.Assignment) {
	both := func(x, y string) bool { return isFact(n.activity(x)) && isFact(n.activity(y)) }
	for _, l := range n.in.Lags {
		d := edgeOf(by[l.To], l.ToEdge != sched.EdgeEnd) - edgeOf(by[l.From], l.FromEdge == sched.EdgeStart)
		if !both(l.From, l.To) && (d < l.Min || l.HasMax && d > l.Max) {
			n.fault("lag %s %s", l.From, l.To)
		}
	}
	for _, h := range n.in.Holds {
		if !both(h.Activity, h.Until) && by[h.Until].Start < by[h.Activity].End {
			n.fault("hold %s %s", h.Activity, h.Until)
		}
	}
	for _, s := range n.in.Stores {
		if s.Consumer != "" && !both(s.Producer, s.Consumer) && by[s.Consumer].Start < by[s.Producer].End {
			n.fault("store %s %s", s.Producer, s.Consumer)
		}
	}
	for _, l := range n.in.Links {
		if !both(l.First, l.Second) && !slices.Contains(l.Pairs, [2]string{by[l.First].Mode, by[l.Second].Mode}) {
			n.fault("link %s %s", l.First, l.Second)
		}
	}
	for i := range n.in.Activities {
		name := n.in.Activities[i].Name
		until := by[name].End
		for _, h := range n.in.Holds {
			if h.Activity == name {
				until = max(until, by[h.Until].Start)
			}
		}
		if by[name].HeldUntil != until {
			n.fault("hold %s", name)
		}
	}
}

// guest is an activity in a vessel.
type guest struct {
	a    *sched.Activity
	as   *sched.Assignment
	from int64
	to   int64
	held string // who ends its hold here
}

func (n *naive) guests(vessel string, by map[string]*sched.Assignment) []guest {
	var out []guest
	for i := range n.in.Activities {
		a := &n.in.Activities[i]
		as := by[a.Name]
		for _, u := range modeOf(a, as.Mode).Uses {
			if u.Vessel != vessel {
				continue
			}
			g := guest{a: a, as: as, from: as.Start, to: as.End}
			for _, h := range n.in.Holds {
				if h.Activity == a.Name && !u.FreeAtEnd {
					g.to, g.held = max(g.to, by[h.Until].Start), h.Until
				}
			}
			out = append(out, g)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].from < out[j].from })
	return out
}

func (n *naive) vesselsOf(by map[string]*sched.Assignment) {
	for i := range n.in.Vessels {
		v := &n.in.Vessels[i]
		gs := n.guests(v.Name, by)
		for x := range gs {
			for t := gs[x].from; t < gs[x].to; t++ {
				for y := range x {
					if gs[y].from <= t && t < gs[y].to && !(isFact(gs[x].a) && isFact(gs[y].a)) {
						n.fault("overlap %s %s", v.Name, pair(gs[x].a.Name, gs[y].a.Name))
					}
				}
				for _, d := range v.Down {
					if d.Start <= t && t < d.End && !isFact(gs[x].a) {
						n.fault("down %s %s", v.Name, gs[x].a.Name)
					}
				}
			}
			if !n.cleanBefore(v, gs, x) {
				n.fault("cleaning %s %s", v.Name, gs[x].a.Name)
			}
		}
	}
	for name, as := range by {
		for _, c := range as.Changes {
			if !slices.ContainsFunc(modeOf(n.activity(name), as.Mode).Uses, func(u sched.Use) bool { return u.Vessel == c.Vessel }) {
				n.fault("cleaning %s %s", c.Vessel, name)
			}
		}
	}
}

func pair(a, b string) string {
	if a > b {
		a, b = b, a
	}
	return a + " " + b
}

// cleanBefore says whether the cleaning before guest x of a vessel is as it has to be.
func (n *naive) cleanBefore(v *sched.Vessel, gs []guest, x int) bool {
	g := gs[x]
	var runs []sched.ChangeRun
	for _, c := range g.as.Changes {
		if c.Vessel == v.Name {
			runs = append(runs, c)
		}
	}
	from, free := v.State, n.in.Horizon.Start
	need := sched.Change{}
	same := false
	if x > 0 {
		from, same = gs[x-1].a.State, gs[x-1].held == g.a.Name
		for _, y := range gs[:x] {
			free = max(free, y.to)
		}
	}
	if v.Setup != "" && from != "" && !same && !isFact(g.a) {
		for _, s := range n.in.Setups {
			if s.Name == v.Setup {
				need = s.Change[slices.Index(s.States, from)][slices.Index(s.States, g.a.State)]
			}
		}
	}
	if need.Duration == 0 {
		return len(runs) == 0
	}
	if len(runs) != 1 {
		return false
	}
	r := runs[0]
	ok := r.From == from && r.To == g.a.State && r.Attended == need.Attended && r.End-r.Start == need.Duration && free <= r.Start && r.End <= g.from
	for t := r.Start; t < r.End; t++ {
		for _, d := range v.Down {
			ok = ok && !(d.Start <= t && t < d.End)
		}
		for _, s := range n.in.Setups {
			if open, _ := n.opens(s.Calendar, t); s.Name == v.Setup && need.Attended && !open {
				ok = false
			}
		}
	}
	return ok
}

// heads counts every resource at every moment.
func (n *naive) heads(by map[string]*sched.Assignment) {
	for i := range n.in.Resources {
		r := &n.in.Resources[i]
		taken, planned := map[int64]int64{}, map[int64]bool{}
		take := func(t, amount int64, fact bool) {
			if amount > 0 {
				taken[t] += amount
				planned[t] = planned[t] || !fact
			}
		}
		for k := range n.in.Activities {
			a := &n.in.Activities[k]
			for _, u := range n.units[a.Name] {
				for _, need := range modeOf(a, by[a.Name].Mode).Needs {
					in := need.During == 0 || need.During&(1<<u.phase) != 0
					if need.Resource == r.Name && in && (u.working || need.WhilePaused || isFact(a)) {
						take(u.at, need.Amount, isFact(a))
					}
				}
			}
			for _, c := range by[a.Name].Changes {
				for _, s := range n.in.Setups {
					used := slices.ContainsFunc(n.in.Vessels, func(v sched.Vessel) bool { return v.Name == c.Vessel && v.Setup == s.Name })
					for _, need := range s.Needs {
						for t := c.Start; t < c.End && used && c.Attended && need.Resource == r.Name; t++ {
							take(t, need.Amount, false)
						}
					}
				}
			}
		}
		for _, s := range n.in.Stores {
			until := s.Until
			if until == 0 {
				until = n.in.Horizon.End
			}
			if s.Consumer != "" {
				until = by[s.Consumer].Start
			}
			for t := by[s.Producer].End; t < until && s.Resource == r.Name; t++ {
				take(t, s.Amount, isFact(n.activity(s.Producer)))
			}
		}
		for t, q := range taken {
			most := r.Capacity
			for _, l := range r.Levels {
				if l.At <= t {
					most = l.Capacity
				}
			}
			if planned[t] && q > most {
				n.fault("capacity %s", r.Name)
			}
		}
	}
}

// cost adds up the objective.
func (n *naive) cost(by map[string]*sched.Assignment) sched.Objective {
	var o sched.Objective
	last := n.in.Horizon.Start
	for i := range n.in.Activities {
		a := &n.in.Activities[i]
		as := by[a.Name]
		m := modeOf(a, as.Mode)
		last = max(last, as.End)
		if a.DueWeight > 0 {
			o.Tardiness += a.DueWeight * max(0, as.End-a.Due)
		}
		o.Energy += m.Energy
		for _, u := range n.units[a.Name] {
			if _, extra := n.opens(calendarAt(m, u.phase), u.at); extra {
				o.Overtime++
			}
		}
		for _, c := range as.Changes {
			for _, v := range n.in.Vessels {
				for _, s := range n.in.Setups {
					for t := c.Start; t < c.End && c.Attended && v.Name == c.Vessel && v.Setup == s.Name; t++ {
						if _, extra := n.opens(s.Calendar, t); extra {
							o.Overtime++
						}
					}
				}
			}
		}
		if p := a.Previous; p != nil {
			o.Change += p.MoveWeight * max(as.Start-p.Start, p.Start-as.Start)
			if p.Mode != "" && p.Mode != as.Mode {
				o.Change += p.ModeWeight
			}
		}
	}
	for _, l := range n.in.Lags {
		d := edgeOf(by[l.To], l.ToEdge != sched.EdgeEnd) - edgeOf(by[l.From], l.FromEdge == sched.EdgeStart)
		o.Freshness += l.FreshWeight * max(0, d-l.Fresh)
	}
	o.Makespan = last - n.in.Horizon.Start
	w := n.in.Weights
	o.First, o.Rest = o.Tardiness, w.Overtime*o.Overtime+w.Energy*o.Energy+w.Freshness*o.Freshness+w.Change*o.Change+w.Makespan*o.Makespan
	if w.Blend > 0 {
		o.First, o.Rest = 0, o.Rest+w.Blend*o.Tardiness
	}
	return o
}
