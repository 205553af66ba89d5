package scheduling

import (
	"fmt"
	"sort"
	"time"

	"rondeau.internal/pkg/sched"
)

// assignments turns the engine's plan into the places of steps, by start time.
func (x *instance) assignments(plan sched.Plan) []Assignment {
	out := make([]Assignment, 0, len(plan.Assignments))
	for _, p := range plan.Assignments {
		it := x.items[p.Activity]
		c := it.modes[p.Mode]
		a := Assignment{
			Batch: it.batch.Name, StepID: it.step.ID, DisplayName: it.step.DisplayName, Kind: it.step.Kind, Mode: p.Mode,
			CrewCount: it.step.CrewCount, Start: x.from(p.Start), End: x.from(p.End), HeldUntil: x.from(p.HeldUntil),
			FillLiters: it.step.FillLiters, MassKg: it.step.mass(), Basis: c.estimate.Basis,
		}
		if c.vessel != nil {
			a.Vessel = c.vessel.Name
		}
		if c.second != nil {
			a.Additional = []string{c.second.Name}
		}
		if c.crew != nil {
			a.Crew = c.crew.Name
		}
		if c.finisher != nil {
			a.FinishCrew = c.finisher.Name
		}
		if it.run != nil {
			a.Started, a.Run = true, it.run.Name
			a.Vessel, a.Additional, a.Start = it.run.Vessel, it.run.Additional, it.run.Start
		} else {
			a.Attended = attendedWindows(a, c)
		}
		for _, change := range p.Changes {
			a.Cleanings = append(a.Cleanings, CleaningRun{
				Vessel: change.Vessel, From: change.From, To: change.To, Start: x.from(change.Start), End: x.from(change.End), Attended: change.Attended,
			})
		}
		for _, r := range x.problem.Reference {
			if r.Batch == a.Batch && r.StepID == a.StepID {
				a.PreviousStart, a.PreviousVessel = r.Start, r.Vessel
			}
		}
		out = append(out, a)
	}
	sort.SliceStable(out, func(i, j int) bool {
		if !out[i].Start.Equal(out[j].Start) {
			return out[i].Start.Before(out[j].Start)
		}
		return out[i].Batch < out[j].Batch
	})
	return out
}

// attendedWindows says when the crew is at a step: at its start and at its end. A step that pauses between shifts shows
// its whole length.
func attendedWindows(a Assignment, c choice) []Window {
	e := c.estimate
	if c.crew == nil || e.Start+e.End == 0 {
		return nil
	}
	if e.Middle == 0 || a.End.Sub(a.Start) != e.Total() {
		return []Window{{a.Start, a.End}}
	}
	var out []Window
	if e.Start > 0 {
		out = append(out, Window{a.Start, a.Start.Add(e.Start)})
	}
	if e.End > 0 {
		out = append(out, Window{a.End.Add(-e.End), a.End})
	}
	return out
}

// plan turns places back into the engine's plan, with what has begun as it is now.
func (x *instance) plan(assignments []Assignment) sched.Plan {
	placed := map[string]Assignment{}
	for _, a := range assignments {
		placed[activityName(a.Batch, a.StepID)] = a
	}
	var out sched.Plan
	starts := map[string]int64{}
	for i := range x.Activities {
		activity := &x.Activities[i]
		a, found := placed[activity.Name]
		p := sched.Assignment{Activity: activity.Name, Order: activity.Order}
		switch {
		case activity.Fixed != nil:
			p.Mode, p.Start, p.End = activity.Fixed.Mode, activity.Fixed.Start, activity.Fixed.End
		case found:
			p.Mode, p.Start, p.End = a.Mode, x.at(a.Start), x.at(a.End)
			for _, c := range a.Cleanings {
				p.Changes = append(p.Changes, sched.ChangeRun{Vessel: c.Vessel, From: c.From, To: c.To, Start: x.at(c.Start), End: x.at(c.End), Attended: c.Attended})
			}
		default:
			continue
		}
		starts[p.Activity] = p.Start
		p.HeldUntil = p.End
		for _, m := range activity.Modes {
			if m.Name == p.Mode {
				for _, u := range m.Uses {
					p.Vessels = append(p.Vessels, u.Vessel)
				}
			}
		}
		out.Assignments = append(out.Assignments, p)
	}
	until := map[string]string{}
	for _, h := range x.Holds {
		until[h.Activity] = h.Until
	}
	for i := range out.Assignments {
		p := &out.Assignments[i]
		if start, held := starts[until[p.Activity]]; held {
			p.HeldUntil = max(p.End, start)
		}
	}
	return out
}

func (x *instance) cost(o sched.Objective) Cost {
	return Cost{
		Tardiness: o.Tardiness, Overtime: time.Duration(o.Overtime) * time.Second, EnergyWh: o.Energy, Freshness: o.Freshness,
		Change: o.Change, Makespan: time.Duration(o.Makespan) * time.Second, Rest: o.Rest,
	}
}

// objective is the way back from cost.
func (x *instance) objective(c Cost) sched.Objective {
	return x.Weights.Weigh(sched.Objective{
		Tardiness: c.Tardiness, Overtime: seconds(c.Overtime), Energy: c.EnergyWh, Freshness: c.Freshness, Change: c.Change, Makespan: seconds(c.Makespan),
	})
}

// report turns the engine's report into words of the kitchen.
func (x *instance) report(r sched.Report, found bool) Report {
	out := Report{Bound: x.cost(r.Bound), Gap: r.Gap, Iterations: r.Iterations, Stopped: r.Stopped}
	switch r.Status {
	case sched.StatusOptimal:
		out.Status = StatusOptimal
	case sched.StatusFeasible:
		out.Status = StatusFeasible
	case sched.StatusInfeasible:
		out.Status = StatusInfeasible
	default:
		out.Status = StatusNotFound
	}
	if found {
		out.Cost = x.cost(r.Objective)
		for _, l := range r.Late {
			out.Late = append(out.Late, x.late(l))
		}
		out.BoundReasons = x.boundReasons(r.BoundBy)
	}
	out.Conflicts = x.conflicts(r.Conflicts)
	out.Summary = out.summary(len(x.Activities))
	return out
}

func (r Report) summary(steps int) string {
	switch r.Status {
	case StatusInfeasible:
		return "There is no schedule that respects everything: " + firstConflict(r)
	case StatusNotFound:
		return "No schedule was found in the time given, and none was proved impossible. What stood in the way most often: " + firstConflict(r)
	}
	quality := "no better one exists"
	if r.Status == StatusFeasible {
		quality = fmt.Sprintf("not proved to be the best, at most %.0f %% of its cost could be saved", r.Gap*100)
		if r.Gap > 0.5 {
			quality = "not proved to be the best; a longer computation may find a better one"
		}
	}
	switch len(r.Late) {
	case 0:
		return fmt.Sprintf("All %d steps are placed and every batch is done in time; %s.", steps, quality)
	case 1:
		return fmt.Sprintf("All %d steps are placed; %s will be %s late; %s.", steps, r.Late[0].DisplayName, span(r.Late[0].End.Sub(r.Late[0].Due)), quality)
	}
	return fmt.Sprintf("All %d steps are placed; %d batches will be late, the worst of them %s by %s; %s.",
		steps, len(r.Late), r.Late[0].DisplayName, span(r.Late[0].End.Sub(r.Late[0].Due)), quality)
}

func firstConflict(r Report) string {
	if len(r.Conflicts) == 0 {
		return "the reason is not known; give it more time or more vessels."
	}
	return r.Conflicts[0].Text
}
