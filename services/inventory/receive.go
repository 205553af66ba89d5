package inventory

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// Receipt is what was found when a delivery arrived.
type Receipt struct {
	Delivery       string
	Etag           string
	Time           time.Time // zero means now
	DocumentNumber string
	Lines          []ReceiptLine
}

// ReceiptLine is what was found for one line.
type ReceiptLine struct {
	LineID         string // empty for goods that were not announced
	Item           string // required for goods that were not announced
	Mass           units.Milligrams
	Temperature    *float64 // degrees Celsius
	Condition      Condition
	ConditionNote  string
	SupplierLot    string
	BestBefore     string
	Location       string
	Decision       Decision // Rejected to send sound goods back
	DecisionReason string
	LotID          string
}

// ReceiveDelivery books a delivery in. Each line is accepted, and becomes a lot, or is rejected: goods above their item's temperature limit,
// spoiled goods, thawed frozen goods and goods past their day are rejected whatever the receiver says. Announced lines that
// are not named are missing. The rules support and do not replace the kitchen's HACCP plan.
func (s *Service) ReceiveDelivery(ctx context.Context, r Receipt) (*Delivery, error) {
	when, err := s.moment(r.Time, "receive_time")
	if err != nil {
		return nil, err
	}
	var out *Delivery
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		d, err := s.expected(ctx, r.Delivery, r.Etag, "received")
		if err != nil {
			return err
		}
		b, err := s.open(ctx, SiteOf(d.Name), MoveReceive, when)
		if err != nil {
			return err
		}
		b.move.Document = d.Name
		if err := matchLines(d, r.Lines); err != nil {
			return err
		}
		var events []Event
		var rejected []DeliveryLineRejected
		for i, found := range r.Lines {
			line := lineOf(d, found)
			limit, err := b.judge(line, found, fmt.Sprintf("lines[%d]", i))
			if err != nil {
				return err
			}
			switch line.Decision {
			case Rejected:
				rejected = append(rejected, DeliveryLineRejected{Delivery: d, Line: *line, Limit: limit})
			case Accepted:
				l, err := b.receive(d, line, found)
				if err != nil {
					return err
				}
				events = append(events, LotCreated{Lot: l, Actor: b.move.Actor})
			}
		}
		for i := range d.Lines {
			if d.Lines[i].Decision == Undecided {
				d.Lines[i].Decision, d.Lines[i].DecisionReason = Missing, "not on the lorry"
			}
		}
		d.State, d.ReceiveTime, d.RecordTime, d.Receiver = DeliveryReceivedIn, when, b.move.RecordTime, b.move.Actor
		if r.DocumentNumber != "" {
			d.DocumentNumber = r.DocumentNumber
		}
		s.touch(&d.Meta)
		if err := s.store.Deliveries().Update(ctx, d); err != nil {
			return err
		}
		if err := b.commit(); err != nil {
			return err
		}
		events = append(events, DeliveryReceived{Delivery: d})
		for _, e := range rejected {
			events = append(events, e)
		}
		out = d
		return s.events.Append(ctx, events...)
	})
	return out, err
}

// matchLines adds lines for goods that were not announced and refuses lines that are unknown or named twice.
func matchLines(d *Delivery, found []ReceiptLine) error {
	seen := map[string]bool{}
	for i := range found {
		f := &found[i]
		field := fmt.Sprintf("lines[%d].line_id", i)
		if f.LineID == "" {
			if f.Item == "" {
				return apierr.InvalidArgument(DeliveryInvalid, "line %d of the receipt names neither a line of %s nor an item; give one of them", i+1, d.Name).
					With("delivery", d.Name).With("line", strconv.Itoa(i+1)).WithViolation(field, "line_id or item must be given")
			}
			more := announced(append(slices.Clone(d.Lines), DeliveryLine{Item: f.Item}), d.Lines)
			f.LineID = more[len(more)-1].ID
			d.Lines = append(d.Lines, more[len(more)-1])
		}
		k := slices.IndexFunc(d.Lines, func(l DeliveryLine) bool { return l.ID == f.LineID })
		if k < 0 {
			return apierr.InvalidArgument(DeliveryInvalid, "%s has no line %q; leave line_id empty for goods that were not announced", d.Name, f.LineID).
				With("delivery", d.Name).With("line", f.LineID).WithViolation(field, "no such line")
		}
		if seen[f.LineID] {
			return apierr.InvalidArgument(DeliveryInvalid, "line %q of %s is named twice; add goods of another lot as a line without line_id", f.LineID, d.Name).
				With("delivery", d.Name).With("line", f.LineID).WithViolation(field, "named twice")
		}
		seen[f.LineID] = true
		if f.Item != "" && f.Item != d.Lines[k].Item {
			return apierr.InvalidArgument(DeliveryInvalid, "line %q of %s is %s, not %s", f.LineID, d.Name, d.Lines[k].Item, f.Item).
				With("delivery", d.Name).With("line", f.LineID).With("item", f.Item).WithViolation(field, "is a line of another item")
		}
	}
	return nil
}

func lineOf(d *Delivery, f ReceiptLine) *DeliveryLine {
	return &d.Lines[slices.IndexFunc(d.Lines, func(l DeliveryLine) bool { return l.ID == f.LineID })]
}

// judge decides about a line and notes what was found. It returns the temperature limit when that was the reason.
func (b *book) judge(line *DeliveryLine, f ReceiptLine, field string) (*float64, error) {
	item, err := b.s.activeItem(b.ctx, line.Item, Purchased)
	if err != nil {
		return nil, err
	}
	b.items[item.Name] = item
	if err := checkDay(f.BestBefore, field+".best_before_date"); err != nil {
		return nil, err
	}
	if f.Mass < 0 {
		return nil, positive(f.Mass, field+".received_mass_kg")
	}
	if !codeOK(f.SupplierLot) {
		return nil, apierr.InvalidArgument(DeliveryInvalid, "supplier lot %q holds signs that no barcode can carry; enter letters, digits and simple signs, at most 20", f.SupplierLot).
			With("supplier_lot", f.SupplierLot).WithViolation(field+".supplier_lot", "must be of GS1's set 82, at most 20")
	}
	line.Received, line.Temperature, line.Condition, line.ConditionNote = f.Mass, f.Temperature, f.Condition, f.ConditionNote
	if f.SupplierLot != "" {
		line.SupplierLot = f.SupplierLot
	}
	if f.BestBefore != "" {
		line.BestBefore = f.BestBefore
	}
	reject := func(format string, args ...any) {
		line.Decision, line.DecisionReason = Rejected, fmt.Sprintf(format, args...)
	}
	if f.Mass == 0 && f.Decision != Rejected {
		line.Decision, line.DecisionReason = Missing, "nothing came"
		return nil, nil
	}
	limit := item.MaxReceipt
	if limit != nil && f.Temperature == nil && f.Decision != Rejected {
		return nil, apierr.InvalidArgument(DeliveryInvalid, "measure the temperature of %s: goods above %s are sent back", item.Name, celsius(*limit)).
			With("item", item.Name).With("limit_celsius", celsius(*limit)).
			WithViolation(field+".temperature_celsius", "must be measured, the limit is %s", celsius(*limit))
	}
	switch {
	case limit != nil && f.Temperature != nil && *f.Temperature > *limit:
		reject("%s is above the limit of %s", celsius(*f.Temperature), celsius(*limit))
		return limit, nil
	case f.Condition == Spoiled:
		reject("goods are spoiled")
	case f.Condition == Thawed && item.Storage == Frozen:
		reject("frozen goods came thawed")
	case line.BestBefore != "" && b.policy.day(b.when) > line.BestBefore:
		reject("last day of use %s was over on arrival", line.BestBefore)
	case f.Decision == Rejected:
		if f.DecisionReason == "" {
			return nil, apierr.InvalidArgument(DeliveryInvalid, "say why %s is sent back", item.Name).With("item", item.Name).
				WithViolation(field+".decision_reason", "must be given")
		}
		reject("%s", f.DecisionReason)
	default:
		line.Decision, line.DecisionReason = Accepted, f.DecisionReason
	}
	return nil, nil
}

// receive makes the lot of an accepted line. The supplier's lot code stays with the goods: a traceability lot code is not
// given anew on receipt (21 CFR 1.1320).
func (b *book) receive(d *Delivery, line *DeliveryLine, f ReceiptLine) (*Lot, error) {
	item, err := b.item(line.Item)
	if err != nil {
		return nil, err
	}
	place, err := b.s.place(b.ctx, b.site, f.Location, item)
	if err != nil {
		return nil, err
	}
	l, err := b.newLot(item, f.LotID, line.SupplierLot)
	if err != nil {
		return nil, err
	}
	l.Delivery, l.DeliveryLine, l.Supplier = d.Name, line.ID, d.Supplier
	l.UseBy = b.useBy(line.BestBefore, item)
	l.Initial = line.Received
	b.put(l, place, line.Received, AtSupplier, d.Supplier)
	line.Lot = l.Name
	return l, nil
}

func celsius(t float64) string { return strconv.FormatFloat(t, 'f', -1, 64) + " °C" }
