package scheduling

import (
	"strconv"
	"time"

	"rondeau.internal/pkg/apierr"
)

// RunState is where a run stands.
type RunState string

// The states of a run.
const (
	RunPlanned   RunState = "PLANNED"
	RunRunning   RunState = "RUNNING"
	RunFinished  RunState = "FINISHED"
	RunAborted   RunState = "ABORTED"
	RunCancelled RunState = "CANCELLED"
)

// Run is a step of a batch as it was planned and as it was really carried out.
type Run struct {
	Name         string
	Meta         `json:"-"`
	Batch        string
	StepID       string
	State        RunState
	Vessel       string
	Additional   []string
	Crew         string
	Schedule     string
	PlannedStart time.Time
	PlannedEnd   time.Time
	Start        time.Time
	Finish       time.Time
	StartRecord  time.Time
	FinishRecord time.Time
	Operator     string
	// StartRecorder and FinishRecorder are the signed-in people.
	StartRecorder  string
	FinishRecorder string
	AbortReason    string
	FillLiters     float64
	MassKg         float64
	Outputs        []Output
	Note           string
	Notices        []string
	Basis          string
	OutputItem     string
	// Site holds the facts that forecasts need.
	Site SiteFacts
	// Step is the step as it was when the run was published, so that the run can go on without planning.
	Step     Step
	Forecast *Forecast
	// OutBy is the moment by which a run recorded late must have left its vessel, because another one was in it then; zero
	// when nothing came after.
	OutBy time.Time
	// Announced is the finish that was last told to others.
	Announced time.Time
	Summary   MeasurementSummary
	// Next names the runs of the batch that come after this one; filled when read.
	Next []string `json:"-"`
}

// Output is what came out of a run: a mass or a volume.
type Output struct {
	Item         string
	MassKg       *float64
	VolumeLiters *float64
}

// Forecast is when a run will be finished, as far as is known.
type Forecast struct {
	Expected, Earliest, Latest time.Time
	// Coverage is the part of such forecasts that lie in the interval; 0 without statistics.
	Coverage     float64
	Basis        string
	At           time.Time
	Measurements int
	Notices      []string
}

// MeasurementSummary holds the last measurement of each kind.
type MeasurementSummary struct {
	Count              int
	MassKg             *float64
	VolumeLiters       *float64
	TemperatureCelsius *float64
	BrixDegrees        *float64
	LevelMeters        *float64
	FailedChecks       int
	ObserveTime        time.Time
	// times of the values, so that a late entry does not hide a newer one
	MassAt, VolumeAt, TemperatureAt, BrixAt, LevelAt time.Time
}

// Measurement is something measured or checked during a run. It is never changed.
type Measurement struct {
	Name        string
	Meta        `json:"-"`
	Run         string
	Kind        MeasurementKind
	Value       float64
	Check       string
	Passed      bool
	ObserveTime time.Time
	RecordTime  time.Time
	Operator    string
	Recorder    string
	Note        string
}

// MeasurementKind says what was measured and in which unit.
type MeasurementKind string

// The kinds of measurement.
const (
	MeasureMassKg             MeasurementKind = "MASS_KG"
	MeasureVolumeLiters       MeasurementKind = "VOLUME_LITERS"
	MeasureTemperatureCelsius MeasurementKind = "TEMPERATURE_CELSIUS"
	MeasureBrixDegrees        MeasurementKind = "BRIX_DEGREES"
	MeasureLevelMeters        MeasurementKind = "LEVEL_METERS"
	MeasureCheck              MeasurementKind = "CHECK"
)

// clockTolerance is how far a recorded time may lie ahead of the service's clock, and how late a record may come before
// it is marked as a late entry.
const clockTolerance = 2 * time.Minute

// LateEntry says whether the measurement was recorded well after it was observed.
func (m Measurement) LateEntry() bool { return m.RecordTime.Sub(m.ObserveTime) > clockTolerance }

// vessels lists all vessels that the run occupies.
func (r Run) vessels() []string {
	if r.Vessel == "" {
		return r.Additional
	}
	return append([]string{r.Vessel}, r.Additional...)
}

// materialVessel is where the material is when the run is finished: the vessel that it was moved into, if any.
func (r Run) materialVessel() string {
	if len(r.Additional) > 0 {
		return r.Additional[len(r.Additional)-1]
	}
	return r.Vessel
}

// add takes a measurement into the summary.
func (s *MeasurementSummary) add(m Measurement) {
	s.Count++
	if m.ObserveTime.After(s.ObserveTime) {
		s.ObserveTime = m.ObserveTime
	}
	set := func(value **float64, at *time.Time) {
		if *value == nil || !m.ObserveTime.Before(*at) {
			v := m.Value
			*value, *at = &v, m.ObserveTime
		}
	}
	switch m.Kind {
	case MeasureMassKg:
		set(&s.MassKg, &s.MassAt)
	case MeasureVolumeLiters:
		set(&s.VolumeLiters, &s.VolumeAt)
	case MeasureTemperatureCelsius:
		set(&s.TemperatureCelsius, &s.TemperatureAt)
	case MeasureBrixDegrees:
		set(&s.BrixDegrees, &s.BrixAt)
	case MeasureLevelMeters:
		set(&s.LevelMeters, &s.LevelAt)
	case MeasureCheck:
		if !m.Passed {
			s.FailedChecks++
		}
	}
}

// runName is the name of the n-th run of a step, n from 1.
func runName(batch, step string, n int) string {
	name := batch + "/runs/" + step
	if n > 1 {
		name += "-" + strconv.Itoa(n)
	}
	return name
}

// plausible refuses times ahead of the clock.
func plausible(field string, t, now time.Time) error {
	if t.After(now.Add(clockTolerance)) {
		return apierr.InvalidArgument(TimeImplausible, "%s lies in the future (it is %s now): record it when it has happened",
			t.UTC().Format(time.RFC3339), now.UTC().Format(time.RFC3339)).
			With("time", t.UTC().Format(time.RFC3339)).With("now", now.UTC().Format(time.RFC3339)).
			WithViolation(field, "must not lie more than 2 minutes in the future")
	}
	return nil
}
