package predict

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"rondeau.internal/pkg/units"
)

// Style holds the units in which a person is answered: those they wrote, else those of the system they use.
type Style struct {
	us                                        bool // any US customary unit was written
	volume, mass, length, power, energy, temp string
}

// usUnits are the US customary units among the symbols of pkg/units.
var usUnits = map[string]bool{"gal": true, "qt": true, "pt": true, "cup": true, "fl oz": true, "tbsp": true, "tsp": true, "lb": true, "oz": true, "in": true, "ft": true, "F": true, "BTU": true, "BTU/h": true, "psi": true}

// saw notes a unit that the person wrote; the first of each kind decides.
func (s *Style) saw(u units.Unit) {
	s.us = s.us || usUnits[u.Symbol]
	keep := func(to *string) {
		if *to == "" {
			*to = u.Symbol
		}
	}
	switch u.Dimension {
	case units.DimensionVolume:
		keep(&s.volume)
	case units.DimensionMass:
		keep(&s.mass)
	case units.DimensionLength:
		keep(&s.length)
	case units.DimensionPower:
		keep(&s.power)
	case units.DimensionTemperature:
		keep(&s.temp)
	}
}

// settle fills what the person did not show.
func (s *Style) settle(system string) {
	if system != "" {
		*s = Style{us: system == "us"}
	}
	fill := func(to *string, metric, us string) {
		if *to != "" {
			return
		}
		*to = metric
		if s.us {
			*to = us
		}
	}
	fill(&s.volume, "L", "qt")
	fill(&s.mass, "kg", "lb")
	fill(&s.length, "cm", "in")
	fill(&s.power, "kW", "BTU/h")
	fill(&s.energy, "kWh", "BTU")
	fill(&s.temp, "C", "F")
	if s.temp == "K" {
		s.temp = "C"
	}
}

// significant writes three significant digits without zeros at the end.
func significant(v float64) string {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return "0"
	}
	digits := 2 - int(math.Floor(math.Log10(math.Abs(v))))
	p := math.Pow(10, float64(digits))
	return strconv.FormatFloat(math.Round(v*p)/p, 'f', max(0, digits), 64)
}

func trimmed(v float64) string {
	text := significant(v)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// inUnit writes a value given in SI in a unit, or in the next smaller one of the row when it would be less than a
// quarter.
func inUnit(si float64, symbol string, smaller ...string) string {
	u, _ := units.BySymbol(symbol) // symbols of this file
	v := si / u.Factor()
	if v < 0.25 && len(smaller) > 0 {
		return inUnit(si, smaller[0], smaller[1:]...)
	}
	return trimmed(v) + " " + symbol
}

// Volume in the person's unit.
func (s *Style) Volume(v units.Volume) string {
	switch s.volume {
	case "gal":
		return inUnit(float64(v), "gal", "qt", "cup")
	case "qt", "pt":
		return inUnit(float64(v), s.volume, "cup")
	case "L":
		return inUnit(float64(v), "L", "mL")
	case "mL", "cL", "dL", "cm3":
		if v >= units.Litre {
			return inUnit(float64(v), "L")
		}
	case "m3":
		return inUnit(float64(v), "L")
	}
	return inUnit(float64(v), s.volume)
}

// Mass in the person's unit.
func (s *Style) Mass(m units.Mass) string {
	switch s.mass {
	case "lb":
		return inUnit(float64(m), "lb", "oz")
	case "kg":
		return inUnit(float64(m), "kg", "g")
	}
	return inUnit(float64(m), s.mass)
}

// Length in the person's unit.
func (s *Style) Length(l units.Length) string {
	switch s.length {
	case "in", "ft":
		return inUnit(float64(l), "in")
	case "mm":
		return inUnit(float64(l), "mm")
	}
	return inUnit(float64(l), "cm")
}

// Altitude in metres or feet.
func (s *Style) Altitude(m float64) string {
	if s.us {
		return fmt.Sprintf("%.0f ft", m/float64(units.Foot))
	}
	return fmt.Sprintf("%.0f m", m)
}

// Power in the person's unit.
func (s *Style) Power(p units.Power) string { return inUnit(float64(p), s.power) }

// Energy in kilowatt hours or BTU.
func (s *Style) Energy(e units.Energy) string { return inUnit(float64(e), s.energy) }

// Temperature to half a degree where that is enough, with the degree sign.
func (s *Style) Temperature(c units.Celsius) string {
	v, unit := s.degrees(c), "°C"
	if s.temp == "F" {
		unit = "°F"
	}
	text := strconv.FormatFloat(math.Round(v*10)/10, 'f', 1, 64)
	text = strings.TrimSuffix(text, ".0")
	if text == "-0" {
		text = "0"
	}
	return text + " " + unit
}

func (s *Style) degrees(c units.Celsius) float64 {
	if s.temp == "F" {
		return float64(c.Fahrenheit())
	}
	return float64(c)
}

func (s *Style) degreeUnit() string {
	if s.temp == "F" {
		return "°F"
	}
	return "°C"
}

// rule writes a limit temperature in its own unit, and in the person's when that is another.
func (s *Style) rule(t units.Temperature) string {
	own := Style{temp: "C"}
	if t.Scale == units.ScaleFahrenheit {
		own.temp = "F"
	}
	text := own.Temperature(t.Celsius())
	if own.temp != s.temp {
		text = s.Temperature(t.Celsius()) + " (" + text + ")"
	}
	return text
}

// about rounds a forecast time as coarsely as it is known and writes it.
func about(d time.Duration) string {
	switch {
	case d < 10*time.Minute:
		return span(d.Round(time.Minute))
	case d < 2*time.Hour:
		return span(d.Round(time.Minute))
	case d < 24*time.Hour:
		return span(d.Round(5 * time.Minute))
	default:
		return span(d.Round(30 * time.Minute))
	}
}

// span writes a time as 5 h 40 min.
func span(d time.Duration) string {
	sign := ""
	if d < 0 {
		sign, d = "-", -d
	}
	d = d.Round(time.Minute)
	h, m := int(d/time.Hour), int(d%time.Hour/time.Minute)
	switch {
	case h == 0 && m == 0:
		return "under 1 min"
	case h == 0:
		return fmt.Sprintf("%s%d min", sign, m)
	case m == 0:
		return fmt.Sprintf("%s%d h", sign, h)
	default:
		return fmt.Sprintf("%s%d h %d min", sign, h, m)
	}
}

func percent(fraction float64) string { return trimmed(100*fraction) + " %" }
