package simmer

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"rondeau.internal/pkg/units"
)

// Tracker follows one run: readings and settings go in one by one as they come, and at
// any time it says when the run will be finished and what is believed of the vessel. It
// is a value without clock or goroutines, not safe for concurrent use.
type Tracker struct {
	setup  Setup
	cloud  cloud
	probe  probe
	ending ending
	start  State
	seen   []look
	told   time.Duration // of the last setting
	last   time.Duration

	future   *rand.Rand
	source   *rand.PCG
	finishes []finishing // of the particles, by time; empty when out of date
}

// look is a reading taken in.
type look struct {
	Reading
	kind   kind
	value  float64
	frozen float64 // chance of a slip when it left the particles' memory; below 0: there
}

// memory is how many readings the particles remember.
const memory = 64

// mostReadings of one run.
const mostReadings = 10000

// NewTracker checks the setup and returns a tracker at time 0.
func NewTracker(s Setup) (*Tracker, error) {
	s, err := s.normal()
	if err != nil {
		return nil, err
	}
	k, err := NewKettle(s.Vessel, s.Load, s.Duty, s.Conditions)
	if err != nil {
		return nil, err
	}
	t := &Tracker{setup: s, start: k.State()}
	if s.End.Superheat != 0 {
		return nil, errors.New("a superheat is not an end that readings can tell: give a volume, a mass or a solids fraction")
	}
	if s.End != (EndPoint{}) {
		if err := s.End.check(t.start); err != nil {
			return nil, err
		}
	}
	p, err := newPlant(s.Vessel, s.Load, s.Duty, s.Conditions)
	if err != nil {
		return nil, err
	}
	duty, err := s.Duty.normal(k.BoilingPoint())
	if err != nil {
		return nil, err
	}
	if s.Until > duty.Hold {
		return nil, fmt.Errorf("temperature to reach %.2f C is above the %.2f C held", float64(s.Until), float64(duty.Hold))
	}
	if s.Until > 0 && s.Until <= t.start.Temperature {
		return nil, fmt.Errorf("temperature to reach %.2f C is not above the %.2f C there are now", float64(s.Until), float64(t.start.Temperature))
	}
	t.ending = ending{float64(s.End.Volume), float64(s.End.Mass), s.End.Solids, float64(s.Until)}
	if least := t.leastWater(); least < p.low {
		return nil, fmt.Errorf("the end point leaves %.2f kg of water, below the %.2f kg that can be followed", least, p.low)
	}
	t.prepare(p, duty)
	return t, nil
}

// prepare makes the particles.
func (t *Tracker) prepare(p *plant, duty Duty) {
	s := &t.setup
	t.source = rand.NewPCG(s.Seed, 2)
	t.future = rand.New(t.source)
	t.cloud = cloud{
		plant: p, now: make([]particle, s.Particles), spare: make([]particle, s.Particles),
		rng:    rand.New(rand.NewPCG(s.Seed, 1)),
		share:  duty.PowerShare,
		hold:   float64(duty.Hold),
		off:    duty.Off,
		wander: s.Wander / 60, // per root hour to per root second
		hazard: s.ChangesPerHour / 3600,
		prior:  s.Prior.mean(),
	}
	if t.ending != (ending{}) {
		t.cloud.end = &t.ending
	}
	for i, f := range []Factor{s.Prior.Surface, s.Prior.Power} {
		t.cloud.spreads[i] = max(f.Spread, leastDrift)
	}
	t.cloud.sow(s.Prior, s.LiquidSpread, s.SolidsSpread, body{
		float64(t.start.Liquid) * (1 - t.start.Solids), float64(t.start.Temperature), p.solids,
	})
	t.probe.prepare(s.Prior.covariance(), body{
		float64(t.start.Liquid) * (1 - t.start.Solids), float64(t.start.Temperature), p.solids,
	})
	t.seen = make([]look, 0, 256)
	t.finishes = make([]finishing, 0, s.Particles)
}

// leastDrift is the long-run spread of a factor within a run however well the vessel is
// known: fat, draught, gas pressure (chosen, no source).
const leastDrift = 0.08

// leastWater is the water at the end points, kg; huge when there is none.
func (t *Tracker) leastWater() float64 {
	s := float64(t.setup.Load.Liquid) * t.setup.Load.Solids
	least := math.Inf(1)
	if t.ending.mass > 0 {
		least = min(least, t.ending.mass-s)
	}
	if t.ending.solids > 0 {
		least = min(least, s/t.ending.solids-s)
	}
	if t.ending.volume > 0 {
		if m, err := LiquidMass(units.Volume(t.ending.volume), 0, t.start.Temperature); err == nil {
			least = min(least, float64(m)-s)
		}
	}
	return least
}

// Now is the moment of the last reading, setting or Advance, since the start.
func (t *Tracker) Now() time.Duration { return t.last }

// moment checks a time and moves the particles there.
func (t *Tracker) moment(at time.Duration) error {
	switch {
	case at < 0 || at > t.setup.Horizon:
		return fmt.Errorf("time %v is outside 0 to the horizon of %v", at, t.setup.Horizon)
	case at < t.last:
		return fmt.Errorf("time %v lies before %v, which has been taken in already: give readings and settings in order", at, t.last)
	}
	t.cloud.march(&t.probe, at.Seconds()-t.cloud.clock)
	t.cloud.advance(at.Seconds())
	t.last = at
	t.finishes = t.finishes[:0]
	return nil
}

// Advance lets time pass without a reading.
func (t *Tracker) Advance(to time.Duration) error { return t.moment(to) }

// Read takes one reading in. A reading that is refused changes nothing. Whether it is
// believed is asked later, of Doubted: what follows may explain it.
func (t *Tracker) Read(r Reading) error {
	k, value, err := r.value()
	if err != nil {
		return err
	}
	if k == solidsKind && t.cloud.plant.solids <= 0 {
		return errors.New("solids were read of a liquid that was said to have none: give the solids of the load")
	}
	if len(t.seen) >= mostReadings {
		return fmt.Errorf("more than %d readings of one run: give every second one", mostReadings)
	}
	if err := t.moment(r.Elapsed); err != nil {
		return err
	}
	n := len(t.seen)
	if n >= memory {
		t.seen[n-memory].frozen = t.cloud.slips(n - memory)
	}
	t.seen = append(t.seen, look{Reading: r, kind: k, value: value, frozen: -1})
	sigma := r.sigma(k, float64(t.start.Volume), float64(t.start.Liquid))
	renewed := t.cloud.weigh(k, value, sigma, n)
	t.cloud.learn(&t.probe, k, sigma)
	if renewed {
		t.cloud.refresh(&t.probe)
	}
	return nil
}

// SetDuty takes in what the cook recorded: the duty from a moment on. Untold changes
// before it are over; a power share told is what the cook aimed at, within some 10 %.
func (t *Tracker) SetDuty(at time.Duration, d Duty) error {
	p := t.cloud.plant
	d, err := d.normal(units.Celsius(p.boil))
	if err != nil {
		return err
	}
	if float64(t.setup.Until) > float64(d.Hold) && !d.Off {
		return fmt.Errorf("the %.2f C to hold are below the %.2f C to reach: the run would not end", float64(d.Hold), float64(t.setup.Until))
	}
	if err := t.moment(at); err != nil {
		return err
	}
	if err := p.set(d); err != nil {
		return err
	}
	c := &t.cloud
	turned := d.PowerShare != c.share
	wasHold := c.hold
	for i := range c.now {
		q := &c.now[i]
		if turned || d.Hold != units.Celsius(wasHold) || d.Off != c.off {
			q.heat, q.shift, q.changed = 0, 0, -1
		}
		if turned {
			q.heat = toldSpread * c.rng.NormFloat64()
		}
	}
	c.share, c.hold, c.off = d.PowerShare, float64(d.Hold), d.Off
	t.told = at
	return nil
}

// Belief about the vessel now: mean and covariance of the particles, to be kept as the
// posterior of the run.
func (t *Tracker) Belief() Belief {
	var mean factorVector
	var v factorMatrix
	for i := range t.cloud.now {
		q := &t.cloud.now[i]
		for r := range factors {
			mean[r] += q.weight * q.factor[r]
		}
	}
	for i := range t.cloud.now {
		q := &t.cloud.now[i]
		for r := range factors {
			for s := range factors {
				v[r][s] += q.weight * (q.factor[r] - mean[r]) * (q.factor[s] - mean[s])
			}
		}
	}
	b := beliefOf(mean, v)
	b.Readings = t.setup.Prior.Readings + len(t.seen) - len(t.Doubted())
	b.Runs = t.setup.Prior.Runs + 1
	return b
}

// Doubt is a reading that is not believed.
type Doubt struct {
	Reading Reading
	// Number of the reading in the order given, from 1.
	Number int
	// Chance that it is a slip, 0.5 to 1.
	Chance float64
}

// Doubted returns the readings not believed in the light of all that came since. The
// caller owns the slice.
func (t *Tracker) Doubted() []Doubt {
	var out []Doubt
	for n, r := range t.seen {
		chance := r.frozen
		if chance < 0 {
			chance = t.cloud.slips(n)
		}
		if chance > 0.5 {
			out = append(out, Doubt{Reading: r.Reading, Number: n + 1, Chance: min(chance, 1)})
		}
	}
	return out
}

// Change of the heat that nobody told.
type Change struct {
	// Chance that there was one since the last setting told, 0 to 1.
	Chance float64
	// Likely moment since the start, and the span that holds it in 8 of 10 cases.
	Likely, Early, Late time.Duration
	// Power is the median factor on the power told, Hold the median change of the
	// temperature told to be held; 1 and 0 where nothing is noticed.
	Power float64
	Hold  units.CelsiusDelta
}

// Noticed tells whether a change is more likely than not by 4 to 1.
func (c Change) Noticed() bool { return c.Chance >= 0.8 }

// Change returns the untold change of the heat, as far as readings show one.
func (t *Tracker) Change() Change {
	moments := make([]finishing, 0, 64)
	powers, holds := make([]finishing, 0, 64), make([]finishing, 0, 64)
	out := Change{Power: 1}
	for i := range t.cloud.now {
		q := &t.cloud.now[i]
		if q.changed < 0 || q.heat == 0 && q.shift == 0 {
			continue
		}
		out.Chance += q.weight
		moments = append(moments, finishing{q.changed, q.weight, 0})
		powers = append(powers, finishing{q.heat, q.weight, 0})
		holds = append(holds, finishing{q.shift, q.weight, 0})
	}
	if out.Chance <= 0 {
		return out
	}
	out.Chance = min(out.Chance, 1)
	for _, s := range [][]finishing{moments, powers, holds} {
		order(s)
	}
	out.Early, out.Likely, out.Late = seconds(quantile(moments, 0.1)), seconds(quantile(moments, 0.5)), seconds(quantile(moments, 0.9))
	out.Power, out.Hold = math.Exp(quantile(powers, 0.5)), units.CelsiusDelta(quantile(holds, 0.5))
	return out
}
