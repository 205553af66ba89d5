package demo

import (
	"context"
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/apierr"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
)

// expectDispatches lets the lorry leave to each outlet that gets goods on a day.
func (w *world) expectDispatches(day int) {
	noon := w.localDay(day, 12, 0)
	for _, outlet := range w.house.outlets {
		if !dispatches(outlet, noon) {
			continue
		}
		clock := outlet.GetDispatchTimeOfDay()
		if clock == "" {
			clock = "06:00"
		}
		at := clockOn(time.Date(noon.Year(), noon.Month(), noon.Day(), 0, 0, 0, 0, w.zone), clock)
		w.queue.add(at, "dispatch to "+outlet.GetDisplayName(), func(ctx context.Context) error { return w.dispatchDay(ctx, outlet) })
	}
}

// dispatchDay ships the orders of an outlet for today.
func (w *world) dispatchDay(ctx context.Context, outlet *planningpb.Outlet) error {
	d := w.here(manager)
	page, err := d.planning.ListOrders(ctx, &planningpb.ListOrdersRequest{
		Parent: outlet.GetName(), PageSize: fullPage, Filter: fmt.Sprintf(`dispatch_date = "%s"`, w.date(w.now)),
	})
	if err != nil {
		return err
	}
	for _, o := range page.GetOrders() {
		if o.GetState() == planningpb.Order_CANCELLED {
			continue
		}
		err = w.ship(ctx, o)
		if err != nil {
			return err
		}
	}
	return nil
}

// ship picks what there is for an order and sends it off.
func (w *world) ship(ctx context.Context, o *planningpb.Order) error {
	d := w.here(manager)
	request := &inventorypb.CreateShipmentRequest{
		Parent: w.site, Outlet: o.GetName()[:len(o.GetName())-len("/orders/")-len(idOf(o.GetName()))], Order: o.GetName(), AllowPartial: true,
	}
	for _, l := range o.GetLines() {
		request.Lines = append(request.Lines, &inventorypb.CreateShipmentRequest_Line{
			Item: w.house.product[l.GetProduct()].GetItem(), Product: l.GetProduct(), ContainerCount: l.GetContainerCount() - l.GetShippedContainerCount(),
		})
	}
	s, err := d.inventory.CreateShipment(ctx, request)
	if known, ok := apierr.As(err); ok && known.Reason == "STOCK_SHORT" {
		w.say("nothing to ship to %s: %s", idOf(request.GetOutlet()), known.Message)
		return nil
	}
	if err != nil {
		return err
	}
	if !w.twists.heldShipment && w.now.After(w.localDay(3, 0, 0)) && w.lastOfDay() {
		w.twists.heldShipment = true
		return w.shipHeld(ctx, o, s)
	}
	return w.dispatch(ctx, o, s)
}

// lastOfDay says whether no lorry leaves later today, so that a held lot keeps nobody else waiting.
func (w *world) lastOfDay() bool {
	for _, e := range w.queue.events {
		if strings.HasPrefix(e.name, "dispatch to ") && w.date(e.at) == w.date(w.now) {
			return false
		}
	}
	return true
}

// dispatch sends a shipment off; the outlet takes it in a while later.
func (w *world) dispatch(ctx context.Context, o *planningpb.Order, s *inventorypb.Shipment) error {
	sent, err := w.here(manager).inventory.DispatchShipment(ctx, &inventorypb.DispatchShipmentRequest{Name: s.GetName(), DispatchTime: timestamppb.New(w.now)})
	if err != nil {
		return err
	}
	count := int32(0)
	for _, l := range sent.GetLines() {
		count += int32(len(l.GetContainers()))
	}
	for _, l := range o.GetLines() {
		w.news = appendShipped(w.news, o.GetName(), l.GetShippedContainerCount())
	}
	w.news = appendShipped(w.news, o.GetName(), count)
	w.report.Shipments = append(w.report.Shipments, ShipmentSent{
		Name: sent.GetName(), SSCC: sent.GetSscc(), Order: o.GetName(), Outlet: idOf(sent.GetOutlet()), Due: o.GetDispatchTime().AsTime(), Sent: sent.GetDispatchTime().AsTime(),
		Packs: int(count), MassKg: sent.GetNetMassKg(),
	})
	at := len(w.report.Shipments) - 1
	outlet := sent.GetOutlet()
	w.queue.add(w.now.Add(40*time.Minute), "arrival at "+idOf(outlet), func(ctx context.Context) error {
		got, err := w.here(orderer(outlet)).inventory.ReceiveShipment(ctx, &inventorypb.ReceiveShipmentRequest{
			Name: sent.GetName(), Outlet: outlet, ReceiveTime: timestamppb.New(w.now),
		})
		if err != nil {
			return err
		}
		w.report.Shipments[at].Received = got.GetReceiveTime().AsTime()
		return nil
	})
	return nil
}

// firstContainer is a container of a shipment, which has at least one; in a partial shipment a line may have none.
func firstContainer(s *inventorypb.Shipment) string {
	for _, l := range s.GetLines() {
		if len(l.GetContainers()) > 0 {
			return l.GetContainers()[0]
		}
	}
	return ""
}

// appendShipped adds packs to what planning must hear of an order.
func appendShipped(news []pending, order string, count int32) []pending {
	for i := range news {
		if news[i].order == order {
			news[i].shipped += count
			return news
		}
	}
	return append(news, pending{order: order, shipped: count})
}

// shipHeld lets the safety lead hold a lot of a shipment at the last minute: the dispatch is refused. The doubt is
// cleared, another person lifts the hold, the lot is signed anew and leaves late.
func (w *world) shipHeld(ctx context.Context, o *planningpb.Order, s *inventorypb.Shipment) error {
	container, err := w.here(auditor).inventory.GetContainer(ctx, &inventorypb.GetContainerRequest{Name: firstContainer(s)})
	if err != nil {
		return err
	}
	lot := container.GetLot()
	hold, err := w.here(firstSafety).foodsafety.PlaceHold(ctx, &foodsafetypb.PlaceHoldRequest{Parent: w.site, Hold: &foodsafetypb.Hold{
		Subject: lot, Reason: "A label of the lot was reported unreadable; check before it leaves.",
	}})
	if err != nil {
		return err
	}
	_, err = w.here(manager).inventory.DispatchShipment(ctx, &inventorypb.DispatchShipmentRequest{Name: s.GetName(), DispatchTime: timestamppb.New(w.now)})
	err = w.refused("dispatch to "+idOf(s.GetOutlet())+" with a held lot", "LOT_NOT_SHIPPABLE", err)
	if err != nil {
		return err
	}
	w.queue.add(w.now.Add(25*time.Minute), "clear the held lot", func(ctx context.Context) error {
		_, err := w.here(firstSafety).foodsafety.LiftHold(ctx, &foodsafetypb.LiftHoldRequest{Name: hold.GetName(), Reason: "Labels are in order."})
		err = w.refused("lifting of a hold by the person who placed it", "SECOND_PERSON_REQUIRED", err)
		if err != nil {
			return err
		}
		_, err = w.here(otherSafety).foodsafety.LiftHold(ctx, &foodsafetypb.LiftHoldRequest{Name: hold.GetName(), Reason: "All labels of the lot were read; they are in order."})
		if err != nil {
			return err
		}
		err = w.releaseBy(ctx, otherSafety, lot)
		if err != nil {
			return err
		}
		return w.dispatch(ctx, o, s)
	})
	return nil
}
