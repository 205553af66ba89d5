package simmer

import (
	"math"
	"math/bits"
	"math/rand/v2"
)

// particle is one guess of everything that is not known.
type particle struct {
	factor    factorVector // logarithms, order of the belief
	heat      float64      // ln of the untold change of power
	shift     float64      // untold change of the temperature held, K
	logSolids float64      // ln of true over stated solids
	solids    float64      // kg, by that
	water     float64      // kg
	temp      float64      // C
	changed   float64      // s, moment of the last untold change; below 0: none
	crossed   float64      // s, moment the end was reached; below 0: not yet
	doubt     uint64       // bit n%64: the n-th reading was a slip
	weight    float64
}

// cloud is the particle filter proper. Weights sum to 1 between calls.
type cloud struct {
	plant   *plant
	now     []particle
	spare   []particle
	rng     *rand.Rand
	clock   float64
	share   float64 // power share told
	hold    float64 // C, told
	off     bool
	end     *ending
	wander  float64 // per root second
	hazard  float64 // untold changes per second
	prior   factorVector
	spreads [2]float64 // stationary, of surface and power
}

// Chosen, no source: what people do to a burner they touch. Three of four changes are
// downwards; power by a factor exp(-0.35 +- 0.2) or exp(0.2 +- 0.12), a temperature held
// by -5 +- 3 K or 2 +- 1.5 K. Of a heat changed before, one change in three goes back.
const (
	downShare  = 0.75
	powerDown  = -0.35
	powerDownS = 0.2
	powerUp    = 0.2
	powerUpS   = 0.12
	holdDown   = -5.0
	holdDownS  = 3.0
	holdUp     = 2.0
	holdUpS    = 1.5
	backShare  = 1.0 / 3
	toldSpread = 0.1  // ln of the power share really set over the one told
	tryChange  = 0.10 // share of particles that try a change in each interval
	slipShare  = 0.05 // of readings are slips,
	slipScale  = 8.0  // spread as a Cauchy distribution of this many standard errors
	heavyShare = 0.1  // of the prior has twice the spread: a belief may be wrong
	lowestHold = 30.0 // C
	piece      = 3600 // s, longest march with constant factors
)

// sow places particles by a low-discrepancy sequence (Roberts' R sequence: multiples of
// powers of the root of x^(d+1) = x + 1; from memory) through the quantiles of the prior.
func (c *cloud) sow(b Belief, liquidSpread, solidsSpread float64, start body) {
	const dims = 8
	phi := 2.0
	for range 64 {
		phi = math.Pow(1+phi, 1.0/(dims+1))
	}
	var alpha, z [dims]float64
	for d := range dims {
		alpha[d] = math.Pow(1/phi, float64(d+1))
	}
	l, _ := cholesky(b.covariance())
	for i := range c.now {
		for d := range dims {
			_, u := math.Modf(0.5 + float64(i+1)*alpha[d])
			z[d] = u
			if d < dims-1 {
				z[d] = normalQuantile(max(1e-9, min(1-1e-9, u)))
			}
		}
		q := &c.now[i]
		*q = particle{changed: -1, crossed: -1, weight: 1 / float64(len(c.now))}
		wide := 1.0
		if z[dims-1] < heavyShare {
			wide = 2
		}
		for r := range factors {
			q.factor[r] = c.prior[r]
			for k := 0; k <= r; k++ {
				q.factor[r] += wide * l[r][k] * z[k]
			}
		}
		q.water = min(start.water*math.Exp(liquidSpread*z[4]), c.plant.high)
		q.logSolids = solidsSpread * z[5]
		q.solids = c.plant.solids * math.Exp(q.logSolids)
		q.temp = start.temp
		if start.temp < c.hold-5 {
			q.temp = max(0, start.temp+z[6])
		}
	}
}

// drive of a particle under what is told.
func (c *cloud) drive(q *particle) drive {
	return drive{
		surface: math.Exp(q.factor[iSurface]), wall: math.Exp(q.factor[iWall]), off: c.off,
		power: c.share * math.Exp(q.factor[iPower]+q.heat), hold: c.holdOf(q),
	}
}

// holdOf a particle, C.
func (c *cloud) holdOf(q *particle) float64 {
	if q.shift == 0 {
		return c.hold
	}
	return max(lowestHold, min(c.hold+q.shift, c.plant.boil))
}

// change makes an untold change of the heat at a moment.
func (c *cloud) change(q *particle, at float64, rng *rand.Rand) {
	q.changed = at
	down := rng.Float64() < downShare
	if c.hold >= c.plant.boil-1e-9 {
		if q.heat != 0 && rng.Float64() < backShare {
			q.heat = 0
			return
		}
		if down {
			q.heat += powerDown + powerDownS*rng.NormFloat64()
		} else {
			q.heat += powerUp + powerUpS*rng.NormFloat64()
		}
		q.heat = max(-3, min(q.heat, 1))
		return
	}
	if q.shift != 0 && rng.Float64() < backShare {
		q.shift = 0
		return
	}
	if down {
		q.shift += holdDown + holdDownS*rng.NormFloat64()
	} else {
		q.shift += holdUp + holdUpS*rng.NormFloat64()
	}
	q.shift = max(-60, min(q.shift, c.plant.boil-c.hold))
}

// drift wanders surface and power factor for dt seconds: an Ornstein-Uhlenbeck process
// that starts with the wander asked and keeps the spread of the prior in the long run, so
// that a factor no reading tells about stays believed as before.
func (c *cloud) drift(q *particle, dt float64, rng *rand.Rand) {
	for i := range 2 {
		s := c.spreads[i]
		noise := c.wander * math.Sqrt(dt)
		if noise >= s {
			noise = s
		}
		keep := math.Sqrt(1 - noise*noise/(s*s))
		q.factor[i] = c.prior[i] + keep*(q.factor[i]-c.prior[i]) + noise*rng.NormFloat64()
	}
}

// run marches one particle from one moment to another and notes when it meets the end.
func (c *cloud) run(q *particle, from, to float64, rng *rand.Rand) {
	b := body{q.water, q.temp, q.solids}
	d := drive{wall: math.Exp(q.factor[iWall]), off: c.off, hold: c.holdOf(q)}
	plain := c.share
	if q.heat != 0 {
		plain *= math.Exp(q.heat)
	}
	for from < to-1e-9 {
		dt := min(piece, to-from)
		c.drift(q, dt, rng)
		d.surface, d.power = math.Exp(q.factor[iSurface]), plain*math.Exp(q.factor[iPower])
		used := 0.0
		if c.end != nil && q.crossed < 0 {
			u, met := c.plant.march(&b, &d, dt, c.end)
			if used = dt; met {
				q.crossed, used = from+u, u
			}
		}
		if used < dt {
			c.plant.march(&b, &d, dt-used, nil)
		}
		from += dt
	}
	q.water, q.temp = b.water, b.temp
}

// advance moves all particles to a moment. A share of them tries an untold change at a
// moment of its own on the way; weights keep the true frequency.
func (c *cloud) advance(to float64) {
	dt := to - c.clock
	if dt <= 0 {
		return
	}
	chance := -math.Expm1(-c.hazard * dt)
	try := max(chance, tryChange)
	if c.off {
		try = 0
	}
	sum := 0.0
	for i := range c.now {
		q := &c.now[i]
		from := c.clock
		if try > 0 {
			if c.rng.Float64() < try {
				at := from + c.rng.Float64()*dt
				c.run(q, from, at, c.rng)
				c.change(q, at, c.rng)
				q.weight *= chance / try
				from = at
			} else {
				q.weight *= (1 - chance) / (1 - try)
			}
		}
		c.run(q, from, to, c.rng)
		sum += q.weight
	}
	c.clock = to
	c.scale(sum)
}

func (c *cloud) scale(sum float64) {
	for i := range c.now {
		c.now[i].weight /= sum
	}
}

// predict is what a reading of a kind should show for a particle.
func (c *cloud) predict(q *particle, k kind) float64 {
	switch k {
	case levelKind:
		v := c.plant.volume(q.water, q.solids, q.temp) + c.plant.boneV
		return float64(c.plant.vessel.LevelAt(volumeUnits(v))) * math.Exp(q.factor[iMarks])
	case volumeKind:
		return c.plant.volume(q.water, q.solids, q.temp) * math.Exp(q.factor[iMarks])
	case massKind:
		return q.water + q.solids
	case solidsKind:
		s := q.solids
		return s / (q.water + s)
	default:
		return q.temp
	}
}

// weigh takes a reading in. The likelihood is a contaminated normal: a share of the
// readings are slips with a Cauchy distribution. Each particle draws whether it takes
// the reading for a slip and remembers it in a bit, so that later readings judge the
// earlier ones.
//
// It reports whether the particles were renewed.
func (c *cloud) weigh(k kind, value, sigma float64, n int) bool {
	bit := uint64(1) << (n % 64)
	sum := 0.0
	for i := range c.now {
		q := &c.now[i]
		z := (value - c.predict(q, k)) / sigma
		good := 0.0
		if z*z < 100 {
			good = (1 - slipShare) * math.Exp(-z*z/2) / (math.Sqrt2 * math.SqrtPi)
		}
		s := z / slipScale
		slip := slipShare / (math.Pi * slipScale * (1 + s*s))
		q.doubt &^= bit
		if c.rng.Float64()*(good+slip) < slip {
			q.doubt |= bit
		}
		q.weight *= good + slip
		sum += q.weight
	}
	if !(sum > 0) { // beyond a double's range: nothing can be learned from it
		for i := range c.now {
			c.now[i].weight = 1
		}
		sum = float64(len(c.now))
	}
	square := 0.0
	for i := range c.now {
		w := c.now[i].weight / sum
		c.now[i].weight = w
		square += w * w
	}
	if 1/square >= 0.5*float64(len(c.now)) {
		return false
	}
	c.renew()
	return true
}

// slips returns how many particles, by weight, took the n-th reading for a slip.
func (c *cloud) slips(n int) float64 {
	sum := 0.0
	for i := range c.now {
		sum += c.now[i].weight * float64(bits.OnesCount64(c.now[i].doubt&(1<<(n%64))))
	}
	return sum
}

// renew resamples (systematic; Kitagawa, J. Comp. Graph. Stat. 5, 1996) and rejuvenates
// by kernels as wide as those of Liu and West 2001 (both from memory).
func (c *cloud) renew() {
	n := len(c.now)
	u := c.rng.Float64()
	sum, j := 0.0, 0
	for i := range c.now {
		sum += c.now[i].weight * float64(n)
		for ; j < n && float64(j)+u < sum; j++ {
			c.spare[j] = c.now[i]
		}
	}
	for ; j < n; j++ { // rounding of the sum
		c.spare[j] = c.spare[j-1]
	}
	c.now, c.spare = c.spare, c.now
	for i := range c.now {
		c.now[i].weight = 1 / float64(n)
	}
	c.stir(false)
	c.stir(true)
}
