package planning

import (
	"context"
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
	running  []*Batch
	base     *Plan
	replaces []string // batches of base that have not begun
	items    map[string]*Item
	stock    []Stock
	vessels  map[string][]Vessel // by class
}

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
	if f.stock, err = s.inventory.Stock(ctx, parent); err != nil {
		return nil, inventoryError(err)
	}
	vessels, err := s.scheduling.Vessels(ctx, parent)
	if err != nil {
		return nil, apierr.Unavailable(SchedulingUnavailable, "the vessels cannot be read because scheduling does not answer: try again in a moment").Wrap(err)
	}
	for _, v := range vessels {
		f.vessels[v.Class] = append(f.vessels[v.Class], v)
	}
	return f, nil
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
	if f.orders, err = s.store.OpenOrders(ctx, site, r.Start, r.End); err != nil {
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
