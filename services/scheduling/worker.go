package scheduling

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"sync"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/sched"
)

// Worker computes schedules. Several workers, also in several processes, may serve the same store: each operation is
// taken under a lease. Leases run in real time, whatever clock the kitchen follows.
type Worker struct {
	service *Service
	owner   string
	timing  WorkerTiming
}

// WorkerTiming is how often a Worker looks, reports and renews; zero fields take the defaults.
type WorkerTiming struct {
	Poll   time.Duration // between looks for work; default 300 ms
	Report time.Duration // between stored news of a computation; default 1 s
	Lease  time.Duration // time after which another worker may take over; default 20 s
}

// shortestAttempt is the time that an attempt gets at least, also when those before it have used up the time to compute:
// enough to find a first schedule (chosen, no source).
const shortestAttempt = time.Second

// plansPerSecond is more than an engine tries in a second where a time bounds the search; the engine paces itself by it.
const plansPerSecond = 20000

// maxAttempts is how often a computation is begun before it is given up: twice after an interruption, since the third
// crash is unlikely to be a coincidence.
const maxAttempts = 3

// NewWorker returns a worker for the service's operations.
func NewWorker(s *Service, t WorkerTiming) *Worker {
	if t.Poll == 0 {
		t.Poll = 300 * time.Millisecond
	}
	if t.Report == 0 {
		t.Report = time.Second
	}
	if t.Lease == 0 {
		t.Lease = 20 * time.Second
	}
	return &Worker{service: s, owner: s.ids.NewID("worker"), timing: t}
}

// Run takes and computes operations one after the other until ctx ends. A computation in progress then is given back
// with its best result, for the next worker to go on.
func (w *Worker) Run(ctx context.Context) error {
	tick := time.NewTicker(w.timing.Poll)
	defer tick.Stop()
	for {
		for w.once(ctx) {
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		case <-w.service.nudge:
		}
	}
}

// once computes one operation and says whether there may be more.
func (w *Worker) once(ctx context.Context) bool {
	if ctx.Err() != nil {
		return false
	}
	op, err := w.claim(ctx)
	if err != nil {
		if ctx.Err() == nil {
			w.service.logger.WarnContext(ctx, "look for a schedule to compute", "error", err)
		}
		return false
	}
	if op == nil {
		return false
	}
	if err := w.safely(ctx, *op); err != nil {
		w.service.logger.ErrorContext(ctx, "compute a schedule", "operation", op.Name, "error", err)
		if ctx.Err() == nil {
			text := "the schedule could not be computed because of a defect; the log of the scheduling service says more under this operation's name"
			if known, is := apierr.As(err); is {
				text = known.Message
			}
			w.fail(ctx, op.Name, ProblemInvalid, text)
		}
	}
	return true
}

// safely computes an operation and turns a panic of the engine into an error: one bad problem must not stop the service.
func (w *Worker) safely(ctx context.Context, op Operation) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v\n%s", p, debug.Stack())
		}
	}()
	return w.compute(ctx, op)
}

// claim takes the oldest operation that waits or was abandoned.
func (w *Worker) claim(ctx context.Context) (*Operation, error) {
	now := time.Now()
	waiting, err := w.service.store.ClaimableOperations(ctx, now)
	if err != nil {
		return nil, err
	}
	for _, candidate := range waiting {
		var claimed *Operation
		err := w.service.store.InTx(ctx, func(ctx context.Context) error {
			claimed = nil
			op, err := w.service.store.GetOperation(ctx, candidate.Name)
			if err != nil {
				return err
			}
			if op.Done() || op.LeaseUntil.After(now) {
				return nil
			}
			if op.Attempts >= maxAttempts {
				return w.giveUp(ctx, op)
			}
			op.Stage, op.LeaseOwner, op.LeaseUntil = StageSolving, w.owner, time.Now().Add(w.timing.Lease)
			op.Attempts++
			op.Meta = w.service.changed(op.Meta)
			if err := w.service.store.UpdateOperation(ctx, op); err != nil {
				return err
			}
			claimed = &op
			return nil
		})
		if errors.Is(err, ErrStale) {
			continue // another worker was quicker
		}
		if err != nil || claimed != nil {
			return claimed, err
		}
	}
	return nil, nil
}

func (w *Worker) giveUp(ctx context.Context, op Operation) error {
	op.Stage, op.LeaseOwner, op.LeaseUntil = StageFailed, "", time.Time{}
	op.ErrorReason = SolveInterrupted
	op.ErrorText = fmt.Sprintf("the computation was interrupted %d times and given up: ask for the schedule again, with fewer iterations or fewer batches", op.Attempts)
	op.Warm = nil
	op.Meta = w.service.changed(op.Meta)
	return w.service.store.UpdateOperation(ctx, op)
}

func (w *Worker) compute(ctx context.Context, op Operation) error {
	p, err := w.service.store.OperationProblem(ctx, op.Name)
	if err != nil {
		return err
	}
	x, err := build(&p)
	if err != nil {
		return err
	}
	options := sched.Options{Seed: p.Seed, Iterations: max(p.Budget-op.Iterations, 1)}
	if p.Budget == 0 {
		options.Iterations = int(p.MaxDuration.Seconds() * plansPerSecond)
	}
	state := newSearch(x, op)
	switch {
	case state.best != nil:
		options.Warm = state.best
	case len(p.Reference) > 0:
		warm := x.plan(p.Reference)
		options.Warm = &warm
	}
	deadline := state.began.Add(max(p.MaxDuration-op.Elapsed, shortestAttempt))
	options.Stop = func() bool { return state.halted(deadline, p.Budget == 0) }
	options.Progress, options.Incumbent = state.progress, state.incumbent

	w.service.searches.put(op.Name, state)
	defer w.service.searches.remove(op.Name)
	plan, report, err := w.watched(ctx, op.Name, state, options)
	if err != nil {
		return err
	}
	plan, report = state.outcome(plan, report, p.Budget == 0)
	return w.finish(context.WithoutCancel(ctx), ctx.Err() != nil, op.Name, p, state, plan, report)
}

// watched runs the engine while watch stores how far it is.
func (w *Worker) watched(ctx context.Context, name string, state *search, options sched.Options) (sched.Plan, sched.Report, error) {
	done := make(chan struct{})
	var watcher sync.WaitGroup
	watcher.Add(1)
	go func() {
		defer watcher.Done()
		w.watch(ctx, name, state, done)
	}()
	defer watcher.Wait()
	defer close(done)
	plan, report, err := sched.Solve(state.x.Instance, options)
	if err == nil {
		state.x.advice = state.x.advise(plan, report, func() bool { return state.stop.Load() })
	}
	return plan, report, err
}

// watch stores news of a computation, renews its lease and hears of a cancellation, until done or ctx ends.
func (w *Worker) watch(ctx context.Context, name string, state *search, done <-chan struct{}) {
	tick := time.NewTicker(w.timing.Report)
	defer tick.Stop()
	for {
		select {
		case <-done:
			return
		case <-ctx.Done():
			state.stop.Store(true)
			return
		case <-tick.C:
		}
		err := w.service.store.InTx(ctx, func(ctx context.Context) error {
			op, err := w.service.store.GetOperation(ctx, name)
			if err != nil {
				return err
			}
			if op.Done() || op.LeaseOwner != w.owner || op.CancelRequested {
				state.stop.Store(true)
				return nil
			}
			state.news(&op, true)
			op.LeaseUntil = time.Now().Add(w.timing.Lease)
			op.Meta = w.service.changed(op.Meta)
			return w.service.store.UpdateOperation(ctx, op)
		})
		if err != nil && ctx.Err() == nil {
			w.service.logger.WarnContext(ctx, "store how far a schedule is", "operation", name, "error", err)
		}
	}
}

// finish stores the result. An interrupted computation is given back; a cancelled one keeps its best schedule.
func (w *Worker) finish(ctx context.Context, interrupted bool, name string, p Problem, state *search, plan sched.Plan, report sched.Report) error {
	x, found := state.x, len(plan.Assignments) > 0
	if found {
		if broken := x.selfCheck(plan); len(broken) > 0 {
			return fmt.Errorf("the engine's plan breaks %d rules, the first: %s", len(broken), broken[0].String())
		}
	}
	s := w.service
	return s.store.InTx(ctx, func(ctx context.Context) error {
		op, err := s.store.GetOperation(ctx, name)
		if err != nil {
			return err
		}
		if op.Done() || op.LeaseOwner != w.owner {
			return nil // somebody else has taken over
		}
		state.settle(&op, plan, report)
		op.LeaseOwner, op.LeaseUntil, op.Meta = "", time.Time{}, s.changed(op.Meta)
		if interrupted && !op.CancelRequested {
			op.Stage = StageWaiting
			op.Attempts-- // an orderly stop is no failed attempt
			return s.store.UpdateOperation(ctx, op)
		}
		op.Warm = nil
		if found || !op.CancelRequested {
			draft := s.draft(op, p, x, plan, report)
			if err := s.store.InsertSchedule(ctx, draft, p); err != nil {
				return err
			}
			op.Schedule = draft.Name
			if found { // how sure it is comes later: nobody shall wait for it
				if err := s.store.RequestOutlook(ctx, draft.Name); err != nil {
					return err
				}
			}
		}
		op.Stage, op.End = StageFinished, state.reason
		if op.CancelRequested {
			op.End = EndStopped
			op.Stage, op.ErrorReason = StageCancelled, SolveCancelled
			op.ErrorText = "the computation was cancelled before it had a schedule"
			if found {
				op.ErrorText = "the computation was cancelled; its best schedule so far is " + op.Schedule
			}
		}
		return s.store.UpdateOperation(ctx, op)
	})
}

// draft makes the stored schedule of a result.
func (s *Service) draft(op Operation, p Problem, x *instance, plan sched.Plan, report sched.Report) Schedule {
	out := Schedule{
		Name: p.Site + "/schedules/" + s.ids.NewID("schedule"), Meta: s.created(), Plan: p.Plan, State: ScheduleDraft,
		Start: p.Start, End: p.Start, Assignments: x.assignments(plan), Report: x.report(report, len(plan.Assignments) > 0),
		Reference: p.ReferenceName, Operation: op.Name,
	}
	for _, a := range out.Assignments {
		out.End = latest(out.End, a.End)
	}
	x.advised(&out.Report, x.advice, len(plan.Assignments) > 0)
	out.Report.Conflicts = append(out.Report.Conflicts, x.overwaits(out)...)
	return out
}

// fail ends an operation with an error.
func (w *Worker) fail(ctx context.Context, name, reason, text string) {
	s := w.service
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		op, err := s.store.GetOperation(ctx, name)
		if err != nil || op.Done() || op.LeaseOwner != w.owner {
			return err
		}
		op.Stage, op.ErrorReason, op.ErrorText, op.Warm = StageFailed, reason, text, nil
		op.LeaseOwner, op.LeaseUntil, op.Meta = "", time.Time{}, s.changed(op.Meta)
		return s.store.UpdateOperation(ctx, op)
	})
	if err != nil {
		s.logger.ErrorContext(ctx, "store that a schedule could not be computed", "operation", name, "error", err)
	}
}
