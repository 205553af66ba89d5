// Package explode turns dated demand into dated batches and purchases: a
// time-phased, multi-level explosion of requirements with batch sizing.
//
// A [Problem] holds a horizon of whole days, the items ([Node]) with their
// formulas, demands and supplies. [Solve] returns a [Result] with the batches to
// make, the purchases to place, what will be short and why, and the pegging
// between all of them. The package is pure: same problem, same result; it reads
// no clock, has no randomness and starts no goroutine.
//
// # Time
//
// Day 0 is the first day that can still be planned; the last is Problem.Days-1.
// A quantity due on day d must be available when day d begins to use it; a batch
// with Due d and a lead of L days starts on day d-L and takes its inputs then.
// Leads given in hours are rounded up to whole days per node, except that hours
// up to Problem.SameDayHours count as zero days (see [Node]).
//
// A lot that becomes available on day a with a shelf life of S days may be used
// on days a … a+S-1: the day it becomes available is day 1 of its life.
//
// # Method
//
// Nodes are taken in the order of their low-level codes, so that every use of a
// node is known before the node itself is planned. For each node:
//
//  1. Days inside the cumulative lead time of the node cannot be helped by new
//     supply, so stock is rationed there by kind of demand: orders first, then
//     forecasts, then pars, whatever their day.
//  2. The days are then walked once. Each day's needs take what is usable, first
//     expired first out. What is left, and what is missing to the node's level
//     (par and safety stock), is gathered over the period of supply and becomes
//     batches or a purchase, sized by [Sizing].
//  3. Batches pass their input needs and their by-products on.
//
// A second pass goes from the purchases back up. A batch whose inputs come later
// than wanted starts later; a batch whose inputs come only in part is made
// smaller if a vessel still accepts it and is dropped otherwise. What this does to
// demands is reported in [Result.Shortages] with the item at the root of it.
//
// # Limits
//
// Vessels limit the size of a batch, not how many batches a day can hold: finite
// capacity is the scheduling engine's subject. Stock set free when a batch is
// made smaller is not dealt out again to another short batch. A batch waits for
// the last of its inputs as long as it can still be ready inside the horizon. With a
// minimum batch size, more stock can shift batches so that more is made in all:
// this is a property of minimum sizes, not an error of rounding.
//
// A plan says nothing about food safety: shelf lives, leads and limits are inputs
// that come from the kitchen's validated HACCP plan and its qualified person.
package explode
