package sqlite_test

import (
	"testing"

	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/scheduling"
	"rondeau.internal/services/scheduling/sqlite"
	"rondeau.internal/services/scheduling/storetest"
)

func TestStore(t *testing.T) {
	t.Parallel()
	storetest.Run(t, func(t *testing.T) scheduling.Store {
		t.Helper()
		store, err := sqlite.New(t.Context(), sqldbtest.SQLite(t))
		if err != nil {
			t.Fatal(err)
		}
		return store
	})
}
