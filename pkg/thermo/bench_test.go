package thermo_test

import (
	"testing"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// hot are the calls that solvers make in their loops.
func hot() map[string]func() error {
	chen, _ := thermo.NewChenEnthalpy(thermo.LeanStock, -0.6)
	return map[string]func() error{
		"FoodTableAtEnthalpy":   func() error { return second(table.AtEnthalpy(2e5)) },
		"FoodTableConduction":   func() error { _, _, err := table.Conduction(2e5); return err },
		"FoodTableTemperature":  func() error { return second(table.Temperature(2e5)) },
		"FoodTableEnthalpy":     func() error { return second(table.Enthalpy(-5)) },
		"FoodTableAt":           func() error { return second(table.At(-5)) },
		"FoodTableConductivity": func() error { return second(table.Conductivity(-5)) },
		"ChenTemperature":       func() error { return second(chen.Temperature(2e5)) },
		"ChenEnthalpy":          func() error { return second(chen.Enthalpy(-5)) },
		"WaterAt":               func() error { return second(thermo.WaterAt(85)) },
		"AirAt":                 func() error { return second(thermo.AirAt(40, units.Atmosphere)) },
		"MoistAirAt":            func() error { return second(thermo.MoistAirAt(40, 0.5, units.Atmosphere)) },
		"VapourPressure":        func() error { return second(thermo.VapourPressure(40, 0.5)) },
		"SaturationTemperature": func() error { return second(thermo.SaturationTemperature(84e3)) },
		"LatentHeat":            func() error { return second(thermo.LatentHeat(95)) },
		"SucroseDensity":        func() error { return second(thermo.SucroseDensity(12, 60)) },
		"CompositionAt":         func() error { return second(thermo.LeanStock.At(60)) },
		"CompositionFrozen":     func() error { return second(thermo.LeanStock.Frozen(-18, -0.6)) },
		"StockSolids":           func() error { return second(thermo.StockSolids(6, drySolids)) },
	}
}

func TestPropertyCallsDoNotAllocate(t *testing.T) {
	for name, call := range hot() {
		if n := testing.AllocsPerRun(50, func() {
			if err := call(); err != nil {
				t.Fatal(name, err)
			}
		}); n != 0 {
			t.Errorf("%s allocates %v times", name, n)
		}
	}
}

func BenchmarkHot(b *testing.B) {
	for name, call := range hot() {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := call(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkNewFoodTable(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := thermo.NewFoodTable(thermo.LeanStock, -0.6, thermo.TableSettings{}); err != nil {
			b.Fatal(err)
		}
	}
}
