package planning

import (
	"context"
	"errors"
	"time"

	"rondeau.internal/pkg/clock"
)

// clockTolerance is how far ahead of the service a recorded time may lie before it is refused.
const clockTolerance = 2 * time.Minute

// Deps are what a Service needs; all of them.
type Deps struct {
	Store      Store
	Events     Events
	Inventory  Inventory
	Scheduling Scheduling
	Clock      clock.Clock
}

// Service holds the use cases. It is safe for concurrent use.
type Service struct {
	store      Store
	events     Events
	inventory  Inventory
	scheduling Scheduling
	clock      clock.Clock
}

// New returns a complete service, or an error naming what is missing.
func New(d Deps) (*Service, error) {
	switch {
	case d.Store == nil:
		return nil, errors.New("planning: Store is missing")
	case d.Events == nil:
		return nil, errors.New("planning: Events is missing")
	case d.Inventory == nil:
		return nil, errors.New("planning: Inventory is missing")
	case d.Scheduling == nil:
		return nil, errors.New("planning: Scheduling is missing")
	case d.Clock == nil:
		return nil, errors.New("planning: Clock is missing")
	}
	return &Service{store: d.Store, events: d.Events, inventory: d.Inventory, scheduling: d.Scheduling, clock: d.Clock}, nil
}

// now is the present moment, as precise as the stores keep it.
func (s *Service) now() time.Time { return s.clock.Now().UTC().Truncate(time.Microsecond) }

// aggregate is any stored resource.
type aggregate interface{ Identity() *Meta }

// Identity returns the part of a resource that no change touches.
func (m *Meta) Identity() *Meta { return m }

// update loads a resource, checks the etag, changes it and saves it in one transaction.
func update[T any, P interface {
	*T
	aggregate
}](ctx context.Context, s *Service, table Table[T], name, etag string, change func(*T) error) (*T, error) {
	var out *T
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		value, err := table.Get(ctx, name)
		if err != nil {
			return err
		}
		if err := P(value).Identity().checkEtag(etag); err != nil {
			return err
		}
		kept := *P(value).Identity()
		if err := change(value); err != nil {
			return err
		}
		*P(value).Identity() = kept // names, versions and times are not the caller's
		out = value
		return s.save(ctx, P(value), func(ctx context.Context) error { return table.Update(ctx, value) })
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// save stamps a changed resource and writes it. The version rises only when the write succeeds.
func (s *Service) save(ctx context.Context, value aggregate, write func(ctx context.Context) error) error {
	m := value.Identity()
	m.UpdateTime = s.now()
	return write(ctx)
}

// insertUnderSite runs an insert after checking that the site exists.
func (s *Service) insertUnderSite(ctx context.Context, site string, insert func(ctx context.Context) error) error {
	return s.store.InTx(ctx, func(ctx context.Context) error {
		if _, err := s.store.Sites().Get(ctx, site); err != nil {
			return err
		}
		return insert(ctx)
	})
}
