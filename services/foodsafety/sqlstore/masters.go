package sqlstore

import (
	"context"
	"fmt"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/foodsafety"
	"rondeau.internal/services/foodsafety/sqlstore/internal/db"
)

// InsertProfile implements foodsafety.ProfileStore.
func (s *Store) InsertProfile(ctx context.Context, p *foodsafety.LimitsProfile) error {
	doc, err := encode(p)
	if err != nil {
		return err
	}
	err = s.q(ctx).InsertProfile(ctx, db.InsertProfileParams{
		Name: p.Name, Site: foodsafety.SiteOf(p.Name), Doc: doc, Version: p.Version, CreateUs: us(p.CreateTime), UpdateUs: us(p.UpdateTime),
	})
	return insertError(err, foodsafety.LimitsProfileExists, p.Name)
}

// InsertMissingProfile implements foodsafety.ProfileStore. Where another transaction took the name since the snapshot of
// this one, PostgreSQL answers ON CONFLICT DO NOTHING with a serialization failure, and InTx runs the whole again.
func (s *Store) InsertMissingProfile(ctx context.Context, p *foodsafety.LimitsProfile) (bool, error) {
	doc, err := encode(p)
	if err != nil {
		return false, err
	}
	rows, err := s.q(ctx).InsertMissingProfile(ctx, db.InsertMissingProfileParams{
		Name: p.Name, Site: foodsafety.SiteOf(p.Name), Doc: doc, Version: p.Version, CreateUs: us(p.CreateTime), UpdateUs: us(p.UpdateTime),
	})
	return rows > 0, insertError(err, foodsafety.LimitsProfileExists, p.Name)
}

// UpdateProfile implements foodsafety.ProfileStore.
func (s *Store) UpdateProfile(ctx context.Context, p *foodsafety.LimitsProfile) error {
	doc, err := encode(p)
	if err != nil {
		return err
	}
	rows, err := s.q(ctx).UpdateProfile(ctx, db.UpdateProfileParams{
		Name: p.Name, Doc: doc, Version: p.Version, UpdateUs: us(p.UpdateTime), Version_2: p.Version - 1,
	})
	return updateError(rows, err, p.Name)
}

// GetProfile implements foodsafety.ProfileStore.
func (s *Store) GetProfile(ctx context.Context, name string) (*foodsafety.LimitsProfile, error) {
	doc, err := s.q(ctx).GetProfile(ctx, name)
	if err != nil {
		return nil, getError(err, foodsafety.LimitsProfileMissing, name)
	}
	return decode[foodsafety.LimitsProfile](doc)
}

// ListProfiles implements foodsafety.ProfileStore.
func (s *Store) ListProfiles(ctx context.Context, page foodsafety.Page) ([]foodsafety.LimitsProfile, error) {
	return listDocs[foodsafety.LimitsProfile](ctx, s, "limits_profiles", byName, page)
}

// InsertProbe implements foodsafety.ProbeStore.
func (s *Store) InsertProbe(ctx context.Context, p *foodsafety.Probe) error {
	doc, err := encode(p)
	if err != nil {
		return err
	}
	err = s.q(ctx).InsertProbe(ctx, db.InsertProbeParams{
		Name: p.Name, Site: foodsafety.SiteOf(p.Name), Vessel: p.Vessel, DeviceID: p.DeviceID, Disabled: p.Disabled, Doc: doc,
		Version: p.Version, CreateUs: us(p.CreateTime), UpdateUs: us(p.UpdateTime),
	})
	return insertError(err, foodsafety.ProbeExists, p.Name)
}

// UpdateProbe implements foodsafety.ProbeStore.
func (s *Store) UpdateProbe(ctx context.Context, p *foodsafety.Probe) error {
	doc, err := encode(p)
	if err != nil {
		return err
	}
	rows, err := s.q(ctx).UpdateProbe(ctx, db.UpdateProbeParams{
		Name: p.Name, Vessel: p.Vessel, DeviceID: p.DeviceID, Disabled: p.Disabled, Doc: doc, Version: p.Version,
		UpdateUs: us(p.UpdateTime), Version_2: p.Version - 1,
	})
	return updateError(rows, err, p.Name)
}

// GetProbe implements foodsafety.ProbeStore.
func (s *Store) GetProbe(ctx context.Context, name string) (*foodsafety.Probe, error) {
	doc, err := s.q(ctx).GetProbe(ctx, name)
	if err != nil {
		return nil, getError(err, foodsafety.ProbeMissing, name)
	}
	return decode[foodsafety.Probe](doc)
}

// ListProbes implements foodsafety.ProbeStore.
func (s *Store) ListProbes(ctx context.Context, page foodsafety.Page) ([]foodsafety.Probe, error) {
	return listDocs[foodsafety.Probe](ctx, s, "probes", byName, page)
}

// ProbesOfVessel implements foodsafety.ProbeStore.
func (s *Store) ProbesOfVessel(ctx context.Context, vessel string) ([]foodsafety.Probe, error) {
	docs, err := s.q(ctx).ProbesOfVessel(ctx, vessel)
	if err != nil {
		return nil, fmt.Errorf("probes of %s: %w", vessel, sqldb.Translate(err))
	}
	return decodeAll[foodsafety.Probe](docs)
}
