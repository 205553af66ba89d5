// Package events carries facts between the food-safety service and the others: domain events go out through the outbox
// of the same transaction, and facts of inventory and scheduling come in as use cases of the domain.
package events

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/foodsafety"
	"rondeau.internal/services/foodsafety/grpcapi"
)

// Subjects of the facts that the service tells.
const (
	SubjectChillStarted     = "rondeau.foodsafety.v1.chill.started"
	SubjectChillFinished    = "rondeau.foodsafety.v1.chill.finished"
	SubjectChillLimitAtRisk = "rondeau.foodsafety.v1.chill.limit_at_risk"
	SubjectDeviationOpened  = "rondeau.foodsafety.v1.deviation.opened"
	SubjectDeviationClosed  = "rondeau.foodsafety.v1.deviation.closed"
	SubjectHoldPlaced       = "rondeau.foodsafety.v1.hold.placed"
	SubjectHoldLifted       = "rondeau.foodsafety.v1.hold.lifted"
	SubjectLotReleased      = "rondeau.foodsafety.v1.lot.released"
)

// Publisher implements foodsafety.Events over the outbox of the service's database.
type Publisher struct{ db *sqldb.DB }

var _ foodsafety.Events = (*Publisher)(nil)

// NewPublisher returns a publisher that appends to the outbox of db.
func NewPublisher(db *sqldb.DB) *Publisher { return &Publisher{db: db} }

// Publish appends the fact to the transaction that ctx carries.
func (p *Publisher) Publish(ctx context.Context, event foodsafety.Event) error {
	subject, resource, at, message, err := toProto(event)
	if err != nil {
		return err
	}
	e, err := outbox.NewEvent(subject, resource, at, message)
	if err != nil {
		return err
	}
	return outbox.Append(ctx, p.db, e)
}

func toProto(event foodsafety.Event) (subject, resource string, at time.Time, message proto.Message, err error) {
	switch e := event.(type) {
	case foodsafety.ChillStarted:
		return SubjectChillStarted, e.Chill.Name, e.Chill.CreateTime, &foodsafetypb.ChillStarted{Chill: grpcapi.Chill(e.Chill)}, nil
	case foodsafety.ChillFinished:
		return SubjectChillFinished, e.Chill.Name, e.Chill.Judgement.At, &foodsafetypb.ChillFinished{Chill: grpcapi.Chill(e.Chill)}, nil
	case foodsafety.ChillLimitAtRisk:
		m := &foodsafetypb.ChillLimitAtRisk{Chill: grpcapi.Chill(e.Chill), StageId: e.Stage.StageID, Advice: e.Stage.Advice}
		if !e.Stage.Deadline.IsZero() {
			m.DeadlineTime = timestamppb.New(e.Stage.Deadline)
		}
		if !e.Stage.Likely.IsZero() {
			m.PredictTime = timestamppb.New(e.Stage.Likely)
		}
		return SubjectChillLimitAtRisk, e.Chill.Name, e.Chill.Judgement.At, m, nil
	case foodsafety.DeviationOpened:
		return SubjectDeviationOpened, e.Deviation.Name, e.Deviation.OpenTime, &foodsafetypb.DeviationOpened{Deviation: grpcapi.Deviation(e.Deviation)}, nil
	case foodsafety.DeviationWasClosed:
		return SubjectDeviationClosed, e.Deviation.Name, e.Deviation.CloseTime, &foodsafetypb.DeviationClosed{Deviation: grpcapi.Deviation(e.Deviation)}, nil
	case foodsafety.HoldWasPlaced:
		return SubjectHoldPlaced, e.Hold.Name, e.Hold.PlaceTime, &foodsafetypb.HoldPlaced{Hold: grpcapi.Hold(e.Hold)}, nil
	case foodsafety.HoldWasLifted:
		return SubjectHoldLifted, e.Hold.Name, e.Hold.LiftTime, &foodsafetypb.HoldLifted{Hold: grpcapi.Hold(e.Hold), SubjectFree: e.SubjectFree}, nil
	case foodsafety.LotReleased:
		return SubjectLotReleased, e.Release.Lot, e.Release.SignTime, &foodsafetypb.LotReleased{Release: grpcapi.Release(e.Release), Lot: e.Release.Lot}, nil
	}
	return "", "", time.Time{}, nil, fmt.Errorf("no subject for event %T", event)
}
