package sched

import "slices"

// warm makes a genotype that follows the warm plan, or else the previous places of the activities; nil if neither says
// where at least one activity is. Activities keep their order, mode, earliest start and cleanings, so that a plan that
// is still possible is found again in one pass, and one that is not is changed no earlier than where it breaks.
func (s *searcher) warm() (*genotype, []int64) {
	n := len(s.p.acts)
	key, at := make([]float64, n), make([]int64, n)
	for a := range at {
		at[a] = noPath
	}
	g := s.p.plain(key)
	some := false
	note := func(a int32, start int64, mode string) {
		g.mode[a] = -1
		for k := range s.p.in.Activities[a].Modes {
			if s.p.in.Activities[a].Modes[k].Name == mode {
				g.mode[a] = int32(k)
			}
		}
		key[a], at[a], some = float64(start), start, true
		if pr := s.p.in.Activities[a].Previous; pr != nil && pr.MoveWeight > 0 && s.p.in.Weights.Change > 0 {
			g.after[a] = pr.Start
		}
	}
	for a := range n {
		if pr := s.p.in.Activities[a].Previous; pr != nil {
			note(int32(a), pr.Start, pr.Mode)
		}
	}
	if s.opt.Warm != nil {
		slots := slotHint{}
		acts := nameIndex(s.p.in.Activities, func(a *Activity) string { return a.Name })
		vessels := nameIndex(s.p.in.Vessels, func(v *Vessel) string { return v.Name })
		for i := range s.opt.Warm.Assignments {
			as := &s.opt.Warm.Assignments[i]
			a, ok := acts[as.Activity]
			if !ok {
				continue
			}
			note(a, as.Start, as.Mode)
			for _, c := range as.Changes {
				if v, ok := vessels[c.Vessel]; ok {
					slots[[2]int32{a, v}] = c.Start
				}
			}
		}
		g.slots = &slots
		g.tight = s.p.passesOn(s.opt.Warm)
	}
	if !some {
		return nil, nil
	}
	for a := range key {
		if at[a] == noPath {
			key[a] = float64(s.keys.latest[a])
		}
	}
	g.order = s.p.topological(g.order, s.p.blockKeys(key))
	g.seq = g.sequence()
	slices.SortStableFunc(g.seq, func(a, b int32) int {
		switch {
		case key[a] < key[b]:
			return -1
		case key[a] > key[b]:
			return 1
		}
		return 0
	})
	return g, at
}

// passesOn reports whether a plan fills some store at the very moment at which it is emptied: the decoder only finds such
// a place if it trusts that this happens.
func (p *problem) passesOn(plan *Plan) bool {
	for i := range p.in.Stores {
		st := &p.in.Stores[i]
		if st.Consumer == "" || st.Amount == 0 {
			continue
		}
		if from, to := plan.of(st.Producer), plan.of(st.Consumer); from != nil && to != nil && from.End == to.Start {
			return true
		}
	}
	return false
}

// startKeys are the present starts.
func startKeys(cur *solution) []float64 {
	out := make([]float64, len(cur.start))
	for a := range out {
		out[a] = float64(cur.start[a])
	}
	return out
}

// nearNeighbour varies a genotype that follows a plan: one mode, one wait, or the place of one activity in the order.
func (s *searcher) nearNeighbour(cur *solution, g *genotype) *genotype {
	changed := false
	switch s.r.n(4) {
	case 0:
		changed = s.moveMode(cur, g)
	case 1:
		changed = s.moveDelay(cur, g)
	case 2: // let it begin as early as it can
		a := s.pick(cur)
		changed = g.after[a] > noPath
		g.after[a] = noPath
	default:
		changed = s.moveInSequence(g)
	}
	if !changed {
		return nil
	}
	return g
}

// moveInSequence moves one activity to another place between those that must come before and after it.
func (s *searcher) moveInSequence(g *genotype) bool {
	n := len(g.seq)
	if n < 2 {
		return false
	}
	i := s.r.n(n)
	a := g.seq[i]
	before, after := map[int32]bool{}, map[int32]bool{}
	for _, k := range s.p.acts[a].arcs {
		r := &s.p.arcs[k]
		if w, ok := s.p.startLag(r); !ok || w <= 0 {
			continue
		}
		if r.v == a {
			before[r.u] = true
		} else {
			after[r.v] = true
		}
	}
	lo, hi := i, i
	for lo > 0 && i-lo < 60 && !before[g.seq[lo-1]] {
		lo--
	}
	for hi < n-1 && hi-i < 60 && !after[g.seq[hi+1]] {
		hi++
	}
	to := lo + s.r.n(hi-lo+1)
	if to == i {
		return false
	}
	g.seq = slices.Insert(slices.Delete(g.seq, i, i+1), to, a)
	return true
}
