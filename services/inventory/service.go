package inventory

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/units"
)

// maxAhead is how far a recorded time may lie ahead of the clock: devices are never quite in step.
const maxAhead = 2 * time.Minute

// Deps is what the service works with. All are required.
type Deps struct {
	Store      Store
	Clock      Clock
	Events     Events
	FoodSafety FoodSafety
}

// Service is the use cases of the stock. It is safe for concurrent use.
type Service struct {
	store  Store
	clock  Clock
	events Events
	safety FoodSafety
}

// New makes the service; a missing dependency is an error.
func New(d Deps) (*Service, error) {
	var missing []error
	for name, absent := range map[string]bool{"Store": d.Store == nil, "Clock": d.Clock == nil, "Events": d.Events == nil, "FoodSafety": d.FoodSafety == nil} {
		if absent {
			missing = append(missing, fmt.Errorf("inventory: %s is required", name))
		}
	}
	if len(missing) > 0 {
		return nil, errors.Join(missing...)
	}
	return &Service{store: d.Store, clock: d.Clock, events: d.Events, safety: d.FoodSafety}, nil
}

// Store gives adapters the store, for cursors of lists.
func (s *Service) Store() Store { return s.store }

func (s *Service) now() time.Time { return s.clock.Now().UTC().Truncate(time.Microsecond) }

func newUID() string { return uuid.Must(uuid.NewV7()).String() }

func (s *Service) newMeta() Meta {
	now := s.now()
	return Meta{UID: newUID(), CreateTime: now, UpdateTime: now, Version: 1}
}

func (s *Service) touch(m *Meta) {
	m.Version++
	m.UpdateTime = s.now()
}

// newName is the name of a new resource: from the id given, else from the text.
func (s *Service) newName(site, collection, id, text string) (string, error) {
	if id == "" {
		id = slug(text)
	}
	if id == "" {
		id = newUID()
	}
	return child(site, collection, id)
}

// actor is who does it: the subject of the caller's token.
func actor(ctx context.Context) string {
	if p, ok := auth.FromContext(ctx); ok && p.Subject != "" {
		return p.Subject
	}
	return "inventory"
}

// moment is the time that a person states, or now. A time that has not come yet is refused.
func (s *Service) moment(t time.Time, field string) (time.Time, error) {
	now := s.now()
	if t.IsZero() {
		return now, nil
	}
	if t.After(now.Add(maxAhead)) {
		return now, apierr.InvalidArgument(TimeInFuture, "%s %s has not come yet; it is %s now", field, t.UTC().Format(time.RFC3339), now.Format(time.RFC3339)).
			With("field", field).With("time", t.UTC().Format(time.RFC3339)).With("now", now.Format(time.RFC3339)).
			WithViolation(field, "must not be more than two minutes ahead")
	}
	return t.UTC().Truncate(time.Microsecond), nil
}

// checkDay refuses days that do not exist. Empty passes.
func checkDay(day, field string) error {
	if day == "" {
		return nil
	}
	if _, err := time.Parse(time.DateOnly, day); err != nil {
		return apierr.InvalidArgument(DateInvalid, "%s %q is not a day; write it as 2026-03-31", field, day).With("field", field).With("value", day).
			WithViolation(field, "must be an existing day written YYYY-MM-DD")
	}
	return nil
}

// positive refuses masses of nothing or less.
func positive(m units.Milligrams, field string) error {
	if m <= 0 {
		return apierr.InvalidArgument(MassInvalid, "%s must be above 0", field).With("field", field).WithViolation(field, "must be above 0")
	}
	return nil
}

// kg formats a mass for people: at most three decimals of a kilogram unless more are needed to tell it from nothing.
func kg(m units.Milligrams) string {
	text := strings.TrimSuffix(m.String(), " kg")
	if m%1000 == 0 {
		text = text[:len(text)-3]
	}
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".") + " kg"
}
