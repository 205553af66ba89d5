package scheduling

import (
	"fmt"
	"sort"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/sched"
)

// Names of the engine's things that are not resources.
const (
	staffedCalendar  = "staffed"
	electricResource = "electric power"
	steamResource    = "steam"
	factMode         = "as started"
)

// instance is a Problem in the words of the engine, with the way back. Times of the engine are seconds since epoch.
type instance struct {
	problem *Problem
	advice  *advice // once it has been solved
	epoch   time.Time
	sched.Instance
	items   map[string]*item
	vessels map[string]*Vessel
	crews   map[string]*Crew
	memory  *estimator
	used    map[string]bool // calendars
	onShift map[string]bool // crews whose shifts are limits of their own
	// modes of a plan that is followed, by activity; only for outlooks.
	modes map[string]string
}

// item is one activity: a step, and the choices it has.
type item struct {
	batch *Batch
	step  *Step
	run   *Run // when it has begun
	modes map[string]choice
}

// choice is one mode: where and by whom.
type choice struct {
	vessel, second *Vessel
	crew           *Crew
	finisher       *Crew // who attends the end, when another crew than the one that begins
	estimate       Estimate
}

// material is the vessel in which the material is at the end.
func (c choice) material() *Vessel {
	if c.second != nil {
		return c.second
	}
	return c.vessel
}

func activityName(batch, step string) string { return batch + " / " + step }

// build turns a problem into an instance of the engine.
func build(p *Problem) (*instance, error) {
	x := &instance{
		problem: p, epoch: p.Start.Truncate(time.Second), items: map[string]*item{}, vessels: map[string]*Vessel{},
		crews: map[string]*Crew{}, memory: newEstimator(p.Facts, p.Limits), used: map[string]bool{}, onShift: map[string]bool{},
	}
	sort.Slice(p.Vessels, func(i, j int) bool { return p.Vessels[i].Name < p.Vessels[j].Name })
	sort.Slice(p.Crews, func(i, j int) bool { return p.Crews[i].Name < p.Crews[j].Name })
	for i := range p.Vessels {
		x.vessels[p.Vessels[i].Name] = &p.Vessels[i]
	}
	for i := range p.Crews {
		x.crews[p.Crews[i].Name] = &p.Crews[i]
	}
	progresses := make([]progress, len(p.Batches))
	for i, b := range p.Batches {
		progresses[i] = progressOf(b, p.Runs)
		if f := progresses[i].fact; f != nil && !progresses[i].done(b) {
			x.epoch = earliest(x.epoch, f.Start.Truncate(time.Second))
		}
	}
	x.Name = p.Site
	x.Horizon = sched.Span{Start: 0, End: x.at(p.End)}
	x.Weights = p.Limits.weights(len(p.Reference) > 0)
	x.addResources()
	for i := range p.Batches {
		x.addBatch(&p.Batches[i], progresses[i])
	}
	x.addFeeds()
	x.addVessels()
	if err := x.addCalendars(); err != nil {
		return nil, err
	}
	if err := x.Validate(); err != nil {
		return nil, apierr.FailedPrecondition(ProblemInvalid, "the data of %s do not make a problem that can be solved: %v", p.Site, err).
			With("operation", p.Site)
	}
	return x, nil
}

// at is a moment in the engine's seconds; from is the way back.
func (x *instance) at(t time.Time) int64 { return int64(t.Sub(x.epoch) / time.Second) }

func (x *instance) from(s int64) time.Time { return x.epoch.Add(time.Duration(s) * time.Second).UTC() }

func seconds(d time.Duration) int64 { return int64(d / time.Second) }

// addResources adds crews, power, and the load of shared vessels.
func (x *instance) addResources() {
	for i := range x.problem.Crews {
		c := &x.problem.Crews[i]
		atStart, changes := c.levels(x.epoch)
		r := sched.Resource{Name: c.Name, Capacity: int64(atStart)}
		for _, l := range changes {
			r.Levels = appendLevel(r.Levels, sched.Level{At: x.at(l.At), Capacity: int64(l.Count)})
		}
		x.Resources = append(x.Resources, r)
	}
	if w := x.problem.Limits.ElectricPowerWatts; w > 0 {
		x.Resources = append(x.Resources, sched.Resource{Name: electricResource, Capacity: wholeUnits(w)})
	}
	if w := x.problem.Limits.SteamPowerWatts; w > 0 {
		x.Resources = append(x.Resources, sched.Resource{Name: steamResource, Capacity: wholeUnits(w)})
	}
	for i := range x.problem.Vessels {
		v := &x.problem.Vessels[i]
		if !v.Shared() {
			continue
		}
		full := wholeUnits(v.LoadCapacityKg * 1000)
		r := sched.Resource{Name: v.Name, Capacity: full}
		for _, w := range x.downSpans(*v) {
			if w.Start <= 0 {
				r.Capacity = 0
			} else {
				r.Levels = appendLevel(r.Levels, sched.Level{At: w.Start})
			}
			if w.End < x.Horizon.End {
				r.Levels = appendLevel(r.Levels, sched.Level{At: w.End, Capacity: full})
			}
		}
		x.Resources = append(x.Resources, r)
	}
}

// appendLevel keeps levels ascending; of two at the same second the later one counts.
func appendLevel(levels []sched.Level, l sched.Level) []sched.Level {
	if n := len(levels); n > 0 && levels[n-1].At >= l.At {
		levels[n-1].Capacity = l.Capacity
		return levels
	}
	return append(levels, l)
}

// downSpans are the down windows within the horizon, joined and ordered.
func (x *instance) downSpans(v Vessel) []sched.Span {
	var spans []sched.Span
	for _, w := range v.Down {
		s := sched.Span{Start: max(x.at(w.Start), 0), End: x.Horizon.End}
		if !w.End.IsZero() {
			s.End = min(x.at(w.End), x.Horizon.End)
		}
		if s.Start < s.End {
			spans = append(spans, s)
		}
	}
	sort.Slice(spans, func(i, j int) bool { return spans[i].Start < spans[j].Start })
	var joined []sched.Span
	for _, s := range spans {
		if n := len(joined); n > 0 && s.Start <= joined[n-1].End {
			joined[n-1].End = max(joined[n-1].End, s.End)
			continue
		}
		joined = append(joined, s)
	}
	return joined
}

// addBatch adds the step that has begun and those still to be planned, with their lags and holds.
func (x *instance) addBatch(b *Batch, p progress) {
	if p.done(*b) {
		return
	}
	first := p.next
	if p.fact != nil {
		x.addFact(b, &b.Steps[p.at], p.fact, p.next < len(b.Steps))
	}
	for i := first; i < len(b.Steps); i++ {
		s := &b.Steps[i]
		a := sched.Activity{Name: activityName(b.Name, s.ID), Order: b.Name, State: s.State(), Release: max(x.at(x.problem.Start), 0)}
		if i == 0 && b.EarliestStart.After(x.problem.Start) {
			a.Release = x.at(b.EarliestStart)
		}
		it := &item{batch: b, step: s, modes: map[string]choice{}}
		x.addModes(&a, it)
		x.addPrevious(&a, it)
		x.items[a.Name] = it
		x.Activities = append(x.Activities, a)
		if i > first || p.fact != nil && p.at == i-1 {
			x.tie(b, &b.Steps[i-1], s)
		}
	}
	last := &x.Activities[len(x.Activities)-1]
	if !b.Due.IsZero() {
		last.Due, last.DueWeight = max(x.at(b.Due), 1), max(b.Weight, 1)
	}
}

// tie links two steps of a batch that follow each other.
func (x *instance) tie(b *Batch, before, after *Step) {
	first, second := activityName(b.Name, before.ID), activityName(b.Name, after.ID)
	lag := sched.Lag{From: first, To: second, Min: seconds(before.MinWait)}
	if before.MaxWait != nil {
		longest := seconds(*before.MaxWait)
		if x.items[first].run == nil {
			lag.Max, lag.HasMax, lag.Firm = longest, true, before.warmUntil(after)
			lag.Why = fmt.Sprintf("%s waits at most %s after %s", b.DisplayName, span(*before.MaxWait), before.DisplayName)
		} else {
			// What has begun must go on, if too late: the wait costs much instead of making every schedule impossible.
			lag.Fresh, lag.FreshWeight = longest, overwaitWeight
		}
	}
	x.Lags = append(x.Lags, lag)
	if before.KeepsVessel {
		x.hold(first, second, before)
	}
	if after.SameVessel {
		x.sameVessel(first, second)
	}
}

// overwaitWeight is the cost per second of waiting longer than the formula allows after a step that has begun; it is
// high beside the weights of sched.DefaultWeights (chosen, no source).
const overwaitWeight = 50

// hold keeps the vessel until the next step takes the material; in a shared vessel, where all modes agree on it, the
// load stays in it.
func (x *instance) hold(first, second string, before *Step) {
	var shared *Vessel
	agreed := true
	for _, c := range x.items[first].modes {
		m := c.material()
		if m == nil || !m.Shared() || (shared != nil && shared != m) {
			agreed = false
			break
		}
		shared = m
	}
	if agreed && shared != nil {
		x.Stores = append(x.Stores, sched.Store{Resource: shared.Name, Amount: grams(*before), Producer: first, Consumer: second})
		return
	}
	x.Holds = append(x.Holds, sched.Hold{Activity: first, Until: second})
}

func grams(s Step) int64 { return wholeUnits(s.mass() * 1000) }

// sameVessel makes a step be done where the material is. After a step that has begun, other vessels stay possible only
// if none is left: then the material has to be moved.
func (x *instance) sameVessel(first, second string) {
	before, after := x.items[first], x.items[second]
	a := &x.Activities[len(x.Activities)-1]
	if before.run != nil {
		var kept []sched.Mode
		for _, m := range a.Modes {
			if v := after.modes[m.Name].vessel; v != nil && v.Name == before.run.materialVessel() {
				kept = append(kept, m)
			}
		}
		if len(kept) > 0 {
			a.Modes = kept
		}
		return
	}
	link := sched.Link{First: first, Second: second}
	for _, m := range x.Activities[len(x.Activities)-2].Modes {
		from := before.modes[m.Name].material()
		for _, n := range a.Modes {
			if from == after.modes[n.Name].vessel {
				link.Pairs = append(link.Pairs, [2]string{m.Name, n.Name})
			}
		}
	}
	x.Links = append(x.Links, link)
}

// addFact adds a step that is running or finished.
func (x *instance) addFact(b *Batch, s *Step, r *Run, more bool) {
	end := r.expectedEnd(x.problem.Start)
	start := r.Start
	a := sched.Activity{Name: activityName(b.Name, s.ID), Order: b.Name, State: s.State()}
	it := &item{batch: b, step: s, run: r, modes: map[string]choice{}}
	c := choice{vessel: x.vessels[r.Vessel], crew: x.crews[r.Crew]}
	if len(r.Additional) > 0 {
		c.second = x.vessels[r.Additional[len(r.Additional)-1]]
	}
	m := sched.Mode{Name: factMode}
	running := r.State == RunRunning
	for _, name := range r.vessels() {
		v := x.vessels[name]
		stays := running || s.KeepsVessel && more && name == r.materialVessel()
		switch {
		case v == nil || !stays:
		case v.Shared():
			m.Needs = append(m.Needs, sched.Need{Resource: v.Name, Amount: grams(*s), WhilePaused: true})
		default:
			m.Uses = append(m.Uses, sched.Use{Vessel: name, FreeAtEnd: name != r.materialVessel()})
		}
	}
	length := max(x.at(end)-x.at(start), 1)
	m.Middle = length
	if running {
		m.End = min(seconds(roundUp(s.AttendedEnd)), length)
		if s.Attendance == AttendWhole {
			m.End = length
		}
		m.Middle = length - m.End
		if c.crew != nil && m.End > 0 && s.CrewCount > 0 {
			m.Needs = append(m.Needs, sched.Need{Resource: c.crew.Name, Amount: int64(s.CrewCount), During: sched.InEnd})
		}
		x.addPower(&m, c.vessel)
	}
	c.estimate = Estimate{StepID: s.ID, Vessel: r.Vessel, Middle: time.Duration(length) * time.Second, Basis: r.Basis}
	a.Modes = []sched.Mode{m}
	a.Fixed = &sched.Fixed{Mode: factMode, Start: x.at(start), Started: true, End: x.at(start) + length}
	it.modes[factMode] = c
	x.items[a.Name] = it
	x.Activities = append(x.Activities, a)
}

// addFeeds lets a batch that takes another's output begin that step after the other has ended.
func (x *instance) addFeeds() {
	last := map[string]string{}
	for _, a := range x.Activities {
		last[a.Order] = a.Name
	}
	for i := range x.problem.Batches {
		b := &x.problem.Batches[i]
		for _, f := range b.Feeds {
			from, found := last[f.Batch]
			step := f.StepID
			if step == "" && len(b.Steps) > 0 {
				step = b.Steps[0].ID
			}
			to := activityName(b.Name, step)
			if it := x.items[to]; !found || it == nil || it.run != nil {
				continue
			}
			x.Lags = append(x.Lags, sched.Lag{
				From: from, To: to, Fresh: seconds(24 * time.Hour), FreshWeight: 1,
				Why: b.DisplayName + " takes what " + x.items[from].batch.DisplayName + " makes",
			})
		}
	}
}

// addPrevious tells the engine where the reference schedule has a step.
func (x *instance) addPrevious(a *sched.Activity, it *item) {
	for _, r := range x.problem.Reference {
		if r.Batch != it.batch.Name || r.StepID != it.step.ID || r.Start.Before(x.epoch) {
			continue
		}
		a.Previous = &sched.Previous{Start: x.at(r.Start), MoveWeight: 1, ModeWeight: seconds(time.Hour)}
		if _, possible := it.modes[r.Mode]; possible {
			a.Previous.Mode = r.Mode
		}
		return
	}
}

// addCalendars adds the calendars in use, and the union of all shifts in which somebody is in the kitchen.
func (x *instance) addCalendars() error {
	known := map[string]Calendar{}
	for _, c := range x.problem.Calendars {
		known[c.Name] = c
	}
	from, to := x.epoch, x.from(x.Horizon.End)
	staffed := sched.Calendar{Name: staffedCalendar}
	add := func(name string) (sched.Calendar, error) {
		c, found := known[name]
		if !found {
			return sched.Calendar{}, apierr.FailedPrecondition(CalendarMissing, "calendar %s is referred to but does not exist: create it first", name).With("resource", name)
		}
		spans, err := c.Open(from, to)
		if err != nil {
			return sched.Calendar{}, err
		}
		out := sched.Calendar{Name: name}
		for _, s := range spans {
			open := sched.Open{Span: sched.Span{Start: x.at(s.Start), End: x.at(s.End)}, Overtime: s.Overtime}
			if open.Start < open.End {
				out.Open = append(out.Open, open)
			}
		}
		return out, nil
	}
	var somebody []sched.Open
	for i := range x.problem.Crews {
		c := &x.problem.Crews[i]
		if !c.Active {
			continue
		}
		calendar, err := add(c.Calendar)
		if err != nil {
			return err
		}
		somebody = append(somebody, calendar.Open...)
		x.used[c.Calendar] = true
		if x.onShift[c.Name] {
			x.addShift(c, calendar.Open)
		}
	}
	for _, span := range joined(somebody) {
		staffed.Open = append(staffed.Open, sched.Open{Span: span}) // being there is no overtime of its own
	}
	if name := x.problem.Limits.UnattendedCalendar; name != "" {
		x.used[name] = true
	}
	names := make([]string, 0, len(x.used))
	for name := range x.used {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		calendar, err := add(name)
		if err != nil {
			return err
		}
		x.Calendars = append(x.Calendars, calendar)
	}
	x.Calendars = append(x.Calendars, staffed)
	return nil
}
