package inventory

import (
	"context"
	"fmt"
	"slices"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// Change is what a change of stock did.
type Change struct {
	Move      *Move
	Lot       *LotView
	Shortened []string // reservations that lost stock through it
}

// Transfer asks to move stock from one place to another.
type Transfer struct {
	Lot        string
	Source     string
	Target     string
	Mass       units.Milligrams // 0 means all that is there
	Containers []string         // instead of a mass, for packed lots
	Time       time.Time
}

// TransferStock moves stock from one place to another. Lots on hold may be moved: they have to be set apart.
func (s *Service) TransferStock(ctx context.Context, t Transfer) (*Change, error) {
	return s.change(ctx, t.Lot, MoveTransfer, "", t.Time, func(b *book, l *Lot, item *Item) error {
		if t.Source == t.Target {
			return apierr.InvalidArgument(RequestInvalid, "%s is both source and target; name another place", t.Source).With("location", t.Source).
				WithViolation("target_location", "must differ from source_location")
		}
		for _, name := range []string{t.Source, t.Target} {
			if err := sameSite(b.site, name); err != nil {
				return err
			}
		}
		if _, err := b.s.place(b.ctx, b.site, t.Target, item); err != nil {
			return err
		}
		there, err := b.at(l.Name, t.Source)
		if err != nil {
			return err
		}
		mass := t.Mass
		if mass == 0 {
			mass = there
		}
		if item.Kind == Pack {
			cs, err := b.inKitchen(l, item, t.Source, t.Mass, t.Containers)
			if err != nil {
				return err
			}
			mass = item.NetMass * units.Milligrams(len(cs))
			for _, c := range cs {
				c.Location = t.Target
				b.containers = append(b.containers, c)
			}
		} else if len(t.Containers) > 0 {
			return bulkHasNoContainers(l)
		}
		if mass == 0 || mass > there {
			return apierr.FailedPrecondition(StockShort, "%s has %s in %s, not %s; count it, or move less", l.Name, kg(there), t.Source, kg(mass)).
				With("lot", l.Name).With("place", t.Source).With("available", kg(there)).With("wanted", kg(mass)).
				WithViolation(l.Name, "%s is missing", kg(mass-there))
		}
		b.shift(l, t.Source, t.Target, mass)
		return nil
	})
}

// shift moves mass of a lot between two places.
func (b *book) shift(l *Lot, source, target string, mass units.Milligrams) {
	b.move.Entries = append(b.move.Entries,
		Entry{Account: AtLocation, Reference: source, Item: l.Item, Lot: l.Name, Mass: -mass},
		Entry{Account: AtLocation, Reference: target, Item: l.Item, Lot: l.Name, Mass: mass})
	b.changed[l.Name] = true
	delete(b.places, l.Name)
}

func bulkHasNoContainers(l *Lot) error {
	return apierr.InvalidArgument(RequestInvalid, "%s is bulk and has no containers; give a mass", l.Name).With("lot", l.Name).
		WithViolation("containers", "must be empty for bulk")
}

// inKitchen picks containers of a packed lot by name, or by mass (0 means all) at a place (empty means everywhere). Picked ones and those that
// left are refused when they are named, and when everything is meant.
func (b *book) inKitchen(l *Lot, item *Item, place string, mass units.Milligrams, names []string) ([]*Container, error) {
	if mass > 0 && len(names) == 0 {
		if err := wholeContainers(item, mass, "mass_kg"); err != nil {
			return nil, err
		}
		return b.choose(l, place, int(mass/item.NetMass))
	}
	all, err := b.s.store.LotContainers(b.ctx, l.Name)
	if err != nil {
		return nil, err
	}
	var cs []*Container
	for _, c := range all {
		named := slices.Contains(names, c.Name)
		here := c.State == ContainerPacked && (place == "" || c.Location == place)
		if len(names) > 0 && !named || len(names) == 0 && !here {
			continue
		}
		if !here || c.Shipment != "" {
			return nil, notAvailable(c, place)
		}
		cs = append(cs, c)
	}
	if len(names) > len(cs) {
		for _, n := range names {
			if !slices.ContainsFunc(cs, func(c *Container) bool { return c.Name == n }) {
				return nil, apierr.FailedPrecondition(ContainerNotAvailable, "%s is no container of %s", n, l.Name).
					With("container", n).With("lot", l.Name).WithViolation(n, "belongs to another lot or is named twice")
			}
		}
		return nil, apierr.InvalidArgument(RequestInvalid, "a container is named twice").WithViolation("containers", "must be different")
	}
	if len(cs) == 0 {
		return nil, apierr.FailedPrecondition(StockShort, "%s has no containers there", l.Name).With("lot", l.Name).
			WithViolation(l.Name, "has no containers there")
	}
	return cs, nil
}

func notAvailable(c *Container, place string) error {
	var why string
	switch {
	case c.State != ContainerPacked:
		why = fmt.Sprintf("is not in the kitchen any more (%s)", c.State)
	case c.Shipment != "":
		why = fmt.Sprintf("is picked for %s; cancel that shipment first", c.Shipment)
	default:
		why = fmt.Sprintf("is in %s, not in %s", c.Location, place)
	}
	return apierr.FailedPrecondition(ContainerNotAvailable, "%s %s", c.Name, why).
		With("container", c.Name).With("state", string(c.State)).With("shipment", c.Shipment).WithViolation(c.Name, "%s", why)
}

// Count asks to correct the books after a count.
type Count struct {
	Lot      string
	Location string
	Counted  units.Milligrams // what was found there
	Reason   string
	Time     time.Time
}

// AdjustStock corrects the books after a count. Promises that no longer fit are shortened, the youngest first. Packed lots are corrected by
// discarding the containers that are gone.
func (s *Service) AdjustStock(ctx context.Context, c Count) (*Change, error) {
	return s.change(ctx, c.Lot, MoveAdjust, c.Reason, c.Time, func(b *book, l *Lot, item *Item) error {
		if err := needReason(c.Reason); err != nil {
			return err
		}
		if item.Kind == Pack {
			return apierr.FailedPrecondition(ItemKindWrong, "%s is packed: name the containers that are gone and discard them", l.Name).
				With("item", item.Name).With("kind", string(item.Kind)).WithViolation(l.Name, "is a packed lot")
		}
		if c.Counted < 0 {
			return positive(c.Counted, "counted_mass_kg")
		}
		if _, err := b.s.place(b.ctx, b.site, c.Location, item); err != nil {
			return err
		}
		there, err := b.at(l.Name, c.Location)
		if err != nil {
			return err
		}
		if diff := c.Counted - there; diff != 0 {
			b.put(l, c.Location, diff, Adjustment, "")
		}
		return nil
	})
}

func needReason(reason string) error {
	if reason == "" {
		return apierr.InvalidArgument(RequestInvalid, "say why; the reason stays with the move").WithViolation("reason", "must be given")
	}
	return nil
}

// Discarding asks to throw stock away.
type Discarding struct {
	Lot        string
	Reason     string
	Location   string           // empty means every place
	Mass       units.Milligrams // 0 means everything
	Containers []string         // packed lots; empty means everything
	Time       time.Time
}

// DiscardLot throws stock away, held and expired stock too. Promises that no longer fit are shortened, the youngest first.
func (s *Service) DiscardLot(ctx context.Context, d Discarding) (*Change, error) {
	return s.change(ctx, d.Lot, MoveDiscard, d.Reason, d.Time, func(b *book, l *Lot, item *Item) error {
		if err := needReason(d.Reason); err != nil {
			return err
		}
		if err := sameSite(b.site, d.Location); err != nil {
			return err
		}
		if item.Kind == Pack {
			cs, err := b.inKitchen(l, item, d.Location, d.Mass, d.Containers)
			if err != nil {
				return err
			}
			return b.takeContainers(l, cs, Discarded, "", ContainerDestroyed)
		}
		if len(d.Containers) > 0 {
			return bulkHasNoContainers(l)
		}
		mass := d.Mass
		if mass == 0 {
			var err error
			if mass, err = b.at(l.Name, d.Location); err != nil {
				return err
			}
			if mass == 0 {
				return apierr.FailedPrecondition(StockShort, "nothing of %s is left to discard", l.Name).With("lot", l.Name).
					WithViolation(l.Name, "nothing is left")
			}
		}
		_, err := b.take(l, d.Location, mass, Discarded, "")
		return err
	})
}

// change runs a change of one lot and publishes it. A change that moves nothing writes nothing.
func (s *Service) change(ctx context.Context, lot string, kind MoveKind, reason string, t time.Time, fn func(*book, *Lot, *Item) error) (*Change, error) {
	when, err := s.moment(t, "move_time")
	if err != nil {
		return nil, err
	}
	var out *Change
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		b, err := s.open(ctx, SiteOf(lot), kind, when)
		if err != nil {
			return err
		}
		b.move.Reason = reason
		l, err := b.lot(lot)
		if err != nil {
			return err
		}
		item, err := b.item(l.Item)
		if err != nil {
			return err
		}
		if err := fn(b, l, item); err != nil {
			return err
		}
		out = &Change{}
		if out.Shortened, err = b.shorten(l); err != nil {
			return err
		}
		if err := b.commit(); err != nil {
			return err
		}
		if out.Lot, err = s.view(ctx, l); err != nil {
			return err
		}
		if len(b.move.Entries) == 0 {
			return nil
		}
		out.Move = b.move
		if kind == MoveTransfer {
			return s.events.Append(ctx, StockMoved{Move: b.move})
		}
		return s.events.Append(ctx, StockAdjusted{Move: b.move, Lot: l})
	})
	return out, err
}
