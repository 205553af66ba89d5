package chill

import (
	"fmt"
	"time"

	"rondeau.internal/pkg/units"
)

// Answer of an inverse question.
type Answer struct {
	// Value in the SI unit of the question (m, kg).
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

// search bisects the boundary of the values that meet the limits. least tells that
// small values are the ones to be sought (the least that does), otherwise the
// largest.
func search(low, high, tolerance float64, least bool, l Limits, build func(float64) (Model, error), never string) (Answer, error) {
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
		return Answer{}, fmt.Errorf("%s (%s)", never, l.Name)
	}
	if ok, a, err := meets(bad); err != nil {
		return Answer{}, err
	} else if ok {
		return a, nil
	}
	for diff := bad - good; diff > tolerance || diff < -tolerance; diff = bad - good {
		mid := (good + bad) / 2
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
