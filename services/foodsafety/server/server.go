// Package server wires the food-safety service: database, store, domain, API, outbox relay, consumers of the facts of
// others, and the look at the clock that fails chills whose time is over.
package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/nats-io/nats.go"
	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc"

	"rondeau.internal/pkg/bus"
	"rondeau.internal/pkg/clock"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	"rondeau.internal/pkg/lifecycle"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/foodsafety"
	"rondeau.internal/services/foodsafety/events"
	"rondeau.internal/services/foodsafety/grpcapi"
	"rondeau.internal/services/foodsafety/postgres"
	"rondeau.internal/services/foodsafety/sqlite"
	"rondeau.internal/services/foodsafety/sqlstore"
)

// DefaultWatchInterval is how often, in real time, chills in progress are judged by the clock.
const DefaultWatchInterval = 5 * time.Second

// Deps is what the service needs. Everything but Peers and WatchInterval is required; the service calls no other
// service, so that it works while they are down.
type Deps struct {
	DB     *sqldb.DB // of Open
	NATS   *nats.Conn
	Clock  clock.Clock
	Logger *slog.Logger
	// Peers is accepted so that all services are built alike; it is not used.
	Peers func(service string) grpc.ClientConnInterface
	// WatchInterval is how often chills are judged by the clock; 0 means DefaultWatchInterval.
	WatchInterval time.Duration
}

// Service is the food-safety service, ready to serve.
type Service struct {
	db      *sqldb.DB
	nats    *nats.Conn
	logger  *slog.Logger
	service *foodsafety.Service
	api     *grpcapi.Server
	relay   *outbox.Relay
	watch   time.Duration
}

// Open opens the database of the service, `postgres://...` or the path of a SQLite file, and brings its schema up to
// date.
func Open(ctx context.Context, database string) (*sqldb.DB, error) {
	db, err := sqldb.Open(ctx, database)
	if err != nil {
		return nil, fmt.Errorf("food-safety database: %w", err)
	}
	if _, err := migrate(ctx, db); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

// migrate brings all tables up to date and returns the store.
func migrate(ctx context.Context, db *sqldb.DB) (*sqlstore.Store, error) {
	if err := outbox.Migrate(ctx, db); err != nil {
		return nil, fmt.Errorf("food-safety database: %w", err)
	}
	open := sqlite.New
	if db.Dialect() == sqldb.Postgres {
		open = postgres.New
	}
	store, err := open(ctx, db)
	if err != nil {
		return nil, fmt.Errorf("food-safety database: %w", err)
	}
	return store, nil
}

// New returns a complete service, or an error that names what is missing.
func New(ctx context.Context, d Deps) (*Service, error) {
	var missing []error
	for name, absent := range map[string]bool{"DB": d.DB == nil, "NATS": d.NATS == nil, "Clock": d.Clock == nil, "Logger": d.Logger == nil} {
		if absent {
			missing = append(missing, errors.New(name))
		}
	}
	if len(missing) > 0 {
		return nil, fmt.Errorf("foodsafety server needs: %w", errors.Join(missing...))
	}
	store, err := migrate(ctx, d.DB)
	if err != nil {
		return nil, err
	}
	service, err := foodsafety.New(foodsafety.Deps{Store: store, Clock: d.Clock, Events: events.NewPublisher(d.DB)})
	if err != nil {
		return nil, err
	}
	api, err := grpcapi.New(service)
	if err != nil {
		return nil, err
	}
	if d.WatchInterval <= 0 {
		d.WatchInterval = DefaultWatchInterval
	}
	return &Service{
		db: d.DB, nats: d.NATS, logger: d.Logger, service: service, api: api, watch: d.WatchInterval,
		relay: outbox.NewRelay(d.DB, bus.NewPublisher(d.NATS), d.Logger),
	}, nil
}

// Register adds the API to a gRPC server.
func (s *Service) Register(r grpc.ServiceRegistrar) {
	foodsafetypb.RegisterFoodSafetyServiceServer(r, s.api)
}

// ServiceNames lists the proto services of the API.
func (s *Service) ServiceNames() []string {
	return []string{foodsafetypb.FoodSafetyService_ServiceDesc.ServiceName}
}

// DB is the database of the service.
func (s *Service) DB() *sqldb.DB { return s.db }

// Run publishes and consumes events and watches the clock until ctx ends.
func (s *Service) Run(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return s.relay.Run(ctx) })
	group.Go(func() error { return bus.Run(ctx, s.nats, s.db, s.logger, events.Consumers(s.service)...) })
	group.Go(func() error { s.watchClock(ctx); return nil })
	return group.Wait()
}

// watchClock judges the chills in progress again and again.
func (s *Service) watchClock(ctx context.Context) {
	lifecycle.Repeat(ctx, s.watch, s.logger, "chills cannot be watched", func(ctx context.Context) error {
		failed, err := s.service.WatchClock(ctx)
		if failed > 0 {
			s.logger.WarnContext(ctx, "chills failed by the clock", slog.Int("count", failed))
		}
		return err
	})
}

// Health says whether the service can take readings: it needs its database and nothing else. While the broker is down,
// facts wait in the outbox.
func (s *Service) Health(ctx context.Context) error {
	if err := s.db.Ping(ctx); err != nil {
		return fmt.Errorf("food-safety database: %w", err)
	}
	return nil
}
