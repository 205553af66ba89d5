package sched

// critical is what keeps the cost of a plan where it is: chains of activities without room between them that end in
// late activities, or in the last one.
type critical struct {
	acts  []int32
	waits []waitPair
}

// waitPair says that act could begin earlier if behind, which is in the way on a vessel or resource, were not.
type waitPair struct {
	act, behind int32
}

// chain finds the critical chains of a plan once.
func (s *searcher) chain(cur *solution) *critical {
	if cur.chain != nil {
		return cur.chain
	}
	c := &critical{}
	cur.chain = c
	p := s.p
	byEnd := map[int64][]int32{}
	for _, a := range sortedByStart(cur) {
		byEnd[cur.end[a]] = append(byEnd[cur.end[a]], a)
	}
	seen := make([]bool, len(p.acts))
	var todo []int32
	for a := range p.acts {
		late := p.acts[a].weight > 0 && cur.end[a] > p.acts[a].due
		if late || cur.cost.Tardiness == 0 && cur.end[a]-p.from == cur.cost.Makespan {
			todo = append(todo, int32(a))
			seen[a] = true
		}
	}
	visit := func(a int32) {
		if !seen[a] {
			seen[a] = true
			todo = append(todo, a)
		}
	}
	rivals := s.rivals(cur)
	for len(todo) > 0 {
		a := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		if p.acts[a].fixed {
			continue
		}
		c.acts = append(c.acts, a)
		for _, k := range p.acts[a].arcs {
			if r := &p.arcs[k]; r.v == a && s.tight(cur, r) {
				visit(r.u)
			}
		}
		for _, b := range rivals[a] {
			c.waits = append(c.waits, waitPair{act: a, behind: b})
			visit(b)
		}
		for _, b := range byEnd[cur.start[a]] {
			if b != a && s.share(cur, a, b) {
				c.waits = append(c.waits, waitPair{act: a, behind: b})
				visit(b)
			}
		}
	}
	return c
}

// tight reports whether a lag leaves no room in the plan.
func (s *searcher) tight(cur *solution, r *arc) bool {
	u, v := cur.start[r.u], cur.start[r.v]
	if r.uEnd {
		u = cur.end[r.u]
	}
	if r.vEnd {
		v = cur.end[r.v]
	}
	return v == u+r.w
}

// rivals gives, per activity, those that stand directly before it in one of its vessels without room between.
func (s *searcher) rivals(cur *solution) [][]int32 {
	p := s.p
	out := make([][]int32, len(p.acts))
	last := make([]int32, len(p.vessels))
	for v := range last {
		last[v] = -1
	}
	for _, a := range sortedByStart(cur) {
		for _, u := range p.acts[a].modes[cur.mode[a]].uses {
			b := last[u.vessel]
			last[u.vessel] = a
			if b < 0 || p.acts[b].until == a {
				continue
			}
			rel := cur.end[b]
			if h := p.acts[b].until; h >= 0 {
				rel = max(rel, cur.start[h])
			}
			if ve := &p.vessels[u.vessel]; ve.setup != nil {
				ch := ve.setup.in.Change[ve.states[b]][ve.states[a]]
				rel += ch.Duration
				if ch.Attended {
					rel = ve.setup.cal.fits(rel-ch.Duration, ch.Duration) + ch.Duration
				}
			}
			if rel >= cur.start[a] {
				out[a] = append(out[a], b)
			}
		}
	}
	return out
}

// share reports whether two activities take the same cumulative resource.
func (s *searcher) share(cur *solution, a, b int32) bool {
	da, db := s.p.acts[a].modes[cur.mode[a]].dems, s.p.acts[b].modes[cur.mode[b]].dems
	for i := range da {
		for j := range db {
			if da[i].res == db[j].res {
				return true
			}
		}
	}
	return false
}
