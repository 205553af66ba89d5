package scheduling

import (
	"context"
	"fmt"
	"time"

	"rondeau.internal/pkg/apierr"
)

// FinishRun asks to record that a run was finished.
type FinishRun struct {
	Name    string
	Finish  time.Time // defaults to now
	Outputs []Output
	Note    string
	Etag    string
	Actor   string
}

// FinishRun records the finish of a running run. The answer names the runs that come next.
func (s *Service) FinishRun(ctx context.Context, c FinishRun) (Run, error) {
	return inTx(ctx, s, func(ctx context.Context) (Run, error) {
		r, err := s.end(ctx, c.Name, c.Etag, "finish_time", c.Finish, c.Actor)
		if err != nil {
			return Run{}, err
		}
		for i, o := range c.Outputs {
			if err := sameSite(r.Name, fmt.Sprintf("outputs[%d].item", i), o.Item); err != nil {
				return Run{}, err
			}
		}
		r.State, r.Outputs, r.Note = RunFinished, c.Outputs, c.Note
		if early := r.Step.Duration.Simmer; early != nil && r.Finish.Sub(r.Start) < early.Hold {
			r.Notices = append(r.Notices, fmt.Sprintf("finished after %s; the formula holds it for %s", span(r.Finish.Sub(r.Start)), span(early.Hold)))
		}
		if err := s.learn(ctx, &r); err != nil {
			return Run{}, err
		}
		if err := s.learnPace(ctx, r); err != nil {
			return Run{}, err
		}
		if err := s.occupy(ctx, r); err != nil {
			return Run{}, err
		}
		finished, err := s.batchFinished(ctx, r)
		if err != nil {
			return Run{}, err
		}
		if err := s.events.RunFinished(ctx, r, finished); err != nil {
			return Run{}, err
		}
		return s.withNext(ctx, r)
	})
}

// AbortRun asks to record that a started run was given up.
type AbortRun struct {
	Name   string
	Reason string
	At     time.Time // defaults to now
	Etag   string
	Actor  string
}

// AbortRun records that a running run was given up. Its step is planned again by the next schedule.
func (s *Service) AbortRun(ctx context.Context, c AbortRun) (Run, error) {
	return inTx(ctx, s, func(ctx context.Context) (Run, error) {
		r, err := s.end(ctx, c.Name, c.Etag, "abort_time", c.At, c.Actor)
		if err != nil {
			return Run{}, err
		}
		r.State, r.AbortReason = RunAborted, c.Reason
		if err := s.occupy(ctx, r); err != nil {
			return Run{}, err
		}
		return r, s.events.RunAborted(ctx, r)
	})
}

// end loads a running run and stamps the moment at which it ended.
func (s *Service) end(ctx context.Context, name, etag, field string, at time.Time, actor string) (Run, error) {
	r, err := s.store.GetRun(ctx, name)
	if err != nil {
		return Run{}, said(err, RunMissing, RunMissing, name)
	}
	if err := checkEtag(etag, r.Version, name); err != nil {
		return Run{}, err
	}
	if r.State != RunRunning {
		return Run{}, notRunning(r)
	}
	now := s.clock.Now()
	if at.IsZero() {
		at = now
	}
	if err := plausible(field, at, now); err != nil {
		return Run{}, err
	}
	if at.Before(r.Start) {
		return Run{}, apierr.InvalidArgument(TimeImplausible, "%s would have ended at %s, before it was started at %s: correct the time",
			name, at.UTC().Format(time.RFC3339), r.Start.UTC().Format(time.RFC3339)).
			With("time", at.UTC().Format(time.RFC3339)).With("run", name).WithViolation(field, "lies before the start")
	}
	if now.Sub(at) > clockTolerance {
		r.Notices = append(r.Notices, fmt.Sprintf("late entry: the end was recorded %s after it happened", span(now.Sub(at))))
	}
	r.Finish, r.FinishRecord, r.FinishRecorder = at, now, actor
	r.Meta = s.changed(r.Meta)
	return r, nil
}

func notRunning(r Run) error {
	text := fmt.Sprintf("%s is %s", r.Name, r.State)
	switch r.State {
	case RunPlanned:
		text = fmt.Sprintf("%s has not been started: record its start first, a late entry is fine", r.Name)
	case RunFinished:
		text = fmt.Sprintf("%s is finished already since %s, recorded by %s", r.Name, r.Finish.UTC().Format(time.RFC3339), r.FinishRecorder)
	case RunAborted:
		text = fmt.Sprintf("%s was given up: %s", r.Name, r.AbortReason)
	}
	return apierr.FailedPrecondition(RunNotRunning, "%s", text).With("run", r.Name).With("state", string(r.State)).WithViolation(r.Name, "is %s", r.State)
}

// batchFinished says whether this was the last step of the batch, and notes it in the local copy.
func (s *Service) batchFinished(ctx context.Context, r Run) (bool, error) {
	b, err := s.store.GetBatch(ctx, r.Batch)
	if err != nil {
		return false, err
	}
	if len(b.Steps) == 0 || b.Steps[len(b.Steps)-1].ID != r.StepID {
		return false, nil
	}
	runs, err := s.store.RunsOfBatch(ctx, r.Batch)
	if err != nil {
		return false, err
	}
	for _, step := range b.Steps {
		if last, found := current(runs, step.ID); found && last.State != RunFinished {
			return false, nil
		}
	}
	if b.State != BatchCancelled {
		b.State = BatchDone
		if err := s.store.PutBatch(ctx, b); err != nil {
			return false, err
		}
	}
	return true, nil
}
