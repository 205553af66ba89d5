package foodsafety_test

import (
	"context"
	"sync"
	"testing"

	"rondeau.internal/pkg/clock"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/foodsafety"
	"rondeau.internal/services/foodsafety/postgres"
	"rondeau.internal/services/foodsafety/sqlite"
)

// together is a store whose callers meet once after their first look at a profile, so that each has seen it missing before
// any writes it. That look is outside of the transaction, because the database notices most conflicts with looks inside
// of it, but does not promise to.
type together struct {
	foodsafety.Store
	outside context.Context
	meet    func()
	once    sync.Once
}

func (s *together) GetProfile(ctx context.Context, name string) (p *foodsafety.LimitsProfile, err error) {
	s.once.Do(func() {
		p, err = s.Store.GetProfile(s.outside, name)
		s.meet()
	})
	if p != nil || err != nil {
		return p, err
	}
	return s.Store.GetProfile(ctx, name)
}

func openStore(t *testing.T, db *sqldb.DB) foodsafety.Store {
	t.Helper()
	open := sqlite.New
	if db.Dialect() == sqldb.Postgres {
		open = postgres.New
	}
	store, err := open(t.Context(), db)
	if err != nil {
		t.Fatal(err)
	}
	return store
}

// Every replica makes sure of the built-in profiles; a site gets them once, and no replica is told that they exist.
func TestReplicasBringTheBuiltInProfilesAlongAtTheSameInstant(t *testing.T) {
	t.Parallel()
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		const replicas = 4
		store := openStore(t, db)
		var ready sync.WaitGroup
		ready.Add(replicas)
		meet := func() { ready.Done(); ready.Wait() }
		if db.Dialect() == sqldb.SQLite {
			meet = func() {} // one writer at a time: nobody looks while another writes
		}
		errs := make([]error, replicas)
		lists := make([][]foodsafety.LimitsProfile, replicas)
		var done sync.WaitGroup
		for i := range replicas {
			service, err := foodsafety.New(foodsafety.Deps{Store: &together{Store: store, outside: t.Context(), meet: meet}, Clock: clock.NewFake(noon), Events: &recorder{}})
			if err != nil {
				t.Fatal(err)
			}
			done.Go(func() { lists[i], errs[i] = service.EnsureBuiltInProfiles(t.Context(), site) })
		}
		done.Wait()
		for i := range replicas {
			if errs[i] != nil {
				t.Errorf("replica %d: %v", i, errs[i])
				continue
			}
			for k, p := range lists[i] {
				stored, err := store.GetProfile(t.Context(), p.Name)
				if err != nil || stored.UID != p.UID || len(lists[i]) != len(foodsafety.BuiltInProfiles()) {
					t.Errorf("replica %d was given profile %d as %q, stored is %+v, %v", i, k, p.UID, stored, err)
				}
			}
		}
		records, err := store.ListRecords(t.Context(), foodsafety.Page{Site: site, Limit: 100})
		if err != nil || len(records) != len(foodsafety.BuiltInProfiles()) {
			t.Errorf("%d entries in the audit trail for %d profiles, %v", len(records), len(foodsafety.BuiltInProfiles()), err)
		}
	})
}
