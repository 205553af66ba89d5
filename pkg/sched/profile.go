package sched

// profile is the capacity of a cumulative resource as a step function: free[i] holds in [at[i], at[i+1]). What a plan
// leaves of it is kept as headroom.
type profile struct {
	at   []int64
	free []int64
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
