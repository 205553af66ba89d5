// Package microbe estimates what bacteria do over a time-temperature history: the growth
// of Clostridium perfringens while food cools, and the lethality of a cook.
//
// The results inform the person who decides. They overrule no critical limit, and do not
// replace the validated HACCP plan, the local code and the qualified person. Clostridium
// botulinum and Bacillus cereus are not covered.
//
// # Growth
//
// Growth and Tracker solve the dynamic primary model of Baranyi and Roberts (1994),
//
//	dQ/dt = mu(T)·Q,  dy/dt = mu(T)·Q/(1 + Q)·[1 - exp(y - ymax)],  q0 = 1/(exp(h0) - 1),
//
// exactly: with the temperature straight between readings the integral of mu over time is a
// difference of primitives in closed form, and y follows from that integral alone (see
// Accumulation). There is no step and no quadrature error. The secondary models are data,
// RateModels, each with its source and how it is known:
//
//	model           | form        | growth, C    | peak, 1/h | lag h0 | source
//	le-marc         | square root | 12.2 - 54.47 | 4.06      | -      | Le Marc and others 2008; collection records 1317, 1318
//	braised-beef    | cardinal    | 10.3 - 53.4  | 5.64      | -      | Food Control, abstract
//	roasted-chicken | cardinal    | 8.8 - 51.5   | 6.06      | -      | Food Control, abstract
//	uncured-beef    | square root | 10.15 - 53.0 | 6.00      | -      | collection records 1157, 1160
//	uncured-chicken | square root | 9.74 - 52.1  | 5.09      | 4.57   | collection records 1158, 1161
//	uncured-pork    | square root | 10.69 - 52.8 | 5.20      | 4.30   | collection records 1159, 1162
//
// The likely value takes the set of the category (SetFor). Stock: le-marc, h0 4.4 (between
// the published 4.30 and 4.57), ceiling 8.0 log10 per gram. Beef and pork: le-marc, h0 5.06,
// calibrated on six published increases in pork and tested on the rest; ceilings 7.56 and
// 8.55 from final counts. Poultry: uncured-chicken with its own lag, ceiling 8.19.
//
// The upper value is the same model at the temperature that grows most within the tolerance
// of the probe, and in gaps between the two readings, with either the rate raised by 31 %
// (one-sided 95 % of the published variation of 19 % between coolings) or h0 lowered to 3.5,
// whichever grows more. The criterion is met when the upper value is within the limit, not met when
// the likely value is above it, and otherwise not decidable.
//
// Range: temperature 15 to 52 C (the model runs on to its limits), pH 5.0 to 6.25, salt 0.5
// to 4 % of the water. Inputs outside are moved into the range to faster growth and the
// result says so. Nitrite, phosphate and other antimicrobials are not known to the models. The
// poultry model knows neither pH nor salt.
//
// # Lethality
//
// Lethality integrates the lethal rate 10^((T - Tref)/z) exactly over straight pieces, with its own
// z below and above the reference, nothing credited below Lowest and no more than at
// Highest. Proven is the same with the probe too high by its tolerance and gaps at the lower
// of their ends. Targets, AppendixATable, UKEquivalents and BotulinumEquivalents are data.
//
// # Checks
//
// The tests measure this table. The worst deviation counts the listed misses too; they stand with
// their reasons in published_test.go and cooling_published_test.go.
//
//	topic                                  | source                                                | range            | checks | worst
//	growth during cooling                  | 25 series of 23 studies, abstracts                    | 1.8 to 28 h      | 71     | 4.02 log10
//	growth at constant temperature         | Juneja 1994, 1996, 2001, 2006; Blankenship 1988       | 4 to 42 C        | 14     | 1.62 log10
//	equivalents, non-proteolytic botulinum | Chilled Food Association 2006, UK table               | 80 to 100 C      | 21     | 0.46 min
//	equivalents, vegetative cells          | UK agency and advisory committee                      | 60 to 80 C       | 7      | 1.92 min
//	lethal rate and z values               | dairyscience.info; two D series; Odlaug; Bradshaw     | 52 to 121 C      | 6      | 0.27
//	FSIS Appendix A look-up                | FSIS 1999 as reproduced                               | 130 to 160 F     | 62     | 0 s
//
// During cooling the likely value is within 0.5 log10 of the observed increase in 30 of 52
// experiments with a number, and in 14 of 19 with a bound: 44 of 71. Of the 43 numbers from which
// no parameter was taken it is 24. Within -0.5 and +1.0, the zone of this literature, it is 37 of 52.
// The aim of 80 % is not reached: laboratories that cooled alike differ by up to 4.7 log10, and even
// the best single value for each cooling time would bring 29 of 42 within 0.5. Nearly all large
// misses predict too much. The upper value is above every observed increase but one, 6.98 log10
// after 21 h, where the count passed the cautious ceiling.
package microbe
