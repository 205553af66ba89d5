// Package server wires planning: database, store, events, clients of other services and the API.
package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"

	"github.com/nats-io/nats.go"
	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc"

	"rondeau.internal/pkg/bus"
	"rondeau.internal/pkg/clock"
	pb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/planning"
	"rondeau.internal/services/planning/events"
	"rondeau.internal/services/planning/grpcapi"
	"rondeau.internal/services/planning/inventoryclient"
	"rondeau.internal/services/planning/postgres"
	"rondeau.internal/services/planning/schedulingclient"
	"rondeau.internal/services/planning/sqlite"
	"rondeau.internal/services/planning/sqlstore"
)

// Deps are what the service needs; all of them.
type Deps struct {
	DB     *sqldb.DB // of Open
	NATS   *nats.Conn
	Clock  clock.Clock
	Logger *slog.Logger
	// Peers gives the connection to another service of the suite: "inventory", "scheduling".
	Peers func(service string) grpc.ClientConnInterface
}

// Service is planning, ready to serve.
type Service struct {
	db      *sqldb.DB
	nats    *nats.Conn
	logger  *slog.Logger
	service *planning.Service
	relay   *outbox.Relay
}

// Open opens the database of planning, `postgres://...` or the path of a SQLite file, and brings its schema up to date.
func Open(ctx context.Context, database string) (*sqldb.DB, error) {
	db, err := sqldb.Open(ctx, database)
	if err != nil {
		return nil, err
	}
	if _, err := migrate(ctx, db); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

// migrate brings all tables up to date and returns the store.
func migrate(ctx context.Context, db *sqldb.DB) (*sqlstore.Store, error) {
	if err := outbox.Migrate(ctx, db); err != nil {
		return nil, fmt.Errorf("planning: %w", err)
	}
	open := sqlite.New
	if db.Dialect() == sqldb.Postgres {
		open = postgres.New
	}
	store, err := open(ctx, db)
	if err != nil {
		return nil, fmt.Errorf("planning: %w", err)
	}
	return store, nil
}

// New returns a complete service, or an error naming what is missing.
func New(ctx context.Context, d Deps) (*Service, error) {
	switch {
	case d.DB == nil:
		return nil, errors.New("planning: DB is missing")
	case d.NATS == nil:
		return nil, errors.New("planning: NATS is missing")
	case d.Clock == nil:
		return nil, errors.New("planning: Clock is missing")
	case d.Logger == nil:
		return nil, errors.New("planning: Logger is missing")
	case d.Peers == nil:
		return nil, errors.New("planning: Peers is missing")
	}
	store, err := migrate(ctx, d.DB)
	if err != nil {
		return nil, err
	}
	service, err := planning.New(planning.Deps{
		Store: store, Events: events.NewPublisher(d.DB), Clock: d.Clock,
		Inventory: inventoryclient.New(d.Peers("inventory")), Scheduling: schedulingclient.New(d.Peers("scheduling")),
	})
	if err != nil {
		return nil, err
	}
	return &Service{
		db: d.DB, nats: d.NATS, logger: d.Logger, service: service, relay: outbox.NewRelay(d.DB, bus.NewPublisher(d.NATS), d.Logger),
	}, nil
}

// Register adds the API to a gRPC server.
func (s *Service) Register(r grpc.ServiceRegistrar) {
	pb.RegisterPlanningServiceServer(r, grpcapi.New(s.service))
}

// ServiceNames lists the proto services of the API.
func (s *Service) ServiceNames() []string {
	return []string{pb.PlanningService_ServiceDesc.ServiceName}
}

// DB returns the database.
func (s *Service) DB() *sqldb.DB { return s.db }

// Run publishes and consumes events until ctx ends.
func (s *Service) Run(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return s.relay.Run(ctx) })
	group.Go(func() error { return bus.Run(ctx, s.nats, s.db, s.logger, events.Consumers(s.service)...) })
	return group.Wait()
}

// Health says whether the database answers. The broker is not part of it: while it is away, calls are still answered and
// events wait in the outbox, so the service must not be taken out of service.
func (s *Service) Health(ctx context.Context) error {
	if err := s.db.Ping(ctx); err != nil {
		return fmt.Errorf("database of planning: %w", err)
	}
	return nil
}
