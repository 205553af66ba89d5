package scheduling

import (
	"context"
	"errors"
	"fmt"
	"time"

	"rondeau.internal/pkg/apierr"
)

// StartRun asks to record that a step was started.
type StartRun struct {
	Name string
	// Vessel and Additional default to the planned ones.
	Vessel     string
	Additional []string
	// Operator defaults to Actor, Start to now, FillLiters to the planned filling.
	Operator   string
	Start      time.Time
	FillLiters float64
	Etag       string
	Actor      string
}

// Run answers a run with those that come after it.
func (s *Service) Run(ctx context.Context, name string) (Run, error) {
	r, err := s.store.GetRun(ctx, name)
	if err != nil {
		return Run{}, said(err, RunMissing, RunMissing, name)
	}
	return s.withNext(ctx, r)
}

// Runs lists runs by planned start.
func (s *Service) Runs(ctx context.Context, q ListQuery) ([]Run, error) {
	return s.store.ListRuns(ctx, q)
}

// withNext names the planned runs of the batch's later steps, in order.
func (s *Service) withNext(ctx context.Context, r Run) (Run, error) {
	b, err := s.store.GetBatch(ctx, r.Batch)
	if errors.Is(err, ErrNotFound) {
		return r, nil
	}
	if err != nil {
		return Run{}, err
	}
	runs, err := s.store.RunsOfBatch(ctx, r.Batch)
	if err != nil {
		return Run{}, err
	}
	past := false
	for _, step := range b.Steps {
		if past {
			if next, found := current(runs, step.ID); found && next.State == RunPlanned {
				r.Next = append(r.Next, next.Name)
			}
		}
		past = past || step.ID == r.StepID
	}
	return r, nil
}

// current is the newest run of a step that was not taken back.
func current(runs []Run, step string) (Run, bool) {
	var out Run
	found := false
	for _, r := range runs {
		if r.StepID == step && r.State != RunCancelled {
			out, found = r, true
		}
	}
	return out, found
}

// StartRun records that a planned run was started in its vessel.
func (s *Service) StartRun(ctx context.Context, c StartRun) (Run, error) {
	return inTx(ctx, s, func(ctx context.Context) (Run, error) {
		r, err := s.store.GetRun(ctx, c.Name)
		if err != nil {
			return Run{}, said(err, RunMissing, RunMissing, c.Name)
		}
		if err := checkEtag(c.Etag, r.Version, c.Name); err != nil {
			return Run{}, err
		}
		if r.State != RunPlanned {
			return Run{}, notPlanned(r)
		}
		now := s.clock.Now()
		r.Start, r.StartRecord, r.StartRecorder, r.Operator = c.Start, now, c.Actor, c.Operator
		if r.Start.IsZero() {
			r.Start = now
		}
		if r.Operator == "" {
			r.Operator = c.Actor
		}
		if err := plausible("start_time", r.Start, now); err != nil {
			return Run{}, err
		}
		if now.Sub(r.Start) > clockTolerance {
			r.Notices = append(r.Notices, fmt.Sprintf("late entry: the start was recorded %s after it happened", span(now.Sub(r.Start))))
		}
		if err := s.afterPrevious(ctx, &r); err != nil {
			return Run{}, err
		}
		if err := s.intoVessels(ctx, &r, c); err != nil {
			return Run{}, err
		}
		r.State = RunRunning
		forecast := s.forecastOf(ctx, r, nil)
		r.Forecast, r.Announced = &forecast, forecast.Expected
		r.Meta = s.changed(r.Meta)
		if err := s.occupy(ctx, r); err != nil {
			return Run{}, err
		}
		if err := s.batchBegan(ctx, r); err != nil {
			return Run{}, err
		}
		if err := s.events.RunStarted(ctx, r); err != nil {
			return Run{}, err
		}
		return s.withNext(ctx, r)
	})
}

func notPlanned(r Run) error {
	text := fmt.Sprintf("%s is %s, so it cannot be started", r.Name, r.State)
	switch r.State {
	case RunRunning:
		text = fmt.Sprintf("%s is running already since %s, started by %s", r.Name, r.Start.UTC().Format(time.RFC3339), r.Operator)
	case RunFinished:
		text = fmt.Sprintf("%s is finished already since %s", r.Name, r.Finish.UTC().Format(time.RFC3339))
	case RunAborted:
		text = fmt.Sprintf("%s was given up: compute and publish a new schedule, which plans the step again", r.Name)
	case RunCancelled:
		text = fmt.Sprintf("%s was taken back (%s): look at the published schedule for the run to start", r.Name, r.AbortReason)
	}
	return apierr.FailedPrecondition(RunNotPlanned, "%s", text).With("run", r.Name).With("state", string(r.State)).WithViolation(r.Name, "is %s", r.State)
}

// afterPrevious refuses a start before the steps before are finished, and notes waits that the formula does not allow.
func (s *Service) afterPrevious(ctx context.Context, r *Run) error {
	b, err := s.store.GetBatch(ctx, r.Batch)
	if err != nil {
		return said(err, BatchNotReleased, BatchNotReleased, r.Batch)
	}
	runs, err := s.store.RunsOfBatch(ctx, r.Batch)
	if err != nil {
		return err
	}
	var before *Run
	for _, step := range b.Steps {
		if step.ID == r.StepID {
			break
		}
		previous, found := current(runs, step.ID)
		if !found {
			continue // done before this service knew the batch, or skipped by a later run
		}
		if previous.State != RunFinished {
			return apierr.FailedPrecondition(PreviousStepNotFinished,
				"%s cannot start: %s (%s) is %s. Record its start and finish first; late entries are welcome", r.Name, previous.Step.DisplayName, previous.Name, previous.State).
				With("run", r.Name).With("previous", previous.Name).With("state", string(previous.State)).WithViolation(previous.Name, "is %s", previous.State)
		}
		before = &previous
	}
	if before == nil {
		return nil
	}
	wait := r.Start.Sub(before.Finish)
	if wait < -clockTolerance {
		return apierr.InvalidArgument(TimeImplausible, "%s would have started at %s, before %s was finished at %s: correct the time",
			r.Name, r.Start.UTC().Format(time.RFC3339), before.Name, before.Finish.UTC().Format(time.RFC3339)).
			With("time", r.Start.UTC().Format(time.RFC3339)).With("previous", before.Name).WithViolation("start_time", "lies before the finish of %s", before.Name)
	}
	if longest := before.Step.MaxWait; longest != nil && wait > *longest {
		r.Notices = append(r.Notices, fmt.Sprintf("waited %s after %s; the formula allows %s: tell the safety lead", span(wait), before.Step.DisplayName, span(*longest)))
	}
	if wait < before.Step.MinWait-clockTolerance {
		r.Notices = append(r.Notices, fmt.Sprintf("waited %s after %s; the formula asks for %s", span(max(wait, 0)), before.Step.DisplayName, span(before.Step.MinWait)))
	}
	return nil
}

// intoVessels checks the vessels that are really used.
func (s *Service) intoVessels(ctx context.Context, r *Run, c StartRun) error {
	if c.Vessel != "" && c.Vessel != r.Vessel {
		if r.Vessel != "" {
			r.Notices = append(r.Notices, fmt.Sprintf("done in %s instead of %s", idOf(c.Vessel), idOf(r.Vessel)))
		}
		r.Vessel = c.Vessel
	}
	if len(c.Additional) > 0 {
		r.Additional = c.Additional
	}
	if c.FillLiters > 0 {
		r.FillLiters = c.FillLiters
		r.Step.FillLiters = c.FillLiters
	}
	if r.Vessel == "" && len(r.Step.VesselClasses) > 0 {
		return apierr.InvalidArgument(VesselUnsuitable, "%s needs a vessel: name it", r.Name).With("run", r.Name).WithViolation("vessel", "is needed")
	}
	for i, name := range r.vessels() {
		if err := sameSite(r.Name, "vessel", name); err != nil {
			return err
		}
		v, err := s.Vessel(ctx, name)
		if err != nil {
			return err
		}
		if down, is := v.DownAt(r.Start); is {
			return apierr.FailedPrecondition(VesselDown, "%s is out of service since %s (%s): use another vessel, or bring it up first", name, down.Start.UTC().Format(time.RFC3339), down.Reason).
				With("vessel", name).With("run", r.Name).With("reason", down.Reason).WithViolation(name, "is out of service: %s", down.Reason)
		}
		why := fits(r.Step, v)
		if i == 0 && why == "" && len(r.Step.VesselClasses) > 0 && !contains(r.Step.VesselClasses, v.Class) {
			why = fmt.Sprintf("is a %s; the step is done in a %s", v.Class, join(r.Step.VesselClasses))
		}
		if why != "" {
			return apierr.FailedPrecondition(VesselUnsuitable, "%s cannot take %s: it %s", name, r.Name, why).
				With("vessel", name).With("run", r.Name).WithViolation(name, "%s", why)
		}
		if err := s.room(ctx, r, v); err != nil {
			return err
		}
	}
	return nil
}

func contains(list []string, x string) bool {
	for _, y := range list {
		if x == y {
			return true
		}
	}
	return false
}

func join(classes []string) string {
	out := classes[0]
	for _, c := range classes[1:] {
		out += " or " + c
	}
	return out
}

// room refuses a vessel that is occupied, or whose shared load would be exceeded. For a late entry it notes when the
// vessel was taken by another run.
func (s *Service) room(ctx context.Context, r *Run, v Vessel) error {
	occupants, err := s.store.Occupants(ctx, v.Name, r.Start, time.Time{})
	if err != nil {
		return err
	}
	load := r.Step.mass()
	var others []string
	for _, o := range occupants {
		if o.Run == r.Name {
			continue
		}
		if o.Start.After(r.Start) { // a late entry: it was out again when the other one came
			if !v.Shared() && (r.OutBy.IsZero() || o.Start.Before(r.OutBy)) {
				r.OutBy = o.Start
			}
			continue
		}
		others = append(others, o.Run)
		if v.Shared() {
			other, err := s.store.GetRun(ctx, o.Run)
			if err != nil {
				return err
			}
			load += other.Step.mass()
		}
	}
	if len(others) == 0 || v.Shared() && load <= v.LoadCapacityKg*1.000001 {
		return nil
	}
	if v.Shared() {
		return apierr.FailedPrecondition(VesselOccupied, "%s carries %.0f kg and would have to carry %.0f kg with %s: wait until something is taken out", v.Name, v.LoadCapacityKg, load, r.Name).
			With("vessel", v.Name).With("occupant", others[0]).With("run", r.Name).WithViolation(v.Name, "is full")
	}
	return occupied(*r, v.Name, others[0])
}

func occupied(r Run, vessel, occupant string) error {
	if r.State == RunFinished || r.State == RunAborted {
		return apierr.FailedPrecondition(VesselOccupied, "%s was in %s before %s ended: give the moment at which %s was really out of it", occupant, vessel, r.Name, r.Name).
			With("vessel", vessel).With("occupant", occupant).With("run", r.Name).WithViolation(vessel, "was occupied by %s", occupant)
	}
	return apierr.FailedPrecondition(VesselOccupied, "%s is occupied by %s: finish that run first, or use another vessel for %s", vessel, occupant, r.Name).
		With("vessel", vessel).With("occupant", occupant).With("run", r.Name).WithViolation(vessel, "is occupied by %s", occupant)
}

// exclusive says which vessels carry one run at a time.
func (s *Service) exclusive(ctx context.Context) func(string) bool {
	return func(name string) bool {
		v, err := s.store.GetVessel(ctx, name)
		return err != nil || !v.Shared()
	}
}

// occupy writes a run with its occupancies. The database has the last word when two cooks start at the same moment.
func (s *Service) occupy(ctx context.Context, r Run) error {
	err := s.store.InTx(ctx, func(ctx context.Context) error { // an inner part: the outer one goes on to name the occupant
		return s.store.UpdateRun(ctx, r, s.exclusive(ctx))
	})
	if !errors.Is(err, ErrOccupied) {
		return said(err, RunMissing, RunMissing, r.Name)
	}
	for _, v := range r.vessels() {
		occupants, lookErr := s.store.Occupants(ctx, v, r.Start, r.Finish)
		if lookErr != nil {
			return lookErr
		}
		for _, o := range occupants {
			if o.Run != r.Name {
				return occupied(r, v, o.Run)
			}
		}
	}
	return apierr.Aborted(VesselOccupied, "another run took the vessel of %s at the same moment: look which, then decide", r.Name).
		With("vessel", r.Vessel).With("run", r.Name).Wrap(err)
}

// batchBegan keeps the local copy of the batch and what the vessels now carry.
func (s *Service) batchBegan(ctx context.Context, r Run) error {
	for _, name := range r.vessels() {
		if err := s.store.SetVesselMaterial(ctx, name, r.Step.State()); err != nil {
			return err
		}
	}
	b, err := s.store.GetBatch(ctx, r.Batch)
	if err != nil {
		return err
	}
	if b.State == BatchReleased || b.State == BatchPlanned {
		b.State = BatchInProgress
		return s.store.PutBatch(ctx, b)
	}
	return nil
}
