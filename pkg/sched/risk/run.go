package risk

import "rondeau.internal/pkg/sched"

// noEnd is before every moment: nothing is asked of an end.
const noEnd = -4 * sched.Forever

// What a node waited for when not for a slot.
const (
	byNothing  = int32(-1) // its own earliest moment, calendar or vessel window
	byResource = int32(-2) // byResource-r: resource r
)

// run carries the plan out with one set of durations. It allocates nothing once its ledgers have grown.
type run struct {
	p     *program
	floor []int64 // earliest starts of activities
	wash  []int64 // earliest starts of cleanings
	dur   []int64 // durations, 3 per activity
	spent []int64
	books []ledger
	val   []int64 // moments of the slots; Forever for what never comes
	tm    []timing
	by    []int32 // per node, what it waited for last: a slot, byNothing or a resource
	at    []int64 // per node, the moment until which it waited
	until []int64 // per activity, presumed end of its open demands
	tail  []int64 // per activity, presumed beginning of its attended end

	heedless bool
	want     []wanted // per activity
	asked    int64
}

func newRun(p *program, d *draws) *run {
	r := &run{
		p: p, floor: make([]int64, len(p.acts)), dur: make([]int64, 3*len(p.acts)), spent: d.spent, books: make([]ledger, len(p.base)),
		val: make([]int64, p.slots), tm: make([]timing, len(p.acts)), by: make([]int32, len(p.nodes)), at: make([]int64, len(p.nodes)),
		until: make([]int64, len(p.acts)), tail: make([]int64, len(p.acts)), wash: make([]int64, len(p.cleans)),
		want: make([]wanted, len(p.acts)),
	}
	r.asPlanned()
	return r
}

// asPlanned resets the earliest starts to those of the policy.
func (r *run) asPlanned() {
	for i := range r.floor {
		r.floor[i] = r.p.acts[i].floor
	}
	for i := range r.wash {
		r.wash[i] = r.p.cleans[i].floor
	}
}

// play carries the plan out with the durations in r.dur.
func (r *run) play() {
	for i := range r.books {
		r.books[i].steps = append(r.books[i].steps[:0], r.p.base[i].steps...)
	}
	for i := range r.p.nodes {
		n := &r.p.nodes[i]
		switch n.kind {
		case nodeFact:
			r.fact(n)
		case nodeStart:
			r.start(i, n)
		case nodeEnd:
			r.end(i, n)
		case nodeClean:
			r.clean(i, n)
		}
	}
}

// ready is the earliest moment that the arcs into a node permit, from lo on; endLo is what they ask of its end.
func (r *run) ready(n *node, lo int64) (t, endLo int64, by, endBy int32) {
	t, endLo, by, endBy = lo, noEnd, byNothing, byNothing
	for _, a := range r.p.arcs[n.lo:n.hi] {
		v := r.val[a.slot]
		if v < sched.Forever {
			v += a.add
		}
		if a.toEnd {
			if v > endLo {
				endLo, endBy = v, a.slot
			}
		} else if v > t {
			t, by = v, a.slot
		}
	}
	return t, endLo, by, endBy
}

func (r *run) fact(n *node) {
	a := &r.p.acts[n.act]
	f := r.p.in.Activities[n.act].Fixed
	end := f.End
	if !a.sure {
		end = a.start + r.spent[n.act] + r.dur[3*n.act+1]
	}
	tm := &r.tm[n.act]
	a.factTiming(f.Start, end, tm)
	r.val[2*n.act], r.val[2*n.act+1] = a.start, tm.e[2]
	for i := range a.dems {
		d := &a.dems[i]
		if d.kind == demSolid {
			r.books[d.res].take(tm.s[d.lo], tm.e[d.hi], d.add)
		} else {
			r.books[d.res].take(tm.b[d.lo], tm.e[d.lo], d.add)
		}
	}
}

// start decides when an activity begins and places its phases up to the wait for the attended end.
func (r *run) start(i int, n *node) {
	k := n.act
	a := &r.p.acts[k]
	d := (*[3]int64)(r.dur[3*k : 3*k+3])
	tm := &r.tm[k]
	last := 2
	if !a.atomic {
		last = 1
	}
	t, endLo, by, endBy := r.ready(n, r.floor[k])
	if !r.heedless {
		if later, slot := r.heed(i, k, t); later > t {
			t, by = later, slot
		}
	}
	r.at[i] = t
	for t < sched.Forever {
		if next := a.try(d, t, last, tm); next > t {
			t = next
			continue
		}
		if a.atomic && tm.e[2] < endLo {
			t, by = r.reachEnd(a, d, t, endLo), endBy
			r.at[i] = t
			continue
		}
		end := tm.e[2]
		if !a.atomic {
			end = r.presume(k, a, d, tm)
		}
		if next := a.downAt(t, end); next > t {
			t = next
			continue
		}
		if next, res := r.short(k, a, d, t, tm); next > t {
			t, by = next, byResource-res
			r.at[i] = t
			continue
		}
		break
	}
	r.by[i] = by
	if t >= sched.Forever {
		r.never(k)
		return
	}
	r.val[2*k] = t
	if a.atomic {
		r.val[2*k+1] = tm.e[2]
	}
	r.load(k, a, tm)
}

// never marks an activity that finds no time in which it could be done.
func (r *run) never(k int32) {
	r.val[2*k], r.val[2*k+1] = sched.Forever, sched.Forever
	for i := range 3 {
		r.tm[k].b[i], r.tm[k].s[i], r.tm[k].e[i] = sched.Forever, sched.Forever, sched.Forever
	}
}

// reachEnd is the least beginning after t from which the activity cannot end before target.
func (r *run) reachEnd(a *act, d *[3]int64, t, target int64) int64 {
	if target >= sched.Forever {
		return sched.Forever
	}
	return a.later(d, t, 3, false, target)
}

// presume foresees the attended end as far as calendars go and returns when the activity is over then.
func (r *run) presume(k int32, a *act, d *[3]int64, tm *timing) int64 {
	x := a.tailAt(d[2], tm.e[1], noEnd)
	e := sched.Forever
	if x < sched.Forever {
		e = a.tailEnd(d[2], x)
	}
	r.tail[k], r.until[k] = max(x, a.tail), max(e, a.end)
	if e >= sched.Forever {
		return tm.e[1]
	}
	return e
}

// downAt returns t if the vessels of an activity are up in [t, end), else a later beginning to try.
func (a *act) downAt(t, end int64) int64 {
	for _, v := range a.down {
		if n := clearOf(v.down, t, end); n > t {
			return n
		}
	}
	return t
}

// short returns t if the demands up to the wait for the attended end find room, else a later beginning and the resource.
func (r *run) short(k int32, a *act, d *[3]int64, t int64, tm *timing) (int64, int32) {
	for i := range a.dems {
		m := &a.dems[i]
		if m.ended {
			continue
		}
		b := &r.books[m.res]
		if m.kind == demWork {
			if stop := r.shortPieces(m, a.cal[m.lo], tm.s[m.lo], tm.e[m.lo]); stop > 0 {
				return a.later(d, t, int(m.lo), false, stop), m.res
			}
			continue
		}
		from, to := tm.s[m.lo], tm.e[m.hi]
		if m.kind == demHeld {
			from = tm.b[m.lo]
		}
		if m.open {
			if to = r.tail[k]; m.hi == 2 {
				to = r.until[k]
			}
		}
		if stop, ok := b.short(from, to, m.check); !ok {
			return a.later(d, t, int(m.lo), m.kind == demHeld, stop), m.res
		}
	}
	return t, -1
}

// shortPieces is the end of the last shortage in open time of [from, to), or 0.
func (r *run) shortPieces(m *demand, h *hours, from, to int64) int64 {
	for i := after(h.open, from); i < len(h.open) && h.open[i].Start < to; i++ {
		if stop, ok := r.books[m.res].short(max(from, h.open[i].Start), min(to, h.open[i].End), m.check); !ok {
			return stop
		}
	}
	return 0
}

func (r *run) takePieces(m *demand, h *hours, from, to, q int64) {
	for i := after(h.open, from); i < len(h.open) && h.open[i].Start < to; i++ {
		r.books[m.res].take(max(from, h.open[i].Start), min(to, h.open[i].End), q)
	}
}

// load books the demands of an activity that has begun; open ones until the presumed moment.
func (r *run) load(k int32, a *act, tm *timing) {
	for i := range a.dems {
		m := &a.dems[i]
		if m.ended {
			continue
		}
		from, to := tm.s[m.lo], tm.e[m.hi]
		if m.kind == demHeld {
			from = tm.b[m.lo]
		}
		if m.open {
			if to = r.tail[k]; m.hi == 2 {
				to = r.until[k]
			}
		}
		if m.kind == demWork {
			r.takePieces(m, a.cal[m.lo], from, to, m.add)
		} else {
			r.books[m.res].take(from, to, m.add)
		}
	}
}

// reopen changes the end of the open demands of an activity, after its middle, by a sign: -1 gives back what was
// presumed, 1 takes what is known.
func (r *run) reopen(k int32, a *act, tail, end, sign int64) {
	from := r.tm[k].e[1]
	for i := range a.dems {
		m := &a.dems[i]
		if !m.open {
			continue
		}
		to := tail
		if m.hi == 2 {
			to = end
		}
		if m.kind == demWork {
			r.takePieces(m, a.cal[m.lo], from, to, sign*m.add)
		} else {
			r.books[m.res].take(from, to, sign*m.add)
		}
	}
}

// end decides when the attended end of an activity begins: the middle goes on until then.
func (r *run) end(i int, n *node) {
	k := n.act
	r.by[i] = byNothing
	if r.val[2*k] >= sched.Forever {
		return
	}
	a, tm, d := &r.p.acts[k], &r.tm[k], r.dur[3*k+2]
	if a.self {
		r.reopen(k, a, r.tail[k], r.until[k], -1)
	}
	x, by := tm.e[1], 2*k
	_, endLo, _, endBy := r.ready(n, x)
	r.at[i] = x
	for x < sched.Forever {
		y := a.tailAt(d, x, endLo)
		if y > x {
			if endLo > noEnd && a.tailAt(d, x, noEnd) < y {
				by, r.at[i] = endBy, y
			}
			x = y
			continue
		}
		if stop, res := r.tailShort(a, x, d); stop > x {
			x, by, r.at[i] = stop, byResource-res, stop
			continue
		}
		break
	}
	r.by[i] = by
	e := sched.Forever
	if x < sched.Forever {
		e = a.tailEnd(d, x)
	}
	if e >= sched.Forever {
		x, e = sched.Forever, sched.Forever
	}
	tm.b[2], tm.s[2], tm.e[2] = x, x, e
	r.val[2*k+1] = e
	if a.self {
		r.reopen(k, a, x, e, 1)
	} else if x != r.tail[k] || e != r.until[k] {
		r.adjust(k, a, x, e)
	}
	if x < sched.Forever {
		r.tailLoad(a, x, e)
	}
}

// adjust moves the end of the open demands from where it was presumed to where it is.
func (r *run) adjust(k int32, a *act, tail, end int64) {
	for i := range a.dems {
		m := &a.dems[i]
		if !m.open {
			continue
		}
		was, is := r.tail[k], tail
		if m.hi == 2 {
			was, is = r.until[k], end
		}
		q := m.add
		if is < was {
			was, is, q = is, was, -q
		}
		if m.kind == demWork {
			r.takePieces(m, a.cal[m.lo], was, is, q)
		} else {
			r.books[m.res].take(was, is, q)
		}
	}
}

// tailShort returns x if the demands of the attended end find room, else a later moment to try and the resource.
func (r *run) tailShort(a *act, x, d int64) (int64, int32) {
	e := a.tailEnd(d, x)
	for i := range a.dems {
		m := &a.dems[i]
		if !m.ended {
			continue
		}
		if m.kind == demWork {
			if stop := r.shortPieces(m, a.cal[2], x, e); stop > 0 {
				return stop, m.res
			}
			continue
		}
		if stop, ok := r.books[m.res].short(x, e, m.check); !ok {
			return stop, m.res
		}
	}
	return x, -1
}

// tailLoad books the demands of the attended end [x, e).
func (r *run) tailLoad(a *act, x, e int64) {
	for i := range a.dems {
		m := &a.dems[i]
		switch {
		case !m.ended:
		case m.kind == demWork:
			r.takePieces(m, a.cal[2], x, e, m.add)
		default:
			r.books[m.res].take(x, e, m.add)
		}
	}
}

// clean decides when a cleaning takes place.
func (r *run) clean(i int, n *node) {
	c := &r.p.cleans[n.clean]
	down := r.p.vessels[c.vessel].down
	t, _, by, _ := r.ready(n, r.wash[n.clean])
	r.at[i] = t
	for t < sched.Forever {
		if next := clearOf(down, t, t+c.d); next > t {
			t = next
			continue
		}
		if next := c.cal.fits(t, c.d); next > t {
			t = next
			continue
		}
		short := false
		for k := range c.needs {
			if stop, ok := r.books[c.needs[k].res].short(t, t+c.d, c.needs[k].check); !ok {
				t, by, short = stop, byResource-c.needs[k].res, true
				r.at[i] = t
				break
			}
		}
		if !short {
			break
		}
	}
	r.by[i] = by
	if t >= sched.Forever {
		r.val[c.slot] = sched.Forever
		return
	}
	for k := range c.needs {
		r.books[c.needs[k].res].take(t, t+c.d, c.needs[k].add)
	}
	r.val[c.slot] = t + c.d
}
