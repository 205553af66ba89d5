package planning

import (
	"context"
	"slices"
	"time"

	"rondeau.internal/pkg/apierr"
)

// facts are everything that a plan is computed from.
type facts struct {
	now      time.Time
	site     *Site
	outlets  map[string]*Outlet
	products []*Product
	versions []*FormulaVersion
	formulas map[string]string // display names of formulas, by name of the version in use
	pars     []*Par
	orders   []*Order
	overdue  []*Order // open and too old to be planned
	running  []*Batch
	base     *Plan
	replaces []string   // batches of base that have not begun
	bought   []Purchase // of base, not among the deliveries of inventory yet
	items    map[string]*Item
	stock    []Stock
	vessels  map[string][]Vessel // by class
	times    stepTimes           // of the steps that physics decide
	untimed  bool                // scheduling did not answer how long they take
}

// overdueDays is how long before today a dispatch may lie for what is still open of its order to be planned. What nobody
// shipped or cancelled for a week is more likely forgotten in the books than waited for (common practice, no source).
const overdueDays = 7

// itemTitle names an item for people.
func (f *facts) itemTitle(name string) string {
	if item := f.items[name]; item != nil && item.DisplayName != "" {
		return item.DisplayName
	}
	return name
}

// gather checks the request and reads what the plan needs, here and from the other services.
func (s *Service) gather(ctx context.Context, parent string, r *PlanRequest) (*facts, error) {
	f := &facts{now: s.now(), outlets: map[string]*Outlet{}, formulas: map[string]string{}, items: map[string]*Item{}, vessels: map[string][]Vessel{}}
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		var err error
		if f.site, err = s.store.Sites().Get(ctx, parent); err != nil {
			return err
		}
		if err := checkSpan(r, f.site, f.now); err != nil {
			return err
		}
		return s.gatherOwn(ctx, f, r)
	})
	if err != nil {
		return nil, err
	}
	items, err := s.inventory.Items(ctx, parent)
	if err != nil {
		return nil, inventoryError(err)
	}
	for i := range items {
		f.items[items[i].Name] = &items[i]
	}
	if err := s.gatherStock(ctx, f); err != nil {
		return nil, err
	}
	vessels, err := s.scheduling.Vessels(ctx, parent)
	if err != nil {
		return nil, apierr.Unavailable(SchedulingUnavailable, "the vessels cannot be read because scheduling does not answer: try again in a moment").Wrap(err)
	}
	for _, v := range vessels {
		f.vessels[v.Class] = append(f.vessels[v.Class], v)
	}
	s.gatherStepTimes(ctx, f)
	return f, nil
}

// gatherStock reads the stock, and gives back to it what is promised to batches that will not be cooked.
func (s *Service) gatherStock(ctx context.Context, f *facts) error {
	today := DateOf(f.now, f.site.Zone())
	open := map[string]Purchase{}
	var names []string
	if f.base != nil {
		for _, p := range f.base.Purchases {
			if p.DeliveryDate >= today { // what should have come by now and nobody announced does not come
				open[p.Name] = p
				names = append(names, p.Name)
			}
		}
	}
	stock, unknown, err := s.inventory.StockAndPurchases(ctx, f.site.Name, names)
	if err != nil {
		return inventoryError(err)
	}
	f.stock = stock
	for _, name := range unknown {
		if p, ok := open[name]; ok {
			f.bought = append(f.bought, p)
		}
	}
	return s.store.InReadTx(ctx, func(ctx context.Context) error {
		freed := map[string]bool{}
		for _, name := range f.replaces {
			freed[name] = true
		}
		for i := range f.stock {
			if err := s.freePromised(ctx, &f.stock[i], freed); err != nil {
				return err
			}
		}
		return nil
	})
}

// freePromised counts as free what is promised to batches that the release of the new plan cancels, or that are cancelled
// already although inventory has not heard of it. What is promised to any other batch stays promised. freed keeps what is known
// of batches.
func (s *Service) freePromised(ctx context.Context, stock *Stock, freed map[string]bool) error {
	var kept []ReservedLot
	for _, promised := range stock.Promised {
		free, known := freed[promised.Batch]
		if !known {
			batch, err := s.store.Batches().Get(ctx, promised.Batch)
			if err != nil && apierr.ReasonOf(err) != BatchMissing {
				return err
			}
			free = err == nil && batch.State == BatchCancelled
			freed[promised.Batch] = free
		}
		if !free {
			kept = append(kept, promised)
			continue
		}
		stock.ReservedKg = max(stock.ReservedKg-promised.MassKg, 0)
		at := slices.IndexFunc(stock.Lots, func(l StockLot) bool { return l.Lot == promised.Lot })
		if at < 0 {
			at = len(stock.Lots)
			stock.Lots = append(stock.Lots, StockLot{Lot: promised.Lot, UseBy: promised.UseBy})
		}
		stock.Lots[at].MassKg += promised.MassKg
	}
	stock.Promised = kept
	return nil
}

// gatherOrders reads the open orders up to the end of the plan. Those with an earlier dispatch day than the plan's first are among
// them, up to a week old: their packs are in the stock, so a plan that did not know them would give those packs away.
func (s *Service) gatherOrders(ctx context.Context, f *facts, r *PlanRequest) error {
	orders, err := s.store.OpenOrders(ctx, f.site.Name, "0001-01-01", r.End)
	if err != nil {
		return err
	}
	oldest := DateOf(f.now, f.site.Zone()).AddDays(-overdueDays)
	for _, o := range orders {
		if o.DispatchDate < oldest {
			f.overdue = append(f.overdue, o)
		} else {
			f.orders = append(f.orders, o)
		}
	}
	return nil
}

func inventoryError(err error) error {
	return apierr.Unavailable(InventoryUnavailable, "the stock cannot be read because inventory does not answer: try again in a moment").Wrap(err)
}

func (s *Service) gatherOwn(ctx context.Context, f *facts, r *PlanRequest) error {
	site := f.site.Name
	outlets, err := s.store.SiteOutlets(ctx, site)
	if err != nil {
		return err
	}
	for _, o := range outlets {
		f.outlets[o.Name] = o
	}
	if f.products, err = s.store.SiteProducts(ctx, site); err != nil {
		return err
	}
	if f.versions, err = s.store.ApprovedVersions(ctx, site); err != nil {
		return err
	}
	for _, v := range f.versions {
		formula, err := s.store.Formulas().Get(ctx, ParentOf(v.Name))
		if err != nil {
			return err
		}
		f.formulas[v.Name] = formula.DisplayName
	}
	if f.pars, err = s.store.SitePars(ctx, site); err != nil {
		return err
	}
	if err := s.gatherOrders(ctx, f, r); err != nil {
		return err
	}
	if f.running, err = s.store.BatchesInProgress(ctx, site); err != nil {
		return err
	}
	if f.base, err = s.store.ReleasedPlan(ctx, site); err != nil || f.base == nil {
		return err
	}
	batches, err := s.store.PlanBatches(ctx, f.base.Name)
	for _, b := range batches {
		if b.State == BatchReleased {
			f.replaces = append(f.replaces, b.Name)
		}
	}
	return err
}
