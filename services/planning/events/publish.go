// Package events connects planning with the event bus: facts of the domain become outbox rows, and facts of other services
// become calls of the domain.
package events

import (
	"context"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/planning"
	"rondeau.internal/services/planning/grpcapi"
)

// Subjects of the events that planning publishes.
const (
	SubjectOrderPlaced      = "rondeau.planning.v1.order.placed"
	SubjectOrderChanged     = "rondeau.planning.v1.order.changed"
	SubjectOrderCancelled   = "rondeau.planning.v1.order.cancelled"
	SubjectPlanReleased     = "rondeau.planning.v1.plan.released"
	SubjectPurchaseProposed = "rondeau.planning.v1.purchase.proposed"
	SubjectBatchCancelled   = "rondeau.planning.v1.batch.cancelled"
)

// Publisher implements planning.Events over the outbox of a database.
type Publisher struct{ db *sqldb.DB }

var _ planning.Events = (*Publisher)(nil)

// NewPublisher returns a publisher that writes into the outbox of db.
func NewPublisher(db *sqldb.DB) *Publisher { return &Publisher{db: db} }

func (p *Publisher) append(ctx context.Context, subject, resource string, at time.Time, message proto.Message) error {
	event, err := outbox.NewEvent(subject, resource, at, message)
	if err != nil {
		return err
	}
	return outbox.Append(ctx, p.db, event)
}

// OrderPlaced publishes a new order.
func (p *Publisher) OrderPlaced(ctx context.Context, o *planning.Order) error {
	return p.append(ctx, SubjectOrderPlaced, o.Name, o.UpdateTime, &pb.OrderPlaced{Order: grpcapi.OrderProto(o, o.UpdateTime)})
}

// OrderChanged publishes a changed order.
func (p *Publisher) OrderChanged(ctx context.Context, o *planning.Order) error {
	return p.append(ctx, SubjectOrderChanged, o.Name, o.UpdateTime, &pb.OrderChanged{Order: grpcapi.OrderProto(o, o.UpdateTime)})
}

// OrderCancelled publishes a cancelled order.
func (p *Publisher) OrderCancelled(ctx context.Context, o *planning.Order) error {
	return p.append(ctx, SubjectOrderCancelled, o.Name, o.UpdateTime, &pb.OrderCancelled{Order: grpcapi.OrderProto(o, o.UpdateTime)})
}

// PlanReleased publishes that a plan is in force. The message stays small whatever the plan is: details are read by call.
func (p *Publisher) PlanReleased(ctx context.Context, plan *planning.Plan, batches []*planning.Batch, superseded string, kept []string) error {
	message := grpcapi.PlanProto(plan, batches)
	message.Purchases, message.Shortages = nil, nil
	for _, b := range message.GetBatches() {
		b.Inputs, b.ByProducts, b.Steps, b.Pegs = nil, nil, nil, nil
	}
	return p.append(ctx, SubjectPlanReleased, plan.Name, plan.ReleaseTime, &pb.PlanReleased{Plan: message, SupersededPlan: superseded, KeptBatches: kept})
}

// PurchaseProposed publishes one line to buy.
func (p *Publisher) PurchaseProposed(ctx context.Context, plan *planning.Plan, purchase *planning.Purchase) error {
	return p.append(ctx, SubjectPurchaseProposed, purchase.Name, plan.ReleaseTime,
		&pb.PurchaseProposed{Plan: plan.Name, Purchase: grpcapi.PurchaseProto(purchase)})
}

// BatchCancelled publishes that a batch will not be made.
func (p *Publisher) BatchCancelled(ctx context.Context, b *planning.Batch) error {
	return p.append(ctx, SubjectBatchCancelled, b.Name, b.UpdateTime,
		&pb.BatchCancelled{Batch: b.Name, Plan: b.Plan, Reason: b.CancelReason, CancelTime: timestamppb.New(b.UpdateTime)})
}
