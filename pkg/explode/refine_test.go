package explode_test

import (
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
