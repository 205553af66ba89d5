package thermo

import (
	"fmt"
	"math"

	"rondeau.internal/pkg/units"
)

// IceModel is a relation between temperature and ice below the freezing point.
type IceModel uint8

const (
	// IceMiles is x = (xw - xb)·(1 - tf/t), Miles 1974; Chen 1985 and the ideal dilute
	// solution of Schwartzberg 1976 give the same. xb is the bound water. The zero value.
	IceMiles IceModel = iota
	// IceTchigeov is x = 1.105·xw/(1 + 0.7138/ln(tf - t + 1)), never more than xw.
	IceTchigeov
)

// String returns "Miles" or "Tchigeov".
func (m IceModel) String() string {
	switch m {
	case IceMiles:
		return "Miles"
	case IceTchigeov:
		return "Tchigeov"
	default:
		return fmt.Sprintf("IceModel(%d)", uint8(m))
	}
}

// BoundWater returns the mass fraction of water that does not freeze, 0.4 of the
// protein (Schwartzberg 1976, as printed in the ASHRAE Handbook, Refrigeration),
// never more than the water. A composition that does not add up is an error.
func (c Composition) BoundWater() (float64, error) {
	if err := c.Check(); err != nil {
		return 0, err
	}
	return c.bound(), nil
}

func (c Composition) bound() float64 { return math.Min(0.4*c.Protein, c.Water) }

// FreezingPoint estimates the initial freezing point: Pham 1996,
// tf = -4.66·xo/xw - 46.4·xa/xw, with ash xa and the other dissolved solids xo (protein,
// carbohydrate, fibre; we leave fat out, which does not dissolve). A fit to meat, fish,
// fruit and cheese, about 0.4 K. For a salted stock measure, or use
// SolutionFreezingPoint. The composition must have water, and the result must be
// -20 C or above.
func (c Composition) FreezingPoint() (units.Celsius, error) {
	if err := c.Check(); err != nil {
		return 0, err
	}
	if c.Water < 0.05 {
		return 0, fmt.Errorf("water fraction %g is below 0.05: too dry to freeze", c.Water)
	}
	t := -(4.66*(c.Protein+c.Carbohydrate+c.Fibre) + 46.4*c.Ash) / c.Water
	if t < -20 {
		return 0, fmt.Errorf("estimated freezing point %g C is below -20 C, outside the fit: measure it", t)
	}
	return units.Celsius(t), nil
}

// FreezingPointByWater estimates the initial freezing point of a class of food from
// its water alone (Chang and Tao 1981, as reproduced in open food-engineering code):
// meat and fish 271.18 + 1.47·xw, fruit and vegetables 287.56 - 49.19·xw + 37.07·xw²,
// juices 120.47 + 327.35·xw - 176.49·xw², in kelvins. Range xw 0.5 to 0.97, and a result
// at or below 0 C.
func FreezingPointByWater(class FoodClass, water float64) (units.Celsius, error) {
	if err := within("water fraction", water, 0.5, 0.97, ""); err != nil {
		return 0, err
	}
	var k float64
	switch class {
	case Meat:
		k = 271.18 + 1.47*water
	case FruitVegetable:
		k = 287.56 - 49.19*water + 37.07*water*water
	case Juice:
		k = 120.47 + 327.35*water - 176.49*water*water
	default:
		return 0, fmt.Errorf("food class %d is unknown: want Meat, FruitVegetable or Juice", class)
	}
	if k > 273.15 {
		return 0, fmt.Errorf("the fit gives %g C for water fraction %g: above 0 C, outside its data", k-273.15, water)
	}
	return units.Kelvin(k).Celsius(), nil
}

// FoodClass chooses a fit of FreezingPointByWater.
type FoodClass uint8

// The classes with a published fit.
const (
	Meat FoodClass = iota + 1
	FruitVegetable
	Juice
)

// EffectiveMolarMass returns the molar mass in kg/mol of an ideal solute that would
// make the solids depress the freezing point to tf (-20 to -0.01 C): Schwartzberg 1976,
// M = xs·R·T0²/((xw - xb)·L0·(-tf)).
func (c Composition) EffectiveMolarMass(freezing units.Celsius) (float64, error) {
	if err := c.Check(); err != nil {
		return 0, err
	}
	if err := within("freezing point", float64(freezing), -20, -0.01, "C"); err != nil {
		return 0, err
	}
	free := c.Water - c.bound()
	if !(free > 1e-6) || !(c.Solids() > 0) {
		return 0, fmt.Errorf("composition has free water %g and solids %g: both must be above 0", free, c.Solids())
	}
	return c.Solids() * gasConstant * 273.15 * 273.15 / (free * LatentHeatFusion * -float64(freezing)), nil
}

// IceFractionBy returns the mass fraction of ice by a model, freezing point -15 to
// -0.01 C, t from -45 to 150 C; 0 at and above the freezing point.
func (c Composition) IceFractionBy(m IceModel, t, freezing units.Celsius) (float64, error) {
	if err := c.Check(); err != nil {
		return 0, err
	}
	if err := within("food temperature", float64(t), tableLow, tableHigh, "C"); err != nil {
		return 0, err
	}
	if err := within("freezing point", float64(freezing), -15, -0.01, "C"); err != nil {
		return 0, err
	}
	if m > IceTchigeov {
		return 0, fmt.Errorf("ice model %d is unknown: want IceMiles or IceTchigeov", m)
	}
	x, _ := c.iceBy(m, float64(t), float64(freezing))
	return x, nil
}

// iceBy returns the ice fraction and its slope in t, 1/K.
func (c Composition) iceBy(m IceModel, t, tf float64) (x, slope float64) {
	if t >= tf {
		return 0, 0
	}
	if m == IceTchigeov {
		u := tf - t + 1
		l := math.Log(u)
		d := l + 0.7138
		x = 1.105 * c.Water * l / d
		if x >= c.Water {
			return c.Water, 0
		}
		return x, -1.105 * c.Water * 0.7138 / (d * d * u)
	}
	free := c.Water - c.bound()
	return free * (1 - tf/t), free * tf / (t * t)
}

// fusion is the heat of fusion at t at or below 0 C, J/kg.
func fusion(t float64) float64 {
	return LatentHeatFusion + 1000*(integral(supercooledHeat, t)-integral(ice.cp, t))
}

// integral of a polynomial from 0 to t.
func integral(p [3]float64, t float64) float64 { return t * (p[0] + t*(p[1]/2+t*p[2]/3)) }

// ChenEnthalpy is Chen's (1985) enthalpy in closed form, both ways, for one food:
// below the freezing point H = (t - tr)·[1.55 + 1.26·xs - (xw - xb)·L0·tf/(tr·t)], above
// H(tf) + (t - tf)·(4.19 - 2.30·xs - 0.628·xs³), kJ/kg, tr = -40 C, L0 = 333.6. The
// slope is Chen's apparent specific heat, 1.55 + 1.26·xs - (xw - xb)·L0·tf/t². Build
// it with NewChenEnthalpy; the methods do not allocate.
type ChenEnthalpy struct {
	solid, unfrozen float64 // J/kg·K
	latent          float64 // -(xw - xb)·L0·tf, J·K/kg
	tf, hf, hi      float64 // C; J/kg at tf and at 150 C
}

// NewChenEnthalpy prepares a food with a freezing point of -15 to -0.01 C.
func NewChenEnthalpy(c Composition, freezing units.Celsius) (ChenEnthalpy, error) {
	if err := c.Check(); err != nil {
		return ChenEnthalpy{}, err
	}
	if err := within("freezing point", float64(freezing), -15, -0.01, "C"); err != nil {
		return ChenEnthalpy{}, err
	}
	xs := c.Solids()
	e := ChenEnthalpy{
		solid:    1000 * (1.55 + 1.26*xs),
		unfrozen: 1000 * (4.19 - 2.30*xs - 0.628*xs*xs*xs),
		latent:   -(c.Water - c.bound()) * 333.6e3 * float64(freezing),
		tf:       float64(freezing),
	}
	e.hf = e.frozen(e.tf)
	e.hi = e.hf + (150-e.tf)*e.unfrozen
	return e, nil
}

func (e *ChenEnthalpy) ready() error {
	if e.unfrozen <= 0 {
		return fmt.Errorf("enthalpy model is not set: build it with NewChenEnthalpy")
	}
	return nil
}

// frozen is the enthalpy below tf: a·(t - tr) + m·(1/tr - 1/t).
func (e *ChenEnthalpy) frozen(t float64) float64 {
	return e.solid*(t+40) + e.latent*(1/-40.0-1/t)
}

// Enthalpy returns J/kg relative to -40 C, -40 to 150 C.
func (e *ChenEnthalpy) Enthalpy(t units.Celsius) (float64, error) {
	if err := e.ready(); err != nil {
		return 0, err
	}
	if err := within("food temperature", float64(t), -40, 150, "C"); err != nil {
		return 0, err
	}
	if float64(t) < e.tf {
		return e.frozen(float64(t)), nil
	}
	return e.hf + (float64(t)-e.tf)*e.unfrozen, nil
}

// SpecificHeat returns the apparent specific heat, J/kg·K, -40 to 150 C.
func (e *ChenEnthalpy) SpecificHeat(t units.Celsius) (float64, error) {
	if err := e.ready(); err != nil {
		return 0, err
	}
	if err := within("food temperature", float64(t), -40, 150, "C"); err != nil {
		return 0, err
	}
	if tc := float64(t); tc < e.tf {
		return e.solid + e.latent/(tc*tc), nil
	}
	return e.unfrozen, nil
}

// Temperature returns the temperature of an enthalpy from 0 J/kg (-40 C) to that of
// 150 C: the root of a·t² - (a·tr + H - m/tr)·t - m = 0 below the freezing point.
func (e *ChenEnthalpy) Temperature(enthalpy float64) (units.Celsius, error) {
	if err := e.ready(); err != nil {
		return 0, err
	}
	if err := within("enthalpy", enthalpy, 0, e.hi, "J/kg"); err != nil {
		return 0, err
	}
	if enthalpy >= e.hf {
		return units.Celsius(e.tf + (enthalpy-e.hf)/e.unfrozen), nil
	}
	b := e.solid*40 - e.latent/40 - enthalpy
	root := math.Sqrt(b*b + 4*e.solid*e.latent)
	// The negative root of a·t² + b·t - m, in the form that does not cancel.
	var t float64
	if b >= 0 {
		t = -(b + root) / (2 * e.solid)
	} else {
		t = 2 * e.latent / (b - root)
	}
	return units.Celsius(math.Max(math.Min(t, e.tf), -40)), nil
}
