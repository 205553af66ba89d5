package grpcapi

import (
	"google.golang.org/protobuf/types/known/durationpb"

	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/services/scheduling"
)

func remedies(list []scheduling.Remedy) []*schedulingpb.Schedule_Remedy {
	var out []*schedulingpb.Schedule_Remedy
	for _, r := range list {
		remedy := &schedulingpb.Schedule_Remedy{
			Text: r.Text, Verified: r.Verified, Least: r.Least, LateBatchCount: int32(r.LateBatches), LatenessDuration: durationpb.New(r.Lateness),
			OvertimeDuration: durationpb.New(r.Overtime),
		}
		for _, c := range r.Changes {
			change := &schedulingpb.Schedule_Remedy_Change{
				Kind:  schedulingpb.Schedule_Remedy_Change_Kind(schedulingpb.Schedule_Remedy_Change_Kind_value[string(c.Kind)]),
				Batch: c.Batch, StepId: c.StepID, NextStepId: c.NextStepID, Vessel: c.Vessel, Crew: c.Crew, Calendar: c.Calendar, Limit: c.Limit,
				Count: c.Count, BatchFraction: c.Fraction, StartTime: stamp(c.Start), EndTime: stamp(c.End),
			}
			if c.Amount > 0 {
				change.AmountDuration = durationpb.New(c.Amount)
			}
			remedy.Changes = append(remedy.Changes, change)
		}
		out = append(out, remedy)
	}
	return out
}
