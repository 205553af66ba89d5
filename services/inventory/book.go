package inventory

import (
	"context"
	"errors"
	"maps"
	"slices"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// book is one change of the stock while it is put together: the rows read so far, as they will be, and the entries of the move. It lives
// in one write transaction; commit writes it all.
type book struct {
	ctx    context.Context
	s      *Service
	site   string
	policy *Policy
	today  string
	when   time.Time

	move         *Move
	items        map[string]*Item
	lots         map[string]*Lot
	changed      map[string]bool // lots to update
	fresh        []*Lot          // lots to insert
	places       map[string][]Place
	reservations map[string]*Reservation // by name
	touched      map[string]bool         // reservations to update
	account      *Account
	containers   []*Container      // to update
	packed       []*Container      // to insert
	tainted      map[string]string // lot to held ancestor
	anyHeld      *bool             // whether anything in the kitchen is on hold
}

func (s *Service) open(ctx context.Context, site string, kind MoveKind, when time.Time) (*book, error) {
	policy, err := s.Policy(ctx, site)
	if err != nil {
		return nil, err
	}
	now := s.now()
	id := newUID()
	return &book{
		ctx: ctx, s: s, site: site, policy: policy, today: policy.day(now), when: when,
		move:  &Move{Name: site + "/moves/" + id, UID: id, Kind: kind, MoveTime: when, RecordTime: now, Actor: actor(ctx)},
		items: map[string]*Item{}, lots: map[string]*Lot{}, changed: map[string]bool{}, places: map[string][]Place{},
		reservations: map[string]*Reservation{}, touched: map[string]bool{}, tainted: map[string]string{},
	}, nil
}

func (b *book) item(name string) (*Item, error) {
	if i, ok := b.items[name]; ok {
		return i, nil
	}
	i, err := b.s.store.Items().Get(b.ctx, name)
	if err != nil {
		return nil, err
	}
	b.items[name] = i
	return i, nil
}

// lot reads a lot of the book's kitchen.
func (b *book) lot(name string) (*Lot, error) {
	if l, ok := b.lots[name]; ok {
		return l, nil
	}
	if err := sameSite(b.site, name); err != nil {
		return nil, err
	}
	l, err := b.s.store.Lots().Get(b.ctx, name)
	if err != nil {
		return nil, err
	}
	b.lots[name] = l
	return l, nil
}

// openLots are the lots of an item with mass in the kitchen, first expired first, as the book has them by now.
func (b *book) openLots(item string) ([]*Lot, error) {
	rows, err := b.s.store.OpenLots(b.ctx, b.site, item)
	if err != nil {
		return nil, err
	}
	var out []*Lot
	for _, l := range rows {
		if known, ok := b.lots[l.Name]; ok {
			l = known
		} else {
			b.lots[l.Name] = l
		}
		if l.OnHand > 0 {
			out = append(out, l)
		}
	}
	return out, nil
}

func (b *book) lotPlaces(lot string) ([]Place, error) {
	if p, ok := b.places[lot]; ok {
		return p, nil
	}
	p, err := b.s.store.LotPlaces(b.ctx, lot)
	if err != nil {
		return nil, err
	}
	b.places[lot] = p
	return p, nil
}

// at is the mass of a lot at a place, or everywhere when place is empty.
func (b *book) at(lot, place string) (units.Milligrams, error) {
	places, err := b.lotPlaces(lot)
	if err != nil {
		return 0, err
	}
	var sum units.Milligrams
	for _, p := range places {
		if place == "" || p.Location == place {
			sum += p.Mass
		}
	}
	return sum, nil
}

// put moves mass of a lot between a place and another account: into the place when mass is positive, out of it when negative.
func (b *book) put(l *Lot, place string, mass units.Milligrams, other AccountKind, reference string) {
	b.move.Entries = append(b.move.Entries,
		Entry{Account: other, Reference: reference, Item: l.Item, Lot: l.Name, Mass: -mass},
		Entry{Account: AtLocation, Reference: place, Item: l.Item, Lot: l.Name, Mass: mass})
	l.OnHand += mass
	b.changed[l.Name] = true
	places := b.places[l.Name]
	i := slices.IndexFunc(places, func(p Place) bool { return p.Location == place })
	if i < 0 {
		b.places[l.Name] = append(places, Place{Location: place, Mass: mass})
		return
	}
	places[i].Mass += mass
}

// take moves mass of a lot out of the kitchen's places (one place when it is named) into another account.
func (b *book) take(l *Lot, place string, mass units.Milligrams, other AccountKind, reference string) ([]Place, error) {
	places, err := b.lotPlaces(l.Name)
	if err != nil {
		return nil, err
	}
	var taken []Place
	left := mass
	for _, p := range slices.Clone(places) {
		if left == 0 {
			break
		}
		if p.Mass == 0 || (place != "" && p.Location != place) {
			continue
		}
		m := min(left, p.Mass)
		b.put(l, p.Location, -m, other, reference)
		taken = append(taken, Place{Location: p.Location, Mass: m})
		left -= m
	}
	if left > 0 {
		where := place
		if where == "" {
			where = "the kitchen"
		}
		return nil, apierr.FailedPrecondition(StockShort, "%s has only %s in %s, not %s; count it, or take less", l.Name, kg(mass-left), where, kg(mass)).
			With("lot", l.Name).With("place", where).With("available", kg(mass-left)).With("wanted", kg(mass)).
			WithViolation(l.Name, "%s is missing", kg(left))
	}
	return taken, nil
}

// takeContainers moves containers of a packed lot out of the kitchen and gives them a new state.
func (b *book) takeContainers(l *Lot, cs []*Container, other AccountKind, reference string, state ContainerState) error {
	if _, err := b.lotPlaces(l.Name); err != nil {
		return err
	}
	byPlace := map[string]units.Milligrams{}
	for _, c := range cs {
		byPlace[c.Location] += c.NetMass
	}
	for _, place := range slices.Sorted(maps.Keys(byPlace)) {
		if _, err := b.take(l, place, byPlace[place], other, reference); err != nil {
			return err
		}
	}
	for _, c := range cs {
		c.State, c.Location = state, ""
		b.containers = append(b.containers, c)
	}
	l.ContainerCount -= len(cs)
	return nil
}

// openAccount is the account of the batch of the move; a closed one is refused.
func (b *book) openAccount(batch, run string) (*Account, error) {
	if err := sameSite(b.site, batch, run); err != nil {
		return nil, err
	}
	if run != "" && !strings.HasPrefix(run, batch+"/runs/") {
		return nil, apierr.InvalidArgument(RequestInvalid, "%s is not a run of %s", run, batch).With("run", run).With("batch", batch).
			WithViolation("run", "must be a run of the batch")
	}
	a, err := b.s.store.Account(b.ctx, batch)
	if err != nil {
		return nil, err
	}
	if a == nil {
		a = &Account{Batch: batch}
	}
	if a.Closed {
		return nil, apierr.FailedPrecondition(BatchClosed, "the books of %s were closed at %s; correct the lots by a count instead", batch, a.CloseTime.Format(time.RFC3339)).
			With("batch", batch).With("close_time", a.CloseTime.Format(time.RFC3339)).WithViolation(batch, "books are closed")
	}
	b.account, b.move.Batch, b.move.Run = a, batch, run
	return a, nil
}

// ownReservations are the active reservations of the batch, as the book has them by now.
func (b *book) ownReservations(batch string) ([]*Reservation, error) {
	rows, err := b.s.store.BatchReservations(b.ctx, batch)
	if err != nil {
		return nil, err
	}
	for i, r := range rows {
		if known, ok := b.reservations[r.Name]; ok {
			rows[i] = known
		} else {
			b.reservations[r.Name] = r
		}
	}
	return rows, nil
}

// shorten takes promises back until the lot promises no more than it has: the youngest first. It names the reservations that lost.
func (b *book) shorten(l *Lot) ([]string, error) {
	if l.Reserved <= l.OnHand {
		return nil, nil
	}
	rows, err := b.s.store.LotReservations(b.ctx, l.Name)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, r := range slices.Backward(rows) {
		if known, ok := b.reservations[r.Name]; ok {
			r = known
		}
		b.reservations[r.Name] = r
		for i := range r.Lines {
			line := &r.Lines[i]
			over := l.Reserved - l.OnHand
			if line.Lot != l.Name || over <= 0 || line.Remaining == 0 {
				continue
			}
			cut := min(over, line.Remaining)
			line.Remaining -= cut
			l.Reserved -= cut
			b.touched[r.Name] = true
			if !slices.Contains(names, r.Name) {
				names = append(names, r.Name)
			}
		}
	}
	if l.Reserved > l.OnHand {
		return nil, apierr.FailedPrecondition(ContainerNotAvailable, "%s is picked for a shipment; cancel the shipment first", l.Name).
			With("lot", l.Name).WithViolation(l.Name, "is picked for a shipment")
	}
	b.changed[l.Name] = true
	return names, nil
}

// commit writes the book. A move without entries is not written.
func (b *book) commit() error {
	st := b.s.store
	for _, l := range b.fresh {
		if err := st.Lots().Insert(b.ctx, l); err != nil {
			return err
		}
		delete(b.changed, l.Name)
	}
	if len(b.move.Entries) > 0 {
		if err := st.Post(b.ctx, b.move); err != nil {
			return err
		}
	}
	for _, name := range slices.Sorted(maps.Keys(b.changed)) {
		l := b.lots[name]
		b.s.touch(&l.Meta)
		if err := st.Lots().Update(b.ctx, l); err != nil {
			return err
		}
	}
	for _, name := range slices.Sorted(maps.Keys(b.touched)) {
		r := b.reservations[name]
		r.settle()
		b.s.touch(&r.Meta)
		if err := st.Reservations().Update(b.ctx, r); err != nil {
			return err
		}
	}
	if b.account != nil {
		b.account.Version++
		if err := st.PutAccount(b.ctx, b.account); err != nil {
			return err
		}
	}
	for _, c := range b.packed {
		if err := st.Containers().Insert(b.ctx, c); err != nil {
			return err
		}
	}
	for _, c := range b.containers {
		b.s.touch(&c.Meta)
		if err := st.Containers().Update(b.ctx, c); err != nil {
			return err
		}
	}
	return nil
}

// newLot begins a lot: its name, its code and what holds say about its batch. Mass comes with put.
func (b *book) newLot(item *Item, id, code string) (*Lot, error) {
	if id == "" || code == "" {
		made, err := b.lotCode(id == "")
		if err != nil {
			return nil, err
		}
		if code == "" {
			code = made
			if id != "" {
				code = strings.ToUpper(id)
				if len(code) > 20 { // the longest value of GS1 application identifier 10
					code = made
				}
			}
		}
		if id == "" {
			id = strings.ToLower(made)
		}
	}
	name, err := child(b.site, "lots", id)
	if err != nil {
		return nil, err
	}
	l := &Lot{Name: name, Item: item.Name, Code: code, OriginMove: b.move.Name, ProduceTime: b.when, ReleaseRequired: item.NeedsRelease(), Meta: b.s.newMeta()}
	b.lots[name] = l
	b.places[name] = nil
	b.fresh = append(b.fresh, l)
	return l, nil
}

// lotCode is the next free lot code of the kitchen: L, the day, a number within the day. When it is to name the lot too, codes that people used
// as names are left out.
func (b *book) lotCode(names bool) (string, error) {
	day := strings.ReplaceAll(b.policy.day(b.when), "-", "")[2:]
	for {
		n, err := b.s.store.Next(b.ctx, b.site, "lot-"+day, 1)
		if err != nil {
			return "", err
		}
		code := "L" + day + "-" + pad(n, 4)
		if !names {
			return code, nil
		}
		_, err = b.s.store.Lots().Get(b.ctx, b.site+"/lots/"+strings.ToLower(code))
		if errors.Is(err, apierr.Reason(LotMissing)) {
			return code, nil
		}
		if err != nil {
			return "", err
		}
	}
}

// useBy is the last day of use of something received or made at the book's moment: the day given, else shelf life later, else none.
func (b *book) useBy(given string, item *Item) string {
	if given != "" || item.ShelfLife == 0 {
		return given
	}
	return b.policy.day(b.when.Add(item.ShelfLife))
}
