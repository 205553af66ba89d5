package grpcapi

import (
	"context"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/services/foodsafety"
)

// OpenDeviation implements the RPC.
func (s *Server) OpenDeviation(ctx context.Context, q *foodsafetypb.OpenDeviationRequest) (*foodsafetypb.Deviation, error) {
	in := q.GetDeviation()
	d, err := s.service.OpenDeviation(ctx, q.GetParent(), q.GetDeviationId(), in.GetSubjects(), in.GetDescription(), q.GetPlaceHolds())
	if err != nil {
		return nil, err
	}
	return Deviation(d), nil
}

// GetDeviation implements the RPC.
func (s *Server) GetDeviation(ctx context.Context, q *foodsafetypb.GetDeviationRequest) (*foodsafetypb.Deviation, error) {
	d, err := s.service.GetDeviation(ctx, q.GetName())
	if err != nil {
		return nil, err
	}
	return Deviation(d), nil
}

// ListDeviations implements the RPC.
func (s *Server) ListDeviations(ctx context.Context, q *foodsafetypb.ListDeviationsRequest) (*foodsafetypb.ListDeviationsResponse, error) {
	l, err := newList(q, listOptions{order: "open_time", fields: aip.Fields{
		"kind": words("kind", foodsafetypb.Deviation_Kind_value), "state": words("state", foodsafetypb.Deviation_State_value),
		"chill": text("chill"), "open_time": moments("open_us"),
	}}, q.GetFilter(), q.GetOrderBy())
	if err != nil {
		return nil, err
	}
	list, more, err := s.service.ListDeviations(ctx, l.page)
	if err != nil {
		return nil, err
	}
	out := &foodsafetypb.ListDeviationsResponse{NextPageToken: next(l, list, more, func(d foodsafety.Deviation) []string { return []string{micros(d.OpenTime), d.Name} })}
	for i := range list {
		out.Deviations = append(out.Deviations, Deviation(&list[i]))
	}
	return out, nil
}

// RecordCorrectiveAction implements the RPC.
func (s *Server) RecordCorrectiveAction(ctx context.Context, q *foodsafetypb.RecordCorrectiveActionRequest) (*foodsafetypb.Deviation, error) {
	a := q.GetCorrectiveAction()
	d, err := s.service.RecordCorrectiveAction(ctx, q.GetName(), a.GetText(), foodsafety.Decision(a.GetDecision().String()), q.GetEtag())
	if err != nil {
		return nil, err
	}
	return Deviation(d), nil
}

// CloseDeviation implements the RPC.
func (s *Server) CloseDeviation(ctx context.Context, q *foodsafetypb.CloseDeviationRequest) (*foodsafetypb.Deviation, error) {
	d, err := s.service.CloseDeviation(ctx, q.GetName(), q.GetNote(), q.GetEtag())
	if err != nil {
		return nil, err
	}
	return Deviation(d), nil
}

// PlaceHold implements the RPC.
func (s *Server) PlaceHold(ctx context.Context, q *foodsafetypb.PlaceHoldRequest) (*foodsafetypb.Hold, error) {
	in := q.GetHold()
	h, err := s.service.PlaceHold(ctx, q.GetParent(), q.GetHoldId(), in.GetSubject(), in.GetReason(), in.GetDeviation())
	if err != nil {
		return nil, err
	}
	return Hold(h), nil
}

// GetHold implements the RPC.
func (s *Server) GetHold(ctx context.Context, q *foodsafetypb.GetHoldRequest) (*foodsafetypb.Hold, error) {
	h, err := s.service.GetHold(ctx, q.GetName())
	if err != nil {
		return nil, err
	}
	return Hold(h), nil
}

// ListHolds implements the RPC.
func (s *Server) ListHolds(ctx context.Context, q *foodsafetypb.ListHoldsRequest) (*foodsafetypb.ListHoldsResponse, error) {
	l, err := newList(q, listOptions{order: "place_time", fields: aip.Fields{
		"subject": text("subject"), "state": words("state", foodsafetypb.Hold_State_value), "deviation": text("deviation"), "place_time": moments("place_us"),
	}}, q.GetFilter(), q.GetOrderBy())
	if err != nil {
		return nil, err
	}
	list, more, err := s.service.ListHolds(ctx, l.page)
	if err != nil {
		return nil, err
	}
	out := &foodsafetypb.ListHoldsResponse{NextPageToken: next(l, list, more, func(h foodsafety.Hold) []string { return []string{micros(h.PlaceTime), h.Name} })}
	for i := range list {
		out.Holds = append(out.Holds, Hold(&list[i]))
	}
	return out, nil
}

// LiftHold implements the RPC.
func (s *Server) LiftHold(ctx context.Context, q *foodsafetypb.LiftHoldRequest) (*foodsafetypb.Hold, error) {
	h, err := s.service.LiftHold(ctx, q.GetName(), q.GetReason(), q.GetEtag())
	if err != nil {
		return nil, err
	}
	return Hold(h), nil
}

// ReleaseLot implements the RPC.
func (s *Server) ReleaseLot(ctx context.Context, q *foodsafetypb.ReleaseLotRequest) (*foodsafetypb.Release, error) {
	r, err := s.service.ReleaseLot(ctx, foodsafety.ReleaseRequest{
		Lot: q.GetLot(), Note: q.GetNote(), NoChillReason: q.GetNoChillReason(), ValidateOnly: q.GetValidateOnly(),
	})
	if err != nil {
		return nil, err
	}
	return Release(r), nil
}

// GetRelease implements the RPC.
func (s *Server) GetRelease(ctx context.Context, q *foodsafetypb.GetReleaseRequest) (*foodsafetypb.Release, error) {
	r, err := s.service.GetRelease(ctx, q.GetName())
	if err != nil {
		return nil, err
	}
	return Release(r), nil
}

// ListReleases implements the RPC.
func (s *Server) ListReleases(ctx context.Context, q *foodsafetypb.ListReleasesRequest) (*foodsafetypb.ListReleasesResponse, error) {
	l, err := newList(q, listOptions{order: "sign_time", fields: aip.Fields{
		"lot": text("lot"), "batch": text("batch"), "signer": text("signer"), "sign_time": moments("sign_us"),
	}}, q.GetFilter(), q.GetOrderBy())
	if err != nil {
		return nil, err
	}
	list, more, err := s.service.ListReleases(ctx, l.page)
	if err != nil {
		return nil, err
	}
	out := &foodsafetypb.ListReleasesResponse{NextPageToken: next(l, list, more, func(r foodsafety.Release) []string { return []string{micros(r.SignTime), r.Name} })}
	for i := range list {
		out.Releases = append(out.Releases, Release(&list[i]))
	}
	return out, nil
}

// CheckLots implements the RPC.
func (s *Server) CheckLots(ctx context.Context, q *foodsafetypb.CheckLotsRequest) (*foodsafetypb.CheckLotsResponse, error) {
	list, at, err := s.service.CheckLots(ctx, q.GetParent(), q.GetLots())
	if err != nil {
		return nil, err
	}
	out := &foodsafetypb.CheckLotsResponse{CheckTime: timestamp(at), Cautions: foodsafety.Cautions()}
	for i := range list {
		out.LotStatuses = append(out.LotStatuses, lotStatus(&list[i]))
	}
	return out, nil
}

// ListSafetyRecords implements the RPC.
func (s *Server) ListSafetyRecords(ctx context.Context, q *foodsafetypb.ListSafetyRecordsRequest) (*foodsafetypb.ListSafetyRecordsResponse, error) {
	l, err := newList(q, listOptions{order: "sequence", size: 100, atMost: 5000, fields: aip.Fields{
		"resource": text("resource"), "action": text("action"), "actor": text("actor"), "record_time": moments("record_us"),
	}}, q.GetFilter(), q.GetOrderBy())
	if err != nil {
		return nil, err
	}
	list, more, err := s.service.ListSafetyRecords(ctx, l.page)
	if err != nil {
		return nil, err
	}
	out := &foodsafetypb.ListSafetyRecordsResponse{NextPageToken: next(l, list, more, func(r foodsafety.Record) []string { return []string{r.Cursor()} })}
	for i := range list {
		out.SafetyRecords = append(out.SafetyRecords, safetyRecord(&list[i]))
	}
	return out, nil
}
