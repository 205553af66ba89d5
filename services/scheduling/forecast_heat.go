package scheduling

import (
	"fmt"
	"math"
	"sort"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

// Standard deviations of what a cook measures at a hot vessel, and of a boil-off rate that was computed and never
// measured. All are chosen, no source; the last follows the caution of package simmer that efficiencies are uncertain.
const (
	massSigmaShare    = 0.01  // scales under a moving pan
	volumeSigmaShare  = 0.02  // marks on the wall
	levelSigmaMeters  = 0.004 // dip-stick in a simmering surface
	brixSigmaDegrees  = 0.3   // hand refractometer, sample cooled
	modelSigmaShare   = 0.25
	twoSigma          = 1.96 // 95 % of a normal distribution
	reductionCoverage = 0.95
)

// massPoint is the mass of liquid in a vessel at a moment, with its standard deviation, kilograms.
type massPoint struct {
	at          time.Time
	mass, sigma float64
}

// forecastReduction combines the boil-off that physics expects of the vessel with the one that the measurements show. The
// mass at the boil falls in a straight line as long as heat input stays the same; both sources of the slope are weighted
// by their variance.
func (e *estimator) forecastReduction(f *Forecast, r Run, v Vessel, measurements []Measurement) bool {
	model := *r.Step.Duration.Reduce
	hot, err := hotVessel(v)
	if err != nil {
		return false
	}
	load, err := filling(r.Step, model.StartBrix/100, model.StartCelsius)
	if err != nil {
		return false
	}
	end, words := model.endPoint(load.Liquid)
	target := float64(end.Mass)
	if end.Solids > 0 {
		target = float64(load.Liquid) * load.Solids / end.Solids
	}
	boil, err := boilingPoint(hot, load, e.conditions(false))
	if err != nil {
		return false
	}
	points := massPoints(measurements, load, v, boil)
	if len(points) == 0 {
		w, err := e.reduce(r.Step, v)
		if err != nil || w.refusal != "" {
			return false
		}
		f.Expected = r.Start.Add(w.duration)
		margin := time.Duration(modelSigmaShare * float64(w.duration))
		f.Earliest, f.Latest = f.Expected.Add(-margin), f.Expected.Add(margin)
		f.Basis = w.basis + "; nothing measured yet"
		f.Notices = append(f.Notices, "measure the mass, level or Brix twice, half an hour apart: the forecast then follows this vessel")
		return true
	}
	last := points[len(points)-1]
	if last.mass <= target {
		f.Expected, f.Earliest, f.Latest = last.at, last.at, last.at
		f.Basis = fmt.Sprintf("the last measurement shows %.1f kg, the target of %s is reached", last.mass, words)
		f.Notices = append(f.Notices, "the target is reached: take it off the heat and finish the run")
		return true
	}
	expected, ok := e.modelRate(hot, load, last.mass, target, boil)
	if !ok {
		return false
	}
	fit := fitMass(points, expected, expected*modelSigmaShare)
	f.Expected, f.Earliest, f.Latest = fit.reach(last.at, target)
	f.Coverage = reductionCoverage
	f.Basis = fmt.Sprintf("%d measurements and the vessel's heat give %.1f kg/h boiled off (%.1f kg/h by heat alone); %.1f kg are left to lose to %s",
		len(points), fit.rate*3600, expected*3600, fit.mass-target, words)
	if fit.rate < expected*0.6 {
		f.Notices = append(f.Notices, "it boils off far less than the vessel's heat should give: look at the flame, the lid and the fat on top")
	}
	if load.Solids > 0 && load.Solids*float64(load.Liquid)/target > 0.25 {
		f.Notices = append(f.Notices, simmer.CautionScorch)
	}
	return true
}

func boilingPoint(hot simmer.Vessel, load simmer.Load, c simmer.Conditions) (units.Celsius, error) {
	kettle, err := simmer.NewKettle(hot, load, simmer.Duty{}, c)
	if err != nil {
		return 0, err
	}
	return kettle.BoilingPoint(), nil
}

// modelRate is the mean boil-off in kg/s that physics expects from a mass down to the target.
func (e *estimator) modelRate(hot simmer.Vessel, load simmer.Load, mass, target float64, boil units.Celsius) (float64, bool) {
	now := simmer.Load{Liquid: units.Mass(mass), Start: boil}
	if load.Solids > 0 {
		now.Solids = math.Min(load.Solids*float64(load.Liquid)/mass, simmer.MaxSolids)
	}
	out, err := simmer.Reduce(hot, now, simmer.Duty{}, e.conditions(false), simmer.EndPoint{Mass: units.Mass(target)}, simmer.Settings{})
	if err != nil || !out.Reached || out.Time <= 0 {
		return 0, false
	}
	return (mass - target) / out.Time.Seconds(), true
}

// massPoints turns measurements into masses of liquid at the boil, by time. Solids stay in the vessel, so a Brix gives
// the mass; a volume or level is that of hot stock.
func massPoints(measurements []Measurement, load simmer.Load, v Vessel, boil units.Celsius) []massPoint {
	var out []massPoint
	add := func(at time.Time, mass, sigma float64) {
		if mass > 0 && sigma > 0 && !math.IsInf(mass, 0) && !math.IsNaN(mass) {
			out = append(out, massPoint{at: at, mass: mass, sigma: sigma})
		}
	}
	hotMass := func(volume units.Volume) float64 {
		m, err := simmer.LiquidMass(volume, load.Solids, boil)
		if err != nil {
			return 0
		}
		return float64(m)
	}
	g := v.Shape.geometry()
	for _, m := range measurements {
		switch m.Kind {
		case MeasureMassKg:
			add(m.ObserveTime, m.Value, math.Max(m.Value*massSigmaShare, 0.05))
		case MeasureVolumeLiters:
			mass := hotMass(units.Volume(m.Value) * units.Litre)
			add(m.ObserveTime, mass, mass*volumeSigmaShare)
		case MeasureLevelMeters:
			level := units.Length(m.Value)
			sigma := float64(g.SurfaceAt(level)) * levelSigmaMeters * 960 // kg/m3 of hot stock
			add(m.ObserveTime, hotMass(g.VolumeAt(level)), sigma)
		case MeasureBrixDegrees:
			if m.Value > 0 && load.Solids > 0 {
				mass := float64(load.Liquid) * load.Solids / (m.Value / 100)
				add(m.ObserveTime, mass, mass*brixSigmaDegrees/m.Value)
			}
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].at.Before(out[j].at) })
	return out
}

// massFit is the mass at the time of the last point and the boil-off, kilograms and kg/s, with standard deviations.
type massFit struct {
	mass, massSigma float64
	rate, rateSigma float64
	covariance      float64
}

// fitMass fits mass = m - rate*(t - t_last) by weighted least squares, with a normal prior on the rate (Gelman and
// others, Bayesian Data Analysis, 3rd ed., section 14.8: prior information as an additional observation; from memory).
func fitMass(points []massPoint, prior, priorSigma float64) massFit {
	last := points[len(points)-1].at
	// normal equations of (mass, rate): rows 1/sigma * (1, age), age = t_last - t
	var a11, a12, a22, b1, b2 float64
	for _, p := range points {
		w := 1 / (p.sigma * p.sigma)
		age := last.Sub(p.at).Seconds()
		a11 += w
		a12 += w * age
		a22 += w * age * age
		b1 += w * p.mass
		b2 += w * age * p.mass
	}
	w := 1 / (priorSigma * priorSigma)
	a22 += w
	b2 += w * prior
	det := a11*a22 - a12*a12
	fit := massFit{
		mass: (b1*a22 - b2*a12) / det, massSigma: math.Sqrt(a22 / det),
		rate: (a11*b2 - a12*b1) / det, rateSigma: math.Sqrt(a11 / det),
		covariance: -a12 / det,
	}
	fit.rate = math.Max(fit.rate, prior*0.05) // a pan on the fire loses something
	return fit
}

// reach is when the mass reaches a target: the likely moment and the interval of 95 %. The interval holds the times t for
// which mass - rate*t is not told from the target, (L - r*t)^2 <= z^2 * var(m - r*t) with L = mass - target (Fieller, J. R.
// Statist. Soc. B 16, 1954; from memory); it is skewed towards late, as a slow pan is.
func (f massFit) reach(last time.Time, target float64) (expected, early, late time.Time) {
	// seven weeks: far beyond any reduction, well inside a Duration
	at := func(s float64) time.Time {
		return last.Add(time.Duration(math.Min(math.Max(s, 0), longestReach) * float64(time.Second)))
	}
	left := math.Max(f.mass-target, 0)
	z2 := twoSigma * twoSigma
	a := f.rate*f.rate - z2*f.rateSigma*f.rateSigma
	b := left*f.rate - z2*f.covariance
	c := left*left - z2*f.massSigma*f.massSigma
	low, high := 0.0, longestReach
	if root := b*b - a*c; root >= 0 && a > 0 {
		low, high = (b-math.Sqrt(root))/a, (b+math.Sqrt(root))/a
	}
	return at(left / f.rate), at(low), at(high)
}

// longestReach bounds a forecast, in seconds.
const longestReach = 50 * 86400.0

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
	f.Earliest, f.Latest = f.Expected.Add(-margin), f.Expected.Add(margin)
	f.Basis = fmt.Sprintf("%.1f degC measured; %s more to %.0f degC with %.1f kW, then %s of holding", newest.Value, span(up.Time), target, v.PowerWatts/1000, span(model.Hold))
	return true
}
