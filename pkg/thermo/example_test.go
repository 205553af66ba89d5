package thermo_test

import (
	"fmt"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// A solver keeps enthalpy as its state and asks for temperature and conductivity.
func ExampleFoodTable() {
	stock := thermo.LeanStock
	freezing, err := stock.FreezingPoint()
	if err != nil {
		fmt.Println(err)
		return
	}
	table, err := thermo.NewFoodTable(stock, freezing, thermo.TableSettings{})
	if err != nil {
		fmt.Println(err)
		return
	}
	warm, _ := table.Enthalpy(4)
	cold, _ := table.Enthalpy(-18)
	half, _ := table.AtEnthalpy((warm + cold) / 2)
	fmt.Printf("freezes from %.2f C, gives off %.0f kJ/kg from 4 to -18 C\n", float64(freezing), (warm-cold)/1000)
	fmt.Printf("half way it is at %.2f C with %.0f %% ice\n", float64(half.Temperature), 100*half.IceFraction)
	// Output:
	// freezes from -0.66 C, gives off 355 kJ/kg from 4 to -18 C
	// half way it is at -1.33 C with 47 % ice
}

// A refractometer is scaled in sugar; stock is mostly gelatin and salts.
func ExampleStockSolids() {
	solids := thermo.Composition{Protein: 0.6, Fat: 0.1, Carbohydrate: 0.1, Ash: 0.2}
	r, err := thermo.StockSolids(8, solids)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("8 Brix: %.1f %% solids, between %.1f and %.1f\n", 100*r.Solids, 100*r.Low, 100*r.High)
	_, err = thermo.SucroseDensity(8, 120)
	fmt.Println(err)
	boiling, _ := thermo.BoilingPoint(1500)
	fmt.Println(boiling, units.Celsius(100)-boiling > 5)
	// Output:
	// 8 Brix: 7.2 % solids, between 6.7 and 8.2
	// solution temperature 120 C is outside 0 to 100 C
	// 95.0 C true
}
