// Package planning owns what the kitchen is asked for and what it decides to make: sites, outlets, products, formulas,
// pars, orders, plans and batches.
//
// # Invariants
//
//   - A version of a formula never changes once it is approved; at most one approved formula makes an item.
//   - An order is changed only before its cut-off, which is the moment of dispatch in the site's time zone less the
//     cut-off duration of the outlet, counted in elapsed time.
//   - At most one plan of a site is released. Its batches carry everything that scheduling needs: scaled inputs, scaled
//     steps, due times and pegs.
//   - Sources of an input sum to its mass, and pegs of a batch to its planned output, to the milligram.
//   - A batch that has begun is never cancelled; the next plan counts on its output.
//
// # How a plan is made
//
// [Service.CreatePlan] reads orders and pars, stock and expected deliveries (port Inventory), vessels (port Scheduling)
// and batches in progress, turns them into a problem of package explode, and turns the answer into batches, purchases
// and shortages. Nothing in it is random: the same state gives the same plan.
//
// How long a simmer, a reduction or a chill takes is asked of scheduling, which knows the physics of the vessels: planning counts the
// middle between the fastest and the slowest vessel, at the base output of the formula. The time typed in the formula counts where
// scheduling does not answer or too little is known of the vessels; a typed time that no vessel can keep is noted.
//
// A plan made while another is in force counts on that one's purchases which inventory has made no delivery of yet, and on stock
// reserved for its batches that have not begun: releasing the new plan cancels those. Orders left open before the first day are
// planned for it when their dispatch is at most seven days ago; both they and older ones are noted.
//
// A dispatch before noon needs its packs on the day before; a later one on the day itself. Days are those of the site.
//
// # What it publishes
//
// Order placed, changed, cancelled; plan released; purchase proposed (one for each purchase, at release); batch
// cancelled. Each is committed with the change that it reports.
//
// # What it never does
//
// It does not say when a step is done and in which vessel (scheduling), does not move stock (inventory), and does not
// judge safety: shelf lives, waits and limits profiles are passed on as they were entered. A plan supports and does not
// replace the validated HACCP plan, the local code and the qualified person.
//
// The fields of the aggregates are also the keys of the stored documents: renaming one needs a migration.
package planning
