// Package events carries the facts of scheduling to the outbox, and the news of planning to the use cases.
package events

import (
	"context"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/scheduling"
)

// Subjects of the facts that scheduling publishes.
const (
	SubjectSchedulePublished = "rondeau.scheduling.v1.schedule.published"
	SubjectRunStarted        = "rondeau.scheduling.v1.run.started"
	SubjectRunFinished       = "rondeau.scheduling.v1.run.finished"
	SubjectRunAborted        = "rondeau.scheduling.v1.run.aborted"
	SubjectForecastChanged   = "rondeau.scheduling.v1.run.forecast_changed"
	SubjectVesselDown        = "rondeau.scheduling.v1.vessel.down"
	SubjectVesselUp          = "rondeau.scheduling.v1.vessel.up"
)

// Outbox implements scheduling.Events over the outbox of the service's database.
type Outbox struct {
	db *sqldb.DB
}

var _ scheduling.Events = (*Outbox)(nil)

// NewOutbox returns an Outbox over the database of the store.
func NewOutbox(db *sqldb.DB) *Outbox { return &Outbox{db: db} }

func (o *Outbox) append(ctx context.Context, subject, resource string, at time.Time, message proto.Message) error {
	e, err := outbox.NewEvent(subject, resource, at, message)
	if err != nil {
		return err
	}
	return outbox.Append(ctx, o.db, e)
}

func stamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

func kind(k scheduling.StepKind) schedulingpb.StepKind {
	return schedulingpb.StepKind(schedulingpb.StepKind_value[string(k)])
}

// SchedulePublished implements scheduling.Events.
func (o *Outbox) SchedulePublished(ctx context.Context, s scheduling.Schedule, superseded string) error {
	event := &schedulingpb.SchedulePublished{
		Schedule: s.Name, Plan: s.Plan, SupersededSchedule: superseded, Publisher: s.Publisher, PublishTime: stamp(s.PublishTime),
	}
	ends := map[string]*schedulingpb.SchedulePublished_BatchEnd{}
	for _, a := range s.Assignments { // by start
		end := ends[a.Batch]
		if end == nil {
			end = &schedulingpb.SchedulePublished_BatchEnd{Batch: a.Batch, StartTime: stamp(a.Start), EndTime: stamp(a.End)}
			ends[a.Batch] = end
			event.BatchEnds = append(event.BatchEnds, end)
		}
		if a.End.After(end.EndTime.AsTime()) {
			end.EndTime = stamp(a.End)
		}
	}
	return o.append(ctx, SubjectSchedulePublished, s.Name, s.PublishTime, event)
}

// RunStarted implements scheduling.Events.
func (o *Outbox) RunStarted(ctx context.Context, r scheduling.Run) error {
	return o.append(ctx, SubjectRunStarted, r.Name, r.StartRecord, &schedulingpb.RunStarted{
		Run: r.Name, Batch: r.Batch, StepId: r.StepID, Kind: kind(r.Step.Kind), Vessel: r.Vessel, AdditionalVessels: r.Additional,
		Operator: r.Operator, Recorder: r.StartRecorder, StartTime: stamp(r.Start), RecordTime: stamp(r.StartRecord),
		LimitsProfile: r.Step.LimitsProfile, Critical: r.Step.Critical, OutputItem: r.OutputItem,
	})
}

// RunFinished implements scheduling.Events.
func (o *Outbox) RunFinished(ctx context.Context, r scheduling.Run, batchFinished bool) error {
	event := &schedulingpb.RunFinished{
		Run: r.Name, Batch: r.Batch, StepId: r.StepID, Kind: kind(r.Step.Kind), Vessel: r.Vessel, Operator: r.Operator, Recorder: r.FinishRecorder,
		StartTime: stamp(r.Start), FinishTime: stamp(r.Finish), RecordTime: stamp(r.FinishRecord), BatchFinished: batchFinished, Critical: r.Step.Critical,
	}
	for _, out := range r.Outputs {
		converted := &schedulingpb.Run_Output{Item: out.Item}
		switch {
		case out.MassKg != nil:
			converted.Quantity = &schedulingpb.Run_Output_MassKg{MassKg: *out.MassKg}
		case out.VolumeLiters != nil:
			converted.Quantity = &schedulingpb.Run_Output_VolumeLiters{VolumeLiters: *out.VolumeLiters}
		}
		event.Outputs = append(event.Outputs, converted)
	}
	return o.append(ctx, SubjectRunFinished, r.Name, r.FinishRecord, event)
}

// RunAborted implements scheduling.Events.
func (o *Outbox) RunAborted(ctx context.Context, r scheduling.Run) error {
	return o.append(ctx, SubjectRunAborted, r.Name, r.FinishRecord, &schedulingpb.RunAborted{
		Run: r.Name, Batch: r.Batch, StepId: r.StepID, Kind: kind(r.Step.Kind), Vessel: r.Vessel, Reason: r.AbortReason, Recorder: r.FinishRecorder,
		StartTime: stamp(r.Start), AbortTime: stamp(r.Finish), RecordTime: stamp(r.FinishRecord),
	})
}

// VesselDown implements scheduling.Events.
func (o *Outbox) VesselDown(ctx context.Context, v scheduling.Vessel, w scheduling.DownWindow, planned []string) error {
	return o.append(ctx, SubjectVesselDown, v.Name, v.UpdateTime, &schedulingpb.VesselDown{
		Vessel: v.Name, Reason: w.Reason, Reporter: w.Reporter, StartTime: stamp(w.Start), EndTime: stamp(w.End), RunningRuns: v.Running, PlannedRuns: planned,
	})
}

// VesselUp implements scheduling.Events.
func (o *Outbox) VesselUp(ctx context.Context, v scheduling.Vessel, reporter string, at time.Time) error {
	return o.append(ctx, SubjectVesselUp, v.Name, v.UpdateTime, &schedulingpb.VesselUp{Vessel: v.Name, Reporter: reporter, UpTime: stamp(at)})
}

// ForecastChanged implements scheduling.Events.
func (o *Outbox) ForecastChanged(ctx context.Context, r scheduling.Run, previous time.Time, delayed []string) error {
	return o.append(ctx, SubjectForecastChanged, r.Name, r.Forecast.At, &schedulingpb.ForecastFinishChanged{
		Run: r.Name, Batch: r.Batch, Vessel: r.Vessel, ExpectedFinishTime: stamp(r.Forecast.Expected), PreviousFinishTime: stamp(previous),
		PlannedEndTime: stamp(r.PlannedEnd), DelayedRuns: delayed,
	})
}
