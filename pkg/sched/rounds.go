package sched

import "sync"

// A long memory finds better plans and takes longer to do so: it begins short and doubles whenever nothing better has
// come for a while.
const (
	shortMemory = 80
	longMemory  = 5000
	// patience is how many times its memory a search goes on without a better plan.
	patience = 20
)

// rebuildWorkers search at the same time; their number is part of what makes a result repeatable.
const rebuildWorkers = 2

// longRound is the greatest number of steps that each worker makes before they compare their plans.
const longRound = 400

// rebuild searches by taking out and placing anew. The workers meet after a number of steps, not of seconds, so that the
// result does not depend on how fast each of them is.
func (s *searcher) rebuild() {
	var workers []*rebuilder
	for range rebuildWorkers {
		r := s.newRebuilder(s.best, s.r.next())
		if r == nil {
			return
		}
		workers = append(workers, r)
	}
	for round := 10; !s.halted(); round = min(2*round, longRound) {
		n := min(round, max(1, (s.budget-s.used)/len(workers)))
		var wait sync.WaitGroup
		for _, r := range workers {
			wait.Go(func() { r.search(n, s.opt.Stop) })
		}
		wait.Wait()
		s.used += n * len(workers)
		s.meet(workers)
		for _, r := range workers {
			if !r.goOn(s.best) {
				return
			}
		}
	}
}

// meet takes over the best plan of the workers if it is better than what is known.
func (s *searcher) meet(workers []*rebuilder) {
	var best *rebuilder
	for _, r := range workers {
		if r.least.Less(s.best.cost) && (best == nil || r.least.Less(best.least)) {
			best = r
		}
	}
	if best != nil {
		s.best, s.plan = best.kept.s.solution(best.least), best.kept.s.plan(best.least)
	}
	s.tell(best != nil)
}

// goOn decides from where a worker searches next, given the best plan of all: from there with a longer memory when it has
// found nothing for long; from there when another one has found something better and it has not; else from where it is.
func (r *rebuilder) goOn(best *solution) bool {
	switch n := len(r.memory); {
	case r.stall > patience*n:
		if !r.load(best) {
			return false
		}
		r.remember(min(2*n, longMemory))
	case r.stall > n+len(r.p.acts)/6 && best.cost.Less(r.least): // loading costs about as many steps
		if !r.load(best) {
			return false
		}
		r.remember(n)
	}
	return true
}

// search makes n steps of late acceptance.
func (r *rebuilder) search(n int, stop func() bool) {
	for range n {
		if stop != nil && stop() {
			break
		}
		slot := &r.memory[r.steps%len(r.memory)]
		limit := *slot
		if limit.Less(r.cost) {
			limit = r.cost
		}
		r.step(&limit)
		if r.cost.Less(*slot) {
			*slot = r.cost
		}
		r.steps++
		r.stall++
	}
}
