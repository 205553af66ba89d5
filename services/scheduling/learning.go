package scheduling

import (
	"context"
	"errors"
	"fmt"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

// Learned is what the measured runs of a vessel have shown about it.
type Learned struct {
	Belief     simmer.Belief
	Run        string // the last run learned from
	UpdateTime time.Time
}

// heatClass is the class of a vessel in package simmer, whose vessels of the same kind of heating are believed alike until
// they have been measured.
func (v Vessel) heatClass() simmer.Class {
	jacketed := v.Shape.Kind == ShapeHemisphere
	switch {
	case v.Shape.Kind == ShapePan:
		return simmer.TiltingPan
	case v.HeatSource == HeatSteam:
		return simmer.SteamKettle
	case v.HeatSource == HeatGas && jacketed:
		return simmer.GasKettle
	case v.HeatSource == HeatGas:
		return simmer.OpenBurnerPot
	case jacketed:
		return simmer.ElectricKettle
	}
	return simmer.HotPlatePot
}

// prior is what is believed of a vessel before its next run: what its class lets expect, and what its runs have shown,
// somewhat forgotten.
func (v Vessel) prior() simmer.Belief {
	typical, err := simmer.TypicalOf(v.heatClass())
	if err != nil {
		return simmer.Uninformed()
	}
	if v.Learned == nil {
		return typical.Prior
	}
	b, err := v.Learned.Belief.Forget(typical.Prior, simmer.UsualForgetting)
	if err != nil {
		return typical.Prior
	}
	return b
}

// reduction describes a reduction to package simmer.
func (e *estimator) reduction(s Step, v Vessel) (simmer.Setup, string, error) {
	model := *s.Duration.Reduce
	hot, err := hotVessel(v)
	if err != nil {
		return simmer.Setup{}, "", err
	}
	load, err := filling(s, model.StartBrix/100, model.StartCelsius)
	if err != nil {
		return simmer.Setup{}, "", err
	}
	end, words := model.endPoint(load.Liquid)
	return simmer.Setup{Vessel: hot, Load: load, Conditions: e.conditions(false), End: end, Prior: v.prior()}, words, nil
}

// follow feeds the measurements of a run, by time of observation, to a tracker. Those that say nothing about the
// reduction are left out, and so are those that the model cannot take.
func follow(setup simmer.Setup, begin time.Time, measurements []Measurement) (t *simmer.Tracker, used int, err error) {
	if t, err = simmer.NewTracker(setup); err != nil {
		return nil, 0, err
	}
	for _, m := range measurements {
		r, ok := readingOf(m, begin)
		if ok && r.Elapsed >= t.Now() && t.Read(r) == nil {
			used++
		}
	}
	return t, used, nil
}

// readingOf turns a measurement into a reading of a vessel.
func readingOf(m Measurement, begin time.Time) (simmer.Reading, bool) {
	r := simmer.Reading{Elapsed: max(m.ObserveTime.Sub(begin), 0)}
	switch m.Kind {
	case MeasureMassKg:
		r.Mass = units.Mass(m.Value)
	case MeasureVolumeLiters:
		r.Volume = units.Volume(m.Value) * units.Litre
	case MeasureLevelMeters:
		r.Level = units.Length(m.Value)
	case MeasureBrixDegrees:
		r.Solids = m.Value / 100
	case MeasureTemperatureCelsius:
		r.Temperature = units.Celsius(m.Value)
	default:
		return r, false
	}
	return r, m.Value > 0
}

// learn keeps what a finished reduction has shown about its vessel for the next plan. A run that cannot be followed
// teaches nothing, which is no reason to refuse its finish.
func (s *Service) learn(ctx context.Context, r *Run) error {
	if r.Step.Duration.Reduce == nil || r.Vessel == "" {
		return nil
	}
	v, err := s.store.GetVessel(ctx, r.Vessel)
	if errors.Is(err, ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	limits, err := s.Limits(ctx, siteOf(r.Name)+"/kitchenLimits")
	if err != nil {
		return err
	}
	measurements, err := s.store.ListMeasurements(ctx, ListQuery{Parent: r.Name, Limit: everything})
	if err != nil {
		return err
	}
	setup, _, err := newEstimator(r.Site, limits).reduction(r.Step, v)
	if err != nil {
		return nil
	}
	setup.End = simmer.EndPoint{}
	t, used, err := follow(setup, r.Start, measurements)
	if err != nil || used < 2 {
		return nil
	}
	r.Notices = append(r.Notices, doubts(t.Doubted(), r.Start)...)
	return s.store.SetVesselBelief(ctx, v.Name, &Learned{Belief: t.Belief(), Run: r.Name, UpdateTime: s.clock.Now()})
}

// doubts says which readings are not believed.
func doubts(list []simmer.Doubt, begin time.Time) []string {
	var out []string
	for _, d := range list {
		out = append(out, fmt.Sprintf("the measurement of %s does not fit the others and is not believed: measure again",
			begin.Add(d.Reading.Elapsed).UTC().Format(time.RFC3339)))
	}
	return out
}

// sixOfTen is the standard normal quantile of 0.8: between its negative and it lie 6 of 10 cases.
const sixOfTen = 0.8416

// Heat is the useful heat as a share of what power and efficiency state: the median and the limits that hold 6 of 10 cases.
func (l *Learned) Heat() (median, low, high float64) {
	p := l.Belief.Power
	return p.Median(), p.At(-sixOfTen), p.At(sixOfTen)
}

// Words says how a vessel compares with what is stated of it, in plain words.
func (l *Learned) Words() string {
	median, low, high := l.Heat()
	return fmt.Sprintf("%s in %s show about %.0f %% of the heat stated (%.0f to %.0f %%)",
		counted(l.Belief.Readings, "measurement"), counted(l.Belief.Runs, "run"), 100*median, 100*low, 100*high)
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// heatsAlike says whether what was learned of a vessel still holds after a change of its data.
func heatsAlike(a, b Vessel) bool {
	return a.Shape == b.Shape && a.PowerWatts == b.PowerWatts && a.Efficiency == b.Efficiency && a.HeatSource == b.HeatSource
}
