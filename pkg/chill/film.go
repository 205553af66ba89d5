package chill

import (
	"math"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// Layer is a resistance in series with a film: pan wall, lid, packing, or the fat that
// floats on a stock (conductivity about 0.17 W/m·K by Choi and Okos, so 10 mm of fat
// weigh as much as a film of 17 W/m2·K). Its own heat capacity is neglected.
type Layer struct {
	Thickness    units.Length // 0 to 0.2 m
	Conductivity float64      // 0.01 to 500 W/m·K
}

// Face is what stands between the food and its surroundings.
type Face struct {
	// Film is a constant coefficient, W/m2·K, 0 to 1e5; Air adds a computed one. Both
	// nothing: no heat passes.
	Film float64
	Air  *AirFilm
	// Layers between food and film, at most 10.
	Layers []Layer
}

func (f Face) closed() bool { return f.Film == 0 && f.Air == nil }

// resistance of the layers, m2·K/W.
func (f Face) resistance(name string) (float64, error) {
	if err := first(
		within(name+" film coefficient", f.Film, 0, 1e5, "W/m2 K"),
		within(name+" layers", float64(len(f.Layers)), 0, 10, ""),
	); err != nil {
		return 0, err
	}
	r := 0.0
	for _, l := range f.Layers {
		if err := first(
			within(name+" layer thickness", float64(l.Thickness), 0, 0.2, "m"),
			within(name+" layer conductivity", l.Conductivity, 0.01, 500, "W/m K"),
		); err != nil {
			return 0, err
		}
		r += float64(l.Thickness) / l.Conductivity
	}
	return r, nil
}

// Orientation of a surface in still air.
type Orientation uint8

// The orientations. Which way heat goes is found from the temperatures.
const (
	// Vertical plate of height Length: Churchill and Chu 1975, all Rayleigh numbers.
	Vertical Orientation = iota
	// FacingUp: a horizontal plate with its free side up, Length = area/perimeter; warm:
	// 0.54·Ra^(1/4), 0.15·Ra^(1/3) where that is more; cold: 0.27·Ra^(1/4) (McAdams; Lloyd
	// and Moran).
	FacingUp
	// FacingDown: the same, free side down; warm and cold change places.
	FacingDown
	// Horizontal cylinder of diameter Length: Churchill and Chu 1975.
	HorizontalCylinder
	// StillNone: no natural convection.
	StillNone
)

// AirSetting describes the air side of a face.
type AirSetting struct {
	Orientation Orientation
	Length      units.Length // as Orientation says, 5 mm to 5 m
	// Speed of air along the face, 0 to 30 m/s, and the length it runs over, 5 mm to
	// 10 m: 0.664·Re^(1/2)·Pr^(1/3) while laminar (Re to 5e5), then (0.037·Re^0.8 -
	// 871)·Pr^(1/3).
	Speed float64
	Run   units.Length
	// Emissivity of the face, 0 to 1, against surroundings at air temperature.
	Emissivity float64
	// Pressure of the air; 0 means one atmosphere.
	Pressure units.Pressure
}

// AirFilm is a film coefficient that follows from the temperatures of face and air:
// natural and forced convection joined by the third power (Incropera and DeWitt,
// section 9.9, from memory), plus radiation. It is immutable. Create it with NewAirFilm.
type AirFilm struct {
	orientation Orientation
	emissivity  float64
	props       [airNodes]airNode
}

const (
	gravity         = 9.80665        // m/s2, standard
	stefanBoltzmann = 5.670374419e-8 // W/m2·K4, CODATA 2018

	airNodes = 43
	airLow   = -60.0 // C
	airStep  = 5.0   // K; linear between, within 1e-3 of the coefficient
)

type airNode struct {
	overLength float64 // k/L, W/m2·K
	rayleigh   float64 // Ra per K
	prandtl    float64 // the factor of Churchill and Chu that goes with the Prandtl number
	forced     float64 // W/m2·K
}

// NewAirFilm checks a setting and prepares its properties of air.
func NewAirFilm(s AirSetting) (*AirFilm, error) {
	if s.Pressure == 0 {
		s.Pressure = units.Atmosphere
	}
	if s.Orientation > StillNone {
		return nil, within("orientation", float64(s.Orientation), 0, float64(StillNone), "")
	}
	if err := first(
		within("air speed", s.Speed, 0, 30, "m/s"),
		within("emissivity", s.Emissivity, 0, 1, ""),
		within("air pressure", float64(s.Pressure), 10e3, 120e3, "Pa"),
	); err != nil {
		return nil, err
	}
	if s.Orientation != StillNone {
		if err := within("length for natural convection", float64(s.Length), 5e-3, 5, "m"); err != nil {
			return nil, err
		}
	}
	if s.Speed > 0 {
		if err := within("run of the air", float64(s.Run), 5e-3, 10, "m"); err != nil {
			return nil, err
		}
	}
	f := &AirFilm{orientation: s.Orientation, emissivity: s.Emissivity}
	for i := range f.props {
		t := airLow + airStep*float64(i)
		a, err := thermo.AirAt(units.Celsius(t), s.Pressure)
		if err != nil {
			return nil, err
		}
		f.props[i] = airNodeOf(s, t, a)
	}
	return f, nil
}

func airNodeOf(s AirSetting, t float64, a thermo.Air) airNode {
	var n airNode
	if s.Orientation != StillNone {
		l := float64(s.Length)
		n.overLength = a.Conductivity / l
		n.rayleigh = gravity / (t + 273.15) * l * l * l / (a.Viscosity * a.Diffusivity)
		n.prandtl = prandtlFactor(a.Prandtl)
		if s.Orientation == HorizontalCylinder {
			n.prandtl = prandtlFactor(a.Prandtl * 0.492 / 0.559) // 0.559 in the place of 0.492
		}
	}
	if s.Speed > 0 {
		run := float64(s.Run)
		re := s.Speed * run / a.Viscosity
		nu := 0.664 * math.Sqrt(re)
		if re > 5e5 {
			nu = 0.037*math.Pow(re, 0.8) - 871
		}
		n.forced = nu * math.Cbrt(a.Prandtl) * a.Conductivity / run
	}
	return n
}

// Coefficient returns the film coefficient between a face and air, -60 to 150 C each,
// W/m2·K.
func (f *AirFilm) Coefficient(face, air units.Celsius) (float64, error) {
	if err := first(foodTemperature("face temperature", face), foodTemperature("air temperature", air)); err != nil {
		return 0, err
	}
	return f.at(float64(face), float64(air)), nil
}

func (f *AirFilm) at(face, air float64) float64 {
	x := ((face+air)/2 - airLow) / airStep
	i := min(max(int(x), 0), airNodes-2)
	w := math.Max(0, math.Min(1, x-float64(i)))
	p, q := &f.props[i], &f.props[i+1]
	h := p.forced + w*(q.forced-p.forced)
	if f.orientation != StillNone {
		n := f.natural(p, q, w, face-air)
		switch {
		case h == 0:
			h = n
		default:
			h = math.Cbrt(h*h*h + n*n*n)
		}
	}
	if f.emissivity > 0 {
		a, b := face+273.15, air+273.15
		h += f.emissivity * stefanBoltzmann * (a*a + b*b) * (a + b)
	}
	return h
}

func (f *AirFilm) natural(p, q *airNode, w, difference float64) float64 {
	ra := (p.rayleigh + w*(q.rayleigh-p.rayleigh)) * math.Abs(difference)
	var nu float64
	switch f.orientation {
	case Vertical:
		nu = verticalNusselt(ra, p.prandtl+w*(q.prandtl-p.prandtl))
	case HorizontalCylinder:
		r := 0.60 + 0.387*math.Sqrt(math.Cbrt(ra))*(p.prandtl+w*(q.prandtl-p.prandtl))
		nu = r * r
	default:
		root := math.Sqrt(math.Sqrt(ra))
		if (f.orientation == FacingUp) == (difference > 0) {
			nu = math.Max(0.54*root, 0.15*math.Cbrt(ra))
		} else {
			nu = 0.27 * root
		}
	}
	return nu * (p.overLength + w*(q.overLength-p.overLength))
}
