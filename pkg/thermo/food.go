package thermo

import (
	"fmt"
	"math"

	"rondeau.internal/pkg/units"
)

// Composition gives mass fractions (0 to 1) that add up to 1 within 0.005.
type Composition struct {
	Water, Protein, Fat, Carbohydrate, Fibre, Ash float64
}

// LeanStock is a stock of 5 % solids: water 95, protein 3, fat 0.5,
// carbohydrate 0.5, ash 1 mass percent. An invented round composition.
var LeanStock = Composition{Water: 0.95, Protein: 0.03, Fat: 0.005, Carbohydrate: 0.005, Ash: 0.01}

// StockOfSolids returns a stock with the given solids mass fraction (0 to 0.8),
// the solids in the proportions of LeanStock.
func StockOfSolids(solids float64) (Composition, error) {
	if err := within("solids fraction", solids, 0, 0.8, ""); err != nil {
		return Composition{}, err
	}
	f := solids / 0.05
	s := LeanStock
	return Composition{Water: 1 - solids, Protein: s.Protein * f, Fat: s.Fat * f, Carbohydrate: s.Carbohydrate * f, Ash: s.Ash * f}, nil
}

// Check reports a fraction that is not within 0 to 1, or a sum off 1 by more
// than 0.005.
func (c Composition) Check() error {
	sum := 0.0
	for i, f := range c.fractions() {
		if math.IsNaN(f) || f < 0 || f > 1 {
			return fmt.Errorf("mass fraction of %s %g is outside 0 to 1", components[i].name, f)
		}
		sum += f
	}
	if math.Abs(sum-1) > 0.005 {
		return fmt.Errorf("mass fractions add up to %g, want 1 within 0.005", sum)
	}
	return nil
}

// Solids returns the mass fraction that is not water.
func (c Composition) Solids() float64 { return 1 - c.Water }

func (c Composition) fractions() [6]float64 {
	return [6]float64{c.Water, c.Protein, c.Fat, c.Carbohydrate, c.Fibre, c.Ash}
}

// Properties of a food at one temperature.
type Properties struct {
	Density      units.Density // kg/m3
	SpecificHeat float64       // J/kg·K; apparent (with freezing) below the freezing point
	Conductivity float64       // W/m·K
	Diffusivity  float64       // m2/s
	IceFraction  float64       // mass fraction of ice, 0 above freezing
}

// component holds polynomials in t (C): density kg/m3, cp kJ/kg·K, k W/m·K.
type component struct {
	name        string
	rho, cp, co [3]float64
}

// Choi and Okos 1986. The water row is for 0 to 150 C; supercooled water has its
// own cp. Several reprints flip the signs of the water cp terms or print 4.1289;
// these are the values of the original.
var components = [6]component{
	{"water", [3]float64{997.18, 3.1439e-3, -3.7574e-3}, [3]float64{4.1762, -9.0864e-5, 5.4731e-6}, [3]float64{0.57109, 1.7625e-3, -6.7036e-6}},
	{"protein", [3]float64{1329.9, -0.5184, 0}, [3]float64{2.0082, 1.2089e-3, -1.3129e-6}, [3]float64{0.17881, 1.1958e-3, -2.7178e-6}},
	{"fat", [3]float64{925.59, -0.41757, 0}, [3]float64{1.9842, 1.4733e-3, -4.8008e-6}, [3]float64{0.18071, -2.7604e-4, -1.7749e-7}},
	{"carbohydrate", [3]float64{1599.1, -0.31046, 0}, [3]float64{1.5488, 1.9625e-3, -5.9399e-6}, [3]float64{0.20141, 1.3874e-3, -4.3312e-6}},
	{"fibre", [3]float64{1311.5, -0.36589, 0}, [3]float64{1.8459, 1.8306e-3, -4.6509e-6}, [3]float64{0.18331, 1.2497e-3, -3.1683e-6}},
	{"ash", [3]float64{2423.8, -0.28063, 0}, [3]float64{1.0926, 1.8896e-3, -3.6817e-6}, [3]float64{0.32962, 1.4011e-3, -2.9069e-6}},
}

var (
	ice             = component{"ice", [3]float64{916.89, -0.13071, 0}, [3]float64{2.0623, 6.0769e-3, 0}, [3]float64{2.2196, -6.2489e-3, 1.0154e-4}}
	supercooledHeat = [3]float64{4.0817, -5.3062e-3, 9.9516e-4}
)

func poly(p [3]float64, t float64) float64 { return p[0] + t*(p[1]+t*p[2]) }

// At returns the properties of an unfrozen food, 0 to 150 C. Mixing: cp by mass,
// specific volume by mass, conductivity by volume (parallel).
func (c Composition) At(t units.Celsius) (Properties, error) {
	if err := c.Check(); err != nil {
		return Properties{}, err
	}
	if err := within("food temperature", float64(t), 0, 150, "C"); err != nil {
		return Properties{}, err
	}
	return c.mix(float64(t), 0), nil
}

// mix computes the mixture with a mass fraction x of the water as ice.
func (c Composition) mix(t, x float64) Properties {
	var cp, volume, kv float64
	f := c.fractions()
	f[0] -= x
	for i := range components {
		m := &components[i]
		v := f[i] / poly(m.rho, t)
		heat := m.cp
		if i == 0 && t < 0 {
			heat = supercooledHeat
		}
		cp += f[i] * poly(heat, t)
		volume += v
		kv += v * poly(m.co, t)
	}
	if x > 0 {
		v := x / poly(ice.rho, t)
		cp += x * poly(ice.cp, t)
		volume += v
		kv += v * poly(ice.co, t)
	}
	rho, k := 1/volume, kv/volume
	return Properties{Density: units.Density(rho), SpecificHeat: cp * 1000, Conductivity: k, Diffusivity: k / (rho * cp * 1000), IceFraction: x}
}

// IceFraction returns the mass fraction of ice by Tchigeov's relation:
// x = 1.105·xw/(1 + 0.7138/ln(tf - t + 1)), for an initial freezing point tf of
// -5 to 0 C and t from -40 C; 0 at and above tf, never more than the water.
func (c Composition) IceFraction(t, freezing units.Celsius) (float64, error) {
	if err := c.Check(); err != nil {
		return 0, err
	}
	if err := checkFrozen(t, freezing); err != nil {
		return 0, err
	}
	x, _ := c.iceBy(IceTchigeov, float64(t), float64(freezing))
	return x, nil
}

// Frozen returns the properties below or above the initial freezing point. The
// specific heat is the apparent one: sensible plus the slope of the ice fraction
// times the heat of fusion at t. Tchigeov's ice; FoodTable offers the choice and
// the enthalpy that belongs to it. Range -40 to 150 C.
func (c Composition) Frozen(t, freezing units.Celsius) (Properties, error) {
	if err := c.Check(); err != nil {
		return Properties{}, err
	}
	if err := checkFrozen(t, freezing); err != nil {
		return Properties{}, err
	}
	tc, tf := float64(t), float64(freezing)
	x, slope := c.iceBy(IceTchigeov, tc, tf)
	p := c.mix(tc, x)
	if tc < tf {
		p.SpecificHeat -= slope * fusion(tc)
		p.Diffusivity = p.Conductivity / (float64(p.Density) * p.SpecificHeat)
	}
	return p, nil
}

// Enthalpy returns Chen's (1985) enthalpy relative to -40 C, J/kg; see ChenEnthalpy,
// which a loop should build once. Range -40 to 150 C, freezing point -5 to -0.05 C.
func (c Composition) Enthalpy(t, freezing units.Celsius) (float64, error) {
	if err := checkFrozen(t, freezing); err != nil {
		return 0, err
	}
	if err := within("freezing point", float64(freezing), -5, -0.05, "C"); err != nil {
		return 0, err
	}
	e, err := NewChenEnthalpy(c, freezing)
	if err != nil {
		return 0, err
	}
	return e.Enthalpy(t)
}

func checkFrozen(t, freezing units.Celsius) error {
	if err := within("food temperature", float64(t), -40, 150, "C"); err != nil {
		return err
	}
	return within("freezing point", float64(freezing), -5, 0, "C")
}
