package grpcapi

import (
	"context"
	"fmt"

	pb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/services/inventory"
)

// PackContainers portions bulk into containers.
func (s *Server) PackContainers(ctx context.Context, req *pb.PackContainersRequest) (*pb.PackContainersResponse, error) {
	p := inventory.Packing{
		Site: req.GetParent(), Batch: req.GetBatch(), Run: req.GetRun(), Item: req.GetItem(), Product: req.GetProduct(), SourceItem: req.GetSourceItem(), Count: int(req.GetContainerCount()),
		LotID: req.GetLotId(), Location: req.GetLocation(), UseBy: req.GetUseByDate(), Time: moment(req.GetPackTime()),
	}
	for i, src := range req.GetSources() {
		m, err := mass(src.GetMassKg(), fmt.Sprintf("sources[%d].mass_kg", i))
		if err != nil {
			return nil, err
		}
		p.Sources = append(p.Sources, inventory.PackingSource{Lot: src.GetLot(), Mass: m, Location: src.GetLocation()})
	}
	out, err := s.stock.PackContainers(ctx, p)
	if err != nil {
		return nil, err
	}
	return &pb.PackContainersResponse{Lot: LotProto(out.Lot), Containers: each(out.Containers, ContainerProto), Move: MoveProto(out.Move), RemainderMassKg: kilograms(out.Remainder)}, nil
}

// GetContainer reads one by name.
func (s *Server) GetContainer(ctx context.Context, req *pb.GetContainerRequest) (*pb.Container, error) {
	c, err := s.stock.Container(ctx, req.GetName(), req.GetOutlet())
	return result(c, err, ContainerProto)
}

// ListContainers lists a page.
func (s *Server) ListContainers(ctx context.Context, req *pb.ListContainersRequest) (*pb.ListContainersResponse, error) {
	rows, next, err := page(ctx, req, inventory.ListQuery{Outlet: req.GetOutlet()}, s.stock.Containers, ContainerProto, s.stock.Store().Containers().Cursor)
	if err != nil {
		return nil, err
	}
	return &pb.ListContainersResponse{Containers: rows, NextPageToken: next}, nil
}

// ScanContainer says what a code means.
func (s *Server) ScanContainer(ctx context.Context, req *pb.ScanContainerRequest) (*pb.ScanContainerResponse, error) {
	scan, err := s.stock.ScanContainer(ctx, req.GetParent(), req.GetCode(), req.GetOutlet())
	if err != nil {
		return nil, err
	}
	out := &pb.ScanContainerResponse{Warnings: scan.Warnings, Elements: scan.Elements}
	if scan.Container != nil {
		out.Container, out.Lot = ContainerProto(scan.Container), LotProto(scan.Lot)
	}
	if scan.Shipment != nil {
		out.Shipment = ShipmentProto(scan.Shipment)
	}
	return out, nil
}

// GetShipment reads one by name.
func (s *Server) GetShipment(ctx context.Context, req *pb.GetShipmentRequest) (*pb.Shipment, error) {
	sh, err := s.stock.Shipment(ctx, req.GetName(), req.GetOutlet())
	return result(sh, err, ShipmentProto)
}

// ListShipments lists a page.
func (s *Server) ListShipments(ctx context.Context, req *pb.ListShipmentsRequest) (*pb.ListShipmentsResponse, error) {
	rows, next, err := page(ctx, req, inventory.ListQuery{Outlet: req.GetOutlet()}, s.stock.Shipments, ShipmentProto, s.stock.Store().Shipments().Cursor)
	if err != nil {
		return nil, err
	}
	return &pb.ListShipmentsResponse{Shipments: rows, NextPageToken: next}, nil
}

// CreateShipment picks containers for an outlet.
func (s *Server) CreateShipment(ctx context.Context, req *pb.CreateShipmentRequest) (*pb.Shipment, error) {
	sh, err := s.stock.CreateShipment(ctx, inventory.Picking{
		Site: req.GetParent(), ID: req.GetShipmentId(), Outlet: req.GetOutlet(), Order: req.GetOrder(), AllowPartial: req.GetAllowPartial(), ValidateOnly: req.GetValidateOnly(),
		Lines: each(req.GetLines(), func(l *pb.CreateShipmentRequest_Line) inventory.PickingLine {
			return inventory.PickingLine{Item: l.GetItem(), Product: l.GetProduct(), Count: int(l.GetContainerCount()), Containers: l.GetContainers()}
		}),
	})
	return result(sh, err, ShipmentProto)
}

// DispatchShipment sends a shipment off.
func (s *Server) DispatchShipment(ctx context.Context, req *pb.DispatchShipmentRequest) (*pb.Shipment, error) {
	sh, err := s.stock.DispatchShipment(ctx, inventory.Dispatch{Shipment: req.GetName(), Etag: req.GetEtag(), Time: moment(req.GetDispatchTime())})
	return result(sh, err, ShipmentProto)
}

// ReceiveShipment takes a shipment in at the outlet.
func (s *Server) ReceiveShipment(ctx context.Context, req *pb.ReceiveShipmentRequest) (*pb.Shipment, error) {
	sh, err := s.stock.ReceiveShipment(ctx, inventory.Arrival{Shipment: req.GetName(), Outlet: req.GetOutlet(), Missing: req.GetMissingContainers(), Note: req.GetNote(), Time: moment(req.GetReceiveTime())})
	return result(sh, err, ShipmentProto)
}

// CancelShipment calls a shipment off.
func (s *Server) CancelShipment(ctx context.Context, req *pb.CancelShipmentRequest) (*pb.Shipment, error) {
	sh, err := s.stock.CancelShipment(ctx, req.GetName(), req.GetEtag())
	return result(sh, err, ShipmentProto)
}
