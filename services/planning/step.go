package planning

import (
	"fmt"
	"time"
)

// StepKind is the kind of work of a step, by its name in the API: ROAST, SIMMER, CHILL and so on.
type StepKind string

// Attendance says how much of a step needs a person.
type Attendance string

// The values of Attendance. Empty means the whole step.
const (
	AttendWhole       Attendance = "WHOLE"
	AttendStartAndEnd Attendance = "START_AND_END"
	AttendNone        Attendance = "NONE"
)

// Step is one piece of a formula at one class of vessel. Exactly one of FixedDuration, RateKgPerHour, Simmer, Reduce and
// Chill says how long it takes.
type Step struct {
	ID            string
	DisplayName   string
	Kind          StepKind
	VesselClasses []string

	FixedDuration *time.Duration
	RateKgPerHour float64 // kilograms of output per hour; 0 is unset
	Simmer        *SimmerModel
	Reduce        *ReduceModel
	Chill         *ChillModel

	PlanningDuration *time.Duration
	Setup            time.Duration
	CrewCount        int // 0: 1 unless nobody is needed
	Attendance       Attendance
	AttendedStart    time.Duration
	AttendedEnd      time.Duration
	Unattended       bool
	Interruptible    bool
	MinWait          time.Duration
	MaxWait          *time.Duration // nil: no limit

	FillLitersPerKg float64 // per kilogram of batch output
	LoadKgPerKg     float64
	MaterialState   string
	Allergens       []string
	LimitsProfile   string
	SecondClass     string
	KeepsVessel     bool
	SameVessel      bool
	Critical        bool
	Instructions    string
}

// SimmerModel is bring-up and hold of a liquid. Nil temperatures mean the defaults of scheduling.
type SimmerModel struct {
	Hold          time.Duration
	StartCelsius  *float64
	TargetCelsius *float64
}

// ReduceModel is a reduction. One of MassFraction and TargetBrix is above 0.
type ReduceModel struct {
	MassFraction float64
	TargetBrix   float64
	StartBrix    float64
	StartCelsius *float64
}

// ChillModel is cooling or freezing.
type ChillModel struct {
	TargetCelsius float64
	StartCelsius  *float64
	DepthMeters   float64
}

// maxStepHours is the longest step, as in the API: 30 days. It also keeps a very slow rate from overflowing.
const maxStepHours = 30 * 24

// duration returns the time that the formula or product itself tells for the step at a batch of outputKg, set-up and waits not
// included. Planning counts it where the physics of the vessels are not known: see stepTimes.
func (s *Step) duration(outputKg float64) time.Duration {
	switch {
	case s.PlanningDuration != nil && *s.PlanningDuration > 0:
		return *s.PlanningDuration
	case s.FixedDuration != nil:
		return *s.FixedDuration
	case s.RateKgPerHour > 0:
		return time.Duration(min(outputKg/s.RateKgPerHour, maxStepHours) * float64(time.Hour)).Round(time.Second)
	case s.Simmer != nil:
		return s.Simmer.Hold
	}
	return 0
}

// checkSteps adds what is wrong with the steps of a formula or product.
func checkSteps(f *faults, field, site string, steps []Step) {
	if len(steps) == 0 {
		f.add(field, "is empty: give at least one step")
	}
	seen := map[string]bool{}
	for i := range steps {
		checkStep(f, fmt.Sprintf("%s[%d]", field, i), site, &steps[i], i == 0)
		if seen[steps[i].ID] {
			f.add(fmt.Sprintf("%s[%d].step_id", field, i), "%q is used twice: every step of a formula needs its own", steps[i].ID)
		}
		seen[steps[i].ID] = true
	}
}

func checkStep(f *faults, at, site string, s *Step, first bool) {
	f.need(at+".display_name", s.DisplayName, "a name for the step")
	models := 0
	for _, set := range []bool{s.FixedDuration != nil, s.RateKgPerHour > 0, s.Simmer != nil, s.Reduce != nil, s.Chill != nil} {
		if set {
			models++
		}
	}
	if models != 1 {
		f.add(at, "needs exactly one way to tell its duration: fixed_duration, rate_kg_per_hour, simmer, reduce or chill")
	}
	if (s.Reduce != nil || s.Chill != nil) && (s.PlanningDuration == nil || *s.PlanningDuration <= 0) {
		f.add(at+".planning_duration", "is missing: a reduction or chill takes as long as its vessel needs, so give the time that planning should count")
	}
	if s.Reduce != nil && s.Reduce.TargetBrix > 0 && s.Reduce.StartBrix >= s.Reduce.TargetBrix {
		f.add(at+".reduce.start_brix", "is %g, not below the target of %g: a reduction only thickens", s.Reduce.StartBrix, s.Reduce.TargetBrix)
	}
	if s.Reduce != nil && s.Reduce.TargetBrix > 0 && s.Reduce.StartBrix == 0 {
		f.add(at+".reduce.start_brix", "is missing: a target in degrees Brix needs the value at the start")
	}
	if s.Chill != nil && s.Chill.StartCelsius != nil && *s.Chill.StartCelsius <= s.Chill.TargetCelsius {
		f.add(at+".chill.start_temperature_celsius", "is %g, not above the target of %g", *s.Chill.StartCelsius, s.Chill.TargetCelsius)
	}
	if len(s.VesselClasses) > 0 && s.FillLitersPerKg == 0 && (s.Simmer != nil || s.Reduce != nil) {
		f.add(at+".fill_liters_per_kg_output", "is missing: say how many litres the vessel holds for each kilogram of output")
	}
	if s.MaxWait != nil && *s.MaxWait < s.MinWait {
		f.add(at+".max_wait_duration", "is %s, shorter than the least wait of %s", *s.MaxWait, s.MinWait)
	}
	if s.Attendance == AttendStartAndEnd && s.AttendedStart+s.AttendedEnd == 0 {
		f.add(at+".attended_start_duration", "is missing: say how long a person is needed at the start or the end")
	}
	if s.SameVessel && first {
		f.add(at+".same_vessel", "cannot be set on the first step: there is no step before it")
	}
	if s.LimitsProfile != "" && SiteOf(s.LimitsProfile) != site {
		f.add(at+".limits_profile", "%s belongs to another site", s.LimitsProfile)
	}
}
