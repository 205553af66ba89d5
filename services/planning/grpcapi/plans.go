package grpcapi

import (
	"context"

	"google.golang.org/protobuf/types/known/emptypb"

	pb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/services/planning"
)

// one converts a result that is one resource.
func one[A, B any](convert func(A) B) func(A, error) (B, error) {
	return func(value A, err error) (B, error) {
		if err != nil {
			var none B
			return none, err
		}
		return convert(value), nil
	}
}

func whole(p *planning.Plan, batches []*planning.Batch, err error) (*pb.Plan, error) {
	if err != nil {
		return nil, err
	}
	return PlanProto(p, batches), nil
}

// CreatePlan implements the API.
func (s *Server) CreatePlan(ctx context.Context, r *pb.CreatePlanRequest) (*pb.Plan, error) {
	in := r.GetPlan()
	return whole(s.service.CreatePlan(ctx, r.GetParent(), planning.PlanRequest{
		ID: r.GetPlanId(), DisplayName: in.GetDisplayName(), Start: planning.Date(in.GetStartDate()), End: planning.Date(in.GetEndDate()),
		ServiceLevel: in.GetServiceLevel(),
	}, r.GetValidateOnly()))
}

// GetPlan implements the API.
func (s *Server) GetPlan(ctx context.Context, r *pb.GetPlanRequest) (*pb.Plan, error) {
	return whole(s.service.Plan(ctx, r.GetName()))
}

// ListPlans implements the API.
func (s *Server) ListPlans(ctx context.Context, r *pb.ListPlansRequest) (*pb.ListPlansResponse, error) {
	found, next, err := page(r, r.GetParent(), r.GetFilter(), s.service, func(q planning.Query) ([]*planning.Plan, error) {
		return s.service.ListPlans(ctx, q)
	}, planKey)
	if err != nil {
		return nil, err
	}
	convert := func(p *planning.Plan) *pb.Plan { return PlanProto(p, nil) }
	return &pb.ListPlansResponse{Plans: convertAll(found, convert), NextPageToken: next}, nil
}

// ReleasePlan implements the API.
func (s *Server) ReleasePlan(ctx context.Context, r *pb.ReleasePlanRequest) (*pb.Plan, error) {
	return whole(s.service.ReleasePlan(ctx, r.GetName(), r.GetEtag(), actor(ctx), r.GetValidateOnly()))
}

// DeletePlan implements the API.
func (s *Server) DeletePlan(ctx context.Context, r *pb.DeletePlanRequest) (*emptypb.Empty, error) {
	if err := s.service.DeletePlan(ctx, r.GetName(), r.GetEtag()); err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, nil
}

// GetBatch implements the API.
func (s *Server) GetBatch(ctx context.Context, r *pb.GetBatchRequest) (*pb.Batch, error) {
	return one(BatchProto)(s.service.Batch(ctx, r.GetName()))
}

// ListBatches implements the API.
func (s *Server) ListBatches(ctx context.Context, r *pb.ListBatchesRequest) (*pb.ListBatchesResponse, error) {
	found, next, err := page(r, r.GetParent(), r.GetFilter(), s.service, func(q planning.Query) ([]*planning.Batch, error) {
		return s.service.ListBatches(ctx, q)
	}, batchKey)
	if err != nil {
		return nil, err
	}
	return &pb.ListBatchesResponse{Batches: convertAll(found, BatchProto), NextPageToken: next}, nil
}

// CancelBatch implements the API.
func (s *Server) CancelBatch(ctx context.Context, r *pb.CancelBatchRequest) (*pb.Batch, error) {
	return one(BatchProto)(s.service.CancelBatch(ctx, r.GetName(), r.GetEtag(), r.GetReason()))
}
