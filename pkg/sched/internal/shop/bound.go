package shop

import (
	"cmp"
	"slices"
)

// boundWork limits the effort put into bounds, in elementary steps.
const boundWork = 30_000_000

// lowerBound returns a proved lower bound of the objective.
func lowerBound(c *inst) int64 {
	if !c.tardy {
		return int64(makespanBound(c))
	}
	var sum int64
	for j := range c.jobs {
		if f, l := c.first[j], c.first[j+1]; f < l {
			sum += c.weight[j] * max(0, int64(c.rel[l-1]+c.minDur[l-1])-c.due[j])
		}
	}
	return sum
}

// makespanBound is the longest job, or the work that some set of resources has to do between the shortest heads and the
// shortest tails of the operations that need it. For a single resource that equals the preemptive bound of Jackson
// ("An extension of Johnson's results on job lot scheduling", 1956; from memory).
func makespanBound(c *inst) int32 {
	best := int32(0)
	tail := make([]int32, c.n) // least work after the operation
	for v := c.n - 1; v >= 0; v-- {
		if v+1 < c.n && c.job[v+1] == c.job[v] {
			tail[v] = tail[v+1] + c.minDur[v+1]
		}
		best = max(best, c.rel[v]+c.minDur[v]+tail[v])
	}
	work := 0
	for k := range c.slots {
		sets := eligible(c, k)
		for _, set := range distinct(sets) {
			var ops []int32
			for v, s := range sets {
				if s != nil && c.minDur[v] > 0 && subset(s, set) {
					ops = append(ops, int32(v))
				}
			}
			if work += len(ops) * len(ops); work > boundWork {
				return best
			}
			best = max(best, setBound(c, ops, tail, len(set)))
		}
	}
	return best
}

// eligible lists per operation the resources of slot k that it may take, nil if some mode takes none.
func eligible(c *inst, k int) [][]int32 {
	out := make([][]int32, c.n)
	for v := range c.n {
		for m := c.modeFrom[v]; m < c.modeFrom[v+1]; m++ {
			r := c.modeRes[m][k]
			if r < 0 {
				out[v] = nil
				break
			}
			out[v] = append(out[v], r)
		}
		slices.Sort(out[v])
		out[v] = slices.Compact(out[v])
		if len(out[v]) == 0 {
			out[v] = nil
		}
	}
	return out
}

// distinct returns the different sets, and for every resource what the sets with it have together.
func distinct(sets [][]int32) [][]int32 {
	var all []int32
	var out [][]int32
	for _, s := range sets {
		if s != nil {
			out = append(out, s)
			all = append(all, s...)
		}
	}
	slices.Sort(all)
	if all = slices.Compact(all); len(all) > 0 {
		out = append(out, all)
	}
	slices.SortFunc(out, func(a, b []int32) int { return cmp.Or(cmp.Compare(len(a), len(b)), slices.Compare(a, b)) })
	return slices.CompactFunc(out, slices.Equal[[]int32])
}

func subset(a, b []int32) bool {
	i := 0
	for _, x := range a {
		for i < len(b) && b[i] < x {
			i++
		}
		if i == len(b) || b[i] != x {
			return false
		}
	}
	return true
}

// setBound bounds the end of ops, which m resources have to share: over all operations with a head and a tail above
// some limits, (m least heads + work + m least tails) / m.
func setBound(c *inst, ops, tail []int32, m int) int32 {
	if len(ops) <= m {
		return 0
	}
	byHead := slices.Clone(ops)
	slices.SortFunc(byHead, func(a, b int32) int { return cmp.Or(cmp.Compare(c.rel[b], c.rel[a]), cmp.Compare(a, b)) })
	byTail := slices.Clone(ops)
	slices.SortFunc(byTail, func(a, b int32) int { return cmp.Or(cmp.Compare(tail[b], tail[a]), cmp.Compare(a, b)) })
	best := int64(0)
	heads := make([]int32, 0, m)
	for i, u := range byHead {
		if i+1 < len(byHead) && c.rel[byHead[i+1]] == c.rel[u] {
			continue
		}
		limit := c.rel[u]
		var work, tails int64
		n := 0
		heads = heads[:0]
		var low [64]int32 // ring of the last m tails
		ring := low[:0]
		if m > len(low) {
			ring = make([]int32, 0, m)
		}
		at := 0
		var headSum int64
		for _, v := range byTail {
			if c.rel[v] < limit {
				continue
			}
			n++
			work += int64(c.minDur[v])
			if len(ring) < m {
				ring = append(ring, tail[v])
			} else {
				tails -= int64(ring[at])
				ring[at] = tail[v]
				at = (at + 1) % m
			}
			tails += int64(tail[v])
			headSum = leastSum(&heads, m, c.rel[v], headSum)
			if n >= m {
				best = max(best, (headSum+work+tails+int64(m)-1)/int64(m))
			}
		}
	}
	return int32(best)
}

// leastSum keeps the m least values in sorted order and returns their sum.
func leastSum(least *[]int32, m int, x int32, sum int64) int64 {
	l := *least
	if len(l) == m {
		if x >= l[m-1] {
			return sum
		}
		sum -= int64(l[m-1])
		l = l[:m-1]
	}
	i := len(l)
	l = append(l, x)
	for i > 0 && l[i-1] > x {
		l[i] = l[i-1]
		i--
	}
	l[i] = x
	*least = l
	return sum + int64(x)
}
