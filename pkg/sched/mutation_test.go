package sched_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"sort"
	"strings"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/verify"
)

// mutation breaks a plan at one activity; it reports whether it could.
type mutation struct {
	name string
	do   func(r *rand.Rand, in *sched.Instance, p *sched.Plan, i int) bool
}

func nudge(r *rand.Rand) int64 { return []int64{-3, -2, -1, 1, 2, 3}[r.IntN(6)] }

func changeOf(p *sched.Plan, i int) *sched.ChangeRun {
	if len(p.Assignments[i].Changes) == 0 {
		return nil
	}
	return &p.Assignments[i].Changes[0]
}

var mutations = []mutation{
	{"moved as a whole", func(r *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool { move(p, i, nudge(r)); return true }},
	{"moved far", func(r *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool { move(p, i, 4*nudge(r)); return true }},
	{"begun elsewhere", func(r *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		p.Assignments[i].Start += nudge(r)
		return p.Assignments[i].Start < p.Assignments[i].End
	}},
	{"ended elsewhere", func(r *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		p.Assignments[i].End += nudge(r)
		return p.Assignments[i].Start < p.Assignments[i].End
	}},
	{"held for another time", func(r *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		p.Assignments[i].HeldUntil += nudge(r)
		return true
	}},
	{"done in another mode", func(_ *rand.Rand, in *sched.Instance, p *sched.Plan, i int) bool {
		for _, m := range in.Activities[i].Modes {
			if m.Name == p.Assignments[i].Mode {
				continue
			}
			as := &p.Assignments[i]
			as.Mode, as.Vessels = m.Name, nil
			for _, u := range m.Uses {
				as.Vessels = append(as.Vessels, u.Vessel)
			}
			return true
		}
		return false
	}},
	{"done in an unknown mode", func(_ *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		p.Assignments[i].Mode = "m9"
		return true
	}},
	{"put into another vessel", func(r *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		p.Assignments[i].Vessels = []string{fmt.Sprintf("v%d", r.IntN(3))}
		return true
	}},
	{"left out", func(_ *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		p.Assignments = slices.Delete(p.Assignments, i, i+1)
		return true
	}},
	{"named twice", func(_ *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		p.Assignments = append(p.Assignments, p.Assignments[i])
		return true
	}},
	{"joined by an unknown one", func(_ *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		as := p.Assignments[i]
		as.Activity = "soup"
		p.Assignments = append(p.Assignments, as)
		return true
	}},
	{"not cleaned for", func(_ *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		had := len(p.Assignments[i].Changes) > 0
		p.Assignments[i].Changes = nil
		return had
	}},
	{"cleaned for at another time", func(r *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		c, by := changeOf(p, i), nudge(r)
		if c != nil {
			c.Start, c.End = c.Start+by, c.End+by
		}
		return c != nil
	}},
	{"cleaned for too shortly or long", func(r *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		c := changeOf(p, i)
		if c != nil {
			c.End += nudge(r)
		}
		return c != nil && c.Start < c.End
	}},
	{"cleaned for from another state", func(_ *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		c := changeOf(p, i)
		if c != nil {
			c.From = map[string]string{"x": "y", "y": "x"}[c.From]
		}
		return c != nil
	}},
	{"cleaned for by nobody", func(_ *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		c := changeOf(p, i)
		if c != nil {
			c.Attended = !c.Attended
		}
		return c != nil
	}},
	{"cleaned for without need", func(r *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		as := &p.Assignments[i]
		as.Changes = append(slices.Clone(as.Changes), sched.ChangeRun{
			Vessel: fmt.Sprintf("v%d", r.IntN(3)), From: "x", To: "y", Start: as.Start - 1, End: as.Start, Attended: r.IntN(2) == 0,
		})
		return true
	}},
	{"swapped with another", func(_ *rand.Rand, _ *sched.Instance, p *sched.Plan, i int) bool {
		j := (i + 1) % len(p.Assignments)
		a, b := &p.Assignments[i], &p.Assignments[j]
		a.Start, b.Start = b.Start, a.Start
		a.End, b.End = b.End, a.End
		a.HeldUntil, b.HeldUntil = b.HeldUntil, a.HeldUntil
		return i != j
	}},
	{"priced wrongly", func(r *rand.Rand, _ *sched.Instance, p *sched.Plan, _ int) bool {
		part := []*int64{
			&p.Objective.Tardiness, &p.Objective.Overtime, &p.Objective.Energy, &p.Objective.Freshness, &p.Objective.Change, &p.Objective.Makespan,
			&p.Objective.First, &p.Objective.Rest,
		}[r.IntN(8)]
		*part += nudge(r)
		return true
	}},
}

func move(p *sched.Plan, i int, by int64) {
	a := &p.Assignments[i]
	a.Start, a.End, a.HeldUntil = a.Start+by, a.End+by, a.HeldUntil+by
}

// said are the findings of the checker in the words of naive.
func said(vs []verify.Violation) map[string]bool {
	out := map[string]bool{}
	for _, v := range vs {
		words := []string{string(v.Kind)}
		switch v.Kind {
		case verify.Capacity:
			words = append(words, v.Resource)
		case verify.Cleaning:
			words = append(words, v.Vessel, v.Activities[0])
		case verify.Overlap:
			words = append(words, v.Vessel, pair(v.Activities[0], v.Activities[1]))
		case verify.Down:
			words = append(words, v.Vessel, v.Activities[0])
		default:
			words = append(words, v.Activities...)
		}
		out[strings.Join(words, " ")] = true
	}
	return out
}

func sorted(m map[string]bool) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

// Two checkers that share nothing find the same faults in broken plans, by name.
func TestTheCheckerAgreesWithANaiveOneOnBrokenPlans(t *testing.T) {
	t.Parallel()
	plans, broken := 0, 0
	kinds := map[string]int{}
	caught := make([]int, len(mutations))
	for seed := uint64(0); plans < 400; seed++ {
		in := whole(seed)
		plan, _ := mustSolve(t, in, sched.Options{Seed: seed, Iterations: 30})
		if len(plan.Assignments) == 0 {
			continue
		}
		plans++
		if n, cost := naiveJudge(&in, &plan); len(n.faults) > 0 {
			t.Fatalf("%s: the naive checker finds %v in a plan of the engine; cost %+v, stated %+v", in.Name, sorted(n.faults), cost, plan.Objective)
		}
		r := rand.New(rand.NewPCG(seed, 5))
		for k, m := range mutations {
			p := sched.Plan{Objective: plan.Objective, Assignments: slices.Clone(plan.Assignments)}
			for i := range p.Assignments {
				p.Assignments[i].Changes = slices.Clone(p.Assignments[i].Changes)
			}
			i := r.IntN(len(p.Assignments))
			who := p.Assignments[i].Activity
			if !m.do(r, &in, &p, i) {
				continue
			}
			if n, cost := naiveJudge(&in, &p); m.name != "priced wrongly" && !n.fuzzy && len(p.Assignments) == len(in.Activities) {
				p.Objective = cost // so that more than the cost is wrong
			}
			n, _ := naiveJudge(&in, &p)
			vs := verify.Check(in, p)
			mine, theirs := said(vs), n.faults
			if n.fuzzy { // where a phase has no place, what hangs on it is a matter of taste
				for _, set := range []map[string]bool{mine, theirs} {
					for f := range set {
						if strings.HasPrefix(f, "capacity") || strings.HasPrefix(f, "objective") {
							delete(set, f)
						}
					}
				}
			}
			if fmt.Sprint(sorted(mine)) != fmt.Sprint(sorted(theirs)) {
				t.Errorf("%s, %s %s: the checker finds %v, the naive one %v", in.Name, who, m.name, sorted(mine), sorted(theirs))
			}
			if len(vs) > 0 {
				caught[k]++
				broken++
			}
			for f := range mine {
				kind, _, _ := strings.Cut(f, " ")
				kinds[kind]++
			}
		}
	}
	t.Logf("%d plans, %d of their variants broken: %v", plans, broken, kinds)
	for k, m := range mutations {
		if caught[k] == 0 {
			t.Errorf("no broken plan had an activity %s", m.name)
		}
	}
	for _, k := range []verify.Kind{
		verify.Missing, verify.Mode, verify.Fixed, verify.Horizon, verify.Release, verify.Deadline, verify.Calendar, verify.Lag, verify.Hold, verify.Overlap,
		verify.Down, verify.Cleaning, verify.Capacity, verify.Store, verify.Link, verify.Objective,
	} {
		if kinds[string(k)] == 0 {
			t.Errorf("no broken plan had a fault of kind %q", k)
		}
	}
}
