package planning

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
)

// OrderState is the state of an order.
type OrderState string

// The states of an order. Confirmed is never stored: a placed order counts as confirmed from its cut-off on.
const (
	OrderPlaced    OrderState = "PLACED"
	OrderConfirmed OrderState = "CONFIRMED"
	OrderShipped   OrderState = "SHIPPED"
	OrderCancelled OrderState = "CANCELLED"
)

// Order is what an outlet wants on one dispatch day.
type Order struct {
	Meta
	DispatchDate Date
	Lines        []OrderLine
	State        OrderState // as stored; see StateAt
	PlaceTime    time.Time
	CutOffTime   time.Time
	DispatchTime time.Time
	Note         string
	// Shipments holds the names of the shipments already counted, so that a repeated event changes nothing.
	Shipments []string
}

// OrderLine is what is wanted of one product.
type OrderLine struct {
	Product string
	Count   int
	Shipped int
	Planned *int // packs covered by the released plan; nil until one knows the order
}

// Open returns the packs that are still to be shipped.
func (l *OrderLine) Open() int { return max(l.Count-l.Shipped, 0) }

// StateAt returns the state at a moment: a placed order is confirmed by its cut-off.
func (o *Order) StateAt(now time.Time) OrderState {
	if o.State == OrderPlaced && !now.Before(o.CutOffTime) {
		return OrderConfirmed
	}
	return o.State
}

// Outlet returns the outlet that ordered.
func (o *Order) Outlet() string { return ParentOf(o.Name) }

func (o *Order) check() error {
	var f faults
	site := SiteOf(o.Name)
	if o.DispatchDate == "" {
		f.add("order.dispatch_date", "is empty: give the day of dispatch as in 2026-03-29")
	} else if d, err := ParseDate(string(o.DispatchDate)); err != nil {
		f.add("order.dispatch_date", "%s", err)
	} else {
		o.DispatchDate = d
	}
	if len(o.Lines) == 0 {
		f.add("order.lines", "is empty: order at least one product")
	}
	seen := map[string]bool{}
	for i, line := range o.Lines {
		at := fmt.Sprintf("order.lines[%d].product", i)
		if SiteOf(line.Product) != site {
			f.add(at, "%s belongs to another site", line.Product)
		}
		if seen[line.Product] {
			f.add(at, "%s is listed twice: give it once with the whole number of packs", line.Product)
		}
		seen[line.Product] = true
	}
	return f.err("order " + o.Name)
}

// setMoments fills cut-off and dispatch from the present settings of site and outlet.
func (o *Order) setMoments(site *Site, outlet *Outlet) {
	o.CutOffTime = cutOffMoment(site, outlet, o.DispatchDate)
	o.DispatchTime = dispatchMoment(site, outlet, o.DispatchDate)
}

// siteAndOutlet loads both for an order's outlet.
func (s *Service) siteAndOutlet(ctx context.Context, outlet string) (*Site, *Outlet, error) {
	o, err := s.store.Outlets().Get(ctx, outlet)
	if err != nil {
		return nil, nil, err
	}
	site, err := s.store.Sites().Get(ctx, SiteOf(outlet))
	return site, o, err
}

// CreateOrder places an order.
func (s *Service) CreateOrder(ctx context.Context, parent, id string, order *Order) (*Order, error) {
	name, err := childName(parent, "orders", id, "order")
	if err != nil {
		return nil, err
	}
	now := s.now()
	order.Meta = newMeta(name, now)
	order.State, order.PlaceTime, order.Shipments = OrderPlaced, now, nil
	for i := range order.Lines {
		order.Lines[i].Shipped, order.Lines[i].Planned = 0, nil
	}
	if err := order.check(); err != nil {
		return nil, err
	}
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		site, outlet, err := s.siteAndOutlet(ctx, parent)
		if err != nil {
			return err
		}
		if !outlet.Active {
			return apierr.FailedPrecondition(OutletInactive, "%s is not active and cannot order: ask the kitchen to activate it", outlet.Name).With("outlet", outlet.Name)
		}
		if err := s.checkProducts(ctx, order, nil); err != nil {
			return err
		}
		if err := checkOpen(site, outlet, order.DispatchDate, now); err != nil {
			return err
		}
		order.setMoments(site, outlet)
		if err := s.store.Orders().Insert(ctx, order); err != nil {
			return err
		}
		return s.events.OrderPlaced(ctx, order)
	})
	if err != nil {
		return nil, err
	}
	return order, nil
}

// checkProducts refuses unknown products, and inactive ones unless the order had them before.
func (s *Service) checkProducts(ctx context.Context, order *Order, before []OrderLine) error {
	for i, line := range order.Lines {
		product, err := s.store.Products().Get(ctx, line.Product)
		if err != nil {
			return err
		}
		had := slices.ContainsFunc(before, func(l OrderLine) bool { return l.Product == line.Product })
		if !product.Active && !had {
			return apierr.FailedPrecondition(ProductInactive, "%s (%s) cannot be ordered any more: choose another product", product.Name, product.DisplayName).
				With("product", product.Name).With("display_name", product.DisplayName).
				WithViolation(fmt.Sprintf("order.lines[%d].product", i), "is not active")
		}
	}
	return nil
}

// mustBeOpen refuses to change an order that is closed, cancelled or already on its way.
func (o *Order) mustBeOpen(site *Site, outlet *Outlet, now time.Time) error {
	if o.State == OrderShipped || o.State == OrderCancelled {
		return apierr.FailedPrecondition(OrderClosed, "%s is %s and cannot be changed: place a new order", o.Name, strings.ToLower(string(o.State))).
			With("resource", o.Name).With("state", strings.ToLower(string(o.State)))
	}
	if len(o.Shipments) > 0 {
		return apierr.FailedPrecondition(OrderPartlyShipped, "packs of %s have left the kitchen already: place a new order for more", o.Name).With("resource", o.Name)
	}
	if now.Before(o.CutOffTime) {
		return nil
	}
	next := nextOpenDay(site, outlet, now)
	hint := "no dispatch day is open in the next weeks"
	if next != "" {
		hint = fmt.Sprintf("place a new order for %s %s or later", next.Weekday(), next)
	}
	return closedError(outlet.Name, o.DispatchDate, o.CutOffTime, site, next, hint)
}

// UpdateOrder changes an order before its cut-off.
func (s *Service) UpdateOrder(ctx context.Context, name, etag string, change func(*Order) error) (*Order, error) {
	return s.changeOrder(ctx, name, etag, func(ctx context.Context, order *Order, site *Site, outlet *Outlet) error {
		before := *order
		if err := change(order); err != nil {
			return err
		}
		date, lines, note := order.DispatchDate, order.Lines, order.Note
		*order = before
		order.DispatchDate, order.Note, order.Lines = date, note, slices.Clone(lines)
		for i := range order.Lines {
			order.Lines[i].Shipped, order.Lines[i].Planned = 0, nil
			for _, old := range before.Lines {
				if old.Product == order.Lines[i].Product && old.Count == order.Lines[i].Count && date == before.DispatchDate {
					order.Lines[i].Planned = old.Planned
				}
			}
		}
		if err := order.check(); err != nil {
			return err
		}
		if err := s.checkProducts(ctx, order, before.Lines); err != nil {
			return err
		}
		if order.DispatchDate != before.DispatchDate {
			if err := checkOpen(site, outlet, order.DispatchDate, s.now()); err != nil {
				return err
			}
			order.setMoments(site, outlet)
		}
		return nil
	}, s.events.OrderChanged)
}

// CancelOrder cancels an order before its cut-off. Cancelling twice is no error.
func (s *Service) CancelOrder(ctx context.Context, name, etag string) (*Order, error) {
	order, err := s.store.Orders().Get(ctx, name)
	if err != nil {
		return nil, err
	}
	if order.State == OrderCancelled {
		return order, nil
	}
	return s.changeOrder(ctx, name, etag, func(_ context.Context, order *Order, _ *Site, _ *Outlet) error {
		order.State = OrderCancelled
		return nil
	}, s.events.OrderCancelled)
}

func (s *Service) changeOrder(ctx context.Context, name, etag string,
	change func(ctx context.Context, order *Order, site *Site, outlet *Outlet) error, event func(ctx context.Context, order *Order) error,
) (*Order, error) {
	var out *Order
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		order, err := s.store.Orders().Get(ctx, name)
		if err != nil {
			return err
		}
		if err := order.checkEtag(etag); err != nil {
			return err
		}
		site, outlet, err := s.siteAndOutlet(ctx, order.Outlet())
		if err != nil {
			return err
		}
		if err := order.mustBeOpen(site, outlet, s.now()); err != nil {
			return err
		}
		if err := change(ctx, order, site, outlet); err != nil {
			return err
		}
		if err := s.save(ctx, order, func(ctx context.Context) error { return s.store.Orders().Update(ctx, order) }); err != nil {
			return err
		}
		out = order
		return event(ctx, order)
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// Order returns one order.
func (s *Service) Order(ctx context.Context, name string) (*Order, error) {
	return s.store.Orders().Get(ctx, name)
}

// ListOrders returns a page of orders in order of dispatch day and name.
func (s *Service) ListOrders(ctx context.Context, q Query) ([]*Order, error) {
	return s.store.Orders().List(ctx, q)
}

// Now returns the moment by which states are judged.
func (s *Service) Now() time.Time { return s.now() }

// ShippedLine is what of one product left in a shipment. Item is used where Product is empty.
type ShippedLine struct {
	Product string
	Item    string
	Count   int
}

// RecordShipment counts a dispatched shipment on its order. The same shipment is counted once, in whatever order events
// come; a shipment without order is ignored.
func (s *Service) RecordShipment(ctx context.Context, shipment, orderName string, lines []ShippedLine) error {
	if orderName == "" {
		return nil
	}
	return s.store.InTx(ctx, func(ctx context.Context) error {
		order, err := s.store.Orders().Get(ctx, orderName)
		if err != nil {
			return fmt.Errorf("count shipment %s: %w", shipment, err)
		}
		if slices.Contains(order.Shipments, shipment) {
			return nil
		}
		products, err := s.store.SiteProducts(ctx, SiteOf(orderName))
		if err != nil {
			return err
		}
		for _, l := range lines {
			product := l.Product
			for _, p := range products {
				if product == "" && p.Item == l.Item {
					product = p.Name
				}
			}
			for i := range order.Lines {
				if order.Lines[i].Product == product {
					order.Lines[i].Shipped += l.Count
				}
			}
		}
		order.Shipments = append(order.Shipments, shipment)
		if !slices.ContainsFunc(order.Lines, func(l OrderLine) bool { return l.Open() > 0 }) {
			order.State = OrderShipped
		}
		return s.save(ctx, order, func(ctx context.Context) error { return s.store.Orders().Update(ctx, order) })
	})
}
