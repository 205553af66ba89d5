package grpcapi

import (
	"context"

	"google.golang.org/protobuf/types/known/durationpb"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	"rondeau.internal/pkg/microbe"
	"rondeau.internal/services/foodsafety"
)

// EstimateChillGrowth implements the RPC.
func (s *Server) EstimateChillGrowth(ctx context.Context, q *foodsafetypb.EstimateChillGrowthRequest) (*foodsafetypb.GrowthEstimate, error) {
	food := microbe.Product{Category: category(q.GetCategory()), PH: q.GetAcidityPh(), SaltPercent: -1}
	if q.SaltPercent != nil {
		food.SaltPercent = q.GetSaltPercent()
	}
	g, err := s.service.EstimateGrowth(ctx, q.GetName(), food)
	if err != nil {
		return nil, err
	}
	return growth(g), nil
}

func category(c foodsafetypb.EstimateChillGrowthRequest_FoodCategory) microbe.Category {
	switch c {
	case foodsafetypb.EstimateChillGrowthRequest_BEEF:
		return microbe.Beef
	case foodsafetypb.EstimateChillGrowthRequest_PORK:
		return microbe.Pork
	case foodsafetypb.EstimateChillGrowthRequest_POULTRY:
		return microbe.Poultry
	}
	return microbe.Stock
}

func growth(g *foodsafety.Growth) *foodsafetypb.GrowthEstimate {
	out := &foodsafetypb.GrowthEstimate{
		LikelyLog10: g.Likely, UpperLog10: g.Upper, CriterionLog10: g.Limit, Reason: g.Reason, InRange: g.InRange, OutOfRange: g.OutOfRange,
		Formed: g.Formed, Models: g.Used, Assumptions: g.Assumptions, Cautions: g.Cautions, ReadingCount: int32(min(g.Readings, 1<<31-1)),
		GrowthRangeDuration: durationpb.New(g.Growing), Probe: g.Probe, EstimateTime: timestamp(g.At),
	}
	switch g.Verdict {
	case microbe.Met:
		out.Verdict = foodsafetypb.GrowthEstimate_MET
	case microbe.NotMet:
		out.Verdict = foodsafetypb.GrowthEstimate_NOT_MET
	default:
		out.Verdict = foodsafetypb.GrowthEstimate_NOT_DECIDABLE
	}
	for _, gap := range g.Gaps {
		out.Gaps = append(out.Gaps, &foodsafetypb.GrowthEstimate_Gap{StartTime: timestamp(gap.From), EndTime: timestamp(gap.To)})
	}
	return out
}
