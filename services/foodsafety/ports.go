package foodsafety

import (
	"context"
	"time"
)

// Filter is a condition over the columns of a list, made by the API adapter from the declared fields. SQL is the
// condition with placeholders numbered from first, and their values.
type Filter interface {
	SQL(first int) (where string, args []any)
}

// Page asks for one page of a list.
type Page struct {
	Site       string
	Filter     Filter // nil: all
	Descending bool
	Cursor     []string // of the last result of the page before; empty on the first one
	Limit      int      // at most this many results
}

// Store keeps the records. Insert methods return an ALREADY_EXISTS error for a name that is taken, Get methods a
// NOT_FOUND error, Update methods an ABORTED error when the stored version is not the one before that of the value.
// Returned values belong to the caller. Writes need InTx.
type Store interface {
	// InTx runs fn in one write transaction, which its context carries; it joins one that ctx carries already. fn may
	// run several times.
	InTx(ctx context.Context, fn func(ctx context.Context) error) error
	// InReadTx runs fn on one consistent snapshot.
	InReadTx(ctx context.Context, fn func(ctx context.Context) error) error

	ProfileStore
	ProbeStore
	ChillStore
	DecisionStore
	LotStore
	RecordStore
}

// ProfileStore keeps limits profiles.
type ProfileStore interface {
	InsertProfile(ctx context.Context, p *LimitsProfile) error
	// InsertMissingProfile leaves a name that is taken as it is, and says whether it inserted. After false, the profile
	// that has the name can be read in the same transaction.
	InsertMissingProfile(ctx context.Context, p *LimitsProfile) (bool, error)
	UpdateProfile(ctx context.Context, p *LimitsProfile) error
	GetProfile(ctx context.Context, name string) (*LimitsProfile, error)
	// ListProfiles is ordered by name; the cursor is the name.
	ListProfiles(ctx context.Context, page Page) ([]LimitsProfile, error)
}

// ProbeStore keeps probes.
type ProbeStore interface {
	InsertProbe(ctx context.Context, p *Probe) error
	UpdateProbe(ctx context.Context, p *Probe) error
	GetProbe(ctx context.Context, name string) (*Probe, error)
	// ListProbes is ordered by name; the cursor is the name.
	ListProbes(ctx context.Context, page Page) ([]Probe, error)
	// ProbesOfVessel are the enabled probes that are fixed in a vessel, by name.
	ProbesOfVessel(ctx context.Context, vessel string) ([]Probe, error)
}

// ChillStore keeps chills and readings.
type ChillStore interface {
	// InsertChill and UpdateChill keep the list of probes and whether they watch the chill now.
	InsertChill(ctx context.Context, c *Chill) error
	UpdateChill(ctx context.Context, c *Chill) error
	GetChill(ctx context.Context, name string) (*Chill, error)
	// ListChills is ordered by start time and name; the cursor is both, the time in microseconds.
	ListChills(ctx context.Context, page Page) ([]Chill, error)
	// ChillsInProgress are all of the database, by name.
	ChillsInProgress(ctx context.Context) ([]Chill, error)
	ChillsOfBatch(ctx context.Context, batch string) ([]Chill, error)
	ChillsOfRun(ctx context.Context, run string) ([]Chill, error)
	// ChillAtProbe is the name of the chill that a probe watched at a moment, "" when there is none: the latest that
	// started before the moment plus slack and was not finished before it.
	ChillAtProbe(ctx context.Context, probe string, at time.Time, slack time.Duration) (string, error)
	// ChillWatchedBy is the name of the unfinished chill that a probe watches now, "" when there is none.
	ChillWatchedBy(ctx context.Context, probe string) (string, error)

	// InsertReadings says of each reading whether it was new; the same chill, probe and moment is not stored again, also
	// when it is twice in the list.
	InsertReadings(ctx context.Context, list []*Reading) ([]bool, error)
	// GetReading finds a reading by chill, probe and moment.
	GetReading(ctx context.Context, chill, probe string, at time.Time) (*Reading, error)
	// Readings are all of a chill, by moment of measurement.
	Readings(ctx context.Context, chill string) ([]Reading, error)
	// ListReadings is ordered by moment and probe; the cursor is both, the time in microseconds.
	ListReadings(ctx context.Context, chill string, cursor []string, limit int) ([]Reading, error)
}

// DecisionStore keeps deviations, holds and releases.
type DecisionStore interface {
	InsertDeviation(ctx context.Context, d *Deviation) error
	// UpdateDeviation stores state and closing, and appends the corrective actions that are not stored yet.
	UpdateDeviation(ctx context.Context, d *Deviation) error
	GetDeviation(ctx context.Context, name string) (*Deviation, error)
	// ListDeviations is ordered by opening time and name; the cursor is both.
	ListDeviations(ctx context.Context, page Page) ([]Deviation, error)
	// DeviationsOf are those that name the subject, by name.
	DeviationsOf(ctx context.Context, subject string) ([]Deviation, error)

	InsertHold(ctx context.Context, h *Hold) error
	UpdateHold(ctx context.Context, h *Hold) error
	GetHold(ctx context.Context, name string) (*Hold, error)
	// ListHolds is ordered by placing time and name; the cursor is both.
	ListHolds(ctx context.Context, page Page) ([]Hold, error)
	// HoldsOn are those placed on the subject, lifted ones too, by name.
	HoldsOn(ctx context.Context, subject string) ([]Hold, error)

	InsertRelease(ctx context.Context, r *Release) error
	GetRelease(ctx context.Context, name string) (*Release, error)
	// ListReleases is ordered by signing time and name; the cursor is both.
	ListReleases(ctx context.Context, page Page) ([]Release, error)
	// LatestRelease is the last one signed for a lot, nil when there is none.
	LatestRelease(ctx context.Context, lot string) (*Release, error)
}

// LotStore keeps the facts of other services.
type LotStore interface {
	// PutLot adds a lot; what is known of the same lot already is kept and its inputs are added to.
	PutLot(ctx context.Context, l *Lot) error
	// GetLot is nil for a lot that the service has not heard of.
	GetLot(ctx context.Context, name string) (*Lot, error)
	// AddLotInput notes that a lot of the batch was made from the input; lots of the batch that come later have it too.
	AddBatchInput(ctx context.Context, batch, lot string) error
	BatchInputs(ctx context.Context, batch string) ([]string, error)
	// AddBatchPerson notes that a person made a record of a run of the batch.
	AddBatchPerson(ctx context.Context, batch, person string) error
	BatchPeople(ctx context.Context, batch string) ([]string, error)
}

// RecordStore keeps the audit trail.
type RecordStore interface {
	// AppendRecord stores the entry and sets its sequence.
	AppendRecord(ctx context.Context, r *Record) error
	// ListRecords is ordered by sequence; the cursor is the sequence.
	ListRecords(ctx context.Context, page Page) ([]Record, error)
}

// Events publishes facts. Publish must be called in the transaction of the change that it tells of.
type Events interface {
	Publish(ctx context.Context, event Event) error
}

// Event is one of the facts below.
type Event interface{ isEvent() }

// ChillStarted tells that a chill was started.
type ChillStarted struct{ Chill *Chill }

// ChillFinished tells that a chill passed, failed or was given up.
type ChillFinished struct{ Chill *Chill }

// ChillLimitAtRisk tells that the forecast of a chill began to miss a limit.
type ChillLimitAtRisk struct {
	Chill *Chill
	Stage ForecastStage
}

// DeviationOpened tells that a deviation was opened.
type DeviationOpened struct{ Deviation *Deviation }

// DeviationWasClosed tells that a deviation was closed.
type DeviationWasClosed struct{ Deviation *Deviation }

// HoldWasPlaced tells that a hold was placed.
type HoldWasPlaced struct{ Hold *Hold }

// HoldWasLifted tells that a hold was lifted.
type HoldWasLifted struct {
	Hold        *Hold
	SubjectFree bool // no other hold stands on the subject
}

// LotReleased tells that a lot was released.
type LotReleased struct{ Release *Release }

func (ChillStarted) isEvent()       {}
func (ChillFinished) isEvent()      {}
func (ChillLimitAtRisk) isEvent()   {}
func (DeviationOpened) isEvent()    {}
func (DeviationWasClosed) isEvent() {}
func (HoldWasPlaced) isEvent()      {}
func (HoldWasLifted) isEvent()      {}
func (LotReleased) isEvent()        {}
