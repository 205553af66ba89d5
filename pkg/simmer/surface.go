package simmer

import (
	"math"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

const (
	stefanBoltzmann = 5.670374419e-8 // W/m2·K4, exact SI value rounded
	emissivityWater = 0.95           // Cengel, example 14.13
	gravity         = 9.80665        // m/s2
)

// Activity multiplies the evaporation below the boil. Smith, Lof and Jones (ASHRAE
// Trans. 1998) measured undisturbed pools at 74 % of the pool equation and active
// ones 40 to 70 % above quiet; those steps are used here. Gentle is 1, that is clean
// still water by FreeConvection: at a gentle simmer the stirring by bubbles and the
// shelter of fat and rim are taken to balance. Still is the quiet surface of a very gentle
// simmer, a bubble now and then under a thin film of fat, for which the trade's hours are
// met (chosen, no source; what Learn is for).
type Activity float64

// Activities of a stock's surface. 0 stands for Gentle.
const (
	Still    Activity = 0.74
	Gentle   Activity = 1.0
	Lively   Activity = 1.4
	Vigorous Activity = 1.7
)

// Conditions around the vessel.
type Conditions struct {
	// Room is the air and wall temperature, 5 to 60 C. It must be given.
	Room units.Celsius
	// Humidity is the relative humidity of the room, 0 to 1.
	Humidity float64
	// AirSpeed over the surface, 0 to 2 m/s.
	AirSpeed float64
	// Altitude above sea level, -500 to 5000 m.
	Altitude float64
	// Pressure of the air; 0 means the standard atmosphere at Altitude.
	Pressure units.Pressure
	// Cover is the share of the free surface under a lid: 0 open, 1 closed. A
	// closed lid lets LidLeak of the open evaporation through.
	Cover float64
	// Activity of the surface; 0 means Gentle.
	Activity Activity
	// Transfer model below the boil.
	Transfer Transfer
	// HighRate multiplies the transfer by StefanFactor. Off by default: see there.
	HighRate bool
}

// LidLeak is the part of the open evaporation that a closed, unsealed lid still
// lets out (chosen, no source).
const LidLeak = 0.05

// Kitchen returns the conditions of a usual kitchen: 25 C, half saturated air,
// still, sea level, open vessel, gentle simmer.
func Kitchen() Conditions { return Conditions{Room: 25, Humidity: 0.5} }

// Check reports a value out of range.
func (c Conditions) Check() error {
	checks := []error{
		within("room temperature", float64(c.Room), 5, 60, "C"),
		within("relative humidity", c.Humidity, 0, 1, ""),
		within("air speed", c.AirSpeed, 0, 2, "m/s"),
		within("altitude", c.Altitude, -500, 5000, "m"),
		within("lid cover", c.Cover, 0, 1, ""),
		within("surface activity", float64(c.Activity), 0, 3, ""),
		within("transfer model", float64(c.Transfer), 0, float64(Analogy), ""),
	}
	if c.Pressure != 0 {
		checks = append(checks, within("air pressure", float64(c.Pressure), 50e3, 110e3, "Pa"))
	}
	for _, err := range checks {
		if err != nil {
			return err
		}
	}
	return nil
}

// Exchange is what one free surface gives off.
type Exchange struct {
	Radiation   units.Power
	Convection  units.Power
	Evaporation float64 // kg/s
	Latent      units.Power
}

// Total is the heat that leaves by all three ways.
func (e Exchange) Total() units.Power { return e.Radiation + e.Convection + e.Latent }

// OpenSurface returns what a free water surface gives off to the room: radiation
// to walls at room temperature (emissivity 0.95), natural convection (Nu = 0.15
// Ra^(1/3), hot plate facing up), evaporation by the chosen transfer model.
// length is area over perimeter in metres; it must be sensible but cancels in the
// correlations, which hold for surfaces wide enough to be turbulent (Ra above 1e7, a hot
// pot of 15 cm). Water 0 C to the boil. The lid is ignored here.
func OpenSurface(water units.Celsius, area units.Area, length float64, cond Conditions) (Exchange, error) {
	a, err := newAir(cond)
	if err != nil {
		return Exchange{}, err
	}
	if err := within("water temperature", float64(water), 0, float64(a.boil), "C"); err != nil {
		return Exchange{}, err
	}
	if err := within("surface", float64(area), 1e-4, 100, "m2"); err != nil {
		return Exchange{}, err
	}
	if err := within("length", length, 1e-3, 10, "m"); err != nil {
		return Exchange{}, err
	}
	return a.exchange(float64(water), float64(area)), nil
}

// BoilOff returns the evaporation in kg/s that a net power sustains at a boiling
// temperature of 40 to 140 C.
func BoilOff(net units.Power, boiling units.Celsius) (float64, error) {
	if err := net.Check(); err != nil {
		return 0, err
	}
	if err := within("boiling temperature", float64(boiling), 40, 140, "C"); err != nil {
		return 0, err
	}
	h, err := thermo.LatentHeat(boiling)
	if err != nil {
		return 0, err
	}
	return float64(net) / h, nil
}

// air is the state of the surroundings, computed once.
type air struct {
	room, roomK   float64
	pressure      float64 // Pa
	vapour        float64 // partial pressure of the room air, Pa
	vapourDensity float64 // kg/m3
	ratio         float64 // kg vapour per kg dry air
	dry           float64 // dry air, kg/m3
	factor        float64 // of pressure in FreeConvection
	density       float64 // of the moist room air, kg/m3
	boil          units.Celsius
	speed         float64
	activity      float64
	model         Transfer
	highRate      bool
}

func newAir(c Conditions) (air, error) {
	if err := c.Check(); err != nil {
		return air{}, err
	}
	p := c.Pressure
	if p == 0 {
		var err error
		if p, err = thermo.AtmospherePressure(c.Altitude); err != nil {
			return air{}, err
		}
	}
	boil, err := thermo.SaturationTemperature(p)
	if err != nil {
		return air{}, err
	}
	pv, err := thermo.VapourPressure(c.Room, c.Humidity)
	if err != nil {
		return air{}, err
	}
	a := air{
		room: float64(c.Room), roomK: float64(c.Room.Kelvin()), pressure: float64(p), vapour: float64(pv),
		boil: boil, speed: c.AirSpeed, activity: float64(c.Activity), model: c.Transfer, highRate: c.HighRate,
	}
	if a.activity == 0 {
		a.activity = float64(Gentle)
	}
	a.vapourDensity = float64(thermo.VapourDensity(c.Room, pv))
	a.density = moistDensity(a.pressure, a.vapour, a.roomK)
	a.dry = (a.pressure - a.vapour) / (gasConstantAir * a.roomK)
	a.ratio = gasConstantAir / thermo.GasConstantVapour * a.vapour / (a.pressure - a.vapour)
	a.factor = math.Cbrt(math.Pow(standardPressure/a.pressure, 2))
	return a, nil
}
