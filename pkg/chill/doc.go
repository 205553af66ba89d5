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
//   - Pot: a tall pot of still stock in air; lumped behind an outer film of natural
//     convection and radiation, or of a fan, and an inner film of natural
//     convection; a conducting cylinder once it has set (GelBelow).
//   - Chiller: pans in a blast chiller whose refrigeration is shared: implicit
//     finite volumes; when the pans give off more than the machine takes away, the
//     air warms until both agree.
//   - Room: a cold room with the balance of its air: loads of any model that is an
//     Exchanger (anything with SetSurroundings), walls, doors, gains, and a machine
//     whose capacity falls with the air; Watch shows it from one load.
//   - PlateRun: a batch through a plate cooler, as its last litre sees it.
//   - FatCap: the fat on a cooling stock, and when it can be lifted.
//   - Conduction: a Piece of any of these shapes by finite volumes in enthalpy, one to
//     three axes: properties that go with temperature and ice, two unlike faces, walls
//     and fat in series, films that follow from the temperatures (AirFilm), convection
//     that ends when the stock gels, surroundings that change. Second order in space and
//     time; heat kept to rounding; a chill of 64 cells over a day takes less than a
//     millisecond. Cools, freezes, tempers and thaws in one run: RunFreezing, Equalise.
//
// Freezing times by formula: Plank, Pham (1986), ClelandEarle (1977 to 1987); thawing
// times: Thaw (Cleland and others 1986). On slabs of one gel Cleland and Earle lie within
// 12 %, Pham within 15 % and the thawing formula within 14 % of Conduction.
//
// Neglected everywhere: evaporation from an open surface (cools faster: cautious),
// heat in the pan itself, contact with shelves, supercooling, expansion of ice. Solid and
// Chiller also neglect the change of properties with temperature and ice; use Conduction
// where food may freeze.
//
// Conduction, freezing and films against published values (worst: share of the value or,
// for temperatures, of the step between start and surroundings):
//
//	Model         | Law and source                                                  | Range                           | Checks | Worst
//	Solid         | series solution (Incropera; Cengel; Carslaw and Jaeger)         | Bi 1e-4 to 1e5, Fo above 3e-4   | 10 | 1.6 %
//	Conduction    | finite volumes, ROS2 (Verwer), Kirchhoff integral               | 1 mm to 3 m, -60 to 150 C       | 11 | 1.6 %
//	ConductionIce | the same with ice, against Neumann's solution                   | freezing point -10 to -0.05 C   | 3 | 0.1 %
//	Substance     | enthalpy of two phases; composition by thermo.FoodTable         | -60 to 150 C                    | 2 | 0.1 %
//	Plank         | Plank 1913 (Geankoplis; Singh and Heldman)                      | slab, cylinder, sphere          | 5 | 0.5 %
//	Pham          | Pham 1986 (Singh and Heldman; ASHRAE Refrigeration, chapter 20) | Bi 0.02 to 11, air -45 to -15 C | 2 | 0.1 %
//	AirFilm       | Churchill and Chu; McAdams; flat plate; radiation               | -60 to 150 C, 0 to 30 m/s       | 8 | 1.0 %
//
// The constants of the series meet the 57 printed ones of the sphere to four digits.
// What the largest deviations come from, and which published values are not met and why
// (chart readings, misprints, another law), stands beside each check.
//
// Foresee is the live forecast: for every stage when its limit will be reached, between
// when and when, until when it must be, and the chance of that. Its intervals hold 95 %
// of the crossings of a thousand chills by the models above (92 % of those for which it
// has to estimate the surroundings), by test. DeepestPan, MostStock, MostStockInIce, MostPans,
// LeastAirSpeed, WarmestAir and IceNeeded turn the question round, for any limits.
//
// Devices and films against published values; the deviation is a share of the value or,
// for temperatures, of the step that makes them:
//
//	Model        | Law and source                                              | Range                     | Checks | Worst
//	PlateCooler  | counter-current effectiveness, NTU (Kays and London)        | NTU 0 to 100, C 0 to 1    | 7 | 0.1 %
//	Stirring     | c·Re^a·Pr^(1/3) at a stirred wall (Kern; Penney)            | Re by impeller            | 5 | 3.9 %
//	Overall      | resistances in series                                       | films 0.1 to 1e5 W/m2·K   | 2 | 0.4 %
//	Nusselt      | Churchill and Chu, McAdams, Churchill and Bernstein, plate  | Ra to 1e14, Re to 1e8     | 5 | 0.3 %
//	Pot          | still cylinder in air, set: finite volumes                  | 0.01 to 20 000 kg         | 1 | 9.0 %
//	IceBath      | two bodies, ice at 0 C: exact                               | 0.01 to 20 000 kg         | 2 | 2.7 %
//	TwoPointRate | Hedeen, Schaffner and Brown 2022                            | above the driving air     | 1 | 0.2 %
//	Door         | Gosney and Olama 1975 (ASHRAE Refrigeration, chapter 24)    | -45 to 60 C               | 2 | 19.0 %
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
	CautionThaw       = "The surface warms long before the middle has thawed: thaw at 5 C or below, or under cold running water, or cook from frozen, as the local code allows."
	CautionStart      = "No reading at or above the first temperature: when the clock started is not known; take it from the end of cooking."
	CautionGap        = "Readings have gaps: crossings inside a gap are taken on the cautious side."
	CautionJump       = "A reading changed faster than food can: check that the probe stayed in the food."
	CautionRebound    = "The temperature rose above a limit again after it had been passed."
	CautionAmbient    = "The surroundings are not colder than the limit: it cannot be reached."
	CautionFewPoints  = "Fewer than four readings carry this forecast."
	CautionStillStock = "Still stock is computed between conduction and convection; stir, or take the cautious factor 1."
)
