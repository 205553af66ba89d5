package scheduling

import (
	"fmt"
	"sort"
	"strings"
	"time"

	"rondeau.internal/pkg/sched"
)

// conflicts says in the manager's words why no schedule was found. The engine's own messages count in its units and
// use its names, so the words are made here from what they refer to.
func (x *instance) conflicts(found []sched.Conflict) []Conflict {
	out := make([]Conflict, 0, len(found))
	for _, c := range found {
		out = append(out, x.conflict(c))
	}
	return out
}

func (x *instance) conflict(c sched.Conflict) Conflict {
	out := Conflict{Kind: string(c.Kind), Proved: c.Proved}
	seen := map[string]bool{}
	for _, name := range c.Activities {
		if it := x.items[name]; it != nil && !seen[it.batch.Name] {
			seen[it.batch.Name] = true
			out.Batches = append(out.Batches, it.batch.Name)
		}
	}
	for _, name := range append(append([]string(nil), c.Vessels...), c.Resources...) {
		if x.vessels[name] != nil {
			out.Vessels = append(out.Vessels, name)
		}
	}
	what, others := "a step", ""
	if len(c.Activities) > 0 {
		what = x.stepWords(c.Activities[0])
		others = x.listWords(c.Activities[1:])
	}
	switch c.Kind {
	case sched.ConflictNoMode:
		if len(c.Activities) > 0 {
			out.Text, out.Relaxations = x.noVessel(c.Activities[0])
		}
	case sched.ConflictWindow:
		out.Text = fmt.Sprintf("%s cannot end before %s, where the schedule ends%s.", what, x.when(x.problem.End), because(others))
		out.Relaxations = []string{"let the schedule end later" + by(c.Relaxations)}
	case sched.ConflictCalendar:
		if len(c.Activities) > 1 {
			out.Text, out.Relaxations = x.noOpenTimes(c)
		} else {
			out.Text, out.Relaxations = x.noOpenTime(c, what)
		}
	case sched.ConflictLags:
		out.Text = fmt.Sprintf("The waiting times between %s contradict each other: what must pass between them is longer than what may pass.", x.listWords(c.Activities))
		out.Relaxations = x.longerWaits(c.Activities)
	case sched.ConflictVessel:
		out.Text = fmt.Sprintf("%s finds no room in %s in time: it is occupied, out of service or being cleaned.", what, x.vesselWords(c.Vessels))
		out.Relaxations = []string{"another vessel for " + what, "a longer wait before " + what}
	case sched.ConflictCapacity:
		out.Text, out.Relaxations = x.notEnough(c, what)
	case sched.ConflictLink:
		out.Text = fmt.Sprintf("%s must go on in the vessel that the step before uses, and no vessel can do both.", what)
		out.Relaxations = []string{"let " + what + " be done in another vessel than the step before"}
	case sched.ConflictFixed:
		out.Text = fmt.Sprintf("%s has begun and stays where it is, which leaves no room%s.", what, because(others))
	default:
		out.Text = fmt.Sprintf("%s finds no place.", what)
	}
	return out
}

func because(others string) string {
	if others == "" {
		return ""
	}
	return ", because of " + others
}

// by is the amount of time that a relaxation asks for.
func by(relaxations []sched.Relaxation) string {
	if len(relaxations) == 0 || relaxations[0].By <= 0 || relaxations[0].By >= sched.Forever {
		return ""
	}
	return " by " + span(time.Duration(relaxations[0].By)*time.Second)
}

func (x *instance) listWords(activities []string) string {
	words := make([]string, 0, len(activities))
	for _, name := range activities {
		words = append(words, x.stepWords(name))
	}
	return strings.Join(words, ", ")
}

func (x *instance) vesselWords(names []string) string {
	words := make([]string, 0, len(names))
	for _, name := range names {
		if v := x.vessels[name]; v != nil {
			words = append(words, v.DisplayName)
		}
	}
	if len(words) == 0 {
		return "any vessel"
	}
	return strings.Join(words, " or ")
}

// activity finds an activity by name.
func (x *instance) activity(name string) *sched.Activity {
	for i := range x.Activities {
		if x.Activities[i].Name == name {
			return &x.Activities[i]
		}
	}
	return nil
}

// openSpan is the longest open time of a calendar in one go.
func (x *instance) openSpan(calendar string) int64 {
	if calendar == "" {
		return sched.Forever
	}
	for _, c := range x.Calendars {
		if c.Name == calendar {
			return longestOpen(c.Open)
		}
	}
	return 0
}

// longestOpen is the longest time covered without a gap.
func longestOpen(open []sched.Open) int64 {
	spans := append([]sched.Open(nil), open...)
	sort.Slice(spans, func(i, j int) bool { return spans[i].Start < spans[j].Start })
	var best, start, end int64
	for i, s := range spans {
		if i == 0 || s.Start > end {
			start, end = s.Start, s.End
		}
		end = max(end, s.End)
		best = max(best, end-start)
	}
	return best
}

// tooLong is the phase of a mode that no open time of its calendar is long enough for.
func (x *instance) tooLong(m sched.Mode) (calendar string, length int64, is bool) {
	for _, phase := range []struct {
		length   int64
		calendar string
		in       sched.Phases
	}{{m.Start, m.AttendedCalendar, sched.InStart}, {m.Middle, m.UnattendedCalendar, sched.InMiddle}, {m.End, m.AttendedCalendar, sched.InEnd}} {
		if phase.length > 0 && m.Pausable&phase.in == 0 && phase.length > x.openSpan(phase.calendar) {
			return phase.calendar, phase.length, true
		}
	}
	return "", 0, false
}

// noOpenTimes is about steps each of which fits into some shift, but not all of them in time for each other.
func (x *instance) noOpenTimes(c sched.Conflict) (string, []string) {
	text := fmt.Sprintf("%s find no open time one after the other: when one of them falls into a shift, another does not, within the waits that are allowed between them.", x.listWords(c.Activities))
	return text, append(x.longerWaits(c.Activities), "longer shifts, or shifts that are closer together", "unattended work, where it is safe")
}

// noOpenTime is about a step that finds no place in the shifts even by itself.
func (x *instance) noOpenTime(c sched.Conflict, what string) (string, []string) {
	a := &sched.Activity{}
	if len(c.Activities) > 0 && x.activity(c.Activities[0]) != nil {
		a = x.activity(c.Activities[0])
	}
	best, where := int64(0), ""
	for _, m := range a.Modes {
		if calendar, length, is := x.tooLong(m); is && (best == 0 || length < best) {
			best, where = length, calendar
		}
	}
	if best == 0 {
		takes := ""
		if d := shortest(a.Modes); d > 0 {
			takes = " takes " + span(time.Duration(d)*time.Second) + ": it"
		}
		return fmt.Sprintf("%s%s cannot end within the shift that begins it, and there is no open time of another shift when it would have to end.", what, takes),
			[]string{"longer or more shifts", "another crew, whose shift ends it", "let it pause between shifts", "a smaller batch or a faster vessel"}
	}
	need, has := span(time.Duration(best)*time.Second), span(time.Duration(x.openSpan(where))*time.Second)
	if where == staffedCalendar {
		return fmt.Sprintf("%s goes on for %s and somebody must be in the kitchen meanwhile, but it is staffed for %s at most in one go.", what, need, has),
			[]string{"allow it unattended in the formula and at the vessel, where that is safe", "let it pause between shifts", "a longer shift, by " + span(time.Duration(best-x.openSpan(where))*time.Second)}
	}
	name := where
	for _, known := range x.problem.Calendars {
		if known.Name == where {
			name = known.DisplayName
		}
	}
	return fmt.Sprintf("%s needs %s in one go, but %s is open for %s at most.", what, need, name, has),
		[]string{"let it pause between shifts", "a longer shift in " + name + ", by " + span(time.Duration(best-x.openSpan(where))*time.Second), "a smaller batch or a faster vessel"}
}

// shortest is the least time that a step takes in any of its modes.
func shortest(modes []sched.Mode) int64 {
	var best int64
	for i, m := range modes {
		if d := m.Start + m.Middle + m.End; i == 0 || d < best {
			best = d
		}
	}
	return best
}

// longerWaits lists the greatest waiting times between steps.
func (x *instance) longerWaits(activities []string) []string {
	member := map[string]bool{}
	for _, a := range activities {
		member[a] = true
	}
	var out []string
	for _, l := range x.Lags {
		if l.HasMax && member[l.From] && member[l.To] && l.Why != "" {
			out = append(out, "a longer wait than this: "+l.Why)
		}
	}
	return out
}

func (x *instance) notEnough(c sched.Conflict, what string) (string, []string) {
	if len(c.Resources) == 0 {
		return fmt.Sprintf("%s does not find enough of what it needs in time.", what), nil
	}
	subject := c.Resources[0]
	if crew := x.crews[strings.TrimSuffix(subject, onShift)]; crew != nil {
		return fmt.Sprintf("%s does not find enough people of %s free in time.", what, crew.DisplayName), []string{"more people in " + crew.DisplayName, "another crew that may work there"}
	}
	if v := x.vessels[subject]; v != nil {
		return fmt.Sprintf("%s finds no room in %s in time: it carries %.0f kg at most.", what, v.DisplayName, v.LoadCapacityKg), []string{"more room than in " + v.DisplayName, "a smaller batch"}
	}
	return fmt.Sprintf("%s does not find enough %s in time.", what, subject), []string{"a higher limit of " + subject}
}

// noVessel lists why no vessel can do a step, and what would help.
func (x *instance) noVessel(activity string) (string, []string) {
	what := x.stepWords(activity)
	var why []string
	if a := x.activity(activity); a != nil {
		for _, r := range a.Refusals {
			why = append(why, r.Vessel+" "+r.Reason)
		}
	}
	text := fmt.Sprintf("No vessel can do %s.", what)
	if len(why) > 0 {
		text = fmt.Sprintf("No vessel can do %s: %s.", what, strings.Join(why, "; "))
	}
	return text, []string{"a smaller batch", "another vessel, or another class of vessels in the formula"}
}
