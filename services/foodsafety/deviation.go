package foodsafety

import (
	"slices"
	"time"

	"rondeau.internal/pkg/apierr"
)

// DeviationKind says what went wrong.
type DeviationKind string

// The kinds of deviation.
const (
	DeviationChillLimit           DeviationKind = "CHILL_LIMIT"
	DeviationReceivingTemperature DeviationKind = "RECEIVING_TEMPERATURE"
	DeviationManual               DeviationKind = "MANUAL"
)

// DeviationState says where a deviation stands.
type DeviationState string

// The states of a deviation.
const (
	DeviationOpen        DeviationState = "OPEN"
	DeviationActionTaken DeviationState = "ACTION_TAKEN"
	DeviationClosed      DeviationState = "CLOSED"
)

// Decision is what was decided about the food.
type Decision string

// The decisions.
const (
	DecisionReheat     Decision = "REHEAT_AND_RECHILL"
	DecisionDiscard    Decision = "DISCARD"
	DecisionAccept     Decision = "ACCEPT_WITH_REASON"
	DecisionReject     Decision = "REJECT_TO_SUPPLIER"
	DecisionNoteOnly   Decision = "NOTE_ONLY"
	DecisionUndecided  Decision = ""
	systemActorSubject          = "foodsafety"
)

// Deviation is a departure from a limit or a rule of the plan, with what was done about it.
type Deviation struct {
	Name        string
	UID         string
	Kind        DeviationKind
	Subjects    []string
	Description string
	Chill       string
	State       DeviationState
	Actions     []CorrectiveAction
	Opener      string
	OpenTime    time.Time
	Closer      string
	CloseTime   time.Time
	CloseNote   string
	CreateTime  time.Time
	UpdateTime  time.Time
	Version     int64
}

// CorrectiveAction is what a person did about a deviation.
type CorrectiveAction struct {
	Text       string
	Decision   Decision
	Actor      string
	RecordTime time.Time
}

// Etag is the version as seen by callers.
func (d *Deviation) Etag() string { return etagOf(d.Version) }

// Decision is the last decision about the food.
func (d *Deviation) Decision() Decision {
	for _, a := range slices.Backward(d.Actions) {
		if a.Decision != DecisionNoteOnly {
			return a.Decision
		}
	}
	return DecisionUndecided
}

func (d *Deviation) act(a CorrectiveAction) error {
	if d.State == DeviationClosed {
		return apierr.FailedPrecondition(DeviationStateWrong, "%s is closed; open a new deviation for what was found since", d.Name).
			With("resource", d.Name).With("state", string(d.State)).WithResource(d.Name)
	}
	d.Actions = append(d.Actions, a)
	d.State = DeviationActionTaken
	return nil
}

func (d *Deviation) close(closer, note string, now time.Time) error {
	if d.State == DeviationClosed {
		return apierr.FailedPrecondition(DeviationStateWrong, "%s was closed already by %s", d.Name, d.Closer).
			With("resource", d.Name).With("state", string(d.State)).With("closer", d.Closer).WithResource(d.Name)
	}
	if d.Decision() == DecisionUndecided {
		return apierr.FailedPrecondition(DeviationUndecided, "%s has no decision about the food; record a corrective action with a decision first", d.Name).
			With("resource", d.Name).WithViolation(d.Name, "a corrective action with a decision is needed").WithResource(d.Name)
	}
	for _, a := range d.Actions {
		if a.Actor == closer {
			return secondPerson(d.Name, closer, "took a corrective action", "to review and close it")
		}
	}
	d.State, d.Closer, d.CloseNote, d.CloseTime = DeviationClosed, closer, note, now
	return nil
}
