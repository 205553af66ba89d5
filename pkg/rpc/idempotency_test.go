package rpc_test

import (
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/pkg/testenv"
)

func eachHouse(t *testing.T, fn func(t *testing.T, h *house, db *sqldb.DB)) {
	t.Helper()
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		prepare(t, db)
		fn(t, start(t, db), db)
	})
}

func TestARepeatedRequestHasOneEffectAndTheSameAnswer(t *testing.T) {
	eachHouse(t, func(t *testing.T, h *house, db *sqldb.DB) {
		first, err := h.items.CreateItem(t.Context(), create("bones", "Bones", "r1"))
		if err != nil {
			t.Fatal(err)
		}
		var header metadata.MD
		again, err := h.items.CreateItem(t.Context(), create("bones", "Bones", "r1"), grpc.Header(&header))
		if err != nil {
			t.Fatal(err)
		}
		if !proto.Equal(first, again) || h.kitchen.runs.Load() != 1 || count(t, db) != 1 {
			t.Errorf("first %v again %v, %d runs, %d items", first, again, h.kitchen.runs.Load(), count(t, db))
		}
		if v := header.Get("x-request-replayed"); len(v) != 1 || v[0] != "true" {
			t.Errorf("the replay is not marked: %v", header)
		}
		_, err = h.items.CreateItem(t.Context(), create("other", "Bones", "r1"))
		if apierr.ReasonOf(err) != rpc.RequestIDReused || apierr.KindOf(err) != apierr.KindFailedPrecondition {
			t.Errorf("same id, another request: %v", err)
		}
		// Another caller's ids are his own.
		other := inventorypb.NewInventoryServiceClient(h.dial(t, auth.Principal{Subject: "otto", Role: auth.Manager}))
		if _, err := other.CreateItem(t.Context(), create("other", "Other", "r1")); err != nil {
			t.Errorf("another caller: %v", err)
		}
	})
}

func TestAFailedRequestLeavesNothingAndMayBeRepeated(t *testing.T) {
	eachHouse(t, func(t *testing.T, h *house, db *sqldb.DB) {
		for range 2 {
			if _, err := h.items.CreateItem(t.Context(), create("bones", "fail", "r1")); apierr.ReasonOf(err) != rpc.InternalError {
				t.Fatalf("%v", err)
			}
			if _, err := h.items.CreateItem(t.Context(), create("bones", "panic", "r2")); apierr.ReasonOf(err) != rpc.InternalError {
				t.Fatalf("%v", err)
			}
		}
		if n := count(t, db); n != 0 {
			t.Errorf("%d items of failed calls", n)
		}
		if _, err := h.items.CreateItem(t.Context(), create("bones", "Bones", "r1")); err != nil {
			t.Errorf("the same id for a request that failed before: %v", err)
		}
	})
}

func TestIdenticalRequestsAtOnceHaveOneEffect(t *testing.T) {
	eachHouse(t, func(t *testing.T, h *house, db *sqldb.DB) {
		const callers = 6
		answers := make([]*inventorypb.Item, callers)
		errs := make([]error, callers)
		gate := make(chan struct{})
		var wg sync.WaitGroup
		for i := range callers {
			wg.Go(func() {
				<-gate
				answers[i], errs[i] = h.items.CreateItem(t.Context(), create("bones", "Bones", "r1"))
			})
		}
		close(gate)
		wg.Wait()
		for i := range callers {
			if errs[i] != nil {
				t.Errorf("caller %d: %v", i, errs[i])
			} else if !proto.Equal(answers[i], answers[0]) {
				t.Errorf("caller %d got %v, caller 0 %v", i, answers[i], answers[0])
			}
		}
		if n := count(t, db); n != 1 {
			t.Errorf("%d items, want 1", n)
		}
	})
}

// The second identical request arrives while the first is inside of its handler.
func TestASecondRequestWaitsForTheRunningFirst(t *testing.T) {
	db := sqldbtest.Postgres(t)
	prepare(t, db)
	h := start(t, db)
	h.kitchen.enter, h.kitchen.hold = make(chan struct{}, 10), make(chan struct{})
	results := make(chan error, 2)
	call := func() { _, err := h.items.CreateItem(t.Context(), create("bones", "Bones", "r1")); results <- err }
	go call()
	<-h.kitchen.enter
	go call()
	testenv.Eventually(t, 10*time.Second, func() error {
		var waiting int
		q := `SELECT COUNT(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock' AND datname = current_database()`
		if err := db.Conn(t.Context()).QueryRowContext(t.Context(), q).Scan(&waiting); err != nil || waiting == 1 {
			return err
		}
		return fmt.Errorf("%d sessions wait for a lock, want the second call", waiting)
	})
	close(h.kitchen.hold)
	for range 2 {
		if err := <-results; err != nil {
			t.Error(err)
		}
	}
	if n := count(t, db); n != 1 || h.kitchen.runs.Load() != 1 {
		t.Errorf("%d items, %d runs; want 1 and 1", n, h.kitchen.runs.Load())
	}
}

func TestReplayAfterARestart(t *testing.T) {
	path := filepath.Join(t.TempDir(), "kitchen.db")
	var first *inventorypb.Item
	for n := range 3 {
		t.Run(fmt.Sprint("process ", n+1), func(t *testing.T) {
			db := sqldbtest.Open(t, path)
			if n == 0 {
				prepare(t, db)
			}
			h := start(t, db)
			got, err := h.items.CreateItem(t.Context(), create("bones", "Bones", "r1"))
			if err != nil {
				t.Fatal(err)
			}
			if n == 0 {
				first = got
			} else if h.kitchen.runs.Load() != 0 || !proto.Equal(got, first) {
				t.Errorf("%d runs, got %v, want %v", h.kitchen.runs.Load(), got, first)
			}
		})
	}
}

func TestCallsWithoutRequestIDGetOneAndDistinctCallsStayDistinct(t *testing.T) {
	eachHouse(t, func(t *testing.T, h *house, db *sqldb.DB) {
		for i := range 3 {
			req := create(fmt.Sprint("i", i), "Same", "")
			if _, err := h.items.CreateItem(t.Context(), req); err != nil {
				t.Fatal(err)
			}
			if req.GetRequestId() != "" {
				t.Error("the caller's message was changed")
			}
		}
		var ids int
		if err := db.Conn(t.Context()).QueryRowContext(t.Context(), `SELECT COUNT(DISTINCT request_id) FROM request_log`).Scan(&ids); err != nil {
			t.Fatal(err)
		}
		if n := count(t, db); n != 3 || ids != 3 {
			t.Errorf("%d items, %d request ids", n, ids)
		}
		_, err := h.items.CreateItem(t.Context(), create("i0", "Same", ""))
		if apierr.KindOf(err) != apierr.KindAlreadyExists {
			t.Errorf("%v", err)
		}
	})
}
