package demo

import (
	"slices"
	"time"
)

// Report is what became of the week. Everything in it was answered by the services or computed from their answers, but
// for Cause, which tells the hidden truth behind a failed chill.
type Report struct {
	Seed       uint64
	Site       string
	Kitchen    string
	House      string // what the kitchen consists of
	Imported   int    // resources written from the kitchen file
	Start, End time.Time

	Ordering  Ordering
	Receiving Receiving
	Plans     []PlanMade
	Schedules []ScheduleMade
	Failures  []Failure
	Batches   []BatchDone
	Steps     []StepDone
	Forecasts []Forecast
	Chills    []ChillDone

	Deviations []DeviationClosed
	Discarded  []string
	GivenUp    []string
	Unreleased []string
	Forgotten  []string // batches that had begun and for which a schedule planned nothing more
	Refusals   []Refusal
	Shipments  []ShipmentSent
	Fulfilment []OrderOutcome
	Trace      TraceFound
	Forward    TraceFound
	Balance    BalanceFound
	Records    int // entries of food safety's trail

	Runs, Measurements, Readings, Packs, Releases int

	Cautions []string
	Calls    map[string]int // calls by method
	Retries  int            // calls repeated because a service was away
	WallTime time.Duration
}

// Ordering counts what outlets did with their orders.
type Ordering struct{ Placed, Later, Changed, Cancelled int }

// Receiving sums the deliveries up.
type Receiving struct {
	Deliveries, Lines int // lines accepted
	MassKg            float64
	Rejected          []RejectedLine
}

// RejectedLine is a delivery line that was sent back.
type RejectedLine struct {
	Time    time.Time
	Item    string
	MassKg  float64
	Celsius float64
	Reason  string
}

// PlanMade is a plan that was put in force.
type PlanMade struct {
	Time                     time.Time
	Plan, Reason             string
	Batches, Cancelled, Kept int
	Purchases                int
	PurchasedKg              float64
	Ordered, Covered         int32
	Shortages                []string
}

// ScheduleMade is a schedule that was computed; it was published unless Refused says why not.
type ScheduleMade struct {
	Time               time.Time
	Reason, Status     string
	Iterations         int32
	Gap                float64
	Assignments, Moved int
	Late               []LateBatch
	Summary, Refused   string
	Violations         []string
}

// LateBatch is a batch that a schedule brings in after its due time.
type LateBatch struct {
	Batch, Reason string
	Delay         time.Duration
}

// Failure is a vessel that failed.
type Failure struct {
	Time, Repaired      time.Time
	Vessel, Run, Reason string
}

// BatchDone is a batch with its plan and what came of it.
type BatchDone struct {
	Name, Title                     string
	Packing                         bool
	Finish, Due                     time.Time
	PlannedKg, ExpectedKg, ActualKg float64
	InputKg, SteamKg, UnexplainedKg float64
	RecoveryPercent                 float64
	Short                           string
}

// StepDone is a finished run.
type StepDone struct {
	Run, Kind, Step, Batch, Vessel string
	Planned, Actual, Late          time.Duration
	Finish                         time.Time
	Notices                        []string
}

// Forecast is what scheduling foretold of a running run.
type Forecast struct {
	Run                         string
	Made, Expected, Early, Late time.Time
	Covered                     bool // the interval is a statistical one
}

// ChillDone is a chill and its judgement.
type ChillDone struct {
	Chill, Title, Vessel, State, Deviation string
	Readings                               int
	Stages                                 []ChillStage
	Cause                                  string
}

// ChillStage is one limit of a chill.
type ChillStage struct {
	Limit, Verdict string
	Took, Margin   time.Duration
}

// DeviationClosed is a deviation from its opening to its closing.
type DeviationClosed struct {
	Name, Kind, Text, Decision, ActionBy, ClosedBy string
	Opened, Closed                                 time.Time
}

// Refusal is a call that a rule refused, as it should.
type Refusal struct {
	Time                  time.Time
	What, Reason, Message string
}

// ShipmentSent is a shipment that left.
type ShipmentSent struct {
	Name, SSCC, Order, Outlet string
	Due, Sent, Received       time.Time
	Packs                     int
	MassKg                    float64
}

// OrderOutcome is an order and what of it was shipped.
type OrderOutcome struct {
	Order, Outlet, Date    string
	State                  string
	Ordered, Shipped       int32
	OnTime                 bool
	Short                  []ShortLine
	Cancelled, Outstanding bool // not for this story's days
}

// ShortLine is an order line of which packs are missing, and why as far as the plans knew.
type ShortLine struct {
	Product string
	Missing int32
	Why     string
}

// TraceFound sums up a trace.
type TraceFound struct {
	Root, What                            string
	Deliveries, Lots, Batches, Containers int
	Shipped                               int
	Suppliers, Outlets                    []string
	RecoveryPercent                       float64
	Path                                  []string // from the root to one origin, or forward to one end
}

// BalanceFound sums up the mass balances of all closed batches.
type BalanceFound struct {
	Batches                         int
	InputKg, SteamKg, UnexplainedKg float64
	WorstPercent                    float64 // largest unexplained share of a batch's input
	WorstBatch                      string
}

// Fulfilled counts orders shipped in full and in time, shipped in part, and not at all; cancelled ones are left out.
func (r *Report) Fulfilled() (full, partly, none int) {
	for _, o := range r.Fulfilment {
		switch {
		case o.Cancelled || o.Outstanding:
		case o.Shipped >= o.Ordered && o.OnTime:
			full++
		case o.Shipped > 0:
			partly++
		default:
			none++
		}
	}
	return full, partly, none
}

// TotalCalls is the number of calls of all methods.
func (r *Report) TotalCalls() int {
	sum := 0
	for _, n := range r.Calls {
		sum += n
	}
	return sum
}

// caution keeps each text that must be shown once.
func (r *Report) caution(text string) {
	if !slices.Contains(r.Cautions, text) {
		r.Cautions = append(r.Cautions, text)
	}
}

// ForecastHits says how many of the statistical forecasts held the real finish in their interval.
func (r *Report) ForecastHits() (hits, all int) {
	finish := map[string]time.Time{}
	for _, s := range r.Steps {
		finish[s.Run] = s.Finish
	}
	for _, f := range r.Forecasts {
		real, known := finish[f.Run]
		if !f.Covered || !known {
			continue
		}
		all++
		if !real.Before(f.Early) && !real.After(f.Late) {
			hits++
		}
	}
	return hits, all
}
