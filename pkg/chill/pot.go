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
	Top          units.Area   // lid or free surface; 0 means none
	Height       units.Length // of the liquid, for natural convection
	// Film is the outer coefficient of moving air, W/m2·K, up to 100; 0 means still
	// air: natural convection and radiation, computed. PotFilm gives it from the air
	// speed. Walk-ins with the fan on: 8 to 20 (from memory).
	Film float64
	// Inner film of the convecting stock, W/m2·K; 0 means StillFilm at the temperature
	// of the wall, for stock as thin as water.
	Inner float64
	// Emissivity of the outside, 0 to 1; 0 means 0.3, dull steel (from memory).
	Emissivity float64
	// GelBelow is the temperature at which the stock sets, 0 to 150 C; 0 means that it
	// never does, 150 that it never convects (a thick sauce). Once the inside of the wall
	// is that cold, the whole pot is taken to conduct only, which is cautious while its
	// middle is still liquid.
	GelBelow units.Celsius
	// Conductivity of the set stock, W/m·K; 0 means 0.6.
	Conductivity float64
	Start, Air   units.Celsius
}

// CylinderPot returns the mass, wetted area, free surface and height of a filling in
// a straight pot, ready for the other fields. Diameter 0.05 to 3 m, filling 0.01 to 5 m,
// density 500 to 2000 kg/m3.
func CylinderPot(diameter, filling units.Length, density units.Density) (StillPot, error) {
	if err := first(
		within("pot diameter", float64(diameter), 0.05, 3, "m"),
		within("filling height", float64(filling), 0.01, 5, "m"),
		within("density", float64(density), 500, 2000, "kg/m3"),
	); err != nil {
		return StillPot{}, err
	}
	d, h := float64(diameter), float64(filling)
	bottom := circleArea * d * d
	return StillPot{
		Mass: units.Mass(bottom * h * float64(density)), Wall: units.Area(bottom + math.Pi*d*h), Top: units.Area(bottom),
		Height: filling, SpecificHeat: 4060,
	}, nil
}

// Pot is the model of a StillPot: one temperature behind an inner film of natural
// convection (StillFilm) and an outer one, either given or natural convection in air
// plus radiation, both at the temperature of the wall
// that they lead to (AirFilm); integrated by RK4 in steps of at most two minutes. Set stock is a
// cylinder that conducts, in finite volumes (12 radii by 18 heights). Create it with
// NewPot.
//
// The convecting pot is taken at one temperature. A tall one is warmer at the top, by
// a few degrees, than this says: see CautionStratified.
type Pot struct {
	p        StillPot
	t        float64
	wall     float64 // of the inside at the last look
	heat     float64 // W, at t and the present air
	given    float64 // J since time 0
	gelled   bool
	gel      cylinder
	elapsed  time.Duration
	capacity float64
	film     *AirFilm // of still air; immutable
}

// NewPot checks a pot and returns its model at time 0.
func NewPot(p StillPot) (*Pot, error) {
	if p.Emissivity == 0 {
		p.Emissivity = 0.3
	}
	if p.Conductivity == 0 {
		p.Conductivity = 0.6
	}
	inner := p.Inner
	if inner == 0 {
		inner = 100
	}
	if err := first(
		within("mass", float64(p.Mass), 0.01, 20000, "kg"),
		within("specific heat", p.SpecificHeat, 500, 5000, "J/kg K"),
		within("wall area", float64(p.Wall), 0.001, 100, "m2"),
		within("top area", float64(p.Top), 0, 100, "m2"),
		within("height", float64(p.Height), 0.01, 5, "m"),
		within("outer film", p.Film, 0, 100, "W/m2 K"),
		within("inner film", inner, 10, 5000, "W/m2 K"),
		within("emissivity", p.Emissivity, 0, 1, ""),
		within("gel temperature", float64(p.GelBelow), 0, 150, "C"),
		within("conductivity", p.Conductivity, 0.05, 5, "W/m K"),
		within("start temperature", float64(p.Start), 0, 105, "C"),
		within("air temperature", float64(p.Air), -45, 60, "C"),
	); err != nil {
		return nil, err
	}
	m := &Pot{p: p, t: float64(p.Start), wall: float64(p.Start), capacity: float64(p.Mass) * p.SpecificHeat}
	if p.Film == 0 {
		film, err := NewAirFilm(AirSetting{Orientation: Vertical, Length: p.Height, Emissivity: p.Emissivity})
		if err != nil {
			return nil, err
		}
		m.film = film
	}
	if p.GelBelow > 0 {
		// Thinner ones have no use and would need very small steps.
		if err := within("height of stock that sets", float64(p.Height), 0.03, 5, "m"); err != nil {
			return nil, err
		}
		if err := m.gel.shape(p); err != nil {
			return nil, err
		}
	}
	m.flow(m.t)
	m.set()
	return m, nil
}

// outer film at a wall temperature, W/m2·K.
func (m *Pot) outer(wall float64) float64 {
	if m.p.Film > 0 {
		return m.p.Film
	}
	return m.film.at(wall, float64(m.p.Air))
}

// inner film between contents and wall, W/m2·K.
func (m *Pot) inner(t, wall float64) float64 {
	if m.p.Inner > 0 {
		return m.p.Inner
	}
	return natural((t+wall)/2, float64(m.p.Height), t-wall, verticalNusselt)
}

// flow returns the heat leaving at a contents temperature, W, and keeps the wall
// temperature that goes with it. The wall follows closely, since its inner film is
// far better than the outer one: a few rounds settle it.
func (m *Pot) flow(t float64) float64 {
	air := float64(m.p.Air)
	var u float64
	wall := m.wall
	for range 30 {
		ho, hi := m.outer(wall), m.inner(t, wall)
		next := (ho*air + hi*t) / (ho + hi)
		u = ho * hi / (ho + hi)
		done := math.Abs(next-wall) < 1e-7
		wall = next
		if done || m.p.Film > 0 && m.p.Inner > 0 {
			break
		}
	}
	m.wall = wall
	m.heat = u * float64(m.p.Wall+m.p.Top) * (t - air)
	return m.heat
}

// set turns a convecting pot into a set one when its wall has reached the gel point.
func (m *Pot) set() {
	if !m.gelled && m.p.GelBelow > 0 && m.wall <= float64(m.p.GelBelow) {
		m.gelled = true
		m.gel.fill(m.t)
	}
}

// Gelled tells whether the stock is taken to have set.
func (m *Pot) Gelled() bool { return m.gelled }

// State implements Model.
func (m *Pot) State() State {
	s := State{Elapsed: m.elapsed, Core: units.Celsius(m.t), Mean: units.Celsius(m.t), Surroundings: m.p.Air, Heat: m.HeatRate()}
	if m.gelled {
		s.Core, s.Mean = units.Celsius(m.gel.core()), units.Celsius(m.gel.mean())
	}
	return s
}

// HeatRate is the heat that leaves now.
func (m *Pot) HeatRate() units.Power {
	if m.gelled {
		return units.Power(m.gel.loss(m.outer(m.gel.skin()), float64(m.p.Air)))
	}
	return units.Power(m.heat)
}

// Given is the heat given off since time 0.
func (m *Pot) Given() units.Energy { return units.Energy(m.given) }

// Conductance is the change of HeatRate per K of the air, about.
func (m *Pot) Conductance() float64 {
	area := float64(m.p.Wall + m.p.Top)
	if m.gelled {
		return m.gel.conductance(m.outer(m.gel.skin()))
	}
	d := m.t - float64(m.p.Air)
	if math.Abs(d) < 1e-3 {
		ho, hi := m.outer(m.t-0.01), m.inner(m.t, m.t-0.01)
		return area * ho * hi / (ho + hi)
	}
	return math.Max(0, m.heat/d)
}

// SetSurroundings implements Exchanger: the temperature of the air from now on, -45
// to 60 C.
func (m *Pot) SetSurroundings(air units.Celsius) error {
	if err := within("air temperature", float64(air), -45, 60, "C"); err != nil {
		return err
	}
	m.p.Air = air
	if !m.gelled {
		m.flow(m.t)
	}
	return nil
}

// Step implements Model.
func (m *Pot) Step(dt time.Duration) (State, error) {
	if err := checkStep(dt); err != nil {
		return m.State(), err
	}
	m.elapsed += dt
	left := dt.Seconds()
	for left > 1e-9 && !m.gelled {
		n := math.Ceil(left / 120)
		h := left / n
		before := m.t
		if rate := m.Conductance() / m.capacity; rate*h <= 0.5 {
			m.rk4(h)
		} else { // a thimble in a gale: exact at its present coefficient
			h = math.Min(h, math.Max(1, 0.1/rate))
			m.t += (float64(m.p.Air) - m.t) * -math.Expm1(-rate*h)
		}
		m.given += m.capacity * (before - m.t)
		left -= h
		m.flow(m.t)
		m.set()
	}
	if left > 1e-9 {
		m.given += m.gel.advance(left, m)
	}
	return m.State(), nil
}

func (m *Pot) rk4(h float64) {
	f := func(t float64) float64 { return -m.flow(t) / m.capacity }
	k1 := f(m.t)
	k2 := f(m.t + h/2*k1)
	k3 := f(m.t + h/2*k2)
	k4 := f(m.t + h*k3)
	m.t += h / 6 * (k1 + 2*k2 + 2*k3 + k4)
}

// Clone implements Model.
func (m *Pot) Clone() Model {
	c := *m
	return &c
}
