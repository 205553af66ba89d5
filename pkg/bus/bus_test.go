package bus_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"go.opentelemetry.io/otel"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"go.opentelemetry.io/otel/trace"
	"go.uber.org/goleak"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/bus"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/pkg/testenv"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var (
	quiet = slog.New(slog.DiscardHandler)
	noon  = time.Date(2031, 5, 6, 12, 0, 0, 0, time.UTC)
)

const subject = "rondeau.inventory.v1.lot.created"

func embedded(t testing.TB, dir string, o bus.Options) (*bus.Embedded, *nats.Conn) {
	t.Helper()
	srv, err := bus.StartEmbedded(dir, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(srv.Shutdown)
	nc, err := srv.Connect()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	if err := bus.EnsureStreams(t.Context(), nc, 1); err != nil {
		t.Fatal(err)
	}
	return srv, nc
}

// database has the outbox tables and a table of effects.
func database(t testing.TB) *sqldb.DB {
	t.Helper()
	db := sqldbtest.SQLite(t)
	if err := outbox.Migrate(t.Context(), db); err != nil {
		t.Fatal(err)
	}
	err := db.InTx(t.Context(), func(ctx context.Context) error {
		_, err := db.Conn(ctx).ExecContext(ctx, `CREATE TABLE effects (resource TEXT NOT NULL)`)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return db
}

func state(t testing.TB, db *sqldb.DB, resources ...string) {
	t.Helper()
	err := db.InTx(t.Context(), func(ctx context.Context) error {
		for _, r := range resources {
			if err := outbox.Append(ctx, db, outbox.Event{Subject: subject, Resource: r, Time: noon, Payload: []byte(r), Headers: map[string]string{"site": "sites/n"}}); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func effect(db *sqldb.DB) func(context.Context, bus.Message) error {
	return func(ctx context.Context, m bus.Message) error {
		_, err := db.Conn(ctx).ExecContext(ctx, `INSERT INTO effects (resource) VALUES ($1)`, m.Event.Resource)
		return err
	}
}

// effects lists what was applied, in order.
func effects(t testing.TB, db *sqldb.DB) []string {
	t.Helper()
	rows, err := db.Conn(t.Context()).QueryContext(t.Context(), `SELECT resource FROM effects ORDER BY rowid`)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = rows.Close() }()
	var all []string
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			t.Fatal(err)
		}
		all = append(all, s)
	}
	return all
}

func waitEffects(t testing.TB, db *sqldb.DB, n int) []string {
	t.Helper()
	testenv.Eventually(t, 30*time.Second, func() error {
		if got := len(effects(t, db)); got < n {
			return fmt.Errorf("%d of %d events were applied", got, n)
		}
		return nil
	})
	return effects(t, db)
}

// background runs fn until the returned function, or the end of the test, stops it.
func background(t testing.TB, fn func(ctx context.Context) error) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- fn(ctx) }()
	stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("background: %v", err)
		}
	})
	t.Cleanup(stop)
	return stop
}

func relay(t testing.TB, db *sqldb.DB, nc *nats.Conn) (stop func()) {
	t.Helper()
	return background(t, outbox.NewRelay(db, bus.NewPublisher(nc), quiet).Run)
}

func consume(t testing.TB, db *sqldb.DB, nc *nats.Conn, c bus.Consumer) (stop func()) {
	t.Helper()
	if c.Durable == "" {
		c.Durable = "planner"
	}
	c.Stream = "inventory"
	if c.RetryAfter == 0 {
		c.RetryAfter = 5 * time.Millisecond
	}
	return background(t, func(ctx context.Context) error { return bus.Run(ctx, nc, db, quiet, c) })
}

func numbered(from, to int) []string {
	var all []string
	for i := from; i < to; i++ {
		all = append(all, fmt.Sprintf("lots/%04d", i))
	}
	return all
}

func TestAnEventArrivesAsItWasStated(t *testing.T) {
	recorder := tracetest.NewSpanRecorder()
	tp := sdktrace.NewTracerProvider(sdktrace.WithSpanProcessor(recorder))
	otel.SetTracerProvider(tp)
	_, nc := embedded(t, t.TempDir(), bus.Options{})
	from, to := database(t), database(t)
	relay(t, from, nc)
	got := make(chan bus.Message, 1)
	consume(t, to, nc, bus.Consumer{Subjects: []string{subject}, Handle: func(_ context.Context, m bus.Message) error { got <- m; return nil }})
	ctx, span := tp.Tracer("test").Start(t.Context(), "create lot")
	err := from.InTx(ctx, func(ctx context.Context) error {
		return outbox.Append(ctx, from,
			outbox.Event{Subject: "rondeau.inventory.v1.other.created", Resource: "x", Time: noon}, // not asked for
			outbox.Event{ID: "e-1", Subject: subject, Resource: "sites/n/lots/l", Time: noon.Add(1234 * time.Microsecond), Payload: []byte{0, 255}, Headers: map[string]string{"site": "sites/n"}})
	})
	span.End()
	if err != nil {
		t.Fatal(err)
	}
	m := <-got
	e := m.Event
	if e.ID != "e-1" || e.Subject != subject || e.Resource != "sites/n/lots/l" || !e.Time.Equal(noon.Add(1234*time.Microsecond)) || string(e.Payload) != "\x00\xff" ||
		e.Headers["site"] != "sites/n" || m.Delivered != 1 {
		t.Errorf("got %+v", m)
	}
	for k := range e.Headers {
		if strings.HasPrefix(strings.ToLower(k), "ce-") || strings.HasPrefix(strings.ToLower(k), "nats-") {
			t.Errorf("header %s of the protocol reached the handler", k)
		}
	}
	testenv.Eventually(t, 5*time.Second, func() error {
		for _, s := range recorder.Ended() {
			if s.SpanKind() == trace.SpanKindConsumer && len(s.Links()) == 1 && s.Links()[0].SpanContext.TraceID() == span.SpanContext().TraceID() {
				return nil
			}
		}
		return errors.New("no consumer span is linked to the producer's")
	})
	// The message itself, as a stranger reads it: CloudEvents 1.0, NATS protocol binding, binary mode.
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	s, err := js.Stream(t.Context(), bus.StreamName("inventory"))
	if err != nil {
		t.Fatal(err)
	}
	raw, err := s.GetMsg(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	for k, want := range map[string]string{
		"ce-id": "e-1", "ce-type": subject, "ce-specversion": "1.0", "ce-source": "//rondeau.internal/inventory", "ce-subject": "sites/n/lots/l",
		"ce-time": "2031-05-06T12:00:00.001234Z", "content-type": "application/protobuf", "Nats-Msg-Id": "e-1",
	} {
		if v := raw.Header[k]; len(v) != 1 || v[0] != want {
			t.Errorf("header %s = %v, want %s", k, v, want)
		}
	}
	if len(raw.Header["traceparent"]) != 1 {
		t.Errorf("no traceparent in %v", raw.Header)
	}
}

func TestNothingIsLostOrDoubledWhenRelayConsumerAndServerRestart(t *testing.T) {
	dir := t.TempDir()
	port := freePort(t)
	options := bus.Options{Listen: "127.0.0.1:" + port}
	srv, first := embedded(t, dir, options)
	first.Close()
	nc, err := bus.Dial("nats://127.0.0.1:" + port)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	from, to := database(t), database(t)
	stopRelay := relay(t, from, nc)
	stopConsumer := consume(t, to, nc, bus.Consumer{Handle: effect(to)})
	total := 0
	more := func(n int) {
		state(t, from, numbered(total, total+n)...)
		total += n
	}
	more(40)
	stopRelay() // in the middle of its work
	more(40)
	stopRelay = relay(t, from, nc)
	waitEffects(t, to, 20)
	srv.Shutdown()
	more(40) // stated while the broker is down
	srv, again := embedded(t, dir, options)
	again.Close()
	more(20)
	stopConsumer()
	more(20)
	consume(t, to, nc, bus.Consumer{Handle: effect(to)})
	waitEffects(t, to, total)
	stopRelay()
	// A lost stream: everything is sent again, and nothing is applied again.
	srv.Shutdown()
	_, fresh := embedded(t, t.TempDir(), bus.Options{})
	if n, err := outbox.Republish(t.Context(), from, time.Time{}); err != nil || n != total {
		t.Fatalf("republish %d %v", n, err)
	}
	relay(t, from, fresh)
	consume(t, to, fresh, bus.Consumer{Handle: effect(to)})
	more(5)
	got := waitEffects(t, to, total)
	want := numbered(0, total)
	if len(got) != len(want) {
		t.Fatalf("%d effects of %d events", len(got), len(want))
	}
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("effect %d is %s, want %s", i, got[i], want[i])
		}
	}
}

func freePort(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	return strconv.Itoa(l.Addr().(*net.TCPAddr).Port)
}

// Each event arrives twice and in any order; the broker's own window is bypassed by other message ids.
func TestEachEventTwiceAndOutOfOrderHasOneEffect(t *testing.T) {
	_, nc := embedded(t, t.TempDir(), bus.Options{})
	to := database(t)
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	order := []int{3, 0, 3, 2, 1, 0, 2, 1}
	for i, n := range order {
		msg := nats.NewMsg(subject)
		msg.Header = nats.Header{"ce-id": {fmt.Sprint("e", n)}, "ce-time": {noon.Format(time.RFC3339Nano)}, "ce-subject": {fmt.Sprint("lots/", n)}}
		if _, err := js.PublishMsg(t.Context(), msg, jetstream.WithMsgID(fmt.Sprint("copy", i))); err != nil {
			t.Fatal(err)
		}
	}
	consume(t, to, nc, bus.Consumer{Handle: effect(to)})
	idle(t, nc, "planner")
	if got := strings.Join(effects(t, to), " "); got != "lots/3 lots/0 lots/2 lots/1" {
		t.Errorf("effects %s", got)
	}
}

// idle waits until the consumer has finished all messages.
func idle(t testing.TB, nc *nats.Conn, durable string) {
	t.Helper()
	testenv.Eventually(t, 30*time.Second, func() error {
		js, err := jetstream.New(nc)
		if err != nil {
			return err
		}
		if _, err := js.Consumer(t.Context(), bus.StreamName("inventory"), durable); err != nil {
			return err
		}
		n, err := bus.Pending(t.Context(), nc, "inventory", durable)
		if err == nil && n > 0 {
			err = fmt.Errorf("%d messages are pending", n)
		}
		return err
	})
}

func TestAPoisonMessageIsParkedAndTheOthersGoOn(t *testing.T) {
	_, nc := embedded(t, t.TempDir(), bus.Options{})
	from, to := database(t), database(t)
	relay(t, from, nc)
	var tries, panics atomic.Int64
	consume(t, to, nc, bus.Consumer{MaxDeliver: 3, Handle: func(ctx context.Context, m bus.Message) error {
		switch m.Event.Resource {
		case "lots/poison":
			tries.Add(1)
			if err := effect(to)(ctx, m); err != nil {
				return err
			}
			return errors.New("no such formula")
		case "lots/panic":
			panics.Add(1)
			panic("defect")
		}
		return effect(to)(ctx, m)
	}})
	state(t, from, "lots/a", "lots/poison", "lots/panic", "lots/b")
	got := waitEffects(t, to, 2)
	idle(t, nc, "planner")
	if strings.Join(got, " ") != "lots/a lots/b" || tries.Load() != 3 || panics.Load() != 3 {
		t.Errorf("effects %v, %d tries, %d panics", got, tries.Load(), panics.Load())
	}
	parked, err := outbox.ListParked(t.Context(), to, "planner", 10)
	if err != nil || len(parked) != 2 || parked[0].Event.Resource != "lots/poison" || parked[0].Cause != "no such formula" || !strings.Contains(parked[1].Cause, "defect") {
		t.Fatalf("parked %+v %v", parked, err)
	}
	if err := outbox.Unpark(t.Context(), to, "planner", parked[0].Event.ID, func(ctx context.Context, e outbox.Event) error {
		return effect(to)(ctx, bus.Message{Event: e})
	}); err != nil {
		t.Fatal(err)
	}
	if got := effects(t, to); len(got) != 3 || got[2] != "lots/poison" {
		t.Errorf("after a person's decision: %v", got)
	}
}

func TestATroubleOfTheSurroundingsIsNotPoison(t *testing.T) {
	_, nc := embedded(t, t.TempDir(), bus.Options{})
	from, to := database(t), database(t)
	relay(t, from, nc)
	var tries atomic.Int64
	consume(t, to, nc, bus.Consumer{MaxDeliver: 2, RetryAfter: time.Millisecond, Handle: func(ctx context.Context, m bus.Message) error {
		if tries.Add(1) < 6 {
			return fmt.Errorf("ask for the hold: %w", apierr.Unavailable("FOODSAFETY_DOWN", "no answer"))
		}
		return effect(to)(ctx, m)
	}})
	state(t, from, "lots/a", "lots/b")
	if got := waitEffects(t, to, 2); strings.Join(got, " ") != "lots/a lots/b" {
		t.Errorf("effects %v: a later event overtook", got)
	}
	if parked, _ := outbox.ListParked(t.Context(), to, "", 10); len(parked) != 0 {
		t.Errorf("parked %v", parked)
	}
}

func TestAMessageThatIsNoEventIsParked(t *testing.T) {
	_, nc := embedded(t, t.TempDir(), bus.Options{})
	to := database(t)
	if err := nc.Publish(subject, []byte("hello")); err != nil {
		t.Fatal(err)
	}
	consume(t, to, nc, bus.Consumer{Handle: effect(to)})
	testenv.Eventually(t, 10*time.Second, func() error {
		parked, err := outbox.ListParked(t.Context(), to, "planner", 10)
		if err == nil && (len(parked) != 1 || parked[0].Event.ID != "RONDEAU_INVENTORY-1") {
			err = fmt.Errorf("parked %v", parked)
		}
		return err
	})
}

func TestTheBrokerHidesARepetitionAndStreamsCannotBePurged(t *testing.T) {
	dir := t.TempDir()
	srv, nc := embedded(t, dir, bus.Options{})
	p := bus.NewPublisher(nc)
	e := outbox.Event{ID: "e1", Subject: subject, Resource: "lots/1", Time: noon}
	for range 3 {
		if err := p.Publish(t.Context(), e); err != nil {
			t.Fatal(err)
		}
	}
	nc.Close()
	srv.Shutdown()
	_, nc = embedded(t, dir, bus.Options{})
	if err := bus.NewPublisher(nc).Publish(t.Context(), e); err != nil { // known after a restart too
		t.Fatal(err)
	}
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	s, err := js.Stream(t.Context(), bus.StreamName("inventory"))
	if err != nil {
		t.Fatal(err)
	}
	if n := s.CachedInfo().State.Msgs; n != 1 {
		t.Errorf("%d messages, want 1", n)
	}
	if err := s.Purge(t.Context()); err == nil {
		t.Error("the stream could be purged")
	}
	if err := s.DeleteMsg(t.Context(), 1); err == nil {
		t.Error("a message could be deleted")
	}
	if err := bus.Check(t.Context(), nc); err != nil {
		t.Error(err)
	}
}

func TestPublishNeedsAStream(t *testing.T) {
	_, nc := embedded(t, t.TempDir(), bus.Options{})
	p := bus.NewPublisher(nc)
	for _, s := range []string{"rondeau.bakery.v1.bread.baked", "x.y", "rondeau.planning.v2.a.b"} {
		if err := p.Publish(t.Context(), outbox.Event{ID: "e", Subject: s, Time: noon}); err == nil {
			t.Errorf("%s was accepted", s)
		}
	}
}

func TestEmbeddedServerIsClosedToTheWorld(t *testing.T) {
	srv, _ := embedded(t, t.TempDir(), bus.Options{})
	if u := srv.URL(); u != "" {
		t.Errorf("it listens on %s", u)
	}
	if _, err := bus.StartEmbedded("", bus.Options{}); err == nil {
		t.Error("a server without a folder was started")
	}
	for _, listen := range []string{"0.0.0.0:0", ":0", "192.0.2.1:4222"} {
		if _, err := bus.StartEmbedded(t.TempDir(), bus.Options{Listen: listen}); err == nil || !strings.Contains(err.Error(), "token") {
			t.Errorf("%s without a token: %v", listen, err)
		}
	}
	file := filepath.Join(t.TempDir(), "f", "x")
	if _, err := bus.StartEmbedded(file+"\x00", bus.Options{}); err == nil {
		t.Error("an impossible folder was accepted")
	}
	guarded, nc := embedded(t, t.TempDir(), bus.Options{Listen: "127.0.0.1:0", Token: "secret"})
	if err := bus.Check(t.Context(), nc); err != nil {
		t.Error(err)
	}
	if _, err := nats.Connect(guarded.URL(), nats.Timeout(2*time.Second)); err == nil {
		t.Error("a stranger could connect")
	}
	ours, err := bus.Dial(guarded.URL(), bus.DialOptions{Token: "secret"})
	if err != nil {
		t.Fatal(err)
	}
	defer ours.Close()
	testenv.Eventually(t, 5*time.Second, func() error { return bus.Check(t.Context(), ours) })
}

// BenchmarkPublish measures acknowledged publishes of 512 bytes, each on the disk before the acknowledgement.
func BenchmarkPublish(b *testing.B) {
	_, nc := embedded(b, b.TempDir(), bus.Options{})
	p := bus.NewPublisher(nc)
	payload := make([]byte, 512)
	i := 0
	for b.Loop() {
		i++
		if err := p.Publish(b.Context(), outbox.Event{ID: strconv.Itoa(i), Subject: subject, Resource: "lots/1", Time: noon, Payload: payload}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "events/s")
}
