package thermo

import (
	"math"

	"rondeau.internal/pkg/units"
)

// Water are the properties of liquid water at one temperature, as natural
// convection and film correlations need them.
type Water struct {
	Pressure       units.Pressure // the pressure they hold at, Pa
	Density        units.Density  // kg/m3
	SpecificHeat   float64        // isobaric, J/kg·K
	Enthalpy       float64        // J/kg, 0 for the liquid at the triple point
	Expansion      float64        // thermal expansion coefficient, 1/K; negative below 4 C
	Viscosity      float64        // dynamic, Pa·s
	Kinematic      float64        // kinematic viscosity, m2/s
	Conductivity   float64        // W/m·K
	Diffusivity    float64        // thermal, m2/s
	Prandtl        float64        // dimensionless
	SurfaceTension float64        // N/m
}

// WaterAt returns the properties of liquid water, 0 to 140 C: at 101.325 kPa up to
// the boiling point, at saturation above it. IAPWS-IF97 region 1 (eq. 7), viscosity
// IAPWS R12-08 (eq. 10 to 12) and conductivity IAPWS R15-11 (eq. 15 to 17), both
// without the critical enhancement, surface tension IAPWS R1-76(2014).
func WaterAt(c units.Celsius) (Water, error) {
	if err := within("water temperature", float64(c), 0, 140, "C"); err != nil {
		return Water{}, err
	}
	k := float64(c.Kelvin())
	p := math.Max(float64(units.Atmosphere), saturationPascal(k))
	r := region1(k, p)
	rho := 1 / r.volume
	mu, lambda := viscosity(k, rho), conductivity(k, rho)
	return Water{
		Pressure:       units.Pressure(p),
		Density:        units.Density(rho),
		SpecificHeat:   r.heat,
		Enthalpy:       r.enthalpy,
		Expansion:      r.expansion,
		Viscosity:      mu,
		Kinematic:      mu * r.volume,
		Conductivity:   lambda,
		Diffusivity:    lambda / (rho * r.heat),
		Prandtl:        mu * r.heat / lambda,
		SurfaceTension: surfaceTension(k),
	}, nil
}

// Rayleigh returns Ra = g·beta·dT·L³/(nu·alpha) of water at this film state for a
// temperature difference in K and a length in m, g = 9.80665 m/s2. It uses the size
// of beta and of the difference: the caller knows which way the water moves.
func (w Water) Rayleigh(difference units.CelsiusDelta, length units.Length) (float64, error) {
	if err := w.film(); err != nil {
		return 0, err
	}
	if err := within("temperature difference", float64(difference), -150, 150, "K"); err != nil {
		return 0, err
	}
	if err := within("length", float64(length), 0, 100, "m"); err != nil {
		return 0, err
	}
	l := float64(length)
	return gravity * math.Abs(w.Expansion*float64(difference)) * l * l * l / (w.Kinematic * w.Diffusivity), nil
}

func (w Water) film() error {
	if err := within("kinematic viscosity (is the film from WaterAt?)", w.Kinematic, 1e-9, 1, "m2/s"); err != nil {
		return err
	}
	if err := within("thermal diffusivity (is the film from WaterAt?)", w.Diffusivity, 1e-9, 1, "m2/s"); err != nil {
		return err
	}
	return within("thermal expansion", w.Expansion, -1, 1, "1/K")
}

// state1 is what region 1 gives: m3/kg, J/kg, J/kg·K, 1/K.
type state1 struct{ volume, enthalpy, heat, expansion float64 }

// region1 evaluates the Gibbs energy of IF97 region 1 (eq. 7, Table 2) and the
// derivatives that Table 3 needs, for kelvin and pascal. pi = p/16.53 MPa,
// tau = 1386 K/T.
func region1(kelvin, pascal float64) state1 {
	const maxI, minJ, maxJ = 32, -41, 17
	pi, tau := pascal/16.53e6, 1386/kelvin
	a, b := 7.1-pi, tau-1.222
	var ap [maxI + 1]float64        // a to the 0, 1 ... 32
	var bp [maxJ - minJ + 1]float64 // b to the -41 ... 17
	ap[0] = 1
	for i := 1; i <= maxI; i++ {
		ap[i] = ap[i-1] * a
	}
	bp[-minJ] = 1
	for j := 1; j <= maxJ; j++ {
		bp[j-minJ] = bp[j-1-minJ] * b
	}
	inverse := 1 / b
	for j := -1; j >= minJ; j-- {
		bp[j-minJ] = bp[j+1-minJ] * inverse
	}
	var gp, gt, gtt, gpt float64
	for n := range region1Terms {
		t := &region1Terms[n]
		term := t.n * ap[t.i] * bp[t.j-minJ]
		i, j := float64(t.i), float64(t.j)
		gp -= term * i / a
		gt += term * j * inverse
		gtt += term * j * (j - 1) * inverse * inverse
		gpt -= term * i / a * j * inverse
	}
	return state1{
		volume:    GasConstantVapour * kelvin / pascal * pi * gp,
		enthalpy:  GasConstantVapour * kelvin * tau * gt,
		heat:      -GasConstantVapour * tau * tau * gtt,
		expansion: (1 - tau*gpt/gp) / kelvin,
	}
}

// region1Terms are the exponents and coefficients of Table 2 of the release.
var region1Terms = [34]struct {
	i, j int
	n    float64
}{
	{0, -2, 0.14632971213167},
	{0, -1, -0.84548187169114},
	{0, 0, -0.37563603672040e1},
	{0, 1, 0.33855169168385e1},
	{0, 2, -0.95791963387872},
	{0, 3, 0.15772038513228},
	{0, 4, -0.16616417199501e-1},
	{0, 5, 0.81214629983568e-3},
	{1, -9, 0.28319080123804e-3},
	{1, -7, -0.60706301565874e-3},
	{1, -1, -0.18990068218419e-1},
	{1, 0, -0.32529748770505e-1},
	{1, 1, -0.21841717175414e-1},
	{1, 3, -0.52838357969930e-4},
	{2, -3, -0.47184321073267e-3},
	{2, 0, -0.30001780793026e-3},
	{2, 1, 0.47661393906987e-4},
	{2, 3, -0.44141845330846e-5},
	{2, 17, -0.72694996297594e-15},
	{3, -4, -0.31679644845054e-4},
	{3, 0, -0.28270797985312e-5},
	{3, 6, -0.85205128120103e-9},
	{4, -5, -0.22425281908000e-5},
	{4, -2, -0.65171222895601e-6},
	{4, 10, -0.14341729937924e-12},
	{5, -8, -0.40516996860117e-6},
	{8, -11, -0.12734301741641e-8},
	{8, -6, -0.17424871230634e-9},
	{21, -29, -0.68762131295531e-18},
	{23, -31, 0.14478307828521e-19},
	{29, -38, 0.26335781662795e-22},
	{30, -39, -0.11947622640071e-22},
	{31, -40, 0.18228094581404e-23},
	{32, -41, -0.93537087292458e-25},
}

// viscosity is IAPWS R12-08, eq. 10, 11 and 12 with mu2 = 1; Pa·s.
func viscosity(kelvin, rho float64) float64 {
	t, d := kelvin/criticalKelvin, rho/criticalDensity
	x, y := 1/t-1, d-1
	sum, xp := 0.0, 1.0
	for i := range viscosityTerms {
		row := &viscosityTerms[i]
		s := 0.0
		for j := len(row) - 1; j >= 0; j-- {
			s = s*y + row[j]
		}
		sum += s * xp
		xp *= x
	}
	return diluteViscosity(t) * math.Exp(d*sum)
}

// diluteViscosity is eq. 11 of R12-08 for t = T/Tc, Pa·s.
func diluteViscosity(t float64) float64 {
	u := 1 / t
	return 1e-6 * 100 * math.Sqrt(t) / (1.67752 + u*(2.20462+u*(0.6366564-u*0.241605)))
}

// viscosityTerms are H_ij of Table 2 of R12-08, row i in powers of 1/T-1, column j
// in powers of rho-1.
var viscosityTerms = [6][7]float64{
	{5.20094e-1, 2.22531e-1, -2.81378e-1, 1.61913e-1, -3.25372e-2, 0, 0},
	{8.50895e-2, 9.99115e-1, -9.06851e-1, 2.57399e-1, 0, 0, 0},
	{-1.08374, 1.88797, -7.72479e-1, 0, 0, 0, 0},
	{-2.89555e-1, 1.26613, -4.89837e-1, 0, 6.98452e-2, 0, -4.35673e-3},
	{0, 0, -2.57040e-1, 0, 0, 8.72102e-3, 0},
	{0, 1.20573e-1, 0, 0, 0, 0, -5.93264e-4},
}

// conductivity is IAPWS R15-11, eq. 15, 16 and 17 without the enhancement, W/m·K.
func conductivity(kelvin, rho float64) float64 {
	t, d := kelvin/criticalKelvin, rho/criticalDensity
	x, y := 1/t-1, d-1
	sum, xp := 0.0, 1.0
	for i := range conductivityTerms {
		row := &conductivityTerms[i]
		s := 0.0
		for j := len(row) - 1; j >= 0; j-- {
			s = s*y + row[j]
		}
		sum += s * xp
		xp *= x
	}
	return diluteConductivity(t) * math.Exp(d*sum)
}

// diluteConductivity is eq. 16 of R15-11 for t = T/Tc, W/m·K.
func diluteConductivity(t float64) float64 {
	u := 1 / t
	return 1e-3 * math.Sqrt(t) / (2.443221e-3 + u*(1.323095e-2+u*(6.770357e-3+u*(-3.454586e-3+u*4.096266e-4))))
}

// conductivityTerms are L_ij of Table 2 of R15-11.
var conductivityTerms = [5][6]float64{
	{1.60397357, -0.646013523, 0.111443906, 0.102997357, -0.0504123634, 0.00609859258},
	{2.33771842, -2.78843778, 1.53616167, -0.463045512, 0.0832827019, -0.00719201245},
	{2.19650529, -4.54580785, 3.55777244, -1.40944978, 0.275418278, -0.0205938816},
	{-1.21051378, 1.60812989, -0.621178141, 0.0716373224, 0, 0},
	{-2.7203370, 4.57586331, -3.18369245, 1.1168348, -0.19268305, 0.012913842},
}

// surfaceTension is IAPWS R1-76(2014), N/m.
func surfaceTension(kelvin float64) float64 {
	tau := 1 - kelvin/criticalKelvin
	return 0.2358 * math.Pow(tau, 1.256) * (1 - 0.625*tau)
}

// waterIndex is the refractive index of water, IAPWS R9-97, for a wavelength in
// micrometres (0.2 to 1.1).
func waterIndex(kelvin, rho, wavelength float64) float64 {
	const infrared, ultraviolet = 5.432937, 0.229202
	d, t, l := rho/1000, kelvin/273.15, wavelength/0.589
	l2 := l * l
	a := d * (0.244257733 + 9.74634476e-3*d - 3.73234996e-3*t + 2.68678472e-4*l2*t + 1.58920570e-3/l2 +
		2.45934259e-3/(l2-ultraviolet*ultraviolet) + 0.900704920/(l2-infrared*infrared) - 1.66626219e-2*d*d)
	return math.Sqrt((2*a + 1) / (1 - a))
}
