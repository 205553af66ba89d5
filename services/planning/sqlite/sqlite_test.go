package sqlite_test

import (
	"testing"

	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/planning"
	"rondeau.internal/services/planning/sqlite"
	"rondeau.internal/services/planning/storetest"
)

func TestStore(t *testing.T) {
	storetest.Run(t, func(t *testing.T) planning.Store {
		store, err := sqlite.New(t.Context(), sqldbtest.SQLite(t))
		if err != nil {
			t.Fatal(err)
		}
		return store
	})
}
