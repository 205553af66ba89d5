package inventory

import (
	"context"

	"rondeau.internal/pkg/units"
)

// TraceBackward follows a container, a lot or a shipment back to its deliveries and suppliers.
func (s *Service) TraceBackward(ctx context.Context, name string) (*Trace, error) {
	var out *Trace
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		t := s.newTracer(ctx, name)
		var err error
		switch Collection(name) {
		case "containers":
			var c *Container
			if c, err = s.store.Containers().Get(ctx, name); err == nil {
				err = t.backContainer(0, c)
			}
		case "shipments":
			var sh *Shipment
			if sh, err = s.store.Shipments().Get(ctx, name); err == nil {
				err = t.backShipment(sh)
			}
		default:
			err = t.backLot(0, name)
		}
		if err != nil {
			return err
		}
		out, err = t.run()
		return err
	})
	return out, err
}

func (t *tracer) backShipment(sh *Shipment) error {
	return t.add(0, shipmentNode(sh), func() error {
		cs, err := t.s.store.ShipmentContainers(t.ctx, sh.Name)
		if err != nil {
			return err
		}
		for _, c := range cs {
			t.edge(c.Name, sh.Name, c.NetMass)
			if err := t.backContainer(1, c); err != nil {
				return err
			}
		}
		return nil
	})
}

func (t *tracer) backContainer(depth int, c *Container) error {
	return t.add(depth, containerNode(c), func() error {
		t.edge(c.Lot, c.Name, c.NetMass)
		return t.backLot(depth+1, c.Lot)
	})
}

func (t *tracer) backLot(depth int, name string) error {
	if _, ok := t.nodes[name]; ok {
		return nil
	}
	l, err := t.s.store.Lots().Get(t.ctx, name)
	if err != nil {
		return err
	}
	n, err := t.lotNode(l)
	if err != nil {
		return err
	}
	return t.add(depth, n, func() error {
		switch {
		case l.Delivery != "":
			t.edge(l.Delivery, l.Name, l.Initial)
			return t.backDelivery(depth+1, l.Delivery)
		case l.Packed:
			entries, err := t.s.store.MoveEntries(t.ctx, l.OriginMove)
			if err != nil {
				return err
			}
			t.edge(l.OriginMove, l.Name, l.Initial)
			return t.backPacking(depth+1, packingOf(l.OriginMove, entries), l)
		case l.Batch != "":
			t.edge(l.Batch, l.Name, l.Initial)
			return t.backBatch(depth+1, l.Batch)
		}
		return nil
	})
}

func (t *tracer) backPacking(depth int, p packing, l *Lot) error {
	return t.add(depth, t.packingNode(p, l), func() error {
		for _, in := range p.inputs {
			t.edge(in.Lot, p.move, in.Mass)
			if err := t.backLot(depth+1, in.Lot); err != nil {
				return err
			}
		}
		return nil
	})
}

func (t *tracer) backBatch(depth int, batch string) error {
	n, err := t.batchNode(batch)
	if err != nil {
		return err
	}
	return t.add(depth, n, func() error {
		src, err := t.s.batchSources(t.ctx, batch)
		if err != nil {
			return err
		}
		for _, in := range src.direct {
			t.edge(in.Lot, batch, in.Mass)
			if err := t.backLot(depth+1, in.Lot); err != nil {
				return err
			}
		}
		for _, p := range src.packs {
			if p.rest <= 0 {
				continue
			}
			l, err := t.s.store.Lots().Get(t.ctx, p.lot)
			if err != nil {
				return err
			}
			t.edge(p.move, batch, p.rest)
			if err := t.backPacking(depth+1, p, l); err != nil {
				return err
			}
		}
		return nil
	})
}

func (t *tracer) backDelivery(depth int, name string) error {
	if _, ok := t.nodes[name]; ok {
		return nil
	}
	n, d, err := t.deliveryNode(name)
	if err != nil {
		return err
	}
	return t.add(depth, n, func() error {
		if d.Supplier == "" {
			return nil
		}
		t.edge(d.Supplier, d.Name, n.Mass)
		sn, err := t.supplierNode(d.Supplier)
		if err != nil {
			return err
		}
		return t.add(depth+1, sn, nil)
	})
}

func (t *tracer) deliveryNode(name string) (TraceNode, *Delivery, error) {
	d, err := t.s.store.Deliveries().Get(t.ctx, name)
	if err != nil {
		return TraceNode{}, nil, err
	}
	var mass units.Milligrams
	for _, l := range d.Lines {
		if l.Decision == Accepted {
			mass += l.Received
		}
	}
	return TraceNode{Name: name, Kind: NodeDelivery, DisplayName: lastID(name), Code: d.DocumentNumber, Mass: mass, State: string(d.State), Time: d.ReceiveTime}, d, nil
}

func (t *tracer) supplierNode(name string) (TraceNode, error) {
	p, err := t.s.store.Suppliers().Get(t.ctx, name)
	if err != nil {
		return TraceNode{}, err
	}
	return TraceNode{Name: name, Kind: NodeSupplier, DisplayName: p.DisplayName, Code: p.GLN, Time: p.CreateTime}, nil
}
