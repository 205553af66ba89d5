package scheduling

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"rondeau.internal/pkg/sched"
)

// edit turns one edit of the engine into data and words of the kitchen.
func (x *instance) edit(a *advice, e *sched.Edit) (RemedyChange, string) {
	out := RemedyChange{Amount: time.Duration(e.By) * time.Second}
	more := span(out.Amount)
	if e.Window.Start < e.Window.End {
		out.Start, out.End = x.from(e.Window.Start), x.from(e.Window.End)
	}
	if it := x.items[e.Subject]; it != nil {
		out.Batch, out.StepID = it.batch.Name, it.step.ID
	}
	what := x.stepWords(e.Subject)
	switch e.Kind {
	case sched.EditDeadline:
		out.Kind = RemedyLaterDispatch
		return out, x.laterDispatch(a, e, more)
	case sched.EditHorizon:
		out.Kind = RemedyLaterEnd
		return out, fmt.Sprintf("let the schedule end %s later, at %s", more, x.when(x.problem.End.Add(out.Amount)))
	case sched.EditRelease:
		out.Kind = RemedyEarlierStart
		return out, fmt.Sprintf("have the ingredients of %s there %s earlier", what, more)
	case sched.EditLag:
		out.Kind = RemedyLongerWait
		if it := x.items[e.Other]; it != nil {
			out.NextStepID = it.step.ID
		}
		return out, fmt.Sprintf("let %s pass between %s and %s instead of %s, if the safety lead agrees",
			span(time.Duration(e.Was+e.By)*time.Second), what, x.stepWords(e.Other), span(time.Duration(e.Was)*time.Second))
	case sched.EditOpen:
		out.Kind, out.Calendar, out.Amount = RemedyOvertime, e.Subject, out.End.Sub(out.Start)
		return out, fmt.Sprintf("%s at work in overtime %s", x.crewsOf(e.Subject), x.during(out))
	case sched.EditUp:
		out.Kind, out.Vessel, out.Amount = RemedyVesselBack, e.Subject, out.End.Sub(out.Start)
		return out, fmt.Sprintf("%s in service %s", x.vesselWords([]string{e.Subject}), x.during(out))
	case sched.EditVessel:
		out.Kind, out.Vessel, out.Count = RemedyAnotherVessel, e.Subject, 1
		return out, fmt.Sprintf("one more vessel like %s %s", x.vesselWords([]string{e.Subject}), x.during(out))
	case sched.EditCapacity:
		return x.moreOf(out, e)
	case sched.EditOffer:
		s := a.offers[e.Subject]
		out.Kind, out.Fraction = RemedySmallerBatch, s.share
		if s.batch != nil {
			out.Batch = s.batch.Name
		}
		return out, e.Subject
	case sched.EditOut:
		out.Kind, out.Batch = RemedyLeaveOut, e.Subject
		return out, fmt.Sprintf("leave out %s and what is made of it", x.batchWords(e.Subject))
	case sched.EditPromise:
		out.Kind = RemedyGoFirst
		return out, fmt.Sprintf("let %s go before the others", x.batchWords(out.Batch))
	}
	return out, what
}

func (x *instance) laterDispatch(a *advice, e *sched.Edit, more string) string {
	activity := x.activity(e.Subject)
	if activity == nil || activity.DueWeight == 0 {
		return fmt.Sprintf("let %s end %s later", x.stepWords(e.Subject), more)
	}
	batch := x.items[e.Subject].batch.DisplayName
	if e.Subject != a.late {
		return fmt.Sprintf("let %s be done %s later than planned now", batch, more)
	}
	return fmt.Sprintf("dispatch %s at %s instead of %s", batch, x.when(x.from(activity.Due+e.By)), x.when(x.from(activity.Due)))
}

func (x *instance) moreOf(out RemedyChange, e *sched.Edit) (RemedyChange, string) {
	out.Amount, out.Count = 0, e.By
	name := strings.TrimSuffix(e.Subject, onShift)
	if c := x.crews[name]; c != nil {
		out.Kind, out.Crew = RemedyMorePeople, c.Name
		people := "one more person"
		if e.By > 1 {
			people = fmt.Sprintf("%d more people", e.By)
		}
		return out, fmt.Sprintf("%s of %s %s", people, c.DisplayName, x.during(out))
	}
	out.Kind, out.Limit = RemedyOtherLimit, e.Subject
	return out, fmt.Sprintf("%d more of %s %s", e.By, x.resourceWords(e.Subject), x.during(out))
}

// during writes a window: "on Mon 23 Nov 09:00-14:00", "from Mon 23 Nov 22:00 to Tue 24 Nov 02:00".
func (x *instance) during(c RemedyChange) string {
	if c.Start.IsZero() {
		return "at all times"
	}
	from, to := x.when(c.Start), x.when(c.End)
	day, clock := from[:len(from)-5], to[len(to)-5:]
	if strings.HasPrefix(to, day) {
		return "on " + from + "-" + clock
	}
	return "from " + from + " to " + to
}

// crewsOf names the crews that work by a calendar.
func (x *instance) crewsOf(calendar string) string {
	var out []string
	for i := range x.problem.Crews {
		if c := &x.problem.Crews[i]; c.Active && c.Calendar == calendar {
			out = append(out, c.DisplayName)
		}
	}
	if len(out) == 0 {
		return "the people of " + x.calendarName(calendar)
	}
	return strings.Join(out, " and ")
}

func (x *instance) calendarName(name string) string {
	for _, c := range x.problem.Calendars {
		if c.Name == name && c.DisplayName != "" {
			return c.DisplayName
		}
	}
	return name
}

func (x *instance) batchWords(batch string) string {
	for i := range x.problem.Batches {
		if b := &x.problem.Batches[i]; b.Name == batch {
			words := b.DisplayName
			if !b.Due.IsZero() {
				words += " (due " + x.when(b.Due) + ")"
			}
			return words
		}
	}
	return batch
}

// coreWords says which steps and limits are impossible together: who needs what for how long by when, and then what
// stands against it.
func (x *instance) coreWords(c *sched.Core) string {
	var needs, but []string
	until := map[string]int64{}
	vessels := map[string]bool{}
	for i := range c.Reasons {
		r := &c.Reasons[i]
		switch r.Kind {
		case sched.ReasonDeadline:
			until[r.Subject] = r.Window.End
		case sched.ReasonHorizon:
			but = append(but, "the schedule ends at "+x.when(x.problem.End))
		case sched.ReasonVessel:
			vessels[r.Subject] = true
		}
	}
	for i := range c.Reasons {
		if words := x.limitWords(&c.Reasons[i]); words != "" {
			but = append(but, words)
		}
	}
	needs = x.needWords(c, until)
	if len(vessels) > 0 {
		var names []string
		for v := range vessels {
			names = append(names, v)
		}
		sort.Strings(names)
		but = append(but, x.vesselWords(names)+" carries one batch at a time")
	}
	text := "Impossible together: "
	if len(needs) == 1 {
		text = ""
	}
	if !c.Proved {
		text = "What stood in the way most often: "
	}
	text += strings.Join(needs, "; ")
	if len(but) > 0 {
		text += "; but " + strings.Join(but, ", ")
	}
	text += "."
	if c.Minimal && len(c.Reasons) > 2 {
		text += " Without any one of these there would be a schedule for the rest of them."
	}
	return text
}

// mostNamed is how many batches a sentence names.
const mostNamed = 4

// needWords says what each batch needs: "Veal stock needs Kettle 2 or Kettle 3 for 11 h (Simmer), then Blast chiller for 2 h
// (Chill) before Tue 24 Nov 14:00".
func (x *instance) needWords(c *sched.Core, until map[string]int64) []string {
	var order []string
	steps := map[string][]string{}
	for i := range c.Reasons {
		r := &c.Reasons[i]
		a, it := x.activity(r.Subject), x.items[r.Subject]
		if a == nil || it == nil || r.Kind != sched.ReasonActivity && r.Kind != sched.ReasonNoMode {
			continue
		}
		if steps[a.Order] == nil {
			order = append(order, a.Order)
		}
		steps[a.Order] = append(steps[a.Order], x.stepNeeds(a, it, until))
	}
	var out []string
	for i, o := range order {
		if i == mostNamed && len(order) > mostNamed+1 {
			return append(out, fmt.Sprintf("and likewise %d more batches", len(order)-i))
		}
		out = append(out, x.items[x.firstOf(o)].batch.DisplayName+" needs "+strings.Join(steps[o], ", then "))
	}
	return out
}

// firstOf is an activity of a batch.
func (x *instance) firstOf(batch string) string {
	for i := range x.Activities {
		if x.Activities[i].Order == batch {
			return x.Activities[i].Name
		}
	}
	return ""
}

func (x *instance) stepNeeds(a *sched.Activity, it *item, until map[string]int64) string {
	if it.run != nil {
		return it.step.DisplayName + ", which has begun"
	}
	var names []string
	for _, m := range a.Modes {
		for _, u := range m.Uses {
			if !slices.Contains(names, u.Vessel) {
				names = append(names, u.Vessel)
			}
		}
	}
	where := ""
	if len(names) > 0 {
		where = x.vesselWords(names) + " for "
	}
	text := fmt.Sprintf("%s%s (%s)", where, span(time.Duration(shortest(a.Modes))*time.Second), it.step.DisplayName)
	if len(a.Modes) == 0 {
		text = it.step.DisplayName + " in a vessel that there is not"
	}
	if end, has := until[a.Name]; has {
		text += " before " + x.when(x.from(end))
	}
	return text
}

// limitWords says what a limit forbids; empty for those that are told elsewhere.
func (x *instance) limitWords(r *sched.Reason) string {
	switch r.Kind {
	case sched.ReasonLongest:
		return fmt.Sprintf("at most %s may pass between %s and %s", span(time.Duration(r.Amount)*time.Second), x.stepWords(r.Subject), x.stepWords(r.Other))
	case sched.ReasonShortest:
		return fmt.Sprintf("at least %s must pass between %s and %s", span(time.Duration(r.Amount)*time.Second), x.stepWords(r.Subject), x.stepWords(r.Other))
	case sched.ReasonCalendar:
		switch {
		case r.Subject == staffedCalendar:
			return "somebody must be in the kitchen, and the shifts leave it empty at times"
		case r.Subject == x.problem.Limits.UnattendedCalendar:
			return "unattended work is not allowed at all times"
		}
		return x.crewsOf(r.Subject) + " works in its shifts only"
	case sched.ReasonDown:
		return fmt.Sprintf("%s is out of service from %s to %s", x.vesselWords([]string{r.Subject}), x.when(x.from(r.Window.Start)), x.when(x.from(r.Window.End)))
	case sched.ReasonCapacity:
		if c := x.crews[strings.TrimSuffix(r.Subject, onShift)]; c != nil {
			return fmt.Sprintf("%s has %d people at most", c.DisplayName, r.Amount)
		}
		if v := x.vessels[r.Subject]; v != nil {
			return fmt.Sprintf("%s carries %.0f kg at most", v.DisplayName, v.LoadCapacityKg)
		}
		return fmt.Sprintf("there is not more than %d W of %s", r.Amount, r.Subject)
	case sched.ReasonRelease:
		return fmt.Sprintf("%s cannot begin before %s", x.stepWords(r.Subject), x.when(x.from(r.Window.Start)))
	case sched.ReasonPin:
		return fmt.Sprintf("%s is to begin at %s", x.stepWords(r.Subject), x.when(x.from(r.Window.Start)))
	case sched.ReasonHold:
		return fmt.Sprintf("the vessel of %s stays occupied until %s begins", x.stepWords(r.Subject), x.stepWords(r.Other))
	case sched.ReasonStore:
		return fmt.Sprintf("what %s makes stays where it is until %s begins", x.stepWords(r.Subject), x.stepWords(r.Other))
	case sched.ReasonCleaning:
		return x.vesselWords([]string{r.Subject}) + " is cleaned between materials"
	case sched.ReasonLink:
		return fmt.Sprintf("%s goes on in the vessel of %s", x.stepWords(r.Other), x.stepWords(r.Subject))
	}
	return ""
}
