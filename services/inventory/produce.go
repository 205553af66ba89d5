package inventory

import (
	"context"
	"fmt"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// Production is what comes out of a batch.
type Production struct {
	Site    string
	Batch   string
	Run     string
	Time    time.Time // zero means now
	Outputs []ProductionOutput
}

// ProductionOutput is one lot of it.
type ProductionOutput struct {
	Item      string
	Mass      units.Milligrams
	ByProduct bool
	LotID     string
	Location  string // empty means the first place that suits the item
	UseBy     string // empty means the day of making plus the shelf life
}

// RecordProduction takes lots out of a batch. More than went in cannot come out, but for the weighing tolerance of the policy.
func (s *Service) RecordProduction(ctx context.Context, p Production) ([]*LotView, *Move, error) {
	when, err := s.moment(p.Time, "produce_time")
	if err != nil {
		return nil, nil, err
	}
	var views []*LotView
	var move *Move
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		views = nil
		b, err := s.open(ctx, p.Site, MoveProduce, when)
		if err != nil {
			return err
		}
		if _, err := b.openAccount(p.Batch, p.Run); err != nil {
			return err
		}
		for i, o := range p.Outputs {
			if err := b.produce(o, fmt.Sprintf("outputs[%d]", i)); err != nil {
				return err
			}
		}
		if err := b.checkOutput(); err != nil {
			return err
		}
		if err := b.commit(); err != nil {
			return err
		}
		move = b.move
		inputs, err := b.batchInputs(p.Batch)
		if err != nil {
			return err
		}
		ancestors, err := b.madeAncestors(inputs)
		if err != nil {
			return err
		}
		var events []Event
		for _, l := range b.fresh {
			events = append(events, LotCreated{Lot: l, Inputs: inputs, MadeAncestors: ancestors, Actor: move.Actor})
			v, err := s.view(ctx, l)
			if err != nil {
				return err
			}
			views = append(views, v)
		}
		return s.events.Append(ctx, events...)
	})
	return views, move, err
}

func (b *book) produce(o ProductionOutput, field string) error {
	if err := positive(o.Mass, field+".mass_kg"); err != nil {
		return err
	}
	if err := sameSite(b.site, o.Item, o.Location); err != nil {
		return err
	}
	if err := checkDay(o.UseBy, field+".use_by_date"); err != nil {
		return err
	}
	item, err := b.s.activeItem(b.ctx, o.Item)
	if err != nil {
		return err
	}
	if item.Kind == Pack || item.Kind == Utility {
		return apierr.FailedPrecondition(ItemKindWrong, "%s cannot come out of a batch as bulk; packed items come from packing containers", item.Name).
			With("item", item.Name).With("kind", string(item.Kind)).WithViolation(item.Name, "item is of kind %s", item.Kind)
	}
	place, err := b.s.place(b.ctx, b.site, o.Location, item)
	if err != nil {
		return err
	}
	l, err := b.newLot(item, o.LotID, "")
	if err != nil {
		return err
	}
	if err := b.madeIn(l); err != nil {
		return err
	}
	// What a batch gives of a purchased item (trim, leftovers) was made here too and is judged like other made goods.
	l.ReleaseRequired = item.NeedsRelease() || item.Kind == Purchased && item.ReleaseRule == ReleaseDefault
	l.UseBy = b.useBy(o.UseBy, item)
	l.Initial, l.ByProduct = o.Mass, o.ByProduct
	b.put(l, place, o.Mass, InProcess, b.move.Batch)
	b.account.Output += o.Mass
	return nil
}

// madeIn notes the batch of a new lot, and the holds that lie on that batch.
func (b *book) madeIn(l *Lot) error {
	l.Batch, l.Run = b.move.Batch, b.move.Run
	holds, err := b.s.store.Holds(b.ctx, l.Name, l.Batch)
	if err != nil {
		return err
	}
	for _, h := range holds {
		l.Held = l.Held || !h.Lifted
	}
	return nil
}

// checkOutput refuses a batch of which more would have come out than went in.
func (b *book) checkOutput() error {
	a := b.account
	if tol := b.policy.tolerance(a.Input); a.Inside() < -tol {
		return apierr.FailedPrecondition(BatchOutputTooLarge,
			"%s took %s by now, so %s cannot have come out of it; record what went in first, or weigh again", a.Batch, kg(a.Input), kg(a.Output+a.Loss)).
			With("batch", a.Batch).With("input", kg(a.Input)).With("output", kg(a.Output+a.Loss)).With("tolerance", kg(tol)).
			WithViolation(a.Batch, "%s more than went in", kg(-a.Inside()))
	}
	return nil
}
