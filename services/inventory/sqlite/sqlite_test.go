package sqlite_test

import (
	"testing"

	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/inventory"
	"rondeau.internal/services/inventory/sqlite"
	"rondeau.internal/services/inventory/storetest"
)

func TestStore(t *testing.T) {
	storetest.Run(t, func(t *testing.T) inventory.Store {
		store, err := sqlite.New(t.Context(), sqldbtest.SQLite(t))
		if err != nil {
			t.Fatal(err)
		}
		return store
	})
}

// TestBooksAreOnlyAppended tries to change history behind the program's back.
func TestBooksAreOnlyAppended(t *testing.T) {
	t.Parallel()
	db := sqldbtest.SQLite(t)
	if _, err := sqlite.New(t.Context(), db); err != nil {
		t.Fatal(err)
	}
	storetest.AppendOnly(t, db)
}
