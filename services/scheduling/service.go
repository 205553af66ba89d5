package scheduling

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/clock"
)

// IDs makes identifiers.
type IDs interface {
	// NewID is the last part of a resource name: lower-case letters, digits and hyphens.
	NewID(prefix string) string
	// NewUID is unique for ever.
	NewUID() string
}

// Deps is what a Service needs; all are required.
type Deps struct {
	Store    Store
	Planning Planning
	Events   Events
	Clock    clock.Clock
	IDs      IDs
	Logger   *slog.Logger
}

// Service holds the use cases. It is safe for concurrent use.
type Service struct {
	store    Store
	planning Planning
	events   Events
	clock    clock.Clock
	ids      IDs
	logger   *slog.Logger
	nudge    chan struct{}
	searches searches
}

// New returns a complete Service, or an error that names what is missing.
func New(d Deps) (*Service, error) {
	for name, missing := range map[string]bool{
		"Store": d.Store == nil, "Planning": d.Planning == nil, "Events": d.Events == nil, "Clock": d.Clock == nil,
		"IDs": d.IDs == nil, "Logger": d.Logger == nil,
	} {
		if missing {
			return nil, fmt.Errorf("scheduling needs %s", name)
		}
	}
	return &Service{
		store: d.Store, planning: d.Planning, events: renewing{d.Events, d.Store}, clock: d.Clock, ids: d.IDs, logger: d.Logger,
		nudge: make(chan struct{}, 1),
	}, nil
}

// NewID makes the last part of a resource name.
func (s *Service) NewID(prefix string) string { return s.ids.NewID(prefix) }

// Now is the service's clock.
func (s *Service) Now() time.Time { return s.clock.Now() }

// created stamps a new resource.
func (s *Service) created() Meta {
	now := s.clock.Now()
	return Meta{UID: s.ids.NewUID(), Version: 1, CreateTime: now, UpdateTime: now}
}

// changed stamps a changed resource.
func (s *Service) changed(m Meta) Meta {
	m.Version++
	m.UpdateTime = s.clock.Now()
	return m
}

// said turns what the store answered about one resource into an error for the caller.
func said(err error, missing, exists, name string) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, ErrNotFound):
		return apierr.NotFound(missing, name).With("resource", name)
	case errors.Is(err, ErrExists):
		return apierr.AlreadyExists(exists, name).With("resource", name)
	case errors.Is(err, ErrStale):
		return apierr.Aborted(EtagMismatch, "%s was changed by somebody else at the same moment: read it again and repeat your change", name).
			With("resource", name).WithResource(name).Wrap(err)
	}
	return err
}

// inTx runs fn in a write transaction and returns what it made.
func inTx[T any](ctx context.Context, s *Service, fn func(ctx context.Context) (T, error)) (T, error) {
	var out T
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		var err error
		out, err = fn(ctx)
		return err
	})
	if err != nil {
		var none T
		return none, err
	}
	return out, nil
}
