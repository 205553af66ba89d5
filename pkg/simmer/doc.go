// Package simmer computes how a kettle of stock heats, simmers and reduces.
//
// The contents are one well-mixed body (liquid and immersed bones at the same
// temperature) in a vessel of known geometry. Per unit of time
//
//	C·dT/dt = P - Qwall - Qsurface - m·h(T)
//
// with C the heat capacity of liquid, bones and shell (J/K), P the power that
// reaches the contents (W), Qwall = U·A·(T - Troom) through the wetted wall,
// Qsurface convection and radiation from the free surface or the lid, m the
// evaporation (kg/s), h latent heat (J/kg).
//
// P comes from a rated power and an efficiency or from a Heater: a steam jacket gives
// U·A(level)·(Tsteam - T), less as the level falls; of a flame or plate the share under
// the floor counts. Duty.PowerShare, Duty.MaxSuperheat (lowering the heat as the contents
// thicken, for fear of scorching) and ReducePhases say what the cook does with it.
//
// Evaporation has two regimes. At the boil it is what the energy left over evaporates; the
// surface does not matter. Below the boil it is vapour transfer from the free surface
// (Transfer), and a kettle whose power cannot sustain that rate settles at a lower
// temperature, so evaporation is never above what the power pays for. The regimes join: at
// the power at which a kettle just boils both give the same rate, and the steady rate is
// a continuous function of the power. Activity is 1 at a gentle simmer.
//
// Learn, from readings of a run, makes a belief about a vessel, and ReduceBelieving a
// forecast with its spread from that. Quick estimates without integration, for boards.
// Extraction gives the gelatin.
//
// What is checked against printed values (published_test.go names each; the test measures
// the worst deviation and fails when this table says less):
//
//	topic | model | range | checks | worst
//	pool, Shah's table | FreeConvection | water 28-30 C | 8 | 0.2 %
//	open tank, evaporation | FreeConvection | 38-82 C, rough design table | 9 | 15.0 %
//	open tank, whole surface | with radiation, convection | 38-82 C, the same | 9 | 17.0 %
//	hot bath | analogy, radiation, convection | 50 C, 92 kPa | 4 | 5.9 %
//	Stefan factor | StefanFactor | 20 C | 1 | 0.1 %
//	steam kettle, heating time | SteamJacket | 5-100 gal, 20-45 psig | 21 | 1.7 %
//	steam kettle, steam | energy balance | 5-80 gal, 12 psig | 6 | 0.8 %
//	jacket coefficient | OverallCoefficient | steel, glass-lined | 2 | 3.3 %
//	insulated wall | OverallCoefficient | 49-99 C, 1-3 inch | 8 | 1.8 %
//	energy balance | HeatDemand, BoilOff, JacketHeating | 18-100 C | 4 | 0.1 %
//	heaters, a quart to the boil | default efficiencies | gas, induction, electric | 3 | 20.1 %
//	gelatin | Extraction | 90-100 C, 8 h | 4 | 8.2 %
//
// Values read that the models miss stand in the same file with the reason: tables and rules
// for hot tanks differ among themselves by a third at 85 C and above, where
// FreeConvection lies between them, up to 29 % above the lowest at 99 C and 22 % below
// the highest at 82 C.
//
// Range and what is neglected: the correlation below the boil was tested on still water up
// to 94 C, with 18 % mean deviation, and is extended to the boil here. Fat (slows
// evaporation), stirring and draughts (speed it), a rim high above the level (slows it)
// are left to Activity and to learning. Neglected too: boiling-point rise by solids (below
// 0.5 K up to a demi-glace), foam, heat stored in the burner, water carried off with
// skimmings, evaporation before the lid is lifted, the lag of thick bones.
//
// Results list their assumptions and cautions. They help to plan; they never prove
// that a food is safe.
package simmer

// Cautions and assumptions that results carry. Callers show them as they are.
const (
	CautionExtrapolated = "Evaporation below the boil follows a correlation for still water with 18 % mean deviation; fat, stirring and draughts change it: expect a factor of up to 2 until this vessel has been measured."
	CautionScorch       = "Above 25 % solids the bottom can scorch: lower the heat, stir, and watch the pan (common practice, no source)."
	CautionHotWall      = "The heated wall is more than 20 K hotter than the contents (chosen limit, no source): lower the heat or stir all the time."
	CautionLowerHeat    = "The scorch limit is reached before the end: stop here, lower the heat and go on gently; watch the pan."
	CautionShallow      = "The liquid is less than 2 cm deep: level, temperature and evaporation are no longer even."
	CautionNotReached   = "The end point is not reached within the time allowed: more power, a wider vessel or a smaller batch is needed."
	CautionBelowTarget  = "The power given cannot hold the temperature asked for; the kettle settles lower."
	CautionHotHolding   = "Below 57 C (135 F) the contents are in the danger zone: this forecast supports and does not replace the validated HACCP plan, the local code and the qualified person."
	CautionBonesLag     = "Bones are taken to be as hot as the liquid; thick or frozen bones take longer."
	AssumeMixed         = "Contents well mixed; no fat skin, no foam; solids stay in the vessel."
	AssumeStock         = "Density and specific heat from water and stock solids (protein, fat, carbohydrate, ash 6:1:1:2)."
)
