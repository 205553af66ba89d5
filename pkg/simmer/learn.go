package simmer

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Reading is one look at a vessel. Exactly one of Level, Volume, Mass, Solids and
// Temperature is given.
type Reading struct {
	// Elapsed since the start of the run, 0 to the horizon.
	Elapsed time.Duration
	// Level by dip-stick from the lowest point, bones included.
	Level units.Length
	// Volume of the liquid by marks, hot, bones not counted.
	Volume units.Volume
	// Mass of the liquid: tare and bones taken off.
	Mass units.Mass
	// Solids mass fraction (Brix/100).
	Solids float64
	// Temperature of the contents.
	Temperature units.Celsius
	// Sigma is the standard error of the value in its own SI unit (m, m3, kg,
	// fraction, K); 0 means the usual one, see UsualLevelError.
	Sigma float64
}

// Usual standard errors, which are taken where a reading states none: 4 mm of level,
// 2 % of the volume and 0.5 % of the mass at the start, 0.15 degrees Brix, 1 K (chosen,
// no source, but for the last: the accuracy asked of food thermometers, FDA Food Code
// 2022, 4-203.11, from memory).
const (
	UsualLevelError       = 4 * units.Millimetre
	UsualVolumeError      = 0.02
	UsualMassError        = 0.005
	UsualSolidsError      = 0.0015
	UsualTemperatureError = 1.0
)

// Setting is what the cook has set from a moment on.
type Setting struct {
	Elapsed time.Duration
	Duty    Duty
}

// Setup describes a run to be followed. Vessel, Load, Duty and Conditions are those of
// NewKettle; everything after them has a usable zero value.
type Setup struct {
	Vessel     Vessel
	Load       Load
	Duty       Duty
	Conditions Conditions
	// End is where the reduction stops; the zero value learns without a finish.
	End EndPoint
	// Until is a temperature that ends the run as well (a bring-up); 0 is not asked. It
	// must not be above the temperature held.
	Until units.Celsius
	// Prior is the belief about the vessel before the run.
	Prior Belief
	// Horizon is the longest time from the start looked at; 0 means 96 h, at most 14 days.
	Horizon time.Duration
	// LiquidSpread and SolidsSpread are the relative standard errors of Load.Liquid and
	// Load.Solids, 0.0001 to 0.3; 0 means 0.01 and 0.03.
	LiquidSpread, SolidsSpread float64
	// Wander is how far surface and power factor drift within a run: standard deviation of
	// the logarithm after one hour, growing with the square root of time, 0.001 to 0.3; 0
	// means 0.02 (chosen, no source).
	Wander float64
	// ChangesPerHour is how often somebody changes the heat untold, 1e-6 to 2; 0 means
	// 0.05, once in 20 hours.
	ChangesPerHour float64
	// Particles of the filter, 128 to 16384; 0 means 768.
	Particles int
	// Seed of the filter's random numbers: the same seed and input give the same output.
	Seed uint64
}

func (s Setup) normal() (Setup, error) {
	for _, d := range []struct {
		to *float64
		v  float64
	}{{&s.LiquidSpread, 0.01}, {&s.SolidsSpread, 0.03}, {&s.Wander, 0.02}, {&s.ChangesPerHour, 0.05}} {
		if *d.to == 0 {
			*d.to = d.v
		}
	}
	if s.Particles == 0 {
		s.Particles = 768
	}
	settings, err := Settings{Horizon: s.Horizon}.normal()
	if err != nil {
		return s, err
	}
	s.Horizon = settings.Horizon
	for _, err := range []error{
		within("relative error of the liquid", s.LiquidSpread, 1e-4, 0.3, ""),
		within("relative error of the solids", s.SolidsSpread, 1e-4, 0.3, ""),
		within("wander", s.Wander, 0.001, 0.3, "per root hour"),
		within("changes of the heat", s.ChangesPerHour, 1e-6, 2, "per hour"),
		within("number of particles", float64(s.Particles), 128, 16384, ""),
		within("temperature to reach", float64(s.Until), 0, 150, "C"),
	} {
		if err != nil {
			return s, err
		}
	}
	s.Prior, err = s.Prior.normal()
	return s, err
}

// kind of a reading.
type kind uint8

const (
	levelKind kind = iota
	volumeKind
	massKind
	solidsKind
	temperatureKind
)

// Units and names of the kinds, for messages.
var kindUnit = [...]string{"m", "m3", "kg", "", "C"}

var kindName = [...]string{"level read", "volume read", "mass read", "solids read", "temperature read"}

// value checks a reading by itself and returns what it holds.
func (r Reading) value() (kind, float64, error) {
	all := [...]float64{float64(r.Level), float64(r.Volume), float64(r.Mass), r.Solids, float64(r.Temperature)}
	highest := [...]float64{5, 20, 20000, 1, 150}
	given, k := 0, levelKind
	for i, v := range all {
		if v != 0 {
			given++
			k = kind(i)
		}
	}
	if given != 1 {
		return 0, 0, fmt.Errorf("a reading must give one of level, volume, mass, solids and temperature, this one gives %d", given)
	}
	if err := within(kindName[k], all[k], 0, highest[k], kindUnit[k]); err != nil {
		return 0, 0, err
	}
	if r.Sigma != 0 {
		if err := within("standard error of the reading", r.Sigma, 1e-9, 1e4, kindUnit[k]); err != nil {
			return 0, 0, err
		}
	}
	return k, all[k], nil
}

// sigma is the standard error of a reading given what there was at the start.
func (r Reading) sigma(k kind, volume, mass float64) float64 {
	if r.Sigma != 0 {
		return r.Sigma
	}
	switch k {
	case levelKind:
		return float64(UsualLevelError)
	case volumeKind:
		return UsualVolumeError * volume
	case massKind:
		return UsualMassError * mass
	case solidsKind:
		return UsualSolidsError
	default:
		return UsualTemperatureError
	}
}

// ErrNotExplained is returned by Learn when most readings cannot be believed of the
// vessel as described.
var ErrNotExplained = errors.New("most readings cannot be explained by this vessel: check its measures, the load and the readings")

// Learn returns the belief about a vessel after a finished run: the readings in order of
// time, and the settings the cook recorded (in order; may be nil). Give the result,
// after Belief.Forget, as the prior of the next run. It follows the run with a Tracker.
func Learn(s Setup, seen []Reading, told []Setting) (Belief, error) {
	if len(seen) == 0 {
		return Belief{}, errors.New("there are no readings: weigh, dip or take the Brix at least once")
	}
	t, err := NewTracker(s)
	if err != nil {
		return Belief{}, err
	}
	for i, r := range seen {
		for len(told) > 0 && told[0].Elapsed <= r.Elapsed {
			if err := t.SetDuty(told[0].Elapsed, told[0].Duty); err != nil {
				return Belief{}, fmt.Errorf("setting at %v: %w", told[0].Elapsed, err)
			}
			told = told[1:]
		}
		if err := t.Read(r); err != nil {
			return Belief{}, fmt.Errorf("reading %d: %w", i+1, err)
		}
	}
	if doubted := len(t.Doubted()); 2*doubted > len(seen) {
		return Belief{}, fmt.Errorf("%w (%d of %d not believed)", ErrNotExplained, doubted, len(seen))
	}
	return t.Belief(), nil
}

// normalQuantile of the standard normal distribution.
func normalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }
