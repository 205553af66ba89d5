package grpcapi

import (
	"context"
	"fmt"

	pb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/services/inventory"
)

// GetDelivery reads one by name.
func (s *Server) GetDelivery(ctx context.Context, req *pb.GetDeliveryRequest) (*pb.Delivery, error) {
	d, err := s.stock.Delivery(ctx, req.GetName())
	return result(d, err, DeliveryProto)
}

// ListDeliveries lists a page.
func (s *Server) ListDeliveries(ctx context.Context, req *pb.ListDeliveriesRequest) (*pb.ListDeliveriesResponse, error) {
	rows, next, err := page(ctx, req, inventory.ListQuery{}, s.stock.Deliveries, DeliveryProto, s.stock.Store().Deliveries().Cursor)
	if err != nil {
		return nil, err
	}
	return &pb.ListDeliveriesResponse{Deliveries: rows, NextPageToken: next}, nil
}

// CreateDelivery announces a delivery.
func (s *Server) CreateDelivery(ctx context.Context, req *pb.CreateDeliveryRequest) (*pb.Delivery, error) {
	d := &inventory.Delivery{}
	if err := deliveryInto(req.GetDelivery(), d); err != nil {
		return nil, err
	}
	made, err := s.stock.CreateDelivery(ctx, req.GetParent(), req.GetDeliveryId(), d)
	return result(made, err, DeliveryProto)
}

// UpdateDelivery changes what the mask names of an expected delivery.
func (s *Server) UpdateDelivery(ctx context.Context, req *pb.UpdateDeliveryRequest) (*pb.Delivery, error) {
	src := req.GetDelivery()
	if err := named(src.GetName(), "delivery.name"); err != nil {
		return nil, err
	}
	d, err := s.stock.UpdateDelivery(ctx, src.GetName(), src.GetEtag(), masked(req.GetUpdateMask(), src, DeliveryProto, deliveryInto))
	return result(d, err, DeliveryProto)
}

// ReceiveDelivery books a delivery in.
func (s *Server) ReceiveDelivery(ctx context.Context, req *pb.ReceiveDeliveryRequest) (*pb.Delivery, error) {
	r := inventory.Receipt{Delivery: req.GetName(), Etag: req.GetEtag(), Time: moment(req.GetReceiveTime()), DocumentNumber: req.GetDocumentNumber()}
	for i, l := range req.GetLines() {
		m, err := mass(l.GetReceivedMassKg(), fmt.Sprintf("lines[%d].received_mass_kg", i))
		if err != nil {
			return nil, err
		}
		r.Lines = append(r.Lines, inventory.ReceiptLine{
			LineID: l.GetLineId(), Item: l.GetItem(), Mass: m, Temperature: l.TemperatureCelsius, Condition: inventory.Condition(word(l.GetCondition(), "")),
			ConditionNote: l.GetConditionNote(), SupplierLot: l.GetSupplierLot(), BestBefore: l.GetBestBeforeDate(), Location: l.GetLocation(),
			Decision: inventory.Decision(word(l.GetDecision(), "")), DecisionReason: l.GetDecisionReason(), LotID: l.GetLotId(),
		})
	}
	d, err := s.stock.ReceiveDelivery(ctx, r)
	return result(d, err, DeliveryProto)
}

// CancelDelivery calls an expected delivery off.
func (s *Server) CancelDelivery(ctx context.Context, req *pb.CancelDeliveryRequest) (*pb.Delivery, error) {
	d, err := s.stock.CancelDelivery(ctx, req.GetName(), req.GetEtag(), req.GetReason())
	return result(d, err, DeliveryProto)
}
