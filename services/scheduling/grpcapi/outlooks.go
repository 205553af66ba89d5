package grpcapi

import (
	"context"

	"google.golang.org/protobuf/types/known/durationpb"

	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/services/scheduling"
)

// AssessSchedule implements the RPC.
func (s *Server) AssessSchedule(ctx context.Context, req *schedulingpb.AssessScheduleRequest) (*schedulingpb.Outlook, error) {
	o, err := s.service.AssessSchedule(ctx, scheduling.Assess{
		Name: req.GetName(), Samples: int(req.GetSampleCount()), Seed: req.GetSeed(), Buffers: req.GetBuffers(),
	})
	if err != nil {
		return nil, err
	}
	return outlook(o), nil
}

// EstimateFinishes implements the RPC.
func (s *Server) EstimateFinishes(ctx context.Context, req *schedulingpb.EstimateFinishesRequest) (*schedulingpb.EstimateFinishesResponse, error) {
	var questions []scheduling.FinishQuestion
	for _, q := range req.GetQuestions() {
		questions = append(questions, scheduling.FinishQuestion{Batch: q.GetBatch(), By: moment(q.GetFinishByTime())})
	}
	answers, name, at, err := s.service.EstimateFinishes(ctx, req.GetParent(), questions)
	if err != nil {
		return nil, err
	}
	out := &schedulingpb.EstimateFinishesResponse{Schedule: name, AssessTime: stamp(at), Caution: scheduling.Caution}
	for _, a := range answers {
		f := &schedulingpb.EstimateFinishesResponse_Finish{Batch: a.Batch, Refusal: a.Refusal, FinishP50Time: stamp(a.Finish50), FinishP95Time: stamp(a.Finish95)}
		if a.Refusal == "" {
			f.DoneProbability = &a.Probability
		}
		out.Finishes = append(out.Finishes, f)
	}
	return out, nil
}

func outlook(o scheduling.Outlook) *schedulingpb.Outlook {
	out := &schedulingpb.Outlook{
		Schedule: o.Schedule, AssessTime: stamp(o.At), Outdated: o.Outdated, SampleCount: int32(o.Samples), Seed: o.Seed,
		AllOnTimeProbability: o.AllOnTime, ExpectedLateBatchCount: o.ExpectedLate, Refusal: o.Refusal, Summary: o.Summary, Cautions: o.Cautions,
	}
	for _, b := range o.Batches {
		out.Batches = append(out.Batches, batchOutlook(b))
	}
	for _, w := range o.Waits {
		out.Waits = append(out.Waits, &schedulingpb.Outlook_Wait{
			Batch: w.Batch, StepId: w.StepID, MaxWaitDuration: durationpb.New(w.Longest), ExceededProbability: w.Exceeded,
			ExcessDuration: durationpb.New(w.Excess), Text: w.Text,
		})
	}
	for _, b := range o.Buffers {
		converted := &schedulingpb.Outlook_Buffer{
			Batch: b.Batch, ShiftDuration: durationpb.New(b.Shift), OnTimeGainCount: b.Gain, OnTimeGainMarginCount: 2 * b.StandardError, Text: b.Text,
		}
		for _, m := range b.Moves {
			converted.Moves = append(converted.Moves, &schedulingpb.Outlook_Buffer_Move{
				Batch: m.Batch, StepId: m.StepID, PlannedStartTime: stamp(m.Planned), ProposedStartTime: stamp(m.Proposed),
			})
		}
		out.Buffers = append(out.Buffers, converted)
	}
	for _, t := range o.Spreads {
		out.Spreads = append(out.Spreads, &schedulingpb.Outlook_Spread{
			Kind: stepKind(t.Kind), VesselClass: t.VesselClass, StepCount: int32(t.Steps), P10Factor: t.P10, P50Factor: t.P50, P90Factor: t.P90,
			RunCount: int32(t.Runs), Basis: t.Basis,
		})
	}
	return out
}

func batchOutlook(b scheduling.BatchOutlook) *schedulingpb.Outlook_BatchOutlook {
	out := &schedulingpb.Outlook_BatchOutlook{
		Batch: b.Batch, DisplayName: b.DisplayName, DueTime: stamp(b.Due), PlannedEndTime: stamp(b.PlannedEnd),
		FinishP50Time: stamp(b.Finish50), FinishP80Time: stamp(b.Finish80), FinishP95Time: stamp(b.Finish95),
	}
	if !b.Due.IsZero() {
		out.SlackDuration = durationpb.New(b.Due.Sub(b.PlannedEnd))
		out.OnTimeProbability = &b.OnTime
	}
	for _, c := range b.Causes {
		converted := &schedulingpb.Outlook_Cause{
			Kind: schedulingpb.Outlook_Cause_Kind(schedulingpb.Outlook_Cause_Kind_value[string(c.Kind)]), LateFraction: c.Share,
			Batch: c.Batch, StepId: c.StepID, Vessel: c.Vessel, Crew: c.Crew, Text: c.Text,
		}
		if c.Excess > 0 {
			converted.ExcessDuration = durationpb.New(c.Excess)
		}
		out.Causes = append(out.Causes, converted)
	}
	return out
}
