package sqlstore

import (
	"encoding/json"
	"fmt"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/inventory"
)

// meta lists version and times of a resource as columns, and reads them back.
func metaValues(m inventory.Meta) []any {
	return []any{m.Version, sqldb.Micros(m.CreateTime), sqldb.Micros(m.UpdateTime)}
}

var metaColumns = []string{"version", "create_us", "update_us"}

type metaScan struct {
	version, create, update int64
}

func (m *metaScan) dest() []any { return []any{&m.version, &m.create, &m.update} }

func (m *metaScan) meta(uid string) inventory.Meta {
	return inventory.Meta{UID: uid, Version: m.version, CreateTime: sqldb.FromMicros(m.create), UpdateTime: sqldb.FromMicros(m.update)}
}

func toDoc(v any) (string, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return "", fmt.Errorf("write document: %w", err)
	}
	return string(b), nil
}

func fromDoc(doc string, v any) error {
	if err := json.Unmarshal([]byte(doc), v); err != nil {
		return fmt.Errorf("read document: %w", err)
	}
	return nil
}

func columns(own ...string) []string { return append(own, metaColumns...) }

// text, flag and moment declare fields of filters.
func text(column string) aip.Field   { return aip.Field{Column: column, Type: aip.String} }
func day(column string) aip.Field    { return aip.Field{Column: column, Type: aip.Date} }
func flag(column string) aip.Field   { return aip.Field{Column: column, Type: aip.Bool} }
func moment(column string) aip.Field { return aip.Field{Column: column, Type: aip.Timestamp} }
func enum(column string, values ...string) aip.Field {
	m := map[string]any{}
	for _, v := range values {
		m[v] = v
	}
	return aip.Field{Column: column, Type: aip.Enum, Values: m}
}

func newItems(db *sqldb.DB) *table[inventory.Item] {
	type doc struct {
		Density     float64 `json:",omitempty"`
		ShelfLife   int64   `json:",omitempty"` // nanoseconds
		Allergens   []inventory.Allergen
		Purchase    inventory.PurchaseTerms
		MaxReceipt  *float64 `json:",omitempty"`
		ReleaseRule inventory.ReleaseRule
	}
	return &table[inventory.Item]{
		db: db, name: "items",
		columns: columns("name", "site", "uid", "display_name", "kind", "storage", "active", "gtin", "supplier", "net_mass_mg", "doc"),
		values: func(i *inventory.Item) ([]any, error) {
			d, err := toDoc(doc{i.Density, int64(i.ShelfLife), i.Allergens, i.Purchase, i.MaxReceipt, i.ReleaseRule})
			return append([]any{i.Name, inventory.SiteOf(i.Name), i.UID, i.DisplayName, string(i.Kind), string(i.Storage), i.Active, i.GTIN, i.Purchase.Supplier, int64(i.NetMass), d}, metaValues(i.Meta)...), err
		},
		scan: func(row scanner) (*inventory.Item, error) {
			var i inventory.Item
			var m metaScan
			var site, uid, supplier, text string
			if err := row.Scan(append([]any{&i.Name, &site, &uid, &i.DisplayName, &i.Kind, &i.Storage, &i.Active, &i.GTIN, &supplier, (*int64)(&i.NetMass), &text}, m.dest()...)...); err != nil {
				return nil, err
			}
			var d doc
			if err := fromDoc(text, &d); err != nil {
				return nil, err
			}
			i.Density, i.ShelfLife, i.Allergens, i.Purchase, i.MaxReceipt, i.ReleaseRule = d.Density, duration(d.ShelfLife), d.Allergens, d.Purchase, d.MaxReceipt, d.ReleaseRule
			i.Meta = m.meta(uid)
			return &i, nil
		},
		named:   func(i *inventory.Item) string { return i.Name },
		version: func(i *inventory.Item) int64 { return i.Version },
		fields: aip.Fields{
			"name": text("name"), "display_name": text("display_name"), "kind": enum("kind", "PURCHASED", "MADE", "PACK", "UTILITY"),
			"storage": {Column: "storage", Type: aip.Enum, Values: map[string]any{"STORAGE_AMBIENT": "AMBIENT", "STORAGE_CHILLED": "CHILLED", "STORAGE_FROZEN": "FROZEN"}},
			"active":  flag("active"), "gtin": text("gtin"), "supplier": text("supplier"),
		},
		order: orderBy("", "name"), cursor: func(i *inventory.Item) []string { return []string{i.Name} },
		missing: inventory.ItemMissing, exists: inventory.ItemExists,
	}
}

func newSuppliers(db *sqldb.DB) *table[inventory.Supplier] {
	return &table[inventory.Supplier]{
		db: db, name: "suppliers",
		columns: columns("name", "site", "uid", "display_name", "gln", "address", "contact", "active"),
		values: func(p *inventory.Supplier) ([]any, error) {
			return append([]any{p.Name, inventory.SiteOf(p.Name), p.UID, p.DisplayName, p.GLN, p.Address, p.Contact, p.Active}, metaValues(p.Meta)...), nil
		},
		scan: func(row scanner) (*inventory.Supplier, error) {
			var p inventory.Supplier
			var m metaScan
			var site, uid string
			if err := row.Scan(append([]any{&p.Name, &site, &uid, &p.DisplayName, &p.GLN, &p.Address, &p.Contact, &p.Active}, m.dest()...)...); err != nil {
				return nil, err
			}
			p.Meta = m.meta(uid)
			return &p, nil
		},
		named:   func(p *inventory.Supplier) string { return p.Name },
		version: func(p *inventory.Supplier) int64 { return p.Version },
		fields:  aip.Fields{"name": text("name"), "display_name": text("display_name"), "active": flag("active")},
		order:   orderBy("", "name"), cursor: func(p *inventory.Supplier) []string { return []string{p.Name} },
		missing: inventory.SupplierMissing, exists: inventory.SupplierExists,
	}
}

func newLocations(db *sqldb.DB) *table[inventory.Location] {
	return &table[inventory.Location]{
		db: db, name: "locations",
		columns: columns("name", "site", "uid", "display_name", "kind", "active"),
		values: func(l *inventory.Location) ([]any, error) {
			return append([]any{l.Name, inventory.SiteOf(l.Name), l.UID, l.DisplayName, string(l.Kind), l.Active}, metaValues(l.Meta)...), nil
		},
		scan: func(row scanner) (*inventory.Location, error) {
			var l inventory.Location
			var m metaScan
			var site, uid string
			if err := row.Scan(append([]any{&l.Name, &site, &uid, &l.DisplayName, &l.Kind, &l.Active}, m.dest()...)...); err != nil {
				return nil, err
			}
			l.Meta = m.meta(uid)
			return &l, nil
		},
		named:   func(l *inventory.Location) string { return l.Name },
		version: func(l *inventory.Location) int64 { return l.Version },
		fields: aip.Fields{
			"name": text("name"), "display_name": text("display_name"), "active": flag("active"),
			"kind": enum("kind", "DRY_STORE", "WALK_IN", "FREEZER", "DOCK", "KITCHEN"),
		},
		order: orderBy("", "name"), cursor: func(l *inventory.Location) []string { return []string{l.Name} },
		missing: inventory.LocationMissing, exists: inventory.LocationExists,
	}
}

func newPolicies(db *sqldb.DB) *table[inventory.Policy] {
	type doc struct {
		TimeZone      string
		Tolerance     float64
		CompanyPrefix string `json:",omitempty"`
		SSCCExtension int    `json:",omitempty"`
		SerialPrefix  string `json:",omitempty"`
		Stem          string
	}
	return &table[inventory.Policy]{
		db: db, name: "policies",
		columns: columns("name", "site", "uid", "doc"),
		values: func(p *inventory.Policy) ([]any, error) {
			d, err := toDoc(doc{p.TimeZone, p.Tolerance, p.CompanyPrefix, p.SSCCExtension, p.SerialPrefix, p.Stem})
			return append([]any{p.Name, inventory.SiteOf(p.Name), p.UID, d}, metaValues(p.Meta)...), err
		},
		scan: func(row scanner) (*inventory.Policy, error) {
			var p inventory.Policy
			var m metaScan
			var site, uid, text string
			if err := row.Scan(append([]any{&p.Name, &site, &uid, &text}, m.dest()...)...); err != nil {
				return nil, err
			}
			var d doc
			if err := fromDoc(text, &d); err != nil {
				return nil, err
			}
			p.TimeZone, p.Tolerance, p.CompanyPrefix, p.SSCCExtension, p.SerialPrefix, p.Stem = d.TimeZone, d.Tolerance, d.CompanyPrefix, d.SSCCExtension, d.SerialPrefix, d.Stem
			p.Meta = m.meta(uid)
			return &p, nil
		},
		named:   func(p *inventory.Policy) string { return p.Name },
		version: func(p *inventory.Policy) int64 { return p.Version },
		fields:  aip.Fields{"name": text("name")},
		order:   orderBy("", "name"), cursor: func(p *inventory.Policy) []string { return []string{p.Name} },
		missing: inventory.PolicyMissing, exists: inventory.EtagMismatch,
	}
}

func newDeliveries(db *sqldb.DB) *table[inventory.Delivery] {
	type doc struct {
		Lines                  []inventory.DeliveryLine
		ReceiveUS, RecordUS    int64  `json:",omitempty"`
		Receiver, CancelReason string `json:",omitempty"`
	}
	return &table[inventory.Delivery]{
		db: db, name: "deliveries",
		columns: columns("name", "site", "uid", "supplier", "expected_date", "state", "document_number", "doc"),
		values: func(d *inventory.Delivery) ([]any, error) {
			text, err := toDoc(doc{d.Lines, sqldb.Micros(d.ReceiveTime), sqldb.Micros(d.RecordTime), d.Receiver, d.CancelReason})
			return append([]any{d.Name, inventory.SiteOf(d.Name), d.UID, d.Supplier, d.ExpectedDate, string(d.State), d.DocumentNumber, text}, metaValues(d.Meta)...), err
		},
		scan: func(row scanner) (*inventory.Delivery, error) {
			var d inventory.Delivery
			var m metaScan
			var site, uid, text string
			if err := row.Scan(append([]any{&d.Name, &site, &uid, &d.Supplier, &d.ExpectedDate, &d.State, &d.DocumentNumber, &text}, m.dest()...)...); err != nil {
				return nil, err
			}
			var x doc
			if err := fromDoc(text, &x); err != nil {
				return nil, err
			}
			d.Lines, d.ReceiveTime, d.RecordTime, d.Receiver, d.CancelReason = x.Lines, sqldb.FromMicros(x.ReceiveUS), sqldb.FromMicros(x.RecordUS), x.Receiver, x.CancelReason
			d.Meta = m.meta(uid)
			return &d, nil
		},
		named:   func(d *inventory.Delivery) string { return d.Name },
		version: func(d *inventory.Delivery) int64 { return d.Version },
		fields: aip.Fields{
			"name": text("name"), "supplier": text("supplier"), "state": enum("state", "EXPECTED", "RECEIVED", "CANCELLED"),
			"expected_date": day("expected_date"), "document_number": text("document_number"),
		},
		order: orderBy("expected_date", "name", "expected_date"), cursor: func(d *inventory.Delivery) []string { return []string{d.ExpectedDate, d.Name} },
		missing: inventory.DeliveryMissing, exists: inventory.DeliveryExists,
	}
}

func mg(v int64) units.Milligrams { return units.Milligrams(v) }
