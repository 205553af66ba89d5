package foodsafety

import (
	"slices"
	"time"

	"rondeau.internal/pkg/units"
)

// ChillState says where a chill stands.
type ChillState string

// The states of a chill.
const (
	ChillInProgress ChillState = "IN_PROGRESS"
	ChillPassed     ChillState = "PASSED"
	ChillFailed     ChillState = "FAILED"
	ChillAbandoned  ChillState = "ABANDONED"
)

// Chill is the passage of one vessel or pan of hot material through the cooling limits.
type Chill struct {
	Name          string
	UID           string
	DisplayName   string
	Batch         string
	Run           string
	Vessel        string
	Profile       string        // resource name of the limits profile
	Limits        LimitsProfile // as they were when the chill was started
	Lots          []string      // empty: all lots of the batch
	Probes        []string
	StartTime     time.Time
	FinishTime    time.Time
	State         ChillState
	Judgement     Judgement
	Forecast      *Forecast
	AtRisk        bool
	Latest        *Reading
	ReadingCount  int
	Deviation     string
	Starter       string
	Finisher      string
	Recorders     []string // everybody who made a record of the chill, sorted
	AbandonReason string
	FromRun       bool // started by the news of a run, not by a person
	CreateTime    time.Time
	UpdateTime    time.Time
	Version       int64
}

// Etag is the version as seen by callers.
func (c *Chill) Etag() string { return etagOf(c.Version) }

// Site is the site of the chill.
func (c *Chill) Site() string { return SiteOf(c.Name) }

// Watched says whether the probes of the chill watch it: in progress, or failed and not ended yet.
func (c *Chill) Watched() bool {
	return c.State == ChillInProgress || c.State == ChillFailed && c.FinishTime.IsZero()
}

// addRecorder notes that a person or device made a record of the chill.
func (c *Chill) addRecorder(subject string) {
	if i, found := slices.BinarySearch(c.Recorders, subject); !found && subject != "" {
		c.Recorders = slices.Insert(slices.Clone(c.Recorders), i, subject)
	}
}

// covers says whether the chill is about a lot.
func (c *Chill) covers(lot string) bool { return len(c.Lots) == 0 || slices.Contains(c.Lots, lot) }

// patience is until when the readings of a chill that was entered late may still come.
func (c *Chill) patience() time.Time { return c.CreateTime.Add(c.Limits.MaxGap) }

// samples takes what is judged out of the readings: those up to the finish of a finished chill.
func (c *Chill) samples(readings []Reading) []Sample {
	list := make([]Sample, 0, len(readings))
	for _, r := range readings {
		if !c.FinishTime.IsZero() && r.ObserveTime.After(c.FinishTime) {
			continue
		}
		list = append(list, Sample{Probe: r.Probe, At: r.ObserveTime, Temperature: r.Judged})
	}
	return list
}

// rejudge sets judgement, forecast and latest reading from all readings of the chill.
func (c *Chill) rejudge(readings []Reading, now time.Time) {
	samples := c.samples(readings)
	at := now
	if !c.FinishTime.IsZero() && c.FinishTime.Before(now) {
		at = c.FinishTime
	}
	c.Judgement = judge(&c.Limits, c.StartTime, c.patience(), samples, at)
	c.ReadingCount = len(readings)
	c.Latest = nil
	for i := range readings {
		if c.Latest == nil || readings[i].ObserveTime.After(c.Latest.ObserveTime) {
			latest := readings[i]
			c.Latest = &latest
		}
	}
	c.Forecast = nil
	c.AtRisk = c.Judgement.Missed()
	if c.State == ChillInProgress {
		c.Forecast = Predict(&c.Limits, samples, c.Judgement)
		c.AtRisk = c.AtRisk || c.Forecast.AtRisk()
	}
}

// view is the chill as of now: a chill in progress is judged by the clock, nothing is stored.
func (c *Chill) view(readings []Reading, now time.Time) *Chill {
	copied := *c
	if copied.State == ChillInProgress {
		copied.rejudge(readings, now)
	}
	return &copied
}

// Cautions is what a person must know who relies on the judgement of the chill.
func (c *Chill) Cautions() []string {
	list := c.Limits.Cautions()
	for _, text := range c.Judgement.Cautions {
		if !slices.Contains(list, text) {
			list = append(list, text)
		}
	}
	if c.Judgement.GapExceeded {
		list = append(list, "The chill was watched too thinly: the longest silence of a probe was "+durationText(c.Judgement.LongestGap)+".")
	}
	return list
}

// Sample is one temperature for judging.
type Sample struct {
	Probe       string
	At          time.Time
	Temperature units.Celsius
}
