package shop

import (
	"errors"
	"fmt"
)

// maxSlots bounds the number of resources that one mode takes (an operator of a limited pool counts as one).
const maxSlots = 4

// timeLimit bounds all times, so that sums fit in 32 bits.
const timeLimit = 1 << 30

// ErrUnsupported reports a valid problem that this engine does not handle; a general engine has to be used.
var ErrUnsupported = errors.New("the shop engine does not handle this")

// Objective is what is minimised.
type Objective uint8

// The objectives.
const (
	// Makespan is the end of the last operation.
	Makespan Objective = iota
	// WeightedTardiness is the sum over jobs of weight * max(0, end - due).
	WeightedTardiness
)

// Problem is a shop problem. Times are whole numbers >= 0 in a unit of the caller's choice.
type Problem struct {
	// Resources is how many unary resources there are, numbered from 0.
	Resources int
	// Jobs are independent of each other but for the resources.
	Jobs []Job
	// Operators, if > 0, limits how many operations with a duration > 0 can run at the same time.
	Operators int
	// Blocking makes an operation hold its resources until the next operation of its job starts.
	Blocking bool
	// Objective is what is minimised.
	Objective Objective
}

// Job is a chain of operations.
type Job struct {
	// Release is the earliest start of the first operation.
	Release int64
	// Due and Weight matter for WeightedTardiness only.
	Due, Weight int64
	// Operations follow one another in this order.
	Operations []Operation
}

// Operation runs in one of its modes.
type Operation struct {
	// Release is the earliest start, besides that of the job.
	Release int64
	Modes   []Mode
}

// Mode is one way to run an operation.
type Mode struct {
	// Resources are taken for the whole duration. They are distinct; there may be none.
	Resources []int32
	Duration  int64
}

// Solution is a feasible plan.
type Solution struct {
	// Starts and Modes have one entry per operation, job by job.
	Starts []int64
	Modes  []int32
	// Value is the objective.
	Value int64
}

// Options steer Solve. The zero value is usable.
type Options struct {
	// Seed of the search's randomness.
	Seed uint64
	// Iterations bounds the moves of each worker; 0 means DefaultIterations.
	Iterations int64
	// Deadline, if set, is asked now and then by all workers at once (it must be safe for that) and ends the search when
	// it returns true. A plan is returned all the same.
	Deadline func() bool
	// Workers is the number of goroutines, 1 if it is 0.
	Workers int
	// OnImprove, if set, is told about better plans, from the calling goroutine. It owns what it gets.
	OnImprove func(Solution)
	// Start, if set, is a plan to begin with. Only its modes and the order of its starts are used.
	Start *Solution
}

// DefaultIterations is the budget per worker where none is given.
const DefaultIterations = 100000

// Result is the outcome of Solve.
type Result struct {
	Solution
	// Bound is a proved lower bound of the value.
	Bound int64
	// Iterations is how many moves were made by all workers; BestAt is how many one worker had made when it found
	// the best plan.
	Iterations, BestAt int64
	// Stopped says that the deadline ended the search.
	Stopped bool
}

// Optimal reports whether the value is proved to be the best possible.
func (r *Result) Optimal() bool { return r.Value <= r.Bound }

// Operations returns the number of operations.
func (p *Problem) Operations() int {
	n := 0
	for i := range p.Jobs {
		n += len(p.Jobs[i].Operations)
	}
	return n
}

// Validate reports the first fault of the problem, naming the job and the operation by their numbers from 0.
func (p *Problem) Validate() error {
	if p.Resources < 0 || p.Operators < 0 {
		return fmt.Errorf("%d resources and %d operators: neither may be negative", p.Resources, p.Operators)
	}
	if p.Objective > WeightedTardiness {
		return fmt.Errorf("objective %d is unknown", p.Objective)
	}
	var total, release int64
	seen := make([]int, p.Resources)
	stamp := 0
	for j := range p.Jobs {
		job := &p.Jobs[j]
		if job.Release < 0 || job.Release > timeLimit {
			return fmt.Errorf("job %d is released at %d; it must be between 0 and %d", j, job.Release, timeLimit)
		}
		if p.Objective == WeightedTardiness && (job.Weight < 0 || job.Weight > 1<<30) {
			return fmt.Errorf("job %d has weight %d; it must be between 0 and %d", j, job.Weight, 1<<30)
		}
		release = max(release, job.Release)
		for k := range job.Operations {
			var longest int64
			if len(job.Operations[k].Modes) == 0 {
				return fmt.Errorf("operation %d of job %d has no mode", k, j)
			}
			if r := job.Operations[k].Release; r < 0 || r > timeLimit {
				return fmt.Errorf("operation %d of job %d is released at %d; it must be between 0 and %d", k, j, r, timeLimit)
			}
			release = max(release, job.Operations[k].Release)
			for _, m := range job.Operations[k].Modes {
				if m.Duration < 0 || m.Duration > timeLimit {
					return fmt.Errorf("operation %d of job %d lasts %d; it must be between 0 and %d", k, j, m.Duration, timeLimit)
				}
				longest = max(longest, m.Duration)
				stamp++
				for _, r := range m.Resources {
					if r < 0 || int(r) >= p.Resources {
						return fmt.Errorf("operation %d of job %d takes resource %d; there are %d", k, j, r, p.Resources)
					}
					if seen[r] == stamp {
						return fmt.Errorf("operation %d of job %d takes resource %d twice", k, j, r)
					}
					seen[r] = stamp
				}
			}
			total += longest
			if total+release > timeLimit {
				return fmt.Errorf("durations and releases add up to more than %d; use a coarser unit of time", timeLimit)
			}
		}
	}
	if total+release > timeLimit {
		return fmt.Errorf("durations and releases add up to more than %d; use a coarser unit of time", timeLimit)
	}
	return nil
}
