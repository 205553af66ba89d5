// Package server wires the service of the stock: database, bus, domain and API.
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
	pb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/inventory"
	"rondeau.internal/services/inventory/events"
	"rondeau.internal/services/inventory/foodsafetyclient"
	"rondeau.internal/services/inventory/grpcapi"
	"rondeau.internal/services/inventory/postgres"
	"rondeau.internal/services/inventory/sqlite"
	"rondeau.internal/services/inventory/sqlstore"
)

// Deps is what the service needs. All are required.
type Deps struct {
	DB     *sqldb.DB // as Open gives it
	NATS   *nats.Conn
	Clock  clock.Clock
	Logger *slog.Logger
	// Peers gives the connection to another service of the suite by its name, "foodsafety".
	Peers func(service string) grpc.ClientConnInterface
}

// Service is the running service of the stock.
type Service struct {
	db     *sqldb.DB
	nc     *nats.Conn
	logger *slog.Logger
	stock  *inventory.Service
	relay  *outbox.Relay
}

// Open opens a database, "postgres://…" or the path of a SQLite file, and brings its schema up to date.
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

func migrate(ctx context.Context, db *sqldb.DB) (*sqlstore.Store, error) {
	if err := outbox.Migrate(ctx, db); err != nil {
		return nil, fmt.Errorf("inventory: %w", err)
	}
	open := sqlite.New
	if db.Dialect() == sqldb.Postgres {
		open = postgres.New
	}
	store, err := open(ctx, db)
	if err != nil {
		return nil, fmt.Errorf("inventory: %w", err)
	}
	return store, nil
}

// New wires the service; a missing dependency is an error.
func New(ctx context.Context, d Deps) (*Service, error) {
	var missing []error
	for _, need := range []struct {
		name   string
		absent bool
	}{{"DB", d.DB == nil}, {"NATS", d.NATS == nil}, {"Clock", d.Clock == nil}, {"Logger", d.Logger == nil}, {"Peers", d.Peers == nil}} {
		if need.absent {
			missing = append(missing, fmt.Errorf("inventory: %s is required", need.name))
		}
	}
	if len(missing) > 0 {
		return nil, errors.Join(missing...)
	}
	store, err := migrate(ctx, d.DB)
	if err != nil {
		return nil, err
	}
	stock, err := inventory.New(inventory.Deps{
		Store: store, Clock: d.Clock, Events: events.NewPublisher(d.DB, d.Clock), FoodSafety: foodsafetyclient.New(d.Peers("foodsafety")),
	})
	if err != nil {
		return nil, err
	}
	return &Service{db: d.DB, nc: d.NATS, logger: d.Logger, stock: stock, relay: outbox.NewRelay(d.DB, bus.NewPublisher(d.NATS), d.Logger)}, nil
}

// Register adds the API to a gRPC server.
func (s *Service) Register(r grpc.ServiceRegistrar) {
	pb.RegisterInventoryServiceServer(r, grpcapi.New(s.stock))
}

// ServiceNames are the proto services that Register adds.
func (s *Service) ServiceNames() []string {
	return []string{pb.InventoryService_ServiceDesc.ServiceName}
}

// DB is the database of the service.
func (s *Service) DB() *sqldb.DB { return s.db }

// Run sends and receives facts until ctx ends.
func (s *Service) Run(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return s.relay.Run(ctx) })
	group.Go(func() error { return bus.Run(ctx, s.nc, s.db, s.logger, events.Consumers(s.stock)...) })
	return group.Wait()
}

// Health says whether the database answers. The broker is not part of it: while it is away, calls are still answered and
// events wait in the outbox, so the service must not be taken out of service.
func (s *Service) Health(ctx context.Context) error {
	if err := s.db.Ping(ctx); err != nil {
		return fmt.Errorf("database of inventory: %w", err)
	}
	return nil
}
