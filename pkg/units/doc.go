// Package units holds the typed quantities of a stock kitchen.
//
// A temperature and a temperature difference are different types, as are a
// mass and a volume, so that swapped arguments do not compile: adding a
// difference of 65 F deg to a temperature must never add 32. All quantity types
// are float64 in the SI unit named at the type; conserved quantities (stock
// balances, moves between lots) use the integer type Milligrams, which adds and
// subtracts without rounding and refuses to overflow.
//
// Definitions: the US customary units are the exact ones of NIST Handbook 44,
// Appendix C, in the form UCUM states them: inch = 2.54 cm, gallon = 231 in3,
// pound = 7000 grains, grain = 64.79891 mg, fluid ounce = gallon/128,
// tablespoon = 1/2 fluid ounce, teaspoon = 1/3 tablespoon. The BTU is the one of
// the International Table. Unit codes are those of UN/CEFACT Recommendation 20,
// which EPCIS uses; the rounded factors printed there are not used.
//
// Constants are written as Go constant expressions, hence exact until the
// single rounding to float64. Parsing works in exact rationals and rounds once.
//
// Limits: no quantity knows its uncertainty, and a volume becomes a mass only
// with a density that the caller gives for its product and temperature.
package units
