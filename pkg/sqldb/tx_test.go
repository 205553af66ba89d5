package sqldb_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
)

var errRefused = errors.New("refused")

// exec runs statements in one write transaction.
func exec(t testing.TB, db *sqldb.DB, statements ...string) {
	t.Helper()
	err := db.InTx(t.Context(), func(ctx context.Context) error {
		for _, s := range statements {
			if _, err := db.Conn(ctx).ExecContext(ctx, s); err != nil {
				return fmt.Errorf("%s: %w", s, err)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func insert(ctx context.Context, db *sqldb.DB, name string) error {
	_, err := db.Conn(ctx).ExecContext(ctx, `INSERT INTO lots (name) VALUES ($1)`, name)
	return err
}

// names lists the lots that ctx sees.
func names(t testing.TB, ctx context.Context, db *sqldb.DB) string {
	t.Helper()
	rows, err := db.Conn(ctx).QueryContext(ctx, `SELECT name FROM lots ORDER BY name`)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = rows.Close() }()
	var all []string
	for rows.Next() {
		var n string
		if err := rows.Scan(&n); err != nil {
			t.Fatal(err)
		}
		all = append(all, n)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return strings.Join(all, " ")
}

func TestTransactionsCommitAndRollBack(t *testing.T) {
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		exec(t, db, `CREATE TABLE lots (name TEXT PRIMARY KEY)`)
		ctx := t.Context()
		var hooks []string
		hook := func(ctx context.Context, s string) {
			if err := db.AfterCommit(ctx, func() { hooks = append(hooks, s) }); err != nil {
				t.Error(err)
			}
		}
		err := db.InTx(ctx, func(ctx context.Context) error {
			hook(ctx, "kept")
			if !db.InWriteTx(ctx) {
				t.Error("InWriteTx is false inside")
			}
			if len(hooks) != 0 {
				t.Error("hook ran before the commit")
			}
			return insert(ctx, db, "kept")
		})
		if err != nil {
			t.Fatal(err)
		}
		err = db.InTx(ctx, func(ctx context.Context) error {
			hook(ctx, "undone")
			if err := insert(ctx, db, "undone"); err != nil {
				return err
			}
			return errRefused
		})
		if !errors.Is(err, errRefused) {
			t.Errorf("error %v, want the function's own", err)
		}
		func() {
			defer func() {
				if recover() == nil {
					t.Error("the panic was swallowed")
				}
			}()
			_ = db.InTx(ctx, func(ctx context.Context) error {
				_ = insert(ctx, db, "panicked")
				panic("defect")
			})
		}()
		if got := names(t, ctx, db); got != "kept" {
			t.Errorf("lots %q, want only the committed one", got)
		}
		if len(hooks) != 1 || hooks[0] != "kept" {
			t.Errorf("hooks %v", hooks)
		}
		if err := db.AfterCommit(ctx, func() {}); err == nil {
			t.Error("AfterCommit outside of a transaction was accepted")
		}
	})
}

func TestInnerTransactionIsUndoneAlone(t *testing.T) {
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		exec(t, db, `CREATE TABLE lots (name TEXT PRIMARY KEY)`)
		var hooks []string
		err := db.InTx(t.Context(), func(ctx context.Context) error {
			if err := insert(ctx, db, "a"); err != nil {
				return err
			}
			inner := db.InTx(ctx, func(ctx context.Context) error {
				_ = db.AfterCommit(ctx, func() { hooks = append(hooks, "inner") })
				if err := insert(ctx, db, "b"); err != nil {
					return err
				}
				return insert(ctx, db, "a") // a real failure, which would spoil the whole transaction on PostgreSQL
			})
			if !errors.Is(sqldb.Translate(inner), sqldb.ErrUnique) {
				t.Errorf("inner error %v", inner)
			}
			return db.InTx(ctx, func(ctx context.Context) error {
				return db.InTx(ctx, func(ctx context.Context) error { return insert(ctx, db, "c") })
			})
		})
		if err != nil {
			t.Fatal(err)
		}
		if got := names(t, t.Context(), db); got != "a c" || len(hooks) != 0 {
			t.Errorf("lots %q hooks %v, want a and c without hooks", got, hooks)
		}
	})
}

func TestWritingNeedsATransaction(t *testing.T) {
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		exec(t, db, `CREATE TABLE lots (name TEXT PRIMARY KEY)`)
		if err := insert(t.Context(), db, "x"); err == nil {
			t.Error("a write outside of a transaction was accepted")
		}
		err := db.InReadTx(t.Context(), func(ctx context.Context) error {
			if db.InWriteTx(ctx) {
				t.Error("a read transaction claims to be a write transaction")
			}
			if err := db.InTx(ctx, func(context.Context) error { return nil }); err == nil {
				t.Error("a write transaction began inside of a read transaction")
			}
			return insert(ctx, db, "x")
		})
		if err == nil {
			t.Error("a write in a read transaction was accepted")
		}
	})
}

func TestReadTransactionIsOneSnapshot(t *testing.T) {
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		exec(t, db, `CREATE TABLE lots (name TEXT PRIMARY KEY)`, `INSERT INTO lots VALUES ('a')`)
		err := db.InReadTx(t.Context(), func(ctx context.Context) error {
			before := names(t, ctx, db)
			exec(t, db, `INSERT INTO lots VALUES ('b')`) // t.Context does not carry the read transaction
			if after := names(t, ctx, db); after != before {
				t.Errorf("snapshot moved from %q to %q", before, after)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if got := names(t, t.Context(), db); got != "a b" {
			t.Errorf("afterwards %q", got)
		}
	})
}

// Two planners each see one kettle free and take it: write skew, the textbook anomaly that snapshot isolation lets
// through (Berenson et al., "A Critique of ANSI SQL Isolation Levels", 1995, anomaly A5B).
func TestWriteSkewIsRetriedAndPrevented(t *testing.T) {
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		exec(t, db, `CREATE TABLE kettles (name TEXT PRIMARY KEY, free BIGINT NOT NULL)`, `INSERT INTO kettles VALUES ('k1', 1), ('k2', 1)`)
		var runs atomic.Int64
		var start sync.WaitGroup
		start.Add(2)
		take := func(name string) error {
			first := true
			return db.InTx(t.Context(), func(ctx context.Context) error {
				runs.Add(1)
				var free int
				if err := db.Conn(ctx).QueryRowContext(ctx, `SELECT SUM(free) FROM kettles`).Scan(&free); err != nil {
					return err
				}
				if first && db.Dialect() == sqldb.Postgres {
					first = false
					start.Done()
					start.Wait() // both have read before either writes
				}
				if free < 2 { // one must stay free
					return errRefused
				}
				_, err := db.Conn(ctx).ExecContext(ctx, `UPDATE kettles SET free = 0 WHERE name = $1`, name)
				return err
			})
		}
		results := make(chan error, 2)
		for _, k := range []string{"k1", "k2"} {
			go func() { results <- take(k) }()
		}
		refused := 0
		for range 2 {
			switch err := <-results; {
			case errors.Is(err, errRefused):
				refused++
			case err != nil:
				t.Error(err)
			}
		}
		var free int
		if err := db.Conn(t.Context()).QueryRowContext(t.Context(), `SELECT SUM(free) FROM kettles`).Scan(&free); err != nil {
			t.Fatal(err)
		}
		if free != 1 || refused != 1 {
			t.Errorf("%d kettles free, %d refused; want 1 and 1", free, refused)
		}
		if db.Dialect() == sqldb.Postgres && runs.Load() < 3 {
			t.Errorf("%d runs: the loser was not run again", runs.Load())
		}
	})
}

// Transfers between two rows in opposite order make PostgreSQL report deadlocks and serialization failures; none may
// reach the caller and no unit may be lost.
func TestContendedCountersStayExact(t *testing.T) {
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		exec(t, db, `CREATE TABLE bins (name TEXT PRIMARY KEY, qty BIGINT NOT NULL CHECK (qty >= 0))`, `INSERT INTO bins VALUES ('a', 1000), ('b', 1000)`)
		const workers, moves = 4, 15
		errs := make(chan error, workers)
		for w := range workers {
			from, to := "a", "b"
			if w%2 == 1 {
				from, to = to, from
			}
			go func() {
				for range moves {
					err := db.InTx(t.Context(), func(ctx context.Context) error {
						if _, err := db.Conn(ctx).ExecContext(ctx, `UPDATE bins SET qty = qty - $1 WHERE name = $2`, w+1, from); err != nil {
							return err
						}
						_, err := db.Conn(ctx).ExecContext(ctx, `UPDATE bins SET qty = qty + $1 WHERE name = $2`, w+1, to)
						return sqldb.Translate(err)
					})
					if err != nil {
						errs <- err
						return
					}
				}
				errs <- nil
			}()
		}
		for range workers {
			if err := <-errs; err != nil {
				t.Error(err)
			}
		}
		var a, b int
		q := `SELECT (SELECT qty FROM bins WHERE name = 'a'), (SELECT qty FROM bins WHERE name = 'b')`
		if err := db.Conn(t.Context()).QueryRowContext(t.Context(), q).Scan(&a, &b); err != nil {
			t.Fatal(err)
		}
		// a loses 1 and 3 and gains 2 and 4 per round.
		if a != 1000+moves*2 || a+b != 2000 {
			t.Errorf("a %d b %d", a, b)
		}
	})
}

// An inner part that swallows a conflict must not let the outer transaction commit on a stale view.
func TestConflictInsideAnInnerPartStillRetriesTheWhole(t *testing.T) {
	db := sqldbtest.Postgres(t)
	exec(t, db, `CREATE TABLE lots (name TEXT PRIMARY KEY)`, `CREATE TABLE n (v BIGINT NOT NULL)`, `INSERT INTO n VALUES (0)`)
	runs := 0
	err := db.InTx(t.Context(), func(ctx context.Context) error {
		runs++
		var v int
		if err := db.Conn(ctx).QueryRowContext(ctx, `SELECT v FROM n`).Scan(&v); err != nil {
			return err
		}
		if runs == 1 {
			exec(t, db, `UPDATE n SET v = v + 10`)
		}
		_ = db.InTx(ctx, func(ctx context.Context) error {
			_, err := db.Conn(ctx).ExecContext(ctx, `UPDATE n SET v = $1`, v+1)
			return err
		})
		return insert(ctx, db, fmt.Sprint("run", runs))
	})
	if err != nil {
		t.Fatal(err)
	}
	var v int
	if err := db.Conn(t.Context()).QueryRowContext(t.Context(), `SELECT v FROM n`).Scan(&v); err != nil {
		t.Fatal(err)
	}
	if runs != 2 || v != 11 || names(t, t.Context(), db) != "run2" {
		t.Errorf("runs %d v %d lots %q", runs, v, names(t, t.Context(), db))
	}
}

func TestCanceledContextUndoesTheTransaction(t *testing.T) {
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		exec(t, db, `CREATE TABLE lots (name TEXT PRIMARY KEY)`)
		ctx, cancel := context.WithCancel(t.Context())
		err := db.InTx(ctx, func(ctx context.Context) error {
			if err := insert(ctx, db, "x"); err != nil {
				return err
			}
			cancel()
			return nil
		})
		if err == nil {
			t.Error("a transaction of a caller that is gone was reported as done")
		}
		exec(t, db, `INSERT INTO lots VALUES ('y')`) // the writer is usable
		if got := names(t, t.Context(), db); got != "y" {
			t.Errorf("lots %q", got)
		}
	})
}

func TestMicrosRoundTrip(t *testing.T) {
	t.Parallel()
	at := time.Date(2031, 7, 1, 12, 30, 1, 123456789, time.FixedZone("x", 7200))
	if got := sqldb.FromMicros(sqldb.Micros(at)); !got.Equal(at.Truncate(time.Microsecond)) || got.Location() != time.UTC {
		t.Errorf("got %v", got)
	}
	if sqldb.Micros(time.Time{}) != 0 || !sqldb.FromMicros(0).IsZero() {
		t.Error("0 and the zero time do not correspond")
	}
}
