package scheduling

import (
	"context"
	"errors"
)

// BatchCancelled takes the news that planning cancelled a batch: its planned runs are taken back, and a schedule that
// still places it cannot be published. A run that has begun goes on and carries a notice. The news may come before the
// batch is known here, and twice.
func (s *Service) BatchCancelled(ctx context.Context, batch, plan, reason string) error {
	return s.store.InTx(ctx, func(ctx context.Context) error {
		b, err := s.store.GetBatch(ctx, batch)
		if errors.Is(err, ErrNotFound) {
			b, err = Batch{Name: batch, Plan: plan}, nil
		}
		if err != nil {
			return err
		}
		b.State = BatchCancelled
		if err := s.store.PutBatch(ctx, b); err != nil {
			return err
		}
		return s.takeBackBatch(ctx, batch, "its batch was cancelled: "+reason)
	})
}

func (s *Service) takeBackBatch(ctx context.Context, batch, why string) error {
	runs, err := s.store.RunsOfBatch(ctx, batch)
	if err != nil {
		return err
	}
	for _, r := range runs {
		switch r.State {
		case RunPlanned:
			if err := s.takeBack(ctx, r, why); err != nil {
				return err
			}
		case RunRunning:
			if r.noticed(why) {
				continue
			}
			r.Notices = append(r.Notices, why)
			r.Meta = s.changed(r.Meta)
			if err := s.store.UpdateRun(ctx, r, s.exclusive(ctx)); err != nil {
				return err
			}
		}
	}
	return nil
}

func (r Run) noticed(text string) bool {
	for _, n := range r.Notices {
		if n == text {
			return true
		}
	}
	return false
}

// PlanReleased takes the news that a plan is in force: planned runs of the plan that it replaced are taken back, but for
// batches that go on. The news may come twice, and late.
func (s *Service) PlanReleased(ctx context.Context, plan, superseded string, kept []string) error {
	if superseded == "" || superseded == plan {
		return nil
	}
	goesOn := map[string]bool{}
	for _, name := range kept {
		goesOn[name] = true
	}
	return s.store.InTx(ctx, func(ctx context.Context) error {
		runs, err := s.store.RunsInState(ctx, siteOf(plan), RunPlanned)
		if err != nil {
			return err
		}
		for _, r := range runs {
			b, err := s.store.GetBatch(ctx, r.Batch)
			if err != nil {
				return err
			}
			if b.Plan != superseded || goesOn[r.Batch] || b.State == BatchInProgress {
				continue
			}
			if err := s.takeBack(ctx, r, "its plan was replaced by "+plan); err != nil {
				return err
			}
		}
		return nil
	})
}
