package project

import (
	"slices"
	"sync"
)

// Work is counted in ticks, of which a processor does some hundred million per second. The first rounds are short, so
// that a first schedule comes at once.
const (
	firstRound = 1 << 17
	lastRound  = 1 << 23
)

// worker searches in its own way for one round at a time.
type worker interface {
	// advance works until the round's limits and leaves in it what it found.
	advance(r *round)
}

// round is what a worker is told at its start and what it reports at its end.
type round struct {
	best  []int32 // best schedule so far, nil if none; only read
	end   int32   // its makespan, or one more than the horizon
	bound int32
	limit limits

	found    []int32 // better schedule, nil if none
	foundEnd int32
	newBound int32
	nothing  bool  // proved: there is no schedule shorter than end
	used     int64 // iterations
	ticks    int64
}

// improve notes a better schedule.
func (r *round) improve(starts []int32, end int32) {
	if end < r.end && (r.found == nil || end < r.foundEnd) {
		r.found = append(r.found[:0:0], starts...)
		r.foundEnd = end
	}
}

// search is the state of Solve.
type search struct {
	p       *Problem
	o       Options
	horizon int32
	in      *instance
	workers []worker
	res     Result
}

// Solve searches for a short schedule. It returns an error only if the problem is invalid or, ErrTooLong, too large.
func Solve(p *Problem, o Options) (Result, error) {
	if err := p.Validate(); err != nil {
		return Result{}, err
	}
	s := &search{p: p, o: o}
	if s.o.Iterations <= 0 {
		s.o.Iterations = DefaultIterations
	}
	horizon := freeHorizon(p)
	if p.Horizon > 0 {
		horizon = min(horizon, int64(p.Horizon))
	}
	if words := int64(len(p.Capacities)+1) / 2; (horizon+1)*max(1, words) > maxCells || len(p.Durations) > maxActivities {
		return Result{}, ErrTooLong
	}
	s.horizon = int32(horizon)
	s.res.Conflict.Resource = -1
	if len(p.Durations) == 0 {
		return Result{Starts: []int32{}, Status: Optimal}, nil
	}
	s.in = newInstance(p, s.horizon)
	if s.in == nil {
		s.res.Status = Infeasible
		s.res.Conflict = explainInfeasible(p, s.horizon)
		return s.res, nil
	}
	s.res.Bound = s.in.lo[s.in.n]
	s.run()
	return s.res, nil
}

func (s *search) run() {
	s.begin()
	ticks := int64(firstRound)
	for s.res.Status != Optimal && s.res.Status != Infeasible && s.res.Iterations < s.o.Iterations {
		if s.o.Deadline != nil && s.o.Deadline() {
			s.res.Stopped = true
			return
		}
		s.round(ticks)
		ticks = min(2*ticks, lastRound)
	}
}

// round lets the workers run side by side and collects what they found, in their order.
func (s *search) round(ticks int64) {
	rounds := make([]round, len(s.workers))
	left := max(1, (s.o.Iterations-s.res.Iterations)/int64(len(s.workers)))
	for k := range rounds {
		rounds[k] = round{
			best: s.res.Starts, end: s.cap(), bound: s.res.Bound, newBound: s.res.Bound,
			limit: limits{conflicts: left, ticks: ticks, stop: s.o.Deadline},
		}
	}
	if s.o.Workers > 1 {
		var wg sync.WaitGroup
		for k := 1; k < len(rounds); k++ {
			wg.Go(func() { s.workers[k].advance(&rounds[k]) })
		}
		s.workers[0].advance(&rounds[0])
		wg.Wait()
	} else {
		for k := range rounds {
			s.workers[k].advance(&rounds[k])
		}
	}
	for k := range rounds {
		r := &rounds[k]
		s.res.Iterations += max(1, r.used)
		if r.found != nil {
			s.improve(r.found, r.foundEnd)
		}
		if r.nothing {
			s.res.Bound = max(s.res.Bound, r.end)
		}
		s.res.Bound = max(s.res.Bound, min(r.newBound, s.cap()))
	}
	s.judge()
}

// cap is the makespan that a schedule has to beat.
func (s *search) cap() int32 {
	if s.res.Starts == nil {
		return s.horizon + 1
	}
	return s.res.Makespan
}

func (s *search) judge() {
	switch {
	case s.res.Starts == nil && s.res.Bound > s.horizon:
		s.res.Status = Infeasible
		s.res.Conflict = explainInfeasible(s.p, s.horizon)
	case s.res.Starts == nil:
	case s.res.Bound >= s.res.Makespan:
		s.res.Bound = s.res.Makespan
		s.res.Status = Optimal
	default:
		s.res.Status = Feasible
	}
}

// improve takes over a schedule if it is better and, checked once more, right.
func (s *search) improve(starts []int32, end int32) {
	if end >= s.cap() || !s.p.allows(starts) {
		return
	}
	s.res.Starts, s.res.Makespan = slices.Clone(starts), end
	if s.o.OnImprove != nil {
		s.o.OnImprove(slices.Clone(starts), end)
	}
}

// begin builds first schedules and chooses the workers.
func (s *search) begin() {
	if s.o.Start != nil && len(s.o.Start) == s.in.n {
		s.warm()
	}
	if s.in.regular {
		pop := newPopulation(s.in, s.o.Seed)
		for range 2 * rules {
			pop.step()
		}
		s.res.Iterations += pop.built
		if pop.best.end >= 0 {
			s.improve(pop.best.starts, pop.best.end)
		}
	}
	s.judge()
	if s.res.Status == Optimal {
		return
	}
	s.hire()
}

// A relay begins with what is best by itself; from then on it takes turns. In ticks, as measured on projects of 30 to 120
// activities: the exact engine ends by itself on most of the small ones and on few of the large.
const (
	exactFirst = 1 << 25
	listFirst  = 1 << 25
	small      = 75 // activities
)

// hire chooses two workers. What the first of a relay has not brought to an end by itself is worked on in turns.
func (s *search) hire() {
	p, seed := s.p, s.o.Seed
	exact := newExactWorker(p, engineOptions{seed: seed, pairs: true})
	if len(s.o.Start) == s.in.n && s.res.Starts == nil {
		exact.hint = s.o.Start
	}
	mend := &repairWorker{newRepair(p, seed+17)}
	if !s.in.regular || s.res.Starts == nil {
		other := newExactWorker(p, engineOptions{seed: seed + 1, energy: true, lubyUnit: 250})
		s.workers = []worker{
			&relay{first: exact, ticks: exactFirst, then: []worker{exact, mend}},
			&relay{first: other, ticks: exactFirst / 2, then: []worker{other, &repairWorker{newRepair(p, seed+29)}}},
		}
		return
	}
	in := newInstance(p, min(s.horizon, s.res.Makespan+s.res.Makespan/4+1))
	one, two := &listWorker{newPopulation(in, seed+3)}, &listWorker{newPopulation(in, seed+5)}
	polish := &polishWorker{two.pop, newRepair(p, seed+29)}
	a := &relay{first: exact, ticks: exactFirst, then: []worker{exact, one, mend}}
	if s.in.n <= small {
		a = &relay{first: exact, ticks: 4 * exactFirst, then: []worker{exact, one, exact, mend}}
	}
	s.workers = []worker{
		a,
		&relay{first: two, ticks: listFirst, then: []worker{two, polish}},
	}
}

// warm takes the given schedule, or what its order leads to.
func (s *search) warm() {
	if s.p.allows(s.o.Start) {
		s.improve(s.o.Start, s.p.makespan(s.o.Start))
		return
	}
	if !s.in.regular {
		return
	}
	b := newBuilder(s.in)
	starts, list := slices.Clone(s.o.Start), slices.Clone(s.in.topo)
	for _, i := range s.in.topo { // not before what has to come first
		for e := s.in.pred.off[i]; e < s.in.pred.off[i+1]; e++ {
			starts[i] = max(starts[i], starts[s.in.pred.to[e]])
		}
	}
	slices.SortStableFunc(list, func(i, j int32) int { return int(starts[i] - starts[j]) })
	if end := b.forward(list, starts, s.in.horizon); end >= 0 {
		s.improve(starts, end)
	}
}
