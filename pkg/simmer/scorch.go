package simmer

import "math"

// Scorching: where heat enters, the wall is hotter than the contents by the superheat,
// heat flux over film coefficient. A thick sauce moves less along the wall, the film
// coefficient falls, and at the same flame the wall gets hotter until the sauce browns on.
// The three figures below are chosen, no source: they put the limit for a hard boil (20
// kW/m2 through the floor) at about 25 % solids, where the trade turns the flame down.
const (
	// FilmOfWater is the film coefficient inside a heated floor at no solids, W/m2·K.
	FilmOfWater = 3000.0
	// ViscosityRise is the rise of ln(viscosity) of hot stock per unit of solids
	// fraction: 4 times water's at 10 % solids, 26 times at 25 %.
	ViscosityRise = 13.0
	// DefaultSuperheat is the superheat up to which a bottom that is stirred now and
	// then stays clean, K.
	DefaultSuperheat = 20.0
)

// RelativeViscosity is that of hot stock to that of water at the same temperature,
// exp(ViscosityRise·solids); solids 0 to MaxSolids. Chosen, no source.
func RelativeViscosity(solids float64) (float64, error) {
	if err := within("solids fraction", solids, 0, MaxSolids, ""); err != nil {
		return 0, err
	}
	return math.Exp(ViscosityRise * solids), nil
}

// FloorFilm is the film coefficient inside the heated wall, W/m2·K: FilmOfWater divided
// by the cube root of RelativeViscosity, as in turbulent natural convection.
func FloorFilm(solids float64) (float64, error) {
	if err := within("solids fraction", solids, 0, MaxSolids, ""); err != nil {
		return 0, err
	}
	return floorFilm(solids), nil
}

func floorFilm(solids float64) float64 {
	return FilmOfWater * math.Exp(-ViscosityRise/3*solids)
}

// heated is the area that heat enters through at a level, m2.
func (k *Kettle) heated(level float64) float64 {
	if k.vessel.Heater.Kind == SteamJacket {
		return float64(k.vessel.Heater.JacketArea(k.vessel.Geometry, lengthOf(level)))
	}
	return k.floor
}

// superheat of the wall for a power entering, K.
func (k *Kettle) superheat(y vector, level, power float64) (flux, rise float64) {
	area := k.heated(level)
	if area < 1e-9 || power <= 0 {
		return 0, 0
	}
	flux = power / area
	rise = flux / floorFilm(k.share(y))
	if k.vessel.Heater.Kind == SteamJacket { // the wall is never hotter than the steam
		rise = math.Min(rise, math.Max(0, k.steam-y[0]))
	}
	return flux, rise
}

// share is the solids fraction of the liquid.
func (k *Kettle) share(y vector) float64 {
	return math.Min(MaxSolids, k.solids/math.Max(y[1]+k.solids, 1e-9))
}
