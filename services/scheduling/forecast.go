package scheduling

import (
	"context"
	"fmt"
	"time"
)

// forecastOf says when a running run will be finished, by the best of what is known: physics and measurements where they
// suffice, else the planned duration. It never fails; the basis says what it rests on.
func (s *Service) forecastOf(ctx context.Context, r Run, measurements []Measurement) Forecast {
	now := s.clock.Now()
	f := Forecast{At: now, Measurements: len(measurements)}
	vessel, vesselErr := s.store.GetVessel(ctx, r.Vessel)
	limits, limitsErr := s.Limits(ctx, siteOf(r.Name)+"/kitchenLimits")
	if vesselErr == nil && limitsErr == nil {
		e := newEstimator(r.Site, limits)
		var known bool
		switch d := r.Step.Duration; {
		case d.Reduce != nil:
			known = e.forecastReduction(&f, r, vessel, measurements)
		case d.Simmer != nil:
			known = e.forecastSimmer(&f, r, vessel, measurements)
		case d.Chill != nil:
			known = forecastChill(&f, r, vessel, measurements)
		}
		if !known {
			e.forecastPlain(&f, r, vessel)
		}
	} else {
		f.Expected = r.Start.Add(r.PlannedEnd.Sub(r.PlannedStart))
		f.Basis = "the planned duration"
	}
	return f.settled(now)
}

// forecastPlain takes the duration that the step has in the vessel really used.
func (e *estimator) forecastPlain(f *Forecast, r Run, v Vessel) {
	estimate := e.estimate(r.Step, &v)
	if estimate.Refusal != "" || estimate.Total() <= 0 {
		f.Expected = r.Start.Add(r.PlannedEnd.Sub(r.PlannedStart))
		f.Basis = "the planned duration"
		return
	}
	f.Expected = r.Start.Add(estimate.Total())
	f.Basis = estimate.Basis
}

// settled keeps a forecast in the future and its interval around it.
func (f Forecast) settled(now time.Time) Forecast {
	if f.Expected.Before(now) {
		f.Notices = append(f.Notices, fmt.Sprintf("overdue: the finish was expected %s ago. Look at it, measure, and finish the run if it is done", span(now.Sub(f.Expected))))
		f.Expected = now.Add(overdueAllowance)
		f.Latest = latest(f.Latest, f.Expected)
	}
	if f.Earliest.IsZero() || f.Earliest.After(f.Expected) {
		f.Earliest = f.Expected
	}
	if f.Latest.Before(f.Expected) {
		f.Latest = f.Expected
	}
	f.Earliest = latest(earliest(f.Earliest, f.Expected), now)
	return f
}
