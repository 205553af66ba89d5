package sched

import (
	"slices"
)

// block is a set of activities tied to each other by greatest lags or holds: a strongly connected part of the network.
// Blocks form an acyclic graph.
type block struct {
	acts  []int32 // in an order that respects least lags as far as one exists
	preds []int32 // blocks that must be decoded before
	succs []int32
	dist  []int64 // dist[i*n+j] <= start(acts[j]) - start(acts[i]) in every plan; nil for single activities and huge blocks
	index map[int32]int32
}

const noPath = -4 * Forever

// startLag weakens an arc to one between starts that holds whatever the modes: start(v) >= start(u) + w.
func (p *problem) startLag(a *arc) (int64, bool) {
	w := a.w
	if a.uEnd {
		w += p.acts[a.u].minDur
	}
	if a.vEnd {
		if p.acts[a.v].maxDur >= Forever {
			return 0, false
		}
		w -= p.acts[a.v].maxDur
	}
	return w, true
}

// buildBlocks finds the strongly connected parts (Tarjan's algorithm, without recursion) and orders them.
func (p *problem) buildBlocks() {
	n := len(p.acts)
	next := make([][]int32, n)
	for i := range p.arcs {
		next[p.arcs[i].u] = append(next[p.arcs[i].u], p.arcs[i].v)
	}
	for a := range p.acts {
		if u := p.acts[a].until; u >= 0 && !p.acts[a].fixed && !p.acts[u].fixed {
			next[u] = append(next[u], int32(a)) // a hold ties its two ends together
		}
	}
	// Fixed activities have a known start; they tie nothing together and are blocks of their own.
	for a := range next {
		if p.acts[a].fixed {
			next[a] = nil
		}
	}
	comp, count := components(next)
	// Tarjan numbers components in reverse topological order.
	p.blocks = make([]block, count)
	p.blockOf = make([]int32, n)
	for a := range p.acts {
		b := int32(count-1) - comp[a]
		p.blockOf[a] = b
		p.blocks[b].acts = append(p.blocks[b].acts, int32(a))
	}
	for i := range p.arcs {
		u, v := p.arcs[i].u, p.arcs[i].v
		bu, bv := p.blockOf[u], p.blockOf[v]
		if bu == bv || p.acts[u].fixed || p.acts[v].fixed {
			continue
		}
		p.blocks[bv].preds = append(p.blocks[bv].preds, bu)
		p.blocks[bu].succs = append(p.blocks[bu].succs, bv)
	}
	for i := range p.blocks {
		b := &p.blocks[i]
		slices.Sort(b.preds)
		b.preds = slices.Compact(b.preds)
		slices.Sort(b.succs)
		b.succs = slices.Compact(b.succs)
	}
}

func components(next [][]int32) (comp []int32, count int) {
	n := len(next)
	comp = make([]int32, n)
	low := make([]int32, n)
	num := make([]int32, n)
	iter := make([]int, n)
	onStack := make([]bool, n)
	var stack, call []int32
	var clock int32
	for root := range n {
		if num[root] != 0 {
			continue
		}
		call = append(call[:0], int32(root))
		for len(call) > 0 {
			u := call[len(call)-1]
			if num[u] == 0 {
				clock++
				num[u], low[u] = clock, clock
				stack = append(stack, u)
				onStack[u] = true
			}
			if iter[u] < len(next[u]) {
				v := next[u][iter[u]]
				iter[u]++
				if num[v] == 0 {
					call = append(call, v)
				} else if onStack[v] {
					low[u] = min(low[u], num[v])
				}
				continue
			}
			call = call[:len(call)-1]
			if len(call) > 0 {
				w := call[len(call)-1]
				low[w] = min(low[w], low[u])
			}
			if low[u] == num[u] {
				for {
					v := stack[len(stack)-1]
					stack = stack[:len(stack)-1]
					onStack[v] = false
					comp[v] = int32(count)
					if v == u {
						break
					}
				}
				count++
			}
		}
	}
	return comp, count
}

// distLimit bounds the block size for which all distances are kept (time and memory grow with its cube and square).
const distLimit = 256

// finishBlocks orders the members of each block and fills the distances. It needs p.es.
func (p *problem) finishBlocks() {
	for i := range p.blocks {
		b := &p.blocks[i]
		if len(b.acts) == 1 {
			continue
		}
		b.acts = p.innerOrder(b.acts)
		b.index = make(map[int32]int32, len(b.acts))
		for k, a := range b.acts {
			b.index[a] = int32(k)
		}
		if len(b.acts) <= distLimit {
			p.fillDistances(b)
		}
	}
}

func (p *problem) fillDistances(b *block) {
	n := len(b.acts)
	b.dist = make([]int64, n*n)
	for i := range b.dist {
		b.dist[i] = noPath
	}
	for i := range n {
		b.dist[i*n+i] = 0
		for _, k := range p.acts[b.acts[i]].arcs {
			a := &p.arcs[k]
			j, in := b.index[a.v]
			if a.u != b.acts[i] || !in {
				continue
			}
			if w, ok := p.startLag(a); ok {
				b.dist[i*n+int(j)] = max(b.dist[i*n+int(j)], w)
			}
		}
	}
	for k := range n {
		for i := range n {
			ik := b.dist[i*n+k]
			if ik == noPath {
				continue
			}
			for j := range n {
				if kj := b.dist[k*n+j]; kj != noPath && ik+kj > b.dist[i*n+j] {
					b.dist[i*n+j] = ik + kj
				}
			}
		}
	}
}

// innerOrder sorts members so that every arc that forces a later start goes forward, earliest first among the free.
func (p *problem) innerOrder(acts []int32) []int32 {
	in := map[int32]int{}
	for _, a := range acts {
		in[a] = 0
	}
	forward := func(k int32, from int32) (int32, bool) {
		a := &p.arcs[k]
		if a.u != from {
			return 0, false
		}
		if _, member := in[a.v]; !member {
			return 0, false
		}
		w, ok := p.startLag(a)
		return a.v, ok && w > 0
	}
	for _, a := range acts {
		for _, k := range p.acts[a].arcs {
			if v, ok := forward(k, a); ok {
				in[v]++
			}
		}
	}
	left := slices.Clone(acts)
	out := make([]int32, 0, len(acts))
	for len(left) > 0 {
		best := 0
		for i, a := range left {
			c := left[best]
			ra, rc := in[a] == 0, in[c] == 0
			if ra != rc {
				if ra {
					best = i
				}
				continue
			}
			if p.es[a] < p.es[c] || p.es[a] == p.es[c] && a < c {
				best = i
			}
		}
		a := left[best]
		left = slices.Delete(left, best, best+1)
		out = append(out, a)
		for _, k := range p.acts[a].arcs {
			if v, ok := forward(k, a); ok {
				in[v]--
			}
		}
	}
	return out
}

// contradiction finds a cycle of lags that contradict each other: longest paths that never settle. It returns the activities of
// the cycle in order, or nil.
func (p *problem) contradiction() []int32 {
	n := len(p.acts)
	d := make([]int64, n)
	by := make([]int32, n)
	for i := range by {
		by[i] = -1
	}
	last := int32(-1)
	for range n + 1 {
		last = -1
		for k := range p.arcs {
			a := &p.arcs[k]
			if w, ok := p.startLag(a); ok && d[a.u]+w > d[a.v] {
				d[a.v] = d[a.u] + w
				by[a.v] = int32(k)
				last = a.v
			}
		}
		if last < 0 {
			return nil
		}
	}
	for range n {
		last = p.arcs[by[last]].u
	}
	cycle := []int32{last}
	for v := p.arcs[by[last]].u; v != last; v = p.arcs[by[v]].u {
		cycle = append(cycle, v)
	}
	slices.Reverse(cycle)
	return cycle
}

// fillTails sets tail: the longest forced path from a start to an end. No contradiction may exist.
func (p *problem) fillTails() {
	n := len(p.acts)
	p.tail = make([]int64, n)
	for a := range p.acts {
		p.tail[a] = p.acts[a].minDur
	}
	for range n {
		changed := false
		for k := len(p.arcs) - 1; k >= 0; k-- {
			a := &p.arcs[k]
			if p.acts[a.v].fixed {
				continue
			}
			if w, ok := p.startLag(a); ok && w+p.tail[a.v] > p.tail[a.u] {
				p.tail[a.u] = w + p.tail[a.v]
				changed = true
			}
		}
		if !changed {
			return
		}
	}
}
