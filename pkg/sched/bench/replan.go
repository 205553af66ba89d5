package main

import (
	"fmt"
	"math"
	"path"
	"time"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/kitchengen"
	"rondeau.internal/pkg/sched/verify"
)

const replanFamily = "replan"

// calm is how much a published place weighs: a second of moving like the weights of the instance say, another vessel
// like an hour.
var calm = sched.Stability{MoveWeight: 1, ModeWeight: 3600}

// replan is one plan that has become impossible or can be bettered.
type replan struct {
	in        sched.Instance
	published sched.Plan
	now       int64
}

// answer is the best plan at some time after the disturbance.
type answer struct {
	there bool
	cost  sched.Objective
	moved int // activities that have not started and are not where they were
}

// outcome is what re-planning came to.
type outcome struct {
	early, good, end answer // at 0.2 s, at 2 s, at the end
	scratch          answer // without the published plan, in the same time as the end
}

// replans are the disturbances of kitchens of given sizes.
func replans(s settings) []benchCase {
	var out []benchCase
	for _, n := range s.sizes {
		for _, what := range kitchengen.Disturbances() {
			if ok, _ := path.Match(s.match, string(what)); !ok { // the pattern was checked
				continue
			}
			out = append(out, benchCase{
				family: replanFamily, group: fmt.Sprintf("%d batches", n), name: fmt.Sprintf("%s-%d", what, n),
				disturb: func(seed uint64) (replan, error) { return disturbed(n, what, seed, s.published) },
			})
		}
	}
	return out
}

func disturbed(batches int, what kitchengen.Disturbance, seed uint64, steps int) (replan, error) {
	in := kitchengen.Kitchen(seed, kitchengen.Size{Batches: batches})
	published, _, err := sched.Solve(in, sched.Options{Seed: seed, Iterations: steps})
	if err != nil {
		return replan{}, err
	}
	r := replan{published: published}
	r.in, r.now = kitchengen.Disturb(in, published, what, seed)
	return r, nil
}

// measureReplan plans again after a disturbance, and once more as if nothing had been published.
func measureReplan(c benchCase, seed uint64, s settings, over func() bool) (result, outcome) {
	r := result{benchCase: c, seed: seed, gap: math.NaN()}
	var o outcome
	again, err := c.disturb(seed)
	if err != nil {
		r.fault = err.Error()
		return r, o
	}
	again.in.Weights.Blend = s.blend
	in := sched.Follow(again.in, again.published, again.now, calm)
	w := s.start()
	opt := s.options(seed, w, over)
	opt.Warm = &again.published
	var previous sched.Objective
	opt.Incumbent = func(p sched.Plan, report sched.Report) {
		t := w.elapsed()
		r.best = t
		if r.first == 0 {
			r.first = t
		} else if !report.Objective.Less(previous) {
			r.fault = fmt.Sprintf("a plan of value %v follows a better one of %v", report.Objective, previous)
		}
		previous = report.Objective
		a := answer{there: true, cost: report.Objective, moved: moved(again, p)}
		w.leaveOut(func() { r.check(in, p) })
		if t <= 200*time.Millisecond {
			o.early = a
		}
		if t <= 2*time.Second {
			o.good = a
		}
	}
	plan, report, err := sched.Solve(in, opt)
	r.took = w.elapsed()
	if err != nil {
		r.fault = err.Error()
		return r, o
	}
	r.status, r.objective, r.iterations, r.late = report.Status, report.Objective, report.Iterations, len(report.Late)
	r.judge(in, plan, report)
	o.end = answer{there: len(plan.Assignments) > 0, cost: report.Objective, moved: moved(again, plan)}
	plan, report, err = sched.Solve(withoutPrevious(in), s.options(seed, s.start(), over))
	if err != nil {
		r.fault = err.Error()
		return r, o
	}
	if len(plan.Assignments) > 0 {
		cost, _ := verify.Cost(in, plan)
		o.scratch = answer{there: true, cost: cost, moved: moved(again, plan)}
	}
	return r, o
}

// withoutPrevious forgets what was published.
func withoutPrevious(in sched.Instance) sched.Instance {
	out := in
	out.Activities = append([]sched.Activity(nil), in.Activities...)
	for i := range out.Activities {
		out.Activities[i].Previous = nil
	}
	return out
}

// moved counts the activities that begin at another time, or are done in another way, than was published.
func moved(r replan, p sched.Plan) int {
	n := 0
	for i, as := range p.Assignments {
		if i < len(r.published.Assignments) {
			if was := r.published.Assignments[i]; was.Start != as.Start || was.Mode != as.Mode {
				n++
			}
		}
	}
	return n
}

const replanFormat = "%-22s %4v %8v | %s | %s | %s | %s %11v  %s\n"

func (t table) replanHead() {
	head := func(when string) string { return fmt.Sprintf("%10s %10s %5s", when, "rest", "moved") }
	fmt.Fprintf(t.out, replanFormat, "instance", "seed", "first s", head("at 0.2 s"), head("at 2 s"), head("end"), head("scratch"), "iterations", "plans")
}

func (t table) replanRow(r result, o outcome) {
	cell := func(a answer) string {
		if !a.there {
			return fmt.Sprintf("%10s %10s %5s", "-", "-", "-")
		}
		return fmt.Sprintf("%10d %10d %5d", a.cost.First, a.cost.Rest, a.moved)
	}
	state := "verified"
	if r.fault != "" {
		state = "WRONG: " + r.fault
	}
	first := "-"
	if r.first > 0 {
		first = fmt.Sprintf("%.3f", r.first.Seconds())
	}
	fmt.Fprintf(t.out, replanFormat, r.name, r.seed, first, cell(o.early), cell(o.good), cell(o.end), cell(o.scratch), r.iterations, state)
}
