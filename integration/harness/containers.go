//go:build integration

package harness

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/netip"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/moby/moby/api/types/container"
	"github.com/moby/moby/api/types/network"
	"github.com/moby/moby/client"
	"github.com/testcontainers/testcontainers-go"
	"github.com/testcontainers/testcontainers-go/log"

	"rondeau.internal/pkg/clock"
	"rondeau.internal/pkg/testenv"
)

// clockTarget is where the folder of the simulated clock is mounted in each service's container.
const clockTarget = "/clock"

// Containers brings the suite up in containers, as deploy/compose.yaml says. Without Docker the test is skipped, or fails
// when RONDEAU_REQUIRE lists docker.
func Containers(t testing.TB, o Options) *Suite {
	t.Helper()
	testenv.Require(t, "docker")
	testenv.Require(t, "postgres") // the image of the database is made from the programs of this machine
	s := newSuite(t, nil)
	s.must("prepare Docker", dockerReady())
	s.must("build the images", images())
	c, err := readComposition(filepath.Join(testenv.RepoRoot(), "deploy", "compose.yaml"), map[string]string{"RONDEAU_TAG": imageTag})
	s.must("compose file", err)
	order, err := c.order()
	s.must("compose file", err)
	if o.Now.IsZero() {
		o.Now = firstMoment
	}
	// The services run as another user, so the folder of the clock must be open to all.
	folder := t.TempDir()
	s.must("clock", os.Chmod(folder, 0o755))
	s.clock, err = clock.CreateFile(filepath.Join(folder, "now"), o.Now)
	s.must("clock", err)
	f, err := newFleet(t.Context(), c, folder, o)
	s.must("Docker", err)
	s.body, s.parts = f, order
	t.Cleanup(func() {
		err := f.remove()
		if err != nil {
			t.Errorf("remove containers: %v", err)
		}
	})
	for _, part := range order {
		s.Launch(part)
	}
	keys := filepath.Join(t.TempDir(), "keys")
	s.must("fetch the keys", f.fetchKeys(t.Context(), keys))
	s.trust(keys)
	s.awaitBroker()
	s.Ready()
	return s
}

// Settings that testcontainers reads from the environment. Published ports are reached through loopback, also from
// inside of a container that runs its own Docker; there the library would guess the gateway. Its cleaner is an image,
// and no image may be pulled.
var settings = map[string]string{"TESTCONTAINERS_HOST_OVERRIDE": "127.0.0.1", "TESTCONTAINERS_RYUK_DISABLED": "true"}

// owner labels what a harness makes with the id of its process.
const owner = "rondeau.harness.process"

// dockerReady sets testcontainers up and removes what harnesses left whose processes are gone. It must come before the
// first use of the library, which reads its settings once.
var dockerReady = sync.OnceValue(func() error {
	for name, value := range settings {
		err := os.Setenv(name, value)
		if err != nil {
			return err
		}
	}
	err := guard()
	if err != nil {
		return err
	}
	log.SetDefault(silence{})
	return sweep(context.Background())
})

// guard refuses to go on inside of a container unless the library really has the settings.
func guard() error {
	if _, err := os.Stat("/.dockerenv"); err != nil {
		return nil
	}
	for name, value := range settings {
		if os.Getenv(name) != value {
			return fmt.Errorf("inside of a container %s must be %s", name, value)
		}
	}
	if !testcontainers.ReadConfig().RyukDisabled {
		return errors.New("testcontainers was used before it was set up, and would start its cleaner")
	}
	return nil
}

// silence drops the library's chatter.
type silence struct{}

// Printf implements log.Logger.
func (silence) Printf(string, ...any) {}

// labels are those of all that this process makes.
func labels() map[string]string {
	l := testcontainers.GenericLabels()
	l[owner] = strconv.Itoa(os.Getpid())
	return l
}

// leftovers chooses what testcontainers made for harnesses.
func leftovers() client.Filters {
	return client.Filters{}.Add("label", "org.testcontainers=true").Add("label", owner)
}

// gone says whether the process that made something no longer exists.
func gone(labels map[string]string) bool {
	_, err := os.Stat(filepath.Join("/proc", labels[owner]))
	return labels["org.testcontainers"] == "true" && labels[owner] != "" && errors.Is(err, os.ErrNotExist)
}

// sweep removes what harnesses left that were killed themselves.
func sweep(ctx context.Context) error {
	docker, err := testcontainers.NewDockerClientWithOpts(ctx)
	if err != nil {
		return err
	}
	defer docker.Close()
	containers, err := docker.ContainerList(ctx, client.ContainerListOptions{All: true, Filters: leftovers()})
	if err != nil {
		return err
	}
	for _, c := range containers.Items {
		if gone(c.Labels) {
			_, err = docker.ContainerRemove(ctx, c.ID, client.ContainerRemoveOptions{Force: true, RemoveVolumes: true})
			if err != nil {
				return err
			}
		}
	}
	volumes, err := docker.VolumeList(ctx, client.VolumeListOptions{Filters: leftovers()})
	if err != nil {
		return err
	}
	for _, v := range volumes.Items {
		if gone(v.Labels) {
			_, err = docker.VolumeRemove(ctx, v.Name, client.VolumeRemoveOptions{Force: true})
			if err != nil {
				return err
			}
		}
	}
	networks, err := docker.NetworkList(ctx, client.NetworkListOptions{Filters: leftovers()})
	if err != nil {
		return err
	}
	for _, n := range networks.Items {
		if gone(n.Labels) {
			_, err = docker.NetworkRemove(ctx, n.ID, client.NetworkRemoveOptions{})
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// fleet is the suite as containers.
type fleet struct {
	docker      *testcontainers.DockerClient
	composition *composition
	clock       string
	options     Options
	name        string // of the network, and first part of the volumes' names

	mu         sync.Mutex
	containers map[string]*testcontainers.DockerContainer
	said       map[string]string // last words of removed containers
}

func newFleet(ctx context.Context, c *composition, clock string, o Options) (*fleet, error) {
	docker, err := testcontainers.NewDockerClientWithOpts(ctx)
	if err != nil {
		return nil, err
	}
	f := &fleet{
		docker: docker, composition: c, clock: clock, options: o, name: "rondeau-" + uuid.NewString()[:8],
		containers: map[string]*testcontainers.DockerContainer{}, said: map[string]string{},
	}
	// Published ports are bound to loopback, whatever a container asks for.
	_, err = docker.NetworkCreate(ctx, f.name, client.NetworkCreateOptions{
		Driver: "bridge", Labels: labels(), Options: map[string]string{"com.docker.network.bridge.host_binding_ipv4": "127.0.0.1"},
	})
	if err != nil {
		return nil, errors.Join(fmt.Errorf("network: %w", err), docker.Close())
	}
	for name := range c.Volumes {
		_, err = docker.VolumeCreate(ctx, client.VolumeCreateOptions{Name: f.name + "-" + name, Labels: labels()})
		if err != nil {
			return nil, errors.Join(fmt.Errorf("volume %s: %w", name, err), f.remove())
		}
	}
	return f, nil
}

// container is the container of a part, nil when it was never started.
func (f *fleet) container(part string) *testcontainers.DockerContainer {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.containers[part]
}

func (f *fleet) start(ctx context.Context, part string, env []string) error {
	if len(env) > 0 {
		return errors.New("a container keeps the environment that the compose file gives it; use processes")
	}
	if c := f.container(part); c != nil {
		return c.Start(ctx)
	}
	s, known := f.composition.Services[part]
	if !known {
		return errors.New("the compose file does not have it")
	}
	for on, d := range s.DependsOn {
		if d.Condition != whenDone {
			continue
		}
		code, err := f.exit(ctx, on)
		if err != nil || code != 0 {
			return fmt.Errorf("it waits for %s, which ended with %d: %w", on, code, err)
		}
	}
	c, err := testcontainers.Run(ctx, s.Image, f.request(part, s))
	if c != nil {
		f.mu.Lock()
		f.containers[part] = c
		f.mu.Unlock()
	}
	return err
}

// request turns a service of the compose file into a request of the library.
func (f *fleet) request(part string, s composedService) testcontainers.CustomizeRequestOption {
	command := s.Command
	var mounts testcontainers.ContainerMounts
	for _, text := range s.Volumes {
		m, err := parseMount(text)
		if err != nil {
			continue // refused when the file was read
		}
		mounts = append(mounts, testcontainers.ContainerMount{
			Source: testcontainers.GenericVolumeMountSource{Name: f.name + "-" + m.volume}, Target: testcontainers.ContainerMountTarget(m.target), ReadOnly: m.readOnly,
		})
	}
	var binds []string
	if len(command) > 0 && command[0] == "serve" {
		command = append(append(append([]string{}, command...), "--clock-file="+clockTarget+"/now"), f.options.Args...)
		binds = append(binds, f.clock+":"+clockTarget+":ro")
	}
	return func(r *testcontainers.GenericContainerRequest) error {
		r.Cmd, r.Env, r.Mounts, r.Labels = command, s.Environment, mounts, labels()
		r.ExposedPorts = s.containerPorts()
		r.Networks, r.NetworkAliases = []string{f.name}, map[string][]string{f.name: {part}}
		r.HostConfigModifier = func(h *container.HostConfig) {
			h.Binds = binds
			h.PortBindings = network.PortMap{}
			for _, text := range r.ExposedPorts {
				port, err := network.ParsePort(text)
				if err != nil {
					continue // the library itself reports it
				}
				h.PortBindings[port] = []network.PortBinding{{HostIP: netip.AddrFrom4([4]byte{127, 0, 0, 1})}}
			}
		}
		r.ConfigModifier = func(c *container.Config) {
			c.Hostname = part
			c.StopSignal = s.StopSignal
		}
		return nil
	}
}

func (f *fleet) kill(ctx context.Context, part string) error {
	c := f.container(part)
	if c == nil {
		return errors.New("it was never started")
	}
	_, err := f.docker.ContainerKill(ctx, c.GetContainerID(), client.ContainerKillOptions{Signal: "KILL"})
	if err != nil {
		return err
	}
	_, err = f.exit(ctx, part)
	return err
}

func (f *fleet) exit(ctx context.Context, part string) (int, error) {
	c := f.container(part)
	if c == nil {
		return 0, errors.New("it was never started")
	}
	for {
		state, err := c.State(ctx)
		if err != nil {
			return 0, err
		}
		if !state.Running && string(state.Status) != "created" {
			return state.ExitCode, nil
		}
		select {
		case <-ctx.Done():
			return 0, fmt.Errorf("it still runs: %w", ctx.Err())
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// port is the port of a part that tests speak to.
func (f *fleet) port(part string) (string, error) {
	ports := f.composition.Services[part].containerPorts()
	if len(ports) == 0 {
		return "", errors.New("it has no port")
	}
	return ports[0], nil
}

// address asks Docker each time, because a port changes when a container starts again.
func (f *fleet) address(ctx context.Context, part string) (string, error) {
	c := f.container(part)
	if c == nil {
		return "", errors.New("it was never started")
	}
	port, err := f.port(part)
	if err != nil {
		return "", err
	}
	inspected, err := c.Inspect(ctx)
	if err != nil {
		return "", err
	}
	if !inspected.State.Running {
		return "", errors.New("it does not run")
	}
	mapped, err := c.MappedPort(ctx, port)
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("127.0.0.1:%d#%s", mapped.Num(), inspected.State.StartedAt), nil
}

func (f *fleet) database(ctx context.Context, service string) (string, error) {
	address, err := f.address(ctx, "postgres")
	if err != nil {
		return "", err
	}
	target, _ := cutLife(address)
	return "postgres://rondeau@" + target + "/" + service + "?sslmode=disable", nil
}

func (f *fleet) logs(part string) string {
	f.mu.Lock()
	said, c := f.said[part], f.containers[part]
	f.mu.Unlock()
	if c == nil {
		return said
	}
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second) // the context of the test may be over
	defer cancel()
	r, err := c.Logs(ctx)
	if err != nil {
		return err.Error()
	}
	defer r.Close()
	text, err := io.ReadAll(r)
	if err != nil && !errors.Is(err, io.EOF) {
		return string(text) + "\n" + err.Error()
	}
	return string(text)
}

// fetchKeys copies what a client needs out of a service's container.
func (f *fleet) fetchKeys(ctx context.Context, folder string) error {
	c := f.container("planning")
	err := os.MkdirAll(filepath.Join(folder, "tls"), 0o700)
	if err != nil {
		return err
	}
	for _, name := range []string{"tokens.key", "tls/ca.crt"} {
		r, err := c.CopyFileFromContainer(ctx, "/etc/rondeau/"+name)
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		text, err := io.ReadAll(r)
		err = errors.Join(err, r.Close())
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		err = os.WriteFile(filepath.Join(folder, name), text, 0o600)
		if err != nil {
			return err
		}
	}
	return nil
}

// remove takes everything away that was made, and keeps the last words.
func (f *fleet) remove() error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute) // the context of the test is over
	defer cancel()
	var faults []error
	for part, c := range f.containers {
		f.said[part] = f.logs(part)
		_, err := f.docker.ContainerRemove(ctx, c.GetContainerID(), client.ContainerRemoveOptions{Force: true, RemoveVolumes: true})
		faults = append(faults, err)
	}
	f.mu.Lock()
	f.containers = map[string]*testcontainers.DockerContainer{}
	f.mu.Unlock()
	for name := range f.composition.Volumes {
		_, err := f.docker.VolumeRemove(ctx, f.name+"-"+name, client.VolumeRemoveOptions{Force: true})
		faults = append(faults, err)
	}
	_, err := f.docker.NetworkRemove(ctx, f.name, client.NetworkRemoveOptions{})
	return errors.Join(append(faults, err, f.docker.Close())...)
}
