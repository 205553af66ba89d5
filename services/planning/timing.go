package planning

import (
	"time"

	"rondeau.internal/pkg/explode"
)

// timeBatch sets due time, earliest start and weight. Batches come in the order of their low-level code, so those that
// take the output are timed already; a by-product may go to one that is not, and counts by its day then.
func (a *answer) timeBatch(i int) {
	batch, src := a.batches[i], &a.r.Batches[i]
	zone := a.f.site.Zone()
	batch.Weight = 1
	var due time.Time
	lastUse := -1
	want := func(t time.Time) {
		if due.IsZero() || t.Before(due) {
			due = t
		}
	}
	sources := []explode.Source{{Kind: explode.FromBatch, Index: i}}
	for k := range batch.ByProducts {
		sources = append(sources, explode.Source{Kind: explode.FromByProduct, Index: i, ByProduct: k})
	}
	for _, s := range sources {
		for _, share := range a.shares[s] {
			if s.Kind == explode.FromBatch {
				lastUse = max(lastUse, share.day)
			}
			if share.batch < 0 {
				want(a.demands[share.demand].moment)
				batch.Weight = max(batch.Weight, a.demands[share.demand].weight)
				continue
			}
			taker := a.batches[share.batch]
			if taker.Due.IsZero() {
				want(startOfDay(a.date(share.day), zone))
				continue
			}
			want(taker.Due.Add(-taker.Duration))
			batch.Weight = max(batch.Weight, taker.Weight)
		}
	}
	if due.IsZero() {
		due = startOfDay(a.date(src.Due).AddDays(1), zone)
	}
	batch.Due = due
	batch.EarliestStart = a.earliestStart(i, lastUse)
}

// earliestStart is the moment at which goods from stock and deliveries are there, and from which on the output does not spoil
// before its last use.
func (a *answer) earliestStart(i, lastUse int) time.Time {
	batch, src := a.batches[i], &a.r.Batches[i]
	zone := a.f.site.Zone()
	earliest := startOfDay(a.plan.Start, zone)
	if a.f.now.After(earliest) {
		earliest = a.f.now
	}
	if life := a.nodes[src.Node].ShelfLife; life > 0 && lastUse >= 0 {
		fresh := startOfDay(a.date(lastUse-life+1), zone).Add(-batch.Duration)
		if latest := batch.Due.Add(-batch.Duration); fresh.After(latest) {
			fresh = latest // an earlier use is due before: it decides
		}
		if fresh.After(earliest) {
			earliest = fresh
		}
	}
	for _, u := range a.r.BatchInputs(i) {
		var arrival time.Time
		switch u.Source.Kind {
		case explode.FromPurchase:
			arrival = a.deliveryMoment(a.r.Purchases[u.Source.Index].Delivery)
		case explode.FromSupply:
			arrival = a.supplies[u.Source.Index].arrival
		}
		if arrival.After(earliest) {
			earliest = arrival
		}
	}
	return earliest.Truncate(time.Microsecond)
}
