package simmer

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// Kettle is a stepping simulator of one vessel. It is a value without goroutines
// or clock: the caller advances it. Not safe for concurrent use.
type Kettle struct {
	vessel Vessel
	duty   Duty
	air    air
	cover  float64
	solids float64 // kg, conserved
	bones  float64 // kg
	boneV  float64 // m3
	steam  float64 // C, of a steam jacket
	floor  float64 // m2 that a flame or plate heats
	tol    float64 // of the integrator, relative
	y      vector
	start  float64 // water at the start plus added, kg
	clock  float64 // s
	mode   Mode
	worst  float64 // sum of accepted error estimates, relative
	steps  int
	memo   moment
}

// moment is what depends on the temperature alone; while it is held the last one serves
// again. It belongs to one air.
type moment struct {
	t          float64
	known      bool
	latent     float64 // J/kg
	water, dry float64 // m3/kg
	flux       Exchange
}

// at returns the moment of a temperature within 0 C and the boil.
func (k *Kettle) at(t float64) *moment {
	m := &k.memo
	if m.t != t || !m.known {
		m.t, m.known = t, true
		m.latent, _ = thermo.LatentHeat(units.Celsius(math.Max(t, 0.01)))
		m.water, m.dry = specificVolume(t)
		m.flux = k.air.flux(t, m.latent)
	}
	return m
}

// vector holds temperature (C), water (kg), energy in (J), energy lost (J), energy gone
// with the vapour (J).
type vector [5]float64

// NewKettle checks everything and returns a kettle at time 0.
func NewKettle(v Vessel, l Load, d Duty, c Conditions) (*Kettle, error) {
	v, err := v.normal()
	if err != nil {
		return nil, err
	}
	if l, err = l.normal(); err != nil {
		return nil, err
	}
	a, err := newAir(c)
	if err != nil {
		return nil, err
	}
	if l.Start > a.boil {
		return nil, fmt.Errorf("start temperature %g C is above the local boiling point %.2f C", float64(l.Start), float64(a.boil))
	}
	if d, err = d.normal(a.boil); err != nil {
		return nil, err
	}
	if err := checkFits(v, l); err != nil {
		return nil, err
	}
	k := &Kettle{
		vessel: v, duty: d, air: a, cover: c.Cover,
		solids: float64(l.Liquid) * l.Solids,
		bones:  float64(l.Bones), boneV: float64(l.Bones) / float64(l.BoneDensity),
		floor: float64(v.FloorArea()), tol: tolerance,
	}
	if v.Heater.Kind == SteamJacket {
		t, err := v.Heater.SteamTemperature()
		if err != nil {
			return nil, err
		}
		k.steam = float64(t)
	}
	k.y[0] = float64(l.Start)
	k.y[1] = float64(l.Liquid) * (1 - l.Solids)
	k.start = k.y[1]
	k.settle()
	return k, nil
}

// BoilingPoint at the kettle's pressure.
func (k *Kettle) BoilingPoint() units.Celsius { return k.air.boil }

// SetDuty changes what the cook has set, from now on.
func (k *Kettle) SetDuty(d Duty) error {
	d, err := d.normal(k.air.boil)
	if err != nil {
		return err
	}
	k.duty = d
	k.settle()
	return nil
}

// SetCover moves the lid: 0 open, 1 closed.
func (k *Kettle) SetCover(cover float64) error {
	if err := within("lid cover", cover, 0, 1, ""); err != nil {
		return err
	}
	k.cover = cover
	k.settle()
	return nil
}

// Add pours liquid of a solids fraction and temperature in. It is an error when
// it does not fit.
func (k *Kettle) Add(m units.Mass, solids float64, t units.Celsius) error {
	for _, err := range []error{
		within("mass added", float64(m), 0, 20000, "kg"),
		within("solids fraction", solids, 0, MaxSolids, ""),
		within("temperature", float64(t), 0, float64(k.air.boil), "C"),
	} {
		if err != nil {
			return err
		}
	}
	water, dry := float64(m)*(1-solids), float64(m)*solids
	mixed := k.mix(water, dry, float64(t))
	volume := volumeOf(k.y[1]+water, k.solids+dry, mixed) + k.boneV
	if brim := float64(k.vessel.Brimful()); volume > brim {
		return fmt.Errorf("adding %.1f kg makes %.1f L in a vessel of %.1f L to the brim", float64(m), 1000*volume, 1000*brim)
	}
	k.y[0], k.y[1] = mixed, k.y[1]+water
	k.solids += dry
	k.start += water
	k.settle()
	return nil
}

// mix is the temperature at which the contents and an addition keep their enthalpy, by
// Newton's method; the specific heats are nearly constant, so it converges at once.
func (k *Kettle) mix(water, dry, t float64) float64 {
	sum := k.enthalpy(k.y) + enthalpyOf(water, dry, t)
	y := k.y
	y[1] += water
	for range 8 {
		miss := k.enthalpy(y) + enthalpyOf(0, dry, y[0]) - sum
		step := miss / (k.capacity(y) + heatOf(0, dry, y[0]))
		if y[0] -= step; math.Abs(step) < 1e-10 {
			break
		}
	}
	return y[0]
}

// ErrDry is returned when the contents have thickened to MaxSolids or nearly
// all liquid has gone: the model ends there, and so should the heat.
var ErrDry = errors.New("the liquid has gone: take the vessel off the heat")

// Step advances by dt, up to 7 days at once, and returns the state reached. With
// ErrDry the state is the last one before the vessel runs dry.
func (k *Kettle) Step(dt time.Duration) (State, error) {
	if dt < 0 || dt > 7*24*time.Hour {
		return k.State(), fmt.Errorf("step %v is outside 0 to 168 h", dt)
	}
	_, err := k.advance(dt.Seconds(), nil)
	return k.State(), err
}

// State returns the present state.
func (k *Kettle) State() State {
	t, water := k.y[0], k.y[1]
	volume := volumeOf(water, k.solids, t)
	r, q := k.flows(k.y)
	level := k.vessel.LevelAt(units.Volume(volume + k.boneV))
	flux, rise := k.superheat(k.y, float64(level), q)
	return State{
		Elapsed:      seconds(k.clock),
		Temperature:  units.Celsius(t),
		Liquid:       units.Mass(water + k.solids),
		Volume:       units.Volume(volume),
		Level:        level,
		Solids:       k.solids / (water + k.solids),
		Evaporation:  -r[1],
		Power:        units.Power(q),
		Mode:         k.mode,
		Evaporated:   units.Mass(k.start - water),
		EnergyIn:     units.Energy(k.y[2]),
		EnergyLost:   units.Energy(k.y[3]),
		EnergyVapour: units.Energy(k.y[4]),
		Enthalpy:     units.Energy(k.enthalpy(k.y)),
		FloorFlux:    flux,
		Superheat:    units.CelsiusDelta(rise),
	}
}

func (k *Kettle) capacity(y vector) float64 {
	return heatOf(y[1], k.solids, y[0]) + k.bones*SpecificHeatBones + float64(k.vessel.ShellMass)*SpecificHeatSteel
}

func (k *Kettle) enthalpy(y vector) float64 {
	return enthalpyOf(y[1], k.solids, y[0]) + (k.bones*SpecificHeatBones+float64(k.vessel.ShellMass)*SpecificHeatSteel)*y[0]
}

// balance is what acts on the contents at one moment.
type balance struct {
	loss     float64 // W by wall and surface
	transfer float64 // kg/s of vapour below the boil
	latent   float64 // J/kg
	supply   float64 // W that can enter
}

// need is the power that holds the temperature, W.
func (b *balance) need() float64 { return b.loss + b.latent*b.transfer }

// weigh returns the balance for a vector, with the heat on or off.
func (k *Kettle) weigh(y vector, on bool) balance {
	t := math.Max(0, math.Min(y[0], float64(k.air.boil)))
	var b balance
	m := k.at(t)
	level := k.vessel.LevelAt(units.Volume(y[1]*m.water + k.solids*m.dry + k.boneV))
	b.latent = m.latent
	wall := float64(k.vessel.WettedAt(level))
	if on {
		b.supply = k.supply(y, float64(level), t)
		if k.vessel.Heater.Kind == SteamJacket {
			wall -= float64(k.vessel.Heater.JacketArea(k.vessel.Geometry, level))
		}
	}
	b.loss = k.vessel.WallLoss * wall * (t - k.air.room)
	surface, open := float64(k.vessel.SurfaceAt(level)), 1-k.cover
	b.loss += surface * (open*float64(m.flux.Radiation+m.flux.Convection) + k.cover*k.vessel.LidLoss*(t-k.air.room))
	b.transfer = surface * m.flux.Evaporation * (open + k.cover*LidLeak)
	return b
}

// supply is the power that can enter the contents, W.
func (k *Kettle) supply(y vector, level, t float64) float64 {
	if k.duty.Off {
		return 0
	}
	q := float64(k.vessel.Power) * k.vessel.Efficiency
	if k.vessel.Heater.Kind == SteamJacket {
		q = k.vessel.Heater.Coefficient * k.vessel.Efficiency * k.heated(level) * math.Max(0, k.steam-t)
	}
	q *= k.duty.PowerShare
	if k.duty.MaxSuperheat > 0 {
		q = math.Min(q, float64(k.duty.MaxSuperheat)*floorFilm(k.share(y))*k.heated(level))
	}
	return q
}

// flows returns dy/dt in the present mode and the power entering, W.
func (k *Kettle) flows(y vector) (vector, float64) {
	b := k.weigh(y, k.mode != Cooling)
	q, m, rise := 0.0, b.transfer, 0.0
	switch k.mode {
	case Holding:
		q = b.need()
	case Boiling:
		q = b.supply
		m = math.Max(0, (q-b.loss)/b.latent)
	default:
		q = b.supply
		rise = (q - b.need()) / k.capacity(y)
	}
	return vector{rise, -m, q, b.loss, m * (b.latent + enthalpyOf(1, 0, y[0]))}, q
}

// settle chooses the mode that belongs to the present state.
func (k *Kettle) settle() {
	const close = 1e-9
	hold := float64(k.duty.Hold)
	switch t := k.y[0]; {
	case k.duty.Off:
		k.mode = Cooling
	case t > hold+close:
		k.mode = Cooling
	case t < hold-close:
		k.mode = Heating
	default:
		k.y[0] = hold
		b := k.weigh(k.y, true)
		switch {
		case b.supply < b.need():
			k.mode = Heating // full power, and still falling
		case hold >= float64(k.air.boil)-close:
			k.mode = Boiling
		default:
			k.mode = Holding
		}
	}
}

func lengthOf(m float64) units.Length { return units.Length(m) }

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }
