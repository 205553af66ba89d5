package grpcapi

import (
	"context"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/services/foodsafety"
)

// StartChill implements the RPC.
func (s *Server) StartChill(ctx context.Context, q *foodsafetypb.StartChillRequest) (*foodsafetypb.Chill, error) {
	c, err := s.service.StartChill(ctx, q.GetParent(), newChill(q.GetChillId(), q.GetChill()))
	if err != nil {
		return nil, err
	}
	return Chill(c), nil
}

// GetChill implements the RPC.
func (s *Server) GetChill(ctx context.Context, q *foodsafetypb.GetChillRequest) (*foodsafetypb.Chill, error) {
	c, err := s.service.GetChill(ctx, q.GetName())
	if err != nil {
		return nil, err
	}
	return Chill(c), nil
}

// ListChills implements the RPC.
func (s *Server) ListChills(ctx context.Context, q *foodsafetypb.ListChillsRequest) (*foodsafetypb.ListChillsResponse, error) {
	l, err := newList(q, listOptions{order: "start_time", fields: aip.Fields{
		"batch": text("batch"), "run": text("run"), "vessel": text("vessel"), "state": words("state", foodsafetypb.Chill_State_value),
		"at_risk": {Column: "at_risk", Type: aip.Bool}, "start_time": moments("start_us"),
	}}, q.GetFilter(), q.GetOrderBy())
	if err != nil {
		return nil, err
	}
	list, more, err := s.service.ListChills(ctx, l.page)
	if err != nil {
		return nil, err
	}
	out := &foodsafetypb.ListChillsResponse{NextPageToken: next(l, list, more, func(c foodsafety.Chill) []string { return []string{micros(c.StartTime), c.Name} })}
	for i := range list {
		out.Chills = append(out.Chills, Chill(&list[i]))
	}
	return out, nil
}

// FinishChill implements the RPC.
func (s *Server) FinishChill(ctx context.Context, q *foodsafetypb.FinishChillRequest) (*foodsafetypb.Chill, error) {
	c, err := s.service.FinishChill(ctx, q.GetName(), moment(q.GetFinishTime()), q.GetEtag())
	if err != nil {
		return nil, err
	}
	return Chill(c), nil
}

// AbandonChill implements the RPC.
func (s *Server) AbandonChill(ctx context.Context, q *foodsafetypb.AbandonChillRequest) (*foodsafetypb.Chill, error) {
	c, err := s.service.AbandonChill(ctx, q.GetName(), q.GetReason(), q.GetEtag())
	if err != nil {
		return nil, err
	}
	return Chill(c), nil
}

// ForecastChill implements the RPC.
func (s *Server) ForecastChill(ctx context.Context, q *foodsafetypb.ForecastChillRequest) (*foodsafetypb.ChillForecast, error) {
	f, at, err := s.service.ForecastChill(ctx, q.GetName())
	if err != nil {
		return nil, err
	}
	if f == nil {
		return noForecast(at), nil
	}
	return forecast(f), nil
}

// RecordReading implements the RPC.
func (s *Server) RecordReading(ctx context.Context, q *foodsafetypb.RecordReadingRequest) (*foodsafetypb.Reading, error) {
	n := newReading(q.GetReading())
	if n.Chill != "" && n.Chill != q.GetParent() {
		return nil, foodsafety.OtherChill(n.Chill, q.GetParent())
	}
	n.Chill = q.GetParent()
	r, err := s.service.RecordReading(ctx, n)
	if err != nil {
		return nil, err
	}
	return Reading(r), nil
}

// ListReadings implements the RPC.
func (s *Server) ListReadings(ctx context.Context, q *foodsafetypb.ListReadingsRequest) (*foodsafetypb.ListReadingsResponse, error) {
	l, err := newList(q, listOptions{size: 500, atMost: 5000}, "", "")
	if err != nil {
		return nil, err
	}
	list, more, err := s.service.ListReadings(ctx, q.GetParent(), l.page.Cursor, l.page.Limit)
	if err != nil {
		return nil, err
	}
	out := &foodsafetypb.ListReadingsResponse{NextPageToken: next(l, list, more, func(r foodsafety.Reading) []string { return []string{micros(r.ObserveTime), r.Probe} })}
	for i := range list {
		out.Readings = append(out.Readings, Reading(&list[i]))
	}
	return out, nil
}
