package project

import "slices"

// member is one schedule of the population: the activities in the order of their starts, and these.
type member struct {
	list, starts []int32
	end          int32
	spread       int64 // sum over activities of start: among equal makespans a smaller one is preferred
}

// population evolves schedules of a regular instance.
type population struct {
	in      *instance
	b       *builder
	rand    rng
	members []member
	child   member
	taken   []int32 // stamps
	stamp   int32
	best    member
	built   int64
	stale   int64     // children since the last one that was better than all before
	seeds   int       // schedules built from priority rules since the last start
	work    []float64 // share of the resources over time that each activity takes
}

// size is how many members a population has; after patience children per member without a better one it starts anew.
const (
	size     = 200
	patience = 200
)

func newPopulation(in *instance, seed uint64) *population {
	p := &population{in: in, b: newBuilder(in), rand: rng{seed}, taken: make([]int32, in.n)}
	p.child = newMember(in.n)
	p.best = newMember(in.n)
	p.best.end = -1
	p.work = make([]float64, in.n)
	for i := range in.n {
		for r, q := range in.p.Demands[i] {
			p.work[i] += float64(q) * float64(in.dur[i]) / float64(max(1, in.peak[r]))
		}
	}
	return p
}

func newMember(n int) member {
	return member{list: make([]int32, n), starts: make([]int32, n)}
}

func (m *member) copyFrom(o *member) {
	copy(m.list, o.list)
	copy(m.starts, o.starts)
	m.end, m.spread = o.end, o.spread
}

// rules are the priority rules that first schedules are built with.
const rules = 4

// seedList fills a list by a priority rule disturbed at random: among the activities that may come next, one of high
// priority is taken.
func (p *population) seedList(list []int32, rule int, noise float64) {
	in := p.in
	n := in.n
	wait := make([]int32, n)
	var ready []int32
	for i := range n {
		if wait[i] = in.pred.off[i+1] - in.pred.off[i]; wait[i] == 0 {
			ready = append(ready, int32(i))
		}
	}
	score := func(i int32) float64 {
		switch rule % rules {
		case 0: // latest start
			return float64(in.tail[i])
		case 1: // latest end
			return float64(in.tail[i] - in.dur[i])
		case 2: // successors
			return float64(in.succ.off[i+1]-in.succ.off[i]) + 0.1*float64(in.tail[i])
		default: // demand
			var sum float64
			for r, q := range in.p.Demands[i] {
				sum += float64(q) / float64(max(1, in.peak[r]))
			}
			return sum*float64(in.dur[i]) + float64(in.tail[i])
		}
	}
	scale := 0.0
	for i := range n {
		scale = max(scale, score(int32(i)))
	}
	for k := range n {
		best, top := -1, -1.0
		for q, i := range ready {
			if v := score(i) + noise*scale*p.rand.unit(); v > top {
				best, top = q, v
			}
		}
		i := ready[best]
		ready[best] = ready[len(ready)-1]
		ready = ready[:len(ready)-1]
		list[k] = i
		for e := in.succ.off[i]; e < in.succ.off[i+1]; e++ {
			j := in.succ.to[e]
			if wait[j]--; wait[j] == 0 {
				ready = append(ready, j)
			}
		}
	}
}

// build turns the child's list into a justified schedule.
func (p *population) build() bool {
	c := &p.child
	p.built += 3
	c.end = p.b.forward(c.list, c.starts, p.in.horizon)
	if c.end < 0 {
		return false
	}
	c.end = p.b.justify(c.list, c.starts, c.end)
	p.rate()
	return true
}

// rate works out the second criterion.
func (p *population) rate() {
	c := &p.child
	c.spread = 0
	for _, s := range c.starts {
		c.spread += int64(s)
	}
}

// buildBackward turns the child's list, in reverse order, into a schedule: first right, then left.
func (p *population) buildBackward() bool {
	c := &p.child
	p.built += 2
	slices.Reverse(c.list)
	if !p.b.backward(c.list, c.starts, p.in.horizon) {
		return false
	}
	p.b.byStart(c.list, c.starts)
	if c.end = p.b.forward(c.list, c.starts, p.in.horizon); c.end < 0 {
		return false
	}
	p.b.byStart(c.list, c.starts)
	p.rate()
	return true
}

// accept offers the child to the population.
func (p *population) accept() {
	c := &p.child
	p.note()
	if p.twin() {
		return
	}
	if len(p.members) < size {
		m := newMember(p.in.n)
		m.copyFrom(c)
		p.members = append(p.members, m)
		return
	}
	worst := 0
	for i := range p.members {
		m, w := &p.members[i], &p.members[worst]
		if m.end > w.end || m.end == w.end && m.spread > w.spread {
			worst = i
		}
	}
	if w := &p.members[worst]; c.end < w.end || c.end == w.end && c.spread < w.spread {
		w.copyFrom(c)
	}
}

// note keeps the child if it is the best so far.
func (p *population) note() {
	if c := &p.child; p.best.end < 0 || c.end < p.best.end {
		p.best.copyFrom(c)
		p.stale = 0
	}
}

// twin says whether a member is like the child.
func (p *population) twin() bool {
	return slices.ContainsFunc(p.members, func(m member) bool { return m.end == p.child.end && m.spread == p.child.spread })
}

// step builds one schedule: from a priority rule until the population is full or seems not to get full, then by
// crossing.
func (p *population) step() {
	ok := false
	if len(p.members) < 2 || len(p.members) < size && p.seeds < 2*size {
		rule, noise := p.seeds, 0.0
		if rule >= rules {
			rule, noise = p.rand.n(rules), 0.25*p.rand.unit()
		}
		p.seeds++
		p.seedList(p.child.list, rule, noise)
		ok = p.build()
	} else {
		p.cross(p.pick(), p.pick())
		if p.rand.n(2) == 0 {
			ok = p.buildBackward()
		} else {
			ok = p.build()
		}
	}
	p.stale++
	if ok {
		p.accept()
	}
	if p.stale > size*patience {
		p.stale, p.seeds = 0, 0
		p.members = p.members[:0]
	}
}

func (p *population) pick() *member {
	a, b := &p.members[p.rand.n(len(p.members))], &p.members[p.rand.n(len(p.members))]
	if a.end < b.end || a.end == b.end && a.spread < b.spread {
		return a
	}
	return b
}

// cross takes a stretch of the list of one parent, one that uses the resources well, and the order of the other for what
// comes before and after, and moves a few activities.
func (p *population) cross(a, b *member) {
	n := p.in.n
	p.stamp++
	length := min(n, n/10+1+p.rand.n(n/3+1))
	from := p.peak(a, length)
	list := p.child.list[:0]
	take := func(src []int32, count int) {
		for _, i := range src {
			if len(list) >= count {
				return
			}
			if p.taken[i] != p.stamp {
				p.taken[i] = p.stamp
				list = append(list, i)
			}
		}
	}
	take(b.list, from)
	take(a.list, from+length)
	take(b.list, n)
	p.mutate()
}

// mutate exchanges neighbours that no lag ties.
func (p *population) mutate() {
	list := p.child.list
	for range 1 + p.rand.n(1+p.in.n/20) {
		k := p.rand.n(len(list))
		i := list[k]
		for range 1 + p.rand.n(6) {
			if k == 0 || p.tied(list[k-1], i) {
				break
			}
			list[k], list[k-1] = list[k-1], i
			k--
		}
	}
}

func (p *population) tied(i, j int32) bool {
	in := p.in
	return slices.Contains(in.succ.to[in.succ.off[i]:in.succ.off[i+1]], j)
}

// adopt takes in a schedule that was found elsewhere.
func (p *population) adopt(starts []int32) {
	copy(p.child.starts, starts)
	p.insert(nil)
}

// insert justifies the child's starts and puts it in the place of a member that it betters, or offers it to all.
func (p *population) insert(m *member) {
	c := &p.child
	p.b.byStart(c.list, c.starts)
	p.built++
	if !p.build() {
		return
	}
	if m == nil || c.end >= m.end {
		p.accept()
		return
	}
	p.note()
	if !p.twin() {
		m.copyFrom(c)
	}
}

// peak returns where, among a few stretches of a list, the resources are used best.
func (p *population) peak(m *member, length int) int {
	n := p.in.n
	best, top := 0, -1.0
	for range 3 {
		from := p.rand.n(n - length + 1)
		var work float64
		for _, i := range m.list[from : from+length] {
			work += p.work[i]
		}
		span := m.end
		if from+length < n {
			span = m.starts[m.list[from+length]]
		}
		span -= m.starts[m.list[from]]
		if v := work / float64(span+1); v > top {
			best, top = from, v
		}
	}
	return best
}
