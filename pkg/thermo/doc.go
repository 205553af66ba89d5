// Package thermo holds the physical properties that the kettle and cooling
// models stand on: water and steam, moist air, the standard atmosphere, and foods
// by composition.
//
// Models and sources:
//
//   - Saturation pressure and temperature of water: IAPWS-IF97, region 4,
//     equations 30 and 31 (Revised Release on the IAPWS Industrial Formulation 1997).
//     0 to 373.946 C. Over ice: Wagner, Riethmann, Feistel, Harvey 2011 (IAPWS
//     R14-08), -223 to 0.01 C.
//   - Density of saturated water and steam: Wagner and Pruss 1993 (IAPWS
//     SR1-86(1992)), equations 2 and 3. Latent heat follows from them and the
//     slope of the saturation line by the Clapeyron relation.
//   - Atmosphere: ICAO/ISA 1976 below 11 km.
//   - Air: Sutherland's law, ideal gas; vapour diffusivity of Marrero and Mason
//     1972.
//   - Foods: component equations of Choi and Okos 1986, -40 to 150 C; ice
//     fraction of Tchigeov; enthalpy of Chen 1985, both as printed in the ASHRAE
//     Handbook, Refrigeration, chapter 19.
//
// Neglected: dissolved salts and gelatin in the vapour pressure of stock (a
// stock boils within 0.5 K of water; see BoilingPointElevation), weather in the
// altitude pressure (a deep low takes about 1 K off the boiling point), the
// enhancement factor of moist air (0.5 %), porosity of foods.
//
// Input outside a range gives an error that names the value and the range; no
// function returns NaN or an infinity.
package thermo
