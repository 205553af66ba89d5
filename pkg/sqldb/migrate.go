package sqldb

import (
	"context"
	"errors"
	"fmt"
	"io/fs"

	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

// Migrate brings the schema up to the newest migration in fsys; the versions are kept in table, so that several
// packages can share one database, each with its own table. Migrations are SQL files (00001_name.sql) with the line
// "-- +goose Up". They are found at the root of fsys or, below it, in a folder named for the dialect ("sqlite",
// "postgres") or "migrations".
//
// Only additive migrations are allowed by house rules, and there is no way down. A database that a newer program has
// migrated further is refused.
func (db *DB) Migrate(ctx context.Context, fsys fs.FS, table string) error {
	dir, err := db.migrationDir(fsys)
	if err != nil {
		return fmt.Errorf("migrate %s: %w", table, err)
	}
	opts := []goose.ProviderOption{goose.WithTableName(table), goose.WithDisableGlobalRegistry(true)}
	dialect := goose.DialectSQLite3
	if db.dialect == Postgres {
		dialect = goose.DialectPostgres
		// Two processes that start together must not migrate together. Try once a second, for five minutes.
		locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 300))
		if err != nil {
			return fmt.Errorf("migrate %s: %w", table, err)
		}
		opts = append(opts, goose.WithSessionLocker(locker))
	}
	p, err := goose.NewProvider(dialect, db.write, dir, opts...)
	if err != nil {
		return fmt.Errorf("migrate %s: %w", table, err)
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("migrate %s: %w", table, err)
	}
	have, err := p.GetDBVersion(ctx)
	if err != nil {
		return fmt.Errorf("migrate %s: %w", table, err)
	}
	sources := p.ListSources()
	if want := sources[len(sources)-1].Version; have > want {
		return fmt.Errorf("migrate %s: the database is at version %d, this program knows only %d; run the newer program", table, have, want)
	}
	return nil
}

// migrationDir descends to the folder that holds the SQL files.
func (db *DB) migrationDir(fsys fs.FS) (fs.FS, error) {
	for range 4 {
		files, err := fs.Glob(fsys, "*.sql")
		if err != nil {
			return nil, err
		}
		if len(files) > 0 {
			return fsys, nil
		}
		next := ""
		for _, name := range []string{db.dialect.String(), "migrations"} {
			if info, err := fs.Stat(fsys, name); err == nil && info.IsDir() {
				next = name
				break
			}
		}
		if next == "" {
			break
		}
		if fsys, err = fs.Sub(fsys, next); err != nil {
			return nil, err
		}
	}
	return nil, errors.New("no SQL files at the root, in " + db.dialect.String() + " or in migrations")
}
