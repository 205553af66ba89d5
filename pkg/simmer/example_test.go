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
	// 9h0m0s solids 20.000 kg
	// 3h0m0s solids 20.000 kg
}

// A demi-glace in two phases: hard while it is thin, then gently, with a scorch limit.
func ExampleReducePhases() {
	pan := simmer.Vessel{
		Geometry: simmer.Geometry{Shape: simmer.Cylinder, Diameter: 0.50, Height: 0.20},
		Heater:   simmer.Gas(24 * units.Kilowatt),
	}
	whole, parts, err := simmer.ReducePhases(pan, simmer.Load{Liquid: 30, Solids: 0.05, Start: 90}, []simmer.Phase{
		{Until: simmer.EndPoint{Solids: 0.15}},
		{Duty: simmer.Duty{PowerShare: 0.3}, Until: simmer.EndPoint{Solids: 0.30, Superheat: simmer.DefaultSuperheat}},
	}, simmer.Kitchen(), simmer.Settings{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range parts {
		fmt.Printf("%v to %.0f Brix\n", p.Time.Round(time.Minute), p.Final.Brix())
	}
	fmt.Println(whole.By, whole.Final.Liquid)
	// Output:
	// 1h56m0s to 15 Brix
	// 1h44m0s to 30 Brix
	// solids 5.000 kg
}

// What 20 kg of bones give to 30 kg of stock in 6 h, and how it sets.
func ExampleExtraction() {
	g, err := simmer.Extraction{}.Extract(20, 95, 6*time.Hour)
	if err != nil {
		fmt.Println(err)
		return
	}
	in, err := g.In(30)
	if err != nil {
		fmt.Println(err)
		return
	}
	strength, err := simmer.GelStrengthOf(in.Likely)
	fmt.Printf("%.1f %% (%.1f to %.1f %%), %v, %v\n", 100*in.Likely, 100*in.Low, 100*in.High, strength, err)
	// Output: 2.1 % (1.1 to 3.8 %), sets firm, <nil>
}
