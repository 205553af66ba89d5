package sched

import (
	"slices"
)

// grid cuts the horizon into cells of equal length. The relaxation behind the rents (see rents) only knows in which
// cell something happens and only watches limits at the last moment of each cell. Both forget constraints and add none:
// what is busy from cell x up to, not including, cell y is busy at the last moment of each of the cells x..y-1. When
// every time of the instance is a multiple of the cell nothing is lost by it.
type grid struct {
	from, g int64
	cells   int32
}

// at is the cell of moment t, which may lie outside of the horizon.
func (g *grid) at(t int64) int32 { return int32(floorDiv(t-g.from, g.g)) }

// begin is the first moment of a cell, last the last one.
func (g *grid) begin(c int32) int64 { return g.from + int64(c)*g.g }
func (g *grid) last(c int32) int64  { return g.from + int64(c+1)*g.g - 1 }

func (g *grid) clamp(c int32) int32 { return min(max(c, 0), g.cells) }

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

func ceilDiv(a, b int64) int64 { return -floorDiv(-a, b) }

// limit is something scarce: a cumulative resource, or a group of vessels that together serve so many at a time.
type limit struct {
	res    int32   // or -1
	set    []int32 // vessels, ascending
	in     []bool  // per vessel, member of set
	cap    []int64 // per cell, at its last moment, what facts leave
	least  int64   // of cap
	roof   int64   // greatest rent
	rent   []int64 // per cell, for one unit, in parts of 1/rentScale
	paid   []int64 // rent from the first cell up to each cell
	live   bool    // some rent is above zero
	use    []int64 // per cell, difference of the use found last
	masked []*mask
	short  map[int64][]int32 // per amount, count of cells before each cell that have less than it
}

// mask is a limit seen by work that pauses while a calendar is closed.
type mask struct {
	of   *limit
	cal  *opening
	open []bool
	paid []int64
}

// maskBy returns the view of l through a calendar.
func (l *limit) maskBy(g *grid, cal *opening) *mask {
	for _, m := range l.masked {
		if m.cal == cal {
			return m
		}
	}
	m := &mask{of: l, cal: cal, open: make([]bool, g.cells), paid: make([]int64, g.cells+1)}
	for c := range m.open {
		t := g.last(int32(c))
		m.open[c] = cal.nextOpen(t) == t
	}
	l.masked = append(l.masked, m)
	return m
}

// shorts counts, before each cell, the cells in which less than amount is to be had. It is nil when there is none.
func (l *limit) shorts(amount int64) []int32 {
	if amount <= l.least {
		return nil
	}
	if s, ok := l.short[amount]; ok {
		return s
	}
	s := make([]int32, len(l.cap)+1)
	for c, free := range l.cap {
		s[c+1] = s[c]
		if free < amount {
			s[c+1]++
		}
	}
	l.short[amount] = s
	return s
}

// sum brings the rents paid up to each cell up to date.
func (l *limit) sum() {
	l.live = false
	for c, x := range l.rent {
		l.paid[c+1] = l.paid[c] + x
		l.live = l.live || x > 0
	}
	for _, m := range l.masked {
		for c, x := range l.rent {
			m.paid[c+1] = m.paid[c]
			if m.open[c] {
				m.paid[c+1] += x
			}
		}
	}
}

// limitCount bounds the number of limits that are looked at; at most 32 (rents.member).
const limitCount = 24

// limits lists what may be scarce at some time, the most loaded first.
func (p *problem) limits(g *grid) []*limit {
	var out []*limit
	for r := range p.base {
		out = append(out, &limit{res: int32(r)})
	}
	for _, set := range p.rivalSets() {
		l := &limit{res: -1, set: set, in: make([]bool, len(p.vessels))}
		for _, v := range set {
			l.in[v] = true
		}
		out = append(out, l)
	}
	load := map[*limit]float64{}
	keep := out[:0]
	for _, l := range out {
		p.fillLimit(l, g)
		if load[l] = p.loadOf(l); load[l] > 0 {
			keep = append(keep, l)
		}
	}
	slices.SortStableFunc(keep, func(a, b *limit) int {
		switch {
		case load[a] > load[b]:
			return -1
		case load[a] < load[b]:
			return 1
		}
		return 0
	})
	return keep[:min(len(keep), limitCount)]
}

// rivalSets lists the sets of vessels of which some activity has to use one, single vessels included.
func (p *problem) rivalSets() [][]int32 {
	var out [][]int32
	seen := map[string]bool{}
	key := make([]byte, (len(p.vessels)+7)/8)
	for a := range p.acts {
		c := &p.acts[a]
		if c.fact {
			continue
		}
		clear(key)
		for m := range c.modes {
			for _, u := range c.modes[m].uses {
				key[u.vessel/8] |= 1 << (u.vessel % 8)
			}
		}
		if seen[string(key)] || len(out) >= 4*limitCount {
			continue
		}
		seen[string(key)] = true
		var set []int32
		for v := range p.vessels {
			if key[v/8]&(1<<(v%8)) != 0 {
				set = append(set, int32(v))
			}
		}
		if len(set) > 0 {
			out = append(out, set)
		}
	}
	return out
}

// fillLimit finds the capacity that is left in each cell for what is still to be planned.
func (p *problem) fillLimit(l *limit, g *grid) {
	n := int(g.cells)
	l.cap, l.rent, l.paid, l.use = make([]int64, n), make([]int64, n), make([]int64, n+1), make([]int64, n+2)
	l.short = map[int64][]int32{}
	if l.res >= 0 {
		b := &p.base[l.res]
		for c, i := 0, 0; c < n; c++ {
			for t := g.last(int32(c)); i+1 < len(b.at) && b.at[i+1] <= t; {
				i++
			}
			l.cap[c] = b.free[i]
		}
	} else {
		wait := p.longestClean(l)
		for c := range l.cap {
			l.cap[c] = int64(len(l.set))
		}
		for _, v := range l.set {
			var away []Span
			for _, d := range p.vessels[v].down {
				// Stays are stretched to the front by the cleaning before them, which may reach back into the window.
				if d.End-wait > d.Start {
					away = append(away, Span{d.Start, d.End - wait})
				}
			}
			for _, d := range mergeSpans(append(away, p.factsIn(v)...)) {
				p.lessen(l, g, d.Start, d.End, 1)
			}
		}
	}
	if l.res >= 0 {
		for a := range p.acts {
			p.lessenByFact(l, g, int32(a))
		}
	}
	peak := int64(0)
	for c := range l.cap {
		l.cap[c] = max(0, l.cap[c])
		peak = max(peak, l.cap[c])
	}
	l.least = slices.Min(l.cap)
	l.roof = min(int64(1)<<40, (int64(1)<<56)/(int64(n)*max(1, peak)))
}

// lessen takes q off the capacity in [x, y).
func (p *problem) lessen(l *limit, g *grid, x, y, q int64) {
	for c := g.clamp(g.at(x)); c < g.clamp(g.at(y)); c++ {
		l.cap[c] -= q
	}
}

// lessenByFact takes off what a started activity takes of a resource.
func (p *problem) lessenByFact(l *limit, g *grid, a int32) {
	c := &p.acts[a]
	if !c.fact {
		return
	}
	m := &c.modes[c.fixMode]
	tm := m.factTiming(c.fixStart, p.in.Activities[a].Fixed.End)
	for i := range m.dems {
		if d := &m.dems[i]; d.res == l.res {
			p.lessen(l, g, tm.b[d.lo], tm.e[d.hi], d.add)
		}
	}
}

// factsIn lists when started activities are in a vessel. They may overlap each other and the times when it is down.
func (p *problem) factsIn(v int32) []Span {
	var out []Span
	for a := range p.acts {
		c := &p.acts[a]
		if !c.fact {
			continue
		}
		m := &c.modes[c.fixMode]
		tm := m.factTiming(c.fixStart, p.in.Activities[a].Fixed.End)
		for _, u := range m.uses {
			if u.vessel == v && tm.end() > tm.start() {
				out = append(out, Span{tm.start(), tm.end()})
			}
		}
	}
	return out
}

// usesOf counts the vessels of l that the mode occupies; with kept only those that a hold keeps.
func (m *cmode) usesOf(l *limit, kept bool) int64 {
	n := int64(0)
	for _, u := range m.uses {
		if l.in[u.vessel] && !(kept && u.free) {
			n++
		}
	}
	return n
}

// loadOf is the part of the limit's capacity that the work takes, 0 when nothing can ever be in the way of anything.
func (p *problem) loadOf(l *limit) float64 {
	var all, work, room float64
	for a := range p.acts {
		c := &p.acts[a]
		if c.fact {
			continue
		}
		amount, area := float64(Forever), float64(Forever)
		for m := range c.modes {
			x := &c.modes[m]
			if l.res < 0 {
				n := float64(x.usesOf(l, false))
				amount, area = min(amount, n), min(area, n*float64(x.total))
				continue
			}
			top := int64(0)
			for i := range x.dems {
				if x.dems[i].res == l.res {
					top = max(top, x.dems[i].add)
				}
			}
			amount, area = min(amount, float64(top)), min(area, float64(x.workOn(l.res)))
		}
		all += amount
		work += area
	}
	for i := range p.stores {
		if p.stores[i].res == l.res {
			all += float64(p.stores[i].amount)
			work++
		}
	}
	if all <= float64(l.least) || l.roof < 1<<16 {
		return 0
	}
	for _, c := range l.cap {
		room += float64(c)
	}
	return work / float64(room+1)
}

// longestClean is the longest cleaning that any stay in a vessel of l is stretched by.
func (p *problem) longestClean(l *limit) int64 {
	longest := int64(0)
	if !slices.ContainsFunc(l.set, func(v int32) bool { return len(p.vessels[v].down) > 0 }) {
		return 0 // nobody asks
	}
	for a := range p.acts {
		for m := range p.acts[a].modes {
			longest = max(longest, p.cleanBefore(int32(a), &p.acts[a].modes[m], l))
		}
	}
	return longest
}

// cleanBefore is the least time for which some vessel of l is empty before the mode begins, because every change to the
// state of a takes as long: between two stays in a vessel lies a change, so stays do not overlap even when each is
// stretched to the front by the shortest change that can precede it.
func (p *problem) cleanBefore(a int32, m *cmode, l *limit) int64 {
	c := &p.acts[a]
	if c.fact || l.res >= 0 || m.total == 0 || len(c.holdsFrom) > 0 {
		return 0
	}
	least, found := int64(0), false
	for _, u := range m.uses {
		if !l.in[u.vessel] {
			continue
		}
		x := p.leastChange(u.vessel, a)
		if !found || x < least {
			least, found = x, true
		}
	}
	return least
}

// leastChange is the shortest change to the state of a in a vessel.
func (p *problem) leastChange(v, a int32) int64 {
	ve := &p.vessels[v]
	if ve.setup == nil {
		return 0
	}
	least := Forever
	for i := range ve.setup.in.Change {
		least = min(least, ve.setup.in.Change[i][ve.states[a]].Duration)
	}
	return least
}
