// Package project plans projects with scarce resources: activities of fixed duration take amounts of cumulative
// resources while they run, are tied by least and greatest times between their starts, and the last of them shall end
// as early as possible. With finish-to-start precedence only this is the RCPSP; with greatest lags the RCPSP/max, where
// even the existence of a schedule is hard to decide.
//
// Two kinds of worker share what they find. The exact one (engine) decides bounds of start times, propagates lags,
// pairs that exclude each other and the usage of the resources over time, and learns a clause over bounds from each
// dead end: lazy clause generation with pointwise explanations (after Schutt, Feydy, Stuckey and Wallace, "Explaining
// the cumulative propagator", Constraints 2011, and "Solving RCPSP/max by lazy clause generation", J. Scheduling 2013).
// It proves optimality and infeasibility. The other one keeps a population of activity lists, recombines them and
// improves each schedule by shifting it right and left again (after Valls, Ballestin and Quintanilla, "Justification and
// RCPSP", EJOR 2005, and Debels and Vanhoucke, "A decomposition-based genetic algorithm for the RCPSP", Operations
// Research 2007), and re-solves parts of good schedules with the exact engine while the rest keeps its order or its
// times. All papers are cited from memory.
//
// The result depends on the problem, the seed and the iteration budget only, not on the number of workers: they meet
// after amounts of work that are counted, not timed. A deadline is asked through a function of the caller; the package
// reads no clock.
package project
