package grpcapi

import (
	"context"
	"fmt"

	pb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/services/inventory"
)

// GetLot reads one by name.
func (s *Server) GetLot(ctx context.Context, req *pb.GetLotRequest) (*pb.Lot, error) {
	l, err := s.stock.Lot(ctx, req.GetName())
	return result(l, err, LotProto)
}

// ListLots lists a page.
func (s *Server) ListLots(ctx context.Context, req *pb.ListLotsRequest) (*pb.ListLotsResponse, error) {
	cursor := func(v *inventory.LotView) []string { return s.stock.Store().Lots().Cursor(v.Lot) }
	rows, next, err := page(ctx, req, inventory.ListQuery{}, s.stock.Lots, LotProto, cursor)
	if err != nil {
		return nil, err
	}
	return &pb.ListLotsResponse{Lots: rows, NextPageToken: next}, nil
}

// GetMove reads one by name.
func (s *Server) GetMove(ctx context.Context, req *pb.GetMoveRequest) (*pb.Move, error) {
	m, err := s.stock.Move(ctx, req.GetName())
	return result(m, err, MoveProto)
}

// ListMoves lists a page.
func (s *Server) ListMoves(ctx context.Context, req *pb.ListMovesRequest) (*pb.ListMovesResponse, error) {
	rows, next, err := page(ctx, req, inventory.ListQuery{Lot: req.GetLot()}, s.stock.Moves, MoveProto, s.stock.Store().Moves().Cursor)
	if err != nil {
		return nil, err
	}
	return &pb.ListMovesResponse{Moves: rows, NextPageToken: next}, nil
}

// GetReservation reads one by name.
func (s *Server) GetReservation(ctx context.Context, req *pb.GetReservationRequest) (*pb.Reservation, error) {
	r, err := s.stock.Reservation(ctx, req.GetName())
	return result(r, err, ReservationProto)
}

// ListReservations lists a page.
func (s *Server) ListReservations(ctx context.Context, req *pb.ListReservationsRequest) (*pb.ListReservationsResponse, error) {
	rows, next, err := page(ctx, req, inventory.ListQuery{}, s.stock.Reservations, ReservationProto, s.stock.Store().Reservations().Cursor)
	if err != nil {
		return nil, err
	}
	return &pb.ListReservationsResponse{Reservations: rows, NextPageToken: next}, nil
}

// SummarizeStock says how much there is of everything.
func (s *Server) SummarizeStock(ctx context.Context, req *pb.SummarizeStockRequest) (*pb.SummarizeStockResponse, error) {
	sum, err := s.stock.SummarizeStock(ctx, inventory.StockQuery{Site: req.GetParent(), Items: req.GetItems(), Purchases: req.GetPurchases()})
	if err != nil {
		return nil, err
	}
	return &pb.SummarizeStockResponse{Items: each(sum.Items, itemStockProto), ReadTime: stamp(sum.ReadTime), UnknownPurchases: sum.UnknownPurchases}, nil
}

// ReserveStock keeps stock for a batch.
func (s *Server) ReserveStock(ctx context.Context, req *pb.ReserveStockRequest) (*pb.Reservation, error) {
	var items []inventory.ItemMass
	for i, m := range req.GetItems() {
		x, err := mass(m.GetMassKg(), fmt.Sprintf("items[%d].mass_kg", i))
		if err != nil {
			return nil, err
		}
		items = append(items, inventory.ItemMass{Item: m.GetItem(), Mass: x})
	}
	r, err := s.stock.ReserveStock(ctx, req.GetParent(), req.GetReservationId(), req.GetBatch(), items)
	return result(r, err, ReservationProto)
}

// ReleaseReservation gives the rest of a reservation back.
func (s *Server) ReleaseReservation(ctx context.Context, req *pb.ReleaseReservationRequest) (*pb.Reservation, error) {
	r, err := s.stock.ReleaseReservation(ctx, req.GetName())
	return result(r, err, ReservationProto)
}

// ConsumeStock puts stock into a batch.
func (s *Server) ConsumeStock(ctx context.Context, req *pb.ConsumeStockRequest) (*pb.ConsumeStockResponse, error) {
	c := inventory.Consumption{Site: req.GetParent(), Batch: req.GetBatch(), Run: req.GetRun(), Time: moment(req.GetMoveTime())}
	for i, in := range req.GetInputs() {
		m, err := mass(in.GetMassKg(), fmt.Sprintf("inputs[%d].mass_kg", i))
		if err != nil {
			return nil, err
		}
		c.Inputs = append(c.Inputs, inventory.ConsumptionInput{Item: in.GetItem(), Mass: m, Lot: in.GetLot(), Location: in.GetLocation()})
	}
	move, taken, err := s.stock.ConsumeStock(ctx, c)
	if err != nil {
		return nil, err
	}
	return &pb.ConsumeStockResponse{Move: MoveProto(move), Taken: each(taken, func(t inventory.Taken) *pb.ConsumeStockResponse_Taken {
		return &pb.ConsumeStockResponse_Taken{Item: t.Item, Lot: t.Lot, Location: t.Location, MassKg: kilograms(t.Mass), Reservation: t.Reservation}
	})}, nil
}

// RecordProduction takes lots out of a batch.
func (s *Server) RecordProduction(ctx context.Context, req *pb.RecordProductionRequest) (*pb.RecordProductionResponse, error) {
	p := inventory.Production{Site: req.GetParent(), Batch: req.GetBatch(), Run: req.GetRun(), Time: moment(req.GetProduceTime())}
	for i, o := range req.GetOutputs() {
		m, err := mass(o.GetMassKg(), fmt.Sprintf("outputs[%d].mass_kg", i))
		if err != nil {
			return nil, err
		}
		p.Outputs = append(p.Outputs, inventory.ProductionOutput{
			Item: o.GetItem(), Mass: m, ByProduct: o.GetKind() == pb.RecordProductionRequest_Output_BY_PRODUCT, LotID: o.GetLotId(), Location: o.GetLocation(), UseBy: o.GetUseByDate(),
		})
	}
	lots, move, err := s.stock.RecordProduction(ctx, p)
	if err != nil {
		return nil, err
	}
	return &pb.RecordProductionResponse{Lots: each(lots, LotProto), Move: MoveProto(move)}, nil
}

// CloseBatch closes the books of a batch.
func (s *Server) CloseBatch(ctx context.Context, req *pb.CloseBatchRequest) (*pb.MassBalance, error) {
	c := inventory.Closing{Site: req.GetParent(), Batch: req.GetBatch(), Time: moment(req.GetCloseTime()), ValidateOnly: req.GetValidateOnly()}
	for i, l := range req.GetLosses() {
		m, err := mass(l.GetMassKg(), fmt.Sprintf("losses[%d].mass_kg", i))
		if err != nil {
			return nil, err
		}
		c.Losses = append(c.Losses, inventory.Loss{Kind: inventory.LossKind(word(l.GetKind(), "")), Mass: m})
	}
	b, err := s.stock.CloseBatch(ctx, c)
	return result(b, err, BalanceProto)
}

// GetMassBalance says where the mass of a lot or a batch went.
func (s *Server) GetMassBalance(ctx context.Context, req *pb.GetMassBalanceRequest) (*pb.MassBalance, error) {
	b, err := s.stock.MassBalance(ctx, req.GetName())
	return result(b, err, BalanceProto)
}

// TransferStock moves stock from one place to another.
func (s *Server) TransferStock(ctx context.Context, req *pb.TransferStockRequest) (*pb.StockChange, error) {
	m, err := mass(req.GetMassKg(), "mass_kg")
	if err != nil {
		return nil, err
	}
	c, err := s.stock.TransferStock(ctx, inventory.Transfer{Lot: req.GetLot(), Source: req.GetSourceLocation(), Target: req.GetTargetLocation(), Mass: m, Containers: req.GetContainers(), Time: moment(req.GetMoveTime())})
	return result(c, err, changeProto)
}

// AdjustStock corrects the books after a count.
func (s *Server) AdjustStock(ctx context.Context, req *pb.AdjustStockRequest) (*pb.StockChange, error) {
	m, err := mass(req.GetCountedMassKg(), "counted_mass_kg")
	if err != nil {
		return nil, err
	}
	c, err := s.stock.AdjustStock(ctx, inventory.Count{Lot: req.GetLot(), Location: req.GetLocation(), Counted: m, Reason: req.GetReason(), Time: moment(req.GetMoveTime())})
	return result(c, err, changeProto)
}

// DiscardLot throws stock away.
func (s *Server) DiscardLot(ctx context.Context, req *pb.DiscardLotRequest) (*pb.StockChange, error) {
	m, err := mass(req.GetMassKg(), "mass_kg")
	if err != nil {
		return nil, err
	}
	c, err := s.stock.DiscardLot(ctx, inventory.Discarding{Lot: req.GetName(), Reason: req.GetReason(), Location: req.GetLocation(), Mass: m, Containers: req.GetContainers(), Time: moment(req.GetMoveTime())})
	return result(c, err, changeProto)
}

// TraceBackward follows something back to its deliveries.
func (s *Server) TraceBackward(ctx context.Context, req *pb.TraceBackwardRequest) (*pb.Trace, error) {
	t, err := s.stock.TraceBackward(ctx, req.GetName())
	return result(t, err, traceProto)
}

// TraceForward follows something to its outlets.
func (s *Server) TraceForward(ctx context.Context, req *pb.TraceForwardRequest) (*pb.Trace, error) {
	t, err := s.stock.TraceForward(ctx, req.GetName(), req.GetOmitContainers())
	return result(t, err, traceProto)
}
