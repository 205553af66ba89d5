package postgres_test

import (
	"testing"

	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/foodsafety"
	"rondeau.internal/services/foodsafety/postgres"
	"rondeau.internal/services/foodsafety/storetest"
)

func TestStoreContract(t *testing.T) {
	storetest.Run(t, func(t *testing.T) foodsafety.Store {
		store, err := postgres.New(t.Context(), sqldbtest.Postgres(t))
		if err != nil {
			t.Fatal(err)
		}
		return store
	})
}

func TestSafetyRecordsAreOnlyAppended(t *testing.T) {
	store, err := postgres.New(t.Context(), sqldbtest.Postgres(t))
	if err != nil {
		t.Fatal(err)
	}
	storetest.RunAppendOnly(t, store.DB(), store)
}
