package sqlstore

import (
	"context"
	"strconv"
	"time"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/inventory"
	"rondeau.internal/services/inventory/sqlstore/internal/db"
)

// noLastDay stands where no last day of use is set, so that such lots come last.
const noLastDay = "9999-12-31"

func duration(ns int64) time.Duration { return time.Duration(ns) }

func lastDay(d string) string {
	if d == "" {
		return noLastDay
	}
	return d
}

func newLots(database *sqldb.DB) *table[inventory.Lot] {
	return &table[inventory.Lot]{
		db: database, name: "lots",
		columns: columns("name", "site", "uid", "item", "code", "delivery", "delivery_line", "supplier", "batch", "run", "origin_move", "packed", "by_product", "produce_us", "use_by",
			"initial_mg", "on_hand_mg", "reserved_mg", "container_count", "state", "held", "released", "release_us", "release_required"),
		values: func(l *inventory.Lot) ([]any, error) {
			state := "OPEN"
			if l.OnHand == 0 {
				state = "DEPLETED"
			}
			return append([]any{
				l.Name, inventory.SiteOf(l.Name), l.UID, l.Item, l.Code, l.Delivery, l.DeliveryLine, l.Supplier, l.Batch, l.Run, l.OriginMove, l.Packed, l.ByProduct, sqldb.Micros(l.ProduceTime), lastDay(l.UseBy),
				int64(l.Initial), int64(l.OnHand), int64(l.Reserved), int64(l.ContainerCount), state, l.Held, l.Released, sqldb.Micros(l.ReleaseTime), l.ReleaseRequired,
			}, metaValues(l.Meta)...), nil
		},
		scan: func(row scanner) (*inventory.Lot, error) {
			var l inventory.Lot
			var m metaScan
			var site, uid, state string
			var produce, release int64
			if err := row.Scan(append([]any{
				&l.Name, &site, &uid, &l.Item, &l.Code, &l.Delivery, &l.DeliveryLine, &l.Supplier, &l.Batch, &l.Run, &l.OriginMove, &l.Packed, &l.ByProduct, &produce, &l.UseBy,
				(*int64)(&l.Initial), (*int64)(&l.OnHand), (*int64)(&l.Reserved), &l.ContainerCount, &state, &l.Held, &l.Released, &release, &l.ReleaseRequired,
			}, m.dest()...)...); err != nil {
				return nil, err
			}
			if l.UseBy == noLastDay {
				l.UseBy = ""
			}
			l.ProduceTime, l.ReleaseTime = sqldb.FromMicros(produce), sqldb.FromMicros(release)
			l.Meta = m.meta(uid)
			return &l, nil
		},
		named:   func(l *inventory.Lot) string { return l.Name },
		version: func(l *inventory.Lot) int64 { return l.Version },
		fields: aip.Fields{
			"name": text("name"), "item": text("item"), "batch": text("batch"), "delivery": text("delivery"), "supplier": text("supplier"),
			"state": enum("state", "OPEN", "DEPLETED"), "held": flag("held"), "released": flag("released"), "use_by_date": day("use_by"),
			"traceability_lot_code": text("code"), "produce_time": moment("produce_us"),
		},
		order: orderBy("use_by", "name", "use_by"), cursor: func(l *inventory.Lot) []string { return []string{lastDay(l.UseBy), l.Name} },
		missing: inventory.LotMissing, exists: inventory.LotExists,
	}
}

func newMoves(database *sqldb.DB) *table[inventory.Move] {
	return &table[inventory.Move]{
		db: database, name: "moves",
		columns: []string{"name", "site", "uid", "kind", "batch", "run", "document", "reason", "move_us", "create_us", "actor"},
		scan: func(row scanner) (*inventory.Move, error) {
			var m inventory.Move
			var site string
			var move, create int64
			if err := row.Scan(&m.Name, &site, &m.UID, &m.Kind, &m.Batch, &m.Run, &m.Document, &m.Reason, &move, &create, &m.Actor); err != nil {
				return nil, err
			}
			m.MoveTime, m.RecordTime = sqldb.FromMicros(move), sqldb.FromMicros(create)
			return &m, nil
		},
		named: func(m *inventory.Move) string { return m.Name },
		fields: aip.Fields{
			"name": text("name"), "kind": enum("kind", "RECEIVE", "CONSUME", "PRODUCE", "PACKING", "LOSE", "TRANSFER", "ADJUST", "DISCARD", "SHIP"),
			"batch": text("batch"), "run": text("run"), "document": text("document"), "actor": text("actor"), "move_time": moment("move_us"),
		},
		order: orderBy("", "name"), cursor: func(m *inventory.Move) []string { return []string{m.Name} },
		missing: inventory.MoveMissing,
	}
}

// moveTable reads moves with their entries.
type moveTable struct{ *table[inventory.Move] }

// Get reads a move with its entries.
func (t *moveTable) Get(ctx context.Context, name string) (*inventory.Move, error) {
	m, err := t.table.Get(ctx, name)
	if err != nil {
		return nil, err
	}
	return m, t.entries(ctx, m)
}

// List reads a page of moves with their entries, oldest first: names grow with time.
func (t *moveTable) List(ctx context.Context, q inventory.ListQuery) ([]*inventory.Move, error) {
	condition, args := "", []any(nil)
	if q.Lot != "" {
		condition, args = "EXISTS (SELECT 1 FROM entries WHERE entries.move = moves.name AND entries.lot = $2)", []any{q.Lot}
	}
	moves, err := t.list(ctx, q, condition, args...)
	if err != nil {
		return nil, err
	}
	for _, m := range moves {
		if err := t.entries(ctx, m); err != nil {
			return nil, err
		}
	}
	return moves, nil
}

func (t *moveTable) entries(ctx context.Context, m *inventory.Move) error {
	rows, err := db.New(t.db.Conn(ctx)).Entries(ctx, m.Name)
	for _, r := range rows {
		m.Entries = append(m.Entries, inventory.Entry{Account: inventory.AccountKind(r.Account), Reference: r.Reference, Item: r.Item, Lot: r.Lot, Mass: mg(r.MassMg)})
	}
	return wrap("read entries", err)
}

func newReservations(database *sqldb.DB) *table[inventory.Reservation] {
	return &table[inventory.Reservation]{
		db: database, name: "reservations",
		columns: columns("name", "site", "uid", "batch", "state"),
		values: func(r *inventory.Reservation) ([]any, error) {
			return append([]any{r.Name, inventory.SiteOf(r.Name), r.UID, r.Batch, string(r.State)}, metaValues(r.Meta)...), nil
		},
		scan: func(row scanner) (*inventory.Reservation, error) {
			var r inventory.Reservation
			var m metaScan
			var site, uid string
			if err := row.Scan(append([]any{&r.Name, &site, &uid, &r.Batch, &r.State}, m.dest()...)...); err != nil {
				return nil, err
			}
			r.Meta = m.meta(uid)
			return &r, nil
		},
		named:   func(r *inventory.Reservation) string { return r.Name },
		version: func(r *inventory.Reservation) int64 { return r.Version },
		fields:  aip.Fields{"name": text("name"), "batch": text("batch"), "state": enum("state", "ACTIVE", "USED", "RELEASED")},
		order:   orderBy("", "name"), cursor: func(r *inventory.Reservation) []string { return []string{r.Name} },
		missing: inventory.ReservationMissing, exists: inventory.ReservationExists,
	}
}

// reservationTable stores reservations with their lines.
type reservationTable struct{ *table[inventory.Reservation] }

func (t *reservationTable) fill(ctx context.Context, rows ...*inventory.Reservation) error {
	for _, r := range rows {
		lines, err := db.New(t.db.Conn(ctx)).ReservationLines(ctx, r.Name)
		if err != nil {
			return wrap("read reservation lines", err)
		}
		for _, l := range lines {
			r.Lines = append(r.Lines, inventory.ReservationLine{Item: l.Item, Lot: l.Lot, Mass: mg(l.MassMg), Remaining: mg(l.RemainingMg)})
		}
	}
	return nil
}

// Get reads a reservation with its lines.
func (t *reservationTable) Get(ctx context.Context, name string) (*inventory.Reservation, error) {
	r, err := t.table.Get(ctx, name)
	if err != nil {
		return nil, err
	}
	return r, t.fill(ctx, r)
}

// List reads a page of reservations with their lines.
func (t *reservationTable) List(ctx context.Context, q inventory.ListQuery) ([]*inventory.Reservation, error) {
	rows, err := t.table.List(ctx, q)
	if err != nil {
		return nil, err
	}
	return rows, t.fill(ctx, rows...)
}

// Insert adds a reservation with its lines.
func (t *reservationTable) Insert(ctx context.Context, r *inventory.Reservation) error {
	if err := t.table.Insert(ctx, r); err != nil {
		return err
	}
	for i, l := range r.Lines {
		err := db.New(t.db.Conn(ctx)).InsertReservationLine(ctx, db.InsertReservationLineParams{
			Reservation: r.Name, Line: int64(i), Item: l.Item, Lot: l.Lot, MassMg: int64(l.Mass), RemainingMg: int64(l.Remaining),
		})
		if err != nil {
			return wrap("insert reservation line", err)
		}
	}
	return nil
}

// Update replaces a reservation; of its lines only what remains changes.
func (t *reservationTable) Update(ctx context.Context, r *inventory.Reservation) error {
	if err := t.table.Update(ctx, r); err != nil {
		return err
	}
	for i, l := range r.Lines {
		err := db.New(t.db.Conn(ctx)).UpdateReservationLine(ctx, db.UpdateReservationLineParams{Reservation: r.Name, Line: int64(i), RemainingMg: int64(l.Remaining)})
		if err != nil {
			return wrap("update reservation line", err)
		}
	}
	return nil
}

// BatchReservations are the active reservations of a batch, older first.
func (s *Store) BatchReservations(ctx context.Context, batch string) ([]*inventory.Reservation, error) {
	rows, err := s.reserved.where(ctx, "batch = $1 AND state = 'ACTIVE'", "create_us, name", batch)
	if err != nil {
		return nil, err
	}
	return rows, s.reserved.fill(ctx, rows...)
}

// LotReservations are the active reservations on a lot, older first.
func (s *Store) LotReservations(ctx context.Context, lot string) ([]*inventory.Reservation, error) {
	rows, err := s.reserved.where(ctx, "state = 'ACTIVE' AND EXISTS (SELECT 1 FROM reservation_lines x WHERE x.reservation = reservations.name AND x.lot = $1 AND x.remaining_mg > 0)", "create_us, name", lot)
	if err != nil {
		return nil, err
	}
	return rows, s.reserved.fill(ctx, rows...)
}

func newContainers(database *sqldb.DB) *outletTable[inventory.Container] {
	return &outletTable[inventory.Container]{&table[inventory.Container]{
		db: database, name: "containers",
		columns: columns("name", "site", "uid", "lot", "item", "product", "serial", "gtin", "net_mass_mg", "state", "location", "shipment", "outlet", "doc"),
		values: func(c *inventory.Container) ([]any, error) {
			d, err := toDoc(c.Label)
			return append([]any{c.Name, inventory.SiteOf(c.Name), c.UID, c.Lot, c.Item, c.Product, c.Serial, c.GTIN, int64(c.NetMass), string(c.State), c.Location, c.Shipment, c.Outlet, d}, metaValues(c.Meta)...), err
		},
		scan: func(row scanner) (*inventory.Container, error) {
			var c inventory.Container
			var m metaScan
			var site, uid, text string
			if err := row.Scan(append([]any{&c.Name, &site, &uid, &c.Lot, &c.Item, &c.Product, &c.Serial, &c.GTIN, (*int64)(&c.NetMass), &c.State, &c.Location, &c.Shipment, &c.Outlet, &text}, m.dest()...)...); err != nil {
				return nil, err
			}
			c.Meta = m.meta(uid)
			return &c, fromDoc(text, &c.Label)
		},
		named:   func(c *inventory.Container) string { return c.Name },
		version: func(c *inventory.Container) int64 { return c.Version },
		fields: aip.Fields{
			"name": text("name"), "lot": text("lot"), "item": text("item"), "product": text("product"), "serial": text("serial"),
			"state": enum("state", "PACKED", "SHIPPED", "RECEIVED", "DESTROYED", "USED", "MISSING"), "location": text("location"),
			"shipment": text("shipment"), "outlet": text("outlet"), "create_time": moment("create_us"),
		},
		order: orderBy("", "name"), cursor: func(c *inventory.Container) []string { return []string{c.Name} },
		missing: inventory.ContainerMissing, exists: inventory.ContainerNotAvailable,
	}}
}

func newShipments(database *sqldb.DB) *outletTable[inventory.Shipment] {
	type doc struct {
		Lines                []inventory.ShipmentLine
		Dispatcher, Receiver string   `json:",omitempty"`
		ReceiveUS            int64    `json:",omitempty"`
		Missing              []string `json:",omitempty"`
		Note                 string   `json:",omitempty"`
		NetMass              units.Milligrams
	}
	return &outletTable[inventory.Shipment]{&table[inventory.Shipment]{
		db: database, name: "shipments",
		columns: columns("name", "site", "uid", "outlet", "order_name", "state", "sscc", "dispatch_us", "doc"),
		values: func(s *inventory.Shipment) ([]any, error) {
			d, err := toDoc(doc{s.Lines, s.Dispatcher, s.Receiver, sqldb.Micros(s.ReceiveTime), s.Missing, s.Note, s.NetMass})
			return append([]any{s.Name, inventory.SiteOf(s.Name), s.UID, s.Outlet, s.Order, string(s.State), s.SSCC, sqldb.Micros(s.DispatchTime), d}, metaValues(s.Meta)...), err
		},
		scan: func(row scanner) (*inventory.Shipment, error) {
			var s inventory.Shipment
			var m metaScan
			var site, uid, text string
			var dispatch int64
			if err := row.Scan(append([]any{&s.Name, &site, &uid, &s.Outlet, &s.Order, &s.State, &s.SSCC, &dispatch, &text}, m.dest()...)...); err != nil {
				return nil, err
			}
			var d doc
			if err := fromDoc(text, &d); err != nil {
				return nil, err
			}
			s.Lines, s.Dispatcher, s.Receiver, s.Missing, s.Note, s.NetMass = d.Lines, d.Dispatcher, d.Receiver, d.Missing, d.Note, d.NetMass
			s.DispatchTime, s.ReceiveTime = sqldb.FromMicros(dispatch), sqldb.FromMicros(d.ReceiveUS)
			s.Meta = m.meta(uid)
			return &s, nil
		},
		named:   func(s *inventory.Shipment) string { return s.Name },
		version: func(s *inventory.Shipment) int64 { return s.Version },
		fields: aip.Fields{
			"name": text("name"), "outlet": text("outlet"), "order": text("order_name"), "state": enum("state", "DRAFT", "DISPATCHED", "RECEIVED", "CANCELLED"),
			"sscc": text("sscc"), "dispatch_time": moment("dispatch_us"), "create_time": moment("create_us"),
		},
		order: orderBy("create_us desc", "name desc", "create_us"), numbers: []bool{true},
		cursor: func(s *inventory.Shipment) []string {
			return []string{strconv.FormatInt(sqldb.Micros(s.CreateTime), 10), s.Name}
		},
		missing: inventory.ShipmentMissing, exists: inventory.ShipmentExists,
	}}
}

// outletTable lists what belongs to one outlet when the query says so.
type outletTable[T any] struct{ *table[T] }

// List reads a page.
func (t *outletTable[T]) List(ctx context.Context, q inventory.ListQuery) ([]*T, error) {
	if q.Outlet == "" {
		return t.table.List(ctx, q)
	}
	return t.list(ctx, q, "outlet = $2", q.Outlet)
}
