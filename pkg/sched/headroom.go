package sched

import "slices"

// headroom is the free capacity of a cumulative resource as a step function, kept in short pieces: finding a moment is a
// binary search, a change moves at most one piece in memory, and looking for a shortage, or changing everything from a
// moment on, goes over whole pieces at once. So a long plan costs little more per step than a short one.
type headroom struct {
	first []int64 // the border at which each piece begins
	piece []*piece
	spare []*piece
	near  int // piece that was found last
}

// pieceSize is the greatest number of segments in a piece.
const pieceSize = 32

// piece holds consecutive segments: free[i]+shift is free in [at[i], at[i+1]).
type piece struct {
	n     int
	shift int64 // of all segments
	low   int64 // the least of free[:n]
	at    [pieceSize]int64
	free  [pieceSize]int64
}

// reset makes h the capacity of base with nothing taken of it.
func (h *headroom) reset(base *profile) {
	h.spare = append(h.spare, h.piece...)
	h.first, h.piece = h.first[:0], h.piece[:0]
	for i := 0; i < len(base.at); i += pieceSize / 2 {
		c := h.fresh()
		c.n = copy(c.at[:pieceSize/2], base.at[i:])
		copy(c.free[:c.n], base.free[i:])
		c.lower()
		h.first, h.piece = append(h.first, c.at[0]), append(h.piece, c)
	}
}

func (h *headroom) fresh() *piece {
	if k := len(h.spare); k > 0 {
		c := h.spare[k-1]
		h.spare = h.spare[:k-1]
		c.n, c.shift = 0, 0
		return c
	}
	return &piece{}
}

// lower recomputes low.
func (c *piece) lower() {
	low := c.free[0]
	for _, f := range c.free[1:c.n] {
		low = min(low, f)
	}
	c.low = low
}

// find returns the piece and the segment that contain t.
func (h *headroom) find(t int64) (int, int) {
	k := h.pieceOf(t)
	return k, h.piece[k].find(t)
}

// pieceOf returns the piece that contains t. What is asked for is often where the last thing was.
func (h *headroom) pieceOf(t int64) int {
	first := h.first
	lo, hi := 1, len(first)
	if k := h.near; k < len(first) {
		switch {
		case first[k] > t:
			hi = k
		case k+1 >= len(first) || first[k+1] > t:
			return k
		case k+2 >= len(first) || first[k+2] > t:
			h.near = k + 1
			return k + 1
		default:
			lo = k + 2
		}
	}
	for lo < hi {
		mid := int(uint(lo+hi) >> 1)
		if first[mid] <= t {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	h.near = lo - 1
	return lo - 1
}

func (c *piece) find(t int64) int {
	lo, hi := 1, c.n
	for lo < hi {
		mid := int(uint(lo+hi) >> 1)
		if c.at[mid] <= t {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return lo - 1
}

// split makes t, which lies in piece k, the beginning of a segment.
func (h *headroom) split(k int, t int64) (int, int) {
	c := h.piece[k]
	i := c.find(t)
	if c.at[i] == t {
		return k, i
	}
	if c.n == pieceSize {
		h.halve(k)
		if i >= c.n {
			k, i = k+1, i-c.n
			c = h.piece[k]
		}
	}
	i++
	copy(c.at[i+1:c.n+1], c.at[i:c.n])
	copy(c.free[i+1:c.n+1], c.free[i:c.n])
	c.at[i], c.free[i] = t, c.free[i-1]
	c.n++
	return k, i
}

// halve makes two pieces of a full one.
func (h *headroom) halve(k int) {
	c, d := h.piece[k], h.fresh()
	const half = pieceSize / 2
	d.n, d.shift = copy(d.at[:], c.at[half:]), c.shift
	copy(d.free[:], c.free[half:])
	c.n = half
	c.lower()
	d.lower()
	h.first, h.piece = slices.Insert(h.first, k+1, d.at[0]), slices.Insert(h.piece, k+1, d)
}

// join removes the border at the beginning of segment i of piece k when it separates nothing.
func (h *headroom) join(k, i int) {
	c := h.piece[k]
	var before int64
	switch {
	case i > 0:
		before = c.free[i-1] + c.shift
	case k > 0:
		b := h.piece[k-1]
		before = b.free[b.n-1] + b.shift
	default:
		return
	}
	if before != c.free[i]+c.shift {
		return
	}
	c.n--
	copy(c.at[i:c.n], c.at[i+1:c.n+1])
	copy(c.free[i:c.n], c.free[i+1:c.n+1])
	switch {
	case c.n == 0:
		h.spare = append(h.spare, c)
		h.first, h.piece = slices.Delete(h.first, k, k+1), slices.Delete(h.piece, k, k+1)
		return
	case i == 0:
		h.first[k] = c.at[0]
	}
	if before-c.shift == c.low {
		c.lower()
	}
	if k+1 < len(h.piece) && c.n+h.piece[k+1].n <= pieceSize/3 {
		h.merge(k)
	}
}

// merge puts the segments of the next piece into this one.
func (h *headroom) merge(k int) {
	c, d := h.piece[k], h.piece[k+1]
	for i := range d.n {
		c.at[c.n+i], c.free[c.n+i] = d.at[i], d.free[i]+d.shift-c.shift
	}
	c.n += d.n
	c.lower()
	h.spare = append(h.spare, d)
	h.first, h.piece = slices.Delete(h.first, k+1, k+2), slices.Delete(h.piece, k+1, k+2)
}

// take reduces the free capacity by q in [x, y); a negative q gives it back.
func (h *headroom) take(x, y, q int64) {
	if x >= y || q == 0 {
		return
	}
	k, i := h.split(h.pieceOf(x), x)
	l := k
	for l+1 < len(h.first) && h.first[l+1] <= y {
		l++
	}
	pieces := len(h.first)
	l, j := h.split(l, y)
	if c := h.piece[k]; len(h.first) > pieces && i >= c.n { // it was halved
		k, i = k+1, i-c.n
	}
	if k == l {
		h.piece[k].take(i, j, q)
	} else {
		h.piece[k].take(i, h.piece[k].n, q)
		for m := k + 1; m < l; m++ {
			h.piece[m].shift -= q
		}
		h.piece[l].take(0, j, q)
	}
	h.join(l, j)
	h.join(k, i)
}

// take reduces the segments from i to j.
func (c *piece) take(i, j int, q int64) {
	switch {
	case i == 0 && j == c.n:
		c.shift -= q
		return
	case q < 0:
		for k := i; k < j; k++ {
			c.free[k] -= q
		}
		c.lower()
		return
	}
	low := c.low
	for k := i; k < j; k++ {
		c.free[k] -= q
		low = min(low, c.free[k])
	}
	c.low = low
}

// blocked returns the end of the last segment within [x, y) that has less than q free; ok is true if there is none.
// The end is Forever when that segment never ends. With q = 0 it looks for overload.
func (h *headroom) blocked(x, y, q int64) (end int64, ok bool) {
	if x >= y {
		return 0, true
	}
	k, i := h.find(x)
	l := k
	for l+1 < len(h.first) && h.first[l+1] < y {
		l++
	}
	for m := l; m >= k; m-- {
		c := h.piece[m]
		if c.low+c.shift >= q {
			continue
		}
		j, stop := c.n-1, 0
		if m == k {
			stop = i
		}
		for m == l && j > stop && c.at[j] >= y {
			j--
		}
		for ; j >= stop; j-- {
			if c.free[j]+c.shift < q {
				return h.endOf(m, j), false
			}
		}
	}
	return 0, true
}

// endOf is where segment i of piece k ends.
func (h *headroom) endOf(k, i int) int64 {
	switch {
	case i+1 < h.piece[k].n:
		return h.piece[k].at[i+1]
	case k+1 < len(h.first):
		return h.first[k+1]
	}
	return Forever
}

// firstShort returns the first moment >= x with less than q free, or Forever.
func (h *headroom) firstShort(x, q int64) int64 {
	k, i := h.find(x)
	for ; k < len(h.piece); k, i = k+1, 0 {
		c := h.piece[k]
		if c.low+c.shift >= q {
			continue
		}
		for ; i < c.n; i++ {
			if c.free[i]+c.shift < q {
				return max(x, c.at[i])
			}
		}
	}
	return Forever
}

// steps lists the borders and what is free from each of them on.
func (h *headroom) steps() profile {
	var p profile
	for _, c := range h.piece {
		for i := range c.n {
			p.at, p.free = append(p.at, c.at[i]), append(p.free, c.free[i]+c.shift)
		}
	}
	return p
}
