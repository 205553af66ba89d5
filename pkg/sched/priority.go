package sched

import (
	"cmp"
	"container/heap"
	"slices"
)

// keys holds per activity numbers that priority rules sort by; smaller goes first.
type keys struct {
	latest []int64 // latest start that keeps every due time and the end of the horizon, ignoring capacities
	due    []int64 // due time of the most urgent activity that depends on this one
	weight []int64 // sum of due weights that depend on this one
	// pressing is, per block, the latest start of a member that a greatest lag ties to something fixed; Forever if there
	// is none. Such a block cannot wait for its turn: it is placed before all others.
	pressing []int64
}

// urgency propagates due times backwards through the network.
func (p *problem) urgency() *keys {
	n := len(p.acts)
	k := &keys{latest: make([]int64, n), due: make([]int64, n), weight: make([]int64, n), pressing: make([]int64, len(p.blocks))}
	for b := range k.pressing {
		k.pressing[b] = Forever
	}
	for i := range p.arcs {
		if a := &p.arcs[i]; p.acts[a.v].fixed && !p.acts[a.u].fixed {
			b := p.blockOf[a.u]
			k.pressing[b] = min(k.pressing[b], p.ls[a.u])
		}
	}
	far := p.to
	for a := range p.acts {
		c := &p.acts[a]
		k.latest[a], k.due[a] = far-c.minDur, far
		if c.deadline < far {
			k.latest[a], k.due[a] = c.deadline-c.minDur, c.deadline
		}
		if c.weight > 0 && c.due < k.due[a] {
			k.latest[a], k.due[a], k.weight[a] = c.due-c.minDur, c.due, c.weight
		}
	}
	for range n {
		changed := false
		for i := len(p.arcs) - 1; i >= 0; i-- {
			a := &p.arcs[i]
			w, ok := p.startLag(a)
			if !ok || p.blockOf[a.u] == p.blockOf[a.v] && w < 0 {
				continue
			}
			if t := k.latest[a.v] - w; t < k.latest[a.u] {
				k.latest[a.u], changed = t, true
			}
			if k.due[a.v] < k.due[a.u] {
				k.due[a.u], changed = k.due[a.v], true
			}
			k.weight[a.u] = max(k.weight[a.u], k.weight[a.v])
		}
		if !changed {
			break
		}
	}
	return k
}

// press replaces the key of something in a block that cannot wait.
func (k *keys) press(b int32, key float64) float64 {
	if t := k.pressing[b]; t < Forever {
		return float64(t) - 1024*float64(Forever)
	}
	return key
}

// ruleCount is the number of priority rules tried before the search.
const ruleCount = 7

// rule returns the keys of one rule.
func (p *problem) rule(i int, k *keys) []float64 {
	out := make([]float64, len(p.acts))
	for a := range out {
		latest, early := float64(k.latest[a]), float64(p.es[a])
		switch i {
		case 0: // least latest start (slack against due times)
			out[a] = latest
		case 1: // mixed: urgency and chance to begin
			out[a] = latest + early
		case 2: // earliest due time, then slack
			out[a] = float64(k.due[a])*4 + latest
		case 3: // longest path to the end first
			out[a] = early - float64(p.tail[a])
		case 4: // first possible first
			out[a] = early*4 + latest
		case 5: // most remaining work first
			out[a] = -float64(p.tail[a])
		default: // weight against slack
			out[a] = latest - float64(p.tail[a])*float64(k.weight[a])
		}
		out[a] = k.press(p.blockOf[a], out[a])
	}
	return out
}

// blockHeap orders ready blocks by key, then number.
type blockHeap struct {
	key  []float64
	item []int32
}

func (h *blockHeap) Len() int { return len(h.item) }
func (h *blockHeap) Less(i, j int) bool {
	a, b := h.item[i], h.item[j]
	if h.key[a] != h.key[b] {
		return h.key[a] < h.key[b]
	}
	return a < b
}
func (h *blockHeap) Swap(i, j int) { h.item[i], h.item[j] = h.item[j], h.item[i] }
func (h *blockHeap) Push(x any)    { h.item = append(h.item, x.(int32)) }
func (h *blockHeap) Pop() any {
	x := h.item[len(h.item)-1]
	h.item = h.item[:len(h.item)-1]
	return x
}

// topological lists the given blocks so that preds come first and, among the ready, small keys come first.
func (p *problem) topological(blocks []int32, key []float64) []int32 {
	waits := make(map[int32]int, len(blocks))
	for _, b := range blocks {
		waits[b] = 0
	}
	for _, b := range blocks {
		for _, q := range p.blocks[b].preds {
			if _, in := waits[q]; in {
				waits[b]++
			}
		}
	}
	h := &blockHeap{key: key}
	for _, b := range blocks {
		if waits[b] == 0 {
			h.item = append(h.item, b)
		}
	}
	heap.Init(h)
	out := make([]int32, 0, len(blocks))
	for h.Len() > 0 {
		b := heap.Pop(h).(int32)
		out = append(out, b)
		for _, q := range p.blocks[b].succs {
			if w, in := waits[q]; in {
				waits[q] = w - 1
				if w == 1 {
					heap.Push(h, q)
				}
			}
		}
	}
	return out
}

// blockKeys takes the least key of a block's members.
func (p *problem) blockKeys(key []float64) []float64 {
	out := make([]float64, len(p.blocks))
	for i := range p.blocks {
		for k, a := range p.blocks[i].acts {
			if k == 0 || key[a] < out[i] {
				out[i] = key[a]
			}
		}
	}
	return out
}

// plain returns the genotype that orders blocks by key and leaves everything else to the decoder.
func (p *problem) plain(key []float64) *genotype {
	g := &genotype{inner: make([][]int32, len(p.blocks)), mode: make([]int32, len(p.acts)), after: make([]int64, len(p.acts))}
	for a := range p.acts {
		g.mode[a], g.after[a] = -1, noPath
	}
	var free []int32
	for b := range p.blocks {
		g.inner[b] = p.blocks[b].acts
		if !p.acts[p.blocks[b].acts[0]].fixed {
			free = append(free, int32(b))
		}
	}
	g.order = p.topological(free, p.blockKeys(key))
	return g
}

// sortedByStart returns the activities by start, ties by end then index.
func sortedByStart(sol *solution) []int32 {
	out := make([]int32, len(sol.start))
	for i := range out {
		out[i] = int32(i)
	}
	slices.SortFunc(out, func(a, b int32) int {
		return cmp.Or(cmp.Compare(sol.start[a], sol.start[b]), cmp.Compare(sol.end[a], sol.end[b]), cmp.Compare(a, b))
	})
	return out
}
