package scheduling

import "time"

// OperationStage is where a computation stands.
type OperationStage string

// The stages of an operation.
const (
	StageWaiting   OperationStage = "WAITING"
	StageSolving   OperationStage = "SOLVING"
	StageFinished  OperationStage = "FINISHED"
	StageCancelled OperationStage = "CANCELLED"
	StageFailed    OperationStage = "FAILED"
)

// EndReason says why a search ended, by its name in the API; empty while it goes on.
type EndReason string

// The reasons.
const (
	EndOptimal    EndReason = "PROVED_OPTIMAL"
	EndSettled    EndReason = "SETTLED"
	EndTime       EndReason = "TIME_SPENT"
	EndIterations EndReason = "ITERATIONS_SPENT"
	EndStopped    EndReason = "STOPPED"
	EndImpossible EndReason = "IMPOSSIBLE"
)

// Operation is one computation of a schedule: a stored row that survives a restart.
type Operation struct {
	Name string
	Meta `json:"-"`
	// Stage, CancelRequested, LeaseOwner and LeaseUntil are columns of their own: they decide who works on it.
	Stage           OperationStage `json:"-"`
	CancelRequested bool           `json:"-"`
	LeaseOwner      string         `json:"-"`
	LeaseUntil      time.Time      `json:"-"`
	Plan            string
	Attempts        int
	Steps           int
	// Budget is the number of plans to try; 0 when MaxDuration bounds the search.
	Budget int
	// End says why the search ended.
	End         EndReason
	Iterations  int
	Best        *Cost
	Bound       *Cost
	Gap         float64
	LateBatches int
	// Lateness is the sum of the delays of the late batches in the best plan so far.
	Lateness time.Duration
	// Elapsed is the real time spent on computing, over all attempts; MaxDuration is the longest that it may be.
	Elapsed     time.Duration
	MaxDuration time.Duration
	// Schedule with the best result, once it has ended.
	Schedule string
	// ErrorReason and ErrorText say why it failed.
	ErrorReason string
	ErrorText   string
	// Warm is the best plan so far, for another attempt.
	Warm []Assignment
}

// Done says whether the operation has ended.
func (o Operation) Done() bool {
	return o.Stage == StageFinished || o.Stage == StageCancelled || o.Stage == StageFailed
}
