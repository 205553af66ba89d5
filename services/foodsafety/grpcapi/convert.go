package grpcapi

import (
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/foodsafety"
)

// timestamp leaves the zero time out.
func timestamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

// moment is the zero time for an absent timestamp.
func moment(t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.AsTime()
}

// named finds the enum value of a domain word by its name, 0 when it has none.
func named[E ~int32, W ~string](values map[string]int32, word W) E { return E(values[string(word)]) }

func scaleToProto(s units.Scale) foodsafetypb.LimitsProfile_Scale {
	if s == units.ScaleFahrenheit {
		return foodsafetypb.LimitsProfile_FAHRENHEIT
	}
	return foodsafetypb.LimitsProfile_CELSIUS
}

// scaleFromProto gives an unknown scale, which the domain refuses, for an unspecified one.
func scaleFromProto(s foodsafetypb.LimitsProfile_Scale) units.Scale {
	switch s {
	case foodsafetypb.LimitsProfile_FAHRENHEIT:
		return units.ScaleFahrenheit
	case foodsafetypb.LimitsProfile_CELSIUS:
		return units.ScaleCelsius
	}
	return units.ScaleKelvin
}

// LimitsProfile converts a limits profile.
func LimitsProfile(p *foodsafety.LimitsProfile) *foodsafetypb.LimitsProfile {
	out := &foodsafetypb.LimitsProfile{
		Name: p.Name, Uid: p.UID, DisplayName: p.DisplayName, Source: p.Source, Unconfirmed: p.Unconfirmed, Scale: scaleToProto(p.Scale),
		StartDegrees: p.Start, StartCelsius: float64(p.Celsius(p.Start)), MaxGapDuration: durationpb.New(p.MaxGap), BuiltIn: p.BuiltIn,
		Cautions: p.Cautions(), CreateTime: timestamp(p.CreateTime), UpdateTime: timestamp(p.UpdateTime), Etag: p.Etag(),
	}
	for _, s := range p.Stages {
		out.Stages = append(out.Stages, &foodsafetypb.LimitsProfile_Stage{
			StageId: s.ID, DisplayName: s.DisplayName, TargetDegrees: s.Target, WithinDuration: durationpb.New(s.Within),
			TargetCelsius: float64(p.Celsius(s.Target)), PrintedPair: s.PrintedPair,
		})
	}
	return out
}

// limitsProfileFields takes what a caller may set.
func limitsProfileFields(in *foodsafetypb.LimitsProfile, p *foodsafety.LimitsProfile) {
	p.DisplayName, p.Source, p.Unconfirmed = in.GetDisplayName(), in.GetSource(), in.GetUnconfirmed()
	p.Scale, p.Start, p.MaxGap = scaleFromProto(in.GetScale()), in.GetStartDegrees(), in.GetMaxGapDuration().AsDuration()
	p.Stages = nil
	for _, s := range in.GetStages() {
		p.Stages = append(p.Stages, foodsafety.LimitStage{
			ID: s.GetStageId(), DisplayName: s.GetDisplayName(), Target: s.GetTargetDegrees(), Within: s.GetWithinDuration().AsDuration(), PrintedPair: s.GetPrintedPair(),
		})
	}
}

// Probe converts a probe.
func Probe(p *foodsafety.Probe) *foodsafetypb.Probe {
	return &foodsafetypb.Probe{
		Name: p.Name, Uid: p.UID, DisplayName: p.DisplayName, DeviceId: p.DeviceID, Vessel: p.Vessel, CalibrationDate: p.CalibrationDate,
		CalibrationOffsetKelvins: float64(p.CalibrationOffset), AccuracyKelvins: float64(p.Accuracy), Disabled: p.Disabled,
		CreateTime: timestamp(p.CreateTime), UpdateTime: timestamp(p.UpdateTime), Etag: p.Etag(),
	}
}

// probeFields takes what a caller may set.
func probeFields(in *foodsafetypb.Probe, p *foodsafety.Probe) {
	p.DisplayName, p.DeviceID, p.Vessel, p.CalibrationDate = in.GetDisplayName(), in.GetDeviceId(), in.GetVessel(), in.GetCalibrationDate()
	p.CalibrationOffset = units.CelsiusDelta(in.GetCalibrationOffsetKelvins())
	p.Accuracy, p.Disabled = units.CelsiusDelta(in.GetAccuracyKelvins()), in.GetDisabled()
}

// Reading converts a reading.
func Reading(r *foodsafety.Reading) *foodsafetypb.Reading {
	return &foodsafetypb.Reading{
		Name: r.Name, Chill: r.Chill, Probe: r.Probe, ObserveTime: timestamp(r.ObserveTime), RecordTime: timestamp(r.RecordTime),
		TemperatureCelsius: float64(r.Measured), JudgedTemperatureCelsius: float64(r.Judged), Recorder: r.Recorder, LateEntry: r.Late, Note: r.Note,
	}
}

func newReading(r *foodsafetypb.Reading) foodsafety.NewReading {
	return foodsafety.NewReading{
		Chill: r.GetChill(), Probe: r.GetProbe(), ObserveTime: moment(r.GetObserveTime()), Temperature: units.Celsius(r.GetTemperatureCelsius()), Note: r.GetNote(),
	}
}

// Deviation converts a deviation.
func Deviation(d *foodsafety.Deviation) *foodsafetypb.Deviation {
	out := &foodsafetypb.Deviation{
		Name: d.Name, Uid: d.UID, Kind: named[foodsafetypb.Deviation_Kind](foodsafetypb.Deviation_Kind_value, d.Kind), Subjects: d.Subjects,
		Description: d.Description, Chill: d.Chill, State: named[foodsafetypb.Deviation_State](foodsafetypb.Deviation_State_value, d.State),
		Opener: d.Opener, OpenTime: timestamp(d.OpenTime), Closer: d.Closer, CloseTime: timestamp(d.CloseTime), CloseNote: d.CloseNote,
		CreateTime: timestamp(d.CreateTime), UpdateTime: timestamp(d.UpdateTime), Etag: d.Etag(),
	}
	for _, a := range d.Actions {
		out.CorrectiveActions = append(out.CorrectiveActions, &foodsafetypb.CorrectiveAction{
			Text: a.Text, Decision: named[foodsafetypb.CorrectiveAction_Decision](foodsafetypb.CorrectiveAction_Decision_value, a.Decision),
			Actor: a.Actor, RecordTime: timestamp(a.RecordTime),
		})
	}
	return out
}

// Hold converts a hold.
func Hold(h *foodsafety.Hold) *foodsafetypb.Hold {
	return &foodsafetypb.Hold{
		Name: h.Name, Uid: h.UID, Subject: h.Subject, Reason: h.Reason, Deviation: h.Deviation,
		State:  named[foodsafetypb.Hold_State](foodsafetypb.Hold_State_value, h.State),
		Placer: h.Placer, PlaceTime: timestamp(h.PlaceTime), Lifter: h.Lifter, LiftTime: timestamp(h.LiftTime), LiftReason: h.LiftReason,
		CreateTime: timestamp(h.CreateTime), UpdateTime: timestamp(h.UpdateTime), Etag: h.Etag(),
	}
}

// Release converts a release.
func Release(r *foodsafety.Release) *foodsafetypb.Release {
	return &foodsafetypb.Release{
		Name: r.Name, Uid: r.UID, Lot: r.Lot, Batch: r.Batch, Signer: r.Signer, SignTime: timestamp(r.SignTime), Meaning: r.Meaning, Note: r.Note,
		ReviewedChills: r.ReviewedChills, ReviewedDeviations: r.ReviewedDeviations, RecordMakers: r.RecordMakers, Voided: r.Voided,
		NoChillReason: r.NoChillReason, Cautions: foodsafety.Cautions(),
	}
}

func safetyRecord(r *foodsafety.Record) *foodsafetypb.SafetyRecord {
	return &foodsafetypb.SafetyRecord{
		Name: r.Name(), Sequence: r.Sequence, Resource: r.Resource, Action: r.Action, Actor: r.Actor, ActorRole: r.ActorRole,
		RecordTime: timestamp(r.RecordTime), OldValue: r.OldValue, NewValue: r.NewValue, Reason: r.Reason,
	}
}

func lotStatus(s *foodsafety.LotStatus) *foodsafetypb.CheckLotsResponse_LotStatus {
	return &foodsafetypb.CheckLotsResponse_LotStatus{
		Lot: s.Lot, Shippable: s.Shippable, Clear: s.Clear, Known: s.Known, Made: s.Made, Released: s.Released, Holds: s.Holds,
		Deviations: s.Deviations, Reasons: s.Reasons,
	}
}
