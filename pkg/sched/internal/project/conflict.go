package project

import "math"

// conflict finds out what a contradiction rests on. It keeps a set of literals that together are impossible, at most one
// per bound variable (of two statements about the same bound the stronger implies the other), and replaces the latest
// ones by their reasons until only one is left of the current level. Steps are undone on the way, so that each reason
// is worked out from the bounds as they were when it applied.
type conflict struct {
	at   lit // literal that could not be set; x < 0 if the contradiction is of another kind
	why  why
	aux  int32
	need []int32 // needed bound by bound variable
	list []int32 // bound variables with a need, also some whose need is gone
	now  int     // needs that became true at the current level
	base int32   // first step of the current level
	out  []lit
	seen []int32 // stamps of levels
	mark int32
}

const noNeed = math.MinInt32

func (c *conflict) reset(boundVars int) {
	c.need = resize(c.need, boundVars)
	for x := range c.need {
		c.need[x] = noNeed
	}
	c.list = c.list[:0]
}

// before returns the bound of x at the start of the current level.
func (c *conflict) before(e *engine, x int32) int32 {
	v := e.b[x]
	for k := e.last[x]; k >= c.base; k = e.trail[k].prev {
		v = e.trail[k].old
	}
	return v
}

// cost rates what a literal adds to the conflict: nothing if it is there or holds for good, most if it is of this level.
func (c *conflict) cost(e *engine, l lit) int32 {
	switch {
	case l.v <= e.root[l.x] || l.v <= c.need[l.x]:
		return 0
	case l.v <= c.before(e, l.x):
		return 1
	default:
		return 3
	}
}

// add puts a literal that holds into the set.
func (c *conflict) add(e *engine, l lit) {
	x, v := l.x, l.v
	old := c.need[x]
	if v <= e.root[x] || v <= old {
		return
	}
	was := c.before(e, x)
	if old == noNeed {
		c.list = append(c.list, x)
	} else if old > was {
		c.now--
	}
	if v > was {
		c.now++
	}
	c.need[x] = v
}

// explain adds the reason why b[x] >= v, given how the step was made.
func (c *conflict) explain(e *engine, x, v int32, w why, aux int32) {
	switch w {
	case byClause:
		e.db.used(aux)
		for _, l := range e.db.of(aux)[1:] {
			c.add(e, l.not())
		}
	case byEdge:
		d := &e.edges[aux]
		c.add(e, lit{d.from, v - d.w})
		if d.cond.x >= 0 {
			c.add(e, d.cond)
		}
	case byRefusal: // from >= a and to^1 >= 1-a-w contradict the edge, for any a that both bounds allow
		d := &e.edges[aux]
		a := e.b[d.from]
		if low := 1 - d.w - e.b[d.to^1]; low <= max(e.root[d.from], c.need[d.from]) {
			a = low
		}
		c.add(e, lit{d.from, a})
		c.add(e, lit{d.to ^ 1, 1 - a - d.w})
	case byProfile:
		j := x >> 1
		if x&1 == 0 {
			c.add(e, lit{x, aux + 1 - e.in.dur[j]})
		} else {
			c.add(e, lit{x, -aux})
		}
		e.tt.explain(e, aux, j)
	case byEnergy:
		e.energy.explain(e, aux, x, v)
	}
}

// analyse turns the contradiction into a clause in c.out, the literal to assert first and one of the highest other level
// second. It returns the level at which the clause asserts, or -1 if there is no schedule at all. The engine is left at
// the level of the conflict, part of it undone.
func (c *conflict) analyse(e *engine) int32 {
	c.open(e, e.level())
	if c.at.x >= 0 {
		c.add(e, c.at.not())
		c.explain(e, c.at.x, c.at.v, c.why, c.aux)
	} else if c.why == byProfile {
		e.tt.explain(e, c.aux, -1)
	} else {
		e.energy.explain(e, c.aux, -1, 0)
	}
	if c.now == 0 && !c.lower(e) {
		c.clear()
		return -1
	}
	for {
		k := int32(len(e.trail) - 1)
		s := e.trail[k]
		v := c.need[s.x]
		if v <= s.old { // noNeed is below all
			e.undo()
			continue
		}
		if c.now == 1 {
			level := c.finish(e, lit{s.x, v})
			c.clear()
			return level
		}
		e.heap.bump(lit{s.x, v})
		e.undo()
		c.need[s.x] = noNeed
		c.now--
		c.explain(e, s.x, v, s.why, s.aux)
		e.ticks += 4
	}
}

func (c *conflict) open(e *engine, level int32) {
	c.now = 0
	c.base = 0
	if level > 0 {
		c.base = e.lims[level-1]
	}
}

func (c *conflict) clear() {
	for _, x := range c.list {
		c.need[x] = noNeed
	}
	c.list = c.list[:0]
}

// lower goes down to the level at which the conflict already held.
func (c *conflict) lower(e *engine) bool {
	var level int32
	for _, x := range c.list {
		if v := c.need[x]; v != noNeed {
			level = max(level, e.trail[c.step(e, lit{x, v})].level)
		}
	}
	if level == 0 {
		return false
	}
	for len(e.trail) > int(e.lims[level]) {
		e.undo()
	}
	c.open(e, level)
	for _, x := range c.list {
		if v := c.need[x]; v != noNeed && v > c.before(e, x) {
			c.now++
		}
	}
	return true
}

// step returns the step that made a literal true that was not true at the root.
func (c *conflict) step(e *engine, l lit) int32 {
	k := e.last[l.x]
	for e.trail[k].old >= l.v {
		k = e.trail[k].prev
	}
	return k
}

// finish writes the clause.
func (c *conflict) finish(e *engine, uip lit) int32 {
	c.out = append(c.out[:0], uip.not())
	e.heap.bump(uip)
	for _, x := range c.list {
		v := c.need[x]
		if v == noNeed || x == uip.x {
			continue
		}
		l := lit{x, v}
		if c.implied(e, l, c.step(e, l), 0) {
			continue
		}
		c.out = append(c.out, l.not())
		e.heap.bump(l)
	}
	var level int32
	c.mark++
	levels := int32(1)
	for k := 1; k < len(c.out); k++ {
		at := e.trail[c.step(e, c.out[k].not())].level
		for int(at) >= len(c.seen) {
			c.seen = append(c.seen, 0)
		}
		if c.seen[at] != c.mark {
			c.seen[at] = c.mark
			levels++
		}
		if at > level {
			level = at
			c.out[1], c.out[k] = c.out[k], c.out[1]
		}
	}
	c.aux = levels
	return level
}

// implied reports whether a literal that became true at step first follows from literals of the set that are older
// than that. Only older ones count, lest two literals justify each other's absence.
func (c *conflict) implied(e *engine, l lit, first int32, depth int) bool {
	s := &e.trail[c.step(e, l)]
	e.ticks++
	switch s.why {
	case byEdge:
		d := &e.edges[s.aux]
		return c.covered(e, lit{d.from, l.v - d.w}, first, depth) && (d.cond.x < 0 || c.covered(e, d.cond, first, depth))
	case byClause:
		for _, m := range e.db.of(s.aux)[1:] {
			if !c.covered(e, m.not(), first, depth) {
				return false
			}
		}
		return true
	}
	return false
}

// maxImplied bounds how far back a literal is followed to leave it out of a clause.
const maxImplied = 5

func (c *conflict) covered(e *engine, l lit, first int32, depth int) bool {
	if l.v <= e.root[l.x] {
		return true
	}
	if v := c.need[l.x]; l.v <= v && c.step(e, lit{l.x, v}) < first {
		return true
	}
	return depth < maxImplied && c.implied(e, l, first, depth+1)
}
