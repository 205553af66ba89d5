package risk

import (
	"slices"

	"rondeau.internal/pkg/sched"
)

// mostBack bounds the search for who had the resource.
const mostBack = 400

// blame calls f once for every activity on a chain that makes something late in the present realisation: from the late
// activity back over what each one waited for, to one that waited for nothing but its own earliest moment.
func (s *Simulator) blame(f func(a int32)) {
	s.mark++
	for i := range s.p.acts {
		a := &s.p.acts[i]
		if a.weight == 0 || s.end(int32(i)) <= a.due {
			continue
		}
		for n := s.p.nodeAt[2*i+1]; n >= 0 && s.seen[n] != s.mark; n = s.before(n) {
			s.seen[n] = s.mark
			if x := &s.p.nodes[n]; s.named[x.act] != s.mark {
				s.named[x.act] = s.mark
				f(x.act)
			}
		}
	}
}

// before is the node that node n waited for, or -1.
func (s *Simulator) before(n int32) int32 {
	by := s.run.by[n]
	switch {
	case s.p.nodes[n].kind == nodeFact || by == byNothing:
		return -1
	case by >= 0:
		return s.p.nodeAt[by]
	}
	res, at := byResource-by, s.run.at[n]
	users := s.p.uses[res]
	k, _ := slices.BinarySearch(users, n)
	for back := 0; k > 0 && back < mostBack; back++ {
		k--
		if s.leaves(users[k], at) {
			return users[k]
		}
	}
	return -1
}

// leaves reports whether some phase that node n decides is over at the moment at.
func (s *Simulator) leaves(n int32, at int64) bool {
	x := &s.p.nodes[n]
	if x.kind == nodeClean {
		return s.run.val[s.p.cleans[x.clean].slot] == at
	}
	e := &s.run.tm[x.act].e
	return at < sched.Forever && (e[0] == at || e[1] == at || e[2] == at)
}

// event is a change of what is stored.
type event struct {
	at, by int64
}

// exceeded reports whether a resource is overloaded at some moment of the present realisation.
func (s *Simulator) exceeded(res int) bool {
	s.ev = s.ev[:0]
	for i := range s.p.stores {
		st := &s.p.stores[i]
		if int(st.res) != res {
			continue
		}
		from, to := s.run.val[2*st.producer+1], st.until
		if st.consumer >= 0 {
			to = s.run.val[2*st.consumer]
		}
		if from < to {
			s.ev = append(s.ev, event{from, st.amount}, event{to, -st.amount})
		}
	}
	slices.SortFunc(s.ev, func(a, b event) int {
		if a.at != b.at {
			if a.at < b.at {
				return -1
			}
			return 1
		}
		return int(max(-1, min(1, a.by-b.by))) // what leaves makes room first
	})
	steps := s.run.books[res].steps
	stored, k := int64(0), 0
	for i := range steps {
		end := int64(sched.Forever)
		if i+1 < len(steps) {
			end = steps[i+1].at
		}
		for k < len(s.ev) && s.ev[k].at <= steps[i].at {
			stored += s.ev[k].by
			k++
		}
		if end <= s.p.from {
			continue
		}
		if steps[i].free < stored {
			return true
		}
		for k < len(s.ev) && s.ev[k].at < end {
			at := s.ev[k].at
			for k < len(s.ev) && s.ev[k].at == at {
				stored += s.ev[k].by
				k++
			}
			if steps[i].free < stored && (k == len(s.ev) || s.ev[k].at > s.p.from) {
				return true
			}
		}
	}
	return false
}
