package chill

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Piece is a body of food for the numerical conduction model: a pan, a bag, a tub or
// a block, which may freeze, thaw, gel and meet changing surroundings.
type Piece struct {
	Shape Shape
	// Sizes as in Body, 1e-3 to 3 m.
	Thickness, Diameter, Width, Length units.Length
	// Area of one face of a Slab, 1e-3 to 100 m2; 0 means 1 m2. A LongCylinder without Length
	// is 1 m long. Count of equal pieces, 0 means 1: heat and mass are those of all.
	Area  units.Area
	Count int
	// OneFace: the lower face of a Slab, FiniteCylinder or Brick gives off no heat.
	OneFace bool

	Substance *Substance
	// Upper is the upper face of a Slab and the whole surface of other shapes. Lower is the
	// lower face of a Slab; left empty it is as Upper (or closed with OneFace).
	Upper, Lower Face
	// StillFactor multiplies the conductivity of unfrozen food while its mean is above
	// GelBelow, 1 to 50, 0 means 1; it fades over gelFade kelvins around GelBelow (-10 to 60 C).
	StillFactor float64
	GelBelow    units.Celsius

	Start        units.Celsius // -60 to 150 C throughout
	Surroundings units.Celsius // -60 to 150 C
	// Course gives the surroundings over time when they change; it must be pure. Outside
	// -60 to 150 C it is an error of Step.
	Course func(elapsed time.Duration) units.Celsius

	// Cells from the middle to the face, or from face to face of a Slab whose faces
	// differ, 8 to 512; 0 means 32 and 64. Along each axis of a FiniteCylinder 8 to 64, of a
	// Brick 8 to 24; 0 means 24 and 12; a day takes a tenth of a second and half a second,
	// core and mean are then within about 0.15 K.
	Cells int
	// Tolerance of the error estimate of one time step, K, 1e-6 to 1; 0 means 0.05 (results then within 0.01 K of a fine one).
	Tolerance float64
}

var errNotFreezing = errors.New("the substance does not freeze: take it from FoodSubstance or PhaseSubstance")

// gelFade is the width over which gelling ends convection, K of mean temperature (no
// source: a step in time would be no better known and harder to integrate).
const gelFade = 2.0

// Conduction is the numerical model of a Piece: enthalpy in finite volumes, flux by
// the Kirchhoff integral, and in time the W-method ROS2 (Verwer, Spee, Blom and Hundsdorfer
// 1999, also in Hundsdorfer and Verwer, Numerical Solution of Time-Dependent
// Advection-Diffusion-Reaction Equations, 2003; from memory) with steps that follow an error
// estimate. It is of second order whatever the matrix of its linear systems, so that those
// of a body of two or three axes are solved axis by axis. Temperature is always read back
// from the enthalpy that the fluxes left (the enthalpy correction of Pham 1985), so that heat
// is kept to rounding however large the step and however steep the plateau.
//
// A finite cylinder is solved in height and radius, a brick in its three axes, an eighth of
// it: the product solution (see Solid) does not hold with ice, and one-dimensional bodies of
// an equivalent dimension miss either the core or the heat by several kelvins.
//
// Create it with NewConduction.
type Conduction struct {
	substance *Substance
	course    func(time.Duration) units.Celsius
	faces     [2]boundary // 0 the lower face of a slab whose faces differ, 1 all others
	axes      []axisGrid
	n         int
	still     float64
	gel       float64
	tolerance float64
	total     float64 // kg in the model
	scale     float64 // pieces over the model: mirror images and count
	fixed     float64 // s, tests of order only

	mem  []float64 // backing of the rest, so that a clone is one copy
	h    []float64 // enthalpy, J/kg
	m    []float64 // mass, kg
	work scratch

	ambient float64
	elapsed time.Duration
	next    float64 // s, proposed step
	given   float64 // J given off by the model since the start
	gave    float64 // in the step tried last
	steps   int
}

// axisGrid is one direction of the grid. The balance of a cell is the sum over the axes
// of the one-dimensional balance along each, so that only these are needed.
type axisGrid struct {
	n, stride int
	dx        float64
	twoFaced  bool      // open at both ends; otherwise cell 0 is the middle
	volume    []float64 // of the cells along the axis alone: m, m2 or m3
	inverse   []float64 // 1 over density and volume
	link      []float64 // area over distance to the next cell, in the same measure
	end       float64   // area of the outer face

	up, pivot, low []float64 // factored systems of all lines
	edge           []float64 // slope of the face flux over phi, twice a line; 0 where closed
}

// scratch of one step; held is the slope of the first stage, back the state before Step.
type scratch struct{ phi, s, held, f, k1, k2, try, back []float64 }

// boundary is a face in the form the solver needs.
type boundary struct {
	open   bool
	film   float64
	air    *AirFilm
	layers float64 // m2·K/W
	outer  float64 // last difference of the outer surface to the air, K
}

// NewConduction checks a piece and returns its model at time 0.
func NewConduction(p Piece) (*Conduction, error) {
	if p.Substance == nil {
		return nil, errors.New("a piece needs a substance: take it from FoodSubstance, PhaseSubstance or ConstantSubstance")
	}
	if p.StillFactor == 0 {
		p.StillFactor = 1
	}
	if p.Tolerance == 0 {
		p.Tolerance = 0.05
	}
	if p.Count == 0 {
		p.Count = 1
	}
	if err := first(
		within("still factor", p.StillFactor, 1, 50, ""),
		within("gel temperature", float64(p.GelBelow), -10, 60, "C"),
		foodTemperature("start temperature", p.Start),
		foodTemperature("surroundings", p.Surroundings),
		within("tolerance", p.Tolerance, 1e-6, 1, "K"),
		within("count of pieces", float64(p.Count), 1, 1e5, ""),
	); err != nil {
		return nil, err
	}
	c := &Conduction{
		substance: p.Substance, course: p.Course, still: p.StillFactor, gel: float64(p.GelBelow),
		tolerance: p.Tolerance, ambient: float64(p.Surroundings), next: 0.5,
	}
	if err := c.setFaces(p.Shape, p.OneFace, p.Upper, p.Lower); err != nil {
		return nil, err
	}
	if p.Cells != 0 {
		most := map[Shape]float64{FiniteCylinder: 64, Brick: 24}[p.Shape]
		if most == 0 {
			most = 512
		}
		if err := within("cells", float64(p.Cells), 8, most, ""); err != nil {
			return nil, err
		}
	}
	if err := c.layOut(p); err != nil {
		return nil, err
	}
	start := p.Substance.enthalpy(float64(p.Start))
	for i := range c.h {
		c.h[i] = start
	}
	if c.course != nil {
		air, err := c.surroundings(0)
		if err != nil {
			return nil, err
		}
		c.ambient = air
	}
	return c, nil
}

// setFaces decides between half a body, insulated in the middle, and a whole slab.
func (c *Conduction) setFaces(s Shape, oneFace bool, upper, lower Face) error {
	up, err := upper.resistance("upper")
	if err != nil {
		return err
	}
	low, err := lower.resistance("lower")
	if err != nil {
		return err
	}
	c.faces[1] = boundary{open: !upper.closed(), film: upper.Film, air: upper.Air, layers: up}
	if lower.closed() && len(lower.Layers) > 0 {
		return errors.New("lower face has layers but no film: give its film coefficient, or leave it empty to have it as the upper face")
	}
	c.faces[0] = boundary{}
	if !lower.closed() {
		if s != Slab {
			return errShape(s, "has one surface: give the upper face only")
		}
		if oneFace {
			return errors.New("a slab of one face has no lower film: leave the lower face empty")
		}
		c.faces[0] = boundary{open: true, film: lower.Film, air: lower.Air, layers: low}
	}
	return nil
}

// side is one axis of a piece before it is cut into cells: half sizes from the middle,
// or whole ones from a closed or a second face.
type side struct {
	depth float64
	power float64 // section grows with x^power: 0 slab, 1 cylinder, 2 sphere
}

// layOut cuts the piece into cells.
func (c *Conduction) layOut(p Piece) error {
	size := func(what string, l units.Length) error { return within(what, float64(l), 1e-3, 3, "m") }
	t, d := float64(p.Thickness)/2, float64(p.Diameter)/2
	mirrors := 2.0
	if p.OneFace || c.faces[0].open {
		t, mirrors = 2*t, 1
	}
	var err error
	var sides []side
	cells := 32
	switch p.Shape {
	case Slab:
		if p.Area == 0 {
			p.Area = 1
		}
		err = first(size("thickness", p.Thickness), within("area", float64(p.Area), 1e-3, 100, "m2"))
		sides, mirrors = []side{{t, 0}}, mirrors*float64(p.Area)
		if c.faces[0].open {
			cells = 64
		}
	case LongCylinder:
		if p.Length == 0 {
			p.Length = 1
		}
		err = first(size("diameter", p.Diameter), within("length", float64(p.Length), 1e-3, 100, "m"))
		sides, mirrors = []side{{d, 1}}, 2*math.Pi*float64(p.Length)
	case Sphere:
		err = size("diameter", p.Diameter)
		sides, mirrors = []side{{d, 2}}, 4*math.Pi
	case FiniteCylinder:
		err = first(size("height", p.Thickness), size("diameter", p.Diameter))
		sides, mirrors, cells = []side{{d, 1}, {t, 0}}, 2*math.Pi*mirrors, 24
	case Brick:
		err = first(size("thickness", p.Thickness), size("width", p.Width), size("length", p.Length))
		sides, mirrors, cells = []side{{t, 0}, {float64(p.Width) / 2, 0}, {float64(p.Length) / 2, 0}}, 4*mirrors, 12
	default:
		err = errShape(p.Shape, "is unknown")
	}
	if err != nil {
		return err
	}
	if p.Cells != 0 {
		cells = p.Cells
	}
	c.scale = mirrors * float64(p.Count)
	c.build(sides, cells)
	return nil
}

func (c *Conduction) build(sides []side, cells int) {
	c.n = 1
	for range sides {
		c.n *= cells
	}
	stride := 1
	for i, s := range sides {
		a := axisGrid{n: cells, stride: stride, dx: s.depth / float64(cells), twoFaced: i == 0 && c.faces[0].open}
		a.volume, a.inverse, a.link = make([]float64, cells), make([]float64, cells), make([]float64, cells)
		for j := range cells {
			low, high := float64(j)*a.dx, float64(j+1)*a.dx
			a.volume[j] = (math.Pow(high, s.power+1) - math.Pow(low, s.power+1)) / (s.power + 1)
			a.inverse[j] = 1 / (c.substance.density * a.volume[j])
			a.link[j] = math.Pow(high, s.power) / a.dx
		}
		a.end = math.Pow(s.depth, s.power)
		c.axes = append(c.axes, a)
		stride *= cells
	}
	c.mem = make([]float64, 10*c.n+len(sides)*(3*c.n+2*c.n/cells))
	c.carve()
	for i := range c.m {
		c.m[i] = c.substance.density
		for _, a := range c.axes {
			c.m[i] *= a.volume[i/a.stride%a.n]
		}
		c.total += c.m[i]
	}
}

func (c *Conduction) carve() {
	at := 0
	take := func(n int) []float64 {
		at += n
		return c.mem[at-n : at : at]
	}
	w := &c.work
	for _, to := range []*[]float64{&c.h, &c.m, &w.phi, &w.s, &w.held, &w.f, &w.k1, &w.k2, &w.try, &w.back} {
		*to = take(c.n)
	}
	for i := range c.axes {
		a := &c.axes[i]
		a.up, a.pivot, a.low, a.edge = take(c.n), take(c.n), take(c.n), take(2*c.n/a.n)
	}
}

// Clone implements Model.
func (c *Conduction) Clone() Model { return c.Copy() }

// Copy is Clone with its own type.
func (c *Conduction) Copy() *Conduction {
	d := *c
	d.mem = append([]float64(nil), c.mem...)
	d.axes = append([]axisGrid(nil), c.axes...) // what never changes stays shared
	d.carve()
	return &d
}

func (c *Conduction) surroundings(seconds float64) (float64, error) {
	if c.course == nil {
		return c.ambient, nil
	}
	t := c.course(c.elapsed + time.Duration(seconds*float64(time.Second)))
	if err := foodTemperature("surroundings", t); err != nil {
		return 0, fmt.Errorf("at %v: %w", c.elapsed, err)
	}
	return float64(t), nil
}

// SetSurroundings changes the surroundings from now on, -60 to 150 C, and ends a Course:
// doors, defrosts, the way from the blast freezer into the store.
func (c *Conduction) SetSurroundings(t units.Celsius) error {
	if err := foodTemperature("surroundings", t); err != nil {
		return err
	}
	c.course, c.ambient = nil, float64(t)
	return nil
}

// SetFaces changes the films and layers from now on: a lid, other air, a stack. A piece
// with one kind of face keeps it: give Upper only; a slab made with two keeps two.
func (c *Conduction) SetFaces(upper, lower Face) error {
	d := Conduction{}
	if err := d.setFaces(Slab, false, upper, lower); err != nil {
		return err
	}
	if d.faces[0].open != c.faces[0].open {
		return errors.New("a slab made with two different faces needs both, any other piece the upper face only")
	}
	c.faces = d.faces
	return nil
}
