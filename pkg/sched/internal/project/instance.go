package project

import "slices"

// never is a lag that constrains nothing.
const never = int32(-1 << 29)

// instance is a problem made ready for search under a horizon: start windows, lags that follow from others and from pairs
// of activities that exclude each other, and packed demands. Node n stands for the end of the project. An instance is
// only read once it is built.
type instance struct {
	p       *Problem
	n       int
	horizon int32
	dur     []int32
	packing packing
	dem     []uint64 // words per activity
	base    []uint64 // free capacity, [word*horizon + time]
	peak    []int32  // largest capacity of each resource over time
	lo, hi  []int32  // windows of the starts, and of the end of the project
	lags    []Lag    // none is implied by a chain of others that is stronger
	pairs   [][2]int32
	// dist[i*(n+2)+j] is the least start(j) - start(i) that is known; n is the end of the project, n+1 the moment 0. Nil
	// in problems of more than maxClosure activities.
	dist []int32
	// regular says that lags only push later and nothing has a deadline, so that every list of activities in an order
	// that respects the lags can be scheduled one by one.
	regular bool
	// overlapping says that some activity may start before one ends that a lag puts before it.
	overlapping bool
	succ, pred  links
	topo, rank  []int32 // an order that respects the lags, and the place of each activity in it
	tail        []int32 // least time from a start to the end of the project
	users       []int32 // activities that take anything
	mates       links   // activities that share a resource with each
}

// links are the regular lags by activity: links of i are at[off[i]:off[i+1]].
type links struct {
	off []int32
	to  []int32
	min []int32
}

// maxClosure bounds the problems for which the longest paths between all pairs are kept.
const maxClosure = 320

// freeHorizon is a span in which a shortest schedule fits if there is a schedule: in a schedule where nothing can start
// earlier, each start is tight against a release, a level, a lag or the end of another activity, and such a chain passes
// an activity once.
func freeHorizon(p *Problem) int64 {
	reach := make([]int64, len(p.Durations))
	for i, d := range p.Durations {
		reach[i] = int64(d)
	}
	for _, l := range p.Lags {
		reach[l.From] = max(reach[l.From], int64(l.Min))
	}
	var sum, latest int64
	for i := range reach {
		sum += reach[i]
		if p.Releases != nil {
			latest = max(latest, int64(p.Releases[i]))
		}
	}
	for _, levels := range p.Levels {
		if k := len(levels); k > 0 {
			latest = max(latest, int64(levels[k-1].At))
		}
	}
	return latest + sum
}

// newInstance prepares the problem for schedules that end by horizon. It returns nil if there are none.
func newInstance(p *Problem, horizon int32) *instance {
	n := len(p.Durations)
	in := &instance{p: p, n: n, horizon: horizon, dur: p.Durations}
	in.windows()
	in.profile()
	for i := range n {
		for r, q := range p.Demands[i] {
			if q > in.peak[r] && in.dur[i] > 0 {
				return nil
			}
		}
	}
	in.meet()
	in.lags = slices.Clone(p.Lags)
	if n <= maxClosure {
		if !in.close() {
			return nil
		}
	} else if !in.pushWindows() {
		return nil
	}
	in.order()
	return in
}

// windows sets what releases, deadlines and the horizon say.
func (in *instance) windows() {
	n, p := in.n, in.p
	in.lo, in.hi = make([]int32, n+1), make([]int32, n+1)
	for i := range n {
		if p.Releases != nil {
			in.lo[i] = p.Releases[i]
		}
		in.hi[i] = in.horizon - in.dur[i]
		if p.Deadlines != nil && p.Deadlines[i] >= 0 {
			in.hi[i] = min(in.hi[i], p.Deadlines[i]-in.dur[i])
		}
	}
	in.hi[n] = in.horizon
}

// profile packs demands and capacities.
func (in *instance) profile() {
	p := in.p
	var largest int32
	in.peak = make([]int32, len(p.Capacities))
	for r := range in.peak {
		in.peak[r] = p.peak(r, in.horizon)
	}
	for _, c := range in.peak {
		largest = max(largest, c)
	}
	for i := range in.n {
		for _, q := range p.Demands[i] {
			largest = max(largest, q)
		}
	}
	in.packing = newPacking(len(in.peak), largest)
	w := in.packing.words
	in.dem = make([]uint64, in.n*w)
	for i := range in.n {
		if in.dur[i] > 0 {
			in.packing.pack(in.dem[i*w:], p.Demands[i])
		}
	}
	in.base = make([]uint64, w*int(in.horizon))
	now := slices.Clone(p.Capacities)
	next := make([]int, len(now))
	word := make([]uint64, w)
	for t := range in.horizon {
		changed := t == 0
		for r := range now {
			if p.Levels != nil && next[r] < len(p.Levels[r]) && p.Levels[r][next[r]].At <= t {
				now[r] = p.Levels[r][next[r]].Capacity
				next[r]++
				changed = true
			}
		}
		if changed {
			in.packing.pack(word, now)
		}
		for k := range w {
			in.base[k*int(in.horizon)+int(t)] = word[k]
		}
	}
}

// meet lists which activities share a resource.
func (in *instance) meet() {
	in.mates.off = make([]int32, in.n+1)
	for i := range in.n {
		if slices.Max(append(in.p.Demands[i][:len(in.peak):len(in.peak)], 0)) > 0 && in.dur[i] > 0 {
			in.users = append(in.users, int32(i))
		}
	}
	for i := range int32(in.n) {
		for _, j := range in.users {
			if i == j || in.dur[i] == 0 {
				continue
			}
			for r := range in.peak {
				if in.p.Demands[i][r] > 0 && in.p.Demands[j][r] > 0 {
					in.mates.to = append(in.mates.to, j)
					break
				}
			}
		}
		in.mates.off[i+1] = int32(len(in.mates.to))
	}
}

// capacity of resource r at time t.
func (in *instance) capacity(r int, t int32) int32 {
	k := r / in.packing.per
	return int32(in.base[k*int(in.horizon)+int(t)] >> (uint(r%in.packing.per) * in.packing.bits) & (1<<(in.packing.bits-1) - 1))
}

// excluded reports whether two activities can never run at the same time.
func (in *instance) excluded(i, j int) bool {
	if in.dur[i] == 0 || in.dur[j] == 0 {
		return false
	}
	for r, c := range in.peak {
		if in.p.Demands[i][r]+in.p.Demands[j][r] > c {
			return true
		}
	}
	return false
}

// pushWindows narrows the windows along the lags, without the distances between all pairs.
func (in *instance) pushWindows() bool {
	for pass := 0; ; pass++ {
		changed := false
		for i := range in.n {
			if e := in.lo[i] + in.dur[i]; e > in.lo[in.n] {
				in.lo[in.n] = e
			}
			if in.lo[i] > in.hi[i] {
				return false
			}
		}
		for _, l := range in.lags {
			if v := in.lo[l.From] + l.Min; v > in.lo[l.To] {
				in.lo[l.To], changed = v, true
			}
			if v := in.hi[l.To] - l.Min; v < in.hi[l.From] {
				in.hi[l.From], changed = v, true
			}
		}
		if !changed {
			break
		}
	}
	for i := range in.n {
		for j := range i {
			if in.excluded(i, j) && len(in.pairs) < maxPairs {
				in.pairs = append(in.pairs, [2]int32{int32(i), int32(j)})
			}
		}
	}
	return true
}

// maxPairs bounds the pairs for which the exact engine keeps an order of its own.
const maxPairs = 20000

// order finds out whether the instance is regular and lists the activities in an order that respects the lags.
func (in *instance) order() {
	n := in.n
	in.regular = true
	for _, l := range in.lags {
		in.regular = in.regular && l.Min >= 0 && l.From != l.To
	}
	if in.p.Deadlines != nil {
		for _, d := range in.p.Deadlines {
			in.regular = in.regular && d < 0
		}
	}
	in.tail = make([]int32, n)
	copy(in.tail, in.dur)
	for _, l := range in.lags {
		in.overlapping = in.overlapping || l.Min < in.dur[l.From]
	}
	if !in.regular {
		if in.dist != nil {
			for i := range n {
				in.tail[i] = max(in.tail[i], in.dist[i*(n+2)+n])
			}
		}
		return
	}
	in.succ = newLinks(n, in.lags, false)
	in.pred = newLinks(n, in.lags, true)
	wait := make([]int32, n)
	for i := range n {
		wait[i] = in.pred.off[i+1] - in.pred.off[i]
		if wait[i] == 0 {
			in.topo = append(in.topo, int32(i))
		}
	}
	for k := 0; k < len(in.topo); k++ {
		i := in.topo[k]
		for e := in.succ.off[i]; e < in.succ.off[i+1]; e++ {
			j := in.succ.to[e]
			if wait[j]--; wait[j] == 0 {
				in.topo = append(in.topo, j)
			}
		}
	}
	if len(in.topo) < n {
		in.regular = false
		return
	}
	in.rank = make([]int32, n)
	for k, i := range in.topo {
		in.rank[i] = int32(k)
	}
	for _, i := range slices.Backward(in.topo) {
		for e := in.succ.off[i]; e < in.succ.off[i+1]; e++ {
			in.tail[i] = max(in.tail[i], in.succ.min[e]+in.tail[in.succ.to[e]])
		}
	}
}

func newLinks(n int, lags []Lag, backward bool) links {
	l := links{off: make([]int32, n+1), to: make([]int32, len(lags)), min: make([]int32, len(lags))}
	ends := func(x Lag) (int32, int32) {
		if backward {
			return x.To, x.From
		}
		return x.From, x.To
	}
	for _, x := range lags {
		a, _ := ends(x)
		l.off[a+1]++
	}
	for i := range n {
		l.off[i+1] += l.off[i]
	}
	at := slices.Clone(l.off[:n])
	for _, x := range lags {
		a, b := ends(x)
		l.to[at[a]], l.min[at[a]] = b, x.Min
		at[a]++
	}
	return l
}
