package sqldb

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"time"

	"github.com/XSAM/otelsql"
	"go.opentelemetry.io/otel/trace"

	"rondeau.internal/pkg/fault"
)

// onlyInsideSpan keeps background polling out of the traces: a statement gets a span only inside a request or event.
func onlyInsideSpan(ctx context.Context, _ otelsql.Method, _ string, _ []driver.NamedValue) bool {
	return trace.SpanContextFromContext(ctx).IsValid()
}

// maxAttempts bounds how often a PostgreSQL transaction is run when others keep winning. With the waits below, the
// last attempt comes after about two seconds.
const maxAttempts = 12

// txKey carries the running transaction of one database. The database is part of the key, so that code may hold
// transactions of two databases in one context without mixing them up.
type txKey struct{ db *DB }

type txState struct {
	tx       *sql.Tx
	writable bool
	depth    int   // savepoints in use
	conflict error // first conflict seen inside; the outermost transaction must not commit
	hooks    []func()
}

func (db *DB) state(ctx context.Context) *txState {
	st, _ := ctx.Value(txKey{db}).(*txState)
	return st
}

// Conn is the transaction that ctx carries for this database, else the pool of read-only connections.
func (db *DB) Conn(ctx context.Context) DBTX {
	if st := db.state(ctx); st != nil {
		return st.tx
	}
	return db.read
}

// InWriteTx says whether ctx carries a write transaction of this database.
func (db *DB) InWriteTx(ctx context.Context) bool {
	st := db.state(ctx)
	return st != nil && st.writable
}

// AfterCommit calls fn once the write transaction in ctx has been committed. fn is dropped when the transaction, or
// the inner part that registered it, is undone. It must be quick and must not use ctx's transaction.
func (db *DB) AfterCommit(ctx context.Context, fn func()) error {
	st := db.state(ctx)
	if st == nil || !st.writable {
		return errors.New("sqldb: AfterCommit outside of a write transaction")
	}
	st.hooks = append(st.hooks, fn)
	return nil
}

// InTx runs fn in a write transaction, which the context given to fn carries. It commits when fn returns nil and
// undoes everything otherwise. When ctx carries a write transaction of this database already, fn joins it as an inner
// part that is undone alone when it fails.
//
// On PostgreSQL fn may run several times: see the package comment. A conflict that outlasts the attempts is an
// [ErrConflict]. A connection lost during the commit is an [ErrCommitUnknown]: the work may or may not be there.
func (db *DB) InTx(ctx context.Context, fn func(ctx context.Context) error) error {
	if st := db.state(ctx); st != nil {
		if !st.writable {
			return errors.New("sqldb: write transaction inside of a read transaction")
		}
		return db.inSavepoint(ctx, st, fn)
	}
	for attempt := 1; ; attempt++ {
		err := db.once(ctx, fn)
		if err == nil || !retryable(err) {
			return err
		}
		if attempt == maxAttempts || db.dialect == SQLite {
			return &ConstraintError{Kind: ErrConflict, cause: fmt.Errorf("gave up after %d attempts: %w", attempt, err)}
		}
		if err := sleep(ctx, backoff(attempt)); err != nil {
			return fmt.Errorf("retry of a conflicting transaction: %w", err)
		}
	}
}

// backoff is 1 ms doubled per attempt, at most 300 ms, with full jitter: equal waits would let the same transactions meet again.
func backoff(attempt int) time.Duration {
	limit := min(time.Millisecond<<attempt, 300*time.Millisecond)
	return time.Millisecond/2 + rand.N(limit)
}

func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}

// once runs fn in one transaction and commits it.
func (db *DB) once(ctx context.Context, fn func(ctx context.Context) error) (err error) {
	opts := &sql.TxOptions{}
	if db.dialect == Postgres {
		opts.Isolation = sql.LevelSerializable
	}
	tx, err := db.write.BeginTx(ctx, opts)
	if err != nil {
		return fmt.Errorf("begin: %w", err)
	}
	st := &txState{tx: tx, writable: true}
	done := false
	defer func() {
		if !done { // an error or a panic
			if rerr := tx.Rollback(); rerr != nil && !errors.Is(rerr, sql.ErrTxDone) && err != nil {
				err = fmt.Errorf("%w (and rollback: %v)", err, rerr)
			}
		}
	}()
	if err := fn(context.WithValue(ctx, txKey{db}, st)); err != nil {
		return err
	}
	if st.conflict != nil {
		return st.conflict
	}
	fault.Point("tx.before_commit")
	done = true
	if err := tx.Commit(); err != nil {
		return db.commitError(err)
	}
	fault.Point("tx.after_commit")
	for _, hook := range st.hooks {
		hook()
	}
	return nil
}

// commitError tells a refused commit from one whose outcome is unknown. A server that ended the session at this moment
// (classes 57 and 58) may have committed before.
func (db *DB) commitError(err error) error {
	code, fromServer := serverCode(err)
	refused := fromServer && !strings.HasPrefix(code, "57") && !strings.HasPrefix(code, "58")
	if db.dialect == SQLite || refused || errors.Is(err, sql.ErrTxDone) {
		return fmt.Errorf("commit: %w", err)
	}
	return fmt.Errorf("commit: %w: %w", ErrCommitUnknown, err)
}

// inSavepoint runs fn as an inner part of the transaction st.
func (db *DB) inSavepoint(ctx context.Context, st *txState, fn func(ctx context.Context) error) (err error) {
	st.depth++
	name := fmt.Sprintf("part%d", st.depth)
	hooks := len(st.hooks)
	defer func() { st.depth-- }()
	if _, err := st.tx.ExecContext(ctx, "SAVEPOINT "+name); err != nil {
		return fmt.Errorf("begin inner part: %w", err)
	}
	done := false
	undo := func() error {
		st.hooks = st.hooks[:hooks]
		_, err := st.tx.ExecContext(context.WithoutCancel(ctx), "ROLLBACK TO SAVEPOINT "+name)
		return err
	}
	defer func() {
		if !done { // a panic; the outer transaction is undone as well
			_ = undo()
		}
	}()
	err = fn(ctx)
	done = true
	if err == nil {
		if _, err = st.tx.ExecContext(ctx, "RELEASE SAVEPOINT "+name); err == nil {
			return nil
		}
		err = fmt.Errorf("end inner part: %w", err)
	}
	if retryable(err) && st.conflict == nil {
		st.conflict = err
	}
	if uerr := undo(); uerr != nil && st.conflict == nil {
		st.conflict = fmt.Errorf("undo inner part: %w", uerr)
	}
	return err
}

// InReadTx runs fn on one consistent snapshot, which the context given to fn carries. It joins a transaction that ctx
// carries already. On PostgreSQL the snapshot is that of a repeatable-read transaction.
func (db *DB) InReadTx(ctx context.Context, fn func(ctx context.Context) error) error {
	if db.state(ctx) != nil {
		return fn(ctx)
	}
	opts := &sql.TxOptions{ReadOnly: true}
	if db.dialect == Postgres {
		opts.Isolation = sql.LevelRepeatableRead
	}
	tx, err := db.read.BeginTx(ctx, opts)
	if err != nil {
		return fmt.Errorf("begin read: %w", err)
	}
	defer func() { _ = tx.Rollback() }() // nothing to keep; a read transaction has no commit
	return fn(context.WithValue(ctx, txKey{db}, &txState{tx: tx}))
}
