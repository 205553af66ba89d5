// Package foodsafetyclient asks the food-safety service about lots.
package foodsafetyclient

import (
	"context"

	"google.golang.org/grpc"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	"rondeau.internal/services/inventory"
)

// Client implements the port inventory.FoodSafety over the generated client.
type Client struct {
	api foodsafetypb.FoodSafetyServiceClient
}

var _ inventory.FoodSafety = (*Client)(nil)

// New makes a client over a connection to the food-safety service.
func New(conn grpc.ClientConnInterface) *Client {
	return &Client{api: foodsafetypb.NewFoodSafetyServiceClient(conn)}
}

// CheckLots asks about at most 1000 lots of a site.
func (c *Client) CheckLots(ctx context.Context, site string, lots []string) ([]inventory.LotSafety, error) {
	answer, err := c.api.CheckLots(ctx, &foodsafetypb.CheckLotsRequest{Parent: site, Lots: lots})
	if err != nil {
		return nil, err
	}
	out := make([]inventory.LotSafety, 0, len(answer.GetLotStatuses()))
	for _, s := range answer.GetLotStatuses() {
		out = append(out, inventory.LotSafety{Lot: s.GetLot(), Known: s.GetKnown(), Clear: s.GetClear(), Shippable: s.GetShippable(), Reasons: s.GetReasons()})
	}
	return out, nil
}
