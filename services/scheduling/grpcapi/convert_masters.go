package grpcapi

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/services/scheduling"
)

func moment(t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.AsTime()
}

func stamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

func performance(l *scheduling.Learned) *schedulingpb.Vessel_Performance {
	median, low, high := l.Heat()
	return &schedulingpb.Vessel_Performance{
		HeatRatio: median, LowHeatRatio: low, HighHeatRatio: high, EvaporationRatio: l.Belief.Surface.Median(),
		ReadingCount: int32(min(l.Belief.Readings, 1<<31-1)), RunCount: int32(min(l.Belief.Runs, 1<<31-1)), LastRun: l.Run, Summary: l.Words(),
		UpdateTime: stamp(l.UpdateTime),
	}
}

// vessel shows a vessel at the moment of the service's clock.
func (s *Server) vessel(v scheduling.Vessel) *schedulingpb.Vessel {
	out := &schedulingpb.Vessel{
		Name: v.Name, Uid: v.UID, DisplayName: v.DisplayName, VesselClass: v.Class, PowerWatts: v.PowerWatts, Efficiency: v.Efficiency,
		HeatSource:    schedulingpb.Vessel_HeatSource(schedulingpb.Vessel_HeatSource_value[string(v.HeatSource)]),
		MinFillLiters: v.MinFillLiters, MaxFillLiters: v.MaxFillLiters, LoadCapacityKg: v.LoadCapacityKg, Lidded: v.Lidded, SpeedFactor: v.SpeedFactor,
		UnattendedAllowed: v.UnattendedAllowed, Active: &v.Active, State: schedulingpb.Vessel_AVAILABLE, RunningRuns: v.Running, MaterialState: v.MaterialState,
		CreateTime: stamp(v.CreateTime), UpdateTime: stamp(v.UpdateTime), Etag: scheduling.Etag(v.Version),
	}
	if _, down := v.DownAt(s.service.Now()); down {
		out.State = schedulingpb.Vessel_DOWN
	}
	switch sh := v.Shape; sh.Kind {
	case scheduling.ShapeCylinder:
		out.Shape = &schedulingpb.Vessel_Cylinder_{Cylinder: &schedulingpb.Vessel_Cylinder{DiameterMeters: sh.Diameter, HeightMeters: sh.Height}}
	case scheduling.ShapeHemisphere:
		out.Shape = &schedulingpb.Vessel_Hemisphere_{Hemisphere: &schedulingpb.Vessel_Hemisphere{DiameterMeters: sh.Diameter, WallHeightMeters: sh.Height}}
	case scheduling.ShapePan:
		out.Shape = &schedulingpb.Vessel_Pan_{Pan: &schedulingpb.Vessel_Pan{LengthMeters: sh.Length, WidthMeters: sh.Width, DepthMeters: sh.Height}}
	}
	if l := v.Learned; l != nil {
		out.Performance = performance(l)
	}
	if c := v.Cooling; c != nil {
		out.Cooling = &schedulingpb.Vessel_Cooling{
			Method:                   schedulingpb.Vessel_Cooling_Method(schedulingpb.Vessel_Cooling_Method_value[string(c.Method)]),
			MediumTemperatureCelsius: c.MediumTemperatureCelsius, HeatTransferWattsPerSquareMeterKelvin: c.HeatTransfer, CoolingPowerWatts: c.PowerWatts,
			PanDepthMeters: c.PanDepthMeters, WettedAreaSquareMeters: c.WettedAreaSquareMeters, Covered: c.Covered,
		}
	}
	if c := v.Cleaning; c != nil {
		out.Cleaning = &schedulingpb.Vessel_Cleaning{DefaultDuration: durationpb.New(c.Default), Attended: c.Attended, Crew: c.Crew}
		for _, change := range c.Changes {
			out.Cleaning.Changes = append(out.Cleaning.Changes, &schedulingpb.Vessel_Cleaning_Change{
				FromState: change.From, ToState: change.To, Duration: durationpb.New(change.Duration), Attended: change.Attended,
			})
		}
	}
	for _, w := range v.Down {
		out.DownWindows = append(out.DownWindows, &schedulingpb.Vessel_DownWindow{StartTime: stamp(w.Start), EndTime: stamp(w.End), Reason: w.Reason, Reporter: w.Reporter})
	}
	return out
}

// named is the name of an enum value, "" for the unspecified one.
func named[E interface {
	~int32
	fmt.Stringer
}](e E) string {
	if e == 0 {
		return ""
	}
	return e.String()
}

func vesselFrom(p *schedulingpb.Vessel) scheduling.Vessel {
	v := scheduling.Vessel{
		Name: p.GetName(), DisplayName: p.GetDisplayName(), Class: p.GetVesselClass(), PowerWatts: p.GetPowerWatts(), Efficiency: p.GetEfficiency(),
		HeatSource: scheduling.HeatSource(named(p.GetHeatSource())), MinFillLiters: p.GetMinFillLiters(), MaxFillLiters: p.GetMaxFillLiters(),
		LoadCapacityKg: p.GetLoadCapacityKg(), Lidded: p.GetLidded(), SpeedFactor: p.GetSpeedFactor(), UnattendedAllowed: p.GetUnattendedAllowed(),
		Active: p.Active == nil || p.GetActive(),
	}
	switch sh := p.GetShape().(type) {
	case *schedulingpb.Vessel_Cylinder_:
		v.Shape = scheduling.Shape{Kind: scheduling.ShapeCylinder, Diameter: sh.Cylinder.GetDiameterMeters(), Height: sh.Cylinder.GetHeightMeters()}
	case *schedulingpb.Vessel_Hemisphere_:
		v.Shape = scheduling.Shape{Kind: scheduling.ShapeHemisphere, Diameter: sh.Hemisphere.GetDiameterMeters(), Height: sh.Hemisphere.GetWallHeightMeters()}
	case *schedulingpb.Vessel_Pan_:
		v.Shape = scheduling.Shape{Kind: scheduling.ShapePan, Length: sh.Pan.GetLengthMeters(), Width: sh.Pan.GetWidthMeters(), Height: sh.Pan.GetDepthMeters()}
	}
	if c := p.GetCooling(); c != nil {
		v.Cooling = &scheduling.Cooling{
			Method: scheduling.CoolingMethod(named(c.GetMethod())), MediumTemperatureCelsius: c.GetMediumTemperatureCelsius(),
			HeatTransfer: c.GetHeatTransferWattsPerSquareMeterKelvin(), PowerWatts: c.GetCoolingPowerWatts(), PanDepthMeters: c.GetPanDepthMeters(),
			WettedAreaSquareMeters: c.GetWettedAreaSquareMeters(), Covered: c.GetCovered(),
		}
	}
	if c := p.GetCleaning(); c != nil {
		v.Cleaning = &scheduling.Cleaning{Default: c.GetDefaultDuration().AsDuration(), Attended: c.GetAttended(), Crew: c.GetCrew()}
		for _, change := range c.GetChanges() {
			v.Cleaning.Changes = append(v.Cleaning.Changes, scheduling.CleaningChange{
				From: change.GetFromState(), To: change.GetToState(), Duration: change.GetDuration().AsDuration(), Attended: change.GetAttended(),
			})
		}
	}
	return v
}

// clockText writes minutes since midnight as "HH:MM".
func clockText(minutes int) string { return fmt.Sprintf("%02d:%02d", minutes/60, minutes%60) }

// clockMinutes reads "HH:MM"; the shape has been checked at the border.
func clockMinutes(field, text string) (int, error) {
	var hours, minutes int
	if _, err := fmt.Sscanf(text, "%2d:%2d", &hours, &minutes); err != nil {
		return 0, malformed(field, "%q is no time of day: write it like 06:30", text)
	}
	return hours*60 + minutes, nil
}

func calendar(c scheduling.Calendar) *schedulingpb.Calendar {
	out := &schedulingpb.Calendar{
		Name: c.Name, Uid: c.UID, DisplayName: c.DisplayName, TimeZone: c.TimeZone,
		CreateTime: stamp(c.CreateTime), UpdateTime: stamp(c.UpdateTime), Etag: scheduling.Etag(c.Version),
	}
	for _, s := range c.Shifts {
		day := schedulingpb.Calendar_Weekday(s.Weekday)
		if s.Weekday == time.Sunday {
			day = schedulingpb.Calendar_SUNDAY
		}
		out.WeeklyShifts = append(out.WeeklyShifts, &schedulingpb.Calendar_WeeklyShift{
			Weekday: day, StartClock: clockText(s.Start), EndClock: clockText(s.End), Overtime: s.Overtime,
		})
	}
	for _, e := range c.Exceptions {
		day := &schedulingpb.Calendar_DayException{ExceptionDate: e.Date, Note: e.Note}
		for _, s := range e.Spans {
			day.Spans = append(day.Spans, &schedulingpb.Calendar_ClockSpan{StartClock: clockText(s.Start), EndClock: clockText(s.End), Overtime: s.Overtime})
		}
		out.Exceptions = append(out.Exceptions, day)
	}
	return out
}

func calendarFrom(p *schedulingpb.Calendar) (scheduling.Calendar, error) {
	c := scheduling.Calendar{Name: p.GetName(), DisplayName: p.GetDisplayName(), TimeZone: p.GetTimeZone()}
	span := func(field, start, end string) (int, int, error) {
		from, err := clockMinutes(field+".start_clock", start)
		if err != nil {
			return 0, 0, err
		}
		to, err := clockMinutes(field+".end_clock", end)
		return from, to, err
	}
	for i, s := range p.GetWeeklyShifts() {
		from, to, err := span(fmt.Sprintf("calendar.weekly_shifts[%d]", i), s.GetStartClock(), s.GetEndClock())
		if err != nil {
			return c, err
		}
		c.Shifts = append(c.Shifts, scheduling.Shift{Weekday: time.Weekday(s.GetWeekday() % 7), Start: from, End: to, Overtime: s.GetOvertime()})
	}
	for i, e := range p.GetExceptions() {
		day := scheduling.DayException{Date: e.GetExceptionDate(), Note: e.GetNote()}
		for j, s := range e.GetSpans() {
			from, to, err := span(fmt.Sprintf("calendar.exceptions[%d].spans[%d]", i, j), s.GetStartClock(), s.GetEndClock())
			if err != nil {
				return c, err
			}
			day.Spans = append(day.Spans, scheduling.ClockSpan{Start: from, End: to, Overtime: s.GetOvertime()})
		}
		c.Exceptions = append(c.Exceptions, day)
	}
	return c, nil
}

func crew(c scheduling.Crew) *schedulingpb.Crew {
	out := &schedulingpb.Crew{
		Name: c.Name, Uid: c.UID, DisplayName: c.DisplayName, Headcount: int32(c.Headcount), Calendar: c.Calendar, VesselClasses: c.VesselClasses, Active: &c.Active,
		CreateTime: stamp(c.CreateTime), UpdateTime: stamp(c.UpdateTime), Etag: scheduling.Etag(c.Version),
	}
	for _, a := range c.Absences {
		out.Absences = append(out.Absences, &schedulingpb.Crew_Absence{StartTime: stamp(a.Start), EndTime: stamp(a.End), Headcount: int32(a.Headcount), Note: a.Note})
	}
	return out
}

func crewFrom(p *schedulingpb.Crew) scheduling.Crew {
	c := scheduling.Crew{
		Name: p.GetName(), DisplayName: p.GetDisplayName(), Headcount: int(p.GetHeadcount()), Calendar: p.GetCalendar(), VesselClasses: p.GetVesselClasses(),
		Active: p.Active == nil || p.GetActive(),
	}
	for _, a := range p.GetAbsences() {
		c.Absences = append(c.Absences, scheduling.Absence{Start: moment(a.GetStartTime()), End: moment(a.GetEndTime()), Headcount: int(a.GetHeadcount()), Note: a.GetNote()})
	}
	return c
}

func weightTo(w *int64) *int32 {
	if w == nil {
		return nil
	}
	out := int32(*w)
	return &out
}

func weightFrom(w *int32) *int64 {
	if w == nil {
		return nil
	}
	out := int64(*w)
	return &out
}

func limits(l scheduling.KitchenLimits) *schedulingpb.KitchenLimits {
	w := l.Weights
	out := &schedulingpb.KitchenLimits{
		Name: l.Name, ElectricPowerWatts: l.ElectricPowerWatts, SteamPowerWatts: l.SteamPowerWatts, UnattendedCalendar: l.UnattendedCalendar,
		AirTemperatureCelsius: &l.AirTemperatureCelsius, UpdateTime: stamp(l.UpdateTime), Etag: scheduling.Etag(l.Version),
	}
	if w != (scheduling.Weights{}) {
		out.Weights = &schedulingpb.KitchenLimits_Weights{
			Overtime: weightTo(w.Overtime), Energy: weightTo(w.Energy), Freshness: weightTo(w.Freshness), Change: weightTo(w.Change), Makespan: weightTo(w.Makespan),
			Lateness: weightTo(w.Lateness),
		}
	}
	return out
}

func limitsFrom(p *schedulingpb.KitchenLimits) scheduling.KitchenLimits {
	l := scheduling.KitchenLimits{
		Name: p.GetName(), ElectricPowerWatts: p.GetElectricPowerWatts(), SteamPowerWatts: p.GetSteamPowerWatts(), UnattendedCalendar: p.GetUnattendedCalendar(),
		AirTemperatureCelsius: scheduling.DefaultAirTemperatureCelsius,
	}
	if p.AirTemperatureCelsius != nil {
		l.AirTemperatureCelsius = p.GetAirTemperatureCelsius()
	}
	if w := p.GetWeights(); w != nil {
		l.Weights = scheduling.Weights{
			Overtime: weightFrom(w.Overtime), Energy: weightFrom(w.Energy), Freshness: weightFrom(w.Freshness), Change: weightFrom(w.Change), Makespan: weightFrom(w.Makespan),
			Lateness: weightFrom(w.Lateness),
		}
	}
	return l
}
