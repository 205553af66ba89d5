package project

import "slices"

// energetic compares, for intervals of time, what activities need in them with what there is: time-table edge finding
// (after Vilim, "Timetable edge finding filtering algorithm for discrete cumulative resources", CPAIOR 2011, with
// explanations after Schutt, Feydy and Stuckey, "Explaining time-table-edge-finding propagation for the cumulative
// resource constraint", CPAIOR 2013; both from memory). It finds more than the time table alone and costs more, so it is
// run more rarely the less it finds.
type energetic struct {
	on      bool
	wait    int32 // looks still to be left out
	pause   int32 // looks left out after each look
	reasons []window
	lims    []int32
	watched []sweep // by resource
	parts   []energyPart
	rest    []int64 // free energy before each time
	back    []int64 // the same seen backwards
}

// window is an interval of time and a resource.
type window struct {
	r, from, to int32
}

// sweep is the work space of one resource.
type sweep struct {
	r     int32
	tasks []energyTask
	ends  []int32
}

// energyTask is one activity as it stands, seen forwards or backwards.
type energyTask struct {
	j, need       int32
	est, lct      int32
	edge          int32 // what is right of it lies within the interval even if the activity starts as late as it can
	loose         int32 // duration without core
	first         int32 // end if it starts as early as it can
	core, coreEnd int32 // core, if loose < duration
}

type energyPart struct {
	j, need, units, cost int32
}

// maxPause is the most looks left out.
const maxPause = 60

// maxUnits is how many units of time per activity are too many to go through.
const maxUnits = 100

func (g *energetic) reset(e *engine, on bool) {
	g.wait, g.pause = 0, 0
	g.reasons, g.lims = g.reasons[:0], g.lims[:0]
	g.watched = g.watched[:0]
	in := e.in
	if g.on = on && in.horizon <= maxUnits*int32(in.n); !g.on {
		return
	}
	for r := range in.peak {
		var energy, capacity int64
		for i := range in.n {
			energy += int64(in.dur[i]) * int64(in.p.Demands[i][r])
		}
		for t := range in.horizon {
			capacity += int64(in.capacity(r, t))
		}
		if 10*energy < 4*capacity { // too little is asked for
			continue
		}
		s := sweep{r: int32(r)}
		for i := range int32(in.n) {
			if q := in.p.Demands[i][r]; q > 0 && in.dur[i] > 0 {
				s.tasks = append(s.tasks, energyTask{j: i, need: q})
			}
		}
		g.watched = append(g.watched, s)
	}
	g.on = len(g.watched) > 0
	g.rest, g.back = resize(g.rest, int(in.horizon)+1), resize(g.back, int(in.horizon)+1)
}

func (g *energetic) push() { g.lims = append(g.lims, int32(len(g.reasons))) }

func (g *energetic) forget(level int32) {
	g.reasons, g.lims = g.reasons[:g.lims[level]], g.lims[:level]
}

// due says whether it is time for a look.
func (g *energetic) due(*engine) bool {
	if g.wait > 0 {
		g.wait--
		return false
	}
	return true
}

// propagate looks at all resources. It returns false on a contradiction.
func (g *energetic) propagate(e *engine) bool {
	before := len(e.trail)
	ok := true
	for k := range g.watched {
		if ok = g.resource(e, &g.watched[k]); !ok {
			break
		}
	}
	if !ok || len(e.trail) > before {
		g.pause /= 2
	} else {
		g.pause = min(maxPause, g.pause+1)
	}
	g.wait = g.pause
	return ok
}

func (g *energetic) resource(e *engine, s *sweep) bool {
	in := e.in
	h := in.horizon
	word, shift := int(s.r)/in.packing.per*int(h), uint(int(s.r)%in.packing.per)*in.packing.bits
	mask := uint64(1)<<(in.packing.bits-1) - 1
	var sum int64
	for t := range int(h) {
		g.rest[t] = sum
		sum += int64(e.tt.free[word+t] >> shift & mask)
	}
	g.rest[h] = sum
	for t := range h + 1 {
		g.back[t] = sum - g.rest[h-t]
	}
	for k := range s.tasks {
		a := &s.tasks[k]
		lo, hi, d := e.b[2*a.j], -e.b[2*a.j+1], in.dur[a.j]
		a.est, a.lct, a.first = lo, hi+d, lo+d
		a.edge, a.loose = max(hi, lo+d), d
		a.core, a.coreEnd = hi, lo+d
		if hi < lo+d {
			a.loose = hi - lo
		}
	}
	if !g.sweep(e, s, g.rest, 0) {
		return false
	}
	for k := range s.tasks { // the same with time running backwards
		a := &s.tasks[k]
		lo, hi, d := e.b[2*a.j], -e.b[2*a.j+1], in.dur[a.j]
		a.est, a.lct, a.first = h-hi-d, h-lo, h-hi
		a.edge, a.loose = max(h-lo-d, h-hi), d
		a.core, a.coreEnd = h-lo-d, h-hi
		if hi < lo+d {
			a.loose = hi - lo
		}
	}
	return g.sweep(e, s, g.back, 1)
}

// sweep goes over the intervals from an earliest start to a latest end. Side 1 means that time runs backwards.
func (g *energetic) sweep(e *engine, s *sweep, rest []int64, side int32) bool {
	slices.SortFunc(s.tasks, func(x, y energyTask) int {
		if x.est != y.est {
			return int(y.est - x.est)
		}
		return int(x.j - y.j)
	})
	s.ends = s.ends[:0]
	for k := range s.tasks {
		s.ends = append(s.ends, s.tasks[k].lct)
	}
	slices.Sort(s.ends)
	s.ends = slices.Compact(s.ends)
	e.ticks += int64(len(s.tasks)*len(s.ends)) >> 3
	for _, to := range s.ends {
		if !g.interval(e, s, rest, side, to) {
			return false
		}
	}
	return true
}

// interval goes over the intervals that end at a moment, from the shortest to the longest.
func (g *energetic) interval(e *engine, s *sweep, rest []int64, side, to int32) bool {
	var need, extra int64
	var far *energyTask // could take most in excess of what is counted
	last := rest[to]
	for k := range s.tasks {
		a := &s.tasks[k]
		if a.est >= to {
			continue
		}
		if a.lct <= to {
			need += int64(a.need) * int64(a.loose)
		} else {
			late := max(0, to-a.edge)
			need += int64(a.need) * int64(late)
			early := min(a.loose, to-a.est) // beyond the core, if it starts at once
			if a.first > to {               // the core may lie beyond the interval in part
				early = to - a.est - max(0, min(a.coreEnd, to)-a.core)
			}
			if x := int64(a.need) * int64(early-late); x > extra {
				extra, far = x, a
			}
		}
		have := last - rest[a.est]
		if need > have {
			return g.fail(e, s.r, a.est, to, side)
		}
		if need+extra > have && far != nil && !g.delay(e, s.r, far, a.est, to, have-need, side) {
			return false
		}
	}
	return true
}

func (g *energetic) note(e *engine, r, from, to, side int32) int32 {
	if side == 1 {
		from, to = e.in.horizon-to, e.in.horizon-from
	}
	g.reasons = append(g.reasons, window{r, from, to})
	return int32(len(g.reasons) - 1)
}

func (g *energetic) fail(e *engine, r, from, to, side int32) bool {
	e.cf.at = lit{x: -1}
	e.cf.why, e.cf.aux = byEnergy, g.note(e, r, from, to, side)
	return false
}

// delay moves an activity that cannot take in the interval what it would if it started at once.
func (g *energetic) delay(e *engine, r int32, a *energyTask, from, to int32, spare int64, side int32) bool {
	counted := max(0, to-a.edge)
	inCore := max(0, min(a.coreEnd, to)-a.core)
	units := int32(spare/int64(a.need)) + counted + inCore // it can have so many in the interval
	start := to - units
	x := 2*a.j + side
	if side == 1 {
		start = start - e.in.horizon + e.in.dur[a.j] // b of the negated latest start
	}
	if start <= e.b[x] {
		return true
	}
	return e.set(x, start, byEnergy, g.note(e, r, from, to, side))
}

// explain adds the bounds that make an interval too short: for a contradiction if x < 0, for b[x] >= v otherwise.
func (g *energetic) explain(e *engine, reason, x, v int32) {
	in := e.in
	w := g.reasons[reason]
	r, length := int(w.r), w.to-w.from
	var over int64
	for t := w.from; t < w.to; t++ {
		over -= int64(in.capacity(r, t))
	}
	skip := int32(-1)
	if x >= 0 {
		skip = x >> 1
		d := in.dur[skip]
		units := min(d, length)
		if x&1 == 0 { // if it started before v: the earliest start keeps it from leaving to the left
			units = min(units, w.to-(v-1), e.b[x]+d-w.from)
			e.cf.add(e, lit{x, w.from + units - d})
		} else { // if it started after -v: the latest start keeps it from leaving to the right
			units = min(units, 1-v+d-w.from, w.to+e.b[x])
			e.cf.add(e, lit{x, units - w.to})
		}
		over += int64(units) * int64(in.p.Demands[skip][r])
	}
	g.parts = g.parts[:0]
	for k := range g.watched {
		if g.watched[k].r != w.r {
			continue
		}
		for q := range g.watched[k].tasks {
			j, d := g.watched[k].tasks[q].j, int32(0)
			if j == skip {
				continue
			}
			d = in.dur[j]
			units := min(d, length, e.b[2*j]+d-w.from, w.to+e.b[2*j+1])
			if units <= 0 {
				continue
			}
			need := in.p.Demands[j][r]
			over += int64(units) * int64(need)
			g.parts = append(g.parts, energyPart{j: j, need: need, units: units})
		}
	}
	if over <= 0 {
		panic("project: nothing explains an overfull interval")
	}
	g.relax(e, w, over-1)
}

// relax leaves out what is not needed and adds the rest.
func (g *energetic) relax(e *engine, w window, slack int64) {
	for k := range g.parts {
		p := &g.parts[k]
		d := e.in.dur[p.j]
		p.cost = e.cf.cost(e, lit{2 * p.j, w.from + p.units - d}) + e.cf.cost(e, lit{2*p.j + 1, p.units - w.to})
	}
	slices.SortFunc(g.parts, func(a, b energyPart) int {
		if a.cost != b.cost {
			return int(b.cost - a.cost)
		}
		if x, y := a.need*a.units, b.need*b.units; x != y {
			return int(x - y)
		}
		return int(a.j - b.j)
	})
	for k := range g.parts {
		p := &g.parts[k]
		if p.cost > 0 && slack >= int64(p.need) {
			drop := min(p.units, int32(slack/int64(p.need)))
			p.units -= drop
			slack -= int64(drop) * int64(p.need)
		}
		if p.units > 0 {
			e.cf.add(e, lit{2 * p.j, w.from + p.units - e.in.dur[p.j]})
			e.cf.add(e, lit{2*p.j + 1, p.units - w.to})
		}
	}
}
