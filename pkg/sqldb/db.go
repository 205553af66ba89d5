package sqldb

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/XSAM/otelsql"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
	"go.opentelemetry.io/otel/attribute"
	_ "modernc.org/sqlite" // registers the driver "sqlite"
)

// Dialect is the kind of database behind a DB.
type Dialect uint8

// The two dialects.
const (
	SQLite Dialect = iota + 1
	Postgres
)

// String is the lower-case name, which is also the folder name of its migrations.
func (d Dialect) String() string {
	switch d {
	case SQLite:
		return "sqlite"
	case Postgres:
		return "postgres"
	}
	return "unknown"
}

// DBTX is what queries run on: a transaction, a connection or a pool. It is the interface of generated query code.
type DBTX interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
	PrepareContext(ctx context.Context, query string) (*sql.Stmt, error)
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// DB is one database. It is safe for concurrent use.
type DB struct {
	dialect Dialect
	write   *sql.DB
	read    *sql.DB // connections that refuse to write
}

const (
	// minSQLite is the first release without the WAL reset defect, which could corrupt a database with two
	// connections (release notes of SQLite 3.51.3, 2026-03-13).
	minSQLite = "3.51.3"

	sqliteBusyTimeout = 10 * time.Second // wait for another process that holds the write lock
	sqliteReaders     = 4
	postgresWriters   = 8
	postgresReaders   = 6
)

// OpenSQLite opens, and creates if needed, the database file at path. The file must lie on a local disk; the folder
// must exist.
func OpenSQLite(ctx context.Context, path string) (*DB, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("open database %s: %w", path, err)
	}
	if _, err := os.Stat(filepath.Dir(abs)); err != nil {
		return nil, fmt.Errorf("open database %s: its folder: %w", path, err)
	}
	write, err := otelsql.Open("sqlite", sqliteDSN(abs, false), spanOptions("sqlite")...)
	if err != nil {
		return nil, fmt.Errorf("open database %s: %w", path, err)
	}
	write.SetMaxOpenConns(1)
	write.SetMaxIdleConns(1)
	read, err := otelsql.Open("sqlite", sqliteDSN(abs, true), spanOptions("sqlite")...)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open database %s: %w", path, err), write.Close())
	}
	read.SetMaxOpenConns(sqliteReaders)
	read.SetMaxIdleConns(sqliteReaders)
	db := &DB{dialect: SQLite, write: write, read: read}
	if err := db.checkSQLite(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open database %s: %w", path, err), db.Close())
	}
	return db, nil
}

// sqliteDSN names the file with the settings that every connection gets. The write pool begins transactions with BEGIN
// IMMEDIATE, because a lock upgrade inside a transaction can fail at once whatever busy_timeout says.
func sqliteDSN(abs string, readOnly bool) string {
	q := url.Values{}
	q.Add("_pragma", "busy_timeout("+strconv.FormatInt(sqliteBusyTimeout.Milliseconds(), 10)+")")
	q.Add("_pragma", "journal_mode(WAL)")
	q.Add("_pragma", "synchronous(FULL)")
	q.Add("_pragma", "foreign_keys(ON)")
	if readOnly {
		q.Add("_pragma", "query_only(ON)")
	} else {
		q.Set("_txlock", "immediate")
	}
	return "file:" + (&url.URL{Path: abs}).EscapedPath() + "?" + q.Encode()
}

func (db *DB) checkSQLite(ctx context.Context) error {
	var version string
	if err := db.write.QueryRowContext(ctx, "SELECT sqlite_version()").Scan(&version); err != nil {
		return err
	}
	if !versionAtLeast(version, minSQLite) {
		return fmt.Errorf("SQLite %s is older than %s and can corrupt a database in WAL mode", version, minSQLite)
	}
	d, err := db.Durability(ctx)
	if err != nil {
		return err
	}
	if !d.Safe {
		return fmt.Errorf("settings are not durable: %v", d.Settings)
	}
	return nil
}

func versionAtLeast(have, want string) bool {
	h, w := strings.Split(have, "."), strings.Split(want, ".")
	for i := range w {
		wi, err := strconv.Atoi(w[i])
		if err != nil || i >= len(h) {
			return false
		}
		hi, err := strconv.Atoi(h[i])
		if err != nil {
			return false
		}
		if hi != wi {
			return hi > wi
		}
	}
	return true
}

// OpenPostgres opens the PostgreSQL database at the URL (postgres://user@host/database). Password files and the
// standard environment variables work as usual.
func OpenPostgres(ctx context.Context, dbURL string) (*DB, error) {
	cfg, err := pgx.ParseConfig(dbURL)
	if err != nil {
		return nil, fmt.Errorf("database url: %w", err)
	}
	cfg.DialFunc = watchedDial(cfg.DialFunc)
	cfg.RuntimeParams["synchronous_commit"] = "on"
	cfg.RuntimeParams["timezone"] = "UTC"
	if cfg.RuntimeParams["application_name"] == "" {
		cfg.RuntimeParams["application_name"] = "rondeau"
	}
	readCfg := cfg.Copy()
	readCfg.RuntimeParams["default_transaction_read_only"] = "on"
	db := &DB{
		dialect: Postgres,
		write:   otelsql.OpenDB(stdlib.GetConnector(*cfg), spanOptions("postgresql")...),
		read:    otelsql.OpenDB(stdlib.GetConnector(*readCfg), spanOptions("postgresql")...),
	}
	for pool, n := range map[*sql.DB]int{db.write: postgresWriters, db.read: postgresReaders} {
		pool.SetMaxOpenConns(n)
		pool.SetMaxIdleConns(n)
		pool.SetConnMaxIdleTime(5 * time.Minute)
	}
	if err := db.Ping(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open database at %s/%s: %w", cfg.Host, cfg.Database, err), db.Close())
	}
	return db, nil
}

func spanOptions(system string) []otelsql.Option {
	return []otelsql.Option{
		otelsql.WithAttributes(attribute.String("db.system.name", system)),
		otelsql.WithSpanOptions(otelsql.SpanOptions{
			DisableErrSkip: true, OmitConnResetSession: true, OmitConnPrepare: true, OmitRows: true, OmitConnectorConnect: true,
			SpanFilter: onlyInsideSpan,
		}),
	}
}

// Dialect says which kind of database this is.
func (db *DB) Dialect() Dialect { return db.dialect }

// Ping checks that the database answers.
func (db *DB) Ping(ctx context.Context) error {
	if err := db.write.PingContext(ctx); err != nil {
		return err
	}
	return db.read.PingContext(ctx)
}

// Close closes all connections. Transactions that still run end first or fail.
func (db *DB) Close() error { return errors.Join(db.read.Close(), db.write.Close()) }

// Writer is the pool of writing connections, for plumbing that needs a session of its own (locks, maintenance). Stores
// use InTx.
func (db *DB) Writer() *sql.DB { return db.write }

// Durability shows the settings that decide whether an acknowledged write survives a power cut.
type Durability struct {
	Safe     bool
	Settings map[string]string
}

// Durability reads the settings of a writing connection.
func (db *DB) Durability(ctx context.Context) (Durability, error) {
	want := map[string][]string{"PRAGMA journal_mode": {"wal"}, "PRAGMA synchronous": {"2", "3"}, "PRAGMA foreign_keys": {"1"}}
	if db.dialect == Postgres {
		want = map[string][]string{
			"SHOW synchronous_commit": {"on", "remote_apply", "remote_write", "local"}, "SHOW fsync": {"on"}, "SHOW full_page_writes": {"on"},
		}
	}
	d := Durability{Safe: true, Settings: map[string]string{}}
	for query, good := range want {
		var got string
		if err := db.write.QueryRowContext(ctx, query).Scan(&got); err != nil {
			return Durability{}, fmt.Errorf("%s: %w", query, err)
		}
		_, name, _ := strings.Cut(query, " ")
		d.Settings[name] = got
		ok := false
		for _, g := range good {
			ok = ok || g == got
		}
		d.Safe = d.Safe && ok
	}
	return d, nil
}

// Micros is t as stored: unix microseconds, 0 for the zero time. Fractions of a microsecond are cut off.
func Micros(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMicro()
}

// FromMicros is the stored time in UTC, the zero time for 0.
func FromMicros(us int64) time.Time {
	if us == 0 {
		return time.Time{}
	}
	return time.UnixMicro(us).UTC()
}
