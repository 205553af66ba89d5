//go:build integration

package harness

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/bus"
	"rondeau.internal/pkg/clock"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/testenv"
	"rondeau.internal/services/rondeau/suite"
)

// Broker is the name of the NATS server among the parts of a suite; the services have their own names.
const Broker = "nats"

// Services are the four services in the order in which they start.
func Services() []string { return suite.ServiceNames() }

// Options adjust a suite. The zero value is the plain one.
type Options struct {
	Postgres bool      // processes only: a PostgreSQL database per service in place of an SQLite file
	Now      time.Time // first simulated time; zero means 2026-03-16 08:00 UTC, a Monday
	Args     []string  // further arguments of each service
	Env      []string  // further environment of each service, processes only
}

const (
	readyTime = 90 * time.Second // a busy machine starts four services and a database
	tokenLife = 12 * time.Hour
)

// body is how the parts of a suite are run: as processes or as containers.
type body interface {
	// start starts a part that does not run.
	start(ctx context.Context, part string, env []string) error
	// kill ends a part with SIGKILL and returns when it has ended.
	kill(ctx context.Context, part string) error
	// exit waits until a part has ended by itself and returns its status.
	exit(ctx context.Context, part string) (int, error)
	// address is where a part that runs can be reached now.
	address(ctx context.Context, part string) (string, error)
	// database is the address of a service's database.
	database(ctx context.Context, service string) (string, error)
	// logs is what a part has said so far.
	logs(part string) string
}

// Suite is the running suite. Its methods fail the test on a fault of the surroundings, so callers need not look.
type Suite struct {
	t     testing.TB
	body  body
	parts []string
	clock *clock.File
	keys  *auth.Keys
	tls   *tls.Config

	mu    sync.Mutex
	conns map[string]*grpc.ClientConn // by service, address and person
	dbs   map[string]*sqldb.DB        // by address, which changes when a database server restarts
	nats  *nats.Conn
}

// newSuite arms the clean-up. It comes before anything is started, so that a start that fails is cleaned up too.
func newSuite(t testing.TB, parts []string) *Suite {
	s := &Suite{t: t, parts: parts, conns: map[string]*grpc.ClientConn{}, dbs: map[string]*sqldb.DB{}}
	t.Cleanup(func() {
		for _, conn := range s.conns {
			_ = conn.Close() // the test is over
		}
		for _, db := range s.dbs {
			_ = db.Close()
		}
		if s.nats != nil {
			s.nats.Close()
		}
		if s.clock != nil {
			_ = s.clock.Close()
		}
		s.printLogs()
	})
	return s
}

// LogsEnv names the environment variable with a folder that keeps the logs of all parts.
const LogsEnv = "RONDEAU_KEEP_LOGS"

func (s *Suite) printLogs() {
	folder := os.Getenv(LogsEnv)
	if s.body == nil || !s.t.Failed() && folder == "" {
		return
	}
	for _, part := range s.parts {
		text := s.body.logs(part)
		if folder != "" {
			name := strings.ReplaceAll(s.t.Name(), "/", "-") + "-" + part + ".log"
			err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o644)
			if err != nil {
				s.t.Log(err)
			}
		}
		if s.t.Failed() {
			s.t.Logf("log of %s (its end):\n%s", part, tail(text, 6000))
		}
	}
}

func tail(text string, size int) string {
	if len(text) <= size {
		return text
	}
	text = text[len(text)-size:]
	if _, rest, ok := strings.Cut(text, "\n"); ok {
		return rest
	}
	return text
}

// must ends the test on an error.
func (s *Suite) must(what string, err error) {
	s.t.Helper()
	if err != nil {
		s.t.Fatalf("%s: %v", what, err)
	}
}

// Kill9 ends a part with SIGKILL. It must be running.
func (s *Suite) Kill9(part string) {
	s.t.Helper()
	ctx, cancel := s.limit()
	defer cancel()
	s.must("kill "+part, s.body.kill(ctx, part))
}

// Start starts a part that was killed or ended, and waits until it is ready. `env` is for processes only.
func (s *Suite) Start(part string, env ...string) {
	s.t.Helper()
	s.Launch(part, env...)
	if part == Broker {
		s.awaitBroker()
		return
	}
	s.Ready(part)
}

// Launch is Start without waiting, for a part that is to end by itself.
func (s *Suite) Launch(part string, env ...string) {
	s.t.Helper()
	ctx, cancel := s.limit()
	defer cancel()
	s.must("start "+part, s.body.start(ctx, part, env))
}

// Restart kills a part with SIGKILL and starts it again.
func (s *Suite) Restart(part string, env ...string) {
	s.t.Helper()
	s.Kill9(part)
	s.Start(part, env...)
}

// Strike kills a part with SIGKILL after a delay and starts it again, while the caller goes on. The function that is
// returned waits until that is done.
func (s *Suite) Strike(ctx context.Context, part string, after time.Duration) (wait func() error) {
	done := make(chan error, 1)
	go func() {
		time.Sleep(after)
		ctx, cancel := context.WithTimeout(ctx, readyTime)
		defer cancel()
		err := s.body.kill(ctx, part)
		if err == nil {
			err = s.body.start(ctx, part, nil)
		}
		if err != nil {
			err = fmt.Errorf("strike %s: %w", part, err)
		}
		done <- err
	}()
	return func() error { return <-done }
}

// Exit waits until a part ended by itself and returns its exit status.
func (s *Suite) Exit(part string) int {
	s.t.Helper()
	ctx, cancel := s.limit()
	defer cancel()
	code, err := s.body.exit(ctx, part)
	s.must("end of "+part, err)
	return code
}

// Ended says whether a part ended by itself within the given time, and with which status.
func (s *Suite) Ended(part string, within time.Duration) (status int, ended bool) {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(s.t.Context(), within)
	defer cancel()
	code, err := s.body.exit(ctx, part)
	return code, err == nil
}

// limit bounds one action on a part.
func (s *Suite) limit() (context.Context, context.CancelFunc) {
	return context.WithTimeout(s.t.Context(), readyTime)
}

// operator asks for the state of the services.
var operator = auth.Principal{Subject: "operator", Role: auth.Service}

// Ready waits until services say that they serve; without names, all.
func (s *Suite) Ready(services ...string) {
	s.t.Helper()
	if len(services) == 0 {
		services = Services()
	}
	for _, service := range services {
		testenv.Eventually(s.t, readyTime, func() error {
			ctx, cancel := context.WithTimeout(s.t.Context(), 5*time.Second)
			defer cancel()
			answer, err := healthpb.NewHealthClient(s.Conns(operator)(service)).Check(ctx, &healthpb.HealthCheckRequest{})
			if err != nil {
				return fmt.Errorf("%s: %w", service, err)
			}
			if answer.GetStatus() != healthpb.HealthCheckResponse_SERVING {
				return fmt.Errorf("%s is %s", service, answer.GetStatus())
			}
			return nil
		})
	}
}

// SetTime moves the clock that all services read.
func (s *Suite) SetTime(t time.Time) error { return s.clock.Set(t) }

// Now is the simulated time.
func (s *Suite) Now() time.Time { return s.clock.Now() }

// Conns gives connections that act as a person and follow the services over restarts. While a service is away their
// calls fail with UNAVAILABLE.
func (s *Suite) Conns(p auth.Principal) func(service string) grpc.ClientConnInterface {
	return func(service string) grpc.ClientConnInterface { return follower{suite: s, service: service, person: p} }
}

// follower looks for its service at each call.
type follower struct {
	suite   *Suite
	service string
	person  auth.Principal
}

// Invoke implements grpc.ClientConnInterface.
func (f follower) Invoke(ctx context.Context, method string, args, reply any, opts ...grpc.CallOption) error {
	conn, err := f.suite.conn(ctx, f.service, f.person)
	if err != nil {
		return rpc.FromStatus(err)
	}
	return conn.Invoke(ctx, method, args, reply, opts...)
}

// NewStream implements grpc.ClientConnInterface.
func (f follower) NewStream(ctx context.Context, desc *grpc.StreamDesc, method string, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	conn, err := f.suite.conn(ctx, f.service, f.person)
	if err != nil {
		return nil, rpc.FromStatus(err)
	}
	return conn.NewStream(ctx, desc, method, opts...)
}

func (s *Suite) conn(ctx context.Context, service string, p auth.Principal) (*grpc.ClientConn, error) {
	address, err := s.body.address(ctx, service)
	if err != nil {
		return nil, status.Errorf(codes.Unavailable, "%s: %v", service, err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	// The life of a part is in its address, so a restarted service is dialled at once and not when an old connection
	// ends its pause.
	key := fmt.Sprintf("%s %s %v", service, address, p)
	if conn := s.conns[key]; conn != nil {
		return conn, nil
	}
	target, _ := cutLife(address)
	conn, err := rpc.Dial(target, rpc.DialConfig{TLS: s.tls, Token: func() string {
		token, err := s.keys.Sign(p, tokenLife)
		if err != nil {
			return "" // the call is refused and says so
		}
		return token
	}})
	if err != nil {
		return nil, err
	}
	s.conns[key] = conn
	return conn, nil
}

// cutLife takes an address of a part apart into host:port and the life of the part in which it holds.
func cutLife(address string) (target, life string) {
	target, life, _ = strings.Cut(address, "#")
	return target, life
}

// trust reads the keys of the installation, so that tests can sign for people and trust the services.
func (s *Suite) trust(folder string) {
	s.t.Helper()
	var err error
	s.keys, err = auth.LoadOrCreateKeys(filepath.Join(folder, "tokens.key"))
	s.must("token key", err)
	s.tls, err = rpc.ClientTLS(filepath.Join(folder, "tls", "ca.crt"), "", "")
	s.must("certificates", err)
}

// Database opens a service's database beside the service. A database server must be running.
func (s *Suite) Database(service string) *sqldb.DB {
	s.t.Helper()
	address, err := s.body.database(s.t.Context(), service)
	s.must("database of "+service, err)
	if db := s.dbs[address]; db != nil {
		return db
	}
	db, err := sqldb.Open(s.t.Context(), address)
	s.must("database of "+service, err)
	s.dbs[address] = db
	return db
}

// Settle waits until all facts have had their effect: every outbox is sent and every consumer has nothing left. All
// parts must be running.
func (s *Suite) Settle(within time.Duration) {
	s.t.Helper()
	quiet := 0
	testenv.Eventually(s.t, within, func() error {
		err := s.busy()
		if err != nil {
			quiet = 0
			return err
		}
		quiet++
		if quiet < 2 { // an effect may have caused a fact just behind our back
			return errors.New("it was quiet only once")
		}
		return nil
	})
}

// busy says what is still under way.
func (s *Suite) busy() error {
	ctx, cancel := context.WithTimeout(s.t.Context(), 5*time.Second)
	defer cancel()
	for _, service := range Services() {
		n, _, err := outbox.Lag(ctx, s.Database(service))
		if err != nil {
			return fmt.Errorf("outbox of %s: %w", service, err)
		}
		if n > 0 {
			return fmt.Errorf("%d events of %s are not sent", n, service)
		}
	}
	js, err := jetstream.New(s.broker())
	if err != nil {
		return err
	}
	for _, service := range bus.Contexts() {
		stream, err := js.Stream(ctx, bus.StreamName(service))
		if err != nil {
			return fmt.Errorf("stream of %s: %w", service, err)
		}
		consumers := stream.ListConsumers(ctx)
		for info := range consumers.Info() {
			if n := info.NumPending + uint64(info.NumAckPending); n > 0 {
				return fmt.Errorf("%s has %d events of %s left", info.Name, n, service)
			}
		}
		if err := consumers.Err(); err != nil {
			return fmt.Errorf("consumers of %s: %w", service, err)
		}
	}
	return nil
}

// broker is the test's own connection to the broker; it follows the broker over restarts as containers change ports.
func (s *Suite) broker() *nats.Conn {
	s.t.Helper()
	address, err := s.body.address(s.t.Context(), Broker)
	s.must("broker", err)
	target, _ := cutLife(address)
	url := "nats://" + target
	if s.nats != nil && s.nats.Opts.Url == url {
		return s.nats
	}
	if s.nats != nil {
		s.nats.Close()
	}
	s.nats, err = bus.Dial(url)
	s.must("broker", err)
	return s.nats
}

func (s *Suite) awaitBroker() {
	s.t.Helper()
	testenv.Eventually(s.t, readyTime, func() error {
		ctx, cancel := context.WithTimeout(s.t.Context(), 2*time.Second)
		defer cancel()
		js, err := jetstream.New(s.broker())
		if err != nil {
			return err
		}
		_, err = js.AccountInfo(ctx)
		return err
	})
}

// Parked lists what consumers of a service could not handle.
func (s *Suite) Parked(service string) []string {
	s.t.Helper()
	list, err := outbox.ListParked(s.t.Context(), s.Database(service), "", 100)
	s.must("parked events of "+service, err)
	var out []string
	for _, p := range list {
		out = append(out, fmt.Sprintf("%s %s: %s", p.Consumer, p.Event.Subject, p.Cause))
	}
	return out
}
