package inventory

import (
	"context"
	"time"

	"rondeau.internal/pkg/units"
)

// ListQuery asks for rows of one site.
type ListQuery struct {
	Site   string
	Filter string   // AIP-160 expression over the fields that the API documents; empty means all
	Cursor []string // Cursor of the last row of the page before; empty means from the beginning
	Limit  int      // most rows, above 0
	Outlet string   // containers and shipments only: rows of this outlet
	Lot    string   // moves only: moves that touch this lot
}

// Reader reads one sort of resource. Values returned belong to the caller.
type Reader[T any] interface {
	// Get reads by name. A missing row is an apierr of kind NotFound with the reason of the resource.
	Get(ctx context.Context, name string) (*T, error)
	// List reads a page in the order of the table. A filter that cannot be read is an apierr of kind InvalidArgument.
	List(ctx context.Context, q ListQuery) ([]*T, error)
	// Cursor is the place of a row in that order.
	Cursor(row *T) []string
}

// Table stores one sort of resource.
type Table[T any] interface {
	Reader[T]
	// Insert adds a row. A taken name is an apierr of kind AlreadyExists.
	Insert(ctx context.Context, row *T) error
	// Update replaces the row whose version is one below that of row; when there is none, somebody else was faster: an apierr of
	// kind Aborted with reason ETAG_MISMATCH.
	Update(ctx context.Context, row *T) error
}

// Ledger stores moves and what follows from them. It refuses a move whose lots do not add up to zero and a move after which a place
// would hold less than nothing.
type Ledger interface {
	// Post appends a move and changes the balances of its accounts.
	Post(ctx context.Context, m *Move) error
	// LotPlaces are the places where a lot is, with the mass there, by place.
	LotPlaces(ctx context.Context, lot string) ([]Place, error)
	// LotAccounts are all balances of a lot, those that came to zero too.
	LotAccounts(ctx context.Context, lot string) ([]Balance, error)
	// BatchEntries are the entries of the account of a batch, in the order of the moves.
	BatchEntries(ctx context.Context, batch string) ([]BatchEntry, error)
	// LotUses are the entries by which a lot went into batches, in the order of the moves.
	LotUses(ctx context.Context, lot string) ([]BatchEntry, error)
	// MoveEntries are the entries of a move in its batch's account.
	MoveEntries(ctx context.Context, move string) ([]BatchEntry, error)
	// BatchLosses are the losses of a batch by kind.
	BatchLosses(ctx context.Context, batch string) ([]Balance, error)
	// InProcess is the mass inside open batches that came from the lots of each item of a site, by item.
	InProcess(ctx context.Context, site string) (map[string]units.Milligrams, error)
	// Audit recomputes everything that follows from moves and names each difference. An empty answer is the proof that the
	// books are right.
	Audit(ctx context.Context, site string) ([]string, error)
}

// Store keeps the stock. Every method joins the transaction that its context carries.
type Store interface {
	// InTx runs fn in one write transaction: serializable, all or nothing; fn may run again after a conflict.
	InTx(ctx context.Context, fn func(ctx context.Context) error) error
	// InReadTx runs fn on one consistent snapshot.
	InReadTx(ctx context.Context, fn func(ctx context.Context) error) error

	Items() Table[Item]
	Suppliers() Table[Supplier]
	Locations() Table[Location]
	Policies() Table[Policy]
	Deliveries() Table[Delivery]
	Lots() Table[Lot]
	Moves() Reader[Move]
	Reservations() Table[Reservation]
	Containers() Table[Container]
	Shipments() Table[Shipment]
	Ledger

	// HasLots says whether any lot of the item was ever made.
	HasLots(ctx context.Context, item string) (bool, error)
	// AnyHeld says whether any lot of a site is on hold.
	AnyHeld(ctx context.Context, site string) (bool, error)
	// OpenLots are the lots of a site with mass in the kitchen, of one item or of all when item is empty: first expired first,
	// then older first, then by name.
	OpenLots(ctx context.Context, site, item string) ([]*Lot, error)
	// BatchLots are the lots that a batch gave, by time and name.
	BatchLots(ctx context.Context, batch string) ([]*Lot, error)
	// DeliveryLots are the lots of a delivery; SupplierDeliveries the deliveries of a supplier.
	DeliveryLots(ctx context.Context, delivery string) ([]*Lot, error)
	SupplierDeliveries(ctx context.Context, supplier string) ([]*Delivery, error)
	// ExpectedDeliveries are the deliveries of a site that are announced and not here.
	ExpectedDeliveries(ctx context.Context, site string) ([]*Delivery, error)

	// Account is the account of a batch, or nil when nothing was recorded for it.
	Account(ctx context.Context, batch string) (*Account, error)
	// PutAccount creates or replaces it.
	PutAccount(ctx context.Context, a *Account) error

	// BatchReservations and LotReservations are the active ones of a batch or on a lot, older first.
	BatchReservations(ctx context.Context, batch string) ([]*Reservation, error)
	LotReservations(ctx context.Context, lot string) ([]*Reservation, error)

	// LotContainers are the containers of a lot by serial number, ShipmentContainers those of a shipment.
	LotContainers(ctx context.Context, lot string) ([]*Container, error)
	ShipmentContainers(ctx context.Context, shipment string) ([]*Container, error)
	// ContainerBySerial finds by serial number, and by GTIN where one is given; nil when there is none.
	ContainerBySerial(ctx context.Context, site, gtin, serial string) (*Container, error)
	// ShipmentBySSCC finds by SSCC; nil when there is none.
	ShipmentBySSCC(ctx context.Context, site, sscc string) (*Shipment, error)

	// Holds are the holds that lie on any of the subjects, lifted ones included.
	Holds(ctx context.Context, subjects ...string) ([]Hold, error)
	// PutHold creates or replaces a hold.
	PutHold(ctx context.Context, h Hold) error
	// LotsOf are the lots that a hold on the subject touches: the lot, or all lots of the batch.
	LotsOf(ctx context.Context, subject string) ([]*Lot, error)

	// PurchaseDelivery is the delivery that carries a proposed purchase, or empty.
	PurchaseDelivery(ctx context.Context, purchase string) (string, error)
	// PutPurchase notes it.
	PutPurchase(ctx context.Context, purchase, delivery string) error

	// Next counts one of a site's counters up by n and returns the first number of the n, beginning with 1.
	Next(ctx context.Context, site, counter string, n int64) (int64, error)
}

// FoodSafety judges lots. An error of any kind means that there is no answer.
type FoodSafety interface {
	CheckLots(ctx context.Context, site string, lots []string) ([]LotSafety, error)
}

// LotSafety is the answer about one lot.
type LotSafety struct {
	Lot       string
	Known     bool     // the service has heard of the lot
	Clear     bool     // no hold and no open deviation on it, its batch or an ancestor
	Shippable bool     // clear and, where it was made here, released
	Reasons   []string // why not, in words
}

// Events publishes facts in the transaction that ctx carries.
type Events interface {
	Append(ctx context.Context, events ...Event) error
}

// Clock tells the time.
type Clock interface{ Now() time.Time }
