package thermo

import (
	"fmt"
	"math"

	"rondeau.internal/pkg/units"
)

// massRatio is the molar mass of water over that of dry air, 18.015268/28.966
// (ASHRAE Handbook, Fundamentals 2017, chapter 1).
const massRatio = 0.621945

const (
	gasConstantAir = 287.055 // J/kg·K
	heatDryAir     = 1006.0  // J/kg·K, for enthalpy
	heatVapour     = 1860.0  // J/kg·K
	vaporiseZero   = 2501e3  // J/kg at 0 C
)

// MoistAir is a state of air with water vapour. Enthalpy and SpecificVolume are
// per kilogram of dry air; the rest are of the mixture.
type MoistAir struct {
	VapourPressure   units.Pressure // partial pressure of water, Pa
	RelativeHumidity float64        // 0 to 1
	HumidityRatio    float64        // kg of vapour per kg of dry air
	DewPoint         units.Celsius  // frost point below 0 C
	WetBulb          units.Celsius  // thermodynamic (adiabatic saturation)
	Density          units.Density  // kg/m3
	SpecificVolume   float64        // m3 per kg of dry air
	Enthalpy         float64        // J per kg of dry air, 0 for dry air and liquid water at 0 C
	SpecificHeat     float64        // J/kg·K
	Viscosity        float64        // dynamic, Pa·s
	Conductivity     float64        // W/m·K
	Diffusivity      float64        // thermal, m2/s
	VapourDiffusion  float64        // of water vapour in air, m2/s
	Prandtl          float64
	Schmidt          float64
	Lewis            float64
}

// MoistAirAt returns the state of air at a temperature (-60 to 200 C), relative
// humidity (0 to 1, over ice below 0 C) and pressure (10 to 120 kPa). Ideal gases;
// W = 0.621945·pw/(p-pw), h = 1.006·t + W·(2501 + 1.86·t) and the wet bulb of the ASHRAE
// Handbook, Fundamentals, chapter 1. Viscosity by Wilke 1950 and conductivity by
// the same weights (Mason and Saxena 1958) from dry air and dilute steam. Saturation
// is EnhancementFactor times the pressure over pure water or ice.
// The vapour must leave room for air: partial pressure at most 0.99 p.
func MoistAirAt(c units.Celsius, relativeHumidity float64, p units.Pressure) (MoistAir, error) {
	pw, err := VapourPressure(c, relativeHumidity)
	if err != nil {
		return MoistAir{}, err
	}
	dry, err := AirAt(c, p)
	if err != nil {
		return MoistAir{}, err
	}
	pw *= units.Pressure(enhancement(float64(c), float64(p)))
	if pw > 0.99*p {
		return MoistAir{}, fmt.Errorf("vapour pressure %g Pa at %g C is above 0.99 of the air pressure %g Pa: this is steam, not moist air", float64(pw), float64(c), float64(p))
	}
	t, k := float64(c), float64(c.Kelvin())
	w := massRatio * float64(pw) / float64(p-pw)
	volume := gasConstantAir * k * (1 + w/massRatio) / float64(p)
	rho := (1 + w) / volume
	y := float64(pw / p)
	mu, lambda := mixTransport(dry, k, y)
	heat := (dry.SpecificHeat + w*heatVapour) / (1 + w)
	alpha := lambda / (rho * heat)
	dew := moistDewPoint(float64(pw), float64(p))
	return MoistAir{
		VapourPressure:   pw,
		RelativeHumidity: relativeHumidity,
		HumidityRatio:    w,
		DewPoint:         units.Celsius(dew),
		WetBulb:          units.Celsius(wetBulb(t, w, float64(p), dew)),
		Density:          units.Density(rho),
		SpecificVolume:   volume,
		Enthalpy:         heatDryAir*t + w*(vaporiseZero+heatVapour*t),
		SpecificHeat:     heat,
		Viscosity:        mu,
		Conductivity:     lambda,
		Diffusivity:      alpha,
		VapourDiffusion:  dry.VapourDiffusion,
		Prandtl:          mu * heat / lambda,
		Schmidt:          mu / (rho * dry.VapourDiffusion),
		Lewis:            alpha / dry.VapourDiffusion,
	}, nil
}

// MoistAirFromWetBulb returns the state from a dry and a wet bulb, -60 to 200 C, the
// wet bulb not above the dry one and not so low that the air would be drier than dry.
func MoistAirFromWetBulb(dry, wet units.Celsius, p units.Pressure) (MoistAir, error) {
	if err := within("air temperature", float64(dry), -60, 200, "C"); err != nil {
		return MoistAir{}, err
	}
	if err := within("wet bulb temperature", float64(wet), -60, float64(dry), "C"); err != nil {
		return MoistAir{}, err
	}
	if err := within("air pressure", float64(p), 10e3, 120e3, "Pa"); err != nil {
		return MoistAir{}, err
	}
	w := humidityAtWetBulb(float64(dry), float64(wet), float64(p))
	if math.IsNaN(w) || w < -1e-9 {
		return MoistAir{}, fmt.Errorf("wet bulb %g C is too low for a dry bulb of %g C at %g Pa: even dry air reads higher", float64(wet), float64(dry), float64(p))
	}
	if math.IsInf(w, 0) {
		return MoistAir{}, fmt.Errorf("wet bulb %g C is at or above the boiling point of water at %g Pa", float64(wet), float64(p))
	}
	w = math.Max(w, 0)
	saturated, err := VapourPressure(dry, 1)
	if err != nil {
		return MoistAir{}, err
	}
	rh := w * float64(p) / (massRatio + w) / (float64(saturated) * enhancement(float64(dry), float64(p)))
	return MoistAirAt(dry, math.Min(rh, 1), p)
}

// EnhancementFactor returns how much more vapour saturated air holds than the pure
// pressure says, from the real behaviour of the gases: Greenspan 1976 with the
// coefficients of Hardy 1998 (from memory; within 0.05 % of ASHRAE's table from -20 to
// 85 C), f = exp(alpha·(1 - ps/p) + beta·(p/ps - 1)). Range -60 to 200 C, 10 to 120 kPa;
// 1 from the boiling point up.
func EnhancementFactor(c units.Celsius, p units.Pressure) (float64, error) {
	if err := within("air temperature", float64(c), -60, 200, "C"); err != nil {
		return 0, err
	}
	if err := within("air pressure", float64(p), 10e3, 120e3, "Pa"); err != nil {
		return 0, err
	}
	return enhancement(float64(c), float64(p)), nil
}

func enhancement(t, p float64) float64 {
	ps := saturatedPascal(math.Max(t, -100))
	if ps >= p {
		return 1
	}
	t = math.Max(t, -100)
	var alpha, beta float64
	if t >= 0 {
		alpha = 3.53624e-4 + t*(2.9328363e-5+t*(2.6168979e-7+t*8.5813609e-9))
		beta = -10.7588 + t*(6.3268134e-2+t*(-2.5368934e-4+t*6.3405286e-7))
	} else {
		alpha = 3.64449e-4 + t*(2.9367585e-5+t*(4.8874766e-7+t*4.3669918e-9))
		beta = -10.7271 + t*(7.6215115e-2+t*(-1.7490155e-4+t*2.4668279e-6))
	}
	return math.Exp(alpha*(1-ps/p) + math.Exp(beta)*(p/ps-1))
}

// moistDewPoint is the dew point in air of pressure p: the pure one of pw/f, with f at
// the dew point itself, which moves it by less than 0.1 K.
func moistDewPoint(pw, p float64) float64 {
	dew := float64(dewPoint(units.Pressure(pw)))
	for range 3 {
		dew = float64(dewPoint(units.Pressure(pw / enhancement(dew, p))))
	}
	return dew
}

// DewPoint returns the temperature at which pure vapour of a pressure saturates:
// over water from 611.213 Pa up, over ice below. Range 1e-6 Pa to 1.6 MPa.
func DewPoint(vapour units.Pressure) (units.Celsius, error) {
	if err := within("vapour pressure", float64(vapour), 1e-6, 1.6e6, "Pa"); err != nil {
		return 0, err
	}
	return dewPoint(vapour), nil
}

// dewPoint returns -121 C, the end of the frost line, for drier air.
func dewPoint(p units.Pressure) units.Celsius {
	if p >= 611.213 {
		t, err := SaturationTemperature(p)
		if err == nil {
			return t
		}
	}
	t, _ := FrostPoint(units.Pressure(math.Max(float64(p), 1e-6)))
	return t
}

// saturatedPascal is the pressure over water from 0 C up, over ice below.
func saturatedPascal(t float64) float64 {
	if t >= 0 {
		return saturationPascal(t + 273.15)
	}
	f, _ := sublimationLog(t + 273.15)
	return triplePascal * math.Exp(f)
}

// humidityAtWetBulb is the humidity ratio of air at t with a wet bulb b (ASHRAE
// Fundamentals 2017, chapter 1, eq. 33 and 35); infinite from the boiling point up.
func humidityAtWetBulb(t, b, p float64) float64 {
	ps := saturatedPascal(b)
	if ps *= enhancement(b, p); ps >= p {
		return math.Inf(1)
	}
	ws := massRatio * ps / (p - ps)
	if b >= 0 {
		return ((2501-2.326*b)*ws - 1.006*(t-b)) / (2501 + 1.86*t - 4.186*b)
	}
	return ((2830-0.24*b)*ws - 1.006*(t-b)) / (2830 + 1.86*t - 2.1*b)
}

// wetBulb inverts humidityAtWetBulb between the dew point and the dry bulb by the
// bracketed secant of Illinois; the humidity rises with the wet bulb all along.
// Across 0 C the ice and water branches differ and the root may sit at the step.
func wetBulb(t, w, p, dew float64) float64 {
	low, high := math.Min(math.Max(dew, -90), t), t
	if saturatedPascal(high) >= 0.9999*p {
		s, err := SaturationTemperature(units.Pressure(0.9999 * p))
		if err == nil {
			high = math.Min(high, float64(s))
		}
	}
	fl, fh := humidityAtWetBulb(t, low, p)-w, humidityAtWetBulb(t, high, p)-w
	if fl >= 0 {
		return low
	}
	if fh <= 0 {
		return high
	}
	side := 0
	for i := range 200 {
		m := (low*fh - high*fl) / (fh - fl)
		if i%4 == 3 || !(m > low && m < high) {
			m = (low + high) / 2
		}
		f := humidityAtWetBulb(t, m, p) - w
		switch {
		case f == 0:
			return m
		case f < 0:
			low, fl = m, f
			if side == -1 {
				fh /= 2
			}
			side = -1
		default:
			high, fh = m, f
			if side == 1 {
				fl /= 2
			}
			side = 1
		}
		if high-low < 1e-8 {
			break
		}
	}
	return (low + high) / 2
}

// mixTransport mixes viscosity and conductivity for a mole fraction y of vapour:
// Wilke's phi_ij = [1 + sqrt(mu_i/mu_j)·(M_j/M_i)^(1/4)]²/sqrt(8·(1 + M_i/M_j)).
func mixTransport(dry Air, kelvin, y float64) (mu, lambda float64) {
	ma := dry.Viscosity * float64(dry.Density)
	tr := kelvin / criticalKelvin
	mw, lw := diluteViscosity(tr), diluteConductivity(tr)
	const mRatio = 1 / massRatio // air over water
	rootRatio := math.Sqrt(ma / mw)
	quarter := math.Sqrt(math.Sqrt(mRatio))
	aw := 1 + rootRatio/quarter
	wa := 1 + quarter/rootRatio
	phiAW := aw * aw / math.Sqrt(8*(1+mRatio))
	phiWA := wa * wa / math.Sqrt(8*(1+massRatio))
	x := 1 - y
	na, nw := x+y*phiAW, y+x*phiWA
	return x*ma/na + y*mw/nw, x*dry.Conductivity/na + y*lw/nw
}

// Lewis returns the Lewis number of water vapour in this dry air, alpha/D.
func (a Air) Lewis() float64 { return a.Diffusivity / a.VapourDiffusion }

// MassTransferCoefficient turns a heat transfer coefficient (W/m2·K, 0 to 1e6) into
// the one of mass transfer in m/s by the Chilton-Colburn analogy:
// h/h_m = rho·cp·Le^(2/3), with the properties of the film.
func (a Air) MassTransferCoefficient(heatTransfer float64) (float64, error) {
	return lewisRelation(heatTransfer, float64(a.Density)*a.SpecificHeat, a.Diffusivity/a.VapourDiffusion)
}

// MassTransferCoefficient is the same for moist air.
func (m MoistAir) MassTransferCoefficient(heatTransfer float64) (float64, error) {
	return lewisRelation(heatTransfer, float64(m.Density)*m.SpecificHeat, m.Lewis)
}

func lewisRelation(h, capacity, lewis float64) (float64, error) {
	if err := within("heat transfer coefficient", h, 0, 1e6, "W/m2·K"); err != nil {
		return 0, err
	}
	if !(capacity > 0) || !(lewis > 0) || math.IsInf(capacity, 0) || math.IsInf(lewis, 0) {
		return 0, fmt.Errorf("air properties are not set (rho·cp %g J/m3·K, Lewis number %g): take them from AirAt or MoistAirAt", capacity, lewis)
	}
	r := math.Cbrt(lewis)
	return h / (capacity * r * r), nil
}
