package sched

import "slices"

// genotype is what the search changes: the decoder turns it into one plan, or none.
type genotype struct {
	order []int32   // blocks without fixed activities, preds before succs
	inner [][]int32 // per block, the order of its members; slices are replaced, never changed in place
	mode  []int32   // per activity, the mode to use; -1: the one in which it ends first
	after []int64   // per activity, do not start before; noPath: as early as possible
	tight bool      // trust that stores without room are emptied at the moment they are filled
	seq   []int32   // if set, the order of activities instead of order and inner (a plan to be followed)
	slots *slotHint // where cleanings are wanted, nil for no wishes
}

// slotHint holds the wanted beginnings of cleanings by activity and vessel. It is not changed once made.
type slotHint map[[2]int32]int64

// sequence lists the activities in the order of placing.
func (g *genotype) sequence() []int32 {
	if g.seq != nil {
		return g.seq
	}
	var out []int32
	for _, b := range g.order {
		out = append(out, g.inner[b]...)
	}
	return out
}

func (g *genotype) clone() *genotype {
	return &genotype{
		order: slices.Clone(g.order), inner: slices.Clone(g.inner), mode: slices.Clone(g.mode), after: slices.Clone(g.after),
		tight: g.tight, seq: slices.Clone(g.seq), slots: g.slots,
	}
}

// frame is one placed activity on the decoder's stack.
type frame struct {
	mark int
	tard int64 // tardiness that is certain after this placement
	last int64 // latest end so far
	due  int32 // activity whose certain tardiness this placement may have raised, or -1
	was  int64 // its certain tardiness before
}

// failure says at which activity a decoding ended and why.
type failure struct {
	act int32
	miss
}

// decoder makes plans out of genotypes. It keeps the last plan and begins the next one where the two first differ.
type decoder struct {
	p     *problem
	s     *state
	asked []int32 // activities in the order of the last genotype
	mode  []int32 // modes and earliest starts of the last genotype
	after []int64
	seq   []int32 // activities in the order of placing
	pos   []int32 // per activity, its place in seq
	stack []frame
	pure  int // up to here the last decoding was a straight function of the genotype's prefix
	base  frame
	allow [][]bool // modes that links leave, per activity; nil without links
	stop  func() bool

	foresee *prognosis
	stuck   int32   // the activity for which reinsert found no place, or -1
	sure    []int64 // per activity, the tardiness cost that is certain in the plan under construction
}

func newDecoder(p *problem) *decoder {
	return &decoder{
		p: p, s: newState(p), mode: make([]int32, len(p.acts)), after: make([]int64, len(p.acts)), pos: make([]int32, len(p.acts)),
		allow: p.linkedModes(), foresee: p.promises(), sure: make([]int64, len(p.acts)),
	}
}

// linkedModes removes modes that no combination allowed by links can contain (arc consistency).
func (p *problem) linkedModes() [][]bool {
	if len(p.links) == 0 {
		return nil
	}
	allow := make([][]bool, len(p.acts))
	for a := range p.acts {
		allow[a] = make([]bool, len(p.acts[a].modes))
		for m := range allow[a] {
			allow[a][m] = !p.acts[a].fixed || int32(m) == p.acts[a].fixMode
		}
	}
	for changed := true; changed; {
		changed = false
		for i := range p.links {
			l := &p.links[i]
			if p.acts[l.a].fact && p.acts[l.b].fact {
				continue
			}
			for ma := range allow[l.a] {
				if allow[l.a][ma] && !supported(l, allow, ma, false) {
					allow[l.a][ma], changed = false, true
				}
			}
			for mb := range allow[l.b] {
				if allow[l.b][mb] && !supported(l, allow, mb, true) {
					allow[l.b][mb], changed = false, true
				}
			}
		}
	}
	return allow
}

func supported(l *clink, allow [][]bool, m int, second bool) bool {
	if second {
		for ma, ok := range allow[l.a] {
			if ok && l.allow[ma][m] {
				return true
			}
		}
		return false
	}
	for mb, ok := range allow[l.b] {
		if ok && l.allow[m][mb] {
			return true
		}
	}
	return false
}

// joins reports whether modes m of a and n of the other end of link l go together.
func (l *clink) joins(a, m, n int32) bool {
	if l.a == a {
		return l.allow[m][n]
	}
	return l.allow[n][m]
}

func (l *clink) other(a int32) int32 {
	if l.a == a {
		return l.b
	}
	return l.a
}

// allowed reports whether links permit mode m of a beside what is placed, with a mode left for each neighbour.
func (d *decoder) allowed(a, m int32) bool {
	if d.allow == nil {
		return true
	}
	if !d.allow[a][m] {
		return false
	}
	for _, k := range d.p.acts[a].links {
		l := &d.p.links[k]
		b := l.other(a)
		if d.s.pl[b].done {
			if !l.joins(a, m, d.s.pl[b].mode) {
				return false
			}
			continue
		}
		if !d.neighbourLeft(l, a, m, b) {
			return false
		}
	}
	return true
}

func (d *decoder) neighbourLeft(l *clink, a, m, b int32) bool {
next:
	for n := range d.allow[b] {
		if !d.allow[b][n] || !l.joins(a, m, int32(n)) {
			continue
		}
		for _, k := range d.p.acts[b].links {
			l2 := &d.p.links[k]
			if c := l2.other(b); c != a && d.s.pl[c].done && !l2.joins(b, int32(n), d.s.pl[c].mode) {
				continue next
			}
		}
		return true
	}
	return false
}

// placeFixed puts started, then pinned activities where they are. On failure it names the pinned one in the way.
func (d *decoder) placeFixed() (failure, bool) {
	var fixed []int32
	for a := range d.p.acts {
		d.sure[a] = d.p.least[a]
		d.base.tard += d.sure[a]
		if d.p.acts[a].fixed {
			fixed = append(fixed, int32(a))
		}
	}
	slices.SortStableFunc(fixed, func(x, y int32) int {
		cx, cy := &d.p.acts[x], &d.p.acts[y]
		if cx.fact != cy.fact {
			if cx.fact {
				return -1
			}
			return 1
		}
		switch {
		case cx.fixStart < cy.fixStart:
			return -1
		case cx.fixStart > cy.fixStart:
			return 1
		}
		return 0
	})
	for _, a := range fixed {
		c := &d.p.acts[a]
		if c.fact {
			f := d.p.in.Activities[a].Fixed
			tm := c.modes[c.fixMode].factTiming(f.Start, f.End)
			d.s.commit(a, c.fixMode, f.Start, &tm)
		} else if m, ok := d.s.place(a, c.fixMode, func(m int32) bool { return d.allowed(a, m) }); !ok {
			return failure{act: a, miss: m}, false
		}
		d.count(&d.base, a)
	}
	d.base.mark = d.s.mark()
	return failure{}, true
}

// count adds a placed activity to the running cost.
func (d *decoder) count(f *frame, a int32) {
	d.expect(f, a)
	f.last = max(f.last, d.s.pl[a].end)
}

// rewind takes out everything placed from position k on.
func (d *decoder) rewind(k int) {
	if k >= len(d.stack) {
		return
	}
	for i := len(d.stack) - 1; i >= k; i-- {
		if f := &d.stack[i]; f.due >= 0 {
			d.sure[f.due] = f.was
		}
	}
	d.s.rollback(d.stack[k].mark)
	d.stack = d.stack[:k]
}

// begin loads genotype g and keeps what the last plan has in common with it.
func (d *decoder) begin(g *genotype) {
	keep := min(d.pure, len(d.stack))
	if d.s.tight != g.tight || d.s.slots != g.slots {
		keep, d.s.tight, d.s.slots = 0, g.tight, g.slots
	}
	seq := g.sequence()
	k := 0
	for k < keep && d.asked[k] == seq[k] && d.mode[seq[k]] == g.mode[seq[k]] && d.after[seq[k]] == g.after[seq[k]] {
		k++
	}
	d.asked = seq
	d.rewind(k)
	d.seq = append(d.seq[:0], d.asked...)
	for i, a := range d.seq {
		d.pos[a] = int32(i)
		if i >= k {
			d.s.lb[a] = g.after[a]
		}
		d.mode[a], d.after[a] = g.mode[a], g.after[a]
	}
	d.pure = len(seq)
}

// outcome of a decoding.
type outcome uint8

const (
	decoded  outcome = iota
	pruned           // worse than the limit
	failed           // no plan
	stopping         // told to stop
)

// decode builds the plan of g. It gives up as soon as the cost must exceed limit (nil: none).
func (d *decoder) decode(g *genotype, limit *Objective) (outcome, failure) {
	d.begin(g)
	raises := 300 + 8*len(d.seq)
	pulls := 2 * len(d.p.blocks)
	for steps := 0; len(d.stack) < len(d.seq); steps++ {
		if steps&255 == 255 && d.stop != nil && d.stop() {
			return stopping, failure{}
		}
		k := len(d.stack)
		a := d.seq[k]
		if k == 0 || d.p.blockOf[d.seq[k-1]] != d.p.blockOf[a] {
			d.enterBlock(a)
		}
		f := d.top()
		f.mark = d.s.mark()
		m, ok := d.s.place(a, d.mode[a], func(m int32) bool { return d.allowed(a, m) })
		if ok {
			d.count(&f, a)
			d.stack = append(d.stack, f)
			if limit != nil && d.exceeds(&f, limit) {
				return pruned, failure{}
			}
			continue
		}
		switch {
		case m.culprit >= 0 && raises > 0:
			raises--
			if !d.raise(m.culprit, m.newLb) {
				return failed, failure{act: a, miss: m}
			}
		case m.open && pulls > 0:
			pulls--
			if !d.pull(a, &m) {
				return failed, failure{act: a, miss: m}
			}
		default:
			return failed, failure{act: a, miss: m}
		}
	}
	return decoded, failure{}
}

func (d *decoder) top() frame {
	if n := len(d.stack); n > 0 {
		return d.stack[n-1]
	}
	return d.base
}

// exceeds reports whether the cost is already above limit.
func (d *decoder) exceeds(f *frame, limit *Objective) bool {
	w := &d.p.in.Weights
	rest := w.Makespan * max(0, f.last-d.p.from)
	if w.Blend > 0 {
		return rest+w.Blend*f.tard > limit.Rest
	}
	return f.tard > limit.First || f.tard == limit.First && rest > limit.Rest
}

// enterBlock spreads the earliest starts of the block's members over the distances between them.
func (d *decoder) enterBlock(a int32) {
	b := &d.p.blocks[d.p.blockOf[a]]
	if b.dist == nil {
		return
	}
	n := len(b.acts)
	for _, x := range b.acts {
		d.s.lb[x] = max(d.s.lb[x], d.s.bounds(x).lo)
	}
	for i, x := range b.acts {
		for j, y := range b.acts {
			if w := b.dist[i*n+j]; w > noPath {
				d.s.lb[y] = max(d.s.lb[y], d.s.lb[x]+w)
			}
		}
	}
}

// raise makes activity j begin at lb or later: it and what was placed after it is taken out.
func (d *decoder) raise(j int32, lb int64) bool {
	if lb <= d.s.lb[j] {
		lb = d.s.pl[j].start + 1
	}
	if lb > d.p.ls[j] {
		return false
	}
	d.s.lb[j] = lb
	first := int(d.pos[j])
	b := &d.p.blocks[d.p.blockOf[j]]
	if b.dist != nil {
		n := len(b.acts)
		i := int(b.index[j])
		for k, y := range b.acts {
			w := b.dist[i*n+k]
			if w == noPath || lb+w <= d.s.lb[y] {
				continue
			}
			d.s.lb[y] = lb + w
			if d.s.lb[y] > d.p.ls[y] {
				return false
			}
			if o := &d.s.pl[y]; o.done && o.start < d.s.lb[y] {
				first = min(first, int(d.pos[y]))
			}
		}
	}
	d.pure = min(d.pure, first)
	d.rewind(first)
	return true
}

// pull moves the block that would end an open hold or store, with everything it needs, before the block of a.
func (d *decoder) pull(a int32, m *miss) bool {
	consumer := d.openConsumer(m)
	own := d.p.blockOf[a]
	if consumer < 0 || d.p.blockOf[consumer] == own {
		return false
	}
	need := map[int32]bool{}
	todo := []int32{d.p.blockOf[consumer]}
	for len(todo) > 0 {
		b := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		if need[b] || d.p.acts[d.p.blocks[b].acts[0]].fixed || d.s.pl[d.p.blocks[b].acts[0]].done {
			continue
		}
		if b == own {
			return false
		}
		need[b] = true
		todo = append(todo, d.p.blocks[b].preds...)
	}
	k := len(d.stack)
	for k > 0 && d.p.blockOf[d.seq[k-1]] == own {
		k--
	}
	d.rewind(k)
	d.pure = min(d.pure, k)
	tail := slices.Clone(d.seq[k:])
	n := k
	for pass := range 2 {
		for _, x := range tail {
			if need[d.p.blockOf[x]] == (pass == 0) {
				d.seq[n] = x
				d.pos[x] = int32(n)
				n++
			}
		}
	}
	return true
}

// openConsumer picks the activity that ends what is in the way, the longest open first.
func (d *decoder) openConsumer(m *miss) int32 {
	best, since := int32(-1), int64(Forever)
	if m.kind == ConflictVessel {
		for i := range d.s.occ[m.subject] {
			o := &d.s.occ[m.subject][i]
			if u := d.p.acts[o.act].until; o.own >= Forever && o.start < since && u >= 0 {
				best, since = u, o.start
			}
		}
		return best
	}
	for i := range d.p.stores {
		st := &d.p.stores[i]
		if st.res != m.subject || st.consumer < 0 || st.amount == 0 || d.s.pl[st.consumer].done || !d.s.pl[st.producer].done {
			continue
		}
		if e := d.s.pl[st.producer].end; e < since {
			best, since = st.consumer, e
		}
	}
	return best
}

// objective adds up the cost of the complete plan.
func (d *decoder) objective() Objective {
	var o Objective
	last := d.p.from
	for a := range d.p.acts {
		d.addCost(&o, int32(a), 1)
		last = max(last, d.s.pl[a].end)
	}
	if len(d.p.acts) > 0 {
		o.Makespan = last - d.p.from
	}
	o.Overtime += d.s.extra
	o.Freshness = d.p.freshness(d.s.pl)
	return d.p.in.Weights.Weigh(o)
}

// addCost adds (by = 1) or takes off (-1) what a placed activity costs by itself.
func (d *decoder) addCost(o *Objective, a int32, by int64) {
	c, x := &d.p.acts[a], &d.s.pl[a]
	if c.weight > 0 {
		o.Tardiness += by * c.weight * max(0, x.end-c.due)
	}
	m := &c.modes[x.mode]
	o.Energy += by * m.energy
	if !m.plain {
		for k := range 3 {
			o.Overtime += by * m.cal[k].overtime(x.tm.s[k], x.tm.e[k])
		}
	}
	if pr := d.p.in.Activities[a].Previous; pr != nil {
		o.Change += by * pr.MoveWeight * max(x.start-pr.Start, pr.Start-x.start)
		if c.prevMode != -1 && c.prevMode != x.mode {
			o.Change += by * pr.ModeWeight
		}
	}
}

func (p *problem) freshness(pl []placement) int64 {
	var sum int64
	for i := range p.in.Lags {
		if p.in.Lags[i].FreshWeight > 0 {
			sum += p.staleness(int32(i), pl)
		}
	}
	return sum
}

// staleness is what a lag costs by being longer than material stays fresh.
func (p *problem) staleness(i int32, pl []placement) int64 {
	l := &p.in.Lags[i]
	u, v := &pl[p.lagEnds[i][0]], &pl[p.lagEnds[i][1]]
	t, w := u.end, v.start
	if l.FromEdge == EdgeStart {
		t = u.start
	}
	if l.ToEdge == EdgeEnd {
		w = v.end
	}
	return l.FreshWeight * max(0, w-t-l.Fresh)
}

// plan copies the complete plan out.
func (s *state) plan(o Objective) Plan {
	p := s.p
	out := Plan{Assignments: make([]Assignment, len(p.acts)), Objective: o}
	for a := range p.acts {
		in, x := &p.in.Activities[a], &s.pl[a]
		as := Assignment{
			Activity: in.Name, Order: in.Order, Mode: in.Modes[x.mode].Name, Start: x.start, End: x.end, HeldUntil: x.end,
		}
		if u := p.acts[a].until; u >= 0 {
			as.HeldUntil = max(x.end, s.pl[u].start)
		}
		for _, u := range p.acts[a].modes[x.mode].uses {
			as.Vessels = append(as.Vessels, p.in.Vessels[u.vessel].Name)
			i := s.stay(u.vessel, int32(a), x.start)
			c := &s.occ[u.vessel][i]
			if c.cto == c.cfrom {
				continue
			}
			run := ChangeRun{Vessel: p.in.Vessels[u.vessel].Name, To: in.State, Start: c.cfrom, End: c.cto, Attended: c.attended}
			run.From = p.in.Vessels[u.vessel].State
			if i > 0 {
				run.From = p.acts[s.occ[u.vessel][i-1].act].state
			}
			as.Changes = append(as.Changes, run)
		}
		out.Assignments[a] = as
	}
	return out
}
