package inventory

import (
	"context"
	"fmt"
	"strings"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// ReservationState says where a promise stands.
type ReservationState string

// The states of a reservation.
const (
	ReservationActive   ReservationState = "ACTIVE"
	ReservationUsed     ReservationState = "USED"     // everything was used
	ReservationReleased ReservationState = "RELEASED" // the rest is free again
)

// Reservation is stock promised to one batch.
type Reservation struct {
	Name  string
	Batch string
	Lines []ReservationLine
	State ReservationState
	Meta
}

// ReservationLine is the share of a lot.
type ReservationLine struct {
	Item      string
	Lot       string
	Mass      units.Milligrams
	Remaining units.Milligrams // not used yet
}

// settle marks an active reservation of which nothing is left.
func (r *Reservation) settle() {
	if r.State != ReservationActive {
		return
	}
	for _, l := range r.Lines {
		if l.Remaining > 0 {
			return
		}
	}
	r.State = ReservationUsed
}

// ItemMass is a mass of an item.
type ItemMass struct {
	Item string
	Mass units.Milligrams
}

// ReserveStock keeps stock for a batch, first expired first: all of it or nothing. Utilities need nothing kept.
func (s *Service) ReserveStock(ctx context.Context, site, id, batch string, items []ItemMass) (*Reservation, error) {
	var out *Reservation
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		b, err := s.open(ctx, site, MoveTransfer, s.now())
		if err != nil {
			return err
		}
		if _, err := b.openAccount(batch, ""); err != nil {
			return err
		}
		b.account = nil // a promise changes no books
		if id == "" {
			id = "r-" + newUID()
		}
		name, err := child(site, "reservations", id)
		if err != nil {
			return err
		}
		r := &Reservation{Name: name, Batch: batch, State: ReservationActive, Meta: s.newMeta()}
		short := apierr.FailedPrecondition(StockShort, "there is too little in stock for %s", batch).With("batch", batch)
		missing := 0
		for i, want := range items {
			lines, lack, err := b.promise(want, i)
			if err != nil {
				return err
			}
			if lack != nil {
				missing++
				short = short.WithViolation(want.Item, "%s", lack.text())
				continue
			}
			r.Lines = append(r.Lines, lines...)
		}
		if missing > 0 {
			var words []string
			for _, v := range short.Violations {
				words = append(words, v.Description)
			}
			short.Message += ": " + strings.Join(words, "; ") + "; receive more, free another reservation, or make the batch smaller"
			return short
		}
		r.settle() // nothing but utilities
		if err := s.store.Reservations().Insert(ctx, r); err != nil {
			return err
		}
		out = r
		return b.commit()
	})
	return out, err
}

// promise finds lots for one item and raises what they promise.
func (b *book) promise(want ItemMass, i int) ([]ReservationLine, *lack, error) {
	field := fmt.Sprintf("items[%d].mass_kg", i)
	if err := positive(want.Mass, field); err != nil {
		return nil, nil, err
	}
	if err := sameSite(b.site, want.Item); err != nil {
		return nil, nil, err
	}
	item, err := b.item(want.Item)
	if err != nil {
		return nil, nil, err
	}
	if item.Kind == Utility {
		return nil, nil, nil
	}
	if err := wholeContainers(item, want.Mass, field); err != nil {
		return nil, nil, err
	}
	c, err := b.candidates(item, "", inBatch)
	if err != nil {
		return nil, nil, err
	}
	promised := c.promised()
	var lines []ReservationLine
	left := want.Mass
	for _, l := range c.usable {
		if m := min(left, l.Free()); m > 0 {
			lines = append(lines, ReservationLine{Item: item.Name, Lot: l.Name, Mass: m, Remaining: m})
			l.Reserved += m
			b.changed[l.Name] = true
			left -= m
		}
	}
	if left > 0 {
		return nil, &lack{item: item, want: want.Mass, have: want.Mass - left, refused: c.refused, promised: promised}, nil
	}
	return lines, nil, nil
}

// ReleaseReservation gives the rest of a reservation back. Doing it again changes nothing.
func (s *Service) ReleaseReservation(ctx context.Context, name string) (*Reservation, error) {
	var out *Reservation
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		r, err := s.store.Reservations().Get(ctx, name)
		if err != nil {
			return err
		}
		out = r
		if r.State != ReservationActive {
			return nil
		}
		b, err := s.open(ctx, SiteOf(name), MoveTransfer, s.now())
		if err != nil {
			return err
		}
		if err := b.free(r); err != nil {
			return err
		}
		return b.commit()
	})
	return out, err
}

// free gives the rest of a reservation back.
func (b *book) free(r *Reservation) error {
	b.reservations[r.Name] = r
	b.touched[r.Name] = true
	for i := range r.Lines {
		line := &r.Lines[i]
		if line.Remaining == 0 {
			continue
		}
		l, err := b.lot(line.Lot)
		if err != nil {
			return err
		}
		l.Reserved -= line.Remaining
		line.Remaining = 0
		b.changed[l.Name] = true
	}
	r.State = ReservationReleased
	return nil
}

// Reservation reads a reservation.
func (s *Service) Reservation(ctx context.Context, name string) (*Reservation, error) {
	return s.store.Reservations().Get(ctx, name)
}

// Reservations lists reservations.
func (s *Service) Reservations(ctx context.Context, q ListQuery) ([]*Reservation, error) {
	return s.store.Reservations().List(ctx, q)
}
