package grpcapi_test

import (
	"context"
	"errors"
	"io"
	"testing"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"google.golang.org/grpc/codes"

	"rondeau.internal/pkg/auth"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/scheduling"
)

func TestAWatchEndsWithTheFinalState(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	a.masters(t)
	op, err := a.SolveSchedule(t.Context(), &schedulingpb.SolveScheduleRequest{Parent: site, IterationBudget: 20})
	must(t, err)
	for _, client := range []schedulingpb.SchedulingServiceClient{a.SchedulingServiceClient, a.as(auth.Auditor)} { // the second one comes after the end
		stream, err := client.WatchOperation(t.Context(), &schedulingpb.WatchOperationRequest{Name: op.GetName()})
		must(t, err)
		var last *schedulingpb.WatchOperationResponse
		for {
			message, err := stream.Recv()
			if errors.Is(err, io.EOF) {
				break
			}
			must(t, err)
			if last.GetDone() {
				t.Error("there was a message after the last one")
			}
			last = message
		}
		m := last.GetMetadata()
		if !last.GetDone() || last.GetName() != op.GetName() || last.GetError() != nil || m.GetStage() != schedulingpb.SolveScheduleMetadata_FINISHED ||
			m.GetSchedule() == "" || m.GetElapsedDuration().AsDuration() <= 0 || m.GetMaxDuration().AsDuration() != scheduling.LongestDuration ||
			m.GetBudgetKind() != schedulingpb.SolveScheduleMetadata_ITERATIONS || m.GetEndReason() != schedulingpb.SolveScheduleMetadata_PROVED_OPTIMAL ||
			m.GetBestCost().GetEnergyKilowattHours() <= 0 || m.GetLateDuration() == nil || m.GetBound() == nil || m.GetStepCount() != 1 {
			t.Errorf("the last message: %v", last)
		}
	}
}

func TestACancelledComputationSaysSoInItsWatchAndNamesItsSchedule(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	ctx := t.Context()
	// Before anything is known to the worker there is nothing to keep; the watch says that it was cancelled.
	a.masters(t)
	op, err := a.SolveSchedule(ctx, &schedulingpb.SolveScheduleRequest{Parent: site, IterationBudget: 1000000})
	must(t, err)
	_, err = a.CancelOperation(ctx, &longrunningpb.CancelOperationRequest{Name: op.GetName()})
	must(t, err)
	stream, err := a.WatchOperation(ctx, &schedulingpb.WatchOperationRequest{Name: op.GetName()})
	must(t, err)
	for {
		message, err := stream.Recv()
		must(t, err)
		if !message.GetDone() {
			continue
		}
		// The one-step problem may have been proved optimal before the request arrived.
		if stage := message.GetMetadata().GetStage(); stage == schedulingpb.SolveScheduleMetadata_CANCELLED {
			if message.GetError().GetCode() != int32(codes.Canceled) || message.GetError().GetMessage() == "" {
				t.Errorf("error: %v", message.GetError())
			}
		} else if stage != schedulingpb.SolveScheduleMetadata_FINISHED || message.GetMetadata().GetSchedule() == "" {
			t.Errorf("ended %v", message)
		}
		return
	}
}

func TestWhoMayWatchAndWhat(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	first := func(client schedulingpb.SchedulingServiceClient, name string) error {
		t.Helper()
		stream, err := client.WatchOperation(t.Context(), &schedulingpb.WatchOperationRequest{Name: name})
		must(t, err)
		_, err = stream.Recv()
		return err
	}
	refused(t, first(a, site+"/operations/none"), codes.NotFound, scheduling.OperationMissing)
	refused(t, first(a, "operations/none"), codes.InvalidArgument, rpc.RequestInvalid)
	refused(t, first(a.as(auth.Cook), site+"/operations/none"), codes.PermissionDenied, auth.RoleNotAllowed)
}

func TestAnOpenWatchDoesNotKeepTheServerFromStopping(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	a.masters(t)
	a.stopWorker()
	op, err := a.SolveSchedule(t.Context(), &schedulingpb.SolveScheduleRequest{Parent: site})
	must(t, err)
	stream, err := a.WatchOperation(t.Context(), &schedulingpb.WatchOperationRequest{Name: op.GetName()})
	must(t, err)
	message, err := stream.Recv()
	must(t, err)
	if message.GetDone() || message.GetMetadata().GetStage() != schedulingpb.SolveScheduleMetadata_WAITING {
		t.Errorf("first: %v", message)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	must(t, a.server.Stop(ctx)) // an error says that calls were cut off
	_, err = stream.Recv()
	refused(t, err, codes.Unavailable, scheduling.SolveInterrupted, "ask again")
}
