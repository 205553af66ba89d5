package chill

import "math"

// Volumes of a set pot.
const (
	radii   = 12
	heights = 18
)

// cylinder is set stock in a pot: explicit finite volumes in radius and height with
// one film all round (the top only when the pot has one). The areas are stretched to
// those that the pot states.
type cylinder struct {
	t         [radii][heights]float64
	ring      [radii]float64 // heat capacity of one volume, J/K
	gr        [radii]float64 // conductance outwards to the next ring, W/K; of the last to the wall
	gz        [radii]float64 // between heights, W/K
	side      float64        // area of the wall of one height, m2
	face      [radii]float64 // horizontal area of a ring, m2
	dr, dz, k float64
	total     float64 // J/K
	top       bool
}

// shape takes the pot as a cylinder of its mass and height at 1000 kg/m3.
func (c *cylinder) shape(p StillPot) error {
	h := float64(p.Height)
	r := math.Sqrt(float64(p.Mass) / (1000 * math.Pi * h))
	if err := within("radius of stock that sets", r, 0.015, 5, "m"); err != nil {
		return err
	}
	c.k, c.top = p.Conductivity, p.Top > 0
	c.dr, c.dz = r/radii, h/heights
	c.total = float64(p.Mass) * p.SpecificHeat
	ends := 1.0
	if c.top {
		ends = 2
	}
	stretch := float64(p.Wall+p.Top) / (2*math.Pi*r*h + ends*math.Pi*r*r)
	for i := range radii {
		in, out := float64(i)*c.dr, float64(i+1)*c.dr
		area := math.Pi * (out*out - in*in)
		c.ring[i] = c.total * area / (math.Pi * r * r) / heights
		c.gr[i] = c.k * 2 * math.Pi * out * c.dz / c.dr
		c.gz[i] = c.k * area / c.dz
		c.face[i] = area * stretch
	}
	c.side = 2 * math.Pi * r * c.dz * stretch
	return nil
}

func (c *cylinder) fill(t float64) {
	for i := range radii {
		for j := range heights {
			c.t[i][j] = t
		}
	}
}

func (c *cylinder) mean() float64 {
	s := 0.0
	for i := range radii {
		for j := range heights {
			s += c.ring[i] * c.t[i][j]
		}
	}
	return s / c.total
}

// core is the warmest (coldest, when warming) place: on the axis, by the parabola of
// its two innermost rings.
func (c *cylinder) core() float64 {
	warming := c.t[radii-1][heights/2] > c.t[0][heights/2]
	best := math.Inf(-1)
	if warming {
		best = math.Inf(1)
	}
	for j := range heights {
		v := c.t[0][j] + (c.t[0][j]-c.t[1][j])/8
		if warming {
			best = math.Min(best, v)
		} else {
			best = math.Max(best, v)
		}
	}
	return best
}

// skin is the mean of the outer ring, for the outer film.
func (c *cylinder) skin() float64 {
	s := 0.0
	for j := range heights {
		s += c.t[radii-1][j]
	}
	return s / heights
}

// faces returns the conductance of the faces behind half a volume, W/m2·K.
func (c *cylinder) faces(h float64) (side, end float64) {
	return 1 / (1/h + c.dr/(2*c.k)), 1 / (1/h + c.dz/(2*c.k))
}

func (c *cylinder) conductance(h float64) float64 {
	side, end := c.faces(h)
	s := side * c.side * heights
	for i := range radii {
		s += end * c.face[i]
		if c.top {
			s += end * c.face[i]
		}
	}
	return s
}

// loss is the heat leaving now, W.
func (c *cylinder) loss(h, air float64) float64 {
	side, end := c.faces(h)
	q := 0.0
	for j := range heights {
		q += side * c.side * (c.t[radii-1][j] - air)
	}
	for i := range radii {
		q += end * c.face[i] * (c.t[i][0] - air)
		if c.top {
			q += end * c.face[i] * (c.t[i][heights-1] - air)
		}
	}
	return q
}

// advance steps through the seconds and returns the heat given off, J.
func (c *cylinder) advance(seconds float64, m *Pot) float64 {
	air := float64(m.p.Air)
	given := 0.0
	for left := seconds; left > 1e-9; {
		h := m.outer(c.skin())
		side, end := c.faces(h)
		// The quickest volume: half the stable step keeps every change monotone.
		worst := 0.0
		for i := range radii {
			g := c.gr[i] + 2*c.gz[i] + 2*end*c.face[i]
			if i > 0 {
				g += c.gr[i-1]
			}
			worst = math.Max(worst, g/c.ring[i])
		}
		worst = math.Max(worst, (c.gr[radii-2]+2*c.gz[radii-1]+side*c.side+2*end*c.face[radii-1])/c.ring[radii-1])
		n := math.Ceil(left / math.Min(120, 0.8/worst))
		dt := left / n
		given += c.step(dt, side, end, air)
		left -= dt
	}
	return given
}

func (c *cylinder) step(dt, side, end, air float64) float64 {
	var q [radii][heights]float64
	out := 0.0
	for i := range radii {
		for j := range heights {
			t := c.t[i][j]
			if i < radii-1 {
				f := c.gr[i] * (t - c.t[i+1][j])
				q[i][j] -= f
				q[i+1][j] += f
			} else {
				f := side * c.side * (t - air)
				q[i][j] -= f
				out += f
			}
			if j < heights-1 {
				f := c.gz[i] * (t - c.t[i][j+1])
				q[i][j] -= f
				q[i][j+1] += f
			}
			if j == 0 || j == heights-1 && c.top {
				f := end * c.face[i] * (t - air)
				q[i][j] -= f
				out += f
			}
		}
	}
	for i := range radii {
		for j := range heights {
			c.t[i][j] += q[i][j] * dt / c.ring[i]
		}
	}
	return out * dt
}
