package foodsafety

import (
	"time"

	"rondeau.internal/pkg/apierr"
)

// HoldState says where a hold stands.
type HoldState string

// The states of a hold.
const (
	HoldPlaced HoldState = "PLACED"
	HoldLifted HoldState = "LIFTED"
)

// Hold orders that a lot, or every lot of a batch, must not move.
type Hold struct {
	Name       string
	UID        string
	Subject    string // lot or batch
	Reason     string
	Deviation  string // "" when none caused it
	State      HoldState
	Placer     string
	PlaceTime  time.Time
	Sequence   int64 // of its placing in the audit trail
	Lifter     string
	LiftTime   time.Time
	LiftReason string
	CreateTime time.Time
	UpdateTime time.Time
	Version    int64
}

// Etag is the version as seen by callers.
func (h *Hold) Etag() string { return etagOf(h.Version) }

// lift checks the rules and lifts; d is the deviation of the hold, nil when it has none.
func (h *Hold) lift(lifter, reason string, d *Deviation, now time.Time) error {
	if h.State == HoldLifted {
		return apierr.FailedPrecondition(HoldStateWrong, "%s was lifted already by %s", h.Name, h.Lifter).
			With("resource", h.Name).With("state", string(h.State)).With("lifter", h.Lifter).WithResource(h.Name)
	}
	if h.Placer == lifter {
		return secondPerson(h.Name, lifter, "placed the hold", "to review and lift it")
	}
	if d != nil && d.State != DeviationClosed {
		return apierr.FailedPrecondition(HoldDeviationOpen, "%s stands because of %s, which is not closed; record the corrective action and have it closed first", h.Name, d.Name).
			With("resource", h.Name).With("deviation", d.Name).WithViolation(d.Name, "the deviation is %s", d.State).WithResource(h.Name)
	}
	if d != nil && (d.Decision() == DecisionDiscard || d.Decision() == DecisionReject) {
		return apierr.FailedPrecondition(HoldDiscarded, "%s stays: %s decided %s; discard the stock of %s instead", h.Name, d.Name, d.Decision(), h.Subject).
			With("resource", h.Name).With("deviation", d.Name).With("decision", string(d.Decision())).With("subject", h.Subject).
			WithViolation(d.Name, "the decision is %s", d.Decision()).WithResource(h.Name)
	}
	h.State, h.Lifter, h.LiftReason, h.LiftTime = HoldLifted, lifter, reason, now
	return nil
}
