package simmer

import (
	"errors"
	"fmt"
	"math"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// The reduced model is the Kettle tabulated: rates are asked of Kettle.State at nodes of
// water mass and temperature, so that it follows whatever physics the Kettle has, and
// are interpolated. Factors of surface, power and wall enter outside of the tables,
// since the Kettle's balance is linear in them. A march over an hour costs some
// hundred nanoseconds; TestReducedModelFollowsTheKettle states its error.
const (
	massNodes = 32 // equidistant in the square root of the water mass
	tempNodes = 12 // equidistant from coldNode to the boil
	coldNode  = 30.0
	wallNode  = 7 // where wall conductance and heat capacity are taken, near 74 C
)

// row are the rates along the mass nodes at one temperature.
type row struct {
	temp, latent float64
	evap, sens   [massNodes]float64 // kg/s and W through the surface at factor 1
}

// plant is the reduced model of one vessel with one load. It is read only after its
// making, but for the row of the temperature held.
type plant struct {
	vessel        Vessel
	load          Load
	cond          Conditions
	room, boil    float64
	power         float64 // useful at factor 1 and share 1, W; not of a steam jacket
	steam         float64 // C, of a jacket; 0 without one
	solids, boneV float64 // kg and m3
	low, high     float64 // water range, kg
	u0, uInv      float64
	tInv          float64

	logEvap, sens [tempNodes][massNodes]float64 // ln(kg/s), W
	wall          [massNodes]float64            // W/K at factor 1
	capacity      [massNodes]float64            // J/K
	latent        [tempNodes]float64            // J/kg
	water, dry    [tempNodes]float64            // specific volumes, m3/kg
	jacket, limit [massNodes]float64            // W/K of a jacket at factor 1; W that spares the bottom
	limited       bool
	held          row
}

// newPlant tabulates. The error is that of NewKettle, or says that there is too little
// to reduce.
func newPlant(v Vessel, l Load, d Duty, c Conditions) (*plant, error) {
	v, err := v.normal()
	if err != nil {
		return nil, err
	}
	if l, err = l.normal(); err != nil {
		return nil, err
	}
	k, err := NewKettle(v, l, d, c)
	if err != nil {
		return nil, err
	}
	p := &plant{
		vessel: v, load: l, cond: c, room: float64(c.Room), boil: float64(k.BoilingPoint()),
		power:  float64(v.Power) * v.Efficiency,
		solids: float64(l.Liquid) * l.Solids, boneV: float64(l.Bones) / float64(l.BoneDensity),
	}
	if err := p.span(); err != nil {
		return nil, err
	}
	if v.Heater.Kind == SteamJacket {
		t, err := v.Heater.SteamTemperature()
		if err != nil {
			return nil, err
		}
		p.steam = float64(t)
	}
	if err := p.fill(); err != nil {
		return nil, err
	}
	if d, err = d.normal(units.Celsius(p.boil)); err != nil {
		return nil, err
	}
	return p, p.set(d)
}

// span sets the range of water masses.
func (p *plant) span() error {
	start := float64(p.load.Liquid) * (1 - p.load.Solids)
	p.low = math.Max(0.02*start, math.Max(0.06, 1.002*p.solids*(1-MaxSolids)/MaxSolids))
	p.high = 1.06 * start
	water, dry, err := specificVolumes(p.boil)
	if err != nil {
		return err
	}
	// Nodes are filled at the boil: stay 0.1 % below the brim there.
	if room := 0.999*float64(p.vessel.Brimful()) - p.boneV - p.solids*dry; room < p.high*water {
		p.high = room / water
	}
	if p.low > 0.9*p.high {
		return fmt.Errorf("%.2f kg of liquid with %.0f %% solids is too little to follow a reduction", float64(p.load.Liquid), 100*p.load.Solids)
	}
	p.u0 = math.Sqrt(p.low)
	p.uInv = (massNodes - 1) / (math.Sqrt(p.high) - p.u0)
	p.tInv = (tempNodes - 1) / (p.boil - coldNode)
	return nil
}

// fill tabulates everything but the row of the temperature held.
func (p *plant) fill() error {
	for n := range tempNodes {
		j := (n + wallNode) % tempNodes
		t := coldNode + float64(j)/p.tInv
		var err error
		if p.water[j], p.dry[j], err = specificVolumes(t); err != nil {
			return err
		}
		r, err := p.ask(t)
		if err != nil {
			return err
		}
		p.latent[j] = r.latent
		p.sens[j] = r.sens
		for i := range massNodes {
			p.logEvap[j][i] = math.Log(math.Max(r.evap[i], 1e-15))
		}
	}
	return nil
}

// set tabulates what depends on a duty: the rates at the temperature held and the power
// that spares the bottom. The duty is a normal one.
func (p *plant) set(d Duty) error {
	if float64(d.Hold) != p.held.temp {
		r, err := p.ask(float64(d.Hold))
		if err != nil {
			return err
		}
		p.held = r
	}
	p.limited = d.MaxSuperheat > 0
	if !p.limited {
		return nil
	}
	for i := range massNodes {
		q, err := p.entering(i, p.boil-belowBoil, p.strong(), Duty{MaxSuperheat: d.MaxSuperheat})
		if err != nil {
			return err
		}
		p.limit[i] = q
	}
	return nil
}

// strong is the vessel with so much heat that it can hold whatever is asked.
func (p *plant) strong() Vessel {
	v := p.vessel
	v.Efficiency = 1
	if v.Heater.Kind == SteamJacket {
		v.Heater.Steam, v.Heater.Coefficient = 8*units.Bar, 5000
	} else {
		v.Power = 1e6
	}
	return v
}

// node is the load at a mass node and a temperature.
func (p *plant) node(i int, t float64) Load {
	u := p.u0 + float64(i)/p.uInv
	l := p.load
	l.Liquid = units.Mass(u*u + p.solids)
	l.Solids = p.solids / float64(l.Liquid)
	l.Start = units.Celsius(t)
	return l
}

// entering is the power that enters at a mass node and temperature, all heat on.
func (p *plant) entering(i int, t float64, v Vessel, d Duty) (float64, error) {
	k, err := NewKettle(v, p.node(i, t), d, p.cond)
	if err != nil {
		return 0, err
	}
	return float64(k.State().Power), nil
}

// belowBoil keeps a node from being a boiling one, K: transfer is asked, not power.
const belowBoil = 1e-6

// ask runs along the mass nodes at one temperature; wall and capacity are taken on the way.
func (p *plant) ask(temp float64) (row, error) {
	t := math.Min(temp, p.boil-belowBoil)
	latent, err := thermo.LatentHeat(units.Celsius(t))
	if err != nil {
		return row{}, err
	}
	out := row{temp: temp, latent: latent}
	strong := p.strong()
	other := strong
	if other.WallLoss *= 2; other.WallLoss > 100 {
		other.WallLoss = strong.WallLoss / 2
	}
	duty := Duty{Hold: units.Celsius(t)}
	for i := range massNodes {
		l := p.node(i, t)
		k, err := NewKettle(strong, l, duty, p.cond)
		if err != nil {
			return row{}, err
		}
		s := k.State()
		if s.Mode != Holding {
			return row{}, fmt.Errorf("the kettle is %v, not holding, at %.1f C: its surface is beyond the tables", s.Mode, t)
		}
		if p.capacity[i] == 0 { // once: the wall's conductance and the heat capacity
			if k, err = NewKettle(other, l, duty, p.cond); err != nil {
				return row{}, err
			}
			if dt := t - p.room; math.Abs(dt) > 1 {
				p.wall[i] = float64(k.State().Power-s.Power) / (other.WallLoss/strong.WallLoss - 1) / dt
			}
			p.capacity[i] = k.capacity(k.y)
			if p.steam > 0 {
				at := coldNode
				if p.steam > p.boil+1 { // the level is that of hot contents
					at = p.boil - belowBoil
				}
				q, err := p.entering(i, at, p.vessel, Duty{})
				if err != nil {
					return row{}, err
				}
				p.jacket[i] = q / (p.steam - at)
			}
		}
		out.evap[i] = s.Evaporation
		out.sens[i] = float64(s.Power) - latent*s.Evaporation - p.wall[i]*(t-p.room)
		if math.IsNaN(out.sens[i]) || math.IsInf(out.sens[i], 0) {
			return row{}, errors.New("the kettle's heat balance is not finite")
		}
	}
	return out, nil
}

// specificVolumes of water and of stock solids, m3/kg.
func specificVolumes(t float64) (water, dry float64, err error) {
	w, err := LiquidVolume(1, 0, units.Celsius(t))
	if err != nil {
		return 0, 0, err
	}
	half, err := LiquidVolume(1, 0.5, units.Celsius(t))
	return float64(w), 2*float64(half) - float64(w), err
}

// place is a position between mass nodes.
type place struct {
	i int
	f float64
}

func (p *plant) at(water float64) place {
	x := (math.Sqrt(max(water, p.low)) - p.u0) * p.uInv
	i := min(int(x), massNodes-2)
	return place{i, min(x-float64(i), 1)}
}

func (c place) of(a *[massNodes]float64) float64 { return a[c.i] + c.f*(a[c.i+1]-a[c.i]) }

// warm returns the node below a temperature and the share of the way to the next; the
// share is negative below the coldest node, which extrapolates.
func (p *plant) warm(t float64) (int, float64) {
	x := (t - coldNode) * p.tInv
	j := max(0, min(int(x), tempNodes-2))
	return j, min(x-float64(j), 1)
}

// surface returns evaporation (kg/s) and dry surface heat (W) at factor 1 and their
// derivatives by temperature.
func (p *plant) surface(c place, t float64) (evap, sens, devap, dsens float64) {
	j, g := p.warm(t)
	a, b := c.of(&p.logEvap[j]), c.of(&p.logEvap[j+1])
	evap = math.Exp(a + g*(b-a))
	devap = evap * (b - a) * p.tInv
	s, r := c.of(&p.sens[j]), c.of(&p.sens[j+1])
	return evap, s + g*(r-s), devap, (r - s) * p.tInv
}

func (p *plant) latentAt(t float64) float64 {
	j, g := p.warm(t)
	return p.latent[j] + g*(p.latent[j+1]-p.latent[j])
}

// volume of the liquid, m3.
func (p *plant) volume(water, solids, t float64) float64 {
	j, g := p.warm(t)
	return water*(p.water[j]+g*(p.water[j+1]-p.water[j])) + solids*(p.dry[j]+g*(p.dry[j+1]-p.dry[j]))
}

// drive is what acts on the contents during a march.
type drive struct {
	surface, wall float64 // factors
	power         float64 // factor, share of the power included
	hold          float64 // C
	off           bool
}

// body is the contents: water (kg) and temperature (C), and the solids (kg).
type body struct{ water, temp, solids float64 }

// ending is where a run stops, in the reduced model's terms; zero fields are not asked.
type ending struct {
	volume, mass, solids float64 // m3, kg, mass fraction
	temp                 float64 // C
}

// left is the smallest relative distance to an end, not positive when it is reached,
// and which. It is huge when no end is asked. Each distance is linear in the water, so that
// a crossing is interpolated well.
func (p *plant) left(b *body, e *ending) (float64, Target) {
	best, by := 1e9, NoTarget
	if e.volume > 0 {
		if d := p.volume(b.water, b.solids, b.temp)/e.volume - 1; d < best {
			best, by = d, VolumeTarget
		}
	}
	liquid := b.water + b.solids
	if e.mass > 0 {
		if d := liquid/e.mass - 1; d < best {
			best, by = d, MassTarget
		}
	}
	if e.solids > 0 {
		if d := liquid*e.solids/b.solids - 1; d < best {
			best, by = d, SolidsTarget
		}
	}
	if e.temp > 0 {
		if d := (e.temp - b.temp) / 100; d < best {
			best, by = d, TemperatureTarget
		}
	}
	return best, by
}

// atHold is how close to the temperature held counts as there, K.
const atHold = 1e-7

// march advances b by h seconds. With an ending it stops where that is reached and
// returns the seconds used and true.
func (p *plant) march(b *body, d *drive, h float64, e *ending) (float64, bool) {
	used := 0.0
	before := 1e9
	if e != nil {
		if before, _ = p.left(b, e); before <= 0 {
			return 0, true
		}
	}
	for used < h-1e-9 {
		if b.water <= p.low { // dry: the model ends here, as the Kettle's does
			return used, false
		}
		was := *b
		step := p.step(b, d, h-used)
		if e != nil {
			after, _ := p.left(b, e)
			if after <= 0 {
				share := before / (before - after)
				b.water = was.water + share*(b.water-was.water)
				b.temp = was.temp + share*(b.temp-was.temp)
				return used + share*step, true
			}
			before = after
		}
		used += step
	}
	return h, false
}

// step makes one step of at most h seconds and returns its length.
func (p *plant) step(b *body, d *drive, h float64) float64 {
	c := p.at(b.water)
	if !d.off && math.Abs(b.temp-d.hold) <= atHold {
		if rate, ok := p.settled(c, d); ok {
			dt := min(h, 0.08*b.water/max(rate, 1e-9))
			mid, ok := p.settled(p.at(b.water-rate*dt/2), d)
			if !ok {
				mid = rate
			}
			b.water, b.temp = max(b.water-mid*dt, p.low), d.hold
			return dt
		}
	}
	return p.drift(b, d, c, h)
}

// supply is the power that can enter, W, and its derivative by temperature.
func (p *plant) supply(c place, t float64, d *drive) (q, slope float64) {
	q = d.power * p.power
	if p.steam > 0 {
		k := d.power * c.of(&p.jacket)
		if q = k * (p.steam - t); q <= 0 {
			return 0, 0
		}
		slope = -k
	}
	if p.limited {
		if most := c.of(&p.limit); most < q {
			return most, 0
		}
	}
	return q, slope
}

// settled is the evaporation while the temperature is held or the liquid boils; false
// when the power does not suffice.
func (p *plant) settled(c place, d *drive) (float64, bool) {
	var evap, sens, latent float64
	if d.hold == p.held.temp {
		evap, sens, latent = c.of(&p.held.evap), c.of(&p.held.sens), p.held.latent
	} else {
		evap, sens, _, _ = p.surface(c, d.hold)
		latent = p.latentAt(d.hold)
	}
	evap *= d.surface
	loss := sens + d.wall*c.of(&p.wall)*(d.hold-p.room)
	q, _ := p.supply(c, d.hold, d)
	if q < loss+latent*evap {
		return evap, false
	}
	if d.hold >= p.boil-1e-9 {
		return max(evap, (q-loss)/latent), true
	}
	return evap, true
}

// drift lets the temperature run towards what is held or, without the power for it, to
// where it settles: an exponential (Rosenbrock-Euler) step, exact for a linear balance and
// stable for any length (Hochbruck and Ostermann, Acta Numerica 19, 2010; from memory).
func (p *plant) drift(b *body, d *drive, c place, h float64) float64 {
	q, slope := 0.0, 0.0
	if !d.off && b.temp <= d.hold+atHold {
		q, slope = p.supply(c, b.temp, d)
	}
	evap, sens, devap, dsens := p.surface(c, b.temp)
	latent, wall, heat := p.latentAt(b.temp), d.wall*c.of(&p.wall), c.of(&p.capacity)
	f := (q - sens - wall*(b.temp-p.room) - d.surface*latent*evap) / heat
	j := (slope - dsens - wall - d.surface*latent*devap) / heat
	dt := min(h, 300)
	if r := math.Abs(f) * dt; r > 2 {
		dt *= 2 / r
	}
	if r := d.surface * evap * dt; r > 0.08*b.water {
		dt *= 0.08 * b.water / r
	}
	gain := func(dt float64) float64 {
		if x := j * dt; math.Abs(x) > 1e-6 {
			return f * math.Expm1(x) / j
		}
		return f * dt
	}
	rise := gain(dt)
	next := b.temp + rise
	gap := d.hold - b.temp
	if !d.off && math.Abs(gap) > atHold && rise*gap > 0 && math.Abs(rise) >= math.Abs(gap) {
		if x := 1 + j*gap/f; x > 0 && math.Abs(j) > 1e-12 {
			dt = min(dt, math.Log(x)/j)
		} else {
			dt *= gap / rise
		}
		next = d.hold
	}
	next = max(0, min(next, p.boil))
	// The mean of exp(slope*T) over the rise, to third order.
	x := devap * (next - b.temp)
	mean := evap + x/2
	if evap > 0 {
		mean += x * x / (6 * evap)
	}
	b.water = max(b.water-d.surface*mean*dt, p.low)
	b.temp = next
	return max(dt, 1e-3)
}
