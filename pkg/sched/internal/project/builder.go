package project

import "slices"

// builder makes schedules of a regular instance one activity after the other, each as early (or as late) as the
// resources allow: the serial generation scheme.
type builder struct {
	in    *instance
	free  []uint64
	count []int32 // for sorting
	keep  []int32 // starts to return to
	ticks int64
}

func newBuilder(in *instance) *builder {
	return &builder{in: in, free: make([]uint64, len(in.base))}
}

// fits reports whether activity j can run at time t.
func (b *builder) fits(j, t int32) bool {
	in := b.in
	for w := range in.packing.words {
		if in.packing.short(b.free[w*int(in.horizon)+int(t)], in.dem[int(j)*in.packing.words+w]) {
			return false
		}
	}
	return true
}

// earliest returns the first start from t on, or -1.
func (b *builder) earliest(j, t int32) int32 {
	in := b.in
	d := in.dur[j]
	if d == 0 {
		return t
	}
	run := d
	if in.packing.words == 1 {
		g, q := in.packing.guard, in.dem[j]
		for k := t; k < in.horizon; k++ {
			if ((b.free[k]|g)-q)&g != g {
				run = d
			} else if run--; run == 0 {
				b.ticks += int64(k-t) >> 3
				return k - d + 1
			}
		}
		return -1
	}
	for k := t; k < in.horizon; k++ {
		if !b.fits(j, k) {
			run = d
		} else if run--; run == 0 {
			b.ticks += int64(k-t) >> 2
			return k - d + 1
		}
	}
	return -1
}

// latest returns the last start up to t, or -1.
func (b *builder) latest(j, t int32) int32 {
	in := b.in
	d := in.dur[j]
	if d == 0 {
		return t
	}
	run := d
	if in.packing.words == 1 {
		g, q := in.packing.guard, in.dem[j]
		for k := t + d - 1; k >= 0; k-- {
			if ((b.free[k]|g)-q)&g != g {
				run = d
			} else if run--; run == 0 {
				b.ticks += int64(t-k) >> 3
				return k
			}
		}
		return -1
	}
	for k := t + d - 1; k >= 0; k-- {
		if !b.fits(j, k) {
			run = d
		} else if run--; run == 0 {
			b.ticks += int64(t-k) >> 2
			return k
		}
	}
	return -1
}

func (b *builder) enter(j, t int32) {
	in := b.in
	for w := range in.packing.words {
		q := in.dem[int(j)*in.packing.words+w]
		cells := b.free[w*int(in.horizon)+int(t):][:in.dur[j]]
		for k := range cells {
			cells[k] -= q
		}
	}
}

// forward schedules the activities of a list, which must respect the lags, as early as possible. It returns the makespan,
// or -1 as soon as that is certain to exceed limit.
func (b *builder) forward(list, starts []int32, limit int32) int32 {
	in := b.in
	copy(b.free, in.base)
	b.ticks += int64(in.n) >> 1
	var end int32
	for _, j := range list {
		t := in.lo[j]
		for e := in.pred.off[j]; e < in.pred.off[j+1]; e++ {
			t = max(t, starts[in.pred.to[e]]+in.pred.min[e])
		}
		t = b.earliest(j, t)
		if t < 0 || t > in.hi[j] || t+in.tail[j] > limit {
			return -1
		}
		starts[j] = t
		b.enter(j, t)
		end = max(end, t+in.dur[j])
	}
	return end
}

// backward schedules the activities of a list, which must respect the lags in reverse, as late as possible before end.
func (b *builder) backward(list, starts []int32, end int32) bool {
	in := b.in
	copy(b.free, in.base)
	b.ticks += int64(in.n) >> 1
	for _, j := range list {
		t := end - in.dur[j]
		for e := in.succ.off[j]; e < in.succ.off[j+1]; e++ {
			t = min(t, starts[in.succ.to[e]]-in.succ.min[e])
		}
		if t = b.latest(j, t); t < in.lo[j] {
			return false
		}
		starts[j] = t
		b.enter(j, t)
	}
	return true
}

// sparse is how many units of time per activity make sorting by comparison faster than by counting.
const sparse = 16

// byStart sorts activities by start, those of the same start in an order that respects the lags.
func (b *builder) byStart(list, starts []int32) {
	in := b.in
	if int(in.horizon) > sparse*in.n {
		copy(list, in.topo)
		slices.SortStableFunc(list, func(i, j int32) int { return int(starts[i] - starts[j]) })
		return
	}
	b.count = resize(b.count, int(in.horizon)+2)
	for _, s := range starts {
		b.count[s+1]++
	}
	for t := range in.horizon + 1 {
		b.count[t+1] += b.count[t]
	}
	for _, i := range in.topo {
		list[b.count[starts[i]]] = i
		b.count[starts[i]]++
	}
}

// byEndBackward sorts activities by end, the latest first, those of the same end in an order that respects the lags in
// reverse. With lags shorter than the activities a successor may end before its predecessor; then the order is by start.
func (b *builder) byEndBackward(list, starts []int32) {
	in := b.in
	if in.overlapping {
		b.byStart(list, starts)
		slices.Reverse(list)
		return
	}
	if int(in.horizon) > sparse*in.n {
		copy(list, in.topo)
		slices.Reverse(list)
		slices.SortStableFunc(list, func(i, j int32) int { return int(starts[j] + in.dur[j] - starts[i] - in.dur[i]) })
		return
	}
	b.count = resize(b.count, int(in.horizon)+2)
	for i, s := range starts {
		b.count[in.horizon-s-in.dur[i]+1]++
	}
	for t := range in.horizon + 1 {
		b.count[t+1] += b.count[t]
	}
	for _, i := range slices.Backward(in.topo) {
		t := in.horizon - starts[i] - in.dur[i]
		list[b.count[t]] = i
		b.count[t]++
	}
}

// justify shifts a schedule right and left again as long as that shortens it, and brings the list into line.
func (b *builder) justify(list, starts []int32, end int32) int32 {
	b.keep = append(b.keep[:0], starts...)
	for {
		b.byEndBackward(list, starts)
		ok := b.backward(list, starts, end)
		now := int32(-1)
		if ok {
			b.byStart(list, starts)
			now = b.forward(list, starts, end)
		}
		if now < 0 { // can be where activities overlap that a lag ties
			copy(starts, b.keep)
			now = end
		}
		if now == end {
			b.byStart(list, starts)
			return now
		}
		end = now
		copy(b.keep, starts)
	}
}
