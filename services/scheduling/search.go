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

	mu      sync.Mutex
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
	warm.Objective = objective(*op.Best)
	s.best, s.heard = &warm, true
	s.report = sched.Report{Status: sched.StatusFeasible, Objective: warm.Objective, Bound: objective(*op.Bound), Gap: op.Gap}
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
	}
	s.report.Bound = r.Bound
	s.report.Iterations = max(s.report.Iterations, r.Iterations)
	close(s.changed)
	s.changed = make(chan struct{})
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
	op.Elapsed = s.spent + time.Since(s.began)
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

// outcome is the engine's result, or what an earlier attempt had found when that is better: a computation that is
// interrupted and then cancelled loses nothing. Iterations are those of all attempts.
func (s *search) outcome(plan sched.Plan, r sched.Report) (sched.Plan, sched.Report) {
	s.mu.Lock()
	defer s.mu.Unlock()
	r.Iterations += s.tried
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
