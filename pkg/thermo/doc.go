// Package thermo holds the physical properties that the kettle and cooling
// models stand on: water and steam, moist air, the standard atmosphere, solutions,
// refractometer readings, and foods by composition, frozen or not.
//
// The functions are pure: no state, no clock, nothing written. Those that a solver
// calls in its loops (WaterAt, MoistAirAt, AirAt, the methods of FoodTable and
// ChenEnthalpy) do not allocate. Input outside a range gives an error that names the
// value and the range; no function returns NaN or an infinity.
//
// # Models and checks
//
// Each row: the model and its source; range; published values that pass; values that
// are known to lie outside, each with its reason beside it in the tests; the worst
// deviation of those that pass, which a test measures. % of the value, or in K or Brix.
//
//	vapour-pressure  IAPWS-IF97 region 4, eq. 30                           0 to 373.946 C        8  0  0.0030 %
//	boiling-line     IF97 region 4, eq. 31                                 611 Pa to 22.06 MPa   3  0  0.0000006 K
//	sublimation      IAPWS R14-08; heat by Clapeyron                       -223 (-100) to 0 C    4  0  0.0200 %
//	saturation       IAPWS SR1-86: rho', rho'', h', h'', latent heat       0 to 373 C           31  0  0.0430 %
//	liquid-state     IF97 region 1, eq. 7                                  0 to 140 C            9  0  0.0000005 %
//	liquid           WaterAt: rho, cp, expansion                           0 to 140 C           18  0  0.1500 %
//	viscosity        IAPWS R12-08                                          0 to 140 C           13  0  0.0780 %
//	conductivity     IAPWS R15-11 without enhancement                      0 to 140 C           12  0  0.5100 %
//	surface-tension  IAPWS R1-76(2014)                                     0 to 140 C            6  0  0.0082 %
//	index            IAPWS R9-97 with IF97 density                         0 to 100 C            4  0  0.0003 %
//	dry-air          ideal gas, Sutherland; diffusivity Marrero and Mason  -60 to 200 C         16  3  1.9500 %
//	moist-air        ASHRAE Fundamentals ch. 1; Greenspan; Wilke           -60 to 200 C         21  0  0.5800 %
//	dew-point        inverse of the pressures; adiabatic saturation        -121 to 200 C         1  1  0.0001 K
//	atmosphere       ICAO/ISA, both ways                                   -500 to 11 000 m     18  0  0.0062 %
//	standard-temp    ICAO/ISA                                              -500 to 11 000 m      4  0  0.0510 K
//	sucrose-density  ICUMSA, by Bubnik et al. 1995                         0 to 70 Brix, 100 C  10  6  0.0052 %
//	sucrose-index    own polynomial through ICUMSA 1974 and CRC            0 to 84 Brix, 20 C   16  0  0.0036 %
//	brix-temperature own polynomial through OIV Table I                    0 to 75 Brix, 30 C    9  0  0.0052 Bx
//	solutes          ideal solution with the heat of fusion of 0 C         0 to 12 mol/kg        5  2  0.0065 K
//	freezing-point   Pham 1996                                             to -20 C             12  5  0.3500 K
//	fusion           333.55 kJ/kg, less below 0 C                          -40 to 0 C           17  0  0.3100 %
//	ice              Tchigeov                                              -45 to 0 C            2  0  0.3400 %
//	food-heat        Choi and Okos 1986                                    0 to 150 C           20  2  2.0000 %
//	food-enthalpy    FoodTable: Choi and Okos with Miles' ice              -45 to 150 C          7  1  4.1000 %
//	chen             Chen 1985, closed form both ways                      -40 to 150 C          3  0  0.0060 %
//
// Read for these checks in the open, or printed from memory, as each source string
// says: the verification tables of the IAPWS releases, Perry's Handbook, ASHRAE
// Fundamentals and Refrigeration, Cengel, Earle, the ICAO levels, NBS Circular 440, the
// CRC Handbook, ICUMSA, the OIV compendium, the Smithsonian tables, Meat Refrigeration.
//
// # What is left out
//
// Weather in the altitude pressure (a deep low takes about 1 K off the boiling point);
// the enhancement factor in VapourPressure, which is of pure water (MoistAirAt has it, up
// to 0.55 %); activity coefficients other than the osmotic one the
// caller gives; porosity of foods; the melting of fat; the viscosity of gelatin stock, for
// which no open correlation was found. A stock boils within 0.5 K of water.
//
// Component fractions describe a food to a few percent and its freezing point to 0.4 K:
// where a cooling or freezing time decides on safety, measure. The numbers here support
// and do not replace the validated HACCP plan, the local code and the qualified person.
package thermo
