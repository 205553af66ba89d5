package thermo

import (
	"math"

	"rondeau.internal/pkg/units"
)

// AtmospherePressure returns the ISA pressure at an altitude above sea level:
// p = 101 325·(1 - 0.0065·z/288.15)^5.25588 Pa. Range -500 to 11 000 m.
func AtmospherePressure(altitude float64) (units.Pressure, error) {
	if err := within("altitude", altitude, -500, 11000, "m"); err != nil {
		return 0, err
	}
	return units.Pressure(101325 * math.Pow(1-0.0065*altitude/288.15, 5.25588)), nil
}

// AtmosphereAltitude is the inverse of AtmospherePressure: the ISA altitude in
// metres at which the standard pressure is p. Range 22 632 to 107 478 Pa.
func AtmosphereAltitude(p units.Pressure) (float64, error) {
	if err := within("pressure", float64(p), 22632, 107478, "Pa"); err != nil {
		return 0, err
	}
	return 288.15 / 0.0065 * (1 - math.Pow(float64(p)/101325, 1/5.25588)), nil
}

// AtmosphereTemperature returns the ISA temperature at an altitude in metres,
// 15 C less 6.5 K per kilometre, -500 to 11 000 m.
func AtmosphereTemperature(altitude float64) (units.Celsius, error) {
	if err := within("altitude", altitude, -500, 11000, "m"); err != nil {
		return 0, err
	}
	return units.Celsius(15 - 0.0065*altitude), nil
}

// BoilingPoint returns the boiling point of water at an altitude in metres.
func BoilingPoint(altitude float64) (units.Celsius, error) {
	p, err := AtmospherePressure(altitude)
	if err != nil {
		return 0, err
	}
	return SaturationTemperature(p)
}

// VapourPressure returns the partial pressure of water in air: relative humidity
// (0 to 1) times the saturation pressure, over ice below 0 C. Range -60 to 200 C.
func VapourPressure(c units.Celsius, relativeHumidity float64) (units.Pressure, error) {
	if err := within("relative humidity", relativeHumidity, 0, 1, "(fraction)"); err != nil {
		return 0, err
	}
	if err := within("air temperature", float64(c), -60, 200, "C"); err != nil {
		return 0, err
	}
	saturation := FrostPressure
	if c >= 0 {
		saturation = SaturationPressure
	}
	p, err := saturation(c)
	return units.Pressure(relativeHumidity) * p, err
}

// VapourDensity returns the mass of vapour in a volume of air by the ideal gas
// law, kg/m3.
func VapourDensity(c units.Celsius, partial units.Pressure) units.Density {
	return units.Density(float64(partial) / (GasConstantVapour * float64(c.Kelvin())))
}

// Air are the properties of dry air used in film coefficients.
type Air struct {
	Density         units.Density // kg/m3
	Conductivity    float64       // W/m·K
	Viscosity       float64       // kinematic, m2/s
	Diffusivity     float64       // thermal, m2/s
	SpecificHeat    float64       // J/kg·K
	Prandtl         float64       // dimensionless
	VapourDiffusion float64       // diffusivity of water vapour in air, m2/s
}

// AirAt returns the properties of dry air: ideal gas (287.05 J/kg·K), Sutherland
// viscosity (1.716e-5 Pa·s at 273.15 K, S 110.4 K) and conductivity (0.0241
// W/m·K, S 194 K; White, Viscous Fluid Flow, from memory), cp 1007 J/kg·K, and
// D = 1.87e-10·T^2.072/p m2/s with p in atm (Marrero and Mason 1972, as quoted by
// Cengel). Range -60 to 200 C, 10 to 120 kPa; about 2 %.
func AirAt(c units.Celsius, p units.Pressure) (Air, error) {
	if err := within("air temperature", float64(c), -60, 200, "C"); err != nil {
		return Air{}, err
	}
	if err := within("air pressure", float64(p), 10e3, 120e3, "Pa"); err != nil {
		return Air{}, err
	}
	const cp = 1007
	t := float64(c.Kelvin())
	r := t / 273.15
	mu := 1.716e-5 * r * math.Sqrt(r) * (273.15 + 110.4) / (t + 110.4)
	k := 0.0241 * r * math.Sqrt(r) * (273.15 + 194) / (t + 194)
	rho := float64(p) / (287.05 * t)
	return Air{
		Density:         units.Density(rho),
		Conductivity:    k,
		Viscosity:       mu / rho,
		Diffusivity:     k / (rho * cp),
		SpecificHeat:    cp,
		Prandtl:         mu * cp / k,
		VapourDiffusion: 1.87e-10 * math.Pow(t, 2.072) / (float64(p) / 101325),
	}, nil
}
