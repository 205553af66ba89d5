package grpcapi

import (
	"context"

	"rondeau.internal/pkg/aip"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/services/scheduling"
)

var vesselFields = aip.Fields{
	"vessel_class": {Column: "vessel_class", Type: aip.String}, "display_name": {Column: "display_name", Type: aip.String}, "active": {Column: "active", Type: aip.Bool},
}

// GetVessel implements the RPC.
func (s *Server) GetVessel(ctx context.Context, req *schedulingpb.GetVesselRequest) (*schedulingpb.Vessel, error) {
	v, err := s.service.Vessel(ctx, req.GetName())
	if err != nil {
		return nil, err
	}
	return s.vessel(v), nil
}

// ListVessels implements the RPC.
func (s *Server) ListVessels(ctx context.Context, req *schedulingpb.ListVesselsRequest) (*schedulingpb.ListVesselsResponse, error) {
	found, next, err := list(req, req.GetParent(), req.GetFilter(), vesselFields,
		func(q scheduling.ListQuery) ([]scheduling.Vessel, error) { return s.service.Vessels(ctx, q) },
		s.vessel, func(v scheduling.Vessel) []string { return []string{v.Name} })
	if err != nil {
		return nil, err
	}
	return &schedulingpb.ListVesselsResponse{Vessels: found, NextPageToken: next}, nil
}

// CreateVessel implements the RPC.
func (s *Server) CreateVessel(ctx context.Context, req *schedulingpb.CreateVesselRequest) (*schedulingpb.Vessel, error) {
	v := vesselFrom(req.GetVessel())
	v.Name = s.newName(req.GetParent(), "vessels", req.GetVesselId(), "vessel")
	out, err := s.service.CreateVessels(ctx, []scheduling.Vessel{v})
	if err != nil {
		return nil, err
	}
	return s.vessel(out[0]), nil
}

// BatchCreateVessels implements the RPC.
func (s *Server) BatchCreateVessels(ctx context.Context, req *schedulingpb.BatchCreateVesselsRequest) (*schedulingpb.BatchCreateVesselsResponse, error) {
	vessels := make([]scheduling.Vessel, 0, len(req.GetRequests()))
	for _, one := range req.GetRequests() {
		if one.GetParent() != req.GetParent() {
			return nil, malformed("requests.parent", "%s is not %s: give the same site", one.GetParent(), req.GetParent())
		}
		v := vesselFrom(one.GetVessel())
		v.Name = s.newName(req.GetParent(), "vessels", one.GetVesselId(), "vessel")
		vessels = append(vessels, v)
	}
	out, err := s.service.CreateVessels(ctx, vessels)
	if err != nil {
		return nil, err
	}
	response := &schedulingpb.BatchCreateVesselsResponse{}
	for _, v := range out {
		response.Vessels = append(response.Vessels, s.vessel(v))
	}
	return response, nil
}

// UpdateVessel implements the RPC.
func (s *Server) UpdateVessel(ctx context.Context, req *schedulingpb.UpdateVesselRequest) (*schedulingpb.Vessel, error) {
	v, err := s.service.UpdateVessel(ctx, req.GetVessel().GetName(), req.GetVessel().GetEtag(), func(old scheduling.Vessel) (scheduling.Vessel, error) {
		merged := s.vessel(old)
		if err := aip.UpdateMask(req.GetUpdateMask(), merged, req.GetVessel()); err != nil {
			return scheduling.Vessel{}, err
		}
		return vesselFrom(merged), nil
	})
	if err != nil {
		return nil, err
	}
	return s.vessel(v), nil
}

// TakeVesselDown implements the RPC.
func (s *Server) TakeVesselDown(ctx context.Context, req *schedulingpb.TakeVesselDownRequest) (*schedulingpb.Vessel, error) {
	v, err := s.service.TakeVesselDown(ctx, scheduling.TakeDown{
		Name: req.GetName(), Reason: req.GetReason(), Start: moment(req.GetStartTime()), End: moment(req.GetEndTime()), Etag: req.GetEtag(), Actor: actor(ctx),
	})
	if err != nil {
		return nil, err
	}
	return s.vessel(v), nil
}

// BringVesselUp implements the RPC.
func (s *Server) BringVesselUp(ctx context.Context, req *schedulingpb.BringVesselUpRequest) (*schedulingpb.Vessel, error) {
	v, err := s.service.BringVesselUp(ctx, scheduling.BringUp{Name: req.GetName(), At: moment(req.GetUpTime()), Etag: req.GetEtag(), Actor: actor(ctx)})
	if err != nil {
		return nil, err
	}
	return s.vessel(v), nil
}

var calendarFields = aip.Fields{
	"display_name": {Column: "display_name", Type: aip.String}, "time_zone": {Column: "time_zone", Type: aip.String},
}

// GetCalendar implements the RPC.
func (s *Server) GetCalendar(ctx context.Context, req *schedulingpb.GetCalendarRequest) (*schedulingpb.Calendar, error) {
	c, err := s.service.Calendar(ctx, req.GetName())
	if err != nil {
		return nil, err
	}
	return calendar(c), nil
}

// ListCalendars implements the RPC.
func (s *Server) ListCalendars(ctx context.Context, req *schedulingpb.ListCalendarsRequest) (*schedulingpb.ListCalendarsResponse, error) {
	found, next, err := list(req, req.GetParent(), req.GetFilter(), calendarFields,
		func(q scheduling.ListQuery) ([]scheduling.Calendar, error) { return s.service.Calendars(ctx, q) },
		calendar, func(c scheduling.Calendar) []string { return []string{c.Name} })
	if err != nil {
		return nil, err
	}
	return &schedulingpb.ListCalendarsResponse{Calendars: found, NextPageToken: next}, nil
}

// CreateCalendar implements the RPC.
func (s *Server) CreateCalendar(ctx context.Context, req *schedulingpb.CreateCalendarRequest) (*schedulingpb.Calendar, error) {
	c, err := calendarFrom(req.GetCalendar())
	if err != nil {
		return nil, err
	}
	c.Name = s.newName(req.GetParent(), "calendars", req.GetCalendarId(), "calendar")
	if c, err = s.service.CreateCalendar(ctx, c); err != nil {
		return nil, err
	}
	return calendar(c), nil
}

// UpdateCalendar implements the RPC.
func (s *Server) UpdateCalendar(ctx context.Context, req *schedulingpb.UpdateCalendarRequest) (*schedulingpb.Calendar, error) {
	c, err := s.service.UpdateCalendar(ctx, req.GetCalendar().GetName(), req.GetCalendar().GetEtag(), func(old scheduling.Calendar) (scheduling.Calendar, error) {
		merged := calendar(old)
		if err := aip.UpdateMask(req.GetUpdateMask(), merged, req.GetCalendar()); err != nil {
			return scheduling.Calendar{}, err
		}
		return calendarFrom(merged)
	})
	if err != nil {
		return nil, err
	}
	return calendar(c), nil
}

var crewFields = aip.Fields{
	"display_name": {Column: "display_name", Type: aip.String}, "calendar": {Column: "calendar", Type: aip.String}, "active": {Column: "active", Type: aip.Bool},
}

// GetCrew implements the RPC.
func (s *Server) GetCrew(ctx context.Context, req *schedulingpb.GetCrewRequest) (*schedulingpb.Crew, error) {
	c, err := s.service.Crew(ctx, req.GetName())
	if err != nil {
		return nil, err
	}
	return crew(c), nil
}

// ListCrews implements the RPC.
func (s *Server) ListCrews(ctx context.Context, req *schedulingpb.ListCrewsRequest) (*schedulingpb.ListCrewsResponse, error) {
	found, next, err := list(req, req.GetParent(), req.GetFilter(), crewFields,
		func(q scheduling.ListQuery) ([]scheduling.Crew, error) { return s.service.Crews(ctx, q) },
		crew, func(c scheduling.Crew) []string { return []string{c.Name} })
	if err != nil {
		return nil, err
	}
	return &schedulingpb.ListCrewsResponse{Crews: found, NextPageToken: next}, nil
}

// CreateCrew implements the RPC.
func (s *Server) CreateCrew(ctx context.Context, req *schedulingpb.CreateCrewRequest) (*schedulingpb.Crew, error) {
	c := crewFrom(req.GetCrew())
	c.Name = s.newName(req.GetParent(), "crews", req.GetCrewId(), "crew")
	c, err := s.service.CreateCrew(ctx, c)
	if err != nil {
		return nil, err
	}
	return crew(c), nil
}

// UpdateCrew implements the RPC.
func (s *Server) UpdateCrew(ctx context.Context, req *schedulingpb.UpdateCrewRequest) (*schedulingpb.Crew, error) {
	c, err := s.service.UpdateCrew(ctx, req.GetCrew().GetName(), req.GetCrew().GetEtag(), func(old scheduling.Crew) (scheduling.Crew, error) {
		merged := crew(old)
		if err := aip.UpdateMask(req.GetUpdateMask(), merged, req.GetCrew()); err != nil {
			return scheduling.Crew{}, err
		}
		return crewFrom(merged), nil
	})
	if err != nil {
		return nil, err
	}
	return crew(c), nil
}

// GetKitchenLimits implements the RPC.
func (s *Server) GetKitchenLimits(ctx context.Context, req *schedulingpb.GetKitchenLimitsRequest) (*schedulingpb.KitchenLimits, error) {
	l, err := s.service.Limits(ctx, req.GetName())
	if err != nil {
		return nil, err
	}
	return limits(l), nil
}

// UpdateKitchenLimits implements the RPC.
func (s *Server) UpdateKitchenLimits(ctx context.Context, req *schedulingpb.UpdateKitchenLimitsRequest) (*schedulingpb.KitchenLimits, error) {
	l, err := s.service.UpdateLimits(ctx, req.GetKitchenLimits().GetName(), req.GetKitchenLimits().GetEtag(), func(old scheduling.KitchenLimits) (scheduling.KitchenLimits, error) {
		merged := limits(old)
		if err := aip.UpdateMask(req.GetUpdateMask(), merged, req.GetKitchenLimits()); err != nil {
			return scheduling.KitchenLimits{}, err
		}
		return limitsFrom(merged), nil
	})
	if err != nil {
		return nil, err
	}
	return limits(l), nil
}
