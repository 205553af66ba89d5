package sched

import "math"

// rents bounds the weighted lateness by Lagrangian relaxation (Fisher, Management Science 27, 1981; for machine scheduling
// with cell-indexed prices van de Velde and others; from memory). Every limit asks rent for the time that it is taken,
// by cells; under given rents each tree of activities finds its cheapest run by itself, and the sum of these, less the
// rent that all limits can earn, is a bound of the lateness whatever the rents. Steps move the rents up where more is
// taken than there is.
type rents struct {
	p      *problem
	g      grid
	allow  [][]bool
	limits []*limit
	all    []*tree
	member []uint32             // per vessel, the limits that it belongs to
	shut   map[*opening][]int32 // see closed
	base   int64                // lateness that is not looked into
	buf    []int64
	queue  []int32
	long   slab[int64]
	short  slab[int32]
	width  int32 // of windows to begin with, zero: by the tree
	work   int64 // cells looked at in one step
	climb  climb
}

// rentScale is the number of parts that costs are counted in, so that rents need not be whole.
const rentScale = 64

// newRents sets the relaxation up; nil when it cannot say anything.
func (p *problem) newRents() *rents { return p.rentsOn(p.grid(), 0) }

// rentsOn does so on a grid of the caller's choice, with windows of so many cells to begin with (zero: as many as a tree
// is likely to need).
func (p *problem) rentsOn(g grid, width int32) *rents {
	r := &rents{p: p, allow: p.linkedModes(), shut: map[*opening][]int32{}, width: width}
	weight := float64(0)
	for a := range p.acts {
		weight += float64(p.acts[a].weight)
	}
	if weight == 0 || weight*float64(p.to)*rentScale > 1<<57 {
		return nil
	}
	r.g = g
	r.limits = p.limits(&r.g)
	r.member = make([]uint32, len(p.vessels))
	for i, l := range r.limits {
		for _, v := range l.set {
			r.member[v] |= 1 << i
		}
	}
	r.trees()
	for _, t := range r.all {
		for i := range t.nodes {
			n := &t.nodes[i]
			r.work += int64(n.n)
		}
	}
	r.buf = make([]int64, r.g.cells+2)
	r.begin()
	return r
}

// cellsPerWindow is how many cells the window of an activity should have at most, by and large.
const cellsPerWindow = 2000

// grid chooses cells that divide all times, if those are not too many.
func (p *problem) grid() grid {
	d := p.to - p.from
	common := d
	take := func(t int64) {
		for t != 0 {
			common, t = t, common%t
		}
		if common < 0 {
			common = -common
		}
	}
	for a := range p.acts {
		c := &p.acts[a]
		if c.fact {
			continue
		}
		take(c.release - p.from)
		for m := range c.modes {
			for k := range 3 {
				take(c.modes[m].d[k])
			}
		}
	}
	for i := range p.arcs {
		if w := p.arcs[i].w; w > -Forever {
			take(w)
		}
	}
	for i := range p.in.Calendars {
		for _, o := range p.in.Calendars[i].Open {
			take(o.Start - p.from)
			take(o.End - p.from)
		}
	}
	common = max(1, common)
	longest := int64(1)
	for a := range p.acts {
		longest = max(longest, p.tail[a])
	}
	span := min(d, 3*longest)
	g := common * max(1, ceilDiv(span, common*cellsPerWindow))
	if d/g > math.MaxInt32/4 {
		g = ceilDiv(d, math.MaxInt32/4)
	}
	return grid{from: p.from, g: g, cells: int32(ceilDiv(d, g))}
}

// value computes the bound under the present rents, in parts of 1/rentScale.
func (r *rents) value(use bool) int64 {
	v := r.base * rentScale
	for _, l := range r.limits {
		l.sum()
		if use {
			clear(l.use)
		}
		if l.live {
			for c, x := range l.rent {
				v -= x * l.cap[c]
			}
		}
	}
	for _, t := range r.all {
		v += r.cheapest(t, use)
		if t.cut && use {
			t.width = min(wide, 2*t.width) // it pays to be later than the window knows
			r.size(t)
		}
	}
	return v
}
