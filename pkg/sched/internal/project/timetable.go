package project

// timetable keeps what the activities certainly take at each time: an activity that starts at the latest at hi and at
// the earliest at lo runs from hi to lo+duration for certain (its core). Where the rest does not suffice for another
// activity, that activity cannot be.
type timetable struct {
	horizon int32
	words   int
	free    []uint64 // capacity minus cores, [word*horizon + time]
	from    []int32  // core that is entered in free, per activity; from >= to: none
	to      []int32
	dirty   []int32 // activities with bounds that have moved since the last look
	isDirty []bool
	undone  []int32 // activities with bounds that were taken back and whose core may have to shrink
	isUndon []bool
	parts   []corePart
}

// corePart is one candidate of an explanation.
type corePart struct {
	j, need int32
	cost    int32
}

func (t *timetable) reset(e *engine) {
	in := e.in
	t.horizon, t.words = in.horizon, in.packing.words
	t.free = append(t.free[:0], in.base...)
	t.from, t.to = resize(t.from, in.n), resize(t.to, in.n)
	t.isDirty, t.isUndon = resize(t.isDirty, in.n), resize(t.isUndon, in.n)
	t.dirty, t.undone = t.dirty[:0], t.undone[:0]
	for _, i := range in.users {
		t.moved(i)
	}
}

func (t *timetable) moved(i int32) {
	if !t.isDirty[i] {
		t.isDirty[i] = true
		t.dirty = append(t.dirty, i)
	}
}

func (t *timetable) shrunk(i int32) {
	if t.from[i] < t.to[i] && !t.isUndon[i] {
		t.isUndon[i] = true
		t.undone = append(t.undone, i)
	}
}

// settle is called after bounds were taken back: it takes out of the table what is no longer certain.
func (t *timetable) settle(e *engine) {
	for _, i := range t.dirty {
		t.isDirty[i] = false
	}
	t.dirty = t.dirty[:0]
	for _, i := range t.undone {
		t.isUndon[i] = false
		from := max(t.from[i], -e.b[2*i+1])
		to := min(t.to[i], e.b[2*i]+e.in.dur[i])
		if from >= to {
			t.change(e.in, i, t.from[i], t.to[i], false)
			t.from[i], t.to[i] = 0, 0
			continue
		}
		t.change(e.in, i, t.from[i], from, false)
		t.change(e.in, i, to, t.to[i], false)
		t.from[i], t.to[i] = from, to
	}
	t.undone = t.undone[:0]
}

// change enters or takes out one activity over a span.
func (t *timetable) change(in *instance, i, from, to int32, enter bool) {
	if from >= to {
		return
	}
	for w := range t.words {
		d := in.dem[int(i)*t.words+w]
		cells := t.free[w*int(t.horizon)+int(from) : w*int(t.horizon)+int(to)]
		if enter {
			for k := range cells {
				cells[k] -= d
			}
		} else {
			for k := range cells {
				cells[k] += d
			}
		}
	}
}

// clash returns the first time of a span at which an activity does not fit, or -1.
func (t *timetable) clash(in *instance, i, from, to int32) int32 {
	g := in.packing.guard
	at := int32(-1)
	for w := range t.words {
		d := in.dem[int(i)*t.words+w]
		if d == 0 || from >= to {
			continue
		}
		base := w * int(t.horizon)
		for k, f := range t.free[base+int(from) : base+int(to)] {
			if ((f|g)-d)&g != g {
				at = from + int32(k)
				to = at // only an earlier one matters now
				break
			}
		}
	}
	return at
}

// lastClash is clash from the other end.
func (t *timetable) lastClash(in *instance, i, from, to int32) int32 {
	g := in.packing.guard
	at := int32(-1)
	for w := range t.words {
		d := in.dem[int(i)*t.words+w]
		if d == 0 || from >= to {
			continue
		}
		base := w * int(t.horizon)
		cells := t.free[base+int(from) : base+int(to)]
		for k := len(cells) - 1; k >= 0; k-- {
			if ((cells[k]|g)-d)&g != g {
				at = from + int32(k)
				from = at + 1 // only a later one matters now
				break
			}
		}
	}
	return at
}

// propagate looks at one activity whose bounds have moved: it enters its new core and moves what no longer fits. It
// returns false on a contradiction, and whether there is more to do.
func (t *timetable) propagate(e *engine) (ok, more bool) {
	k := len(t.dirty)
	if k == 0 {
		return true, false
	}
	i := t.dirty[k-1]
	t.dirty, t.isDirty[i] = t.dirty[:k-1], false
	in := e.in
	from, to := -e.b[2*i+1], e.b[2*i]+in.dur[i]
	a, b := to, from // what the core grows by, as one span
	if from < to {
		of, ot := t.from[i], t.to[i]
		if of >= ot {
			of, ot = from, from
		}
		if !t.grow(e, i, from, of) {
			return false, false
		}
		if from < of {
			t.from[i] = from
		}
		if !t.grow(e, i, ot, to) {
			return false, false
		}
		t.from[i], t.to[i] = from, to
		switch {
		case of == ot:
			a, b = from, to
		case from < of && ot < to:
			a, b = from, to
		case from < of:
			a, b = from, of
		case ot < to:
			a, b = ot, to
		}
	}
	if !t.pushLower(e, i) || !t.pushUpper(e, i) {
		return false, false
	}
	if a < b {
		mates := in.mates.to[in.mates.off[i]:in.mates.off[i+1]]
		e.ticks += int64(len(mates)) >> 1
		for _, j := range mates {
			lo, hi, d := e.b[2*j], -e.b[2*j+1], in.dur[j]
			if lo == hi {
				continue
			}
			if lo < b && lo+d > a && t.lastClash(in, j, max(lo, a), min(lo+d, b, hi)) >= 0 && !t.pushLower(e, j) {
				return false, false
			}
			if hi < b && hi+d > a && t.clash(in, j, max(hi, a, e.b[2*j]+d), min(hi+d, b)) >= 0 && !t.pushUpper(e, j) {
				return false, false
			}
		}
	}
	return true, true
}

// grow enters a new piece of a core, unless the capacity does not suffice.
func (t *timetable) grow(e *engine, i, from, to int32) bool {
	if from >= to {
		return true
	}
	if at := t.clash(e.in, i, from, to); at >= 0 {
		e.cf.at = lit{x: -1}
		e.cf.why, e.cf.aux = byProfile, at
		return false
	}
	e.ticks += int64(to-from) >> 3
	t.change(e.in, i, from, to, true)
	return true
}

// pushLower moves the earliest start of an activity past times at which it does not fit.
func (t *timetable) pushLower(e *engine, j int32) bool {
	d := e.in.dur[j]
	for {
		lo, hi := e.b[2*j], -e.b[2*j+1]
		e.ticks += 1 + int64(d)>>4
		at := t.lastClash(e.in, j, lo, min(lo+d, hi))
		if at < 0 {
			return true
		}
		if !e.set(2*j, at+1, byProfile, at) {
			return false
		}
	}
}

// pushUpper moves the latest start of an activity before times at which it does not fit.
func (t *timetable) pushUpper(e *engine, j int32) bool {
	d := e.in.dur[j]
	for {
		lo, hi := e.b[2*j], -e.b[2*j+1]
		e.ticks += 1 + int64(d)>>4
		at := t.clash(e.in, j, max(hi, lo+d), hi+d)
		if at < 0 {
			return true
		}
		if !e.set(2*j+1, d-at, byProfile, at) {
			return false
		}
	}
}

// explain finds cores at a time that leave too little for activity j, or too little at all if j < 0, and adds their
// bounds to the conflict. It uses the bounds as they are now.
func (t *timetable) explain(e *engine, at, j int32) {
	in := e.in
	for r := range in.peak {
		limit := in.capacity(r, at)
		var want int32
		if j >= 0 {
			if want = in.p.Demands[j][r]; want == 0 {
				continue
			}
		}
		t.parts = t.parts[:0]
		total := want
		for _, k := range in.users {
			q := in.p.Demands[k][r]
			if q == 0 || k == j || -e.b[2*k+1] > at || e.b[2*k]+in.dur[k] <= at {
				continue
			}
			cost := e.cf.cost(e, lit{2 * k, at + 1 - in.dur[k]}) + e.cf.cost(e, lit{2*k + 1, -at})
			t.parts = append(t.parts, corePart{j: k, need: q, cost: cost})
			total += q
		}
		if total <= limit {
			continue
		}
		e.ticks += int64(len(in.users)) >> 3
		t.spare(total - limit - 1)
		for _, p := range t.parts {
			if p.need > 0 {
				e.cf.add(e, lit{2 * p.j, at + 1 - in.dur[p.j]})
				e.cf.add(e, lit{2*p.j + 1, -at})
			}
		}
		return
	}
	panic("project: nothing explains a clash of resources")
}

// spare leaves out parts that are not needed, the costliest first.
func (t *timetable) spare(slack int32) {
	for slack > 0 {
		best := -1
		for k := range t.parts {
			p := &t.parts[k]
			if p.need == 0 || p.need > slack || p.cost == 0 {
				continue
			}
			if best < 0 || p.cost > t.parts[best].cost || p.cost == t.parts[best].cost && p.need < t.parts[best].need {
				best = k
			}
		}
		if best < 0 {
			return
		}
		slack -= t.parts[best].need
		t.parts[best].need = 0
	}
}
