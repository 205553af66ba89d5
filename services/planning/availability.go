package planning

import (
	"context"
	"fmt"
	"slices"
	"time"

	"rondeau.internal/pkg/apierr"
)

// promiseDays is how far ahead of the asked day commitments are looked at.
const promiseDays = 120

// Availability is what can be promised of a product for a dispatch day.
type Availability struct {
	Promised    int
	Stock       int
	Planned     int
	Committed   int
	Day         Date
	CutOff      time.Time
	Open        bool
	NextOpenDay Date
	Explanation string
	Surety      Surety
}

// CheckAvailability says how many packs can be promised to an outlet for a day: stock and released batches that are ready by
// the moment of dispatch, less what open orders take. What is promised is never taken from an order for a later day: the
// answer is the least of the cumulative balances from that day on.
func (s *Service) CheckAvailability(ctx context.Context, outletName, productName string, day Date) (*Availability, error) {
	if SiteOf(outletName) != SiteOf(productName) {
		return nil, apierr.InvalidArgument(SiteMismatch, "%s and %s belong to different sites: name a product of the outlet's own kitchen", outletName, productName).
			With("outlet", outletName).With("product", productName).WithViolation("product", "belongs to another site")
	}
	now := s.now()
	var site *Site
	var outlet *Outlet
	var product *Product
	var orders []*Order
	var batches []*Batch
	a := &Availability{}
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		var err error
		if site, outlet, err = s.siteAndOutlet(ctx, outletName); err != nil {
			return err
		}
		if product, err = s.store.Products().Get(ctx, productName); err != nil {
			return err
		}
		a.NextOpenDay = nextOpenDay(site, outlet, now)
		if a.Day, err = askedDay(day, a.NextOpenDay, outlet); err != nil {
			return err
		}
		today := DateOf(now, site.Zone())
		if orders, err = s.store.OpenOrders(ctx, site.Name, today, a.Day.AddDays(promiseDays)); err != nil {
			return err
		}
		batches, err = s.promisedBatches(ctx, site.Name, product.Name)
		return err
	})
	if err != nil {
		return nil, err
	}
	stock, err := s.inventory.Stock(ctx, site.Name, product.Item)
	if err != nil {
		return nil, inventoryError(err)
	}
	a.CutOff = cutOffMoment(site, outlet, a.Day)
	a.Open = outlet.Active && product.Active && outlet.Weekdays.Has(a.Day.Weekday()) && now.Before(a.CutOff)
	dispatch := dispatchMoment(site, outlet, a.Day)
	a.promise(dispatch, site.Zone(), product, stock, batches, orders)
	a.explain(site, outlet, product)
	a.Surety = s.surety(ctx, site, dispatch, a, batches)
	return a, nil
}

func askedDay(day, next Date, outlet *Outlet) (Date, error) {
	if day == "" {
		if next == "" {
			return "", apierr.FailedPrecondition(NotADispatchDay, "%s has no open dispatch day in the next weeks: name a day", outlet.Name).With("outlet", outlet.Name)
		}
		return next, nil
	}
	parsed, err := ParseDate(string(day))
	if err != nil {
		return "", apierr.InvalidArgument(FieldInvalid, "dispatch_date %s", err).WithViolation("dispatch_date", "%s", err)
	}
	return parsed, nil
}

// promisedBatches returns the packing batches of a product that are released or in progress.
func (s *Service) promisedBatches(ctx context.Context, site, product string) ([]*Batch, error) {
	batches, err := s.store.BatchesInProgress(ctx, site)
	if err != nil {
		return nil, err
	}
	plan, err := s.store.ReleasedPlan(ctx, site)
	if err != nil {
		return nil, err
	}
	if plan != nil {
		own, err := s.store.PlanBatches(ctx, plan.Name)
		if err != nil {
			return nil, err
		}
		batches = append(batches, slices.DeleteFunc(own, func(b *Batch) bool { return b.State != BatchReleased })...)
	}
	return slices.DeleteFunc(batches, func(b *Batch) bool { return b.Product != product }), nil
}

// promise computes the balances at the moment of dispatch and at every later dispatch of an order.
func (a *Availability) promise(asked time.Time, zone *time.Location, product *Product, stock []Stock, batches []*Batch, orders []*Order) {
	moments := []time.Time{asked}
	for _, o := range orders {
		if o.DispatchTime.After(asked) {
			moments = append(moments, o.DispatchTime)
		}
	}
	for i, moment := range moments {
		inStock, planned, committed := 0, 0, 0
		day := DateOf(moment, zone)
		for _, s := range stock {
			if s.Item == product.Item { // picked for orders that are counted below
				inStock += int(s.ReservedKg/product.NetMassKg + 1e-6)
			}
			for _, lot := range s.Lots {
				if s.Item == product.Item && (lot.UseBy == "" || lot.UseBy >= day) {
					inStock += lot.Containers
				}
			}
		}
		for _, b := range batches {
			if !b.readyMoment(zone).After(moment) {
				planned += b.Containers
			}
		}
		for _, o := range orders {
			if o.DispatchTime.After(moment) {
				continue
			}
			for j := range o.Lines {
				if o.Lines[j].Product == product.Name {
					committed += o.Lines[j].Open()
				}
			}
		}
		balance := max(inStock+planned-committed, 0)
		if i == 0 {
			a.Stock, a.Planned, a.Committed, a.Promised = inStock, planned, committed, balance
		}
		a.Promised = min(a.Promised, balance)
	}
}

// readyMoment is when the plan counts on the output: the due time, or for a late batch the end of the day on which it is ready.
func (b *Batch) readyMoment(zone *time.Location) time.Time {
	if b.Late {
		return startOfDay(b.ReadyDate.AddDays(1), zone)
	}
	return b.Due
}

func (a *Availability) explain(site *Site, outlet *Outlet, product *Product) {
	a.Explanation = fmt.Sprintf("%d packs of %s can be promised for %s: %d in stock and %d from the released plan by then, %d taken by other orders.",
		a.Promised, product.DisplayName, a.Day, a.Stock, a.Planned, a.Committed)
	switch {
	case !product.Active:
		a.Explanation += " The product cannot be ordered any more."
	case !outlet.Active:
		a.Explanation += " The outlet is not active."
	case !outlet.Weekdays.Has(a.Day.Weekday()):
		a.Explanation += fmt.Sprintf(" There is no dispatch on a %s; the next open day is %s.", a.Day.Weekday(), a.NextOpenDay)
	case !a.Open:
		a.Explanation += fmt.Sprintf(" Orders for that day closed at %s; the next open day is %s.", localText(a.CutOff, site.Zone()), a.NextOpenDay)
	default:
		a.Explanation += fmt.Sprintf(" Orders close at %s.", localText(a.CutOff, site.Zone()))
	}
}
