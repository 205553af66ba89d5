package sqlstore

import (
	"context"
	"time"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/scheduling"
	"rondeau.internal/services/scheduling/sqlstore/internal/db"
)

// GetBatch implements scheduling.Store.
func (s *Store) GetBatch(ctx context.Context, name string) (scheduling.Batch, error) {
	row, err := s.q(ctx).GetBatch(ctx, name)
	if err != nil {
		return scheduling.Batch{}, said("batch", name, err)
	}
	return batch(row)
}

func batch(row db.Batch) (scheduling.Batch, error) {
	var b scheduling.Batch
	if err := decode("batch", row.Name, row.Doc, &b); err != nil {
		return b, err
	}
	b.Name, b.Plan, b.State = row.Name, row.Plan, scheduling.BatchState(row.State)
	return b, nil
}

// PutBatch implements scheduling.Store.
func (s *Store) PutBatch(ctx context.Context, b scheduling.Batch) error {
	doc, err := encode("batch", b.Name, b)
	if err != nil {
		return err
	}
	return said("batch", b.Name, s.q(ctx).PutBatch(ctx, db.PutBatchParams{Name: b.Name, Site: siteOf(b.Name), Plan: b.Plan, State: string(b.State), Doc: doc}))
}

// OpenBatches implements scheduling.Store.
func (s *Store) OpenBatches(ctx context.Context, site string) ([]scheduling.Batch, error) {
	rows, err := s.q(ctx).OpenBatches(ctx, site)
	if err != nil {
		return nil, said("open batches of", site, err)
	}
	out := make([]scheduling.Batch, 0, len(rows))
	for _, row := range rows {
		b, err := batch(row)
		if err != nil {
			return nil, err
		}
		out = append(out, b)
	}
	return out, nil
}

// GetSchedule implements scheduling.Store.
func (s *Store) GetSchedule(ctx context.Context, name string) (scheduling.Schedule, error) {
	row, err := s.q(ctx).GetSchedule(ctx, name)
	if err != nil {
		return scheduling.Schedule{}, said("schedule", name, err)
	}
	return schedule(row)
}

func schedule(row db.GetScheduleRow) (scheduling.Schedule, error) {
	var c scheduling.Schedule
	if err := decode("schedule", row.Name, row.Head, &c); err != nil {
		return c, err
	}
	if row.Assignments != "" {
		if err := decode("schedule", row.Name, row.Assignments, &c.Assignments); err != nil {
			return c, err
		}
	}
	c.Name, c.Meta = row.Name, meta(row.Uid, row.Version, row.CreateUs, row.UpdateUs)
	c.Plan, c.State, c.PublishTime = row.Plan, scheduling.ScheduleState(row.State), sqldb.FromMicros(row.PublishUs)
	return c, nil
}

// ListSchedules implements scheduling.Store.
func (s *Store) ListSchedules(ctx context.Context, q scheduling.ListQuery, full bool) ([]scheduling.Schedule, error) {
	assignments := "''"
	if full {
		assignments = "assignments"
	}
	l := listing{
		columns: "name, uid, version, create_us, update_us, plan, state, publish_us, head, " + assignments,
		table:   "schedules", where: "site = $1", argument: q.Parent, order: []string{"create_us", "name"}, descending: true, numbers: 1,
	}
	var out []scheduling.Schedule
	err := s.query(ctx, l, q, func(scan func(...any) error) error {
		var row db.GetScheduleRow
		if err := scan(&row.Name, &row.Uid, &row.Version, &row.CreateUs, &row.UpdateUs, &row.Plan, &row.State, &row.PublishUs, &row.Head, &row.Assignments); err != nil {
			return err
		}
		c, err := schedule(row)
		out = append(out, c)
		return err
	})
	return out, err
}

// PublishedSchedule implements scheduling.Store.
func (s *Store) PublishedSchedule(ctx context.Context, site string) (scheduling.Schedule, error) {
	row, err := s.q(ctx).PublishedSchedule(ctx, site)
	if err != nil {
		return scheduling.Schedule{}, said("published schedule of", site, err)
	}
	return schedule(db.GetScheduleRow(row))
}

// split writes a schedule without its assignments, and these.
func split(c scheduling.Schedule) (head, assignments string, err error) {
	if assignments, err = encode("schedule", c.Name, c.Assignments); err != nil {
		return "", "", err
	}
	c.Assignments = nil
	head, err = encode("schedule", c.Name, c)
	return head, assignments, err
}

// InsertSchedule implements scheduling.Store.
func (s *Store) InsertSchedule(ctx context.Context, c scheduling.Schedule, p scheduling.Problem) error {
	head, assignments, err := split(c)
	if err != nil {
		return err
	}
	problem, err := encode("schedule", c.Name, p)
	if err != nil {
		return err
	}
	return said("schedule", c.Name, s.q(ctx).InsertSchedule(ctx, db.InsertScheduleParams{
		Name: c.Name, Site: siteOf(c.Name), Uid: c.UID, Version: c.Version, CreateUs: sqldb.Micros(c.CreateTime), UpdateUs: sqldb.Micros(c.UpdateTime),
		Plan: c.Plan, State: string(c.State), PublishUs: sqldb.Micros(c.PublishTime), Head: head, Assignments: assignments, Problem: problem,
	}))
}

// UpdateSchedule implements scheduling.Store.
func (s *Store) UpdateSchedule(ctx context.Context, c scheduling.Schedule) error {
	head, assignments, err := split(c)
	if err != nil {
		return err
	}
	rows, err := s.q(ctx).UpdateSchedule(ctx, db.UpdateScheduleParams{
		Name: c.Name, Version: c.Version, UpdateUs: sqldb.Micros(c.UpdateTime), State: string(c.State), PublishUs: sqldb.Micros(c.PublishTime),
		Head: head, Assignments: assignments,
	})
	return updated("schedule", c.Name, rows, err)
}

// ScheduleProblem implements scheduling.Store.
func (s *Store) ScheduleProblem(ctx context.Context, name string) (scheduling.Problem, error) {
	text, err := s.q(ctx).ScheduleProblem(ctx, name)
	if err != nil {
		return scheduling.Problem{}, said("schedule", name, err)
	}
	var p scheduling.Problem
	return p, decode("schedule", name, text, &p)
}

// GetOperation implements scheduling.Store.
func (s *Store) GetOperation(ctx context.Context, name string) (scheduling.Operation, error) {
	row, err := s.q(ctx).GetOperation(ctx, name)
	if err != nil {
		return scheduling.Operation{}, said("operation", name, err)
	}
	return operation(row)
}

func operation(row db.GetOperationRow) (scheduling.Operation, error) {
	var o scheduling.Operation
	if err := decode("operation", row.Name, row.Doc, &o); err != nil {
		return o, err
	}
	o.Name, o.Meta = row.Name, meta(row.Uid, row.Version, row.CreateUs, row.UpdateUs)
	o.Stage, o.CancelRequested = scheduling.OperationStage(row.Stage), row.CancelRequested
	o.LeaseOwner, o.LeaseUntil = row.LeaseOwner, sqldb.FromMicros(row.LeaseUs)
	return o, nil
}

// ListOperations implements scheduling.Store.
func (s *Store) ListOperations(ctx context.Context, q scheduling.ListQuery) ([]scheduling.Operation, error) {
	l := listing{
		columns: "name, uid, version, create_us, update_us, stage, cancel_requested, lease_owner, lease_us, doc",
		table:   "operations", where: "site = $1", argument: q.Parent, order: []string{"create_us", "name"}, descending: true, numbers: 1,
	}
	var out []scheduling.Operation
	err := s.query(ctx, l, q, func(scan func(...any) error) error {
		var row db.GetOperationRow
		if err := scan(&row.Name, &row.Uid, &row.Version, &row.CreateUs, &row.UpdateUs, &row.Stage, &row.CancelRequested, &row.LeaseOwner, &row.LeaseUs, &row.Doc); err != nil {
			return err
		}
		o, err := operation(row)
		out = append(out, o)
		return err
	})
	return out, err
}

// InsertOperation implements scheduling.Store.
func (s *Store) InsertOperation(ctx context.Context, o scheduling.Operation, p scheduling.Problem) error {
	doc, err := encode("operation", o.Name, o)
	if err != nil {
		return err
	}
	problem, err := encode("operation", o.Name, p)
	if err != nil {
		return err
	}
	return said("operation", o.Name, s.q(ctx).InsertOperation(ctx, db.InsertOperationParams{
		Name: o.Name, Site: siteOf(o.Name), Uid: o.UID, Version: o.Version, CreateUs: sqldb.Micros(o.CreateTime), UpdateUs: sqldb.Micros(o.UpdateTime),
		Stage: string(o.Stage), CancelRequested: o.CancelRequested, LeaseOwner: o.LeaseOwner, LeaseUs: sqldb.Micros(o.LeaseUntil), Doc: doc, Problem: problem,
	}))
}

// UpdateOperation implements scheduling.Store.
func (s *Store) UpdateOperation(ctx context.Context, o scheduling.Operation) error {
	doc, err := encode("operation", o.Name, o)
	if err != nil {
		return err
	}
	rows, err := s.q(ctx).UpdateOperation(ctx, db.UpdateOperationParams{
		Name: o.Name, Version: o.Version, UpdateUs: sqldb.Micros(o.UpdateTime), Stage: string(o.Stage), CancelRequested: o.CancelRequested,
		LeaseOwner: o.LeaseOwner, LeaseUs: sqldb.Micros(o.LeaseUntil), Doc: doc,
	})
	return updated("operation", o.Name, rows, err)
}

// OperationProblem implements scheduling.Store.
func (s *Store) OperationProblem(ctx context.Context, name string) (scheduling.Problem, error) {
	text, err := s.q(ctx).OperationProblem(ctx, name)
	if err != nil {
		return scheduling.Problem{}, said("operation", name, err)
	}
	var p scheduling.Problem
	return p, decode("operation", name, text, &p)
}

// ClaimableOperations implements scheduling.Store.
func (s *Store) ClaimableOperations(ctx context.Context, before time.Time) ([]scheduling.Operation, error) {
	rows, err := s.q(ctx).ClaimableOperations(ctx, sqldb.Micros(before))
	if err != nil {
		return nil, said("operations", "that wait", err)
	}
	out := make([]scheduling.Operation, 0, len(rows))
	for _, row := range rows {
		o, err := operation(db.GetOperationRow(row))
		if err != nil {
			return nil, err
		}
		out = append(out, o)
	}
	return out, nil
}
