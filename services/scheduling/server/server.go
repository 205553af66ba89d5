// Package server wires the scheduling service: database, store, domain, API, outbox relay, consumers of planning's facts,
// and the worker that computes schedules.
package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/google/uuid"
	"github.com/nats-io/nats.go"
	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/bus"
	"rondeau.internal/pkg/clock"
	"rondeau.internal/pkg/lifecycle"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/scheduling"
	"rondeau.internal/services/scheduling/events"
	"rondeau.internal/services/scheduling/grpcapi"
	"rondeau.internal/services/scheduling/planningclient"
	"rondeau.internal/services/scheduling/postgres"
	"rondeau.internal/services/scheduling/sqlite"
	"rondeau.internal/services/scheduling/sqlstore"
)

// overdueInterval is how often, in real time, running runs are compared with the clock.
const overdueInterval = 5 * time.Second

// Deps is what the service needs. All fields but Worker and Assess are required.
type Deps struct {
	DB     *sqldb.DB // of Open
	NATS   *nats.Conn
	Clock  clock.Clock
	Logger *slog.Logger
	// Peers answers a connection to another service; "planning" is asked for.
	Peers func(service string) grpc.ClientConnInterface
	// Worker says how often the worker looks and reports; its zero value takes the defaults.
	Worker scheduling.WorkerTiming
	// Assess is how often the assessor looks for work; 0 takes the default.
	Assess time.Duration
}

// Service is the scheduling service, ready to serve.
type Service struct {
	db     *sqldb.DB
	nats   *nats.Conn
	logger *slog.Logger
	domain *scheduling.Service
	api    *grpcapi.Server
	relay  *outbox.Relay
	worker *scheduling.Worker
	// assessor says how sure schedules are.
	assessor *scheduling.Assessor
}

// identifiers makes names and unique ids.
type identifiers struct{}

// NewID implements scheduling.IDs.
func (identifiers) NewID(prefix string) string { return aip.NewID(prefix) }

// NewUID implements scheduling.IDs.
func (identifiers) NewUID() string { return uuid.NewString() }

// Open opens the database of the service, `postgres://...` or the path of a SQLite file, and brings its schema up to
// date.
func Open(ctx context.Context, database string) (*sqldb.DB, error) {
	db, err := sqldb.Open(ctx, database)
	if err != nil {
		return nil, fmt.Errorf("scheduling database: %w", err)
	}
	if _, err := migrate(ctx, db); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

// migrate brings all tables up to date and returns the store.
func migrate(ctx context.Context, db *sqldb.DB) (*sqlstore.Store, error) {
	if err := outbox.Migrate(ctx, db); err != nil {
		return nil, fmt.Errorf("scheduling database: %w", err)
	}
	open := sqlite.New
	if db.Dialect() == sqldb.Postgres {
		open = postgres.New
	}
	store, err := open(ctx, db)
	if err != nil {
		return nil, fmt.Errorf("scheduling database: %w", err)
	}
	return store, nil
}

// New returns a complete service, or an error that names what is missing.
func New(ctx context.Context, d Deps) (*Service, error) {
	var missing []error
	for _, need := range []struct {
		name   string
		absent bool
	}{
		{"DB", d.DB == nil}, {"NATS", d.NATS == nil}, {"Clock", d.Clock == nil}, {"Logger", d.Logger == nil}, {"Peers", d.Peers == nil},
	} {
		if need.absent {
			missing = append(missing, errors.New(need.name))
		}
	}
	if len(missing) > 0 {
		return nil, fmt.Errorf("scheduling server needs: %w", errors.Join(missing...))
	}
	planning := d.Peers("planning")
	if planning == nil {
		return nil, errors.New("scheduling server needs a connection to planning")
	}
	store, err := migrate(ctx, d.DB)
	if err != nil {
		return nil, err
	}
	domain, err := scheduling.New(scheduling.Deps{
		Store: store, Planning: planningclient.New(planning), Events: events.NewOutbox(d.DB), Clock: d.Clock, IDs: identifiers{}, Logger: d.Logger,
	})
	if err != nil {
		return nil, err
	}
	api, err := grpcapi.New(domain)
	if err != nil {
		return nil, err
	}
	return &Service{
		db: d.DB, nats: d.NATS, logger: d.Logger, domain: domain, api: api,
		relay: outbox.NewRelay(d.DB, bus.NewPublisher(d.NATS), d.Logger), worker: scheduling.NewWorker(domain, d.Worker),
		assessor: scheduling.NewAssessor(domain, d.Assess),
	}, nil
}

// Register adds the API, and the standard service of long-running operations, to a gRPC server.
func (s *Service) Register(r grpc.ServiceRegistrar) { s.api.Register(r) }

// ServiceNames lists the proto services of the API.
func (s *Service) ServiceNames() []string { return grpcapi.ServiceNames() }

// DB is the database of the service.
func (s *Service) DB() *sqldb.DB { return s.db }

// Run publishes and consumes events and computes schedules until ctx ends. A computation in progress is then stored with
// its best result and goes on after the next start.
func (s *Service) Run(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return s.relay.Run(ctx) })
	group.Go(func() error { return bus.Run(ctx, s.nats, s.db, s.logger, events.Consumers(s.domain)...) })
	group.Go(func() error { return s.worker.Run(ctx) })
	group.Go(func() error { return s.assessor.Run(ctx) })
	group.Go(func() error { s.watchOverdue(ctx); return nil })
	return group.Wait()
}

// watchOverdue looks for runs that should have been finished.
func (s *Service) watchOverdue(ctx context.Context) {
	lifecycle.Repeat(ctx, overdueInterval, s.logger, "overdue runs cannot be watched", func(ctx context.Context) error {
		_, err := s.domain.WatchOverdue(ctx)
		return err
	})
}

// Health says whether runs can be recorded: that needs the database and nothing else. While the broker is down, facts
// wait in the outbox; while planning is down, no new schedule can be asked for.
func (s *Service) Health(ctx context.Context) error {
	if err := s.db.Ping(ctx); err != nil {
		return fmt.Errorf("scheduling database: %w", err)
	}
	return nil
}
