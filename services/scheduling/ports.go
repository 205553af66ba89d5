package scheduling

import (
	"context"
	"errors"
	"time"
)

// What a Store answers when a rule of the database stands against a change. They are wrapped; match with errors.Is.
var (
	// ErrNotFound: the row does not exist.
	ErrNotFound = errors.New("not found")
	// ErrExists: the name is taken.
	ErrExists = errors.New("exists already")
	// ErrStale: the row was changed since it was read.
	ErrStale = errors.New("changed since it was read")
	// ErrOccupied: another run is in the vessel at that time.
	ErrOccupied = errors.New("vessel occupied")
	// ErrAnotherPublished: another schedule of the site is published.
	ErrAnotherPublished = errors.New("another schedule is published")
)

// Condition is a checked selection of rows, opaque to the domain; the store knows how to read it.
type Condition interface {
	// SQL is the selection and its arguments, numbered from firstArg on.
	SQL(firstArg int) (string, []any)
}

// ListQuery asks for one page of a collection.
type ListQuery struct {
	// Parent is the site, or the batch or run below which to look.
	Parent string
	// Condition selects further; nil selects everything.
	Condition Condition
	// After is the position behind which the page begins, as the store's Position of the last row; empty for the start.
	After []string
	// Limit is the greatest number of rows, at least 1.
	Limit int
}

// Store keeps the service's resources. Get methods answer ErrNotFound, Insert methods ErrExists, Update methods write the
// row only if its version is one less than that given and answer ErrStale otherwise. Returned slices belong to the caller.
type Store interface {
	// InTx runs fn in a serializable write transaction, joining one that ctx carries. fn may run several times.
	InTx(ctx context.Context, fn func(ctx context.Context) error) error
	// InReadTx runs fn on a consistent snapshot.
	InReadTx(ctx context.Context, fn func(ctx context.Context) error) error

	GetVessel(ctx context.Context, name string) (Vessel, error)
	ListVessels(ctx context.Context, q ListQuery) ([]Vessel, error)
	InsertVessel(ctx context.Context, v Vessel) error
	UpdateVessel(ctx context.Context, v Vessel) error
	// SetVesselMaterial notes what is in a vessel; it does not change the vessel's version. A missing vessel is no error.
	SetVesselMaterial(ctx context.Context, name, state string) error
	// SetVesselBelief notes what the runs of a vessel have shown, nil forgets it; it does not change the vessel's version.
	// A missing vessel is no error.
	SetVesselBelief(ctx context.Context, name string, learned *Learned) error

	GetCalendar(ctx context.Context, name string) (Calendar, error)
	ListCalendars(ctx context.Context, q ListQuery) ([]Calendar, error)
	InsertCalendar(ctx context.Context, c Calendar) error
	UpdateCalendar(ctx context.Context, c Calendar) error

	GetCrew(ctx context.Context, name string) (Crew, error)
	ListCrews(ctx context.Context, q ListQuery) ([]Crew, error)
	InsertCrew(ctx context.Context, c Crew) error
	UpdateCrew(ctx context.Context, c Crew) error

	GetLimits(ctx context.Context, name string) (KitchenLimits, error)
	// PutLimits inserts version 1 and updates every later one.
	PutLimits(ctx context.Context, l KitchenLimits) error

	// GetBatch answers the local copy of a batch of planning.
	GetBatch(ctx context.Context, name string) (Batch, error)
	// PutBatch writes the local copy; a copy that says CANCELLED stays so.
	PutBatch(ctx context.Context, b Batch) error
	// OpenBatches lists the local copies of a site that have runs which are started or finished and are not done.
	OpenBatches(ctx context.Context, site string) ([]Batch, error)

	GetSchedule(ctx context.Context, name string) (Schedule, error)
	// ListSchedules lists newest first, without assignments unless full.
	ListSchedules(ctx context.Context, q ListQuery, full bool) ([]Schedule, error)
	// PublishedSchedule answers ErrNotFound when the site has none.
	PublishedSchedule(ctx context.Context, site string) (Schedule, error)
	InsertSchedule(ctx context.Context, s Schedule, problem Problem) error
	// UpdateSchedule answers ErrAnotherPublished when a second schedule of the site would be published.
	UpdateSchedule(ctx context.Context, s Schedule) error
	// ScheduleProblem answers what the schedule was computed from.
	ScheduleProblem(ctx context.Context, name string) (Problem, error)

	// RequestOutlook notes that the outlook of a schedule is wanted, or wanted anew because something has happened.
	RequestOutlook(ctx context.Context, schedule string) error
	// RequestPublishedOutlook does so for the published schedule of a site; without one it does nothing.
	RequestPublishedOutlook(ctx context.Context, site string) error
	// RequestOldOutlooks notes so for published schedules whose outlook was made for an earlier moment, and counts them.
	RequestOldOutlooks(ctx context.Context, before time.Time) (int64, error)
	// GetOutlook answers ErrNotFound until the first one is made.
	GetOutlook(ctx context.Context, schedule string) (Outlook, error)
	// PutOutlook keeps an outlook made for a number of WantedOutlooks, in place of one for the same number or a lower one.
	PutOutlook(ctx context.Context, o Outlook, made int64) error
	// WantedOutlooks lists at most 20 schedules whose outlook is wanted, published ones first; superseded ones never.
	WantedOutlooks(ctx context.Context) ([]WantedOutlook, error)

	GetPace(ctx context.Context, site string, kind StepKind, class string) (Pace, error)
	// ListPaces lists all paces of a site by kind and class.
	ListPaces(ctx context.Context, site string) ([]Pace, error)
	PutPace(ctx context.Context, p Pace) error

	GetRun(ctx context.Context, name string) (Run, error)
	// ListRuns lists by planned start. A parent "sites/x/batches/-" means all batches.
	ListRuns(ctx context.Context, q ListQuery) ([]Run, error)
	// RunsOfBatch lists all runs of a batch, oldest first.
	RunsOfBatch(ctx context.Context, batch string) ([]Run, error)
	// RunsInState lists all runs of a site in a state, by planned start.
	RunsInState(ctx context.Context, site string, state RunState) ([]Run, error)
	// RunningRuns lists the running runs of all sites.
	RunningRuns(ctx context.Context) ([]Run, error)
	InsertRun(ctx context.Context, r Run) error
	// UpdateRun also keeps the occupancies of its vessels: from its start, open while it runs. It answers ErrOccupied when
	// a vessel that carries one run at a time would carry two.
	UpdateRun(ctx context.Context, r Run, exclusive func(vessel string) bool) error
	// Occupants lists the runs that are in a vessel at some time of [from, to); a zero to means open.
	Occupants(ctx context.Context, vessel string, from, to time.Time) ([]Occupancy, error)

	GetMeasurement(ctx context.Context, name string) (Measurement, error)
	// ListMeasurements lists by moment of observation.
	ListMeasurements(ctx context.Context, q ListQuery) ([]Measurement, error)
	InsertMeasurement(ctx context.Context, m Measurement) error

	GetOperation(ctx context.Context, name string) (Operation, error)
	ListOperations(ctx context.Context, q ListQuery) ([]Operation, error)
	InsertOperation(ctx context.Context, o Operation, problem Problem) error
	UpdateOperation(ctx context.Context, o Operation) error
	OperationProblem(ctx context.Context, name string) (Problem, error)
	// ClaimableOperations lists those that wait, or whose lease ended before a moment, oldest first.
	ClaimableOperations(ctx context.Context, before time.Time) ([]Operation, error)
}

// Occupancy is the stay of a run in a vessel; a zero End is open.
type Occupancy struct {
	Run        string
	Start, End time.Time
}

// Planning is what scheduling needs of the service planning. Errors are *apierr.Error; when planning does not answer
// their kind is Unavailable or DeadlineExceeded.
type Planning interface {
	// OpenBatches lists the batches of a site that are released or in progress; with a plan, those of the plan.
	OpenBatches(ctx context.Context, site, plan string) ([]Batch, error)
	// Batch answers one batch.
	Batch(ctx context.Context, name string) (Batch, error)
	// Site answers the facts of a site.
	Site(ctx context.Context, name string) (SiteFacts, error)
}

// SiteFacts is what matters of a site.
type SiteFacts struct {
	TimeZone       string
	AltitudeMeters float64
}

// Events publishes facts. Every method must be called inside a write transaction of the store and becomes visible with
// it.
type Events interface {
	SchedulePublished(ctx context.Context, s Schedule, superseded string) error
	RunStarted(ctx context.Context, r Run) error
	RunFinished(ctx context.Context, r Run, batchFinished bool) error
	RunAborted(ctx context.Context, r Run) error
	VesselDown(ctx context.Context, v Vessel, w DownWindow, planned []string) error
	VesselUp(ctx context.Context, v Vessel, reporter string, at time.Time) error
	ForecastChanged(ctx context.Context, r Run, previous time.Time, delayed []string) error
}
