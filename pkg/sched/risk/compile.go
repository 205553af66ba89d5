package risk

import (
	"cmp"
	"fmt"
	"slices"

	"rondeau.internal/pkg/sched"
)

// compiler builds a program from a Case whose instance is valid.
type compiler struct {
	*program
	policy Policy
	acts   map[string]int32
	res    map[string]int32
	cals   map[string]*hours
	hold   []int32 // per activity, the one that its hold waits for, or -1

	startOf, endOf []int32 // node of the start and of the end of each activity
	into           [][]arc // arcs per node
	nodeOf         []int32 // node behind each slot
}

func indexOf[T any](items []T, name func(*T) string) map[string]int32 {
	m := make(map[string]int32, len(items))
	for i := range items {
		m[name(&items[i])] = int32(i)
	}
	return m
}

// compile needs a valid instance; it reports plans that do not belong to it.
func compile(c *Case, policy Policy) (*program, error) {
	in := &c.Instance
	b := &compiler{
		program: &program{in: in, plan: &c.Plan, from: in.Horizon.Start, cap: in.Horizon.End}, policy: policy,
		acts: indexOf(in.Activities, func(a *sched.Activity) string { return a.Name }),
		res:  indexOf(in.Resources, func(r *sched.Resource) string { return r.Name }),
		cals: map[string]*hours{}, hold: make([]int32, len(in.Activities)),
	}
	for i := range in.Calendars {
		h := newHours(&in.Calendars[i])
		b.cals[in.Calendars[i].Name] = h
		if n := len(h.open); n > 0 {
			b.cap = max(b.cap, h.open[n-1].End)
		}
	}
	for i := range in.Resources {
		b.base = append(b.base, newLedger(&in.Resources[i]))
	}
	placed, err := b.match(&c.Plan)
	if err != nil {
		return nil, err
	}
	for i := range b.hold {
		b.hold[i] = -1
	}
	for _, h := range in.Holds {
		b.hold[b.acts[h.Activity]] = b.acts[h.Until]
	}
	for i := range in.Activities {
		b.activity(int32(i), placed[i])
	}
	b.addNodes()
	b.addVessels(placed)
	b.addTies()
	if err := b.sort(); err != nil {
		return nil, err
	}
	return b.program, nil
}

// match pairs activities with their assignments.
func (b *compiler) match(plan *sched.Plan) ([]*sched.Assignment, error) {
	var faults Faults
	placed := make([]*sched.Assignment, len(b.in.Activities))
	for i := range plan.Assignments {
		as := &plan.Assignments[i]
		k, known := b.acts[as.Activity]
		switch {
		case !known:
			faults = append(faults, fmt.Sprintf("the plan places activity %q, which the instance does not have", as.Activity))
		case placed[k] != nil:
			faults = append(faults, fmt.Sprintf("the plan places activity %q twice", as.Activity))
		case as.Start < -sched.Forever || as.Start > sched.Forever || as.End < as.Start || as.End > sched.Forever:
			faults = append(faults, fmt.Sprintf("the plan has activity %q in [%d, %d), which is no span of time", as.Activity, as.Start, as.End))
		default:
			placed[k] = as
			if modeIndex(&b.in.Activities[k], as.Mode) < 0 {
				faults = append(faults, fmt.Sprintf("the plan has activity %q in mode %q, which it does not have", as.Activity, as.Mode))
			}
		}
	}
	for i := range placed {
		if placed[i] == nil {
			faults = append(faults, fmt.Sprintf("activity %q is not in the plan", b.in.Activities[i].Name))
		}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return placed, nil
}

func modeIndex(a *sched.Activity, name string) int32 {
	for i := range a.Modes {
		if a.Modes[i].Name == name {
			return int32(i)
		}
	}
	return -1
}

// activity compiles one activity in its planned mode.
func (b *compiler) activity(i int32, as *sched.Assignment) {
	in := &b.in.Activities[i]
	mode := modeIndex(in, as.Mode)
	fact := in.Fixed != nil && in.Fixed.Started
	if fact {
		mode = modeIndex(in, in.Fixed.Mode)
	}
	m := &in.Modes[mode]
	att, un := b.cals[m.AttendedCalendar], b.cals[m.UnattendedCalendar]
	a := act{
		name: in.Name, d: [3]int64{m.Start, m.Middle, m.End}, cal: [3]*hours{att, un, att}, fact: fact, mode: mode,
		due: in.Due, weight: in.DueWeight, start: as.Start, end: as.End, order: -1,
	}
	for k := range a.d {
		if a.d[k] > 0 && a.cal[k] != nil && m.Pausable&(1<<k) != 0 {
			a.pausable[k], a.pauses = true, true
		}
	}
	a.atomic = fact || a.d[1] == 0 || a.d[2] == 0
	a.floor = max(in.Release, b.from)
	switch {
	case fact:
		var tm timing
		a.factTiming(in.Fixed.Start, in.Fixed.End, &tm)
		a.start, a.end, a.floor = in.Fixed.Start, tm.e[2], in.Fixed.Start
	case in.Fixed != nil:
		a.floor = max(a.floor, in.Fixed.Start)
	}
	if !fact && b.policy == PolicyPlanned {
		a.floor = max(a.floor, a.start)
	}
	a.tail = a.end - a.d[2]
	if x := a.plannedTail(); x >= 0 {
		a.tail = x
	}
	a.dems = b.demands(m, &a)
	for _, d := range a.dems {
		for _, e := range a.dems {
			a.self = a.self || d.open && e.ended && d.res == e.res
		}
	}
	b.cap = max(b.cap, a.end)
	b.program.acts = append(b.program.acts, a)
}

// plannedTail is where the attended end begins in the plan when that does not follow from its end alone, else -1.
func (a *act) plannedTail() int64 {
	var tm timing
	if a.atomic || !a.pausable[2] || a.try(&a.d, a.start, 1, &tm) != a.start {
		return -1
	}
	x := a.tailAt(a.d[2], tm.e[1], 0)
	if x >= sched.Forever || a.tailEnd(a.d[2], x) != a.end {
		return -1
	}
	return x
}

// demands sums the needs per resource and phase, and joins phases that follow each other without a pause.
func (b *compiler) demands(m *sched.Mode, a *act) []demand {
	type load struct{ work, held [3]int64 }
	loads := map[int32]*load{}
	var used []int32
	for _, n := range m.Needs {
		r := b.res[n.Resource]
		if loads[r] == nil {
			loads[r] = &load{}
			used = append(used, r)
		}
		for k := range 3 {
			switch {
			case n.During != 0 && n.During&(1<<k) == 0 || a.d[k] == 0:
			case n.WhilePaused:
				loads[r].held[k] += n.Amount
			default:
				loads[r].work[k] += n.Amount
			}
		}
	}
	var out []demand
	for _, r := range used {
		last := -1 // a solid demand that the next phase may extend
		for k := range int8(3) {
			w, h := loads[r].work[k], loads[r].held[k]
			switch {
			case a.d[k] == 0:
			case a.pausable[k]:
				if w > 0 {
					out = append(out, demand{res: r, check: w + h, add: w, lo: k, hi: k, kind: demWork})
				}
				if h > 0 {
					out = append(out, demand{res: r, check: h, add: h, lo: k, hi: k, kind: demHeld})
				}
				last = -1
			case w+h == 0:
				last = -1
			case last >= 0 && out[last].add == w+h:
				out[last].hi = k
			default:
				out = append(out, demand{res: r, check: w + h, add: w + h, lo: k, hi: k})
				last = len(out) - 1
			}
		}
	}
	for i := range out {
		out[i].ended = !a.atomic && out[i].lo == 2
		out[i].open = !a.atomic && out[i].hi >= 1 && !out[i].ended
	}
	return out
}

// addNodes makes the nodes of the activities and the slots.
func (b *compiler) addNodes() {
	n := len(b.program.acts)
	b.slots = 2 * n
	b.nodeOf = make([]int32, 2*n)
	for i := range b.program.acts {
		a := &b.program.acts[i]
		kind := nodeStart
		if a.fact {
			kind = nodeFact
		}
		b.startOf = append(b.startOf, b.newNode(kind, int32(i), a.start))
		end := b.startOf[i]
		if !a.atomic {
			end = b.newNode(nodeEnd, int32(i), a.tail)
			b.need(end, arc{slot: int32(2 * i), add: 0}) // the middle follows the start
		}
		b.endOf = append(b.endOf, end)
		b.nodeOf[2*i], b.nodeOf[2*i+1] = b.startOf[i], end
	}
	names := map[string]int32{}
	for i := range b.in.Activities {
		name := b.in.Activities[i].Order
		if name == "" {
			continue
		}
		k, known := names[name]
		if !known {
			k = int32(len(b.orders))
			names[name] = k
			b.orders = append(b.orders, order{name: name})
		}
		b.program.acts[i].order = k
		b.orders[k].acts = append(b.orders[k].acts, int32(i))
	}
}

func (b *compiler) newNode(kind nodeKind, a int32, key int64) int32 {
	b.nodes = append(b.nodes, node{kind: kind, act: a, key: key})
	b.into = append(b.into, nil)
	return int32(len(b.nodes) - 1)
}

func (b *compiler) need(n int32, r arc) { b.into[n] = append(b.into[n], r) }

// addVessels orders the stays in every vessel and puts cleanings between them.
func (b *compiler) addVessels(placed []*sched.Assignment) {
	b.vessels = make([]vessel, len(b.in.Vessels))
	index := indexOf(b.in.Vessels, func(v *sched.Vessel) string { return v.Name })
	setups := map[string]*sched.Setup{}
	for i := range b.in.Setups {
		setups[b.in.Setups[i].Name] = &b.in.Setups[i]
	}
	for i := range b.in.Vessels {
		v := &b.in.Vessels[i]
		b.vessels[i] = vessel{name: v.Name, down: union(v.Down), setup: setups[v.Setup]}
		if s := setups[v.Setup]; s != nil {
			b.vessels[i].states = map[string]int{}
			for k, name := range s.States {
				b.vessels[i].states[name] = k
			}
		}
	}
	for i := range b.program.acts {
		a := &b.program.acts[i]
		for _, u := range b.in.Activities[i].Modes[a.mode].Uses {
			k := index[u.Vessel]
			s := stay{act: int32(i), until: -1}
			if !u.FreeAtEnd {
				s.until = b.hold[i]
			}
			b.vessels[k].stays = append(b.vessels[k].stays, s)
			a.vessels = append(a.vessels, k)
			if len(b.vessels[k].down) > 0 {
				a.down = append(a.down, &b.vessels[k])
			}
		}
	}
	for k := range b.vessels {
		v := &b.vessels[k]
		slices.SortStableFunc(v.stays, func(x, y stay) int {
			p, q := &b.program.acts[x.act], &b.program.acts[y.act]
			if p.fact != q.fact {
				if p.fact {
					return -1
				}
				return 1
			}
			return cmp.Compare(p.start, q.start)
		})
		for i := range v.stays {
			if !b.program.acts[v.stays[i].act].fact {
				b.follow(int32(k), i, placed[v.stays[i].act])
			}
		}
	}
}

// follow ties the i-th stay in a vessel to what is there before, with the cleaning between.
func (b *compiler) follow(k int32, i int, as *sched.Assignment) {
	v := &b.vessels[k]
	me := v.stays[i].act
	var free []arc
	for j := i - 1; j >= 0; j-- {
		s := v.stays[j]
		free = append(free, arc{slot: 2*s.act + 1})
		if s.until >= 0 && s.until != me {
			free = append(free, arc{slot: 2 * s.until})
		}
		if !b.program.acts[s.act].fact {
			break
		}
	}
	if b.clean(k, i, free, as) {
		return
	}
	for _, r := range free {
		b.need(b.startOf[me], r)
	}
}

// clean adds the cleaning before the i-th stay in vessel k; false when none is needed.
func (b *compiler) clean(k int32, i int, free []arc, as *sched.Assignment) bool {
	v := &b.vessels[k]
	me := v.stays[i].act
	from := b.in.Vessels[k].State
	if i > 0 {
		if v.stays[i-1].until == me {
			return false
		}
		from = b.in.Activities[v.stays[i-1].act].State
	}
	if v.setup == nil || from == "" {
		return false
	}
	change := v.setup.Change[v.states[from]][v.states[b.in.Activities[me].State]]
	if change.Duration == 0 {
		return false
	}
	c := cleaning{vessel: k, d: change.Duration, attended: change.Attended, floor: b.from, slot: int32(b.slots), from: from}
	if change.Attended {
		c.cal = b.cals[v.setup.Calendar]
		for _, n := range v.setup.Needs {
			if n.Amount > 0 {
				c.needs = addNeed(c.needs, b.res[n.Resource], n.Amount)
			}
		}
	}
	key := b.program.acts[me].start - change.Duration
	for _, run := range as.Changes {
		if run.Vessel == v.name && run.Start >= b.from && run.Start <= sched.Forever {
			key = run.Start
			if b.policy == PolicyPlanned {
				c.floor = run.Start
			}
		}
	}
	n := b.newNode(nodeClean, me, key)
	b.nodes[n].clean = int32(len(b.cleans))
	b.cleans = append(b.cleans, c)
	b.slots++
	b.nodeOf = append(b.nodeOf, n)
	b.into[n] = free
	b.need(b.startOf[me], arc{slot: c.slot})
	return true
}

func addNeed(needs []demand, res int32, amount int64) []demand {
	for i := range needs {
		if needs[i].res == res {
			needs[i].add += amount
			needs[i].check += amount
			return needs
		}
	}
	return append(needs, demand{res: res, add: amount, check: amount})
}
