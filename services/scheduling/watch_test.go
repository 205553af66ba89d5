package scheduling_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/services/scheduling"
)

// busy is a kitchen with more work than two kettles do by tonight, and an operation that would take an hour.
func busy(t *testing.T, budget int, longest time.Duration) (*kitchen, scheduling.Operation) {
	t.Helper()
	k := newKitchen(t)
	for _, b := range []string{"b1", "b2", "b3", "b4", "b5", "b6"} {
		k.planning.put(stock(b, 100, monday.Add(16*time.Hour)))
	}
	op, err := k.SolveSchedule(t.Context(), scheduling.Solve{Site: site, Budget: budget, MaxDuration: longest})
	must(t, err)
	return k, op
}

// worker runs a worker until stop is called, which waits for its end.
func worker(t *testing.T, k *kitchen) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		ended <- scheduling.NewWorker(k.Service, scheduling.WorkerTiming{Poll: 10 * time.Millisecond, Report: 20 * time.Millisecond}).Run(ctx)
	}()
	return func() {
		cancel()
		must(t, <-ended)
	}
}

// worse says whether a cost is above another; lateness is compared first.
func worse(a, b *scheduling.Cost) bool {
	if a.Tardiness != b.Tardiness {
		return a.Tardiness > b.Tardiness
	}
	return a.Rest > b.Rest
}

// goesOn asserts that a state of the same attempt is not behind an earlier one.
func goesOn(t *testing.T, before, now scheduling.Operation) {
	t.Helper()
	if now.Elapsed < before.Elapsed || now.Iterations < before.Iterations {
		t.Errorf("went back from %s and %d iterations to %s and %d", before.Elapsed, before.Iterations, now.Elapsed, now.Iterations)
	}
	if before.Best != nil && (now.Best == nil || worse(now.Best, before.Best)) {
		t.Errorf("the best went from %+v to %+v", before.Best, now.Best)
	}
	if before.Bound != nil && (now.Bound == nil || worse(before.Bound, now.Bound)) {
		t.Errorf("the bound went from %+v to %+v", before.Bound, now.Bound)
	}
	if now.Gap < 0 || now.Gap > 1 || now.Best != nil && now.Bound != nil && worse(now.Bound, now.Best) {
		t.Errorf("gap %v, bound %+v of %+v", now.Gap, now.Bound, now.Best)
	}
}

func TestAWatchedComputationGoesOnlyForwardAndEndsWithItsSchedule(t *testing.T) {
	t.Parallel()
	k, op := busy(t, 1000000, 2*time.Second)
	defer worker(t, k)()
	var told []scheduling.Operation
	must(t, k.WatchOperation(t.Context(), op.Name, func(o scheduling.Operation) error {
		if len(told) > 0 {
			goesOn(t, told[len(told)-1], o)
		}
		told = append(told, o)
		return nil
	}))
	if len(told) < 3 {
		t.Fatalf("told only %d states in two seconds", len(told))
	}
	for i, o := range told {
		if o.Done() != (i == len(told)-1) {
			t.Errorf("state %d of %d is %s", i+1, len(told), o.Stage)
		}
	}
	last := told[len(told)-1]
	if last.Stage != scheduling.StageFinished || last.Elapsed < last.MaxDuration || last.MaxDuration != 2*time.Second {
		t.Errorf("ended %s after %s of %s", last.Stage, last.Elapsed, last.MaxDuration)
	}
	made, err := k.Schedule(t.Context(), last.Schedule)
	must(t, err)
	if !made.Report.Stopped || made.Report.Iterations != last.Iterations || made.Report.Cost != *last.Best {
		t.Errorf("schedule %+v, told %+v", made.Report, last)
	}
	// The lateness that is told is that of the schedule's list.
	var sum time.Duration
	for _, l := range made.Report.Late {
		sum += l.End.Sub(l.Due)
	}
	if last.LateBatches == 0 || last.LateBatches != len(made.Report.Late) || last.Lateness != sum {
		t.Errorf("told %d late by %s, listed %d by %s", last.LateBatches, last.Lateness, len(made.Report.Late), sum)
	}
	middle := told[len(told)-2]
	if middle.Best == nil || middle.LateBatches == 0 || middle.Lateness == 0 {
		t.Errorf("on the way: %+v", middle)
	}
}

func TestWatchingAgainBeginsWithThePresentState(t *testing.T) {
	t.Parallel()
	k, op := busy(t, 1000000, time.Hour)
	enough := errors.New("enough")
	first := func(until func(scheduling.Operation) bool) scheduling.Operation {
		t.Helper()
		var got scheduling.Operation
		err := k.WatchOperation(t.Context(), op.Name, func(o scheduling.Operation) error {
			got = o
			if until(o) {
				return enough
			}
			return nil
		})
		if !errors.Is(err, enough) && err != nil {
			t.Fatal(err)
		}
		return got
	}
	anything := func(scheduling.Operation) bool { return true }
	if o := first(anything); o.Stage != scheduling.StageWaiting || o.Elapsed != 0 || o.Best != nil {
		t.Errorf("before the worker began: %+v", o)
	}
	stop := worker(t, k)
	seen := first(func(o scheduling.Operation) bool { return o.Best != nil })
	again := first(anything)
	goesOn(t, seen, again)
	if again.Best == nil {
		t.Errorf("watched again: %+v", again)
	}
	// Another process sees what was stored.
	stored, err := k.store.GetOperation(t.Context(), op.Name)
	must(t, err)
	for stored.Best == nil {
		stored, err = k.store.GetOperation(t.Context(), op.Name)
		must(t, err)
	}
	goesOn(t, scheduling.Operation{}, stored)

	_, err = k.CancelOperation(t.Context(), op.Name)
	must(t, err)
	last := first(func(scheduling.Operation) bool { return false })
	stop()
	goesOn(t, again, last)
	if last.Stage != scheduling.StageCancelled || last.Schedule == "" {
		t.Errorf("ended %s: %s", last.Stage, last.ErrorText)
	}
	kept, err := k.Schedule(t.Context(), last.Schedule)
	must(t, err)
	if kept.Report.Cost != *last.Best || worse(&kept.Report.Cost, again.Best) || len(kept.Assignments) != 18 {
		t.Errorf("kept %+v, the best known was %+v", kept.Report.Cost, again.Best)
	}
	if o := first(anything); o.Stage != scheduling.StageCancelled || o.Schedule != last.Schedule {
		t.Errorf("after the end: %+v", o)
	}
}

func TestAWatchOfNothingAndOneOutOfTimeAreRefused(t *testing.T) {
	t.Parallel()
	k, op := busy(t, 10, time.Second)
	nothing := func(scheduling.Operation) error { return nil }
	refused(t, k.WatchOperation(t.Context(), site+"/operations/none", nothing), scheduling.OperationMissing)
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	err := k.WatchOperation(ctx, op.Name, nothing)
	refused(t, err, scheduling.SolveInterrupted, "ask again")
	if known, is := apierr.As(err); !is || known.Kind != apierr.KindDeadlineExceeded {
		t.Errorf("kind of %v", err)
	}
	gone, leave := context.WithCancel(t.Context())
	leave()
	if err := k.WatchOperation(gone, op.Name, nothing); !errors.Is(err, context.Canceled) {
		t.Errorf("a watcher that left: %v", err)
	}
}

func TestAComputationThatIsInterruptedKeepsItsBestAndItsTime(t *testing.T) {
	t.Parallel()
	k, op := busy(t, 1000000, time.Hour)
	stop := worker(t, k)
	for {
		o, err := k.WaitOperation(t.Context(), op.Name, 50*time.Millisecond)
		must(t, err)
		if o.Best != nil {
			break
		}
	}
	stop()
	given, err := k.Operation(t.Context(), op.Name)
	must(t, err)
	if given.Stage != scheduling.StageWaiting || given.Elapsed == 0 || given.Iterations == 0 {
		t.Fatalf("given back: %+v", given)
	}
	// It is cancelled while nobody works on it: the next worker has no time to find anything, and keeps what there is.
	_, err = k.CancelOperation(t.Context(), op.Name)
	must(t, err)
	defer worker(t, k)()
	last, err := k.WaitOperation(t.Context(), op.Name, 30*time.Second)
	must(t, err)
	if last.Stage != scheduling.StageCancelled || last.Schedule == "" || worse(last.Best, given.Best) {
		t.Fatalf("ended %s: %s, best %+v after %+v", last.Stage, last.ErrorText, last.Best, given.Best)
	}
	if last.Elapsed <= given.Elapsed || last.Iterations < given.Iterations {
		t.Errorf("%s and %d iterations after %s and %d", last.Elapsed, last.Iterations, given.Elapsed, given.Iterations)
	}
}

func TestTheBudgetOfIterationsCountsOverAllAttempts(t *testing.T) {
	t.Parallel()
	k, op := busy(t, 400, time.Hour)
	must(t, k.store.InTx(t.Context(), func(ctx context.Context) error {
		o, err := k.store.GetOperation(ctx, op.Name)
		if err != nil {
			return err
		}
		o.Stage, o.LeaseOwner, o.LeaseUntil, o.Attempts, o.Iterations, o.Elapsed = scheduling.StageSolving, "gone", monday, 1, 300, time.Minute
		o.Version++
		return k.store.UpdateOperation(ctx, o)
	}))
	made := k.work(op)
	if made.Report.Iterations != 400 {
		t.Errorf("%d iterations", made.Report.Iterations)
	}
	o, err := k.Operation(t.Context(), op.Name)
	must(t, err)
	if o.Elapsed <= time.Minute || o.Attempts != 2 {
		t.Errorf("%s in %d attempts", o.Elapsed, o.Attempts)
	}
}
