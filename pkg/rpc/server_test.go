package rpc_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/pkg/testenv"
)

func house1(t *testing.T, options ...option) (*house, *sqldb.DB) {
	t.Helper()
	db := sqldbtest.SQLite(t)
	prepare(t, db)
	return start(t, db, options...), db
}

func TestErrorsSurviveTheHop(t *testing.T) {
	h, _ := house1(t)
	name := "sites/north/items/bones"
	sent := apierr.FailedPrecondition("LOT_ON_HOLD", "lot %s is on hold", name).With("lot", name).
		WithViolation("hold", "placed by the safety lead").WithViolation("release", "not signed").WithResource(name).WithRetryAfter(7 * time.Second).Wrap(errDriver)
	h.kitchen.get = func(context.Context, string) (*inventorypb.Item, error) { return nil, fmt.Errorf("look up: %w", sent) }
	_, err := h.items.GetItem(t.Context(), &inventorypb.GetItemRequest{Name: name})
	got, ok := apierr.As(err)
	if !ok {
		t.Fatalf("%T %v", err, err)
	}
	if got.Kind != sent.Kind || got.Reason != sent.Reason || got.Message != sent.Message || got.Metadata["lot"] != name || got.Resource != name ||
		got.RetryAfter != 7*time.Second || len(got.Violations) != 2 || got.Violations[0] != sent.Violations[0] || got.Violations[1] != sent.Violations[1] {
		t.Errorf("got %+v\nsent %+v", got, sent)
	}
	if strings.Contains(err.Error(), "hunter2") {
		t.Error("the cause crossed the wire")
	}
	if status.Code(err) != codes.FailedPrecondition {
		t.Errorf("code %v", status.Code(err))
	}
	// AIP-193: exactly one ErrorInfo, each detail type at most once.
	types := map[string]int{}
	for _, d := range status.Convert(err).Details() {
		types[fmt.Sprintf("%T", d)]++
	}
	if types["*errdetails.ErrorInfo"] != 1 || types["*errdetails.PreconditionFailure"] != 1 || types["*errdetails.RequestInfo"] != 1 {
		t.Errorf("details %v", types)
	}
	for typ, n := range types {
		if n > 1 {
			t.Errorf("%s came %d times", typ, n)
		}
	}
}

func TestEveryKindHasItsCodeAndComesBack(t *testing.T) {
	t.Parallel()
	// Pairs of google.rpc.Code (googleapis/google/rpc/code.proto); canonical names and numbers.
	for kind, code := range map[apierr.Kind]codes.Code{
		apierr.KindInvalidArgument: 3, apierr.KindNotFound: 5, apierr.KindAlreadyExists: 6, apierr.KindFailedPrecondition: 9, apierr.KindAborted: 10,
		apierr.KindPermissionDenied: 7, apierr.KindUnauthenticated: 16, apierr.KindResourceExhausted: 8, apierr.KindUnavailable: 14,
		apierr.KindDeadlineExceeded: 4, apierr.KindCanceled: 1, apierr.KindInternal: 13,
	} {
		err := rpc.ToStatus(apierr.New(kind, "SOME_REASON", "text"))
		if status.Code(err) != code {
			t.Errorf("%s: code %d, want %d", kind, status.Code(err), code)
		}
		if back := rpc.FromStatus(err); apierr.KindOf(back) != kind {
			t.Errorf("%s came back as %s", kind, apierr.KindOf(back))
		}
	}
	if rpc.ToStatus(nil) != nil || rpc.FromStatus(nil) != nil {
		t.Error("nil must stay nil")
	}
	if d := status.Convert(rpc.ToStatus(apierr.Unavailable("X", "later"))).Details(); len(d) != 2 {
		t.Errorf("UNAVAILABLE without RetryInfo: %v", d)
	}
	bad := rpc.ToStatus(apierr.InvalidArgument("X", "\xff").With("k", "\xfe").WithViolation("f\xff", "d"))
	if back, _ := apierr.As(rpc.FromStatus(bad)); back == nil || back.Reason != "X" || len(back.Violations) != 1 {
		t.Errorf("text that is not UTF-8 lost the details: %v", bad)
	}
	for _, err := range []error{sqldb.ErrConflict, fmt.Errorf("x: %w", sqldb.ErrCommitUnknown)} {
		if status.Code(rpc.ToStatus(err)) != codes.Aborted {
			t.Errorf("%v: %v", err, rpc.ToStatus(err))
		}
	}
}

func TestClientRepeatsWhatIsUnavailableAndNothingElse(t *testing.T) {
	h, _ := house1(t)
	for kind, want := range map[apierr.Kind]int{apierr.KindUnavailable: 3, apierr.KindAborted: 1, apierr.KindInternal: 1} {
		calls := 0
		h.kitchen.get = func(context.Context, string) (*inventorypb.Item, error) {
			if calls++; calls < 3 {
				return nil, apierr.New(kind, "SOME_REASON", "not now").WithRetryAfter(time.Millisecond)
			}
			return &inventorypb.Item{}, nil
		}
		_, err := h.items.GetItem(t.Context(), &inventorypb.GetItemRequest{Name: "sites/n/items/i"})
		if calls != want || (err == nil) != (want == 3) {
			t.Errorf("%s: %d calls, error %v", kind, calls, err)
		}
	}
}

func TestInternalsStayInside(t *testing.T) {
	h, db := house1(t)
	for _, how := range []string{"panic", "fail"} {
		_, err := h.items.CreateItem(t.Context(), create(how, how, ""))
		if status.Code(err) != codes.Internal || apierr.ReasonOf(err) != rpc.InternalError {
			t.Fatalf("%s: %v", how, err)
		}
		text := fmt.Sprint(err, status.Convert(err).Proto())
		for _, secret := range []string{"secret", "hunter2", "goroutine", ".go:"} {
			if strings.Contains(text, secret) {
				t.Errorf("%s: the caller sees %q in %s", how, secret, text)
			}
		}
		id := ""
		for _, d := range status.Convert(err).Details() {
			if r, ok := d.(*errdetails.RequestInfo); ok {
				id = r.GetRequestId()
			}
		}
		if id == "" || !strings.Contains(err.Error(), id) || !strings.Contains(h.log.String(), id) {
			t.Errorf("%s: request id %q is not in the error and the log: %s", how, id, text)
		}
	}
	for _, want := range []string{"secret of the house", "hunter2", "subject=maria"} {
		if !strings.Contains(h.log.String(), want) {
			t.Errorf("the log lacks %q", want)
		}
	}
	if n := count(t, db); n != 0 {
		t.Errorf("%d items of failed calls", n) // Dial gave each call a request_id, so the whole call is one transaction
	}
}

func TestRequestsAreValidatedWithFieldPaths(t *testing.T) {
	h, _ := house1(t)
	_, err := h.items.CreateItem(t.Context(), &inventorypb.CreateItemRequest{Parent: "north", Item: &inventorypb.Item{Gtin: "12", DisplayName: "x"}})
	e, ok := apierr.As(err)
	if !ok || e.Kind != apierr.KindInvalidArgument || e.Reason != rpc.RequestInvalid {
		t.Fatalf("%v", err)
	}
	fields := map[string]bool{}
	for _, v := range e.Violations {
		fields[v.Field] = v.Description != ""
	}
	for _, want := range []string{"parent", "item.gtin", "item.kind"} {
		if !fields[want] {
			t.Errorf("no violation for %s in %v", want, e.Violations)
		}
	}
	if h.kitchen.runs.Load() != 0 {
		t.Error("the handler ran")
	}
	var bad *errdetails.BadRequest
	for _, d := range status.Convert(err).Details() {
		if b, ok := d.(*errdetails.BadRequest); ok {
			bad = b
		}
	}
	if bad == nil || len(bad.GetFieldViolations()) != len(e.Violations) {
		t.Errorf("BadRequest %v", bad)
	}
}

func TestDeadlines(t *testing.T) {
	h, _ := house1(t, func(c *rpc.ServerConfig) { c.UnaryLimit = 300 * time.Millisecond })
	var left time.Duration
	h.kitchen.get = func(ctx context.Context, name string) (*inventorypb.Item, error) {
		d, ok := ctx.Deadline()
		if !ok {
			return nil, errors.New("no deadline")
		}
		left = time.Until(d)
		if strings.HasSuffix(name, "slow") {
			<-ctx.Done()
			return nil, ctx.Err()
		}
		return &inventorypb.Item{}, nil
	}
	if _, err := h.items.GetItem(t.Context(), &inventorypb.GetItemRequest{Name: "sites/n/items/quick"}); err != nil {
		t.Fatal(err)
	}
	if left > 300*time.Millisecond {
		t.Errorf("the handler had %s, the limit is 300ms", left)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 150*time.Millisecond)
	defer cancel()
	_, err := h.items.GetItem(ctx, &inventorypb.GetItemRequest{Name: "sites/n/items/slow"})
	if apierr.KindOf(err) != apierr.KindDeadlineExceeded {
		t.Errorf("%v", err)
	}
	if left > 130*time.Millisecond {
		t.Errorf("the handler had %s of 150ms; a margin must be kept for the answer", left)
	}
	_, err = h.items.GetItem(t.Context(), &inventorypb.GetItemRequest{Name: "sites/n/items/slow"}) // ends by the server's limit
	if e, _ := apierr.As(err); e == nil || e.Kind != apierr.KindDeadlineExceeded || e.Metadata["method"] == "" {
		t.Errorf("the answer does not say what timed out: %v", err)
	}
}

func TestAccessIsDeniedByDefault(t *testing.T) {
	h, _ := house1(t)
	h.kitchen.get = func(ctx context.Context, name string) (*inventorypb.Item, error) {
		p, ok := auth.FromContext(ctx)
		if !ok {
			return nil, errors.New("no principal")
		}
		return &inventorypb.Item{Name: name, DisplayName: p.Subject}, nil
	}
	get := &inventorypb.GetItemRequest{Name: "sites/north/items/x"}
	call := func(cfg rpc.DialConfig) error {
		_, err := inventorypb.NewInventoryServiceClient(h.connect(t, cfg)).GetItem(t.Context(), get)
		return err
	}
	if err := call(rpc.DialConfig{}); apierr.ReasonOf(err) != auth.TokenMissing || status.Code(err) != codes.Unauthenticated {
		t.Errorf("no token: %v", err)
	}
	if err := call(rpc.DialConfig{Token: func() string { return "x.y.z" }}); apierr.ReasonOf(err) != auth.TokenInvalid {
		t.Errorf("bad token: %v", err)
	}
	if err := call(rpc.DialConfig{Token: h.token(t, auth.Principal{Subject: "o", Role: auth.Outlet, Outlet: "sites/north/outlets/q"})}); apierr.ReasonOf(err) != auth.RoleNotAllowed {
		t.Errorf("role: %v", err)
	}
	if err := call(rpc.DialConfig{Token: h.token(t, auth.Principal{Subject: "c", Role: auth.Cook, Site: "sites/south"})}); apierr.ReasonOf(err) != auth.OutsideSite {
		t.Errorf("site: %v", err)
	}
	item, err := h.items.GetItem(t.Context(), get)
	if err != nil || item.GetDisplayName() != "maria" {
		t.Errorf("%v %v", item, err)
	}
	// A method without a rule is closed even to a manager.
	closed, _ := house1(t, func(c *rpc.ServerConfig) { c.Rules = map[string]auth.Rule{} })
	if _, err := closed.items.GetItem(t.Context(), get); apierr.ReasonOf(err) != auth.NoAccessRule || status.Code(err) != codes.PermissionDenied {
		t.Errorf("no rule: %v", err)
	}
}

func TestStreamsPassTheSameChecks(t *testing.T) {
	h, _ := house1(t)
	stream := func(p auth.Principal, req *foodsafetypb.StreamReadingsRequest) error {
		s, err := foodsafetypb.NewFoodSafetyServiceClient(h.dial(t, p)).StreamReadings(t.Context())
		if err != nil {
			return err
		}
		_ = s.Send(req) // the error comes with the answer
		_, err = s.CloseAndRecv()
		return err
	}
	cook := auth.Principal{Subject: "c", Role: auth.Cook, Site: "sites/south"}
	if err := stream(auth.Principal{Subject: "a", Role: auth.Auditor}, &foodsafetypb.StreamReadingsRequest{}); apierr.ReasonOf(err) != auth.RoleNotAllowed {
		t.Errorf("role: %v", err)
	}
	if err := stream(cook, &foodsafetypb.StreamReadingsRequest{Parent: "sites/north"}); apierr.ReasonOf(err) != auth.OutsideSite {
		t.Errorf("site: %v", err)
	}
	if err := stream(cook, &foodsafetypb.StreamReadingsRequest{Parent: "sites/south"}); apierr.ReasonOf(err) != rpc.RequestInvalid {
		t.Errorf("no readings: %v", err)
	}
}

func TestServerRefusesMistakesOfItsBuilder(t *testing.T) {
	db := sqldbtest.SQLite(t)
	h := start(t, db)
	base := rpc.ServerConfig{Logger: slog.New(slog.DiscardHandler), Verifier: h.keys.Verifier()}
	twice := func(r grpc.ServiceRegistrar) {
		inventorypb.RegisterInventoryServiceServer(r, h.kitchen)
		inventorypb.RegisterInventoryServiceServer(r, h.kitchen)
	}
	onceOnly := func(r grpc.ServiceRegistrar) { inventorypb.RegisterInventoryServiceServer(r, h.kitchen) }
	for name, tt := range map[string]struct {
		cfg      func(c *rpc.ServerConfig)
		register func(grpc.ServiceRegistrar)
		mentions string
	}{
		"twice":         {func(c *rpc.ServerConfig) { c.Stores = map[string]*sqldb.DB{service: db} }, twice, "registered twice"},
		"no store":      {func(*rpc.ServerConfig) {}, onceOnly, "no store"},
		"unknown store": {func(c *rpc.ServerConfig) { c.Stores = map[string]*sqldb.DB{service: db, "x.Y": db} }, onceOnly, "x.Y"},
		"no verifier":   {func(c *rpc.ServerConfig) { c.Verifier = nil }, onceOnly, "verifier"},
	} {
		cfg := base
		tt.cfg(&cfg)
		if _, err := rpc.NewServer(cfg, tt.register); err == nil || !strings.Contains(err.Error(), tt.mentions) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestHealthFollowsTheChecks(t *testing.T) {
	broken := make(chan error, 1)
	var current error = errors.New("migrations are not done")
	h, _ := house1(t, func(c *rpc.ServerConfig) {
		c.Checks = map[string]func(context.Context) error{"database": func(context.Context) error {
			select {
			case current = <-broken:
			default:
			}
			return current
		}}
	})
	health := grpc_health_v1.NewHealthClient(h.connect(t, rpc.DialConfig{})) // no token needed
	expect := func(svc string, want grpc_health_v1.HealthCheckResponse_ServingStatus) {
		t.Helper()
		testenv.Eventually(t, 10*time.Second, func() error {
			r, err := health.Check(t.Context(), &grpc_health_v1.HealthCheckRequest{Service: svc})
			if err == nil && r.GetStatus() != want {
				err = fmt.Errorf("%q is %s, want %s", svc, r.GetStatus(), want)
			}
			return err
		})
	}
	expect(service, grpc_health_v1.HealthCheckResponse_NOT_SERVING)
	testenv.Eventually(t, 5*time.Second, func() error {
		if !strings.Contains(h.log.String(), "migrations are not done") {
			return errors.New("the log does not say why")
		}
		return nil
	})
	broken <- nil
	expect(service, grpc_health_v1.HealthCheckResponse_SERVING)
	expect("", grpc_health_v1.HealthCheckResponse_SERVING)
	if strings.Count(h.log.String(), "not ready") != 1 {
		t.Error("the log repeats itself")
	}
}

func TestStopCutsOffAnOpenWatchInTheEnd(t *testing.T) {
	db := sqldbtest.SQLite(t)
	h := start(t, db)
	w, err := grpc_health_v1.NewHealthClient(h.connect(t, rpc.DialConfig{})).Watch(t.Context(), &grpc_health_v1.HealthCheckRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Recv(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	if err := h.server.Stop(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("error %v", err)
	}
}
