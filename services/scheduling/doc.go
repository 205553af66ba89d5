// Package scheduling is the domain of the service that decides which vessel, crew and time each step of the kitchen's
// batches gets, and that records what really happened at each step.
//
// It owns vessels, crews, calendars, the kitchen's limits, schedules, runs and measurements. Batches belong to planning;
// a copy of those that were scheduled is kept, so that runs can be started, measured and finished while planning is
// down.
//
// What always holds:
//   - a vessel that takes one load carries one run at a time; the database refuses a second one, also in hindsight,
//     when a late entry would overlap;
//   - a vessel with a shared load carries no more than its capacity;
//   - at most one schedule of a site is published, and none is published that package sched/verify objects to with the
//     kitchen as it is at that moment;
//   - a run that was started is never moved or taken back by a schedule;
//   - measurements are only added.
//
// Computing a schedule takes seconds to minutes. It is an Operation: a stored row that a Worker takes under a lease, so
// that a crash or a restart leads to another attempt that begins with the best schedule found so far and has the time and
// iterations that are left. It can be watched (WatchOperation), and cancelled: then the best schedule found is the result.
//
// When there is no schedule, the report says which steps and limits are impossible together and what is the least that
// makes one possible; when batches are late, what would bring the worst of them in time. These remedies are computed on
// the way, on changed copies of the problem, and are data as well as words (Remedy).
//
// A forecast is renewed with every measurement, and by the clock (WatchOverdue) when its moment has passed; a finish that
// moved by five minutes or more is told to others, and the next schedule counts with it.
//
// Published facts: schedule published; run started, finished, aborted; vessel down and up; forecast finish changed.
//
// The package never talks to a network, a database or the wall clock; ports.go names what it needs. Durations, forecasts
// and schedules support and do not replace the validated HACCP plan, the local code and the qualified person.
package scheduling
