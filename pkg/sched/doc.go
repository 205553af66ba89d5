// Package sched decides which vessel, crew and time each step of a kitchen's batches gets.
//
// The model (model.go) is a project scheduling problem with everything that makes a stock kitchen hard: alternative
// vessels, minimum and maximum time lags, vessels that stay blocked until the next step takes the material,
// sequence-dependent cleaning, shift calendars with attended and unattended work, cumulative limits over time (crew
// heads, electric power, chiller load, shelf space), storage between steps, releases, deadlines, due times, and
// stability against a plan that people already follow.
//
// The engine is pure: standard library only, no clock, no global state; large problems are searched by two goroutines
// that meet after counts of steps. The same Instance, seed and iteration budget give the same Plan. Time is an int64 in a
// unit that the caller chooses (the scheduling service uses seconds); all intervals are half-open [start, end).
//
// A plan is made in two steps. A decoder places blocks of activities (those tied together by maximum lags or by holding
// a vessel) one after the other at their earliest feasible time; when a member of a block misses its window the block
// is taken out and its first stage is tried later. A search changes the order of the blocks, their modes and their
// earliest times, and keeps what is better; in large problems it takes a few blocks out of the plan and places them anew
// among the others. A plan that is given to begin from keeps its places as far as they are still possible. Bounds on
// makespan and tardiness say how far from the best the plan can be.
//
// When there is no plan, Explain says which steps and limits are impossible together, proves it where it can, and
// searches for the cheapest changes with which there is one; ExplainLate does so for an order that is late.
//
// The engine never returns a plan that breaks a constraint of the model; package verify checks that independently and
// its Check is to be called before a plan is saved. A plan supports and does not replace the validated HACCP plan, the
// local code and the qualified person: a time limit that the instance does not contain is not respected.
package sched
