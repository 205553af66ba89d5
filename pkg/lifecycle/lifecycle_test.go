package lifecycle_test

import (
	"context"
	"errors"
	"os"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"rondeau.internal/pkg/lifecycle"
)

func TestMain(m *testing.M) {
	// The runtime's signal goroutine stays once signals were used.
	goleak.VerifyTestMain(m, goleak.IgnoreTopFunction("os/signal.loop"), goleak.IgnoreTopFunction("os/signal.signal_recv"))
}

var errBroken = errors.New("broken")

func TestStackClosesLastFirstWithFreshTime(t *testing.T) {
	t.Parallel()
	var s lifecycle.Stack
	var order []string
	push := func(name string, err error) {
		s.Push(name, func(ctx context.Context) error {
			if ctx.Err() != nil {
				t.Errorf("%s got a context that is done", name)
			}
			if _, ok := ctx.Deadline(); !ok {
				t.Errorf("%s has no time limit", name)
			}
			order = append(order, name)
			return err
		})
	}
	push("telemetry", nil)
	push("database", errBroken)
	push("server", nil)
	s.Push("panics", func(context.Context) error { panic("defect") })
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	err := s.Close(ctx)
	if got := strings.Join(order, " "); got != "server database telemetry" {
		t.Errorf("order %s", got)
	}
	if !errors.Is(err, errBroken) || !strings.Contains(err.Error(), "close database") || !strings.Contains(err.Error(), "close panics: panic: defect") {
		t.Errorf("error %v", err)
	}
	if err := s.Close(ctx); err != nil {
		t.Errorf("second Close: %v", err)
	}
}

func TestStackGivesUpAPartThatHangs(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		s := lifecycle.Stack{Timeout: time.Second}
		release := make(chan struct{})
		closed := false
		s.Push("first", func(context.Context) error { closed = true; return nil })
		s.Push("hangs", func(context.Context) error { <-release; return nil })
		s.Push("slow but honest", func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() })
		err := s.Close(t.Context())
		if err == nil || !strings.Contains(err.Error(), "close hangs: not closed within 1s") || !errors.Is(err, context.DeadlineExceeded) || !closed {
			t.Errorf("closed %v, error %v", closed, err)
		}
		close(release)
	})
}

func TestRunStopsAllWhenOneFails(t *testing.T) {
	t.Parallel()
	var stopped atomic.Bool
	err := lifecycle.Run(t.Context(),
		func(ctx context.Context) error { <-ctx.Done(); stopped.Store(true); return ctx.Err() },
		func(context.Context) error { return nil },
		func(context.Context) error { return errBroken },
	)
	if !errors.Is(err, errBroken) || errors.Is(err, context.Canceled) || !stopped.Load() {
		t.Errorf("error %v, stopped %v", err, stopped.Load())
	}
	err = lifecycle.Run(t.Context(), func(context.Context) error { panic("defect") })
	if err == nil || !strings.Contains(err.Error(), "panic: defect") {
		t.Errorf("panic: %v", err)
	}
}

func TestRunEndsOrderlyOnSIGTERM(t *testing.T) {
	started := make(chan struct{})
	done := make(chan error, 1)
	go func() {
		done <- lifecycle.Run(t.Context(), func(ctx context.Context) error { close(started); <-ctx.Done(); return nil })
	}()
	<-started
	if err := syscall.Kill(os.Getpid(), syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := <-done; err != nil {
		t.Errorf("error %v", err)
	}
}
