package sched

import (
	"fmt"
	"slices"
	"strings"
)

// conflictLimit bounds how many conflicts a report lists.
const conflictLimit = 12

// impossible looks for reasons why no plan can exist. It fills es, ls, tail and the blocks on the way. An empty result
// proves nothing.
func (p *problem) impossible() (*window, []Conflict) {
	var out []Conflict
	for a := range p.acts {
		if len(p.acts[a].modes) == 0 {
			out = append(out, p.noMode(int32(a)))
		}
	}
	if len(out) > 0 {
		return nil, out
	}
	if cycle := p.contradiction(); cycle != nil {
		return nil, []Conflict{p.lagConflict(cycle)}
	}
	p.buildBlocks()
	w := p.windows()
	p.es, p.ls = w.es, w.ls
	p.finishBlocks()
	for round := 0; round < 6; round++ {
		added, c := p.separate()
		if c != nil {
			return nil, []Conflict{*c}
		}
		if !added {
			break
		}
		if cycle := p.contradiction(); cycle != nil {
			return nil, []Conflict{p.lagConflict(cycle)}
		}
		w = p.windows()
		p.es, p.ls = w.es, w.ls
		for i := range p.blocks {
			if p.blocks[i].dist != nil {
				p.fillDistances(&p.blocks[i])
			}
		}
	}
	p.fillTails()
	out = append(out, p.windowConflicts(w)...)
	if len(out) == 0 {
		out = append(out, p.aloneConflicts()...)
	}
	out = append(out, p.linkConflicts()...)
	if len(out) > conflictLimit {
		out = out[:conflictLimit]
	}
	return w, out
}

func (p *problem) name(a int32) string { return p.in.Activities[a].Name }

func (p *problem) noMode(a int32) Conflict {
	in := &p.in.Activities[a]
	c := Conflict{Kind: ConflictNoMode, Proved: true, Activities: []string{in.Name}}
	var why []string
	for _, r := range in.Refusals {
		c.Vessels = append(c.Vessels, r.Vessel)
		why = append(why, fmt.Sprintf("%s: %s", r.Vessel, r.Reason))
		c.Relaxations = append(c.Relaxations, Relaxation{Subject: r.Vessel, What: "make usable: " + r.Reason})
	}
	c.Message = fmt.Sprintf("no vessel can do %s", in.Name)
	if len(why) > 0 {
		c.Message += " (" + strings.Join(why, "; ") + ")"
	}
	return c
}

func (p *problem) lagConflict(cycle []int32) Conflict {
	c := Conflict{Kind: ConflictLags, Proved: true}
	for _, a := range cycle {
		c.Activities = append(c.Activities, p.name(a))
	}
	c.Message = "the least and greatest times between " + strings.Join(c.Activities, ", ") +
		" contradict each other: what must pass between them is longer than what may pass"
	member := map[string]bool{}
	for _, a := range c.Activities {
		member[a] = true
	}
	for i := range p.in.Lags {
		l := &p.in.Lags[i]
		if l.HasMax && member[l.From] && member[l.To] {
			c.Relaxations = append(c.Relaxations, Relaxation{Subject: l.From, What: l.allowMore()})
		}
	}
	return c
}

// squeezed explains an activity whose latest start, set by a chain of other activities, lies before its earliest.
func (p *problem) squeezed(a int32, over int64, w *window) Conflict {
	x := Conflict{Kind: ConflictWindow, Proved: true, Activities: p.chainBack(a, w)}
	var by []string
	for b := a; w.lsBy[b] >= 0 && len(by) < 6; {
		r := &p.arcs[w.lsBy[b]]
		if r.lag >= 0 && p.in.Lags[r.lag].HasMax && p.in.Lags[r.lag].From == p.name(r.v) {
			l := &p.in.Lags[r.lag]
			x.Relaxations = append(x.Relaxations, Relaxation{Subject: l.To, What: l.allowMore() + ", by", By: over})
		}
		b = r.v
		if slices.Contains(by, p.name(b)) {
			break
		}
		by = append(by, p.name(b))
	}
	x.Message = fmt.Sprintf("%s can begin at %d at the earliest but must begin by %d because of %s", p.name(a), w.es[a], w.ls[a], strings.Join(by, ", "))
	for _, n := range by {
		if !slices.Contains(x.Activities, n) {
			x.Activities = append(x.Activities, n)
		}
	}
	if len(x.Relaxations) == 0 && len(by) > 0 {
		x.Relaxations = []Relaxation{{Subject: by[len(by)-1], What: "move its latest time later by", By: over}}
	}
	return x
}

// chainBack names an activity and those that push its earliest start, nearest first.
func (p *problem) chainBack(a int32, w *window) []string {
	out := []string{p.name(a)}
	for w.esBy[a] >= 0 && len(out) < 10 {
		a = p.arcs[w.esBy[a]].u
		if slices.Contains(out, p.name(a)) {
			break
		}
		out = append(out, p.name(a))
	}
	return out
}

func (p *problem) calendarsOf(a int32) []string {
	var out []string
	for m := range p.acts[a].modes {
		for k, c := range p.acts[a].modes[m].cal {
			if c != nil && p.acts[a].modes[m].d[k] > 0 && !slices.Contains(out, c.name) {
				out = append(out, c.name)
			}
		}
	}
	return out
}

// aloneConflicts finds activities that fit nowhere even if nothing else is planned. The state in which a vessel is found
// counts only for an activity that has it to itself: another one in between may leave it clean enough.
func (p *problem) aloneConflicts() []Conflict {
	users := make([]int, len(p.vessels))
	for a := range p.acts {
		mine := map[int32]bool{}
		for m := range p.acts[a].modes {
			for _, u := range p.acts[a].modes[m].uses {
				mine[u.vessel] = true
			}
		}
		for v := range mine {
			users[v]++
		}
	}
	for v := range p.vessels {
		if found := p.vessels[v].first; users[v] > 1 && found >= 0 {
			p.vessels[v].first = -1
			defer func() { p.vessels[v].first = found }()
		}
	}
	s := newState(p)
	for a := range p.acts {
		s.lb[a] = noPath
	}
	var out []Conflict
	for a := range p.acts {
		if p.acts[a].fact {
			continue
		}
		b := s.bounds(int32(a))
		var why []miss
		fits := false
		for m := range p.acts[a].modes {
			if p.acts[a].fixed && int32(m) != p.acts[a].fixMode {
				continue
			}
			var tm timing
			_, ms, ok := s.fit(int32(a), int32(m), b.lo, 2*Forever, &b, &tm)
			if ok {
				fits = true
				break
			}
			why = append(why, ms)
		}
		if !fits && len(why) > 0 {
			x := p.explainMiss(failure{act: int32(a), miss: why[0]})
			x.Proved = true
			x.Message += ", even with nothing else planned"
			out = append(out, x)
		}
	}
	return out
}

// explainMiss puts into words why an activity found no place.
func (p *problem) explainMiss(f failure) Conflict {
	name := p.name(f.act)
	x := Conflict{Kind: f.kind, Activities: []string{name}}
	switch f.kind {
	case ConflictVessel:
		v := p.in.Vessels[f.subject].Name
		x.Vessels = []string{v}
		x.Message = fmt.Sprintf("%s finds no room in %s (occupied, held, down or being cleaned) within its time limits", name, v)
		x.Relaxations = append(x.Relaxations, Relaxation{Subject: v, What: "free it earlier, or let " + name + " use another vessel"})
	case ConflictCapacity:
		r := p.in.Resources[f.subject].Name
		x.Resources = []string{r}
		need, most := p.demandOf(f.act, f.subject), p.base[f.subject].most()
		x.Message = fmt.Sprintf("%s needs %d of %s (at most %d) and never finds it free within its time limits", name, need, r, most)
		if need == 0 {
			x.Message = fmt.Sprintf("what %s yields never finds room in %s (at most %d) within its time limits", name, r, most)
		}
		x.Relaxations = append(x.Relaxations, Relaxation{Subject: r, What: "raise its capacity by", By: max(0, need-most)})
	case ConflictCalendar:
		x.Calendars = p.calendarsOf(f.act)
		x.Message = fmt.Sprintf("%s finds no open time long enough in %s within its time limits", name, strings.Join(x.Calendars, ", "))
		for _, c := range x.Calendars {
			x.Relaxations = append(x.Relaxations, Relaxation{Subject: c, What: "open longer for " + name})
		}
	case ConflictLink:
		x.Message = fmt.Sprintf("%s has no mode that goes with the modes of the activities linked to it", name)
	default:
		x.Message = fmt.Sprintf("%s cannot be ended before its deadline or the end of the horizon", name)
		x.Relaxations = append(x.Relaxations, Relaxation{Subject: name, What: "move its deadline or the end of the horizon later"})
	}
	return x
}

// demandOf is the least demand of an activity on a resource over its modes.
func (p *problem) demandOf(a, r int32) int64 {
	least := Forever
	for m := range p.acts[a].modes {
		var top int64
		for _, d := range p.acts[a].modes[m].dems {
			if d.res == r {
				top = max(top, d.check)
			}
		}
		least = min(least, top)
	}
	return least
}

func (p *profile) most() int64 { return slices.Max(p.free) }

// linkConflicts finds activities for which links leave no mode.
func (p *problem) linkConflicts() []Conflict {
	var out []Conflict
	for a, ok := range p.linkedModes() {
		if p.acts[a].fact || slices.Contains(ok, true) {
			continue
		}
		x := p.explainMiss(failure{act: int32(a), miss: miss{kind: ConflictLink}})
		x.Proved = true
		for _, k := range p.acts[a].links {
			x.Activities = append(x.Activities, p.name(p.links[k].other(int32(a))))
		}
		out = append(out, x)
	}
	return out
}

// separate looks at pairs within a block that cannot overlap (same vessel in every mode, or too much of a resource
// together). If only one order is possible it becomes an arc; if none, that is a conflict.
func (p *problem) separate() (added bool, conflict *Conflict) {
	for i := range p.blocks {
		b := &p.blocks[i]
		if b.dist == nil {
			continue
		}
		n := len(b.acts)
		for x := range n {
			for y := x + 1; y < n; y++ {
				u, v := b.acts[x], b.acts[y]
				what := p.disjoint(u, v)
				if what == "" {
					continue
				}
				uv := -b.dist[y*n+x] >= p.acts[u].minDur && p.ls[v]-p.es[u] >= p.acts[u].minDur
				vu := -b.dist[x*n+y] >= p.acts[v].minDur && p.ls[u]-p.es[v] >= p.acts[v].minDur
				switch {
				case !uv && !vu:
					return false, &Conflict{
						Kind: ConflictLags, Proved: true, Activities: []string{p.name(u), p.name(v)},
						Message: fmt.Sprintf("%s and %s cannot overlap because of %s, and the times allowed between them leave room for neither order", p.name(u), p.name(v), what),
					}
				case !vu && b.dist[x*n+y] < p.acts[u].minDur:
					p.addArc(arc{u: u, v: v, uEnd: true, lag: -1})
					added = true
				case !uv && b.dist[y*n+x] < p.acts[v].minDur:
					p.addArc(arc{u: v, v: u, uEnd: true, lag: -1})
					added = true
				}
			}
		}
	}
	return added, nil
}

// disjoint names what keeps two activities from overlapping in time, or returns "".
func (p *problem) disjoint(u, v int32) string {
	cu, cv := &p.acts[u], &p.acts[v]
	if cu.minDur == 0 || cv.minDur == 0 {
		return ""
	}
	if len(cu.modes) == 1 && len(cv.modes) == 1 {
		for _, a := range cu.modes[0].uses {
			for _, b := range cv.modes[0].uses {
				if a.vessel == b.vessel {
					return p.in.Vessels[a.vessel].Name
				}
			}
		}
	}
	for r := range p.base {
		if p.constantDemand(cu, int32(r))+p.constantDemand(cv, int32(r)) > p.base[r].most() {
			return p.in.Resources[r].Name
		}
	}
	return ""
}

// constantDemand is what an activity takes of a resource at every moment in whatever mode; 0 if that varies.
func (p *problem) constantDemand(c *cact, r int32) int64 {
	least := Forever
	for m := range c.modes {
		mode := &c.modes[m]
		var q int64
		if !mode.pauses {
			for _, d := range mode.dems {
				whole := true
				for k := range int8(3) {
					whole = whole && (mode.d[k] == 0 || d.lo <= k && k <= d.hi)
				}
				if d.res == r && whole {
					q += d.add
				}
			}
		}
		least = min(least, q)
	}
	return least
}
