package grpcapi

import (
	pb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/services/inventory"
)

// LotProto is a lot with its places and holds as a message.
func LotProto(v *inventory.LotView) *pb.Lot {
	p := BareLotProto(v.Lot)
	p.Expired, p.Holds = v.Expired, v.Holds
	for _, q := range v.Places {
		p.Quantities = append(p.Quantities, &pb.Lot_Quantity{Location: q.Location, MassKg: kilograms(q.Mass)})
	}
	return p
}

// BareLotProto is a lot without places and holds as a message, as events carry it.
func BareLotProto(l *inventory.Lot) *pb.Lot {
	p := &pb.Lot{
		Name: l.Name, Uid: l.UID, Item: l.Item, TraceabilityLotCode: l.Code, Delivery: l.Delivery, DeliveryLineId: l.DeliveryLine, Supplier: l.Supplier, Batch: l.Batch, Run: l.Run,
		ProduceTime: stamp(l.ProduceTime), UseByDate: l.UseBy, InitialMassKg: kilograms(l.Initial), OnHandMassKg: kilograms(l.OnHand), ReservedMassKg: kilograms(l.Reserved),
		Held: l.Held, Released: l.Released, ReleaseRequired: l.ReleaseRequired, State: pb.Lot_OPEN, ContainerCount: int32(l.ContainerCount), ByProduct: l.ByProduct,
		CreateTime: stamp(l.CreateTime), UpdateTime: stamp(l.UpdateTime), Etag: l.Etag(),
	}
	if l.OnHand == 0 {
		p.State = pb.Lot_DEPLETED
	}
	return p
}

// MoveProto is a move as a message.
func MoveProto(m *inventory.Move) *pb.Move {
	if m == nil {
		return nil
	}
	return &pb.Move{
		Name: m.Name, Uid: m.UID, Kind: value[pb.Move_Kind](pb.Move_Kind_value, m.Kind, ""), Batch: m.Batch, Run: m.Run, Document: m.Document, Reason: m.Reason,
		MoveTime: stamp(m.MoveTime), CreateTime: stamp(m.RecordTime), Actor: m.Actor,
		Entries: each(m.Entries, func(e inventory.Entry) *pb.MoveEntry {
			return &pb.MoveEntry{Account: value[pb.MoveEntry_Account](pb.MoveEntry_Account_value, e.Account, ""), Reference: e.Reference, Item: e.Item, Lot: e.Lot, MassKg: kilograms(e.Mass)}
		}),
	}
}

// ReservationProto is a reservation as a message.
func ReservationProto(r *inventory.Reservation) *pb.Reservation {
	return &pb.Reservation{
		Name: r.Name, Uid: r.UID, Batch: r.Batch, State: value[pb.Reservation_State](pb.Reservation_State_value, r.State, ""),
		Lines: each(r.Lines, func(l inventory.ReservationLine) *pb.Reservation_Line {
			return &pb.Reservation_Line{Item: l.Item, Lot: l.Lot, MassKg: kilograms(l.Mass), RemainingMassKg: kilograms(l.Remaining)}
		}),
		CreateTime: stamp(r.CreateTime), UpdateTime: stamp(r.UpdateTime), Etag: r.Etag(),
	}
}

func itemStockProto(s *inventory.ItemStock) *pb.ItemStock {
	return &pb.ItemStock{
		Item: s.Item, OnHandMassKg: kilograms(s.OnHand), FreeMassKg: kilograms(s.Free), ReservedMassKg: kilograms(s.Reserved), HeldMassKg: kilograms(s.Held),
		ExpiredMassKg: kilograms(s.Expired), InProcessMassKg: kilograms(s.InProcess), FreeContainerCount: int32(s.FreeContainers),
		FreeLots: each(s.FreeLots, func(f inventory.FreeLot) *pb.ItemStock_FreeLot {
			return &pb.ItemStock_FreeLot{Lot: f.Lot, MassKg: kilograms(f.Mass), UseByDate: f.UseBy, ReleasePending: f.ReleasePending, ContainerCount: int32(f.Containers)}
		}),
		ReservedLots: each(s.ReservedLots, func(r inventory.ReservedLot) *pb.ItemStock_ReservedLot {
			return &pb.ItemStock_ReservedLot{Lot: r.Lot, Batch: r.Batch, MassKg: kilograms(r.Mass), UseByDate: r.UseBy}
		}),
		Expected: each(s.Expected, func(e inventory.ExpectedLine) *pb.ItemStock_Expected {
			return &pb.ItemStock_Expected{Delivery: e.Delivery, LineId: e.LineID, MassKg: kilograms(e.Mass), ExpectedDate: e.Date}
		}),
	}
}

// BalanceProto is a mass balance as a message.
func BalanceProto(m *inventory.MassBalance) *pb.MassBalance {
	part := func(p inventory.BalancePart) *pb.MassBalance_Part {
		return &pb.MassBalance_Part{Title: p.Title, Reference: p.Reference, Item: p.Item, MassKg: kilograms(p.Mass)}
	}
	return &pb.MassBalance{
		Name: m.Name, InputMassKg: kilograms(m.Input), AccountedMassKg: kilograms(m.Accounted), UnexplainedMassKg: kilograms(m.Unexplained), RecoveryPercent: m.Recovery(),
		Inputs: each(m.Inputs, part), Outputs: each(m.Outputs, part), Closed: m.Closed, InProcessMassKg: kilograms(m.Inside), ToleranceMassKg: kilograms(m.Tolerance),
	}
}

func changeProto(c *inventory.Change) *pb.StockChange {
	return &pb.StockChange{Move: MoveProto(c.Move), Lot: LotProto(c.Lot), ShortenedReservations: c.Shortened}
}

// ContainerProto is a container as a message.
func ContainerProto(c *inventory.Container) *pb.Container {
	l := c.Label
	return &pb.Container{
		Name: c.Name, Uid: c.UID, Lot: c.Lot, Item: c.Item, Product: c.Product, Serial: c.Serial, Sgtin: c.SGTIN(), NetMassKg: kilograms(c.NetMass),
		State: value[pb.Container_State](pb.Container_State_value, c.State, ""), Location: c.Location, Shipment: c.Shipment, Outlet: c.Outlet,
		Label: &pb.Container_Label{
			Title: l.Title, LotCode: l.LotCode, Serial: l.Serial, PackDate: l.PackDate, UseByDate: l.UseBy, NetMass: l.NetMass, Storage: l.Storage, Allergens: l.Allergens,
			ElementString: l.Elements, EncodedElementString: l.Encoded, DigitalLink: l.Link,
		},
		CreateTime: stamp(c.CreateTime), UpdateTime: stamp(c.UpdateTime), Etag: c.Etag(),
	}
}

// ShipmentProto is a shipment as a message.
func ShipmentProto(s *inventory.Shipment) *pb.Shipment {
	return &pb.Shipment{
		Name: s.Name, Uid: s.UID, Outlet: s.Outlet, Order: s.Order, State: value[pb.Shipment_State](pb.Shipment_State_value, s.State, ""), Sscc: s.SSCC,
		DispatchTime: stamp(s.DispatchTime), Dispatcher: s.Dispatcher, ReceiveTime: stamp(s.ReceiveTime), Receiver: s.Receiver, MissingContainers: s.Missing, Note: s.Note,
		NetMassKg: kilograms(s.NetMass),
		Lines: each(s.Lines, func(l inventory.ShipmentLine) *pb.Shipment_Line {
			return &pb.Shipment_Line{Item: l.Item, Product: l.Product, RequestedCount: int32(l.Requested), Containers: l.Containers}
		}),
		CreateTime: stamp(s.CreateTime), UpdateTime: stamp(s.UpdateTime), Etag: s.Etag(),
	}
}

func traceProto(t *inventory.Trace) *pb.Trace {
	s := t.Summary
	return &pb.Trace{
		Root: t.Root,
		Nodes: each(t.Nodes, func(n *inventory.TraceNode) *pb.TraceNode {
			return &pb.TraceNode{
				Name: n.Name, Kind: value[pb.TraceNode_Kind](pb.TraceNode_Kind_value, n.Kind, ""), DisplayName: n.DisplayName, Item: n.Item, Code: n.Code, MassKg: kilograms(n.Mass),
				State: n.State, Held: n.Held, EventTime: stamp(n.Time), Batch: n.Batch, Run: n.Run, Depth: int32(n.Depth), ContainerCount: int32(n.ContainerCount),
			}
		}),
		Edges: each(t.Edges, func(e inventory.TraceEdge) *pb.TraceEdge {
			return &pb.TraceEdge{Source: e.Source, Target: e.Target, MassKg: kilograms(e.Mass)}
		}),
		Summary: &pb.TraceSummary{
			LotCount: int32(s.Lots), BatchCount: int32(s.Batches), DeliveryCount: int32(s.Deliveries), ContainerCount: int32(s.Containers),
			PackedContainerCount: int32(s.PackedContainers), ShippedContainerCount: int32(s.ShippedContainers), GoneContainerCount: int32(s.GoneContainers),
			Outlets: s.Outlets, HeldLots: s.HeldLots, RecoveryPercent: s.Recovery,
			Recoveries: each(s.Recoveries, func(r inventory.LotRecovery) *pb.LotRecovery {
				return &pb.LotRecovery{Name: r.Name, RecoveryPercent: r.Recovery, UnexplainedMassKg: kilograms(r.Unexplained)}
			}),
		},
	}
}
