package sqldb

import (
	"context"
	"strings"
)

// Open opens the PostgreSQL database at a postgres:// or postgresql:// URL, or else the SQLite file at a path.
func Open(ctx context.Context, database string) (*DB, error) {
	if strings.HasPrefix(database, "postgres://") || strings.HasPrefix(database, "postgresql://") {
		return OpenPostgres(ctx, database)
	}
	return OpenSQLite(ctx, database)
}
