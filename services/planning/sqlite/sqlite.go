// Package sqlite holds the SQLite schema of planning.
package sqlite

import (
	"context"
	"embed"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/planning/sqlstore"
)

//go:embed migrations/*.sql
var migrations embed.FS

// New migrates the database and returns its store.
func New(ctx context.Context, db *sqldb.DB) (*sqlstore.Store, error) {
	if err := db.Migrate(ctx, migrations, "planning_version"); err != nil {
		return nil, err
	}
	return sqlstore.New(db), nil
}
