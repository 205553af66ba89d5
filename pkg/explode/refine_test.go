package explode_test

import (
	"slices"
	"testing"

	"rondeau.internal/pkg/explode"
)

// A sauce is wanted on day 1, but one of its parts takes four days. Herbs that keep for two days must be bought for the
// day on which the sauce can really be cooked, not for the day on which it was wanted.
func TestWhatGoesIntoALateBatchIsBoughtForItsRealStart(t *testing.T) {
	t.Parallel()
	p := explode.Problem{
		Days: 10,
		Nodes: []explode.Node{
			{ID: "sauce", Kind: explode.Made, Inputs: []explode.Input{{Node: 1, PerOne: 0.1}, {Node: 2, PerOne: 1}}},
			{ID: "herbs", Kind: explode.Purchased, ShelfLife: 2},
			{ID: "stock", Kind: explode.Made, LeadDays: 4, Inputs: []explode.Input{{Node: 3, PerOne: 1}}},
			{ID: "bones", Kind: explode.Purchased},
		},
		Demands: []explode.Demand{{ID: "order", Node: 0, Quantity: 10, Day: 1, Kind: explode.Order}},
	}
	r, err := explode.Solve(&p)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Shortages) != 1 || r.Shortages[0].Available != 4 || r.Shortages[0].Quantity < 9.99 {
		t.Fatalf("the order can be met on day 4, when the stock is there; got %+v", r.Shortages)
	}
	for _, purchase := range r.Purchases {
		if purchase.Node == 1 && purchase.Delivery != 4 {
			t.Errorf("herbs come on day %d", purchase.Delivery)
		}
	}
	for _, batch := range r.Batches {
		if batch.Node == 0 && batch.Start != 4 {
			t.Errorf("the sauce starts on day %d", batch.Start)
		}
	}
}

// Packs are wanted on days 1, 2 and 3, and for the shelf; the stock they are packed from takes four days. All of them are
// packed on day 4, so they are one batch, not one for each day on which they were wanted.
func TestNeedsThatEndUpOnTheSameDayAreOneBatch(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		vessels []explode.Vessel
		want    []float64
	}{
		{"one batch where a vessel takes all", nil, []float64{44}},
		{"as few as the vessels allow", []explode.Vessel{{ID: "table", MinFill: 1, MaxFill: 30}}, []float64{30, 14}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p := explode.Problem{
				Days: 10,
				Nodes: []explode.Node{
					{ID: "pack", Kind: explode.Pack, Inputs: []explode.Input{{Node: 1, PerOne: 1}}, Sizing: explode.Sizing{Multiple: 1, Vessels: c.vessels}, Pars: []float64{12}},
					{ID: "sauce", Kind: explode.Made, Inputs: []explode.Input{{Node: 2, PerOne: 1}}},
					{ID: "stock", Kind: explode.Made, LeadDays: 2, Inputs: []explode.Input{{Node: 3, PerOne: 1}}},
					{ID: "bones", Kind: explode.Purchased, ShelfLife: 3, Delivery: explode.Delivery{Days: []int{2, 7}}},
				},
				Demands: []explode.Demand{
					{ID: "a", Node: 0, Quantity: 6, Day: 1, Kind: explode.Order},
					{ID: "b", Node: 0, Quantity: 26, Day: 2, Kind: explode.Order},
				},
			}
			r, err := explode.Solve(&p)
			if err != nil {
				t.Fatal(err)
			}
			var got []float64
			for _, b := range r.Batches {
				if b.Node == 0 && b.Start == 4 {
					got = append(got, b.Nominal)
				}
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("batches on day 4: %v, want %v", got, c.want)
			}
		})
	}
}

// The order is late because the bones come late, and the plan that took this into account must still say so.
func TestAPlanMadeAgainForALateBatchStillNamesTheRoot(t *testing.T) {
	t.Parallel()
	p := explode.Problem{
		Days: 10,
		Nodes: []explode.Node{
			{ID: "pack", Kind: explode.Pack, Inputs: []explode.Input{{Node: 1, PerOne: 1}}, Pars: []float64{4}},
			{ID: "stock", Kind: explode.Made, LeadDays: 1, Inputs: []explode.Input{{Node: 2, PerOne: 1}}},
			{ID: "bones", Kind: explode.Purchased, ShelfLife: 3, Delivery: explode.Delivery{Days: []int{3, 9}}},
		},
		Demands: []explode.Demand{
			{ID: "a", Node: 0, Quantity: 6, Day: 2, Kind: explode.Order},
			{ID: "b", Node: 0, Quantity: 2, Day: 3, Kind: explode.Order},
		},
	}
	r, err := explode.Solve(&p)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Shortages) != 3 {
		t.Fatalf("shortages %+v", r.Shortages)
	}
	for _, s := range r.Shortages {
		if s.Root != 2 && !(s.Level && s.Day == 0) || s.Available != 4 {
			t.Errorf("the bones come on day 3 and all is there on day 4; got %+v (%s)", s, s.Cause)
		}
	}
}

// Mushrooms bought for the planned day of a sauce would spoil before its bones come. That is put right by buying them later; what
// makes the order late is the bones.
func TestTheRootOfALateBatchIsNotWhatWouldHaveSpoiledOnTheWay(t *testing.T) {
	t.Parallel()
	p := explode.Problem{
		Days: 10,
		Nodes: []explode.Node{
			{ID: "sauce", Kind: explode.Made, Inputs: []explode.Input{{Node: 1, PerOne: 0.1}, {Node: 2, PerOne: 1}}},
			{ID: "mushrooms", Kind: explode.Purchased, ShelfLife: 2},
			{ID: "bones", Kind: explode.Purchased, ShelfLife: 3, Delivery: explode.Delivery{Days: []int{5}}},
		},
		Demands: []explode.Demand{{ID: "order", Node: 0, Quantity: 10, Day: 1, Kind: explode.Order}},
	}
	r, err := explode.Solve(&p)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Shortages) != 1 || r.Shortages[0].Available != 5 || r.Shortages[0].Root != 2 || r.Shortages[0].Cause != explode.NoDelivery {
		t.Errorf("the bones come on day 5; got %+v", r.Shortages)
	}
}
