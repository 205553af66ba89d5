package grpcapi

import (
	"context"

	"google.golang.org/protobuf/types/known/durationpb"

	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/services/scheduling"
)

// EstimateStepTimes implements the RPC.
func (s *Server) EstimateStepTimes(ctx context.Context, req *schedulingpb.EstimateStepTimesRequest) (*schedulingpb.EstimateStepTimesResponse, error) {
	questions := make([]scheduling.Question, 0, len(req.GetSteps()))
	for _, step := range req.GetSteps() {
		questions = append(questions, question(step))
	}
	times, err := s.service.EstimateStepTimes(ctx, req.GetParent(), questions)
	if err != nil {
		return nil, err
	}
	out := &schedulingpb.EstimateStepTimesResponse{Caution: scheduling.Caution}
	for _, t := range times {
		converted := &schedulingpb.EstimateStepTimesResponse_StepTime{Key: t.Key, Possible: t.Possible, Basis: t.Basis, Refusal: t.Refusal}
		if t.Possible {
			converted.ShortestDuration, converted.LongestDuration = durationpb.New(t.Shortest), durationpb.New(t.Longest)
		}
		out.StepTimes = append(out.StepTimes, converted)
	}
	return out, nil
}

func question(p *schedulingpb.EstimateStepTimesRequest_Step) scheduling.Question {
	out := scheduling.Question{Key: p.GetKey(), Step: scheduling.Step{
		ID: p.GetKey(), DisplayName: p.GetKey(), VesselClasses: p.GetVesselClasses(), FillLiters: p.GetFillLiters(), LoadKg: p.GetLoadKg(), OutputKg: p.GetOutputKg(),
	}}
	switch m := p.GetModel().(type) {
	case *schedulingpb.EstimateStepTimesRequest_Step_Simmer_:
		out.Step.Duration.Simmer = &scheduling.SimmerModel{
			Hold: m.Simmer.GetHoldDuration().AsDuration(), StartCelsius: scheduling.StartCelsius(m.Simmer.StartTemperatureCelsius, scheduling.SimmerStartCelsius), TargetCelsius: m.Simmer.TargetTemperatureCelsius,
		}
	case *schedulingpb.EstimateStepTimesRequest_Step_Reduce_:
		out.Step.Duration.Reduce = &scheduling.ReduceModel{
			MassFraction: m.Reduce.GetTargetMassFraction(), TargetBrix: m.Reduce.GetTargetBrix(), StartBrix: m.Reduce.GetStartBrix(),
			StartCelsius: scheduling.StartCelsius(m.Reduce.StartTemperatureCelsius, scheduling.ReduceStartCelsius),
		}
	case *schedulingpb.EstimateStepTimesRequest_Step_Chill_:
		out.Step.Duration.Chill = &scheduling.ChillModel{
			TargetCelsius: m.Chill.GetTargetTemperatureCelsius(), StartCelsius: scheduling.StartCelsius(m.Chill.StartTemperatureCelsius, scheduling.ChillStartCelsius), DepthMeters: m.Chill.GetDepthMeters(),
		}
	}
	return out
}
