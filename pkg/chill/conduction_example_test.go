package chill_test

import (
	"fmt"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/thermo"
)

// Ten pans of stock, 50 mm deep, go hot into a blast freezer and from there into the store.
func ExampleRunFreezing() {
	food, err := chill.FoodSubstance(thermo.LeanStock, -0.5)
	if err != nil {
		fmt.Println(err)
		return
	}
	steel := chill.Layer{Thickness: 0.001, Conductivity: 15}
	pans, err := chill.NewConduction(chill.Piece{
		Shape: chill.Slab, Thickness: 0.05, Area: 0.15, Count: 10, Substance: food,
		Upper: chill.Face{Film: 30}, Lower: chill.Face{Film: 15, Layers: []chill.Layer{steel}},
		Start: 70, Surroundings: -30,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	run, err := chill.RunFreezing(pans, chill.FreezeGoal{Core: -18})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("core at -18 C after %.1f h, %.1f h of it between 0 and -5 C\n", run.Time.Hours(), run.Zone.Hours())
	fmt.Printf("%.0f kWh, at most %.0f kW\n", run.Heat.KilowattHours(), run.Peak.Kilowatts())
	if _, err := pans.Step(run.Time); err != nil {
		fmt.Println(err)
		return
	}
	still := chill.Face{Film: 5}
	store, err := chill.Equalise(pans, chill.Store{Air: -22, Upper: still, Lower: still})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("core within 1 K of the store after %.0f h, load %.2f kWh\n", store.Time.Hours(), store.Load.KilowattHours())
	// Output:
	// core at -18 C after 6.7 h, 3.0 h of it between 0 and -5 C
	// 13 kWh, at most 7 kW
	// core within 1 K of the store after 4 h, load 0.12 kWh
}
