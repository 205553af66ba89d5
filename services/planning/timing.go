package planning

import (
	"time"

	"rondeau.internal/pkg/explode"
)

// timing works out the moments of the batches. Each needs those of others: the due times of the batches that take its output, the
// earliest starts of the batches that feed it. What was worked out is kept, because a batch may have many of both.
type timing struct {
	*answer
	finish   []time.Time // earliest finish, zero until worked out
	dueDone  []bool
	headDone []bool
}

// timeBatches sets due time, earliest start, weight and lateness of all batches.
func (a *answer) timeBatches() {
	n := len(a.batches)
	t := &timing{answer: a, finish: make([]time.Time, n), dueDone: make([]bool, n), headDone: make([]bool, n)}
	for i := range n {
		t.setDue(i)
	}
	for i := range n {
		t.setEarliest(i)
	}
}

// outputs returns the main output of a batch and its by-products.
func (t *timing) outputs(i int) []explode.Source {
	out := []explode.Source{{Kind: explode.FromBatch, Index: i}}
	for k := range t.batches[i].ByProducts {
		out = append(out, explode.Source{Kind: explode.FromByProduct, Index: i, ByProduct: k})
	}
	return out
}

// setDue sets when a batch must be ready: at the dispatch of the first order or par that it serves, or when the first batch that
// takes its output must start, but not before that one can start at all. So a batch whose taker is late already is not asked for
// a moment that lies before its own earliest start.
func (t *timing) setDue(i int) {
	if t.dueDone[i] {
		return
	}
	t.dueDone[i] = true // before the takers: batches do not feed each other in a circle, this only guards
	batch, src := t.batches[i], &t.r.Batches[i]
	batch.Weight = 1
	var due time.Time
	want := func(at time.Time) {
		if due.IsZero() || at.Before(due) {
			due = at
		}
	}
	for _, s := range t.outputs(i) {
		for _, share := range t.shares[s] {
			if share.batch < 0 {
				want(t.demands[share.demand].moment)
				batch.Weight = max(batch.Weight, t.demands[share.demand].weight)
				continue
			}
			t.setDue(share.batch)
			taker := t.batches[share.batch]
			needed := taker.Due
			if possible := t.earliestFinish(share.batch); possible.After(needed) {
				needed = possible
			}
			want(needed.Add(-taker.Duration))
			batch.Weight = max(batch.Weight, taker.Weight)
			batch.Late = batch.Late || (taker.Late && s.Kind == explode.FromBatch)
		}
	}
	if due.IsZero() {
		due = startOfDay(t.date(src.Due).AddDays(1), t.f.site.Zone())
	}
	batch.Due = due.Truncate(time.Microsecond)
}

// earliestFinish is when a batch could be ready if vessels and people were always there.
func (t *timing) earliestFinish(i int) time.Time {
	if !t.finish[i].IsZero() {
		return t.finish[i]
	}
	start := t.inputsThere(i)
	t.finish[i] = start.Add(t.batches[i].Duration)
	for _, u := range t.r.BatchInputs(i) {
		if k := u.Source.Kind; k == explode.FromBatch || k == explode.FromByProduct {
			if ready := t.earliestFinish(u.Source.Index); ready.After(start) {
				start = ready
			}
		}
	}
	t.finish[i] = start.Add(t.batches[i].Duration)
	return t.finish[i]
}

// inputsThere is when the goods from stock and deliveries are there; not before now.
func (t *timing) inputsThere(i int) time.Time {
	there := startOfDay(t.plan.Start, t.f.site.Zone())
	if t.f.now.After(there) {
		there = t.f.now
	}
	for _, u := range t.r.BatchInputs(i) {
		var arrival time.Time
		switch u.Source.Kind {
		case explode.FromPurchase:
			arrival = t.deliveryMoment(t.r.Purchases[u.Source.Index].Delivery)
		case explode.FromSupply:
			arrival = t.supplies[u.Source.Index].arrival
		}
		if arrival.After(there) {
			there = arrival
		}
	}
	return there
}

// setEarliest sets from when on it makes sense to start: goods from stock and deliveries are there, no batch that feeds this one
// starts later, and the output does not spoil before its last use. How long those batches take is left to the schedule, which knows
// their vessels.
func (t *timing) setEarliest(i int) {
	if t.headDone[i] {
		return
	}
	t.headDone[i] = true
	batch, src := t.batches[i], &t.r.Batches[i]
	earliest := t.inputsThere(i)
	for _, u := range t.r.BatchInputs(i) {
		if k := u.Source.Kind; k == explode.FromBatch || k == explode.FromByProduct {
			t.setEarliest(u.Source.Index)
			if start := t.batches[u.Source.Index].EarliestStart; start.After(earliest) {
				earliest = start
			}
		}
	}
	lastUse := -1
	for _, share := range t.shares[explode.Source{Kind: explode.FromBatch, Index: i}] {
		lastUse = max(lastUse, share.day)
	}
	if life := t.nodes[src.Node].ShelfLife; life > 0 && lastUse >= 0 {
		fresh := startOfDay(t.date(lastUse-life+1), t.f.site.Zone()).Add(-batch.Duration)
		if latest := batch.Due.Add(-batch.Duration); fresh.After(latest) {
			fresh = latest // an earlier use is due before: it decides
		}
		if fresh.After(earliest) {
			earliest = fresh
		}
	}
	batch.EarliestStart = earliest.Truncate(time.Microsecond)
}
