package scheduling

import (
	"context"
	"errors"
	"time"

	"rondeau.internal/pkg/apierr"
)

// Pace of telling how a computation goes on, in real time.
const (
	watchSpacing = 200 * time.Millisecond // at least this long between two messages
	watchPoll    = 500 * time.Millisecond // looks at the store, for news of another process
	watchTick    = time.Second            // growth of the elapsed time that is news by itself
)

// WatchOperation tells the present state of a computation, and then each later one that differs, until it has ended, ctx
// ends or tell answers an error. News of a worker in this process come at once, those of another one as it stores them.
func (s *Service) WatchOperation(ctx context.Context, name string, tell func(Operation) error) error {
	var last *Operation
	for {
		op, changed, err := s.present(ctx, name)
		if err != nil {
			return err
		}
		if last == nil || differs(*last, op) {
			if err := tell(op); err != nil {
				return err
			}
			last = &op
		}
		if op.Done() {
			return nil
		}
		if err := pause(ctx, changed); err != nil {
			if errors.Is(err, context.Canceled) {
				return err
			}
			return apierr.DeadlineExceeded(SolveInterrupted, "%s is still at work: ask again for its state", name).With("operation", name).Wrap(err)
		}
	}
}

// present is a computation as it is, and a channel that is closed at the next news of this process, nil when the
// computation is not done here.
func (s *Service) present(ctx context.Context, name string) (Operation, <-chan struct{}, error) {
	state := s.searches.get(name)
	op, err := s.Operation(ctx, name)
	if err != nil || op.Done() || state == nil {
		return op, nil, err
	}
	changed := state.wait()
	state.news(&op, false)
	return op, changed, nil
}

// differs says whether there is news. The state of a search that has just ended here but is read from the store a moment
// too early is older than what was told, and no news.
func differs(told, now Operation) bool {
	if now.Done() || now.Stage != told.Stage || now.Attempts != told.Attempts {
		return true
	}
	if now.Elapsed < told.Elapsed {
		return false
	}
	return now.Iterations != told.Iterations || now.LateBatches != told.LateBatches || now.CancelRequested != told.CancelRequested ||
		now.Elapsed >= told.Elapsed+watchTick || !same(now.Best, told.Best) || !same(now.Bound, told.Bound)
}

func same(a, b *Cost) bool { return a == b || a != nil && b != nil && *a == *b }

// pause waits for the least spacing, and then for news or the next look at the store.
func pause(ctx context.Context, changed <-chan struct{}) error {
	spacing := time.NewTimer(watchSpacing)
	defer spacing.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-spacing.C:
	}
	poll := time.NewTimer(watchPoll)
	defer poll.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-changed:
	case <-poll.C:
	}
	return nil
}
