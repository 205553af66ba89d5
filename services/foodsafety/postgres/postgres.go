// Package postgres opens the food-safety records in PostgreSQL: the shared store of package sqlstore over a schema whose
// triggers refuse to change, delete or truncate what is only appended.
package postgres

import (
	"context"
	"embed"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/foodsafety/sqlstore"
)

//go:embed migrations/*.sql
var migrations embed.FS

// New migrates an open database.
func New(ctx context.Context, db *sqldb.DB) (*sqlstore.Store, error) {
	if err := db.Migrate(ctx, migrations, "foodsafety_version"); err != nil {
		return nil, err
	}
	return sqlstore.New(db), nil
}
