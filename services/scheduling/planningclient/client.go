// Package planningclient is the port of scheduling to the service planning, over its generated client.
package planningclient

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/grpc"

	"rondeau.internal/pkg/apierr"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/services/scheduling"
)

// Client implements scheduling.Planning.
type Client struct {
	planning planningpb.PlanningServiceClient
}

var _ scheduling.Planning = (*Client)(nil)

// New returns a Client over a connection to planning. The connection must map errors to *apierr.Error, as those of
// package rpc do.
func New(conn grpc.ClientConnInterface) *Client {
	return &Client{planning: planningpb.NewPlanningServiceClient(conn)}
}

// callTimeout bounds one call: a computation is asked for inside a write transaction, and a planning that hangs must not
// keep cooks from recording runs for long (chosen, no source).
const callTimeout = 5 * time.Second

// retryAfter is how long a caller should wait when planning does not answer (chosen, no source).
const retryAfter = 2 * time.Second

// said gives errors of planning the reasons of scheduling.
func said(err error, name string) error {
	switch apierr.KindOf(err) {
	case apierr.KindNotFound:
		return apierr.NotFound(scheduling.BatchNotReleased, name).With("batch", name).Wrap(err)
	case apierr.KindUnavailable, apierr.KindDeadlineExceeded:
		return apierr.Unavailable(scheduling.PlanningUnavailable, "planning does not answer, so what to make is not known: try again shortly. Runs can be recorded meanwhile").
			With("service", "planning").WithRetryAfter(retryAfter).Wrap(err)
	}
	return err
}

// OpenBatches implements scheduling.Planning.
func (c *Client) OpenBatches(ctx context.Context, site, plan string) ([]scheduling.Batch, error) {
	filter := `(state = "RELEASED" OR state = "IN_PROGRESS")`
	if plan != "" {
		filter += fmt.Sprintf(" AND plan = %q", plan)
	}
	ctx, cancel := context.WithTimeout(ctx, callTimeout)
	defer cancel()
	var out []scheduling.Batch
	request := &planningpb.ListBatchesRequest{Parent: site, PageSize: 500, Filter: filter}
	for {
		page, err := c.planning.ListBatches(ctx, request)
		if err != nil {
			return nil, said(fmt.Errorf("list the batches of %s: %w", site, err), site)
		}
		for _, b := range page.GetBatches() {
			converted, err := Batch(b)
			if err != nil {
				return nil, err
			}
			out = append(out, converted)
		}
		if page.GetNextPageToken() == "" {
			return out, nil
		}
		request.PageToken = page.GetNextPageToken()
	}
}

// Batch implements scheduling.Planning.
func (c *Client) Batch(ctx context.Context, name string) (scheduling.Batch, error) {
	ctx, cancel := context.WithTimeout(ctx, callTimeout)
	defer cancel()
	b, err := c.planning.GetBatch(ctx, &planningpb.GetBatchRequest{Name: name})
	if err != nil {
		return scheduling.Batch{}, said(fmt.Errorf("get batch %s: %w", name, err), name)
	}
	return Batch(b)
}

// Site implements scheduling.Planning.
func (c *Client) Site(ctx context.Context, name string) (scheduling.SiteFacts, error) {
	ctx, cancel := context.WithTimeout(ctx, callTimeout)
	defer cancel()
	s, err := c.planning.GetSite(ctx, &planningpb.GetSiteRequest{Name: name})
	if err != nil {
		return scheduling.SiteFacts{}, said(fmt.Errorf("get site %s: %w", name, err), name)
	}
	return scheduling.SiteFacts{TimeZone: s.GetTimeZone(), AltitudeMeters: s.GetAltitudeMeters()}, nil
}
