package planning

import (
	"context"
	"time"
)

// Query asks for one page of a list.
type Query struct {
	// Parent limits the list: a site, an outlet, a formula, or one of these with the wildcard `-`. Empty: everything.
	Parent string
	// Filter in the grammar of AIP-160 over the fields that the API documents.
	Filter string
	// After holds the keys of the last row of the page before; empty for the first page.
	After []string
	// Limit is the most rows to return, above 0.
	Limit int
	// Now is the moment by which states that change with time are filtered: of orders, at their cut-off.
	Now time.Time
}

// Table keeps one kind of resource. Get gives a NotFound error with the reason of the kind; Insert an AlreadyExists
// error with NameTaken; Update succeeds only if the stored version is that of the value, raises it by one in the store and
// in the value, and gives an Aborted error with EtagMismatch otherwise. Returned values belong to the caller.
type Table[T any] interface {
	Insert(ctx context.Context, value *T) error
	Update(ctx context.Context, value *T) error
	Get(ctx context.Context, name string) (*T, error)
	// List returns rows after q.After in the order of the kind: sites, outlets, products, formulas, versions and pars by
	// name, orders by dispatch day and name, plans newest first, batches by due time and name.
	List(ctx context.Context, q Query) ([]*T, error)
}

// Store keeps the resources of this service. A change is made inside of InTx only.
type Store interface {
	// InTx runs fn in a serializable write transaction, or joins the one that ctx carries. fn may run more than once.
	InTx(ctx context.Context, fn func(ctx context.Context) error) error
	// InReadTx runs fn on one snapshot.
	InReadTx(ctx context.Context, fn func(ctx context.Context) error) error

	Sites() Table[Site]
	Outlets() Table[Outlet]
	Products() Table[Product]
	Formulas() Table[Formula]
	FormulaVersions() Table[FormulaVersion]
	Pars() Table[Par]
	Orders() Table[Order]
	Plans() Table[Plan]
	Batches() Table[Batch]

	// SiteOutlets, SiteProducts and SitePars return all of a site in order of name.
	SiteOutlets(ctx context.Context, site string) ([]*Outlet, error)
	SiteProducts(ctx context.Context, site string) ([]*Product, error)
	SitePars(ctx context.Context, site string) ([]*Par, error)
	// ApprovedVersions returns the versions that new plans of a site use, in order of name.
	ApprovedVersions(ctx context.Context, site string) ([]*FormulaVersion, error)
	// OpenOrders returns the orders of a site with something left to ship and a dispatch day in [from, to), in order of
	// dispatch day and name.
	OpenOrders(ctx context.Context, site string, from, to Date) ([]*Order, error)
	// ReleasedPlan returns the plan in force, or nil.
	ReleasedPlan(ctx context.Context, site string) (*Plan, error)
	// PlanBatches returns the batches of a plan in order of due time and name.
	PlanBatches(ctx context.Context, plan string) ([]*Batch, error)
	// BatchesInProgress returns the batches of a site that have begun and are not done, in order of name.
	BatchesInProgress(ctx context.Context, site string) ([]*Batch, error)
	// DeletePlan deletes a plan and its batches.
	DeletePlan(ctx context.Context, plan string) error
}

// Events takes the facts that this service publishes. They are kept in the transaction that ctx carries.
type Events interface {
	OrderPlaced(ctx context.Context, order *Order) error
	OrderChanged(ctx context.Context, order *Order) error
	OrderCancelled(ctx context.Context, order *Order) error
	PlanReleased(ctx context.Context, plan *Plan, batches []*Batch, superseded string, kept []string) error
	PurchaseProposed(ctx context.Context, plan *Plan, purchase *Purchase) error
	BatchCancelled(ctx context.Context, batch *Batch) error
}

// ItemKind says how an item comes into being.
type ItemKind uint8

// The kinds of item.
const (
	ItemPurchased ItemKind = iota + 1
	ItemMade
	ItemPack
	ItemUtility // from the mains; never planned
)

// Item is what planning needs to know of an item of inventory.
type Item struct {
	Name        string
	DisplayName string
	Kind        ItemKind
	ShelfLife   time.Duration // 0: not limited
	NetMassKg   float64       // of one container, for ItemPack
	Allergens   []string      // names such as MILK, sorted

	Supplier         string
	CaseMassKg       float64 // 0: any mass
	LeadDays         int
	DeliveryWeekdays Weekdays
}

// StockLot is a lot of which something is free.
type StockLot struct {
	Lot        string
	MassKg     float64
	Containers int
	UseBy      Date // empty: not limited
}

// ReservedLot is a part of a lot that is promised to a batch.
type ReservedLot struct {
	Lot    string
	Batch  string
	MassKg float64
	UseBy  Date // empty: not limited
}

// ExpectedDelivery is a line of a delivery on its way.
type ExpectedDelivery struct {
	Delivery string
	MassKg   float64
	Date     Date
}

// Stock is what is free and what is on its way of one item.
type Stock struct {
	Item     string
	Lots     []StockLot
	Promised []ReservedLot // to batches; part of ReservedKg
	Expected []ExpectedDelivery
	// ReservedKg is in stock and promised to batches and to shipments that have not left. Of packs it belongs to orders that
	// are still open here, so planning counts it for them.
	ReservedKg float64
}

// Inventory reads the service inventory. Errors are those of the call; planning reports them as unavailable.
type Inventory interface {
	// Items returns all items of a site.
	Items(ctx context.Context, site string) ([]Item, error)
	// Stock returns free stock and expected deliveries; of the given items, or of all when there are none given.
	Stock(ctx context.Context, site string, items ...string) ([]Stock, error)
	// StockAndPurchases returns the same for all items and, as of the same moment, those of the purchases that inventory has made
	// no delivery of yet: they are neither in stock nor among what is expected.
	StockAndPurchases(ctx context.Context, site string, purchases []string) (stock []Stock, unknown []string, err error)
}

// Vessel is what planning needs to know of a vessel: which batches fit into it.
type Vessel struct {
	Name           string
	DisplayName    string
	Class          string
	MinFillLiters  float64
	MaxFillLiters  float64 // 0: volume does not limit it
	LoadCapacityKg float64 // 0: load does not limit it
}

// StepQuestion asks how long a step that physics decide takes at one size of batch.
type StepQuestion struct {
	Key        string // finds the answer
	Step       *Step
	FillLiters float64
	LoadKg     float64
	OutputKg   float64
}

// StepTime is how long a step takes over the vessels that can do it, set-up not included.
type StepTime struct {
	// Possible is false when no vessel can do the step or too little is known of those that could.
	Possible bool
	Shortest time.Duration // in the fastest vessel
	Longest  time.Duration // in the slowest
	Basis    string        // how Longest came about, in words
}

// Scheduling reads the service scheduling.
type Scheduling interface {
	// Vessels returns the vessels of a site that are in use, those out of order for a time included.
	Vessels(ctx context.Context, site string) ([]Vessel, error)
	// StepTimes returns answers by the key of the question; one that is missing is as one that is not possible.
	StepTimes(ctx context.Context, site string, questions []StepQuestion) (map[string]StepTime, error)
	// Finishes says how sure it is that batches are done by given moments, as the published schedule looks, in the order of
	// the questions.
	Finishes(ctx context.Context, site string, questions []FinishQuestion) ([]Finish, error)
}
