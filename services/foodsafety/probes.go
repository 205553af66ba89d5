package foodsafety

import "context"

// GetProbe returns one probe.
func (s *Service) GetProbe(ctx context.Context, name string) (*Probe, error) {
	return s.store.GetProbe(ctx, name)
}

// ListProbes returns one page of probes and whether more follow.
func (s *Service) ListProbes(ctx context.Context, page Page) ([]Probe, bool, error) {
	return pageOf(page, func(p Page) ([]Probe, error) { return s.store.ListProbes(ctx, p) })
}

// CreateProbe stores a probe under the id, or under a made one when it is empty.
func (s *Service) CreateProbe(ctx context.Context, site, id string, p Probe) (*Probe, error) {
	who, err := caller(ctx)
	if err != nil {
		return nil, err
	}
	if id, err = chooseID("probe_id", id, "probe"); err != nil {
		return nil, err
	}
	now := s.now()
	p.Name, p.UID, p.CreateTime, p.UpdateTime, p.Version = nameOf(site, probesCollection, id), newUID(), now, now, 1
	if err := p.validate(now); err != nil {
		return nil, err
	}
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		if err := s.store.InsertProbe(ctx, &p); err != nil {
			return err
		}
		_, err := s.record(ctx, who, p.Name, "probe.created", nil, p, "")
		return err
	})
	if err != nil {
		return nil, err
	}
	return &p, nil
}

// UpdateProbe changes a probe by change. Stored readings keep the correction they were judged with.
func (s *Service) UpdateProbe(ctx context.Context, name, etag string, change func(*Probe) error) (*Probe, error) {
	who, err := caller(ctx)
	if err != nil {
		return nil, err
	}
	var stored *Probe
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		p, err := s.store.GetProbe(ctx, name)
		if err != nil {
			return err
		}
		if err := checkEtag(etag, p.Etag(), name); err != nil {
			return err
		}
		before := *p
		if err := change(p); err != nil {
			return err
		}
		p.Name, p.UID, p.CreateTime, p.Version = before.Name, before.UID, before.CreateTime, before.Version+1
		p.UpdateTime = s.now()
		if err := p.validate(p.UpdateTime); err != nil {
			return err
		}
		if err := s.store.UpdateProbe(ctx, p); err != nil {
			return err
		}
		stored = p
		_, err = s.record(ctx, who, name, "probe.updated", before, *p, "")
		return err
	})
	if err != nil {
		return nil, err
	}
	return stored, nil
}
