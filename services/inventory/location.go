package inventory

import (
	"context"
	"strings"

	"rondeau.internal/pkg/apierr"
)

// LocationKind is the sort of a place.
type LocationKind string

// The sorts of place.
const (
	DryStore LocationKind = "DRY_STORE"
	WalkIn   LocationKind = "WALK_IN"
	Freezer  LocationKind = "FREEZER"
	Dock     LocationKind = "DOCK"
	Kitchen  LocationKind = "KITCHEN"
)

// Location is a place of the kitchen that holds stock.
type Location struct {
	Name        string
	DisplayName string
	Kind        LocationKind
	Active      bool
	Meta
}

func (l *Location) check() error {
	bad := apierr.InvalidArgument(LocationInvalid, "place %q cannot be saved: correct the fields named below", l.Name).With("location", l.Name)
	n := 0
	if strings.TrimSpace(l.DisplayName) == "" {
		n++
		bad = bad.WithViolation("location.display_name", "must not be empty")
	}
	switch l.Kind {
	case DryStore, WalkIn, Freezer, Dock, Kitchen:
	default:
		n++
		bad = bad.WithViolation("location.kind", "must be DRY_STORE, WALK_IN, FREEZER, DOCK or KITCHEN")
	}
	if n > 0 {
		return bad
	}
	return nil
}

// NewLocation is a place to create with its id.
type NewLocation struct {
	ID       string
	Location *Location
}

// BatchCreateLocations creates all places or none. An empty id is made from the display name.
func (s *Service) BatchCreateLocations(ctx context.Context, site string, news []NewLocation) ([]*Location, error) {
	var made []*Location
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		made = nil
		for _, n := range news {
			l := *n.Location
			name, err := s.newName(site, "locations", n.ID, l.DisplayName)
			if err != nil {
				return err
			}
			l.Name = name
			if err := l.check(); err != nil {
				return err
			}
			l.Meta = s.newMeta()
			if err := s.store.Locations().Insert(ctx, &l); err != nil {
				return err
			}
			made = append(made, &l)
		}
		return nil
	})
	return made, err
}

// UpdateLocation changes a place by fn.
func (s *Service) UpdateLocation(ctx context.Context, name, etag string, fn func(*Location) error) (*Location, error) {
	var out *Location
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		l, err := s.store.Locations().Get(ctx, name)
		if err != nil {
			return err
		}
		if err := checkEtag(etag, l.Etag(), name); err != nil {
			return err
		}
		meta := l.Meta
		if err := fn(l); err != nil {
			return err
		}
		l.Name, l.Meta = name, meta
		if err := l.check(); err != nil {
			return err
		}
		s.touch(&l.Meta)
		out = l
		return s.store.Locations().Update(ctx, l)
	})
	return out, err
}

// Location reads a place.
func (s *Service) Location(ctx context.Context, name string) (*Location, error) {
	return s.store.Locations().Get(ctx, name)
}

// Locations lists places.
func (s *Service) Locations(ctx context.Context, q ListQuery) ([]*Location, error) {
	return s.store.Locations().List(ctx, q)
}

// suits lists the sorts of place for a sort of storage, best first.
func suits(st Storage) []LocationKind {
	switch st {
	case Chilled:
		return []LocationKind{WalkIn}
	case Frozen:
		return []LocationKind{Freezer}
	case Ambient:
		return []LocationKind{DryStore, Kitchen}
	}
	return []LocationKind{Kitchen, DryStore, WalkIn, Dock}
}

// place is the named place, checked, or when name is empty the first active one that suits the item.
func (s *Service) place(ctx context.Context, site, name string, item *Item) (string, error) {
	if name != "" {
		if err := sameSite(site, name); err != nil {
			return "", err
		}
		l, err := s.store.Locations().Get(ctx, name)
		if err != nil {
			return "", err
		}
		if !l.Active {
			return "", apierr.FailedPrecondition(LocationInvalid, "%s is not in use any more; choose another place", name).
				With("location", name).WithViolation(name, "place is not active")
		}
		return name, nil
	}
	all, err := s.store.Locations().List(ctx, ListQuery{Site: site, Limit: 1000})
	if err != nil {
		return "", err
	}
	for _, kind := range suits(item.Storage) {
		for _, l := range all {
			if l.Active && l.Kind == kind {
				return l.Name, nil
			}
		}
	}
	return "", apierr.FailedPrecondition(LocationMissing, "%s has no active place of the sort that %s needs (%s); create one or name a place", site, item.Name, suits(item.Storage)[0]).
		With("site", site).With("item", item.Name).With("location_kind", string(suits(item.Storage)[0])).
		WithViolation(item.Name, "no place suits its storage")
}
