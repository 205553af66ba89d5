package grpcapi

import (
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	"rondeau.internal/services/foodsafety"
)

// Chill converts a chill.
func Chill(c *foodsafety.Chill) *foodsafetypb.Chill {
	out := &foodsafetypb.Chill{
		Name: c.Name, Uid: c.UID, DisplayName: c.DisplayName, Batch: c.Batch, Run: c.Run, Vessel: c.Vessel, LimitsProfile: c.Profile,
		Lots: c.Lots, Probes: c.Probes, StartTime: timestamp(c.StartTime), FinishTime: timestamp(c.FinishTime),
		State:     named[foodsafetypb.Chill_State](foodsafetypb.Chill_State_value, c.State),
		Judgement: judgement(c), AtRisk: c.AtRisk, ReadingCount: int32(min(c.ReadingCount, 1<<31-1)), Deviation: c.Deviation,
		Starter: c.Starter, Finisher: c.Finisher, Recorders: c.Recorders, AbandonReason: c.AbandonReason, Cautions: c.Cautions(),
		CreateTime: timestamp(c.CreateTime), UpdateTime: timestamp(c.UpdateTime), Etag: c.Etag(),
	}
	if c.Latest != nil {
		out.LatestReading = Reading(c.Latest)
	}
	if c.Forecast != nil {
		out.Forecast = forecast(c.Forecast)
	}
	return out
}

func judgement(c *foodsafety.Chill) *foodsafetypb.ChillJudgement {
	j := &c.Judgement
	out := &foodsafetypb.ChillJudgement{
		ClockStartTime: timestamp(j.ClockStart), LongestGapDuration: durationpb.New(j.LongestGap), GapExceeded: j.GapExceeded,
		JudgeTime: timestamp(j.At), Summary: j.Summary,
	}
	for _, s := range j.Stages {
		out.Stages = append(out.Stages, &foodsafetypb.ChillJudgement_Stage{
			StageId: s.StageID, DisplayName: s.DisplayName, LimitText: s.Text, TargetCelsius: float64(c.Limits.Celsius(s.Target)),
			Verdict:      named[foodsafetypb.ChillJudgement_Verdict](foodsafetypb.ChillJudgement_Verdict_value, s.Verdict),
			DeadlineTime: timestamp(s.Deadline), MetTime: timestamp(s.MetTime), ElapsedDuration: durationpb.New(s.Elapsed),
			WithinDuration: durationpb.New(s.Within),
		})
	}
	return out
}

func forecast(f *foodsafety.Forecast) *foodsafetypb.ChillForecast {
	out := &foodsafetypb.ChillForecast{
		SurroundingsCelsius: float64(f.Surroundings), ReadingCount: int32(min(f.Readings, 1<<31-1)), Basis: f.Basis, ForecastTime: timestamp(f.At),
	}
	for i := range f.Stages {
		s := &f.Stages[i]
		out.Stages = append(out.Stages, &foodsafetypb.ChillForecast_Stage{
			StageId: s.StageID, PredictTime: timestamp(s.Likely), EarliestTime: timestamp(s.Earliest), LatestTime: timestamp(s.Latest),
			DeadlineTime: timestamp(s.Deadline), AtRisk: s.AtRisk, Advice: s.Advice, InTimeProbability: s.Chance,
		})
	}
	return out
}

// noForecast is the answer when the readings do not tell.
func noForecast(at time.Time) *foodsafetypb.ChillForecast {
	return &foodsafetypb.ChillForecast{Basis: "Too few readings for a forecast: two at different times, above the surroundings, are needed.", ForecastTime: timestamp(at)}
}

func newChill(id string, c *foodsafetypb.Chill) foodsafety.NewChill {
	return foodsafety.NewChill{
		ID: id, DisplayName: c.GetDisplayName(), Batch: c.GetBatch(), Run: c.GetRun(), Vessel: c.GetVessel(), Profile: c.GetLimitsProfile(),
		Lots: c.GetLots(), Probes: c.GetProbes(), StartTime: moment(c.GetStartTime()),
	}
}
