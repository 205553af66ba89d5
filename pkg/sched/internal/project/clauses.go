package project

import (
	"cmp"
	"slices"
)

// clauses holds what was learned: each clause says that one of its literals is true. The first two literals of each are
// watched; a clause is looked at only when one of these becomes false.
type clauses struct {
	lits    []lit
	list    []clause
	watches [][]watch // by the bound variable whose rise makes the literal false
	grain   float32   // what an activity grows by
}

type clause struct {
	off, len int32
	levels   int32 // distinct levels when it was learned
	activity float32
}

// watch is a watched literal, seen from its negation: false once the bound variable reaches limit.
type watch struct {
	clause, limit int32
	other         lit // some literal of the clause; if it is true there is nothing to do
}

func (d *clauses) reset(boundVars int) {
	d.lits, d.list, d.grain = d.lits[:0], d.list[:0], 1
	if cap(d.watches) < boundVars {
		d.watches = make([][]watch, boundVars)
	}
	d.watches = d.watches[:boundVars]
	for x := range d.watches {
		d.watches[x] = d.watches[x][:0]
	}
}

func (d *clauses) of(c int32) []lit {
	k := &d.list[c]
	return d.lits[k.off : k.off+k.len]
}

// add stores a clause of at least two literals.
func (d *clauses) add(lits []lit, levels int32) int32 {
	c := int32(len(d.list))
	d.list = append(d.list, clause{off: int32(len(d.lits)), len: int32(len(lits)), levels: levels, activity: d.grain})
	d.lits = append(d.lits, lits...)
	d.watch(lits[0], lits[1], c)
	d.watch(lits[1], lits[0], c)
	return c
}

func (d *clauses) watch(l, other lit, c int32) {
	d.watches[l.x^1] = append(d.watches[l.x^1], watch{c, 1 - l.v, other})
}

// used raises the activity of a clause.
func (d *clauses) used(c int32) {
	k := &d.list[c]
	if k.activity += d.grain; k.activity > 1e20 {
		for i := range d.list {
			d.list[i].activity *= 1e-20
		}
		d.grain *= 1e-20
	}
}

// watched visits the clauses of which a watched literal became false when b[y] rose from old to v.
func (e *engine) watched(y, old, v int32) bool {
	d := &e.db
	list := d.watches[y]
	e.ticks += int64(len(list)) >> 4
	kept := 0
	for i := range list {
		w := list[i]
		if w.limit <= old || w.limit > v || e.holds(w.other) {
			list[kept] = w
			kept++
			continue
		}
		e.ticks++
		lits := d.of(w.clause)
		if lits[0].x == y^1 {
			lits[0], lits[1] = lits[1], lits[0]
		}
		w.other = lits[0]
		if e.holds(w.other) || !e.rewatch(lits, w) {
			list[kept] = w
			kept++
			if !e.set(w.other.x, w.other.v, byClause, w.clause) {
				kept += copy(list[kept:], list[i+1:])
				d.watches[y] = list[:kept]
				return false
			}
		}
	}
	d.watches[y] = list[:kept]
	return true
}

// rewatch finds another literal that is not false.
func (e *engine) rewatch(lits []lit, w watch) bool {
	for k := 2; k < len(lits); k++ {
		if !e.fails(lits[k]) {
			lits[1], lits[k] = lits[k], lits[1]
			e.db.watch(lits[1], w.other, w.clause)
			return true
		}
	}
	return false
}

// reduce drops the less useful half of the learned clauses and what the root bounds have settled. It is called at the
// root, where no clause is a reason.
func (e *engine) reduce() {
	d := &e.db
	order := make([]int32, len(d.list))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortStableFunc(order, func(a, b int32) int {
		x, y := &d.list[a], &d.list[b]
		if short := min(x.levels, 3) - min(y.levels, 3); short != 0 && (x.levels <= 2 || y.levels <= 2) {
			return int(short)
		}
		return cmp.Compare(y.activity, x.activity)
	})
	keep := order[:len(order)/2]
	slices.Sort(keep)
	e.rebuild(keep)
}

// rebuild keeps only the given clauses, without literals that are false for good.
func (e *engine) rebuild(keep []int32) {
	d := &e.db
	lits, list := d.lits, d.list
	d.lits, d.list = nil, nil
	for x := range d.watches {
		d.watches[x] = d.watches[x][:0]
	}
	var now []lit
	for _, c := range keep {
		now = now[:0]
		satisfied := false
		for _, l := range lits[list[c].off : list[c].off+list[c].len] {
			satisfied = satisfied || e.holds(l)
			if !e.fails(l) {
				now = append(now, l)
			}
		}
		if satisfied {
			continue
		}
		switch len(now) { // fewer than two would have been propagated
		case 0:
			e.dead = true
		case 1:
			e.dead = e.dead || !e.set(now[0].x, now[0].v, decided, 0)
		default:
			k := d.add(now, list[c].levels)
			d.list[k].activity = list[c].activity
		}
	}
}
