package foodsafety

import (
	"context"
	"errors"

	"rondeau.internal/pkg/apierr"
)

// EnsureBuiltInProfiles makes sure that the built-in limits profiles exist at a site, and returns them.
func (s *Service) EnsureBuiltInProfiles(ctx context.Context, site string) ([]LimitsProfile, error) {
	var list []LimitsProfile
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		list = list[:0]
		for _, p := range BuiltInProfiles() {
			stored, err := s.ensureBuiltIn(ctx, site, p)
			if err != nil {
				return err
			}
			list = append(list, *stored)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return list, nil
}

// ensureBuiltIn stores a built-in profile unless it is there, also when other replicas do the same at this instant.
func (s *Service) ensureBuiltIn(ctx context.Context, site string, p LimitsProfile) (*LimitsProfile, error) {
	p.Name = nameOf(site, profilesCollection, p.Name)
	stored, err := s.store.GetProfile(ctx, p.Name)
	if err == nil || !errors.Is(err, apierr.Reason(LimitsProfileMissing)) {
		return stored, err
	}
	s.begin(&p)
	inserted, err := s.store.InsertMissingProfile(ctx, &p)
	if err != nil {
		return nil, err
	}
	if !inserted {
		return s.store.GetProfile(ctx, p.Name)
	}
	return &p, s.recordProfile(ctx, system, &p)
}

// profileFor finds the limits profile of a chill; an empty name, and a built-in one that is not stored yet, is brought
// along.
func (s *Service) profileFor(ctx context.Context, site, name string) (*LimitsProfile, error) {
	if name == "" {
		name = nameOf(site, profilesCollection, USFoodCodeProfile)
	}
	for _, p := range BuiltInProfiles() {
		if name == nameOf(site, profilesCollection, p.Name) {
			return s.ensureBuiltIn(ctx, site, p)
		}
	}
	return s.store.GetProfile(ctx, name)
}

// GetLimitsProfile returns one profile.
func (s *Service) GetLimitsProfile(ctx context.Context, name string) (*LimitsProfile, error) {
	return s.store.GetProfile(ctx, name)
}

// ListLimitsProfiles returns one page of profiles and whether more follow.
func (s *Service) ListLimitsProfiles(ctx context.Context, page Page) ([]LimitsProfile, bool, error) {
	return pageOf(page, func(p Page) ([]LimitsProfile, error) { return s.store.ListProfiles(ctx, p) })
}

// CreateLimitsProfile stores a profile of the kitchen's own under the id, or under a made one when it is empty.
func (s *Service) CreateLimitsProfile(ctx context.Context, site, id string, p LimitsProfile) (*LimitsProfile, error) {
	who, err := caller(ctx)
	if err != nil {
		return nil, err
	}
	if id, err = chooseID("limits_profile_id", id, "limits"); err != nil {
		return nil, err
	}
	for _, b := range BuiltInProfiles() {
		if b.Name == id {
			return nil, invalidField(LimitsProfileBuiltIn, "limits_profile_id", "the id %s belongs to a built-in profile; choose another one", id)
		}
	}
	p.Name, p.BuiltIn = nameOf(site, profilesCollection, id), false
	if err := p.validate(); err != nil {
		return nil, err
	}
	s.begin(&p)
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		if err := s.store.InsertProfile(ctx, &p); err != nil {
			return err
		}
		return s.recordProfile(ctx, who, &p)
	})
	if err != nil {
		return nil, err
	}
	return &p, nil
}

// begin makes p the first version of a new profile.
func (s *Service) begin(p *LimitsProfile) {
	p.UID, p.Version, p.CreateTime = newUID(), 1, s.now()
	p.UpdateTime = p.CreateTime
}

func (s *Service) recordProfile(ctx context.Context, who actor, p *LimitsProfile) error {
	_, err := s.record(ctx, who, p.Name, "limits_profile.created", nil, *p, "")
	return err
}

// UpdateLimitsProfile changes a profile of the kitchen's own by change. Chills keep the limits they started with.
func (s *Service) UpdateLimitsProfile(ctx context.Context, name, etag string, change func(*LimitsProfile) error) (*LimitsProfile, error) {
	who, err := caller(ctx)
	if err != nil {
		return nil, err
	}
	var stored *LimitsProfile
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		p, err := s.store.GetProfile(ctx, name)
		if err != nil {
			return err
		}
		if p.BuiltIn {
			return apierr.FailedPrecondition(LimitsProfileBuiltIn, "%s came with the system and stays as it is; create a profile of your own", name).
				With("resource", name).WithViolation(name, "built-in profiles are not changed").WithResource(name)
		}
		if err := checkEtag(etag, p.Etag(), name); err != nil {
			return err
		}
		before := *p
		if err := change(p); err != nil {
			return err
		}
		p.Name, p.UID, p.BuiltIn, p.CreateTime, p.Version = before.Name, before.UID, false, before.CreateTime, before.Version+1
		p.UpdateTime = s.now()
		if err := p.validate(); err != nil {
			return err
		}
		if err := s.store.UpdateProfile(ctx, p); err != nil {
			return err
		}
		stored = p
		_, err = s.record(ctx, who, name, "limits_profile.updated", before, *p, "")
		return err
	})
	if err != nil {
		return nil, err
	}
	return stored, nil
}
