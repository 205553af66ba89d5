package grpcapi

import (
	"context"
	"fmt"

	"rondeau.internal/pkg/apierr"
	pb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/services/inventory"
)

// sameParent refuses a batch whose parts belong to another kitchen.
func sameParent(parent, part string, i int) error {
	if part == parent {
		return nil
	}
	return apierr.InvalidArgument(inventory.WrongSite, "request %d is for %s, the batch is for %s", i+1, part, parent).With("name", part).With("site", parent).
		WithViolation(fmt.Sprintf("requests[%d].parent", i), "must be the parent of the batch")
}

// GetItem reads one by name.
func (s *Server) GetItem(ctx context.Context, req *pb.GetItemRequest) (*pb.Item, error) {
	item, err := s.stock.Item(ctx, req.GetName())
	return result(item, err, ItemProto)
}

// ListItems lists a page.
func (s *Server) ListItems(ctx context.Context, req *pb.ListItemsRequest) (*pb.ListItemsResponse, error) {
	rows, next, err := page(ctx, req, inventory.ListQuery{}, s.stock.Items, ItemProto, s.stock.Store().Items().Cursor)
	if err != nil {
		return nil, err
	}
	return &pb.ListItemsResponse{Items: rows, NextPageToken: next}, nil
}

// CreateItem creates one.
func (s *Server) CreateItem(ctx context.Context, req *pb.CreateItemRequest) (*pb.Item, error) {
	made, err := s.BatchCreateItems(ctx, &pb.BatchCreateItemsRequest{Parent: req.GetParent(), Requests: []*pb.CreateItemRequest{req}})
	if err != nil {
		return nil, err
	}
	return made.GetItems()[0], nil
}

// BatchCreateItems creates all or none.
func (s *Server) BatchCreateItems(ctx context.Context, req *pb.BatchCreateItemsRequest) (*pb.BatchCreateItemsResponse, error) {
	var news []inventory.NewItem
	for i, r := range req.GetRequests() {
		if err := sameParent(req.GetParent(), r.GetParent(), i); err != nil {
			return nil, err
		}
		item := &inventory.Item{}
		if err := itemInto(r.GetItem(), item); err != nil {
			return nil, err
		}
		news = append(news, inventory.NewItem{ID: r.GetItemId(), Item: item})
	}
	made, err := s.stock.BatchCreateItems(ctx, req.GetParent(), news)
	if err != nil {
		return nil, err
	}
	return &pb.BatchCreateItemsResponse{Items: each(made, ItemProto)}, nil
}

// UpdateItem changes what the mask names.
func (s *Server) UpdateItem(ctx context.Context, req *pb.UpdateItemRequest) (*pb.Item, error) {
	src := req.GetItem()
	if err := named(src.GetName(), "item.name"); err != nil {
		return nil, err
	}
	item, err := s.stock.UpdateItem(ctx, src.GetName(), src.GetEtag(), masked(req.GetUpdateMask(), src, ItemProto, itemInto))
	return result(item, err, ItemProto)
}

// GetSupplier reads one by name.
func (s *Server) GetSupplier(ctx context.Context, req *pb.GetSupplierRequest) (*pb.Supplier, error) {
	supplier, err := s.stock.Supplier(ctx, req.GetName())
	return result(supplier, err, SupplierProto)
}

// ListSuppliers lists a page.
func (s *Server) ListSuppliers(ctx context.Context, req *pb.ListSuppliersRequest) (*pb.ListSuppliersResponse, error) {
	rows, next, err := page(ctx, req, inventory.ListQuery{}, s.stock.Suppliers, SupplierProto, s.stock.Store().Suppliers().Cursor)
	if err != nil {
		return nil, err
	}
	return &pb.ListSuppliersResponse{Suppliers: rows, NextPageToken: next}, nil
}

// CreateSupplier creates one.
func (s *Server) CreateSupplier(ctx context.Context, req *pb.CreateSupplierRequest) (*pb.Supplier, error) {
	made, err := s.BatchCreateSuppliers(ctx, &pb.BatchCreateSuppliersRequest{Parent: req.GetParent(), Requests: []*pb.CreateSupplierRequest{req}})
	if err != nil {
		return nil, err
	}
	return made.GetSuppliers()[0], nil
}

// BatchCreateSuppliers creates all or none.
func (s *Server) BatchCreateSuppliers(ctx context.Context, req *pb.BatchCreateSuppliersRequest) (*pb.BatchCreateSuppliersResponse, error) {
	var news []inventory.NewSupplier
	for i, r := range req.GetRequests() {
		if err := sameParent(req.GetParent(), r.GetParent(), i); err != nil {
			return nil, err
		}
		supplier := &inventory.Supplier{}
		if err := supplierInto(r.GetSupplier(), supplier); err != nil {
			return nil, err
		}
		news = append(news, inventory.NewSupplier{ID: r.GetSupplierId(), Supplier: supplier})
	}
	made, err := s.stock.BatchCreateSuppliers(ctx, req.GetParent(), news)
	if err != nil {
		return nil, err
	}
	return &pb.BatchCreateSuppliersResponse{Suppliers: each(made, SupplierProto)}, nil
}

// UpdateSupplier changes what the mask names.
func (s *Server) UpdateSupplier(ctx context.Context, req *pb.UpdateSupplierRequest) (*pb.Supplier, error) {
	src := req.GetSupplier()
	if err := named(src.GetName(), "supplier.name"); err != nil {
		return nil, err
	}
	supplier, err := s.stock.UpdateSupplier(ctx, src.GetName(), src.GetEtag(), masked(req.GetUpdateMask(), src, SupplierProto, supplierInto))
	return result(supplier, err, SupplierProto)
}

// GetLocation reads one by name.
func (s *Server) GetLocation(ctx context.Context, req *pb.GetLocationRequest) (*pb.Location, error) {
	location, err := s.stock.Location(ctx, req.GetName())
	return result(location, err, LocationProto)
}

// ListLocations lists a page.
func (s *Server) ListLocations(ctx context.Context, req *pb.ListLocationsRequest) (*pb.ListLocationsResponse, error) {
	rows, next, err := page(ctx, req, inventory.ListQuery{}, s.stock.Locations, LocationProto, s.stock.Store().Locations().Cursor)
	if err != nil {
		return nil, err
	}
	return &pb.ListLocationsResponse{Locations: rows, NextPageToken: next}, nil
}

// CreateLocation creates one.
func (s *Server) CreateLocation(ctx context.Context, req *pb.CreateLocationRequest) (*pb.Location, error) {
	made, err := s.BatchCreateLocations(ctx, &pb.BatchCreateLocationsRequest{Parent: req.GetParent(), Requests: []*pb.CreateLocationRequest{req}})
	if err != nil {
		return nil, err
	}
	return made.GetLocations()[0], nil
}

// BatchCreateLocations creates all or none.
func (s *Server) BatchCreateLocations(ctx context.Context, req *pb.BatchCreateLocationsRequest) (*pb.BatchCreateLocationsResponse, error) {
	var news []inventory.NewLocation
	for i, r := range req.GetRequests() {
		if err := sameParent(req.GetParent(), r.GetParent(), i); err != nil {
			return nil, err
		}
		location := &inventory.Location{}
		if err := locationInto(r.GetLocation(), location); err != nil {
			return nil, err
		}
		news = append(news, inventory.NewLocation{ID: r.GetLocationId(), Location: location})
	}
	made, err := s.stock.BatchCreateLocations(ctx, req.GetParent(), news)
	if err != nil {
		return nil, err
	}
	return &pb.BatchCreateLocationsResponse{Locations: each(made, LocationProto)}, nil
}

// UpdateLocation changes what the mask names.
func (s *Server) UpdateLocation(ctx context.Context, req *pb.UpdateLocationRequest) (*pb.Location, error) {
	src := req.GetLocation()
	if err := named(src.GetName(), "location.name"); err != nil {
		return nil, err
	}
	location, err := s.stock.UpdateLocation(ctx, src.GetName(), src.GetEtag(), masked(req.GetUpdateMask(), src, LocationProto, locationInto))
	return result(location, err, LocationProto)
}

// GetStockPolicy reads the stock rules of a kitchen.
func (s *Server) GetStockPolicy(ctx context.Context, req *pb.GetStockPolicyRequest) (*pb.StockPolicy, error) {
	policy, err := s.stock.Policy(ctx, inventory.SiteOf(req.GetName()))
	return result(policy, err, PolicyProto)
}

// UpdateStockPolicy changes what the mask names.
func (s *Server) UpdateStockPolicy(ctx context.Context, req *pb.UpdateStockPolicyRequest) (*pb.StockPolicy, error) {
	src := req.GetStockPolicy()
	if err := named(src.GetName(), "stock_policy.name"); err != nil {
		return nil, err
	}
	policy, err := s.stock.UpdatePolicy(ctx, src.GetName(), src.GetEtag(), masked(req.GetUpdateMask(), src, PolicyProto, policyInto))
	return result(policy, err, PolicyProto)
}
