// Package chill computes how hot stock cools, judges a measured cooling against a
// limit profile, and forecasts the rest of it.
//
// Models, all behind the interface Model:
//
//   - Stirred: a stirred vessel against a jacket or bath of constant inlet
//     temperature; lumped, exact. Range: contents at one temperature (stirring).
//   - IceBath: a stirred vessel in ice water, ice melting at 0 C, then the bath
//     warming; exact in both phases. Neglects heat from the room and the time
//     that ice needs to melt.
//   - Solid: conduction in slab, long cylinder, sphere, finite cylinder or brick
//     with equal film coefficient and constant surroundings; series solution
//     (Incropera and DeWitt, chapter 5; Cengel, chapter 4). A still pan of stock is
//     a slab with an effective conductivity: 1 times that of stock when gelled or
//     thick (cautious), more when thin stock convects; see LayerFactor.
//   - Pot: a tall pot of still but convecting stock in air; lumped behind an outer
//     film of natural convection and radiation, or of a fan, and an inner film.
//     Optimistic once the stock gels.
//   - Chiller: pans in a blast chiller whose refrigeration is shared: implicit
//     finite volumes; when the pans give off more than the machine takes away, the
//     air warms until both agree.
//
// Freezing times are those of Plank and of Pham (1986).
//
// Neglected everywhere: evaporation from an open surface (cools faster: cautious),
// heat in the pan itself, contact with shelves, door openings, change of properties
// with temperature within one run, ice at the edges in air below freezing.
//
// Limits are data in the unit of the rule. A verdict reads the measurements on
// the cautious side and supports a decision; it does not make it.
package chill

// Cautions that results carry; callers show them as they are.
const (
	// CautionSafety belongs on every page, command and report that shows a chill.
	CautionSafety     = "This supports and does not replace the validated HACCP plan, the local code and the qualified person."
	CautionModel      = "A computed cooling curve is not a measurement: probe the thickest or middle part of the food."
	CautionGel        = "Below about 15 C gelatin sets and stock no longer convects: the middle lags behind this forecast."
	CautionStart      = "No reading at or above the first temperature: when the clock started is not known; take it from the end of cooking."
	CautionGap        = "Readings have gaps: crossings inside a gap are taken on the cautious side."
	CautionJump       = "A reading changed faster than food can: check that the probe stayed in the food."
	CautionRebound    = "The temperature rose above a limit again after it had been passed."
	CautionAmbient    = "The surroundings are not colder than the limit: it cannot be reached."
	CautionFewPoints  = "Fewer than four readings carry this forecast."
	CautionStillStock = "Still stock is computed between conduction and convection; stir, or take the cautious factor 1."
)
