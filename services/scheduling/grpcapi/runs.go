package grpcapi

import (
	"context"

	"google.golang.org/protobuf/types/known/durationpb"

	"rondeau.internal/pkg/aip"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/services/scheduling"
)

func values(names map[int32]string) map[string]any {
	out := map[string]any{}
	for number, name := range names {
		if number != 0 {
			out[name] = name
		}
	}
	return out
}

var runFields = aip.Fields{
	"state":  {Column: "state", Type: aip.Enum, Values: values(schedulingpb.Run_State_name)},
	"kind":   {Column: "kind", Type: aip.Enum, Values: values(schedulingpb.StepKind_name)},
	"vessel": {Column: "vessel", Type: aip.String}, "batch": {Column: "batch", Type: aip.String}, "step_id": {Column: "step_id", Type: aip.String},
	"crew": {Column: "crew", Type: aip.String}, "planned_start_time": {Column: "planned_start_us", Type: aip.Timestamp},
	"start_time": {Column: "start_us", Type: aip.Timestamp}, "finish_time": {Column: "finish_us", Type: aip.Timestamp},
}

// GetRun implements the RPC.
func (s *Server) GetRun(ctx context.Context, req *schedulingpb.GetRunRequest) (*schedulingpb.Run, error) {
	r, err := s.service.Run(ctx, req.GetName())
	if err != nil {
		return nil, err
	}
	return run(r), nil
}

// ListRuns implements the RPC.
func (s *Server) ListRuns(ctx context.Context, req *schedulingpb.ListRunsRequest) (*schedulingpb.ListRunsResponse, error) {
	found, next, err := list(req, req.GetParent(), req.GetFilter(), runFields,
		func(q scheduling.ListQuery) ([]scheduling.Run, error) { return s.service.Runs(ctx, q) },
		run, func(r scheduling.Run) []string { return []string{micros(r.PlannedStart.UnixMicro()), r.Name} })
	if err != nil {
		return nil, err
	}
	return &schedulingpb.ListRunsResponse{Runs: found, NextPageToken: next}, nil
}

// StartRun implements the RPC.
func (s *Server) StartRun(ctx context.Context, req *schedulingpb.StartRunRequest) (*schedulingpb.Run, error) {
	r, err := s.service.StartRun(ctx, scheduling.StartRun{
		Name: req.GetName(), Vessel: req.GetVessel(), Additional: req.GetAdditionalVessels(), Operator: req.GetOperator(), Start: moment(req.GetStartTime()),
		FillLiters: req.GetFillLiters(), Etag: req.GetEtag(), Actor: actor(ctx),
	})
	if err != nil {
		return nil, err
	}
	return run(r), nil
}

// FinishRun implements the RPC.
func (s *Server) FinishRun(ctx context.Context, req *schedulingpb.FinishRunRequest) (*schedulingpb.Run, error) {
	c := scheduling.FinishRun{Name: req.GetName(), Finish: moment(req.GetFinishTime()), Note: req.GetNote(), Etag: req.GetEtag(), Actor: actor(ctx)}
	for _, o := range req.GetOutputs() {
		out := scheduling.Output{Item: o.GetItem()}
		switch q := o.GetQuantity().(type) {
		case *schedulingpb.Run_Output_MassKg:
			out.MassKg = &q.MassKg
		case *schedulingpb.Run_Output_VolumeLiters:
			out.VolumeLiters = &q.VolumeLiters
		}
		c.Outputs = append(c.Outputs, out)
	}
	r, err := s.service.FinishRun(ctx, c)
	if err != nil {
		return nil, err
	}
	return run(r), nil
}

// AbortRun implements the RPC.
func (s *Server) AbortRun(ctx context.Context, req *schedulingpb.AbortRunRequest) (*schedulingpb.Run, error) {
	r, err := s.service.AbortRun(ctx, scheduling.AbortRun{Name: req.GetName(), Reason: req.GetReason(), At: moment(req.GetAbortTime()), Etag: req.GetEtag(), Actor: actor(ctx)})
	if err != nil {
		return nil, err
	}
	return run(r), nil
}

// ForecastRun implements the RPC.
func (s *Server) ForecastRun(ctx context.Context, req *schedulingpb.ForecastRunRequest) (*schedulingpb.Run_Forecast, error) {
	f, err := s.service.ForecastRun(ctx, req.GetName())
	if err != nil {
		return nil, err
	}
	return forecast(&f), nil
}

// RecordMeasurement implements the RPC.
func (s *Server) RecordMeasurement(ctx context.Context, req *schedulingpb.RecordMeasurementRequest) (*schedulingpb.Measurement, error) {
	p := req.GetMeasurement()
	m := scheduling.Measurement{
		Run: req.GetParent(), Name: s.newName(req.GetParent(), "measurements", req.GetMeasurementId(), "m"), ObserveTime: moment(p.GetObserveTime()),
		Operator: p.GetOperator(), Recorder: actor(ctx), Note: p.GetNote(),
	}
	switch v := p.GetValue().(type) {
	case *schedulingpb.Measurement_MassKg:
		m.Kind, m.Value = scheduling.MeasureMassKg, v.MassKg
	case *schedulingpb.Measurement_VolumeLiters:
		m.Kind, m.Value = scheduling.MeasureVolumeLiters, v.VolumeLiters
	case *schedulingpb.Measurement_TemperatureCelsius:
		m.Kind, m.Value = scheduling.MeasureTemperatureCelsius, v.TemperatureCelsius
	case *schedulingpb.Measurement_BrixDegrees:
		m.Kind, m.Value = scheduling.MeasureBrixDegrees, v.BrixDegrees
	case *schedulingpb.Measurement_LevelMeters:
		m.Kind, m.Value = scheduling.MeasureLevelMeters, v.LevelMeters
	case *schedulingpb.Measurement_Check_:
		m.Kind, m.Check, m.Passed = scheduling.MeasureCheck, v.Check.GetDisplayName(), v.Check.GetPassed()
	}
	m, err := s.service.RecordMeasurement(ctx, m)
	if err != nil {
		return nil, err
	}
	return measurement(m), nil
}

// ListMeasurements implements the RPC.
func (s *Server) ListMeasurements(ctx context.Context, req *schedulingpb.ListMeasurementsRequest) (*schedulingpb.ListMeasurementsResponse, error) {
	found, next, err := list(req, req.GetParent(), "", nil,
		func(q scheduling.ListQuery) ([]scheduling.Measurement, error) { return s.service.Measurements(ctx, q) },
		measurement, func(m scheduling.Measurement) []string { return []string{micros(m.ObserveTime.UnixMicro()), m.Name} })
	if err != nil {
		return nil, err
	}
	return &schedulingpb.ListMeasurementsResponse{Measurements: found, NextPageToken: next}, nil
}

func measurement(m scheduling.Measurement) *schedulingpb.Measurement {
	out := &schedulingpb.Measurement{
		Name: m.Name, Uid: m.UID, ObserveTime: stamp(m.ObserveTime), RecordTime: stamp(m.RecordTime), Operator: m.Operator, Recorder: m.Recorder,
		Note: m.Note, LateEntry: m.LateEntry(),
	}
	switch m.Kind {
	case scheduling.MeasureMassKg:
		out.Value = &schedulingpb.Measurement_MassKg{MassKg: m.Value}
	case scheduling.MeasureVolumeLiters:
		out.Value = &schedulingpb.Measurement_VolumeLiters{VolumeLiters: m.Value}
	case scheduling.MeasureTemperatureCelsius:
		out.Value = &schedulingpb.Measurement_TemperatureCelsius{TemperatureCelsius: m.Value}
	case scheduling.MeasureBrixDegrees:
		out.Value = &schedulingpb.Measurement_BrixDegrees{BrixDegrees: m.Value}
	case scheduling.MeasureLevelMeters:
		out.Value = &schedulingpb.Measurement_LevelMeters{LevelMeters: m.Value}
	case scheduling.MeasureCheck:
		out.Value = &schedulingpb.Measurement_Check_{Check: &schedulingpb.Measurement_Check{DisplayName: m.Check, Passed: m.Passed}}
	}
	return out
}

func run(r scheduling.Run) *schedulingpb.Run {
	out := &schedulingpb.Run{
		Name: r.Name, Uid: r.UID, DisplayName: r.Step.DisplayName, Batch: r.Batch, StepId: r.StepID, Kind: stepKind(r.Step.Kind),
		State: schedulingpb.Run_State(schedulingpb.Run_State_value[string(r.State)]), Vessel: r.Vessel, AdditionalVessels: r.Additional, Crew: r.Crew,
		Schedule: r.Schedule, PlannedStartTime: stamp(r.PlannedStart), PlannedEndTime: stamp(r.PlannedEnd), StartTime: stamp(r.Start), FinishTime: stamp(r.Finish),
		StartRecordTime: stamp(r.StartRecord), FinishRecordTime: stamp(r.FinishRecord), Operator: r.Operator, StartRecorder: r.StartRecorder,
		FinishRecorder: r.FinishRecorder, AbortReason: r.AbortReason, FillLiters: r.FillLiters, PlannedMassKg: r.MassKg, Instructions: r.Step.Instructions,
		Critical: r.Step.Critical, Measurements: summary(r.Summary), DurationBasis: r.Basis, Notices: r.Notices, NextRuns: r.Next,
		LimitsProfile: r.Step.LimitsProfile, Note: r.Note, CreateTime: stamp(r.CreateTime), UpdateTime: stamp(r.UpdateTime), Etag: scheduling.Etag(r.Version),
		OutputItem: r.OutputItem,
	}
	if r.Forecast != nil && r.State == scheduling.RunRunning {
		out.Forecast = forecast(r.Forecast)
	}
	if r.Step.MaxWait != nil {
		out.MaxWait = durationpb.New(*r.Step.MaxWait)
	}
	for _, o := range r.Outputs {
		converted := &schedulingpb.Run_Output{Item: o.Item}
		switch {
		case o.MassKg != nil:
			converted.Quantity = &schedulingpb.Run_Output_MassKg{MassKg: *o.MassKg}
		case o.VolumeLiters != nil:
			converted.Quantity = &schedulingpb.Run_Output_VolumeLiters{VolumeLiters: *o.VolumeLiters}
		}
		out.Outputs = append(out.Outputs, converted)
	}
	return out
}

func summary(s scheduling.MeasurementSummary) *schedulingpb.Run_MeasurementSummary {
	return &schedulingpb.Run_MeasurementSummary{
		MeasurementCount: int32(s.Count), MassKg: s.MassKg, VolumeLiters: s.VolumeLiters, TemperatureCelsius: s.TemperatureCelsius,
		BrixDegrees: s.BrixDegrees, LevelMeters: s.LevelMeters, FailedCheckCount: int32(s.FailedChecks), ObserveTime: stamp(s.ObserveTime),
	}
}

func forecast(f *scheduling.Forecast) *schedulingpb.Run_Forecast {
	return &schedulingpb.Run_Forecast{
		ExpectedFinishTime: stamp(f.Expected), EarliestFinishTime: stamp(f.Earliest), LatestFinishTime: stamp(f.Latest), Coverage: f.Coverage,
		Basis: f.Basis, ForecastTime: stamp(f.At), MeasurementCount: int32(f.Measurements), Notices: f.Notices, Caution: scheduling.Caution,
	}
}
