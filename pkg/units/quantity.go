package units

import (
	"fmt"
	"strconv"
)

// Mass in kilograms.
type Mass float64

// Exact masses (NIST Handbook 44, Appendix C; UCUM: lb = 7000 gr, gr = 64.79891 mg).
const (
	Milligram Mass = 1e-6
	Gram      Mass = 1e-3
	Kilogram  Mass = 1
	Tonne     Mass = 1000
	Grain     Mass = 64.79891e-6
	Pound     Mass = 7000 * 64.79891e-6
	Ounce     Mass = 7000 * 64.79891e-6 / 16
)

// Volume in cubic metres.
type Volume float64

// Exact volumes (UCUM: inch = 2.54 cm, gal_us = 231 in3 and its binary parts).
const (
	CubicMetre   Volume = 1
	Litre        Volume = 1e-3
	Millilitre   Volume = 1e-6
	CubicInch    Volume = 0.0254 * 0.0254 * 0.0254
	USGallon     Volume = 231 * 0.0254 * 0.0254 * 0.0254
	USQuart      Volume = 231 * 0.0254 * 0.0254 * 0.0254 / 4
	USPint       Volume = 231 * 0.0254 * 0.0254 * 0.0254 / 8
	USCup        Volume = 231 * 0.0254 * 0.0254 * 0.0254 / 16
	USFluidOunce Volume = 231 * 0.0254 * 0.0254 * 0.0254 / 128
	USTablespoon Volume = 231 * 0.0254 * 0.0254 * 0.0254 / 256
	USTeaspoon   Volume = 231 * 0.0254 * 0.0254 * 0.0254 / 768
)

// Density in kilograms per cubic metre.
type Density float64

// KilogramPerCubicMetre and KilogramPerLitre are the two densities in use.
const (
	KilogramPerCubicMetre Density = 1
	KilogramPerLitre      Density = 1000
)

// Length in metres.
type Length float64

// Exact lengths (inch = 25.4 mm).
const (
	Millimetre Length = 1e-3
	Centimetre Length = 1e-2
	Metre      Length = 1
	Inch       Length = 0.0254
	Foot       Length = 12 * 0.0254
)

// Area in square metres.
type Area float64

// SquareMetre is the unit of Area.
const SquareMetre Area = 1

// Energy in joules.
type Energy float64

// Energies. BTU is the British thermal unit of the International Table, exact
// as pound times IT calorie per gram times 5/9: 1055.05585262 J (UCUM [Btu_IT]).
const (
	Joule        Energy = 1
	Kilojoule    Energy = 1e3
	Megajoule    Energy = 1e6
	KilowattHour Energy = 3.6e6
	BTU          Energy = 1055.05585262
)

// Power in watts.
type Power float64

// Powers. BTUPerHour uses the International Table BTU.
const (
	Watt       Power = 1
	Kilowatt   Power = 1e3
	BTUPerHour Power = 1055.05585262 / 3600
)

// Pressure in pascals.
type Pressure float64

// Pressures. Atmosphere is the standard atmosphere, exact (101 325 Pa);
// PSI is the pound-force per square inch with g = 9.80665 m/s2 exact.
const (
	Pascal      Pressure = 1
	Hectopascal Pressure = 100
	Kilopascal  Pressure = 1e3
	Megapascal  Pressure = 1e6
	Bar         Pressure = 1e5
	Millibar    Pressure = 100
	Atmosphere  Pressure = 101325
	PSI         Pressure = 0.45359237 * 9.80665 / (0.0254 * 0.0254)
)

// Kilograms returns the value in kg.
func (m Mass) Kilograms() float64 { return float64(m) }

// Grams returns the value in g.
func (m Mass) Grams() float64 { return float64(m / Gram) }

// Pounds returns the value in avoirdupois pounds.
func (m Mass) Pounds() float64 { return float64(m / Pound) }

// Ounces returns the value in avoirdupois ounces.
func (m Mass) Ounces() float64 { return float64(m / Ounce) }

// Check reports a mass that is not finite or is negative.
func (m Mass) Check() error { return nonNegative(float64(m), "mass", "kg") }

// String formats in kilograms to the gram.
func (m Mass) String() string { return strconv.FormatFloat(float64(m), 'f', 3, 64) + " kg" }

// CubicMetres returns the value in m3.
func (v Volume) CubicMetres() float64 { return float64(v) }

// Litres returns the value in L.
func (v Volume) Litres() float64 { return float64(v / Litre) }

// USGallons returns the value in US liquid gallons.
func (v Volume) USGallons() float64 { return float64(v / USGallon) }

// USQuarts returns the value in US liquid quarts.
func (v Volume) USQuarts() float64 { return float64(v / USQuart) }

// Check reports a volume that is not finite or is negative.
func (v Volume) Check() error { return nonNegative(float64(v), "volume", "m3") }

// String formats in litres to the millilitre.
func (v Volume) String() string { return strconv.FormatFloat(v.Litres(), 'f', 3, 64) + " L" }

// Check reports a density that is not finite or not positive.
func (d Density) Check() error {
	if err := finite(float64(d), "density", "kg/m3"); err != nil {
		return err
	}
	if d <= 0 {
		return fmt.Errorf("density %g kg/m3 must be above 0", float64(d))
	}
	return nil
}

// MassOf returns the mass of a volume at a density.
func MassOf(v Volume, d Density) Mass { return Mass(float64(v) * float64(d)) }

// VolumeOf returns the volume of a mass at a density; the density must be
// positive and finite.
func VolumeOf(m Mass, d Density) (Volume, error) {
	if err := d.Check(); err != nil {
		return 0, err
	}
	v := float64(m) / float64(d)
	if err := finite(v, "volume", "m3"); err != nil {
		return 0, err
	}
	return Volume(v), nil
}

// Metres returns the value in m.
func (l Length) Metres() float64 { return float64(l) }

// Millimetres returns the value in mm.
func (l Length) Millimetres() float64 { return float64(l / Millimetre) }

// Inches returns the value in inches.
func (l Length) Inches() float64 { return float64(l / Inch) }

// Check reports a length that is not finite or is negative.
func (l Length) Check() error { return nonNegative(float64(l), "length", "m") }

// String formats in millimetres.
func (l Length) String() string { return strconv.FormatFloat(l.Millimetres(), 'f', 1, 64) + " mm" }

// SquareMetres returns the value in m2.
func (a Area) SquareMetres() float64 { return float64(a) }

// Check reports an area that is not finite or is negative.
func (a Area) Check() error { return nonNegative(float64(a), "area", "m2") }

// Joules returns the value in J.
func (e Energy) Joules() float64 { return float64(e) }

// Kilojoules returns the value in kJ.
func (e Energy) Kilojoules() float64 { return float64(e / Kilojoule) }

// KilowattHours returns the value in kWh.
func (e Energy) KilowattHours() float64 { return float64(e / KilowattHour) }

// BTUs returns the value in International Table BTU.
func (e Energy) BTUs() float64 { return float64(e / BTU) }

// String formats in kilojoules.
func (e Energy) String() string { return strconv.FormatFloat(e.Kilojoules(), 'f', 1, 64) + " kJ" }

// Watts returns the value in W.
func (p Power) Watts() float64 { return float64(p) }

// Kilowatts returns the value in kW.
func (p Power) Kilowatts() float64 { return float64(p / Kilowatt) }

// Check reports a power that is not finite or is negative.
func (p Power) Check() error { return nonNegative(float64(p), "power", "W") }

// String formats in kilowatts to the watt.
func (p Power) String() string { return strconv.FormatFloat(p.Kilowatts(), 'f', 3, 64) + " kW" }

// Pascals returns the value in Pa.
func (p Pressure) Pascals() float64 { return float64(p) }

// Kilopascals returns the value in kPa.
func (p Pressure) Kilopascals() float64 { return float64(p / Kilopascal) }

// Check reports a pressure that is not finite or is negative.
func (p Pressure) Check() error { return nonNegative(float64(p), "pressure", "Pa") }

// String formats in kilopascals.
func (p Pressure) String() string { return strconv.FormatFloat(p.Kilopascals(), 'f', 3, 64) + " kPa" }
