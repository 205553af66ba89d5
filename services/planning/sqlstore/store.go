package sqlstore

import (
	"context"
	"errors"
	"fmt"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/planning"
	"rondeau.internal/services/planning/sqlstore/internal/db"
)

// Store implements planning.Store.
type Store struct {
	db       *sqldb.DB
	sites    *table[planning.Site]
	outlets  *table[planning.Outlet]
	products *table[planning.Product]
	formulas *table[planning.Formula]
	versions *table[planning.FormulaVersion]
	pars     *table[planning.Par]
	orders   *table[planning.Order]
	plans    *table[planning.Plan]
	batches  *table[planning.Batch]
}

var _ planning.Store = (*Store)(nil)

// New returns a store on a migrated database.
func New(d *sqldb.DB) *Store {
	return &Store{
		db: d, sites: sites(d), outlets: outlets(d), products: products(d), formulas: formulas(d), versions: versions(d),
		pars: pars(d), orders: orders(d), plans: plans(d), batches: batches(d),
	}
}

// InTx runs fn in a write transaction.
func (s *Store) InTx(ctx context.Context, fn func(ctx context.Context) error) error {
	return s.db.InTx(ctx, fn)
}

// InReadTx runs fn on one snapshot.
func (s *Store) InReadTx(ctx context.Context, fn func(ctx context.Context) error) error {
	return s.db.InReadTx(ctx, fn)
}

// Sites keeps sites.
func (s *Store) Sites() planning.Table[planning.Site] { return s.sites }

// Outlets keeps outlets.
func (s *Store) Outlets() planning.Table[planning.Outlet] { return s.outlets }

// Products keeps products.
func (s *Store) Products() planning.Table[planning.Product] { return s.products }

// Formulas keeps formulas.
func (s *Store) Formulas() planning.Table[planning.Formula] { return s.formulas }

// FormulaVersions keeps versions.
func (s *Store) FormulaVersions() planning.Table[planning.FormulaVersion] { return s.versions }

// Pars keeps pars.
func (s *Store) Pars() planning.Table[planning.Par] { return s.pars }

// Orders keeps orders.
func (s *Store) Orders() planning.Table[planning.Order] { return s.orders }

// Plans keeps plans.
func (s *Store) Plans() planning.Table[planning.Plan] { return s.plans }

// Batches keeps batches.
func (s *Store) Batches() planning.Table[planning.Batch] { return s.batches }

func (s *Store) q(ctx context.Context) *db.Queries { return db.New(s.db.Conn(ctx)) }

// SiteOutlets returns all outlets of a site.
func (s *Store) SiteOutlets(ctx context.Context, site string) ([]*planning.Outlet, error) {
	found, err := s.q(ctx).SiteOutlets(ctx, site)
	return rows(s.outlets, found, err, func(r db.SiteOutletsRow) row { return row(r) })
}

// SiteProducts returns all products of a site.
func (s *Store) SiteProducts(ctx context.Context, site string) ([]*planning.Product, error) {
	found, err := s.q(ctx).SiteProducts(ctx, site)
	return rows(s.products, found, err, func(r db.SiteProductsRow) row { return row(r) })
}

// SitePars returns all pars of a site.
func (s *Store) SitePars(ctx context.Context, site string) ([]*planning.Par, error) {
	found, err := s.q(ctx).SitePars(ctx, site)
	return rows(s.pars, found, err, func(r db.SiteParsRow) row { return row(r) })
}

// ApprovedVersions returns the versions in use.
func (s *Store) ApprovedVersions(ctx context.Context, site string) ([]*planning.FormulaVersion, error) {
	found, err := s.q(ctx).ApprovedVersions(ctx, site)
	return rows(s.versions, found, err, func(r db.ApprovedVersionsRow) row { return row(r) })
}

// OpenOrders returns orders with something left to ship.
func (s *Store) OpenOrders(ctx context.Context, site string, from, to planning.Date) ([]*planning.Order, error) {
	found, err := s.q(ctx).OpenOrders(ctx, db.OpenOrdersParams{Site: site, DispatchDate: string(from), DispatchDate_2: string(to)})
	return rows(s.orders, found, err, func(r db.OpenOrdersRow) row { return row(r) })
}

// ReleasedPlan returns the plan in force, or nil.
func (s *Store) ReleasedPlan(ctx context.Context, site string) (*planning.Plan, error) {
	found, err := s.q(ctx).ReleasedPlan(ctx, site)
	if errors.Is(err, sqldb.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the plan in force of %s: %w", site, sqldb.Translate(err))
	}
	return s.plans.value(row(found))
}

// PlanBatches returns the batches of a plan.
func (s *Store) PlanBatches(ctx context.Context, plan string) ([]*planning.Batch, error) {
	found, err := s.q(ctx).PlanBatches(ctx, plan)
	return rows(s.batches, found, err, func(r db.PlanBatchesRow) row { return row(r) })
}

// BatchesInProgress returns the batches that have begun and are not done.
func (s *Store) BatchesInProgress(ctx context.Context, site string) ([]*planning.Batch, error) {
	found, err := s.q(ctx).BatchesInProgress(ctx, site)
	return rows(s.batches, found, err, func(r db.BatchesInProgressRow) row { return row(r) })
}

// DeletePlan deletes a plan and its batches.
func (s *Store) DeletePlan(ctx context.Context, plan string) error {
	return s.db.InTx(ctx, func(ctx context.Context) error {
		if err := s.q(ctx).DeletePlanBatches(ctx, plan); err != nil {
			return fmt.Errorf("delete the batches of %s: %w", plan, sqldb.Translate(err))
		}
		if _, err := s.q(ctx).DeletePlan(ctx, plan); err != nil {
			return fmt.Errorf("delete %s: %w", plan, sqldb.Translate(err))
		}
		return nil
	})
}
