package demo

import (
	"context"
	"errors"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
)

// flaky is a connection that answers with the given errors, one after the other, and then well. It keeps the request ids.
type flaky struct {
	grpc.ClientConnInterface
	errs []error
	ids  []string
}

func (f *flaky) Invoke(_ context.Context, _ string, args, _ any, _ ...grpc.CallOption) error {
	if q, ok := args.(*inventorypb.DiscardLotRequest); ok {
		f.ids = append(f.ids, q.GetRequestId())
	}
	if len(f.errs) == 0 {
		return nil
	}
	err := f.errs[0]
	f.errs = f.errs[1:]
	return err
}

func flakyDesk(f *flaky, patience time.Duration) (*caller, *desk) {
	c := newCaller(Options{
		Conns: func(auth.Principal) func(string) grpc.ClientConnInterface {
			return func(string) grpc.ClientConnInterface { return f }
		},
		Patience: patience,
	})
	return c, c.as(manager)
}

func TestACallIsRepeatedUnderTheSameRequestIDWhileItsServiceIsAway(t *testing.T) {
	t.Parallel()
	f := &flaky{errs: []error{status.Error(codes.Unavailable, "gone"), apierr.Unavailable("INVENTORY_UNAVAILABLE", "gone")}}
	c, d := flakyDesk(f, time.Minute)
	for range 2 {
		_, err := d.inventory.DiscardLot(t.Context(), &inventorypb.DiscardLotRequest{Name: "sites/x/lots/l", Reason: "r"})
		if err != nil {
			t.Fatal(err)
		}
	}
	if len(f.ids) != 4 || f.ids[0] == "" || f.ids[0] != f.ids[1] || f.ids[1] != f.ids[2] {
		t.Errorf("the repetitions carried the request ids %q", f.ids)
	}
	if f.ids[3] == f.ids[0] {
		t.Error("another call carried the same request id")
	}
	if c.counts["DiscardLot"] != 2 || c.retries != 2 {
		t.Errorf("%d calls and %d repetitions counted, want 2 and 2", c.counts["DiscardLot"], c.retries)
	}
}

func TestARefusalIsNotRepeatedAndPatienceEnds(t *testing.T) {
	t.Parallel()
	f := &flaky{errs: []error{apierr.FailedPrecondition("LOT_HELD", "held")}}
	_, d := flakyDesk(f, time.Minute)
	_, err := d.inventory.DiscardLot(t.Context(), &inventorypb.DiscardLotRequest{})
	if !errors.Is(err, apierr.Reason("LOT_HELD")) || len(f.ids) != 1 {
		t.Errorf("%d tries, then %v", len(f.ids), err)
	}
	f = &flaky{errs: []error{status.Error(codes.Unavailable, "a"), status.Error(codes.Unavailable, "b"), status.Error(codes.Unavailable, "c")}}
	_, d = flakyDesk(f, time.Nanosecond)
	_, err = d.inventory.DiscardLot(t.Context(), &inventorypb.DiscardLotRequest{})
	if status.Code(err) != codes.Unavailable || len(f.ids) != 1 {
		t.Errorf("with no patience: %d tries, then %v", len(f.ids), err)
	}
}

func TestARefusalThatDoesNotComeEndsTheStory(t *testing.T) {
	t.Parallel()
	w := &world{opt: Options{Progress: func(string) {}}, report: &Report{}}
	if w.refused("x", "LOT_HELD", nil) == nil {
		t.Error("no refusal was taken for one")
	}
	if w.refused("x", "LOT_HELD", apierr.FailedPrecondition("STOCK_SHORT", "short")) == nil {
		t.Error("another reason was taken for the expected one")
	}
	err := w.refused("x", "LOT_HELD", apierr.FailedPrecondition("LOT_HELD", "held"))
	if err != nil || len(w.report.Refusals) != 1 {
		t.Errorf("the expected refusal gave %v and %d notes", err, len(w.report.Refusals))
	}
}
