// Package events carries facts of the stock to the outbox, and facts of other services to the stock.
package events

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	"rondeau.internal/pkg/clock"
	pb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/inventory"
	"rondeau.internal/services/inventory/grpcapi"
)

// Subjects of the facts that the service tells.
const (
	SubjectDeliveryReceived   = "rondeau.inventory.v1.delivery.received"
	SubjectDeliveryRejected   = "rondeau.inventory.v1.delivery.rejected"
	SubjectLotCreated         = "rondeau.inventory.v1.lot.created"
	SubjectStockMoved         = "rondeau.inventory.v1.stock.moved"
	SubjectStockConsumed      = "rondeau.inventory.v1.stock.consumed"
	SubjectStockAdjusted      = "rondeau.inventory.v1.stock.adjusted"
	SubjectBatchClosed        = "rondeau.inventory.v1.batch.closed"
	SubjectContainersPacked   = "rondeau.inventory.v1.container.packed"
	SubjectShipmentDispatched = "rondeau.inventory.v1.shipment.dispatched"
	SubjectShipmentReceived   = "rondeau.inventory.v1.shipment.received"
)

// Publisher writes facts into the outbox, in the transaction of their cause.
type Publisher struct {
	db    *sqldb.DB
	clock clock.Clock
}

var _ inventory.Events = (*Publisher)(nil)

// NewPublisher makes a publisher.
func NewPublisher(db *sqldb.DB, clock clock.Clock) *Publisher {
	return &Publisher{db: db, clock: clock}
}

// Append writes the facts.
func (p *Publisher) Append(ctx context.Context, events ...inventory.Event) error {
	out := make([]outbox.Event, 0, len(events))
	for _, e := range events {
		f, err := factOf(e)
		if err != nil {
			return err
		}
		at := f.time
		if at.IsZero() {
			at = p.clock.Now()
		}
		event, err := outbox.NewEvent(f.subject, f.resource, at, f.message)
		if err != nil {
			return err
		}
		out = append(out, event)
	}
	return outbox.Append(ctx, p.db, out...)
}

// fact is an event on its way out.
type fact struct {
	subject  string
	resource string
	time     time.Time // zero means now
	message  proto.Message
}

func factOf(e inventory.Event) (fact, error) {
	switch e := e.(type) {
	case inventory.DeliveryReceived:
		return fact{SubjectDeliveryReceived, e.Delivery.Name, e.Delivery.ReceiveTime, &pb.DeliveryReceived{Delivery: grpcapi.DeliveryProto(e.Delivery)}}, nil
	case inventory.DeliveryLineRejected:
		p := grpcapi.DeliveryProto(e.Delivery)
		return fact{SubjectDeliveryRejected, p.GetName(), e.Delivery.ReceiveTime, &pb.DeliveryLineRejected{
			Delivery: p.GetName(), Supplier: p.GetSupplier(), Line: grpcapi.LineProto(e.Line), LimitCelsius: e.Limit, ReceiveTime: p.GetReceiveTime(), Receiver: p.GetReceiver(),
		}}, nil
	case inventory.LotCreated:
		return fact{SubjectLotCreated, e.Lot.Name, e.Lot.ProduceTime, &pb.LotCreated{
			Lot: grpcapi.BareLotProto(e.Lot), Inputs: lotInputs(e.Inputs), MadeAncestors: e.MadeAncestors, Actor: e.Actor,
		}}, nil
	case inventory.StockMoved:
		return fact{SubjectStockMoved, e.Move.Name, e.Move.MoveTime, &pb.StockMoved{Move: grpcapi.MoveProto(e.Move)}}, nil
	case inventory.StockConsumed:
		return fact{SubjectStockConsumed, e.Move.Batch, e.Move.MoveTime, &pb.StockConsumed{
			Move: grpcapi.MoveProto(e.Move), Batch: e.Move.Batch, Inputs: lotInputs(e.Inputs),
		}}, nil
	case inventory.StockAdjusted:
		return fact{SubjectStockAdjusted, e.Lot.Name, e.Move.MoveTime, &pb.StockAdjusted{Move: grpcapi.MoveProto(e.Move), Lot: grpcapi.BareLotProto(e.Lot)}}, nil
	case inventory.BatchClosedEvent:
		return fact{SubjectBatchClosed, e.Batch, e.Time, &pb.BatchClosed{Batch: e.Batch, Balance: grpcapi.BalanceProto(e.Balance)}}, nil
	case inventory.ContainersPacked:
		return fact{SubjectContainersPacked, e.Lot.Name, e.Lot.ProduceTime, &pb.ContainersPacked{
			Lot: grpcapi.BareLotProto(e.Lot), Product: e.Product, Containers: e.Containers,
		}}, nil
	case inventory.ShipmentDispatched:
		return fact{SubjectShipmentDispatched, e.Shipment.Name, e.Shipment.DispatchTime, &pb.ShipmentDispatched{Shipment: grpcapi.ShipmentProto(e.Shipment)}}, nil
	case inventory.ShipmentReceived:
		return fact{SubjectShipmentReceived, e.Shipment.Name, e.Shipment.ReceiveTime, &pb.ShipmentReceived{Shipment: grpcapi.ShipmentProto(e.Shipment)}}, nil
	}
	return fact{}, fmt.Errorf("events: no message for %T", e)
}

func lotInputs(list []inventory.LotMass) []*pb.LotInput {
	var out []*pb.LotInput
	for _, l := range list {
		out = append(out, &pb.LotInput{Lot: l.Lot, MassKg: l.Mass.Mass().Kilograms()})
	}
	return out
}
