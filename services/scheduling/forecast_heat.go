package scheduling

import (
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

// modelSigmaShare is the standard deviation of a bring-up that was computed and not measured yet, as a share of it (chosen,
// no source).
const modelSigmaShare = 0.25

// oneSigmaCoverage is the share of a normal distribution within one standard deviation of its mean.
const oneSigmaCoverage = 0.68

// reductionCoverage is the share of reductions that end within the interval of their forecast.
const reductionCoverage = 0.8

// weakHeat is the part of the stated heat below which a person should look (chosen, no source).
const weakHeat = 0.75

// forecastReduction follows the run with package simmer: what its vessel is believed to do, corrected by each measurement.
func (e *estimator) forecastReduction(f *Forecast, r Run, v Vessel, measurements []Measurement) bool {
	setup, words, err := e.reduction(r.Step, v)
	if err != nil {
		return false
	}
	t, used, err := follow(setup, r.Start, measurements)
	if err != nil {
		return false
	}
	if now := f.At.Sub(r.Start); now > t.Now() && t.Advance(now) != nil {
		return false
	}
	finish, err := t.Finish(reductionCoverage)
	if err != nil || finish.Reached < 0.5 {
		return false
	}
	f.Expected, f.Earliest, f.Latest = r.Start.Add(finish.Likely), r.Start.Add(finish.Early), r.Start.Add(finish.Late)
	f.Coverage, f.Measurements = reductionCoverage, used
	f.Basis = fmt.Sprintf("about %.1f kg are in it, %.1f kg/h boil off, it goes to %s; %s", finish.Liquid.Kilograms(), finish.Evaporation*3600, words, restsOn(used, v))
	if used == 0 {
		f.Notices = append(f.Notices, "measure the mass, level or Brix twice, half an hour apart: the forecast then follows this vessel")
	}
	if finish.Likely <= finish.Now {
		f.Notices = append(f.Notices, "the target is reached: take it off the heat and finish the run")
	}
	f.Notices = append(f.Notices, doubts(finish.Doubted, r.Start)...)
	if c := finish.Change; c.Noticed() {
		f.Notices = append(f.Notices, fmt.Sprintf("since about %s it boils as with %.0f %% of the heat: look at the flame, the lid and the fat on top",
			r.Start.Add(c.Likely).UTC().Format("15:04 MST"), 100*c.Power))
	}
	if p := finish.Belief.Power.Median(); used > 1 && p < weakHeat {
		f.Notices = append(f.Notices, fmt.Sprintf("it boils off far less than the vessel's heat should give, about %.0f %% of it: look at the flame, the lid and the fat on top", 100*p))
	}
	f.Notices = append(f.Notices, finish.Cautions...)
	return true
}

// restsOn says what a forecast of a vessel rests on.
func restsOn(used int, v Vessel) string {
	switch {
	case used > 0 && v.Learned != nil:
		return fmt.Sprintf("%d measurements of this run and what %d earlier runs have shown", used, v.Learned.Belief.Runs)
	case used > 0:
		return fmt.Sprintf("%d measurements of this run", used)
	case v.Learned != nil:
		return fmt.Sprintf("what %d earlier runs have shown; nothing measured yet", v.Learned.Belief.Runs)
	}
	return "the data of the vessel; nothing measured yet"
}

func boilingPoint(hot simmer.Vessel, load simmer.Load, c simmer.Conditions) (units.Celsius, error) {
	kettle, err := simmer.NewKettle(hot, load, simmer.Duty{}, c)
	if err != nil {
		return 0, err
	}
	return kettle.BoilingPoint(), nil
}

// forecastSimmer waits for the temperature, then counts the hold from the first measurement that shows it.
func (e *estimator) forecastSimmer(f *Forecast, r Run, v Vessel, measurements []Measurement) bool {
	model := *r.Step.Duration.Simmer
	hot, err := hotVessel(v)
	if err != nil {
		return false
	}
	load, err := filling(r.Step, 0, model.StartCelsius)
	if err != nil {
		return false
	}
	conditions := e.conditions(v.Lidded)
	boil, err := boilingPoint(hot, load, conditions)
	if err != nil {
		return false
	}
	target := float64(boil) - 0.5
	if model.TargetCelsius != nil {
		target = math.Min(*model.TargetCelsius, target)
	}
	var newest *Measurement
	for i := range measurements {
		m := &measurements[i]
		if m.Kind != MeasureTemperatureCelsius {
			continue
		}
		if m.Value >= target-1 { // the probe's tolerance, FDA Food Code 2022, 4-203.11: 1 degC
			f.Expected = m.ObserveTime.Add(model.Hold)
			f.Earliest, f.Latest = f.Expected, f.Expected
			f.Basis = fmt.Sprintf("%.1f degC was measured at %s; %s of holding from then", m.Value, m.ObserveTime.UTC().Format(time.RFC3339), span(model.Hold))
			return true
		}
		newest = m
	}
	if newest == nil {
		return false
	}
	load.Start = units.Celsius(math.Max(newest.Value, 0))
	up, err := simmer.BringUp(hot, load, conditions, units.Celsius(target), simmer.Settings{Horizon: 48 * time.Hour})
	if err != nil || !up.Reached {
		return false
	}
	f.Expected = newest.ObserveTime.Add(up.Time + model.Hold)
	margin := time.Duration(modelSigmaShare * float64(up.Time))
	f.Earliest, f.Latest, f.Coverage = f.Expected.Add(-margin), f.Expected.Add(margin), oneSigmaCoverage
	f.Basis = fmt.Sprintf("%.1f degC measured; %s more to %.0f degC with %.1f kW, then %s of holding", newest.Value, span(up.Time), target, v.PowerWatts/1000, span(model.Hold))
	return true
}
