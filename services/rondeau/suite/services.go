package suite

import (
	"context"
	"fmt"
	"log/slog"
	"strings"

	"github.com/nats-io/nats.go"
	"google.golang.org/grpc"

	"rondeau.internal/pkg/clock"
	"rondeau.internal/pkg/sqldb"
	foodsafety "rondeau.internal/services/foodsafety/server"
	inventory "rondeau.internal/services/inventory/server"
	planning "rondeau.internal/services/planning/server"
	scheduling "rondeau.internal/services/scheduling/server"
)

// service is what every service of the suite is to the program that runs it.
type service interface {
	Register(grpc.ServiceRegistrar)
	Run(ctx context.Context) error
	Health(ctx context.Context) error
	ServiceNames() []string
}

// deps are what a service needs to be built.
type deps struct {
	db     *sqldb.DB
	nats   *nats.Conn
	clock  clock.Clock
	logger *slog.Logger
	peers  func(service string) grpc.ClientConnInterface
}

// kind knows how to open and build one of the services.
type kind struct {
	name  string
	open  func(ctx context.Context, database string) (*sqldb.DB, error)
	build func(ctx context.Context, d deps) (service, error)
}

// kinds are the services in the order in which they start; each works while the others are not there yet.
var kinds = []kind{
	{"foodsafety", foodsafety.Open, func(ctx context.Context, d deps) (service, error) {
		return foodsafety.New(ctx, foodsafety.Deps{DB: d.db, NATS: d.nats, Clock: d.clock, Logger: d.logger, Peers: d.peers})
	}},
	{"inventory", inventory.Open, func(ctx context.Context, d deps) (service, error) {
		return inventory.New(ctx, inventory.Deps{DB: d.db, NATS: d.nats, Clock: d.clock, Logger: d.logger, Peers: d.peers})
	}},
	{"planning", planning.Open, func(ctx context.Context, d deps) (service, error) {
		return planning.New(ctx, planning.Deps{DB: d.db, NATS: d.nats, Clock: d.clock, Logger: d.logger, Peers: d.peers})
	}},
	{"scheduling", scheduling.Open, func(ctx context.Context, d deps) (service, error) {
		return scheduling.New(ctx, scheduling.Deps{DB: d.db, NATS: d.nats, Clock: d.clock, Logger: d.logger, Peers: d.peers})
	}},
}

// ServiceNames lists the services that can be served by themselves.
func ServiceNames() []string {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		names[i] = k.name
	}
	return names
}

func kindOf(name string) (kind, error) {
	for _, k := range kinds {
		if k.name == name {
			return k, nil
		}
	}
	return kind{}, fmt.Errorf("no service %q; the services are %s", name, strings.Join(ServiceNames(), ", "))
}

// OpenDatabase opens a service's database without serving, for replay and parked messages. `database` is a file or a
// postgres:// address.
func OpenDatabase(ctx context.Context, name, database string) (*sqldb.DB, error) {
	k, err := kindOf(name)
	if err != nil {
		return nil, err
	}
	return k.open(ctx, database)
}
