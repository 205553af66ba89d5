package demo

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"rondeau.internal/pkg/apierr"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/rpc"
)

// dish says how outlets order a product: from which day of the week of the story on it can be had fresh, how likely an
// order holds it, and how many packs.
type dish struct {
	product   string
	firstDay  int
	chance    float64
	low, high int
}

// menu is what outlets order, chosen so that the week keeps the kettles busy (no source).
var menu = []dish{
	{"vegetable-stock-2500g", 2, 0.60, 4, 9},
	{"tomato-2500g", 2, 0.65, 4, 9},
	{"chicken-stock-2500g", 3, 0.60, 4, 8},
	{"fumet-1kg", 3, 0.45, 5, 10},
	{"brown-stock-2500g", 4, 0.40, 2, 5},
	{"veloute-1kg", 4, 0.45, 4, 8},
	{"glace-250g", 4, 0.35, 4, 8},
	{"espagnole-1kg", 5, 0.40, 3, 6},
	{"demi-1kg", 5, 0.65, 3, 7},
}

// lastOrderDay is the last dispatch day that is ordered for: the second day of the week after. What is ordered for the
// days after the story keeps the kitchen working to its end.
const lastOrderDay = 8

// placed is an order as its outlet knows it.
type placed struct {
	outlet *planningpb.Outlet
	day    int
	name   string
	lines  []*planningpb.Order_Line
}

// expectOrders lets each outlet order for its dispatch days: those of the week at once, those of the next one as the days
// go. Some change their mind, one cancels, one comes too late.
func (w *world) expectOrders() {
	index := 0
	var changes, cancels []*placed
	for _, outlet := range w.house.outlets {
		for day := 2; day <= lastOrderDay; day++ {
			if !dispatches(outlet, w.localDay(day, 12, 0)) {
				continue
			}
			p := &placed{outlet: outlet, day: day, lines: w.wishes(outlet, day)}
			if len(p.lines) == 0 {
				continue
			}
			at := w.start.Add(5*time.Minute + time.Duration(index)*20*time.Second)
			if day >= 6 { // the week after is ordered for as this one goes
				at = w.localDay(1+index%3, 10, 0).Add(time.Duration(index) * time.Minute)
			}
			index++
			w.queue.add(at, "order of "+outlet.GetDisplayName(), func(ctx context.Context) error { return w.placeOrder(ctx, p) })
			if day >= 4 && day < 7 {
				changes = append(changes, p)
			} else if day < 4 {
				cancels = append(cancels, p)
			}
		}
	}
	for i, p := range changes {
		if i%4 == 1 {
			w.queue.add(w.localDay(1, 11, 30).Add(time.Duration(i)*time.Minute), "change of an order", func(ctx context.Context) error { return w.changeOrder(ctx, p) })
		}
	}
	if len(cancels) > 0 {
		p := cancels[w.draws.whole("cancelled order", 0, len(cancels)-1)]
		w.queue.add(w.localDay(0, 11, 0), "cancellation of an order", func(ctx context.Context) error { return w.cancelOrder(ctx, p) })
	}
	w.queue.add(w.localDay(1, 15, 0), "an order after the cut-off", w.orderTooLate)
}

// dispatches says whether an outlet gets goods on the day of a moment.
func dispatches(outlet *planningpb.Outlet, day time.Time) bool {
	if len(outlet.GetDispatchWeekdays()) == 0 {
		return true
	}
	for _, wd := range outlet.GetDispatchWeekdays() {
		if int(wd)%7 == int(day.Weekday()) {
			return true
		}
	}
	return false
}

// wishes draws what an outlet wants on a day.
func (w *world) wishes(outlet *planningpb.Outlet, day int) []*planningpb.Order_Line {
	var lines []*planningpb.Order_Line
	for _, d := range menu {
		product := w.site + "/products/" + d.product
		key := fmt.Sprintf("order of %s on day %d for %s", idOf(outlet.GetName()), day, d.product)
		if w.house.product[product] == nil || day < d.firstDay || w.draws.between(key, 0, 1) > d.chance {
			continue
		}
		lines = append(lines, &planningpb.Order_Line{Product: product, ContainerCount: int32(w.draws.whole(key+", packs", d.low, d.high))})
	}
	return lines
}

func (w *world) placeOrder(ctx context.Context, p *placed) error {
	d := w.here(orderer(p.outlet.GetName()))
	order, err := d.planning.CreateOrder(ctx, &planningpb.CreateOrderRequest{
		Parent: p.outlet.GetName(), OrderId: fmt.Sprintf("day-%d", p.day),
		Order: &planningpb.Order{DispatchDate: w.date(w.localDay(p.day, 12, 0)), Lines: p.lines},
	})
	if err != nil {
		return err
	}
	p.name = order.GetName()
	w.report.Ordering.Placed++
	if w.now.After(w.start.Add(time.Hour)) {
		w.report.Ordering.Later++
	}
	return nil
}

// changeOrder adds packs to the first line.
func (w *world) changeOrder(ctx context.Context, p *placed) error {
	if p.name == "" {
		return nil
	}
	d := w.here(orderer(p.outlet.GetName()))
	p.lines[0].ContainerCount += 2
	_, err := d.planning.UpdateOrder(ctx, &planningpb.UpdateOrderRequest{
		Order: &planningpb.Order{Name: p.name, Lines: p.lines}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"lines"}},
	})
	if err != nil {
		return err
	}
	w.report.Ordering.Changed++
	w.say("%s changes its order", p.outlet.GetDisplayName())
	return nil
}

func (w *world) cancelOrder(ctx context.Context, p *placed) error {
	d := w.here(orderer(p.outlet.GetName()))
	_, err := d.planning.CancelOrder(ctx, &planningpb.CancelOrderRequest{Name: p.name})
	if err != nil {
		return err
	}
	w.report.Ordering.Cancelled++
	w.say("%s cancels its order", p.outlet.GetDisplayName())
	return nil
}

// orderTooLate tries to order for the next dispatch day, whose cut-off is over.
func (w *world) orderTooLate(ctx context.Context) error {
	tomorrow := w.now.Add(24 * time.Hour)
	for _, outlet := range w.house.outlets {
		if !dispatches(outlet, tomorrow.In(w.zone)) {
			continue
		}
		d := w.here(orderer(outlet.GetName()))
		lines := []*planningpb.Order_Line{{Product: w.house.products[0].GetName(), ContainerCount: 2}}
		_, err := d.planning.CreateOrder(ctx, &planningpb.CreateOrderRequest{
			Parent: outlet.GetName(), OrderId: "too-late", Order: &planningpb.Order{DispatchDate: w.date(tomorrow), Lines: lines},
		})
		return w.refused("order of "+outlet.GetDisplayName()+" after the cut-off", "ORDER_AFTER_CUT_OFF", err)
	}
	return nil
}

// refused notes a refusal that the story counts on. A call that was not refused, or for another reason, ends the story.
func (w *world) refused(what, reason string, err error) error {
	if err == nil {
		return fmt.Errorf("%s was not refused; %s was expected", what, reason)
	}
	known, ok := apierr.As(rpc.FromStatus(err))
	if !ok || known.Reason != reason {
		return fmt.Errorf("%s: %s was expected: %w", what, reason, err)
	}
	w.report.Refusals = append(w.report.Refusals, Refusal{Time: w.now, What: what, Reason: reason, Message: known.Message})
	w.say("refused (%s): %s", reason, what)
	return nil
}

// planNewOrders plans again when orders changed since the plan was made.
func (w *world) planNewOrders(ctx context.Context) error {
	orders, err := w.listOrders(ctx)
	if err != nil {
		return err
	}
	news := 0
	for _, o := range orders {
		if o.GetUpdateTime().AsTime().After(w.schedule.planned) && o.GetState() == planningpb.Order_PLACED || w.cancelledSince(o) {
			news++
		}
	}
	if news == 0 {
		return nil
	}
	return w.replan(ctx, fmt.Sprintf("%d orders are new, changed or cancelled", news))
}

func (w *world) cancelledSince(o *planningpb.Order) bool {
	return o.GetState() == planningpb.Order_CANCELLED && o.GetUpdateTime().AsTime().After(w.schedule.planned)
}

func (w *world) listOrders(ctx context.Context) ([]*planningpb.Order, error) {
	d := w.here(manager)
	return all(func(token string) ([]*planningpb.Order, string, error) {
		page, err := d.planning.ListOrders(ctx, &planningpb.ListOrdersRequest{Parent: w.site + "/outlets/-", PageSize: fullPage, PageToken: token})
		return page.GetOrders(), page.GetNextPageToken(), err
	})
}
