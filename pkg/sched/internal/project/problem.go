package project

import (
	"errors"
	"fmt"
)

// TimeLimit bounds every time, duration and lag of a Problem, so that sums of a few of them fit in 32 bits.
const TimeLimit = 1 << 26

// maxCells bounds the size of the table of free capacity over time, and so the memory of one worker.
const maxCells = 1 << 21

// maxActivities bounds what is kept for each pair of activities.
const maxActivities = 2000

// ErrTooLong reports a valid problem that is too large for this package: its horizon has too many units of time, or it
// has too many activities. A general engine has to be used.
var ErrTooLong = errors.New("the horizon has too many time units, or there are too many activities, for the project engine")

// Problem is a project. Times are whole numbers in a unit of the caller's choice.
type Problem struct {
	// Durations, one per activity, >= 0. An activity of no duration takes no resources.
	Durations []int32
	// Demands[i][r] is what activity i takes of resource r while it runs, >= 0.
	Demands [][]int32
	// Capacities of the resources, >= 0.
	Capacities []int32
	// Levels[r], if there, changes the capacity of resource r over time. Nil means that all capacities are constant.
	Levels [][]Level
	// Lags tie the starts of pairs of activities.
	Lags []Lag
	// Releases are the earliest starts, >= 0. Nil means that everything may start at 0.
	Releases []int32
	// Deadlines are the latest ends; a negative one means none. Nil means that there are none.
	Deadlines []int32
	// Horizon is the latest end of all; 0 means none, then a span is computed in which a shortest schedule fits.
	Horizon int32
}

// Level is the capacity of a resource from a moment on, until the next Level. Moments ascend.
type Level struct {
	At, Capacity int32
}

// Lag requires start(To) >= start(From) + Min. Min may be negative: then it is a greatest lag the other way,
// start(From) <= start(To) - Min.
type Lag struct {
	From, To, Min int32
}

// Validate reports the first fault.
func (p *Problem) Validate() error {
	n, r := len(p.Durations), len(p.Capacities)
	switch {
	case len(p.Demands) != n:
		return fmt.Errorf("project: %d activities have durations but %d have demands", n, len(p.Demands))
	case p.Levels != nil && len(p.Levels) != r:
		return fmt.Errorf("project: %d resources have capacities but %d have levels", r, len(p.Levels))
	case p.Releases != nil && len(p.Releases) != n:
		return fmt.Errorf("project: %d activities but %d releases", n, len(p.Releases))
	case p.Deadlines != nil && len(p.Deadlines) != n:
		return fmt.Errorf("project: %d activities but %d deadlines", n, len(p.Deadlines))
	case p.Horizon < 0 || p.Horizon > TimeLimit:
		return fmt.Errorf("project: the horizon is %d; it must lie between 0 and %d", p.Horizon, TimeLimit)
	}
	for i := range n {
		if err := p.validateActivity(i); err != nil {
			return err
		}
	}
	for i, c := range p.Capacities {
		if c < 0 || c > TimeLimit {
			return fmt.Errorf("project: the capacity of resource %d is %d; it must lie between 0 and %d", i, c, TimeLimit)
		}
	}
	for i, levels := range p.Levels {
		for k, l := range levels {
			if l.At < 0 || l.At > TimeLimit || l.Capacity < 0 || l.Capacity > TimeLimit || k > 0 && l.At <= levels[k-1].At {
				return fmt.Errorf("project: level %d of resource %d is out of range or out of order", k, i)
			}
		}
	}
	for k, l := range p.Lags {
		if l.From < 0 || int(l.From) >= n || l.To < 0 || int(l.To) >= n || l.Min < -TimeLimit || l.Min > TimeLimit {
			return fmt.Errorf("project: lag %d joins %d and %d by %d; there are %d activities and lags lie within %d",
				k, l.From, l.To, l.Min, n, TimeLimit)
		}
	}
	return nil
}

func (p *Problem) validateActivity(i int) error {
	if d := p.Durations[i]; d < 0 || d > TimeLimit {
		return fmt.Errorf("project: the duration of activity %d is %d; it must lie between 0 and %d", i, d, TimeLimit)
	}
	if len(p.Demands[i]) != len(p.Capacities) {
		return fmt.Errorf("project: activity %d has %d demands for %d resources", i, len(p.Demands[i]), len(p.Capacities))
	}
	for r, q := range p.Demands[i] {
		if q < 0 || q > TimeLimit {
			return fmt.Errorf("project: activity %d takes %d of resource %d; it must lie between 0 and %d", i, q, r, TimeLimit)
		}
	}
	if p.Releases != nil && (p.Releases[i] < 0 || p.Releases[i] > TimeLimit) {
		return fmt.Errorf("project: the release of activity %d is %d; it must lie between 0 and %d", i, p.Releases[i], TimeLimit)
	}
	if p.Deadlines != nil && p.Deadlines[i] > TimeLimit {
		return fmt.Errorf("project: the deadline of activity %d is %d; it must be at most %d", i, p.Deadlines[i], TimeLimit)
	}
	return nil
}

// Status says what is known about the result.
type Status uint8

// The statuses.
const (
	Unknown    Status = iota // no schedule found, none proved impossible
	Feasible                 // a schedule; a shorter one may exist
	Optimal                  // the makespan equals the bound
	Infeasible               // proved that there is no schedule
)

// Options steer Solve. The zero value is usable.
type Options struct {
	// Seed of the search's randomness.
	Seed uint64
	// Iterations is the budget: schedules built and dead ends met, by both workers together. What is begun is finished,
	// so that it may be exceeded by a little. 0 means DefaultIterations.
	Iterations int64
	// Deadline, if set, is asked now and then by both workers (it must be safe for that) and ends the search when it
	// returns true. The best schedule so far is returned.
	Deadline func() bool
	// Workers is the number of goroutines, 1 or 2; 0 means 1. The result does not depend on it.
	Workers int
	// OnImprove, if set, is told about better schedules, from the calling goroutine. It owns what it gets.
	OnImprove func(starts []int32, makespan int32)
	// Start, if set, is a schedule to begin with, one start per activity. If it breaks a constraint, the search only
	// leans towards it.
	Start []int32
}

// DefaultIterations is the budget where none is given.
const DefaultIterations = 100000

// Result is the outcome of Solve.
type Result struct {
	// Starts of the best schedule; nil when there is none.
	Starts []int32
	// Makespan is its latest end; 0 without a schedule.
	Makespan int32
	// Bound: no schedule has a smaller makespan.
	Bound  int32
	Status Status
	// Conflict says why nothing is feasible, where that is known.
	Conflict Conflict
	// Iterations used.
	Iterations int64
	// Stopped says that the deadline ended the search.
	Stopped bool
}

// Conflict is a set of things that cannot be had together.
type Conflict struct {
	// Lags are indices into Problem.Lags that, on their own or with the releases, deadlines and horizon, form a
	// contradiction.
	Lags []int32
	// Activities are involved in it; with Resource >= 0, the demand of the only one is above the capacity.
	Activities []int32
	// Resource that is too small, or -1.
	Resource int32
}
