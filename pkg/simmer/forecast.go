package simmer

import (
	"errors"
	"fmt"
	"time"

	"rondeau.internal/pkg/units"
)

// EndPoint is where a reduction stops. Zero fields are not asked for; at least one
// must be given, and the first one reached stops.
type EndPoint struct {
	// Volume of the liquid at its temperature in the vessel (hot stock is about
	// 4 % larger than cold).
	Volume units.Volume
	// Mass of the liquid.
	Mass units.Mass
	// Solids mass fraction (Brix/100), up to MaxSolids.
	Solids float64
	// Superheat of the heated wall above the contents at which to stop and lower the
	// heat, 1 to 100 K: the scorch limit. See DefaultSuperheat and Duty.MaxSuperheat.
	Superheat units.CelsiusDelta
}

// Target names the end point reached.
type Target uint8

// The end points.
const (
	NoTarget Target = iota
	VolumeTarget
	MassTarget
	SolidsTarget
	TemperatureTarget
	TimeTarget
	ScorchTarget
)

// String returns the English word.
func (t Target) String() string {
	return [...]string{"none", "volume", "mass", "solids", "temperature", "time", "scorch limit"}[t]
}

// Settings bound a forecast. The zero value is usable.
type Settings struct {
	// Horizon is the longest time looked at; 0 means 96 h, at most 14 days.
	Horizon time.Duration
	// Every asks for a series of states at this interval; 0 means none. At least
	// Horizon/10000.
	Every time.Duration
	// Tolerance is the error allowed per step of the integrator, relative (temperature
	// to 100 C, water to its mass), 1e-12 to 1e-3; 0 means 1e-7.
	Tolerance float64
}

func (s Settings) normal() (Settings, error) {
	if s.Horizon == 0 {
		s.Horizon = 96 * time.Hour
	}
	if s.Horizon < 0 || s.Horizon > 14*24*time.Hour {
		return s, fmt.Errorf("horizon %v is outside 0 to 336 h", s.Horizon)
	}
	if s.Tolerance == 0 {
		s.Tolerance = tolerance
	}
	if err := within("tolerance", s.Tolerance, 1e-12, 1e-3, ""); err != nil {
		return s, err
	}
	if s.Every < 0 || (s.Every > 0 && s.Every < s.Horizon/10000) {
		return s, fmt.Errorf("interval %v of the series is below %v", s.Every, s.Horizon/10000)
	}
	return s, nil
}

// Outcome of a forecast.
type Outcome struct {
	// Time from the start to the end point, or to the end of the horizon.
	Time time.Duration
	// Reached tells whether the end point was reached within the horizon.
	Reached bool
	// By names the end point that came first.
	By Target
	// First and Final are the states at start and end.
	First, Final State
	// Lost is the volume that went, Evaporated the water.
	Lost       units.Volume
	Evaporated units.Mass
	// Series as asked, first and last state included. The caller owns it.
	Series []State
	// Steps of the integrator and the sum of its local error estimates, relative
	// (temperature to 100 C, water to its mass).
	Steps         int
	ErrorEstimate float64
	// Assumptions and Cautions to be shown with the result.
	Assumptions, Cautions []string
}

// BringUp returns the time to heat a load to a temperature at the power allowed. A
// target above the local boiling point is an error. When losses hold the kettle
// below the target, Reached is false and Final tells how warm it gets.
func BringUp(v Vessel, l Load, c Conditions, to units.Celsius, s Settings) (Outcome, error) {
	k, err := NewKettle(v, l, Duty{}, c)
	if err != nil {
		return Outcome{}, err
	}
	if to > k.air.boil {
		return Outcome{}, fmt.Errorf("target %.1f C is above the local boiling point %.2f C", float64(to), float64(k.air.boil))
	}
	if err := within("target temperature", float64(to), 1, 150, "C"); err != nil {
		return Outcome{}, err
	}
	return k.run(s, TemperatureTarget, func(_ *Kettle, y vector) float64 { return float64(to) - y[0] })
}

// Reduce returns the time until the first of the end points is reached.
func Reduce(v Vessel, l Load, d Duty, c Conditions, end EndPoint, s Settings) (Outcome, error) {
	k, err := NewKettle(v, l, d, c)
	if err != nil {
		return Outcome{}, err
	}
	return k.reduce(end, s)
}

func (k *Kettle) reduce(end EndPoint, s Settings) (Outcome, error) {
	if err := end.check(k.State()); err != nil {
		return Outcome{}, err
	}
	out, err := k.run(s, NoTarget, func(k *Kettle, y vector) float64 {
		left, _ := end.distance(k, y)
		return left
	})
	if out.Reached {
		_, out.By = end.distance(k, k.y)
	}
	if out.By == ScorchTarget {
		out.Cautions = append(out.Cautions, CautionLowerHeat)
	}
	return out, err
}

// SimmerLoss returns what a simmer of a given time takes from the kettle.
func SimmerLoss(v Vessel, l Load, d Duty, c Conditions, simmer time.Duration, s Settings) (Outcome, error) {
	k, err := NewKettle(v, l, d, c)
	if err != nil {
		return Outcome{}, err
	}
	if simmer <= 0 {
		return Outcome{}, fmt.Errorf("simmer time %v must be above 0", simmer)
	}
	s.Horizon = simmer
	out, err := k.run(s, TimeTarget, nil)
	if err == nil {
		out.Reached, out.By = true, TimeTarget
		out.Cautions = k.cautions(out.First, out.Final, true)
	}
	return out, err
}

// HeatDemand returns the energy to warm a mass with a specific heat (J/kg·K) by a
// difference and to evaporate part of it at a latent heat (J/kg): the balance
// behind every kettle, without losses.
func HeatDemand(m units.Mass, specificHeat float64, warm units.CelsiusDelta, evaporated units.Mass, latent float64) (units.Energy, error) {
	for _, err := range []error{
		within("mass", float64(m), 0, 1e5, "kg"),
		within("specific heat", specificHeat, 500, 5000, "J/kg K"),
		within("temperature rise", float64(warm), 0, 150, "K"),
		within("evaporated mass", float64(evaporated), 0, float64(m), "kg"),
		within("latent heat", latent, 1.9e6, 2.6e6, "J/kg"),
	} {
		if err != nil {
			return 0, err
		}
	}
	return units.Energy(float64(m)*specificHeat*float64(warm) + float64(evaporated)*latent), nil
}

func (e EndPoint) check(now State) error {
	if e == (EndPoint{}) {
		return errors.New("a reduction needs an end point: give a volume, a mass, a solids fraction or a superheat")
	}
	if err := zeroOrWithin("superheat to stop at", float64(e.Superheat), 1, 100, "K"); err != nil {
		return err
	}
	if e.Superheat > 0 && now.Superheat >= e.Superheat {
		return fmt.Errorf("the heated wall is %.1f K above the contents already, the limit is %g K: start with less heat", float64(now.Superheat), float64(e.Superheat))
	}
	for _, c := range []struct {
		name         string
		want, have   float64
		low, highest float64
		unit         string
	}{
		{"target volume", float64(e.Volume), float64(now.Volume), 0, 20, "m3"},
		{"target mass", float64(e.Mass), float64(now.Liquid), 0, 20000, "kg"},
	} {
		if err := within(c.name, c.want, c.low, c.highest, c.unit); err != nil {
			return err
		}
		if c.want >= c.have {
			return fmt.Errorf("%s %g %s is not below the %g %s there are now: nothing to reduce", c.name, c.want, c.unit, c.have, c.unit)
		}
	}
	if err := within("target solids", e.Solids, 0, MaxSolids, ""); err != nil {
		return err
	}
	if e.Solids > 0 && now.Solids <= 0 {
		return errors.New("target solids cannot be reached: the liquid has no solids; measure its Brix first")
	}
	if e.Solids > 0 && e.Solids <= now.Solids {
		return fmt.Errorf("target solids %g is not above the %g there are now: nothing to reduce", e.Solids, now.Solids)
	}
	return nil
}

// distance returns the smallest relative distance to an end point, and which.
func (e EndPoint) distance(k *Kettle, y vector) (float64, Target) {
	best, by := 1e9, NoTarget
	consider := func(d float64, t Target) {
		if d < best {
			best, by = d, t
		}
	}
	liquid := y[1] + k.solids
	if e.Volume > 0 {
		consider(volumeOf(y[1], k.solids, y[0])/float64(e.Volume)-1, VolumeTarget)
	}
	if e.Mass > 0 {
		consider(liquid/float64(e.Mass)-1, MassTarget)
	}
	if e.Solids > 0 {
		consider(1-k.solids/liquid/e.Solids, SolidsTarget)
	}
	if e.Superheat > 0 {
		_, q := k.flows(y)
		level := k.vessel.LevelAt(units.Volume(volumeOf(y[1], k.solids, y[0]) + k.boneV))
		_, rise := k.superheat(y, float64(level), q)
		consider(1-rise/float64(e.Superheat), ScorchTarget)
	}
	return best, by
}

// run advances to the event or the horizon and collects what a result carries.
func (k *Kettle) run(s Settings, by Target, event func(*Kettle, vector) float64) (Outcome, error) {
	s, err := s.normal()
	if err != nil {
		return Outcome{}, err
	}
	k.tol = s.Tolerance
	steps, worst := k.steps, k.worst
	out := Outcome{First: k.State(), Assumptions: []string{AssumeMixed, AssumeStock}}
	if event != nil && event(k, k.y) <= 0 {
		out.Reached, out.By, out.Final = true, by, out.First
		return out, nil
	}
	piece := s.Horizon
	if s.Every > 0 {
		piece = s.Every
		out.Series = append(out.Series, out.First)
	}
	for left := s.Horizon; left > 0 && !out.Reached; left -= piece {
		out.Reached, err = k.advance(min(piece, left).Seconds(), event)
		if s.Every > 0 {
			out.Series = append(out.Series, k.State())
		}
		if err != nil {
			break
		}
	}
	if out.Reached {
		out.By = by
	}
	out.Final = k.State()
	out.Time = out.Final.Elapsed - out.First.Elapsed
	out.Lost = out.First.Volume - out.Final.Volume
	out.Evaporated = out.Final.Evaporated - out.First.Evaporated
	out.Steps, out.ErrorEstimate = k.steps-steps, k.worst-worst
	out.Cautions = k.cautions(out.First, out.Final, out.Reached)
	return out, err
}

// settled is the rise, C/s, below which a heating kettle is said to hold where
// it is: 1.8 C an hour.
const settled = 5e-4

func (k *Kettle) cautions(first, last State, reached bool) []string {
	var c []string
	if !reached {
		c = append(c, CautionNotReached)
	}
	if last.Mode == Heating && last.Temperature < k.duty.Hold && last.Elapsed > time.Hour {
		if r, _ := k.flows(k.y); r[0] < settled {
			c = append(c, CautionBelowTarget)
		}
	}
	if last.Mode != Boiling {
		c = append(c, CautionExtrapolated)
	}
	if last.Solids >= 0.25 {
		c = append(c, CautionScorch)
	}
	if last.Superheat > DefaultSuperheat {
		c = append(c, CautionHotWall)
	}
	if last.Level < 2*units.Centimetre {
		c = append(c, CautionShallow)
	}
	if k.bones > 0 && first.Temperature < last.Temperature {
		c = append(c, CautionBonesLag)
	}
	if last.Temperature < 57 {
		c = append(c, CautionHotHolding)
	}
	return c
}
