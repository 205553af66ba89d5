package sched

import (
	"cmp"
	"slices"
)

// Solve looks for a good plan. The error is Faults when the instance is invalid; infeasibility is not an error but a
// Report with StatusInfeasible. A returned plan with assignments respects every constraint of the instance; callers
// check it with package verify all the same before they save it.
func Solve(in Instance, opt Options) (Plan, Report, error) {
	if err := in.Validate(); err != nil {
		return Plan{}, Report{}, err
	}
	p := compile(&in)
	w, conflicts := p.impossible()
	if len(conflicts) > 0 {
		return Plan{}, Report{Status: StatusInfeasible, Gap: 1, Conflicts: conflicts}, nil
	}
	s := &searcher{p: p, opt: &opt, d: newDecoder(p), keys: p.urgency(), why: tally{}, budget: opt.Iterations}
	s.r.s = opt.Seed
	s.d.stop = opt.Stop
	if s.budget <= 0 {
		s.budget = DefaultIterations
	}
	s.bound = p.lowerBound(w, s.keys)
	s.tell = func(improved bool) {
		if improved && opt.Incumbent != nil {
			opt.Incumbent(clonePlan(s.plan), s.report())
		}
		if opt.Progress != nil {
			opt.Progress(s.report())
		}
	}
	if f, ok := s.d.placeFixed(); !ok {
		x := p.explainMiss(f)
		x.Kind, x.Proved = ConflictFixed, !p.cleans(f.act)
		x.Message = p.name(f.act) + " cannot be where it is pinned: " + x.Message
		x.Relaxations = append([]Relaxation{{Subject: p.name(f.act), What: "release from its pinned start"}}, x.Relaxations...)
		r := Report{Status: StatusBudgetSpent, Gap: 1, Bound: s.bound, Conflicts: []Conflict{x}}
		if x.Proved {
			r.Status = StatusInfeasible
		}
		return Plan{}, r, nil
	}
	if over := p.overloads(w); len(over) > 0 {
		return Plan{}, Report{Status: StatusInfeasible, Gap: 1, Bound: s.bound, Conflicts: over[:min(len(over), conflictLimit)]}, nil
	}
	if x := s.run(); x != nil {
		return Plan{}, Report{Status: StatusInfeasible, Gap: 1, Bound: s.bound, Iterations: s.used, Conflicts: []Conflict{*x}}, nil
	}
	r := s.report()
	if s.best == nil {
		r.Conflicts = s.conflicts()
		if !s.stopped && p.refutes(refuteNodes, opt.Stop) {
			r.Status = StatusInfeasible
		}
		return Plan{}, r, nil
	}
	s.d.stop = nil
	r.Late = s.late()
	r.BoundBy = s.boundBy()
	return s.plan, r, nil
}

// cleans reports whether the pinned place of an activity depends on where cleaning was put, which is a choice.
func (p *problem) cleans(a int32) bool {
	for m := range p.acts[a].modes {
		for _, u := range p.acts[a].modes[m].uses {
			if p.vessels[u.vessel].setup != nil {
				return true
			}
		}
	}
	return len(p.acts[a].storesOut)+len(p.acts[a].storesIn) > 0
}

func clonePlan(p Plan) Plan {
	out := Plan{Objective: p.Objective, Assignments: slices.Clone(p.Assignments)}
	for i := range out.Assignments {
		out.Assignments[i].Vessels = slices.Clone(out.Assignments[i].Vessels)
		out.Assignments[i].Changes = slices.Clone(out.Assignments[i].Changes)
	}
	return out
}

// report describes the search as it stands.
func (s *searcher) report() Report {
	r := Report{Status: StatusBudgetSpent, Bound: s.bound, Gap: 1, Iterations: s.used, Stopped: s.stopped}
	if s.best == nil {
		return r
	}
	r.Objective = s.best.cost
	r.Status = StatusFeasible
	r.Gap = gap(s.best.cost, s.bound)
	if s.proved() {
		r.Status, r.Gap = StatusOptimal, 0
	}
	return r
}

func gap(cost, bound Objective) float64 {
	c, b := cost.First, bound.First
	if c <= b {
		c, b = cost.Rest, bound.Rest
	}
	if c <= b {
		return 0
	}
	return float64(c-b) / float64(max(1, c))
}

// conflicts turns the failures met most often into explanations.
func (s *searcher) conflicts() []Conflict {
	type item struct {
		f failure
		n int
	}
	items := make([]item, 0, len(s.why))
	for f, n := range s.why {
		items = append(items, item{f, n})
	}
	slices.SortFunc(items, func(a, b item) int {
		return cmp.Or(cmp.Compare(b.n, a.n), cmp.Compare(a.f.act, b.f.act), cmp.Compare(a.f.kind, b.f.kind),
			cmp.Compare(a.f.subject, b.f.subject))
	})
	var out []Conflict
	for _, it := range items {
		if len(out) == 5 {
			break
		}
		out = append(out, s.p.explainMiss(it.f))
	}
	return out
}
