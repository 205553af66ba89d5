package chill

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Stage of a limit: from one temperature to another within a time. The clock of a
// stage starts when the food falls below From. A rule with a running total repeats
// the first temperature in From ("from 135 F to 41 F within 6 h in all"); a rule
// with a fresh clock per stage starts at the temperature before.
type Stage struct {
	Name     string
	From, To units.Temperature
	Within   time.Duration
	// FromFirst starts the clock at the first reading, for food that was never hot.
	FromFirst bool
}

// Limits is a profile: a named rule as data, in the unit the rule is written in.
type Limits struct {
	// Name and Source as shown to people; Source says where the numbers stand and
	// whether they were read or remembered.
	Name, Source string
	Stages       []Stage
}

// FoodCode2022 is US FDA Food Code 2022, 3-501.14(A): 135 F to 70 F within 2 h, and
// 135 F to 41 F within 6 h in all.
func FoodCode2022() Limits {
	hot := units.InFahrenheit(135)
	return Limits{
		Name:   "US FDA Food Code 2022, cooked food",
		Source: "3-501.14(A), as read in state adoptions (Delaware, Maine)",
		Stages: []Stage{
			{Name: "135 to 70 F", From: hot, To: units.InFahrenheit(70), Within: 2 * time.Hour},
			{Name: "135 to 41 F", From: hot, To: units.InFahrenheit(41), Within: 6 * time.Hour},
		},
	}
}

// FoodCodeAmbient is US FDA Food Code 2022, 3-501.14(B): food made from ingredients
// at room temperature, to 41 F within 4 h.
func FoodCodeAmbient() Limits {
	return Limits{
		Name:   "US FDA Food Code 2022, food from ambient ingredients",
		Source: "3-501.14(B), as read in state adoptions (Delaware, Maine)",
		Stages: []Stage{{Name: "to 41 F", From: units.InFahrenheit(70), To: units.InFahrenheit(41), Within: 4 * time.Hour, FromFirst: true}},
	}
}

// FSISOption1 is USDA-FSIS Appendix B, option 1: 130 to 80 F within 1.5 h, then 80
// to 40 F within 5 h.
func FSISOption1() Limits {
	return Limits{
		Name:   "USDA-FSIS Appendix B, option 1",
		Source: "as read in a reproduction of the 1999 Appendix B",
		Stages: []Stage{
			{Name: "130 to 80 F", From: units.InFahrenheit(130), To: units.InFahrenheit(80), Within: 90 * time.Minute},
			{Name: "80 to 40 F", From: units.InFahrenheit(80), To: units.InFahrenheit(40), Within: 5 * time.Hour},
		},
	}
}

// UKCookChill is the UK Department of Health cook-chill guideline of 1989: blast
// chilling from 70 C to 3 C within 90 min. From memory: confirm before use.
func UKCookChill() Limits {
	return Limits{
		Name:   "UK cook-chill guideline 1989",
		Source: "from memory; confirm against the guideline before use",
		Stages: []Stage{{Name: "70 to 3 C", From: units.InCelsius(70), To: units.InCelsius(3), Within: 90 * time.Minute}},
	}
}

// FSANZ is the Australia New Zealand Food Standards Code 3.2.2, clause 7: 60 to 21 C
// within 2 h, then 21 to 5 C within 4 h. From memory: confirm before use.
func FSANZ() Limits {
	return Limits{
		Name:   "FSANZ 3.2.2 clause 7",
		Source: "from memory; confirm against the code before use",
		Stages: []Stage{
			{Name: "60 to 21 C", From: units.InCelsius(60), To: units.InCelsius(21), Within: 2 * time.Hour},
			{Name: "21 to 5 C", From: units.InCelsius(21), To: units.InCelsius(5), Within: 4 * time.Hour},
		},
	}
}

// Check reports a profile that cannot be judged: no stages, a stage that does not
// cool, a time of none or above 14 days, stages that do not go downwards.
func (l Limits) Check() error {
	if len(l.Stages) == 0 {
		return errors.New("limits need at least one stage")
	}
	if len(l.Stages) > 20 {
		return fmt.Errorf("limits have %d stages, at most 20", len(l.Stages))
	}
	for i, s := range l.Stages {
		if err := first(s.From.Check(), s.To.Check()); err != nil {
			return fmt.Errorf("stage %d %q: %w", i+1, s.Name, err)
		}
		if s.To.Celsius() >= s.From.Celsius() {
			return fmt.Errorf("stage %d %q goes from %v to %v: it must cool", i+1, s.Name, s.From, s.To)
		}
		if s.Within <= 0 || s.Within > 14*24*time.Hour {
			return fmt.Errorf("stage %d %q has a time of %v: it must be above 0 and at most 336 h", i+1, s.Name, s.Within)
		}
		if i > 0 && s.To.Celsius() >= l.Stages[i-1].To.Celsius() {
			return fmt.Errorf("stage %d %q ends at %v, not below the stage before it: order stages downwards", i+1, s.Name, s.To)
		}
		if s.FromFirst && i > 0 {
			return fmt.Errorf("stage %d %q: only the first stage can start at the first reading", i+1, s.Name)
		}
	}
	return nil
}

// RequiredRate returns the smallest rate constant k (1/h) of Newton cooling, T - Ta
// proportional to exp(-k·t), that meets every stage at an ambient temperature, and
// the index of the stage that governs. It is an error when the ambient is not below
// the last limit: then no rate does.
func (l Limits) RequiredRate(ambient units.Celsius) (k float64, governing int, err error) {
	if err := first(l.Check(), foodTemperature("ambient temperature", ambient)); err != nil {
		return 0, 0, err
	}
	for i, s := range l.Stages {
		from, to := s.From.Celsius(), s.To.Celsius()
		if ambient >= to {
			return 0, i, fmt.Errorf("surroundings at %.1f C cannot bring food to %v: they must be colder", float64(ambient), s.To)
		}
		r := math.Log(float64((from-ambient)/(to-ambient))) / s.Within.Hours()
		if r > k {
			k, governing = r, i
		}
	}
	return k, governing, nil
}

// StagePrediction is one stage of a computed cooling.
type StagePrediction struct {
	Stage Stage
	// Reached within the horizon of twice the time allowed after entering.
	Reached bool
	// Took is the time of the core from From to To.
	Took time.Duration
	// Margin is Within less Took; negative is late.
	Margin time.Duration
	// At is when the core reaches To, from the model's present state.
	At time.Duration
}

// Predict runs a copy of a model through the limits by its core temperature, and
// returns the worst margin. A core that starts below a stage's From starts its clock
// at once; one that never falls to From is not reached, with the whole time as its
// lack.
func Predict(m Model, l Limits) ([]StagePrediction, time.Duration, error) {
	if err := l.Check(); err != nil {
		return nil, 0, err
	}
	worst := time.Duration(math.MaxInt64)
	out := make([]StagePrediction, 0, len(l.Stages))
	var at time.Duration // at which From is passed, and whether it is
	var ok bool
	for i, s := range l.Stages {
		entered := time.Duration(0)
		if !s.FromFirst && m.State().Core > s.From.Celsius() {
			// Rules with a running total repeat From: it is computed once.
			if i == 0 || l.Stages[i-1].From != s.From || l.Stages[i-1].FromFirst {
				var err error
				if at, ok, err = TimeTo(m, s.From.Celsius(), longestStep); err != nil {
					return nil, 0, err
				}
			}
			if !ok { // stays hot: the limit is not met, however long it takes
				worst = min(worst, -s.Within)
				out = append(out, StagePrediction{Stage: s, Margin: -s.Within, At: at})
				continue
			}
			entered = at
		}
		at, ok, err := TimeTo(m, s.To.Celsius(), min(longestStep, entered+2*s.Within))
		if err != nil {
			return nil, 0, err
		}
		p := StagePrediction{Stage: s, Reached: ok, Took: at - entered, At: at}
		p.Margin = s.Within - p.Took
		worst = min(worst, p.Margin)
		out = append(out, p)
	}
	return out, worst, nil
}
