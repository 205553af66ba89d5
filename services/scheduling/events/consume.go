package events

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	"rondeau.internal/pkg/bus"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/services/scheduling"
)

// Subjects of planning that scheduling listens to.
const (
	subjectPlanReleased   = "rondeau.planning.v1.plan.released"
	subjectBatchCancelled = "rondeau.planning.v1.batch.cancelled"
)

// Consumers are the durable consumers of the service. Each event is applied once: its effect commits together with the
// note that it was applied.
func Consumers(s *scheduling.Service) []bus.Consumer {
	return []bus.Consumer{{
		Durable: "scheduling-planning", Stream: "planning", Subjects: []string{subjectPlanReleased, subjectBatchCancelled},
		Handle: func(ctx context.Context, m bus.Message) error { return Apply(ctx, s, m.Event.Subject, m.Event.Payload) },
	}}
}

// Apply takes one event of planning to the use case that it concerns.
func Apply(ctx context.Context, s *scheduling.Service, subject string, payload []byte) error {
	switch subject {
	case subjectBatchCancelled:
		var e planningpb.BatchCancelled
		if err := proto.Unmarshal(payload, &e); err != nil {
			return fmt.Errorf("read event %s: %w", subject, err)
		}
		return s.BatchCancelled(ctx, e.GetBatch(), e.GetPlan(), e.GetReason())
	case subjectPlanReleased:
		var e planningpb.PlanReleased
		if err := proto.Unmarshal(payload, &e); err != nil {
			return fmt.Errorf("read event %s: %w", subject, err)
		}
		return s.PlanReleased(ctx, e.GetPlan().GetName(), e.GetSupersededPlan(), e.GetKeptBatches())
	}
	return fmt.Errorf("event %s is not for scheduling", subject)
}
