package planningclient

import (
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/apierr"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/services/scheduling"
)

func moment(t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.AsTime()
}

func length(d *durationpb.Duration) time.Duration { return d.AsDuration() }

// Batch converts a batch of planning.
func Batch(b *planningpb.Batch) (scheduling.Batch, error) {
	out := scheduling.Batch{
		Name: b.GetName(), DisplayName: b.GetDisplayName(), Plan: b.GetPlan(), OutputItem: b.GetOutputItem(), OutputKg: b.GetPlannedOutputKg(),
		State: scheduling.BatchState(b.GetState().String()), EarliestStart: moment(b.GetEarliestStartTime()), Due: moment(b.GetDueTime()),
		Weight: max(int64(b.GetPriorityWeight()), 1), FinishedSteps: b.GetFinishedStepIds(),
	}
	if out.DisplayName == "" {
		out.DisplayName = b.GetName()
	}
	type pair struct{ batch, step string }
	seen := map[pair]bool{}
	for _, input := range b.GetInputs() {
		for _, source := range input.GetSources() {
			p := pair{source.GetBatch(), input.GetStepId()}
			if p.batch == "" || seen[p] {
				continue
			}
			seen[p] = true
			out.Feeds = append(out.Feeds, scheduling.Feed{Batch: p.batch, StepID: p.step})
		}
	}
	for _, s := range b.GetSteps() {
		converted, err := step(b.GetName(), s)
		if err != nil {
			return scheduling.Batch{}, err
		}
		out.Steps = append(out.Steps, converted)
	}
	return out, nil
}

func step(batch string, b *planningpb.BatchStep) (scheduling.Step, error) {
	s := b.GetStep()
	out := scheduling.Step{
		ID: s.GetStepId(), DisplayName: s.GetDisplayName(), Kind: scheduling.StepKind(s.GetKind().String()), VesselClasses: s.GetVesselClasses(),
		Planned: length(b.GetPlannedDuration()), Setup: length(s.GetSetupDuration()), CrewCount: int(s.GetCrewCount()), Attendance: attendance(s.GetAttendance()),
		AttendedStart: length(s.GetAttendedStartDuration()), AttendedEnd: length(s.GetAttendedEndDuration()),
		UnattendedAllowed: s.GetUnattendedAllowed(), Interruptible: s.GetInterruptible(), MinWait: length(s.GetMinWaitDuration()),
		FillLiters: b.GetFillLiters(), LoadKg: b.GetLoadKg(), OutputKg: b.GetOutputKg(), MaterialState: s.GetMaterialState(), Allergens: b.GetAllergens(),
		LimitsProfile: s.GetLimitsProfile(), SecondVesselClass: s.GetSecondVesselClass(), KeepsVessel: s.GetKeepsVessel(), SameVessel: s.GetSameVessel(),
		Critical: s.GetCritical(), Instructions: s.GetInstructions(),
	}
	if out.Planned == 0 {
		out.Planned = length(s.GetPlanningDuration())
	}
	if out.CrewCount == 0 && out.Attendance != scheduling.AttendNone {
		out.CrewCount = 1 // planning's default
	}
	if w := s.GetMaxWaitDuration(); w != nil {
		longest := w.AsDuration()
		out.MaxWait = &longest
	}
	model, err := durationModel(batch, s)
	out.Duration = model
	return out, err
}

func attendance(a planningpb.Step_Attendance) scheduling.Attendance {
	switch a {
	case planningpb.Step_START_AND_END:
		return scheduling.AttendStarts
	case planningpb.Step_NONE:
		return scheduling.AttendNone
	}
	return scheduling.AttendWhole
}

func durationModel(batch string, s *planningpb.Step) (scheduling.DurationModel, error) {
	switch m := s.GetDurationModel().(type) {
	case *planningpb.Step_FixedDuration:
		fixed := m.FixedDuration.AsDuration()
		return scheduling.DurationModel{Fixed: &fixed}, nil
	case *planningpb.Step_RateKgPerHour:
		return scheduling.DurationModel{RateKgPerHour: m.RateKgPerHour}, nil
	case *planningpb.Step_Simmer:
		return scheduling.DurationModel{Simmer: &scheduling.SimmerModel{
			Hold: length(m.Simmer.GetHoldDuration()), StartCelsius: scheduling.StartCelsius(m.Simmer.StartTemperatureCelsius, scheduling.SimmerStartCelsius), TargetCelsius: m.Simmer.TargetTemperatureCelsius,
		}}, nil
	case *planningpb.Step_Reduce:
		return scheduling.DurationModel{Reduce: &scheduling.ReduceModel{
			MassFraction: m.Reduce.GetTargetMassFraction(), TargetBrix: m.Reduce.GetTargetBrix(), StartBrix: m.Reduce.GetStartBrix(),
			StartCelsius: scheduling.StartCelsius(m.Reduce.StartTemperatureCelsius, scheduling.ReduceStartCelsius),
		}}, nil
	case *planningpb.Step_Chill:
		return scheduling.DurationModel{Chill: &scheduling.ChillModel{
			TargetCelsius: m.Chill.GetTargetTemperatureCelsius(), StartCelsius: scheduling.StartCelsius(m.Chill.StartTemperatureCelsius, scheduling.ChillStartCelsius), DepthMeters: m.Chill.GetDepthMeters(),
		}}, nil
	}
	return scheduling.DurationModel{}, apierr.FailedPrecondition(scheduling.BatchInvalid, "step %s of %s has no duration: correct the formula and plan again", s.GetStepId(), batch).
		With("batch", batch).With("step", s.GetStepId()).WithViolation(batch, "step %s has no duration", s.GetStepId())
}
