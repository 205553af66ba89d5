package project

// allows checks a schedule in the plainest way, sharing nothing with the search.
func (p *Problem) allows(s []int32) bool {
	var end int32
	for i, t := range s {
		if t < 0 || p.Releases != nil && t < p.Releases[i] {
			return false
		}
		if p.Deadlines != nil && p.Deadlines[i] >= 0 && t+p.Durations[i] > p.Deadlines[i] {
			return false
		}
		end = max(end, t+p.Durations[i])
	}
	if p.Horizon > 0 && end > p.Horizon {
		return false
	}
	for _, l := range p.Lags {
		if s[l.To] < s[l.From]+l.Min {
			return false
		}
	}
	use := make([]int64, end+1)
	for r, c := range p.Capacities {
		clear(use)
		for i, t := range s {
			if p.Durations[i] > 0 {
				use[t] += int64(p.Demands[i][r])
				use[t+p.Durations[i]] -= int64(p.Demands[i][r])
			}
		}
		next := 0
		var now int64
		for t := range end {
			for p.Levels != nil && next < len(p.Levels[r]) && p.Levels[r][next].At <= t {
				c = p.Levels[r][next].Capacity
				next++
			}
			if now += use[t]; now > int64(c) {
				return false
			}
		}
	}
	return true
}

// makespan is the latest end.
func (p *Problem) makespan(s []int32) int32 {
	var end int32
	for i, t := range s {
		end = max(end, t+p.Durations[i])
	}
	return end
}

// explainInfeasible names a contradiction that can be seen without search: a demand above its capacity, or lags that
// form a cycle or chain longer than the time there is. Otherwise the conflict is empty.
func explainInfeasible(p *Problem, horizon int32) Conflict {
	for i, d := range p.Durations {
		for r, q := range p.Demands[i] {
			if d > 0 && q > p.peak(r, horizon) {
				return Conflict{Activities: []int32{int32(i)}, Resource: int32(r)}
			}
		}
	}
	n := int32(len(p.Durations))
	origin := n
	arcs := make([]arc, 0, len(p.Lags)+2*int(n))
	for k, l := range p.Lags {
		arcs = append(arcs, arc{l.From, l.To, l.Min, int32(k)})
	}
	for i, d := range p.Durations {
		var release int32
		if p.Releases != nil {
			release = p.Releases[i]
		}
		latest := horizon - d
		if p.Deadlines != nil && p.Deadlines[i] >= 0 {
			latest = min(latest, p.Deadlines[i]-d)
		}
		arcs = append(arcs, arc{origin, int32(i), release, -1}, arc{int32(i), origin, -latest, -1})
	}
	return cycleIn(arcs, int(n)+1, origin)
}

// arc says start(to) >= start(from) + min.
type arc struct {
	from, to, min, lag int32
}

// cycleIn finds a cycle of positive length with the algorithm of Bellman and Ford.
func cycleIn(arcs []arc, nodes int, origin int32) Conflict {
	c := Conflict{Resource: -1}
	at, by := make([]int64, nodes), make([]int32, nodes)
	for i := range by {
		by[i] = -1
	}
	last := int32(-1)
	for range nodes {
		last = -1
		for k, a := range arcs {
			if v := at[a.from] + int64(a.min); v > at[a.to] {
				at[a.to], by[a.to], last = v, int32(k), a.to
			}
		}
		if last < 0 {
			return c
		}
	}
	for range nodes { // backwards long enough to be on the cycle
		last = arcs[by[last]].from
	}
	for i := last; ; {
		a := arcs[by[i]]
		if a.lag >= 0 {
			c.Lags = append(c.Lags, a.lag)
		}
		if i != origin {
			c.Activities = append(c.Activities, i)
		}
		if i = a.from; i == last {
			return c
		}
	}
}

// peak is the largest capacity of a resource before the horizon.
func (p *Problem) peak(r int, horizon int32) int32 {
	c := p.Capacities[r]
	if p.Levels == nil {
		return c
	}
	for k, l := range p.Levels[r] {
		if k == 0 && l.At == 0 {
			c = 0
		}
		if l.At < horizon {
			c = max(c, l.Capacity)
		}
	}
	return c
}
