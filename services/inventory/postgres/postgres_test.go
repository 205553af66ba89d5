package postgres_test

import (
	"testing"

	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/inventory"
	"rondeau.internal/services/inventory/postgres"
	"rondeau.internal/services/inventory/storetest"
)

func TestStore(t *testing.T) {
	storetest.Run(t, func(t *testing.T) inventory.Store {
		store, err := postgres.New(t.Context(), sqldbtest.Postgres(t))
		if err != nil {
			t.Fatal(err)
		}
		return store
	})
}

// TestBooksAreOnlyAppended tries to change history behind the program's back.
func TestBooksAreOnlyAppended(t *testing.T) {
	t.Parallel()
	db := sqldbtest.Postgres(t)
	if _, err := postgres.New(t.Context(), db); err != nil {
		t.Fatal(err)
	}
	storetest.AppendOnly(t, db)
}
