// Package postgres keeps the stock in PostgreSQL: the schema and what only this database needs.
package postgres

import (
	"context"
	"embed"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/inventory/sqlstore"
)

//go:embed migrations/*.sql
var migrations embed.FS

// VersionTable keeps the version of the schema.
const VersionTable = "inventory_version"

// New brings the schema up to date and returns the store.
func New(ctx context.Context, db *sqldb.DB) (*sqlstore.Store, error) {
	if err := db.Migrate(ctx, migrations, VersionTable); err != nil {
		return nil, err
	}
	return sqlstore.New(db), nil
}
