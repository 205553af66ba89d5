package grpcapi

import (
	"google.golang.org/protobuf/types/known/durationpb"

	pb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/services/planning"
)

func stepsProto(steps []planning.Step) []*pb.Step {
	var out []*pb.Step
	for i := range steps {
		out = append(out, stepProto(&steps[i]))
	}
	return out
}

func stepProto(s *planning.Step) *pb.Step {
	out := &pb.Step{
		StepId: s.ID, DisplayName: s.DisplayName, Kind: pb.Step_Kind(pb.Step_Kind_value[string(s.Kind)]), VesselClasses: s.VesselClasses,
		PlanningDuration: optionalProto(s.PlanningDuration), SetupDuration: durationProto(s.Setup), CrewCount: int32(s.CrewCount),
		Attendance:            pb.Step_Attendance(pb.Step_Attendance_value[string(s.Attendance)]),
		AttendedStartDuration: durationProto(s.AttendedStart), AttendedEndDuration: durationProto(s.AttendedEnd),
		UnattendedAllowed: s.Unattended, Interruptible: s.Interruptible, MinWaitDuration: durationProto(s.MinWait), MaxWaitDuration: optionalProto(s.MaxWait),
		FillLitersPerKgOutput: s.FillLitersPerKg, LoadKgPerKgOutput: s.LoadKgPerKg, MaterialState: s.MaterialState, Allergens: s.Allergens,
		LimitsProfile: s.LimitsProfile, SecondVesselClass: s.SecondClass, KeepsVessel: s.KeepsVessel, SameVessel: s.SameVessel,
		Critical: s.Critical, Instructions: s.Instructions,
	}
	switch {
	case s.FixedDuration != nil:
		out.DurationModel = &pb.Step_FixedDuration{FixedDuration: durationpb.New(*s.FixedDuration)}
	case s.RateKgPerHour > 0:
		out.DurationModel = &pb.Step_RateKgPerHour{RateKgPerHour: s.RateKgPerHour}
	case s.Simmer != nil:
		out.DurationModel = &pb.Step_Simmer{Simmer: &pb.SimmerModel{
			HoldDuration: durationpb.New(s.Simmer.Hold), StartTemperatureCelsius: s.Simmer.StartCelsius, TargetTemperatureCelsius: s.Simmer.TargetCelsius,
		}}
	case s.Reduce != nil:
		out.DurationModel = &pb.Step_Reduce{Reduce: reduceProto(s.Reduce)}
	case s.Chill != nil:
		out.DurationModel = &pb.Step_Chill{Chill: &pb.ChillModel{
			TargetTemperatureCelsius: s.Chill.TargetCelsius, StartTemperatureCelsius: s.Chill.StartCelsius, DepthMeters: s.Chill.DepthMeters,
		}}
	}
	return out
}

func reduceProto(r *planning.ReduceModel) *pb.ReduceModel {
	out := &pb.ReduceModel{StartBrix: r.StartBrix, StartTemperatureCelsius: r.StartCelsius}
	if r.MassFraction > 0 {
		out.Target = &pb.ReduceModel_TargetMassFraction{TargetMassFraction: r.MassFraction}
	} else {
		out.Target = &pb.ReduceModel_TargetBrix{TargetBrix: r.TargetBrix}
	}
	return out
}

func stepsDomain(steps []*pb.Step) []planning.Step {
	var out []planning.Step
	for _, p := range steps {
		out = append(out, stepDomain(p))
	}
	return out
}

func stepDomain(p *pb.Step) planning.Step {
	out := planning.Step{
		ID: p.GetStepId(), DisplayName: p.GetDisplayName(), Kind: planning.StepKind(p.GetKind().String()), VesselClasses: p.GetVesselClasses(),
		PlanningDuration: optionalDomain(p.GetPlanningDuration()), Setup: p.GetSetupDuration().AsDuration(), CrewCount: int(p.GetCrewCount()),
		AttendedStart: p.GetAttendedStartDuration().AsDuration(), AttendedEnd: p.GetAttendedEndDuration().AsDuration(),
		Unattended: p.GetUnattendedAllowed(), Interruptible: p.GetInterruptible(), MinWait: p.GetMinWaitDuration().AsDuration(),
		MaxWait: optionalDomain(p.GetMaxWaitDuration()), FillLitersPerKg: p.GetFillLitersPerKgOutput(), LoadKgPerKg: p.GetLoadKgPerKgOutput(),
		MaterialState: p.GetMaterialState(), Allergens: p.GetAllergens(), LimitsProfile: p.GetLimitsProfile(), SecondClass: p.GetSecondVesselClass(),
		KeepsVessel: p.GetKeepsVessel(), SameVessel: p.GetSameVessel(), Critical: p.GetCritical(), Instructions: p.GetInstructions(),
	}
	if p.GetAttendance() != pb.Step_ATTENDANCE_UNSPECIFIED {
		out.Attendance = planning.Attendance(p.GetAttendance().String())
	}
	switch m := p.GetDurationModel().(type) {
	case *pb.Step_FixedDuration:
		out.FixedDuration = optionalDomain(m.FixedDuration)
	case *pb.Step_RateKgPerHour:
		out.RateKgPerHour = m.RateKgPerHour
	case *pb.Step_Simmer:
		out.Simmer = &planning.SimmerModel{
			Hold: m.Simmer.GetHoldDuration().AsDuration(), StartCelsius: m.Simmer.StartTemperatureCelsius, TargetCelsius: m.Simmer.TargetTemperatureCelsius,
		}
	case *pb.Step_Reduce:
		out.Reduce = &planning.ReduceModel{
			MassFraction: m.Reduce.GetTargetMassFraction(), TargetBrix: m.Reduce.GetTargetBrix(), StartBrix: m.Reduce.GetStartBrix(),
			StartCelsius: m.Reduce.StartTemperatureCelsius,
		}
	case *pb.Step_Chill:
		out.Chill = &planning.ChillModel{
			TargetCelsius: m.Chill.GetTargetTemperatureCelsius(), StartCelsius: m.Chill.StartTemperatureCelsius, DepthMeters: m.Chill.GetDepthMeters(),
		}
	}
	return out
}
