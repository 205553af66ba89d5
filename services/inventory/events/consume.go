package events

import (
	"context"
	"fmt"

	"rondeau.internal/pkg/bus"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/inventory"
)

// Subjects of the facts that the service listens to.
const (
	subjectPurchaseProposed = "rondeau.planning.v1.purchase.proposed"
	subjectBatchCancelled   = "rondeau.planning.v1.batch.cancelled"
	subjectHoldPlaced       = "rondeau.foodsafety.v1.hold.placed"
	subjectHoldLifted       = "rondeau.foodsafety.v1.hold.lifted"
	subjectLotReleased      = "rondeau.foodsafety.v1.lot.released"
)

// maxDeliver is how often a fact is tried before it is parked for a person.
const maxDeliver = 8

// Consumers are the durable consumers of the service.
func Consumers(stock *inventory.Service) []bus.Consumer {
	handle := func(ctx context.Context, m bus.Message) error { return Apply(ctx, stock, m.Event) }
	return []bus.Consumer{
		{Durable: "inventory-planning", Stream: "planning", Subjects: []string{subjectPurchaseProposed, subjectBatchCancelled}, Handle: handle, MaxDeliver: maxDeliver},
		{Durable: "inventory-foodsafety", Stream: "foodsafety", Subjects: []string{subjectHoldPlaced, subjectHoldLifted, subjectLotReleased}, Handle: handle, MaxDeliver: maxDeliver},
	}
}

// Apply turns a fact of another service into a use case. Facts of other subjects are ignored.
func Apply(ctx context.Context, stock *inventory.Service, e outbox.Event) error {
	switch e.Subject {
	case subjectPurchaseProposed:
		return outbox.Read(e, &planningpb.PurchaseProposed{}, func(m *planningpb.PurchaseProposed) error { return propose(ctx, stock, m.GetPurchase()) })
	case subjectBatchCancelled:
		return outbox.Read(e, &planningpb.BatchCancelled{}, func(m *planningpb.BatchCancelled) error { return stock.CancelBatch(ctx, m.GetBatch()) })
	case subjectHoldPlaced:
		return outbox.Read(e, &foodsafetypb.HoldPlaced{}, func(m *foodsafetypb.HoldPlaced) error { return stock.NoteHold(ctx, hold(m.GetHold(), false)) })
	case subjectHoldLifted:
		return outbox.Read(e, &foodsafetypb.HoldLifted{}, func(m *foodsafetypb.HoldLifted) error { return stock.NoteHold(ctx, hold(m.GetHold(), true)) })
	case subjectLotReleased:
		return outbox.Read(e, &foodsafetypb.LotReleased{}, func(m *foodsafetypb.LotReleased) error {
			signed := m.GetRelease().GetSignTime().AsTime()
			if m.GetRelease().GetSignTime() == nil {
				signed = e.Time
			}
			return stock.NoteRelease(ctx, m.GetLot(), signed)
		})
	}
	return nil
}

func propose(ctx context.Context, stock *inventory.Service, p *planningpb.Purchase) error {
	mass, err := units.Mass(p.GetMassKg()).Milligrams()
	if err != nil {
		return fmt.Errorf("purchase %s: %w", p.GetName(), err)
	}
	return stock.ProposePurchase(ctx, inventory.Purchase{Name: p.GetName(), Item: p.GetItem(), Supplier: p.GetSupplier(), Mass: mass, Date: p.GetDeliveryDate()})
}

func hold(h *foodsafetypb.Hold, lifted bool) inventory.Hold {
	return inventory.Hold{Name: h.GetName(), Subject: h.GetSubject(), PlaceTime: h.GetPlaceTime().AsTime(), Lifted: lifted || h.GetState() == foodsafetypb.Hold_LIFTED}
}
