package explode_test

import (
	"fmt"

	"rondeau.internal/pkg/explode"
)

// A sauce is due on Friday; bones come on Tuesdays and Thursdays and must be ordered a day ahead.
func Example() {
	const sauce, stock, bones = 0, 1, 2
	p := &explode.Problem{
		Days: 7, StartWeekday: 1, // day 0 is a Monday
		Nodes: []explode.Node{
			sauce: {
				ID: "demi-glace", Kind: explode.Made, LeadHours: 9, Inputs: []explode.Input{{Node: stock, PerOne: 5}},
				Yield: explode.Yield{Mean: 0.95, SD: 0.05, Service: 0.9},
			},
			stock: {
				ID: "brown stock", Kind: explode.Made, LeadDays: 1, Inputs: []explode.Input{{Node: bones, PerOne: 1.2}},
				Sizing: explode.Sizing{Vessels: []explode.Vessel{{ID: "kettle-60", MinFill: 20, MaxFill: 55}}},
			},
			bones: {
				ID: "veal bones", Kind: explode.Purchased, LeadDays: 1, Sizing: explode.Sizing{Multiple: 10},
				Delivery: explode.Delivery{Weekdays: 1<<2 | 1<<4},
			},
		},
		Demands: []explode.Demand{{ID: "order 7", Node: sauce, Day: 4, Quantity: 8}},
	}
	r, err := explode.Solve(p)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, b := range r.Batches {
		fmt.Printf("make %.1f of %s, start day %d, ready day %d\n", b.Nominal, p.Nodes[b.Node].ID, b.Start, b.Due)
	}
	for _, q := range r.Purchases {
		fmt.Printf("order %.0f of %s on day %d for day %d\n", q.Quantity, p.Nodes[q.Node].ID, q.OrderDay, q.Delivery)
	}
	fmt.Println("shortages:", len(r.Shortages))
	// Output:
	// make 9.0 of demi-glace, start day 3, ready day 4
	// make 45.2 of brown stock, start day 2, ready day 3
	// order 60 of veal bones on day 0 for day 1
	// shortages: 0
}
