package sqlstore

import (
	"context"
	"strings"
	"time"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/scheduling"
	"rondeau.internal/services/scheduling/sqlstore/internal/db"
)

// GetRun implements scheduling.Store.
func (s *Store) GetRun(ctx context.Context, name string) (scheduling.Run, error) {
	row, err := s.q(ctx).GetRun(ctx, name)
	if err != nil {
		return scheduling.Run{}, said("run", name, err)
	}
	return run(row)
}

func run(row db.Run) (scheduling.Run, error) {
	var r scheduling.Run
	if err := decode("run", row.Name, row.Doc, &r); err != nil {
		return r, err
	}
	r.Name, r.Meta = row.Name, meta(row.Uid, row.Version, row.CreateUs, row.UpdateUs)
	r.Batch, r.StepID, r.State, r.Vessel, r.Crew, r.Schedule = row.Batch, row.StepID, scheduling.RunState(row.State), row.Vessel, row.Crew, row.Schedule
	r.PlannedStart, r.PlannedEnd = sqldb.FromMicros(row.PlannedStartUs), sqldb.FromMicros(row.PlannedEndUs)
	r.Start, r.Finish = sqldb.FromMicros(row.StartUs), sqldb.FromMicros(row.FinishUs)
	return r, nil
}

func runs(rows []db.Run) ([]scheduling.Run, error) {
	out := make([]scheduling.Run, 0, len(rows))
	for _, row := range rows {
		r, err := run(row)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

// ListRuns implements scheduling.Store.
func (s *Store) ListRuns(ctx context.Context, q scheduling.ListQuery) ([]scheduling.Run, error) {
	l := listing{
		columns: "name, site, uid, version, create_us, update_us, batch, step_id, kind, state, vessel, crew, schedule, planned_start_us, planned_end_us, start_us, finish_us, doc",
		table:   "runs", where: "batch = $1", argument: q.Parent, order: []string{"planned_start_us", "name"}, numbers: 1,
	}
	if strings.HasSuffix(q.Parent, "/batches/-") {
		l.where, l.argument = "site = $1", siteOf(q.Parent)
	}
	var out []scheduling.Run
	err := s.query(ctx, l, q, func(scan func(...any) error) error {
		var row db.Run
		if err := scan(&row.Name, &row.Site, &row.Uid, &row.Version, &row.CreateUs, &row.UpdateUs, &row.Batch, &row.StepID, &row.Kind, &row.State,
			&row.Vessel, &row.Crew, &row.Schedule, &row.PlannedStartUs, &row.PlannedEndUs, &row.StartUs, &row.FinishUs, &row.Doc); err != nil {
			return err
		}
		r, err := run(row)
		out = append(out, r)
		return err
	})
	return out, err
}

// RunsOfBatch implements scheduling.Store.
func (s *Store) RunsOfBatch(ctx context.Context, batch string) ([]scheduling.Run, error) {
	rows, err := s.q(ctx).RunsOfBatch(ctx, batch)
	if err != nil {
		return nil, said("runs of", batch, err)
	}
	return runs(rows)
}

// RunsInState implements scheduling.Store.
func (s *Store) RunsInState(ctx context.Context, site string, state scheduling.RunState) ([]scheduling.Run, error) {
	rows, err := s.q(ctx).RunsInState(ctx, db.RunsInStateParams{Site: site, State: string(state)})
	if err != nil {
		return nil, said("runs of", site, err)
	}
	return runs(rows)
}

// RunningRuns implements scheduling.Store.
func (s *Store) RunningRuns(ctx context.Context) ([]scheduling.Run, error) {
	rows, err := s.q(ctx).RunningRuns(ctx)
	if err != nil {
		return nil, said("runs", "that are running", err)
	}
	return runs(rows)
}

// InsertRun implements scheduling.Store.
func (s *Store) InsertRun(ctx context.Context, r scheduling.Run) error {
	doc, err := encode("run", r.Name, r)
	if err != nil {
		return err
	}
	return said("run", r.Name, s.q(ctx).InsertRun(ctx, db.InsertRunParams{
		Name: r.Name, Site: siteOf(r.Name), Uid: r.UID, Version: r.Version, CreateUs: sqldb.Micros(r.CreateTime), UpdateUs: sqldb.Micros(r.UpdateTime),
		Batch: r.Batch, StepID: r.StepID, Kind: string(r.Step.Kind), State: string(r.State), Vessel: r.Vessel, Crew: r.Crew, Schedule: r.Schedule,
		PlannedStartUs: sqldb.Micros(r.PlannedStart), PlannedEndUs: sqldb.Micros(r.PlannedEnd),
		StartUs: sqldb.Micros(r.Start), FinishUs: sqldb.Micros(r.Finish), Doc: doc,
	}))
}

// UpdateRun implements scheduling.Store.
func (s *Store) UpdateRun(ctx context.Context, r scheduling.Run, exclusive func(vessel string) bool) error {
	doc, err := encode("run", r.Name, r)
	if err != nil {
		return err
	}
	rows, err := s.q(ctx).UpdateRun(ctx, db.UpdateRunParams{
		Name: r.Name, Version: r.Version, UpdateUs: sqldb.Micros(r.UpdateTime),
		Batch: r.Batch, StepID: r.StepID, Kind: string(r.Step.Kind), State: string(r.State), Vessel: r.Vessel, Crew: r.Crew, Schedule: r.Schedule,
		PlannedStartUs: sqldb.Micros(r.PlannedStart), PlannedEndUs: sqldb.Micros(r.PlannedEnd),
		StartUs: sqldb.Micros(r.Start), FinishUs: sqldb.Micros(r.Finish), Doc: doc,
	})
	if err := updated("run", r.Name, rows, err); err != nil {
		return err
	}
	if r.Start.IsZero() {
		return nil
	}
	if err := s.q(ctx).DeleteOccupancies(ctx, r.Name); err != nil {
		return said("occupancies of", r.Name, err)
	}
	vessels := r.Additional
	if r.Vessel != "" {
		vessels = append([]string{r.Vessel}, vessels...)
	}
	until := r.Finish
	if until.IsZero() {
		until = r.OutBy
	}
	for _, v := range vessels {
		err := s.q(ctx).InsertOccupancy(ctx, db.InsertOccupancyParams{
			Run: r.Name, Vessel: v, Exclusive: exclusive(v), StartUs: sqldb.Micros(r.Start), UntilUs: untilMicros(until),
		})
		if err != nil {
			return said("occupancy of "+v+" by", r.Name, err)
		}
	}
	return nil
}

// Occupants implements scheduling.Store.
func (s *Store) Occupants(ctx context.Context, vessel string, from, to time.Time) ([]scheduling.Occupancy, error) {
	rows, err := s.q(ctx).Occupants(ctx, db.OccupantsParams{Vessel: vessel, Before: untilMicros(to), After: sqldb.Micros(from)})
	if err != nil {
		return nil, said("occupants of", vessel, err)
	}
	out := make([]scheduling.Occupancy, 0, len(rows))
	for _, row := range rows {
		o := scheduling.Occupancy{Run: row.Run, Start: sqldb.FromMicros(row.StartUs)}
		if row.UntilUs != openUntil {
			o.End = sqldb.FromMicros(row.UntilUs)
		}
		out = append(out, o)
	}
	return out, nil
}

// GetMeasurement implements scheduling.Store.
func (s *Store) GetMeasurement(ctx context.Context, name string) (scheduling.Measurement, error) {
	row, err := s.q(ctx).GetMeasurement(ctx, name)
	if err != nil {
		return scheduling.Measurement{}, said("measurement", name, err)
	}
	return measurement(row), nil
}

func measurement(row db.Measurement) scheduling.Measurement {
	return scheduling.Measurement{
		Name: row.Name, Run: row.Run, Meta: meta(row.Uid, 1, row.CreateUs, row.CreateUs), Kind: scheduling.MeasurementKind(row.Kind), Value: row.Value,
		Check: row.CheckName, Passed: row.Passed, ObserveTime: sqldb.FromMicros(row.ObserveUs), RecordTime: sqldb.FromMicros(row.RecordUs),
		Operator: row.Operator, Recorder: row.Recorder, Note: row.Note,
	}
}

// ListMeasurements implements scheduling.Store.
func (s *Store) ListMeasurements(ctx context.Context, q scheduling.ListQuery) ([]scheduling.Measurement, error) {
	l := listing{
		columns: "name, run, uid, create_us, kind, value, check_name, passed, observe_us, record_us, operator, recorder, note",
		table:   "measurements", where: "run = $1", argument: q.Parent, order: []string{"observe_us", "name"}, numbers: 1,
	}
	var out []scheduling.Measurement
	err := s.query(ctx, l, q, func(scan func(...any) error) error {
		var row db.Measurement
		if err := scan(&row.Name, &row.Run, &row.Uid, &row.CreateUs, &row.Kind, &row.Value, &row.CheckName, &row.Passed,
			&row.ObserveUs, &row.RecordUs, &row.Operator, &row.Recorder, &row.Note); err != nil {
			return err
		}
		out = append(out, measurement(row))
		return nil
	})
	return out, err
}

// InsertMeasurement implements scheduling.Store.
func (s *Store) InsertMeasurement(ctx context.Context, m scheduling.Measurement) error {
	return said("measurement", m.Name, s.q(ctx).InsertMeasurement(ctx, db.InsertMeasurementParams{
		Name: m.Name, Run: m.Run, Uid: m.UID, CreateUs: sqldb.Micros(m.CreateTime), Kind: string(m.Kind), Value: m.Value,
		CheckName: m.Check, Passed: m.Passed, ObserveUs: sqldb.Micros(m.ObserveTime), RecordUs: sqldb.Micros(m.RecordTime),
		Operator: m.Operator, Recorder: m.Recorder, Note: m.Note,
	}))
}
