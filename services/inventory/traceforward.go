package inventory

import (
	"context"
)

// TraceForward follows a lot, a delivery or a supplier to every container, shipment and outlet. Without containers it gives their number at
// each lot.
func (s *Service) TraceForward(ctx context.Context, name string, omitContainers bool) (*Trace, error) {
	var out *Trace
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		f := &forward{tracer: s.newTracer(ctx, name), omit: omitContainers}
		var err error
		switch Collection(name) {
		case "suppliers":
			err = f.supplier(name)
		case "deliveries":
			err = f.delivery(0, name)
		default:
			err = f.lot(0, name)
		}
		if err != nil {
			return err
		}
		out, err = f.run()
		return err
	})
	return out, err
}

type forward struct {
	*tracer
	omit bool
}

func (f *forward) supplier(name string) error {
	n, err := f.supplierNode(name)
	if err != nil {
		return err
	}
	return f.add(0, n, func() error {
		ds, err := f.s.store.SupplierDeliveries(f.ctx, name)
		if err != nil {
			return err
		}
		for _, d := range ds {
			if d.State != DeliveryReceivedIn {
				continue
			}
			if err := f.delivery(1, d.Name); err != nil {
				return err
			}
			f.edge(name, d.Name, f.nodes[d.Name].Mass)
		}
		return nil
	})
}

func (f *forward) delivery(depth int, name string) error {
	n, _, err := f.deliveryNode(name)
	if err != nil {
		return err
	}
	return f.add(depth, n, func() error {
		lots, err := f.s.store.DeliveryLots(f.ctx, name)
		if err != nil {
			return err
		}
		for _, l := range lots {
			f.edge(name, l.Name, l.Initial)
			if err := f.lotRow(depth+1, l); err != nil {
				return err
			}
		}
		return nil
	})
}

func (f *forward) lot(depth int, name string) error {
	if _, ok := f.nodes[name]; ok {
		return nil
	}
	l, err := f.s.store.Lots().Get(f.ctx, name)
	if err != nil {
		return err
	}
	return f.lotRow(depth, l)
}

func (f *forward) lotRow(depth int, l *Lot) error {
	if _, ok := f.nodes[l.Name]; ok {
		return nil
	}
	n, err := f.lotNode(l)
	if err != nil {
		return err
	}
	var cs []*Container
	if l.Packed {
		if cs, err = f.s.store.LotContainers(f.ctx, l.Name); err != nil {
			return err
		}
		n.ContainerCount = len(cs)
	}
	return f.add(depth, n, func() error {
		uses, err := f.s.store.LotUses(f.ctx, l.Name)
		if err != nil {
			return err
		}
		for _, u := range uses {
			if u.Kind == MovePacking {
				f.grow(l.Name, u.Move, u.Mass)
				err = f.packing(depth+1, u)
			} else {
				f.grow(l.Name, u.Batch, u.Mass)
				err = f.batch(depth+1, u.Batch)
			}
			if err != nil {
				return err
			}
		}
		for _, c := range cs {
			if err := f.container(depth+1, c); err != nil {
				return err
			}
		}
		return nil
	})
}

func (f *forward) batch(depth int, name string) error {
	if _, ok := f.nodes[name]; ok {
		return nil
	}
	n, err := f.batchNode(name)
	if err != nil {
		return err
	}
	return f.add(depth, n, func() error {
		lots, err := f.s.store.BatchLots(f.ctx, name)
		if err != nil {
			return err
		}
		for _, l := range lots {
			if l.Packed {
				continue
			}
			f.edge(name, l.Name, l.Initial)
			if err := f.lotRow(depth+1, l); err != nil {
				return err
			}
		}
		return nil
	})
}

func (f *forward) packing(depth int, u BatchEntry) error {
	if _, ok := f.nodes[u.Move]; ok {
		return nil
	}
	entries, err := f.s.store.MoveEntries(f.ctx, u.Move)
	if err != nil {
		return err
	}
	p := packingOf(u.Move, entries)
	l, err := f.s.store.Lots().Get(f.ctx, p.lot)
	if err != nil {
		return err
	}
	return f.add(depth, f.packingNode(p, l), func() error {
		f.edge(p.move, l.Name, l.Initial)
		if err := f.lotRow(depth+1, l); err != nil {
			return err
		}
		if p.rest <= 0 {
			return nil
		}
		f.edge(p.move, u.Batch, p.rest)
		return f.batch(depth+1, u.Batch)
	})
}

func (f *forward) container(depth int, c *Container) error {
	if f.omit {
		f.count(c.State, 1)
		if c.Outlet != "" {
			f.outlets[c.Outlet] = true
		}
		return nil
	}
	f.edge(c.Lot, c.Name, c.NetMass)
	return f.add(depth, containerNode(c), func() error {
		if c.Shipment == "" {
			return nil
		}
		f.edge(c.Name, c.Shipment, c.NetMass)
		if _, ok := f.nodes[c.Shipment]; !ok {
			sh, err := f.s.store.Shipments().Get(f.ctx, c.Shipment)
			if err != nil {
				return err
			}
			if err := f.add(depth+1, shipmentNode(sh), nil); err != nil {
				return err
			}
		}
		if c.Outlet == "" {
			return nil
		}
		f.grow(c.Shipment, c.Outlet, c.NetMass) // the traced part of the shipment
		return f.add(depth+2, TraceNode{Name: c.Outlet, Kind: NodeOutlet, DisplayName: lastID(c.Outlet)}, nil)
	})
}
