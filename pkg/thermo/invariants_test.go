package thermo_test

import (
	"math"
	"math/rand"
	"strings"
	"testing"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// foods are random compositions with a seed that stays.
func foods(n int) []thermo.Composition {
	r := rand.New(rand.NewSource(20))
	out := make([]thermo.Composition, 0, n)
	for range n {
		water := 0.3 + 0.68*r.Float64()
		rest := 1 - water
		p := rest * r.Float64()
		f := (rest - p) * r.Float64()
		c := (rest - p - f) * r.Float64()
		out = append(out, thermo.Composition{Water: water, Protein: p, Fat: f, Carbohydrate: c, Ash: rest - p - f - c})
	}
	return out
}

func must(t *testing.T) func(float64, error) float64 {
	return func(v float64, err error) float64 {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

var everySetting = []thermo.TableSettings{{}, {Ice: thermo.IceTchigeov}, {Conductivity: thermo.ConductSeries}, {Ice: thermo.IceTchigeov, Conductivity: thermo.ConductSeries}}

func TestFoodTableConservesEnergyAndInverts(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewSource(7))
	for _, c := range foods(6) {
		for _, s := range everySetting {
			tf := -0.05 - 4.9*r.Float64()
			f, err := thermo.NewFoodTable(c, units.Celsius(tf), s)
			if err != nil {
				t.Fatal(err)
			}
			if h, _ := f.Enthalpy(-40); math.Abs(h) > 1e-9 {
				t.Errorf("%+v: enthalpy at -40 C is %v", c, h)
			}
			oneFood(t, f, tf)
		}
	}
}

func oneFood(t *testing.T, f *thermo.FoodTable, tf float64) {
	t.Helper()
	value := must(t)
	last := math.Inf(-1)
	const d = 1e-4
	for tc := -45.0; tc <= 150; tc += 0.0837 {
		s, err := f.At(units.Celsius(tc))
		if err != nil {
			t.Fatal(err)
		}
		if s.Enthalpy <= last {
			t.Fatalf("enthalpy falls at %v C", tc)
		}
		last = s.Enthalpy
		// dH/dT = c away from the steps of c at tf and at 0 C.
		if tc > -44.9 && tc < 149.9 && math.Abs(tc-tf) > 0.01 && math.Abs(tc) > 0.01 {
			slope := (value(f.Enthalpy(units.Celsius(tc+d))) - value(f.Enthalpy(units.Celsius(tc-d)))) / (2 * d)
			// A central difference errs by d²/6 of the third derivative, c·6/t² near tf.
			tol := 1e-6 + 2*d*d/(tc*tc)
			if math.Abs(slope/s.SpecificHeat-1) > tol {
				t.Fatalf("%v C, tf %v: dH/dT %v, c %v", tc, tf, slope, s.SpecificHeat)
			}
		}
		back, err := f.Temperature(s.Enthalpy)
		if err != nil || math.Abs(float64(back)-tc) > 1e-7 {
			t.Fatalf("%v C, tf %v: came back as %.9f, %v", tc, tf, float64(back), err)
		}
		if s.IceFraction < 0 || s.IceFraction > f.Composition().Water || tc >= tf && s.IceFraction != 0 || s.Conductivity <= 0 || s.Density <= 0 {
			t.Fatalf("%v C: %+v", tc, s)
		}
	}
	low, high := f.EnthalpyRange()
	lastT := math.Inf(-1)
	const n = 3000
	for i := 0; i <= n; i++ {
		h := low + (high-low)*float64(i)/n
		q, err := f.AtEnthalpy(math.Min(h, high))
		if err != nil {
			t.Fatal(err)
		}
		if tc, k, err := f.Conduction(math.Min(h, high)); err != nil || tc != q.Temperature || k != q.Conductivity {
			t.Fatalf("%v J/kg: %v C, %v W/m·K, %v; state %+v", h, float64(tc), k, err, q)
		}
		exact, err := f.At(q.Temperature)
		if err != nil {
			t.Fatal(err)
		}
		fine, _ := f.Temperature(math.Min(h, high))
		if float64(q.Temperature) < lastT {
			t.Fatalf("table temperature falls at %v J/kg", h)
		}
		lastT = float64(q.Temperature)
		if math.Abs(float64(q.Temperature-fine)) > 1e-3 {
			t.Fatalf("%v J/kg: table %v, exact %v", h, float64(q.Temperature), float64(fine))
		}
		if near := math.Abs(lastT-tf) < 1e-3; !near && (math.Abs(q.Conductivity/exact.Conductivity-1) > 1e-3 || math.Abs(float64(q.Density/exact.Density)-1) > 1e-4) {
			t.Fatalf("%v J/kg (%v C, tf %v): table %+v, exact %+v", h, lastT, tf, q, exact)
		}
	}
}

// The heat between two temperatures is the area under the apparent specific heat,
// the latent heat of the ice included: composite Simpson, whose error falls by 16.
func TestApparentHeatIntegratesToTheEnthalpyAtFourthOrder(t *testing.T) {
	t.Parallel()
	f, err := thermo.NewFoodTable(thermo.LeanStock, -0.6, thermo.TableSettings{})
	if err != nil {
		t.Fatal(err)
	}
	value := must(t)
	want := value(f.Enthalpy(-1)) - value(f.Enthalpy(-30))
	simpson := func(n int) float64 {
		sum, w := 0.0, 29.0/float64(n)
		for i := 0; i <= n; i++ {
			s, err := f.At(units.Celsius(-30 + w*float64(i)))
			if err != nil {
				t.Fatal(err)
			}
			k := 2.0
			switch {
			case i == 0 || i == n:
				k = 1
			case i%2 == 1:
				k = 4
			}
			sum += k * s.SpecificHeat
		}
		return sum * w / 3
	}
	coarse, fine := math.Abs(simpson(400)-want), math.Abs(simpson(800)-want)
	if order := math.Log2(coarse / fine); order < 3.7 || order > 4.3 || fine/want > 1e-5 {
		t.Errorf("order %.2f, error %.3g of %.6g", order, fine, want)
	}
}

func TestChenInvertsAndItsSlopeIsItsSpecificHeat(t *testing.T) {
	t.Parallel()
	value := must(t)
	for _, c := range foods(20) {
		for _, tf := range []float64{-0.05, -0.6, -2.2, -5} {
			e, err := thermo.NewChenEnthalpy(c, units.Celsius(tf))
			if err != nil {
				t.Fatal(err)
			}
			last := math.Inf(-1)
			for tc := -40.0; tc <= 150; tc += 0.31 {
				h := value(e.Enthalpy(units.Celsius(tc)))
				if h <= last {
					t.Fatalf("falls at %v", tc)
				}
				last = h
				back, err := e.Temperature(h)
				if err != nil || math.Abs(float64(back)-tc) > 1e-8 {
					t.Fatalf("%v came back as %v, %v", tc, float64(back), err)
				}
				old, err := c.Enthalpy(units.Celsius(tc), units.Celsius(tf))
				if err != nil || math.Abs(old-h) > 1e-6*(1+math.Abs(h)) {
					t.Fatalf("%v C: Composition.Enthalpy %v, %v; closed form %v", tc, old, err, h)
				}
			}
		}
	}
}

// Latent heat of the densities, the two enthalpies of SR1-86, and IF97's own slope of
// the saturation line with the same densities (Clapeyron) agree.
func TestClapeyronHoldsAlongTheSaturationLine(t *testing.T) {
	t.Parallel()
	value := must(t)
	for tc := 0.5; tc <= 199; tc += 0.5 {
		c := units.Celsius(tc)
		l := value(thermo.LatentHeat(c))
		d := value(thermo.SaturatedSteamEnthalpy(c)) - value(thermo.SaturatedLiquidEnthalpy(c))
		if math.Abs(l/d-1) > 1e-12 {
			t.Fatalf("%v C: latent heat %v, enthalpies %v", tc, l, d)
		}
		const e = 0.01
		up, _ := thermo.SaturationPressure(c + e)
		down, _ := thermo.SaturationPressure(c - e)
		g, _ := thermo.SteamDensity(c)
		f, _ := thermo.WaterDensity(c)
		clapeyron := (tc + 273.15) * float64(up-down) / (2 * e) * (1/float64(g) - 1/float64(f))
		if math.Abs(clapeyron/l-1) > 1.5e-3 {
			t.Fatalf("%v C: latent heat %v, by IF97's slope %v", tc, l, clapeyron)
		}
	}
	// At the triple point sublimation is fusion and vaporisation; the frost line meets
	// the water line.
	s, v := value(thermo.SublimationHeat(0.01)), value(thermo.LatentHeat(0.01))
	if math.Abs(s-v-thermo.LatentHeatFusion)/s > 5e-4 {
		t.Errorf("sublimation %v, vaporisation %v, fusion %v", s, v, thermo.LatentHeatFusion)
	}
	a, _ := thermo.FrostPressure(0.01)
	b, _ := thermo.SaturationPressure(0.01)
	if math.Abs(float64(a/b)-1) > 1e-4 {
		t.Errorf("triple point: %v over ice, %v over water", float64(a), float64(b))
	}
}

// Region 1: cp is the slope of h, the expansion that of the volume; the density of SR1-86
// at saturation agrees.
func TestWaterPropertiesAgreeWithEachOther(t *testing.T) {
	t.Parallel()
	const d = 0.01
	for k := 274.0; k < 413; k += 3.1 {
		const mpa = 0.5
		v, _, cp, beta := thermo.Region1(k, mpa)
		v1, h1, _, _ := thermo.Region1(k+d, mpa)
		v0, h0, _, _ := thermo.Region1(k-d, mpa)
		if math.Abs((h1-h0)/(2*d)/cp-1) > 1e-6 || math.Abs((v1-v0)/(2*d)/v-beta) > 1e-9 {
			t.Fatalf("%v K: dh/dT %v, cp %v; dv/dT/v %v, beta %v", k, (h1-h0)/(2*d), cp, (v1-v0)/(2*d)/v, beta)
		}
	}
	lastPr, lastMu := math.Inf(1), math.Inf(1)
	for tc := 0.0; tc <= 140; tc += 0.5 {
		w, err := thermo.WaterAt(units.Celsius(tc))
		if err != nil {
			t.Fatal(err)
		}
		rho, _ := thermo.WaterDensity(units.Celsius(tc))
		if math.Abs(float64(w.Density/rho)-1) > 1e-4 || w.Prandtl >= lastPr || w.Viscosity >= lastMu || (w.Expansion > 0) != (tc > 3.9) {
			t.Fatalf("%v C: %+v, saturated density %v", tc, w, float64(rho))
		}
		lastPr, lastMu = w.Prandtl, w.Viscosity
	}
	w, _ := thermo.WaterAt(60)
	ra, err := w.Rayleigh(10, units.Metre/2)
	want := 9.80665 * w.Expansion * 10 * 0.125 / (w.Kinematic * w.Diffusivity)
	if err != nil || math.Abs(ra/want-1) > 1e-12 {
		t.Errorf("Rayleigh %v, %v; want %v", ra, err, want)
	}
}

func TestMoistAirRoundTrips(t *testing.T) {
	t.Parallel()
	for _, p := range []units.Pressure{70e3, 92e3, units.Atmosphere} {
		for tc := -20.0; tc <= 95; tc += 2.7 {
			lastWet := math.Inf(-1)
			for rh := 0.02; rh <= 1; rh += 0.07 {
				m, err := thermo.MoistAirAt(units.Celsius(tc), rh, p)
				if err != nil {
					if strings.Contains(err.Error(), "steam") {
						continue
					}
					t.Fatal(err)
				}
				wet := float64(m.WetBulb)
				if wet > tc+1e-6 || wet < float64(m.DewPoint)-0.1 || wet < lastWet-1e-9 {
					t.Fatalf("%v C, %v: dew %v, wet %v, last %v", tc, rh, float64(m.DewPoint), wet, lastWet)
				}
				lastWet = wet
				saturated, err := thermo.VapourPressure(m.DewPoint, 1)
				if err == nil && m.DewPoint >= -60 {
					var f float64
					f, err = thermo.EnhancementFactor(m.DewPoint, p)
					saturated *= units.Pressure(f)
				}
				// Between 611.213 and 611.657 Pa the frost and the water line overlap.
				if err != nil || math.Abs(float64(saturated/m.VapourPressure)-1) > 1e-3 {
					t.Fatalf("%v C, %v: dew point %v holds %v, want %v, %v", tc, rh, float64(m.DewPoint), float64(saturated), float64(m.VapourPressure), err)
				}
				if wet > -0.5 && wet < 0.5 {
					continue // ice and water branches overlap at 0 C
				}
				back, err := thermo.MoistAirFromWetBulb(units.Celsius(tc), m.WetBulb, p)
				if err != nil || math.Abs(back.RelativeHumidity-rh) > 1e-6 {
					t.Fatalf("%v C, %v: back %v, %v", tc, rh, back.RelativeHumidity, err)
				}
			}
		}
	}
	dry, _ := thermo.AirAt(30, units.Atmosphere)
	same, err := thermo.MoistAirAt(30, 0, units.Atmosphere)
	if err != nil || math.Abs(same.Viscosity/(dry.Viscosity*float64(dry.Density))-1) > 1e-12 || math.Abs(same.Conductivity/dry.Conductivity-1) > 1e-12 {
		t.Errorf("dry %+v, moist without vapour %+v, %v", dry, same, err)
	}
	// h/h_m = rho·cp·Le^(2/3) by its definition.
	hm, err := same.MassTransferCoefficient(10)
	if err != nil || math.Abs(10/hm/(float64(same.Density)*same.SpecificHeat*math.Pow(same.Lewis, 2.0/3))-1) > 1e-12 {
		t.Errorf("mass transfer %v, %v", hm, err)
	}
}

func TestInversesReturn(t *testing.T) {
	t.Parallel()
	value := must(t)
	for x := 0.0; x <= 70; x += 0.7 {
		for _, tc := range []units.Celsius{0, 20, 85, 100} {
			d, err := thermo.SucroseDensity(x, tc)
			if err != nil {
				t.Fatal(err)
			}
			if b := value(thermo.SucroseBrix(d, tc)); math.Abs(b-x) > 1e-8 {
				t.Fatalf("%v Brix at %v came back as %v", x, tc, b)
			}
		}
		if b := value(thermo.BrixOfRefractiveIndex(value(thermo.SucroseRefractiveIndex(x)))); math.Abs(b-x) > 1e-8 {
			t.Fatalf("%v Brix came back as %v by its index", x, b)
		}
	}
	for z := -499.0; z <= 11000; z += 137 {
		p, _ := thermo.AtmospherePressure(z)
		if back := value(thermo.AtmosphereAltitude(p)); math.Abs(back-z) > 1e-6 {
			t.Fatalf("%v m came back as %v", z, back)
		}
	}
	for tc := -120.0; tc <= 0; tc += 1.3 {
		p, _ := thermo.FrostPressure(units.Celsius(tc))
		if back, err := thermo.FrostPoint(p); err != nil || math.Abs(float64(back)-tc) > 1e-7 {
			t.Fatalf("%v C came back as %v, %v", tc, float64(back), err)
		}
	}
	for m := 0.0; m <= 8; m += 0.1 {
		f, _ := thermo.SolutionFreezingPoint(m)
		if back := value(thermo.FreezingOsmolality(f)); math.Abs(back-m) > 1e-9 {
			t.Fatalf("%v mol/kg came back as %v", m, back)
		}
	}
	dry := thermo.Composition{Protein: 0.6, Fat: 0.1, Carbohydrate: 0.1, Ash: 0.2}
	for s := 0.0; s <= 0.3; s += 0.01 {
		r, err := thermo.StockSolids(value(thermo.StockBrix(s, dry)), dry)
		if err != nil || math.Abs(r.Solids-s) > 1e-9 || r.Low > r.Solids || r.High < r.Solids {
			t.Fatalf("solids %v came back as %+v, %v", s, r, err)
		}
	}
}

// A dilute solution obeys the two colligative constants, and sugar alone reads true.
func TestSmallSolutionsBehave(t *testing.T) {
	t.Parallel()
	f, _ := thermo.SolutionFreezingPoint(0.01)
	if k := -float64(f) / 0.01; math.Abs(k-1.860) > 0.002 { // cryoscopic constant of water, CRC Handbook, from memory
		t.Errorf("cryoscopic constant %v", k)
	}
	b0, _ := thermo.SolutionBoilingPoint(units.Atmosphere, 0)
	b1, _ := thermo.SolutionBoilingPoint(units.Atmosphere, 0.01)
	if k := float64(b1-b0) / 0.01; math.Abs(k-0.512) > 0.003 { // ebullioscopic constant, CRC Handbook, from memory
		t.Errorf("ebullioscopic constant %v", k)
	}
	r, err := thermo.StockSolids(10, thermo.Composition{Carbohydrate: 1})
	if err != nil || math.Abs(r.Solids-0.10) > 0.001 {
		t.Errorf("10 Brix of sugar: %+v, %v", r, err)
	}
	p, err := thermo.StockSolids(10, thermo.Composition{Protein: 1})
	if err != nil || p.Factor > 0.81 || p.Factor < 0.74 {
		t.Errorf("10 Brix of protein: %+v, %v", p, err)
	}
	// Schwartzberg's molar mass puts Miles' ice where it is.
	m, err := thermo.Composition{Water: 0.847, Carbohydrate: 0.153}.EffectiveMolarMass(-1.8)
	if err != nil || math.Abs(m-0.184) > 0.004 { // grapes, 0.1836 by the exact relation (Singh and Heldman, from memory)
		t.Errorf("effective molar mass %v, %v", m, err)
	}
	// Twice the solids of a stock, more than twice the depression.
	one, _ := thermo.StockOfSolids(0.05)
	two, _ := thermo.StockOfSolids(0.10)
	t1, err1 := one.FreezingPoint()
	t2, err2 := two.FreezingPoint()
	if err1 != nil || err2 != nil || t1 >= 0 || t2 >= 2*t1 {
		t.Errorf("5 %% freezes at %v, 10 %% at %v", float64(t1), float64(t2))
	}
	for class, want := range map[thermo.FoodClass]float64{thermo.Meat: -0.87, thermo.FruitVegetable: -0.618, thermo.Juice: -1.022} {
		tf, err := thermo.FreezingPointByWater(class, map[thermo.FoodClass]float64{thermo.Meat: 0.75, thermo.FruitVegetable: 0.85, thermo.Juice: 0.90}[class])
		if err != nil || math.Abs(float64(tf)-want) > 0.005 { // arithmetic of the fits
			t.Errorf("class %d: %v, %v; want %v", class, float64(tf), err, want)
		}
	}
}
