package chill

import (
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// StillPot is a pot of unstirred stock left in air, on legs or a rack.
type StillPot struct {
	Mass         units.Mass
	SpecificHeat float64      // J/kg·K
	Wall         units.Area   // wetted wall and bottom
	Top          units.Area   // lid
	Height       units.Length // of the liquid, for natural convection
	// Film is the outer coefficient of moving air, W/m2·K, up to 100; 0 means still
	// air: natural convection and radiation, computed. Walk-ins with the fan on: 8
	// to 20 (from memory).
	Film float64
	// Inner film of the convecting stock, W/m2·K; 0 means 150 (100 to 300, weak).
	Inner float64
	// Emissivity of the outside, 0 to 1; 0 means 0.3, dull steel (from memory).
	Emissivity float64
	Start, Air units.Celsius
}

// Pot is the model of a StillPot. The outer film in still air is, for a vertical
// wall of height L and a difference dT in room air, the larger of 1.42·(dT/L)^0.25
// and 1.31·dT^(1/3) W/m2·K (Holman, simplified equations for air, from memory), plus
// radiation. It is integrated by RK4 in steps of at most two minutes. Create it
// with NewPot.
type Pot struct {
	p       StillPot
	t       float64
	elapsed time.Duration
}

// NewPot checks a pot and returns its model at time 0.
func NewPot(p StillPot) (*Pot, error) {
	if p.Inner == 0 {
		p.Inner = 150
	}
	if p.Emissivity == 0 {
		p.Emissivity = 0.3
	}
	if err := first(
		within("mass", float64(p.Mass), 0.01, 20000, "kg"),
		within("specific heat", p.SpecificHeat, 500, 5000, "J/kg K"),
		within("wall area", float64(p.Wall), 0.001, 100, "m2"),
		within("top area", float64(p.Top), 0, 100, "m2"),
		within("height", float64(p.Height), 0.01, 5, "m"),
		within("outer film", p.Film, 0, 100, "W/m2 K"),
		within("inner film", p.Inner, 10, 5000, "W/m2 K"),
		within("emissivity", p.Emissivity, 0, 1, ""),
		within("start temperature", float64(p.Start), 0, 105, "C"),
		within("air temperature", float64(p.Air), -45, 60, "C"),
	); err != nil {
		return nil, err
	}
	return &Pot{p: p, t: float64(p.Start)}, nil
}

// flow returns the heat leaving at a contents temperature, W. The outer wall is
// taken at the contents' temperature in the film law (its resistance dominates).
func (m *Pot) flow(t float64) float64 {
	d := t - float64(m.p.Air)
	h := m.p.Film
	if h == 0 {
		a := math.Abs(d)
		h = math.Max(1.42*math.Sqrt(math.Sqrt(a/float64(m.p.Height))), 1.31*math.Cbrt(a))
		tk, ak := t+273.15, float64(m.p.Air)+273.15
		h += m.p.Emissivity * 5.670374419e-8 * (tk*tk + ak*ak) * (tk + ak)
	}
	if h <= 0 {
		return 0
	}
	u := 1 / (1/h + 1/m.p.Inner)
	return u * float64(m.p.Wall+m.p.Top) * d
}

// State implements Model.
func (m *Pot) State() State {
	return State{
		Elapsed: m.elapsed, Core: units.Celsius(m.t), Mean: units.Celsius(m.t), Surroundings: m.p.Air,
		Heat: units.Power(m.flow(m.t)),
	}
}

// Step implements Model.
func (m *Pot) Step(dt time.Duration) (State, error) {
	if err := checkStep(dt); err != nil {
		return m.State(), err
	}
	m.elapsed += dt
	c := float64(m.p.Mass) * m.p.SpecificHeat
	n := math.Ceil(dt.Seconds() / 120)
	h := dt.Seconds() / math.Max(1, n)
	f := func(t float64) float64 { return -m.flow(t) / c }
	for range int(n) {
		k1 := f(m.t)
		k2 := f(m.t + h/2*k1)
		k3 := f(m.t + h/2*k2)
		k4 := f(m.t + h*k3)
		m.t += h / 6 * (k1 + 2*k2 + 2*k3 + k4)
	}
	return m.State(), nil
}

// Clone implements Model.
func (m *Pot) Clone() Model {
	c := *m
	return &c
}
