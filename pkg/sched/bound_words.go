package sched

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// BoundReason is one thing that forces lateness whatever the plan, in words for the person who answers for it.
type BoundReason struct {
	// Kind is WaitLag for the steps of the batches themselves, WaitVessel for vessels, WaitResource for a resource.
	Kind WaitKind
	// Vessels or Resource name what is scarce; both are empty for WaitLag.
	Vessels  []string
	Resource string
	// From and To are the shortest time that holds half of the pressure; zero for WaitLag.
	From, To int64
	// Cost is how much Objective.Tardiness is proved to come from this alone: for WaitLag if nothing were ever scarce,
	// otherwise on top of that. It is 0 for what only matters together with the reasons before it.
	Cost int64
	// Share is the part of the scarcity's pressure that lies here, in [0, 1]; 0 for WaitLag.
	Share   float64
	Message string
}

// reasonLimit bounds the number of scarce things that are named, slowFrom from how many cells on it is only one, since the
// cost of each is one more evaluation of the relaxation.
const (
	reasonLimit = 3
	slowFrom    = 3_000_000
)

// boundBy explains the bound of the tardiness: what the steps need even if nothing were scarce, then what is scarce, by
// the rent it earns under the best rents found.
func (s *searcher) boundBy() []BoundReason {
	if s.bound.Tardiness <= 0 || s.best == nil {
		return nil
	}
	steps, late := BoundReason{Kind: WaitLag}, 0
	for a := range s.p.acts {
		if s.p.least[a] > 0 {
			late++
			steps.Cost += s.p.least[a]
		}
	}
	r := s.rents
	if r == nil {
		steps.Message = stepsMessage(late, steps.Cost)
		return []BoundReason{steps}
	}
	steps.Cost = ceilDiv(r.climb.free, rentScale)
	steps.Message = stepsMessage(late, steps.Cost)
	return append([]BoundReason{steps}, r.scarce(steps.Cost)...)
}

func stepsMessage(late int, cost int64) string {
	if cost == 0 {
		return "releases, durations, waits and open hours alone force no tardiness"
	}
	what := "some due times"
	if late > 0 {
		what = count(late, "due time", "due times")
	}
	return fmt.Sprintf("%s cannot be kept even if nothing were ever scarce: releases, durations, waits and open hours alone cost %d of tardiness", what, cost)
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// scarce lists the limits that earn rent, those that earn most first.
func (r *rents) scarce(free int64) []BoundReason {
	type earner struct {
		l    *limit
		rent []int64
		sum  float64
	}
	if r.climb.top == nil {
		return nil
	}
	var es []earner
	total := 0.0
	for i, l := range r.limits {
		e := earner{l: l, rent: r.climb.top[i]}
		for c, x := range e.rent {
			e.sum += float64(x * l.cap[c])
		}
		if e.sum > 0 {
			es = append(es, e)
			total += e.sum
		}
	}
	slices.SortStableFunc(es, func(a, b earner) int { return cmp.Compare(b.sum, a.sum) })
	var out []BoundReason
	most := reasonLimit
	if r.work > slowFrom {
		most = 1
	}
	for _, e := range es[:min(len(es), most)] {
		x := BoundReason{Kind: WaitResource, Share: e.sum / total}
		if x.Share < 0.05 {
			break
		}
		var what string
		if e.l.res >= 0 {
			x.Resource = r.p.in.Resources[e.l.res].Name
			what = x.Resource
		} else {
			x.Kind = WaitVessel
			for _, v := range e.l.set {
				x.Vessels = append(x.Vessels, r.p.in.Vessels[v].Name)
			}
			what = someOf(x.Vessels)
		}
		x.From, x.To = r.pressed(e.l, e.rent, e.sum)
		for _, l := range r.limits {
			clear(l.rent)
		}
		copy(e.l.rent, e.rent)
		x.Cost = max(0, ceilDiv(r.value(false), rentScale)-free)
		x.Message = fmt.Sprintf("%s: more work asks for it than it can do, most of all between %d and %d", what, x.From, x.To)
		if x.Cost > 0 {
			x.Message += fmt.Sprintf("; that alone costs %d of tardiness more, in every plan", x.Cost)
		} else {
			x.Message += "; that costs tardiness together with what else is scarce"
		}
		out = append(out, x)
	}
	return out
}

// someOf names vessels, the many in short.
func someOf(names []string) string {
	if len(names) <= 4 {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s to %s (%d vessels)", names[0], names[len(names)-1], len(names))
}

// pressed is the shortest time in which a limit earns half of its rent.
func (r *rents) pressed(l *limit, rent []int64, sum float64) (from, to int64) {
	best, lo, held := len(rent)+1, 0, 0.0
	for hi, x := range rent {
		held += float64(x * l.cap[hi])
		for held >= sum/2 {
			if hi+1-lo < best {
				best = hi + 1 - lo
				from, to = r.g.begin(int32(lo)), min(r.p.to, r.g.begin(int32(hi+1)))
			}
			held -= float64(rent[lo] * l.cap[lo])
			lo++
		}
	}
	return from, to
}
