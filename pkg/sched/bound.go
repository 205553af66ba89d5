package sched

import (
	"cmp"
	"slices"
)

// lowerBound computes costs that no plan can undercut: critical paths with calendars, one-machine bounds per vessel and
// work content per resource for the makespan; earliest ends and one-machine lateness for the tardiness, which rents
// raise later; the cheapest modes left for energy and change; minima and windows of lags for the freshness.
func (p *problem) lowerBound(w *window, k *keys) Objective {
	var o Objective
	end := p.from
	allow := p.linkedModes()
	p.least = make([]int64, len(p.acts))
	for a := range p.acts {
		c := &p.acts[a]
		p.least[a] = c.weight * max(0, w.ee[a]-c.due)
		o.Tardiness += p.least[a]
		end = max(end, w.ee[a], w.es[a]+p.tail[a])
		cheapest, stays := Forever, c.prevMode == -1
		for m := range c.modes {
			if p.eligible(int32(a), m, allow) {
				cheapest = min(cheapest, c.modes[m].energy)
				stays = stays || c.prevMode == int32(m)
			}
		}
		if cheapest < Forever {
			o.Energy += cheapest
		}
		if pr := p.in.Activities[a].Previous; pr != nil {
			o.Change += pr.MoveWeight * max(0, w.es[a]-pr.Start, pr.Start-w.ls[a])
			if !stays {
				o.Change += pr.ModeWeight
			}
		}
	}
	for v := range p.vessels {
		jobs := p.mustUse(int32(v), w)
		if len(jobs) < 2 {
			continue
		}
		end = max(end, preemptive(jobs, func(j *job) int64 { return -j.tail }))
		o.Tardiness = max(o.Tardiness, p.lateness(jobs, k))
	}
	for r := range p.base {
		end = max(end, p.workBound(int32(r), w))
	}
	for _, set := range p.pools() {
		end = max(end, p.poolBound(set, w))
	}
	if len(p.acts) > 0 {
		o.Makespan = end - p.from
	}
	o.Freshness = p.leastFreshness(w)
	return p.in.Weights.Weigh(o)
}

// eligible reports whether mode m of a is in some plan as far as its pin and links (allow, see linkedModes) go.
func (p *problem) eligible(a int32, m int, allow [][]bool) bool {
	c := &p.acts[a]
	if c.fixed {
		return int32(m) == c.fixMode
	}
	return allow == nil || allow[a][m]
}

// leastFreshness is what lags cost because they cannot be shorter: by their minimum or by the windows of their ends.
func (p *problem) leastFreshness(w *window) int64 {
	var sum int64
	for i := range p.in.Lags {
		l := &p.in.Lags[i]
		if l.FreshWeight == 0 {
			continue
		}
		u, v := p.lagEnds[i][0], p.lagEnds[i][1]
		least := -Forever
		if !p.acts[u].fact || !p.acts[v].fact {
			least = l.Min
		}
		first := w.es[v]
		if l.ToEdge == EdgeEnd {
			first = w.ee[v]
		}
		last := w.ls[u]
		if l.FromEdge != EdgeStart {
			last += p.acts[u].maxDur
		}
		if p.acts[u].maxDur < Forever || l.FromEdge == EdgeStart {
			least = max(least, first-last)
		}
		sum += l.FreshWeight * max(0, least-l.Fresh)
	}
	return sum
}

// job is one activity in a one-machine relaxation.
type job struct {
	act        int32
	head, work int64
	tail       int64 // from the end of the work to the end of everything it forces
	left       int64
}

// mustUse lists the activities that use vessel v in every mode, with their least duration.
func (p *problem) mustUse(v int32, w *window) []job {
	var out []job
	for a := range p.acts {
		c := &p.acts[a]
		if len(c.modes) == 0 || c.fact {
			continue
		}
		all := true
		for m := range c.modes {
			if c.fixed && int32(m) != c.fixMode {
				continue
			}
			all = all && slices.ContainsFunc(c.modes[m].uses, func(u cuse) bool { return u.vessel == v })
		}
		if all {
			out = append(out, job{act: int32(a), head: w.es[a], work: c.minDur, tail: p.tail[a] - c.minDur})
		}
	}
	return out
}

// preemptive schedules jobs on one machine with interruption, always the one of least key first (Jackson's rule), and
// returns the greatest completion plus tail. With key = -tail this is the preemptive one-machine bound (Carlier,
// European Journal of Operational Research 1982, from memory).
func preemptive(jobs []job, key func(*job) int64) int64 {
	js := slices.Clone(jobs)
	slices.SortStableFunc(js, func(a, b job) int { return cmp.Compare(a.head, b.head) })
	for i := range js {
		js[i].left = js[i].work
	}
	best := int64(noPath)
	t, done, next := js[0].head, 0, 0
	var ready []int
	for done < len(js) {
		for next < len(js) && js[next].head <= t {
			ready = append(ready, next)
			next++
		}
		if len(ready) == 0 {
			t = js[next].head
			continue
		}
		at := 0
		for i := range ready {
			if key(&js[ready[i]]) < key(&js[ready[at]]) {
				at = i
			}
		}
		j := &js[ready[at]]
		run := j.left
		if next < len(js) {
			run = min(run, js[next].head-t)
		}
		t += run
		j.left -= run
		if j.left == 0 {
			best = max(best, t+j.tail)
			ready = slices.Delete(ready, at, at+1)
			done++
		}
	}
	return best
}

// lateness bounds the weighted tardiness from below by the greatest lateness on one vessel (preemptive earliest due
// date) times the least weight.
func (p *problem) lateness(jobs []job, k *keys) int64 {
	least := int64(0)
	var due []job
	for _, j := range jobs {
		if k.weight[j.act] == 0 || p.acts[j.act].deadline < p.to {
			continue
		}
		// Tail negative: completion + tail is the lateness.
		j.tail = -(k.latest[j.act] + j.work)
		due = append(due, j)
	}
	if len(due) == 0 {
		return 0
	}
	for a := range p.acts {
		if wt := p.acts[a].weight; wt > 0 && (least == 0 || wt < least) {
			least = wt
		}
	}
	return least * max(0, preemptive(due, func(j *job) int64 { return -j.tail }))
}

// workOn is the least work content (amount times time) of the mode on a resource; 0 if it could overflow.
func (m *cmode) workOn(r int32) int64 {
	var sum int64
	for i := range m.dems {
		d := &m.dems[i]
		if d.res != r {
			continue
		}
		for k := d.lo; k <= d.hi; k++ {
			if d.add > 0 && m.d[k] > Forever/d.add {
				return 0
			}
			sum += d.add * m.d[k]
		}
	}
	return sum
}

// absorbed is the earliest moment by which the capacity since from adds up to work.
func (p *profile) absorbed(from, work int64) int64 {
	for i := p.find(from); i < len(p.at); i++ {
		x := max(from, p.at[i])
		if p.free[i] <= 0 {
			continue
		}
		need := (work + p.free[i] - 1) / p.free[i]
		if i+1 == len(p.at) || x+need <= p.at[i+1] {
			return x + need
		}
		work -= (p.at[i+1] - x) * p.free[i]
	}
	return from
}
