package sqldb

import (
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"net"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// What can be wrong with a statement, whatever the database. Match with errors.Is.
var (
	ErrNoRows     = sql.ErrNoRows
	ErrUnique     = errors.New("the key exists already")
	ErrForeignKey = errors.New("a referenced row is missing or still in use")
	ErrCheck      = errors.New("a value breaks a rule of its column or table")
	ErrExclusion  = errors.New("the row overlaps another")
	// ErrConflict means that concurrent transactions kept interfering; the caller may try again.
	ErrConflict = errors.New("concurrent changes got in the way")
	// ErrCommitUnknown means that the connection was lost during a commit; only an idempotency key makes a retry safe.
	ErrCommitUnknown = errors.New("the connection was lost while the change was being saved; it may or may not have been saved")
)

// ConstraintError says which rule of the database a statement broke.
type ConstraintError struct {
	Kind error // one of the Err values above
	// Name is the name of the constraint on PostgreSQL. SQLite names the columns ("lots.name, lots.site"), for a check
	// or a trigger its name or message.
	Name  string
	cause error
}

// Error describes the kind, the constraint and the driver's message.
func (e *ConstraintError) Error() string {
	if e.Name == "" {
		return fmt.Sprintf("%v: %v", e.Kind, e.cause)
	}
	return fmt.Sprintf("%v (%s): %v", e.Kind, e.Name, e.cause)
}

// Unwrap makes the kind and the driver's error visible to errors.Is and errors.As.
func (e *ConstraintError) Unwrap() []error { return []error{e.Kind, e.cause} }

// Translate turns driver errors into errors that wrap ErrNoRows, ErrUnique, ErrForeignKey, ErrCheck (also NOT NULL),
// ErrExclusion or ErrConflict. Others, and nil, pass unchanged. The driver's error stays in the chain, so InTx still sees a conflict
// that a store translated.
//
// SQLite triggers that stand in for a constraint raise a message that begins with "check:" for ErrCheck or "foreign:"
// for ErrForeignKey; any other message of a trigger is an ErrExclusion.
func Translate(err error) error {
	if err == nil || errors.Is(err, ErrNoRows) {
		return err
	}
	var already *ConstraintError
	if errors.As(err, &already) {
		return err
	}
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		if kind := postgresKind(pg.Code); kind != nil {
			return &ConstraintError{Kind: kind, Name: pg.ConstraintName, cause: err}
		}
		return err
	}
	var lite *sqlite.Error
	if errors.As(err, &lite) {
		if name, kind := sqliteKind(lite); kind != nil {
			return &ConstraintError{Kind: kind, Name: name, cause: err}
		}
	}
	return err
}

// ConstraintName is the name that a ConstraintError in err's chain carries, or "".
func ConstraintName(err error) string {
	var c *ConstraintError
	if errors.As(err, &c) {
		return c.Name
	}
	return ""
}

// Class 23 and 40 codes of PostgreSQL (manual, appendix A, error codes).
func postgresKind(code string) error {
	switch code {
	case "23505":
		return ErrUnique
	case "23503", "23001":
		return ErrForeignKey
	case "23514", "23502":
		return ErrCheck
	case "23P01":
		return ErrExclusion
	case "40001", "40P01":
		return ErrConflict
	}
	return nil
}

func sqliteKind(e *sqlite.Error) (name string, kind error) {
	name = sqliteDetail(e.Error())
	switch e.Code() {
	case sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY, sqlite3.SQLITE_CONSTRAINT_ROWID:
		return name, ErrUnique
	case sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
		return "", ErrForeignKey
	case sqlite3.SQLITE_CONSTRAINT_CHECK, sqlite3.SQLITE_CONSTRAINT_NOTNULL, sqlite3.SQLITE_CONSTRAINT_DATATYPE:
		return name, ErrCheck
	case sqlite3.SQLITE_CONSTRAINT_TRIGGER:
		switch {
		case strings.Contains(name, "FOREIGN KEY constraint failed"): // ON DELETE RESTRICT is a trigger inside SQLite
			return "", ErrForeignKey
		case strings.HasPrefix(name, "foreign:"):
			return strings.TrimSpace(strings.TrimPrefix(name, "foreign:")), ErrForeignKey
		case strings.HasPrefix(name, "check:"):
			return strings.TrimSpace(strings.TrimPrefix(name, "check:")), ErrCheck
		}
		return strings.TrimSpace(strings.TrimPrefix(name, "exclusion:")), ErrExclusion
	}
	switch e.Code() & 0xff { // the low byte of an extended code is the primary code
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return "", ErrConflict
	}
	return "", nil
}

// sqliteDetail cuts "constraint failed: UNIQUE constraint failed: lots.name (2067)" down to "lots.name".
func sqliteDetail(msg string) string {
	if i := strings.LastIndex(msg, " ("); i >= 0 {
		msg = msg[:i]
	}
	msg = strings.TrimPrefix(msg, "constraint failed: ")
	for _, kind := range []string{"UNIQUE", "CHECK", "NOT NULL"} {
		msg = strings.TrimPrefix(msg, kind+" constraint failed: ")
	}
	return msg
}

// serverCode is the SQLSTATE that the PostgreSQL server answered with.
func serverCode(err error) (string, bool) {
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		return pg.Code, true
	}
	return "", false
}

// Transient says whether err comes from a database that is busy, restarting or out of reach, so that the same work may
// succeed later without any change to it.
func Transient(err error) bool {
	var dial *net.OpError
	var connect *pgconn.ConnectError // also a server whose name cannot be resolved while it restarts
	switch {
	case err == nil:
		return false
	case retryable(err), errors.Is(err, ErrCommitUnknown), errors.Is(err, driver.ErrBadConn), errors.As(err, &dial):
		return true
	case pgconn.SafeToRetry(err): // nothing was sent: another goroutine found the connection dead a moment ago
		return true
	}
	code, ok := serverCode(err)
	if !ok && errors.As(err, &connect) {
		return true
	}
	// Classes 08 connection exception, 53 insufficient resources, 57 operator intervention (manual, appendix A).
	return ok && (strings.HasPrefix(code, "08") || strings.HasPrefix(code, "53") || strings.HasPrefix(code, "57P"))
}

// retryable says whether running the whole transaction again can help.
func retryable(err error) bool {
	return errors.Is(Translate(err), ErrConflict)
}
