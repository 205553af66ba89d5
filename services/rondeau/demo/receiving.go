package demo

import (
	"context"
	"fmt"
	"sort"
	"time"

	"google.golang.org/protobuf/proto"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
)

// opening is what is brought before the first day begins, by item: enough for the dishes of the first days and the dry
// goods of the week. Masses are of the scenario.
var opening = []struct {
	item string
	kg   float64
}{
	{"veal-bones", 260},
	{"chicken-bones", 150},
	{"onions", 120},
	{"carrots", 80},
	{"celery", 60},
	{"leeks", 25},
	{"mushroom-trim", 12},
	{"garlic", 8},
	{"herb-sachets", 6},
	{"tomato-paste", 72},
	{"whole-tomatoes", 360},
	{"flour", 30},
	{"butter", 30},
	{"white-wine", 18},
	{"olive-oil", 15},
	{"salt", 10},
}

// receiveOpening books the opening stock in: one delivery per supplier, announced and received.
func (w *world) receiveOpening(ctx context.Context) error {
	lines := map[string][]*inventorypb.DeliveryLine{}
	for _, o := range opening {
		item := w.item(o.item)
		if item == nil || item.GetPurchase().GetSupplier() == "" {
			continue
		}
		supplier := item.GetPurchase().GetSupplier()
		lines[supplier] = append(lines[supplier], &inventorypb.DeliveryLine{Item: item.GetName(), ExpectedMassKg: o.kg})
	}
	suppliers := make([]string, 0, len(lines))
	for s := range lines {
		suppliers = append(suppliers, s)
	}
	sort.Strings(suppliers)
	d := w.here(receiver)
	for _, s := range suppliers {
		delivery, err := d.inventory.CreateDelivery(ctx, &inventorypb.CreateDeliveryRequest{
			Parent: w.site, DeliveryId: "opening-" + idOf(s),
			Delivery: &inventorypb.Delivery{Supplier: s, ExpectedDate: w.date(w.now), Lines: lines[s]},
		})
		if err != nil {
			return err
		}
		_, err = w.receive(ctx, delivery)
		if err != nil {
			return err
		}
	}
	return nil
}

// receiveDue books in what is due today.
func (w *world) receiveDue(ctx context.Context) error {
	d := w.here(receiver)
	due, err := all(func(token string) ([]*inventorypb.Delivery, string, error) {
		page, err := d.inventory.ListDeliveries(ctx, &inventorypb.ListDeliveriesRequest{
			Parent: w.site, PageSize: fullPage, PageToken: token, Filter: fmt.Sprintf(`state = EXPECTED AND expected_date <= "%s"`, w.date(w.now)),
		})
		return page.GetDeliveries(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	sort.Slice(due, func(i, j int) bool {
		if due[i].GetExpectedDate() != due[j].GetExpectedDate() {
			return due[i].GetExpectedDate() < due[j].GetExpectedDate()
		}
		if due[i].GetSupplier() != due[j].GetSupplier() {
			return due[i].GetSupplier() < due[j].GetSupplier()
		}
		return due[i].GetLines()[0].GetPurchase() < due[j].GetLines()[0].GetPurchase()
	})
	rejected := 0
	for _, delivery := range due {
		n, err := w.receive(ctx, delivery)
		if err != nil {
			return err
		}
		rejected += n
	}
	if rejected == 0 {
		return nil
	}
	w.queue.add(w.now.Add(10*time.Minute), "plan without the rejected goods", func(ctx context.Context) error {
		return w.replan(ctx, fmt.Sprintf("%d delivery line too warm and rejected", rejected))
	})
	return nil
}

// receive weighs and measures a delivery. The first meat that comes after the opening stock has been too warm on the way.
func (w *world) receive(ctx context.Context, delivery *inventorypb.Delivery) (rejected int, err error) {
	request := &inventorypb.ReceiveDeliveryRequest{Name: delivery.GetName(), DocumentNumber: w.document(delivery)}
	for _, l := range delivery.GetLines() {
		item := w.house.items[l.GetItem()]
		// Named by what it is, not by the delivery: names that a service makes up differ from run to run.
		key := fmt.Sprintf("%s on %s, %s", idOf(l.GetItem()), delivery.GetExpectedDate(), idOf(l.GetPurchase()))
		line := &inventorypb.ReceiveDeliveryRequest_Line{
			LineId: l.GetLineId(), ReceivedMassKg: l.GetExpectedMassKg(), Condition: inventorypb.DeliveryLine_SOUND,
			SupplierLot: fmt.Sprintf("%s%04d", initials(idOf(delivery.GetSupplier())), w.draws.whole("lot of "+key, 1000, 9999)),
		}
		if limit := item.MaxReceiptTemperatureCelsius; limit != nil {
			celsius := min(w.draws.normal("temperature of "+key, 2.6, 0.7), *limit-0.2)
			if w.warm(l.GetItem()) {
				w.twists.warmDelivery = true
				celsius = *limit + w.draws.between("too warm", 2.5, 5)
			}
			line.TemperatureCelsius = proto.Float64(tenth(celsius))
		}
		request.Lines = append(request.Lines, line)
	}
	got, err := w.here(receiver).inventory.ReceiveDelivery(ctx, request)
	if err != nil {
		return 0, err
	}
	w.report.Receiving.Deliveries++
	for _, l := range got.GetLines() {
		switch l.GetDecision() {
		case inventorypb.DeliveryLine_ACCEPTED:
			w.report.Receiving.Lines++
			w.report.Receiving.MassKg += l.GetReceivedMassKg()
		case inventorypb.DeliveryLine_REJECTED:
			rejected++
			w.report.Receiving.Rejected = append(w.report.Receiving.Rejected, RejectedLine{
				Time: w.now, Item: w.title(l.GetItem()), MassKg: l.GetReceivedMassKg(), Celsius: l.GetTemperatureCelsius(), Reason: l.GetDecisionReason(),
			})
			w.say("rejected %.0f kg %s: %s", l.GetReceivedMassKg(), w.title(l.GetItem()), l.GetDecisionReason())
			w.expectReceivingDeviation(got.GetName(), l.GetLineId())
		}
	}
	return rejected, nil
}

// warm says whether this line is the one that was warm on the way.
func (w *world) warm(item string) bool {
	meat := idOf(item) == "veal-bones" || idOf(item) == "chicken-bones"
	return meat && !w.twists.warmDelivery && w.now.After(w.localDay(0, 12, 0))
}

func (w *world) document(d *inventorypb.Delivery) string {
	return fmt.Sprintf("%s-%s", initials(idOf(d.GetSupplier())), d.GetExpectedDate())
}

// initials are the first letters of the words of an id, in capitals.
func initials(id string) string {
	out := ""
	first := true
	for _, r := range id {
		if first && r >= 'a' && r <= 'z' {
			out += string(r - 'a' + 'A')
		}
		first = r == '-'
	}
	return out
}

// expectReceivingDeviation lets the safety lead settle the deviation that food safety opens for a line that was too warm.
func (w *world) expectReceivingDeviation(delivery, line string) {
	w.queue.add(w.now.Add(25*time.Minute), "settle the warm delivery", func(ctx context.Context) error {
		var found *foodsafetypb.Deviation
		err := arrive(ctx, "the deviation of "+delivery, func(ctx context.Context) (string, error) {
			list, err := w.deviations(ctx, "kind = RECEIVING_TEMPERATURE")
			if err != nil {
				return "", err
			}
			for _, d := range list {
				if len(d.GetSubjects()) > 0 && d.GetSubjects()[0] == delivery && d.GetState() == foodsafetypb.Deviation_OPEN {
					found = d
					return "", nil
				}
			}
			return "food safety has not heard of line " + line, nil
		})
		if err != nil {
			return err
		}
		return w.settleDeviation(ctx, found, foodsafetypb.CorrectiveAction_REJECT_TO_SUPPLIER,
			"Sent back with the lorry; supplier told to send a logger with the next load.")
	})
}
