package project

import "slices"

// close computes the longest paths between all pairs of nodes, orders pairs of activities that cannot run together and
// of which one order is impossible, and keeps the lags that matter. It returns false if there is a contradiction.
func (in *instance) close() bool {
	n, m := in.n, in.n+2
	end, origin := n, n+1
	d := make([]int32, m*m)
	for i := range d {
		d[i] = never
	}
	for i := range m {
		d[i*m+i] = 0
	}
	for i := range n {
		d[origin*m+i] = in.lo[i]
		d[i*m+origin] = -in.hi[i]
		d[i*m+end] = in.dur[i]
	}
	d[end*m+origin] = -in.horizon
	d[origin*m+end] = 0
	for _, l := range in.lags {
		k := int(l.From)*m + int(l.To)
		d[k] = max(d[k], l.Min)
	}
	in.dist = d
	if !longestPaths(d, m) {
		return false
	}
	derived, ok := in.orderPairs()
	if !ok {
		return false
	}
	for i := range n {
		in.lo[i] = d[origin*m+i]
		in.hi[i] = -d[i*m+origin]
	}
	in.lo[end] = d[origin*m+end]
	in.lags = in.essential(append(in.lags, derived...))
	return true
}

// longestPaths is the algorithm of Floyd and Warshall. It returns false if there is a cycle of positive length.
func longestPaths(d []int32, m int) bool {
	for k := range m {
		to := d[k*m : k*m+m]
		for i := range m {
			a := d[i*m+k]
			if a == never {
				continue
			}
			row := d[i*m : i*m+m]
			for j, b := range to {
				if b != never && a+b > row[j] {
					row[j] = a + b
				}
			}
		}
		if d[k*m+k] > 0 {
			return false
		}
	}
	for i := range m {
		if d[i*m+i] > 0 {
			return false
		}
	}
	return true
}

// addPath raises the distance from i to j to w and updates all others.
func addPath(d []int32, m, i, j int, w int32) bool {
	if w <= d[i*m+j] {
		return true
	}
	if b := d[j*m+i]; b != never && b+w > 0 {
		return false
	}
	to := d[j*m : j*m+m]
	for a := range m {
		x := d[a*m+i]
		if x == never {
			continue
		}
		x += w
		row := d[a*m : a*m+m]
		if x <= row[j] {
			continue
		}
		for b, y := range to {
			if y != never && x+y > row[b] {
				row[b] = x + y
			}
		}
	}
	return true
}

// orderPairs orders excluding pairs until nothing follows any more; pairs that stay open go to in.pairs.
func (in *instance) orderPairs() (derived []Lag, ok bool) {
	n, m := in.n, in.n+2
	d := in.dist
	var open [][2]int32
	for i := range n {
		for j := range i {
			if in.excluded(i, j) {
				open = append(open, [2]int32{int32(i), int32(j)})
			}
		}
	}
	for {
		changed, kept := false, open[:0]
		for _, pair := range open {
			i, j := int(pair[0]), int(pair[1])
			if d[i*m+j] >= in.dur[i] || d[j*m+i] >= in.dur[j] {
				continue
			}
			first, second := d[i*m+j] > -in.dur[j], d[j*m+i] > -in.dur[i] // i, j must be first
			switch {
			case first && second:
				return nil, false
			case second:
				i, j = j, i
			case !first:
				kept = append(kept, pair)
				continue
			}
			if !addPath(d, m, i, j, in.dur[i]) {
				return nil, false
			}
			derived = append(derived, Lag{From: int32(i), To: int32(j), Min: in.dur[i]})
			changed = true
		}
		open = kept
		if !changed {
			break
		}
	}
	in.pairs = slices.Clip(open)
	if len(in.pairs) > maxPairs {
		in.pairs = in.pairs[:maxPairs]
	}
	return derived, true
}

// essential drops lags that a stronger chain implies and those between the same two activities but the strongest.
func (in *instance) essential(lags []Lag) []Lag {
	m := in.n + 2
	var out []Lag
	seen := make(map[[2]int32]bool, len(lags))
	for _, l := range lags {
		key := [2]int32{l.From, l.To}
		if l.From == l.To || l.Min < in.dist[int(l.From)*m+int(l.To)] || seen[key] {
			continue
		}
		seen[key] = true
		out = append(out, l)
	}
	return out
}
