package chill_test

import (
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"strconv"
	"testing"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// published is one value from outside of the project.
type published struct {
	model  string // row of the table in doc.go
	source string
	got    func(t *testing.T) float64
	want   float64
	tol    float64 // a share of want; in the unit of the row when per is set
	per    float64 // what a deviation is divided by for the table, 0 means want: a step of temperature
	why    string  // of the tolerance
}

// Where the sources were read. Companions are the worked examples of the books as
// scripts in github.com/FOSSEE/Scilab-TBC-Uploads (commit b1f5c3f8 unless said): inputs as
// printed in the book, the answer as their script computes it.
const (
	som        = "Som, Introduction to Heat Transfer, "
	companion  = ", companion 1910/CH10"
	incropera  = "Incropera, DeWitt, Bergman and Lavine, "
	mixing     = "Penney and Atiemo-Obeng, Handbook of Industrial Mixing, chapter 14, as reproduced in github.com HugoMVale/polykin Nu_tank"
	htTests    = ", as checked in github.com/CalebBell/ht"
	geankoplis = "Geankoplis, Transport Processes, "
	vdi        = "VDI Heat Atlas, 2nd ed., section F2, example 1, p. 667, as checked in github.com/jjgomera/pychemqt"
	tlv        = "TLV, Overall heat transfer coefficient (inputs and gains read in its article)"
)

func ok[T any](t *testing.T) func(T, error) T {
	t.Helper()
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// plates runs one section with given UA.
func plates(t *testing.T, flow, cp, start, ua, coolant, coolantHeat, in float64) chill.PlateCooling {
	t.Helper()
	return ok[chill.PlateCooling](t)(chill.PlateCooler{
		Flow: flow, SpecificHeat: cp, Start: units.Celsius(start), Batch: 1,
		Sections: []chill.Section{{UA: ua, Coolant: coolant, CoolantHeat: coolantHeat, CoolantIn: units.Celsius(in)}},
	}.Run())
}

func exchangerRows() []published {
	return []published{
		{"PlateCooler", som + "example 10.5" + companion + " (counter-flow, 2 kg/s of 160 C against 1.2 kg/s of 30 C; area by the logarithmic mean difference so that the water leaves at 90 C; all 55 K lower here)", func(t *testing.T) float64 {
			const duty = 300960.0
			return float64(plates(t, 2, 4310, 160-55, duty/lmtd(160-90, 160-duty/8620-30), 1.2, 4180, 30-55).Sections[0].CoolantOut) + 55
		}, 90, 1e-6, 0, "closed form: mean difference and NTU are the same law"},
		{"PlateCooler", som + "example 10.6" + companion + " (NTU 1.8617)", func(t *testing.T) float64 {
			return plates(t, 1.5, 1880, 100, 15*350, 0.8, 4180, 15).Sections[0].NTU
		}, 1.8617, 1e-4, 0, "digits computed by the companion"},
		{"PlateCooler", som + "example 10.6" + companion + " (effectiveness 0.6837)", func(t *testing.T) float64 {
			return plates(t, 1.5, 1880, 100, 15*350, 0.8, 4180, 15).Sections[0].Effectiveness
		}, 0.68372, 1e-4, 0, "digits computed by the companion"},
		{"PlateCooler", som + "example 10.6" + companion + " (163.9 kW at an inlet difference of 85 K)", func(t *testing.T) float64 {
			return float64(plates(t, 1.5, 1880, 100, 15*350, 0.8, 4180, 15).Duty) / 1000
		}, 163.89, 1e-4, 0, "digits computed by the companion"},
		{"PlateCooler", "Granet, Thermodynamics and Heat Power, problem 11.24, companion 2417/CH11 (oil 215 to 125 F against water 60 to 90 F; 500.3 ft2 at 40 Btu/h ft2 F): oil out, F", func(t *testing.T) float64 {
			// Btu, lb and F are consistent: heat flows in Btu/h F, 25 F taken off both inlets.
			const m, cp, area, u = 24000.0, 0.85, 500.26, 40.0
			w := m * cp * 90 / 30
			e := ok[float64](t)(chill.CounterflowEffectiveness(area*u/(m*cp), m*cp/w))
			return 215 - e*(215-60)
		}, 125, 1e-3, 0, "the area is rounded to 0.1 ft2"},
		{"PlateCooler", incropera + "example 11.1 (from memory: oil 0.1 kg/s, 2131 J/kg K, 100 to 60 C; water 0.2 kg/s, 30 C; U 37.8, D 25 mm, L 66.5 m)", func(t *testing.T) float64 {
			return float64(plates(t, 0.1, 2131, 100, 37.8*math.Pi*0.025*66.5, 0.2, 4178, 30).Outlet)
		}, 60, 0.1, 100 - 30, "U and L are printed to three digits, 0.1 % of a duty of 40 K"},
		{"PlateCooler", incropera + "example 11.1 (from memory): water out", func(t *testing.T) float64 {
			return float64(plates(t, 0.1, 2131, 100, 37.8*math.Pi*0.025*66.5, 0.2, 4178, 30).Sections[0].CoolantOut)
		}, 40.2, 0.06, 100 - 30, "printed to 0.1 C, and the digits of U and L"},
	}
}

func lmtd(a, b float64) float64 { return (a - b) / math.Log(a/b) }

func stirred(t *testing.T, s chill.Stirring) chill.StirredFilm {
	t.Helper()
	return ok[chill.StirredFilm](t)(s.Film())
}

func filmRows() []published {
	thick := chill.Stirring{Impeller: chill.DiskTurbine, Diameter: 0.61, Vessel: 1.83, Speed: 100.0 / 60, Density: 961, Viscosity: 1, WallViscosity: 0.084, SpecificHeat: 2500, Conductivity: 0.173}
	// Kern in SI: 0.6 ft, 7500/h, 62.5 lb/ft3, 1.06 lb/ft h, 0.38 Btu/h ft F, 1.01 ft.
	kern := chill.Stirring{Impeller: chill.Paddle, Diameter: 0.6 * 0.3048, Vessel: 1.01 * 0.3048, Speed: 7500.0 / 3600, Density: 1001.15, Viscosity: 1.06 * 4.13379e-4, SpecificHeat: 4186.8, Conductivity: 0.38 * 1.730735}
	return []published{
		{"Stirring", mixing + ": 2 m vessel, hydrofoil of 2/3 m at 120/min in water", func(t *testing.T) float64 {
			return stirred(t, chill.Stirring{Impeller: chill.Hydrofoil, Diameter: 2.0 / 3, Vessel: 2, Speed: 2, Density: 1000, Viscosity: 1e-3, SpecificHeat: 4200, Conductivity: 0.6}).Film
		}, 1600, 0.035, 0, "printed to two digits"},
		{"Stirring", geankoplis + "example 4.13-1 (from memory): baffled turbine, Re 596", func(t *testing.T) float64 { return stirred(t, thick).Reynolds }, 596, 2e-3, 0, "printed to three digits"},
		{"Stirring", geankoplis + "example 4.13-1 (from memory): 170.6 W/m2 K", func(t *testing.T) float64 { return stirred(t, thick).Film }, 170.6, 5e-3, 0, "printed to four digits"},
		{"Stirring", "Kern, Process Heat Transfer, example 20.1, companion 1328/CH20 (commit 7f60ea01): Re 1.6e5", func(t *testing.T) float64 { return stirred(t, kern).Reynolds }, 1.592e5, 5e-3, 0, "unit conversion"},
		{"Stirring", "Kern, example 20.1: j 1100, read off figure 20.2, Nu = j·Pr^(1/3)", func(t *testing.T) float64 {
			f := stirred(t, kern)
			return f.Nusselt / math.Cbrt(f.Prandtl)
		}, 1100, 0.05, 0, "the book reads a logarithmic chart; the line itself is 0.36·Re^(2/3), 1057"},
		{"Overall", tlv + ": 15 mm steel, hot water against steam, gain 17 %", func(t *testing.T) float64 {
			wall := chill.Layer{Thickness: 0.015, Conductivity: 50}
			return (ok[float64](t)(chill.Overall(1000, 10000, wall))/ok[float64](t)(chill.Overall(1000, 3000, wall)) - 1) * 100
		}, 17, 0.5, 100, "printed in whole per cent"},
		{"Overall", tlv + ": with 1 mm glass, gain 9 %", func(t *testing.T) float64 {
			wall, glass := chill.Layer{Thickness: 0.015, Conductivity: 50}, chill.Layer{Thickness: 0.001, Conductivity: 0.9}
			return (ok[float64](t)(chill.Overall(1000, 10000, wall, glass))/ok[float64](t)(chill.Overall(1000, 3000, wall, glass)) - 1) * 100
		}, 9, 0.5, 100, "printed in whole per cent"},
		{"Nusselt", incropera + "example 9.2" + htTests + " and in pychemqt: Ra 1.813e9, Pr 0.69, Nu 147", func(t *testing.T) float64 {
			return ok[float64](t)(chill.VerticalNusselt(1.813e9, 0.69))
		}, 147, 5e-3, 0, "printed to three digits"},
		{"Nusselt", vdi + ": Ra 9.26e8, Pr 0.7, Nu 120", func(t *testing.T) float64 {
			return ok[float64](t)(chill.VerticalNusselt(9.26e8, 0.7))
		}, 120, 5e-3, 0, "printed to three digits"},
		{"Nusselt", "McAdams, horizontal plate" + htTests + ": Ra 5.54·3.21e8, Nu 181.73", func(t *testing.T) float64 {
			return ok[float64](t)(chill.HorizontalNusselt(5.54 * 3.21e8))
		}, 181.73, 1e-4, 0, "the same equation"},
		{"Nusselt", incropera + "example 7.3" + htTests + ": cylinder, Re 6071, Pr 0.7, Nu 40.6", func(t *testing.T) float64 {
			return ok[float64](t)(chill.CylinderNusselt(6071, 0.7))
		}, 40.637, 1e-4, 0, "the same equation"},
		{"Nusselt", incropera + "example 7.1 (from memory): plate, Re 9597, Pr 0.687, Nu 57.4", func(t *testing.T) float64 {
			return ok[float64](t)(chill.PlateNusselt(9597, 0.687))
		}, 57.4, 2e-3, 0, "printed to three digits"},
	}
}

// warmed is the stock after minutes in the tub of foodbanter.com/general-cooking/
// 89139-cooling-stock-revisited.html: a copper pot of 8 in with 3.5 to 4 quarts, 160 F, in
// tap water of 64 F. The bath is what the heat balance at 15 min makes it (stock 85 F, bath
// 71 F: 38 kg), the coefficient what 85 F at 15 min makes it.
func warmed(t *testing.T, minutes float64) (stock, bath float64) {
	t.Helper()
	const mass, water = 3.55, 3.55 * (160 - 85) / (71 - 64)
	f := func(deg float64) units.Celsius { return units.Fahrenheit(deg).Celsius() }
	end := (mass*160.0 + water*64) / (mass + water)
	const cp = thermo.SpecificHeatWater
	ua := -math.Log((85-end)/(160-end)) / 900 / (1/(mass*cp) + 1/(water*cp))
	m := ok[*chill.IceBath](t)(chill.NewIceBath(chill.Bath{Mass: mass, SpecificHeat: cp, Coefficient: ua / 0.17, Area: 0.17, Start: f(160), Water: water, WaterStart: f(64)}))
	s := ok[chill.State](t)(m.Step(time.Duration(minutes * float64(time.Minute))))
	return float64(s.Core.Fahrenheit()), float64(s.Surroundings.Fahrenheit())
}

// tub is a straight container as wide as high, still and thick, in air of 3.3 C (38 F).
func tub(t *testing.T, gallons float64, from, to, air units.Fahrenheit) float64 {
	t.Helper()
	v := gallons * float64(units.USGallon)
	d := math.Cbrt(v * 4 / math.Pi)
	p := ok[chill.StillPot](t)(chill.CylinderPot(units.Length(d), units.Length(d), 1000))
	p.SpecificHeat, p.Conductivity, p.GelBelow = 3800, 0.55, 150
	p.Start, p.Air = from.Celsius(), air.Celsius()
	d2, reached, err := chill.TimeTo(ok[*chill.Pot](t)(chill.NewPot(p)), to.Celsius(), 200*time.Hour)
	if err != nil || !reached {
		t.Fatal(reached, err)
	}
	return d2.Hours()
}

const dickerson = "Dickerson and Read, Cooling Rates of Foods, J. Milk Food Technol. 36 (1973), abstract read at paperexplained.cn"

func coolingRows() []published {
	return []published{
		{
			"Pot", dickerson + ": 8 gal of white sauce, 105 to 57 F in 25 h", func(t *testing.T) float64 { return tub(t, 8, 105, 57, 38) }, 25, 0.35, 0,
			"container and air are not in the abstract: taken as wide as high, k 0.55, still air of 38 F",
		},
		{"-", dickerson + ": twice the dimension, four times the time (bare surface)", func(t *testing.T) float64 {
			took := func(thick float64) float64 {
				m := solid(t, chill.Body{Shape: chill.Slab, Thickness: units.Length(thick), Material: stock(), Film: 1e5, Start: 60, Surroundings: 3})
				d, _, err := chill.TimeTo(m, 10, 100*time.Hour)
				if err != nil {
					t.Fatal(err)
				}
				return d.Hours()
			}
			return took(0.1) / took(0.05)
		}, 4, 1e-3, 0, "exact for a bare surface"},
		{"IceBath", "stock pot in tap water, readings in a forum: bath after 45 min 72 F", func(t *testing.T) float64 { _, b := warmed(t, 45); return b }, 72, 1, 160 - 64, "an amateur's thermometer, whole F"},
		{
			"IceBath", "the same: stock after 45 min 75 F", func(t *testing.T) float64 { s, _ := warmed(t, 45); return s }, 75, 3, 160 - 64,
			"the film of a still pot falls with the difference, the model's stays: 72.4 F, 2.6 F too cold",
		},
		{"TwoPointRate", "Hedeen, Schaffner and Brown, rate of the Food Code's first stage at 37 F", func(t *testing.T) float64 {
			return ok[float64](t)(chill.TwoPointRate(at(0, units.InFahrenheit(135)), at(120, units.InFahrenheit(70)), units.InFahrenheit(37)))
		}, 0.236, 2e-3, 0, "arithmetic, three digits"},
		{"Door", "Heatcraft engineering manual H-ENGM0408, p. 5: 4.88·sqrt(height)·(area/2)·minutes·sqrt(dT)·dh/v, another formula: ratio of ours with the doorway flow factor 0.8 to it, 90 F 60 % outside, 35 F 85 % inside, 3 by 7 ft", func(t *testing.T) float64 {
			in := ok[chill.MoistAir](t)(chill.MoistAirAt(units.Fahrenheit(35).Celsius(), 0.85))
			out := ok[chill.MoistAir](t)(chill.MoistAirAt(units.Fahrenheit(90).Celsius(), 0.60))
			ours := float64(ok[units.Power](t)(chill.Door{Width: 3 * units.Foot, Height: 7 * units.Foot, Open: 1, Flow: 0.8}.Infiltration(in, out)))
			// ft3/min through half the door, times Btu/lb over ft3/lb of the incoming air.
			cfm := 4.88 * math.Sqrt(7) * 21 / 2 * math.Sqrt(90-35)
			m3s := cfm * 0.0283168 / 60
			return ours / (m3s * out.Density * (out.Enthalpy - in.Enthalpy))
		}, 1, 0.2, 0, "two empirical formulas, ours for a developed exchange (1.49 without the factor), which is the cautious side"},
		{"Door", "ASHRAE Handbook, Fundamentals, table of moist air at 1 atm (from memory): 20 C saturated, 57.55 kJ/kg", func(t *testing.T) float64 {
			return ok[chill.MoistAir](t)(chill.MoistAirAt(20, 1)).Enthalpy / 1000
		}, 57.55, 0.01, 0, "ideal gas against real gas, and the saturation pressure without the enhancement factor of 0.4 %"},
	}
}

// TestDevicesMeetPublishedValues holds every row and keeps the worst of each model for
// the table in doc.go.
func TestDevicesMeetPublishedValues(t *testing.T) {
	t.Parallel()
	type sum struct {
		n     int
		worst float64
	}
	found := map[string]sum{}
	rows := append(append(exchangerRows(), filmRows()...), coolingRows()...)
	for _, r := range rows {
		got := r.got(t)
		d, per := math.Abs(got-r.want), r.per
		allowed := r.tol
		if per == 0 {
			per, allowed = r.want, r.tol*r.want
		}
		if !(d <= allowed) {
			t.Errorf("%s: %s: %g, published %g, off by %.3g, allowed %g (%s)", r.model, r.source, got, r.want, d, allowed, r.why)
		}
		if r.model != "-" {
			v := found[r.model]
			found[r.model] = sum{v.n + 1, math.Max(v.worst, 100*d/per)}
		}
	}
	doc, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	told := map[string][]string{}
	for _, m := range regexp.MustCompile(`(?m)^//\t(\w+)\s*\|.*\|\s*(\d+)\s*\|\s*([\d.]+) %`).FindAllStringSubmatch(string(doc), -1) {
		told[m[1]] = m
	}
	for model, v := range found {
		m, have := told[model]
		if !have {
			t.Errorf("doc.go has no row for %s: %d checks, worst %.2f %%", model, v.n, v.worst)
			continue
		}
		n, _ := strconv.Atoi(m[2])
		worst, _ := strconv.ParseFloat(m[3], 64)
		if n != v.n || worst < v.worst || worst > v.worst+0.1 {
			t.Errorf("doc.go says %s: %d checks, worst %v %%; measured %d and %.3f %%", model, n, worst, v.n, v.worst)
		}
	}
}

// missed values: what was read but is not met, and why.
//
// Dickerson and Read, 14 gal of beef stew from 115 to 50 F in 84 h: a vessel as wide as
// high in still air of 38 F takes less, since meat and vegetables conduct less than the
// 0.55 W/m·K taken here and neither the shape of the vessel nor the air is in the
// abstract. In air of 45 F it would be met. The test keeps the number from drifting.
func TestKnownMiss(t *testing.T) {
	t.Parallel()
	cold, warm := tub(t, 14, 115, 50, 38), tub(t, 14, 115, 50, 45)
	t.Logf("14 gal: %.0f h in 38 F, %.0f h in 45 F, published 84 h", cold, warm)
	if cold > 84 || warm < 70 {
		t.Errorf("14 gal: %.0f h in 38 F, %.0f h in 45 F", cold, warm)
	}
}

const igo = "Igo, Hedeen and Schaffner, J. Food Prot., abstract read at researchwithrutgers.com"

// within4 tells whether a pan of 2.5 in of entree reaches 45 F within 4 h of 140 F.
func within4(t *testing.T, m chill.Material) bool {
	t.Helper()
	c := ok[*chill.Chiller](t)(chill.NewChiller(chill.Blast{Air: 3, Loads: []chill.Pans{{Count: 1, Depth: 2.5 * units.Inch, Area: 0.16, Material: m, Film: 10, Start: 60}}}))
	d, reached, err := chill.TimeTo(c, units.Fahrenheit(45).Celsius(), 12*time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	return reached && d <= 4*time.Hour
}

// Igo, Hedeen and Schaffner: almost all typical cooling curves are straight in log(T -
// Tdrive) with R² above 0.90. Those of the numerical models are, so that one exponential
// is a fair basis of a forecast.
func TestCurvesAreNearlyStraight(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(5, 29))
	straight := 0
	for range 29 { // foods
		s := draw(t, r)
		air := float64(s.model.State().Surroundings)
		var n, sx, sy, sxx, sxy, syy float64
		for s.model.State().Core > 5 && s.model.State().Elapsed < 12*time.Hour {
			x, y := s.model.State().Elapsed.Hours(), math.Log(float64(s.model.State().Core)-air)
			n, sx, sy, sxx, sxy, syy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y, syy+y*y
			ok[chill.State](t)(s.model.Step(5 * time.Minute))
		}
		c := n*sxy - sx*sy
		if r2 := c * c / ((n*sxx - sx*sx) * (n*syy - sy*sy)); r2 > 0.90 {
			straight++
		}
	}
	if straight < 26 {
		t.Errorf("%d of 29 curves are straight", straight)
	}
}

// Published verdicts: what passed and what did not.
func TestPublishedVerdicts(t *testing.T) {
	t.Parallel()
	chili := chill.Material{Density: 1040, SpecificHeat: 3650, Conductivity: 0.53} // Choi and Okos, 0.75 water, rounded
	meets := func(m chill.Model, err error) bool {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		_, margin, err := chill.Predict(m, chill.FoodCode2022())
		if err != nil {
			t.Fatal(err)
		}
		return margin >= 0
	}
	pan := func(inches float64, air units.Celsius, film float64) bool {
		m, err := chill.NewChiller(chill.Blast{Air: air, Loads: []chill.Pans{{Count: 1, Depth: units.Length(inches) * units.Inch, Area: 0.077, Material: chili, Film: film, Start: 85}}})
		return meets(m, err)
	}
	pot, err := chill.CylinderPot(0.25, units.Length(3*float64(units.USGallon)/(math.Pi*0.25*0.25/4)), 1040)
	if err != nil {
		t.Fatal(err)
	}
	pot.SpecificHeat, pot.Conductivity, pot.GelBelow, pot.Film, pot.Start, pot.Air = 3650, 0.53, 150, 10, 85, 3
	const (
		// Films of the rooms are ours: 10 W/m2·K where a fan runs, 15 in a walk-in freezer,
		// 25 in a blast chiller; the studies do not state air speeds.
		walkIn, freezer, blast = 10, 15, 25
		olds                   = "Olds and Sneed, J. Child Nutr. Manag. 29 (2005), abstract read at schoolnutrition.org"
		roberts                = "Roberts et al., Food Prot. Trends 33 (2013) 27, abstract read at foodprotection.org"
	)
	for _, c := range []struct {
		source string
		got    bool
		want   bool
	}{
		{olds + ": 2.5 in pan in a walk-in refrigerator fails", pan(2.25, 3, walkIn), false},
		{olds + ": 4 in pan in a walk-in refrigerator fails", pan(3.75, 3, walkIn), false},
		{olds + ": three-gallon stockpot in a walk-in refrigerator fails", meets(chill.NewPot(pot)), false},
		{olds + ": 2.5 in pan in a blast chiller meets the code", pan(2.25, -5, blast), true},
		{roberts + ": 2 in in a walk-in freezer meets the code", pan(2, -18, freezer), true},
		{roberts + ": 2 in in a walk-in refrigerator does not", pan(2, 3, walkIn), false},
		{roberts + ": 3 in in a walk-in refrigerator does not", pan(3, 3, walkIn), false},
		{"Bobeng and David, J. Food Prot. 40 (1977) 782, abstract read at meridian.allenpress.com: entrees in a walk-in refrigerator are not at 45 F within 4 h", within4(t, chili), false},
		{igo + ": 3 in or deeper is more likely too slow, as in a walk-in of 3 C", pan(3.01, 3, walkIn), false},
	} {
		if c.got != c.want {
			t.Errorf("%s: computed %v", c.source, c.got)
		}
	}
}
