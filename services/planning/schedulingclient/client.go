// Package schedulingclient reads vessels from the service scheduling.
package schedulingclient

import (
	"context"

	"google.golang.org/grpc"

	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/services/planning"
)

const pageSize = 500

// Client implements planning.Scheduling.
type Client struct {
	api schedulingpb.SchedulingServiceClient
}

var _ planning.Scheduling = (*Client)(nil)

// New returns a client over a connection.
func New(conn grpc.ClientConnInterface) *Client {
	return &Client{api: schedulingpb.NewSchedulingServiceClient(conn)}
}

// Vessels returns the vessels of a site that are in use. One that is out of order for a time counts: the size of a batch does
// not change because a kettle waits for a part.
func (c *Client) Vessels(ctx context.Context, site string) ([]planning.Vessel, error) {
	var out []planning.Vessel
	request := &schedulingpb.ListVesselsRequest{Parent: site, PageSize: pageSize}
	for {
		answer, err := c.api.ListVessels(ctx, request)
		if err != nil {
			return nil, err
		}
		for _, v := range answer.GetVessels() {
			if !v.GetActive() {
				continue
			}
			out = append(out, planning.Vessel{
				Name: v.GetName(), DisplayName: v.GetDisplayName(), Class: v.GetVesselClass(), MinFillLiters: v.GetMinFillLiters(),
				MaxFillLiters: v.GetMaxFillLiters(), LoadCapacityKg: v.GetLoadCapacityKg(),
			})
		}
		if answer.GetNextPageToken() == "" {
			return out, nil
		}
		request.PageToken = answer.GetNextPageToken()
	}
}
