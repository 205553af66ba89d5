package rpc

import (
	"context"
	"errors"
	"testing"
)

func TestAStreamThatMayLastEndsWhenTheServerStops(t *testing.T) {
	t.Parallel()
	s := &Server{stop: make(chan struct{})}
	ctx, cancel := UntilStop(s.withStop(t.Context()))
	defer cancel()
	if ctx.Err() != nil {
		t.Fatal(ctx.Err())
	}
	close(s.stop)
	<-ctx.Done()
	if !errors.Is(context.Cause(ctx), ErrStopping) {
		t.Errorf("ended by %v", context.Cause(ctx))
	}
}

func TestOutsideOfAServerOnlyItsOwnEndEndsIt(t *testing.T) {
	t.Parallel()
	ctx, cancel := UntilStop(t.Context())
	cancel()
	if errors.Is(context.Cause(ctx), ErrStopping) || !errors.Is(ctx.Err(), context.Canceled) {
		t.Errorf("ended by %v", context.Cause(ctx))
	}
}
