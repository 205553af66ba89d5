package shop

import (
	"cmp"
	"fmt"
	"slices"
)

// warmPlan turns a given plan into modes and an order. It is nil if the order cannot be followed with blocking.
func (c *inst) warmPlan(s *Solution) (*plan, error) {
	if len(s.Starts) != c.n || len(s.Modes) != c.n {
		return nil, fmt.Errorf("the plan to begin with has %d starts and %d modes for %d operations", len(s.Starts), len(s.Modes), c.n)
	}
	p := &plan{}
	for v := range c.n {
		m := int32(-1)
		for k := c.modeFrom[v]; k < c.modeFrom[v+1]; k++ {
			if c.modeGiven[k] == s.Modes[v] {
				m = k
				break
			}
		}
		if m < 0 {
			return nil, fmt.Errorf("the plan to begin with has operation %d in mode %d, which does not exist", v, s.Modes[v])
		}
		if v > 0 && c.job[v] == c.job[v-1] && s.Starts[v] < s.Starts[v-1] {
			return nil, fmt.Errorf("the plan to begin with has operation %d start before operation %d of the same job", v, v-1)
		}
		p.mode = append(p.mode, m)
		p.ord = append(p.ord, int32(v))
	}
	slices.SortStableFunc(p.ord, func(a, b int32) int { return cmp.Compare(s.Starts[a], s.Starts[b]) })
	if c.blocking {
		b := newBlockMoves(c, 0)
		b.g.build(p.mode, p.ord)
		if !b.schedule(never) {
			return nil, nil
		}
	}
	return p, nil
}
