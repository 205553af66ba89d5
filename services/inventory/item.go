package inventory

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/gs1"
	"rondeau.internal/pkg/units"
)

// ItemKind says how an item comes into being.
type ItemKind string

// The kinds of item.
const (
	Purchased ItemKind = "PURCHASED" // comes from a supplier
	Made      ItemKind = "MADE"      // comes out of a batch
	Pack      ItemKind = "PACK"      // sealed containers of a made item
	Utility   ItemKind = "UTILITY"   // on tap, without stock: water
)

// Storage is what a keeping place must offer.
type Storage string

// The sorts of storage. StorageAny means that nothing was stated.
const (
	StorageAny Storage = ""
	Ambient    Storage = "AMBIENT"
	Chilled    Storage = "CHILLED"
	Frozen     Storage = "FROZEN"
)

// ReleaseRule says when a lot needs a signed release.
type ReleaseRule string

// The release rules. ReleaseDefault is BeforeShipping for made and packed items and NoRelease for others.
const (
	ReleaseDefault ReleaseRule = ""
	NoRelease      ReleaseRule = "NOT_NEEDED"
	BeforeShipping ReleaseRule = "BEFORE_SHIPPING"
	BeforeUse      ReleaseRule = "BEFORE_USE"
)

// Allergen is a declared allergen, named as in the API ("CELERY"), with its source in words.
type Allergen struct {
	Allergen string
	Species  string
}

// PurchaseTerms say how an item is bought.
type PurchaseTerms struct {
	Supplier         string           // resource name, or empty
	Case             units.Milligrams // mass of one case; 0 means any mass
	LeadDays         int              // days between order and delivery
	DeliveryWeekdays []int            // ISO 8601: 1 Monday … 7 Sunday; empty means every day
}

// Meta is what every stored resource has.
type Meta struct {
	UID        string
	CreateTime time.Time
	UpdateTime time.Time
	Version    int64 // counts up by one with each change
}

// Etag is the version as readers see it.
func (m Meta) Etag() string { return etag(m.UID, m.Version) }

// Item is a material that the kitchen buys, makes, packs or has on tap.
type Item struct {
	Name        string
	DisplayName string
	Kind        ItemKind
	Storage     Storage
	Density     float64       // kg/L; 0 means unknown
	ShelfLife   time.Duration // 0 means that no use-by day is set
	Allergens   []Allergen
	Purchase    PurchaseTerms
	MaxReceipt  *float64 // highest temperature of an acceptable delivery, in degrees Celsius; nil means no check
	NetMass     units.Milligrams
	GTIN        string // 14 digits, or empty
	ReleaseRule ReleaseRule
	Active      bool
	Meta
}

// NeedsRelease says whether a lot of the item needs a signed release before it may leave the kitchen.
func (i *Item) NeedsRelease() bool {
	switch i.ReleaseRule {
	case BeforeShipping, BeforeUse:
		return true
	case NoRelease:
		return false
	}
	return i.Kind == Made || i.Kind == Pack
}

// check reports every value of the item that is not possible.
func (i *Item) check() error {
	bad := apierr.InvalidArgument(ItemInvalid, "item %q cannot be saved: correct the fields named below", i.Name).With("item", i.Name)
	n := 0
	fault := func(field, format string, args ...any) { n++; bad = bad.WithViolation(field, format, args...) }
	if strings.TrimSpace(i.DisplayName) == "" {
		fault("item.display_name", "must not be empty")
	}
	switch i.Kind {
	case Purchased, Made, Pack, Utility:
	default:
		fault("item.kind", "must be PURCHASED, MADE, PACK or UTILITY")
	}
	if i.Kind == Pack && i.NetMass <= 0 {
		fault("item.net_mass_kg", "a packed item needs the net mass of one container")
	}
	if math.IsNaN(i.Density) || i.Density < 0 || i.Density > 3 || (i.Density > 0 && i.Density < 0.1) {
		fault("item.density_kg_per_liter", "must be 0 (unknown) or 0.1 to 3 kg/L")
	}
	if i.ShelfLife < 0 {
		fault("item.shelf_life", "must not be negative")
	}
	if i.MaxReceipt != nil && (math.IsNaN(*i.MaxReceipt) || math.IsInf(*i.MaxReceipt, 0)) {
		fault("item.max_receipt_temperature_celsius", "must be a number")
	}
	if i.GTIN != "" {
		if err := gs1.GTIN14.Check(i.GTIN); err != nil {
			fault("item.gtin", "%v", err)
		}
	}
	if i.Kind != Purchased && i.Purchase.Supplier != "" {
		fault("item.purchase.supplier", "only purchased items have a supplier")
	}
	for k, d := range i.Purchase.DeliveryWeekdays {
		if d < 1 || d > 7 {
			fault(fmt.Sprintf("item.purchase.delivery_weekdays[%d]", k), "must be 1 (Monday) to 7 (Sunday)")
		}
	}
	if n > 0 {
		return bad
	}
	return nil
}

// CreateItem creates an item of a site. An empty id is made from the display name.
func (s *Service) CreateItem(ctx context.Context, site, id string, item *Item) (*Item, error) {
	made, err := s.BatchCreateItems(ctx, site, []NewItem{{ID: id, Item: item}})
	if err != nil {
		return nil, err
	}
	return made[0], nil
}

// NewItem is an item to create with its id.
type NewItem struct {
	ID   string
	Item *Item
}

// BatchCreateItems creates all items or none.
func (s *Service) BatchCreateItems(ctx context.Context, site string, news []NewItem) ([]*Item, error) {
	var made []*Item
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		made = nil
		for _, n := range news {
			item := *n.Item
			name, err := s.newName(site, "items", n.ID, item.DisplayName)
			if err != nil {
				return err
			}
			item.Name = name
			if err := s.checkItem(ctx, &item); err != nil {
				return err
			}
			item.Meta = s.newMeta()
			if err := s.store.Items().Insert(ctx, &item); err != nil {
				return err
			}
			made = append(made, &item)
		}
		return nil
	})
	return made, err
}

func (s *Service) checkItem(ctx context.Context, item *Item) error {
	if err := item.check(); err != nil {
		return err
	}
	if item.Purchase.Supplier == "" {
		return nil
	}
	if err := sameSite(SiteOf(item.Name), item.Purchase.Supplier); err != nil {
		return err
	}
	_, err := s.store.Suppliers().Get(ctx, item.Purchase.Supplier)
	return err
}

// UpdateItem changes an item by fn. Its kind and net mass are fixed once stock of it exists.
func (s *Service) UpdateItem(ctx context.Context, name, etag string, fn func(*Item) error) (*Item, error) {
	var out *Item
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		item, err := s.store.Items().Get(ctx, name)
		if err != nil {
			return err
		}
		if err := checkEtag(etag, item.Etag(), name); err != nil {
			return err
		}
		before := *item
		if err := fn(item); err != nil {
			return err
		}
		item.Name, item.Meta = before.Name, before.Meta
		if err := s.checkItem(ctx, item); err != nil {
			return err
		}
		if item.Kind != before.Kind || item.NetMass != before.NetMass {
			used, err := s.store.HasLots(ctx, name)
			if err != nil {
				return err
			}
			if used {
				return apierr.FailedPrecondition(ItemInvalid, "%s has lots already, so its kind and net mass stay as they are; create another item", name).
					With("item", name).WithViolation(name, "kind and net mass are fixed once lots exist")
			}
		}
		s.touch(&item.Meta)
		out = item
		return s.store.Items().Update(ctx, item)
	})
	return out, err
}

// Item reads an item.
func (s *Service) Item(ctx context.Context, name string) (*Item, error) {
	return s.store.Items().Get(ctx, name)
}

// Items lists items.
func (s *Service) Items(ctx context.Context, q ListQuery) ([]*Item, error) {
	return s.store.Items().List(ctx, q)
}

// activeItem reads an item that may be used in new records, of one of the kinds given.
func (s *Service) activeItem(ctx context.Context, name string, kinds ...ItemKind) (*Item, error) {
	item, err := s.store.Items().Get(ctx, name)
	if err != nil {
		return nil, err
	}
	if !item.Active {
		return nil, apierr.FailedPrecondition(ItemInactive, "%s is not in use any more; set it active or choose another item", name).
			With("item", name).WithViolation(name, "item is not active")
	}
	if len(kinds) > 0 && !slices.Contains(kinds, item.Kind) {
		return nil, apierr.FailedPrecondition(ItemKindWrong, "%s is %s, which cannot be used here", name, strings.ToLower(string(item.Kind))).
			With("item", name).With("kind", string(item.Kind)).WithViolation(name, "item is of kind %s", item.Kind)
	}
	return item, nil
}
