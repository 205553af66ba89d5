package thermo

import (
	"fmt"
	"math"

	"rondeau.internal/pkg/units"
)

// Constants of water.
const (
	// CriticalTemperature of water, 647.096 K.
	CriticalTemperature units.Celsius = 647.096 - 273.15
	// CriticalPressure of water.
	CriticalPressure = 22.064 * units.Megapascal
	// GasConstantVapour is the specific gas constant of water vapour, J/kg·K
	// (IF97).
	GasConstantVapour = 461.526
	// LatentHeatFusion of ice at 0 C, J/kg (333.55 kJ/kg, CRC Handbook, from memory).
	LatentHeatFusion = 333_550.0
	// SpecificHeatWater is a working mean for 0 to 100 C, J/kg·K.
	SpecificHeatWater = 4190.0
	// SpecificHeatIce near 0 C, J/kg·K (Choi and Okos at 0 C: 2062.3).
	SpecificHeatIce = 2062.3
)

// Coefficients of IF97 region 4, Table 34 of the release.
const (
	n1  = 0.11670521452767e4
	n2  = -0.72421316703206e6
	n3  = -0.17073846940092e2
	n4  = 0.12020824702470e5
	n5  = -0.32325550322333e7
	n6  = 0.14915108613530e2
	n7  = -0.48232657361591e4
	n8  = 0.40511340542057e6
	n9  = -0.23855557567849
	n10 = 0.65017534844798e3
)

const (
	criticalKelvin  = 647.096
	criticalDensity = 322.0
	tripleKelvin    = 273.16
	triplePascal    = 611.657
	gravity         = 9.80665 // m/s2, standard
)

// SaturationPressure returns the vapour pressure of liquid water, IF97 eq. 30.
// Range 0 to 373.946 C; use FrostPressure below.
func SaturationPressure(c units.Celsius) (units.Pressure, error) {
	if err := within("water temperature", float64(c), 0, float64(CriticalTemperature), "C"); err != nil {
		return 0, err
	}
	return units.Pressure(saturationPascal(float64(c.Kelvin()))), nil
}

func saturationPascal(kelvin float64) float64 {
	th := kelvin + n9/(kelvin-n10)
	a := th*th + n1*th + n2
	b := n3*th*th + n4*th + n5
	c := n6*th*th + n7*th + n8
	q := 2 * c / (-b + math.Sqrt(b*b-4*a*c))
	q *= q
	return q * q * 1e6
}

// SaturationTemperature returns the boiling point of water at an absolute
// pressure, IF97 eq. 31. Range 611.213 Pa to 22.064 MPa.
func SaturationTemperature(p units.Pressure) (units.Celsius, error) {
	if err := within("pressure", float64(p), 611.213, float64(CriticalPressure), "Pa"); err != nil {
		return 0, err
	}
	be := math.Sqrt(math.Sqrt(float64(p) / 1e6))
	e := be*be + n3*be + n6
	f := n1*be*be + n4*be + n7
	g := n2*be*be + n5*be + n8
	d := 2 * g / (-f - math.Sqrt(f*f-4*e*g))
	t := (n10 + d - math.Sqrt((n10+d)*(n10+d)-4*(n9+n10*d))) / 2
	return units.Kelvin(t).Celsius(), nil
}

// FrostPressure returns the vapour pressure over ice (Wagner et al. 2011, eq. 4;
// IAPWS R14-08), -223.15 to 0.01 C.
func FrostPressure(c units.Celsius) (units.Pressure, error) {
	if err := within("ice temperature", float64(c), -223.15, 0.01, "C"); err != nil {
		return 0, err
	}
	f, _ := sublimationLog(float64(c.Kelvin()))
	return units.Pressure(triplePascal * math.Exp(f)), nil
}

// WaterDensity returns the density of saturated liquid water (Wagner and Pruss
// 1993, eq. 2), 0 to 373 C. Pressure of a kitchen changes it by less than 0.01 %.
func WaterDensity(c units.Celsius) (units.Density, error) {
	if err := within("water temperature", float64(c), 0, 373, "C"); err != nil {
		return 0, err
	}
	return units.Density(liquidDensity(float64(c.Kelvin()))), nil
}

// SaturatedLiquidEnthalpy returns the enthalpy of water on the saturation line,
// J/kg, zero internal energy at the triple point: h' = alpha + T/rho'·dp/dT, with
// the auxiliary alpha of Wagner and Pruss 1993 (IAPWS SR1-86(1992), eq. 4 and 6).
// Range 0.01 to 373 C.
func SaturatedLiquidEnthalpy(c units.Celsius) (float64, error) {
	if err := within("water temperature", float64(c), 0.01, 373, "C"); err != nil {
		return 0, err
	}
	k := float64(c.Kelvin())
	return auxiliaryAlpha(k) + k/liquidDensity(k)*saturationSlope(k), nil
}

// SaturatedSteamEnthalpy returns the enthalpy of saturated steam, J/kg:
// h” = alpha + T/rho”·dp/dT (IAPWS SR1-86(1992), eq. 7). Range 0.01 to 373 C.
func SaturatedSteamEnthalpy(c units.Celsius) (float64, error) {
	if err := within("steam temperature", float64(c), 0.01, 373, "C"); err != nil {
		return 0, err
	}
	k := float64(c.Kelvin())
	return auxiliaryAlpha(k) + k/vapourDensity(k)*saturationSlope(k), nil
}

// auxiliaryAlpha is eq. 4 of SR1-86, J/kg, for T/Tc.
func auxiliaryAlpha(kelvin float64) float64 {
	t := kelvin / criticalKelvin
	t2 := t * t
	t4 := t2 * t2
	r := math.Sqrt(t)
	t19 := t4 * t4 * t4 * t4 * t2 * t
	t54 := t19 * t19 * t4 * t4 * t4 * t4
	return 1000 * (-1135.905627715 - 5.65134998e-8/t19 + 2690.66631*t + 127.287297*t4*r -
		135.003439*t4*t + 0.981825814*t54*r)
}

// SteamDensity returns the density of saturated steam (Wagner and Pruss 1993,
// eq. 3), 0 to 373 C.
func SteamDensity(c units.Celsius) (units.Density, error) {
	if err := within("steam temperature", float64(c), 0, 373, "C"); err != nil {
		return 0, err
	}
	return units.Density(vapourDensity(float64(c.Kelvin()))), nil
}

func liquidDensity(kelvin float64) float64 {
	u := math.Cbrt(1 - kelvin/criticalKelvin) // tau to the 1/3
	u2 := u * u
	u5 := u2 * u2 * u
	u16 := u5 * u5 * u5 * u
	u43 := u16 * u16 * u5 * u5 * u
	u110 := u43 * u43 * u16 * u5 * u2 * u
	return criticalDensity * (1 + 1.99274064*u + 1.09965342*u2 - 0.510839303*u5 -
		1.75493479*u16 - 45.5170352*u43 - 6.74694450e5*u110)
}

func vapourDensity(kelvin float64) float64 {
	tau := 1 - kelvin/criticalKelvin
	u := math.Sqrt(math.Cbrt(tau)) // tau to the 1/6
	u2 := u * u
	u4 := u2 * u2
	u8 := u4 * u4
	u18 := tau * tau * tau
	u37 := u18 * u18 * u
	u71 := u37 * u18 * u8 * u8
	return criticalDensity * math.Exp(-2.03150240*u2-2.68302940*u4-5.38626492*u8-
		17.2991605*u18-44.7586581*u37-63.9201063*u71)
}

// LatentHeat returns the heat of vaporisation of water, J/kg, by the Clapeyron
// relation h = T·(1/rho” - 1/rho')·dp/dT over the saturation line. Within 0.1 %
// of IF97 regions 1 and 2 from 5 to 140 C. Range 0.01 to 200 C.
func LatentHeat(c units.Celsius) (float64, error) {
	if err := within("water temperature", float64(c), 0.01, 200, "C"); err != nil {
		return 0, err
	}
	return latent(float64(c.Kelvin())), nil
}

func latent(kelvin float64) float64 {
	return kelvin * (1/vapourDensity(kelvin) - 1/liquidDensity(kelvin)) * saturationSlope(kelvin)
}

// saturationSlope is dp/dT of Wagner and Pruss 1993, eq. 1, Pa/K; it belongs
// to the same set as the densities, so that their errors cancel.
func saturationSlope(kelvin float64) float64 {
	tau := 1 - kelvin/criticalKelvin
	r := math.Sqrt(tau)
	t15, t3 := tau*r, tau*tau*tau
	t35, t4 := t3*r, t3*tau
	t75 := t35 * t4
	sum := -7.85951783*tau + 1.84408259*t15 - 11.7866497*t3 + 22.6807411*t35 - 15.9618719*t4 + 1.80122502*t75
	slope := -7.85951783 + 1.5*1.84408259*r - 3*11.7866497*tau*tau + 3.5*22.6807411*t3/r -
		4*15.9618719*t3 + 7.5*1.80122502*t75/tau
	lnp := criticalKelvin / kelvin * sum
	p := float64(CriticalPressure) * math.Exp(lnp)
	return -p / kelvin * (lnp + slope)
}

// FrostPoint returns the temperature at which a vapour pressure saturates over
// ice, the inverse of FrostPressure. Range 1e-6 to 611.657 Pa (-121 to 0.01 C).
func FrostPoint(p units.Pressure) (units.Celsius, error) {
	if err := within("vapour pressure", float64(p), 1e-6, triplePascal, "Pa"); err != nil {
		return 0, err
	}
	// Newton on ln p against 1/T, in which the line is nearly straight.
	target := math.Log(float64(p) / triplePascal)
	k := tripleKelvin / (1 - target/22.5)
	for range 40 {
		f, slope := sublimationLog(k)
		step := (f - target) / slope
		k -= step
		if math.Abs(step) < 1e-10*k {
			break
		}
	}
	return units.Kelvin(k).Celsius(), nil
}

// SublimationHeat returns the heat of sublimation of ice, J/kg: Clapeyron on the
// line of Wagner et al. 2011, h = Z·R·T²·dln(p)/dT. The compressibility of the
// vapour is Z = 1 - 5.3e-4·p/pt (from its saturated density at the triple point);
// the volume of ice is left out (5e-6 of the vapour's at 0 C). Range -100 to 0.01 C.
func SublimationHeat(c units.Celsius) (float64, error) {
	if err := within("ice temperature", float64(c), -100, 0.01, "C"); err != nil {
		return 0, err
	}
	k := float64(c.Kelvin())
	value, slope := sublimationLog(k)
	return (1 - 5.3e-4*math.Exp(value)) * GasConstantVapour * k * k * slope, nil
}

// FusionHeat returns the heat of fusion of water at c, J/kg: 333.55 kJ/kg at 0 C,
// and below it the difference of the specific heats of supercooled water and ice
// of Choi and Okos 1986 carried down (Kirchhoff). Range -40 to 0 C.
func FusionHeat(c units.Celsius) (float64, error) {
	if err := within("water temperature", float64(c), -40, 0, "C"); err != nil {
		return 0, err
	}
	return fusion(float64(c)), nil
}

// sublimationLog returns ln(p/pt) and its slope in T, 1/K.
func sublimationLog(kelvin float64) (value, slope float64) {
	th := kelvin / tripleKelvin
	for _, t := range &sublimationTerms {
		v := t.a * math.Pow(th, t.b-1)
		value += v
		slope += v * (t.b - 1)
	}
	return value, slope / kelvin
}

// sublimationTerms are Table 2 of IAPWS R14-08.
var sublimationTerms = [3]struct{ a, b float64 }{
	{-0.212144006e2, 0.333333333e-2}, {0.273203819e2, 0.120666667e1}, {-0.610598130e1, 0.170333333e1},
}

// BoilingPointElevation returns how far above water a solution boils, for a
// total molality of dissolved particles in mol/kg water (ebullioscopic constant
// 0.512 K·kg/mol, from memory of the CRC Handbook). 1 % of table salt, 0.342 mol
// of ions per kg, gives 0.18 K. Ideal dilution: 0 to 6 mol/kg.
func BoilingPointElevation(molality float64) (units.CelsiusDelta, error) {
	if err := within("molality", molality, 0, 6, "mol/kg"); err != nil {
		return 0, err
	}
	return units.CelsiusDelta(0.512 * molality), nil
}

func within(what string, v, low, high float64, unit string) error {
	if math.IsNaN(v) || v < low || v > high {
		return fmt.Errorf("%s %g %s is outside %g to %g %s", what, v, unit, low, high, unit)
	}
	return nil
}
