package planning

import (
	"context"
	"time"

	"rondeau.internal/pkg/apierr"
)

// Par is the number of packs that a freezer should hold.
type Par struct {
	Meta
	Outlet    string // empty: the kitchen's own freezer
	Product   string
	Count     int
	Counted   *int // packs seen in the outlet's freezer; nil: never counted
	CountTime time.Time
}

func (p *Par) check() error {
	var f faults
	site := SiteOf(p.Name)
	f.need("par.product", p.Product, "the product to hold")
	for field, name := range map[string]string{"par.product": p.Product, "par.outlet": p.Outlet} {
		if name != "" && SiteOf(name) != site {
			f.add(field, "%s belongs to another site", name)
		}
	}
	if p.Outlet == "" && p.Counted != nil {
		f.add("par.counted_container_count", "is for outlets only: the kitchen's own stock comes from inventory")
	}
	return f.err("par " + p.Name)
}

// settleCount gives a new count the moment of the change when it has none, and refuses one from the future.
func (p *Par) settleCount(old *int, oldTime, now time.Time) error {
	if p.Counted == nil {
		p.CountTime = time.Time{}
		return nil
	}
	changed := old == nil || *old != *p.Counted
	if p.CountTime.IsZero() || (changed && p.CountTime.Equal(oldTime)) {
		p.CountTime = now
	}
	if p.CountTime.After(now.Add(clockTolerance)) {
		return apierr.InvalidArgument(FieldInvalid, "the count of %s is dated %s, which is still to come: check the clock of the device",
			p.Name, p.CountTime.UTC().Format(time.RFC3339)).With("resource", p.Name).WithViolation("par.count_time", "is in the future")
	}
	return nil
}

// CreatePar adds a par.
func (s *Service) CreatePar(ctx context.Context, parent, id string, par *Par) (*Par, error) {
	name, err := childName(parent, "pars", id, "par")
	if err != nil {
		return nil, err
	}
	now := s.now()
	par.Meta = newMeta(name, now)
	if err := par.check(); err != nil {
		return nil, err
	}
	if err := par.settleCount(nil, time.Time{}, now); err != nil {
		return nil, err
	}
	return par, s.insertUnderSite(ctx, parent, func(ctx context.Context) error {
		if _, err := s.store.Products().Get(ctx, par.Product); err != nil {
			return err
		}
		if par.Outlet != "" {
			if _, err := s.store.Outlets().Get(ctx, par.Outlet); err != nil {
				return err
			}
		}
		return s.store.Pars().Insert(ctx, par)
	})
}

// UpdatePar changes a par or its count.
func (s *Service) UpdatePar(ctx context.Context, name, etag string, change func(*Par) error) (*Par, error) {
	return update(ctx, s, s.store.Pars(), name, etag, func(par *Par) error {
		old, oldTime := par.Counted, par.CountTime
		outlet, product := par.Outlet, par.Product
		if err := change(par); err != nil {
			return err
		}
		par.Outlet, par.Product = outlet, product
		if err := par.check(); err != nil {
			return err
		}
		return par.settleCount(old, oldTime, s.now())
	})
}

// Par returns one par.
func (s *Service) Par(ctx context.Context, name string) (*Par, error) {
	return s.store.Pars().Get(ctx, name)
}

// ListPars returns a page of a site's pars in order of name.
func (s *Service) ListPars(ctx context.Context, q Query) ([]*Par, error) {
	return s.store.Pars().List(ctx, q)
}
