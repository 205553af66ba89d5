package grpcapi

import (
	"context"

	"google.golang.org/protobuf/types/known/durationpb"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"

	"rondeau.internal/pkg/aip"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/services/scheduling"
)

// EstimateStepDurations implements the RPC.
func (s *Server) EstimateStepDurations(ctx context.Context, req *schedulingpb.EstimateStepDurationsRequest) (*schedulingpb.EstimateStepDurationsResponse, error) {
	estimates, err := s.service.EstimateDurations(ctx, req.GetBatch())
	if err != nil {
		return nil, err
	}
	out := &schedulingpb.EstimateStepDurationsResponse{Caution: scheduling.Caution}
	for _, e := range estimates {
		converted := &schedulingpb.EstimateStepDurationsResponse_Estimate{StepId: e.StepID, Vessel: e.Vessel, Possible: e.Refusal == "", Refusal: e.Refusal, Basis: e.Basis}
		if converted.Possible {
			converted.AttendedStartDuration, converted.MiddleDuration = durationpb.New(e.Start), durationpb.New(e.Middle)
			converted.AttendedEndDuration, converted.TotalDuration = durationpb.New(e.End), durationpb.New(e.Total())
		}
		out.Estimates = append(out.Estimates, converted)
	}
	return out, nil
}

// SolveSchedule implements the RPC.
func (s *Server) SolveSchedule(ctx context.Context, req *schedulingpb.SolveScheduleRequest) (*longrunningpb.Operation, error) {
	op, err := s.service.SolveSchedule(ctx, scheduling.Solve{
		Site: req.GetParent(), Plan: req.GetPlan(), Batches: req.GetBatches(), Start: moment(req.GetStartTime()), End: moment(req.GetEndTime()),
		Budget: int(req.GetIterationBudget()), MaxDuration: req.GetMaxDuration().AsDuration(), Seed: req.GetSeed(), Reference: req.GetReferenceSchedule(),
	})
	if err != nil {
		return nil, err
	}
	return s.operation(ctx, op, true)
}

// GetSchedule implements the RPC.
func (s *Server) GetSchedule(ctx context.Context, req *schedulingpb.GetScheduleRequest) (*schedulingpb.Schedule, error) {
	c, err := s.service.Schedule(ctx, req.GetName())
	if err != nil {
		return nil, err
	}
	o, err := s.service.Outlook(ctx, req.GetName())
	if err != nil {
		return nil, err
	}
	out := schedule(c)
	if o != nil {
		out.Outlook = outlook(*o)
	}
	return out, nil
}

var scheduleFields = aip.Fields{
	"state": {Column: "state", Type: aip.Enum, Values: map[string]any{"DRAFT": "DRAFT", "PUBLISHED": "PUBLISHED", "SUPERSEDED": "SUPERSEDED"}},
	"plan":  {Column: "plan", Type: aip.String}, "create_time": {Column: "create_us", Type: aip.Timestamp},
}

// ListSchedules implements the RPC.
func (s *Server) ListSchedules(ctx context.Context, req *schedulingpb.ListSchedulesRequest) (*schedulingpb.ListSchedulesResponse, error) {
	full := req.GetView() == schedulingpb.ScheduleView_FULL
	found, next, err := list(req, req.GetParent(), req.GetFilter(), scheduleFields,
		func(q scheduling.ListQuery) ([]scheduling.Schedule, error) { return s.service.Schedules(ctx, q, full) },
		schedule, func(c scheduling.Schedule) []string { return []string{micros(c.CreateTime.UnixMicro()), c.Name} })
	if err != nil {
		return nil, err
	}
	return &schedulingpb.ListSchedulesResponse{Schedules: found, NextPageToken: next}, nil
}

// PublishSchedule implements the RPC.
func (s *Server) PublishSchedule(ctx context.Context, req *schedulingpb.PublishScheduleRequest) (*schedulingpb.Schedule, error) {
	c, err := s.service.PublishSchedule(ctx, scheduling.Publish{Name: req.GetName(), Etag: req.GetEtag(), ValidateOnly: req.GetValidateOnly(), Actor: actor(ctx)})
	if err != nil {
		return nil, err
	}
	return schedule(c), nil
}

func stepKind(k scheduling.StepKind) schedulingpb.StepKind {
	return schedulingpb.StepKind(schedulingpb.StepKind_value[string(k)])
}

func schedule(c scheduling.Schedule) *schedulingpb.Schedule {
	out := &schedulingpb.Schedule{
		Name: c.Name, Uid: c.UID, Plan: c.Plan, State: schedulingpb.Schedule_State(schedulingpb.Schedule_State_value[string(c.State)]),
		StartTime: stamp(c.Start), EndTime: stamp(c.End), Report: report(c.Report), ReferenceSchedule: c.Reference, PublishTime: stamp(c.PublishTime),
		Publisher: c.Publisher, Operation: c.Operation, CreateTime: stamp(c.CreateTime), UpdateTime: stamp(c.UpdateTime), Etag: scheduling.Etag(c.Version),
	}
	for _, a := range c.Assignments {
		out.Assignments = append(out.Assignments, assignment(a))
	}
	return out
}

func assignment(a scheduling.Assignment) *schedulingpb.Schedule_Assignment {
	out := &schedulingpb.Schedule_Assignment{
		Batch: a.Batch, StepId: a.StepID, DisplayName: a.DisplayName, Kind: stepKind(a.Kind), Vessel: a.Vessel, AdditionalVessels: a.Additional,
		Crew: a.Crew, FinishCrew: a.FinishCrew, CrewCount: int32(a.CrewCount), StartTime: stamp(a.Start), EndTime: stamp(a.End), HeldUntilTime: stamp(a.HeldUntil),
		FillLiters: a.FillLiters, MassKg: a.MassKg, DurationBasis: a.Basis, Started: a.Started, PreviousStartTime: stamp(a.PreviousStart),
		PreviousVessel: a.PreviousVessel, Run: a.Run,
	}
	for _, w := range a.Attended {
		out.AttendedWindows = append(out.AttendedWindows, &schedulingpb.Schedule_Window{StartTime: stamp(w.Start), EndTime: stamp(w.End)})
	}
	for _, c := range a.Cleanings {
		out.Cleanings = append(out.Cleanings, &schedulingpb.Schedule_CleaningRun{
			Vessel: c.Vessel, FromState: c.From, ToState: c.To, StartTime: stamp(c.Start), EndTime: stamp(c.End), Attended: c.Attended,
		})
	}
	return out
}

func report(r scheduling.Report) *schedulingpb.Schedule_Report {
	out := &schedulingpb.Schedule_Report{
		Status: schedulingpb.Schedule_Report_Status(schedulingpb.Schedule_Report_Status_value[string(r.Status)]), Cost: cost(r.Cost), Bound: cost(r.Bound),
		Gap: r.Gap, IterationCount: int32(r.Iterations), Summary: r.Summary, Caution: scheduling.Caution, Stopped: r.Stopped,
		BoundReasons: r.BoundReasons,
	}
	for _, l := range r.Late {
		out.LateBatches = append(out.LateBatches, &schedulingpb.Schedule_LateBatch{
			Batch: l.Batch, DisplayName: l.DisplayName, DueTime: stamp(l.Due), EndTime: stamp(l.End), Delay: durationpb.New(l.End.Sub(l.Due)), Reasons: l.Reasons,
			Remedies: remedies(l.Remedies),
		})
	}
	for _, c := range r.Conflicts {
		converted := &schedulingpb.Schedule_Conflict{Kind: c.Kind, Proved: c.Proved, Text: c.Text, Batches: c.Batches, Vessels: c.Vessels, Minimal: c.Minimal, Remedies: remedies(c.Remedies)}
		for _, text := range c.Relaxations {
			converted.Relaxations = append(converted.Relaxations, &schedulingpb.Schedule_Conflict_Relaxation{Text: text})
		}
		out.Conflicts = append(out.Conflicts, converted)
	}
	return out
}

func cost(c scheduling.Cost) *schedulingpb.Schedule_Cost {
	return &schedulingpb.Schedule_Cost{
		Tardiness: c.Tardiness, OvertimeDuration: durationpb.New(c.Overtime), EnergyKilowattHours: float64(c.EnergyWh) / 1000, Freshness: c.Freshness,
		Change: c.Change, MakespanDuration: durationpb.New(c.Makespan), Rest: c.Rest,
	}
}
