package sched

// profile is the free capacity of a cumulative resource as a step function: free[i] holds in [at[i], at[i+1]).
type profile struct {
	at   []int64
	free []int64
}

// reset makes p the empty load under the capacity of base.
func (p *profile) reset(base *profile) {
	p.at = append(p.at[:0], base.at...)
	p.free = append(p.free[:0], base.free...)
}

func baseProfile(r *Resource) profile {
	p := profile{at: []int64{-4 * Forever}, free: []int64{r.Capacity}}
	for _, l := range r.Levels {
		p.at = append(p.at, l.At)
		p.free = append(p.free, l.Capacity)
	}
	return p
}

// find returns the segment that contains t.
func (p *profile) find(t int64) int {
	lo, hi := 1, len(p.at)
	for lo < hi {
		mid := int(uint(lo+hi) >> 1)
		if p.at[mid] <= t {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return lo - 1
}

// split makes t the beginning of a segment and returns its index.
func (p *profile) split(t int64) int {
	i := p.find(t)
	if p.at[i] == t {
		return i
	}
	i++
	p.at = append(p.at, 0)
	copy(p.at[i+1:], p.at[i:])
	p.at[i] = t
	p.free = append(p.free, 0)
	copy(p.free[i+1:], p.free[i:])
	p.free[i] = p.free[i-1]
	return i
}

// join removes the border at the beginning of segment i when it separates nothing.
func (p *profile) join(i int) {
	if i > 0 && i < len(p.at) && p.free[i] == p.free[i-1] {
		p.at = append(p.at[:i], p.at[i+1:]...)
		p.free = append(p.free[:i], p.free[i+1:]...)
	}
}

// take reduces the free capacity by q in [x, y); a negative q gives it back.
func (p *profile) take(x, y, q int64) {
	if x >= y || q == 0 {
		return
	}
	i := p.split(x)
	j := p.split(y)
	for k := i; k < j; k++ {
		p.free[k] -= q
	}
	p.join(j)
	p.join(i)
}

// blocked returns the end of the last segment within [x, y) that has less than q free; ok is true if there is none.
// The end is Forever when that segment never ends. With q = 0 it looks for overload.
func (p *profile) blocked(x, y, q int64) (end int64, ok bool) {
	if x >= y {
		return 0, true
	}
	i := p.find(x)
	j := i
	for j+1 < len(p.at) && p.at[j+1] < y {
		j++
	}
	for k := j; k >= i; k-- {
		if p.free[k] < q {
			if k+1 == len(p.at) {
				return Forever, false
			}
			return p.at[k+1], false
		}
	}
	return 0, true
}

// firstShort returns the first moment >= x with less than q free, or Forever.
func (p *profile) firstShort(x, q int64) int64 {
	for i := p.find(x); i < len(p.at); i++ {
		if p.free[i] < q {
			return max(x, p.at[i])
		}
	}
	return Forever
}
