package chill

import (
	"math"
	"time"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// Vat describes a stirred vessel against a jacket, coil or bath:
//
//	m·cp·dT/dt = F·(Tj - T) + Uo·Ao·(Troom - T)
//
// F = U·A for a medium of constant temperature, or the heat capacity flow of the
// coolant times 1 - exp(-U·A/flow) when Flow is given.
type Vat struct {
	Mass         units.Mass
	SpecificHeat float64    // J/kg·K
	Coefficient  float64    // U, W/m2·K, 1 to 1e4
	Area         units.Area // jacket or coil, 0.001 to 100 m2
	Flow         float64    // coolant, kg/s of water; 0 means no rise along the jacket
	Jacket       units.Celsius
	Loss         float64 // Uo·Ao, W/K, 0 to 1000
	Room         units.Celsius
	Start        units.Celsius
}

// Stirred is the model of a Vat: exact exponential. Create it with NewStirred.
type Stirred struct {
	start, end, rate float64
	capacity, drive  float64
	jacket           float64
	elapsed          time.Duration
}

// NewStirred checks a vat and returns its model at time 0.
func NewStirred(v Vat) (*Stirred, error) {
	if err := first(
		within("mass", float64(v.Mass), 0.01, 20000, "kg"),
		within("specific heat", v.SpecificHeat, 500, 5000, "J/kg K"),
		within("heat transfer coefficient", v.Coefficient, 1, 1e4, "W/m2 K"),
		within("jacket area", float64(v.Area), 0.001, 100, "m2"),
		within("coolant flow", v.Flow, 0, 100, "kg/s"),
		within("loss", v.Loss, 0, 1000, "W/K"),
		foodTemperature("jacket temperature", v.Jacket),
		foodTemperature("room temperature", v.Room),
		foodTemperature("start temperature", v.Start),
	); err != nil {
		return nil, err
	}
	f := v.Coefficient * float64(v.Area)
	if v.Flow > 0 {
		c := v.Flow * thermo.SpecificHeatWater
		f = -c * math.Expm1(-f/c)
	}
	s := &Stirred{start: float64(v.Start), jacket: float64(v.Jacket), drive: f}
	s.capacity = float64(v.Mass) * v.SpecificHeat
	s.rate = (f + v.Loss) / s.capacity
	s.end = (f*float64(v.Jacket) + v.Loss*float64(v.Room)) / (f + v.Loss)
	return s, nil
}

// State implements Model.
func (s *Stirred) State() State {
	t := s.end + (s.start-s.end)*math.Exp(-s.rate*s.elapsed.Seconds())
	return State{
		Elapsed: s.elapsed, Core: units.Celsius(t), Mean: units.Celsius(t), Surroundings: units.Celsius(s.jacket),
		Heat: units.Power(s.capacity * s.rate * (t - s.end)),
	}
}

// Step implements Model.
func (s *Stirred) Step(dt time.Duration) (State, error) {
	if err := checkStep(dt); err != nil {
		return s.State(), err
	}
	s.elapsed += dt
	return s.State(), nil
}

// Clone implements Model.
func (s *Stirred) Clone() Model {
	c := *s
	return &c
}

// Bath is a stirred vessel in an ice bath (or with an ice paddle in it, Water 0).
type Bath struct {
	Mass         units.Mass
	SpecificHeat float64    // J/kg·K
	Coefficient  float64    // U between stock and bath, W/m2·K, 1 to 1e4
	Area         units.Area // wetted on both sides
	Start        units.Celsius
	Ice          units.Mass    // at 0 C
	Water        units.Mass    // bath water at the start
	WaterStart   units.Celsius // its temperature
}

// IceBath is the model of a Bath. While there is ice the bath is at 0 C and T = T0·
// exp(-k·t); afterwards stock and bath are two bodies that exchange heat. Create it
// with NewIceBath.
type IceBath struct {
	capacity, water float64 // J/K, J/K
	ua              float64
	stock, bath     float64 // C
	ice             float64 // kg
	elapsed         time.Duration
}

// NewIceBath checks a bath, lets its water and ice come to terms, and returns its
// model at time 0.
func NewIceBath(b Bath) (*IceBath, error) {
	if err := first(
		within("mass", float64(b.Mass), 0.01, 20000, "kg"),
		within("specific heat", b.SpecificHeat, 500, 5000, "J/kg K"),
		within("heat transfer coefficient", b.Coefficient, 1, 1e4, "W/m2 K"),
		within("area", float64(b.Area), 0.001, 100, "m2"),
		within("start temperature", float64(b.Start), 0, 105, "C"),
		within("ice", float64(b.Ice), 0, 50000, "kg"),
		within("bath water", float64(b.Water), 0, 50000, "kg"),
		within("bath water temperature", float64(b.WaterStart), 0, 100, "C"),
		within("ice and water", float64(b.Ice+b.Water), 0.01, 1e5, "kg"),
	); err != nil {
		return nil, err
	}
	m := &IceBath{
		capacity: float64(b.Mass) * b.SpecificHeat, ua: b.Coefficient * float64(b.Area),
		stock: float64(b.Start), ice: float64(b.Ice), water: float64(b.Water) * thermo.SpecificHeatWater,
	}
	heat := m.water * float64(b.WaterStart)
	melted := math.Min(m.ice, heat/thermo.LatentHeatFusion)
	heat -= melted * thermo.LatentHeatFusion
	m.ice -= melted
	m.water += melted * thermo.SpecificHeatWater
	if m.water > 0 {
		m.bath = heat / m.water
	}
	return m, nil
}

// State implements Model.
func (m *IceBath) State() State {
	return State{
		Elapsed: m.elapsed, Core: units.Celsius(m.stock), Mean: units.Celsius(m.stock), Surroundings: units.Celsius(m.bath),
		Heat: units.Power(m.ua * (m.stock - m.bath)), Ice: units.Mass(m.ice),
	}
}

// Step implements Model.
func (m *IceBath) Step(dt time.Duration) (State, error) {
	if err := checkStep(dt); err != nil {
		return m.State(), err
	}
	m.elapsed += dt
	left := dt.Seconds()
	if m.ice > 0 && m.stock > 0 {
		k := m.ua / m.capacity
		// The ice lasts until the stock has given off its heat of fusion.
		span := left
		if drop := m.ice * thermo.LatentHeatFusion / (m.capacity * m.stock); drop < 1 {
			span = math.Min(left, -math.Log1p(-drop)/k)
		}
		next := m.stock * math.Exp(-k*span)
		used := math.Min(m.ice, m.capacity*(m.stock-next)/thermo.LatentHeatFusion)
		if span < left {
			used = m.ice
		}
		m.ice -= used
		m.water += used * thermo.SpecificHeatWater
		m.stock, left = next, left-span
	}
	if left > 0 && m.ice == 0 && m.water > 0 {
		end := (m.capacity*m.stock + m.water*m.bath) / (m.capacity + m.water)
		f := math.Exp(-m.ua * (1/m.capacity + 1/m.water) * left)
		m.stock, m.bath = end+(m.stock-end)*f, end+(m.bath-end)*f
	}
	return m.State(), nil
}

// Clone implements Model.
func (m *IceBath) Clone() Model {
	c := *m
	return &c
}

// IceByHeat returns the ice, ideally, that takes a mass from one temperature to
// another and ends as melt water at a temperature: m·cp·dT/(334 kJ/kg + cw·Tmelt). No
// losses to the room; add a fifth to a third in practice (common practice, no source).
func IceByHeat(mass units.Mass, specificHeat float64, from, to, melt units.Celsius) (units.Mass, error) {
	if err := first(
		within("mass", float64(mass), 0, 20000, "kg"),
		within("specific heat", specificHeat, 500, 5000, "J/kg K"),
		within("start temperature", float64(from), 0, 105, "C"),
		within("end temperature", float64(to), 0, float64(from), "C"),
		within("melt water temperature", float64(melt), 0, float64(to), "C"),
	); err != nil {
		return 0, err
	}
	heat := float64(mass) * specificHeat * float64(from-to)
	return units.Mass(heat / (thermo.LatentHeatFusion + thermo.SpecificHeatWater*float64(melt))), nil
}
