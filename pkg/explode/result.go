package explode

// Result is a plan. Slices must not be changed by the caller. Indexes of nodes, demands and
// supplies are those of the Problem.
type Result struct {
	// LowLevel is the low-level code of each node: 0 for what no other node uses,
	// otherwise one more than the deepest of its users and producers.
	LowLevel []int
	// Batches are in order of low-level code, node ID and day.
	Batches []Batch
	// Purchases are in order of low-level code, node ID and delivery day.
	Purchases []Purchase
	// Shortages are everything not met on its day, in order of low-level code, node ID, day, kind.
	Shortages []Shortage
	// Leftovers are supplies not used in the horizon, expired or still good.
	Leftovers []Leftover

	p         *Problem
	inventory []float64 // node*Days+day, end of day
	balances  []Balance

	supplies      []supply
	needs         []need
	allocs        []alloc
	allocOfNeed   csr // need -> allocs
	allocOfSupply csr // supply -> allocs
	sourceOf      [sourceKinds][]int32
	bucketNeed    []int32 // bucket -> need or -1
	members       csr     // bucket -> demands
	inputNeeds    [][]int32
	byProducts    [][]int32
}

// Batch is one execution of a formula.
type Batch struct {
	Node int
	// Nominal is the size: inputs are Nominal times their PerOne.
	Nominal float64
	// Planned is what the batch yields with the probability of the node's service level.
	Planned float64
	// Expected is the mean of what it yields.
	Expected float64
	// Vessel is the index in the node's Sizing.Vessels, or -1 where there are none.
	Vessel int
	// Start is the day the inputs are taken, Due the day the output can be used.
	Start, Due int
	// Wanted is the day on which the first of the batch was needed. Before Due: late.
	Wanted int
	// Asked is the nominal size the needs called for; above Nominal when inputs
	// fell short and the batch was made smaller.
	Asked float64
	// Kind is the most urgent kind of demand behind the batch; meaningful only
	// when ForLevel is false.
	Kind DemandKind
	// ForLevel is true when the batch serves nothing but pars of the node and safety stock.
	ForLevel bool
}

// Purchase is one line to order from a supplier.
type Purchase struct {
	Node     int
	Quantity float64
	// OrderDay is the last day to place the order, Delivery the day it comes.
	OrderDay, Delivery int
	// Wanted is the first day on which it was needed. Before Delivery: late.
	Wanted int
}

// Cause says why something is late or missing.
type Cause uint8

// The causes.
const (
	// NoCause is the zero value; no shortage has it.
	NoCause Cause = iota
	// LeadTime: the batch would have had to start before day 0, or cannot be ready in the horizon.
	LeadTime
	// OrderTooLate: a delivery comes in time, but its order had to be placed before day 0.
	OrderTooLate
	// NoDelivery: the supplier does not come in time, or not before it would spoil.
	NoDelivery
	// SupplyLate: an expected delivery or firm batch comes after the day.
	SupplyLate
	// NoSource: a recovered item; not enough of it comes as stock or by-product.
	NoSource
	// InputExpires: an input spoils before the delayed batch can start.
	InputExpires
	// BelowMinimum: what inputs there are do not fill the smallest vessel or lot.
	BelowMinimum
	// WaitsForItself: the batch would have to wait for its own by-product.
	WaitsForItself
)

// String returns the cause as a sentence fragment for reports.
func (c Cause) String() string {
	switch c {
	case NoCause:
		return "no cause"
	case LeadTime:
		return "not enough lead time"
	case OrderTooLate:
		return "too late to order for the delivery"
	case NoDelivery:
		return "no supplier delivery in time"
	case SupplyLate:
		return "expected supply comes later"
	case NoSource:
		return "not enough recovered from other batches"
	case InputExpires:
		return "an input expires before the batch can start"
	case BelowMinimum:
		return "the inputs there are do not fill the smallest vessel"
	case WaitsForItself:
		return "the batch waits for its own by-product"
	}
	return "unknown cause"
}

// Shortage is a quantity of demand of one bucket, or of a level, that is not
// there on its day.
type Shortage struct {
	Node int
	Day  int // due day; for a level the first day below it
	// Level is true for a par of the node or its safety stock; Kind and Bucket
	// then mean nothing and Quantity is the deepest gap.
	Level bool
	Kind  DemandKind
	// Bucket holds the demands behind it, see Result.Demands.
	Bucket   int
	Quantity float64
	// Available is the day on which the quantity will be there, or -1 when not in the horizon.
	Available int
	Cause     Cause
	// Root is the node at which the cause lies: the short bone, not the sauce.
	Root int
}

// SourceKind is the sort of a Source.
type SourceKind uint8

// The kinds of source.
const (
	FromSupply    SourceKind = iota // Index is of Problem.Supplies
	FromPurchase                    // Index is of Result.Purchases
	FromBatch                       // Index is of Result.Batches
	FromByProduct                   // Index is of Result.Batches, ByProduct of the node's ByProducts
)

const sourceKinds = 3 // by-products are found through their batch

// Source names one supply of the plan.
type Source struct {
	Kind      SourceKind
	Index     int
	ByProduct int
}

// ConsumerKind is the sort of a Consumer.
type ConsumerKind uint8

// The kinds of consumer.
const (
	ToDemand ConsumerKind = iota // Index is a bucket, or a demand where a method says so
	ToBatch                      // Index is of Result.Batches, Input of the node's Inputs
)

// Consumer names one use of the plan.
type Consumer struct {
	Kind  ConsumerKind
	Index int
	Input int
}

// Use is a peg: a quantity from one source to one consumer.
type Use struct {
	Source   Source
	Consumer Consumer
	Quantity float64
	// Day on which it is used. Later than the day due: late.
	Day int
}

// Share is a part of a demand.
type Share struct {
	Demand   int // index of Problem.Demands
	Quantity float64
}

// Leftover is what remains of a source that nothing used.
type Leftover struct {
	Source   Source
	Node     int
	Quantity float64
	// Expired: spoiled inside the horizon, after LastDay.
	Expired bool
	// LastDay on which it can be used; Days or more means that it outlives the horizon.
	LastDay int
}

// Balance is the account of one node over the horizon. Given + Purchased + Made + Recovered =
// Consumed + Met + Ending + Expired.
type Balance struct {
	Given     float64 // supplies of the problem
	Purchased float64
	Made      float64 // planned output of batches
	Recovered float64 // by-products
	Consumed  float64 // by batches
	Met       float64 // demand served, on time or late
	Ending    float64 // usable on the last day and not used
	Expired   float64
}
