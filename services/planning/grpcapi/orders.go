package grpcapi

import (
	"context"

	pb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/services/planning"
)

func (s *Server) orderProto(o *planning.Order) *pb.Order { return OrderProto(o, s.service.Now()) }

// GetOrder implements the API.
func (s *Server) GetOrder(ctx context.Context, r *pb.GetOrderRequest) (*pb.Order, error) {
	return one(s.orderProto)(s.service.Order(ctx, r.GetName()))
}

// ListOrders implements the API.
func (s *Server) ListOrders(ctx context.Context, r *pb.ListOrdersRequest) (*pb.ListOrdersResponse, error) {
	found, next, err := page(r, r.GetParent(), r.GetFilter(), s.service, func(q planning.Query) ([]*planning.Order, error) {
		return s.service.ListOrders(ctx, q)
	}, func(o *planning.Order) []string { return []string{string(o.DispatchDate), o.Name} })
	if err != nil {
		return nil, err
	}
	return &pb.ListOrdersResponse{Orders: convertAll(found, s.orderProto), NextPageToken: next}, nil
}

// CreateOrder implements the API.
func (s *Server) CreateOrder(ctx context.Context, r *pb.CreateOrderRequest) (*pb.Order, error) {
	return one(s.orderProto)(s.service.CreateOrder(ctx, r.GetParent(), r.GetOrderId(), orderDomain(r.GetOrder())))
}

// UpdateOrder implements the API.
func (s *Server) UpdateOrder(ctx context.Context, r *pb.UpdateOrderRequest) (*pb.Order, error) {
	return one(s.orderProto)(s.service.UpdateOrder(ctx, r.GetOrder().GetName(), r.GetOrder().GetEtag(), func(v *planning.Order) error {
		return patch(v, s.orderProto, orderDomain, r.GetUpdateMask(), r.GetOrder())
	}))
}

// CancelOrder implements the API.
func (s *Server) CancelOrder(ctx context.Context, r *pb.CancelOrderRequest) (*pb.Order, error) {
	return one(s.orderProto)(s.service.CancelOrder(ctx, r.GetName(), r.GetEtag()))
}

// CheckAvailability implements the API.
func (s *Server) CheckAvailability(ctx context.Context, r *pb.CheckAvailabilityRequest) (*pb.CheckAvailabilityResponse, error) {
	a, err := s.service.CheckAvailability(ctx, r.GetOutlet(), r.GetProduct(), planning.Date(r.GetDispatchDate()))
	if err != nil {
		return nil, err
	}
	out := &pb.CheckAvailabilityResponse{
		PromisedContainerCount: int32(a.Promised), StockContainerCount: int32(a.Stock), PlannedContainerCount: int32(a.Planned),
		CommittedContainerCount: int32(a.Committed), DispatchDate: string(a.Day), CutOffTime: timeProto(a.CutOff), Open: a.Open,
		NextOpenDispatchDate: string(a.NextOpenDay), Explanation: a.Explanation, ProbabilityBasis: a.Surety.Basis,
	}
	if a.Surety.Known {
		out.OnTimeProbability = &a.Surety.Probability
	}
	return out, nil
}
