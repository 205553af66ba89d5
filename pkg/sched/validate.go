package sched

import (
	"fmt"
	"strings"
)

// Faults lists everything that is wrong with an Instance, in plain words and by name.
type Faults []string

// Error joins all faults, one per line.
func (f Faults) Error() string {
	return fmt.Sprintf("the scheduling problem has %d fault(s):\n%s", len(f), strings.Join(f, "\n"))
}

// costLimit keeps every weighted sum of an Objective inside int64.
const costLimit = float64(1 << 61)

// validation collects faults and the names known so far.
type validation struct {
	in        *Instance
	faults    Faults
	vessels   map[string]*Vessel
	calendars map[string]bool
	resources map[string]bool
	setups    map[string]map[string]bool
	acts      map[string]*Activity
	cost      float64
}

// Validate reports all faults of the instance as Faults, or nil. It checks shape (names, ranges, references), not
// feasibility: an instance whose deadlines cannot be met is valid.
func (in *Instance) Validate() error {
	v := &validation{
		in: in, vessels: map[string]*Vessel{}, calendars: map[string]bool{}, resources: map[string]bool{},
		setups: map[string]map[string]bool{}, acts: map[string]*Activity{},
	}
	if in.Horizon.Start < 0 || in.Horizon.End <= in.Horizon.Start || in.Horizon.End > Forever {
		v.addf("horizon [%d, %d): give a start of at least 0 and an end after it, at most %d", in.Horizon.Start, in.Horizon.End, Forever)
	}
	v.checkCalendars()
	v.checkResources()
	v.checkSetups()
	v.checkVessels()
	v.checkActivities()
	v.checkTies()
	v.checkWeights()
	if len(v.faults) == 0 {
		return nil
	}
	return v.faults
}

func (v *validation) addf(format string, args ...any) {
	v.faults = append(v.faults, fmt.Sprintf(format, args...))
}

func inRange(ts ...int64) bool {
	for _, t := range ts {
		if t < -Forever || t > Forever {
			return false
		}
	}
	return true
}

func (v *validation) checkCalendars() {
	for i, c := range v.in.Calendars {
		if c.Name == "" {
			v.addf("calendar %d has no name", i)
		}
		if v.calendars[c.Name] {
			v.addf("calendar %q is given twice", c.Name)
		}
		v.calendars[c.Name] = true
		for _, o := range c.Open {
			if o.End <= o.Start || !inRange(o.Start, o.End) {
				v.addf("calendar %q: open span [%d, %d) must end after it starts", c.Name, o.Start, o.End)
			}
		}
	}
}

func (v *validation) checkResources() {
	for i, r := range v.in.Resources {
		if r.Name == "" {
			v.addf("resource %d has no name", i)
		}
		if v.resources[r.Name] {
			v.addf("resource %q is given twice", r.Name)
		}
		v.resources[r.Name] = true
		if r.Capacity < 0 || r.Capacity > Forever {
			v.addf("resource %q: capacity %d must be between 0 and %d", r.Name, r.Capacity, Forever)
		}
		for k, l := range r.Levels {
			if l.Capacity < 0 || l.Capacity > Forever || !inRange(l.At) {
				v.addf("resource %q: capacity %d from %d on must be between 0 and %d", r.Name, l.Capacity, l.At, Forever)
			}
			if k > 0 && l.At <= r.Levels[k-1].At {
				v.addf("resource %q: capacity levels must be in ascending order of time, %d follows %d", r.Name, l.At, r.Levels[k-1].At)
			}
		}
	}
}

func (v *validation) checkSetups() {
	for i, s := range v.in.Setups {
		if s.Name == "" {
			v.addf("cleaning matrix %d has no name", i)
		}
		if v.setups[s.Name] != nil {
			v.addf("cleaning matrix %q is given twice", s.Name)
		}
		states := map[string]bool{}
		for _, st := range s.States {
			if st == "" || states[st] {
				v.addf("cleaning matrix %q: state %q is empty or given twice", s.Name, st)
			}
			states[st] = true
		}
		v.setups[s.Name] = states
		if len(s.Change) != len(s.States) {
			v.addf("cleaning matrix %q has %d rows for %d states", s.Name, len(s.Change), len(s.States))
		}
		for r, row := range s.Change {
			if len(row) != len(s.States) {
				v.addf("cleaning matrix %q: row %d has %d cells for %d states", s.Name, r, len(row), len(s.States))
			}
			for _, c := range row {
				if c.Duration < 0 || c.Duration > Forever {
					v.addf("cleaning matrix %q: row %d has a duration of %d; it must not be negative", s.Name, r, c.Duration)
				}
			}
		}
		v.calendar(s.Calendar, "cleaning matrix", s.Name)
		v.needs(s.Needs, "cleaning matrix", s.Name)
	}
}

func (v *validation) calendar(name, kind, of string) {
	if name != "" && !v.calendars[name] {
		v.addf("%s %q: there is no calendar %q", kind, of, name)
	}
}

func (v *validation) needs(needs []Need, kind, of string) {
	for _, n := range needs {
		if !v.resources[n.Resource] {
			v.addf("%s %q: there is no resource %q", kind, of, n.Resource)
		}
		if n.Amount < 0 || n.Amount > Forever {
			v.addf("%s %q: the need of %d of %q must be between 0 and %d", kind, of, n.Amount, n.Resource, Forever)
		}
		if n.During&^Throughout != 0 {
			v.addf("%s %q: the need of %q names phases that do not exist", kind, of, n.Resource)
		}
	}
}

func (v *validation) checkVessels() {
	for i := range v.in.Vessels {
		ve := &v.in.Vessels[i]
		if ve.Name == "" {
			v.addf("vessel %d has no name", i)
		}
		if v.vessels[ve.Name] != nil {
			v.addf("vessel %q is given twice", ve.Name)
		}
		v.vessels[ve.Name] = ve
		if ve.Setup != "" && v.setups[ve.Setup] == nil {
			v.addf("vessel %q: there is no cleaning matrix %q", ve.Name, ve.Setup)
		}
		if ve.State != "" && ve.Setup != "" && v.setups[ve.Setup] != nil && !v.setups[ve.Setup][ve.State] {
			v.addf("vessel %q: its state %q is not in cleaning matrix %q", ve.Name, ve.State, ve.Setup)
		}
		for _, d := range ve.Down {
			if d.End <= d.Start || !inRange(d.Start, d.End) {
				v.addf("vessel %q: down window [%d, %d) must end after it starts", ve.Name, d.Start, d.End)
			}
		}
	}
}

func (v *validation) checkActivities() {
	for i := range v.in.Activities {
		a := &v.in.Activities[i]
		if a.Name == "" {
			v.addf("activity %d has no name", i)
		}
		if v.acts[a.Name] != nil {
			v.addf("activity %q is given twice", a.Name)
		}
		v.acts[a.Name] = a
		if a.Release < 0 || a.Deadline < 0 || !inRange(a.Release, a.Deadline, a.Due) {
			v.addf("activity %q: release %d, deadline %d and due time %d must be between 0 and %d", a.Name, a.Release, a.Deadline, a.Due, Forever)
		}
		if a.DueWeight < 0 {
			v.addf("activity %q: the weight %d of its due time must not be negative", a.Name, a.DueWeight)
		}
		v.cost += float64(a.DueWeight) * v.reach()
		seen := map[string]bool{}
		for k := range a.Modes {
			if seen[a.Modes[k].Name] {
				v.addf("activity %q: mode %q is given twice", a.Name, a.Modes[k].Name)
			}
			seen[a.Modes[k].Name] = true
			v.checkMode(a, &a.Modes[k])
		}
		v.checkFixed(a, seen)
	}
}

func (v *validation) reach() float64 {
	return float64(v.in.Horizon.End)
}

func (v *validation) checkMode(a *Activity, m *Mode) {
	what := fmt.Sprintf("mode %q of activity", m.Name)
	ok := m.Start >= 0 && m.Middle >= 0 && m.End >= 0 && m.Start <= Forever && m.Middle <= Forever && m.End <= Forever
	if !ok {
		v.addf("%s %q: durations %d + %d + %d must not be negative", what, a.Name, m.Start, m.Middle, m.End)
	} else if m.Start+m.Middle+m.End > Forever {
		v.addf("%s %q: the durations sum to more than %d", what, a.Name, Forever)
	}
	if ok && len(m.Uses) > 0 && m.Start+m.Middle+m.End == 0 {
		v.addf("%s %q: it occupies a vessel for no time; give it a duration or no vessel", what, a.Name)
	}
	if m.Pausable&^Throughout != 0 {
		v.addf("%s %q: it names pausable phases that do not exist", what, a.Name)
	}
	if m.Energy < 0 || m.Energy > Forever {
		v.addf("%s %q: energy %d must be between 0 and %d", what, a.Name, m.Energy, Forever)
	}
	v.cost += float64(v.in.Weights.Energy) * float64(m.Energy)
	used := map[string]bool{}
	for _, u := range m.Uses {
		ve := v.vessels[u.Vessel]
		if ve == nil {
			v.addf("%s %q: there is no vessel %q", what, a.Name, u.Vessel)
			continue
		}
		if used[u.Vessel] {
			v.addf("%s %q: vessel %q is used twice", what, a.Name, u.Vessel)
		}
		used[u.Vessel] = true
		if ve.Setup != "" && v.setups[ve.Setup] != nil && !v.setups[ve.Setup][a.State] {
			v.addf("%s %q: its state %q is not in cleaning matrix %q of vessel %q", what, a.Name, a.State, ve.Setup, u.Vessel)
		}
	}
	v.calendar(m.AttendedCalendar, what, a.Name)
	v.calendar(m.UnattendedCalendar, what, a.Name)
	v.needs(m.Needs, what, a.Name)
}

func (v *validation) checkFixed(a *Activity, modes map[string]bool) {
	if f := a.Fixed; f != nil {
		if !modes[f.Mode] {
			v.addf("activity %q is fixed to mode %q, which it does not have", a.Name, f.Mode)
		}
		if !inRange(f.Start, f.End) || f.Start < 0 && !f.Started {
			v.addf("activity %q is fixed to start at %d; give a time between 0 and %d (earlier only if it has started)", a.Name, f.Start, Forever)
		}
		if f.End != 0 && (!f.Started || f.End <= f.Start) {
			v.addf("activity %q: a fixed end (%d) is for a started activity and lies after its start (%d)", a.Name, f.End, f.Start)
		}
	}
	if p := a.Previous; p != nil {
		if p.MoveWeight < 0 || p.ModeWeight < 0 || !inRange(p.Start) {
			v.addf("activity %q: the weights of its previous place must not be negative", a.Name)
		}
		v.cost += float64(v.in.Weights.Change) * (float64(p.MoveWeight)*(v.reach()+float64(max(p.Start, -p.Start))) + float64(p.ModeWeight))
	}
}

func (v *validation) checkTies() {
	act := func(name, kind string) {
		if v.acts[name] == nil {
			v.addf("%s names activity %q, which does not exist", kind, name)
		}
	}
	for i, l := range v.in.Lags {
		kind := fmt.Sprintf("lag %d (%q to %q)", i, l.From, l.To)
		act(l.From, kind)
		act(l.To, kind)
		if l.From == l.To {
			v.addf("%s ties an activity to itself", kind)
		}
		if !inRange(l.Min, l.Max, l.Fresh) || l.FreshWeight < 0 || l.FromEdge > EdgeEnd || l.ToEdge > EdgeEnd {
			v.addf("%s has a value out of range", kind)
		}
		if l.HasMax && l.Max < l.Min {
			v.addf("%s: its greatest time %d is below its least time %d", kind, l.Max, l.Min)
		}
		v.cost += float64(v.in.Weights.Freshness) * float64(l.FreshWeight) * (2*v.reach() + float64(max(l.Fresh, -l.Fresh)))
	}
	held := map[string]bool{}
	for _, h := range v.in.Holds {
		kind := fmt.Sprintf("hold (%q until %q)", h.Activity, h.Until)
		act(h.Activity, kind)
		act(h.Until, kind)
		if h.Activity == h.Until {
			v.addf("%s waits for itself", kind)
		}
		if held[h.Activity] {
			v.addf("%s: the activity has more than one hold", kind)
		}
		held[h.Activity] = true
	}
	for _, s := range v.in.Stores {
		kind := fmt.Sprintf("store (%q to %q)", s.Producer, s.Consumer)
		act(s.Producer, kind)
		if s.Consumer != "" {
			act(s.Consumer, kind)
		}
		if s.Producer == s.Consumer {
			v.addf("%s stores for itself", kind)
		}
		if !v.resources[s.Resource] {
			v.addf("%s: there is no resource %q", kind, s.Resource)
		}
		if s.Amount < 0 || s.Amount > Forever || !inRange(s.Until) {
			v.addf("%s: amount %d must be between 0 and %d", kind, s.Amount, Forever)
		}
	}
	v.checkLinks(act)
}

func (v *validation) checkLinks(act func(name, kind string)) {
	has := func(name, mode string) bool {
		a := v.acts[name]
		if a == nil {
			return true
		}
		for i := range a.Modes {
			if a.Modes[i].Name == mode {
				return true
			}
		}
		return false
	}
	for _, l := range v.in.Links {
		kind := fmt.Sprintf("link (%q with %q)", l.First, l.Second)
		act(l.First, kind)
		act(l.Second, kind)
		if l.First == l.Second {
			v.addf("%s links an activity to itself", kind)
		}
		for _, p := range l.Pairs {
			if !has(l.First, p[0]) {
				v.addf("%s: %q has no mode %q", kind, l.First, p[0])
			}
			if !has(l.Second, p[1]) {
				v.addf("%s: %q has no mode %q", kind, l.Second, p[1])
			}
		}
	}
}

func (v *validation) checkWeights() {
	w := v.in.Weights
	if w.Overtime < 0 || w.Energy < 0 || w.Freshness < 0 || w.Change < 0 || w.Makespan < 0 || w.Blend < 0 {
		v.addf("the weights must not be negative: %+v", w)
	}
	n := float64(len(v.in.Activities)) + 1
	total := v.cost*max(1, float64(w.Blend)) + float64(w.Makespan)*v.reach() + float64(w.Overtime)*v.reach()*n*4
	if total > costLimit {
		v.addf("the weights are too large for this horizon: costs could reach %.3g; divide all weights by the same number", total)
	}
}
