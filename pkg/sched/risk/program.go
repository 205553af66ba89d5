package risk

import "rondeau.internal/pkg/sched"

// program is a Case compiled to dense indices. Moments that others wait for live in slots: 2a is the start of activity
// a, 2a+1 its end, and the ends of cleanings follow.
type program struct {
	in      *sched.Instance
	from    int64
	cap     int64 // stands for the end of what never ends
	acts    []act
	nodes   []node // in the order of processing
	arcs    []arc
	cleans  []cleaning
	base    []ledger
	uses    [][]int32 // per resource, nodes that demand it, in the order of processing
	stores  []store
	watched []watch
	vessels []vessel
	orders  []order
	slots   int
	nodeAt  []int32 // per slot, the node that decides it
	plan    *sched.Plan
}

// act is an activity in its planned mode.
type act struct {
	name        string
	d           [3]int64 // planned durations
	cal         [3]*hours
	pausable    [3]bool
	pauses      bool
	atomic      bool // the end follows from the start: no attended end after a middle
	fact        bool
	order       int32
	floor       int64 // earliest start
	start, end  int64 // planned
	tail        int64 // planned beginning of the attended end
	due, weight int64
	vessels     []int32
	down        []*vessel // vessels with windows
	dems        []demand
	self        bool // the attended end and an open demand are on the same resource
	sure        bool // started and its end is not uncertain
	mode        int32
	ties        []tie // greatest lags to what follows
	tiedTo      []tie // and from what goes before; to is the earlier activity
}

// demKind says over which part of its phases a demand lasts.
type demKind uint8

const (
	demSolid demKind = iota // from the start of phase lo to the end of phase hi, no pause inside
	demWork                 // while phase lo is at work
	demHeld                 // phase lo with its waits and pauses
)

// demand is a load on a resource. An open demand lasts over the middle into the wait for the attended end.
type demand struct {
	res         int32
	check, add  int64
	lo, hi      int8
	kind        demKind
	open, ended bool // ended: on the attended end alone
}

// nodeKind says what is decided at a node.
type nodeKind uint8

const (
	nodeFact  nodeKind = iota // a started activity
	nodeEnd                   // the attended end after a middle
	nodeClean                 // the cleaning before an activity
	nodeStart                 // start and middle; everything if the activity is atomic
)

type node struct {
	kind   nodeKind
	act    int32
	clean  int32 // index of the cleaning
	lo, hi int32 // arcs into it
	key    int64 // planned moment
}

// arc requires time(node) >= value(slot) + add, where time is the start, or the end if toEnd.
type arc struct {
	slot  int32
	toEnd bool
	add   int64
}

type cleaning struct {
	vessel   int32
	d        int64
	attended bool
	cal      *hours
	needs    []demand
	floor    int64
	slot     int32
	from     string
}

type vessel struct {
	name   string
	down   []sched.Span
	stays  []stay // in planned order
	setup  *sched.Setup
	states map[string]int
}

type stay struct {
	act   int32
	until int32 // activity that a hold of this vessel waits for, or -1
}

type store struct {
	res, producer, consumer int32
	amount, until           int64
}

// watch is a lag that is observed, not enforced.
type watch struct {
	index            int
	from, to         int32 // slots
	least, most      int64
	hasMost, hasLest bool
}

type order struct {
	name string
	acts []int32
}

// try places the phases [0, last] of activity a for a beginning at t. It returns t, or a later moment before which the
// activity cannot begin.
func (a *act) try(d *[3]int64, t int64, last int, tm *timing) int64 {
	x, begun := t, false
	for k := 0; k <= last; k++ {
		tm.b[k] = x
		if d[k] == 0 {
			tm.s[k], tm.e[k] = x, x
			continue
		}
		if a.pausable[k] {
			s := a.cal[k].opens(x)
			if s >= sched.Forever || !begun && s > x {
				return s
			}
			e := a.cal[k].worked(s, d[k])
			if e >= sched.Forever {
				return sched.Forever
			}
			tm.s[k], tm.e[k] = s, e
			x = e
		} else {
			if y := a.cal[k].fits(x, d[k]); y > x {
				if y >= sched.Forever {
					return sched.Forever
				}
				return a.later(d, t, k, false, y)
			}
			tm.s[k], tm.e[k] = x, x+d[k]
			x += d[k]
		}
		begun = true
	}
	return t
}

// timing is where the phases of an activity lie: phase k waits from b[k] and works from s[k] to e[k].
type timing struct {
	b, s, e [3]int64
}

// later is the least t' > t for which phase k begins (with its wait if wait is set, else its work) at target or after.
func (a *act) later(d *[3]int64, t int64, k int, wait bool, target int64) int64 {
	if target >= sched.Forever {
		return sched.Forever
	}
	if !a.pauses {
		off := int64(0)
		for i := range k {
			off += d[i]
		}
		return max(t+1, target-off)
	}
	lo, hi := t+1, max(t+1, target)
	for lo < hi {
		mid := lo + (hi-lo)/2
		if a.reaches(d, mid, k, wait) >= target {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo
}

// reaches is when phase k begins if the activity begins at t, supposing that phases that cannot pause find open time.
// Phase 3 is the end.
func (a *act) reaches(d *[3]int64, t int64, k int, wait bool) int64 {
	x := t
	for i := range 3 {
		if i == k && (wait || d[i] == 0) {
			return x
		}
		if d[i] == 0 {
			continue
		}
		if a.pausable[i] {
			x = a.cal[i].opens(x)
		}
		if i == k || x >= sched.Forever {
			return x
		}
		if a.pausable[i] {
			x = a.cal[i].worked(x, d[i])
		} else {
			x += d[i]
		}
	}
	return x
}

// tailAt is the first moment x' >= x at which the attended end can begin and then ends at or after target, as far as
// its calendar goes.
func (a *act) tailAt(d int64, x, target int64) int64 {
	if a.pausable[2] {
		x = a.cal[2].opens(x)
		if x >= sched.Forever || a.cal[2].worked(x, d) >= target {
			return x
		}
		lo, hi := x, max(x, target)
		for lo < hi {
			mid := lo + (hi-lo)/2
			if a.cal[2].worked(mid, d) >= target {
				hi = mid
			} else {
				lo = mid + 1
			}
		}
		return a.cal[2].opens(lo)
	}
	return a.cal[2].fits(max(x, target-d), d)
}

// tailEnd is when an attended end that begins at x is over.
func (a *act) tailEnd(d, x int64) int64 {
	if a.pausable[2] {
		return a.cal[2].worked(x, d)
	}
	return x + d
}

// factTiming places the phases of a started activity as sched.Fixed describes.
func (a *act) factTiming(start, end int64, tm *timing) {
	if end != 0 {
		m := min(start+a.d[0], end)
		z := max(m, end-a.d[2])
		if a.d[1] == 0 {
			if a.d[2] == 0 {
				m = end
			}
			z = m
		}
		tm.b = [3]int64{start, m, z}
		tm.s, tm.e = tm.b, [3]int64{m, z, end}
		return
	}
	x := start
	for k := range 3 {
		tm.b[k], tm.s[k] = x, x
		if a.d[k] > 0 && a.pausable[k] {
			if s := a.cal[k].opens(x); s < sched.Forever {
				tm.s[k] = s
			}
			if x = a.cal[k].worked(tm.s[k], a.d[k]); x >= sched.Forever {
				x = tm.s[k] + a.d[k]
			}
		} else {
			x += a.d[k]
		}
		tm.e[k] = x
	}
}
