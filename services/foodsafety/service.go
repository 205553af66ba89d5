package foodsafety

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/clock"
)

// Deps is what the service needs; everything is required.
type Deps struct {
	Store  Store
	Clock  clock.Clock
	Events Events
}

// Service carries out the use cases.
type Service struct {
	store  Store
	clock  clock.Clock
	events Events
}

// New checks that nothing is missing.
func New(d Deps) (*Service, error) {
	var missing []error
	if d.Store == nil {
		missing = append(missing, errors.New("store"))
	}
	if d.Clock == nil {
		missing = append(missing, errors.New("clock"))
	}
	if d.Events == nil {
		missing = append(missing, errors.New("events"))
	}
	if len(missing) > 0 {
		return nil, fmt.Errorf("foodsafety service needs: %w", errors.Join(missing...))
	}
	return &Service{store: d.Store, clock: d.Clock, events: d.Events}, nil
}

// now is the moment of recording, cut to the resolution of the databases.
func (s *Service) now() time.Time { return s.clock.Now().UTC().Truncate(time.Microsecond) }

// actor is who carries out a change.
type actor struct {
	subject string
	role    string
}

// system is the service itself, for what readings, the clock and news of other services cause.
var system = actor{subject: systemActorSubject, role: "service"}

// caller is the signed-in caller; every change needs one, because its name is kept as a signature.
func caller(ctx context.Context) (actor, error) {
	p, ok := auth.FromContext(ctx)
	if !ok || p.Subject == "" {
		return actor{}, apierr.Unauthenticated(CallerUnknown, "sign in first: every safety record carries the name of the person who made it")
	}
	return actor{subject: p.Subject, role: string(p.Role)}, nil
}

// record appends to the audit trail and returns the sequence of the entry. old is nil for a new resource.
func (s *Service) record(ctx context.Context, who actor, resource, action string, before, after any, reason string) (int64, error) {
	r := &Record{
		Site: SiteOf(resource), Resource: resource, Action: action, Actor: who.subject, ActorRole: who.role,
		RecordTime: s.now(), Reason: reason,
	}
	for _, part := range []struct {
		to    *string
		value any
	}{{&r.OldValue, before}, {&r.NewValue, after}} {
		if part.value == nil {
			continue
		}
		text, err := json.Marshal(part.value)
		if err != nil {
			return 0, fmt.Errorf("audit trail of %s: %w", resource, err)
		}
		*part.to = string(text)
	}
	if err := s.store.AppendRecord(ctx, r); err != nil {
		return 0, fmt.Errorf("audit trail of %s: %w", resource, err)
	}
	return r.Sequence, nil
}

// pageOf runs a list query for one more result than asked, so that the caller knows whether there is a next page.
func pageOf[T any](page Page, list func(Page) ([]T, error)) ([]T, bool, error) {
	size := page.Limit
	page.Limit++
	items, err := list(page)
	if err != nil {
		return nil, false, err
	}
	if len(items) > size {
		return items[:size], true, nil
	}
	return items, false, nil
}

func itoa(v int64) string { return strconv.FormatInt(v, 10) }

// ListSafetyRecords returns one page of the audit trail and whether more follow.
func (s *Service) ListSafetyRecords(ctx context.Context, page Page) ([]Record, bool, error) {
	return pageOf(page, func(p Page) ([]Record, error) { return s.store.ListRecords(ctx, p) })
}
