package shop

// pool is the elite of one worker, with what is needed to walk between two of its plans.
type pool struct {
	plans  []plan
	size   int
	rankB  []int32
	mode   []int32
	ord    []int32
	merged []int32
}

func newPool(c *inst, size int) *pool {
	return &pool{size: size, rankB: make([]int32, c.n), mode: make([]int32, c.n), ord: make([]int32, c.n), merged: make([]int32, c.n)}
}

// between fills mode and ord with a plan part of the way from a to b: the order keeps all that a and b agree upon.
func (p *pool) between(c *inst, a, b *plan, share float64, r *rng) {
	copy(p.mode, a.mode)
	copy(p.ord, a.ord)
	for i, u := range b.ord {
		p.rankB[u] = int32(i)
	}
	for v := range p.mode {
		if c.modeKey[a.mode[v]] != c.modeKey[b.mode[v]] && r.unit() < share {
			p.mode[v] = b.mode[v]
		}
	}
	ord := p.ord
	left := int(share * float64(p.inversions()))
	for left > 0 {
		swapped := false
		for i := r.n(2); i+1 < len(ord) && left > 0; i++ {
			if p.rankB[ord[i]] > p.rankB[ord[i+1]] {
				swapped = true
				if r.next()&1 == 0 {
					ord[i], ord[i+1] = ord[i+1], ord[i]
					left--
				}
			}
		}
		if !swapped && sortedBy(ord, p.rankB) {
			return
		}
	}
}

func sortedBy(ord, key []int32) bool {
	for i := 1; i < len(ord); i++ {
		if key[ord[i-1]] > key[ord[i]] {
			return false
		}
	}
	return true
}

// inversions counts the pairs of ord that b orders the other way round, by merging.
func (p *pool) inversions() int {
	n := len(p.ord)
	x, y := make([]int32, n), p.merged
	for i, u := range p.ord {
		x[i] = p.rankB[u]
	}
	count := 0
	for w := 1; w < n; w *= 2 {
		for lo := 0; lo < n; lo += 2 * w {
			mid, hi := min(lo+w, n), min(lo+2*w, n)
			i, j := lo, mid
			for k := lo; k < hi; k++ {
				if i < mid && (j >= hi || x[i] <= x[j]) {
					y[k] = x[i]
					i++
				} else {
					count += mid - i
					y[k] = x[j]
					j++
				}
			}
		}
		x, y = y, x
	}
	return count
}

// far returns how many operations have another mode or another predecessor on a resource in a than in b.
func far(c *inst, a, b *plan, last []int32) int {
	pred := func(p *plan, out [][maxSlots]int32) {
		for r := range last {
			last[r] = -1
		}
		for _, u := range p.ord {
			for k := range c.tabuSlots {
				if r := c.modeRes[p.mode[u]][k]; r >= 0 {
					out[u][k] = last[r]
					last[r] = u
				}
			}
		}
	}
	pa, pb := make([][maxSlots]int32, c.n), make([][maxSlots]int32, c.n)
	pred(a, pa)
	pred(b, pb)
	n := 0
	for v := range pa {
		if c.modeKey[a.mode[v]] != c.modeKey[b.mode[v]] || pa[v] != pb[v] {
			n++
		}
	}
	return n
}

// add puts a copy of x into the pool. A plan much like one in the pool takes its place if it is better; otherwise the
// worst gives way if it is not better. It reports whether the pool gained by it.
func (p *pool) add(c *inst, x *plan) bool {
	last := make([]int32, c.resources)
	near := max(1, c.n/50)
	for i := range p.plans {
		q := &p.plans[i]
		if far(c, q, x, last) <= near {
			if x.value < q.value {
				copyPlan(q, x)
				return true
			}
			return false
		}
	}
	if len(p.plans) < p.size {
		var q plan
		copyPlan(&q, x)
		p.plans = append(p.plans, q)
		return true
	}
	worst := 0
	for i := range p.plans {
		if p.plans[i].value > p.plans[worst].value {
			worst = i
		}
	}
	before := p.plans[worst].value
	if x.value <= before {
		copyPlan(&p.plans[worst], x)
	}
	return x.value < before
}

func copyPlan(dst, src *plan) {
	dst.mode = append(dst.mode[:0], src.mode...)
	dst.ord = append(dst.ord[:0], src.ord...)
	dst.value = src.value
}
