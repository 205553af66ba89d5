package risk

import "rondeau.internal/pkg/sched"

// step is the free capacity from a moment on.
type step struct {
	at, free int64
}

// ledger is the free capacity of a cumulative resource over time.
type ledger struct {
	steps []step
}

func newLedger(r *sched.Resource) ledger {
	l := ledger{steps: []step{{noEnd, r.Capacity}}}
	for _, x := range r.Levels {
		l.steps = append(l.steps, step{x.At, x.Capacity})
	}
	return l
}

// find returns the step that contains t.
func (l *ledger) find(t int64) int {
	lo, hi := 1, len(l.steps)
	for lo < hi {
		mid := int(uint(lo+hi) >> 1)
		if l.steps[mid].at <= t {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return lo - 1
}

// split makes t the beginning of a step, given the step that contains it.
func (l *ledger) split(i int, t int64) int {
	if l.steps[i].at == t {
		return i
	}
	i++
	l.steps = append(l.steps, step{})
	copy(l.steps[i+1:], l.steps[i:])
	l.steps[i] = step{t, l.steps[i-1].free}
	return i
}

// take reduces the free capacity by q in [x, y); a negative q gives it back.
func (l *ledger) take(x, y, q int64) {
	if x >= y || q == 0 {
		return
	}
	i := l.split(l.find(x), x)
	j := i
	for j+1 < len(l.steps) && l.steps[j+1].at <= y {
		j++
	}
	j = l.split(j, y)
	for k := i; k < j; k++ {
		l.steps[k].free -= q
	}
	l.join(j)
	l.join(i)
}

// join removes the border at the beginning of step i when it separates nothing.
func (l *ledger) join(i int) {
	if i > 0 && i < len(l.steps) && l.steps[i].free == l.steps[i-1].free {
		l.steps = append(l.steps[:i], l.steps[i+1:]...)
	}
}

// short returns the end of the last step within [x, y) that has less than q free (Forever when it never ends); ok is
// true when there is none.
func (l *ledger) short(x, y, q int64) (end int64, ok bool) {
	if x >= y || q == 0 {
		return 0, true
	}
	end, ok = 0, true
	for k := l.find(x); k < len(l.steps) && l.steps[k].at < y; k++ {
		if l.steps[k].free < q {
			ok, end = false, sched.Forever
			if k+1 < len(l.steps) {
				end = l.steps[k+1].at
			}
		}
	}
	return end, ok
}
