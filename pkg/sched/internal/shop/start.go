package shop

// rule ranks the operations that compete for a place in a constructed plan.
type rule uint8

const (
	mostWork    rule = iota // most work left in the job
	leastSlack              // due date less work left
	earliestEnd             // shortest completion
	urgency                 // apparent tardiness cost (Vepsalainen and Morton 1987, from memory)
	anyOrder                // random
	rules
)

// constructor makes plans operation by operation, as early as possible, without looking back.
type constructor struct {
	c         *inst
	free      []int32 // per resource
	next      []int32 // per job: next operation
	ready     []int32 // per job
	left      []int32 // per operation: shortest work from it to the end of its job
	mode, ord []int32
	mean      float64
	jitter    float64
	prio      []float64 // per operation, for anyOrder
}

func newConstructor(c *inst) *constructor {
	b := &constructor{
		c: c, free: make([]int32, c.resources), next: make([]int32, c.jobs), ready: make([]int32, c.jobs),
		left: make([]int32, c.n), mode: make([]int32, c.n), ord: make([]int32, 0, c.n), prio: make([]float64, c.n),
	}
	for v := c.n - 1; v >= 0; v-- {
		b.left[v] = c.minDur[v]
		if v+1 < c.n && c.job[v+1] == c.job[v] {
			b.left[v] += b.left[v+1]
		}
		b.mean += float64(c.minDur[v])
	}
	b.mean /= float64(max(1, c.n))
	return b
}

// make fills b.mode and b.ord. jitter in [0, 1] blurs the rule.
func (b *constructor) make(r *rng, by rule, jitter float64) {
	c := b.c
	b.jitter = jitter
	clear(b.free)
	b.ord = b.ord[:0]
	for j := range c.jobs {
		b.next[j] = c.first[j]
		b.ready[j] = 0
		if c.first[j] < c.first[j+1] {
			b.ready[j] = c.rel[c.first[j]]
		}
	}
	for v := range b.prio {
		b.prio[v] = r.unit()
	}
	for len(b.ord) < c.n {
		u, m, start := b.choose(r, by)
		end := start + c.modeDur[m]
		for k := range c.slots {
			if q := c.modeRes[m][k]; q >= 0 {
				b.free[q] = end
			}
		}
		b.mode[u] = m
		b.ord = append(b.ord, u)
		j := c.job[u]
		b.ready[j] = max(end, b.ready[j])
		b.next[j]++
	}
}

// choose returns the next operation, its mode and its start: of the operations that could start before the earliest
// possible completion of any, the one that the rule prefers (Giffler and Thompson 1960 for a single resource).
func (b *constructor) choose(r *rng, by rule) (op, mode, start int32) {
	c := b.c
	first := int32(never)
	for j := range c.jobs {
		if b.next[j] < c.first[j+1] {
			_, s, d := b.bestMode(int32(j), r)
			first = min(first, s+max(d, 1))
		}
	}
	op = -1
	var bestScore float64
	for j := range c.jobs {
		if b.next[j] == c.first[j+1] {
			continue
		}
		m, s, d := b.bestMode(int32(j), r)
		if s >= first {
			continue
		}
		score := b.score(by, b.next[j], s, d, first) * (1 + b.jitter*(r.unit()-0.5))
		if op < 0 || score > bestScore {
			op, mode, start, bestScore = b.next[j], m, s, score
		}
	}
	return op, mode, start
}

// bestMode returns the mode in which the next operation of the job ends first.
func (b *constructor) bestMode(j int32, r *rng) (mode, start, d int32) {
	c := b.c
	u := b.next[j]
	end, ties := int32(never), 0
	for m := c.modeFrom[u]; m < c.modeFrom[u+1]; m++ {
		s := max(b.ready[j], c.rel[u])
		for k := range c.slots {
			if q := c.modeRes[m][k]; q >= 0 {
				s = max(s, b.free[q])
			}
		}
		x := s + c.modeDur[m]
		if x == end {
			ties++
			if r.n(ties) != 0 {
				continue
			}
		} else if x > end {
			continue
		} else {
			end, ties = x, 1
		}
		mode, start, d = m, s, c.modeDur[m]
	}
	return mode, start, d
}

// score is positive; more is preferred.
func (b *constructor) score(by rule, u, start, d, first int32) float64 {
	c := b.c
	switch by {
	case mostWork:
		return float64(b.left[u]) + 1
	case leastSlack, urgency:
		j := c.job[u]
		if !c.tardy {
			return float64(b.left[u])/float64(d+1) + 1
		}
		slack := float64(c.due[j] - int64(start) - int64(b.left[u]))
		if by == leastSlack {
			return 1 / (1 + max(0, slack)) * float64(c.weight[j]+1)
		}
		x := max(0, slack) / (2*b.mean + 1)
		return (float64(c.weight[j]) + 0.01) / float64(d+1) / (1 + x + x*x/2)
	case earliestEnd:
		return 1 / float64(start+d-first+d+2)
	default:
		return b.prio[u] + 0.001
	}
}

// oneByOne rearranges the plan such that one job is finished before the next begins, in the order of their starts.
func (b *constructor) oneByOne() {
	var out []int32
	for _, u := range b.ord {
		if u == b.c.first[b.c.job[u]] {
			for v := u; v < b.c.first[b.c.job[u]+1]; v++ {
				out = append(out, v)
			}
		}
	}
	copy(b.ord, out)
}
