package chill

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Answer of an inverse question. It is the last value that met the limits when the
// bracket around the boundary had shrunk to the tolerance of the question.
type Answer struct {
	// Value in the SI unit of the question (m, kg, m3, m/s, C, pieces).
	Value float64
	// Margin left against the limits at that value.
	Margin time.Duration
	// Stages as predicted at that value.
	Stages []StagePrediction
	// Cautions to be shown with the answer.
	Cautions []string
}

// DeepestPan returns the greatest depth of food in a pan that meets the limits in
// a chiller of constant air (one pan, machine not overloaded), to 0.2 mm. pan.Depth is
// ignored. It is an error when not even 5 mm do.
func DeepestPan(pan Pans, air units.Celsius, l Limits) (Answer, error) {
	pan.Count = 1
	return search(5e-3, 0.3, 2e-4, false, l, func(depth float64) (Model, error) {
		pan.Depth = units.Length(depth)
		return NewChiller(Blast{Air: air, Loads: []Pans{pan}})
	}, "no depth from 5 mm up meets the limits: colder air, more air movement or both faces free are needed")
}

// IceNeeded returns the least ice with which an ice bath meets the limits, to 10 g.
// bath.Ice is ignored. It is an error when not even ten times the stock's mass do: then
// the wall, not the ice, is the bottleneck.
func IceNeeded(bath Bath, l Limits) (Answer, error) {
	return search(0.01, 10*float64(bath.Mass), 0.01, true, l, func(ice float64) (Model, error) {
		bath.Ice = units.Mass(ice)
		return NewIceBath(bath)
	}, "no amount of ice meets the limits: stir, use a thinner vessel or split the batch")
}

// PotFamily is a shape of pots that grow alike: the filling is HeightRatio times as
// high as the pot is wide, 0.2 to 5; 0 means 1. With Diameter given the pot stays and its
// filling grows, up to five times its diameter.
type PotFamily struct {
	HeightRatio float64
	Diameter    units.Length
	Density     units.Density // 0 means 1000 kg/m3
}

// pot returns a filling of a volume.
func (f PotFamily) pot(volume float64) (diameter, height units.Length, err error) {
	if f.Diameter > 0 {
		d := float64(f.Diameter)
		return f.Diameter, units.Length(volume / (circleArea * d * d)), nil
	}
	ratio := f.HeightRatio
	if ratio == 0 {
		ratio = 1
	}
	if err := within("height over width of the filling", ratio, 0.2, 5, ""); err != nil {
		return 0, 0, err
	}
	d := math.Cbrt(volume / (circleArea * ratio))
	return units.Length(d), units.Length(d * ratio), nil
}

// MostStock returns the most stock, m3, that a pot of a family may hold to meet the
// limits in still or moving air (pot.Film), to a hundredth of it, up to 2 m3. Mass, areas
// and height of pot are ignored. It is an error when not even half a litre does: the
// usual outcome at 3 C for anything larger than a small saucepan.
func MostStock(family PotFamily, pot StillPot, l Limits) (Answer, error) {
	return family.most(l, func(p StillPot) (Model, error) {
		pot.Mass, pot.Wall, pot.Top, pot.Height = p.Mass, p.Wall, p.Top, p.Height
		return NewPot(pot)
	}, "no pot from half a litre up meets the limits in that air: use shallow pans, stir in an ice bath or a blast chiller", CautionStratified)
}

// MostStockInIce is MostStock for a stirred pot whose wall and bottom stand in an ice
// bath. bath.Coefficient and the temperatures count; mass and area follow from the pot,
// and bath.Ice and bath.Water are taken per kg of stock.
func MostStockInIce(family PotFamily, bath Bath, l Limits) (Answer, error) {
	return family.most(l, func(p StillPot) (Model, error) {
		b := bath
		b.Mass, b.Area = p.Mass, p.Wall
		b.Ice, b.Water = bath.Ice*p.Mass, bath.Water*p.Mass
		return NewIceBath(b)
	}, "no pot from half a litre up meets the limits in that bath: more ice, more stirring", CautionStirring)
}

func (f PotFamily) most(l Limits, build func(StillPot) (Model, error), never, caution string) (Answer, error) {
	density := f.Density
	if density == 0 {
		density = 1000
	}
	low, high := 5e-4, 2.0
	if f.Diameter > 0 {
		if err := within("pot diameter", float64(f.Diameter), 0.05, 3, "m"); err != nil {
			return Answer{}, err
		}
		d := float64(f.Diameter)
		low, high = math.Max(low, 0.01*circleArea*d*d), math.Min(high, math.Min(5, 5*d)*circleArea*d*d)
	}
	// In the logarithm, so that the tolerance is a part of the volume.
	a, err := search(math.Log(low), math.Log(high), 0.01, false, l, func(v float64) (Model, error) {
		d, h, err := f.pot(math.Exp(v))
		if err != nil {
			return nil, err
		}
		p, err := CylinderPot(d, h, density)
		if err != nil {
			return nil, err
		}
		return build(p)
	}, never)
	if err != nil {
		return Answer{}, err
	}
	a.Value = math.Exp(a.Value)
	a.Cautions = append(a.Cautions, caution)
	return a, nil
}

// LeastAirSpeed returns the least speed of the air along a pan that meets the limits
// in air of constant temperature, m/s, to 0.05, by PanFilm. pan.Film and pan.Speed are
// ignored. It is an error when not even 15 m/s do: then the food's own depth is the
// bottleneck.
func LeastAirSpeed(pan Pans, air units.Celsius, l Limits) (Answer, error) {
	pan.Count, pan.Film = 1, 0
	return search(0.02, 15, 0.05, true, l, func(speed float64) (Model, error) {
		pan.Speed = speed
		return NewChiller(Blast{Air: air, Loads: []Pans{pan}})
	}, "no air speed up to 15 m/s meets the limits: the depth of the food is the bottleneck, use shallower pans or colder air")
}

// WarmestAir returns the warmest air that still meets the limits for one pan, C, to
// 0.1 K. It is an error when not even -40 C do. Below 0 C the edge of the food may freeze,
// which is neglected.
func WarmestAir(pan Pans, l Limits) (Answer, error) {
	if err := l.Check(); err != nil {
		return Answer{}, err
	}
	pan.Count = 1
	last := l.Stages[len(l.Stages)-1].To.Celsius()
	high := min(30, float64(last))
	if high <= -40 {
		return Answer{}, fmt.Errorf("the last limit of %s, %v, is colder than any air looked at", l.Name, last)
	}
	a, err := search(-40, high, 0.1, false, l, func(air float64) (Model, error) {
		return NewChiller(Blast{Air: units.Celsius(air), Loads: []Pans{pan}})
	}, "not even air of -40 C meets the limits: use shallower pans or more air movement")
	if err == nil && a.Value < 0 {
		a.Cautions = append(a.Cautions, CautionFrost)
	}
	return a, err
}

// MostPans returns how many equal pans a machine takes at once so that all meet the
// limits, up to 10 000. machine.Loads are those in it already; pan.Count is ignored. It
// is an error when not even one does. A machine of unlimited power takes all.
func MostPans(machine Blast, pan Pans, l Limits) (Answer, error) {
	loads := len(machine.Loads)
	build := func(n float64) (Model, error) {
		p := pan
		p.Count = int(n)
		b := machine
		b.Loads = append(append(make([]Pans, 0, loads+1), machine.Loads...), p)
		return NewChiller(b)
	}
	return searchAll(1, 10000, 0, false, true, l, build,
		"not even one pan meets the limits: colder air, more air movement or shallower pans are needed")
}

// Cautions of inverse answers.
const (
	CautionStratified = "A still tall pot is several degrees warmer at its top than this says: probe the top middle."
	CautionStirring   = "This holds only while somebody stirs, and ice reaches as high as the stock."
	CautionFrost      = "Air below freezing may freeze the edge of the food: watch it, the forecast does not."
)

var errBracket = errors.New("the limits are met beyond the boundary but not before it: the question has no single answer")

// search bisects the boundary of the values that meet the limits. least tells that
// small values are the ones to be sought (the least that does), otherwise the
// largest.
func search(low, high, tolerance float64, least bool, l Limits, build func(float64) (Model, error), never string) (Answer, error) {
	return searchAll(low, high, tolerance, least, false, l, build, never)
}

func searchAll(low, high, tolerance float64, least, whole bool, l Limits, build func(float64) (Model, error), never string) (Answer, error) {
	meets := func(v float64) (bool, Answer, error) {
		m, err := build(v)
		if err != nil {
			return false, Answer{}, err
		}
		st, margin, err := Predict(m, l)
		if err != nil {
			return false, Answer{}, err
		}
		ok := margin >= 0
		for _, s := range st {
			ok = ok && s.Reached
		}
		return ok, Answer{Value: v, Margin: margin, Stages: st, Cautions: []string{CautionModel, CautionSafety}}, nil
	}
	good, bad := low, high
	if least {
		good, bad = high, low
	}
	ok, best, err := meets(good)
	if err != nil {
		return Answer{}, err
	}
	if !ok {
		if far, _, err := meets(bad); err == nil && far {
			return Answer{}, fmt.Errorf("%w (%s)", errBracket, l.Name)
		}
		return Answer{}, fmt.Errorf("%s (%s)", never, l.Name)
	}
	// Whole numbers double from the least on: a machine with ten thousand pans takes long
	// to compute and tells nothing.
	for whole && good < high {
		bad = min(2*good, high)
		ok, a, err := meets(bad)
		if err != nil {
			return Answer{}, err
		}
		if !ok {
			break
		}
		good, best = bad, a
	}
	if whole && good == high {
		return best, nil
	}
	if !whole {
		if ok, a, err := meets(bad); err != nil {
			return Answer{}, err
		} else if ok {
			return a, nil
		}
	}
	for math.Abs(bad-good) > tolerance {
		mid := (good + bad) / 2
		if whole {
			if math.Abs(bad-good) <= 1 {
				break
			}
			mid = math.Floor(mid)
		}
		ok, a, err := meets(mid)
		if err != nil {
			return Answer{}, err
		}
		if ok {
			good, best = mid, a
		} else {
			bad = mid
		}
	}
	return best, nil
}
