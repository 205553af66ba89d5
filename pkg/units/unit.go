package units

import (
	"math/big"
	"sort"
)

// Dimension is the kind of a quantity. Temperatures and their differences are
// different dimensions.
type Dimension uint8

// The dimensions that a unit of this package may have.
const (
	DimensionCount Dimension = iota
	DimensionMass
	DimensionVolume
	DimensionLength
	DimensionTemperature
	DimensionTime
	DimensionEnergy
	DimensionPower
	DimensionPressure
	DimensionRatio
)

var dimensionNames = [...]string{"count", "mass", "volume", "length", "temperature", "time", "energy", "power", "pressure", "ratio"}

// String returns the English word, for use in messages.
func (d Dimension) String() string {
	if int(d) < len(dimensionNames) {
		return dimensionNames[d]
	}
	return "unknown dimension"
}

// Unit describes one unit of measure. The zero value is not a unit; take units
// from the lookups.
type Unit struct {
	// Symbol as printed: "kg", "gal", "F".
	Symbol string
	// Rec20 is the UN/CEFACT Recommendation 20 common code, as used by EPCIS and
	// GS1; empty when there is none.
	Rec20 string
	// UCUM is the case-sensitive UCUM code. It is not what EPCIS uses.
	UCUM string
	// Dimension of the unit.
	Dimension Dimension
	// factor is the exact size in the SI unit of the dimension (degrees for
	// temperature); offset is added to the value before scaling, for scales
	// whose zero is elsewhere.
	factor, offset *big.Rat
	aliases        []string
}

// Factor returns the size of the unit in the SI unit of its dimension, rounded
// once. For a temperature unit it is the size of one degree in kelvins.
func (u Unit) Factor() float64 {
	if u.factor == nil {
		return 0
	}
	f, _ := u.factor.Float64()
	return f
}

// rat parses an exact decimal or fraction written in this file.
func rat(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic("units: bad constant " + s)
	}
	return r
}

func mul(rs ...*big.Rat) *big.Rat {
	p := big.NewRat(1, 1)
	for _, r := range rs {
		p.Mul(p, r)
	}
	return p
}

var (
	exactInch   = rat("0.0254")
	exactGallon = mul(rat("231"), exactInch, exactInch, exactInch)
	exactPound  = mul(rat("7000"), rat("0.00006479891"))
	exactBTU    = rat("1055.05585262")
	exactPSI    = mul(exactPound, rat("9.80665"), new(big.Rat).Inv(mul(exactInch, exactInch)))
)

// table lists every unit once. Recommendation 20 codes read in published code lists:
// KGM, GRM, LTR, MLT, CLT, DLT, MTQ, CMQ, GLL, QTL, PTL, G21, OZA, G24, G25, LBR, ONZ,
// CEL, FAH, KEL, JOU, KJO, KWH, BTU, 2I, SEC, MIN, HUR, A97, BAR, PS, H87, C62; the others
// are from memory of the Recommendation.
var table = []Unit{
	{"kg", "KGM", "kg", DimensionMass, rat("1"), nil, []string{"kilo", "kilos", "kilogram", "kilograms", "kilogramme", "kilogrammes", "kgs"}},
	{"g", "GRM", "g", DimensionMass, rat("0.001"), nil, []string{"gram", "grams", "gramme", "grammes"}},
	{"mg", "MGM", "mg", DimensionMass, rat("0.000001"), nil, []string{"milligram", "milligrams"}},
	{"t", "TNE", "t", DimensionMass, rat("1000"), nil, []string{"tonne", "tonnes"}},
	{"lb", "LBR", "[lb_av]", DimensionMass, exactPound, nil, []string{"lbs", "pound", "pounds"}},
	{"oz", "ONZ", "[oz_av]", DimensionMass, mul(exactPound, rat("1/16")), nil, []string{"ounce", "ounces"}},

	{"L", "LTR", "L", DimensionVolume, rat("0.001"), nil, []string{"l", "litre", "litres", "liter", "liters", "ltr"}},
	{"mL", "MLT", "mL", DimensionVolume, rat("0.000001"), nil, []string{"ml", "cc", "millilitre", "millilitres", "milliliter", "milliliters"}},
	{"cL", "CLT", "cL", DimensionVolume, rat("0.00001"), nil, []string{"cl", "centilitre", "centilitres"}},
	{"dL", "DLT", "dL", DimensionVolume, rat("0.0001"), nil, []string{"dl", "decilitre", "decilitres"}},
	{"m3", "MTQ", "m3", DimensionVolume, rat("1"), nil, []string{"m³"}},
	{"cm3", "CMQ", "cm3", DimensionVolume, rat("0.000001"), nil, []string{"cm³"}},
	{"gal", "GLL", "[gal_us]", DimensionVolume, exactGallon, nil, []string{"gallon", "gallons", "gals", "us gal"}},
	{"qt", "QTL", "[qt_us]", DimensionVolume, mul(exactGallon, rat("1/4")), nil, []string{"quart", "quarts", "qts"}},
	{"pt", "PTL", "[pt_us]", DimensionVolume, mul(exactGallon, rat("1/8")), nil, []string{"pint", "pints", "pts"}},
	{"cup", "G21", "[cup_us]", DimensionVolume, mul(exactGallon, rat("1/16")), nil, []string{"cups"}},
	{"fl oz", "OZA", "[foz_us]", DimensionVolume, mul(exactGallon, rat("1/128")), nil, []string{"floz", "fl. oz", "fl. oz.", "fluid ounce", "fluid ounces"}},
	{"tbsp", "G24", "[tbs_us]", DimensionVolume, mul(exactGallon, rat("1/256")), nil, []string{"tbs", "tablespoon", "tablespoons"}},
	{"tsp", "G25", "[tsp_us]", DimensionVolume, mul(exactGallon, rat("1/768")), nil, []string{"teaspoon", "teaspoons"}},

	{"m", "MTR", "m", DimensionLength, rat("1"), nil, []string{"metre", "metres", "meter", "meters"}},
	{"cm", "CMT", "cm", DimensionLength, rat("0.01"), nil, []string{"centimetre", "centimetres", "centimeter", "centimeters"}},
	{"mm", "MMT", "mm", DimensionLength, rat("0.001"), nil, []string{"millimetre", "millimetres", "millimeter", "millimeters"}},
	{"in", "INH", "[in_i]", DimensionLength, exactInch, nil, []string{"inch", "inches"}},
	{"ft", "FOT", "[ft_i]", DimensionLength, mul(rat("12"), exactInch), nil, []string{"foot", "feet"}},

	{"C", "CEL", "Cel", DimensionTemperature, rat("1"), rat("273.15"), []string{"°C", "ºC", "degC", "deg C", "celsius"}},
	{"F", "FAH", "[degF]", DimensionTemperature, rat("5/9"), rat("459.67"), []string{"f", "°F", "ºF", "degF", "deg F", "fahrenheit"}},
	{"K", "KEL", "K", DimensionTemperature, rat("1"), rat("0"), []string{"kelvin", "kelvins"}},

	{"s", "SEC", "s", DimensionTime, rat("1"), nil, []string{"sec", "secs", "second", "seconds"}},
	{"min", "MIN", "min", DimensionTime, rat("60"), nil, []string{"mins", "minute", "minutes"}},
	{"h", "HUR", "h", DimensionTime, rat("3600"), nil, []string{"hr", "hrs", "hour", "hours"}},
	{"d", "DAY", "d", DimensionTime, rat("86400"), nil, []string{"day", "days"}},

	{"J", "JOU", "J", DimensionEnergy, rat("1"), nil, []string{"joule", "joules"}},
	{"kJ", "KJO", "kJ", DimensionEnergy, rat("1000"), nil, []string{"kilojoule", "kilojoules"}},
	{"kWh", "KWH", "kW.h", DimensionEnergy, rat("3600000"), nil, []string{"kilowatt hour", "kilowatt hours"}},
	{"BTU", "BTU", "[Btu_IT]", DimensionEnergy, exactBTU, nil, []string{"btus"}},

	{"W", "WTT", "W", DimensionPower, rat("1"), nil, []string{"watt", "watts"}},
	{"kW", "KWT", "kW", DimensionPower, rat("1000"), nil, []string{"kilowatt", "kilowatts"}},
	{"BTU/h", "2I", "[Btu_IT]/h", DimensionPower, mul(exactBTU, rat("1/3600")), nil, []string{"btu/hr", "btuh"}},

	{"Pa", "PAL", "Pa", DimensionPressure, rat("1"), nil, []string{"pascal", "pascals"}},
	{"hPa", "A97", "hPa", DimensionPressure, rat("100"), nil, nil},
	{"kPa", "KPA", "kPa", DimensionPressure, rat("1000"), nil, nil},
	{"mbar", "MBR", "mbar", DimensionPressure, rat("100"), nil, []string{"millibar", "millibars"}},
	{"bar", "BAR", "bar", DimensionPressure, rat("100000"), nil, []string{"bars"}},
	{"psi", "PS", "[psi]", DimensionPressure, exactPSI, nil, nil},

	{"%", "P1", "%", DimensionRatio, rat("0.01"), nil, []string{"percent", "per cent"}},
	{"each", "EA", "{each}", DimensionCount, rat("1"), nil, []string{"ea"}},
	{"pc", "H87", "{piece}", DimensionCount, rat("1"), nil, []string{"pcs", "piece", "pieces"}},
	{"", "C62", "1", DimensionCount, rat("1"), nil, []string{"one"}},
}

// ambiguous words are refused, with the reason, instead of being guessed.
var ambiguous = map[string]string{
	"c":    "write C for Celsius or cup for the measure",
	"T":    "write tbsp for tablespoon, t for tonne",
	"gr":   "write g for grams; grains are not used",
	"ton":  "write t for the metric tonne, or give pounds",
	"tons": "write t for the metric tonne, or give pounds",
	"MW":   "kitchen power is written in W or kW",
	"mW":   "kitchen power is written in W or kW",
	"MG":   "write mg for milligrams",
	"ML":   "write mL for millilitres",
}

var bySpelling, byFolded, byRec20, byUCUM = index()

func index() (exact, folded, rec20, ucum map[string]*Unit) {
	exact, folded = map[string]*Unit{}, map[string]*Unit{}
	rec20, ucum = map[string]*Unit{}, map[string]*Unit{}
	for i := range table {
		u := &table[i]
		for _, w := range append([]string{u.Symbol}, u.aliases...) {
			exact[w] = u
			if w != "C" && w != "t" { // too short to survive a change of case
				folded[fold(w)] = u
			}
		}
		rec20[u.Rec20] = u
		ucum[u.UCUM] = u
	}
	return exact, folded, rec20, ucum
}

// ByRec20 finds a unit by its UN/CEFACT Recommendation 20 code ("KGM"). The
// deprecated QT is read as QTL.
func ByRec20(code string) (Unit, bool) {
	if code == "QT" {
		code = "QTL"
	}
	return deref(byRec20[code])
}

// ByUCUM finds a unit by its case-sensitive UCUM code ("kg").
func ByUCUM(code string) (Unit, bool) { return deref(byUCUM[code]) }

// BySymbol finds a unit by a spelling used in kitchens: symbol, word or plural.
// Case matters only where it changes the meaning.
func BySymbol(word string) (Unit, bool) {
	if _, bad := ambiguous[word]; bad {
		return Unit{}, false
	}
	if u, ok := bySpelling[word]; ok {
		return *u, true
	}
	return deref(byFolded[fold(word)])
}

// Rec20Codes returns all known Recommendation 20 codes, sorted. The caller owns
// the slice.
func Rec20Codes() []string {
	codes := make([]string, 0, len(byRec20))
	for c := range byRec20 {
		codes = append(codes, c)
	}
	sort.Strings(codes)
	return codes
}

func deref(u *Unit) (Unit, bool) {
	if u == nil {
		return Unit{}, false
	}
	return *u, true
}
