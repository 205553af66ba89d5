package chill

import (
	"math"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// Door of a cold room.
type Door struct {
	Width, Height units.Length // 0.3 to 10 m
	// Open is the share of the time that it stands open, 0 to 1: openings per hour times
	// the time of each. A person who carries pots in takes 10 to 20 s a passage (from
	// memory).
	Open float64
	// Flow is the doorway flow factor: the part of the full exchange that develops; 0
	// means 0.8 (ASHRAE Handbook, Refrigeration, chapter 24, for traffic and short
	// openings, from memory; the same factor is used where the formula was read).
	Flow float64
	// Protection is the effectiveness of strips or an air curtain, 0 to 1: strips 0.8 to
	// 0.95 when whole (from memory).
	Protection float64
}

// Check reports a door out of range.
func (d Door) Check() error {
	return first(
		within("door width", float64(d.Width), 0.3, 10, "m"),
		within("door height", float64(d.Height), 0.3, 10, "m"),
		within("share of the time that the door is open", d.Open, 0, 1, ""),
		within("doorway flow factor", d.Flow, 0, 1.1, ""),
		within("effectiveness of the door's protection", d.Protection, 0, 1, ""),
	)
}

// MoistAir is air as the exchange through a doorway needs it.
type MoistAir struct {
	Enthalpy float64 // J per kg of dry air, 0 at 0 C and dry
	Density  float64 // kg/m3
}

// MoistAirAt returns the state of moist air at 1 atm: h = 1006·t + w·(2.501e6 +
// 1860·t), -45 to 60 C, relative humidity 0 to 1.
func MoistAirAt(t units.Celsius, humidity float64) (MoistAir, error) {
	if err := within("air temperature", float64(t), -45, 60, "C"); err != nil {
		return MoistAir{}, err
	}
	p, err := thermo.VapourPressure(t, humidity)
	if err != nil {
		return MoistAir{}, err
	}
	pv := float64(p)
	dry := float64(units.Atmosphere) - pv
	w := 0.62198 * pv / dry
	tk := float64(t.Kelvin())
	return MoistAir{
		Enthalpy: 1006*float64(t) + w*(2.501e6+1860*float64(t)),
		Density:  dry/(287.05*tk) + pv/(thermo.GasConstantVapour*tk),
	}, nil
}

// Infiltration returns the heat that comes in through a door, averaged over the time
// it is open and shut (negative when the outside air holds less): Gosney and Olama
// (1975), as in the ASHRAE Handbook, Refrigeration, chapter 24:
//
//	q = 0.221·A·(hi - hr)·rho_r·sqrt(1 - rho_i/rho_r)·sqrt(g·H)·Fm
//	Fm = (2/(1 + (rho_r/rho_i)^(1/3)))^1.5
//
// for the fully developed exchange of still air, times Open·Flow·(1 - Protection). i
// is outside, r the room, h in J/kg; sensible and latent heat together.
func (d Door) Infiltration(room, outside MoistAir) (units.Power, error) {
	if err := first(
		d.Check(),
		within("enthalpy of the room", room.Enthalpy, -6e4, 6e5, "J/kg"),
		within("enthalpy of the outside", outside.Enthalpy, -6e4, 6e5, "J/kg"),
		within("density of the room's air", room.Density, 0.5, 2, "kg/m3"),
		within("density of the outside air", outside.Density, 0.5, 2, "kg/m3"),
	); err != nil {
		return 0, err
	}
	return units.Power(d.exchange(room, outside)), nil
}

func (d Door) exchange(room, outside MoistAir) float64 {
	flow := d.Flow
	if flow == 0 {
		flow = 0.8
	}
	heavy, light := max(room.Density, outside.Density), min(room.Density, outside.Density)
	fm := math.Pow(2/(1+math.Cbrt(heavy/light)), 1.5)
	q := 0.221 * float64(d.Width*d.Height) * (outside.Enthalpy - room.Enthalpy) * heavy *
		math.Sqrt(1-light/heavy) * math.Sqrt(gravity*float64(d.Height)) * fm
	return q * d.Open * flow * (1 - d.Protection)
}
