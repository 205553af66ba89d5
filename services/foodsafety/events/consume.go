package events

import (
	"context"

	"rondeau.internal/pkg/bus"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/services/foodsafety"
)

// Subjects of the facts that the service listens to.
const (
	subjectLotCreated       = "rondeau.inventory.v1.lot.created"
	subjectStockConsumed    = "rondeau.inventory.v1.stock.consumed"
	subjectDeliveryRejected = "rondeau.inventory.v1.delivery.rejected"
	subjectRunStarted       = "rondeau.scheduling.v1.run.started"
	subjectRunFinished      = "rondeau.scheduling.v1.run.finished"
	subjectRunAborted       = "rondeau.scheduling.v1.run.aborted"
)

// maxDeliver is how often a message is tried before it is parked.
const maxDeliver = 8

// Consumers are the durable consumers of the service.
func Consumers(service *foodsafety.Service) []bus.Consumer {
	handle := func(ctx context.Context, m bus.Message) error { return Apply(ctx, service, m.Event) }
	return []bus.Consumer{
		{Durable: "foodsafety-inventory", Stream: "inventory", Subjects: []string{subjectLotCreated, subjectStockConsumed, subjectDeliveryRejected}, Handle: handle, MaxDeliver: maxDeliver},
		{Durable: "foodsafety-scheduling", Stream: "scheduling", Subjects: []string{subjectRunStarted, subjectRunFinished, subjectRunAborted}, Handle: handle, MaxDeliver: maxDeliver},
	}
}

// Apply turns a fact of another service into a use case. Facts of other subjects are ignored.
func Apply(ctx context.Context, service *foodsafety.Service, e outbox.Event) error {
	switch e.Subject {
	case subjectLotCreated:
		return outbox.Read(e, &inventorypb.LotCreated{}, func(m *inventorypb.LotCreated) error { return service.LotCreated(ctx, lot(m)) })
	case subjectStockConsumed:
		return outbox.Read(e, &inventorypb.StockConsumed{}, func(m *inventorypb.StockConsumed) error {
			return service.StockConsumed(ctx, m.GetBatch(), inputs(m.GetInputs()))
		})
	case subjectDeliveryRejected:
		return outbox.Read(e, &inventorypb.DeliveryLineRejected{}, func(m *inventorypb.DeliveryLineRejected) error {
			return service.LineRejected(ctx, rejectedLine(m))
		})
	case subjectRunStarted:
		return outbox.Read(e, &schedulingpb.RunStarted{}, func(m *schedulingpb.RunStarted) error {
			return service.RunStarted(ctx, foodsafety.RunFact{
				Run: m.GetRun(), Batch: m.GetBatch(), Vessel: m.GetVessel(), Chill: m.GetKind() == schedulingpb.StepKind_CHILL, Profile: m.GetLimitsProfile(),
				People: []string{m.GetOperator(), m.GetRecorder()}, Time: m.GetStartTime().AsTime(),
			})
		})
	case subjectRunFinished:
		return outbox.Read(e, &schedulingpb.RunFinished{}, func(m *schedulingpb.RunFinished) error {
			return service.RunFinished(ctx, foodsafety.RunFact{
				Run: m.GetRun(), Batch: m.GetBatch(), Vessel: m.GetVessel(), Chill: m.GetKind() == schedulingpb.StepKind_CHILL,
				People: []string{m.GetOperator(), m.GetRecorder()}, Time: m.GetFinishTime().AsTime(),
			})
		})
	case subjectRunAborted:
		return outbox.Read(e, &schedulingpb.RunAborted{}, func(m *schedulingpb.RunAborted) error {
			return service.RunAborted(ctx, foodsafety.RunFact{
				Run: m.GetRun(), Batch: m.GetBatch(), Vessel: m.GetVessel(), Chill: m.GetKind() == schedulingpb.StepKind_CHILL,
				People: []string{m.GetRecorder()}, Time: m.GetAbortTime().AsTime(), Reason: m.GetReason(),
			})
		})
	}
	return nil
}

func lot(m *inventorypb.LotCreated) foodsafety.Lot {
	l := m.GetLot()
	made := l.GetCreateTime().AsTime()
	if l.GetProduceTime() != nil {
		made = l.GetProduceTime().AsTime()
	}
	from := append(inputs(m.GetInputs()), m.GetMadeAncestors()...)
	return foodsafety.Lot{Name: l.GetName(), Item: l.GetItem(), Batch: l.GetBatch(), Inputs: from, CreateTime: made}
}

func inputs(list []*inventorypb.LotInput) []string {
	names := make([]string, 0, len(list))
	for _, in := range list {
		if in.GetLot() != "" {
			names = append(names, in.GetLot())
		}
	}
	return names
}

func rejectedLine(m *inventorypb.DeliveryLineRejected) foodsafety.RejectedLine {
	line := m.GetLine()
	return foodsafety.RejectedLine{
		Delivery: m.GetDelivery(), LineID: line.GetLineId(), Item: line.GetItem(), Supplier: m.GetSupplier(), Reason: line.GetDecisionReason(),
		Receiver: m.GetReceiver(), Temperature: line.TemperatureCelsius, Limit: m.LimitCelsius, ReceiveTime: m.GetReceiveTime().AsTime(),
	}
}
