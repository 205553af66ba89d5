package sched

// problem is an Instance compiled to dense indices. It is not changed after compile.
type problem struct {
	in       *Instance
	from, to int64 // horizon
	acts     []cact
	vessels  []cvessel
	base     []profile // capacity per resource
	stores   []cstore
	links    []clink
	arcs     []arc
	lagEnds  [][2]int32 // activities of each of Instance.Lags

	blocks  []block
	blockOf []int32
	es, ls  []int64 // static window of starts (relaxed: least durations, no capacities)
	least   []int64 // tardiness cost that an activity has in every plan
	tail    []int64 // least time from an activity's start to the end of the last one that it forces
}

type cact struct {
	modes     []cmode
	release   int64
	deadline  int64 // Forever when none
	due       int64
	weight    int64
	fixed     bool
	fact      bool
	fixMode   int32
	fixStart  int64
	until     int32   // activity that its hold waits for, or -1
	holdsFrom []int32 // activities whose hold waits for this one
	storesOut []int32 // stores that this activity fills
	storesIn  []int32 // stores that this activity empties
	links     []int32
	arcs      []int32 // incident arcs
	fresh     []int32 // incident lags that cost something when they are long
	state     string
	prevMode  int32 // -1: none; -2: a mode that no longer exists
	minDur    int64 // least and greatest elapsed duration over modes; maxDur is Forever if pauses make it unknown
	maxDur    int64
}

type cmode struct {
	uses     []cuse
	d        [3]int64
	cal      [3]*opening
	pausable [3]bool // only where a calendar can cause a pause
	total    int64
	plain    bool // no calendar matters
	pauses   bool // some phase may pause
	dems     []cdem
	energy   int64
	minDur   int64
}

type cuse struct {
	vessel int32
	free   bool // FreeAtEnd
}

// demKind says over which part of its phases a demand lasts.
type demKind uint8

const (
	demSolid demKind = iota // from the start of phase lo to the end of phase hi, no pauses inside
	demWork                 // while phase lo is at work
	demHeld                 // phase lo with its waits and pauses
)

type cdem struct {
	res    int32
	check  int64 // least free capacity required
	add    int64 // load added; below check where a demWork sits on top of a demHeld
	lo, hi int8
	kind   demKind
}

type cvessel struct {
	down   []Span
	setup  *csetup
	states []int32 // per activity: row in the matrix, or -1
	first  int32   // state at the start of the horizon, or -1
}

type csetup struct {
	in    *Setup
	cal   *opening
	needs []cdem // summed per resource; only res and add are used
}

type cstore struct {
	res      int32
	amount   int64
	producer int32
	consumer int32 // or -1
	until    int64
	fact     bool
}

type clink struct {
	a, b  int32
	allow [][]bool // [mode of a][mode of b]
}

// arc requires time(v) >= time(u) + w, where time is the start or the end of the activity.
type arc struct {
	u, v       int32
	uEnd, vEnd bool
	w          int64
	lag        int32 // index in Instance.Lags, or -1 for holds and stores
}

func nameIndex[T any](items []T, name func(*T) string) map[string]int32 {
	m := make(map[string]int32, len(items))
	for i := range items {
		m[name(&items[i])] = int32(i)
	}
	return m
}

// compile needs a valid instance.
func compile(in *Instance) *problem {
	p := &problem{in: in, from: in.Horizon.Start, to: in.Horizon.End}
	cals := map[string]*opening{}
	for i := range in.Calendars {
		cals[in.Calendars[i].Name] = compileCalendar(&in.Calendars[i])
	}
	res := nameIndex(in.Resources, func(r *Resource) string { return r.Name })
	for i := range in.Resources {
		p.base = append(p.base, baseProfile(&in.Resources[i]))
	}
	acts := nameIndex(in.Activities, func(a *Activity) string { return a.Name })
	p.compileVessels(cals, res)
	vessels := nameIndex(in.Vessels, func(v *Vessel) string { return v.Name })
	for i := range in.Activities {
		p.acts = append(p.acts, compileActivity(&in.Activities[i], cals, res, vessels, p.from))
	}
	p.compileStates()
	p.compileTies(acts, res)
	return p
}

func (p *problem) compileVessels(cals map[string]*opening, res map[string]int32) {
	setups := map[string]*csetup{}
	for i := range p.in.Setups {
		s := &p.in.Setups[i]
		c := &csetup{in: s, cal: cals[s.Calendar]}
		for _, n := range s.Needs {
			r := res[n.Resource]
			found := false
			for k := range c.needs {
				if c.needs[k].res == r {
					c.needs[k].add += n.Amount
					found = true
				}
			}
			if !found && n.Amount > 0 {
				c.needs = append(c.needs, cdem{res: r, add: n.Amount})
			}
		}
		setups[s.Name] = c
	}
	for i := range p.in.Vessels {
		v := &p.in.Vessels[i]
		p.vessels = append(p.vessels, cvessel{down: mergeSpans(v.Down), setup: setups[v.Setup], first: -1})
	}
}

func (p *problem) compileStates() {
	for i := range p.vessels {
		v := &p.vessels[i]
		if v.setup == nil {
			continue
		}
		row := map[string]int32{}
		for k, s := range v.setup.in.States {
			row[s] = int32(k)
		}
		if st := p.in.Vessels[i].State; st != "" {
			v.first = row[st]
		}
		v.states = make([]int32, len(p.acts))
		for a := range p.acts {
			v.states[a] = -1
			if r, ok := row[p.acts[a].state]; ok {
				v.states[a] = r
			}
		}
	}
}

func compileActivity(a *Activity, cals map[string]*opening, res, vessels map[string]int32, from int64) cact {
	c := cact{
		release: max(a.Release, from), deadline: Forever, due: a.Due, weight: a.DueWeight, until: -1, state: a.State, prevMode: -1,
		minDur: Forever,
	}
	if a.Deadline > 0 {
		c.deadline = a.Deadline
	}
	for k := range a.Modes {
		m := compileMode(&a.Modes[k], cals, res, vessels)
		c.minDur = min(c.minDur, m.total)
		if m.pauses {
			c.maxDur = Forever
		}
		c.maxDur = max(c.maxDur, m.total)
		c.modes = append(c.modes, m)
		if a.Previous != nil && a.Previous.Mode == a.Modes[k].Name {
			c.prevMode = int32(k)
		}
		if a.Fixed != nil && a.Fixed.Mode == a.Modes[k].Name {
			c.fixMode = int32(k)
		}
	}
	if a.Previous != nil && a.Previous.Mode != "" && c.prevMode < 0 {
		c.prevMode = -2
	}
	if a.Fixed != nil {
		c.fixed, c.fact, c.fixStart = true, a.Fixed.Started, a.Fixed.Start
		var tm timing
		m := &c.modes[c.fixMode]
		if c.fact {
			tm = m.factTiming(a.Fixed.Start, a.Fixed.End)
		} else if t, ok := m.begin(c.fixStart, Forever, &tm); !ok || t != c.fixStart {
			return c
		}
		c.minDur, c.maxDur = tm.end()-c.fixStart, tm.end()-c.fixStart
	}
	return c
}

func compileMode(m *Mode, cals map[string]*opening, res, vessels map[string]int32) cmode {
	att, un := cals[m.AttendedCalendar], cals[m.UnattendedCalendar]
	c := cmode{d: [3]int64{m.Start, m.Middle, m.End}, cal: [3]*opening{att, un, att}, energy: m.Energy, plain: true}
	for k := range c.d {
		c.total += c.d[k]
		if c.d[k] == 0 || c.cal[k] == nil {
			continue
		}
		c.plain = false
		if m.Pausable&(1<<k) != 0 {
			c.pausable[k], c.pauses = true, true
		}
	}
	c.minDur = c.total
	for _, u := range m.Uses {
		c.uses = append(c.uses, cuse{vessel: vessels[u.Vessel], free: u.FreeAtEnd})
	}
	c.dems = compileNeeds(m, &c, res)
	return c
}

// compileNeeds sums the needs per resource and phase and merges phases that follow each other without a pause.
func compileNeeds(m *Mode, c *cmode, res map[string]int32) []cdem {
	type load struct{ work, held [3]int64 }
	loads := map[int32]*load{}
	var order []int32
	for _, n := range m.Needs {
		r := res[n.Resource]
		if loads[r] == nil {
			loads[r] = &load{}
			order = append(order, r)
		}
		during := n.During
		if during == 0 {
			during = Throughout
		}
		for k := range 3 {
			if during&(1<<k) == 0 {
				continue
			}
			if n.WhilePaused {
				loads[r].held[k] += n.Amount
			} else {
				loads[r].work[k] += n.Amount
			}
		}
	}
	var out []cdem
	for _, r := range order {
		l := loads[r]
		last := -1 // index in out of a solid demand that the next phase may extend
		for k := range 3 {
			w, h := l.work[k], l.held[k]
			switch {
			case c.d[k] == 0:
			case c.pausable[k]:
				if w > 0 {
					out = append(out, cdem{res: r, check: w + h, add: w, lo: int8(k), hi: int8(k), kind: demWork})
				}
				if h > 0 {
					out = append(out, cdem{res: r, check: h, add: h, lo: int8(k), hi: int8(k), kind: demHeld})
				}
				last = -1
			case w+h == 0:
				last = -1
			case last >= 0 && out[last].add == w+h:
				out[last].hi = int8(k)
			default:
				out = append(out, cdem{res: r, check: w + h, add: w + h, lo: int8(k), hi: int8(k)})
				last = len(out) - 1
			}
		}
	}
	return out
}

func (p *problem) compileTies(acts, res map[string]int32) {
	for i, l := range p.in.Lags {
		u, v := acts[l.From], acts[l.To]
		p.lagEnds = append(p.lagEnds, [2]int32{u, v})
		if l.FreshWeight > 0 {
			p.acts[u].fresh = append(p.acts[u].fresh, int32(i))
			if u != v {
				p.acts[v].fresh = append(p.acts[v].fresh, int32(i))
			}
		}
		uEnd, vEnd := l.FromEdge != EdgeStart, l.ToEdge == EdgeEnd
		if l.Min > -Forever {
			p.addArc(arc{u: u, v: v, uEnd: uEnd, vEnd: vEnd, w: l.Min, lag: int32(i)})
		}
		if l.HasMax {
			p.addArc(arc{u: v, v: u, uEnd: vEnd, vEnd: uEnd, w: -l.Max, lag: int32(i)})
		}
	}
	for _, h := range p.in.Holds {
		u, v := acts[h.Activity], acts[h.Until]
		p.acts[u].until = v
		p.acts[v].holdsFrom = append(p.acts[v].holdsFrom, u)
		p.addArc(arc{u: u, v: v, uEnd: true, lag: -1})
	}
	for _, s := range p.in.Stores {
		c := cstore{res: res[s.Resource], amount: s.Amount, producer: acts[s.Producer], consumer: -1, until: s.Until}
		if c.until == 0 {
			c.until = p.to
		}
		c.fact = p.acts[c.producer].fact
		i := int32(len(p.stores))
		p.acts[c.producer].storesOut = append(p.acts[c.producer].storesOut, i)
		if s.Consumer != "" {
			c.consumer = acts[s.Consumer]
			p.acts[c.consumer].storesIn = append(p.acts[c.consumer].storesIn, i)
			p.addArc(arc{u: c.producer, v: c.consumer, uEnd: true, lag: -1})
		}
		p.stores = append(p.stores, c)
	}
	for _, l := range p.in.Links {
		a, b := acts[l.First], acts[l.Second]
		ia := nameIndex(p.in.Activities[a].Modes, func(m *Mode) string { return m.Name })
		ib := nameIndex(p.in.Activities[b].Modes, func(m *Mode) string { return m.Name })
		c := clink{a: a, b: b, allow: make([][]bool, len(p.acts[a].modes))}
		for k := range c.allow {
			c.allow[k] = make([]bool, len(p.acts[b].modes))
		}
		for _, pair := range l.Pairs {
			c.allow[ia[pair[0]]][ib[pair[1]]] = true
		}
		i := int32(len(p.links))
		p.links = append(p.links, c)
		p.acts[a].links = append(p.acts[a].links, i)
		p.acts[b].links = append(p.acts[b].links, i)
	}
}

func (p *problem) addArc(a arc) {
	if p.acts[a.u].fact && p.acts[a.v].fact {
		return
	}
	i := int32(len(p.arcs))
	p.arcs = append(p.arcs, a)
	p.acts[a.u].arcs = append(p.acts[a.u].arcs, i)
	p.acts[a.v].arcs = append(p.acts[a.v].arcs, i)
}
