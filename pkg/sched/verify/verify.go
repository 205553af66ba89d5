// Package verify checks a plan against an instance of package sched, independently of the solver: it shares the types
// of the model and nothing else, and does its own calendar arithmetic in the plainest way it can. Every constraint of
// the model is covered and the objective is recomputed. A plan without violations respects the instance as given; it
// supports and does not replace the validated HACCP plan, the local code and the qualified person.
package verify

import (
	"fmt"
	"slices"
	"sort"

	"rondeau.internal/pkg/sched"
)

// Kind names the constraint that is broken.
type Kind string

// The kinds of violation.
const (
	Missing   Kind = "missing"   // activity absent, twice, or unknown
	Mode      Kind = "mode"      // no such mode, wrong vessels
	Fixed     Kind = "fixed"     // not where it is pinned
	Horizon   Kind = "horizon"   // outside the horizon
	Release   Kind = "release"   // begins too early
	Deadline  Kind = "deadline"  // ends too late
	Calendar  Kind = "calendar"  // phase outside open time, or end that does not follow from it
	Lag       Kind = "lag"       // least or greatest time between two activities
	Hold      Kind = "hold"      // successor before the end, or wrong HeldUntil
	Overlap   Kind = "overlap"   // two activities in one vessel
	Down      Kind = "down"      // vessel unavailable
	Cleaning  Kind = "cleaning"  // change missing, too short, misplaced or unnecessary
	Capacity  Kind = "capacity"  // cumulative limit
	Store     Kind = "store"     // consumer before the producer ends
	Link      Kind = "link"      // modes that do not go together
	Objective Kind = "objective" // stated cost differs from the recomputed one
	Invalid   Kind = "invalid"   // the instance itself is faulty
)

// Violation is one broken constraint.
type Violation struct {
	Kind Kind
	// Activities, Vessel and Resource name what is involved; empty when not applicable.
	Activities []string
	Vessel     string
	Resource   string
	// Message says it in plain words.
	Message string
}

// String returns kind and message.
func (v Violation) String() string { return string(v.Kind) + ": " + v.Message }

// entry is one activity of the instance beside its assignment and what follows from them.
type entry struct {
	in     *sched.Activity
	as     *sched.Assignment
	mode   *sched.Mode
	fact   bool
	phases [3]phase
	hold   string // activity that its hold waits for
	until  int64  // when held vessels are free
}

// checker holds the lookup tables and the findings.
type checker struct {
	in      *sched.Instance
	entries []*entry
	byName  map[string]*entry
	hours   map[string]*hours
	out     []Violation
}

// Check returns everything that is wrong with the plan, nil when it is right.
func Check(in sched.Instance, plan sched.Plan) []Violation {
	if err := in.Validate(); err != nil {
		return []Violation{{Kind: Invalid, Message: err.Error()}}
	}
	c := newChecker(&in)
	if !c.match(plan) {
		return c.out
	}
	c.times()
	c.ties()
	c.vessels()
	c.capacities()
	c.cost(plan.Objective)
	return c.out
}

// Cost recomputes the objective of a plan, right or wrong in other respects; ok is false when activities or modes are
// missing.
func Cost(in sched.Instance, plan sched.Plan) (o sched.Objective, ok bool) {
	if in.Validate() != nil {
		return o, false
	}
	c := newChecker(&in)
	if !c.match(plan) {
		return o, false
	}
	c.times()
	return c.objective(), true
}

func newChecker(in *sched.Instance) *checker {
	c := &checker{in: in, byName: map[string]*entry{}, hours: map[string]*hours{}}
	for i := range in.Calendars {
		c.hours[in.Calendars[i].Name] = newHours(in.Calendars[i].Open)
	}
	return c
}

func (c *checker) add(kind Kind, acts []string, format string, args ...any) {
	c.out = append(c.out, Violation{Kind: kind, Activities: acts, Message: fmt.Sprintf(format, args...)})
}

// match pairs assignments with activities.
func (c *checker) match(plan sched.Plan) bool {
	given := map[string]*sched.Assignment{}
	good := true
	for i := range plan.Assignments {
		as := &plan.Assignments[i]
		if given[as.Activity] != nil {
			c.add(Missing, []string{as.Activity}, "%s is in the plan twice", as.Activity)
			good = false
		}
		given[as.Activity] = as
	}
	for i := range c.in.Activities {
		a := &c.in.Activities[i]
		as := given[a.Name]
		delete(given, a.Name)
		if as == nil {
			c.add(Missing, []string{a.Name}, "%s is not in the plan", a.Name)
			good = false
			continue
		}
		e := &entry{in: a, as: as, fact: a.Fixed != nil && a.Fixed.Started}
		for k := range a.Modes {
			if a.Modes[k].Name == as.Mode {
				e.mode = &a.Modes[k]
			}
		}
		if e.mode == nil {
			c.add(Mode, []string{a.Name}, "%s has no mode %q", a.Name, as.Mode)
			good = false
			continue
		}
		c.checkVesselList(e)
		c.entries = append(c.entries, e)
		c.byName[a.Name] = e
	}
	var extra []string
	for name := range given {
		extra = append(extra, name)
	}
	sort.Strings(extra)
	for _, name := range extra {
		c.add(Missing, []string{name}, "%s is in the plan but not in the instance", name)
	}
	return good
}

func (c *checker) checkVesselList(e *entry) {
	var want []string
	for _, u := range e.mode.Uses {
		want = append(want, u.Vessel)
	}
	got := slices.Clone(e.as.Vessels)
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(want, got) {
		c.add(Mode, []string{e.in.Name}, "%s in mode %q occupies %v, the plan says %v", e.in.Name, e.as.Mode, want, got)
	}
}

// times checks start, end and phases of every activity.
func (c *checker) times() {
	for _, h := range c.in.Holds {
		c.byName[h.Activity].hold = h.Until
	}
	for _, e := range c.entries {
		n := []string{e.in.Name}
		if f := e.in.Fixed; f != nil && (f.Mode != e.as.Mode || f.Start != e.as.Start) {
			c.add(Fixed, n, "%s is fixed to mode %q at %d, the plan has mode %q at %d", e.in.Name, f.Mode, f.Start, e.as.Mode, e.as.Start)
		}
		if e.fact {
			e.phases = c.factPhases(e)
			if end := e.phases[2].end; end != e.as.End {
				c.add(Calendar, n, "%s, already started, ends at %d, the plan says %d", e.in.Name, end, e.as.End)
			}
			continue
		}
		c.checkPhases(e)
		if e.as.Start < c.in.Horizon.Start || e.as.End > c.in.Horizon.End {
			c.add(Horizon, n, "%s [%d, %d) is outside the horizon [%d, %d)", e.in.Name, e.as.Start, e.as.End, c.in.Horizon.Start, c.in.Horizon.End)
		}
		if e.as.Start < e.in.Release {
			c.add(Release, n, "%s starts at %d, before its release %d", e.in.Name, e.as.Start, e.in.Release)
		}
		if e.in.Deadline > 0 && e.as.End > e.in.Deadline {
			c.add(Deadline, n, "%s ends at %d, after its deadline %d", e.in.Name, e.as.End, e.in.Deadline)
		}
	}
	for _, e := range c.entries {
		e.until = e.as.End
		if e.hold != "" {
			e.until = max(e.until, c.byName[e.hold].as.Start)
		}
		if e.as.HeldUntil != e.until {
			c.add(Hold, []string{e.in.Name}, "%s holds its vessels until %d, the plan says %d", e.in.Name, e.until, e.as.HeldUntil)
		}
	}
}

// ties checks lags, holds, stores and links.
func (c *checker) ties() {
	for _, l := range c.in.Lags {
		a, b := c.byName[l.From], c.byName[l.To]
		if a.fact && b.fact {
			continue
		}
		lag := lagOf(l, a, b)
		n := []string{l.From, l.To}
		if l.Min > -sched.Forever && lag < l.Min {
			c.add(Lag, n, "%s follows %s after %d, at least %d is required", l.To, l.From, lag, l.Min)
		}
		if l.HasMax && lag > l.Max {
			c.add(Lag, n, "%s follows %s after %d, at most %d is allowed", l.To, l.From, lag, l.Max)
		}
	}
	follows := func(kind Kind, first, second string) {
		a, b := c.byName[first], c.byName[second]
		if !(a.fact && b.fact) && b.as.Start < a.as.End {
			c.add(kind, []string{first, second}, "%s starts at %d, before %s ends at %d", second, b.as.Start, first, a.as.End)
		}
	}
	for _, h := range c.in.Holds {
		follows(Hold, h.Activity, h.Until)
	}
	for _, s := range c.in.Stores {
		if s.Consumer != "" {
			follows(Store, s.Producer, s.Consumer)
		}
	}
	for _, l := range c.in.Links {
		a, b := c.byName[l.First], c.byName[l.Second]
		if !(a.fact && b.fact) && !slices.Contains(l.Pairs, [2]string{a.as.Mode, b.as.Mode}) {
			c.add(Link, []string{l.First, l.Second}, "mode %q of %s does not go with mode %q of %s", a.as.Mode, l.First, b.as.Mode, l.Second)
		}
	}
}

func lagOf(l sched.Lag, a, b *entry) int64 {
	from, to := a.as.End, b.as.Start
	if l.FromEdge == sched.EdgeStart {
		from = a.as.Start
	}
	if l.ToEdge == sched.EdgeEnd {
		to = b.as.End
	}
	return to - from
}

// cost compares the stated objective.
func (c *checker) cost(stated sched.Objective) {
	if o := c.objective(); o != stated {
		c.add(Objective, nil, "the plan states %+v, it is %+v", stated, o)
	}
}

func (c *checker) objective() sched.Objective {
	var o sched.Objective
	last := c.in.Horizon.Start
	for _, e := range c.entries {
		if late := e.as.End - e.in.Due; e.in.DueWeight > 0 && late > 0 {
			o.Tardiness += e.in.DueWeight * late
		}
		o.Energy += e.mode.Energy
		for k, ph := range e.phases {
			if h := c.hours[c.calendarOf(e, k)]; h != nil && ph.work > 0 {
				o.Overtime += h.overtime(ph.start, ph.end)
			}
		}
		for _, ch := range e.as.Changes {
			if v := c.vessel(ch.Vessel); ch.Attended && v != nil {
				if h := c.hours[c.setup(v.Setup).Calendar]; h != nil {
					o.Overtime += h.overtime(ch.Start, ch.End)
				}
			}
		}
		if p := e.in.Previous; p != nil {
			moved := e.as.Start - p.Start
			if moved < 0 {
				moved = -moved
			}
			o.Change += moved * p.MoveWeight
			if p.Mode != "" && p.Mode != e.as.Mode {
				o.Change += p.ModeWeight
			}
		}
		last = max(last, e.as.End)
	}
	for _, l := range c.in.Lags {
		if over := lagOf(l, c.byName[l.From], c.byName[l.To]) - l.Fresh; over > 0 {
			o.Freshness += over * l.FreshWeight
		}
	}
	o.Makespan = last - c.in.Horizon.Start
	w := c.in.Weights
	o.First = o.Tardiness
	o.Rest = o.Overtime*w.Overtime + o.Energy*w.Energy + o.Freshness*w.Freshness + o.Change*w.Change + o.Makespan*w.Makespan
	if w.Blend > 0 {
		o.First, o.Rest = 0, o.Rest+w.Blend*o.Tardiness
	}
	return o
}

func (c *checker) vessel(name string) *sched.Vessel {
	for i := range c.in.Vessels {
		if c.in.Vessels[i].Name == name {
			return &c.in.Vessels[i]
		}
	}
	return nil
}

func (c *checker) setup(name string) *sched.Setup {
	for i := range c.in.Setups {
		if c.in.Setups[i].Name == name {
			return &c.in.Setups[i]
		}
	}
	return &sched.Setup{}
}
