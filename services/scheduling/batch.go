package scheduling

import (
	"fmt"
	"time"

	"rondeau.internal/pkg/apierr"
)

// StepKind is the kind of work of a step, by its name in the API.
type StepKind string

// The kinds of work.
const (
	KindRoast   StepKind = "ROAST"
	KindBrown   StepKind = "BROWN"
	KindSimmer  StepKind = "SIMMER"
	KindStrain  StepKind = "STRAIN"
	KindChill   StepKind = "CHILL"
	KindDefat   StepKind = "DEFAT"
	KindReduce  StepKind = "REDUCE"
	KindBlend   StepKind = "BLEND"
	KindPortion StepKind = "PORTION"
	KindFreeze  StepKind = "FREEZE"
	KindHold    StepKind = "HOLD"
	KindThaw    StepKind = "THAW"
	KindPrepare StepKind = "PREPARE"
	KindSeason  StepKind = "SEASON"
)

// StepKinds lists all kinds.
var StepKinds = []StepKind{
	KindRoast, KindBrown, KindSimmer, KindStrain, KindChill, KindDefat, KindReduce, KindBlend, KindPortion, KindFreeze,
	KindHold, KindThaw, KindPrepare, KindSeason,
}

// waits says whether the material may stay in the vessel until somebody comes: cold rooms go on cooling.
func (k StepKind) waits() bool {
	return k == KindChill || k == KindFreeze || k == KindHold || k == KindThaw
}

// warmUntil says whether a longer wait between two steps would leave warm material standing on its way into the cold, or
// thawed material. Nobody is offered that (common practice, no source; the limits are those of the HACCP plan).
func (s *Step) warmUntil(after *Step) bool {
	switch after.Kind {
	case KindStrain, KindPortion, KindChill, KindFreeze:
		return true
	}
	return s.Kind == KindThaw
}

// BatchState is the state of a batch as planning told it.
type BatchState string

// The states of a batch.
const (
	BatchPlanned    BatchState = "PLANNED"
	BatchReleased   BatchState = "RELEASED"
	BatchInProgress BatchState = "IN_PROGRESS"
	BatchDone       BatchState = "DONE"
	BatchCancelled  BatchState = "CANCELLED"
)

// Batch is scheduling's copy of a batch of planning, with its steps as they were when the plan was computed.
type Batch struct {
	Name          string
	DisplayName   string
	Plan          string
	OutputItem    string
	OutputKg      float64
	State         BatchState
	EarliestStart time.Time
	Due           time.Time
	// Weight of lateness, at least 1.
	Weight int64
	// Feeds name batches whose output goes in, with the step at which it does.
	Feeds []Feed
	Steps []Step
	// FinishedSteps are those that planning knows to be finished.
	FinishedSteps []string
}

// Feed is another batch whose output goes in at a step; an empty StepID is the first step.
type Feed struct {
	Batch  string
	StepID string
}

// Attendance says how much of a step needs a person.
type Attendance string

// The attendances.
const (
	AttendWhole  Attendance = "WHOLE"
	AttendStarts Attendance = "START_AND_END"
	AttendNone   Attendance = "NONE"
)

// Step is one step of a batch, scaled to its size.
type Step struct {
	ID            string
	DisplayName   string
	Kind          StepKind
	VesselClasses []string
	Duration      DurationModel
	// Planned is what planning counted, used where the vessel's data do not suffice for the physical model.
	Planned           time.Duration
	Setup             time.Duration
	CrewCount         int
	Attendance        Attendance
	AttendedStart     time.Duration
	AttendedEnd       time.Duration
	UnattendedAllowed bool
	Interruptible     bool
	MinWait           time.Duration
	// MaxWait after the step; nil means no limit.
	MaxWait *time.Duration
	// FillLiters and LoadKg in the vessel at its fullest; 0 when not stated.
	FillLiters float64
	LoadKg     float64
	// OutputKg that a rate per hour refers to.
	OutputKg          float64
	MaterialState     string
	Allergens         []string
	LimitsProfile     string
	SecondVesselClass string
	KeepsVessel       bool
	SameVessel        bool
	Critical          bool
	Instructions      string
}

// DurationModel says how long a step takes; exactly one member is set.
type DurationModel struct {
	Fixed         *time.Duration
	RateKgPerHour float64
	Simmer        *SimmerModel
	Reduce        *ReduceModel
	Chill         *ChillModel
}

// SimmerModel brings to temperature and holds. A nil target is the boiling point at the site's altitude.
type SimmerModel struct {
	Hold          time.Duration
	StartCelsius  float64
	TargetCelsius *float64
}

// ReduceModel boils down to a mass fraction of the start or to a Brix, whichever is above 0.
type ReduceModel struct {
	MassFraction float64
	TargetBrix   float64
	StartBrix    float64
	StartCelsius float64
}

// ChillModel cools or freezes to a temperature at the slowest point. A depth of 0 is that of the vessel.
type ChillModel struct {
	TargetCelsius float64
	StartCelsius  float64
	DepthMeters   float64
}

// State is the material state that the step leaves, for cleaning.
func (s Step) State() string { return stateOf(s.MaterialState, s.Allergens) }

// mass is the mass of the material in kilograms as far as it is known.
func (s Step) mass() float64 {
	switch {
	case s.LoadKg > 0:
		return s.LoadKg
	case s.FillLiters > 0:
		return s.FillLiters // stock is close to 1 kg/L
	}
	return s.OutputKg
}

// step finds a step by id.
func (b Batch) step(id string) (Step, bool) {
	for _, s := range b.Steps {
		if s.ID == id {
			return s, true
		}
	}
	return Step{}, false
}

// Check reports what makes a batch unusable for scheduling.
func (b Batch) Check() error {
	err := apierr.FailedPrecondition(BatchInvalid, "batch %s cannot be scheduled as planning gave it; correct its formula and plan again", b.Name).With("batch", b.Name)
	if len(b.Steps) == 0 {
		err.WithViolation(b.Name, "has no steps")
	}
	seen := map[string]bool{}
	for _, s := range b.Steps {
		if seen[s.ID] {
			err.WithViolation(b.Name, "step %s stands twice", s.ID)
		}
		seen[s.ID] = true
		if s.Duration == (DurationModel{}) {
			err.WithViolation(b.Name, "step %s has no duration", s.ID)
		}
		if s.MaxWait != nil && *s.MaxWait < s.MinWait {
			err.WithViolation(b.Name, "step %s must wait at least %s and at most %s", s.ID, span(s.MinWait), span(*s.MaxWait))
		}
	}
	if len(err.Violations) > 0 {
		return err
	}
	return nil
}

// span writes a duration as people say it: "45 min", "6 h 30 min", "2 d 4 h".
func span(d time.Duration) string {
	if d < 0 {
		return "-" + span(-d)
	}
	d = d.Round(time.Minute)
	days, hours, minutes := int(d.Hours())/24, int(d.Hours())%24, int(d.Minutes())%60
	switch {
	case days > 0 && hours > 0:
		return fmt.Sprintf("%d d %d h", days, hours)
	case days > 0:
		return fmt.Sprintf("%d d", days)
	case hours > 0 && minutes > 0:
		return fmt.Sprintf("%d h %d min", hours, minutes)
	case hours > 0:
		return fmt.Sprintf("%d h", hours)
	}
	return fmt.Sprintf("%d min", minutes)
}

// Temperatures at which a step begins when the formula does not say, as the APIs promise, degrees Celsius: tap water and bones
// from the cold room, chilled stock, stock just off the heat (common practice, no source).
const (
	SimmerStartCelsius = 10.0
	ReduceStartCelsius = 4.0
	ChillStartCelsius  = 90.0
)

// StartCelsius is the temperature stated, or else the usual one.
func StartCelsius(stated *float64, usual float64) float64 {
	if stated == nil {
		return usual
	}
	return *stated
}
