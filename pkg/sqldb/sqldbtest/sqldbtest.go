// Package sqldbtest gives each test a fresh, empty database of either dialect.
package sqldbtest

import (
	"context"
	"crypto/rand"
	"database/sql"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	_ "github.com/jackc/pgx/v5/stdlib" // registers the driver "pgx"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/testenv"
)

// SQLite opens a new database file in the test's temporary folder.
func SQLite(t testing.TB) *sqldb.DB {
	t.Helper()
	return Open(t, filepath.Join(t.TempDir(), "test.db"))
}

// Open opens the database at a postgres:// URL or a SQLite path and closes it at the end of the test.
func Open(t testing.TB, target string) *sqldb.DB {
	t.Helper()
	open := sqldb.OpenSQLite
	if strings.HasPrefix(target, "postgres:") {
		open = sqldb.OpenPostgres
	}
	db, err := open(t.Context(), target)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Errorf("close database: %v", err)
		}
	})
	return db
}

// Postgres creates a database on the server that RONDEAU_POSTGRES_URL names, else on a private server that this test
// process starts from the installed programs and that ends with it. Without either the test is skipped, or fails when
// RONDEAU_REQUIRE lists postgres.
func Postgres(t testing.TB) *sqldb.DB {
	t.Helper()
	return Open(t, PostgresURL(t))
}

// PostgresURL creates a database as Postgres does and returns its URL. The database is dropped at the end of the test.
func PostgresURL(t testing.TB) string {
	t.Helper()
	base := os.Getenv(testenv.PostgresEnv)
	if base == "" {
		testenv.Require(t, "postgres")
		srv, err := privateServer()
		if err != nil {
			t.Fatalf("start a private PostgreSQL server: %v", err)
		}
		base = srv.url
	}
	name := "rondeau_test_" + strings.ToLower(rand.Text())[:16]
	// Text sorts by bytes, as in SQLite, whatever the default of the server is.
	admin(t, base, "CREATE DATABASE "+name+" TEMPLATE template0 ENCODING 'UTF8' LC_COLLATE 'C' LC_CTYPE 'C'")
	t.Cleanup(func() { admin(t, base, "DROP DATABASE "+name+" WITH (FORCE)") })
	u, err := url.Parse(base)
	if err != nil {
		t.Fatal(err)
	}
	u.Path = "/" + name
	return u.String()
}

func admin(t testing.TB, base, statement string) {
	t.Helper()
	ctx := context.Background() // t.Context is done when cleanups run
	db, err := sql.Open("pgx", base)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = db.Close() }()
	if _, err := db.ExecContext(ctx, statement); err != nil {
		t.Fatal(fmt.Errorf("%s: %w", statement, err))
	}
}

// Each runs fn as the subtests "sqlite" and "postgres", each with a fresh database.
func Each(t *testing.T, fn func(t *testing.T, db *sqldb.DB)) {
	t.Helper()
	t.Run("sqlite", func(t *testing.T) { fn(t, SQLite(t)) })
	t.Run("postgres", func(t *testing.T) { fn(t, Postgres(t)) })
}

// EachBench is Each for benchmarks.
func EachBench(b *testing.B, fn func(b *testing.B, db *sqldb.DB)) {
	b.Helper()
	b.Run("sqlite", func(b *testing.B) { fn(b, SQLite(b)) })
	b.Run("postgres", func(b *testing.B) { fn(b, Postgres(b)) })
}
