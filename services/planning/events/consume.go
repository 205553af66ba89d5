package events

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/bus"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/services/planning"
)

// Subjects of other services that planning listens to.
const (
	subjectRunStarted  = "rondeau.scheduling.v1.run.started"
	subjectRunFinished = "rondeau.scheduling.v1.run.finished"
	subjectDispatched  = "rondeau.inventory.v1.shipment.dispatched"
)

// Consumers returns what planning listens to: runs, for the state of batches, and shipments, for what is left of orders.
func Consumers(service *planning.Service) []bus.Consumer {
	return []bus.Consumer{
		{
			Durable: "planning-runs", Stream: "scheduling", Subjects: []string{subjectRunStarted, subjectRunFinished},
			Handle: func(ctx context.Context, m bus.Message) error { return handleRun(ctx, service, m) },
		},
		{
			Durable: "planning-shipments", Stream: "inventory", Subjects: []string{subjectDispatched},
			Handle: func(ctx context.Context, m bus.Message) error { return handleShipment(ctx, service, m) },
		},
	}
}

func read(m bus.Message, into proto.Message) error {
	if err := proto.Unmarshal(m.Event.Payload, into); err != nil {
		return fmt.Errorf("read event %s (%s): %w", m.Event.ID, m.Event.Subject, err)
	}
	return nil
}

// moment takes the time of a message, or that of the event where the message has none.
func moment(t *timestamppb.Timestamp, fallback time.Time) time.Time {
	if t == nil {
		return fallback
	}
	return t.AsTime()
}

func handleRun(ctx context.Context, service *planning.Service, m bus.Message) error {
	switch m.Event.Subject {
	case subjectRunStarted:
		var run schedulingpb.RunStarted
		if err := read(m, &run); err != nil {
			return err
		}
		return service.RecordRunStarted(ctx, run.GetBatch(), moment(run.GetStartTime(), m.Event.Time))
	case subjectRunFinished:
		var run schedulingpb.RunFinished
		if err := read(m, &run); err != nil {
			return err
		}
		finish := moment(run.GetFinishTime(), m.Event.Time)
		return service.RecordRunFinished(ctx, run.GetBatch(), run.GetStepId(), moment(run.GetStartTime(), finish), finish, run.GetBatchFinished())
	}
	return nil
}

func handleShipment(ctx context.Context, service *planning.Service, m bus.Message) error {
	var dispatched inventorypb.ShipmentDispatched
	if err := read(m, &dispatched); err != nil {
		return err
	}
	shipment := dispatched.GetShipment()
	var lines []planning.ShippedLine
	for _, l := range shipment.GetLines() {
		lines = append(lines, planning.ShippedLine{Product: l.GetProduct(), Item: l.GetItem(), Count: len(l.GetContainers())})
	}
	return service.RecordShipment(ctx, shipment.GetName(), shipment.GetOrder(), lines)
}
