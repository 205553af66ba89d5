package server_test

import (
	"context"
	"log/slog"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/bus"
	"rondeau.internal/pkg/clock"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	pb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/inventory/server"
)

const site = "sites/quay"

var noon = time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)

// safety is a food-safety service that answers what it was told.
type safety struct {
	foodsafetypb.UnimplementedFoodSafetyServiceServer
	mu     sync.Mutex
	refuse map[string]string
	asked  []string
}

func (s *safety) CheckLots(_ context.Context, req *foodsafetypb.CheckLotsRequest) (*foodsafetypb.CheckLotsResponse, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.asked = append(s.asked, req.GetLots()...)
	out := &foodsafetypb.CheckLotsResponse{}
	for _, l := range req.GetLots() {
		why, bad := s.refuse[l]
		st := &foodsafetypb.CheckLotsResponse_LotStatus{Lot: l, Known: true, Made: true, Clear: !bad, Released: true, Shippable: !bad}
		if bad {
			st.Reasons = []string{why}
		}
		out.LotStatuses = append(out.LotStatuses, st)
	}
	return out, nil
}

// house is the service with everything around it.
type house struct {
	t      *testing.T
	nc     *nats.Conn
	clock  *clock.Fake
	safety *safety
	keys   *auth.Keys
	pipe   *rpc.Pipe
	cook   pb.InventoryServiceClient
}

func open(t *testing.T) *house {
	t.Helper()
	dir := t.TempDir()
	logger := slog.New(slog.DiscardHandler)
	broker, err := bus.StartEmbedded(filepath.Join(dir, "nats"), bus.Options{})
	must(t, err)
	t.Cleanup(broker.Shutdown)
	nc, err := broker.Connect()
	must(t, err)
	t.Cleanup(nc.Close)
	must(t, bus.EnsureStreams(t.Context(), nc, 1))
	keys, err := auth.LoadOrCreateKeys(filepath.Join(dir, "keys"))
	must(t, err)

	h := &house{t: t, nc: nc, clock: clock.NewFake(noon), safety: &safety{refuse: map[string]string{}}, keys: keys, pipe: rpc.NewPipe()}
	safetyPipe := rpc.NewPipe()
	h.serve(rpc.ServerConfig{Logger: logger, Verifier: keys.Verifier()}, safetyPipe, func(r grpc.ServiceRegistrar) { r.RegisterService(&checkOnly, h.safety) })

	db, err := server.Open(t.Context(), filepath.Join(dir, "inventory.db"))
	must(t, err)
	t.Cleanup(func() { _ = db.Close() })
	peer := h.dial(safetyPipe, auth.Principal{Subject: "inventory", Role: auth.Service})
	service, err := server.New(t.Context(), server.Deps{DB: db, NATS: nc, Clock: h.clock, Logger: logger, Peers: func(string) grpc.ClientConnInterface { return peer }})
	must(t, err)
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- service.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Errorf("run: %v", err)
		}
	})
	h.serve(rpc.ServerConfig{Logger: logger, Verifier: keys.Verifier(), Clock: h.clock, Stores: stores(service)}, h.pipe, service.Register)
	must(t, service.Health(t.Context()))
	h.cook = h.client(auth.Principal{Subject: "ada", Role: auth.Cook})
	return h
}

func (h *house) serve(cfg rpc.ServerConfig, pipe *rpc.Pipe, register func(grpc.ServiceRegistrar)) {
	h.t.Helper()
	s, err := rpc.NewServer(cfg, register)
	must(h.t, err)
	done := make(chan error, 1)
	go func() { done <- s.Serve(pipe) }()
	h.t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		_ = s.Stop(ctx)
		if err := <-done; err != nil {
			h.t.Errorf("serve: %v", err)
		}
	})
}

func (h *house) dial(pipe *rpc.Pipe, p auth.Principal) *grpc.ClientConn {
	h.t.Helper()
	token, err := h.keys.Sign(p, time.Hour)
	must(h.t, err)
	conn, err := rpc.Dial("pipe", rpc.DialConfig{Pipe: pipe, Token: func() string { return token }})
	must(h.t, err)
	h.t.Cleanup(func() { _ = conn.Close() })
	return conn
}

func (h *house) client(p auth.Principal) pb.InventoryServiceClient {
	return pb.NewInventoryServiceClient(h.dial(h.pipe, p))
}

// tell publishes a fact of another service.
func (h *house) tell(subject, id string, m proto.Message) {
	h.t.Helper()
	payload, err := proto.Marshal(m)
	must(h.t, err)
	must(h.t, bus.NewPublisher(h.nc).Publish(h.t.Context(), outbox.Event{ID: id, Subject: subject, Time: h.clock.Now(), Payload: payload}))
}

// heard waits until so many facts of a subject are on the stream and returns the payload of the last.
func (h *house) heard(subject string, count uint64) []byte {
	h.t.Helper()
	js, err := jetstream.New(h.nc)
	must(h.t, err)
	stream, err := js.Stream(h.t.Context(), bus.StreamName("inventory"))
	must(h.t, err)
	var last []byte
	h.until("facts of "+subject, func() bool {
		info, err := stream.Info(h.t.Context(), jetstream.WithSubjectFilter(subject))
		must(h.t, err)
		if info.State.Subjects[subject] < count {
			return false
		}
		msg, err := stream.GetLastMsgForSubject(h.t.Context(), subject)
		must(h.t, err)
		last = msg.Data
		return true
	})
	return last
}

func (h *house) until(what string, ok func() bool) {
	h.t.Helper()
	deadline := time.Now().Add(15 * time.Second)
	for !ok() {
		if time.Now().After(deadline) {
			h.t.Fatalf("waited too long for %s", what)
		}
		time.Sleep(5 * time.Millisecond)
	}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
