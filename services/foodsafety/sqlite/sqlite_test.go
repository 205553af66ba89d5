package sqlite_test

import (
	"testing"

	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/foodsafety"
	"rondeau.internal/services/foodsafety/sqlite"
	"rondeau.internal/services/foodsafety/storetest"
)

func TestStoreContract(t *testing.T) {
	storetest.Run(t, func(t *testing.T) foodsafety.Store {
		store, err := sqlite.New(t.Context(), sqldbtest.SQLite(t))
		if err != nil {
			t.Fatal(err)
		}
		return store
	})
}

func TestSafetyRecordsAreOnlyAppended(t *testing.T) {
	store, err := sqlite.New(t.Context(), sqldbtest.SQLite(t))
	if err != nil {
		t.Fatal(err)
	}
	storetest.RunAppendOnly(t, store.DB(), store)
}
