package sched

import (
	"cmp"
	"slices"
)

// snapshot is the best plan of a rebuilder. Between two takings it learns what changes, so that a better plan costs as
// much to keep as it differs from the one before.
type snapshot struct {
	s       *state // places and stays only
	acts    []int32
	vessels []int32
	actIn   []bool // whether an activity, or a vessel, is listed
	vesIn   []bool
}

func newSnapshot(p *problem) snapshot {
	return snapshot{
		s:     &state{p: p, occ: make([][]occ, len(p.vessels)), pl: make([]placement, len(p.acts))},
		actIn: make([]bool, len(p.acts)), vesIn: make([]bool, len(p.vessels)),
	}
}

// whole takes everything.
func (k *snapshot) whole(s *state) {
	copy(k.s.pl, s.pl)
	for v := range s.occ {
		k.s.occ[v] = append(k.s.occ[v][:0], s.occ[v]...)
	}
	k.clear()
}

// note lists what the steps in the log of s have changed.
func (k *snapshot) note(s *state) {
	for i := range s.log {
		u := &s.log[i]
		switch u.kind {
		case undoPlace:
			if !k.actIn[u.act] {
				k.actIn[u.act] = true
				k.acts = append(k.acts, u.act)
			}
		case undoInsert, undoSet, undoRemove:
			if !k.vesIn[u.ix] {
				k.vesIn[u.ix] = true
				k.vessels = append(k.vessels, u.ix)
			}
		}
	}
}

// take copies what has changed.
func (k *snapshot) take(s *state) {
	for _, a := range k.acts {
		k.s.pl[a] = s.pl[a]
	}
	for _, v := range k.vessels {
		k.s.occ[v] = append(k.s.occ[v][:0], s.occ[v]...)
	}
	k.clear()
}

func (k *snapshot) clear() {
	for _, a := range k.acts {
		k.actIn[a] = false
	}
	for _, v := range k.vessels {
		k.vesIn[v] = false
	}
	k.acts, k.vessels = k.acts[:0], k.vessels[:0]
}

// solution copies the plan of a state; its genotype follows the plan.
func (s *state) solution(cost Objective) *solution {
	p := s.p
	n := len(p.acts)
	sol := &solution{cost: cost, start: make([]int64, n), end: make([]int64, n), mode: make([]int32, n)}
	g := p.plain(make([]float64, n))
	g.tight = len(p.stores) > 0
	seq := make([]int32, 0, n)
	slots := slotHint{}
	for a := range n {
		x := &s.pl[a]
		sol.start[a], sol.end[a], sol.mode[a] = x.start, x.end, x.mode
		g.mode[a] = x.mode
		if !p.acts[a].fixed {
			g.after[a] = x.start
			seq = append(seq, int32(a))
		}
	}
	for v := range s.occ {
		for i := range s.occ[v] {
			if o := &s.occ[v][i]; o.cto > o.cfrom {
				slots[[2]int32{o.act, int32(v)}] = o.cfrom
			}
		}
	}
	slices.SortStableFunc(seq, func(a, b int32) int { return cmp.Compare(sol.start[a], sol.start[b]) })
	g.seq, g.slots = seq, &slots
	g.order = p.topological(g.order, p.blockKeys(startKeys(sol)))
	sol.geno = g
	return sol
}
