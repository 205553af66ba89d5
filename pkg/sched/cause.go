package sched

import (
	"fmt"
	"slices"
	"strings"
)

// probeLimit bounds the sets of activities that are tried in search of the shortest chain that has no place. Beyond it a
// chain is reported that cannot be shortened, though a shorter one may exist elsewhere.
const probeLimit = 2000

// windowConflicts finds the fewest activities that leave themselves no room: single ones that have no place even
// without lags, else the shortest chains of them.
func (p *problem) windowConflicts(w *window) []Conflict {
	var bad []int32
	for a := range p.acts {
		if p.overrun(int32(a), w) > 0 {
			bad = append(bad, int32(a))
		}
	}
	if len(bad) == 0 {
		return nil
	}
	x := &prober{p: p, w: newWindow(len(p.acts))}
	x.w.inside = make([]bool, len(p.acts))
	var out []Conflict
	for _, a := range bad {
		if x.impossible([]int32{a}) {
			out = append(out, x.alone(a))
		}
	}
	if len(out) > 0 {
		return out
	}
	seen := make([]bool, len(p.acts))
	for _, a := range bad {
		if seen[a] || len(out) >= conflictLimit {
			continue
		}
		for _, set := range x.shortest(p.tied(a, seen)) {
			out = append(out, x.explain(set, w))
		}
	}
	return out
}

// tied lists the activities that lags, holds and stores tie to a, directly or through others, and marks them as seen.
func (p *problem) tied(a int32, seen []bool) []int32 {
	out := []int32{a}
	seen[a] = true
	for i := 0; i < len(out); i++ {
		for _, k := range p.acts[out[i]].arcs {
			if b := p.arcs[k].other(out[i]); !seen[b] {
				seen[b] = true
				out = append(out, b)
			}
		}
	}
	slices.Sort(out)
	return out
}

func (a *arc) other(u int32) int32 {
	if a.u == u {
		return a.v
	}
	return a.u
}

// prober tries sets of activities as if there were no others.
type prober struct {
	p *problem
	w *window
}

// impossible reports whether some activity of the set has no room; w then says why.
func (x *prober) impossible(set []int32) bool {
	for _, a := range set {
		x.w.inside[a] = true
	}
	x.p.propagate(x.w, set)
	for _, a := range set {
		x.w.inside[a] = false
	}
	return slices.ContainsFunc(set, func(a int32) bool { return x.p.overrun(a, x.w) > 0 })
}

// shortest finds the smallest connected sets within acts that are impossible, none of which share an activity. It grows
// all connected sets that are possible by one activity at a time.
func (x *prober) shortest(acts []int32) [][]int32 {
	var sets, found [][]int32
	for _, a := range acts {
		sets = append(sets, []int32{a})
	}
	taken := map[int32]bool{}
	for left := probeLimit; len(sets) > 0 && len(found) == 0; {
		var next [][]int32
		seen := map[string]bool{}
		for _, set := range sets {
			for _, b := range x.beside(set) {
				larger := append(slices.Clone(set), b)
				slices.Sort(larger)
				key := fmt.Sprint(larger)
				if seen[key] {
					continue
				}
				seen[key] = true
				if left--; left < 0 {
					return [][]int32{x.irreducible(acts)}
				}
				switch {
				case !x.impossible(larger):
					next = append(next, larger)
				case !slices.ContainsFunc(larger, func(a int32) bool { return taken[a] }):
					found = append(found, larger)
					for _, a := range larger {
						taken[a] = true
					}
				}
			}
		}
		sets = next
	}
	if len(found) == 0 {
		return [][]int32{acts}
	}
	return found
}

// beside lists the activities next to those of a set.
func (x *prober) beside(set []int32) []int32 {
	var out []int32
	for _, a := range set {
		for _, k := range x.p.acts[a].arcs {
			if b := x.p.arcs[k].other(a); !slices.Contains(set, b) && !slices.Contains(out, b) {
				out = append(out, b)
			}
		}
	}
	return out
}

// irreducible leaves out of an impossible set what it can, in ever smaller pieces, until every member is needed.
func (x *prober) irreducible(set []int32) []int32 {
	for size := len(set) / 2; size > 0; size /= 2 {
		for i := 0; i < len(set); {
			if less := slices.Delete(slices.Clone(set), i, min(i+size, len(set))); x.impossible(less) {
				set = less
			} else {
				i += size
			}
		}
	}
	return set
}

// explain puts into words why the activities of an impossible set have no room; w is what all activities together leave.
func (x *prober) explain(set []int32, w *window) Conflict {
	p := x.p
	x.w.timeless = true
	late := x.impossible(set)
	x.w.timeless = false
	if !late {
		if x.impossible(set) { // else only many more activities together are
			w = x.w
		}
		if x.clash(set, w) {
			return p.calendarChain(set)
		}
	} else {
		w = x.w
	}
	c := Conflict{}
	// Report where a chain ends; failing that, an activity inside it: the limit is one of those after it.
	if i := slices.IndexFunc(set, func(a int32) bool {
		limit, _ := p.limit(a)
		return p.overrun(a, w) > 0 && (w.ee[a] > limit || w.lsBy[a] < 0)
	}); i >= 0 {
		c = p.tooLate(set[i], w)
	} else {
		i = max(0, slices.IndexFunc(set, func(a int32) bool { return p.overrun(a, w) > 0 }))
		c = p.squeezed(set[i], w.es[set[i]]-w.ls[set[i]], w)
	}
	for _, a := range set {
		if n := p.name(a); len(c.Activities) < 2*conflictLimit && !slices.Contains(c.Activities, n) {
			c.Activities = append(c.Activities, n)
		}
	}
	return c
}

// clash reports whether the calendars are what leaves no room, rather than a limit that is missed by some amount: an
// activity is pushed past the horizon, or the activities push each other from one open time to the next.
func (x *prober) clash(set []int32, w *window) bool {
	for _, a := range set {
		if x.p.overrun(a, w) == 0 {
			continue
		}
		if w.es[a] > x.p.to {
			return true
		}
		for b, n := a, 0; w.esBy[b] >= 0; n++ {
			if n > len(set) {
				return true // the chain of pushes runs in a circle
			}
			b = x.p.arcs[w.esBy[b]].u
		}
	}
	return false
}

// calendarChain explains activities each of which finds open time, but not all of them as close together as they must be.
func (p *problem) calendarChain(set []int32) Conflict {
	c := Conflict{Kind: ConflictCalendar, Proved: true}
	for _, a := range p.innerOrder(set) {
		c.Activities = append(c.Activities, p.name(a))
		for _, cal := range p.calendarsOf(a) {
			if !slices.Contains(c.Calendars, cal) {
				c.Calendars = append(c.Calendars, cal)
			}
		}
	}
	c.Message = fmt.Sprintf("%s find no open time (%s) one after the other: where one of them can be done, another cannot within the times allowed between them",
		strings.Join(c.Activities, ", "), strings.Join(c.Calendars, ", "))
	for i := range p.in.Lags {
		if l := &p.in.Lags[i]; l.HasMax && slices.Contains(c.Activities, l.From) && slices.Contains(c.Activities, l.To) {
			c.Relaxations = append(c.Relaxations, Relaxation{Subject: l.From, What: l.allowMore()})
		}
	}
	for _, cal := range c.Calendars {
		c.Relaxations = append(c.Relaxations, Relaxation{Subject: cal, What: "open longer for " + strings.Join(c.Activities, ", ")})
	}
	return c
}

// allowMore says how to relax a greatest lag.
func (l *Lag) allowMore() string {
	what := fmt.Sprintf("allow more than %d between %s and %s", l.Max, l.From, l.To)
	if l.Why != "" {
		what += " (" + l.Why + ")"
	}
	return what
}

// alone explains an activity that has no place even without lags.
func (x *prober) alone(a int32) Conflict {
	p := x.p
	if x.w.ee[a] >= Forever {
		return p.noOpenTime(a)
	}
	c := p.tooLate(a, x.w)
	if p.acts[a].fixed {
		_, what := p.limit(a)
		over := p.overrun(a, x.w)
		c.Kind = ConflictFixed
		c.Message = fmt.Sprintf("%s is pinned to start at %d and so ends at %d, %d after %s", p.name(a), p.acts[a].fixStart, x.w.ee[a], over, what)
		c.Relaxations = append([]Relaxation{{Subject: p.name(a), What: "release from its pinned start", By: over}}, c.Relaxations...)
	}
	return c
}

// tooLate explains an activity that ends after its limit, by itself or because of those before it.
func (p *problem) tooLate(a int32, w *window) Conflict {
	c := Conflict{Kind: ConflictWindow, Proved: true, Activities: p.chainBack(a, w)}
	_, what := p.limit(a)
	over := p.overrun(a, w)
	c.Message = fmt.Sprintf("%s can end at %d at the earliest, %d after %s", p.name(a), max(w.ee[a], w.es[a]+p.acts[a].minDur), over, what)
	if len(c.Activities) > 1 {
		c.Message += ", because of " + strings.Join(c.Activities[1:], ", ")
	}
	c.Relaxations = []Relaxation{{Subject: p.name(a), What: "move " + what + " later by", By: over}}
	return c
}

// noOpenTime explains an activity that its calendars alone leave no place.
func (p *problem) noOpenTime(a int32) Conflict {
	act, name := &p.acts[a], p.name(a)
	c := Conflict{Kind: ConflictCalendar, Proved: true, Activities: []string{name}, Calendars: p.calendarsOf(a)}
	all := strings.Join(c.Calendars, ", ")
	need, short := act.minDur, Forever
	var tm timing
	for m := range act.modes {
		mode := &act.modes[m]
		if t, ok := mode.begin(act.release, 2*Forever, &tm); ok && t < Forever {
			need, c.Message = act.minDur, fmt.Sprintf("%s finds open time (%s) only from %d on, after the end of the horizon", name, all, t)
			break
		}
		k, has := mode.tooShort(act.release)
		if k < 0 {
			need, short = act.minDur, 0
			c.Message = fmt.Sprintf("%s (%d) cannot end within the open time that begins it, and %s is not open when it would have to end otherwise", name, act.minDur, all)
			continue
		}
		if by := mode.d[k] - has; by < short {
			need, short = mode.d[k], by
			c.Message = fmt.Sprintf("%s cannot be done: it needs %d of open time in one go, but %s is open for %d at most", name, need, mode.cal[k].name, has)
			if mode.pausable[k] {
				c.Message = fmt.Sprintf("%s cannot be done: it needs %d of open time, but %s has only %d left", name, need, mode.cal[k].name, has)
			}
		}
	}
	for _, cal := range c.Calendars {
		c.Relaxations = append(c.Relaxations, Relaxation{Subject: cal, What: "open long enough for " + name, By: need})
	}
	return c
}

// tooShort finds a phase that is longer than the open time of its calendar from a moment on, and that open time; -1 if
// each phase by itself would fit.
func (m *cmode) tooShort(from int64) (phase int, has int64) {
	for k, cal := range m.cal {
		if m.d[k] == 0 || cal == nil {
			continue
		}
		var longest, sum int64
		for _, s := range cal.open[cal.at(from):] {
			length := s.End - max(s.Start, from)
			longest, sum = max(longest, length), sum+length
		}
		if m.pausable[k] {
			longest = sum
		}
		if m.d[k] > longest {
			return k, longest
		}
	}
	return -1, 0
}
