// Package inventoryclient reads items and stock from the service inventory.
package inventoryclient

import (
	"context"
	"slices"
	"strings"

	"google.golang.org/grpc"

	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/services/planning"
)

const pageSize = 500

// Client implements planning.Inventory.
type Client struct {
	api inventorypb.InventoryServiceClient
}

var _ planning.Inventory = (*Client)(nil)

// New returns a client over a connection.
func New(conn grpc.ClientConnInterface) *Client {
	return &Client{api: inventorypb.NewInventoryServiceClient(conn)}
}

// Items returns all items of a site.
func (c *Client) Items(ctx context.Context, site string) ([]planning.Item, error) {
	var out []planning.Item
	request := &inventorypb.ListItemsRequest{Parent: site, PageSize: pageSize}
	for {
		answer, err := c.api.ListItems(ctx, request)
		if err != nil {
			return nil, err
		}
		for _, i := range answer.GetItems() {
			out = append(out, item(i))
		}
		if answer.GetNextPageToken() == "" {
			return out, nil
		}
		request.PageToken = answer.GetNextPageToken()
	}
}

var kinds = map[inventorypb.Item_Kind]planning.ItemKind{
	inventorypb.Item_PURCHASED: planning.ItemPurchased, inventorypb.Item_MADE: planning.ItemMade,
	inventorypb.Item_PACK: planning.ItemPack, inventorypb.Item_UTILITY: planning.ItemUtility,
}

func item(i *inventorypb.Item) planning.Item {
	terms := i.GetPurchase()
	out := planning.Item{
		Name: i.GetName(), DisplayName: i.GetDisplayName(), Kind: kinds[i.GetKind()], ShelfLife: i.GetShelfLife().AsDuration(), NetMassKg: i.GetNetMassKg(),
		Supplier: terms.GetSupplier(), CaseMassKg: terms.GetCaseMassKg(), LeadDays: int(terms.GetLeadDays()),
	}
	for _, day := range terms.GetDeliveryWeekdays() {
		out.DeliveryWeekdays |= 1 << (day % 7) // ISO 8601 counts Sunday as 7
	}
	for _, a := range i.GetAllergens() {
		out.Allergens = append(out.Allergens, strings.TrimPrefix(a.GetAllergen().String(), "ALLERGEN_"))
	}
	slices.Sort(out.Allergens)
	out.Allergens = slices.Compact(out.Allergens)
	return out
}

// Stock returns what is free, promised and expected.
func (c *Client) Stock(ctx context.Context, site string, items ...string) ([]planning.Stock, error) {
	answer, err := c.api.SummarizeStock(ctx, &inventorypb.SummarizeStockRequest{Parent: site, Items: items})
	if err != nil {
		return nil, err
	}
	return stock(answer.GetItems()), nil
}

// StockAndPurchases returns the stock of everything and those of the purchases that no delivery was made of.
func (c *Client) StockAndPurchases(ctx context.Context, site string, purchases []string) ([]planning.Stock, []string, error) {
	answer, err := c.api.SummarizeStock(ctx, &inventorypb.SummarizeStockRequest{Parent: site, Purchases: purchases})
	if err != nil {
		return nil, nil, err
	}
	return stock(answer.GetItems()), answer.GetUnknownPurchases(), nil
}

func stock(items []*inventorypb.ItemStock) []planning.Stock {
	var out []planning.Stock
	for _, s := range items {
		row := planning.Stock{Item: s.GetItem(), ReservedKg: s.GetReservedMassKg()}
		for _, l := range s.GetFreeLots() {
			row.Lots = append(row.Lots, planning.StockLot{
				Lot: l.GetLot(), MassKg: l.GetMassKg(), Containers: int(l.GetContainerCount()), UseBy: planning.Date(l.GetUseByDate()),
			})
		}
		for _, r := range s.GetReservedLots() {
			row.Promised = append(row.Promised, planning.ReservedLot{Lot: r.GetLot(), Batch: r.GetBatch(), MassKg: r.GetMassKg(), UseBy: planning.Date(r.GetUseByDate())})
		}
		for _, e := range s.GetExpected() {
			row.Expected = append(row.Expected, planning.ExpectedDelivery{Delivery: e.GetDelivery(), MassKg: e.GetMassKg(), Date: planning.Date(e.GetExpectedDate())})
		}
		out = append(out, row)
	}
	return out
}
