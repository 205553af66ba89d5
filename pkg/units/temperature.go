package units

import (
	"fmt"
	"math"
	"strconv"
)

// Celsius is a temperature in degrees Celsius (ITS-90).
type Celsius float64

// Kelvin is a thermodynamic temperature in kelvins.
type Kelvin float64

// Fahrenheit is a temperature in degrees Fahrenheit.
type Fahrenheit float64

// CelsiusDelta is a temperature difference; one Celsius degree equals one kelvin.
type CelsiusDelta float64

// FahrenheitDelta is a temperature difference in Fahrenheit degrees, 5/9 of a
// Celsius degree each.
type FahrenheitDelta float64

// AbsoluteZero in degrees Celsius, exact by definition of the scale.
const AbsoluteZero Celsius = -273.15

const zeroCelsiusInKelvin = 273.15

// Kelvin returns the same temperature in kelvins.
func (c Celsius) Kelvin() Kelvin { return Kelvin(float64(c) + zeroCelsiusInKelvin) }

// Fahrenheit returns the same temperature in degrees Fahrenheit.
func (c Celsius) Fahrenheit() Fahrenheit { return Fahrenheit(float64(c)*9/5 + 32) }

// Add returns the temperature d higher.
func (c Celsius) Add(d CelsiusDelta) Celsius { return c + Celsius(d) }

// Sub returns the difference c - o.
func (c Celsius) Sub(o Celsius) CelsiusDelta { return CelsiusDelta(c - o) }

// Check reports a value that is not finite or lies below absolute zero.
func (c Celsius) Check() error {
	if err := finite(float64(c), "temperature", "C"); err != nil {
		return err
	}
	if c < AbsoluteZero {
		return fmt.Errorf("temperature %g C is below absolute zero (%g C)", float64(c), float64(AbsoluteZero))
	}
	return nil
}

// String formats to a tenth of a degree, for example "57.2 C".
func (c Celsius) String() string { return strconv.FormatFloat(float64(c), 'f', 1, 64) + " C" }

// Celsius returns the same temperature in degrees Celsius.
func (k Kelvin) Celsius() Celsius { return Celsius(float64(k) - zeroCelsiusInKelvin) }

// Check reports a value that is not finite or is negative.
func (k Kelvin) Check() error { return nonNegative(float64(k), "temperature", "K") }

// String formats to a hundredth of a kelvin.
func (k Kelvin) String() string { return strconv.FormatFloat(float64(k), 'f', 2, 64) + " K" }

// Celsius returns the same temperature in degrees Celsius.
func (f Fahrenheit) Celsius() Celsius { return Celsius((float64(f) - 32) * 5 / 9) }

// Add returns the temperature d higher.
func (f Fahrenheit) Add(d FahrenheitDelta) Fahrenheit { return f + Fahrenheit(d) }

// Sub returns the difference f - o.
func (f Fahrenheit) Sub(o Fahrenheit) FahrenheitDelta { return FahrenheitDelta(f - o) }

// Check reports a value that is not finite or lies below absolute zero.
func (f Fahrenheit) Check() error {
	if err := finite(float64(f), "temperature", "F"); err != nil {
		return err
	}
	if f < -459.67 {
		return fmt.Errorf("temperature %g F is below absolute zero (-459.67 F)", float64(f))
	}
	return nil
}

// String formats to a tenth of a degree, for example "135.0 F".
func (f Fahrenheit) String() string { return strconv.FormatFloat(float64(f), 'f', 1, 64) + " F" }

// Fahrenheit returns the same difference in Fahrenheit degrees; it never adds 32.
func (d CelsiusDelta) Fahrenheit() FahrenheitDelta { return FahrenheitDelta(float64(d) * 9 / 5) }

// Celsius returns the same difference in Celsius degrees; it never subtracts 32.
func (d FahrenheitDelta) Celsius() CelsiusDelta { return CelsiusDelta(float64(d) * 5 / 9) }

// Scale is the scale in which a temperature was written.
type Scale uint8

// The scales a reading or a rule may be written in.
const (
	ScaleCelsius Scale = iota
	ScaleFahrenheit
	ScaleKelvin
)

// String returns "C", "F" or "K".
func (s Scale) String() string {
	switch s {
	case ScaleFahrenheit:
		return "F"
	case ScaleKelvin:
		return "K"
	default:
		return "C"
	}
}

// Temperature keeps the scale it was written in, because a limit is compared in
// the unit of its rule: 135 F is not 57.2 C. The zero value is 0 C.
type Temperature struct {
	Degrees float64
	Scale   Scale
}

// InCelsius returns a temperature written in degrees Celsius.
func InCelsius(degrees float64) Temperature { return Temperature{degrees, ScaleCelsius} }

// InFahrenheit returns a temperature written in degrees Fahrenheit.
func InFahrenheit(degrees float64) Temperature { return Temperature{degrees, ScaleFahrenheit} }

// Celsius converts to degrees Celsius.
func (t Temperature) Celsius() Celsius {
	switch t.Scale {
	case ScaleFahrenheit:
		return Fahrenheit(t.Degrees).Celsius()
	case ScaleKelvin:
		return Kelvin(t.Degrees).Celsius()
	default:
		return Celsius(t.Degrees)
	}
}

// In converts to a scale; a value already in that scale is returned unchanged.
func (t Temperature) In(s Scale) Temperature {
	if t.Scale == s {
		return t
	}
	switch s {
	case ScaleFahrenheit:
		return Temperature{float64(t.Celsius().Fahrenheit()), s}
	case ScaleKelvin:
		return Temperature{float64(t.Celsius().Kelvin()), s}
	default:
		return Temperature{float64(t.Celsius()), s}
	}
}

// Check reports a value that is not finite, lies below absolute zero, or has an
// unknown scale.
func (t Temperature) Check() error {
	if t.Scale > ScaleKelvin {
		return fmt.Errorf("temperature scale %d is unknown", t.Scale)
	}
	switch t.Scale {
	case ScaleFahrenheit:
		return Fahrenheit(t.Degrees).Check()
	case ScaleKelvin:
		return Kelvin(t.Degrees).Check()
	default:
		return Celsius(t.Degrees).Check()
	}
}

// String formats with the digits needed and the scale, for example "135 F".
func (t Temperature) String() string {
	return strconv.FormatFloat(t.Degrees, 'f', -1, 64) + " " + t.Scale.String()
}

func finite(v float64, what, unit string) error {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return fmt.Errorf("%s %v %s is not a finite number", what, v, unit)
	}
	return nil
}

func nonNegative(v float64, what, unit string) error {
	if err := finite(v, what, unit); err != nil {
		return err
	}
	if v < 0 {
		return fmt.Errorf("%s %g %s is negative", what, v, unit)
	}
	return nil
}
