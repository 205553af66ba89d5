package scheduling

import (
	"context"
	"errors"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/verify"
)

// Publish asks to make a draft the schedule that people follow.
type Publish struct {
	Name         string
	Etag         string
	ValidateOnly bool
	Actor        string
}

// Tolerances of the check before publication: a kitchen does not stand still while somebody reads a draft. Both are
// chosen, no source.
const (
	// staleAfter is how long the start of a step may have passed without its having been started.
	staleAfter = time.Hour
	// forecastDrift is how far the forecast of a running step may have moved since the schedule was made.
	forecastDrift = 10 * time.Minute
)

// PublishSchedule checks a draft against the kitchen as it is now, by a checker that shares no code with the engine, and
// makes it the schedule that people follow: planned runs are created or moved, started ones kept, the rest taken back.
func (s *Service) PublishSchedule(ctx context.Context, c Publish) (Schedule, error) {
	return inTx(ctx, s, func(ctx context.Context) (Schedule, error) {
		out, err := s.Schedule(ctx, c.Name)
		if err != nil {
			return Schedule{}, err
		}
		if err := checkEtag(c.Etag, out.Version, c.Name); err != nil {
			return Schedule{}, err
		}
		if out.State != ScheduleDraft {
			return Schedule{}, apierr.FailedPrecondition(ScheduleNotDraft, "%s is %s already: compute a new schedule", c.Name, out.State).
				With("schedule", c.Name).With("state", string(out.State)).WithViolation(c.Name, "is %s", out.State)
		}
		if len(out.Assignments) == 0 {
			return Schedule{}, apierr.FailedPrecondition(ScheduleEmpty, "%s places nothing: %s", c.Name, out.Report.Summary).
				With("schedule", c.Name).WithViolation(c.Name, "%s", out.Report.Summary)
		}
		x, err := s.checkNow(ctx, out)
		if err != nil {
			return Schedule{}, err
		}
		if c.ValidateOnly {
			return out, nil
		}
		return s.publish(ctx, out, x, c.Actor)
	})
}

// checkNow rebuilds the problem with the kitchen as it is now and lets the independent checker judge the schedule.
func (s *Service) checkNow(ctx context.Context, draft Schedule) (*instance, error) {
	p, err := s.store.ScheduleProblem(ctx, draft.Name)
	if err != nil {
		return nil, err
	}
	if err := s.equipment(ctx, &p); err != nil {
		return nil, err
	}
	outdated := apierr.FailedPrecondition(ScheduleOutdated, "%s no longer fits what happened since it was made: compute a new schedule", draft.Name).
		With("schedule", draft.Name)
	p.Runs = nil
	for _, b := range p.Batches {
		local, err := s.store.GetBatch(ctx, b.Name)
		if err != nil && !errors.Is(err, ErrNotFound) {
			return nil, err
		}
		if err == nil && local.State == BatchCancelled {
			outdated.WithViolation(b.Name, "%s was cancelled", b.DisplayName)
		}
		runs, err := s.store.RunsOfBatch(ctx, b.Name)
		if err != nil {
			return nil, err
		}
		for _, r := range runs {
			if r.State == RunRunning || r.State == RunFinished {
				p.Runs = append(p.Runs, settle(r, draft))
			}
		}
	}
	x, err := build(&p)
	if err != nil {
		return nil, err
	}
	now := s.clock.Now()
	for _, a := range draft.Assignments {
		it := x.items[activityName(a.Batch, a.StepID)]
		switch {
		case it == nil: // finished since
		case a.Started && it.run == nil:
			outdated.WithViolation(a.Batch, "%s was given up since and has to be placed again", x.stepWords(activityName(a.Batch, a.StepID)))
		case it.run == nil && a.Start.Before(now.Add(-staleAfter)):
			outdated.WithViolation(a.Batch, "%s should have begun at %s and has not", x.stepWords(activityName(a.Batch, a.StepID)), x.when(a.Start))
		}
	}
	if len(outdated.Violations) > 0 {
		return nil, outdated
	}
	plan := x.plan(draft.Assignments)
	plan.Objective, _ = verify.Cost(x.Instance, plan)
	if broken := verify.Check(x.Instance, plan); len(broken) > 0 {
		return nil, x.broken(draft.Name, broken)
	}
	return x, nil
}

// settle takes for a running step the end that the draft counted on, as long as the forecast has not moved far.
func settle(r Run, draft Schedule) Run {
	if r.State != RunRunning {
		return r
	}
	a, found := draft.assignment(r.Batch, r.StepID)
	if !found || !a.Started {
		return r
	}
	if drift := r.expectedEnd(draft.Start).Sub(a.End); drift.Abs() <= forecastDrift {
		r.Forecast = &Forecast{Expected: a.End}
	}
	return r
}

func (s *Service) publish(ctx context.Context, out Schedule, x *instance, actor string) (Schedule, error) {
	superseded := ""
	previous, err := s.store.PublishedSchedule(ctx, siteOf(out.Name))
	switch {
	case err == nil:
		superseded = previous.Name
		previous.State, previous.Meta = ScheduleSuperseded, s.changed(previous.Meta)
		if err := s.store.UpdateSchedule(ctx, previous); err != nil {
			return Schedule{}, said(err, ScheduleMissing, ScheduleMissing, previous.Name)
		}
	case !errors.Is(err, ErrNotFound):
		return Schedule{}, err
	}
	if err := s.placeRuns(ctx, &out, x); err != nil {
		return Schedule{}, err
	}
	out.State, out.PublishTime, out.Publisher, out.Meta = SchedulePublished, s.clock.Now(), actor, s.changed(out.Meta)
	if err := s.store.UpdateSchedule(ctx, out); err != nil {
		if errors.Is(err, ErrAnotherPublished) {
			return Schedule{}, apierr.Aborted(ScheduleOutdated, "another schedule of %s was published at the same moment: look at it, then publish again if still wanted", siteOf(out.Name)).
				With("schedule", out.Name).Wrap(err)
		}
		return Schedule{}, said(err, ScheduleMissing, ScheduleMissing, out.Name)
	}
	return out, s.events.SchedulePublished(ctx, out, superseded)
}

// placeRuns creates, moves and takes back planned runs, so that they are those of the schedule.
func (s *Service) placeRuns(ctx context.Context, out *Schedule, x *instance) error {
	planned, err := s.store.RunsInState(ctx, siteOf(out.Name), RunPlanned)
	if err != nil {
		return err
	}
	waiting := map[string]Run{}
	for _, r := range planned {
		waiting[activityName(r.Batch, r.StepID)] = r
	}
	batches := map[string]Batch{}
	for _, b := range x.problem.Batches {
		batches[b.Name] = b
	}
	for i := range out.Assignments {
		a := &out.Assignments[i]
		key := activityName(a.Batch, a.StepID)
		if it := x.items[key]; it == nil || it.run != nil {
			if it != nil {
				a.Run, a.Started = it.run.Name, true
			}
			continue
		}
		b := batches[a.Batch]
		step, _ := b.step(a.StepID)
		r, exists := waiting[key]
		delete(waiting, key)
		if !exists {
			if r, err = s.newRun(ctx, b, step); err != nil {
				return err
			}
		}
		r.Vessel, r.Additional, r.Crew, r.Schedule = a.Vessel, a.Additional, a.Crew, out.Name
		r.PlannedStart, r.PlannedEnd, r.FillLiters, r.MassKg = a.Start, a.End, a.FillLiters, a.MassKg
		r.Basis, r.OutputItem, r.Step, r.Site = a.Basis, b.OutputItem, step, x.problem.Facts
		a.Run = r.Name
		if !exists {
			if err := s.store.InsertRun(ctx, r); err != nil {
				return said(err, RunMissing, RunMissing, r.Name)
			}
			continue
		}
		r.Meta = s.changed(r.Meta)
		if err := s.store.UpdateRun(ctx, r, nil); err != nil {
			return said(err, RunMissing, RunMissing, r.Name)
		}
	}
	for _, r := range planned {
		if _, left := waiting[activityName(r.Batch, r.StepID)]; !left {
			continue
		}
		if err := s.takeBack(ctx, r, "left out of "+out.Name); err != nil {
			return err
		}
	}
	return nil
}

// newRun names the next run of a step: the first has the step's id, a repetition a number.
func (s *Service) newRun(ctx context.Context, b Batch, step Step) (Run, error) {
	runs, err := s.store.RunsOfBatch(ctx, b.Name)
	if err != nil {
		return Run{}, err
	}
	taken := map[string]bool{}
	for _, r := range runs {
		taken[r.Name] = true
	}
	n := 1
	for taken[runName(b.Name, step.ID, n)] {
		n++
	}
	return Run{Name: runName(b.Name, step.ID, n), Meta: s.created(), Batch: b.Name, StepID: step.ID, State: RunPlanned}, nil
}

// takeBack cancels a run that was not started.
func (s *Service) takeBack(ctx context.Context, r Run, why string) error {
	r.State, r.AbortReason, r.Meta = RunCancelled, why, s.changed(r.Meta)
	return said(s.store.UpdateRun(ctx, r, nil), RunMissing, RunMissing, r.Name)
}

// selfCheck lets the independent checker judge a plan of the engine before it is stored.
func (x *instance) selfCheck(plan sched.Plan) []verify.Violation {
	return verify.Check(x.Instance, plan)
}
