package scheduling

import (
	"sort"
	"time"

	"rondeau.internal/pkg/sched"
)

// addModes lists every choice of vessel, second vessel and crew for a step, and says why others are none.
func (x *instance) addModes(a *sched.Activity, it *item) {
	s := it.step
	attended := s.CrewCount > 0 && s.Attendance != AttendNone
	for _, v := range x.candidates(s.VesselClasses, a, s) {
		estimate := x.memory.estimate(*s, v)
		if estimate.Refusal != "" {
			a.Refusals = append(a.Refusals, sched.Refusal{Vessel: displayOf(v), Reason: estimate.Refusal})
			continue
		}
		for _, second := range x.seconds(a, s, v) {
			if !attended {
				x.addMode(a, it, choice{vessel: v, second: second, estimate: estimate})
				continue
			}
			worked := false
			for i := range x.problem.Crews {
				c := &x.problem.Crews[i]
				if c.WorksAt(classOf(v)) && c.Headcount >= s.CrewCount {
					worked = true
					x.addMode(a, it, choice{vessel: v, second: second, crew: c, estimate: estimate})
				}
			}
			x.addHandovers(a, it, v, second, estimate)
			if !worked {
				a.Refusals = append(a.Refusals, sched.Refusal{Vessel: displayOf(v), Reason: "no crew of enough people works there"})
			}
		}
	}
}

// addHandovers adds the choices in which one crew begins a step and another, on a later shift, ends it: a simmer that is
// lit in the morning and drawn off at night. Only steps with an unattended middle can be handed over.
func (x *instance) addHandovers(a *sched.Activity, it *item, v, second *Vessel, estimate Estimate) {
	s := it.step
	if estimate.Start == 0 || estimate.Middle == 0 || estimate.End == 0 || s.Interruptible {
		return
	}
	works := func(c *Crew) bool { return c.Active && c.WorksAt(classOf(v)) && c.Headcount >= s.CrewCount }
	for i := range x.problem.Crews {
		for j := range x.problem.Crews {
			begins, ends := &x.problem.Crews[i], &x.problem.Crews[j]
			if i != j && works(begins) && works(ends) && begins.Calendar != ends.Calendar {
				x.addMode(a, it, choice{vessel: v, second: second, crew: begins, finisher: ends, estimate: estimate})
			}
		}
	}
}

// candidates are the vessels of the classes that a step asks for; a nil one is a table.
func (x *instance) candidates(classes []string, a *sched.Activity, s *Step) []*Vessel {
	if len(classes) == 0 {
		return []*Vessel{nil}
	}
	var out []*Vessel
	for i := range x.problem.Vessels {
		v := &x.problem.Vessels[i]
		for _, class := range classes {
			if v.Class == class {
				out = append(out, v)
				break
			}
		}
	}
	if len(out) == 0 {
		a.Refusals = append(a.Refusals, sched.Refusal{Vessel: "the kitchen", Reason: "has no vessel of a class that " + s.DisplayName + " can be done in"})
	}
	return out
}

// seconds are the second vessels that go with a first; a nil one when none is asked for.
func (x *instance) seconds(a *sched.Activity, s *Step, first *Vessel) []*Vessel {
	if s.SecondVesselClass == "" {
		return []*Vessel{nil}
	}
	var out []*Vessel
	for _, v := range x.candidates([]string{s.SecondVesselClass}, a, s) {
		if v == first {
			continue
		}
		if why := fits(*s, *v); why != "" {
			a.Refusals = append(a.Refusals, sched.Refusal{Vessel: displayOf(v), Reason: why})
			continue
		}
		out = append(out, v)
	}
	return out
}

func displayOf(v *Vessel) string {
	if v == nil {
		return "a table"
	}
	return v.DisplayName
}

func classOf(v *Vessel) string {
	if v == nil {
		return ""
	}
	return v.Class
}

// modeName is stable over the life of a schedule: the check before publication finds the mode again by it.
func modeName(c choice) string {
	name := "table"
	if c.vessel != nil {
		name = idOf(c.vessel.Name)
	}
	if c.second != nil {
		name += " into " + idOf(c.second.Name)
	}
	if c.crew != nil {
		name += " by " + idOf(c.crew.Name)
	}
	if c.finisher != nil {
		name += ", ended by " + idOf(c.finisher.Name)
	}
	return name
}

func (x *instance) addMode(a *sched.Activity, it *item, c choice) {
	s := it.step
	m := sched.Mode{
		Name:  modeName(c),
		Start: seconds(c.estimate.Start), Middle: seconds(c.estimate.Middle), End: seconds(c.estimate.End),
		Energy: wholeUnits(c.estimate.EnergyWh),
	}
	if m.Start+m.Middle+m.End == 0 {
		m.Middle = seconds(time.Minute)
	}
	for _, v := range []*Vessel{c.vessel, c.second} {
		switch {
		case v == nil:
		case v.Shared():
			m.Needs = append(m.Needs, sched.Need{Resource: v.Name, Amount: grams(*s), WhilePaused: true})
		default:
			m.Uses = append(m.Uses, sched.Use{Vessel: v.Name, FreeAtEnd: v != c.material()})
		}
	}
	m.UnattendedCalendar = staffedCalendar
	if s.UnattendedAllowed && allowsUnattended(c.vessel) && allowsUnattended(c.second) {
		m.UnattendedCalendar = x.problem.Limits.UnattendedCalendar
	}
	switch people := int64(s.CrewCount); {
	case c.finisher != nil:
		// Each attended part needs its own crew and that crew's shift; the calendar is only that somebody is there.
		m.AttendedCalendar = staffedCalendar
		for crew, phase := range map[*Crew]sched.Phases{c.crew: sched.InStart, c.finisher: sched.InEnd} {
			x.onShift[crew.Name] = true
			m.Needs = append(m.Needs,
				sched.Need{Resource: crew.Name, Amount: people, During: phase},
				sched.Need{Resource: shiftResource(crew), Amount: people, During: phase})
		}
		sort.Slice(m.Needs, func(i, j int) bool { return m.Needs[i].Resource < m.Needs[j].Resource })
	case c.crew != nil:
		m.AttendedCalendar = c.crew.Calendar
		m.Needs = append(m.Needs, sched.Need{Resource: c.crew.Name, Amount: people, During: sched.Attended})
	}
	if s.Interruptible {
		m.Pausable = sched.Throughout
	} else if s.Kind.waits() {
		m.Pausable = sched.InEnd
	}
	x.addPower(&m, c.vessel)
	a.Modes = append(a.Modes, m)
	it.modes[m.Name] = c
}

func allowsUnattended(v *Vessel) bool { return v == nil || v.UnattendedAllowed }

// addPower makes a mode draw its vessel's power from the limit of the kitchen that it counts against.
func (x *instance) addPower(m *sched.Mode, v *Vessel) {
	if v == nil || v.PowerWatts <= 0 {
		return
	}
	limits := x.problem.Limits
	switch {
	case v.HeatSource == HeatElectric && limits.ElectricPowerWatts > 0:
		m.Needs = append(m.Needs, sched.Need{Resource: electricResource, Amount: wholeUnits(v.PowerWatts)})
	case v.HeatSource == HeatSteam && limits.SteamPowerWatts > 0:
		m.Needs = append(m.Needs, sched.Need{Resource: steamResource, Amount: wholeUnits(v.PowerWatts)})
	}
}

// addVessels adds the vessels that carry one run at a time, with the cleaning between the materials that may meet in
// them.
func (x *instance) addVessels() {
	states := map[string]map[string]bool{}
	for _, a := range x.Activities {
		for _, m := range a.Modes {
			for _, u := range m.Uses {
				if states[u.Vessel] == nil {
					states[u.Vessel] = map[string]bool{}
				}
				states[u.Vessel][a.State] = true
			}
		}
	}
	for i := range x.problem.Vessels {
		v := &x.problem.Vessels[i]
		if v.Shared() || states[v.Name] == nil {
			continue
		}
		out := sched.Vessel{Name: v.Name, Down: x.downSpans(*v)}
		if v.Cleaning != nil {
			if v.MaterialState != "" {
				states[v.Name][v.MaterialState] = true
				out.State = v.MaterialState
			}
			out.Setup = v.Name
			x.Setups = append(x.Setups, x.setup(*v, states[v.Name]))
		}
		x.Vessels = append(x.Vessels, out)
	}
}

// setup is the cleaning matrix of a vessel over the states that may meet in it.
func (x *instance) setup(v Vessel, states map[string]bool) sched.Setup {
	out := sched.Setup{Name: v.Name}
	for s := range states {
		out.States = append(out.States, s)
	}
	sort.Strings(out.States)
	attended := false
	for _, from := range out.States {
		row := make([]sched.Change, 0, len(out.States))
		for _, to := range out.States {
			duration, needsPerson := v.Cleaning.change(from, to)
			needsPerson = needsPerson && duration > 0
			attended = attended || needsPerson
			row = append(row, sched.Change{Duration: seconds(duration), Attended: needsPerson})
		}
		out.Change = append(out.Change, row)
	}
	if crew := x.cleaner(v); attended && crew != nil {
		out.Calendar = crew.Calendar
		out.Needs = []sched.Need{{Resource: crew.Name, Amount: 1}}
	}
	return out
}

// cleaner is the crew that cleans a vessel.
func (x *instance) cleaner(v Vessel) *Crew {
	if c := x.crews[v.Cleaning.Crew]; c != nil && c.Active {
		return c
	}
	for i := range x.problem.Crews {
		if c := &x.problem.Crews[i]; c.WorksAt(v.Class) {
			return c
		}
	}
	return nil
}
