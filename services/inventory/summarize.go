package inventory

import (
	"context"
	"maps"
	"slices"
	"time"

	"rondeau.internal/pkg/units"
)

// ItemStock is the stock of one item: OnHand = Free + Reserved + Held + Expired. A promised part of a lot that is held or expired counts as held or
// expired.
type ItemStock struct {
	Item           string
	OnHand         units.Milligrams
	Free           units.Milligrams
	Reserved       units.Milligrams
	Held           units.Milligrams
	Expired        units.Milligrams
	InProcess      units.Milligrams // went into batches whose books are open; not part of OnHand
	FreeLots       []FreeLot
	ReservedLots   []ReservedLot // promised to batches; the rest of Reserved is promised to shipments
	Expected       []ExpectedLine
	FreeContainers int
}

// FreeLot is a lot of which something is free.
type FreeLot struct {
	Lot            string
	Mass           units.Milligrams
	UseBy          string
	ReleasePending bool
	Containers     int
}

// ReservedLot is the part of a lot that is promised to a batch and not taken yet.
type ReservedLot struct {
	Lot   string
	Batch string
	Mass  units.Milligrams
	UseBy string
}

// ExpectedLine is goods on the way.
type ExpectedLine struct {
	Delivery string
	LineID   string
	Mass     units.Milligrams
	Date     string
}

// StockQuery asks how much there is.
type StockQuery struct {
	Site  string
	Items []string // none: all that have stock or are expected
	// Purchases of plans to look up: those of which no delivery was made yet are told.
	Purchases []string
}

// StockSummary is the stock of a site at one moment.
type StockSummary struct {
	Items            []*ItemStock // by name
	UnknownPurchases []string     // those of the query that no delivery, of whatever state, was made of
	ReadTime         time.Time
}

// SummarizeStock says how much there is of the items given, or of all that have stock or are expected.
func (s *Service) SummarizeStock(ctx context.Context, q StockQuery) (*StockSummary, error) {
	if err := sameSite(q.Site, q.Items...); err != nil {
		return nil, err
	}
	if err := sameSite(q.Site, q.Purchases...); err != nil {
		return nil, err
	}
	out := &StockSummary{ReadTime: s.now()}
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		rows := &stockRows{only: q.Items, items: map[string]*ItemStock{}}
		for _, i := range q.Items {
			if _, err := s.store.Items().Get(ctx, i); err != nil {
				return err
			}
			rows.of(i)
		}
		if err := s.sumLots(ctx, q.Site, out.ReadTime, rows); err != nil {
			return err
		}
		inside, err := s.store.InProcess(ctx, q.Site)
		if err != nil {
			return err
		}
		for item, mass := range inside {
			rows.of(item).InProcess = mass
		}
		deliveries, err := s.store.ExpectedDeliveries(ctx, q.Site)
		if err != nil {
			return err
		}
		for _, d := range deliveries {
			for _, line := range d.Lines {
				r := rows.of(line.Item)
				r.Expected = append(r.Expected, ExpectedLine{Delivery: d.Name, LineID: line.ID, Mass: line.Expected, Date: d.ExpectedDate})
			}
		}
		out.Items = rows.sorted()
		out.UnknownPurchases, err = s.unknownPurchases(ctx, q.Purchases)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// unknownPurchases returns those of the purchases that no delivery carries.
func (s *Service) unknownPurchases(ctx context.Context, purchases []string) ([]string, error) {
	var unknown []string
	for _, name := range purchases {
		delivery, err := s.store.PurchaseDelivery(ctx, name)
		if err != nil {
			return nil, err
		}
		if delivery == "" {
			unknown = append(unknown, name)
		}
	}
	return unknown, nil
}

// sumLots adds the open lots of a site, and says to which batches their promised parts belong.
func (s *Service) sumLots(ctx context.Context, site string, now time.Time, rows *stockRows) error {
	policy, err := s.Policy(ctx, site)
	if err != nil {
		return err
	}
	today := policy.day(now)
	lots, err := s.store.OpenLots(ctx, site, "")
	if err != nil {
		return err
	}
	for _, l := range lots {
		if !rows.wants(l.Item) {
			continue
		}
		row := rows.of(l.Item)
		row.add(l, today)
		if l.Reserved == 0 || l.Held || l.Expired(today) {
			continue
		}
		reservations, err := s.store.LotReservations(ctx, l.Name)
		if err != nil {
			return err
		}
		row.promise(l, reservations)
	}
	return nil
}

// promise adds the parts of a lot that are promised to batches, one row for each.
func (r *ItemStock) promise(l *Lot, reservations []*Reservation) {
	byBatch := map[string]units.Milligrams{}
	for _, reservation := range reservations {
		for _, line := range reservation.Lines {
			if line.Lot == l.Name && line.Remaining > 0 {
				byBatch[reservation.Batch] += line.Remaining
			}
		}
	}
	for _, batch := range slices.Sorted(maps.Keys(byBatch)) {
		r.ReservedLots = append(r.ReservedLots, ReservedLot{Lot: l.Name, Batch: batch, Mass: byBatch[batch], UseBy: l.UseBy})
	}
}

// stockRows is a summary in the making.
type stockRows struct {
	only  []string // none: every item
	items map[string]*ItemStock
}

func (r *stockRows) wants(item string) bool {
	return len(r.only) == 0 || slices.Contains(r.only, item)
}

// of returns the row of an item; what is added to the row of an item that is not wanted is lost.
func (r *stockRows) of(item string) *ItemStock {
	if !r.wants(item) {
		return &ItemStock{}
	}
	if r.items[item] == nil {
		r.items[item] = &ItemStock{Item: item}
	}
	return r.items[item]
}

func (r *stockRows) sorted() []*ItemStock {
	out := make([]*ItemStock, 0, len(r.items))
	for _, item := range slices.Sorted(maps.Keys(r.items)) {
		out = append(out, r.items[item])
	}
	return out
}

// add adds a lot to the summary of its item.
func (r *ItemStock) add(l *Lot, today string) {
	r.OnHand += l.OnHand
	switch {
	case l.Held:
		r.Held += l.OnHand
		return
	case l.Expired(today):
		r.Expired += l.OnHand
		return
	}
	r.Reserved += l.Reserved
	free := l.Free()
	if free == 0 {
		return
	}
	r.Free += free
	f := FreeLot{Lot: l.Name, Mass: free, UseBy: l.UseBy, ReleasePending: l.ReleaseRequired && !l.Released}
	if l.Packed && l.Initial > 0 && l.ContainerCount > 0 {
		f.Containers = int(free / (l.OnHand / units.Milligrams(l.ContainerCount)))
		r.FreeContainers += f.Containers
	}
	r.FreeLots = append(r.FreeLots, f)
}
