package scheduling

import (
	"context"
	"errors"
	"sort"
	"time"

	"rondeau.internal/pkg/apierr"
)

// Solve asks for a schedule.
type Solve struct {
	Site string
	// Plan or Batches select what is scheduled; with neither, all released and started batches are.
	Plan    string
	Batches []string
	// Start defaults to now, End to long enough for everything.
	Start, End time.Time
	// Budget is the number of plans to try; with 0 the time bounds the search, which also ends when it has settled.
	Budget int
	// MaxDuration defaults to DefaultMaxDuration, with a Budget to LongestDuration.
	MaxDuration time.Duration
	Seed        int64
	// Reference defaults to the published schedule.
	Reference string
}

// SolveSchedule stores a computation for a Worker. Everything that can be wrong with the request is said at once.
func (s *Service) SolveSchedule(ctx context.Context, c Solve) (Operation, error) {
	now := s.clock.Now()
	p := Problem{Site: c.Site, Plan: c.Plan, Start: c.Start, End: c.End, Seed: uint64(c.Seed), Budget: c.Budget, MaxDuration: c.MaxDuration}
	if p.Start.IsZero() {
		p.Start = now
	}
	p.Start = p.Start.Truncate(time.Second)
	if p.Start.Before(now.Add(-clockTolerance)) {
		return Operation{}, apierr.InvalidArgument(WindowInvalid, "the schedule would begin at %s, which is over: leave start_time out to begin now",
			p.Start.Format(time.RFC3339)).With("field", "start_time").WithViolation("start_time", "must not lie in the past")
	}
	switch {
	case p.MaxDuration > 0:
		p.MaxDuration = min(p.MaxDuration, LongestDuration)
	case p.Budget > 0:
		p.MaxDuration = LongestDuration // the clock must not decide what comes out
	default:
		p.MaxDuration = DefaultMaxDuration
	}
	facts, err := s.planning.Site(ctx, c.Site)
	if err != nil {
		return Operation{}, err
	}
	p.Facts = facts
	batches, err := s.askedBatches(ctx, c)
	if err != nil {
		return Operation{}, err
	}
	var op Operation
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		var err error
		op, err = s.storeSolve(ctx, p, c, batches)
		return err
	})
	if err != nil {
		return Operation{}, err
	}
	select {
	case s.nudge <- struct{}{}:
	default:
	}
	return op, nil
}

// askedBatches reads from planning what is to be scheduled.
func (s *Service) askedBatches(ctx context.Context, c Solve) ([]Batch, error) {
	if len(c.Batches) == 0 {
		return s.planning.OpenBatches(ctx, c.Site, c.Plan)
	}
	var out []Batch
	for _, name := range c.Batches {
		if err := sameSite(c.Site, "batches", name); err != nil {
			return nil, err
		}
		b, err := s.planning.Batch(ctx, name)
		if err != nil {
			return nil, err
		}
		if b.State != BatchReleased && b.State != BatchInProgress {
			return nil, apierr.FailedPrecondition(BatchNotReleased, "batch %s is %s: release its plan first, or leave it out", name, b.State).
				With("batch", name).With("state", string(b.State)).WithViolation(name, "is %s", b.State)
		}
		out = append(out, b)
	}
	return out, nil
}

func (s *Service) storeSolve(ctx context.Context, p Problem, c Solve, batches []Batch) (Operation, error) {
	if err := s.gather(ctx, &p, batches); err != nil {
		return Operation{}, err
	}
	if len(p.Batches) == 0 {
		what := c.Site
		if c.Plan != "" {
			what = c.Plan
		}
		return Operation{}, apierr.FailedPrecondition(NoBatches, "there is nothing to schedule for %s: release a plan that has open batches first", what).
			With("parent", what).WithViolation(what, "has no released or started batches")
	}
	if err := s.refer(ctx, &p, c.Reference); err != nil {
		return Operation{}, err
	}
	if p.End.IsZero() {
		p.End = horizonEnd(p.Start, p.Batches)
	}
	if !p.End.After(p.Start) {
		return Operation{}, apierr.InvalidArgument(WindowInvalid, "the schedule would end before it begins: give a later end_time or none").
			With("field", "end_time").WithViolation("end_time", "must lie after start_time")
	}
	x, err := build(&p)
	if err != nil {
		return Operation{}, err
	}
	op := Operation{
		Name: p.Site + "/operations/" + s.ids.NewID("solve"), Meta: s.created(), Stage: StageWaiting, Plan: p.Plan,
		Budget: p.Budget, MaxDuration: p.MaxDuration, Steps: len(x.Activities),
	}
	return op, s.store.InsertOperation(ctx, op, p)
}

// gather fills a problem with the state of the kitchen, and keeps copies of the batches.
func (s *Service) gather(ctx context.Context, p *Problem, batches []Batch) error {
	started, err := s.store.OpenBatches(ctx, p.Site)
	if err != nil {
		return err
	}
	known := map[string]bool{}
	for _, b := range batches {
		known[b.Name] = true
	}
	for _, b := range started {
		if !known[b.Name] {
			batches = append(batches, b)
		}
	}
	sort.Slice(batches, func(i, j int) bool { return batches[i].Name < batches[j].Name })
	for _, b := range batches {
		local, err := s.store.GetBatch(ctx, b.Name)
		if err != nil && !errors.Is(err, ErrNotFound) {
			return err
		}
		if err == nil && local.State == BatchCancelled {
			continue // planning's answer was older than the news
		}
		if err := b.Check(); err != nil {
			return err
		}
		runs, err := s.store.RunsOfBatch(ctx, b.Name)
		if err != nil {
			return err
		}
		if progressOf(b, runs).done(b) {
			continue
		}
		if err := s.store.PutBatch(ctx, b); err != nil {
			return err
		}
		p.Batches = append(p.Batches, b)
		for _, r := range runs {
			if r.State == RunRunning || r.State == RunFinished {
				p.Runs = append(p.Runs, r)
			}
		}
	}
	return s.equipment(ctx, p)
}

// everything is more than a kitchen has of anything.
const everything = 100000

// equipment fills a problem with vessels, crews, calendars and limits as they are.
func (s *Service) equipment(ctx context.Context, p *Problem) error {
	all := ListQuery{Parent: p.Site, Limit: everything}
	var err error
	if p.Vessels, err = s.store.ListVessels(ctx, all); err != nil {
		return err
	}
	if p.Crews, err = s.store.ListCrews(ctx, all); err != nil {
		return err
	}
	if p.Calendars, err = s.store.ListCalendars(ctx, all); err != nil {
		return err
	}
	if p.Limits, err = s.Limits(ctx, p.Site+"/kitchenLimits"); err != nil {
		return err
	}
	return s.blockStrangers(ctx, p)
}

// blockStrangers keeps vessels free of plans while a run is in them that belongs to none of the problem's batches: one
// whose batch was cancelled goes on until somebody ends it.
func (s *Service) blockStrangers(ctx context.Context, p *Problem) error {
	running, err := s.store.RunsInState(ctx, p.Site, RunRunning)
	if err != nil {
		return err
	}
	ours := map[string]bool{}
	for _, b := range p.Batches {
		ours[b.Name] = true
	}
	for _, r := range running {
		if ours[r.Batch] {
			continue
		}
		for i := range p.Vessels {
			if v := &p.Vessels[i]; !v.Shared() && contains(r.vessels(), v.Name) {
				v.Down = append(v.Down, DownWindow{Start: r.Start, End: r.expectedEnd(p.Start), Reason: r.Step.DisplayName + " of a cancelled batch is still in it"})
			}
		}
	}
	return nil
}

// refer takes the schedule against which changes cost.
func (s *Service) refer(ctx context.Context, p *Problem, name string) error {
	if name == "" {
		published, err := s.store.PublishedSchedule(ctx, p.Site)
		if errors.Is(err, ErrNotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		p.Reference, p.ReferenceName = published.Assignments, published.Name
		return nil
	}
	if err := sameSite(p.Site, "reference_schedule", name); err != nil {
		return err
	}
	reference, err := s.Schedule(ctx, name)
	if err != nil {
		return err
	}
	p.Reference, p.ReferenceName = reference.Assignments, reference.Name
	return nil
}

// Schedule answers a schedule.
func (s *Service) Schedule(ctx context.Context, name string) (Schedule, error) {
	out, err := s.store.GetSchedule(ctx, name)
	return out, said(err, ScheduleMissing, ScheduleMissing, name)
}

// Schedules lists schedules, newest first.
func (s *Service) Schedules(ctx context.Context, q ListQuery, full bool) ([]Schedule, error) {
	return s.store.ListSchedules(ctx, q, full)
}

// EstimateDurations says how long each step of a batch takes in each vessel of the classes that it asks for.
func (s *Service) EstimateDurations(ctx context.Context, batch string) ([]Estimate, error) {
	b, err := s.planning.Batch(ctx, batch)
	if err != nil {
		return nil, err
	}
	facts, err := s.planning.Site(ctx, siteOf(batch))
	if err != nil {
		return nil, err
	}
	p := Problem{Site: siteOf(batch), Facts: facts}
	if err := s.store.InReadTx(ctx, func(ctx context.Context) error { return s.equipment(ctx, &p) }); err != nil {
		return nil, err
	}
	e := newEstimator(p.Facts, p.Limits)
	var out []Estimate
	for _, step := range b.Steps {
		if len(step.VesselClasses) == 0 {
			out = append(out, e.estimate(step, nil))
			continue
		}
		for i := range p.Vessels {
			for _, class := range step.VesselClasses {
				if p.Vessels[i].Class == class {
					out = append(out, e.estimate(step, &p.Vessels[i]))
					break
				}
			}
		}
	}
	return out, nil
}
