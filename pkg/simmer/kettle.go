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
	y      vector
	start  float64 // water at the start plus added, kg
	clock  float64 // s
	mode   Mode
	worst  float64 // sum of accepted error estimates, relative
	steps  int
}

// vector holds temperature (C), water (kg), energy in (J), energy lost (J).
type vector [4]float64

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
	heat := heatOf(water, dry, float64(t))
	own := k.capacity(k.y)
	mixed := (own*k.y[0] + heat*float64(t)) / (own + heat)
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
	return State{
		Elapsed:     seconds(k.clock),
		Temperature: units.Celsius(t),
		Liquid:      units.Mass(water + k.solids),
		Volume:      units.Volume(volume),
		Level:       k.vessel.LevelAt(units.Volume(volume + k.boneV)),
		Solids:      k.solids / (water + k.solids),
		Evaporation: -r[1],
		Power:       units.Power(q),
		Mode:        k.mode,
		Evaporated:  units.Mass(k.start - water),
		EnergyIn:    units.Energy(k.y[2]),
		EnergyLost:  units.Energy(k.y[3]),
	}
}

// available is the power that can enter the contents, W.
func (k *Kettle) available() float64 {
	if k.duty.Off {
		return 0
	}
	return float64(k.vessel.Power) * k.vessel.Efficiency * k.duty.PowerShare
}

func (k *Kettle) capacity(y vector) float64 {
	return heatOf(y[1], k.solids, y[0]) + k.bones*SpecificHeatBones + float64(k.vessel.ShellMass)*SpecificHeatSteel
}

// demand returns losses (W), transfer evaporation (kg/s) and latent heat (J/kg).
func (k *Kettle) demand(y vector) (loss, transfer, h float64) {
	t := math.Max(0, math.Min(y[0], float64(k.air.boil)))
	level := k.vessel.LevelAt(units.Volume(volumeOf(y[1], k.solids, t) + k.boneV))
	surface := k.vessel.SurfaceAt(level)
	h, _ = thermo.LatentHeat(units.Celsius(math.Max(t, 0.01)))
	loss = k.vessel.WallLoss * float64(k.vessel.WettedAt(level)) * (t - k.air.room)
	if surface > 1e-6 {
		e := k.air.exchange(t, float64(surface), k.vessel.characteristic(surface))
		open := 1 - k.cover
		loss += open*float64(e.Radiation+e.Convection) + k.cover*DefaultWallLoss*float64(surface)*(t-k.air.room)
		transfer = e.Evaporation * (open + k.cover*LidLeak)
	}
	return loss, transfer, h
}

// flows returns dy/dt in the present mode and the power entering, W.
func (k *Kettle) flows(y vector) (vector, float64) {
	loss, transfer, h := k.demand(y)
	switch k.mode {
	case Holding:
		q := loss + h*transfer
		return vector{0, -transfer, q, loss}, q
	case Boiling:
		q := k.available()
		return vector{0, -math.Max(transfer, (q-loss)/h), q, loss}, q
	default:
		q := 0.0
		if k.mode == Heating {
			q = k.available()
		}
		return vector{(q - loss - h*transfer) / k.capacity(y), -transfer, q, loss}, q
	}
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
		loss, transfer, h := k.demand(k.y)
		switch {
		case k.available() < loss+h*transfer:
			k.mode = Heating // full power, and still falling
		case hold >= float64(k.air.boil)-close:
			k.mode = Boiling
		default:
			k.mode = Holding
		}
	}
}

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }
