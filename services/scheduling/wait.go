package scheduling

import (
	"context"
	"fmt"
	"time"

	"rondeau.internal/pkg/apierr"
)

// Operation answers a computation.
func (s *Service) Operation(ctx context.Context, name string) (Operation, error) {
	op, err := s.store.GetOperation(ctx, name)
	return op, said(err, OperationMissing, OperationMissing, name)
}

// Operations lists computations, newest first.
func (s *Service) Operations(ctx context.Context, q ListQuery) ([]Operation, error) {
	return s.store.ListOperations(ctx, q)
}

// CancelOperation asks a computation to stop, which then keeps its best schedule; one that has ended stays as it is.
func (s *Service) CancelOperation(ctx context.Context, name string) (Operation, error) {
	op, err := s.requestCancel(ctx, name)
	if err != nil {
		return Operation{}, err
	}
	if state := s.searches.get(name); state != nil {
		state.stop.Store(true) // a worker of another process reads the row
	}
	return op, nil
}

func (s *Service) requestCancel(ctx context.Context, name string) (Operation, error) {
	return inTx(ctx, s, func(ctx context.Context) (Operation, error) {
		op, err := s.Operation(ctx, name)
		if err != nil {
			return Operation{}, err
		}
		if op.Done() || op.CancelRequested {
			return op, nil
		}
		op.CancelRequested, op.Meta = true, s.changed(op.Meta)
		if op.Stage == StageWaiting && len(op.Warm) == 0 {
			op.Stage, op.ErrorReason = StageCancelled, SolveCancelled
			op.ErrorText = "the computation was cancelled before it had begun"
		}
		return op, said(s.store.UpdateOperation(ctx, op), OperationMissing, OperationMissing, name)
	})
}

// Bounds of waiting for a computation.
const (
	defaultWait = 30 * time.Second
	longestWait = 10 * time.Minute
	waitPoll    = 100 * time.Millisecond
)

// WaitOperation answers a computation once it has ended, or as it is when the timeout (0: 30 s; at most 10 min) or the
// caller's deadline has nearly passed. It waits in real time.
func (s *Service) WaitOperation(ctx context.Context, name string, timeout time.Duration) (Operation, error) {
	if timeout <= 0 {
		timeout = defaultWait
	}
	end := time.Now().Add(min(timeout, longestWait))
	if deadline, has := ctx.Deadline(); has {
		end = earliest(end, deadline.Add(-3*waitPoll))
	}
	tick := time.NewTicker(waitPoll)
	defer tick.Stop()
	for {
		op, err := s.Operation(ctx, name)
		if err != nil || op.Done() || time.Now().After(end) {
			return op, err
		}
		select {
		case <-ctx.Done():
			return op, apierr.DeadlineExceeded(SolveInterrupted, "%s is still at work: ask again for its state", name).With("operation", name).Wrap(ctx.Err())
		case <-tick.C:
		}
	}
}

// overwaits warns of material that will wait longer than its formula allows after a step that has begun.
func (x *instance) overwaits(s Schedule) []Conflict {
	var out []Conflict
	for _, a := range s.Assignments {
		it := x.items[activityName(a.Batch, a.StepID)]
		if it.run == nil || it.step.MaxWait == nil {
			continue
		}
		for _, b := range s.Assignments {
			next := x.items[activityName(b.Batch, b.StepID)]
			if b.Batch != a.Batch || next.run != nil || !follows(it.batch, a.StepID, b.StepID) {
				continue
			}
			if wait := b.Start.Sub(a.End); wait > *it.step.MaxWait {
				out = append(out, Conflict{
					Kind: "lags", Batches: []string{a.Batch},
					Text: fmt.Sprintf("%s waits %s after %s; the formula allows %s. Decide with the safety lead what becomes of it.",
						it.batch.DisplayName, span(wait), it.step.DisplayName, span(*it.step.MaxWait)),
				})
			}
		}
	}
	return out
}

// follows says whether a step comes directly after another.
func follows(b *Batch, before, after string) bool {
	for i := 1; i < len(b.Steps); i++ {
		if b.Steps[i-1].ID == before && b.Steps[i].ID == after {
			return true
		}
	}
	return false
}
