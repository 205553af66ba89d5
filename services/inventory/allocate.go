package inventory

import (
	"fmt"
	"strings"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// candidates are the lots of an item with mass in the kitchen, told apart by whether they may be used. Both are in the order
// first expired first.
type candidates struct {
	usable  []*Lot
	refused []refusedLot
}

type refusedLot struct {
	lot *Lot
	why *apierr.Error
}

// promised is the mass of usable lots that is promised already.
func (c candidates) promised() units.Milligrams {
	var sum units.Milligrams
	for _, l := range c.usable {
		sum += l.Reserved
	}
	return sum
}

// candidates looks at one lot when it is named, and then a refusal is an error; else at all lots of the item.
func (b *book) candidates(item *Item, lot string, want use) (candidates, error) {
	var c candidates
	if lot != "" {
		l, err := b.lot(lot)
		if err != nil {
			return c, err
		}
		if l.Item != item.Name {
			return c, apierr.FailedPrecondition(LotWrongItem, "%s (code %s) is %s, not %s; take a lot of the right item", l.Name, l.Code, l.Item, item.Name).
				With("lot", l.Name).With("code", l.Code).With("lot_item", l.Item).With("item", item.Name).WithViolation(l.Name, "is a lot of %s", l.Item)
		}
		why, err := b.refusal(l, item, want)
		if err != nil {
			return c, err
		}
		if why != nil {
			return c, why
		}
		c.usable = []*Lot{l}
		return c, nil
	}
	lots, err := b.openLots(item.Name)
	if err != nil {
		return c, err
	}
	for _, l := range lots {
		why, err := b.refusal(l, item, want)
		if err != nil {
			return c, err
		}
		if why != nil {
			c.refused = append(c.refused, refusedLot{l, why})
			continue
		}
		c.usable = append(c.usable, l)
	}
	return c, nil
}

// lack says why there is too little of an item.
type lack struct {
	item       *Item
	want, have units.Milligrams
	refused    []refusedLot
	promised   units.Milligrams
	place      string
}

func (k *lack) text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s of %s is wanted and %s can be had", kg(k.want), k.item.Name, kg(k.have))
	if k.place != "" {
		fmt.Fprintf(&b, " from %s", k.place)
	}
	if k.promised > 0 {
		fmt.Fprintf(&b, ", %s is promised elsewhere", kg(k.promised))
	}
	for _, r := range k.refused {
		fmt.Fprintf(&b, ", %s of %s (code %s) must not be used: %s", kg(r.lot.OnHand), r.lot.Name, r.lot.Code, reasonWord(r.why.Reason))
	}
	return b.String()
}

func reasonWord(reason string) string {
	switch reason {
	case LotHeld:
		return "on hold"
	case LotExpired:
		return "past its last day of use"
	case LotNotReleased:
		return "not released"
	}
	return strings.ToLower(reason)
}

func (k *lack) err() error {
	e := apierr.FailedPrecondition(StockShort, "%s; receive more, count again, or take less", k.text()).
		With("item", k.item.Name).With("wanted", kg(k.want)).With("available", kg(k.have)).With("promised", kg(k.promised)).
		WithViolation(k.item.Name, "%s is missing", kg(k.want-k.have))
	for _, r := range k.refused {
		e = e.WithViolation(r.lot.Name, "%s", r.why.Violations[0].Description)
	}
	return e
}

// wholeContainers refuses part of a container.
func wholeContainers(item *Item, mass units.Milligrams, field string) error {
	if item.Kind != Pack || mass%item.NetMass == 0 {
		return nil
	}
	return apierr.InvalidArgument(MassInvalid, "%s comes in sealed containers of %s; %s is not a whole number of them", item.Name, kg(item.NetMass), kg(mass)).
		With("item", item.Name).With("net_mass", kg(item.NetMass)).With("mass", kg(mass)).
		WithViolation(field, "must be a multiple of %s", kg(item.NetMass))
}

// Taken is mass taken from one lot at one place.
type Taken struct {
	Item        string
	Lot         string
	Location    string
	Mass        units.Milligrams
	Reservation string
}

// intoBatch takes mass of an item out of stock into the batch of the move: from the named lot, or first expired first. What the batch
// has reserved goes first.
func (b *book) intoBatch(item *Item, mass units.Milligrams, lot, place, field string) ([]Taken, error) {
	if err := positive(mass, field); err != nil {
		return nil, err
	}
	if err := sameSite(b.site, item.Name, lot, place); err != nil {
		return nil, err
	}
	if err := wholeContainers(item, mass, field); err != nil {
		return nil, err
	}
	c, err := b.candidates(item, lot, inBatch)
	if err != nil {
		return nil, err
	}
	own, err := b.ownReservations(b.move.Batch)
	if err != nil {
		return nil, err
	}
	var taken []Taken
	left := mass
	grab := func(l *Lot, most units.Milligrams, reservation string) (units.Milligrams, error) {
		there, err := b.at(l.Name, place)
		if err != nil {
			return 0, err
		}
		m := min(left, most, there)
		if m <= 0 {
			return 0, nil
		}
		got, err := b.draw(l, item, place, m)
		if err != nil {
			return 0, err
		}
		for _, p := range got {
			taken = append(taken, Taken{Item: item.Name, Lot: l.Name, Location: p.Location, Mass: p.Mass, Reservation: reservation})
		}
		left -= m
		return m, nil
	}
	for _, l := range c.usable {
		for _, r := range own {
			for i := range r.Lines {
				line := &r.Lines[i]
				if r.State != ReservationActive || line.Lot != l.Name || line.Remaining == 0 {
					continue
				}
				m, err := grab(l, line.Remaining, r.Name)
				if err != nil {
					return nil, err
				}
				if m > 0 {
					line.Remaining -= m
					l.Reserved -= m
					b.touched[r.Name] = true
				}
			}
		}
	}
	for _, l := range c.usable {
		if _, err := grab(l, l.Free(), ""); err != nil {
			return nil, err
		}
	}
	if left > 0 {
		return nil, (&lack{item: item, want: mass, have: mass - left, refused: c.refused, promised: c.promised(), place: place}).err()
	}
	b.account.Input += mass
	return taken, nil
}

// draw takes mass of one lot into the batch; of a packed lot whole containers that are not picked.
func (b *book) draw(l *Lot, item *Item, place string, mass units.Milligrams) ([]Place, error) {
	if item.Kind != Pack {
		return b.take(l, place, mass, InProcess, b.move.Batch)
	}
	cs, err := b.choose(l, place, int(mass/item.NetMass))
	if err != nil {
		return nil, err
	}
	byPlace := map[string]int{}
	var got []Place
	for _, c := range cs {
		i, ok := byPlace[c.Location]
		if !ok {
			i = len(got)
			byPlace[c.Location] = i
			got = append(got, Place{Location: c.Location})
		}
		got[i].Mass += c.NetMass
	}
	return got, b.takeContainers(l, cs, InProcess, b.move.Batch, ContainerUsed)
}

// choose finds containers of a packed lot in the kitchen that are not picked, lowest serial first.
func (b *book) choose(l *Lot, place string, count int) ([]*Container, error) {
	all, err := b.s.store.LotContainers(b.ctx, l.Name)
	if err != nil {
		return nil, err
	}
	gone := map[string]bool{}
	for _, c := range b.containers {
		gone[c.Name] = true
	}
	var cs []*Container
	for _, c := range all {
		if len(cs) == count {
			break
		}
		if c.State == ContainerPacked && c.Shipment == "" && !gone[c.Name] && (place == "" || c.Location == place) {
			cs = append(cs, c)
		}
	}
	if len(cs) < count {
		return nil, apierr.FailedPrecondition(StockShort, "%s has only %d free containers, not %d; take fewer or cancel a shipment", l.Name, len(cs), count).
			With("lot", l.Name).With("available", fmt.Sprint(len(cs))).With("wanted", fmt.Sprint(count)).
			WithViolation(l.Name, "%d containers are missing", count-len(cs))
	}
	return cs, nil
}
