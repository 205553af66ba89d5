package explode_test

import (
	"testing"

	. "rondeau.internal/pkg/explode"
)

// kitchen is a two-level chain: sauce from stock (4 to 1) from bones (1 to 1), a day each, bones on
// Tuesdays and Fridays, ordered a day ahead. Day 0 is a Monday.
func kitchen() *Problem {
	return &Problem{Days: 10, StartWeekday: 1, Nodes: []Node{
		{ID: "sauce", Kind: Made, LeadDays: 1, Inputs: []Input{{1, 4}}},
		{ID: "stock", Kind: Made, LeadDays: 1, Inputs: []Input{{2, 1}}},
		{ID: "bones", Kind: Purchased, LeadDays: 1, Delivery: Delivery{Weekdays: 1<<2 | 1<<5}},
	}}
}

func oneShortage(t *testing.T, r *Result, want Shortage) {
	t.Helper()
	if len(r.Shortages) != 1 {
		t.Fatalf("shortages = %+v, want one", r.Shortages)
	}
	got := r.Shortages[0]
	near(t, "quantity", got.Quantity, want.Quantity)
	want.Quantity, want.Bucket = got.Quantity, got.Bucket
	if got != want {
		t.Errorf("shortage = %+v, want %+v", got, want)
	}
}

func TestALateBoneDeliveryIsNamedAsTheRootOfALateSauce(t *testing.T) {
	t.Parallel()
	p := kitchen()
	p.Demands = []Demand{{ID: "order", Node: 0, Day: 2, Quantity: 5}}
	r := mustSolve(t, p)
	// Bones come on Tuesday, day 1; stock on day 2; sauce on day 3.
	oneShortage(t, r, Shortage{Node: 0, Day: 2, Kind: Order, Quantity: 5, Available: 3, Cause: NoDelivery, Root: 2})
	if b := r.Batches[0]; b.Wanted != 2 || b.Due != 3 || b.Start != 2 {
		t.Errorf("batch = %+v, want wanted on day 2, made on days 2 to 3", b)
	}
}

func TestADeliveryWhoseOrderTimeHasPassedIsToldApart(t *testing.T) {
	t.Parallel()
	p := kitchen()
	p.Nodes[2].LeadDays = 3
	p.Demands = []Demand{{Node: 2, Day: 1, Quantity: 5}}
	oneShortage(t, mustSolve(t, p), Shortage{Node: 2, Day: 1, Quantity: 5, Available: 4, Cause: OrderTooLate, Root: 2})
}

func TestWithStockForPartOnlyTheRestIsLate(t *testing.T) {
	t.Parallel()
	p := kitchen()
	p.Supplies = []Supply{{ID: "pan", Node: 0, Quantity: 3}}
	p.Demands = []Demand{
		{ID: "b", Node: 0, Day: 2, Quantity: 2, Priority: 1},
		{ID: "a", Node: 0, Day: 2, Quantity: 2, Priority: 2},
		{ID: "c", Node: 0, Day: 2, Quantity: 1},
	}
	r := mustSolve(t, p)
	oneShortage(t, r, Shortage{Node: 0, Day: 2, Quantity: 2, Available: 3, Cause: NoDelivery, Root: 2})
	short := r.ShortDemands(r.Shortages[0].Bucket)
	if len(short) != 1 || short[0].Demand != 1 || short[0].Quantity != 2 {
		t.Errorf("short demands = %+v, want the whole of the one with the last priority", short)
	}
	if got := r.DemandSources(2); len(got) != 1 || got[0].Source.Kind != FromSupply || got[0].Quantity != 1 {
		t.Errorf("sources of the first demand = %+v, want the pan", got)
	}
}

func TestInsideTheLeadOrdersComeBeforeEarlierParsAndOutsideTheyDoNot(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name     string
		orderDay int32
		parShort bool
	}{{"order that new supply cannot reach", 2, true}, {"order that new supply reaches", 6, false}} {
		p := kitchen()
		p.Supplies = []Supply{{Node: 0, Quantity: 3}}
		p.Demands = []Demand{
			{Node: 0, Day: 1, Quantity: 3, Kind: Par}, {Node: 0, Day: tc.orderDay, Quantity: 3, Kind: Order},
		}
		r := mustSolve(t, p)
		if got := len(r.Shortages) == 1 && r.Shortages[0].Kind == Par; got != tc.parShort || len(r.Shortages) > 1 {
			t.Errorf("%s: shortages = %+v, want the par short: %v", tc.name, r.Shortages, tc.parShort)
		}
	}
}

func TestStockIsUsedFirstExpiredFirstOutAndNeverAfterItsDay(t *testing.T) {
	t.Parallel()
	p := kitchen()
	p.Supplies = []Supply{
		{ID: "long", Node: 1, Quantity: 10, Expires: true, LastDay: 9},
		{ID: "short", Node: 1, Quantity: 4, Expires: true, LastDay: 2},
		{ID: "gone", Node: 1, Quantity: 7, Expires: true, LastDay: -1},
	}
	p.Demands = []Demand{{Node: 1, Day: 2, Quantity: 1}, {Node: 1, Day: 3, Quantity: 8}}
	r := mustSolve(t, p)
	if len(r.Batches)+len(r.Shortages) != 0 {
		t.Errorf("batches %v, shortages %v; want stock to do", r.Batches, r.Shortages)
	}
	b := r.Balance(1)
	near(t, "expired", b.Expired, 3+7)
	near(t, "ending", b.Ending, 2)
	near(t, "met", b.Met, 9)
}

func TestAPeriodOfSupplyNeverOutlivesTheShelfLife(t *testing.T) {
	t.Parallel()
	p := kitchen()
	p.Nodes[1].Sizing.Period, p.Nodes[1].ShelfLife = 5, 2
	for d := int32(4); d < 9; d++ {
		p.Demands = append(p.Demands, Demand{Node: 1, Day: d, Quantity: 10})
	}
	wantLines(t, batchLines(mustSolve(t, p)), []line{{1, 3, 4, 20}, {1, 5, 6, 20}, {1, 7, 8, 10}})
}

func TestSecondWashUsesTheBonesOfTheFirstAndFeedsTheNext(t *testing.T) {
	t.Parallel()
	// Remouillage: the second extraction of the bones serves as water for the next batch (McGee).
	p := &Problem{
		Days: 8, Nodes: []Node{
			{ID: "stock", Kind: Made, LeadDays: 1, Inputs: []Input{{2, 1}, {1, 0.5}}, ByProducts: []ByProduct{{3, 0.8}, {4, 0.02}}},
			{ID: "remouillage", Kind: Made, LeadDays: 1, Inputs: []Input{{3, 1}}},
			{ID: "bones", Kind: Purchased},
			{ID: "spent bones", Kind: Recovered, ShelfLife: 3},
			{ID: "fat", Kind: Recovered},
		}, Supplies: []Supply{{ID: "first wash", Node: 1, Quantity: 20}},
		Demands: []Demand{{Node: 0, Day: 2, Quantity: 40}, {Node: 0, Day: 5, Quantity: 60}},
	}
	r := mustSolve(t, p)
	// 40 of stock on day 2 leave 32 of bones; 30 of them are washed by day 4 for the 60 of day 5.
	wantLines(t, batchLines(r), []line{{0, 1, 2, 40}, {0, 4, 5, 60}, {1, 3, 4, 30}})
	near(t, "fat", r.Balance(4).Ending, 2)
	near(t, "bones spoilt", r.Balance(3).Expired, 2)
	near(t, "bones of the last batch", r.Balance(3).Ending, 48)
	if len(r.Shortages) > 0 {
		t.Errorf("shortages = %+v", r.Shortages)
	}
	shares, rest := r.EndDemands(Source{Kind: FromByProduct, Index: 0, ByProduct: 0})
	if len(shares) != 1 || shares[0].Bucket != r.Bucket(1) {
		t.Fatalf("bones of the first batch end in %+v, want the second demand", shares)
	}
	near(t, "share", shares[0].Quantity, 30)
	near(t, "rest", rest, 2)
}

func TestWhenBonesFallShortTheBatchIsMadeSmallerAndNothingIsBoughtInVain(t *testing.T) {
	t.Parallel()
	p := &Problem{Days: 4, Nodes: []Node{
		{ID: "stock", Kind: Made, LeadDays: 1, Inputs: []Input{{1, 1}, {2, 0.5}}, Sizing: Sizing{Vessels: []Vessel{{"kettle", 6, 50}}}},
		{ID: "bones", Kind: Purchased, Delivery: Delivery{Never: true}},
		{ID: "carrots", Kind: Purchased, Sizing: Sizing{Multiple: 1}},
	}, Supplies: []Supply{{Node: 1, Quantity: 8}}, Demands: []Demand{{Node: 0, Day: 2, Quantity: 20}}}
	r := mustSolve(t, p)
	wantLines(t, batchLines(r), []line{{0, 1, 2, 8}})
	near(t, "asked", r.Batches[0].Asked, 20)
	near(t, "carrots", r.Purchases[0].Quantity, 4)
	oneShortage(t, r, Shortage{Node: 0, Day: 2, Quantity: 12, Available: -1, Cause: NoDelivery, Root: 1})

	p.Supplies[0].Quantity = 5 // less than the kettle's lower mark
	r = mustSolve(t, p)
	if len(r.Batches)+len(r.Purchases) != 0 {
		t.Errorf("batches %v, purchases %v; want none", r.Batches, r.Purchases)
	}
	oneShortage(t, r, Shortage{Node: 0, Day: 2, Quantity: 20, Available: -1, Cause: BelowMinimum, Root: 1})
}

func TestAnInputThatSpoilsWhileTheBatchWaitsIsTheCause(t *testing.T) {
	t.Parallel()
	p := &Problem{Days: 8, Nodes: []Node{
		{ID: "sauce", Kind: Made, LeadDays: 1, Inputs: []Input{{1, 1}, {2, 1}}},
		{ID: "bones", Kind: Purchased, Delivery: Delivery{Days: []int{4}}},
		{ID: "cream", Kind: Purchased, Delivery: Delivery{Never: true}},
	}, Supplies: []Supply{{Node: 2, Quantity: 9, Expires: true, LastDay: 2}}, Demands: []Demand{{Node: 0, Day: 2, Quantity: 9}}}
	oneShortage(t, mustSolve(t, p), Shortage{Node: 0, Day: 2, Quantity: 9, Available: -1, Cause: InputExpires, Root: 2})
}

func TestParsAndSafetyStockAreHeldFromTheFirstPossibleDay(t *testing.T) {
	t.Parallel()
	p := kitchen()
	p.Nodes[0].Safety, p.Nodes[0].Pars = 2, []float64{0, 0, 0, 0, 5}
	p.Demands = []Demand{{Node: 0, Day: 6, Quantity: 3}}
	r := mustSolve(t, p)
	for d, want := range []float64{0, 0, 0, 2, 5, 5, 5, 5, 5, 5} {
		near(t, "stock of the day", r.Inventory(0, d), want)
	}
	oneShortage(t, r, Shortage{Node: 0, Day: 0, Level: true, Quantity: 2, Available: 3, Cause: LeadTime, Root: 0})
	if b := r.Batches[0]; !b.ForLevel {
		t.Errorf("batch %+v serves only the level", b)
	}
}

func TestPurchasesOfOneDeliveryShareTheirCases(t *testing.T) {
	t.Parallel()
	p := kitchen()
	p.Nodes[2].Sizing = Sizing{Multiple: 10, Minimum: 25}
	p.Demands = []Demand{{Node: 2, Day: 1, Quantity: 4}, {Node: 2, Day: 2, Quantity: 24}, {Node: 2, Day: 3, Quantity: 9}, {Node: 2, Day: 4, Quantity: 1}}
	r := mustSolve(t, p)
	// Tuesday covers days 1 to 3: 37, in cases 40, at least 25 (30). What is left does for Friday.
	if len(r.Purchases) != 1 || r.Purchases[0].Quantity != 40 || r.Purchases[0].Delivery != 1 {
		t.Errorf("purchases = %+v, want 40 on day 1", r.Purchases)
	}
}

func TestHoursRoundUpToDaysUnlessTheyFitTheDay(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		days        int
		hours, same float64
		want        int
	}{{0, 0, 0, 0}, {0, 1, 0, 1}, {0, 4, 4, 0}, {0, 4.5, 4, 1}, {1, 4, 4, 1}, {1, 24, 4, 2}, {1, 25, 4, 3}} {
		p := kitchen()
		p.SameDayHours = tc.same
		p.Nodes[1].LeadDays, p.Nodes[1].LeadHours = tc.days, tc.hours
		p.Demands = []Demand{{Node: 1, Day: 8, Quantity: 1}}
		if b := mustSolve(t, p).Batches[0]; b.Due-b.Start != tc.want {
			t.Errorf("%+v: lead %d", tc, b.Due-b.Start)
		}
	}
}

func TestNoStockIsCookedForASauceThatCannotBeMade(t *testing.T) {
	t.Parallel()
	p := kitchen()
	p.Nodes = append(p.Nodes, Node{ID: "cream", Kind: Purchased, Delivery: Delivery{Never: true}})
	p.Nodes[0].Inputs = append(p.Nodes[0].Inputs, Input{3, 0.1})
	p.Demands = []Demand{{Node: 0, Day: 6, Quantity: 5}, {Node: 1, Day: 5, Quantity: 2}}
	r := mustSolve(t, p)
	// Only the two litres of stock that were ordered as such.
	wantLines(t, batchLines(r), []line{{1, 4, 5, 2}})
	near(t, "bones", r.Purchases[0].Quantity, 2)
	oneShortage(t, r, Shortage{Node: 0, Day: 6, Quantity: 5, Available: -1, Cause: NoDelivery, Root: 3})
}
