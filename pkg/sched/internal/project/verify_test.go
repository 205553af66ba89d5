package project_test

import (
	"fmt"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/internal/project"
	"rondeau.internal/pkg/sched/verify"
)

// instanceOf writes a project in the terms of package sched.
func instanceOf(p *project.Problem, horizon int64) sched.Instance {
	in := sched.Instance{Name: "project", Horizon: sched.Span{End: horizon}, Weights: sched.Weights{Makespan: 1}}
	for r, c := range p.Capacities {
		x := sched.Resource{Name: fmt.Sprintf("r%d", r), Capacity: int64(c)}
		if p.Levels != nil {
			for _, l := range p.Levels[r] {
				x.Levels = append(x.Levels, sched.Level{At: int64(l.At), Capacity: int64(l.Capacity)})
			}
		}
		in.Resources = append(in.Resources, x)
	}
	for i, d := range p.Durations {
		m := sched.Mode{Middle: int64(d)}
		for r, q := range p.Demands[i] {
			if q > 0 {
				m.Needs = append(m.Needs, sched.Need{Resource: fmt.Sprintf("r%d", r), Amount: int64(q)})
			}
		}
		a := sched.Activity{Name: fmt.Sprint(i), Modes: []sched.Mode{m}}
		if p.Releases != nil {
			a.Release = int64(p.Releases[i])
		}
		if p.Deadlines != nil && p.Deadlines[i] > 0 {
			a.Deadline = int64(p.Deadlines[i])
		}
		in.Activities = append(in.Activities, a)
	}
	for _, l := range p.Lags {
		in.Lags = append(in.Lags, sched.Lag{
			From: fmt.Sprint(l.From), FromEdge: sched.EdgeStart, To: fmt.Sprint(l.To), ToEdge: sched.EdgeStart, Min: int64(l.Min),
		})
	}
	return in
}

func planOf(in sched.Instance, p *project.Problem, res project.Result) sched.Plan {
	var plan sched.Plan
	for i, s := range res.Starts {
		end := int64(s + p.Durations[i])
		plan.Assignments = append(plan.Assignments, sched.Assignment{
			Activity: fmt.Sprint(i), Start: int64(s), End: end, HeldUntil: end,
		})
	}
	plan.Objective = in.Weights.Weigh(sched.Objective{Makespan: int64(res.Makespan)})
	return plan
}

func TestSchedulesPassTheIndependentChecker(t *testing.T) {
	t.Parallel()
	checked := 0
	for seed := range uint64(60) {
		p := example(seed)
		res, err := project.Solve(p, project.Options{Seed: seed, Iterations: 500})
		if err != nil {
			t.Fatal(err)
		}
		if res.Starts == nil {
			continue
		}
		checked++
		in := instanceOf(p, 4000)
		if faults := verify.Check(in, planOf(in, p, res)); len(faults) > 0 {
			t.Fatalf("project %d %+v: %v: %v", seed, p, res.Starts, faults)
		}
	}
	if checked < 30 {
		t.Errorf("only %d projects have a schedule", checked)
	}
}

// example makes a project of every kind that the package knows.
func example(seed uint64) *project.Problem {
	next := func(n int) int {
		seed = seed*6364136223846793005 + 1442695040888963407 // Knuth's MMIX generator, from memory
		return int(seed >> 33 % uint64(n))
	}
	n, kind := 12+next(12), next(4)
	p := &project.Problem{Capacities: []int32{6, 4, 7}}
	for i := range n {
		p.Durations = append(p.Durations, int32(next(6)))
		p.Demands = append(p.Demands, []int32{int32(next(5)), int32(next(4)), int32(next(6))})
		for range 2 {
			if i == 0 {
				continue
			}
			j := next(i)
			lag := p.Durations[j]
			if kind == 1 {
				lag = int32(next(6))
			}
			p.Lags = append(p.Lags, project.Lag{From: int32(j), To: int32(i), Min: lag})
			if kind == 2 && next(3) == 0 {
				p.Lags = append(p.Lags, project.Lag{From: int32(i), To: int32(j), Min: -lag - 12})
			}
		}
	}
	if kind == 3 {
		p.Levels = [][]project.Level{{{At: 5, Capacity: 3}, {At: 11, Capacity: 8}}, nil, {{At: 0, Capacity: 6}}}
		p.Releases, p.Deadlines = make([]int32, n), make([]int32, n)
		for i := range n {
			p.Releases[i], p.Deadlines[i] = int32(next(6)), -1
		}
		p.Deadlines[n-1] = 200
	}
	return p
}
