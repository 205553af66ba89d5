// Package schedulingclient reads vessels, how long steps take in them, and how sure the schedule is, from the service scheduling.
package schedulingclient

import (
	"context"
	"slices"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/services/planning"
)

const (
	pageSize      = 500
	questionsSize = 500 // most steps of one request
)

// Client implements planning.Scheduling.
type Client struct {
	api schedulingpb.SchedulingServiceClient
}

var _ planning.Scheduling = (*Client)(nil)

// New returns a client over a connection.
func New(conn grpc.ClientConnInterface) *Client {
	return &Client{api: schedulingpb.NewSchedulingServiceClient(conn)}
}

// Vessels returns the vessels of a site that are in use. One that is out of order for a time counts: the size of a batch does
// not change because a kettle waits for a part.
func (c *Client) Vessels(ctx context.Context, site string) ([]planning.Vessel, error) {
	var out []planning.Vessel
	request := &schedulingpb.ListVesselsRequest{Parent: site, PageSize: pageSize}
	for {
		answer, err := c.api.ListVessels(ctx, request)
		if err != nil {
			return nil, err
		}
		for _, v := range answer.GetVessels() {
			if !v.GetActive() {
				continue
			}
			out = append(out, planning.Vessel{
				Name: v.GetName(), DisplayName: v.GetDisplayName(), Class: v.GetVesselClass(), MinFillLiters: v.GetMinFillLiters(),
				MaxFillLiters: v.GetMaxFillLiters(), LoadCapacityKg: v.GetLoadCapacityKg(),
			})
		}
		if answer.GetNextPageToken() == "" {
			return out, nil
		}
		request.PageToken = answer.GetNextPageToken()
	}
}

// StepTimes asks how long steps take in the vessels of a site.
func (c *Client) StepTimes(ctx context.Context, site string, questions []planning.StepQuestion) (map[string]planning.StepTime, error) {
	out := make(map[string]planning.StepTime, len(questions))
	for part := range slices.Chunk(questions, questionsSize) {
		request := &schedulingpb.EstimateStepTimesRequest{Parent: site}
		for _, q := range part {
			request.Steps = append(request.Steps, stepProto(q))
		}
		answer, err := c.api.EstimateStepTimes(ctx, request)
		if err != nil {
			return nil, err
		}
		for _, t := range answer.GetStepTimes() {
			out[t.GetKey()] = planning.StepTime{
				Possible: t.GetPossible(), Shortest: t.GetShortestDuration().AsDuration(), Longest: t.GetLongestDuration().AsDuration(), Basis: t.GetBasis(),
			}
		}
	}
	return out, nil
}

// Finishes asks how sure it is that batches are done by given moments.
func (c *Client) Finishes(ctx context.Context, site string, questions []planning.FinishQuestion) ([]planning.Finish, error) {
	out := make([]planning.Finish, 0, len(questions))
	for part := range slices.Chunk(questions, questionsSize) {
		request := &schedulingpb.EstimateFinishesRequest{Parent: site}
		for _, q := range part {
			request.Questions = append(request.Questions, &schedulingpb.EstimateFinishesRequest_Question{Batch: q.Batch, FinishByTime: timestamppb.New(q.By)})
		}
		answer, err := c.api.EstimateFinishes(ctx, request)
		if err != nil {
			return nil, err
		}
		for _, f := range answer.GetFinishes() {
			out = append(out, planning.Finish{Known: f.DoneProbability != nil, Probability: f.GetDoneProbability(), Refusal: f.GetRefusal()})
		}
	}
	return out, nil
}

func stepProto(q planning.StepQuestion) *schedulingpb.EstimateStepTimesRequest_Step {
	s := q.Step
	out := &schedulingpb.EstimateStepTimesRequest_Step{
		Key: q.Key, VesselClasses: s.VesselClasses, FillLiters: q.FillLiters, LoadKg: q.LoadKg, OutputKg: q.OutputKg,
	}
	switch {
	case s.Simmer != nil:
		out.Model = &schedulingpb.EstimateStepTimesRequest_Step_Simmer_{Simmer: &schedulingpb.EstimateStepTimesRequest_Step_Simmer{
			HoldDuration: durationpb.New(s.Simmer.Hold), StartTemperatureCelsius: s.Simmer.StartCelsius, TargetTemperatureCelsius: s.Simmer.TargetCelsius,
		}}
	case s.Reduce != nil:
		reduce := &schedulingpb.EstimateStepTimesRequest_Step_Reduce{StartBrix: s.Reduce.StartBrix, StartTemperatureCelsius: s.Reduce.StartCelsius}
		if s.Reduce.MassFraction > 0 {
			reduce.Target = &schedulingpb.EstimateStepTimesRequest_Step_Reduce_TargetMassFraction{TargetMassFraction: s.Reduce.MassFraction}
		} else {
			reduce.Target = &schedulingpb.EstimateStepTimesRequest_Step_Reduce_TargetBrix{TargetBrix: s.Reduce.TargetBrix}
		}
		out.Model = &schedulingpb.EstimateStepTimesRequest_Step_Reduce_{Reduce: reduce}
	case s.Chill != nil:
		target := s.Chill.TargetCelsius
		out.Model = &schedulingpb.EstimateStepTimesRequest_Step_Chill_{Chill: &schedulingpb.EstimateStepTimesRequest_Step_Chill{
			TargetTemperatureCelsius: &target, StartTemperatureCelsius: s.Chill.StartCelsius, DepthMeters: s.Chill.DepthMeters,
		}}
	}
	return out
}
