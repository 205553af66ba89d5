package storetest

import (
	"context"
	"errors"
	"testing"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/inventory/sqlstore"
)

// AppendOnly checks that the database itself refuses to change or delete moves and entries, and to give a container another lot.
func AppendOnly(t *testing.T, db *sqldb.DB) {
	t.Helper()
	s := sqlstore.New(db)
	service := kitchen(t, s)
	lot := receive(t, service, "b1", 5, "")
	must(t, packOne(t, service, lot))
	receive(t, service, "b2", 5, "")
	for _, statement := range []string{
		"UPDATE moves SET actor = 'somebody else'", "DELETE FROM moves", "UPDATE entries SET mass_mg = mass_mg + 1", "DELETE FROM entries",
		"UPDATE containers SET lot = '" + site + "/lots/b2'",
	} {
		err := db.InTx(t.Context(), func(ctx context.Context) error {
			_, err := db.Conn(ctx).ExecContext(ctx, statement)
			return err
		})
		if !errors.Is(sqldb.Translate(err), sqldb.ErrCheck) {
			t.Errorf("%s: got %v, want a refusal", statement, err)
		}
	}
	audited(t, s)
}
