package scheduling

import (
	"sync"
	"sync/atomic"
	"time"

	"rondeau.internal/pkg/sched"
)

// search is the state of a computation: the engine writes it, the worker stores it, watchers in the same process read it.
// It begins with what earlier attempts had found and never falls behind that.
type search struct {
	x     *instance
	began time.Time     // of this attempt, real time
	spent time.Duration // by the attempts before
	tried int           // iterations of the attempts before
	stop  atomic.Bool
	// better is when the best plan was last improved, in time since began; due and settled are why the clock ended it.
	better       atomic.Int64
	due, settled atomic.Bool
	// reason and lasted are known once the engine has returned.
	reason EndReason

	mu      sync.Mutex
	lasted  time.Duration
	heard   bool // the bound is known
	best    *sched.Plan
	report  sched.Report // of best; Iterations are those of this attempt
	changed chan struct{}
}

// newSearch takes up an operation where its last attempt left it.
func newSearch(x *instance, op Operation) *search {
	s := &search{x: x, began: time.Now(), spent: op.Elapsed, tried: op.Iterations, changed: make(chan struct{}), report: sched.Report{Gap: 1}}
	if len(op.Warm) == 0 || op.Best == nil || op.Bound == nil {
		return s
	}
	warm := x.plan(op.Warm)
	if len(x.selfCheck(warm)) > 0 {
		return s
	}
	warm.Objective = x.objective(*op.Best)
	s.best, s.heard = &warm, true
	s.report = sched.Report{Status: sched.StatusFeasible, Objective: warm.Objective, Bound: x.objective(*op.Bound), Gap: op.Gap}
	return s
}

// progress implements sched.Options.Progress.
func (s *search) progress(r sched.Report) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.take(nil, r)
}

// incumbent implements sched.Options.Incumbent.
func (s *search) incumbent(p sched.Plan, r sched.Report) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.take(&p, r)
}

// take notes a report, and the plan when it is better than what is known. Call it with mu held.
func (s *search) take(p *sched.Plan, r sched.Report) {
	s.heard = true
	if p != nil && (s.best == nil || r.Objective.Less(s.report.Objective)) {
		s.best, s.report = p, r
		s.better.Store(int64(time.Since(s.began)))
	}
	s.report.Bound = r.Bound
	s.report.Iterations = max(s.report.Iterations, r.Iterations)
	close(s.changed)
	s.changed = make(chan struct{})
}

// Patience with a search that is bounded by time: it has settled when it has found nothing better for this long, and for
// half of the time that it has taken (chosen, no source).
const leastPatience = 3 * time.Second

// halted says whether the engine must return, and notes why.
func (s *search) halted(deadline time.Time, timed bool) bool {
	if s.stop.Load() {
		return true
	}
	now := time.Now()
	if now.After(deadline) {
		s.due.Store(true)
		return true
	}
	better := time.Duration(s.better.Load())
	if !timed || better == 0 { // without a plan of this attempt it goes on
		return false
	}
	elapsed := now.Sub(s.began)
	if elapsed-better <= max(leastPatience, elapsed/2) {
		return false
	}
	s.settled.Store(true)
	return true
}

// ended says why the engine has returned.
func (s *search) ended(r sched.Report, timed bool) EndReason {
	switch {
	case r.Status == sched.StatusInfeasible:
		return EndImpossible
	case r.Status == sched.StatusOptimal:
		return EndOptimal
	case s.stop.Load():
		return EndStopped
	case s.due.Load():
		return EndTime
	case timed:
		return EndSettled
	}
	return EndIterations
}

// wait answers a channel that is closed at the next news.
func (s *search) wait() <-chan struct{} {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.changed
}

// news writes the state of the search into its operation; with the plan when another attempt shall be able to go on.
func (s *search) news(op *Operation, plan bool) {
	s.mu.Lock()
	best, r, heard := s.best, s.report, s.heard
	s.mu.Unlock()
	s.write(op, best, r, heard, plan)
}

// settle writes the end of the search into its operation.
func (s *search) settle(op *Operation, plan sched.Plan, r sched.Report) {
	var best *sched.Plan
	if len(plan.Assignments) > 0 {
		best = &plan
	}
	r.Iterations -= s.tried // outcome has added them
	s.write(op, best, r, true, true)
}

func (s *search) write(op *Operation, best *sched.Plan, r sched.Report, heard, plan bool) {
	op.Elapsed = s.spent + s.took()
	op.Iterations = s.tried + r.Iterations
	if heard {
		bound := s.x.cost(r.Bound)
		op.Bound, op.Gap = &bound, r.Gap
	}
	if best == nil {
		return
	}
	cost := s.x.cost(r.Objective)
	op.Best = &cost
	op.LateBatches, op.Lateness = s.x.lateness(*best)
	if plan {
		op.Warm = s.x.assignments(*best)
	}
}

// took is how long this attempt goes on or went on: it stands still once the engine has returned.
func (s *search) took() time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.lasted > 0 {
		return s.lasted
	}
	return time.Since(s.began)
}

// outcome is the engine's result, or what an earlier attempt had found when that is better: a computation that is
// interrupted and then cancelled loses nothing. Iterations are those of all attempts.
func (s *search) outcome(plan sched.Plan, r sched.Report, timed bool) (sched.Plan, sched.Report) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.lasted = time.Since(s.began)
	r.Iterations += s.tried
	plan, r = s.betterOf(plan, r)
	s.reason = s.ended(r, timed)
	if timed && (s.reason == EndTime || s.reason == EndSettled) {
		r.Stopped = false // a time that is spent, or not needed to its end, is a spent budget
	}
	return plan, r
}

// betterOf is the better of the engine's result and the best plan known. Call it with mu held.
func (s *search) betterOf(plan sched.Plan, r sched.Report) (sched.Plan, sched.Report) {
	if s.best == nil || len(plan.Assignments) > 0 && !s.report.Objective.Less(r.Objective) {
		return plan, r
	}
	r.Status, r.Objective, r.Bound, r.Gap, r.Conflicts = sched.StatusFeasible, s.report.Objective, s.report.Bound, s.report.Gap, nil
	if !r.Bound.Less(r.Objective) {
		r.Status, r.Gap = sched.StatusOptimal, 0
	}
	r.Late = s.x.lates(*s.best)
	return *s.best, r
}

// lates lists the activities of a plan that end after their due time.
func (x *instance) lates(plan sched.Plan) []sched.Late {
	ends := map[string]int64{}
	for _, a := range plan.Assignments {
		ends[a.Activity] = a.End
	}
	var out []sched.Late
	for i := range x.Activities {
		a := &x.Activities[i]
		if end, placed := ends[a.Name]; placed && a.DueWeight > 0 && end > a.Due {
			out = append(out, sched.Late{Activity: a.Name, Order: a.Order, Due: a.Due, End: end, Tardiness: end - a.Due, Cost: (end - a.Due) * a.DueWeight})
		}
	}
	return out
}

// lateness counts the late batches of a plan and sums their delays.
func (x *instance) lateness(plan sched.Plan) (batches int, sum time.Duration) {
	for _, l := range x.lates(plan) {
		batches++
		sum += time.Duration(l.Tardiness) * time.Second
	}
	return batches, sum
}

// searches are the computations of this process that go on, by operation. The zero value is ready for use.
type searches struct {
	mu     sync.Mutex
	byName map[string]*search
}

func (s *searches) put(name string, state *search) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.byName == nil {
		s.byName = map[string]*search{}
	}
	s.byName[name] = state
}

func (s *searches) remove(name string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.byName, name)
}

func (s *searches) get(name string) *search {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.byName[name]
}
