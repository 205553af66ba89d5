package simmer

import (
	"math"

	"rondeau.internal/pkg/units"
)

func volumeUnits(v float64) units.Volume { return units.Volume(v) }

// kernelWidth is the standard deviation of the rejuvenating kernel relative to that of
// the particles, near Liu and West's h for a discount of 0.97. Their shrinkage towards
// the mean is left out: each renewal then adds 3 % of variance, about what resampling a cloud
// of this size loses. Chosen by simulation: with the shrinkage, and with 0.14 without it, the
// 80 % interval held 75 and 77 % of the truths.
const kernelWidth = 0.18

// fewest particles whose covariance is worth using.
const fewest = 24

// coordinates of a particle that the kernel moves together.
const coordinates = factors + 5

type coordinateVector [coordinates]float64

func (q *particle) coordinates(v *coordinateVector) {
	copy(v[:factors], q.factor[:])
	v[factors] = q.logSolids
	v[factors+1] = q.water
	v[factors+2] = q.temp
	v[factors+3] = q.heat
	v[factors+4] = q.shift
}

// stir moves the particles whose heat was changed, or those of the others: the two groups
// follow different histories, and a common kernel would blend them.
func (c *cloud) stir(changed bool) {
	var mean, x, z coordinateVector
	var v [coordinates][coordinates]float64
	count, settled := 0, false
	for i := range c.now {
		q := &c.now[i]
		if (q.changed >= 0) != changed {
			continue
		}
		count++
		settled = settled || math.Abs(q.temp-c.holdOf(q)) <= atHold
		q.coordinates(&x)
		for r := range x {
			mean[r] += x[r]
		}
	}
	if count < fewest {
		c.nudge(changed)
		return
	}
	for r := range mean {
		mean[r] /= float64(count)
	}
	for i := range c.now {
		q := &c.now[i]
		if (q.changed >= 0) != changed {
			continue
		}
		q.coordinates(&x)
		for r := range x {
			for s := 0; s <= r; s++ {
				v[r][s] += (x[r] - mean[r]) * (x[s] - mean[s]) / float64(count)
			}
		}
	}
	semiCholesky(&v)
	for i := range c.now {
		q := &c.now[i]
		if (q.changed >= 0) != changed {
			continue
		}
		q.coordinates(&x)
		for r := range z {
			if v[r][r] > 0 {
				z[r] = c.rng.NormFloat64()
			}
			for s := 0; s <= r; s++ {
				x[r] += kernelWidth * v[r][s] * z[s]
			}
		}
		c.place(q, &x, settled)
	}
}

// place puts moved coordinates into a particle. Where some have reached the temperature
// held, temperatures stay: a kernel must not lift a pot off its boil. A heat that was
// put back stays exactly so.
func (c *cloud) place(q *particle, x *coordinateVector, settled bool) {
	copy(q.factor[:], x[:factors])
	if c.plant.solids > 0 {
		q.logSolids = max(-1, min(x[factors], 1))
		q.solids = c.plant.solids * math.Exp(q.logSolids)
	}
	q.water = max(c.plant.low, min(x[factors+1], c.plant.high))
	if !settled {
		q.temp = max(0, min(x[factors+2], c.plant.boil))
		if h := c.holdOf(q); math.Abs(q.temp-h) <= atHold {
			q.temp = h
		}
	}
	if q.heat != 0 {
		q.heat = max(-3, min(x[factors+3], 1))
	}
	if q.shift != 0 {
		was := c.holdOf(q)
		q.shift = max(-60, min(x[factors+4], c.plant.boil-c.hold))
		if math.Abs(q.temp-was) <= atHold { // it holds the moved temperature
			q.temp = c.holdOf(q)
		}
	}
}

// nudge moves a group too small for a covariance by a little.
func (c *cloud) nudge(changed bool) {
	for i := range c.now {
		q := &c.now[i]
		if (q.changed >= 0) != changed {
			continue
		}
		var x coordinateVector
		q.coordinates(&x)
		for r := range factors {
			x[r] += 0.01 * c.rng.NormFloat64()
		}
		x[factors+1] *= 1 + 0.0005*c.rng.NormFloat64()
		x[factors+3] += 0.03 * c.rng.NormFloat64()
		x[factors+4] += 0.5 * c.rng.NormFloat64()
		c.place(q, &x, true)
	}
}

// semiCholesky replaces the lower triangle by its factor; directions without variance
// become zero.
func semiCholesky(v *[coordinates][coordinates]float64) {
	for i := range v {
		variance := v[i][i]
		for j := 0; j <= i; j++ {
			s := v[i][j]
			for k := range j {
				s -= v[i][k] * v[j][k]
			}
			switch {
			case i == j && s > 1e-9*variance && variance > 1e-18:
				v[i][i] = math.Sqrt(s)
			case i == j:
				v[i][i] = 0
			case v[j][j] > 0:
				v[i][j] = s / v[j][j]
			default:
				v[i][j] = 0
			}
		}
	}
}
