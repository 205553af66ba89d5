package sched

import (
	"cmp"
	"slices"

	"rondeau.internal/pkg/sched/internal/shop"
)

// shopView is a problem seen as a shop: chains of activities on vessels that serve one at a time, and nothing else that
// matters. Package shop is far stronger on these than the general search.
type shopView struct {
	problem shop.Problem
	acts    []int32 // per operation, job by job, the activity
}

// asShop returns the shop that the problem is, or nil.
func (p *problem) asShop() *shopView {
	chains := p.chains()
	if chains == nil || len(p.stores) > 0 || len(p.links) > 0 || !p.plainVessels() {
		return nil
	}
	v := &shopView{}
	v.problem.Objective = p.shopObjective()
	units, operators, ok := p.shopResources()
	if !ok {
		return nil
	}
	v.problem.Operators = operators
	v.problem.Resources = len(p.vessels)
	for _, u := range units {
		if u >= 0 {
			v.problem.Resources++
		}
	}
	if v.problem.Blocking, ok = p.shopHolds(); !ok {
		return nil
	}
	for _, chain := range chains {
		var job shop.Job
		for i, a := range chain {
			c := &p.acts[a]
			switch {
			case c.fixed, c.deadline < Forever, c.weight > 0 && i < len(chain)-1, p.in.Activities[a].Previous != nil:
				return nil
			}
			op, ok := p.shopOperation(c, units)
			if !ok {
				return nil
			}
			if i > 0 {
				op.Release = c.release - p.from
			}
			job.Operations = append(job.Operations, op)
			v.acts = append(v.acts, a)
		}
		first, last := &p.acts[chain[0]], &p.acts[chain[len(chain)-1]]
		job.Release = first.release - p.from
		if last.weight > 0 {
			job.Due, job.Weight = last.due-p.from, last.weight
		}
		v.problem.Jobs = append(v.problem.Jobs, job)
	}
	if v.problem.Validate() != nil {
		return nil
	}
	return v
}

// shopObjective says what a shop has to minimise first; what is left after that does not matter or cannot differ.
func (p *problem) shopObjective() shop.Objective {
	for a := range p.acts {
		if p.acts[a].weight > 0 {
			return shop.WeightedTardiness
		}
	}
	return shop.Makespan
}

// chains lists the activities job by job when every lag just says that one follows another, nil when something else is
// asked.
func (p *problem) chains() [][]int32 {
	w := &p.in.Weights
	if w.Blend > 0 || len(p.acts) == 0 || w.Makespan == 0 && p.shopObjective() == shop.Makespan {
		return nil
	}
	next, before := make([]int32, len(p.acts)), make([]int32, len(p.acts))
	for a := range next {
		next[a], before[a] = -1, -1
	}
	for i := range p.arcs {
		r := &p.arcs[i]
		if !r.uEnd || r.vEnd || r.w != 0 || r.lag >= 0 && p.in.Lags[r.lag].FreshWeight > 0 && w.Freshness > 0 {
			return nil
		}
		if next[r.u] >= 0 && next[r.u] != r.v || before[r.v] >= 0 && before[r.v] != r.u {
			return nil
		}
		next[r.u], before[r.v] = r.v, r.u
	}
	var out [][]int32
	n := 0
	for a := range p.acts {
		if before[a] >= 0 {
			continue
		}
		var chain []int32
		for x := int32(a); x >= 0; x = next[x] {
			chain = append(chain, x)
		}
		n += len(chain)
		out = append(out, chain)
	}
	if n < len(p.acts) {
		return nil // a circle
	}
	return out
}

// plainVessels reports whether no vessel is ever down or to be cleaned.
func (p *problem) plainVessels() bool {
	for i := range p.vessels {
		v := &p.vessels[i]
		if len(v.down) > 0 || v.setup != nil {
			return false
		}
	}
	return true
}

// shopHolds reports whether every activity that has a successor holds all its vessels for it (a blocking shop), or none
// does; ok is false for anything between.
func (p *problem) shopHolds() (blocking, ok bool) {
	holds, frees, follow := 0, false, 0
	for a := range p.acts {
		c := &p.acts[a]
		for _, k := range c.arcs {
			if p.arcs[k].u == int32(a) {
				follow++
				break
			}
		}
		if c.until >= 0 {
			holds++
		}
		for m := range c.modes {
			for _, u := range c.modes[m].uses {
				frees = frees || u.free
			}
		}
	}
	return holds > 0, holds == 0 || holds == follow && !frees
}

// shopResources finds, per cumulative resource, the number of the unary resource that it amounts to (capacity 1), -1 for
// one that nobody takes and -2 for the pool of operators, of which there can be one.
func (p *problem) shopResources() (units []int32, operators int, ok bool) {
	units = make([]int32, len(p.base))
	next := int32(len(p.vessels))
	pool := int32(-1)
	for r := range p.base {
		units[r] = -1
		all, some := true, false
		for a := range p.acts {
			for m := range p.acts[a].modes {
				takes := false
				for i := range p.acts[a].modes[m].dems {
					d := &p.acts[a].modes[m].dems[i]
					if d.res != int32(r) {
						continue
					}
					if takes || d.add != 1 || d.check != 1 || d.kind != demSolid {
						return nil, 0, false
					}
					takes = true
				}
				some = some || takes
				all = all && (takes || p.acts[a].modes[m].total == 0)
			}
		}
		if !some {
			continue
		}
		if len(p.base[r].free) != 1 {
			return nil, 0, false
		}
		switch capacity := p.base[r].free[0]; {
		case capacity == 1:
			units[r] = next
			next++
		case all && pool < 0 && capacity > 1:
			units[r], pool, operators = -2, int32(r), int(min(capacity, int64(len(p.acts))))
		default:
			return nil, 0, false
		}
	}
	return units, operators, true
}

// shopOperation reads the modes of one activity.
func (p *problem) shopOperation(c *cact, units []int32) (shop.Operation, bool) {
	var op shop.Operation
	for m := range c.modes {
		mode := &c.modes[m]
		if !mode.plain || mode.pauses || mode.energy != c.modes[0].energy && p.in.Weights.Energy > 0 {
			return op, false
		}
		out := shop.Mode{Duration: mode.total}
		for _, u := range mode.uses {
			out.Resources = append(out.Resources, u.vessel)
		}
		for i := range mode.dems {
			d := &mode.dems[i]
			if !mode.covers(d) {
				return op, false
			}
			if units[d.res] >= 0 {
				out.Resources = append(out.Resources, units[d.res])
			}
		}
		op.Modes = append(op.Modes, out)
	}
	return op, true
}

// covers reports whether a demand lasts through every phase that takes time.
func (m *cmode) covers(d *cdem) bool {
	for k := range 3 {
		if m.d[k] > 0 && (int8(k) < d.lo || int8(k) > d.hi) {
			return false
		}
	}
	return true
}

// movesPerPlan is how many moves of the shop engine count as one plan tried.
const movesPerPlan = 50

// shopWorkers search at the same time; their number is part of what makes a result repeatable.
const shopWorkers = 2

// runShop lets package shop search. It reports whether it did: a plan that does not fit the horizon, for example, is left
// to the general search.
func (s *searcher) runShop(v *shopView) bool {
	options := shop.Options{
		Seed: s.opt.Seed, Iterations: movesPerPlan * int64(min(s.budget, 1<<40)), Deadline: s.opt.Stop, Workers: shopWorkers,
		OnImprove: func(sol shop.Solution) { s.adopt(v, sol) },
	}
	r, err := shop.Solve(&v.problem, options)
	if err != nil {
		return false
	}
	s.used += int(min(r.Iterations/movesPerPlan, int64(s.budget)))
	s.stopped = s.stopped || r.Stopped
	s.adopt(v, r.Solution)
	if s.best == nil {
		return false
	}
	bound := Objective{Tardiness: s.bound.Tardiness, Makespan: s.bound.Makespan, Energy: s.bound.Energy}
	if v.problem.Objective == shop.Makespan {
		bound.Makespan = max(bound.Makespan, r.Bound)
	} else {
		bound.Tardiness = max(bound.Tardiness, r.Bound)
	}
	s.bound = s.p.in.Weights.Weigh(bound)
	return true
}

// adopt makes a plan of the shop engine the best one, if it is.
func (s *searcher) adopt(v *shopView, sol shop.Solution) {
	if len(sol.Starts) != len(v.acts) {
		return
	}
	mode, start := make([]int32, len(v.acts)), make([]int64, len(v.acts))
	for i, a := range v.acts {
		mode[a], start[a] = sol.Modes[i], s.p.from+sol.Starts[i]
	}
	s.follow(mode, start)
}

// follow decodes the plan in which every activity has the given mode and start.
func (s *searcher) follow(mode []int32, start []int64) {
	key := make([]float64, len(start))
	for a := range start {
		key[a] = float64(start[a])
	}
	g := s.p.plain(key)
	g.tight, g.seq = true, nil
	for a := range start {
		if s.p.acts[a].fixed {
			continue
		}
		g.mode[a], g.after[a] = mode[a], start[a]
		g.seq = append(g.seq, int32(a))
	}
	slices.SortStableFunc(g.seq, func(a, b int32) int { return cmp.Compare(start[a], start[b]) })
	s.used-- // following is not trying
	s.try(g, nil)
}
