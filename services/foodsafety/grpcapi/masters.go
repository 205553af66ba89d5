package grpcapi

import (
	"context"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/services/foodsafety"
)

// EnsureBuiltInProfiles implements the RPC.
func (s *Server) EnsureBuiltInProfiles(ctx context.Context, q *foodsafetypb.EnsureBuiltInProfilesRequest) (*foodsafetypb.EnsureBuiltInProfilesResponse, error) {
	list, err := s.service.EnsureBuiltInProfiles(ctx, q.GetParent())
	if err != nil {
		return nil, err
	}
	out := &foodsafetypb.EnsureBuiltInProfilesResponse{}
	for i := range list {
		out.LimitsProfiles = append(out.LimitsProfiles, LimitsProfile(&list[i]))
	}
	return out, nil
}

// GetLimitsProfile implements the RPC.
func (s *Server) GetLimitsProfile(ctx context.Context, q *foodsafetypb.GetLimitsProfileRequest) (*foodsafetypb.LimitsProfile, error) {
	p, err := s.service.GetLimitsProfile(ctx, q.GetName())
	if err != nil {
		return nil, err
	}
	return LimitsProfile(p), nil
}

// ListLimitsProfiles implements the RPC.
func (s *Server) ListLimitsProfiles(ctx context.Context, q *foodsafetypb.ListLimitsProfilesRequest) (*foodsafetypb.ListLimitsProfilesResponse, error) {
	l, err := newList(q, listOptions{}, "", "")
	if err != nil {
		return nil, err
	}
	list, more, err := s.service.ListLimitsProfiles(ctx, l.page)
	if err != nil {
		return nil, err
	}
	out := &foodsafetypb.ListLimitsProfilesResponse{NextPageToken: next(l, list, more, func(p foodsafety.LimitsProfile) []string { return []string{p.Name} })}
	for i := range list {
		out.LimitsProfiles = append(out.LimitsProfiles, LimitsProfile(&list[i]))
	}
	return out, nil
}

// CreateLimitsProfile implements the RPC.
func (s *Server) CreateLimitsProfile(ctx context.Context, q *foodsafetypb.CreateLimitsProfileRequest) (*foodsafetypb.LimitsProfile, error) {
	var fields foodsafety.LimitsProfile
	limitsProfileFields(q.GetLimitsProfile(), &fields)
	p, err := s.service.CreateLimitsProfile(ctx, q.GetParent(), q.GetLimitsProfileId(), fields)
	if err != nil {
		return nil, err
	}
	return LimitsProfile(p), nil
}

// UpdateLimitsProfile implements the RPC.
func (s *Server) UpdateLimitsProfile(ctx context.Context, q *foodsafetypb.UpdateLimitsProfileRequest) (*foodsafetypb.LimitsProfile, error) {
	in := q.GetLimitsProfile()
	p, err := s.service.UpdateLimitsProfile(ctx, in.GetName(), in.GetEtag(), func(p *foodsafety.LimitsProfile) error {
		current := LimitsProfile(p)
		if err := aip.UpdateMask(q.GetUpdateMask(), current, in); err != nil {
			return err
		}
		limitsProfileFields(current, p)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return LimitsProfile(p), nil
}

// GetProbe implements the RPC.
func (s *Server) GetProbe(ctx context.Context, q *foodsafetypb.GetProbeRequest) (*foodsafetypb.Probe, error) {
	p, err := s.service.GetProbe(ctx, q.GetName())
	if err != nil {
		return nil, err
	}
	return Probe(p), nil
}

// ListProbes implements the RPC.
func (s *Server) ListProbes(ctx context.Context, q *foodsafetypb.ListProbesRequest) (*foodsafetypb.ListProbesResponse, error) {
	l, err := newList(q, listOptions{fields: aip.Fields{
		"vessel": {Column: "vessel", Type: aip.String}, "device_id": {Column: "device_id", Type: aip.String}, "disabled": {Column: "disabled", Type: aip.Bool},
	}}, q.GetFilter(), "")
	if err != nil {
		return nil, err
	}
	list, more, err := s.service.ListProbes(ctx, l.page)
	if err != nil {
		return nil, err
	}
	out := &foodsafetypb.ListProbesResponse{NextPageToken: next(l, list, more, func(p foodsafety.Probe) []string { return []string{p.Name} })}
	for i := range list {
		out.Probes = append(out.Probes, Probe(&list[i]))
	}
	return out, nil
}

// CreateProbe implements the RPC.
func (s *Server) CreateProbe(ctx context.Context, q *foodsafetypb.CreateProbeRequest) (*foodsafetypb.Probe, error) {
	var fields foodsafety.Probe
	probeFields(q.GetProbe(), &fields)
	p, err := s.service.CreateProbe(ctx, q.GetParent(), q.GetProbeId(), fields)
	if err != nil {
		return nil, err
	}
	return Probe(p), nil
}

// UpdateProbe implements the RPC.
func (s *Server) UpdateProbe(ctx context.Context, q *foodsafetypb.UpdateProbeRequest) (*foodsafetypb.Probe, error) {
	in := q.GetProbe()
	p, err := s.service.UpdateProbe(ctx, in.GetName(), in.GetEtag(), func(p *foodsafety.Probe) error {
		current := Probe(p)
		if err := aip.UpdateMask(q.GetUpdateMask(), current, in); err != nil {
			return err
		}
		probeFields(current, p)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return Probe(p), nil
}
