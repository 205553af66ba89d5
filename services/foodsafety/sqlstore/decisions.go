package sqlstore

import (
	"context"
	"errors"
	"fmt"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/foodsafety"
	"rondeau.internal/services/foodsafety/sqlstore/internal/db"
)

// deviationDoc encodes a deviation without its corrective actions, which have a table of their own.
func deviationDoc(d *foodsafety.Deviation) (string, error) {
	bare := *d
	bare.Actions = nil
	return encode(bare)
}

// InsertDeviation implements foodsafety.DecisionStore.
func (s *Store) InsertDeviation(ctx context.Context, d *foodsafety.Deviation) error {
	doc, err := deviationDoc(d)
	if err != nil {
		return err
	}
	err = s.q(ctx).InsertDeviation(ctx, db.InsertDeviationParams{
		Name: d.Name, Site: foodsafety.SiteOf(d.Name), Kind: string(d.Kind), State: string(d.State), Chill: d.Chill, OpenUs: us(d.OpenTime),
		Doc: doc, Version: d.Version, CreateUs: us(d.CreateTime), UpdateUs: us(d.UpdateTime),
	})
	if err != nil {
		return insertError(err, foodsafety.DeviationExists, d.Name)
	}
	for _, subject := range d.Subjects {
		err := s.q(ctx).InsertDeviationSubject(ctx, db.InsertDeviationSubjectParams{Deviation: d.Name, Subject: subject})
		if err != nil {
			return fmt.Errorf("subject of %s: %w", d.Name, sqldb.Translate(err))
		}
	}
	return s.appendActions(ctx, d, 0)
}

// UpdateDeviation implements foodsafety.DecisionStore.
func (s *Store) UpdateDeviation(ctx context.Context, d *foodsafety.Deviation) error {
	doc, err := deviationDoc(d)
	if err != nil {
		return err
	}
	rows, err := s.q(ctx).UpdateDeviation(ctx, db.UpdateDeviationParams{
		Name: d.Name, State: string(d.State), Doc: doc, Version: d.Version, UpdateUs: us(d.UpdateTime), Version_2: d.Version - 1,
	})
	if err := updateError(rows, err, d.Name); err != nil {
		return err
	}
	stored, err := s.q(ctx).CorrectiveActions(ctx, d.Name)
	if err != nil {
		return fmt.Errorf("corrective actions of %s: %w", d.Name, sqldb.Translate(err))
	}
	return s.appendActions(ctx, d, len(stored))
}

func (s *Store) appendActions(ctx context.Context, d *foodsafety.Deviation, from int) error {
	for i := from; i < len(d.Actions); i++ {
		a := d.Actions[i]
		err := s.q(ctx).InsertCorrectiveAction(ctx, db.InsertCorrectiveActionParams{
			Deviation: d.Name, Position: int64(i), Decision: string(a.Decision), Actor: a.Actor, RecordUs: us(a.RecordTime), ActionText: a.Text,
		})
		if err != nil {
			return fmt.Errorf("corrective action of %s: %w", d.Name, sqldb.Translate(err))
		}
	}
	return nil
}

func (s *Store) withActions(ctx context.Context, d *foodsafety.Deviation) error {
	rows, err := s.q(ctx).CorrectiveActions(ctx, d.Name)
	if err != nil {
		return fmt.Errorf("corrective actions of %s: %w", d.Name, sqldb.Translate(err))
	}
	d.Actions = make([]foodsafety.CorrectiveAction, 0, len(rows))
	for _, row := range rows {
		d.Actions = append(d.Actions, foodsafety.CorrectiveAction{
			Text: row.ActionText, Decision: foodsafety.Decision(row.Decision), Actor: row.Actor, RecordTime: sqldb.FromMicros(row.RecordUs),
		})
	}
	return nil
}

// GetDeviation implements foodsafety.DecisionStore.
func (s *Store) GetDeviation(ctx context.Context, name string) (*foodsafety.Deviation, error) {
	doc, err := s.q(ctx).GetDeviation(ctx, name)
	if err != nil {
		return nil, getError(err, foodsafety.DeviationMissing, name)
	}
	d, err := decode[foodsafety.Deviation](doc)
	if err != nil {
		return nil, err
	}
	return d, s.withActions(ctx, d)
}

// ListDeviations implements foodsafety.DecisionStore.
func (s *Store) ListDeviations(ctx context.Context, page foodsafety.Page) ([]foodsafety.Deviation, error) {
	list, err := listDocs[foodsafety.Deviation](ctx, s, "deviations", []key{{"open_us", true}, {"name", false}}, page)
	return s.allWithActions(ctx, list, err)
}

// DeviationsOf implements foodsafety.DecisionStore.
func (s *Store) DeviationsOf(ctx context.Context, subject string) ([]foodsafety.Deviation, error) {
	docs, err := s.q(ctx).DeviationsOf(ctx, subject)
	if err != nil {
		return nil, fmt.Errorf("deviations of %s: %w", subject, sqldb.Translate(err))
	}
	list, err := decodeAll[foodsafety.Deviation](docs)
	return s.allWithActions(ctx, list, err)
}

func (s *Store) allWithActions(ctx context.Context, list []foodsafety.Deviation, err error) ([]foodsafety.Deviation, error) {
	if err != nil {
		return nil, err
	}
	for i := range list {
		if err := s.withActions(ctx, &list[i]); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// InsertHold implements foodsafety.DecisionStore.
func (s *Store) InsertHold(ctx context.Context, h *foodsafety.Hold) error {
	doc, err := encode(h)
	if err != nil {
		return err
	}
	err = s.q(ctx).InsertHold(ctx, db.InsertHoldParams{
		Name: h.Name, Site: foodsafety.SiteOf(h.Name), Subject: h.Subject, Deviation: h.Deviation, State: string(h.State),
		PlaceUs: us(h.PlaceTime), Sequence: h.Sequence, Placer: h.Placer, Lifter: h.Lifter, Doc: doc, Version: h.Version,
		CreateUs: us(h.CreateTime), UpdateUs: us(h.UpdateTime),
	})
	return insertError(err, foodsafety.HoldExists, h.Name)
}

// UpdateHold implements foodsafety.DecisionStore.
func (s *Store) UpdateHold(ctx context.Context, h *foodsafety.Hold) error {
	doc, err := encode(h)
	if err != nil {
		return err
	}
	rows, err := s.q(ctx).UpdateHold(ctx, db.UpdateHoldParams{
		Name: h.Name, State: string(h.State), Lifter: h.Lifter, Doc: doc, Version: h.Version, UpdateUs: us(h.UpdateTime), Version_2: h.Version - 1,
	})
	return updateError(rows, err, h.Name)
}

// GetHold implements foodsafety.DecisionStore.
func (s *Store) GetHold(ctx context.Context, name string) (*foodsafety.Hold, error) {
	doc, err := s.q(ctx).GetHold(ctx, name)
	if err != nil {
		return nil, getError(err, foodsafety.HoldMissing, name)
	}
	return decode[foodsafety.Hold](doc)
}

// ListHolds implements foodsafety.DecisionStore.
func (s *Store) ListHolds(ctx context.Context, page foodsafety.Page) ([]foodsafety.Hold, error) {
	return listDocs[foodsafety.Hold](ctx, s, "holds", []key{{"place_us", true}, {"name", false}}, page)
}

// HoldsOn implements foodsafety.DecisionStore.
func (s *Store) HoldsOn(ctx context.Context, subject string) ([]foodsafety.Hold, error) {
	docs, err := s.q(ctx).HoldsOn(ctx, subject)
	if err != nil {
		return nil, fmt.Errorf("holds on %s: %w", subject, sqldb.Translate(err))
	}
	return decodeAll[foodsafety.Hold](docs)
}

// InsertRelease implements foodsafety.DecisionStore.
func (s *Store) InsertRelease(ctx context.Context, r *foodsafety.Release) error {
	doc, err := encode(r)
	if err != nil {
		return err
	}
	err = s.q(ctx).InsertRelease(ctx, db.InsertReleaseParams{
		Name: r.Name, Site: foodsafety.SiteOf(r.Name), Lot: r.Lot, Batch: r.Batch, Signer: r.Signer, SignUs: us(r.SignTime), Sequence: r.Sequence, Doc: doc,
	})
	if err != nil {
		return fmt.Errorf("insert %s: %w", r.Name, sqldb.Translate(err))
	}
	return nil
}

// GetRelease implements foodsafety.DecisionStore.
func (s *Store) GetRelease(ctx context.Context, name string) (*foodsafety.Release, error) {
	doc, err := s.q(ctx).GetRelease(ctx, name)
	if err != nil {
		return nil, getError(err, foodsafety.ReleaseMissing, name)
	}
	return decode[foodsafety.Release](doc)
}

// ListReleases implements foodsafety.DecisionStore.
func (s *Store) ListReleases(ctx context.Context, page foodsafety.Page) ([]foodsafety.Release, error) {
	return listDocs[foodsafety.Release](ctx, s, "releases", []key{{"sign_us", true}, {"name", false}}, page)
}

// LatestRelease implements foodsafety.DecisionStore.
func (s *Store) LatestRelease(ctx context.Context, lot string) (*foodsafety.Release, error) {
	doc, err := s.q(ctx).LatestRelease(ctx, lot)
	err = sqldb.Translate(err)
	if errors.Is(err, sqldb.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("release of %s: %w", lot, err)
	}
	return decode[foodsafety.Release](doc)
}

// AppendRecord implements foodsafety.RecordStore.
func (s *Store) AppendRecord(ctx context.Context, r *foodsafety.Record) error {
	sequence, err := s.q(ctx).AppendRecord(ctx, db.AppendRecordParams{
		Site: r.Site, Resource: r.Resource, Action: r.Action, Actor: r.Actor, ActorRole: r.ActorRole, RecordUs: us(r.RecordTime),
		OldValue: r.OldValue, NewValue: r.NewValue, Reason: r.Reason,
	})
	if err != nil {
		return sqldb.Translate(err)
	}
	r.Sequence = sequence
	return nil
}

// ListRecords implements foodsafety.RecordStore.
func (s *Store) ListRecords(ctx context.Context, page foodsafety.Page) ([]foodsafety.Record, error) {
	const columns = "sequence, site, resource, action, actor, actor_role, record_us, old_value, new_value, reason"
	query, args, err := listQuery(columns, "safety_records", []key{{"sequence", true}}, page)
	if err != nil {
		return nil, err
	}
	rows, err := s.db.Conn(ctx).QueryContext(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("list safety records: %w", sqldb.Translate(err))
	}
	defer rows.Close()
	list := []foodsafety.Record{}
	for rows.Next() {
		var r foodsafety.Record
		var at int64
		err := rows.Scan(&r.Sequence, &r.Site, &r.Resource, &r.Action, &r.Actor, &r.ActorRole, &at, &r.OldValue, &r.NewValue, &r.Reason)
		if err != nil {
			return nil, fmt.Errorf("list safety records: %w", err)
		}
		r.RecordTime = sqldb.FromMicros(at)
		list = append(list, r)
	}
	return list, sqldb.Translate(rows.Err())
}
