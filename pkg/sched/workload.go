package sched

import (
	"fmt"
	"slices"
	"strings"
)

// workBound: a cumulative resource cannot do all its work before its capacity adds up to it.
func (p *problem) workBound(r int32, w *window) int64 {
	var work int64
	head, tail := Forever, Forever
	for a := range p.acts {
		c := &p.acts[a]
		least := Forever
		for m := range c.modes {
			least = min(least, c.modes[m].workOn(r))
		}
		if len(c.modes) == 0 || least <= 0 || c.fact {
			continue
		}
		if work += least; work > Forever {
			return p.from
		}
		head, tail = min(head, w.es[a]), min(tail, p.tail[a]-c.minDur)
	}
	if work == 0 {
		return p.from
	}
	return p.base[r].absorbed(head, work) + tail
}

// poolLimit bounds the number of groups of vessels that are looked at.
const poolLimit = 64

// pools lists groups of vessels such that some activity has to use one of the group.
func (p *problem) pools() [][]int32 {
	var out [][]int32
	seen := map[string]bool{}
	for a := range p.acts {
		c := &p.acts[a]
		if c.fact || len(out) == poolLimit {
			continue
		}
		var set []int32
		for m := range c.modes {
			for _, u := range c.modes[m].uses {
				if !slices.Contains(set, u.vessel) {
					set = append(set, u.vessel)
				}
			}
		}
		slices.Sort(set)
		if key := fmt.Sprint(set); len(set) > 1 && !seen[key] {
			seen[key] = true
			out = append(out, set)
		}
	}
	var all []int32
	for v := range p.vessels {
		all = append(all, int32(v))
	}
	if len(all) > 1 && !seen[fmt.Sprint(all)] {
		out = append(out, all)
	}
	return out
}

// poolBound: the vessels of a set together cannot do all the work that has to be done in one of them before it is
// spread evenly over them.
func (p *problem) poolBound(set []int32, w *window) int64 {
	in := make([]bool, len(p.vessels))
	for _, v := range set {
		in[v] = true
	}
	var work int64
	head, tail := Forever, Forever
	for a := range p.acts {
		c := &p.acts[a]
		if c.fact || len(c.modes) == 0 {
			continue
		}
		must := true
		for m := range c.modes {
			must = must && slices.ContainsFunc(c.modes[m].uses, func(u cuse) bool { return in[u.vessel] })
		}
		if !must {
			continue
		}
		if work += c.minDur; work > Forever {
			return p.from
		}
		head, tail = min(head, w.es[a]), min(tail, p.tail[a]-c.minDur)
	}
	if work == 0 {
		return p.from
	}
	n := int64(len(set))
	return head + (work+n-1)/n + tail
}

// overloads proves infeasibility by work content: more has to be done in a vessel, a group of vessels or a resource
// than time allows.
func (p *problem) overloads(w *window) []Conflict {
	var out []Conflict
	for v := range p.vessels {
		jobs := p.mustUse(int32(v), w)
		if len(jobs) < 2 {
			continue
		}
		for i := range jobs {
			jobs[i].tail = -(w.ls[jobs[i].act] + jobs[i].work)
		}
		if over := preemptive(jobs, func(j *job) int64 { return -j.tail }); over > 0 {
			name := p.in.Vessels[v].Name
			c := Conflict{Kind: ConflictVessel, Proved: true, Vessels: []string{name}}
			for _, j := range jobs {
				c.Activities = append(c.Activities, p.name(j.act))
			}
			c.Message = fmt.Sprintf("%d activities must use %s, and whatever their order one of them ends at least %d too late for its deadline or the end of the horizon", len(jobs), name, over)
			c.Relaxations = []Relaxation{
				{Subject: name, What: "let some of its activities use another vessel"},
				{Subject: name, What: "move the latest times of its activities later by", By: over},
			}
			out = append(out, c)
		}
	}
	for _, set := range p.pools() {
		if end := p.poolBound(set, w); end > p.to {
			c := Conflict{Kind: ConflictVessel, Proved: true}
			for _, v := range set {
				c.Vessels = append(c.Vessels, p.in.Vessels[v].Name)
			}
			c.Message = fmt.Sprintf("%s together cannot do all the work that needs one of them before %d; the horizon ends at %d", strings.Join(c.Vessels, ", "), end, p.to)
			c.Relaxations = []Relaxation{{Subject: "horizon", What: "end later by", By: end - p.to}}
			out = append(out, c)
		}
	}
	for r := range p.base {
		if end := p.workBound(int32(r), w); end > p.to {
			name := p.in.Resources[r].Name
			out = append(out, Conflict{
				Kind: ConflictCapacity, Proved: true, Resources: []string{name},
				Message:     fmt.Sprintf("the work that needs %s cannot be done before %d; the horizon ends at %d", name, end, p.to),
				Relaxations: []Relaxation{{Subject: "horizon", What: "end later by", By: end - p.to}},
			})
		}
	}
	return out
}
