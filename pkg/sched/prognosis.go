package sched

// prognosis says, for every activity, which promised activity its start delays, and by how much at least: the promised
// one cannot end before the start plus path. With it a plan under construction is known to be too late long before the
// promised activities themselves are placed.
type prognosis struct {
	promise []int32 // per activity, the due activity that it delays most urgently, or -1
	path    []int64
}

// promises computes the prognosis by longest paths backwards from each activity with a due time. Work is limited; where
// it ends, activities have no promise, which only weakens pruning.
func (p *problem) promises() *prognosis {
	n := len(p.acts)
	g := &prognosis{promise: make([]int32, n), path: make([]int64, n)}
	for a := range g.promise {
		g.promise[a] = -1
	}
	budget := 100 * (n + len(p.arcs))
	dist := make([]int64, n)
	for a := range dist {
		dist[a] = noPath
	}
	for due := range p.acts {
		c := &p.acts[due]
		if c.weight == 0 || c.fixed || budget <= 0 {
			continue
		}
		reached := []int32{int32(due)}
		queue := []int32{int32(due)}
		dist[due] = c.minDur
		for len(queue) > 0 && budget > 0 {
			v := queue[0]
			queue = queue[1:]
			for _, k := range p.acts[v].arcs {
				budget--
				r := &p.arcs[k]
				w, ok := p.startLag(r)
				if r.v != v || !ok || p.acts[r.u].fixed || dist[v]+w <= dist[r.u] || dist[v]+w <= 0 {
					continue
				}
				if dist[r.u] == noPath {
					reached = append(reached, r.u)
				}
				dist[r.u] = dist[v] + w
				queue = append(queue, r.u)
			}
		}
		for _, a := range reached {
			if d := g.promise[a]; d < 0 || dist[a]-c.due > g.path[a]-p.acts[d].due {
				g.promise[a], g.path[a] = int32(due), dist[a]
			}
			dist[a] = noPath
		}
		g.promise[due], g.path[due] = int32(due), c.minDur
	}
	return g
}

// expect raises the tardiness that is certain, now that a is placed, and notes in f what it was.
func (d *decoder) expect(f *frame, a int32) {
	f.due = d.foresee.promise[a]
	if f.due < 0 {
		return
	}
	c := &d.p.acts[f.due]
	end := d.s.pl[a].start + d.foresee.path[a]
	if f.due == a {
		end = d.s.pl[a].end
	}
	f.was = d.sure[f.due]
	if cost := c.weight * max(0, end-c.due); cost > f.was {
		f.tard += cost - f.was
		d.sure[f.due] = cost
	}
}
