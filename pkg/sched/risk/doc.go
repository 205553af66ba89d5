// Package risk says how sure a schedule is when its durations are not: it carries a plan out many times with durations
// drawn from given distributions and counts what happens to due times, greatest lags, vessels and overtime.
//
// # The policy
//
// A plan is followed, not made anew: every activity keeps its mode, every vessel its order of activities, and
// cumulative resources are given away in the order of the plan. Under PolicyPlanned nothing begins before its planned
// start (crew, deliveries and outlets were told that time); under PolicyEarly everything begins as soon as it can. In a
// real kitchen somebody re-plans when much goes wrong, so the results are those of the plan left alone.
//
// People look ahead, unless Options.Heedless: bones are not roasted while the kettle that must take them within the hour
// is foreseeably occupied until the evening. What runs is expected to take as long as planned.
//
// # What a realisation respects
//
// Calendars (attended phases lie in open time, pausable phases pause), vessels with their holds, windows in which they
// are down and the cleaning between states, crew for the cleaning, cumulative limits of modes, releases, pins and least
// lags. Drawn durations of phases that cannot pause are known when the phase begins: nobody begins an hour of attended
// work that does not fit before the shift ends.
//
// # What reality does not wait for
//
// These are not enforced; how often they happen is the result:
//   - greatest lags (hot stock that waits too long: a matter of safety, see Report.Caution);
//   - least lags against the order of the plan (a lag to an activity that the plan starts before the other one);
//   - deadlines;
//   - the middle phase of an activity whose attended end finds no people goes on until it does (ActivityRisk.Standing),
//     if need be into time in which unattended work is not allowed (Unwatched) or in which the vessel should be down;
//   - stores never delay anybody; a shelf may become too full (ResourceRisk.Exceeded). The same counts demands that
//     last longer than anybody could know when the next activity began.
//
// With all durations as planned, PolicyPlanned reproduces every start of a plan that passes verify.Check.
//
// The package is pure and single-threaded: same case, options and seed, same report. Draws belong to names, not to
// positions, so two plans of the same kitchen are compared under the same luck (common random numbers).
//
// The results support and do not replace the validated HACCP plan, the local code and the qualified person.
package risk
