package scheduling

import (
	"time"
)

// Remedy is a set of changes after which a schedule exists, or a late batch is in time. Amounts are the smallest that
// were found; cleaning, least waiting times, longer waits of warm material and the order of steps are never offered.
type Remedy struct {
	// Text says what to change, in the words of the kitchen.
	Text    string
	Changes []RemedyChange
	// Verified: a schedule with these changes was computed; LateBatches and Lateness are those of that schedule.
	Verified bool
	// Least: it was proved that the next smaller amount of the one change does not do.
	Least       bool
	LateBatches int
	Lateness    time.Duration
	Overtime    time.Duration
}

// RemedyKind names what a RemedyChange changes.
type RemedyKind string

// The kinds of change.
const (
	RemedyLaterDispatch RemedyKind = "LATER_DISPATCH" // Batch may be done Amount later
	RemedyLaterEnd      RemedyKind = "LATER_END"      // the schedule ends Amount later
	RemedyEarlierStart  RemedyKind = "EARLIER_START"  // ingredients of Batch are there Amount earlier
	RemedyLongerWait    RemedyKind = "LONGER_WAIT"    // Amount more may pass between StepID and NextStepID of Batch
	RemedyOvertime      RemedyKind = "OVERTIME"       // Calendar is open in the window
	RemedyVesselBack    RemedyKind = "VESSEL_BACK"    // Vessel is in service in the window
	RemedyAnotherVessel RemedyKind = "ANOTHER_VESSEL" // one more vessel like Vessel, used in the window
	RemedyMorePeople    RemedyKind = "MORE_PEOPLE"    // Count more people of Crew in the window
	RemedySmallerBatch  RemedyKind = "SMALLER_BATCH"  // Batch is made smaller: Fraction of it
	RemedyLeaveOut      RemedyKind = "LEAVE_OUT"      // Batch is not made
	RemedyGoFirst       RemedyKind = "GO_FIRST"       // Batch goes before others
	RemedyOtherLimit    RemedyKind = "OTHER_LIMIT"    // Limit is raised by Count in the window
)

const (
	// remedyGrain is the unit in which amounts of time are offered (chosen, no source).
	remedyGrain = 5 * time.Minute
	// noPlanAdvice and lateAdvice are the longest that the search for remedies may take, for a problem without a schedule
	// and for a late batch (chosen, no source). They end it on slow machines and in large kitchens only; the budget of
	// solves ends it elsewhere. The schedule itself does not depend on them.
	noPlanAdvice = 8 * time.Second
	lateAdvice   = 2 * time.Second
	mostRemedies = 5
)

// RemedyChange is one change, as data.
type RemedyChange struct {
	Kind       RemedyKind
	Batch      string
	StepID     string
	NextStepID string
	Vessel     string
	Crew       string
	Calendar   string
	Limit      string
	Amount     time.Duration
	Count      int64
	Fraction   float64
	Start, End time.Time
}
