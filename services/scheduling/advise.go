package scheduling

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rondeau.internal/pkg/sched"
)

// advice is what the engine found out about a problem without a schedule, or about its worst late batch.
type advice struct {
	late   string // activity of the late batch; empty when there is no schedule
	said   sched.Explanation
	offers map[string]smaller
}

// smaller is an offer to make a batch smaller.
type smaller struct {
	batch *Batch
	share float64
}

// advise explains why there is no schedule, or what would bring the worst late batch in time. It never takes long: the
// schedule waits for it.
func (x *instance) advise(plan sched.Plan, r sched.Report, stopped func() bool) *advice {
	limit := time.Now().Add(noPlanAdvice)
	out := &advice{}
	options := sched.ExplainOptions{
		Seed: x.problem.Seed, Grain: seconds(remedyGrain), Most: mostRemedies, Prices: sched.DefaultPrices(3600),
		Earliest: max(x.at(x.problem.Start), 0), Shifts: map[string]sched.Shift{}, Keep: map[string]bool{},
		Stop: func() bool { return stopped() || time.Now().After(limit) },
	}
	x.changeable(&options)
	var err error
	switch {
	case len(plan.Assignments) == 0:
		y := x.withLaterShifts()
		in := y.Instance
		options.Offers, out.offers = y.smallerBatches()
		if len(options.Offers) > 0 {
			in = y.withOffers(options.Offers)
		}
		out.said, err = sched.Explain(in, options)
	case x.worst(r.Late) != "":
		limit = time.Now().Add(lateAdvice)
		out.late = x.worst(r.Late)
		options.Solves, options.Tests, options.Iterations, options.Measure = 80, 80, 10, 20
		out.said, err = sched.ExplainLate(x.Instance, plan, out.late, options)
	default:
		return nil
	}
	if err != nil {
		return nil // what cannot be explained stays without advice
	}
	return out
}

// worst is the last step of the latest batch that can still be helped: one that has not begun.
func (x *instance) worst(late []sched.Late) string {
	for _, l := range late {
		if x.items[l.Activity].run == nil {
			return l.Activity
		}
	}
	return ""
}

// laterShifts is how far beyond the end of a schedule the shifts are known to those who ask for a later end.
const laterShifts = 7 * 24 * time.Hour

// withLaterShifts is the instance with the shifts after its end, which count when it may end later.
func (x *instance) withLaterShifts() *instance {
	p := *x.problem
	p.End = p.End.Add(laterShifts)
	y, err := build(&p)
	if err != nil || y.epoch != x.epoch {
		return x
	}
	y.Horizon = x.Horizon
	return y
}

// changeable says what goes with longer shifts, and what nobody can change from one day to the next: the power of the
// house, the load of a shared vessel, and where unattended work is safe.
func (x *instance) changeable(o *sched.ExplainOptions) {
	o.Keep[staffedCalendar], o.Keep[electricResource], o.Keep[steamResource] = true, true, true
	for i := range x.problem.Vessels {
		if v := &x.problem.Vessels[i]; v.Shared() {
			o.Keep[v.Name] = true
		}
	}
	if c := x.problem.Limits.UnattendedCalendar; c != "" {
		o.Keep[c] = true
	}
	for i := range x.problem.Crews {
		c := &x.problem.Crews[i]
		if !c.Active {
			continue
		}
		delete(o.Keep, c.Calendar)
		s := o.Shifts[c.Calendar]
		if len(s.Calendars) == 0 {
			s.Calendars = []string{staffedCalendar}
		}
		if x.onShift[c.Name] {
			o.Keep[shiftResource(c)] = true
			s.Resources = append(s.Resources, sched.Need{Resource: shiftResource(c), Amount: int64(c.Headcount)})
		}
		o.Shifts[c.Calendar] = s
	}
}

// smallerBatches offers to make a batch that fits no vessel as large as fits.
func (x *instance) smallerBatches() ([]sched.Offer, map[string]smaller) {
	var out []sched.Offer
	known := map[string]smaller{}
	for i := range x.problem.Batches {
		b := &x.problem.Batches[i]
		share := 1.0
		hopeless := false
		var steps []*item
		for k := range x.Activities {
			it := x.items[x.Activities[k].Name]
			if it.batch != b || it.run != nil {
				continue
			}
			steps = append(steps, it)
			if len(x.Activities[k].Modes) == 0 {
				most := x.largestShare(it.step)
				hopeless = hopeless || most <= 0
				share = min(share, most)
			}
		}
		if share >= 1 || hopeless || len(steps) == 0 {
			continue
		}
		offer := sched.Offer{
			Name: fmt.Sprintf("make %s with %.0f %% of its size and the rest in a second batch", b.DisplayName, 100*share), Cost: int64(3600 * (4 + 12*(1-share))),
		}
		for _, it := range steps {
			step := *it.step
			step.FillLiters, step.LoadKg, step.OutputKg = step.FillLiters*share, step.LoadKg*share, step.OutputKg*share
			a := sched.Activity{Name: activityName(b.Name, step.ID)}
			x.addModes(&a, &item{batch: b, step: &step, modes: map[string]choice{}})
			a.Modes = slices.DeleteFunc(a.Modes, x.needsUnknown)
			offer.Activities = append(offer.Activities, sched.OfferModes{Activity: a.Name, Modes: a.Modes, Instead: true})
			hopeless = hopeless || len(a.Modes) == 0
		}
		if !hopeless {
			out = append(out, offer)
			known[offer.Name] = smaller{b, share}
		}
	}
	return out, known
}

// needsUnknown says whether a mode needs a resource or a calendar that the problem has not.
func (x *instance) needsUnknown(m sched.Mode) bool {
	for _, n := range m.Needs {
		if !slices.ContainsFunc(x.Resources, func(r sched.Resource) bool { return r.Name == n.Resource }) {
			return true
		}
	}
	for _, name := range []string{m.AttendedCalendar, m.UnattendedCalendar} {
		if name != "" && !slices.ContainsFunc(x.Calendars, func(c sched.Calendar) bool { return c.Name == name }) {
			return true
		}
	}
	return false
}

// largestShare is how much of a step fits into the largest vessel that it can be done in, rounded down to a hundredth.
func (x *instance) largestShare(s *Step) float64 {
	share := func(classes ...string) float64 {
		best := 0.0
		for i := range x.problem.Vessels {
			v := &x.problem.Vessels[i]
			if !v.Active || !slices.Contains(classes, v.Class) {
				continue
			}
			most := 1.0
			if v.MaxFillLiters > 0 && s.FillLiters > 0 {
				most = min(most, v.MaxFillLiters/s.FillLiters)
			}
			if v.Shared() && s.mass() > 0 {
				most = min(most, v.LoadCapacityKg/s.mass())
			}
			best = max(best, most)
		}
		return best
	}
	out := share(s.VesselClasses...)
	if s.SecondVesselClass != "" {
		out = min(out, share(s.SecondVesselClass))
	}
	return float64(int(out*100)) / 100
}

// withOffers is the instance with the vessels and cleaning that offered modes need.
func (x *instance) withOffers(offers []sched.Offer) sched.Instance {
	y := *x
	y.Activities = slices.Clone(x.Activities)
	for _, o := range offers {
		for _, m := range o.Activities {
			for i := range y.Activities {
				if a := &y.Activities[i]; a.Name == m.Activity {
					a.Modes = append(slices.Clip(a.Modes), m.Modes...)
				}
			}
		}
	}
	y.Vessels, y.Setups = nil, nil
	y.addVessels()
	y.Activities = x.Activities
	return y.Instance
}

// advised writes advice into a report.
func (x *instance) advised(r *Report, a *advice, scheduled bool) {
	if a == nil || scheduled == (a.late == "") {
		return
	}
	var remedies []Remedy
	for i := range a.said.Remedies {
		remedies = append(remedies, x.remedy(a, &a.said.Remedies[i]))
	}
	if a.late != "" {
		for i := range r.Late {
			if r.Late[i].Batch == x.items[a.late].batch.Name {
				r.Late[i].Remedies = remedies
				if a.said.Core.Proved && !a.said.Possible {
					r.Late[i].Reasons = append(r.Late[i].Reasons, x.coreWords(&a.said.Core))
				}
			}
		}
		return
	}
	if a.said.Possible {
		return
	}
	x.together(r, &a.said.Core)
	if len(r.Conflicts) == 0 {
		return
	}
	c := &r.Conflicts[0]
	c.Minimal = a.said.Core.Minimal
	c.Remedies = remedies
	for _, further := range a.said.Further {
		r.Conflicts = append(r.Conflicts, Conflict{Kind: togetherKind, Proved: further.Proved, Minimal: further.Minimal, Text: "Then also: " + x.coreWords(&further)})
	}
	r.Summary = "There is no schedule that respects everything: " + c.Text
	if r.Status != StatusInfeasible {
		r.Summary = "No schedule was found in the time given, and none was proved impossible. What stood in the way most often: " + c.Text
	}
	var words []string
	for _, m := range remedies {
		if m.Verified && len(words) < 3 {
			words = append(words, m.Text)
		}
	}
	if len(words) > 0 {
		r.Summary += " Smallest changes that make it possible: " + strings.Join(words, "; or ") + "."
	}
}

// togetherKind is the kind of a conflict of several things that are impossible together only.
const togetherKind = "together"

// together puts the proved conflict first. Where the engine's own report names a single thing that is enough, its words
// stay; they say more.
func (x *instance) together(r *Report, c *sched.Core) {
	if !c.Proved {
		return
	}
	r.Status = StatusInfeasible
	if len(r.Conflicts) > 0 && r.Conflicts[0].Proved {
		switch sched.ConflictKind(r.Conflicts[0].Kind) {
		case sched.ConflictNoMode, sched.ConflictCalendar, sched.ConflictLags, sched.ConflictWindow:
			return
		}
		r.Conflicts = r.Conflicts[1:]
	} else {
		r.Conflicts = nil // what only stood in the way often is not needed any more
	}
	out := Conflict{Kind: togetherKind, Proved: true, Text: x.coreWords(c)}
	for _, reason := range c.Reasons {
		if it := x.items[reason.Subject]; it != nil && !slices.Contains(out.Batches, it.batch.Name) {
			out.Batches = append(out.Batches, it.batch.Name)
		}
		if x.vessels[reason.Subject] != nil && !slices.Contains(out.Vessels, reason.Subject) {
			out.Vessels = append(out.Vessels, reason.Subject)
		}
	}
	r.Conflicts = append([]Conflict{out}, r.Conflicts...)
}

// remedy turns a remedy of the engine into the words of the kitchen.
func (x *instance) remedy(a *advice, r *sched.Remedy) Remedy {
	out := Remedy{Verified: r.Verified, Least: r.Least}
	var words []string
	for i := range r.Edits {
		change, text := x.edit(a, &r.Edits[i])
		out.Changes = append(out.Changes, change)
		words = append(words, text)
	}
	out.Text = strings.Join(words, ", and ")
	if r.Verified {
		out.LateBatches, out.Lateness = x.lateness(r.Plan)
		out.Overtime = time.Duration(r.Objective.Overtime) * time.Second
		switch {
		case a.late != "" && out.LateBatches == 0:
			out.Text += " (then every batch is in time)"
		case a.late != "" || out.LateBatches > 0:
			out.Text += " (then " + lateWords(out.LateBatches, out.Lateness) + ")"
		}
	} else {
		out.Text += " (counted, not tried)"
	}
	return out
}

func lateWords(batches int, by time.Duration) string {
	if batches == 1 {
		return "one batch is late, by " + span(by)
	}
	return fmt.Sprintf("%d batches are late, by %s in all", batches, span(by))
}
