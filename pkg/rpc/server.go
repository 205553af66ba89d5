package rpc

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"slices"
	"strings"
	"sync"
	"time"

	"buf.build/go/protovalidate"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc/filters"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"

	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/clock"
	"rondeau.internal/pkg/sqldb"
)

// Limits of a server and its connections.
const (
	defaultMaxReceive    = 1 << 20 // 1 MiB
	maxSend              = 8 << 20 // above it, stream or page
	maxHeaderBytes       = 16 << 10
	maxStreamsPerConn    = 128
	minClientPing        = 30 * time.Second
	maxConnectionAge     = 30 * time.Minute // so that certificates rotate
	maxConnectionGrace   = 30 * time.Second
	connectionTimeout    = 20 * time.Second
	healthCheckInterval  = 5 * time.Second
	healthCheckTimeout   = 3 * time.Second
	healthCheckFirstWait = 100 * time.Millisecond // doubled until healthCheckInterval while not ready
)

// ServerConfig says what a server needs.
type ServerConfig struct {
	Logger   *slog.Logger  // required
	Verifier auth.Verifier // required
	// Stores are the databases in which the responses to requests with a request_id are kept, by proto service name
	// ("rondeau.inventory.v1.InventoryService"). The tables of package outbox must be there. Every service with such a
	// request needs one.
	Stores map[string]*sqldb.DB
	TLS    *tls.Config // nil means no encryption, for the in-memory pipe and tests; a pipe is never encrypted
	// Rules replace the access rules read from the proto files, for services that have none.
	Rules map[string]auth.Rule
	// Checks are polled for readiness. The server as a whole ("") and each of its services are SERVING while all pass.
	Checks map[string]func(context.Context) error
	// Clock is the time against which rules such as "not in the future" are evaluated; nil means the machine's.
	Clock      clock.Clock
	MaxReceive int           // largest request in bytes; 0 means 1 MiB
	UnaryLimit time.Duration // longest unary call; 0 means 60 s
}

// Server is a gRPC server with the suite's interceptors and the standard health service.
type Server struct {
	cfg       ServerConfig
	logger    *slog.Logger
	rules     map[string]auth.Rule
	validator protovalidate.Validator
	grpc      *grpc.Server
	health    *health.Server
	services  []string

	polling sync.Once
	stop    chan struct{} // closed by Stop
	stopped sync.Once
	polls   sync.WaitGroup
}

// NewServer makes a server; register adds its services. It is an error to register a service twice, to configure a
// store for a service that is not there, or to leave out one that is needed.
func NewServer(cfg ServerConfig, register func(grpc.ServiceRegistrar)) (*Server, error) {
	if cfg.Logger == nil || cfg.Verifier == nil || register == nil {
		return nil, errors.New("rpc: a server needs a logger, a verifier and services")
	}
	if cfg.MaxReceive == 0 {
		cfg.MaxReceive = defaultMaxReceive
	}
	if cfg.UnaryLimit == 0 {
		cfg.UnaryLimit = defaultUnaryLimit
	}
	if cfg.Clock == nil {
		cfg.Clock = clock.System()
	}
	s := &Server{cfg: cfg, logger: cfg.Logger, rules: cfg.Rules, stop: make(chan struct{})}
	var err error
	if s.rules == nil {
		if s.rules, err = auth.Rules(nil); err != nil {
			return nil, err
		}
	}
	if s.validator, err = newValidator(cfg.Clock); err != nil {
		return nil, err
	}
	s.grpc = grpc.NewServer(s.options()...)
	reg := &registrar{server: s.grpc, seen: map[string]bool{}}
	register(reg)
	if reg.err != nil {
		return nil, reg.err
	}
	s.services = reg.names
	s.health = health.NewServer()
	grpc_health_v1.RegisterHealthServer(s.grpc, s.health)
	s.setHealth(grpc_health_v1.HealthCheckResponse_NOT_SERVING)
	return s, s.checkServices()
}

func (s *Server) options() []grpc.ServerOption {
	var unary []grpc.UnaryServerInterceptor
	var stream []grpc.StreamServerInterceptor
	for _, l := range s.chain() {
		unary = append(unary, l.unary)
		stream = append(stream, l.stream)
	}
	return []grpc.ServerOption{
		grpc.ChainUnaryInterceptor(unary...),
		grpc.ChainStreamInterceptor(stream...),
		grpc.StatsHandler(otelgrpc.NewServerHandler(otelgrpc.WithFilter(filters.Not(filters.HealthCheck())))),
		grpc.Creds(newServerCredentials(s.cfg.TLS)),
		grpc.MaxRecvMsgSize(s.cfg.MaxReceive),
		grpc.MaxSendMsgSize(maxSend),
		grpc.MaxHeaderListSize(maxHeaderBytes),
		grpc.MaxConcurrentStreams(maxStreamsPerConn),
		grpc.ConnectionTimeout(connectionTimeout),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: minClientPing, PermitWithoutStream: true}),
		grpc.KeepaliveParams(keepalive.ServerParameters{MaxConnectionAge: maxConnectionAge, MaxConnectionAgeGrace: maxConnectionGrace}),
	}
}

// registrar refuses a second service of the same name with an error instead of ending the process.
type registrar struct {
	server *grpc.Server
	seen   map[string]bool
	names  []string
	err    error
}

// RegisterService implements grpc.ServiceRegistrar.
func (r *registrar) RegisterService(desc *grpc.ServiceDesc, impl any) {
	if r.seen[desc.ServiceName] || desc.ServiceName == grpc_health_v1.Health_ServiceDesc.ServiceName {
		r.err = errors.Join(r.err, fmt.Errorf("rpc: service %s is registered twice", desc.ServiceName))
		return
	}
	r.seen[desc.ServiceName] = true
	r.names = append(r.names, desc.ServiceName)
	r.server.RegisterService(desc, impl)
}

// checkServices compares the registered services with the configuration.
func (s *Server) checkServices() error {
	var faults []error
	for name := range s.cfg.Stores {
		if !slices.Contains(s.services, name) {
			faults = append(faults, fmt.Errorf("rpc: a store is configured for %s, which is not registered", name))
		}
	}
	for name, info := range s.grpc.GetServiceInfo() {
		if !slices.Contains(s.services, name) {
			continue // health
		}
		for _, m := range info.Methods {
			full := "/" + name + "/" + m.Name
			if _, ok := s.rules[full]; !ok {
				s.logger.Warn("method has no access rule and is closed to everybody", slog.String("method", full))
			}
			md, err := methodDescriptor(full)
			if err != nil {
				faults = append(faults, fmt.Errorf("rpc: %s: %w", full, err))
				continue
			}
			if !m.IsClientStream && !m.IsServerStream && md.Input().Fields().ByName(requestIDField) != nil && s.cfg.Stores[name] == nil {
				faults = append(faults, fmt.Errorf("rpc: %s takes a request_id, but %s has no store in which to keep responses", m.Name, name))
				break
			}
		}
	}
	return errors.Join(faults...)
}

// Methods lists the full names of the registered methods, sorted, for tests over all of them.
func (s *Server) Methods() []string {
	var all []string
	for name, info := range s.grpc.GetServiceInfo() {
		for _, m := range info.Methods {
			all = append(all, "/"+name+"/"+m.Name)
		}
	}
	slices.Sort(all)
	return all
}

// Serve answers on all listeners until Stop, or until one of them fails; then it stops the others. It returns nil after Stop.
func (s *Server) Serve(lis ...net.Listener) error {
	if len(lis) == 0 {
		return errors.New("rpc: nothing to listen on")
	}
	s.polling.Do(s.startPolling)
	results := make(chan error, len(lis))
	for _, l := range lis {
		go func() { results <- s.grpc.Serve(l) }()
	}
	var first error
	for range lis {
		err := <-results
		if err != nil && !errors.Is(err, grpc.ErrServerStopped) && first == nil {
			first = err
			s.grpc.Stop()
		}
	}
	return first
}

// startPolling makes the server ready at once when there is nothing to check.
func (s *Server) startPolling() {
	if len(s.cfg.Checks) == 0 {
		s.setHealth(grpc_health_v1.HealthCheckResponse_SERVING)
		return
	}
	s.polls.Add(1)
	go func() {
		defer s.polls.Done()
		s.poll()
	}()
}

// poll runs the checks and logs transitions only.
func (s *Server) poll() {
	ready, told := false, false
	wait := healthCheckFirstWait
	for {
		err := s.check()
		if now := err == nil; now != ready || !told {
			ready, told = now, true
			if ready {
				s.setHealth(grpc_health_v1.HealthCheckResponse_SERVING)
				s.logger.Info("ready")
			} else {
				s.setHealth(grpc_health_v1.HealthCheckResponse_NOT_SERVING)
				s.logger.Warn("not ready", slog.Any("error", err))
			}
		}
		if wait = min(2*wait, healthCheckInterval); ready {
			wait = healthCheckInterval
		}
		t := time.NewTimer(wait)
		select {
		case <-s.stop:
			t.Stop()
			return
		case <-t.C:
		}
	}
}

func (s *Server) check() error {
	ctx, cancel := context.WithTimeout(context.Background(), healthCheckTimeout)
	defer cancel()
	var faults []error
	for name, fn := range s.cfg.Checks {
		if err := fn(ctx); err != nil {
			faults = append(faults, fmt.Errorf("%s: %w", name, err))
		}
	}
	slices.SortFunc(faults, func(a, b error) int { return strings.Compare(a.Error(), b.Error()) })
	return errors.Join(faults...)
}

func (s *Server) setHealth(status grpc_health_v1.HealthCheckResponse_ServingStatus) {
	for _, name := range append([]string{""}, s.services...) {
		s.health.SetServingStatus(name, status)
	}
}

// Stop ends the server: it reports NOT_SERVING, takes no new calls, lets running ones finish until ctx is done, and
// then cuts them off. It may be called several times.
func (s *Server) Stop(ctx context.Context) error {
	s.stopped.Do(func() { close(s.stop) })
	s.health.Shutdown()
	done := make(chan struct{})
	go func() {
		s.grpc.GracefulStop()
		close(done)
	}()
	var err error
	select {
	case <-done:
	case <-ctx.Done(): // for example an open watch of a client
		s.grpc.Stop()
		<-done
		err = fmt.Errorf("rpc: calls were cut off: %w", ctx.Err())
	}
	s.polls.Wait()
	return err
}
