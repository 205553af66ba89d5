package scheduling

import (
	"fmt"
	"time"

	"rondeau.internal/pkg/sched"
)

// when writes a moment as the kitchen's clock shows it: "Tue 24 Nov 14:30".
func (x *instance) when(t time.Time) string {
	if zone, err := time.LoadLocation(x.problem.Facts.TimeZone); err == nil && x.problem.Facts.TimeZone != "" {
		t = t.In(zone)
	}
	return t.Format("Mon 2 Jan 15:04")
}

// stepWords names a step for people: "Simmer of Brown stock 80 L".
func (x *instance) stepWords(activity string) string {
	it := x.items[activity]
	if it == nil {
		return activity
	}
	return it.step.DisplayName + " of " + it.batch.DisplayName
}

// late says why a batch is late, from its last step back to the first cause.
func (x *instance) late(l sched.Late) LateBatch {
	it := x.items[l.Activity]
	out := LateBatch{Batch: it.batch.Name, DisplayName: it.batch.DisplayName, Due: it.batch.Due, End: x.from(l.End)}
	for _, w := range l.Waits {
		out.Reasons = append(out.Reasons, x.wait(w))
	}
	if longest := x.longest(it.batch); longest != "" {
		out.Reasons = append(out.Reasons, longest)
	}
	return out
}

func (x *instance) wait(w sched.Wait) string {
	what, until := x.stepWords(w.Activity), x.when(x.from(w.Until))
	behind := ""
	if w.Behind != "" {
		behind = x.stepWords(w.Behind)
	}
	switch w.Kind {
	case sched.WaitLag:
		if behind != "" {
			return fmt.Sprintf("%s cannot begin before %s, because %s comes first.", what, until, behind)
		}
		return fmt.Sprintf("%s cannot begin before %s, because of the waiting time that the formula asks for.", what, until)
	case sched.WaitVessel:
		return x.waitVessel(w, what, until, behind)
	case sched.WaitResource:
		return x.waitResource(w, what, until, behind)
	case sched.WaitCalendar:
		if c := x.calendarWords(w.Subject); c != "" {
			return fmt.Sprintf("%s waits until %s, because %s.", what, until, c)
		}
		return fmt.Sprintf("%s waits until %s, because nobody is on shift before.", what, until)
	case sched.WaitRelease:
		it := x.items[w.Activity]
		if it != nil && it.batch.EarliestStart.After(x.problem.Start) {
			return fmt.Sprintf("%s cannot begin before %s, because its ingredients are not there earlier.", what, until)
		}
		return fmt.Sprintf("%s begins at once, at %s; an earlier order or plan would have been needed.", what, until)
	case sched.WaitPinned:
		return fmt.Sprintf("%s has begun already and stays as it is.", what)
	}
	return fmt.Sprintf("%s begins at %s; nothing forces this, a longer computation may bring it forward.", what, until)
}

func (x *instance) waitVessel(w sched.Wait, what, until, behind string) string {
	v := x.vessels[w.Subject]
	name := w.Subject
	if v != nil {
		name = v.DisplayName
	}
	if behind != "" {
		return fmt.Sprintf("%s waits for %s until %s, because %s is in it before.", what, name, until, behind)
	}
	if v != nil {
		if down, is := v.DownAt(x.from(w.Until).Add(-time.Second)); is {
			return fmt.Sprintf("%s waits for %s until %s, because it is out of service (%s).", what, name, until, down.Reason)
		}
	}
	return fmt.Sprintf("%s waits for %s until %s, because it has to be free and clean.", what, name, until)
}

func (x *instance) waitResource(w sched.Wait, what, until, behind string) string {
	after := ""
	if behind != "" {
		after = ", taken up by " + behind
	}
	if c := x.crews[w.Subject]; c != nil {
		return fmt.Sprintf("%s waits until %s, because the people of %s are all at work%s.", what, until, c.DisplayName, after)
	}
	if v := x.vessels[w.Subject]; v != nil {
		return fmt.Sprintf("%s waits until %s, because %s is full%s.", what, until, v.DisplayName, after)
	}
	return fmt.Sprintf("%s waits until %s, because the kitchen's %s is used up%s.", what, until, w.Subject, after)
}

// calendarWords says what a closed calendar means.
func (x *instance) calendarWords(name string) string {
	if name == staffedCalendar {
		return "somebody must be in the kitchen and no shift is long enough or open before"
	}
	if name != "" && name == x.problem.Limits.UnattendedCalendar {
		return "unattended work is not allowed before"
	}
	for _, c := range x.problem.Crews {
		if c.Calendar == name {
			return "nobody of " + c.DisplayName + " is on shift before"
		}
	}
	return ""
}

// longest names the step that takes most of a late batch's time, since a wider pan or a smaller batch may be the remedy.
func (x *instance) longest(b *Batch) string {
	var best *choice
	name := ""
	for i := range x.Activities {
		a := &x.Activities[i]
		it := x.items[a.Name]
		if it.batch != b || it.run != nil {
			continue
		}
		// the quickest choice of the step: what no vessel can better
		var quickest *choice
		for _, m := range a.Modes {
			c := it.modes[m.Name]
			if quickest == nil || c.estimate.Total() < quickest.estimate.Total() {
				quickest = &c
			}
		}
		if quickest != nil && (best == nil || quickest.estimate.Total() > best.estimate.Total()) {
			best, name = quickest, it.step.DisplayName
		}
	}
	if best == nil {
		return ""
	}
	where := "at a table"
	if best.vessel != nil {
		where = "in " + best.vessel.DisplayName
	}
	return fmt.Sprintf("Its longest step is %s: %s at best, %s (%s).", name, span(best.estimate.Total()), where, best.estimate.Basis)
}
