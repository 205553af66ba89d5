package inventory

import (
	"context"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// Purchase is what a plan proposes to buy.
type Purchase struct {
	Name     string // sites/{site}/plans/{plan}/purchases/{purchase}
	Item     string
	Supplier string // empty means the item's supplier
	Mass     units.Milligrams
	Date     string // day on which the supplier delivers
}

// ProposePurchase adds a proposed purchase to the expected deliveries: one delivery per supplier and day, one line per purchase. Hearing of
// a purchase again changes nothing.
func (s *Service) ProposePurchase(ctx context.Context, p Purchase) error {
	return s.store.InTx(ctx, func(ctx context.Context) error {
		known, err := s.store.PurchaseDelivery(ctx, p.Name)
		if err != nil || known != "" {
			return err
		}
		if err := checkDay(p.Date, "purchase.delivery_date"); err != nil {
			return err
		}
		site := SiteOf(p.Name)
		if err := sameSite(site, p.Item, p.Supplier); err != nil {
			return err
		}
		item, err := s.activeItem(ctx, p.Item, Purchased)
		if err != nil {
			return err
		}
		supplier := p.Supplier
		if supplier == "" {
			supplier = item.Purchase.Supplier
		}
		line := DeliveryLine{Item: p.Item, Expected: p.Mass}
		d, err := s.openDelivery(ctx, site, supplier, p.Date)
		if err != nil {
			return err
		}
		if d == nil {
			d = &Delivery{Supplier: supplier, ExpectedDate: p.Date, State: DeliveryExpected, Lines: announced([]DeliveryLine{line}, nil), Meta: s.newMeta()}
			d.Name = site + "/deliveries/p-" + newUID()
			d.Lines[0].Purchase = p.Name
			if err := s.store.Deliveries().Insert(ctx, d); err != nil {
				return err
			}
			return s.store.PutPurchase(ctx, p.Name, d.Name)
		}
		d.Lines = announced(append(d.Lines, line), d.Lines)
		d.Lines[len(d.Lines)-1].Purchase = p.Name
		s.touch(&d.Meta)
		if err := s.store.Deliveries().Update(ctx, d); err != nil {
			return err
		}
		return s.store.PutPurchase(ctx, p.Name, d.Name)
	})
}

// openDelivery is the expected delivery of a supplier on a day that plans have filled, or nil.
func (s *Service) openDelivery(ctx context.Context, site, supplier, day string) (*Delivery, error) {
	all, err := s.store.ExpectedDeliveries(ctx, site)
	if err != nil {
		return nil, err
	}
	for _, d := range all {
		if d.Supplier == supplier && d.ExpectedDate == day && len(d.Lines) < 200 && d.Lines[0].Purchase != "" {
			return d, nil
		}
	}
	return nil, nil
}

// CancelBatch gives what a cancelled batch had reserved back. Stock that went into it stays in its books.
func (s *Service) CancelBatch(ctx context.Context, batch string) error {
	return s.store.InTx(ctx, func(ctx context.Context) error {
		rows, err := s.store.BatchReservations(ctx, batch)
		if err != nil || len(rows) == 0 {
			return err
		}
		b, err := s.open(ctx, SiteOf(batch), MoveTransfer, s.now())
		if err != nil {
			return err
		}
		for _, r := range rows {
			if err := b.free(r); err != nil {
				return err
			}
		}
		return b.commit()
	})
}

// NoteHold keeps what was heard of a hold. A hold once lifted stays lifted, in whatever order the news arrives.
func (s *Service) NoteHold(ctx context.Context, h Hold) error {
	if err := knownSubject(h.Subject); err != nil {
		return err
	}
	return s.store.InTx(ctx, func(ctx context.Context) error {
		holds, err := s.store.Holds(ctx, h.Subject)
		if err != nil {
			return err
		}
		for _, old := range holds {
			if old.Name == h.Name {
				h.Lifted = h.Lifted || old.Lifted
			}
		}
		if err := s.store.PutHold(ctx, h); err != nil {
			return err
		}
		lots, err := s.store.LotsOf(ctx, h.Subject)
		if err != nil {
			return err
		}
		for _, l := range lots {
			if err := s.judgeLot(ctx, l); err != nil {
				return err
			}
		}
		return nil
	})
}

func knownSubject(name string) error {
	if c := Collection(name); SiteOf(name) == "" || c != "lots" && c != "batches" {
		return apierr.InvalidArgument(NameInvalid, "%q is neither a lot nor a batch", name).With("name", name).
			WithViolation("subject", "must be a lot or a batch")
	}
	return nil
}

// NoteRelease keeps what was heard of the signed release of a lot. A hold placed after the signature makes it void.
func (s *Service) NoteRelease(ctx context.Context, lot string, signed time.Time) error {
	return s.store.InTx(ctx, func(ctx context.Context) error {
		l, err := s.store.Lots().Get(ctx, lot)
		if err != nil {
			return err
		}
		if signed.After(l.ReleaseTime) {
			l.ReleaseTime = signed.UTC().Truncate(time.Microsecond)
		}
		return s.judgeLot(ctx, l)
	})
}

// judgeLot works out whether a lot is held and released by everything that was heard.
func (s *Service) judgeLot(ctx context.Context, l *Lot) error {
	subjects := []string{l.Name}
	if l.Batch != "" {
		subjects = append(subjects, l.Batch)
	}
	holds, err := s.store.Holds(ctx, subjects...)
	if err != nil {
		return err
	}
	l.Held, l.Released = false, !l.ReleaseTime.IsZero()
	for _, h := range holds {
		l.Held = l.Held || !h.Lifted
		l.Released = l.Released && h.PlaceTime.Before(l.ReleaseTime)
	}
	s.touch(&l.Meta)
	return s.store.Lots().Update(ctx, l)
}
