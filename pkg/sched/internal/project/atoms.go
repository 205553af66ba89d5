package project

// atoms rates statements "start of k is at most v" by how much they had to do with recent conflicts (VSIDS, after
// Moskewicz et al., "Chaff", DAC 2001). Only statements that occurred in a conflict are there, in a binary heap.
type atoms struct {
	vars  int
	table []int32 // open addressing: atom + 1, or 0
	of    []int32 // variable of each atom
	at    []int32 // its value
	score []float64
	heap  []int32
	place []int32 // in the heap, -1 if taken out
	grain float64
	taken []int32 // atoms taken out of the heap, in this order
	lims  []int32 // how many were taken at the start of each level
	mark  int32   // how many were taken before the one that the next decision is about
}

// decay is what scores are worth after each conflict.
const decay = 0.95

func (a *atoms) reset(vars int) {
	a.vars = vars
	if len(a.table) == 0 {
		a.table = make([]int32, 1<<12)
	}
	clear(a.table)
	a.of, a.at, a.score = a.of[:0], a.at[:0], a.score[:0]
	a.heap, a.place, a.taken, a.lims = a.heap[:0], a.place[:0], a.taken[:0], a.lims[:0]
	a.grain = 1
}

func hash(k, v int32) uint32 {
	h := uint64(uint32(k))<<32 | uint64(uint32(v))
	h *= 0x9e3779b97f4a7c15
	return uint32(h >> 32)
}

func (a *atoms) find(k, v int32) int32 {
	mask := uint32(len(a.table) - 1)
	for h := hash(k, v) & mask; ; h = (h + 1) & mask {
		id := a.table[h] - 1
		if id < 0 {
			return a.insert(k, v, h)
		}
		if a.of[id] == k && a.at[id] == v {
			return id
		}
	}
}

func (a *atoms) insert(k, v int32, h uint32) int32 {
	id := int32(len(a.of))
	a.table[h] = id + 1
	a.of, a.at, a.score = append(a.of, k), append(a.at, v), append(a.score, 0)
	a.place = append(a.place, int32(len(a.heap)))
	a.heap = append(a.heap, id)
	if 2*len(a.of) > len(a.table) {
		a.table = make([]int32, 2*len(a.table))
		mask := uint32(len(a.table) - 1)
		for i := range a.of {
			h := hash(a.of[i], a.at[i]) & mask
			for a.table[h] != 0 {
				h = (h + 1) & mask
			}
			a.table[h] = int32(i) + 1
		}
	}
	return id
}

// bump raises the score of the atom behind a literal.
func (a *atoms) bump(l lit) {
	k, v := l.x>>1, l.v-1
	if l.x&1 == 1 {
		v = -l.v
	}
	id := a.find(k, v)
	if a.score[id] += a.grain; a.score[id] > 1e100 {
		for i := range a.score {
			a.score[i] *= 1e-100
		}
		a.grain *= 1e-100
	}
	if p := a.place[id]; p >= 0 {
		a.up(p)
	}
}

func (a *atoms) push() { a.lims = append(a.lims, a.mark) }

// backTo puts the atoms back that were taken after a level had been completed.
func (a *atoms) backTo(level int32) {
	k := a.lims[level]
	for _, id := range a.taken[k:] {
		if a.place[id] < 0 {
			a.place[id] = int32(len(a.heap))
			a.heap = append(a.heap, id)
			a.up(a.place[id])
		}
	}
	a.taken, a.lims = a.taken[:k], a.lims[:level]
}

// take removes the atom of the highest score.
func (a *atoms) take() int32 {
	id := a.heap[0]
	last := len(a.heap) - 1
	a.heap[0] = a.heap[last]
	a.place[a.heap[0]] = 0
	a.heap = a.heap[:last]
	a.place[id] = -1
	if last > 0 {
		a.down(0)
	}
	a.taken = append(a.taken, id)
	return id
}

func (a *atoms) up(p int32) {
	id := a.heap[p]
	for p > 0 {
		q := (p - 1) / 2
		if a.score[a.heap[q]] >= a.score[id] {
			break
		}
		a.heap[p] = a.heap[q]
		a.place[a.heap[p]] = p
		p = q
	}
	a.heap[p], a.place[id] = id, p
}

func (a *atoms) down(p int32) {
	id := a.heap[p]
	n := int32(len(a.heap))
	for {
		q := 2*p + 1
		if q >= n {
			break
		}
		if q+1 < n && a.score[a.heap[q+1]] > a.score[a.heap[q]] {
			q++
		}
		if a.score[a.heap[q]] <= a.score[id] {
			break
		}
		a.heap[p] = a.heap[q]
		a.place[a.heap[p]] = p
		p = q
	}
	a.heap[p], a.place[id] = id, p
}
