package suite

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"google.golang.org/grpc"

	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/bus"
	"rondeau.internal/pkg/clock"
	"rondeau.internal/pkg/lifecycle"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
)

// Config says how one service runs by itself. Every field has a flag of the same name; secrets are read from files.
type Config struct {
	Service      string            // planning, inventory, scheduling or foodsafety
	Listen       string            // host:port of the gRPC listener
	HealthListen string            // host:port of /livez and /readyz over HTTP; "" opens none
	Database     string            // postgres:// address or SQLite file
	DatabaseFile string            // file that holds the database address, instead of Database
	NATS         string            // nats:// or tls:// address of the broker
	NATSTLS      string            // folder with ca.crt, tls.crt, tls.key for the broker; "" uses none
	NATSReplicas int               // copies of each stream: 1, or 3 in a cluster
	TLS          string            // folder with ca.crt, tls.crt, tls.key of this service and its peers
	TokenKey     string            // key that signs tokens in an installation of its own
	OIDCIssuer   string            // issuer of the people's tokens, instead of TokenKey
	OIDCAudience string            // audience that the tokens must name
	Peers        map[string]string // host:port of the other services
	ClockFile    string            // file with a simulated time, for drills and tests; "" means the machine's clock
}

// Validate reports every fault at once.
func (c Config) Validate() error {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	if _, err := kindOf(c.Service); err != nil {
		faults = append(faults, err)
	}
	if c.Listen == "" {
		fault("--listen is needed: the host:port to serve on, such as :7443")
	}
	if (c.Database == "") == (c.DatabaseFile == "") {
		fault("give either --database or --database-file")
	}
	if c.NATS == "" {
		fault("--nats is needed: the address of the broker, such as nats://localhost:4222")
	}
	if c.NATSReplicas < 1 || c.NATSReplicas > 5 {
		fault("--nats-replicas is %d; it lies between 1 and 5", c.NATSReplicas)
	}
	if c.TLS == "" {
		fault("--tls is needed: a folder with ca.crt, tls.crt and tls.key")
	}
	if (c.TokenKey == "") == (c.OIDCIssuer == "") {
		fault("give either --token-key or --oidc-issuer")
	}
	if c.OIDCIssuer != "" && c.OIDCAudience == "" {
		fault("--oidc-audience is needed with --oidc-issuer")
	}
	for name := range c.Peers {
		if _, err := kindOf(name); err != nil {
			fault("--peer %s: %w", name, err)
		} else if name == c.Service {
			fault("--peer %s: a service is not its own peer", name)
		}
	}
	for _, k := range kinds {
		if k.name != c.Service && c.Peers[k.name] == "" {
			fault("--peer %s=HOST:PORT is needed", k.name)
		}
	}
	return errors.Join(faults...)
}

// Serve runs one service until ctx ends or the process is told to stop. `ready` is called once it answers.
func Serve(ctx context.Context, c Config, logger *slog.Logger, ready func(address string)) (err error) {
	err = c.Validate()
	if err != nil {
		return err
	}
	p := &process{config: c, logger: logger.With("service", c.Service), clock: clock.System()}
	defer func() { err = errors.Join(err, p.stack.Close(context.WithoutCancel(ctx))) }()
	err = p.open(ctx)
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", c.Listen)
	if err != nil {
		return fmt.Errorf("listen on %s: %w", c.Listen, err)
	}
	parts := []lifecycle.Component{
		func(ctx context.Context) error {
			<-ctx.Done()
			stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTime)
			defer cancel()
			return p.server.Stop(stop)
		},
		func(context.Context) error { return p.server.Serve(listener) },
		p.service.Run,
	}
	if c.HealthListen != "" {
		parts = append(parts, p.health)
	}
	if p.streams != nil {
		parts = append(parts, p.streams)
	}
	if ready != nil {
		ready(listener.Addr().String())
	}
	return lifecycle.Run(ctx, parts...)
}

// process is one service with what it holds open.
type process struct {
	config  Config
	logger  *slog.Logger
	clock   clock.Clock
	stack   lifecycle.Stack
	service service
	server  *rpc.Server
	streams lifecycle.Component // makes the event streams later, when the broker was away at the start; else nil
}

func (p *process) open(ctx context.Context) error {
	k, err := kindOf(p.config.Service)
	if err != nil {
		return err
	}
	if p.config.ClockFile != "" {
		file, err := clock.OpenFile(p.config.ClockFile)
		if err != nil {
			return fmt.Errorf("clock: %w", err)
		}
		p.clock = file
		p.stack.Push("clock", func(context.Context) error { return file.Close() })
	}
	db, err := p.openDatabase(ctx, k)
	if err != nil {
		return err
	}
	nc, err := p.openBroker(ctx)
	if err != nil {
		return err
	}
	verifier, token, err := p.tokens(ctx)
	if err != nil {
		return err
	}
	clientTLS, err := rpc.ClientTLS(p.file("ca.crt"), p.file("tls.crt"), p.file("tls.key"))
	if err != nil {
		return fmt.Errorf("certificates: %w", err)
	}
	peers := map[string]*grpc.ClientConn{}
	for name, address := range p.config.Peers {
		conn, err := rpc.Dial(address, rpc.DialConfig{TLS: clientTLS, Token: token})
		if err != nil {
			return fmt.Errorf("connect to %s: %w", name, err)
		}
		peers[name] = conn
		p.stack.Push("connection to "+name, func(context.Context) error { return conn.Close() })
	}
	p.service, err = k.build(ctx, deps{
		db: db, nats: nc, clock: p.clock, logger: p.logger,
		peers: func(name string) grpc.ClientConnInterface { return peers[name] },
	})
	if err != nil {
		return fmt.Errorf("%s: %w", k.name, err)
	}
	return p.openServer(db, verifier)
}

func (p *process) openDatabase(ctx context.Context, k kind) (*sqldb.DB, error) {
	database := p.config.Database
	if p.config.DatabaseFile != "" {
		text, err := os.ReadFile(p.config.DatabaseFile)
		if err != nil {
			return nil, fmt.Errorf("database address: %w", err)
		}
		database = strings.TrimSpace(string(text))
	}
	// A database that is still starting is waited for; the orchestrator ends us when it never comes.
	var db *sqldb.DB
	err := retry(ctx, p.logger, "database", func() (err error) {
		db, err = k.open(ctx, database)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("database of %s: %w", k.name, err)
	}
	p.stack.Push("database", func(context.Context) error { return db.Close() })
	return db, nil
}

func (p *process) openBroker(ctx context.Context) (*nats.Conn, error) {
	options := bus.DialOptions{Name: p.config.Service}
	if folder := p.config.NATSTLS; folder != "" {
		options.CAFile, options.CertFile, options.KeyFile = filepath.Join(folder, "ca.crt"), filepath.Join(folder, "tls.crt"), filepath.Join(folder, "tls.key")
	}
	nc, err := bus.Dial(p.config.NATS, options)
	if err != nil {
		return nil, fmt.Errorf("broker: %w", err)
	}
	p.stack.Push("broker connection", func(context.Context) error { nc.Close(); return nil })
	// A broker that is away must not keep a service from starting: probe readings and orders are taken without it.
	err = p.ensureStreams(ctx, nc)
	if err != nil {
		p.logger.WarnContext(ctx, "the broker is away; the service starts without it, and events wait", "error", err)
		p.streams = func(ctx context.Context) error { return p.awaitStreams(ctx, nc) }
	}
	return nc, nil
}

// brokerPatience is how long one try to reach the broker may take.
const brokerPatience = 3 * time.Second

func (p *process) ensureStreams(ctx context.Context, nc *nats.Conn) error {
	ctx, cancel := context.WithTimeout(ctx, brokerPatience)
	defer cancel()
	return bus.EnsureStreams(ctx, nc, p.config.NATSReplicas)
}

// awaitStreams makes the streams as soon as the broker is there.
func (p *process) awaitStreams(ctx context.Context, nc *nats.Conn) error {
	for ctx.Err() == nil {
		err := p.ensureStreams(ctx, nc)
		if err == nil {
			p.logger.InfoContext(ctx, "the broker is there")
			break
		}
		select {
		case <-ctx.Done():
		case <-time.After(time.Second):
		}
	}
	<-ctx.Done()
	return nil
}

// retry repeats what may fail while the rest of the installation starts: for a minute, each second.
func retry(ctx context.Context, logger *slog.Logger, what string, do func() error) error {
	const tries = 60
	for i := 1; ; i++ {
		err := do()
		if err == nil || i == tries || ctx.Err() != nil {
			return err
		}
		logger.InfoContext(ctx, "waiting", "for", what, "try", i, "error", err)
		select {
		case <-ctx.Done():
			return err
		case <-time.After(time.Second):
		}
	}
}

// tokens gives the verifier of callers and this service's own token towards its peers.
func (p *process) tokens(ctx context.Context) (auth.Verifier, func() string, error) {
	if p.config.TokenKey != "" {
		keys, err := auth.LoadOrCreateKeys(p.config.TokenKey)
		if err != nil {
			return nil, nil, fmt.Errorf("token key: %w", err)
		}
		return keys.Verifier(), renewing(keys, auth.Principal{Subject: p.config.Service, Role: "service"}), nil
	}
	people, err := auth.NewOIDC(ctx, p.config.OIDCIssuer, p.config.OIDCAudience)
	if err != nil {
		return nil, nil, fmt.Errorf("token issuer: %w", err)
	}
	// Services vouch for each other with a key that lies beside their certificates; people's tokens come from the issuer.
	own, err := auth.LoadOrCreateKeys(p.file("services.key"))
	if err != nil {
		return nil, nil, fmt.Errorf("key of the services: %w", err)
	}
	return either{own.Verifier(), people}, renewing(own, auth.Principal{Subject: p.config.Service, Role: "service"}), nil
}

// either accepts a token of a service or of a person.
type either struct{ services, people auth.Verifier }

func (e either) Verify(ctx context.Context, token string) (auth.Principal, error) {
	principal, err := e.services.Verify(ctx, token)
	if err == nil && principal.Role == "service" {
		return principal, nil
	}
	return e.people.Verify(ctx, token)
}

func (p *process) file(name string) string { return filepath.Join(p.config.TLS, name) }

func (p *process) openServer(db *sqldb.DB, verifier auth.Verifier) error {
	settings, err := p.serverTLS()
	if err != nil {
		return err
	}
	stores := map[string]*sqldb.DB{}
	for _, name := range p.service.ServiceNames() {
		stores[name] = db
	}
	p.server, err = rpc.NewServer(rpc.ServerConfig{
		Logger: p.logger, Verifier: verifier, Stores: stores, TLS: settings, Clock: p.clock,
		Checks: map[string]func(context.Context) error{p.config.Service: p.service.Health},
	}, p.service.Register)
	if err != nil {
		return fmt.Errorf("server: %w", err)
	}
	return nil
}

// serverTLS asks clients for a certificate and checks it when they show one: services do, people show a token.
func (p *process) serverTLS() (*tls.Config, error) {
	settings, err := rpc.ServerTLS(p.file("tls.crt"), p.file("tls.key"), p.file("ca.crt"))
	if err != nil {
		return nil, fmt.Errorf("certificates: %w", err)
	}
	settings.ClientAuth = tls.VerifyClientCertIfGiven
	return settings, nil
}

// health answers an orchestrator over plain HTTP: alive while the process runs, ready while the service is.
func (p *process) health(ctx context.Context) error {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /livez", func(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "alive") })
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, r *http.Request) {
		err := p.service.Health(r.Context())
		if err != nil {
			http.Error(w, err.Error(), http.StatusServiceUnavailable)
			return
		}
		fmt.Fprintln(w, "ready")
	})
	server := &http.Server{Addr: p.config.HealthListen, Handler: mux, ReadHeaderTimeout: 5 * time.Second}
	go func() {
		<-ctx.Done()
		stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
		defer cancel()
		_ = server.Shutdown(stop) // the process ends
	}()
	err := server.ListenAndServe()
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return fmt.Errorf("health listener: %w", err)
}
