package explode

// Kind says how a node comes into being.
type Kind uint8

// The kinds of node.
const (
	Purchased Kind = iota // bought from a supplier
	Made                  // cooked from inputs in a vessel
	Pack                  // portioned or packed from inputs; planned exactly like Made
	Recovered             // comes only as a by-product or as stock; cannot be ordered
)

// String returns the kind in lower case.
func (k Kind) String() string {
	switch k {
	case Purchased:
		return "purchased"
	case Made:
		return "made"
	case Pack:
		return "pack"
	case Recovered:
		return "recovered"
	}
	return "unknown kind"
}

// DemandKind ranks demand. A lower value is served first.
type DemandKind uint8

// The kinds of demand, in the order in which scarce stock is given out.
const (
	Order    DemandKind = iota // an outlet's order
	Forecast                   // expected orders not yet placed
	Par                        // topping an outlet or shelf up to its par
)

// demandKinds is the number of values of DemandKind; levels rank after them.
const demandKinds = 3

// String returns the kind in lower case.
func (k DemandKind) String() string {
	switch k {
	case Order:
		return "order"
	case Forecast:
		return "forecast"
	case Par:
		return "par"
	}
	return "unknown demand kind"
}

// Weekdays is a set of days of the week: bit 0 is Sunday … bit 6 is Saturday, as in
// time.Weekday. The zero value means every day.
type Weekdays uint8

// Problem is what Solve works on. It is not changed by Solve, and the Result
// keeps a reference to it: do not change it while the Result is in use.
type Problem struct {
	// Days is the length of the horizon in days, 1 … 3660.
	Days int
	// StartWeekday is the day of the week of day 0, 0 = Sunday … 6 = Saturday.
	StartWeekday int
	// SameDayHours: a node whose LeadHours are not above this needs no whole
	// day, so that its output can be used on the day its inputs are taken. Zero
	// means that every hour above zero rounds up to a day.
	SameDayHours float64
	// Nodes are the items. Everything else refers to them by index.
	Nodes []Node
	// Demands are orders, forecasts and pars.
	Demands []Demand
	// Supplies are stock on hand, expected deliveries and firm batches.
	Supplies []Supply
}

// Node is one item. Quantities are in the node's own unit (kilograms, litres or
// packs); the caller keeps to one unit per node.
type Node struct {
	// ID names the item in errors and reports. Must be unique and not empty.
	ID   string
	Kind Kind

	// Inputs are needed per unit of nominal output. Made and Pack need at least one.
	Inputs []Input
	// ByProducts come out of a batch with its main output. Made and Pack only.
	ByProducts []ByProduct
	// Yield is the fraction of nominal output really obtained. Made and Pack only.
	Yield Yield

	// LeadDays plus LeadHours is the time from the start of a batch (or, for a
	// purchased node, from placing the order) until the output can be used.
	// LeadHours are rounded up to whole days, see Problem.SameDayHours.
	LeadDays  int
	LeadHours float64
	// ShelfLife is the number of days on which output can be used, counting the day on
	// which it becomes available. Zero means that it keeps beyond the horizon.
	ShelfLife int

	Sizing Sizing
	// Delivery says when a supplier comes. Purchased only.
	Delivery Delivery

	// Safety is the quantity that should always remain.
	Safety float64
	// Pars is the level to hold at the end of each day, by day. Shorter than the horizon: the
	// last value holds on. Empty: no par. Where Safety is higher, Safety counts.
	// Levels are served after all demands.
	Pars []float64
}

// Input is one line of a formula.
type Input struct {
	Node   int     // index in Problem.Nodes
	PerOne float64 // quantity of that node per unit of nominal output, > 0
}

// ByProduct is a co-output of a batch, e.g. rendered fat or bones for a second wash. It
// becomes available together with the main output.
type ByProduct struct {
	Node   int     // index in Problem.Nodes
	PerOne float64 // quantity per unit of nominal output, > 0
}

// Sizing says how large batches and purchases are. All sizes are nominal output,
// that is, before the yield. The zero value is lot for lot: exactly what is needed.
type Sizing struct {
	// Vessels are the candidates. The fewest batches are taken, then the least
	// surplus, then the smallest vessel. Empty: no upper limit. Not for Purchased.
	Vessels []Vessel
	// Minimum is the least size of a batch, or of a purchase.
	Minimum float64
	// Multiple: sizes are rounded up to a multiple of it. The case size of a purchased node.
	Multiple float64
	// Fixed: every batch has exactly this size. Excludes Minimum and Multiple. For a purchased
	// node give Multiple instead.
	Fixed float64
	// Period gathers the needs of so many days into one supply, never beyond the
	// shelf life. 0 and 1 mean day by day.
	Period int
}

// Vessel is a class of vessel with the limits of its fill.
type Vessel struct {
	ID string
	// MinFill and MaxFill are the nominal output it makes when filled to its
	// lower and upper mark. 0 ≤ MinFill ≤ MaxFill, MaxFill > 0.
	MinFill, MaxFill float64
}

// Delivery is a supplier's calendar for one purchased node.
type Delivery struct {
	// Weekdays on which the supplier comes. Zero: every day (unless Days is given).
	Weekdays Weekdays
	// Days are further delivery days of the horizon. When Weekdays is zero and
	// Days is not empty, these are the only ones.
	Days []int
	// Closed are days without delivery, whatever the rest says.
	Closed []int
	// Never: the supplier does not deliver this within the horizon.
	Never bool
}

// Demand is a dated requirement for a node.
type Demand struct {
	// ID names the demand in errors and breaks ties. May be empty.
	ID       string
	Quantity float64 // > 0
	Node     int32   // index in Problem.Nodes
	Day      int32   // due day, 0 … Days-1
	Kind     DemandKind
	// Priority orders demands of the same node, day and kind: lower is
	// served first. Across days and kinds only Kind counts.
	Priority uint8
}

// SupplyKind says what sort of supply is already there or promised.
type SupplyKind uint8

// The kinds of given supply.
const (
	OnHand   SupplyKind = iota // a lot in stock
	Expected                   // a delivery already ordered
	Firm                       // a batch in process or firmly planned; its inputs are already issued
)

// String returns the kind in words.
func (k SupplyKind) String() string {
	switch k {
	case OnHand:
		return "on hand"
	case Expected:
		return "expected delivery"
	case Firm:
		return "firm batch"
	}
	return "unknown supply kind"
}

// Supply is a quantity that exists or will come without any new decision.
type Supply struct {
	// ID names the lot, delivery or batch, and breaks ties. May be empty.
	ID       string
	Node     int
	Kind     SupplyKind
	Quantity float64 // > 0
	// Day from which it can be used, 0 … Days-1. OnHand: 0 unless it is held until later.
	Day int
	// Expires: when true LastDay is the last day on which it can be used; a
	// negative LastDay is stock that has already expired. When false the
	// supply keeps beyond the horizon, except that Expected and Firm take the
	// shelf life of their node.
	Expires bool
	LastDay int
}
