package grpcapi

import (
	"context"

	"rondeau.internal/pkg/auth"
	pb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/services/planning"
)

// GetSite implements the API.
func (s *Server) GetSite(ctx context.Context, r *pb.GetSiteRequest) (*pb.Site, error) {
	return one(siteProto)(s.service.Site(ctx, r.GetName()))
}

// ListSites implements the API; a caller of one site sees that one.
func (s *Server) ListSites(ctx context.Context, r *pb.ListSitesRequest) (*pb.ListSitesResponse, error) {
	p, _ := auth.FromContext(ctx)
	found, next, err := page(r, "", "", s.service, func(q planning.Query) ([]*planning.Site, error) {
		return s.service.ListSites(ctx, p.Site, q.Limit, q.After)
	}, func(v *planning.Site) []string { return []string{v.Name} })
	if err != nil {
		return nil, err
	}
	return &pb.ListSitesResponse{Sites: convertAll(found, siteProto), NextPageToken: next}, nil
}

// CreateSite implements the API.
func (s *Server) CreateSite(ctx context.Context, r *pb.CreateSiteRequest) (*pb.Site, error) {
	return one(siteProto)(s.service.CreateSite(ctx, r.GetSiteId(), siteDomain(r.GetSite())))
}

// UpdateSite implements the API.
func (s *Server) UpdateSite(ctx context.Context, r *pb.UpdateSiteRequest) (*pb.Site, error) {
	return one(siteProto)(s.service.UpdateSite(ctx, r.GetSite().GetName(), r.GetSite().GetEtag(), func(v *planning.Site) error {
		return patch(v, siteProto, siteDomain, r.GetUpdateMask(), r.GetSite())
	}))
}

// GetOutlet implements the API.
func (s *Server) GetOutlet(ctx context.Context, r *pb.GetOutletRequest) (*pb.Outlet, error) {
	return one(outletProto)(s.service.Outlet(ctx, r.GetName()))
}

// ListOutlets implements the API.
func (s *Server) ListOutlets(ctx context.Context, r *pb.ListOutletsRequest) (*pb.ListOutletsResponse, error) {
	found, next, err := page(r, r.GetParent(), r.GetFilter(), s.service, func(q planning.Query) ([]*planning.Outlet, error) {
		return s.service.ListOutlets(ctx, q)
	}, func(v *planning.Outlet) []string { return []string{v.Name} })
	if err != nil {
		return nil, err
	}
	return &pb.ListOutletsResponse{Outlets: convertAll(found, outletProto), NextPageToken: next}, nil
}

// CreateOutlet implements the API.
func (s *Server) CreateOutlet(ctx context.Context, r *pb.CreateOutletRequest) (*pb.Outlet, error) {
	return one(outletProto)(s.service.CreateOutlet(ctx, r.GetParent(), r.GetOutletId(), outletDomain(r.GetOutlet())))
}

// UpdateOutlet implements the API.
func (s *Server) UpdateOutlet(ctx context.Context, r *pb.UpdateOutletRequest) (*pb.Outlet, error) {
	return one(outletProto)(s.service.UpdateOutlet(ctx, r.GetOutlet().GetName(), r.GetOutlet().GetEtag(), func(v *planning.Outlet) error {
		return patch(v, outletProto, outletDomain, r.GetUpdateMask(), r.GetOutlet())
	}))
}

// GetProduct implements the API.
func (s *Server) GetProduct(ctx context.Context, r *pb.GetProductRequest) (*pb.Product, error) {
	return one(productProto)(s.service.Product(ctx, r.GetName()))
}

// ListProducts implements the API.
func (s *Server) ListProducts(ctx context.Context, r *pb.ListProductsRequest) (*pb.ListProductsResponse, error) {
	found, next, err := page(r, r.GetParent(), r.GetFilter(), s.service, func(q planning.Query) ([]*planning.Product, error) {
		return s.service.ListProducts(ctx, q)
	}, func(v *planning.Product) []string { return []string{v.Name} })
	if err != nil {
		return nil, err
	}
	return &pb.ListProductsResponse{Products: convertAll(found, productProto), NextPageToken: next}, nil
}

// CreateProduct implements the API.
func (s *Server) CreateProduct(ctx context.Context, r *pb.CreateProductRequest) (*pb.Product, error) {
	return one(productProto)(s.service.CreateProduct(ctx, r.GetParent(), r.GetProductId(), productDomain(r.GetProduct())))
}

// UpdateProduct implements the API.
func (s *Server) UpdateProduct(ctx context.Context, r *pb.UpdateProductRequest) (*pb.Product, error) {
	return one(productProto)(s.service.UpdateProduct(ctx, r.GetProduct().GetName(), r.GetProduct().GetEtag(), func(v *planning.Product) error {
		return patch(v, productProto, productDomain, r.GetUpdateMask(), r.GetProduct())
	}))
}

// GetPar implements the API.
func (s *Server) GetPar(ctx context.Context, r *pb.GetParRequest) (*pb.Par, error) {
	return one(parProto)(s.service.Par(ctx, r.GetName()))
}

// ListPars implements the API.
func (s *Server) ListPars(ctx context.Context, r *pb.ListParsRequest) (*pb.ListParsResponse, error) {
	found, next, err := page(r, r.GetParent(), r.GetFilter(), s.service, func(q planning.Query) ([]*planning.Par, error) {
		return s.service.ListPars(ctx, q)
	}, func(v *planning.Par) []string { return []string{v.Name} })
	if err != nil {
		return nil, err
	}
	return &pb.ListParsResponse{Pars: convertAll(found, parProto), NextPageToken: next}, nil
}

// CreatePar implements the API.
func (s *Server) CreatePar(ctx context.Context, r *pb.CreateParRequest) (*pb.Par, error) {
	return one(parProto)(s.service.CreatePar(ctx, r.GetParent(), r.GetParId(), parDomain(r.GetPar())))
}

// UpdatePar implements the API.
func (s *Server) UpdatePar(ctx context.Context, r *pb.UpdateParRequest) (*pb.Par, error) {
	return one(parProto)(s.service.UpdatePar(ctx, r.GetPar().GetName(), r.GetPar().GetEtag(), func(v *planning.Par) error {
		return patch(v, parProto, parDomain, r.GetUpdateMask(), r.GetPar())
	}))
}
