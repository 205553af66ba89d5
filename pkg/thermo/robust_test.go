package thermo_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

var table, _ = thermo.NewFoodTable(thermo.LeanStock, -0.6, thermo.TableSettings{})

var drySolids = thermo.Composition{Protein: 0.6, Fat: 0.1, Carbohydrate: 0.1, Ash: 0.2}

// entries calls every exported function of one number family with x, y and z and
// returns what it gave.
func entries(x, y, z float64) map[string]func() (any, error) {
	c, d, p := units.Celsius(x), units.Celsius(y), units.Pressure(z)
	food := thermo.Composition{Water: x, Protein: y, Ash: z}
	chen, _ := thermo.NewChenEnthalpy(thermo.LeanStock, -0.6)
	return map[string]func() (any, error){
		"SaturationPressure":      func() (any, error) { return thermo.SaturationPressure(c) },
		"SaturationTemperature":   func() (any, error) { return thermo.SaturationTemperature(p) },
		"FrostPressure":           func() (any, error) { return thermo.FrostPressure(c) },
		"FrostPoint":              func() (any, error) { return thermo.FrostPoint(p) },
		"LatentHeat":              func() (any, error) { return thermo.LatentHeat(c) },
		"SublimationHeat":         func() (any, error) { return thermo.SublimationHeat(c) },
		"FusionHeat":              func() (any, error) { return thermo.FusionHeat(c) },
		"WaterDensity":            func() (any, error) { return thermo.WaterDensity(c) },
		"SteamDensity":            func() (any, error) { return thermo.SteamDensity(c) },
		"SaturatedLiquidEnthalpy": func() (any, error) { return thermo.SaturatedLiquidEnthalpy(c) },
		"SaturatedSteamEnthalpy":  func() (any, error) { return thermo.SaturatedSteamEnthalpy(c) },
		"WaterAt":                 func() (any, error) { return thermo.WaterAt(c) },
		"Rayleigh":                func() (any, error) { return thermo.Water{Kinematic: x, Diffusivity: y, Expansion: z}.Rayleigh(5, 1) },
		"RayleighOfRoom":          func() (any, error) { return filmOfRoom.Rayleigh(units.CelsiusDelta(x), units.Length(y)) },
		"WaterRefractiveIndex":    func() (any, error) { return thermo.WaterRefractiveIndex(c) },
		"VapourPressure":          func() (any, error) { return thermo.VapourPressure(c, y) },
		"AirAt":                   func() (any, error) { return thermo.AirAt(c, p) },
		"MoistAirAt":              func() (any, error) { return thermo.MoistAirAt(c, y, p) },
		"MoistAirFromWetBulb":     func() (any, error) { return thermo.MoistAirFromWetBulb(c, d, p) },
		"EnhancementFactor":       func() (any, error) { return thermo.EnhancementFactor(c, p) },
		"DewPoint":                func() (any, error) { return thermo.DewPoint(p) },
		"MassTransfer": func() (any, error) {
			return thermo.Air{Density: 1, SpecificHeat: 1000, Diffusivity: y, VapourDiffusion: z}.MassTransferCoefficient(x)
		},
		"AtmospherePressure":     func() (any, error) { return thermo.AtmospherePressure(x) },
		"AtmosphereAltitude":     func() (any, error) { return thermo.AtmosphereAltitude(p) },
		"AtmosphereTemperature":  func() (any, error) { return thermo.AtmosphereTemperature(x) },
		"BoilingPoint":           func() (any, error) { return thermo.BoilingPoint(x) },
		"BoilingPointElevation":  func() (any, error) { return thermo.BoilingPointElevation(x) },
		"Osmolality":             func() (any, error) { return thermo.Osmolality(x, y, z, 2, 0.93) },
		"WaterActivity":          func() (any, error) { return thermo.WaterActivity(x) },
		"SolutionBoilingPoint":   func() (any, error) { return thermo.SolutionBoilingPoint(p, x) },
		"SolutionFreezingPoint":  func() (any, error) { return thermo.SolutionFreezingPoint(x) },
		"FreezingOsmolality":     func() (any, error) { return thermo.FreezingOsmolality(c) },
		"SucroseDensity":         func() (any, error) { return thermo.SucroseDensity(x, d) },
		"SucroseBrix":            func() (any, error) { return thermo.SucroseBrix(units.Density(z), c) },
		"SucroseRefractiveIndex": func() (any, error) { return thermo.SucroseRefractiveIndex(x) },
		"BrixOfRefractiveIndex":  func() (any, error) { return thermo.BrixOfRefractiveIndex(x) },
		"BrixAt20":               func() (any, error) { return thermo.BrixAt20(x, d) },
		"StockSolids":            func() (any, error) { return thermo.StockSolids(x, drySolids) },
		"StockBrix":              func() (any, error) { return thermo.StockBrix(x, drySolids) },
		"StockSolidsOf":          func() (any, error) { return thermo.StockSolids(5, food) },
		"StockDensity":           func() (any, error) { return thermo.StockDensity(x, drySolids, d) },
		"StockDensityOf":         func() (any, error) { return thermo.StockDensity(0.05, food, 20) },
		"StockOfSolids":          func() (any, error) { return thermo.StockOfSolids(x) },
		"At":                     func() (any, error) { return thermo.LeanStock.At(c) },
		"AtOf":                   func() (any, error) { return food.At(20) },
		"Frozen":                 func() (any, error) { return thermo.LeanStock.Frozen(c, d) },
		"IceFraction":            func() (any, error) { return thermo.LeanStock.IceFraction(c, d) },
		"IceFractionBy":          func() (any, error) { return thermo.LeanStock.IceFractionBy(thermo.IceMiles, c, d) },
		"Enthalpy":               func() (any, error) { return thermo.LeanStock.Enthalpy(c, d) },
		"BoundWater":             func() (any, error) { return food.BoundWater() },
		"FreezingPoint":          func() (any, error) { return food.FreezingPoint() },
		"FreezingPointByWater":   func() (any, error) { return thermo.FreezingPointByWater(thermo.Meat, x) },
		"EffectiveMolarMass":     func() (any, error) { return thermo.LeanStock.EffectiveMolarMass(c) },
		"EffectiveMolarMassOf":   func() (any, error) { return food.EffectiveMolarMass(-1) },
		"NewChenEnthalpy":        func() (any, error) { _, err := thermo.NewChenEnthalpy(food, -1); return 0.0, err },
		"ChenEnthalpy":           func() (any, error) { return chen.Enthalpy(c) },
		"ChenSpecificHeat":       func() (any, error) { return chen.SpecificHeat(c) },
		"ChenTemperature":        func() (any, error) { return chen.Temperature(x) },
		"TableEnthalpy":          func() (any, error) { return table.Enthalpy(c) },
		"TableTemperature":       func() (any, error) { return table.Temperature(x) },
		"TableAt":                func() (any, error) { return table.At(c) },
		"TableAtEnthalpy":        func() (any, error) { return table.AtEnthalpy(x) },
		"TableConduction":        func() (any, error) { tc, k, err := table.Conduction(x); return [2]float64{float64(tc), k}, err },
		"TableConductivity":      func() (any, error) { return table.Conductivity(c) },
	}
}

var filmOfRoom, _ = thermo.WaterAt(25)

// finite reports whether a printed result holds a NaN or an infinity.
func finite(v any) bool {
	s := fmt.Sprintf("%#v", v)
	return !strings.Contains(s, "NaN") && !strings.Contains(s, "Inf")
}

func TestAbsurdInputGivesAnErrorThatNamesTheValue(t *testing.T) {
	t.Parallel()
	// 1e300 and -1e300 lie outside every range.
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e300} {
		for name, call := range entries(v, v, v) {
			_, err := call()
			if err == nil {
				t.Errorf("%s(%v) gave no error", name, v)
				continue
			}
			if !strings.Contains(err.Error(), fmt.Sprintf("%g", v)) {
				t.Errorf("%s(%v): %q does not name the value", name, v, err)
			}
		}
	}
}

func TestUnsetAndUnknownThingsAreErrors(t *testing.T) {
	t.Parallel()
	var none *thermo.FoodTable
	var empty thermo.FoodTable
	var chen thermo.ChenEnthalpy
	for name, err := range map[string]error{
		"nil table":            second(none.Temperature(1)),
		"zero table":           second(empty.Enthalpy(1)),
		"zero table by H":      second(empty.AtEnthalpy(0)),
		"nil table conduction": func() error { _, _, err := none.Conduction(1); return err }(),
		"zero chen enthalpy":   second(chen.Enthalpy(0)),
		"zero chen heat":       second(chen.SpecificHeat(0)),
		"zero chen":            second(chen.Temperature(0)),
		"zero film":            second(thermo.Water{}.Rayleigh(1, 1)),
		"zero air":             second(thermo.Air{}.MassTransferCoefficient(1)),
		"ice model":            second(thermo.NewFoodTable(thermo.LeanStock, -1, thermo.TableSettings{Ice: 9})),
		"conductivity model":   second(thermo.NewFoodTable(thermo.LeanStock, -1, thermo.TableSettings{Conductivity: 9})),
		"ice model by call":    second(thermo.LeanStock.IceFractionBy(9, -5, -1)),
		"food class":           second(thermo.FreezingPointByWater(0, 0.8)),
		"solids with water":    second(thermo.StockSolids(5, thermo.LeanStock)),
		"solids of fat":        second(thermo.StockSolids(5, thermo.Composition{Fat: 1})),
		"no water":             second(thermo.Composition{Protein: 1}.FreezingPoint()),
		"all ash":              second(thermo.Composition{Water: 0.5, Ash: 0.5}.FreezingPoint()),
		"wet above dry":        second(thermo.MoistAirFromWetBulb(20, 21, units.Atmosphere)),
		"drier than dry":       second(thermo.MoistAirFromWetBulb(40, 5, units.Atmosphere)),
		"steam":                second(thermo.MoistAirAt(100, 1, units.Atmosphere)),
		"no ions":              second(thermo.Osmolality(1, 1, 0.1, 0, 1)),
		"lighter than water":   second(thermo.SucroseBrix(990, 20)),
		"freezing above zero":  second(thermo.NewFoodTable(thermo.LeanStock, 0, thermo.TableSettings{})),
		"sum of a composition": second(thermo.Composition{Water: 0.5}.BoundWater()),
	} {
		if err == nil || len(err.Error()) < 20 {
			t.Errorf("%s: %v", name, err)
		}
	}
	if s := thermo.IceTchigeov.String() + thermo.IceMiles.String() + thermo.IceModel(9).String(); s != "TchigeovMilesIceModel(9)" {
		t.Error(s)
	}
	if table.FreezingPoint() != -0.6 || table.Composition() != thermo.LeanStock {
		t.Errorf("table of %+v freezing at %v", table.Composition(), float64(table.FreezingPoint()))
	}
}

func second[T any](_ T, err error) error { return err }

func FuzzEveryNumber(f *testing.F) {
	for _, s := range [][3]float64{{20, 0.5, 101325}, {-18, -1, 90000}, {0, 0, 611.3}, {95, 0.99, 84000}, {1e5, 50, 1100}, {0.9, 0.08, 0.02}, {-0.6, -0.6, -0.6}, {1.4, 20, 998.2}, {math.MaxFloat64, math.SmallestNonzeroFloat64, math.Inf(1)}, {math.NaN(), -1e-9, 1e-6}, {150, 1, 120e3}, {-40, 1, 10e3}, {99.6, 1, 101325}, {140, 1, 22e6}, {0.01, 0.0, 0.01}} {
		f.Add(s[0], s[1], s[2])
	}
	f.Fuzz(func(t *testing.T, x, y, z float64) {
		for name, call := range entries(x, y, z) {
			v, err := call()
			if err == nil && !finite(v) {
				t.Errorf("%s(%g, %g, %g) = %#v", name, x, y, z, v)
			}
		}
	})
}

func FuzzFoodTable(f *testing.F) {
	f.Add(0.95, 0.03, 0.005, 0.01, -0.6, 1e5, uint8(0), uint8(0))
	f.Add(0.745, 0.215, 0.03, 0.01, -1.0, 3e5, uint8(1), uint8(1))
	f.Add(0.0, 1.0, 0.0, 0.0, -5.0, 0.0, uint8(0), uint8(1))
	f.Add(1.0, 0.0, 0.0, 0.0, -0.01, -9e3, uint8(1), uint8(0))
	f.Add(0.3, 0.7, 0.0, 0.0, -15.0, 1e5, uint8(0), uint8(0))
	f.Fuzz(func(t *testing.T, water, protein, fat, ash, tf, h float64, ice, k uint8) {
		c := thermo.Composition{Water: water, Protein: protein, Fat: fat, Carbohydrate: 1 - water - protein - fat - ash, Ash: ash}
		table, err := thermo.NewFoodTable(c, units.Celsius(tf), thermo.TableSettings{Ice: thermo.IceModel(ice), Conductivity: thermo.ConductivityModel(k)})
		if err != nil {
			return
		}
		x, err := table.Temperature(h)
		if err != nil {
			return
		}
		back, err := table.Enthalpy(x)
		if err != nil || !(math.Abs(back-h) <= 1e-3+1e-6*math.Abs(h)) {
			t.Errorf("%+v, tf %v: %v J/kg is %v C, which is %v J/kg, %v", c, tf, h, float64(x), back, err)
		}
		s, err := table.AtEnthalpy(h)
		if err != nil || !finite(s) || !(math.Abs(float64(s.Temperature-x)) < 0.05) {
			t.Errorf("%+v, tf %v at %v J/kg: %+v, exact %v C, %v", c, tf, h, s, float64(x), err)
		}
	})
}
