// Package suite runs the services of Rondeau: all in one process over a data folder, or one by itself in the production
// shape. It decides nothing about the work; it opens, connects, starts, and stops in the reverse order.
package suite

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc"

	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/bus"
	"rondeau.internal/pkg/clock"
	"rondeau.internal/pkg/lifecycle"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
)

// Options say how the suite runs in one process.
type Options struct {
	Data       string       // folder of everything that is kept; made when missing
	Listen     string       // host:port of the gRPC listener; "" opens none
	NATSListen string       // host:port at which the broker listens; "" keeps it inside the process
	Clock      clock.Clock  // nil means the machine's
	Logger     *slog.Logger // nil discards
	// Databases replaces the file of a service by another database, such as postgres://...
	Databases map[string]string
}

// stopTime is what a stop may take before connections are cut.
const stopTime = 20 * time.Second

// Suite is all services in one process.
type Suite struct {
	data     string
	address  string
	clock    clock.Clock
	logger   *slog.Logger
	keys     *auth.Keys
	pipe     *rpc.Pipe
	server   *rpc.Server
	services map[string]service
	stack    lifecycle.Stack
	group    *errgroup.Group
	cancel   context.CancelFunc

	mu    sync.Mutex
	conns map[auth.Principal]*grpc.ClientConn
}

// Start runs the suite over a data folder. When it returns without an error, every service answers.
func Start(ctx context.Context, o Options) (*Suite, error) {
	s := &Suite{
		data: o.Data, clock: o.Clock, logger: o.Logger, pipe: rpc.NewPipe(),
		services: map[string]service{}, conns: map[auth.Principal]*grpc.ClientConn{},
	}
	if s.clock == nil {
		s.clock = clock.System()
	}
	if s.logger == nil {
		s.logger = slog.New(slog.DiscardHandler)
	}
	err := s.start(ctx, o)
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

func (s *Suite) start(ctx context.Context, o Options) error {
	err := os.MkdirAll(filepath.Dir(KeyFile(o.Data)), 0o700)
	if err != nil {
		return fmt.Errorf("data folder: %w", err)
	}
	unlock, err := lockFolder(o.Data)
	if err != nil {
		return err
	}
	s.stack.Push("data folder", func(context.Context) error { return unlock() })
	s.keys, err = auth.LoadOrCreateKeys(KeyFile(o.Data))
	if err != nil {
		return fmt.Errorf("token key: %w", err)
	}
	broker, err := bus.StartEmbedded(filepath.Join(o.Data, "events"), bus.Options{Listen: o.NATSListen})
	if err != nil {
		return fmt.Errorf("broker: %w", err)
	}
	s.stack.Push("broker", func(context.Context) error { broker.Shutdown(); return nil })
	background, cancel := context.WithCancel(context.WithoutCancel(ctx))
	s.cancel = cancel
	s.group, background = errgroup.WithContext(background)
	stores, err := s.build(ctx, o, broker)
	if err != nil {
		return err
	}
	s.server, err = rpc.NewServer(rpc.ServerConfig{
		Logger: s.logger, Verifier: s.keys.Verifier(), Stores: stores, Checks: s.checks(), Clock: s.clock,
	}, func(r grpc.ServiceRegistrar) {
		for _, k := range kinds {
			s.services[k.name].Register(r)
		}
	})
	if err != nil {
		return fmt.Errorf("server: %w", err)
	}
	s.stack.Push("server", s.server.Stop)
	listeners := []net.Listener{s.pipe}
	if o.Listen != "" {
		listener, err := s.listen(o)
		if err != nil {
			return err
		}
		listeners = append(listeners, listener)
	}
	s.group.Go(func() error { return s.server.Serve(listeners...) })
	for _, k := range kinds {
		s.group.Go(func() error {
			err := s.services[k.name].Run(background)
			if err != nil && background.Err() == nil {
				return fmt.Errorf("%s: %w", k.name, err)
			}
			return nil
		})
	}
	return s.ready(ctx)
}

// build opens the databases and makes the services. They reach each other through the pipe.
func (s *Suite) build(ctx context.Context, o Options, broker *bus.Embedded) (map[string]*sqldb.DB, error) {
	nc, err := broker.Connect()
	if err != nil {
		return nil, fmt.Errorf("connect to broker: %w", err)
	}
	s.stack.Push("broker connection", func(context.Context) error { nc.Close(); return nil })
	err = bus.EnsureStreams(ctx, nc, 1)
	if err != nil {
		return nil, fmt.Errorf("event streams: %w", err)
	}
	peer, err := s.Conn(auth.Principal{Subject: "suite", Role: "service"})
	if err != nil {
		return nil, err
	}
	stores := map[string]*sqldb.DB{}
	for _, k := range kinds {
		database := o.Databases[k.name]
		if database == "" {
			database = DatabaseFile(o.Data, k.name)
		}
		db, err := k.open(ctx, database)
		if err != nil {
			return nil, fmt.Errorf("database of %s: %w", k.name, err)
		}
		s.stack.Push("database of "+k.name, func(context.Context) error { return db.Close() })
		made, err := k.build(ctx, deps{
			db: db, nats: nc, clock: s.clock, logger: s.logger.With("service", k.name),
			peers: func(string) grpc.ClientConnInterface { return peer },
		})
		if err != nil {
			return nil, fmt.Errorf("%s: %w", k.name, err)
		}
		s.services[k.name] = made
		for _, name := range made.ServiceNames() {
			stores[name] = db
		}
	}
	// Pushed after the databases, so that the loops end before their databases close.
	s.stack.Push("services", func(ctx context.Context) error {
		s.cancel()
		return s.ended(ctx)
	})
	return stores, nil
}

// DatabaseFile is the SQLite file of a service below a data folder.
func DatabaseFile(data, service string) string { return filepath.Join(data, service+".db") }

func (s *Suite) checks() map[string]func(context.Context) error {
	checks := map[string]func(context.Context) error{}
	for name, one := range s.services {
		checks[name] = one.Health
	}
	return checks
}

// listen opens the listener that clients of this machine find through the connection file.
func (s *Suite) listen(o Options) (net.Listener, error) {
	files, err := rpc.EnsureLocalTLS(filepath.Join(o.Data, "keys", "tls"))
	if err != nil {
		return nil, fmt.Errorf("certificates: %w", err)
	}
	settings, err := rpc.ServerTLS(files.CertFile, files.KeyFile, "")
	if err != nil {
		return nil, fmt.Errorf("certificates: %w", err)
	}
	listener, err := net.Listen("tcp", o.Listen)
	if err != nil {
		return nil, fmt.Errorf("listen on %s: %w; choose another address with --listen", o.Listen, err)
	}
	s.address = listener.Addr().String()
	s.stack.Push("connection file", func(context.Context) error { return os.Remove(connectionFile(o.Data)) })
	return tlsListener(listener, settings), Connection{Address: s.address, CA: files.CAFile, Process: os.Getpid()}.write(o.Data)
}

// ready waits until every service answers.
func (s *Suite) ready(ctx context.Context) error {
	wait, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	for name, one := range s.services {
		for {
			err := one.Health(wait)
			if err == nil {
				break
			}
			select {
			case <-wait.Done():
				return fmt.Errorf("%s is not ready: %w", name, err)
			case <-time.After(5 * time.Millisecond):
			}
		}
	}
	return nil
}

// Data is the data folder.
func (s *Suite) Data() string { return s.data }

// Address is the host:port of the gRPC listener, "" when there is none.
func (s *Suite) Address() string { return s.address }

// Conn is a connection inside the process that acts as a person or program. It is closed with the suite.
func (s *Suite) Conn(p auth.Principal) (*grpc.ClientConn, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if conn := s.conns[p]; conn != nil {
		return conn, nil
	}
	token := renewing(s.keys, p)
	conn, err := rpc.Dial("suite", rpc.DialConfig{Pipe: s.pipe, Token: token})
	if err != nil {
		return nil, fmt.Errorf("connect inside the process: %w", err)
	}
	s.conns[p] = conn
	s.stack.Push("connection of "+p.Subject, func(context.Context) error { return conn.Close() })
	return conn, nil
}

// renewing signs a fresh token before the last one ends.
func renewing(keys *auth.Keys, p auth.Principal) func() string {
	const life = time.Hour
	var mu sync.Mutex
	var token string
	var until time.Time
	return func() string {
		mu.Lock()
		defer mu.Unlock()
		if time.Now().Before(until) {
			return token
		}
		signed, err := keys.Sign(p, life)
		if err != nil {
			return "" // the server answers that a token is missing
		}
		token, until = signed, time.Now().Add(life/2)
		return token
	}
}

// ended waits until all loops have returned.
func (s *Suite) ended(ctx context.Context) error {
	done := make(chan struct{})
	go func() {
		_ = s.group.Wait() // Wait reports it
		close(done)
	}()
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("services did not end: %w", ctx.Err())
	}
}

// Wait returns when a part of the suite failed or the suite was closed.
func (s *Suite) Wait() error { return s.group.Wait() }

// Close stops the suite: calls end, loops end, files close. Closing twice is harmless.
func (s *Suite) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), stopTime)
	defer cancel()
	err := s.stack.Close(ctx)
	if s.cancel != nil {
		s.cancel()
	}
	return err
}
