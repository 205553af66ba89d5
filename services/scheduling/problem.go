package scheduling

import (
	"time"
)

// Problem is everything that a schedule is computed from, as it was at one moment. It is stored with the operation, so
// that another attempt after a restart, and the check before publication, know what was asked.
type Problem struct {
	Site      string
	Plan      string
	Facts     SiteFacts
	Start     time.Time
	End       time.Time
	Batches   []Batch
	Vessels   []Vessel
	Crews     []Crew
	Calendars []Calendar
	Limits    KitchenLimits
	// Runs of the batches that are running or finished.
	Runs []Run
	// Reference is the schedule against which changes cost.
	Reference     []Assignment
	ReferenceName string
	Seed          uint64
	// Budget is the number of plans to try; 0 when MaxDuration bounds the search.
	Budget      int
	MaxDuration time.Duration
}

// Bounds of a computation.
const (
	// DefaultMaxDuration is how long it takes at most when nobody names a budget: long enough that a week of a kitchen has
	// settled, short enough to wait for.
	DefaultMaxDuration = 10 * time.Second
	// LongestDuration is the most that any computation gets.
	LongestDuration = time.Hour
)

// horizonEnd is late enough for every batch to be placed, if late: being late is better than having no schedule.
func horizonEnd(start time.Time, batches []Batch) time.Time {
	end := start.AddDate(0, 0, 14)
	for _, b := range batches {
		var work time.Duration
		for _, s := range b.Steps {
			work += s.Setup + s.Planned + s.MinWait
		}
		for _, t := range []time.Time{b.Due, b.EarliestStart} {
			if !t.IsZero() {
				end = latest(end, t.Add(work))
			}
		}
	}
	return end.AddDate(0, 0, 7+len(batches)/20)
}

// progress is how far a batch is: the run that says so and the index of the first step still to be planned.
type progress struct {
	fact *Run // last step that is running or finished; nil when none is known
	at   int  // index of its step, or -1
	next int  // first step still to be planned
}

// progressOf finds the last step of a batch that has begun. Steps before it count as done, whether or not anybody
// recorded them.
func progressOf(b Batch, runs []Run) progress {
	p := progress{at: -1}
	index := map[string]int{}
	for i, s := range b.Steps {
		index[s.ID] = i
	}
	for _, id := range b.FinishedSteps {
		if i, found := index[id]; found && i >= p.next {
			p.next = i + 1
		}
	}
	for i := range runs {
		r := &runs[i]
		if r.Batch != b.Name || (r.State != RunRunning && r.State != RunFinished) {
			continue
		}
		at, found := index[r.StepID]
		if !found || at < p.at || at < p.next-1 {
			continue
		}
		p.fact, p.at = r, at
		p.next = max(p.next, at+1)
	}
	return p
}

// done says whether nothing of the batch is left to plan or to wait for.
func (p progress) done(b Batch) bool {
	return p.next >= len(b.Steps) && (p.fact == nil || p.fact.State == RunFinished)
}

// expectedEnd is when a started run is, or will be, finished; a running one ends after now.
func (r Run) expectedEnd(now time.Time) time.Time {
	if r.State == RunFinished {
		return r.Finish
	}
	end := r.Start.Add(r.PlannedEnd.Sub(r.PlannedStart))
	if r.Forecast != nil && !r.Forecast.Expected.IsZero() {
		end = r.Forecast.Expected
	}
	return latest(end, now.Add(overdueAllowance))
}

// overdueAllowance is how much longer a run is expected to take that should have been finished already (chosen, no
// source).
const overdueAllowance = 5 * time.Minute
