package thermo_test

import (
	"math"
	"testing"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// The thermodynamic wet bulb is the balance h(t, W) + (Ws - W)·h_water = h(wet, Ws);
// here in the round constants it is made of: water 4.186·t, ice -333.4 + 2.1·t kJ/kg
// (ASHRAE prints 2830 - 0.24·t where these give 2834.4 - 0.24·t).
func TestWetBulbIsTheBalanceOfAdiabaticSaturation(t *testing.T) {
	t.Parallel()
	for _, r := range []struct{ dry, wet units.Celsius }{{30, 25}, {40, 20}, {80, 45}, {5, 2}, {-1, -5}, {2, -3}, {-10, -11}} {
		m, err := thermo.MoistAirFromWetBulb(r.dry, r.wet, 95461)
		if err != nil {
			t.Fatal(err)
		}
		s, err := thermo.MoistAirAt(r.wet, 1, 95461)
		if err != nil {
			t.Fatal(err)
		}
		water := 4.186 * float64(r.wet)
		if r.wet < 0 {
			water = -333.4 + 2.1*float64(r.wet)
		}
		got := m.Enthalpy/1000 + (s.HumidityRatio-m.HumidityRatio)*water
		// 4.4 kJ/kg of ice on the humidity added, and rounding.
		tol := 0.002 + 4.5*(s.HumidityRatio-m.HumidityRatio)
		if r.wet >= 0 {
			tol = 1e-3
		}
		if math.Abs(got-s.Enthalpy/1000) > tol {
			t.Errorf("%v/%v: %.4f kJ/kg before, %.4f after", r.dry, r.wet, got, s.Enthalpy/1000)
		}
	}
}

// Wilke's rule written out from the paper's formula, apart from the code.
func TestMoistAirTransportAgreesWithAPlainVersion(t *testing.T) {
	t.Parallel()
	for _, tc := range []units.Celsius{0, 25, 60, 90} {
		for _, rh := range []float64{0.2, 0.6, 1} {
			m, err := thermo.MoistAirAt(tc, rh, units.Atmosphere)
			if err != nil {
				t.Fatal(err)
			}
			dry, _ := thermo.AirAt(tc, units.Atmosphere)
			k := float64(tc.Kelvin())
			x := []float64{1 - float64(m.VapourPressure)/101325, float64(m.VapourPressure) / 101325}
			mass := []float64{28.966, 18.015268}
			mu := []float64{dry.Viscosity * float64(dry.Density), thermo.Viscosity(k, 1e-9)}
			lambda := []float64{dry.Conductivity, thermo.Conductivity(k, 1e-9)}
			wantMu, wantLambda := 0.0, 0.0
			for i := range x {
				down := 0.0
				for j := range x {
					phi := math.Pow(1+math.Sqrt(mu[i]/mu[j])*math.Pow(mass[j]/mass[i], 0.25), 2) / math.Sqrt(8*(1+mass[i]/mass[j]))
					down += x[j] * phi
				}
				wantMu += x[i] * mu[i] / down
				wantLambda += x[i] * lambda[i] / down
			}
			if math.Abs(m.Viscosity/wantMu-1) > 1e-5 || math.Abs(m.Conductivity/wantLambda-1) > 1e-5 {
				t.Errorf("%v, %v: %v Pa·s and %v W/m·K, want %v and %v", tc, rh, m.Viscosity, m.Conductivity, wantMu, wantLambda)
			}
		}
	}
}

// Regression values computed separately from the ICUMSA coefficients with another water
// density (Kell); no published density away from 20 C was found.
func TestSucroseDensityAwayFrom20Degrees(t *testing.T) {
	t.Parallel()
	for _, r := range []struct{ bx, c, rho float64 }{{10, 5, 1040.734}, {10, 60, 1021.929}, {30, 40, 1118.792}, {30, 80, 1096.209}, {60, 60, 1264.682}, {60, 100, 1238.553}, {20, 0, 1085.096}} {
		d, err := thermo.SucroseDensity(r.bx, units.Celsius(r.c))
		if err != nil || math.Abs(float64(d)-r.rho) > 0.03 {
			t.Errorf("%v Brix at %v C: %.3f, %v; want %.3f", r.bx, r.c, float64(d), err, r.rho)
		}
	}
}

// Sugar as the carbohydrate of a stock, against the sugar table; and no solids is water.
func TestStockDensityFollowsSugarAndWater(t *testing.T) {
	t.Parallel()
	sugar := thermo.Composition{Carbohydrate: 1}
	for _, bx := range []float64{2, 5, 10, 15, 20} {
		for _, tc := range []units.Celsius{10, 20, 60} {
			d, err := thermo.StockDensity(bx/100, sugar, tc)
			want, _ := thermo.SucroseDensity(bx, tc)
			if err != nil || math.Abs(float64(d/want)-1) > 0.003 {
				t.Errorf("%v Brix at %v: %v, %v; sugar table %v", bx, tc, float64(d), err, float64(want))
			}
		}
	}
	d, err := thermo.StockDensity(0, sugar, 60)
	w, _ := thermo.WaterAt(60)
	if err != nil || d != w.Density {
		t.Errorf("no solids %v, %v; water %v", float64(d), err, float64(w.Density))
	}
}

// Arithmetic of Pham's fit, and conductivity in series as the sum of resistances.
func TestFitsAndBoundsByHand(t *testing.T) {
	t.Parallel()
	f, err := thermo.Composition{Water: 0.5, Protein: 0.3, Carbohydrate: 0.15, Ash: 0.05}.FreezingPoint()
	if want := -4.66*0.45/0.5 - 46.4*0.05/0.5; err != nil || math.Abs(float64(f)-want) > 1e-12 {
		t.Errorf("freezing point %v, %v; want %v", float64(f), err, want)
	}
	c := thermo.Composition{Water: 0.8, Protein: 0.2}
	series, err := thermo.NewFoodTable(c, -1, thermo.TableSettings{Conductivity: thermo.ConductSeries})
	if err != nil {
		t.Fatal(err)
	}
	parallel, err := thermo.NewFoodTable(c, -1, thermo.TableSettings{})
	if err != nil {
		t.Fatal(err)
	}
	w, _ := thermo.Composition{Water: 1}.At(30)
	p, _ := thermo.Composition{Protein: 1}.At(30)
	vw, vp := 0.8/float64(w.Density), 0.2/float64(p.Density)
	k, err := series.Conductivity(30)
	if want := (vw + vp) / (vw/w.Conductivity + vp/p.Conductivity); err != nil || math.Abs(k/want-1) > 1e-12 {
		t.Errorf("in series %v, %v; want %v", k, err, want)
	}
	k, err = parallel.Conductivity(30)
	if want := (vw*w.Conductivity + vp*p.Conductivity) / (vw + vp); err != nil || math.Abs(k/want-1) > 1e-12 {
		t.Errorf("in parallel %v, %v; want %v", k, err, want)
	}
	for tc := units.Celsius(-40); tc < 20; tc += 3 {
		low, _ := series.Conductivity(tc)
		high, _ := parallel.Conductivity(tc)
		if low > high {
			t.Errorf("%v: series %v above parallel %v", tc, low, high)
		}
	}
	// The table and the older functions share one set of equations.
	old, err := c.Frozen(-10, -1)
	if err != nil {
		t.Fatal(err)
	}
	tchigeov, _ := thermo.NewFoodTable(c, -1, thermo.TableSettings{Ice: thermo.IceTchigeov})
	s, err := tchigeov.At(-10)
	if err != nil || math.Abs(s.SpecificHeat/old.SpecificHeat-1) > 1e-9 || math.Abs(s.Conductivity/old.Conductivity-1) > 1e-12 || math.Abs(s.Diffusivity()/old.Diffusivity-1) > 1e-9 {
		t.Errorf("table %+v, Frozen %+v, %v", s, old, err)
	}
}
