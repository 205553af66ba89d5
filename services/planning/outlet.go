package planning

import (
	"context"
	"time"

	"rondeau.internal/pkg/gs1"
)

const defaultDispatch = TimeOfDay(6 * 60)

// Outlet is a place that orders packs.
type Outlet struct {
	Meta
	DisplayName  string
	GLN          string
	Address      string
	Weekdays     Weekdays
	DispatchTime *TimeOfDay     // nil: 06:00
	CutOff       *time.Duration // nil: that of the site
	Active       bool
	Priority     int // 1 … 100; 0 counts as 1
}

func (o *Outlet) dispatchTime() TimeOfDay {
	if o.DispatchTime == nil {
		return defaultDispatch
	}
	return *o.DispatchTime
}

// Weight returns the weight of its orders, 1 to 100.
func (o *Outlet) Weight() int { return min(max(o.Priority, 1), 100) }

func (o *Outlet) check() error {
	var f faults
	f.need("outlet.display_name", o.DisplayName, "the name of the outlet")
	if o.GLN != "" {
		if err := gs1.GLN.Check(o.GLN); err != nil {
			f.add("outlet.gln", "%s", err)
		}
	}
	return f.err("outlet " + o.Name)
}

// CreateOutlet adds an outlet to a site.
func (s *Service) CreateOutlet(ctx context.Context, parent, id string, outlet *Outlet) (*Outlet, error) {
	name, err := childName(parent, "outlets", id, "outlet")
	if err != nil {
		return nil, err
	}
	outlet.Meta = newMeta(name, s.now())
	if err := outlet.check(); err != nil {
		return nil, err
	}
	return outlet, s.insertUnderSite(ctx, parent, func(ctx context.Context) error { return s.store.Outlets().Insert(ctx, outlet) })
}

// UpdateOutlet changes an outlet. Cut-offs of orders already placed stay as they are.
func (s *Service) UpdateOutlet(ctx context.Context, name, etag string, change func(*Outlet) error) (*Outlet, error) {
	return update(ctx, s, s.store.Outlets(), name, etag, func(outlet *Outlet) error {
		if err := change(outlet); err != nil {
			return err
		}
		return outlet.check()
	})
}

// Outlet returns one outlet.
func (s *Service) Outlet(ctx context.Context, name string) (*Outlet, error) {
	return s.store.Outlets().Get(ctx, name)
}

// ListOutlets returns a page of a site's outlets in order of name.
func (s *Service) ListOutlets(ctx context.Context, q Query) ([]*Outlet, error) {
	return s.store.Outlets().List(ctx, q)
}
