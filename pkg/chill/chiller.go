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
	// Film at the faces, W/m2·K: blast air 20 to 50 (from memory).
	Film float64
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
	// Power the refrigeration takes away; 0 means unlimited.
	Power units.Power
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
// the warmest middle of all groups. Create it with NewChiller.
type Chiller struct {
	air, power float64
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
	); err != nil {
		return nil, err
	}
	c := &Chiller{air: float64(b.Air), actual: float64(b.Air), power: float64(b.Power)}
	if c.power == 0 {
		c.power = math.Inf(1)
	}
	for i, p := range b.Loads {
		if p.StillFactor == 0 {
			p.StillFactor = 1
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
	face := 1 / (1/n.p.Film + n.dx/(2*k))
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
	if q0-q1*air > c.power {
		air = (q0 - c.power) / q1
	}
	for i := range c.pans {
		p := &c.pans[i]
		for j := range p.t {
			p.t[j] = p.u[j] + p.w[j]*air
		}
	}
	c.actual, c.heat = air, q0-q1*air
}

// State implements Model.
func (c *Chiller) State() State {
	s := State{Elapsed: c.elapsed, Core: units.AbsoluteZero, Surroundings: units.Celsius(c.actual), Heat: units.Power(c.heat)}
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
