package scheduling

import (
	"context"
	"errors"
	"fmt"
	"time"

	"rondeau.internal/pkg/apierr"
)

// forecastNews is by how much a forecast finish must move to be told to others (chosen: less is noise to a planner).
const forecastNews = 5 * time.Minute

// RecordMeasurement adds a measurement to a run and renews its forecast. Sending the same measurement under the same
// name again answers the stored one.
func (s *Service) RecordMeasurement(ctx context.Context, m Measurement) (Measurement, error) {
	return inTx(ctx, s, func(ctx context.Context) (Measurement, error) {
		r, err := s.store.GetRun(ctx, m.Run)
		if err != nil {
			return Measurement{}, said(err, RunMissing, RunMissing, m.Run)
		}
		now := s.clock.Now()
		timed := !m.ObserveTime.IsZero()
		if !timed {
			m.ObserveTime = now
		}
		if m.Operator == "" {
			m.Operator = m.Recorder
		}
		if old, err := s.store.GetMeasurement(ctx, m.Name); err == nil {
			if old.Kind == m.Kind && old.Value == m.Value && old.Check == m.Check && old.Passed == m.Passed && (!timed || old.ObserveTime.Equal(m.ObserveTime)) {
				return old, nil
			}
			return Measurement{}, apierr.AlreadyExists(MeasurementExists, m.Name).With("resource", m.Name)
		} else if !errors.Is(err, ErrNotFound) {
			return Measurement{}, err
		}
		if err := s.believable(ctx, r, m, now); err != nil {
			return Measurement{}, err
		}
		m.RecordTime, m.Meta = now, s.created()
		if err := s.store.InsertMeasurement(ctx, m); err != nil {
			return Measurement{}, said(err, MeasurementMissing, MeasurementExists, m.Name)
		}
		r.Summary.add(m)
		r.Meta = s.changed(r.Meta)
		if r.State == RunRunning {
			if err := s.renewForecast(ctx, &r); err != nil {
				return Measurement{}, err
			}
		}
		return m, said(s.store.UpdateRun(ctx, r, s.exclusive(ctx)), RunMissing, RunMissing, r.Name)
	})
}

// believable refuses a measurement that cannot belong to the run.
func (s *Service) believable(ctx context.Context, r Run, m Measurement, now time.Time) error {
	if r.State != RunRunning && r.State != RunFinished {
		return notRunning(r)
	}
	if err := plausible("measurement.observe_time", m.ObserveTime, now); err != nil {
		return err
	}
	outside := m.ObserveTime.Before(r.Start.Add(-clockTolerance)) || r.State == RunFinished && m.ObserveTime.After(r.Finish.Add(clockTolerance))
	if outside {
		return apierr.InvalidArgument(TimeImplausible, "the measurement of %s lies outside the run %s: give the moment at which it was observed",
			m.ObserveTime.UTC().Format(time.RFC3339), r.Name).With("time", m.ObserveTime.UTC().Format(time.RFC3339)).With("run", r.Name).
			WithViolation("measurement.observe_time", "must lie within the run")
	}
	why := ""
	if v, err := s.store.GetVessel(ctx, r.Vessel); err == nil && v.Shape.Kind != ShapeNone {
		g := v.Shape.geometry()
		switch {
		case m.Kind == MeasureLevelMeters && m.Value > float64(g.Height):
			why = fmt.Sprintf("a level of %.3f m is above the brim of %s (%.3f m)", m.Value, v.DisplayName, float64(g.Height))
		case m.Kind == MeasureVolumeLiters && m.Value > g.Brimful().Litres()*1.01:
			why = fmt.Sprintf("%.1f L are more than %s holds to the brim (%.1f L)", m.Value, v.DisplayName, g.Brimful().Litres())
		}
	}
	if why == "" {
		return nil
	}
	return apierr.InvalidArgument(MeasurementImplausible, "%s: measure again, or check which vessel %s is in", why, r.Name).
		With("run", r.Name).WithViolation("measurement", "%s", why)
}

// renewForecast computes the forecast anew and tells others when it moved.
func (s *Service) renewForecast(ctx context.Context, r *Run) error {
	measurements, err := s.store.ListMeasurements(ctx, ListQuery{Parent: r.Name, Limit: everything})
	if err != nil {
		return err
	}
	forecast := s.forecastOf(ctx, *r, measurements)
	r.Forecast = &forecast
	previous := r.Announced
	if !previous.IsZero() && forecast.Expected.Sub(previous).Abs() < forecastNews {
		return nil // small steps add up: the next one is compared with what others were told
	}
	r.Announced = forecast.Expected
	delayed, err := s.delayedBy(ctx, *r)
	if err != nil {
		return err
	}
	return s.events.ForecastChanged(ctx, *r, previous, delayed)
}

// delayedBy names the planned runs that cannot start as planned: the next step of the batch, and runs in its vessels.
func (s *Service) delayedBy(ctx context.Context, r Run) ([]string, error) {
	planned, err := s.store.RunsInState(ctx, siteOf(r.Name), RunPlanned)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, p := range planned {
		if !p.PlannedStart.Before(r.Forecast.Expected) {
			continue
		}
		shares := p.Batch == r.Batch
		for _, v := range p.vessels() {
			shares = shares || contains(r.vessels(), v)
		}
		if shares {
			out = append(out, p.Name)
		}
	}
	return out, nil
}

// Measurements lists the measurements of a run.
func (s *Service) Measurements(ctx context.Context, q ListQuery) ([]Measurement, error) {
	if _, err := s.store.GetRun(ctx, q.Parent); err != nil {
		return nil, said(err, RunMissing, RunMissing, q.Parent)
	}
	return s.store.ListMeasurements(ctx, q)
}

// ForecastRun computes the forecast of a running run anew and stores nothing.
func (s *Service) ForecastRun(ctx context.Context, name string) (Forecast, error) {
	var out Forecast
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		r, err := s.store.GetRun(ctx, name)
		if err != nil {
			return said(err, RunMissing, RunMissing, name)
		}
		if r.State != RunRunning {
			return apierr.FailedPrecondition(ForecastNotPossible, "%s is %s: only a running run has a finish to forecast", name, r.State).
				With("run", name).With("state", string(r.State)).WithViolation(name, "is %s", r.State)
		}
		measurements, err := s.store.ListMeasurements(ctx, ListQuery{Parent: name, Limit: everything})
		if err != nil {
			return err
		}
		out = s.forecastOf(ctx, r, measurements)
		return nil
	})
	return out, err
}
