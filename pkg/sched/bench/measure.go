package main

import (
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/verify"
)

// result is what one run on one instance came to.
type result struct {
	benchCase
	seed       uint64
	status     sched.Status
	value      int64 // of what the family is compared by
	bound      int64 // proved by the engine
	objective  sched.Objective
	late       int
	gap        float64 // percent of the best known value; NaN when there is none
	first      time.Duration
	best       time.Duration // until the value was found
	took       time.Duration
	iterations int
	fault      string // why the run counts as wrong
	marked     bool   // a mark was set and a plan was there by then
	lateThen   int    // activities late at the mark
	needless   int    // of these, those that are on time at the end
}

// measure runs the engine once. Every plan that it hands out on the way is checked.
func measure(c benchCase, seed uint64, s settings, over func() bool) result {
	r := result{benchCase: c, seed: seed, gap: math.NaN()}
	w := s.start()
	in, err := c.read()
	if err != nil {
		r.fault = err.Error()
		return r
	}
	opt := s.options(seed, w, over)
	var previous sched.Objective
	var then map[string]bool
	opt.Incumbent = func(p sched.Plan, report sched.Report) {
		r.best = w.elapsed()
		if r.first == 0 {
			r.first = r.best
		} else if !report.Objective.Less(previous) {
			r.fault = fmt.Sprintf("a plan of value %v follows a better one of %v", report.Objective, previous)
		}
		previous = report.Objective
		w.leaveOut(func() { r.check(in, p) })
		if r.best.Seconds() <= s.mark {
			then, r.marked = lateIn(in, p), true
		}
	}
	plan, report, err := sched.Solve(in, opt)
	r.took = w.elapsed()
	if err != nil {
		r.fault = err.Error()
		return r
	}
	r.status, r.objective, r.iterations, r.late = report.Status, report.Objective, report.Iterations, len(report.Late)
	r.judge(in, plan, report)
	end := lateIn(in, plan)
	for name := range then {
		if !end[name] {
			r.needless++
		}
	}
	r.lateThen = len(then)
	return r
}

// lateIn names the activities that end after their due time.
func lateIn(in sched.Instance, p sched.Plan) map[string]bool {
	out := map[string]bool{}
	for i, as := range p.Assignments {
		if a := &in.Activities[i]; a.DueWeight > 0 && as.End > a.Due {
			out[as.Activity] = true
		}
	}
	return out
}

func (r *result) check(in sched.Instance, p sched.Plan) {
	if faults := verify.Check(in, p); len(faults) > 0 && r.fault == "" {
		r.fault = fmt.Sprintf("a plan breaks %d constraints, the first: %v", len(faults), faults[0])
	}
}

// judge compares the outcome with what is published.
func (r *result) judge(in sched.Instance, plan sched.Plan, report sched.Report) {
	r.value, r.bound = comparedBy(r.family, report.Objective), comparedBy(r.family, report.Bound)
	switch report.Status {
	case sched.StatusInfeasible:
		if !r.known.infeasible {
			r.fault = "said to be impossible, which nobody else has proved"
		}
		return
	case sched.StatusBudgetSpent:
		return
	}
	r.check(in, plan)
	if r.known.infeasible {
		r.fault = "a plan for an instance that is proved to have none"
		return
	}
	if r.known.hasLower && r.value < r.known.lower {
		r.fault = fmt.Sprintf("%d is below the published lower bound of %d: the reader, the checker or the bound is wrong", r.value, r.known.lower)
	}
	if r.known.hasUpper {
		if r.bound > r.known.upper {
			r.fault = fmt.Sprintf("the proved bound %d is above the published value %d", r.bound, r.known.upper)
		}
		r.gap = 100 * float64(r.value-r.known.upper) / math.Max(1, float64(r.known.upper))
	}
}

// comparedBy is the number that the publications of a family compare.
func comparedBy(family string, o sched.Objective) int64 {
	if family == "jsp-tardiness" || family == kitchenFamily || family == replanFamily {
		return o.Tardiness
	}
	return o.Makespan
}

// solved says whether a plan was found or its absence was proved.
func (r result) solved() bool {
	return r.fault == "" && (r.status == sched.StatusFeasible || r.status == sched.StatusOptimal || r.status == sched.StatusInfeasible)
}
