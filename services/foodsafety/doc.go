// Package foodsafety watches chills and keeps the records on which a lot is held, released and shipped.
//
// It owns limits profiles, probes, chills with their readings, deviations with their corrective actions, holds,
// releases and the audit trail. It keeps local copies of two facts of others: which lot was made from which (inventory)
// and who worked at which run (scheduling), so that readings are taken and lots are judged while every other service
// and the broker are down.
//
// Invariants:
//   - Readings, corrective actions, releases and the audit trail are only appended; the databases refuse anything else.
//   - Every change of a chill, deviation, hold or release has an entry in the audit trail of the same transaction.
//   - A limit that was missed, or that no reading shows to be met when its time is over, makes the chill FAILED, opens a
//     deviation and holds the batch, all in the transaction of the reading or of the look at the clock that found it. A
//     chill that failed never passes by itself, whatever reading arrives later.
//   - Nobody closes a deviation whose action they took, lifts a hold they placed, or releases a lot whose records they
//     made.
//   - A hold makes every release that was signed before it void.
//
// Limits are compared in the unit of the rule: a reading in degrees Celsius is converted to Fahrenheit for a rule
// written in Fahrenheit; the rounded pairs that a rule prints are never compared with.
//
// It publishes chill started, chill finished, chill limit at risk, deviation opened and closed, hold placed and lifted,
// lot released. It never moves stock, never decides about food in place of a person, and never deletes.
//
// What it says supports and does not replace the validated HACCP plan, the local code and the qualified person.
package foodsafety
