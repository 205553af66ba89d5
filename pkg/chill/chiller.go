package chill

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Pans are equal pans of one product in a chiller.
type Pans struct {
	Count int
	// Depth of the food; Area of one pan's free face.
	Depth units.Length
	Area  units.Area
	// OneFace: cooled from above only (on a solid shelf); otherwise both faces.
	OneFace bool
	Material
	// Film at the faces, W/m2·K: blast air 20 to 50 (from memory). 0 means PanFilm of the
	// air speed, m/s, along Length (0 means 0.53 m, a full pan).
	Film   float64
	Speed  float64
	Length units.Length
	// StillFactor multiplies the conductivity above GelBelow, 1 to 50; 0 means 1.
	StillFactor float64
	// GelBelow is the mean temperature at which the stock stops convecting.
	GelBelow units.Celsius
	Start    units.Celsius
}

// Blast is a blast chiller or a cold room with its load.
type Blast struct {
	// Air is the temperature the machine keeps while it can, -45 to 30 C.
	Air units.Celsius
	// Power the refrigeration takes away; 0 means unlimited. It is that at air of
	// RatedAt, and falls by the part Fall of it per K of colder air, 0 to 0.2 (0.03 is
	// usual, from memory); Fall 0 means that it does not.
	Power   units.Power
	RatedAt units.Celsius
	Fall    float64
	// Gain is heat of fans, walls and doors, which takes its share of the power; SetGain
	// changes it while a door is open.
	Gain  units.Power
	Loads []Pans
}

// cells of half a pan (both faces cooled) or a whole one.
const cells = 24

// pan is the finite-volume state of one group; cell 0 is the insulated end.
type pan struct {
	p     Pans
	t     [cells]float64
	u, w  [cells]float64 // of the last solve
	dx    float64
	faces float64
}

// Chiller is the model of a Blast: implicit Euler in steps of at most 10 s. Core is
// the warmest middle of all groups. With unlimited power it is a stack of pans for a
// ColdRoom. Create it with NewChiller.
type Chiller struct {
	air, power float64
	rated      float64 // C
	fall, gain float64 // W/K, W
	given      float64 // J since time 0
	actual     float64 // air temperature of the last step
	heat       float64
	pans       []pan
	elapsed    time.Duration
}

// NewChiller checks the machine and its load and returns the model at time 0.
func NewChiller(b Blast) (*Chiller, error) {
	if len(b.Loads) == 0 || len(b.Loads) > 200 {
		return nil, fmt.Errorf("a chiller needs 1 to 200 groups of pans, got %d", len(b.Loads))
	}
	if err := first(
		within("air temperature", float64(b.Air), -45, 30, "C"),
		within("refrigeration power", float64(b.Power), 0, 1e6, "W"),
		within("temperature of the rated power", float64(b.RatedAt), -45, 30, "C"),
		within("fall of the power", b.Fall, 0, 0.2, "1/K"),
		within("heat gain", float64(b.Gain), 0, 1e6, "W"),
	); err != nil {
		return nil, err
	}
	c := &Chiller{air: float64(b.Air), actual: float64(b.Air), power: float64(b.Power)}
	if c.power == 0 {
		c.power = math.Inf(1)
	} else {
		c.rated, c.fall, c.gain = float64(b.RatedAt), b.Fall*c.power, float64(b.Gain)
	}
	for i, p := range b.Loads {
		p, err := p.withFilm(b.Air)
		if err != nil {
			return nil, fmt.Errorf("pans %d: %w", i, err)
		}
		if err := first(
			within("count of pans", float64(p.Count), 1, 10000, ""),
			within("depth", float64(p.Depth), 1e-3, 1, "m"),
			within("pan area", float64(p.Area), 1e-3, 10, "m2"),
			p.Material.Check(),
			within("film coefficient", p.Film, 0.1, 1000, "W/m2 K"),
			within("still factor", p.StillFactor, 1, 50, ""),
			within("gel temperature", float64(p.GelBelow), -10, 60, "C"),
			within("start temperature", float64(p.Start), 0, 105, "C"),
		); err != nil {
			return nil, fmt.Errorf("pans %d: %w", i, err)
		}
		c.pans = append(c.pans, newPan(p))
	}
	return c, nil
}

// withFilm fills in the defaults and the film of the air speed.
func (p Pans) withFilm(air units.Celsius) (Pans, error) {
	if p.StillFactor == 0 {
		p.StillFactor = 1
	}
	if p.Film == 0 && p.Speed > 0 {
		if p.Length == 0 {
			p.Length = fullPan
		}
		film, err := PanFilm(p.Speed, p.Length, air)
		if err != nil {
			return Pans{}, err
		}
		p.Film = film
	}
	return p, nil
}

// fullPan is the length of a full-size food pan, m (EN 631-1, from memory).
const fullPan = 0.53

func newPan(p Pans) pan {
	n := pan{p: p, faces: 2, dx: float64(p.Depth) / 2 / cells}
	if p.OneFace {
		n.faces, n.dx = 1, float64(p.Depth)/cells
	}
	for i := range n.t {
		n.t[i] = float64(p.Start)
	}
	return n
}

func (n *pan) mean() float64 {
	s := 0.0
	for _, t := range n.t {
		s += t
	}
	return s / cells
}

// core extrapolates the parabola of the two inner cells to the insulated end.
func (n *pan) core() float64 { return n.t[0] - (n.t[1]-n.t[0])/8 }

func (n *pan) conductivity() float64 {
	if n.mean() > float64(n.p.GelBelow) {
		return n.p.Conductivity * n.p.StillFactor
	}
	return n.p.Conductivity
}

// solve makes one implicit step for two right sides: the old temperatures with
// air at 0, and no old temperatures with air at 1. By linearity the result for any
// air is u + w·air. It returns the face conductance, W/m2·K.
func (n *pan) solve(h float64) float64 {
	u, w := &n.u, &n.w
	k := n.conductivity()
	c := float64(n.p.Density) * n.p.SpecificHeat * n.dx / h
	g := k / n.dx
	face := n.face()
	var cp [cells]float64
	for i := range cells {
		diag, lower := c, 0.0
		if i > 0 {
			diag, lower = diag+g, -g
		}
		if i < cells-1 {
			diag += g
		} else {
			diag += face
		}
		ru, rw := c*n.t[i], 0.0
		if i == cells-1 {
			rw = face
		}
		if i > 0 {
			diag -= lower * cp[i-1]
			ru -= lower * u[i-1]
			rw -= lower * w[i-1]
		}
		cp[i] = -g / diag
		u[i], w[i] = ru/diag, rw/diag
	}
	for i := cells - 2; i >= 0; i-- {
		u[i] -= cp[i] * u[i+1]
		w[i] -= cp[i] * w[i+1]
	}
	return face
}

// face is the conductance between the outer cell and the air, W/m2·K.
func (n *pan) face() float64 { return 1 / (1/n.p.Film + n.dx/(2*n.conductivity())) }

// scale is area times faces times count, m2.
func (n *pan) scale() float64 { return n.faces * float64(n.p.Area) * float64(n.p.Count) }

// Step implements Model.
func (c *Chiller) Step(dt time.Duration) (State, error) {
	if err := checkStep(dt); err != nil {
		return c.State(), err
	}
	n := math.Ceil(dt.Seconds() / 10)
	for range int(n) {
		c.step(dt.Seconds() / n)
	}
	c.elapsed += dt
	return c.State(), nil
}

// step takes the air at its setting, and when the load gives off more than the
// machine takes away, the air at which both agree.
func (c *Chiller) step(h float64) {
	// Heat given off as a function of the air: q0 - q1·air.
	q0, q1 := 0.0, 0.0
	for i := range c.pans {
		p := &c.pans[i]
		face := p.solve(h)
		q0 += p.scale() * face * p.u[cells-1]
		q1 += p.scale() * face * (1 - p.w[cells-1])
	}
	air := c.air
	if q0-q1*air+c.gain > c.power+c.fall*(air-c.rated) {
		air = (q0 + c.gain - c.power + c.fall*c.rated) / (q1 + c.fall)
	}
	for i := range c.pans {
		p := &c.pans[i]
		for j := range p.t {
			p.t[j] = p.u[j] + p.w[j]*air
		}
	}
	c.actual, c.heat = air, q0-q1*air
	c.given += c.heat * h
}

// State implements Model.
func (c *Chiller) State() State {
	s := State{Elapsed: c.elapsed, Core: units.AbsoluteZero, Surroundings: units.Celsius(c.actual), Heat: c.HeatRate()}
	mass, sum := 0.0, 0.0
	for i := range c.pans {
		p := &c.pans[i]
		s.Core = max(s.Core, units.Celsius(p.core()))
		m := float64(p.p.Count) * float64(p.p.Area) * float64(p.p.Depth) * float64(p.p.Density) * p.p.SpecificHeat
		mass += m
		sum += m * p.mean()
	}
	s.Mean = units.Celsius(sum / mass)
	return s
}

// Group returns the state of one group of pans, in the order of Blast.Loads.
func (c *Chiller) Group(i int) (State, error) {
	if i < 0 || i >= len(c.pans) {
		return State{}, fmt.Errorf("pans %d: there are %d groups", i, len(c.pans))
	}
	p := &c.pans[i]
	return State{Elapsed: c.elapsed, Core: units.Celsius(p.core()), Mean: units.Celsius(p.mean()), Surroundings: units.Celsius(c.actual)}, nil
}

// SetAir changes the temperature setting, for doors, defrosts and nights.
func (c *Chiller) SetAir(air units.Celsius) error {
	if err := within("air temperature", float64(air), -45, 60, "C"); err != nil {
		return err
	}
	c.air = float64(air)
	return nil
}

// SetSurroundings implements Exchanger; it is SetAir.
func (c *Chiller) SetSurroundings(air units.Celsius) error {
	if err := c.SetAir(air); err != nil {
		return err
	}
	c.actual = c.air
	return nil
}

// SetGain changes the heat of fans, walls and doors, 0 to 1 MW, from now on. It has no
// effect on a machine of unlimited power.
func (c *Chiller) SetGain(gain units.Power) error {
	if err := within("heat gain", float64(gain), 0, 1e6, "W"); err != nil {
		return err
	}
	if !math.IsInf(c.power, 1) {
		c.gain = float64(gain)
	}
	return nil
}

// HeatRate is the heat that leaves the food into the present air.
func (c *Chiller) HeatRate() units.Power {
	q := 0.0
	for i := range c.pans {
		p := &c.pans[i]
		q += p.scale() * p.face() * (p.t[cells-1] - c.actual)
	}
	return units.Power(q)
}

// Given is the heat given off by the food since time 0.
func (c *Chiller) Given() units.Energy { return units.Energy(c.given) }

// Conductance of all faces, W/K.
func (c *Chiller) Conductance() float64 {
	g := 0.0
	for i := range c.pans {
		g += c.pans[i].scale() * c.pans[i].face()
	}
	return g
}

// Add puts more pans in; they share the machine from now on.
func (c *Chiller) Add(p Pans) error {
	if len(c.pans) >= 200 {
		return errors.New("a chiller holds at most 200 groups of pans")
	}
	one, err := NewChiller(Blast{Air: units.Celsius(math.Min(c.air, 30)), Loads: []Pans{p}})
	if err != nil {
		return err
	}
	c.pans = append(c.pans, one.pans[0])
	return nil
}

// Clone implements Model.
func (c *Chiller) Clone() Model {
	d := *c
	d.pans = append([]pan(nil), c.pans...)
	return &d
}
