package scheduling

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"rondeau.internal/pkg/sched/risk"
)

// Limits of what an outlook lists: more is not read.
const (
	mostWaits  = 20
	mostCauses = 4
	// leastWait is the probability below which a wait is not listed.
	leastWait = 0.01
)

// read turns the engine's report into words of the kitchen.
func (x *instance) read(r *risk.Report) Outlook {
	out := Outlook{
		At: x.from(x.Horizon.Start), Samples: r.Samples, AllOnTime: r.AllOnTime.Value, Cautions: []string{
			"The schedule is followed in its order and nothing is planned anew on the way, but for the people on shift, who take over what slips out of the shift before; yields, deliveries and absences are taken as planned, and nothing breaks down or has to be done again: what was forecast comes true somewhat less often than it says.",
			Caution,
		},
	}
	ends := map[string]int64{}
	for _, a := range r.Activities {
		ends[a.Order] = max(ends[a.Order], a.PlannedEnd)
	}
	for _, o := range r.Orders {
		out.Batches = append(out.Batches, x.batchOutlook(r, o, ends[o.Order]))
	}
	sort.SliceStable(out.Batches, func(i, j int) bool {
		a, b := out.Batches[i], out.Batches[j]
		if a.Due.IsZero() != b.Due.IsZero() {
			return b.Due.IsZero()
		}
		if !a.Due.IsZero() && a.OnTime != b.OnTime {
			return a.OnTime < b.OnTime
		}
		return a.PlannedEnd.Before(b.PlannedEnd)
	})
	for _, b := range out.Batches {
		if !b.Due.IsZero() {
			out.ExpectedLate += 1 - b.OnTime
		}
	}
	out.Waits = x.waits(r)
	if r.Caution != "" {
		out.Cautions = append(out.Cautions, r.Caution)
	}
	out.Summary = out.summary()
	return out
}

func (x *instance) batchOutlook(r *risk.Report, o risk.OrderRisk, plannedEnd int64) BatchOutlook {
	b := x.batch(o.Order)
	out := BatchOutlook{Batch: o.Order, DisplayName: b.DisplayName, PlannedEnd: x.from(plannedEnd)}
	for _, moment := range o.End.Quantiles {
		out.Curve = append(out.Curve, x.from(moment))
	}
	at := func(share float64) time.Time { return out.Curve[slices.Index(curveShares, share)] }
	out.Finish50, out.Finish80, out.Finish95 = at(0.5), at(0.8), at(0.95)
	if !o.HasDue {
		return out
	}
	// The engine's due time is cut at its first moment; a due time before that is missed for certain.
	out.Due, out.OnTime, out.StandardError = b.Due, o.OnTime.Value, o.OnTime.StandardError
	for _, c := range o.Causes {
		if len(out.Causes) < mostCauses {
			out.Causes = append(out.Causes, x.cause(c, b))
		}
	}
	return out
}

// batch finds a batch of the problem.
func (x *instance) batch(name string) *Batch {
	for i := range x.problem.Batches {
		if x.problem.Batches[i].Name == name {
			return &x.problem.Batches[i]
		}
	}
	return &Batch{Name: name, DisplayName: name}
}

func duration(seconds float64) time.Duration { return time.Duration(seconds) * time.Second }

// cause says what made a batch late.
func (x *instance) cause(c risk.Cause, late *Batch) Cause {
	out := Cause{Share: c.Share, Excess: duration(c.Excess)}
	share := percent(c.Share) + " of its late ends"
	if c.Share > 0.99 {
		share = "nearly all of its late ends"
	}
	where := ""
	if it := x.items[c.Activity]; it != nil {
		out.Batch, out.StepID = it.batch.Name, it.step.ID
		v, crew := x.placeOf(it)
		if v != nil {
			out.Vessel = v.Name
			where = " in " + v.DisplayName
		}
		if crew != nil {
			out.Crew = crew.Name
		}
		if it.batch.Name == late.Name {
			where = it.step.DisplayName + where
		} else {
			where = x.stepWords(c.Activity) + where + ", which comes first,"
		}
	}
	switch c.Kind {
	case risk.CauseDuration:
		out.Kind = CauseStep
		out.Text = fmt.Sprintf("%s takes %s longer than planned (%s)", where, span(max(out.Excess, time.Minute)), share)
	case risk.CauseCalendar:
		out.Kind = CauseClosed
		out.Text = fmt.Sprintf("%s comes too late for the shift or the vessel and waits %s (%s)", where, span(max(out.Excess, time.Minute)), share)
	case risk.CauseResource:
		out.Kind = CauseShortage
		out.Vessel, out.Crew = "", ""
		out.Text = fmt.Sprintf("%s is short (%s)", x.shortage(c.Resource, &out), share)
	default:
		out.Kind = CausePlan
		out.Text = "the plan itself ends after the due time"
		if !late.Due.IsZero() {
			out.Text = fmt.Sprintf("the plan leaves too little time (%s)", share)
		}
	}
	return out
}

// shortage names a resource of the engine and notes it in a cause.
func (x *instance) shortage(resource string, out *Cause) string {
	name := strings.TrimSuffix(resource, onShift)
	if c := x.crews[name]; c != nil {
		out.Crew = c.Name
		return c.DisplayName
	}
	if v := x.vessels[name]; v != nil {
		out.Vessel = v.Name
		return "room in " + v.DisplayName
	}
	return resource
}

// placeOf is where and by whom a step is done in the plan that was followed.
func (x *instance) placeOf(it *item) (*Vessel, *Crew) {
	c := it.modes[x.modes[activityName(it.batch.Name, it.step.ID)]]
	return c.vessel, c.crew
}

// waits lists the waits that may become longer than the formula allows.
func (x *instance) waits(r *risk.Report) []WaitOutlook {
	var out []WaitOutlook
	for _, l := range r.Lags {
		lag := x.Lags[l.Index]
		it := x.items[l.From]
		if !lag.HasMax || l.Broken.Value < leastWait {
			continue
		}
		w := WaitOutlook{
			Batch: it.batch.Name, StepID: it.step.ID, Longest: time.Duration(lag.Max) * time.Second,
			Exceeded: l.Broken.Value, Excess: duration(l.Excess),
		}
		w.Text = fmt.Sprintf("%s may wait longer than %s after %s: with %s, then %s longer", it.batch.DisplayName, span(w.Longest), it.step.DisplayName,
			percent(w.Exceeded), span(max(w.Excess, time.Minute)))
		out = append(out, w)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Exceeded > out[j].Exceeded })
	return out[:min(len(out), mostWaits)]
}

func (x *instance) buffers(found []risk.Buffer) []Buffer {
	var out []Buffer
	for _, f := range found {
		b := Buffer{Batch: f.Order, Shift: time.Duration(f.Shift) * time.Second, Gain: f.OnTime.Value, StandardError: f.OnTime.StandardError}
		for _, m := range f.Moves {
			it := x.items[m.Activity]
			b.Moves = append(b.Moves, Move{Batch: it.batch.Name, StepID: it.step.ID, Planned: x.from(m.Planned), Proposed: x.from(m.NotBefore)})
		}
		first := x.stepWords(f.Moves[0].Activity)
		how, by := "earlier", -b.Shift
		if b.Shift > 0 {
			how, by = "later", b.Shift
		}
		more := ""
		if n := len(f.Moves) - 1; n == 1 {
			more = " and 1 more step"
		} else if n > 1 {
			more = fmt.Sprintf(" and %d more steps", n)
		}
		b.Text = fmt.Sprintf("begin %s%s %s %s, at %s: %s", first, more, span(by), how, x.when(b.Moves[0].Proposed), gained(f))
		out = append(out, b)
	}
	return out
}

// gained says what a buffer brings, as far as it is beyond chance.
func gained(f risk.Buffer) string {
	if f.OnTime.Value > 2*f.OnTime.StandardError {
		return fmt.Sprintf("%.2f batches more in time on average", f.OnTime.Value)
	}
	return "less lateness, about as many batches in time"
}

// summary is one sentence for the manager.
func (o Outlook) summary() string {
	var due []BatchOutlook // least sure first
	late, unsure := 0, 0
	for _, b := range o.Batches {
		switch {
		case b.Due.IsZero():
			continue
		case b.PlannedEnd.After(b.Due):
			late++
			continue
		case b.OnTime < sureEnough:
			unsure++
		}
		due = append(due, b)
	}
	text := ""
	if late > 0 {
		text = fmt.Sprintf("%d of %d batches with a due time are planned late. ", late, late+len(due))
	}
	switch {
	case len(due) == 0 && late == 0:
		return "Nothing that is left has a due time."
	case len(due) == 0:
		return strings.TrimSpace(text)
	case due[0].OnTime > 0.99:
		return text + fmt.Sprintf("Each of %s is in time with more than 99 %%.", others(late, len(due)))
	}
	text += fmt.Sprintf("Least sure of %s is %s, in time with %s", others(late, len(due)), due[0].DisplayName, percent(due[0].OnTime))
	if len(due[0].Causes) > 0 {
		text += "; when late, " + due[0].Causes[0].Text
	}
	if unsure > 1 {
		text += fmt.Sprintf("; %d are below %.0f %%", unsure, 100*sureEnough)
	}
	if late == 0 {
		text += "; all of them with " + percent(o.AllOnTime)
	}
	return text + "."
}

// others says which batches are meant beside those that are planned late.
func others(late, n int) string {
	if late > 0 {
		return "the others"
	}
	if n == 1 {
		return "1 batch"
	}
	return fmt.Sprintf("%d batches", n)
}
