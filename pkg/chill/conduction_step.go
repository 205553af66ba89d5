package chill

import (
	"errors"
	"fmt"
	"math"
	"time"
)

var errNoStep = errors.New("the conduction model found no step that meets its tolerance: check film coefficients and layers for extreme values")

const (
	gamma     = 0.2928932188134524 // 1 - 1/sqrt 2: ROS2 is L-stable
	maxSteps  = 1_000_000          // within one call of Step
	leastStep = 1e-6               // s
)

// Step implements Model. On an error the model is as before.
func (c *Conduction) Step(dt time.Duration) (State, error) {
	if err := checkStep(dt); err != nil {
		return c.State(), err
	}
	copy(c.work.back, c.h)
	before := *c
	if err := c.advance(dt); err != nil {
		*c = before
		copy(c.h, c.work.back)
		return c.State(), err
	}
	return c.State(), nil
}

func (c *Conduction) advance(dt time.Duration) error {
	left, done, start := dt.Seconds(), 0.0, c.elapsed
	for range maxSteps {
		if left <= leastStep {
			c.elapsed = start + dt
			air, err := c.surroundings(0)
			c.ambient = air
			return err
		}
		h := math.Min(c.next, left)
		switch {
		case c.fixed > 0:
			h = math.Min(c.fixed, left)
		case left > h && left < 2*h:
			h = left / 2
		}
		size, err := c.attempt(h)
		if err != nil {
			return err
		}
		grow := math.Min(2.5, 0.9/math.Sqrt(math.Max(size, 1e-4)))
		if size > 1 && c.fixed == 0 {
			c.next = h * math.Max(0.2, grow)
			if c.next < leastStep {
				return errNoStep
			}
			continue
		}
		if grow < 1 || h >= 0.99*c.next {
			c.next = h * math.Max(0.5, grow)
		}
		copy(c.h, c.work.try)
		c.given += c.gave
		c.steps++
		done += h
		left -= h
		c.elapsed = start + time.Duration(done*float64(time.Second))
	}
	return fmt.Errorf("a step of %v needs more than %d inner steps: take a shorter one or a larger tolerance", dt, maxSteps)
}

// attempt computes both stages of a step of h seconds into try and returns its error over
// the tolerance. The state is not changed. With F the balance, J near its slope and g the
// constant gamma: (I - g·h·J)k1 = h·F(H), (I - g·h·J)k2 = h·F(H + k1) - 2·k1, H + 3/2·k1 +
// 1/2·k2 is the result and H + k1 the comparison.
func (c *Conduction) attempt(h float64) (float64, error) {
	w := &c.work
	now, err := c.surroundings(0)
	if err != nil {
		return 0, err
	}
	then, err := c.surroundings(h)
	if err != nil {
		return 0, err
	}
	o1 := h * c.rates(c.h, now, true)
	c.stiffen()
	for i := range c.axes {
		c.factor(&c.axes[i], h)
	}
	for i, f := range w.f {
		w.k1[i] = h * f
	}
	o1 += c.solve(w.k1, h)
	for i, k := range w.k1 {
		w.try[i] = c.h[i] + k
	}
	copy(w.held, w.s) // the matrix, and the error, go by the slopes of the first stage
	o2 := h*c.rates(w.try, then, false) - 2*o1
	copy(w.s, w.held)
	for i, f := range w.f {
		w.k2[i] = h*f - 2*w.k1[i]
	}
	o2 += c.solve(w.k2, h)
	worst := 0.0
	for i, k1 := range w.k1 {
		k2 := w.k2[i]
		before := c.h[i]
		after := before + 1.5*k1 + 0.5*k2
		w.try[i] = after
		kelvin := math.Max(leastHeat, math.Min(mostHeat, 0.5/(w.s[i]+1e-12)))
		if (before < 0) != (after < 0) || (before < 0) != (before+k1 < 0) {
			kelvin = mostHeat
		}
		e := math.Abs(k1+k2) / 2 / kelvin
		if !(e <= worst) {
			worst = e
		}
	}
	c.gave = 1.5*o1 + 0.5*o2
	if math.IsNaN(worst) || math.IsInf(worst, 0) {
		worst = math.MaxFloat64
	}
	return worst / c.tolerance, nil
}

// The enthalpy that counts as one kelvin of error lies between these, J/kg·K: on the
// plateau, and where a cell begins or ends to freeze, a kelvin means nothing, and 0.05 K
// stand for 0.7 % of the heat of freezing of one cell.
const leastHeat, mostHeat = 1500, 40000

// edgeOfFreezing is how far below freezing a cell may be and still thaw within a step, J/kg.
const edgeOfFreezing = 1000

// stiffen gives cells that have hardly begun to freeze the slope of the unfrozen food, a
// thousand times that of the plateau, in the matrix alone: it errs on the stable side.
func (c *Conduction) stiffen() {
	if math.IsInf(c.substance.freezing, -1) {
		return
	}
	s := c.work.s
	warm := &c.substance.warm
	slope := (warm.nodes[1].phi - warm.nodes[0].phi) * warm.perStep * c.stillNow(c.h)
	for i, h := range c.h {
		if h < 0 && h > -edgeOfFreezing {
			s[i] = math.Max(s[i], slope*(1+h/edgeOfFreezing))
		}
	}
}

// rates evaluates the balance of every cell at the enthalpies h: f in J/kg·s, phi and its
// slope s over enthalpy. It returns the heat that leaves the model, W. With keep it leaves
// the slopes of the face fluxes for factor and solve.
func (c *Conduction) rates(h []float64, air float64, keep bool) float64 {
	w := &c.work
	still := c.stillNow(h)
	n := c.n
	phi, s, f := w.phi[:n], w.s[:n], w.f[:n]
	cold, warm := &c.substance.cold, &c.substance.warm
	for i, e := range h[:n] {
		b, factor := warm, still
		if e < 0 {
			b, factor = cold, 1
		}
		x := (e - b.low) * b.perStep
		j := min(max(int(x), 0), len(b.nodes)-2)
		p := b.nodes[j].phi
		d := b.nodes[j+1].phi - p
		phi[i] = factor * (p + (x-float64(j))*d)
		s[i] = factor * d * b.perStep
		f[i] = 0
	}
	out := 0.0
	for i := range c.axes {
		a := &c.axes[i]
		for line := range n / a.n {
			out += c.balance(a, line, h, air, still, keep)
		}
	}
	return out
}

// first cell of a line of an axis.
func (a *axisGrid) first(line int) int {
	return line/a.stride*a.stride*a.n + line%a.stride
}

// balance adds the fluxes along one line of cells and returns what leaves at its ends, W.
func (c *Conduction) balance(a *axisGrid, line int, h []float64, air, still float64, keep bool) float64 {
	phi, f := c.work.phi, c.work.f
	n, stride := a.n, a.stride
	inverse, link := a.inverse[:n], a.link[:n]
	i := a.first(line)
	across := c.m[i] * inverse[0] // measure of the line's section
	in, out := 0.0, 0.0
	if a.twoFaced {
		q, slope := c.faceFlux(&c.faces[0], a.dx, h[i], air, still)
		in, out = -q*a.end, q*a.end*across
		if keep {
			a.edge[2*line] = slope * a.end
		}
	}
	here := phi[i]
	for j := range n - 1 {
		next := phi[i+stride]
		q := link[j] * (here - next)
		f[i] += (in - q) * inverse[j]
		here, in = next, q
		i += stride
	}
	if b := &c.faces[1]; b.open {
		q, slope := c.faceFlux(b, a.dx, h[i], air, still)
		in -= q * a.end
		out += q * a.end * across
		if keep {
			a.edge[2*line+1] = slope * a.end
		}
	}
	f[i] += in * inverse[n-1]
	return out
}

// stillNow is the factor of convection at the present mean temperature.
func (c *Conduction) stillNow(h []float64) float64 {
	if c.still == 1 {
		return 1
	}
	t, _ := c.substance.at(c.meanEnthalpy(h))
	x := (t-c.gel)/gelFade + 0.5
	return 1 + (c.still-1)*math.Max(0, math.Min(1, x))
}

func (c *Conduction) meanEnthalpy(h []float64) float64 {
	sum := 0.0
	for i, m := range c.m {
		sum += m * h[i]
	}
	return sum / c.total
}

// faceFlux returns the flux out of a cell at a face, W/m2, and its slope over phi. It solves
// the temperature of the outer surface when the film depends on it.
func (c *Conduction) faceFlux(b *boundary, dx, enthalpy, air, still float64) (q, slope float64) {
	t, k := c.substance.at(enthalpy)
	if enthalpy >= 0 {
		k *= still
	}
	inner := b.layers + dx/2/k
	film := b.film
	if b.air != nil {
		d := b.outer
		if d == 0 || (d > 0) != (t > air) || math.Abs(d) > math.Abs(t-air) {
			d = (t - air) / 2
		}
		for range 4 {
			film = b.film + b.air.at(air+d, air)
			d -= (d*film - (t-air-d)/inner) / (1.3*film + 1/inner)
		}
		film = b.film + b.air.at(air+d, air)
		b.outer = d
	}
	if film <= 0 {
		return 0, 0
	}
	u := 1 / (inner + 1/film)
	return u * (t - air), u / k
}

// factor prepares I - gamma·h·J along one axis, J the slope of the balance with films and
// convection held. In row i the enthalpies of i-1, i and i+1 count, each by its own slope.
func (c *Conduction) factor(a *axisGrid, h float64) {
	s, up, pivot, low := c.work.s, a.up, a.pivot, a.low
	n, stride := a.n, a.stride
	inverse, link := a.inverse[:n], a.link[:n]
	gh := gamma * h
	for line := range c.n / n {
		i := a.first(line)
		prev, before, here := 0.0, 0.0, s[i]
		left := a.edge[2*line]
		for j := range n {
			r := gh * inverse[j]
			right, after := a.edge[2*line+1], 0.0
			if j < n-1 {
				right, after = link[j], s[i+stride]
			}
			l := -r * left * before
			p := 1 / (1 + r*(left+right)*here - l*prev)
			prev = -r * right * after * p
			up[i], pivot[i], low[i] = prev, p, l*p
			left, before, here = right, here, after
			i += stride
		}
	}
}

// solve solves the factored systems in place, axis after axis: (I - g·h·J1)(I - g·h·J2)... It
// returns what leaves through the faces by the slopes in J, J.
func (c *Conduction) solve(x []float64, h float64) float64 {
	s := c.work.s
	out := 0.0
	for k := range c.axes {
		a := &c.axes[k]
		up, pivot, low := a.up[:len(x)], a.pivot[:len(x)], a.low[:len(x)]
		n, stride := a.n, a.stride
		for line := range c.n / n {
			base := a.first(line)
			i := base
			y := x[i] * pivot[i]
			x[i] = y
			for range n - 1 {
				i += stride
				y = x[i]*pivot[i] - low[i]*y
				x[i] = y
			}
			ends := a.edge[2*line+1] * s[i] * y
			for range n - 1 {
				i -= stride
				y = x[i] - up[i]*y
				x[i] = y
			}
			ends += a.edge[2*line] * s[i] * y
			out += ends * c.m[base] * a.inverse[0]
		}
	}
	return gamma * h * out
}
