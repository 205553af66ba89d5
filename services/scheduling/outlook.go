package scheduling

import "time"

// Outlook is what becomes of a schedule when its steps take shorter or longer than planned: it is carried out many times,
// in its order, by package sched/risk. Probabilities are between 0 and 1.
type Outlook struct {
	Schedule string
	// At is the moment that it was made for.
	At time.Time
	// Outdated: something has happened since that is not counted in; known when read.
	Outdated bool `json:"-"`
	Samples  int
	Seed     int64
	// AllOnTime is the probability that no batch is late, ExpectedLate the expected number of late ones.
	AllOnTime    float64
	ExpectedLate float64
	// Batches that are not done, the least sure first; those that nothing waits for last.
	Batches []BatchOutlook
	// Waits that may become too long, the most probable first.
	Waits   []WaitOutlook
	Buffers []Buffer
	Spreads []SpreadOutlook
	// Refusal says why there is no outlook; then nothing else is set but Schedule, At and Cautions.
	Refusal  string
	Summary  string
	Cautions []string
}

// BatchOutlook is what becomes of one batch.
type BatchOutlook struct {
	Batch       string
	DisplayName string
	// Due is zero when nothing waits for it; then OnTime and StandardError mean nothing.
	Due           time.Time
	PlannedEnd    time.Time
	OnTime        float64
	StandardError float64
	// Finish50, Finish80 and Finish95 are the moments by which it is done in that share of the realisations.
	Finish50, Finish80, Finish95 time.Time
	// Curve holds the moments of the shares in curveShares.
	Curve  []time.Time
	Causes []Cause
}

// CauseKind says what made a batch late, by its name in the API.
type CauseKind string

// The kinds of cause.
const (
	CauseStep     CauseKind = "STEP"
	CauseShortage CauseKind = "SHORTAGE"
	CauseClosed   CauseKind = "CLOSED"
	CausePlan     CauseKind = "PLAN"
)

// Cause is something that made a batch late in a share of the realisations in which it is late.
type Cause struct {
	Kind   CauseKind
	Share  float64
	Batch  string
	StepID string
	Vessel string
	Crew   string
	Excess time.Duration
	Text   string
}

// WaitOutlook is a wait of material that may become longer than its formula allows.
type WaitOutlook struct {
	Batch    string
	StepID   string
	Longest  time.Duration
	Exceeded float64
	Excess   time.Duration
	Text     string
}

// Buffer is a suggestion of where time in hand helps.
type Buffer struct {
	Batch         string
	Shift         time.Duration
	Moves         []Move
	Gain          float64
	StandardError float64
	Text          string
}

// Move is a step to begin at another time.
type Move struct {
	Batch, StepID     string
	Planned, Proposed time.Time
}

// SpreadOutlook says from what the durations of one kind of step were drawn.
type SpreadOutlook struct {
	Kind          StepKind
	VesselClass   string
	Steps         int
	P10, P50, P90 float64
	Runs          int
	Basis         string
}

// WantedOutlook is a schedule whose outlook is wanted; Wanted grows with each thing that happens.
type WantedOutlook struct {
	Schedule string
	Wanted   int64
}

// unsure says whether a batch may well be late.
func (o Outlook) unsure() bool {
	return len(o.Batches) > 0 && !o.Batches[0].Due.IsZero() && o.Batches[0].OnTime < sureEnough
}

// curveShares are the shares of realisations whose moments an outlook keeps.
var curveShares = []float64{
	0.01, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95, 0.99,
}

// doneBy is the probability that a batch is done by a moment, between the shares kept on a straight line. Beyond the
// outermost ones it is half of what is left, which is all that is known.
func (b BatchOutlook) doneBy(at time.Time) float64 {
	if !b.Due.IsZero() && at.Equal(b.Due) {
		return b.OnTime
	}
	n := len(b.Curve)
	switch {
	case n != len(curveShares):
		return 0
	case at.Before(b.Curve[0]):
		return curveShares[0] / 2
	case !at.Before(b.Curve[n-1]):
		return (1 + curveShares[n-1]) / 2
	}
	i := n - 1
	for at.Before(b.Curve[i]) {
		i--
	}
	from, to := b.Curve[i], b.Curve[i+1]
	return curveShares[i] + (curveShares[i+1]-curveShares[i])*float64(at.Sub(from))/float64(to.Sub(from))
}
