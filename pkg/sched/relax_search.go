package sched

import (
	"cmp"
	"slices"
	"strings"
)

// candidate is a family of edits by amount; a greater amount allows more plans.
type candidate struct {
	edits func(amount int64) []Edit
	most  int64 // the greatest amount that is offered, at least 1; 1 alone for edits without an amount
	grain int64
	// spent is the amount that a plan really makes use of; nil when that is not known.
	spent func(*Plan) int64
	// trim narrows the edits to what a plan makes use of; nil when there is nothing to narrow.
	trim func(edits []Edit, changed *Instance, p *Plan) []Edit
}

// rounds is the number of conflicts that are resolved one after the other when no single edit is enough.
const rounds = 24

// Explain says why an instance has no plan and what would make one possible. It costs many short solves and is meant for
// instances on which Solve has failed. The error is Faults when the instance is invalid.
func Explain(in Instance, opt ExplainOptions) (Explanation, error) {
	if err := in.Validate(); err != nil {
		return Explanation{}, err
	}
	x := newExplainer(opt)
	_, rep, err := Solve(in, Options{Seed: x.opt.Seed, Iterations: x.opt.Iterations, Warm: &Plan{}, Stop: x.opt.Stop})
	if err != nil {
		return Explanation{}, err
	}
	if rep.Status == StatusFeasible || rep.Status == StatusOptimal {
		return Explanation{Possible: true}, nil
	}
	out := x.explain(&in, rep.Conflicts, nil)
	x.measure(&in, &out, nil)
	return out, nil
}

func newExplainer(opt ExplainOptions) *explainer {
	opt = opt.withDefaults()
	return &explainer{opt: opt, solves: opt.Solves, tests: opt.Tests}
}

// explain finds the conflicts of an instance without a plan and remedies, not yet measured.
func (x *explainer) explain(in *Instance, conflicts []Conflict, warm *Plan) Explanation {
	var out Explanation
	state := *in
	var made []Edit
	for round := range rounds {
		core, bare := x.core(&state, conflicts)
		if round == 0 {
			out.Core = core
		} else {
			out.Further = append(out.Further, core)
		}
		whole, part := x.remedies(&state, &bare, &core, warm)
		for _, r := range whole {
			r.Edits = append(slices.Clone(made), r.Edits...)
			r.Least = r.Least && len(made) == 0
			out.Remedies = append(out.Remedies, r)
		}
		if len(whole) > 0 || len(part) == 0 || x.halted() {
			break
		}
		slices.SortStableFunc(part, func(a, b partial) int {
			if a.alone != b.alone {
				return map[bool]int{true: -1, false: 1}[a.alone]
			}
			return cmp.Compare(x.price(a.Edits), x.price(b.Edits))
		})
		made = append(made, part[0].Edits...)
		next, err := state.Apply(part[0].Edits...)
		if err != nil {
			break
		}
		state = next
		_, rep, err := Solve(state, Options{Seed: x.opt.Seed, Iterations: x.opt.Iterations, Warm: &Plan{}, Stop: x.opt.Stop})
		if err != nil {
			break
		}
		conflicts = rep.Conflicts
	}
	if len(out.Remedies) == 0 && len(made) > 0 {
		out.Remedies = append(out.Remedies, Remedy{Edits: made}) // removes the conflicts that were found, as far as is known
	}
	x.dropIdle(in, &out)
	out.Stopped = x.stopped
	return out
}

// dropIdle leaves out of combined remedies what they do not need.
func (x *explainer) dropIdle(in *Instance, out *Explanation) {
	for i := range out.Remedies {
		r := &out.Remedies[i]
		for k := 0; r.Verified && len(r.Edits) > 1 && k < len(r.Edits); {
			less := slices.Delete(slices.Clone(r.Edits), k, k+1)
			y, err := in.Apply(less...)
			if err != nil {
				break
			}
			if plan, ok := x.solve(&y, nil); ok {
				r.Edits, r.Plan = less, plan
				continue
			}
			k++
		}
	}
}

func (x *explainer) price(edits []Edit) int64 {
	var sum int64
	for i := range edits {
		sum = min(sum+x.opt.Prices.Of(&edits[i]), priceLimit)
	}
	return sum
}

// partial is a remedy that removes a core, but leaves other conflicts.
type partial struct {
	Remedy
	alone bool // the orders of the core are possible with it if there were no others
}

// remedies tries what the reasons of a core suggest: those that make the whole instance possible, and those that only
// remove this core, or make its orders possible by themselves.
func (x *explainer) remedies(in, bare *Instance, core *Core, warm *Plan) (whole []Remedy, part []partial) {
	orders := map[string]bool{}
	for i := range bare.Activities {
		orders[orderOf(&bare.Activities[i])] = true
	}
	alone := some(in, func(a *Activity) bool { return orders[orderOf(a)] })
	for _, c := range x.candidates(in, bare, core) {
		if x.halted() {
			break
		}
		from := int64(0)
		r := partial{}
		if core.Proved {
			level := &alone
			amount, plan, ok := x.least(level, &c, 0, nil)
			if r.alone = ok; !ok {
				level = bare
				if amount, plan, ok = x.least(level, &c, 0, nil); !ok {
					continue
				}
			}
			from, r.Edits = amount, x.trimmed(level, &c, amount, plan)
			r.Least = c.most > 1 && (amount <= c.grain || x.tooLittle(level, &c, amount))
			y, err := in.Apply(r.Edits...)
			if err != nil {
				continue
			}
			if plan, ok := x.solve(&y, warm); ok {
				r.Verified, r.Plan = true, plan
				whole = append(whole, r.Remedy)
				continue
			}
		}
		amount, plan, ok := x.least(in, &c, from, warm)
		switch {
		case ok:
			whole = append(whole, Remedy{Edits: x.trimmed(in, &c, amount, plan), Verified: true, Plan: plan, Least: c.most > 1 && amount == from && r.Least})
		case core.Proved:
			part = append(part, r)
		}
	}
	return whole, part
}

// trimmed narrows edits to what a plan uses of them, when that is still enough.
func (x *explainer) trimmed(in *Instance, c *candidate, amount int64, plan Plan) []Edit {
	edits := c.edits(amount)
	if c.trim == nil {
		return edits
	}
	y, err := in.Apply(edits...)
	if err != nil {
		return edits
	}
	narrow := c.trim(edits, &y, &plan)
	if z, err := in.Apply(narrow...); err == nil {
		if _, ok := x.solve(&z, nil); ok {
			return narrow
		}
	}
	return edits
}

// tooLittle reports whether one grain less is proved not to be enough.
func (x *explainer) tooLittle(in *Instance, c *candidate, amount int64) bool {
	y, err := in.Apply(c.edits(amount - c.grain)...)
	return err == nil && x.impossible(&y)
}

// least finds by bisection the least amount, above from, with which an instance has a plan.
func (x *explainer) least(in *Instance, c *candidate, from int64, warm *Plan) (amount int64, plan Plan, ok bool) {
	try := func(amount int64) (Plan, bool) {
		y, err := in.Apply(c.edits(amount)...)
		if err != nil {
			return Plan{}, false
		}
		return x.solve(&y, warm)
	}
	g := max(c.grain, 1)
	top := (c.most + g - 1) / g
	if plan, ok = try(top * g); !ok {
		return 0, Plan{}, false
	}
	lo, hi := from/g, top // lo is not enough as far as is known, hi is
	shrink := func() {
		if c.spent != nil {
			hi = max(lo+1, min(hi, (c.spent(&plan)+g-1)/g))
		}
	}
	for shrink(); hi-lo > 1; {
		mid := lo + (hi-lo)/2
		if p, ok := try(mid * g); ok {
			hi, plan = mid, p
			shrink()
		} else if x.halted() {
			break
		} else {
			lo = mid
		}
	}
	return hi * g, plan, true
}

// measure says what the plans of the best remedies cost, and puts everything in order.
func (x *explainer) measure(in *Instance, out *Explanation, warm *Plan) {
	for i := range out.Remedies {
		r := &out.Remedies[i]
		r.Price = x.price(r.Edits)
	}
	byPrice := func(a, b Remedy) int {
		if a.Verified != b.Verified {
			if a.Verified {
				return -1
			}
			return 1
		}
		return cmp.Or(cmp.Compare(a.Price, b.Price), cmp.Compare(say(a.Edits), say(b.Edits)))
	}
	slices.SortStableFunc(out.Remedies, byPrice)
	out.Remedies = slices.CompactFunc(out.Remedies, func(a, b Remedy) bool { return say(a.Edits) == say(b.Edits) })
	if len(out.Remedies) > x.opt.Most {
		out.Remedies = out.Remedies[:x.opt.Most]
	}
	for i := range out.Remedies {
		r := &out.Remedies[i]
		r.Message = say(r.Edits)
		if !r.Verified {
			continue
		}
		y, err := in.Apply(r.Edits...)
		if err != nil {
			continue
		}
		// From the plan that proves it, so that the measured plan is at least as good.
		plan, _, err := Solve(y, Options{Seed: x.opt.Seed, Iterations: x.opt.Measure, Warm: &r.Plan, Stop: x.opt.Stop})
		if err == nil && len(plan.Assignments) > 0 {
			r.Plan = plan
		}
		r.Objective = r.Plan.Objective
	}
	out.Stopped = out.Stopped || x.stopped
}

func say(edits []Edit) string {
	words := make([]string, len(edits))
	for i := range edits {
		words[i] = edits[i].words()
	}
	return strings.Join(words, ", and ")
}
