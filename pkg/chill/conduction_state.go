package chill

import (
	"math"

	"rondeau.internal/pkg/units"
)

// State implements Model. Core is the slowest point: the middle, or of a slab whose faces
// differ the point farthest from the surroundings. Mean is the temperature at which the
// piece would come to rest if it were closed now (from its mean enthalpy), the
// equalisation temperature.
func (c *Conduction) State() State {
	t, _ := c.substance.at(c.meanEnthalpy(c.h))
	return State{
		Elapsed: c.elapsed, Core: units.Celsius(c.core()), Mean: units.Celsius(t),
		Surroundings: units.Celsius(c.ambient), Heat: c.HeatFlow(units.Celsius(c.ambient)),
	}
}

// HeatFlow returns the heat that leaves the food at this moment if its surroundings were
// at a temperature, W; for a machine whose power is shared. Outside -60 to 150 C it is
// computed at the bound.
func (c *Conduction) HeatFlow(surroundings units.Celsius) units.Power {
	air := math.Max(-60, math.Min(150, float64(surroundings)))
	if math.IsNaN(air) {
		air = c.ambient
	}
	still := c.stillNow(c.h)
	sum := 0.0
	for k := range c.axes {
		a := &c.axes[k]
		for line := range c.n / a.n {
			i := a.first(line)
			area := a.end * c.m[i] / (c.substance.density * a.volume[0])
			if a.twoFaced {
				b := c.faces[0]
				q, _ := c.faceFlux(&b, a.dx, c.h[i], air, still)
				sum += area * q
			}
			if b := c.faces[1]; b.open {
				q, _ := c.faceFlux(&b, a.dx, c.h[i+(a.n-1)*a.stride], air, still)
				sum += area * q
			}
		}
	}
	return units.Power(sum * c.scale)
}

// Conductance returns by how much the heat falls per kelvin of warmer surroundings at this
// moment, W/K.
func (c *Conduction) Conductance() float64 {
	air := math.Max(-59, math.Min(149, c.ambient))
	return math.Max(0, float64(c.HeatFlow(units.Celsius(air-0.5))-c.HeatFlow(units.Celsius(air+0.5))))
}

// Given returns the heat given off since the start.
func (c *Conduction) Given() units.Energy { return units.Energy(c.given * c.scale) }

// Content returns the enthalpy of the pieces, 0 when all of it is at its freezing
// point, unfrozen.
func (c *Conduction) Content() units.Energy {
	return units.Energy(c.meanEnthalpy(c.h) * c.total * c.scale)
}

// Mass of the pieces.
func (c *Conduction) Mass() units.Mass { return units.Mass(c.total * c.scale) }

// Steps returns the number of time steps taken.
func (c *Conduction) Steps() int { return c.steps }

// Profile appends the temperatures of the cells from the middle (or the lower face) to the
// upper face, along the first axis, to a slice.
func (c *Conduction) Profile(to []units.Celsius) []units.Celsius {
	for _, h := range c.h[:c.axes[0].n] {
		t, _ := c.substance.at(h)
		to = append(to, units.Celsius(t))
	}
	return to
}

// Surface returns the temperature of the food in the middle of its upper face (the face of a
// Slab, the mantle of cylinders, the nearest face of a Brick across its thickness), under layers
// of pan, lid or fat.
func (c *Conduction) Surface() units.Celsius {
	a := &c.axes[0]
	i := (a.n - 1) * a.stride
	b := c.faces[1]
	t, k := c.substance.at(c.h[i])
	if !b.open {
		return units.Celsius(t)
	}
	still := c.stillNow(c.h)
	if c.h[i] >= 0 {
		k *= still
	}
	q, _ := c.faceFlux(&b, a.dx, c.h[i], c.ambient, still)
	return units.Celsius(t - q*a.dx/2/k)
}

// Frozen returns the share of the food's mass, 0 to 1, that lies below its freezing point.
func (c *Conduction) Frozen() float64 {
	sum := 0.0
	for i, h := range c.h {
		if h < 0 && !math.IsInf(c.substance.freezing, -1) {
			sum += c.m[i]
		}
	}
	return sum / c.total
}

// core reads the slowest point off a parabola through the cells around it.
func (c *Conduction) core() float64 {
	if !c.axes[0].twoFaced {
		t, _ := c.substance.at(c.h[0])
		core := t
		for _, a := range c.axes {
			next, _ := c.substance.at(c.h[a.stride])
			core += (t - next) / 8
		}
		return c.notAcross(t, core)
	}
	mean, _ := c.substance.at(c.meanEnthalpy(c.h))
	sign := 1.0 // cooling: the warmest point
	if mean < c.ambient {
		sign = -1
	}
	best, at := math.Inf(-1), 0
	for i, h := range c.h {
		if t, _ := c.substance.at(h); sign*t > best {
			best, at = sign*t, i
		}
	}
	if at == 0 || at == c.n-1 {
		return sign * best
	}
	l, _ := c.substance.at(c.h[at-1])
	r, _ := c.substance.at(c.h[at+1])
	m := sign * best
	bend := l - 2*m + r
	if bend == 0 {
		return m
	}
	slope := (r - l) / 2
	return c.notAcross(m, m-slope*slope/(2*bend))
}

// notAcross keeps an extrapolated temperature on the side of the freezing point where
// its cell is.
func (c *Conduction) notAcross(cell, t float64) float64 {
	tf := c.substance.freezing
	if cell <= tf {
		return math.Min(t, tf)
	}
	return math.Max(t, tf)
}
