package inventory

import (
	"context"
	"slices"

	"rondeau.internal/pkg/units"
)

// sources are what went into a batch: lots directly, and the rests of packing moves. A packing move whose bulk went wholly into its
// containers gave nothing to the batch's other lots.
type sources struct {
	direct []LotMass
	packs  []packing
}

// packing is a packing move: bulk in, a packed lot out, a rest that stays in the batch.
type packing struct {
	move   string
	inputs []LotMass
	lot    string
	rest   units.Milligrams
}

func (s *Service) batchSources(ctx context.Context, batch string) (sources, error) {
	var out sources
	entries, err := s.store.BatchEntries(ctx, batch)
	if err != nil {
		return out, err
	}
	var moves []string
	byMove := map[string][]BatchEntry{}
	for _, e := range entries {
		switch {
		case e.Lot == "":
		case e.Kind == MovePacking:
			if byMove[e.Move] == nil {
				moves = append(moves, e.Move)
			}
			byMove[e.Move] = append(byMove[e.Move], e)
		case e.Mass > 0:
			out.direct = addLot(out.direct, e.Lot, e.Mass)
		}
	}
	for _, m := range moves {
		out.packs = append(out.packs, packingOf(m, byMove[m]))
	}
	return out, nil
}

func packingOf(move string, entries []BatchEntry) packing {
	p := packing{move: move}
	for _, e := range entries {
		if e.Mass > 0 {
			p.inputs = addLot(p.inputs, e.Lot, e.Mass)
		} else {
			p.lot = e.Lot
		}
		p.rest += e.Mass
	}
	return p
}

func addLot(list []LotMass, lot string, mass units.Milligrams) []LotMass {
	for i := range list {
		if list[i].Lot == lot {
			list[i].Mass += mass
			return list
		}
	}
	return append(list, LotMass{Lot: lot, Mass: mass})
}

// batchInputs are all lots that the bulk lots of a batch descend from directly.
func (b *book) batchInputs(batch string) ([]LotMass, error) {
	src, err := b.s.batchSources(b.ctx, batch)
	if err != nil {
		return nil, err
	}
	return src.all(), nil
}

func (src sources) all() []LotMass {
	out := slices.Clone(src.direct)
	for _, p := range src.packs {
		if p.rest > 0 {
			for _, in := range p.inputs {
				out = addLot(out, in.Lot, in.Mass)
			}
		}
	}
	return out
}

// inputsOf are the lots that a lot descends from directly.
func (s *Service) inputsOf(ctx context.Context, l *Lot) ([]LotMass, error) {
	if l.Batch == "" {
		return nil, nil
	}
	if l.Packed {
		entries, err := s.store.MoveEntries(ctx, l.OriginMove)
		if err != nil {
			return nil, err
		}
		return packingOf(l.OriginMove, entries).inputs, nil
	}
	src, err := s.batchSources(ctx, l.Batch)
	if err != nil {
		return nil, err
	}
	return src.all(), nil
}

// ancestors visits every lot that the lots given descend from, themselves included, each once; nearer ones first. visit ends it by
// returning false.
func (b *book) ancestors(from []LotMass, visit func(*Lot) bool) error {
	seen := map[string]bool{}
	queue := slices.Clone(from)
	for len(queue) > 0 {
		name := queue[0].Lot
		queue = queue[1:]
		if seen[name] {
			continue
		}
		seen[name] = true
		l, err := b.lot(name)
		if err != nil {
			return err
		}
		if !visit(l) {
			return nil
		}
		inputs, err := b.s.inputsOf(b.ctx, l)
		if err != nil {
			return err
		}
		queue = append(queue, inputs...)
	}
	return nil
}

// madeAncestors are the made lots among the lots given and everything they descend from, by name.
func (b *book) madeAncestors(from []LotMass) ([]string, error) {
	var made []string
	err := b.ancestors(from, func(l *Lot) bool {
		if l.Batch != "" {
			made = append(made, l.Name)
		}
		return true
	})
	slices.Sort(made)
	return made, err
}

// heldAncestor is a lot on hold that went into the lot, or empty.
func (b *book) heldAncestor(l *Lot) (string, error) {
	if held, ok := b.tainted[l.Name]; ok {
		return held, nil
	}
	if b.anyHeld == nil { // mostly nothing is on hold, and then there is nothing to look for
		any, err := b.s.store.AnyHeld(b.ctx, b.site)
		if err != nil {
			return "", err
		}
		b.anyHeld = &any
	}
	if !*b.anyHeld {
		return "", nil
	}
	held := ""
	err := b.ancestors([]LotMass{{Lot: l.Name}}, func(a *Lot) bool {
		if a.Held && a.Name != l.Name {
			held = a.Name
		}
		return held == ""
	})
	if err != nil {
		return "", err
	}
	b.tainted[l.Name] = held
	return held, nil
}
