package chill

import (
	"fmt"
	"time"

	"rondeau.internal/pkg/units"
)

// Shape of a conducting body.
type Shape uint8

// The shapes.
const (
	// Slab of Thickness, cooled on both faces, or on one when OneFace is set.
	Slab Shape = iota
	// LongCylinder of Diameter, ends ignored.
	LongCylinder
	// Sphere of Diameter.
	Sphere
	// FiniteCylinder of Diameter and Thickness (its height).
	FiniteCylinder
	// Brick of Thickness, Width and Length.
	Brick
)

func errShape(s Shape, why string) error { return fmt.Errorf("shape %d %s", s, why) }

// Body is a conducting body with one film coefficient all round.
type Body struct {
	Shape     Shape
	Thickness units.Length
	Diameter  units.Length
	Width     units.Length
	Length    units.Length
	// OneFace: the lower face of a Slab, FiniteCylinder or Brick gives off no heat
	// (a pan on a solid shelf), so that Thickness counts in full.
	OneFace bool
	Material
	// Film is the heat transfer coefficient at the surface, W/m2·K, 0.1 to 1e5.
	Film float64
	// StillFactor multiplies the conductivity for liquids that convect, 1 to 50; 0
	// means 1, the cautious value for gelled or thick stock. LayerFactor estimates it
	// for thin stock.
	StillFactor float64
	// Start of the food, Surroundings of the air or bath.
	Start, Surroundings units.Celsius
}

// Solid is the conduction model of a Body. Create it with NewSolid.
type Solid struct {
	axes    [3]axis
	count   int
	start   float64
	ambient float64
	heat    float64 // J per K of mean temperature; 0 for bodies of infinite extent
	elapsed time.Duration
}

// NewSolid checks a body and returns its model at time 0.
func NewSolid(b Body) (*Solid, error) {
	if b.StillFactor == 0 {
		b.StillFactor = 1
	}
	if err := first(
		b.Material.Check(),
		within("film coefficient", b.Film, 0.1, 1e5, "W/m2 K"),
		within("still factor", b.StillFactor, 1, 50, ""),
		foodTemperature("start temperature", b.Start),
		foodTemperature("surroundings", b.Surroundings),
	); err != nil {
		return nil, err
	}
	s := &Solid{start: float64(b.Start), ambient: float64(b.Surroundings)}
	rc := float64(b.Density) * b.SpecificHeat
	k := b.Conductivity * b.StillFactor
	add := func(kind axisKind, what string, full units.Length, half float64) error {
		if err := within(what, float64(full), 1e-4, 5, "m"); err != nil {
			return err
		}
		s.axes[s.count] = newAxis(kind, b.Film*half/k, k/(rc*half*half))
		s.count++
		return nil
	}
	thick := float64(b.Thickness) / 2
	if b.OneFace {
		thick = float64(b.Thickness)
	}
	t, d := float64(b.Thickness), float64(b.Diameter)
	var err error
	switch b.Shape {
	case Slab:
		err = add(slabAxis, "thickness", b.Thickness, thick)
	case LongCylinder:
		err = add(cylinderAxis, "diameter", b.Diameter, d/2)
	case Sphere:
		err = add(sphereAxis, "diameter", b.Diameter, d/2)
		s.heat = rc * sphereVolume * d * d * d
	case FiniteCylinder:
		err = first(add(slabAxis, "height", b.Thickness, thick), add(cylinderAxis, "diameter", b.Diameter, d/2))
		s.heat = rc * circleArea * d * d * t
	case Brick:
		err = first(add(slabAxis, "thickness", b.Thickness, thick), add(slabAxis, "width", b.Width, float64(b.Width)/2), add(slabAxis, "length", b.Length, float64(b.Length)/2))
		s.heat = rc * t * float64(b.Width) * float64(b.Length)
	default:
		err = errShape(b.Shape, "is unknown")
	}
	if err != nil {
		return nil, err
	}
	return s, nil
}

const (
	circleArea   = 0.7853981633974483 // pi/4
	sphereVolume = 0.5235987755982989 // pi/6
)

// Surface returns the temperature at the middle of the surface of the first
// axis (the face of a slab).
func (s *Solid) Surface() units.Celsius {
	_, _, edge := s.axes[0].at(s.elapsed.Seconds())
	for i := 1; i < s.count; i++ {
		core, _, _ := s.axes[i].at(s.elapsed.Seconds())
		edge *= core
	}
	return units.Celsius(s.ambient + edge*(s.start-s.ambient))
}

// State implements Model. Heat is 0 for a slab and a long cylinder, whose size is
// not given.
func (s *Solid) State() State {
	core, mean := s.theta(s.elapsed.Seconds())
	step := s.start - s.ambient
	st := State{
		Elapsed: s.elapsed, Core: units.Celsius(s.ambient + core*step), Mean: units.Celsius(s.ambient + mean*step),
		Surroundings: units.Celsius(s.ambient),
	}
	if s.heat > 0 {
		const dt = 1.0
		_, later := s.theta(s.elapsed.Seconds() + dt)
		st.Heat = units.Power(s.heat * (mean - later) * step / dt)
	}
	return st
}

func (s *Solid) theta(t float64) (core, mean float64) {
	core, mean = 1, 1
	for i := range s.count {
		c, m, _ := s.axes[i].at(t)
		core *= c
		mean *= m
	}
	return core, mean
}

// Step implements Model.
func (s *Solid) Step(dt time.Duration) (State, error) {
	if err := checkStep(dt); err != nil {
		return s.State(), err
	}
	s.elapsed += dt
	return s.State(), nil
}

// Clone implements Model.
func (s *Solid) Clone() Model {
	c := *s
	return &c
}
