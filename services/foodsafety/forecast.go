package foodsafety

import (
	"fmt"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/units"
)

const (
	// assumedSurroundings is the temperature towards which food is taken to cool when nobody says it: 37 F, the driving
	// temperature of the two-point check of Hedeen, Schaffner and Brown (from memory).
	assumedSurroundings units.Fahrenheit = 37
	// surroundingsBelow is how far, in kelvins, the surroundings are taken to lie below the last limit at least.
	surroundingsBelow units.CelsiusDelta = 2
	// A forecast warns only when it rests on so many readings over so long a time; earlier ones jump about.
	forecastReadings = 4
	forecastSpan     = 10 * time.Minute
)

// Forecast says when a chill will reach the limits that are not met yet.
type Forecast struct {
	Stages       []ForecastStage
	Surroundings units.Celsius
	Readings     int
	Basis        string
	At           time.Time
}

// ForecastStage is the forecast of one limit.
type ForecastStage struct {
	StageID  string
	Likely   time.Time // zero: not expected to be reached
	Earliest time.Time
	Latest   time.Time // zero: reaching it is not certain at all
	Deadline time.Time // zero while the clock has not started
	// Chance that the limit is reached in time, 0 to 1; nil while the clock has not started.
	Chance *float64
	AtRisk bool
	Advice string
}

// AtRisk says that a limit is expected to be missed; false for no forecast.
func (f *Forecast) AtRisk() bool { return f.firstAtRisk() != nil }

// firstAtRisk is the first limit that is expected to be missed, nil when there is none.
func (f *Forecast) firstAtRisk() *ForecastStage {
	if f == nil {
		return nil
	}
	for i := range f.Stages {
		if f.Stages[i].AtRisk {
			return &f.Stages[i]
		}
	}
	return nil
}

// Predict estimates with package chill when the food will reach the limits that j does not show to be met; nil when
// the samples do not tell. The slowest probe counts. The surroundings are estimated from the samples, or assumed while
// these do not tell.
func Predict(p *LimitsProfile, samples []Sample, j Judgement) *Forecast {
	f := &Forecast{At: j.At}
	var slowest []chill.StageOutlook
	trusted, estimated := true, true
	for _, list := range series(samples) {
		o, err := outlook(p, list)
		if err != nil {
			continue // too few readings of this probe
		}
		f.Readings += o.Points
		trusted = trusted && len(list) >= forecastReadings && list[len(list)-1].At.Sub(list[0].At) >= forecastSpan
		estimated = estimated && o.Estimated
		if slowest == nil {
			slowest, f.Surroundings = o.Stages, o.Surroundings.Likely
			continue
		}
		for i, st := range o.Stages {
			chance := min(st.Chance, slowest[i].Chance)
			if later(st.Crossing, slowest[i].Crossing) {
				slowest[i], f.Surroundings = st, o.Surroundings.Likely
			}
			slowest[i].Chance = chance
		}
	}
	if slowest == nil {
		return nil
	}
	from := "estimated from the readings"
	if !estimated {
		from = "assumed"
	}
	f.Basis = fmt.Sprintf("Newton cooling fitted to the newer readings of each probe, surroundings of %.1f C %s, slowest probe; neglects lids, stirring, door openings to come and a stock that sets.",
		float64(f.Surroundings), from)
	for i, s := range j.Stages {
		if s.Verdict != VerdictMet {
			f.Stages = append(f.Stages, forecastStage(s, slowest[i], trusted))
		}
	}
	return f
}

// outlook forecasts one series.
func outlook(p *LimitsProfile, list []Sample) (chill.Outlook, error) {
	readings := make([]chill.Reading, 0, len(list))
	for _, s := range list {
		readings = append(readings, reading(s))
	}
	o, err := chill.Foresee(p.limits(), readings, chill.Options{})
	if err == nil {
		return o, nil
	}
	assumed := min(assumedSurroundings.Celsius(), p.Celsius(p.Stages[len(p.Stages)-1].Target).Add(-surroundingsBelow))
	return chill.Foresee(p.limits(), readings, chill.Options{Ambient: &assumed})
}

// later says that a is reached after b.
func later(a, b chill.Crossing) bool {
	if a.Never != b.Never {
		return a.Never
	}
	return a.Likely.After(b.Likely)
}

func forecastStage(s StageJudgement, c chill.StageOutlook, trusted bool) ForecastStage {
	st := ForecastStage{StageID: s.StageID, Deadline: s.Deadline}
	if !s.Deadline.IsZero() {
		st.Chance = &c.Chance
	}
	if !c.Never {
		st.Likely, st.Earliest = c.Likely.UTC(), c.Early.UTC()
		if !c.Open {
			st.Latest = c.Late.UTC()
		}
	}
	missed := s.Verdict == VerdictMissed || s.Verdict == VerdictNotShown
	late := !s.Deadline.IsZero() && (c.Never || c.Likely.After(s.Deadline))
	st.AtRisk = missed || trusted && late
	switch {
	case missed:
		st.Advice = s.Text + " was missed: hold the food and record the corrective action."
	case late && c.Never:
		st.Advice = s.Text + " will not be reached as it cools now: divide it into shallow pans, use an ice bath and stir, or move it to the blast chiller."
	case late:
		st.Advice = fmt.Sprintf("%s is expected %s too late: divide it into shallow pans, use an ice bath and stir, or move it to the blast chiller.", s.Text, durationText(c.Likely.Sub(s.Deadline)))
	case s.Deadline.IsZero():
		st.Advice = "The clock has not started; chill without delay."
	case c.Open || st.Latest.After(s.Deadline):
		st.Advice = s.Text + " is expected in time, but not surely; look again soon."
	default:
		st.Advice = fmt.Sprintf("%s is expected %s before its time is over.", s.Text, durationText(s.Deadline.Sub(c.Likely)))
	}
	return st
}
