package planning

import (
	"context"
	"time"

	"rondeau.internal/pkg/gs1"
)

// Product is a sealed pack that outlets order.
type Product struct {
	Meta
	DisplayName  string
	Item         string // PACK item of inventory
	SourceItem   string
	NetMassKg    float64
	GTIN         string
	LossFraction float64
	Steps        []Step
	ShelfLife    *time.Duration // nil: beyond any plan
	Active       bool
	MinBatch     int // packs; 0: 1
	MaxBatch     int // packs; 0: no limit of its own
	PeriodDays   int
}

func (p *Product) check() error {
	var f faults
	site := SiteOf(p.Name)
	f.need("product.display_name", p.DisplayName, "the name of the product")
	f.need("product.item", p.Item, "the PACK item under which inventory counts the packs")
	f.need("product.source_item", p.SourceItem, "the item that is packed")
	for field, item := range map[string]string{"product.item": p.Item, "product.source_item": p.SourceItem} {
		if item != "" && SiteOf(item) != site {
			f.add(field, "%s belongs to another site", item)
		}
	}
	if p.Item != "" && p.Item == p.SourceItem {
		f.add("product.source_item", "is the pack itself: name the bulk item that is filled into it")
	}
	if p.NetMassKg <= 0 {
		f.add("product.net_mass_kg", "is missing: give the mass in one pack")
	}
	if p.GTIN != "" {
		if _, err := gs1.PadGTIN(p.GTIN); err != nil {
			f.add("product.gtin", "%s", err)
		}
	}
	if p.MaxBatch > 0 && p.MaxBatch < p.MinBatch {
		f.add("product.max_batch_container_count", "is %d, below the least of %d", p.MaxBatch, p.MinBatch)
	}
	checkSteps(&f, "product.steps", site, p.Steps)
	return f.err("product " + p.Name)
}

// CreateProduct adds a product to a site.
func (s *Service) CreateProduct(ctx context.Context, parent, id string, product *Product) (*Product, error) {
	name, err := childName(parent, "products", id, "product")
	if err != nil {
		return nil, err
	}
	product.Meta = newMeta(name, s.now())
	if err := product.check(); err != nil {
		return nil, err
	}
	return product, s.insertUnderSite(ctx, parent, func(ctx context.Context) error { return s.store.Products().Insert(ctx, product) })
}

// UpdateProduct changes a product.
func (s *Service) UpdateProduct(ctx context.Context, name, etag string, change func(*Product) error) (*Product, error) {
	return update(ctx, s, s.store.Products(), name, etag, func(product *Product) error {
		if err := change(product); err != nil {
			return err
		}
		return product.check()
	})
}

// Product returns one product.
func (s *Service) Product(ctx context.Context, name string) (*Product, error) {
	return s.store.Products().Get(ctx, name)
}

// ListProducts returns a page of a site's products in order of name.
func (s *Service) ListProducts(ctx context.Context, q Query) ([]*Product, error) {
	return s.store.Products().List(ctx, q)
}
