package simmer_test

import (
	"fmt"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

// A tilting pan and a tall kettle of the same power reduce 60 kg of strained stock
// to 12 % solids at a held simmer.
func Example() {
	stock := simmer.Load{Liquid: 60, Solids: 0.04, Start: 90}
	for _, v := range []simmer.Vessel{
		{Geometry: simmer.Geometry{Shape: simmer.Hemispherical, Diameter: 0.6, Height: 0.6}, Power: 24 * units.Kilowatt},
		{Geometry: simmer.Geometry{Shape: simmer.Pan, Length: 1.0, Width: 0.7, Height: 0.25}, Power: 24 * units.Kilowatt},
	} {
		out, err := simmer.Reduce(v, stock, simmer.Duty{Hold: 95}, simmer.Kitchen(), simmer.EndPoint{Solids: 0.12}, simmer.Settings{})
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Println(out.Time.Round(time.Hour), out.By, out.Final.Liquid)
	}
	// Output:
	// 13h0m0s solids 20.000 kg
	// 5h0m0s solids 20.000 kg
}
