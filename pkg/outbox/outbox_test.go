package outbox_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/pkg/testenv"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var (
	errRefused = errors.New("refused")
	discard    = slog.New(slog.DiscardHandler)
	day        = time.Date(2031, 5, 6, 7, 8, 9, 123456000, time.UTC)
)

// each runs fn on both databases with the outbox tables and a table of effects.
func each(t *testing.T, fn func(t *testing.T, db *sqldb.DB)) {
	t.Helper()
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		if err := outbox.Migrate(t.Context(), db); err != nil {
			t.Fatal(err)
		}
		inTx(t, db, func(ctx context.Context) error {
			_, err := db.Conn(ctx).ExecContext(ctx, `CREATE TABLE effects (event_id TEXT NOT NULL)`)
			return err
		})
		fn(t, db)
	})
}

func inTx(t testing.TB, db *sqldb.DB, fn func(ctx context.Context) error) {
	t.Helper()
	if err := db.InTx(t.Context(), fn); err != nil {
		t.Fatal(err)
	}
}

func event(resource string) outbox.Event {
	return outbox.Event{
		Subject: "rondeau.inventory.v1.lot.created", Resource: resource, Time: day, Payload: []byte{0, 1, 255}, Headers: map[string]string{"site": "sites/n"},
	}
}

func appendEvents(t testing.TB, db *sqldb.DB, n int) {
	t.Helper()
	for i := range n {
		inTx(t, db, func(ctx context.Context) error { return outbox.Append(ctx, db, event(fmt.Sprintf("lots/%04d", i))) })
	}
}

// broker is a Publisher with a memory that fails when told.
type broker struct {
	mu      sync.Mutex
	events  []outbox.Event
	fail    func(e outbox.Event) error
	lostAck func(e outbox.Event) bool // stores the event and still fails
}

func (b *broker) Publish(_ context.Context, e outbox.Event) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.fail != nil {
		if err := b.fail(e); err != nil {
			return err
		}
	}
	b.events = append(b.events, e)
	if b.lostAck != nil && b.lostAck(e) {
		return errors.New("acknowledgement lost")
	}
	return nil
}

func (b *broker) got() []outbox.Event {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.events)
}

// run starts a relay and returns the function that stops it.
func run(t testing.TB, db *sqldb.DB, p outbox.Publisher) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- outbox.NewRelay(db, p, discard).Run(ctx) }()
	return sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("relay: %v", err)
		}
	})
}

func drained(t testing.TB, db *sqldb.DB) {
	t.Helper()
	testenv.Eventually(t, 20*time.Second, func() error {
		n, oldest, err := outbox.Lag(t.Context(), db)
		if err == nil && n > 0 {
			err = fmt.Errorf("%d events wait, the oldest for %s", n, oldest)
		}
		return err
	})
}

func TestAppendNeedsAWriteTransaction(t *testing.T) {
	each(t, func(t *testing.T, db *sqldb.DB) {
		if err := outbox.Append(t.Context(), db, event("lots/1")); err == nil {
			t.Error("accepted outside of a transaction")
		}
		_ = db.InReadTx(t.Context(), func(ctx context.Context) error {
			if err := outbox.Append(ctx, db, event("lots/1")); err == nil {
				t.Error("accepted in a read transaction")
			}
			return nil
		})
	})
}

func TestEventsOfAnUndoneTransactionDoNotExist(t *testing.T) {
	each(t, func(t *testing.T, db *sqldb.DB) {
		b := &broker{}
		stop := run(t, db, b)
		defer stop()
		err := db.InTx(t.Context(), func(ctx context.Context) error {
			if err := outbox.Append(ctx, db, event("lots/undone")); err != nil {
				return err
			}
			return errRefused
		})
		if !errors.Is(err, errRefused) {
			t.Fatal(err)
		}
		inTx(t, db, func(ctx context.Context) error {
			return outbox.Append(ctx, db, event("lots/kept"), event("lots/kept2"))
		})
		drained(t, db)
		got := b.got()
		if len(got) != 2 || got[0].Resource != "lots/kept" || got[1].Resource != "lots/kept2" {
			t.Fatalf("published %v", got)
		}
		e := got[0]
		if e.ID == "" || e.ID == got[1].ID || e.Subject != event("").Subject || !e.Time.Equal(day) || !slices.Equal(e.Payload, []byte{0, 1, 255}) || e.Headers["site"] != "sites/n" {
			t.Errorf("event changed on its way: %+v", e)
		}
	})
}

func TestAppendRefusesWhatNoBrokerTakes(t *testing.T) {
	db := sqldbtest.SQLite(t)
	if err := outbox.Migrate(t.Context(), db); err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(*outbox.Event){
		"no subject":        func(e *outbox.Event) { e.Subject = "" },
		"empty word":        func(e *outbox.Event) { e.Subject = "rondeau..x" },
		"wildcard":          func(e *outbox.Event) { e.Subject = "rondeau.>" },
		"white space":       func(e *outbox.Event) { e.Subject = "rondeau.a b" },
		"no time":           func(e *outbox.Event) { e.Time = time.Time{} },
		"too large":         func(e *outbox.Event) { e.Payload = make([]byte, outbox.MaxPayload+1) },
		"header line break": func(e *outbox.Event) { e.Headers = map[string]string{"a": "b\r\nc: d"} },
		"resource break":    func(e *outbox.Event) { e.Resource = "lots/1\r\nnats-msg-id: x" },
		"id white space":    func(e *outbox.Event) { e.ID = "a b" },
	} {
		t.Run(name, func(t *testing.T) {
			e := event("lots/1")
			change(&e)
			if err := db.InTx(t.Context(), func(ctx context.Context) error { return outbox.Append(ctx, db, e) }); err == nil {
				t.Error("accepted")
			}
		})
	}
}

// The relay is stopped, the broker refuses and loses acknowledgements at random: everything arrives, first copies in
// order of insertion.
func TestRelayLosesNothingAndKeepsOrderThroughFailures(t *testing.T) {
	each(t, func(t *testing.T, db *sqldb.DB) {
		rnd := rand.New(rand.NewPCG(7, 7))
		b := &broker{}
		b.fail = func(outbox.Event) error {
			if rnd.IntN(8) == 0 {
				return errors.New("no answer")
			}
			return nil
		}
		b.lostAck = func(outbox.Event) bool { return rnd.IntN(8) == 0 }
		const total = 60
		for i := range total {
			if i%20 == 0 {
				stop := run(t, db, b)
				defer stop()
				if i > 0 {
					stop() // a stop in the middle of work
				}
			}
			inTx(t, db, func(ctx context.Context) error { return outbox.Append(ctx, db, event(fmt.Sprintf("lots/%04d", i))) })
		}
		stop := run(t, db, b)
		defer stop()
		drained(t, db)
		seen := map[string]bool{}
		var first []string
		for _, e := range b.got() {
			if !seen[e.ID] {
				seen[e.ID] = true
				first = append(first, e.Resource)
			}
		}
		if len(first) != total || !slices.IsSorted(first) {
			t.Errorf("%d of %d events, sorted %v", len(first), total, slices.IsSorted(first))
		}
	})
}

func TestRelayIsWokenByTheCommit(t *testing.T) {
	each(t, func(t *testing.T, db *sqldb.DB) {
		b := &broker{}
		stop := run(t, db, b)
		defer stop()
		appendEvents(t, db, 1)
		drained(t, db)
		start := time.Now()
		appendEvents(t, db, 5)
		drained(t, db)
		t.Logf("5 events in %s", time.Since(start)) // reported, not asserted
		if len(b.got()) != 6 {
			t.Errorf("%d events", len(b.got()))
		}
	})
}

func TestOnlyOneRelayIsActiveOnPostgres(t *testing.T) {
	url := sqldbtest.PostgresURL(t)
	a, c := sqldbtest.Open(t, url), sqldbtest.Open(t, url)
	if err := outbox.Migrate(t.Context(), a); err != nil {
		t.Fatal(err)
	}
	ba, bc := &broker{}, &broker{}
	stopA := run(t, a, ba)
	appendEvents(t, a, 1)
	drained(t, a)
	stopC := run(t, c, bc)
	defer stopC()
	appendEvents(t, c, 10)
	drained(t, a)
	if len(ba.got()) != 11 || len(bc.got()) != 0 {
		t.Fatalf("first relay sent %d, second %d; want 11 and 0", len(ba.got()), len(bc.got()))
	}
	stopA()
	appendEvents(t, c, 3) // the second takes over
	drained(t, a)
	if len(bc.got()) != 3 {
		t.Errorf("second relay sent %d, want 3", len(bc.got()))
	}
}

func TestRepublishSendsAgainUnderTheSameID(t *testing.T) {
	each(t, func(t *testing.T, db *sqldb.DB) {
		b := &broker{}
		stop := run(t, db, b)
		defer stop()
		appendEvents(t, db, 4)
		drained(t, db)
		ids := b.got()
		n, err := outbox.Republish(t.Context(), db, time.Time{}, ids[1].ID, ids[2].ID, "unknown")
		if err != nil || n != 2 {
			t.Fatalf("n %d %v", n, err)
		}
		drained(t, db)
		if got := b.got(); len(got) != 6 || got[4].ID != ids[1].ID || got[5].ID != ids[2].ID {
			t.Errorf("got %v", got)
		}
		n, err = outbox.Republish(t.Context(), db, time.Now().Add(-time.Hour))
		if err != nil || n != 4 {
			t.Fatalf("n %d %v", n, err)
		}
		drained(t, db)
		if n, err := outbox.Republish(t.Context(), db, time.Now().Add(time.Hour)); err != nil || n != 0 {
			t.Fatalf("n %d %v", n, err)
		}
		if got := b.got(); len(got) != 10 {
			t.Errorf("%d publishes, want 10", len(got))
		}
	})
}

// apply is a consumer's effect.
func apply(db *sqldb.DB, id string) func(context.Context) error {
	return func(ctx context.Context) error {
		_, err := db.Conn(ctx).ExecContext(ctx, `INSERT INTO effects (event_id) VALUES ($1)`, id)
		return err
	}
}

func effects(t testing.TB, db *sqldb.DB) (total, distinct int) {
	t.Helper()
	if err := db.Conn(t.Context()).QueryRowContext(t.Context(), `SELECT COUNT(*), COUNT(DISTINCT event_id) FROM effects`).Scan(&total, &distinct); err != nil {
		t.Fatal(err)
	}
	return total, distinct
}

func TestOnceAppliesEachEventOnceInWhateverOrder(t *testing.T) {
	each(t, func(t *testing.T, db *sqldb.DB) {
		const n = 40
		var deliveries []string
		for i := range n {
			deliveries = append(deliveries, fmt.Sprint("e", i), fmt.Sprint("e", i))
		}
		rand.New(rand.NewPCG(1, 2)).Shuffle(len(deliveries), func(i, j int) { deliveries[i], deliveries[j] = deliveries[j], deliveries[i] })
		var wg sync.WaitGroup
		var mu sync.Mutex
		applied := 0
		for w := range 4 {
			wg.Add(1)
			go func() {
				defer wg.Done()
				for i := w; i < len(deliveries); i += 4 {
					ok, err := outbox.Once(t.Context(), db, "planner", deliveries[i], apply(db, deliveries[i]))
					if err != nil {
						t.Error(err)
					}
					mu.Lock()
					if ok {
						applied++
					}
					mu.Unlock()
				}
			}()
		}
		wg.Wait()
		if total, distinct := effects(t, db); total != n || distinct != n || applied != n {
			t.Errorf("%d effects of %d events, %d reported as applied; want %d", total, distinct, applied, n)
		}
		if ok, err := outbox.Once(t.Context(), db, "another", "e1", apply(db, "e1")); err != nil || !ok {
			t.Errorf("another consumer has its own inbox: %v %v", ok, err)
		}
	})
}

func TestOnceForgetsAFailedEffect(t *testing.T) {
	each(t, func(t *testing.T, db *sqldb.DB) {
		for range 2 {
			ok, err := outbox.Once(t.Context(), db, "planner", "e1", func(ctx context.Context) error {
				if err := apply(db, "e1")(ctx); err != nil {
					return err
				}
				return errRefused
			})
			if ok || !errors.Is(err, errRefused) {
				t.Fatalf("%v %v", ok, err)
			}
		}
		if ok, err := outbox.Once(t.Context(), db, "planner", "e1", apply(db, "e1")); !ok || err != nil {
			t.Fatalf("%v %v", ok, err)
		}
		if total, _ := effects(t, db); total != 1 {
			t.Errorf("%d effects, want 1", total)
		}
	})
}

func TestParkedMessagesAreKeptUntilApplied(t *testing.T) {
	each(t, func(t *testing.T, db *sqldb.DB) {
		ctx := t.Context()
		e := event("lots/1")
		e.ID = "e1"
		if err := outbox.Park(ctx, db, "planner", e, errRefused); err != nil {
			t.Fatal(err)
		}
		if err := outbox.Park(ctx, db, "planner", e, errors.New("second cause")); err != nil {
			t.Fatal(err)
		}
		e2 := e
		e2.ID = "e2"
		if err := outbox.Park(ctx, db, "planner", e2, nil); err != nil {
			t.Fatal(err)
		}
		list, err := outbox.ListParked(ctx, db, "planner", 10)
		if err != nil || len(list) != 2 {
			t.Fatalf("%v %v", list, err)
		}
		p := list[0]
		if p.Cause != "second cause" || p.Event.Subject != e.Subject || !p.Event.Time.Equal(day) || string(p.Event.Payload) != string(e.Payload) || p.Event.Headers["site"] != "sites/n" {
			t.Errorf("parked %+v", p)
		}
		if list, _ := outbox.ListParked(ctx, db, "nobody", 10); len(list) != 0 {
			t.Errorf("another consumer's: %v", list)
		}
		if list, _ := outbox.ListParked(ctx, db, "", 1); len(list) != 1 {
			t.Errorf("limit: %v", list)
		}
		fail := func(context.Context, outbox.Event) error { return errRefused }
		if err := outbox.Unpark(ctx, db, "planner", "e1", fail); !errors.Is(err, errRefused) {
			t.Fatal(err)
		}
		ok := func(ctx context.Context, e outbox.Event) error { return apply(db, e.ID)(ctx) }
		if err := outbox.Unpark(ctx, db, "planner", "e1", ok); err != nil {
			t.Fatal(err)
		}
		if err := outbox.Unpark(ctx, db, "planner", "e1", ok); !errors.Is(err, apierr.Reason(outbox.NotParked)) {
			t.Errorf("second time: %v", err)
		}
		// A redelivery that succeeds removes the parked copy.
		if applied, err := outbox.Once(ctx, db, "planner", "e2", apply(db, "e2")); !applied || err != nil {
			t.Fatal(applied, err)
		}
		if list, _ := outbox.ListParked(ctx, db, "", 10); len(list) != 0 {
			t.Errorf("still parked: %v", list)
		}
		if total, distinct := effects(t, db); total != 2 || distinct != 2 {
			t.Errorf("effects %d %d", total, distinct)
		}
	})
}

func TestRequestLogReplaysAndPrunes(t *testing.T) {
	each(t, func(t *testing.T, db *sqldb.DB) {
		key := outbox.RequestKey{Subject: "anna", Method: "/x/Create", RequestID: "r1"}
		if _, err := outbox.ReserveRequest(t.Context(), db, key, []byte("h")); err == nil {
			t.Error("accepted outside of a transaction")
		}
		reserve := func(save bool) (r outbox.Reservation) {
			inTx(t, db, func(ctx context.Context) error {
				var err error
				if r, err = outbox.ReserveRequest(ctx, db, key, []byte("h")); err != nil || !save {
					return err
				}
				return outbox.SaveResponse(ctx, db, key, []byte("answer"))
			})
			return r
		}
		if r := reserve(true); !r.First {
			t.Fatalf("%+v", r)
		}
		if r := reserve(false); r.First || string(r.Hash) != "h" || string(r.Response) != "answer" {
			t.Fatalf("%+v", r)
		}
		if n, err := outbox.PruneRequests(t.Context(), db, time.Now().Add(-time.Hour)); err != nil || n != 0 {
			t.Errorf("%d %v", n, err)
		}
		if n, err := outbox.PruneRequests(t.Context(), db, time.Now().Add(time.Hour)); err != nil || n != 1 {
			t.Errorf("%d %v", n, err)
		}
		if r := reserve(false); !r.First {
			t.Errorf("pruned request is known: %+v", r)
		}
	})
}

func TestLagCountsWhatWaits(t *testing.T) {
	each(t, func(t *testing.T, db *sqldb.DB) {
		if n, oldest, err := outbox.Lag(t.Context(), db); n != 0 || oldest != 0 || err != nil {
			t.Errorf("%d %v %v", n, oldest, err)
		}
		appendEvents(t, db, 3)
		n, oldest, err := outbox.Lag(t.Context(), db)
		if n != 3 || oldest <= 0 || oldest > time.Minute || err != nil {
			t.Errorf("%d %v %v", n, oldest, err)
		}
	})
}

func TestMigrationsOfBothDialectsHaveTheSameTables(t *testing.T) {
	columns := map[string]string{}
	each(t, func(t *testing.T, db *sqldb.DB) {
		for _, table := range []string{"outbox", "inbox", "parked_messages", "request_log"} {
			rows, err := db.Conn(t.Context()).QueryContext(t.Context(), `SELECT * FROM `+table+` WHERE 1 = 0`)
			if err != nil {
				t.Fatal(err)
			}
			names, err := rows.Columns()
			if err != nil {
				t.Fatal(err)
			}
			_ = rows.Close()
			got := strings.Join(names, " ")
			if want, ok := columns[table]; ok && want != got {
				t.Errorf("%s: %s, want %s", table, got, want)
			}
			columns[table] = got
		}
	})
}
