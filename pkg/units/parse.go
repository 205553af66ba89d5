package units

import (
	"fmt"
	"math/big"
	"strings"
	"time"
)

// maxText bounds the text of one quantity; maxDigits bounds its number.
const (
	maxText   = 64
	maxDigits = 24
)

// Quantity is a parsed number with its unit. The number is exact.
type Quantity struct {
	Unit  Unit
	value *big.Rat
}

// Value returns the number as written, rounded once to float64.
func (q Quantity) Value() float64 {
	if q.value == nil {
		return 0
	}
	f, _ := q.value.Float64()
	return f
}

// si returns the exact value in the SI unit of the dimension; temperatures come
// back in kelvins.
func (q Quantity) si() *big.Rat {
	v := new(big.Rat).Set(q.value)
	if q.Unit.offset != nil {
		v.Add(v, q.Unit.offset)
	}
	return v.Mul(v, q.Unit.factor)
}

// ParseQuantity reads a number and a unit: "4.5kg", "10 lb", "1 1/2 gal",
// "½ tsp", "135F", "-18 °C". The decimal mark is a point; a comma is refused,
// because it means a thousand in one country and a fraction in another. Exponents
// are refused. The error names the text and says what is wanted.
func ParseQuantity(text string) (Quantity, error) {
	if len(text) > maxText {
		return Quantity{}, fmt.Errorf("quantity is %d bytes long: write a number and a unit, such as 4.5 kg", len(text))
	}
	s := strings.TrimSpace(text)
	cut := numberEnd(s)
	number, word := strings.TrimSpace(s[:cut]), strings.TrimSpace(s[cut:])
	value, err := parseNumber(number)
	if err != nil {
		return Quantity{}, fmt.Errorf("quantity %q: %w", text, err)
	}
	if hint, bad := ambiguous[word]; bad {
		return Quantity{}, fmt.Errorf("quantity %q: unit %q is ambiguous: %s", text, word, hint)
	}
	if word == "" {
		return Quantity{}, fmt.Errorf("quantity %q has no unit: write for example 4.5 kg, 10 lb, 135 F", text)
	}
	u, ok := BySymbol(word)
	if !ok {
		return Quantity{}, fmt.Errorf("quantity %q: unit %q is unknown: use kg, g, lb, oz, L, mL, gal, qt, C, F, kW, h, min", text, word)
	}
	return Quantity{Unit: u, value: value}, nil
}

// ParseMass reads a mass such as "4.5kg" or "10 lb". Negative masses are errors.
func ParseMass(text string) (Mass, error) {
	f, err := parsePositive(text, DimensionMass)
	return Mass(f), err
}

// ParseMilligrams reads a mass and rounds its exact value to whole milligrams,
// ties to even; exact is false when rounding changed it (most masses in pounds:
// 1 lb is 453 592.37 mg).
func ParseMilligrams(text string) (mg Milligrams, exact bool, err error) {
	q, err := parseAs(text, DimensionMass)
	if err != nil {
		return 0, false, err
	}
	if q.value.Sign() < 0 {
		return 0, false, fmt.Errorf("mass %q is negative", text)
	}
	r := mul(q.si(), big.NewRat(1_000_000, 1))
	mg, err = ratToMilligrams(r)
	if err != nil {
		return 0, false, fmt.Errorf("mass %q: %w", text, err)
	}
	return mg, r.IsInt(), nil
}

// ParseVolume reads a volume such as "20 L" or "1.5 gal". "oz" is a mass;
// fluid ounces are written "fl oz".
func ParseVolume(text string) (Volume, error) {
	f, err := parsePositive(text, DimensionVolume)
	return Volume(f), err
}

// ParseLength reads a length such as "60 cm" or "2 in".
func ParseLength(text string) (Length, error) {
	f, err := parsePositive(text, DimensionLength)
	return Length(f), err
}

// ParsePower reads a power such as "18 kW" or "90000 BTU/h".
func ParsePower(text string) (Power, error) {
	f, err := parsePositive(text, DimensionPower)
	return Power(f), err
}

// ParseEnergy reads an energy such as "3 kWh".
func ParseEnergy(text string) (Energy, error) {
	f, err := parsePositive(text, DimensionEnergy)
	return Energy(f), err
}

// ParsePressure reads an absolute pressure such as "84.3 kPa".
func ParsePressure(text string) (Pressure, error) {
	f, err := parsePositive(text, DimensionPressure)
	return Pressure(f), err
}

// ParseTemperature reads "135F", "57.2 C", "300 K" and keeps the scale.
func ParseTemperature(text string) (Temperature, error) {
	q, err := parseAs(text, DimensionTemperature)
	if err != nil {
		return Temperature{}, err
	}
	t := Temperature{Degrees: q.Value(), Scale: scaleOf(q.Unit)}
	if err := t.Check(); err != nil {
		return Temperature{}, fmt.Errorf("temperature %q: %w", text, err)
	}
	return t, nil
}

// ParseTemperatureDelta reads a difference, such as "65 F" or "10 C", in
// Celsius degrees. A negative difference is allowed; offsets never apply.
func ParseTemperatureDelta(text string) (CelsiusDelta, error) {
	q, err := parseAs(text, DimensionTemperature)
	if err != nil {
		return 0, err
	}
	f, _ := mul(q.value, q.Unit.factor).Float64()
	return CelsiusDelta(f), nil
}

// ParseDuration reads "90min", "6 h", "1.5 hours", "1h 30min", "2 days". The
// result is rounded to the nanosecond. Negative durations are errors.
func ParseDuration(text string) (time.Duration, error) {
	if len(text) > maxText {
		return 0, fmt.Errorf("duration is %d bytes long: write for example 90 min or 1h 30min", len(text))
	}
	rest := strings.TrimSpace(text)
	total := new(big.Rat)
	for first := true; first || rest != ""; first = false {
		cut := numberEnd(rest)
		end := cut
		for end < len(rest) && !isNumberByte(rest[end]) {
			end++
		}
		q, err := parseAs(rest[:end], DimensionTime)
		if err != nil {
			return 0, fmt.Errorf("duration %q: %w", text, err)
		}
		if q.value.Sign() < 0 {
			return 0, fmt.Errorf("duration %q is negative", text)
		}
		total.Add(total, q.si())
		rest = strings.TrimSpace(rest[end:])
	}
	n := roundHalfEven(total.Mul(total, big.NewRat(int64(time.Second), 1)))
	if !n.IsInt64() {
		return 0, fmt.Errorf("duration %q is longer than 292 years", text)
	}
	return time.Duration(n.Int64()), nil
}

func parsePositive(text string, d Dimension) (float64, error) {
	q, err := parseAs(text, d)
	if err != nil {
		return 0, err
	}
	if q.value.Sign() < 0 {
		return 0, fmt.Errorf("%v %q is negative", d, text)
	}
	f, _ := q.si().Float64()
	return f, nil
}

func parseAs(text string, d Dimension) (Quantity, error) {
	q, err := ParseQuantity(text)
	if err != nil {
		return Quantity{}, err
	}
	if q.Unit.Dimension != d {
		return Quantity{}, fmt.Errorf("%q is a %v, a %v is wanted here", text, q.Unit.Dimension, d)
	}
	return q, nil
}

func scaleOf(u Unit) Scale {
	switch u.Rec20 {
	case "FAH":
		return ScaleFahrenheit
	case "KEL":
		return ScaleKelvin
	default:
		return ScaleCelsius
	}
}

// vulgar fractions that kitchens write.
var vulgar = strings.NewReplacer("½", " 1/2 ", "¼", " 1/4 ", "¾", " 3/4 ", "⅓", " 1/3 ", "⅔", " 2/3 ", "⅛", " 1/8 ", "⅜", " 3/8 ", "⅝", " 5/8 ", "⅞", " 7/8 ")

const vulgarRunes = "½¼¾⅓⅔⅛⅜⅝⅞"

func isNumberByte(c byte) bool {
	return c >= '0' && c <= '9' || c == '.' || c == '+' || c == '-'
}

// numberEnd returns where the number at the start of s ends and the unit begins.
func numberEnd(s string) int {
	for i, r := range s {
		switch {
		case r >= '0' && r <= '9', strings.ContainsRune("+-.,/ ", r), strings.ContainsRune(vulgarRunes, r):
		default:
			return i
		}
	}
	return len(s)
}

func parseNumber(s string) (*big.Rat, error) {
	if s == "" {
		return nil, fmt.Errorf("there is no number: write for example 4.5 kg")
	}
	if strings.Contains(s, ",") {
		return nil, fmt.Errorf("number %q has a comma: write a point as the decimal mark and no thousands separator", s)
	}
	sign, body := int64(1), s
	switch body[0] {
	case '-':
		sign, body = -1, body[1:]
	case '+':
		body = body[1:]
	}
	fields := strings.Fields(vulgar.Replace(body))
	if len(fields) == 0 || len(fields) > 2 {
		return nil, fmt.Errorf("number %q is not a number, a fraction, or a whole number and a fraction", s)
	}
	sum := new(big.Rat)
	for i, f := range fields {
		r, err := parsePart(f, len(fields) == 2 && i == 0, len(fields) == 2 && i == 1)
		if err != nil {
			return nil, fmt.Errorf("number %q: %w", s, err)
		}
		sum.Add(sum, r)
	}
	return sum.Mul(sum, big.NewRat(sign, 1)), nil
}

// parsePart reads a decimal or a fraction of whole numbers.
func parsePart(s string, mustBeWhole, mustBeFraction bool) (*big.Rat, error) {
	digits, points, slashes := 0, 0, 0
	for i := range len(s) {
		switch c := s[i]; {
		case c >= '0' && c <= '9':
			digits++
		case c == '.':
			points++
		case c == '/':
			slashes++
		default:
			return nil, fmt.Errorf("sign inside %q", s)
		}
	}
	switch {
	case digits == 0 || digits > maxDigits:
		return nil, fmt.Errorf("%q must have 1 to %d digits", s, maxDigits)
	case points > 1 || slashes > 1 || points+slashes > 1:
		return nil, fmt.Errorf("%q has more than one point or slash", s)
	case mustBeWhole && points+slashes > 0:
		return nil, fmt.Errorf("%q before a fraction must be a whole number", s)
	case mustBeFraction && slashes == 0:
		return nil, fmt.Errorf("%q after a whole number must be a fraction such as 1/2", s)
	case slashes == 1 && (s[0] == '/' || s[len(s)-1] == '/'):
		return nil, fmt.Errorf("fraction %q is incomplete", s)
	}
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		return nil, fmt.Errorf("%q is not a number (is its denominator 0?)", s)
	}
	return r, nil
}

// fold makes a spelling comparable: lower case, single spaces.
func fold(s string) string { return strings.Join(strings.Fields(strings.ToLower(s)), " ") }
