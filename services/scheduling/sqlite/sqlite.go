// Package sqlite keeps scheduling in SQLite: the shared store, and the migrations with the constraints of that database.
package sqlite

import (
	"context"
	"embed"
	"fmt"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/scheduling/sqlstore"
)

//go:embed migrations/*.sql
var migrations embed.FS

// versionTable is where the versions of the migrations are kept.
const versionTable = "scheduling_version"

// Migrate brings the schema up to the newest migration.
func Migrate(ctx context.Context, db *sqldb.DB) error {
	if err := db.Migrate(ctx, migrations, versionTable); err != nil {
		return fmt.Errorf("migrate scheduling: %w", err)
	}
	return nil
}

// New migrates the database and returns the store over it.
func New(ctx context.Context, db *sqldb.DB) (*sqlstore.Store, error) {
	if err := Migrate(ctx, db); err != nil {
		return nil, err
	}
	return sqlstore.New(db), nil
}
