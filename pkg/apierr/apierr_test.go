package apierr_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"testing"

	"rondeau.internal/pkg/apierr"
)

func TestReasonAndKindSurviveWrapping(t *testing.T) {
	t.Parallel()
	base := apierr.NotFound("LOT_MISSING", "sites/north/lots/b-17")
	err := fmt.Errorf("reserve: %w", base)
	if !errors.Is(err, apierr.Reason("LOT_MISSING")) || errors.Is(err, apierr.Reason("OTHER")) {
		t.Error("errors.Is does not follow the reason")
	}
	if got := apierr.ReasonOf(err); got != "LOT_MISSING" {
		t.Errorf("ReasonOf = %q", got)
	}
	if got := apierr.KindOf(err); got != apierr.KindNotFound {
		t.Errorf("KindOf = %v", got)
	}
	if base.Metadata["resource"] != "sites/north/lots/b-17" {
		t.Errorf("metadata %v lacks the dynamic word of the message", base.Metadata)
	}
}

func TestKindOfForeignErrors(t *testing.T) {
	t.Parallel()
	for err, want := range map[error]apierr.Kind{
		nil: 0, io.EOF: apierr.KindInternal, context.Canceled: apierr.KindCanceled, context.DeadlineExceeded: apierr.KindDeadlineExceeded,
	} {
		if got := apierr.KindOf(err); got != want {
			t.Errorf("KindOf(%v) = %v, want %v", err, got, want)
		}
	}
}

func TestMessagesNameTheResource(t *testing.T) {
	t.Parallel()
	tests := []struct{ resource, want string }{
		{"sites/n/lots/l1", "lot sites/n/lots/l1 does not exist"},
		{"sites/n/batches/b1", "batch sites/n/batches/b1 does not exist"},
		{"sites/n/deliveries/d1", "delivery sites/n/deliveries/d1 does not exist"},
		{"sites/n/haccpPlans/h", "haccp plan sites/n/haccpPlans/h does not exist"},
		{"sites/n/batches/b1/readings/r", "reading sites/n/batches/b1/readings/r does not exist"},
		{"odd", "odd does not exist"},
		{"", "the resource does not exist"},
	}
	for _, tt := range tests {
		if got := apierr.NotFound("X", tt.resource).Message; got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
	if got := apierr.AlreadyExists("X", "sites/n/lots/l1").Message; got != "lot sites/n/lots/l1 exists already" {
		t.Errorf("got %q", got)
	}
}

func TestErrorTextCarriesViolationsAndCause(t *testing.T) {
	t.Parallel()
	err := apierr.InvalidArgument("ORDER_INVALID", "the order has %d faults", 2).
		WithViolation("order.lines[0].pack_count", "must be at least %d", 1).
		WithViolation("order.outlet", "is missing").Wrap(io.ErrUnexpectedEOF)
	want := "the order has 2 faults (order.lines[0].pack_count: must be at least 1; order.outlet: is missing): unexpected EOF"
	if err.Error() != want {
		t.Errorf("got  %s\nwant %s", err, want)
	}
	if !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Error("the cause is lost")
	}
	if got := apierr.Internal("X", "100%% literal").Message; got != "100% literal" {
		t.Errorf("got %q", got)
	}
}

func TestCloneIsDeep(t *testing.T) {
	t.Parallel()
	a := apierr.Aborted("E", "m").With("k", "1").WithViolation("f", "d")
	b := a.Clone().With("k", "2").WithViolation("g", "d")
	if a.Metadata["k"] != "1" || len(a.Violations) != 1 || b.Metadata["k"] != "2" {
		t.Errorf("clone shares state: %v %v", a, b)
	}
	if !errors.Is(a, b) || errors.Is(a, apierr.NotFound("E", "x")) {
		t.Error("two errors match by kind and reason")
	}
}

func TestKindNames(t *testing.T) {
	t.Parallel()
	// Names of google.rpc.Code (googleapis/google/rpc/code.proto).
	for k, want := range map[apierr.Kind]string{
		0: "OK", apierr.KindCanceled: "CANCELLED", apierr.KindInternal: "INTERNAL", apierr.KindFailedPrecondition: "FAILED_PRECONDITION", 200: "KIND(200)",
	} {
		if k.String() != want {
			t.Errorf("%d: %s, want %s", k, k, want)
		}
	}
}
