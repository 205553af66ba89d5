// Package lifecycle starts and stops the parts of a process in order.
//
// A [Stack] remembers how to close what was opened and closes it last first, each part within a fresh time limit: a
// context that is done already, because the process was told to stop, must not keep a database from closing. [Run] runs
// components until one fails or the process gets SIGTERM or SIGINT.
package lifecycle

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"sync"
	"syscall"
	"time"
)

// DefaultCloseTimeout is the time that each part has to close.
const DefaultCloseTimeout = 10 * time.Second

// Stack closes what was opened, last opened first. The zero value is ready for use; it is safe for concurrent use.
type Stack struct {
	Timeout time.Duration // per part; 0 means DefaultCloseTimeout

	mu    sync.Mutex
	parts []part
}

type part struct {
	name  string
	close func(context.Context) error
}

// Push adds a part that was just opened. name is for errors.
func (s *Stack) Push(name string, close func(context.Context) error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.parts = append(s.parts, part{name, close})
}

// Close closes all parts and reports every failure. The values of ctx are passed on, its end is not: each part gets a fresh time
// limit. A part that ignores its limit is given up and reported, and the next one is closed. A second Close does nothing.
func (s *Stack) Close(ctx context.Context) error {
	s.mu.Lock()
	parts := s.parts
	s.parts = nil
	s.mu.Unlock()
	timeout := s.Timeout
	if timeout <= 0 {
		timeout = DefaultCloseTimeout
	}
	var faults []error
	for i := len(parts) - 1; i >= 0; i-- {
		if err := closeOne(context.WithoutCancel(ctx), timeout, parts[i]); err != nil {
			faults = append(faults, fmt.Errorf("close %s: %w", parts[i].name, err))
		}
	}
	return errors.Join(faults...)
}

// grace is how long after its limit a part may still say what went wrong.
const grace = 500 * time.Millisecond

func closeOne(ctx context.Context, timeout time.Duration, p part) error {
	ctx, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	done := make(chan error, 1)
	go func() {
		defer func() {
			if v := recover(); v != nil {
				done <- fmt.Errorf("panic: %v", v)
			}
		}()
		done <- p.close(ctx)
	}()
	t := time.NewTimer(timeout + grace)
	defer t.Stop()
	select {
	case err := <-done:
		return err
	case <-t.C:
		return fmt.Errorf("not closed within %s", timeout)
	}
}

// Component runs until its context is done, and then returns nil, or until it fails.
type Component func(ctx context.Context) error

// Run runs components at the same time. When one fails, or ctx ends, or the process gets SIGTERM or SIGINT, the context of all is
// ended, and Run returns when all have returned, with the failures. A component that returns nil early ends nothing. A second signal kills the
// process as usual.
func Run(ctx context.Context, components ...Component) error {
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	defer context.AfterFunc(ctx, stop)() // signals have their usual effect again
	errs := make([]error, len(components))
	var wg sync.WaitGroup
	for i, c := range components {
		wg.Go(func() {
			if err := run(ctx, c); err != nil && !(errors.Is(err, context.Canceled) && ctx.Err() != nil) {
				errs[i] = err
				cancel(err)
			}
		})
	}
	wg.Wait()
	return errors.Join(errs...)
}

// run turns a panic into an error, so that the other components still stop in order.
func run(ctx context.Context, c Component) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("panic: %v", v)
		}
	}()
	return c(ctx)
}
