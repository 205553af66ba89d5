package inventory

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
)

// answerTime is how long the food-safety service may think; a lorry that waits longer wants to know why.
const answerTime = 5 * time.Second

// Dispatch asks to send a shipment off.
type Dispatch struct {
	Shipment string
	Etag     string
	Time     time.Time // zero means now
}

// DispatchShipment sends a shipment off. Every lot in it is judged twice: by what is known here, and by the food-safety service, which is
// asked at this moment about the lots of all containers and every made lot that went into them. No answer means that nothing leaves. The check supports and does
// not replace the validated HACCP plan and the qualified person.
func (s *Service) DispatchShipment(ctx context.Context, d Dispatch) (*Shipment, error) {
	when, err := s.moment(d.Time, "dispatch_time")
	if err != nil {
		return nil, err
	}
	var out *Shipment
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		sh, err := s.store.Shipments().Get(ctx, d.Shipment)
		if err != nil {
			return err
		}
		if err := draft(sh, d.Etag); err != nil {
			return err
		}
		b, err := s.open(ctx, SiteOf(sh.Name), MoveShip, when)
		if err != nil {
			return err
		}
		b.move.Document = sh.Name
		cs, err := s.store.ShipmentContainers(ctx, sh.Name)
		if err != nil {
			return err
		}
		lots, err := b.shipmentLots(cs)
		if err != nil {
			return err
		}
		if err := b.askFoodSafety(lots); err != nil {
			return err
		}
		for _, l := range lots {
			var mine []*Container
			for _, c := range cs {
				if c.Lot == l.Name {
					mine = append(mine, c)
					l.Reserved -= c.NetMass
					c.Outlet = sh.Outlet
				}
			}
			if err := b.takeContainers(l, mine, AtOutlet, sh.Outlet, ContainerShipped); err != nil {
				return err
			}
		}
		sh.State, sh.DispatchTime, sh.Dispatcher = ShipmentSent, when, b.move.Actor
		s.touch(&sh.Meta)
		if err := s.store.Shipments().Update(ctx, sh); err != nil {
			return err
		}
		if err := b.commit(); err != nil {
			return err
		}
		out = sh
		return s.events.Append(ctx, ShipmentDispatched{Shipment: sh})
	})
	return out, err
}

// shipmentLots are the lots of the containers, by name, each of them fit to ship by what is known here.
func (b *book) shipmentLots(cs []*Container) ([]*Lot, error) {
	var lots []*Lot
	var faults []*apierr.Error
	for _, c := range cs {
		if slices.ContainsFunc(lots, func(l *Lot) bool { return l.Name == c.Lot }) {
			continue
		}
		l, err := b.lot(c.Lot)
		if err != nil {
			return nil, err
		}
		lots = append(lots, l)
		item, err := b.item(c.Item)
		if err != nil {
			return nil, err
		}
		why, err := b.refusal(l, item, shipping)
		if err != nil {
			return nil, err
		}
		// A missing release alone is left to the food-safety service: its word may not have come here yet.
		if why != nil && why.Reason != LotNotReleased {
			faults = append(faults, why)
		}
	}
	if len(faults) > 0 {
		var all []lotFault
		for _, f := range faults {
			all = append(all, lotFault{f.Metadata["lot"], f.Violations[0].Description})
		}
		return nil, notShippable(all)
	}
	slices.SortFunc(lots, func(x, y *Lot) int { return strings.Compare(x.Name, y.Name) })
	return lots, nil
}

type lotFault struct{ lot, why string }

func notShippable(faults []lotFault) error {
	var words []string
	for _, f := range faults {
		if strings.Contains(f.why, f.lot) { // food safety names the lot in its reasons
			words = append(words, f.why)
			continue
		}
		words = append(words, f.lot+" "+f.why)
	}
	e := apierr.FailedPrecondition(LotNotShippable, "nothing was shipped: %s. Take the lots out of the shipment or have them cleared", strings.Join(words, "; ")).
		With("lots", strings.Join(lotsOf(faults), ","))
	for _, f := range faults {
		e = e.WithViolation(f.lot, "%s", f.why)
	}
	return e
}

func lotsOf(faults []lotFault) []string {
	var out []string
	for _, f := range faults {
		out = append(out, f.lot)
	}
	return out
}

// askFoodSafety asks about the lots and their made ancestors. The lots themselves must be shippable, which includes a release; what went into
// them must be known and clear: a stock that was boiled down needs no release of its own.
func (b *book) askFoodSafety(lots []*Lot) error {
	var names, inputs []string
	for _, l := range lots {
		names = append(names, l.Name)
	}
	for _, l := range lots {
		above, err := b.madeAncestors([]LotMass{{Lot: l.Name}})
		if err != nil {
			return err
		}
		for _, a := range above {
			if !slices.Contains(names, a) && !slices.Contains(inputs, a) {
				inputs = append(inputs, a)
			}
		}
	}
	ctx, cancel := context.WithTimeout(b.ctx, answerTime)
	defer cancel()
	answers := map[string]LotSafety{}
	for part := range slices.Chunk(append(slices.Clone(names), inputs...), 1000) {
		some, err := b.s.safety.CheckLots(ctx, b.site, part)
		if err != nil {
			return apierr.Unavailable(FoodSafetyUnavailable, "nothing was shipped: the food-safety service did not answer; try again when it is back").
				WithRetryAfter(answerTime).Wrap(fmt.Errorf("check lots of %s: %w", b.move.Document, err))
		}
		for _, a := range some {
			answers[a.Lot] = a
		}
	}
	var faults []lotFault
	for _, n := range names {
		if a, ok := answers[n]; !ok || !a.Shippable {
			faults = append(faults, lotFault{n, why(a, "must not be shipped")})
		}
	}
	for _, n := range inputs {
		if a, ok := answers[n]; !ok || !a.Known || !a.Clear {
			faults = append(faults, lotFault{n, why(a, "went into the goods and is not cleared")})
		}
	}
	if len(faults) > 0 {
		return notShippable(faults)
	}
	return nil
}

func why(a LotSafety, otherwise string) string {
	if !a.Known {
		return "is not known to the food-safety service yet; try again shortly"
	}
	if len(a.Reasons) > 0 {
		return strings.Join(a.Reasons, ", ")
	}
	return otherwise
}

// Arrival asks to take a shipment in at the outlet.
type Arrival struct {
	Shipment string
	Outlet   string // when given, the shipment must be for it
	Missing  []string
	Note     string
	Time     time.Time // zero means now
}

// ReceiveShipment takes a shipment in at the outlet. Containers that were not there are marked missing.
func (s *Service) ReceiveShipment(ctx context.Context, a Arrival) (*Shipment, error) {
	when, err := s.moment(a.Time, "receive_time")
	if err != nil {
		return nil, err
	}
	var out *Shipment
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		sh, err := s.Shipment(ctx, a.Shipment, a.Outlet)
		if err != nil {
			return err
		}
		if sh.State != ShipmentSent {
			return apierr.FailedPrecondition(ShipmentNotDispatched, "%s is %s, so it cannot arrive", sh.Name, sh.State).
				With("shipment", sh.Name).With("state", string(sh.State)).WithViolation(sh.Name, "is %s", sh.State)
		}
		if when.Before(sh.DispatchTime) {
			return apierr.InvalidArgument(RequestInvalid, "%s left at %s and cannot have arrived before", sh.Name, sh.DispatchTime.Format(time.RFC3339)).
				With("shipment", sh.Name).WithViolation("receive_time", "must not be before the dispatch")
		}
		cs, err := s.store.ShipmentContainers(ctx, sh.Name)
		if err != nil {
			return err
		}
		for _, m := range a.Missing {
			if !slices.ContainsFunc(cs, func(c *Container) bool { return c.Name == m }) {
				return apierr.InvalidArgument(ShipmentInvalid, "%s is not in %s", m, sh.Name).With("container", m).With("shipment", sh.Name).
					WithViolation("missing_containers", "%s is not in the shipment", m)
			}
		}
		for _, c := range cs {
			c.State = ContainerReceived
			if slices.Contains(a.Missing, c.Name) {
				c.State = ContainerMissed
			}
			s.touch(&c.Meta)
			if err := s.store.Containers().Update(ctx, c); err != nil {
				return err
			}
		}
		sh.State, sh.ReceiveTime, sh.Receiver, sh.Note = ShipmentReceivedIn, when, actor(ctx), a.Note
		sh.Missing = slices.Compact(slices.Sorted(slices.Values(a.Missing)))
		s.touch(&sh.Meta)
		if err := s.store.Shipments().Update(ctx, sh); err != nil {
			return err
		}
		out = sh
		return s.events.Append(ctx, ShipmentReceived{Shipment: sh})
	})
	return out, err
}
