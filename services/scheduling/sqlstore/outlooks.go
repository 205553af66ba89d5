package sqlstore

import (
	"context"
	"errors"
	"time"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/scheduling"
	"rondeau.internal/services/scheduling/sqlstore/internal/db"
)

// RequestOutlook implements scheduling.Store.
func (s *Store) RequestOutlook(ctx context.Context, schedule string) error {
	return said("outlook of", schedule, s.q(ctx).RequestOutlook(ctx, db.RequestOutlookParams{Schedule: schedule, Site: siteOf(schedule)}))
}

// RequestPublishedOutlook implements scheduling.Store.
func (s *Store) RequestPublishedOutlook(ctx context.Context, site string) error {
	name, err := s.q(ctx).PublishedName(ctx, site)
	if err = said("published schedule of", site, err); errors.Is(err, scheduling.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	return s.RequestOutlook(ctx, name)
}

// RequestOldOutlooks implements scheduling.Store.
func (s *Store) RequestOldOutlooks(ctx context.Context, before time.Time) (int64, error) {
	n, err := s.q(ctx).RequestOldOutlooks(ctx, sqldb.Micros(before))
	return n, said("outlooks", "that are old", err)
}

// GetOutlook implements scheduling.Store.
func (s *Store) GetOutlook(ctx context.Context, schedule string) (scheduling.Outlook, error) {
	row, err := s.q(ctx).GetOutlook(ctx, schedule)
	if err != nil {
		return scheduling.Outlook{}, said("outlook of", schedule, err)
	}
	if row.Made == 0 {
		return scheduling.Outlook{}, scheduling.ErrNotFound
	}
	var o scheduling.Outlook
	err = decode("outlook of", schedule, row.Doc, &o)
	o.Schedule, o.Outdated = row.Schedule, row.Wanted > row.Made
	return o, err
}

// PutOutlook implements scheduling.Store.
func (s *Store) PutOutlook(ctx context.Context, o scheduling.Outlook, made int64) error {
	doc, err := encode("outlook of", o.Schedule, o)
	if err != nil {
		return err
	}
	_, err = s.q(ctx).PutOutlook(ctx, db.PutOutlookParams{Schedule: o.Schedule, Made: made, AssessUs: sqldb.Micros(o.At), Doc: doc})
	return said("outlook of", o.Schedule, err)
}

// WantedOutlooks implements scheduling.Store.
func (s *Store) WantedOutlooks(ctx context.Context) ([]scheduling.WantedOutlook, error) {
	rows, err := s.q(ctx).WantedOutlooks(ctx)
	if err != nil {
		return nil, said("outlooks", "that are wanted", err)
	}
	out := make([]scheduling.WantedOutlook, 0, len(rows))
	for _, row := range rows {
		out = append(out, scheduling.WantedOutlook{Schedule: row.Schedule, Wanted: row.Wanted})
	}
	return out, nil
}

func pace(row db.Pace) scheduling.Pace {
	return scheduling.Pace{
		Site: row.Site, Kind: scheduling.StepKind(row.Kind), VesselClass: row.VesselClass, Runs: int(row.RunCount), MeanLog: row.MeanLog, SquareSum: row.SquareSum,
	}
}

// GetPace implements scheduling.Store.
func (s *Store) GetPace(ctx context.Context, site string, kind scheduling.StepKind, class string) (scheduling.Pace, error) {
	row, err := s.q(ctx).GetPace(ctx, db.GetPaceParams{Site: site, Kind: string(kind), VesselClass: class})
	if err != nil {
		return scheduling.Pace{}, said("pace of", string(kind), err)
	}
	return pace(row), nil
}

// ListPaces implements scheduling.Store.
func (s *Store) ListPaces(ctx context.Context, site string) ([]scheduling.Pace, error) {
	rows, err := s.q(ctx).ListPaces(ctx, site)
	if err != nil {
		return nil, said("paces of", site, err)
	}
	out := make([]scheduling.Pace, 0, len(rows))
	for _, row := range rows {
		out = append(out, pace(row))
	}
	return out, nil
}

// PutPace implements scheduling.Store.
func (s *Store) PutPace(ctx context.Context, p scheduling.Pace) error {
	return said("pace of", string(p.Kind), s.q(ctx).PutPace(ctx, db.PutPaceParams{
		Site: p.Site, Kind: string(p.Kind), VesselClass: p.VesselClass, RunCount: int64(p.Runs), MeanLog: p.MeanLog, SquareSum: p.SquareSum,
	}))
}
