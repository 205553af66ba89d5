package rpc_test

import (
	"context"
	"errors"
	"log/slog"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"
	"google.golang.org/grpc"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const service = "rondeau.inventory.v1.InventoryService"

// kitchen is an inventory service whose items are rows of a table; the display name of a request chooses odd behaviour.
type kitchen struct {
	inventorypb.UnimplementedInventoryServiceServer
	db    *sqldb.DB
	runs  atomic.Int64
	enter chan struct{} // when set, told of each run of CreateItem
	hold  chan struct{} // when set, CreateItem goes on when it is closed
	get   func(ctx context.Context, name string) (*inventorypb.Item, error)
}

func (k *kitchen) GetItem(ctx context.Context, req *inventorypb.GetItemRequest) (*inventorypb.Item, error) {
	return k.get(ctx, req.GetName())
}

var errDriver = errors.New("driver: secret-host:5432 refused the password hunter2")

func (k *kitchen) CreateItem(ctx context.Context, req *inventorypb.CreateItemRequest) (*inventorypb.Item, error) {
	n := k.runs.Add(1)
	if k.enter != nil {
		k.enter <- struct{}{}
	}
	if k.hold != nil {
		<-k.hold
	}
	name := req.GetParent() + "/items/" + req.GetItemId()
	err := k.db.InTx(ctx, func(ctx context.Context) error {
		_, err := k.db.Conn(ctx).ExecContext(ctx, `INSERT INTO items (name, run) VALUES ($1, $2)`, name, n)
		if errors.Is(sqldb.Translate(err), sqldb.ErrUnique) {
			return apierr.AlreadyExists("ITEM_EXISTS", name)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	switch req.GetItem().GetDisplayName() {
	case "panic":
		panic("secret of the house")
	case "fail":
		return nil, errDriver
	}
	item := req.GetItem()
	item.Name, item.NetMassKg = name, float64(n)
	return item, nil
}

// safety takes streams of readings.
type safety struct {
	foodsafetypb.UnimplementedFoodSafetyServiceServer
}

func (safety) StreamReadings(s grpc.ClientStreamingServer[foodsafetypb.StreamReadingsRequest, foodsafetypb.StreamReadingsResponse]) error {
	for {
		if _, err := s.Recv(); err != nil {
			return err
		}
	}
}

// logBuffer collects log lines.
type logBuffer struct {
	mu sync.Mutex
	b  strings.Builder
}

func (l *logBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *logBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// house is a running server with its client.
type house struct {
	server  *rpc.Server
	kitchen *kitchen
	keys    *auth.Keys
	pipe    *rpc.Pipe
	log     *logBuffer
	items   inventorypb.InventoryServiceClient
}

type option func(*rpc.ServerConfig)

// prepare makes the tables.
func prepare(t testing.TB, db *sqldb.DB) {
	t.Helper()
	if err := outbox.Migrate(t.Context(), db); err != nil {
		t.Fatal(err)
	}
	err := db.InTx(t.Context(), func(ctx context.Context) error {
		_, err := db.Conn(ctx).ExecContext(ctx, `CREATE TABLE items (name TEXT PRIMARY KEY, run BIGINT NOT NULL)`)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// start serves on a pipe. The client is a manager of all sites.
func start(t testing.TB, db *sqldb.DB, options ...option) *house {
	t.Helper()
	keys, err := auth.LoadOrCreateKeys(filepath.Join(t.TempDir(), "key.pem"))
	if err != nil {
		t.Fatal(err)
	}
	h := &house{kitchen: &kitchen{db: db}, keys: keys, pipe: rpc.NewPipe(), log: &logBuffer{}}
	cfg := rpc.ServerConfig{
		Logger: slog.New(slog.NewTextHandler(h.log, &slog.HandlerOptions{Level: slog.LevelDebug})), Verifier: keys.Verifier(),
		Stores: map[string]*sqldb.DB{service: db, "rondeau.foodsafety.v1.FoodSafetyService": db},
	}
	for _, o := range options {
		o(&cfg)
	}
	h.server, err = rpc.NewServer(cfg, func(r grpc.ServiceRegistrar) {
		inventorypb.RegisterInventoryServiceServer(r, h.kitchen)
		foodsafetypb.RegisterFoodSafetyServiceServer(r, safety{})
	})
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- h.server.Serve(h.pipe) }()
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		if err := h.server.Stop(ctx); err != nil {
			t.Errorf("stop: %v", err)
		}
		if err := <-done; err != nil {
			t.Errorf("serve: %v", err)
		}
	})
	h.items = inventorypb.NewInventoryServiceClient(h.dial(t, auth.Principal{Subject: "maria", Role: auth.Manager}))
	return h
}

func (h *house) token(t testing.TB, p auth.Principal) func() string {
	t.Helper()
	token, err := h.keys.Sign(p, time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	return func() string { return token }
}

func (h *house) dial(t testing.TB, p auth.Principal) *grpc.ClientConn {
	t.Helper()
	return h.connect(t, rpc.DialConfig{Token: h.token(t, p)})
}

func (h *house) connect(t testing.TB, cfg rpc.DialConfig) *grpc.ClientConn {
	t.Helper()
	cfg.Pipe = h.pipe
	conn, err := rpc.Dial("", cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

func create(id, displayName, requestID string) *inventorypb.CreateItemRequest {
	return &inventorypb.CreateItemRequest{
		Parent: "sites/north", ItemId: id, RequestId: requestID,
		Item: &inventorypb.Item{DisplayName: displayName, Kind: inventorypb.Item_PURCHASED},
	}
}

func count(t testing.TB, db *sqldb.DB) (n int) {
	t.Helper()
	if err := db.Conn(t.Context()).QueryRowContext(t.Context(), `SELECT COUNT(*) FROM items`).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}
