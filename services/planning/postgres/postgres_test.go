package postgres_test

import (
	"testing"

	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/planning"
	"rondeau.internal/services/planning/postgres"
	"rondeau.internal/services/planning/storetest"
)

func TestStore(t *testing.T) {
	storetest.Run(t, func(t *testing.T) planning.Store {
		store, err := postgres.New(t.Context(), sqldbtest.Postgres(t))
		if err != nil {
			t.Fatal(err)
		}
		return store
	})
}
