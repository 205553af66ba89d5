package sched

import (
	"math"

	"rondeau.internal/pkg/sched/internal/project"
)

// asProject returns the problem as a project, one that consists of activities of one mode with lags and cumulative
// resources and asks for an early end; nil when it is more than that. Package project is far stronger on these than the
// general search.
func (p *problem) asProject() *project.Problem {
	w := &p.in.Weights
	if w.Blend > 0 || w.Makespan == 0 || len(p.acts) == 0 || len(p.stores) > 0 || len(p.links) > 0 || !p.plainVessels() || p.to-p.from >= project.TimeLimit {
		return nil
	}
	out := &project.Problem{Horizon: int32(p.to - p.from)}
	if !p.projectResources(out) {
		return nil
	}
	for a := range p.acts {
		if !p.projectActivity(out, int32(a)) {
			return nil
		}
	}
	for i := range p.arcs {
		r := &p.arcs[i]
		if r.lag >= 0 && p.in.Lags[r.lag].FreshWeight > 0 && w.Freshness > 0 {
			return nil
		}
		least := r.w
		if r.uEnd {
			least += int64(out.Durations[r.u])
		}
		if r.vEnd {
			least -= int64(out.Durations[r.v])
		}
		if least <= -project.TimeLimit {
			continue // never binds within the horizon
		}
		out.Lags = append(out.Lags, project.Lag{From: r.u, To: r.v, Min: int32(min(least, project.TimeLimit-1))})
	}
	if out.Validate() != nil {
		return nil
	}
	return out
}

// projectResources lists the cumulative resources, then the vessels, of which there is one each.
func (p *problem) projectResources(out *project.Problem) bool {
	varies := false
	for r := range p.base {
		b := &p.base[r]
		if b.free[0] > math.MaxInt32 || b.free[0] < 0 {
			return false
		}
		first, levels := b.free[0], []project.Level(nil)
		for i := 1; i < len(b.at); i++ {
			if b.free[i] > math.MaxInt32 || b.free[i] < 0 {
				return false
			}
			switch {
			case b.at[i] <= p.from:
				first = b.free[i]
			case b.at[i] < p.to:
				levels = append(levels, project.Level{At: int32(b.at[i] - p.from), Capacity: int32(b.free[i])})
			}
		}
		out.Capacities = append(out.Capacities, int32(first))
		out.Levels = append(out.Levels, levels)
		varies = varies || len(levels) > 0
	}
	for range p.vessels {
		out.Capacities = append(out.Capacities, 1)
		out.Levels = append(out.Levels, nil)
	}
	if !varies {
		out.Levels = nil
	}
	return true
}

// projectActivity adds one activity; false when it is more than a project has.
func (p *problem) projectActivity(out *project.Problem, a int32) bool {
	c := &p.acts[a]
	if len(c.modes) != 1 || c.weight > 0 || c.fact || c.until >= 0 || p.in.Activities[a].Previous != nil {
		return false
	}
	m := &c.modes[0]
	if !m.plain || m.pauses || m.total >= project.TimeLimit {
		return false
	}
	demands := make([]int32, len(p.base)+len(p.vessels))
	for i := range m.dems {
		d := &m.dems[i]
		if d.kind != demSolid || !m.covers(d) || d.add != d.check || d.add > math.MaxInt32 {
			return false
		}
		if m.total > 0 {
			demands[d.res] += int32(d.add)
		}
	}
	for _, u := range m.uses {
		if m.total == 0 {
			return false // a vessel that is only touched
		}
		demands[len(p.base)+int(u.vessel)]++
	}
	release, deadline := c.release-p.from, int64(-1)
	if c.deadline < Forever {
		deadline = c.deadline - p.from
	}
	if c.fixed {
		release, deadline = c.fixStart-p.from, c.fixStart-p.from+m.total
	}
	if release < 0 || release >= project.TimeLimit || deadline >= project.TimeLimit || deadline < -1 {
		return false
	}
	out.Durations = append(out.Durations, int32(m.total))
	out.Demands = append(out.Demands, demands)
	out.Releases = append(out.Releases, int32(release))
	out.Deadlines = append(out.Deadlines, int32(deadline))
	return true
}

// triesPerPlan is how many schedules and dead ends of the project engine count as one plan tried.
const triesPerPlan = 50

// runProject lets package project search. It reports whether it did, and the proved contradiction if there is one.
func (s *searcher) runProject(v *project.Problem) (done bool, impossible *Conflict) {
	options := project.Options{
		Seed: s.opt.Seed, Iterations: triesPerPlan * int64(min(s.budget, 1<<40)), Deadline: s.opt.Stop, Workers: 2,
		OnImprove: func(starts []int32, _ int32) { s.adoptStarts(starts) },
	}
	r, err := project.Solve(v, options)
	if err != nil {
		return false, nil
	}
	s.used += int(min(r.Iterations/triesPerPlan, int64(s.budget)))
	s.stopped = s.stopped || r.Stopped
	if r.Status == project.Infeasible {
		return true, s.p.noRoom(v, &r.Conflict)
	}
	if r.Starts == nil {
		return false, nil // the general search explains what stands in the way
	}
	s.adoptStarts(r.Starts)
	if s.best == nil {
		return false, nil
	}
	bound := s.bound
	bound.Makespan = max(bound.Makespan, int64(r.Bound))
	s.bound = s.p.in.Weights.Weigh(bound)
	return true, nil
}

// adoptStarts makes a plan of the project engine the best one, if it is.
func (s *searcher) adoptStarts(starts []int32) {
	mode, start := make([]int32, len(starts)), make([]int64, len(starts))
	for a := range starts {
		start[a] = s.p.from + int64(starts[a])
	}
	s.follow(mode, start)
}

// noRoom says in words what the project engine found to be impossible together.
func (p *problem) noRoom(v *project.Problem, c *project.Conflict) *Conflict {
	out := &Conflict{Kind: ConflictLags, Proved: true, Message: "the lags, the resources and the end of the horizon leave no room for all activities together"}
	seen := map[int32]bool{}
	name := func(a int32) {
		if !seen[a] {
			seen[a] = true
			out.Activities = append(out.Activities, p.name(a))
		}
	}
	for _, a := range c.Activities {
		name(a)
	}
	for _, l := range c.Lags {
		name(v.Lags[l].From)
		name(v.Lags[l].To)
	}
	switch {
	case c.Resource >= 0 && int(c.Resource) < len(p.base):
		out.Kind, out.Resources = ConflictCapacity, []string{p.in.Resources[c.Resource].Name}
		out.Message = "needs more of " + p.in.Resources[c.Resource].Name + " than there is"
	case len(c.Lags) > 0:
		out.Message = "the least and greatest lags between these activities contradict each other"
	}
	return out
}
