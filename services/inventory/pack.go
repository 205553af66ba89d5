package inventory

import (
	"context"
	"fmt"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// Packing asks to portion bulk into containers.
type Packing struct {
	Site       string
	Batch      string
	Run        string
	Item       string // packed item
	Product    string
	Sources    []PackingSource
	SourceItem string // used when no source is named
	Count      int
	LotID      string
	Location   string
	UseBy      string
	Time       time.Time // zero means now
}

// PackingSource is bulk that is portioned.
type PackingSource struct {
	Lot      string
	Mass     units.Milligrams // 0 for one single lot means the mass of the containers
	Location string
}

// Packed is what was packed.
type Packed struct {
	Lot        *LotView
	Containers []*Container
	Move       *Move
	Remainder  units.Milligrams // stays in the batch until it is closed
}

// PackContainers portions bulk into containers: one move takes the bulk into the batch and the packed lot out of it. The new lot
// descends from exactly the lots of that move.
func (s *Service) PackContainers(ctx context.Context, p Packing) (*Packed, error) {
	when, err := s.moment(p.Time, "pack_time")
	if err != nil {
		return nil, err
	}
	if err := checkDay(p.UseBy, "use_by_date"); err != nil {
		return nil, err
	}
	var out *Packed
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		b, err := s.open(ctx, p.Site, MovePacking, when)
		if err != nil {
			return err
		}
		if _, err := b.openAccount(p.Batch, p.Run); err != nil {
			return err
		}
		if err := sameSite(p.Site, p.Item, p.Product, p.SourceItem, p.Location); err != nil {
			return err
		}
		item, err := s.activeItem(ctx, p.Item, Pack)
		if err != nil {
			return err
		}
		b.items[item.Name] = item
		need := item.NetMass * units.Milligrams(p.Count)
		taken, err := b.bulk(p, item, need)
		if err != nil {
			return err
		}
		l, err := b.packedLot(p, item, need, taken)
		if err != nil {
			return err
		}
		cs, err := b.newContainers(p, item, l)
		if err != nil {
			return err
		}
		if err := b.commit(); err != nil {
			return err
		}
		inputs := lotMasses(taken)
		ancestors, err := b.madeAncestors(inputs)
		if err != nil {
			return err
		}
		v, err := s.view(ctx, l)
		if err != nil {
			return err
		}
		out = &Packed{Lot: v, Containers: cs, Move: b.move, Remainder: sumTaken(taken) - need}
		names := make([]string, len(cs))
		for i, c := range cs {
			names[i] = c.Name
		}
		events := []Event{
			LotCreated{Lot: l, Inputs: inputs, MadeAncestors: ancestors, Actor: b.move.Actor},
			ContainersPacked{Lot: l, Product: p.Product, Containers: names},
		}
		if out.Remainder > 0 { // what went wholly into the containers is told with their lot; only the rest went into the batch
			events = append(events, StockConsumed{Move: b.move, Inputs: inputs})
		}
		return s.events.Append(ctx, events...)
	})
	return out, err
}

func sumTaken(taken []Taken) units.Milligrams {
	var sum units.Milligrams
	for _, t := range taken {
		sum += t.Mass
	}
	return sum
}

// bulk takes the bulk into the batch: at least what the containers need.
func (b *book) bulk(p Packing, item *Item, need units.Milligrams) ([]Taken, error) {
	sources := p.Sources
	if len(sources) == 0 {
		if p.SourceItem == "" {
			return nil, apierr.InvalidArgument(RequestInvalid, "say what %s is packed from: lots in sources, or an item in source_item", item.Name).
				With("item", item.Name).WithViolation("sources", "sources or source_item must be given")
		}
		from, err := b.item(p.SourceItem)
		if err != nil {
			return nil, err
		}
		return b.intoBatch(from, need, "", "", "container_count")
	}
	var taken []Taken
	for i, src := range sources {
		field := fmt.Sprintf("sources[%d].mass_kg", i)
		l, err := b.lot(src.Lot)
		if err != nil {
			return nil, err
		}
		from, err := b.item(l.Item)
		if err != nil {
			return nil, err
		}
		if from.Kind == Pack {
			return nil, apierr.FailedPrecondition(ItemKindWrong, "%s is packed already; pack from a bulk lot", l.Name).
				With("item", from.Name).With("kind", string(from.Kind)).WithViolation(l.Name, "is a packed lot")
		}
		mass := src.Mass
		if mass == 0 && len(sources) == 1 {
			mass = need
		}
		t, err := b.intoBatch(from, mass, l.Name, src.Location, field)
		if err != nil {
			return nil, err
		}
		taken = append(taken, t...)
	}
	if got := sumTaken(taken); got < need {
		return nil, apierr.InvalidArgument(MassInvalid, "%d containers of %s hold %s, the sources give %s only; take more bulk or pack fewer", p.Count, kg(item.NetMass), kg(need), kg(got)).
			With("needed", kg(need)).With("given", kg(got)).WithViolation("sources", "%s is missing", kg(need-got))
	}
	return taken, nil
}

func (b *book) packedLot(p Packing, item *Item, mass units.Milligrams, taken []Taken) (*Lot, error) {
	place, err := b.s.place(b.ctx, b.site, p.Location, item)
	if err != nil {
		return nil, err
	}
	l, err := b.newLot(item, p.LotID, "")
	if err != nil {
		return nil, err
	}
	if err := b.madeIn(l); err != nil {
		return nil, err
	}
	l.Packed = true
	l.UseBy = b.useBy(p.UseBy, item)
	if p.UseBy == "" && item.Storage != Frozen { // freezing stops the clock of the bulk; chilling does not
		for _, t := range taken {
			if day := b.lots[t.Lot].UseBy; day != "" && (l.UseBy == "" || day < l.UseBy) {
				l.UseBy = day
			}
		}
	}
	l.Initial, l.ContainerCount = mass, p.Count
	b.put(l, place, mass, InProcess, b.move.Batch)
	b.account.Output += mass
	return l, nil
}

func (b *book) newContainers(p Packing, item *Item, l *Lot) ([]*Container, error) {
	first, err := b.s.store.Next(b.ctx, b.site, "serial", int64(p.Count))
	if err != nil {
		return nil, err
	}
	place := b.places[l.Name][0].Location
	cs := make([]*Container, p.Count)
	for i := range cs {
		serial := b.policy.SerialPrefix + pad(first+int64(i), 9)
		name, err := child(b.site, "containers", strings.ToLower(serial))
		if err != nil {
			return nil, err
		}
		text, err := label(item, l, serial, b.policy.day(b.when), b.policy.Stem)
		if err != nil {
			return nil, fmt.Errorf("label of %s: %w", name, err)
		}
		cs[i] = &Container{
			Name: name, Lot: l.Name, Item: item.Name, Product: p.Product, Serial: serial, GTIN: item.GTIN, NetMass: item.NetMass,
			State: ContainerPacked, Location: place, Label: text, Meta: b.s.newMeta(),
		}
	}
	b.packed = cs
	return cs, nil
}

// pad writes a number with at least so many digits.
func pad(n int64, digits int) string { return fmt.Sprintf("%0*d", digits, n) }
