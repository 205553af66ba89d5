package scheduling

import (
	"time"
)

// Caution stands with every computed duration, forecast and schedule.
const Caution = "Computed times support and do not replace the validated HACCP plan, the local code and the qualified person."

// ScheduleState is where a schedule stands.
type ScheduleState string

// The states of a schedule.
const (
	ScheduleDraft      ScheduleState = "DRAFT"
	SchedulePublished  ScheduleState = "PUBLISHED"
	ScheduleSuperseded ScheduleState = "SUPERSEDED"
)

// Schedule says which vessel, crew and time each step gets.
type Schedule struct {
	Name        string
	Meta        `json:"-"`
	Plan        string
	State       ScheduleState
	Start, End  time.Time
	Assignments []Assignment
	Report      Report
	Reference   string
	Operation   string
	PublishTime time.Time
	Publisher   string
}

// Assignment is the place of one step.
type Assignment struct {
	Batch       string
	StepID      string
	DisplayName string
	Kind        StepKind
	// Mode is the engine's name of the choice of vessels and crew.
	Mode           string
	Vessel         string
	Additional     []string
	Crew           string
	FinishCrew     string // who attends the end, when another crew than the one that begins
	CrewCount      int
	Start, End     time.Time
	HeldUntil      time.Time
	Attended       []Window
	Cleanings      []CleaningRun
	FillLiters     float64
	MassKg         float64
	Basis          string
	Started        bool
	Run            string
	PreviousStart  time.Time
	PreviousVessel string
}

// Window is a half-open span of time.
type Window struct{ Start, End time.Time }

// CleaningRun is one cleaning of a vessel before a step.
type CleaningRun struct {
	Vessel     string
	From, To   string
	Start, End time.Time
	Attended   bool
}

// ReportStatus says what is known about a schedule.
type ReportStatus string

// The statuses.
const (
	StatusOptimal    ReportStatus = "OPTIMAL"
	StatusFeasible   ReportStatus = "FEASIBLE"
	StatusInfeasible ReportStatus = "INFEASIBLE"
	StatusNotFound   ReportStatus = "NOT_FOUND"
)

// Report says how good a schedule is and what stands in the way of a better one.
type Report struct {
	Status     ReportStatus
	Cost       Cost
	Bound      Cost
	Gap        float64
	Iterations int
	Stopped    bool
	Late       []LateBatch
	Conflicts  []Conflict
	Summary    string
	// BoundReasons say where the bound on lateness comes from.
	BoundReasons []string
}

// Cost holds the parts of a schedule's cost; lateness is compared before the rest.
type Cost struct {
	Tardiness int64
	Overtime  time.Duration
	EnergyWh  int64
	Freshness int64
	Change    int64
	Makespan  time.Duration
	Rest      int64
}

// LateBatch is a batch that will be done after its due time.
type LateBatch struct {
	Batch       string
	DisplayName string
	Due, End    time.Time
	Reasons     []string
	// Remedies are what would bring it in time, the cheapest first; only for the worst batch.
	Remedies []Remedy
}

// Conflict is one reason why no schedule was found.
type Conflict struct {
	Kind   string
	Proved bool
	// Minimal: each of the things named was proved to be needed for the conflict.
	Minimal     bool
	Text        string
	Batches     []string
	Vessels     []string
	Relaxations []string
	// Remedies are changes that make a schedule possible, the cheapest first; only for the first conflict.
	Remedies []Remedy
}

// assignment finds the place of a step.
func (s Schedule) assignment(batch, step string) (Assignment, bool) {
	for _, a := range s.Assignments {
		if a.Batch == batch && a.StepID == step {
			return a, true
		}
	}
	return Assignment{}, false
}
