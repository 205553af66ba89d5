// Package simmer computes how a kettle of stock heats, simmers and reduces.
//
// The contents are one well-mixed body (liquid and immersed bones at the same
// temperature) in a vessel of known geometry. Per unit of time
//
//	C·dT/dt = P - Qwall - Qsurface - m·h(T)
//
// with C the heat capacity of liquid, bones and shell (J/K), P the power that
// reaches the contents (W, rated power times efficiency times share), Qwall =
// U·A·(T - Troom) through the wetted wall, Qsurface convection and radiation from
// the free surface or the lid, m the evaporation (kg/s), h latent heat (J/kg).
//
// Evaporation has two regimes. At the boil it is what the energy left over
// evaporates; the surface does not matter. Below the boil it is vapour transfer
// from the free surface, by the pool equation of the ASHRAE Handbook (HVAC
// Applications; Carrier 1918),
//
//	m = activity·A·(pw - pa)·(0.089 + 0.0782·V)/h    (kPa, m/s, kJ/kg, kg/s)
//
// and a kettle whose power cannot sustain that rate simply settles at a lower
// temperature, so evaporation is never above what the power pays for. Activity is
// 1 at a gentle simmer; see Activity. As an alternative the heat and mass
// transfer analogy Nu = 0.15·Ra^(1/3), Sh = 0.15·(Gr·Sc)^(1/3) is offered.
//
// Range and what is neglected: the pool equation was fitted to water at about 30
// to 50 C and is extrapolated here up to the boil, where the true rate may be
// twice as high (outward flow of the vapour itself is left out), so treat times
// below the boil as an order of magnitude until the vessel was measured: Learn turns
// weights, levels or Brix of a run into a belief about the vessel, and ReduceBelieving
// turns a belief into a forecast with an interval.
// Neglected too: skin of fat (slows evaporation), boiling-point rise by solids
// (below 0.5 K up to a demi-glace), foam, heat stored in the floor, water carried
// off with skimmings, evaporation before the lid is lifted, the lag of thick bones.
//
// Results list their assumptions and cautions. They help to plan; they never prove
// that a food is safe.
package simmer

// Cautions and assumptions that results carry. Callers show them as they are.
const (
	CautionExtrapolated = "Evaporation below the boil uses a pool equation fitted to 30-50 C water and is extrapolated: expect a factor of up to 2 until this vessel has been measured."
	CautionScorch       = "Above 25 % solids the bottom can scorch: lower the heat, stir, and watch the pan (common practice, no source)."
	CautionShallow      = "The liquid is less than 2 cm deep: level, temperature and evaporation are no longer even."
	CautionNotReached   = "The end point is not reached within the time allowed: more power, a wider vessel or a smaller batch is needed."
	CautionBelowTarget  = "The power given cannot hold the temperature asked for; the kettle settles lower."
	CautionHotHolding   = "Below 57 C (135 F) the contents are in the danger zone: this forecast supports and does not replace the validated HACCP plan, the local code and the qualified person."
	CautionBonesLag     = "Bones are taken to be as hot as the liquid; thick or frozen bones take longer."
	AssumeMixed         = "Contents well mixed; no fat skin, no foam; solids stay in the vessel."
	AssumeStock         = "Density and specific heat from water and stock solids (protein, fat, carbohydrate, ash 6:1:1:2)."
)
