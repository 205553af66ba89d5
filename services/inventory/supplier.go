package inventory

import (
	"context"
	"strings"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/gs1"
)

// Supplier is somebody who delivers to the kitchen.
type Supplier struct {
	Name        string
	DisplayName string
	GLN         string // 13 digits, or empty
	Address     string
	Contact     string
	Active      bool
	Meta
}

func (p *Supplier) check() error {
	bad := apierr.InvalidArgument(SupplierInvalid, "supplier %q cannot be saved: correct the fields named below", p.Name).With("supplier", p.Name)
	n := 0
	if strings.TrimSpace(p.DisplayName) == "" {
		n++
		bad = bad.WithViolation("supplier.display_name", "must not be empty")
	}
	if p.GLN != "" {
		if err := gs1.GLN.Check(p.GLN); err != nil {
			n++
			bad = bad.WithViolation("supplier.gln", "%v", err)
		}
	}
	if n > 0 {
		return bad
	}
	return nil
}

// NewSupplier is a supplier to create with its id.
type NewSupplier struct {
	ID       string
	Supplier *Supplier
}

// BatchCreateSuppliers creates all suppliers or none. An empty id is made from the display name.
func (s *Service) BatchCreateSuppliers(ctx context.Context, site string, news []NewSupplier) ([]*Supplier, error) {
	var made []*Supplier
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		made = nil
		for _, n := range news {
			p := *n.Supplier
			name, err := s.newName(site, "suppliers", n.ID, p.DisplayName)
			if err != nil {
				return err
			}
			p.Name = name
			if err := p.check(); err != nil {
				return err
			}
			p.Meta = s.newMeta()
			if err := s.store.Suppliers().Insert(ctx, &p); err != nil {
				return err
			}
			made = append(made, &p)
		}
		return nil
	})
	return made, err
}

// UpdateSupplier changes a supplier by fn.
func (s *Service) UpdateSupplier(ctx context.Context, name, etag string, fn func(*Supplier) error) (*Supplier, error) {
	var out *Supplier
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		p, err := s.store.Suppliers().Get(ctx, name)
		if err != nil {
			return err
		}
		if err := checkEtag(etag, p.Etag(), name); err != nil {
			return err
		}
		meta := p.Meta
		if err := fn(p); err != nil {
			return err
		}
		p.Name, p.Meta = name, meta
		if err := p.check(); err != nil {
			return err
		}
		s.touch(&p.Meta)
		out = p
		return s.store.Suppliers().Update(ctx, p)
	})
	return out, err
}

// Supplier reads a supplier.
func (s *Service) Supplier(ctx context.Context, name string) (*Supplier, error) {
	return s.store.Suppliers().Get(ctx, name)
}

// Suppliers lists suppliers.
func (s *Service) Suppliers(ctx context.Context, q ListQuery) ([]*Supplier, error) {
	return s.store.Suppliers().List(ctx, q)
}
