package risk

import "rondeau.internal/pkg/sched"

// tie is a greatest lag from the end of an activity to the start of another one.
type tie struct {
	to          int32
	least, most int64
}

const (
	heedDepth     = 4 // ties looked ahead
	forecastDepth = 2 // unstarted steps looked through for a vessel that is still in use
	heedRounds    = 8 // attempts at a start; calendars make the first guess too low
)

// heed is the moment, at or after t, at which an activity should begin so that what must follow within a greatest lag
// can follow, as far as one can tell at t: steps that run take as long as planned from their start on, others begin as
// planned or when these permit. It also returns the slot waited for. It does not wait longer than the greatest lags
// that the activity itself is under: then it is better begun.
func (r *run) heed(node int, k int32, t int64) (int64, int32) {
	a := &r.p.acts[k]
	if len(a.ties) == 0 || t >= sched.Forever {
		return t, byNothing
	}
	latest := int64(sched.Forever - 1)
	for _, l := range a.tiedTo {
		if e := r.val[2*l.to+1]; e < sched.Forever {
			latest = min(latest, max(t, e+l.most))
		}
	}
	r.asked++
	at, by := t, byNothing
	for range heedRounds {
		late, slot := r.late(node, k, at, t, heedDepth)
		if late <= 0 || at >= latest {
			break
		}
		at, by = min(latest, at+late), slot
	}
	return at, by
}

// late is by how much what follows activity k is too late for a greatest lag if k begins at moment at or the next one
// that its calendars permit; now is the moment of asking.
func (r *run) late(node int, k int32, at, now int64, depth int) (int64, int32) {
	a := &r.p.acts[k]
	_, end := a.expect(at)
	if end >= sched.Forever {
		return 0, byNothing
	}
	worst, by := int64(0), byNothing
	for i := range a.ties {
		l := &a.ties[i]
		v := &r.p.acts[l.to]
		w := &r.want[l.to]
		if w.asked != r.asked {
			r.ask(node, w, k, l.to, now)
		}
		start, _ := v.expect(max(end+l.least, w.ready))
		if start >= sched.Forever {
			continue // waiting will not help
		}
		room := end + l.most - start
		if -room > worst {
			worst, by = -room, w.slot
		}
		if depth > 1 && room >= 0 {
			if push, slot := r.late(node, l.to, start, now, depth-1); push-room > worst {
				worst, by = push-room, slot
			}
		}
	}
	return worst, by
}

// wanted is what one expects of an activity that must follow: when all but the one before it permits its start.
type wanted struct {
	asked int64 // the question that this answers
	ready int64
	slot  int32
}

// ask fills w for activity v, which must follow activity k.
func (r *run) ask(node int, w *wanted, k, v int32, now int64) {
	*w = wanted{asked: r.asked, ready: r.floor[v], slot: byNothing}
	n := &r.p.nodes[r.p.nodeAt[2*v]]
	for _, c := range r.p.arcs[n.lo:n.hi] {
		if c.toEnd || c.slot>>1 == k {
			continue
		}
		if f := r.forecast(node, c.slot, now, forecastDepth) + c.add; f > w.ready {
			w.ready, w.slot = f, c.slot
		}
	}
}

// expect is when an activity of planned durations begins and ends that may begin at t, as far as calendars go.
func (a *act) expect(t int64) (start, end int64) {
	var tm timing
	last := 2
	if !a.atomic {
		last = 1
	}
	for t < sched.Forever {
		next := a.try(&a.d, t, last, &tm)
		if next == t {
			break
		}
		t = next
	}
	if t >= sched.Forever || a.atomic {
		return t, max(t, tm.e[2])
	}
	x := a.tailAt(a.d[2], tm.e[1], noEnd)
	if x >= sched.Forever {
		return t, sched.Forever
	}
	return t, a.tailEnd(a.d[2], x)
}

// forecast is what one expects of a slot at the moment now, when the nodes before the given one are decided.
func (r *run) forecast(node int, slot int32, now int64, depth int) int64 {
	at := r.p.nodeAt[slot]
	decided := int(at) < node
	if int(slot) >= 2*len(r.p.acts) {
		if decided {
			return r.val[slot]
		}
		n := &r.p.nodes[at]
		return r.permitted(node, n, r.wash[n.clean], now, depth) + r.p.cleans[n.clean].d
	}
	a := &r.p.acts[slot>>1]
	if slot&1 == 0 {
		if decided || depth == 0 {
			if decided {
				return r.val[slot]
			}
			return max(a.start, r.floor[slot>>1])
		}
		return r.permitted(node, &r.p.nodes[at], max(a.start, r.floor[slot>>1]), now, depth-1)
	}
	if decided && r.val[slot] <= now {
		return r.val[slot]
	}
	return max(now, r.forecast(node, slot-1, now, depth)+a.end-a.start)
}

// permitted is the earliest moment, at or after lo, that the forecasts of the arcs into a node permit.
func (r *run) permitted(before int, n *node, lo, now int64, depth int) int64 {
	for _, c := range r.p.arcs[n.lo:n.hi] {
		if !c.toEnd {
			lo = max(lo, r.forecast(before, c.slot, now, depth)+c.add)
		}
	}
	return lo
}
