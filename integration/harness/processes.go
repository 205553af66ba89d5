//go:build integration

package harness

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"rondeau.internal/pkg/clock"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/pkg/testenv"
	"rondeau.internal/services/rondeau/suite"
)

// firstMoment is the simulated time at which a suite starts: a Monday, 04:00 in New York.
var firstMoment = time.Date(2026, time.March, 16, 8, 0, 0, 0, time.UTC)

// Processes brings the suite up as child processes on loopback ports.
func Processes(t testing.TB, o Options) *Suite {
	t.Helper()
	folder := t.TempDir()
	built, err := programs()
	if err != nil {
		t.Fatalf("build the programs: %v", err)
	}
	parts := append([]string{Broker}, Services()...)
	s := newSuite(t, parts)
	f := &family{built: built, folder: folder, options: o, ports: map[string]string{}, databases: map[string]string{}, children: map[string]*child{}, said: map[string]*bytes.Buffer{}}
	s.body = f
	for _, part := range parts {
		f.said[part] = &bytes.Buffer{}
		f.ports[part] = freePort(t)
	}
	for _, service := range Services() {
		f.databases[service] = filepath.Join(folder, service+".db")
		if o.Postgres {
			f.databases[service] = sqldbtest.PostgresURL(t)
		}
	}
	s.must("keys", suite.MakeKeys(filepath.Join(folder, "keys"), append(Services(), "localhost", "127.0.0.1")))
	s.trust(filepath.Join(folder, "keys"))
	if o.Now.IsZero() {
		o.Now = firstMoment
	}
	s.clock, err = clock.CreateFile(filepath.Join(folder, "clock"), o.Now)
	s.must("clock", err)
	s.must("configuration of the broker", f.configureBroker(freePort(t)))
	t.Cleanup(f.end)
	s.Start(Broker)
	for _, service := range Services() {
		s.Launch(service)
	}
	s.Ready()
	return s
}

// freePort finds a port below those that the system gives to outgoing connections, so that nobody else takes it while
// its service is away.
func freePort(t testing.TB) string {
	t.Helper()
	for range 200 {
		address := fmt.Sprintf("127.0.0.1:%d", 12000+rand.IntN(20000))
		l, err := net.Listen("tcp", address)
		if err != nil {
			continue
		}
		err = l.Close()
		if err != nil {
			t.Fatal(err)
		}
		return address
	}
	t.Fatal("no free port between 12000 and 32000")
	return ""
}

// family is the suite as child processes of the test.
type family struct {
	built, folder string
	options       Options
	ports         map[string]string // by part, host:port
	databases     map[string]string

	mu       sync.Mutex
	children map[string]*child
	lives    int
	said     map[string]*bytes.Buffer // what each part wrote, over all its lives
}

// child is one life of a part.
type child struct {
	cmd   *exec.Cmd
	life  int
	ended chan struct{} // closed when the process was waited for
}

// writer collects what a part says.
type writer struct {
	family *family
	part   string
}

// Write implements io.Writer.
func (w writer) Write(p []byte) (int, error) {
	w.family.mu.Lock()
	defer w.family.mu.Unlock()
	return w.family.said[w.part].Write(p)
}

func (f *family) start(_ context.Context, part string, env []string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if c := f.children[part]; c != nil && !c.over() {
		return errors.New("it is running already")
	}
	cmd := exec.Command(filepath.Join(f.built, "rondeau"), f.arguments(part)...)
	cmd.Env = append(append(os.Environ(), f.options.Env...), env...)
	if part == Broker {
		cmd = exec.Command(filepath.Join(f.built, "nats-server"), "-c", filepath.Join(f.folder, "nats.conf"))
	}
	cmd.Dir = f.folder
	cmd.Stdout, cmd.Stderr = writer{f, part}, writer{f, part}
	err := spawn(cmd)
	if err != nil {
		return err
	}
	f.lives++
	c := &child{cmd: cmd, life: f.lives, ended: make(chan struct{})}
	f.children[part] = c
	go func() {
		_ = cmd.Wait() // its status is read from ProcessState
		close(c.ended)
	}()
	return nil
}

// configureBroker writes deploy/nats.conf with the addresses and the folder of this machine.
func (f *family) configureBroker(monitoring string) error {
	text, err := os.ReadFile(filepath.Join(testenv.RepoRoot(), "deploy", "nats.conf"))
	if err != nil {
		return err
	}
	conf := string(text)
	for from, to := range map[string]string{
		"0.0.0.0:4222": f.ports[Broker], "0.0.0.0:8222": monitoring, "/data": strconv.Quote(filepath.Join(f.folder, "streams")),
	} {
		if strings.Count(conf, from) != 1 {
			return fmt.Errorf("deploy/nats.conf does not hold %s once", from)
		}
		conf = strings.Replace(conf, from, to, 1)
	}
	return os.WriteFile(filepath.Join(f.folder, "nats.conf"), []byte(conf), 0o644)
}

// arguments are those of deploy/compose.yaml with the addresses of this machine.
func (f *family) arguments(service string) []string {
	keys := filepath.Join(f.folder, "keys")
	args := []string{
		"serve", service, "--listen=" + f.ports[service], "--database=" + f.databases[service], "--nats=nats://" + f.ports[Broker],
		"--tls=" + filepath.Join(keys, "tls"), "--token-key=" + filepath.Join(keys, "tokens.key"), "--clock-file=" + filepath.Join(f.folder, "clock"),
	}
	for _, peer := range Services() {
		if peer != service {
			args = append(args, "--peer="+peer+"="+f.ports[peer])
		}
	}
	return append(args, f.options.Args...)
}

func (c *child) over() bool {
	select {
	case <-c.ended:
		return true
	default:
		return false
	}
}

func (f *family) child(part string) (*child, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	c := f.children[part]
	if c == nil {
		return nil, errors.New("it was never started")
	}
	return c, nil
}

func (f *family) kill(ctx context.Context, part string) error {
	c, err := f.child(part)
	if err != nil {
		return err
	}
	if c.over() {
		return fmt.Errorf("it has ended already: %s", c.cmd.ProcessState)
	}
	err = c.cmd.Process.Kill()
	if err != nil && !errors.Is(err, os.ErrProcessDone) {
		return err
	}
	_, err = f.exit(ctx, part)
	return err
}

func (f *family) exit(ctx context.Context, part string) (int, error) {
	c, err := f.child(part)
	if err != nil {
		return 0, err
	}
	select {
	case <-c.ended:
		return c.cmd.ProcessState.ExitCode(), nil
	case <-ctx.Done():
		return 0, fmt.Errorf("it still runs: %w", ctx.Err())
	}
}

func (f *family) address(_ context.Context, part string) (string, error) {
	c, err := f.child(part)
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("%s#%d", f.ports[part], c.life), nil
}

func (f *family) database(_ context.Context, service string) (string, error) {
	return f.databases[service], nil
}

func (f *family) logs(part string) string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return strings.Clone(f.said[part].String())
}

// end kills all children at the end of the test: services first, the broker last.
func (f *family) end() {
	for _, part := range append(Services(), Broker) {
		c, err := f.child(part)
		if err != nil || c.over() {
			continue
		}
		_ = c.cmd.Process.Kill() // it may have ended just now
		<-c.ended
	}
}
