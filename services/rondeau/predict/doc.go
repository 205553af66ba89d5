// Package predict answers questions at the bench without a server: how long until a pot has reduced, whether a cooling
// keeps its limits, how long freezing takes, what a temperature history lets grow.
//
// It owns three things: reading what a person writes (kitchen units or SI, with bounds and an example for each flag), a
// library of vessels and products with the source of every default, and saying the answer: one plain sentence first, a
// short table in the person's own units, what was assumed, cautions, a picture. The physics is that of pkg/simmer,
// pkg/chill, pkg/thermo and pkg/microbe; nothing is computed here that belongs there.
//
// The entry points are Reduce, Heat, Chill, Thaw, Freeze and Growth. Each takes a question whose fields are the texts of
// the flags and gives an Answer or Faults, which name every wrong flag at once. They are pure: no clock, no network, no
// files (the text of a history is handed in).
//
// Results about cooling and growth support and do not replace the validated HACCP plan, the local code and the qualified
// person.
package predict
