package grpcapi

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	rpcstatus "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/anypb"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/emptypb"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/apierr"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/scheduling"
)

var (
	operationPattern = aip.MustPattern("sites/{site}/operations/{operation}")
	sitePattern      = aip.MustPattern("sites/{site}")
)

// operationFields: done is derived from the stage.
var operationFields = aip.Fields{
	"done": {Column: "(stage NOT IN ('WAITING', 'SOLVING'))", Type: aip.Bool},
}

// operation converts a stored computation; when it has ended well, its response is the schedule, in lists without its
// assignments.
func (s *Server) operation(ctx context.Context, o scheduling.Operation, full bool) (*longrunningpb.Operation, error) {
	packed, err := anypb.New(progress(o))
	if err != nil {
		return nil, fmt.Errorf("pack the metadata of %s: %w", o.Name, err)
	}
	out := &longrunningpb.Operation{Name: o.Name, Metadata: packed, Done: o.Done()}
	switch o.Stage {
	case scheduling.StageFinished:
		c, err := s.service.Schedule(ctx, o.Schedule)
		if err != nil {
			return nil, err
		}
		if !full {
			c.Assignments = nil
		}
		response, err := anypb.New(schedule(c))
		if err != nil {
			return nil, fmt.Errorf("pack the response of %s: %w", o.Name, err)
		}
		out.Result = &longrunningpb.Operation_Response{Response: response}
	case scheduling.StageCancelled, scheduling.StageFailed:
		failed, err := failure(o)
		if err != nil {
			return nil, err
		}
		out.Result = &longrunningpb.Operation_Error{Error: failed}
	}
	return out, nil
}

// failure says why a computation ended without a schedule, or before its time.
func failure(o scheduling.Operation) (*rpcstatus.Status, error) {
	code := codes.Canceled
	if o.Stage == scheduling.StageFailed {
		code = codes.Aborted
		if o.ErrorReason == scheduling.ProblemInvalid {
			code = codes.FailedPrecondition
		}
	}
	detail, err := anypb.New(&errdetails.ErrorInfo{Reason: o.ErrorReason, Domain: "rondeau", Metadata: map[string]string{"operation": o.Name}})
	if err != nil {
		return nil, fmt.Errorf("pack the error of %s: %w", o.Name, err)
	}
	return &rpcstatus.Status{Code: int32(code), Message: o.ErrorText, Details: []*anypb.Any{detail}}, nil
}

// progress says how far a computation is.
func progress(o scheduling.Operation) *schedulingpb.SolveScheduleMetadata {
	out := &schedulingpb.SolveScheduleMetadata{
		Stage: schedulingpb.SolveScheduleMetadata_Stage(schedulingpb.SolveScheduleMetadata_Stage_value[string(o.Stage)]), Plan: o.Plan,
		IterationCount: int32(o.Iterations), IterationBudget: int32(o.Budget), Gap: o.Gap, Schedule: o.Schedule, CancelRequested: o.CancelRequested,
		AttemptCount: int32(o.Attempts), StepCount: int32(o.Steps), LateBatchCount: int32(o.LateBatches), CreateTime: stamp(o.CreateTime), UpdateTime: stamp(o.UpdateTime),
		ElapsedDuration: durationpb.New(o.Elapsed), BudgetKind: schedulingpb.SolveScheduleMetadata_ITERATIONS,
		EndReason: schedulingpb.SolveScheduleMetadata_EndReason(schedulingpb.SolveScheduleMetadata_EndReason_value[string(o.End)]),
	}
	if o.Budget == 0 {
		out.BudgetKind = schedulingpb.SolveScheduleMetadata_TIME
	}
	if o.MaxDuration > 0 { // unknown of computations of earlier versions
		out.MaxDuration = durationpb.New(o.MaxDuration)
	}
	if o.Best != nil {
		out.BestCost, out.LateDuration = cost(*o.Best), durationpb.New(o.Lateness)
	}
	if o.Bound != nil {
		out.Bound = cost(*o.Bound)
	}
	return out
}

// WatchOperation implements the RPC. It ends early, with UNAVAILABLE, when the server stops.
func (s *Server) WatchOperation(req *schedulingpb.WatchOperationRequest, stream grpc.ServerStreamingServer[schedulingpb.WatchOperationResponse]) error {
	ctx, cancel := rpc.UntilStop(stream.Context())
	defer cancel()
	err := s.service.WatchOperation(ctx, req.GetName(), func(o scheduling.Operation) error {
		out := &schedulingpb.WatchOperationResponse{Name: o.Name, Metadata: progress(o), Done: o.Done()}
		if o.Stage == scheduling.StageCancelled || o.Stage == scheduling.StageFailed {
			failed, err := failure(o)
			if err != nil {
				return err
			}
			out.Error = failed
		}
		return stream.Send(out)
	})
	if err != nil && errors.Is(context.Cause(ctx), rpc.ErrStopping) {
		return apierr.Unavailable(scheduling.SolveInterrupted, "the service stops; %s goes on when it is back: ask again for its state", req.GetName()).
			With("operation", req.GetName())
	}
	return err
}

// GetOperation implements the RPC.
func (s *Server) GetOperation(ctx context.Context, req *longrunningpb.GetOperationRequest) (*longrunningpb.Operation, error) {
	if _, err := operationPattern.Match(req.GetName()); err != nil {
		return nil, err
	}
	o, err := s.service.Operation(ctx, req.GetName())
	if err != nil {
		return nil, err
	}
	return s.operation(ctx, o, true)
}

// ListOperations implements the RPC.
func (s *Server) ListOperations(ctx context.Context, req *longrunningpb.ListOperationsRequest) (*longrunningpb.ListOperationsResponse, error) {
	parent := strings.TrimSuffix(req.GetName(), "/operations")
	if _, err := sitePattern.Match(parent); err != nil {
		return nil, err
	}
	found, next, err := list(req, parent, req.GetFilter(), operationFields,
		func(q scheduling.ListQuery) ([]scheduling.Operation, error) { return s.service.Operations(ctx, q) },
		func(o scheduling.Operation) scheduling.Operation { return o },
		func(o scheduling.Operation) []string { return []string{micros(o.CreateTime.UnixMicro()), o.Name} })
	if err != nil {
		return nil, err
	}
	out := &longrunningpb.ListOperationsResponse{NextPageToken: next}
	for _, o := range found {
		converted, err := s.operation(ctx, o, false)
		if err != nil {
			return nil, err
		}
		out.Operations = append(out.Operations, converted)
	}
	return out, nil
}

// WaitOperation implements the RPC.
func (s *Server) WaitOperation(ctx context.Context, req *longrunningpb.WaitOperationRequest) (*longrunningpb.Operation, error) {
	if _, err := operationPattern.Match(req.GetName()); err != nil {
		return nil, err
	}
	o, err := s.service.WaitOperation(ctx, req.GetName(), req.GetTimeout().AsDuration())
	if err != nil {
		return nil, err
	}
	return s.operation(ctx, o, true)
}

// CancelOperation implements the RPC.
func (s *Server) CancelOperation(ctx context.Context, req *longrunningpb.CancelOperationRequest) (*emptypb.Empty, error) {
	if _, err := operationPattern.Match(req.GetName()); err != nil {
		return nil, err
	}
	if _, err := s.service.CancelOperation(ctx, req.GetName()); err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, nil
}

// operations serves the standard service with the same methods.
type operations struct {
	longrunningpb.UnimplementedOperationsServer
	server *Server
}

// GetOperation implements the RPC.
func (o operations) GetOperation(ctx context.Context, req *longrunningpb.GetOperationRequest) (*longrunningpb.Operation, error) {
	return o.server.GetOperation(ctx, req)
}

// ListOperations implements the RPC.
func (o operations) ListOperations(ctx context.Context, req *longrunningpb.ListOperationsRequest) (*longrunningpb.ListOperationsResponse, error) {
	return o.server.ListOperations(ctx, req)
}

// WaitOperation implements the RPC.
func (o operations) WaitOperation(ctx context.Context, req *longrunningpb.WaitOperationRequest) (*longrunningpb.Operation, error) {
	return o.server.WaitOperation(ctx, req)
}

// CancelOperation implements the RPC.
func (o operations) CancelOperation(ctx context.Context, req *longrunningpb.CancelOperationRequest) (*emptypb.Empty, error) {
	return o.server.CancelOperation(ctx, req)
}

// DeleteOperation implements the RPC: computations are part of the record of a schedule and are kept.
func (o operations) DeleteOperation(_ context.Context, req *longrunningpb.DeleteOperationRequest) (*emptypb.Empty, error) {
	return nil, apierr.FailedPrecondition(scheduling.OperationKept, "%s is kept: computations belong to the record of a schedule. Cancel it if it shall stop", req.GetName()).
		With("operation", req.GetName()).WithViolation(req.GetName(), "is kept")
}
