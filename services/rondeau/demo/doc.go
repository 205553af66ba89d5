// Package demo drives one week of an invented kitchen through the public API, in simulated time: outlets order, the
// manager plans and schedules, deliveries come, cooks cook, probes read, the safety lead judges and signs, packs ship,
// and a container is traced. It has no access to the services but their generated clients, each call signed in as the
// person who would make it.
//
// What the kitchen does not know beforehand is computed here and only measured there: how much heat a vessel really
// passes on, how fast a chiller really cools, what a batch yields. These hidden truths differ from the nominal values
// in the kitchen's own data, so runs end at other times than planned, and the plan and the schedule have to follow.
//
// Run is deterministic: all draws come from a seed and the name of the thing they are drawn for, and no decision
// depends on the machine's clock. Numbers in the report are read back from the services or computed, none is written
// down beforehand.
//
// Invariants looks at a kitchen after any week, also one in which processes were killed, and lists what must never be.
package demo
