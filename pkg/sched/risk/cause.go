package risk

import (
	"cmp"
	"slices"

	"rondeau.internal/pkg/sched"
)

// CauseKind says what made an order late.
type CauseKind string

// The kinds of cause.
const (
	// CauseDuration: an activity of the chain took longer than planned, by more than any other of it.
	CauseDuration CauseKind = "duration"
	// CauseResource: something on the chain began later than planned because a resource, such as a crew, was short.
	CauseResource CauseKind = "resource"
	// CauseCalendar: an activity on the chain was later than planned and then waited for open time: nobody was on shift.
	CauseCalendar CauseKind = "calendar"
	// CausePlan: the plan itself is late, or nothing on the chain took longer than planned.
	CausePlan CauseKind = "plan"
)

// Cause is one cause of the lateness of an order.
type Cause struct {
	Kind CauseKind
	// Activity that took longer, or that waited for open time; it may belong to another order that was in the way.
	Activity string
	// Resource that was short.
	Resource string
	// Share, above 0 up to 1, of the realisations in which the order is late that have this cause. Each such realisation has
	// one cause of the kinds CauseDuration and CausePlan, and at most one of each other kind.
	Share float64
	// Excess is the mean time, where it is the cause, by which the activity took longer than planned (CauseDuration) or
	// waited for open time beyond the plan (CauseCalendar).
	Excess float64
}

// causeKey is a cause of one order; subject is an activity or a resource.
type causeKey struct {
	order   int32
	kind    CauseKind
	subject int32
}

type causeCount struct {
	n      int
	excess float64
}

// causeTally looks, in each realisation in which an order is late, for what made it late: it goes from the latest of its
// activities back over what each one waited for.
type causeTally struct {
	s      *Simulator
	lates  []int // per order
	counts map[causeKey]*causeCount
	seen   []int32 // per node, stamps
	mark   int32
}

func newCauseTally(s *Simulator) *causeTally {
	return &causeTally{s: s, lates: make([]int, len(s.p.orders)), counts: map[causeKey]*causeCount{}, seen: make([]int32, len(s.p.nodes))}
}

// count adds the present realisation.
func (t *causeTally) count() {
	p := t.s.p
	for k := range p.orders {
		worst, late := int32(-1), int64(0)
		for _, a := range p.orders[k].acts {
			x := &p.acts[a]
			if l := t.s.end(a) - x.due; x.weight > 0 && l > late {
				worst, late = a, l
			}
		}
		if worst >= 0 {
			t.lates[k]++
			t.chain(int32(k), worst)
		}
	}
}

// chain finds the causes of one late activity.
func (t *causeTally) chain(order, late int32) {
	s, p := t.s, t.s.p
	if p.acts[late].end > p.acts[late].due {
		t.add(causeKey{order, CausePlan, -1}, 0)
		return
	}
	t.mark++
	longest, by := int64(0), int32(-1)
	waited, waiting := int64(0), int32(-1)
	resource := int32(-1)
	for n := p.nodeAt[2*late+1]; n >= 0 && t.seen[n] != t.mark; n = s.before(n) {
		t.seen[n] = t.mark
		x := &p.nodes[n]
		if x.kind == nodeClean {
			continue
		}
		if over := t.over(x.act); over > longest {
			longest, by = over, x.act
		}
		if x.kind == nodeFact || s.moment(2*x.act) <= p.acts[x.act].start && x.kind == nodeStart {
			continue
		}
		if w := t.wait(n); w > waited {
			waited, waiting = w, x.act
		}
		if b := s.run.by[n]; resource < 0 && b <= byResource {
			resource = byResource - b
		}
	}
	if by >= 0 {
		t.add(causeKey{order, CauseDuration, by}, longest)
	} else {
		t.add(causeKey{order, CausePlan, -1}, 0)
	}
	if waiting >= 0 && waited > longest {
		t.add(causeKey{order, CauseCalendar, waiting}, waited)
	}
	if resource >= 0 {
		t.add(causeKey{order, CauseResource, resource}, 0)
	}
}

func (t *causeTally) add(k causeKey, excess int64) {
	c := t.counts[k]
	if c == nil {
		c = &causeCount{}
		t.counts[k] = c
	}
	c.n++
	c.excess += float64(excess)
}

// over is by how much an activity took longer than planned; negative when it was quicker.
func (t *causeTally) over(a int32) int64 {
	d, sum := t.s.d, int64(0)
	for k := range int32(3) {
		sum += t.s.run.dur[3*a+k] - d.base[3*a+k]
	}
	return sum
}

// wait is how long a node waited for open time after everything else was ready, beyond what the plan has of it.
func (t *causeTally) wait(n int32) int64 {
	s := t.s
	x := &s.p.nodes[n]
	a, at := &s.p.acts[x.act], s.run.at[n]
	if at >= sched.Forever {
		return 0
	}
	if x.kind == nodeEnd {
		begun := s.run.tm[x.act].b[2]
		if begun >= sched.Forever {
			return 0
		}
		return begun - at - max(0, a.tail-(a.start+a.d[0]+a.d[1]))
	}
	return s.moment(2*x.act) - at
}

// of lists the causes of an order.
func (t *causeTally) of(order int) []Cause {
	p := t.s.p
	var out []Cause
	for k, c := range t.counts {
		if int(k.order) != order {
			continue
		}
		x := Cause{Kind: k.kind, Share: float64(c.n) / float64(t.lates[order]), Excess: c.excess / float64(c.n)}
		switch k.kind {
		case CauseDuration, CauseCalendar:
			x.Activity = p.acts[k.subject].name
		case CauseResource:
			x.Resource = p.in.Resources[k.subject].Name
		}
		out = append(out, x)
	}
	slices.SortFunc(out, func(x, y Cause) int {
		return cmp.Or(cmp.Compare(y.Share, x.Share), cmp.Compare(x.Kind, y.Kind), cmp.Compare(x.Activity, y.Activity), cmp.Compare(x.Resource, y.Resource))
	})
	return out
}
