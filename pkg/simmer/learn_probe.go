package simmer

import "math"

// probe estimates what the readings so far can tell about the four factors at all: the
// Fisher information of their logarithms, by marching the mean particle and three with one
// factor raised along what is told.
//
// A particle filter needs it, for resampling makes factors that no reading tells about
// drift to chance values (at the boil, the surface; at a simmer, the power), and a
// belief so corrupted would be kept. Directions that the readings say little about are
// therefore refreshed from the prior by moves that leave it as it is (pCN; Cotter,
// Roberts, Stuart and White, Statistical Science 28, 2013; from memory).
type probe struct {
	body [factors]body // of the mean and of surface, power and wall raised
	info factorMatrix
	// white maps independent standard normals to deviations of factors, back the other way.
	white, back factorMatrix
}

const (
	raised = 0.05 // of a logarithm
	// gentle is the share of the posterior variance that one refresh may add.
	gentle = 0.003
	// refreshed are directions with less information than this, relative to the prior's.
	refreshed = 0.3
)

func (p *probe) prepare(prior factorMatrix, start body) {
	p.white, _ = cholesky(prior)
	p.back = lowerInverse(p.white)
	for i := range p.body {
		p.body[i] = start
	}
}

// march follows what is told over dt seconds.
func (c *cloud) march(p *probe, dt float64) {
	var mean particle
	for i := range c.now {
		q := &c.now[i]
		for r := range factors {
			mean.factor[r] += q.weight * q.factor[r]
		}
		mean.heat += q.weight * q.heat
	}
	for i := range p.body {
		q := mean
		if i > 0 {
			q.factor[i-1] += raised
		}
		d := c.drive(&q)
		c.plant.march(&p.body[i], &d, dt, nil)
	}
}

// learn adds the information of a reading.
func (c *cloud) learn(p *probe, k kind, sigma float64) {
	var s factorVector
	show := func(i int) float64 {
		q := particle{water: p.body[i].water, temp: p.body[i].temp, solids: p.body[i].solids}
		return c.predict(&q, k)
	}
	plain := show(0)
	for i := 1; i < factors; i++ {
		s[i-1] = (show(i) - plain) / raised / sigma
	}
	if k == levelKind || k == volumeKind {
		s[iMarks] = plain / sigma
	}
	for i := range factors {
		for j := range factors {
			p.info[i][j] += s[i] * s[j]
		}
	}
}

// refresh moves the particles along directions with little information.
func (c *cloud) refresh(p *probe) {
	var a factorMatrix // information in units of the prior: whiteᵀ·info·white
	for i := range factors {
		for j := range factors {
			for k := range factors {
				for l := range factors {
					a[i][j] += p.white[k][i] * p.info[k][l] * p.white[l][j]
				}
			}
		}
	}
	axes := eigen(&a)
	var step factorVector
	any := false
	for d := range factors {
		if l := a[d][d]; l < refreshed {
			step[d] = math.Sqrt(min(1, gentle/max(l, gentle)))
			any = true
		}
	}
	if !any {
		return
	}
	for i := range c.now {
		q := &c.now[i]
		var w factorVector
		for r := range factors {
			for k := 0; k <= r; k++ {
				w[r] += p.back[r][k] * (q.factor[k] - c.prior[k])
			}
		}
		for d, b := range step {
			if b == 0 {
				continue
			}
			x := 0.0
			for r := range factors {
				x += axes[r][d] * w[r]
			}
			by := (math.Sqrt(1-b*b)-1)*x + b*c.rng.NormFloat64()
			for r := range factors {
				w[r] += by * axes[r][d]
			}
		}
		for r := range factors {
			q.factor[r] = c.prior[r]
			for k := 0; k <= r; k++ {
				q.factor[r] += p.white[r][k] * w[k]
			}
		}
	}
}

// lowerInverse of a lower triangular matrix.
func lowerInverse(l factorMatrix) (out factorMatrix) {
	for c := range factors {
		for i := c; i < factors; i++ {
			s := 0.0
			if i == c {
				s = 1
			}
			for k := c; k < i; k++ {
				s -= l[i][k] * out[k][c]
			}
			out[i][c] = s / l[i][i]
		}
	}
	return out
}

// eigen turns a symmetric matrix into its diagonal of eigenvalues and returns the
// eigenvectors as columns (cyclic Jacobi).
func eigen(a *factorMatrix) (axes factorMatrix) {
	for i := range factors {
		axes[i][i] = 1
	}
	for range 12 {
		for i := range factors {
			for j := i + 1; j < factors; j++ {
				if math.Abs(a[i][j]) < 1e-300 {
					continue
				}
				th := (a[j][j] - a[i][i]) / (2 * a[i][j])
				t := math.Copysign(1/(math.Abs(th)+math.Hypot(th, 1)), th)
				cs := 1 / math.Hypot(t, 1)
				sn := t * cs
				for k := range factors {
					x, y := a[k][i], a[k][j]
					a[k][i], a[k][j] = cs*x-sn*y, sn*x+cs*y
				}
				for k := range factors {
					x, y := a[i][k], a[j][k]
					a[i][k], a[j][k] = cs*x-sn*y, sn*x+cs*y
					x, y = axes[k][i], axes[k][j]
					axes[k][i], axes[k][j] = cs*x-sn*y, sn*x+cs*y
				}
			}
		}
	}
	return axes
}
