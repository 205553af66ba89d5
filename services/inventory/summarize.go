package inventory

import (
	"context"
	"slices"
	"strings"
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

// ExpectedLine is goods on the way.
type ExpectedLine struct {
	Delivery string
	LineID   string
	Mass     units.Milligrams
	Date     string
}

// SummarizeStock says how much there is of the items given, or of all that have stock or are expected. It also returns the moment to which the answer
// belongs.
func (s *Service) SummarizeStock(ctx context.Context, site string, items []string) ([]*ItemStock, time.Time, error) {
	if err := sameSite(site, items...); err != nil {
		return nil, time.Time{}, err
	}
	now := s.now()
	rows := map[string]*ItemStock{}
	row := func(item string) *ItemStock {
		if len(items) > 0 && !slices.Contains(items, item) {
			return &ItemStock{}
		}
		if rows[item] == nil {
			rows[item] = &ItemStock{Item: item}
		}
		return rows[item]
	}
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		policy, err := s.Policy(ctx, site)
		if err != nil {
			return err
		}
		today := policy.day(now)
		for _, i := range items {
			if _, err := s.store.Items().Get(ctx, i); err != nil {
				return err
			}
			row(i)
		}
		lots, err := s.store.OpenLots(ctx, site, "")
		if err != nil {
			return err
		}
		for _, l := range lots {
			row(l.Item).add(l, today)
		}
		inside, err := s.store.InProcess(ctx, site)
		if err != nil {
			return err
		}
		for item, mass := range inside {
			row(item).InProcess = mass
		}
		deliveries, err := s.store.ExpectedDeliveries(ctx, site)
		if err != nil {
			return err
		}
		for _, d := range deliveries {
			for _, line := range d.Lines {
				r := row(line.Item)
				r.Expected = append(r.Expected, ExpectedLine{Delivery: d.Name, LineID: line.ID, Mass: line.Expected, Date: d.ExpectedDate})
			}
		}
		return nil
	})
	if err != nil {
		return nil, now, err
	}
	out := make([]*ItemStock, 0, len(rows))
	for _, r := range rows {
		out = append(out, r)
	}
	slices.SortFunc(out, func(a, b *ItemStock) int { return strings.Compare(a.Item, b.Item) })
	return out, now, nil
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
