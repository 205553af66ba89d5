package sched

import "slices"

// mirror returns the instance with time reversed, and whether that is meaningful: it is for problems whose constraints
// look the same backwards (no calendars, holds, stores, cleaning, changing capacities) and that want a small makespan.
func mirror(in *Instance) (Instance, bool) {
	w := in.Weights
	if w.Makespan == 0 || len(in.Calendars)+len(in.Holds)+len(in.Stores)+len(in.Setups) > 0 {
		return Instance{}, false
	}
	out := Instance{Name: in.Name, Horizon: in.Horizon, Vessels: in.Vessels, Links: in.Links, Weights: Weights{Makespan: 1}}
	turn := func(t int64) int64 { return in.Horizon.Start + in.Horizon.End - t }
	for _, v := range in.Vessels {
		if len(v.Down) > 0 {
			return Instance{}, false
		}
	}
	for _, r := range in.Resources {
		if len(r.Levels) > 0 {
			return Instance{}, false
		}
		out.Resources = append(out.Resources, r)
	}
	for _, a := range in.Activities {
		b, ok := mirrorActivity(&a, in.Horizon, turn)
		if !ok {
			return Instance{}, false
		}
		out.Activities = append(out.Activities, b)
	}
	for _, l := range in.Lags {
		m := Lag{From: l.To, To: l.From, FromEdge: EdgeEnd, ToEdge: EdgeStart, Min: l.Min, Max: l.Max, HasMax: l.HasMax}
		if l.ToEdge == EdgeEnd {
			m.FromEdge = EdgeStart
		}
		if l.FromEdge != EdgeStart {
			m.ToEdge = EdgeStart
		} else {
			m.ToEdge = EdgeEnd
		}
		out.Lags = append(out.Lags, m)
	}
	return out, true
}

func mirrorActivity(a *Activity, h Span, turn func(int64) int64) (Activity, bool) {
	if a.DueWeight > 0 || a.Previous != nil || a.Fixed != nil && a.Fixed.Started {
		return Activity{}, false
	}
	b := Activity{Name: a.Name}
	if a.Deadline > 0 {
		b.Release = max(0, turn(a.Deadline))
	}
	if a.Release > h.Start {
		b.Deadline = turn(a.Release)
	}
	for _, m := range a.Modes {
		x := Mode{Name: m.Name, Uses: m.Uses, Start: m.End, Middle: m.Middle, End: m.Start, Energy: m.Energy}
		for _, n := range m.Needs {
			d := n.During & InMiddle
			if n.During&InStart != 0 {
				d |= InEnd
			}
			if n.During&InEnd != 0 {
				d |= InStart
			}
			n.During = d
			x.Needs = append(x.Needs, n)
		}
		b.Modes = append(b.Modes, x)
		if f := a.Fixed; f != nil && f.Mode == m.Name {
			b.Fixed = &Fixed{Mode: m.Name, Start: turn(f.Start + m.Start + m.Middle + m.End)}
		}
	}
	return b, b.Fixed == nil || b.Fixed.Start >= 0
}

// prepareMirror sets up the decoder for the reversed problem where there is one.
func (s *searcher) prepareMirror() {
	rev, ok := mirror(s.p.in)
	if !ok || rev.Validate() != nil {
		return
	}
	p := compile(&rev)
	w, conflicts := p.impossible()
	if len(conflicts) > 0 {
		return
	}
	p.lowerBound(w, p.urgency())
	d := newDecoder(p)
	if _, ok := d.placeFixed(); ok {
		s.mirror = d
	}
}

// justify shifts a plan to the right and then to the left again, which closes gaps (double justification: Valls,
// Ballestin and Quintanilla, European Journal of Operational Research 2005, the idea from memory). It costs two
// iterations and returns nil if one of the passes finds no plan.
func (s *searcher) justify(sol *solution) *solution {
	key := make([]float64, len(sol.end))
	for a, e := range sol.end {
		key[a] = -float64(e)
	}
	s.used++
	if out, _ := s.mirror.decode(sortedGenotype(s.mirror.p, key, sol.mode), nil); out != decoded {
		return nil
	}
	for a := range key {
		key[a] = -float64(s.mirror.s.pl[a].end)
	}
	better, _ := s.try(sortedGenotype(s.p, key, sol.mode), nil)
	return better
}

// sortedGenotype orders blocks and their members by key and fixes the modes.
func sortedGenotype(p *problem, key []float64, mode []int32) *genotype {
	g := p.plain(key)
	for _, b := range g.order {
		if len(g.inner[b]) > 1 {
			in := slices.Clone(g.inner[b])
			slices.SortStableFunc(in, func(x, y int32) int {
				switch {
				case key[x] < key[y]:
					return -1
				case key[x] > key[y]:
					return 1
				}
				return 0
			})
			g.inner[b] = in
		}
	}
	for a := range p.acts {
		if len(p.acts[a].modes) > 1 {
			g.mode[a] = mode[a]
		}
	}
	return g
}
