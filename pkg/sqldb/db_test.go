package sqldb_test

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/pkg/testenv"
)

func TestSettingsAreDurable(t *testing.T) {
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		d, err := db.Durability(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if !d.Safe {
			t.Errorf("not durable: %v", d.Settings)
		}
		if db.Dialect() == sqldb.SQLite && (d.Settings["synchronous"] != "2" || d.Settings["journal_mode"] != "wal") {
			t.Errorf("settings %v", d.Settings)
		}
		if err := db.Ping(t.Context()); err != nil {
			t.Error(err)
		}
	})
}

func TestSQLitePathsMayHaveAnyCharacters(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a b?c#d%e&f")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "lots.db")
	db := sqldbtest.Open(t, path)
	exec(t, db, `CREATE TABLE lots (name TEXT PRIMARY KEY)`)
	if _, err := os.Stat(path); err != nil {
		t.Error(err)
	}
}

func TestOpenSaysWhatIsWrong(t *testing.T) {
	_, err := sqldb.OpenSQLite(t.Context(), filepath.Join(t.TempDir(), "missing", "x.db"))
	if err == nil || !strings.Contains(err.Error(), "folder") {
		t.Errorf("missing folder: %v", err)
	}
	path := filepath.Join(t.TempDir(), "text.db")
	if err := os.WriteFile(path, []byte(strings.Repeat("this is not a database\n", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := sqldb.OpenSQLite(t.Context(), path); err == nil || !strings.Contains(err.Error(), "text.db") {
		t.Errorf("not a database: %v", err)
	}
	if _, err := sqldb.OpenPostgres(t.Context(), "postgres://127.0.0.1:1/none?connect_timeout=1"); err == nil {
		t.Error("a server that is not there was opened")
	}
}

func TestTranslateKnowsEachClassOfConstraint(t *testing.T) {
	ddl := map[sqldb.Dialect][]string{
		sqldb.SQLite: {
			`CREATE TABLE bookings (vessel TEXT NOT NULL, start_us BIGINT NOT NULL, end_us BIGINT NOT NULL)`,
			`CREATE TRIGGER bookings_overlap BEFORE INSERT ON bookings
				WHEN EXISTS (SELECT 1 FROM bookings b WHERE b.vessel = new.vessel AND b.start_us < new.end_us AND new.start_us < b.end_us)
				BEGIN SELECT RAISE(ABORT, 'exclusion: bookings_overlap'); END`,
		},
		sqldb.Postgres: {
			`CREATE EXTENSION IF NOT EXISTS btree_gist`,
			`CREATE TABLE bookings (vessel TEXT NOT NULL, start_us BIGINT NOT NULL, end_us BIGINT NOT NULL,
				CONSTRAINT bookings_overlap EXCLUDE USING gist (vessel WITH =, int8range(start_us, end_us) WITH &&))`,
		},
	}
	tests := []struct {
		name, sql string
		want      error
		mentions  string
	}{
		{"duplicate primary key", `INSERT INTO lots VALUES ('a', 'x9', 1, 's')`, sqldb.ErrUnique, "lots"},
		{"duplicate unique column", `INSERT INTO lots VALUES ('b', 'x1', 1, 's')`, sqldb.ErrUnique, "code"},
		{"missing parent", `INSERT INTO lots VALUES ('b', 'x2', 1, 'nowhere')`, sqldb.ErrForeignKey, ""},
		{"parent in use", `DELETE FROM sites WHERE name = 's'`, sqldb.ErrForeignKey, ""},
		{"negative mass", `INSERT INTO lots VALUES ('b', 'x2', -1, 's')`, sqldb.ErrCheck, "mass_positive"},
		{"null", `INSERT INTO lots VALUES ('b', 'x2', NULL, 's')`, sqldb.ErrCheck, ""},
		{"overlap", `INSERT INTO bookings VALUES ('k1', 5, 15)`, sqldb.ErrExclusion, "bookings_overlap"},
	}
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		exec(t, db, append(ddl[db.Dialect()],
			`CREATE TABLE sites (name TEXT PRIMARY KEY)`,
			`CREATE TABLE lots (name TEXT PRIMARY KEY, code TEXT NOT NULL UNIQUE, mass_mg BIGINT NOT NULL,
				site TEXT NOT NULL REFERENCES sites (name) ON DELETE RESTRICT, CONSTRAINT mass_positive CHECK (mass_mg >= 0))`,
			`INSERT INTO sites VALUES ('s')`, `INSERT INTO lots VALUES ('a', 'x1', 1, 's')`, `INSERT INTO bookings VALUES ('k1', 0, 10)`)...)
		for _, tt := range tests {
			t.Run(tt.name, func(t *testing.T) {
				err := db.InTx(t.Context(), func(ctx context.Context) error {
					_, err := db.Conn(ctx).ExecContext(ctx, tt.sql)
					return sqldb.Translate(err)
				})
				if !errors.Is(err, tt.want) {
					t.Errorf("got %v, want %v", err, tt.want)
				}
				if !strings.Contains(sqldb.ConstraintName(err), tt.mentions) {
					t.Errorf("name %q does not mention %q", sqldb.ConstraintName(err), tt.mentions)
				}
				for _, other := range []error{sqldb.ErrUnique, sqldb.ErrForeignKey, sqldb.ErrCheck, sqldb.ErrExclusion, sqldb.ErrConflict} {
					if other != tt.want && errors.Is(err, other) {
						t.Errorf("%v is also %v", err, other)
					}
				}
			})
		}
		exec(t, db, `INSERT INTO bookings VALUES ('k1', 10, 20), ('k2', 5, 15)`) // half-open ranges touch without overlap
		var n int
		err := db.Conn(t.Context()).QueryRowContext(t.Context(), `SELECT 1 FROM lots WHERE name = 'zz'`).Scan(&n)
		if !errors.Is(sqldb.Translate(err), sqldb.ErrNoRows) {
			t.Errorf("no rows: %v", err)
		}
		if sqldb.Translate(nil) != nil || !errors.Is(sqldb.Translate(errRefused), errRefused) {
			t.Error("nil and foreign errors must pass")
		}
	})
}

func TestMigrateIsRepeatableAndRefusesANewerDatabase(t *testing.T) {
	one := fstest.MapFS{
		"migrations/sqlite/00001_lots.sql":   {Data: []byte("-- +goose Up\nCREATE TABLE lots (name TEXT PRIMARY KEY);\n")},
		"migrations/postgres/00001_lots.sql": {Data: []byte("-- +goose Up\nCREATE TABLE lots (name TEXT PRIMARY KEY);\n")},
	}
	two := fstest.MapFS{
		"00001_lots.sql": {Data: []byte("-- +goose Up\nCREATE TABLE lots (name TEXT PRIMARY KEY);\n")},
		"00002_note.sql": {Data: []byte("-- +goose Up\nALTER TABLE lots ADD COLUMN note TEXT NOT NULL DEFAULT '';\n")},
	}
	other := fstest.MapFS{"00001_x.sql": {Data: []byte("-- +goose Up\nCREATE TABLE other (name TEXT PRIMARY KEY);\n")}}
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		ctx := t.Context()
		for range 2 {
			if err := db.Migrate(ctx, one, "lots_version"); err != nil {
				t.Fatal(err)
			}
		}
		if err := db.Migrate(ctx, other, "other_version"); err != nil {
			t.Fatal(err)
		}
		if err := db.Migrate(ctx, two, "lots_version"); err != nil {
			t.Fatal(err)
		}
		exec(t, db, `INSERT INTO lots (name, note) VALUES ('a', 'n')`, `INSERT INTO other VALUES ('a')`)
		err := db.Migrate(ctx, one, "lots_version")
		if err == nil || !strings.Contains(err.Error(), "version 2") {
			t.Errorf("older program: %v", err)
		}
		if err := db.Migrate(ctx, fstest.MapFS{}, "x_version"); err == nil {
			t.Error("no migrations were accepted")
		}
	})
}

func TestTwoProcessesMayMigrateTogether(t *testing.T) {
	url := sqldbtest.PostgresURL(t)
	fsys := fstest.MapFS{"00001_lots.sql": {Data: []byte("-- +goose Up\nCREATE TABLE lots (name TEXT PRIMARY KEY);\nSELECT pg_sleep(0.2);\n")}}
	a, b := sqldbtest.Open(t, url), sqldbtest.Open(t, url)
	errs := make(chan error, 2)
	for _, db := range []*sqldb.DB{a, b} {
		go func() { errs <- db.Migrate(t.Context(), fsys, "lots_version") }()
	}
	for range 2 {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
}

// Two processes with one SQLite file: writers wait for each other instead of failing.
func TestTwoOpenersOfOneFileTakeTurns(t *testing.T) {
	path := filepath.Join(t.TempDir(), "lots.db")
	a, b := sqldbtest.Open(t, path), sqldbtest.Open(t, path)
	exec(t, a, `CREATE TABLE n (v BIGINT NOT NULL)`, `INSERT INTO n VALUES (0)`)
	errs := make(chan error, 2)
	for _, db := range []*sqldb.DB{a, b} {
		go func() {
			for range 50 {
				err := db.InTx(t.Context(), func(ctx context.Context) error {
					var v int
					if err := db.Conn(ctx).QueryRowContext(ctx, `SELECT v FROM n`).Scan(&v); err != nil {
						return err
					}
					_, err := db.Conn(ctx).ExecContext(ctx, `UPDATE n SET v = $1`, v+1)
					return err
				})
				if err != nil {
					errs <- err
					return
				}
			}
			errs <- nil
		}()
	}
	for range 2 {
		if err := <-errs; err != nil {
			t.Fatal(err)
		}
	}
	var v int
	if err := a.Conn(t.Context()).QueryRowContext(t.Context(), `SELECT v FROM n`).Scan(&v); err != nil || v != 100 {
		t.Errorf("v = %d %v, want 100", v, err)
	}
}

func TestTransientFailuresAreToldFromFinalOnes(t *testing.T) {
	_, down := sqldb.OpenPostgres(t.Context(), "postgres://127.0.0.1:1/none?connect_timeout=1")
	for _, err := range []error{down, sqldb.ErrConflict, fmt.Errorf("x: %w", sqldb.ErrCommitUnknown), driver.ErrBadConn} {
		if !sqldb.Transient(err) {
			t.Errorf("%v is final", err)
		}
	}
	for _, err := range []error{nil, errRefused, sqldb.ErrUnique, sqldb.ErrNoRows} {
		if sqldb.Transient(err) {
			t.Errorf("%v is transient", err)
		}
	}
	db := sqldbtest.Postgres(t)
	err := db.InTx(t.Context(), func(ctx context.Context) error {
		_, err := db.Conn(ctx).ExecContext(ctx, `SELECT pg_terminate_backend(pg_backend_pid())`) // as an administrator's restart does
		return err
	})
	if !sqldb.Transient(err) {
		t.Errorf("a session ended by the server: %v is final", err)
	}
	exec(t, db, `CREATE TABLE lots (name TEXT PRIMARY KEY)`) // the pool recovers
}

func TestACommitWhoseAnswerIsLostIsReportedAsUnknown(t *testing.T) {
	db := sqldbtest.Postgres(t)
	admin := sqldbtest.Postgres(t)
	err := db.InTx(t.Context(), func(ctx context.Context) error {
		var pid int
		if err := db.Conn(ctx).QueryRowContext(ctx, `SELECT pg_backend_pid()`).Scan(&pid); err != nil {
			return err
		}
		if err := admin.Conn(t.Context()).QueryRowContext(t.Context(), `SELECT 1 FROM pg_terminate_backend($1)`, pid).Scan(new(int)); err != nil {
			return err
		}
		testenv.Eventually(t, 5*time.Second, func() error { // the session is really gone when the commit is sent
			var n int
			if err := admin.Conn(t.Context()).QueryRowContext(t.Context(), `SELECT COUNT(*) FROM pg_stat_activity WHERE pid = $1`, pid).Scan(&n); err != nil || n == 0 {
				return err
			}
			return errors.New("the session lives")
		})
		return nil
	})
	if !errors.Is(err, sqldb.ErrCommitUnknown) {
		t.Errorf("error %v", err)
	}
}
