package thermo_test

import (
	"fmt"
	"math"
	"os"
	"regexp"
	"strconv"
	"testing"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// check compares one published value. Tolerance is the larger of abs and rel·want and
// is never more than the source's own precision or stated accuracy, or the stated
// accuracy of the model where that is coarser; the comment of each group says which.
type check struct {
	group, source string
	what          string
	got           func() (float64, error)
	want          float64
	abs, rel      float64
	miss          string // not empty: the value is known to lie outside, and why
}

// absolute groups are judged in their own unit (K, Brix), the rest in percent.
var absolute = map[string]bool{"boiling-line": true, "standard-temp": true, "solutes": true, "freezing-point": true, "brix-temperature": true, "dew-point": true}

func value(v float64, err error) func() (float64, error) {
	return func() (float64, error) { return v, err }
}

func published() []check {
	var all []check
	for _, f := range []func() []check{publishedSaturation, publishedLiquid, publishedTransport, publishedAir, publishedAtmosphere, publishedSucrose, publishedSolutions, publishedFoods, publishedEnthalpy} {
		all = append(all, f()...)
	}
	return all
}

func (c check) outside(got float64) bool {
	return !(math.Abs(got-c.want) <= math.Max(c.abs, c.rel*math.Abs(c.want)))
}

func TestPublishedValues(t *testing.T) {
	t.Parallel()
	sources := map[string]int{}
	passed := 0
	for _, c := range published() {
		got, err := c.got()
		if err != nil {
			t.Errorf("%s, %s: %v", c.source, c.what, err)
			continue
		}
		switch {
		case c.miss == "" && c.outside(got):
			t.Errorf("%s, %s: got %.8g, want %.8g within %g or %g relative", c.source, c.what, got, c.want, c.abs, c.rel)
		case c.miss != "" && !c.outside(got):
			t.Errorf("%s, %s: got %.8g for %.8g, which is inside: no longer a miss (%s)", c.source, c.what, got, c.want, c.miss)
		case c.miss == "":
			passed++
			sources[c.source]++
		}
	}
	if passed < 100 || len(sources) < 12 {
		t.Errorf("%d values from %d sources pass", passed, len(sources))
	}
}

// The table in doc.go states for each group the number of values and the worst
// deviation; this test measures both and refuses a table that says less.
func TestTheTableInTheDocumentationIsMeasured(t *testing.T) {
	t.Parallel()
	type tally struct {
		count, missed int
		worst         float64
	}
	measured := map[string]tally{}
	for _, c := range published() {
		got, err := c.got()
		if err != nil {
			t.Fatal(err)
		}
		m := measured[c.group]
		if c.miss != "" {
			m.missed++
		} else {
			d := math.Abs(got - c.want)
			if !absolute[c.group] {
				d *= 100 / math.Abs(c.want)
			}
			m.count++
			m.worst = math.Max(m.worst, d)
		}
		measured[c.group] = m
	}
	text, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	row := regexp.MustCompile(`(?m)^//\t([a-z-]+) .* (\d+) +(\d+) +([0-9.]+) (%|K|Bx)$`)
	stated := map[string]bool{}
	for _, m := range row.FindAllStringSubmatch(string(text), -1) {
		name := m[1]
		count, _ := strconv.Atoi(m[2])
		missed, _ := strconv.Atoi(m[3])
		worst, _ := strconv.ParseFloat(m[4], 64)
		stated[name] = true
		got, ok := measured[name]
		if !ok {
			t.Errorf("doc.go has a row %q without checks", name)
			continue
		}
		if got.count != count || got.missed != missed || got.worst > worst || got.worst < worst*0.5 && worst > 0.0001 {
			t.Errorf("doc.go row %s: says %d values, %d missed, worst %v; measured %d, %d, %.6f", name, count, missed, worst, got.count, got.missed, got.worst)
		}
	}
	for name, m := range measured {
		if !stated[name] {
			t.Errorf("doc.go has no row %s: %d values, %d missed, worst %.6f", name, m.count, m.missed, m.worst)
		}
	}
}

const (
	if97      = "IAPWS R7-97 (IF97), as held in jjgomera/iapws test.py"
	sr86      = "IAPWS SR1-86(1992) Table 1, as held in jjgomera/iapws test.py"
	r95       = "IAPWS R6-95 Table 8, as held in jjgomera/iapws test.py"
	r08       = "IAPWS R12-08 Table 4, as held in jjgomera/iapws test.py"
	r15       = "IAPWS R15-11 Table 4, as held in jjgomera/iapws test.py"
	sr6       = "IAPWS SR6-08(2011) Table 8, as held in jjgomera/iapws test.py"
	r1        = "IAPWS R1-76(2014) Table 1, as held in jjgomera/iapws test.py"
	r9        = "IAPWS R9-97 Table 3, as held in jjgomera/iapws test.py"
	r14       = "IAPWS R14-08 Table 3, as held in jjgomera/iapws test.py"
	ice06     = "IAPWS R10-06 Table 6 and R6-95, as held in jjgomera/iapws test.py"
	perry     = "Perry's Handbook 9th ed., Table 2-135 (pdfcoffee.com/steam-table-perrys-handbook-9th-ed-pdf-free.html)"
	ashrae    = "ASHRAE Fundamentals 2017 ch. 1, as held in psychrometrics/psychrolib tests/test_psychrolib_si.py"
	cengel15  = "Cengel, Heat and Mass Transfer, Table A-15 (scribd.com/document/792680261)"
	cengel14  = "Cengel, Heat and Mass Transfer, ch. 14 examples, as in FOSSEE/Python-Textbook-Companions"
	earle     = "Earle, Unit Operations in Food Processing, App. 6 (nzifst.org.nz/resources/unitoperations/appendix6.htm)"
	meteowvl  = "ICAO standard levels, meteowvl table, read when the process references were compiled"
	nbs       = "NBS Circular 440 Table 114, as held in an open calibration script (apparent SG 20/20)"
	crcSugar  = "CRC Handbook, sucrose solutions, as held in pcingola/SnpEff flanagan/physprop/Sucrose.java"
	icumsa    = "ICUMSA 1974 and Landolt-Boernstein anchors, as held in an open reference test"
	oiv       = "OIV MA-AS2-02 Table I (yumpu.com/en/document/view/12038601)"
	smithson  = "Smithsonian Physical Tables 9th ed., freezing point lowering (zanotowane.pl/1028/6486)"
	ashrae9   = "ASHRAE Refrigeration 2006 ch. 9 Table 3 (pdfslide.us, unfrozen composition data)"
	meatBook  = "Meat Refrigeration (James and James) Table 13.2 after Morley 1972 (download.cucdc.com)"
	ashraeMem = "ASHRAE Refrigeration ch. 19 examples, from memory"
	handbook  = "energy handbook: 970.3 Btu/lb at 212 F, read when the process references were compiled"
)

// IF97: nine printed digits, so half a unit of the ninth. ASHRAE Table 3 holds five
// digits (half of the last); SR1-86 as printed. R6-95 is the scientific formulation:
// SR1-86 is a fit to its saturation line within 0.05 % in h and rho.
func publishedSaturation() []check {
	var all []check
	for _, r := range []struct{ k, mpa float64 }{{300, 0.00353658941}, {500, 2.63889776}, {600, 12.3443146}} {
		p, err := thermo.SaturationPressure(units.Kelvin(r.k).Celsius())
		all = append(all, check{"vapour-pressure", if97, fmt.Sprintf("ps(%v K)", r.k), value(float64(p)/1e6, err), r.mpa, 0, 5e-9, ""})
	}
	for _, r := range []struct{ c, pa, half float64 }{{5, 872.6, 0.05}, {25, 3169.7, 0.05}, {50, 12351.3, 0.05}, {100, 101418.0, 0.05}, {150, 476101.4, 0.05}} {
		p, err := thermo.SaturationPressure(units.Celsius(r.c))
		all = append(all, check{"vapour-pressure", ashrae, fmt.Sprintf("ps(%v C), Pa", r.c), value(float64(p), err), r.pa, r.half, 5e-6, ""})
	}
	for _, r := range []struct{ mpa, k float64 }{{0.1, 372.755919}, {1, 453.035632}, {10, 584.149488}} {
		t, err := thermo.SaturationTemperature(units.Pressure(r.mpa * 1e6))
		all = append(all, check{"boiling-line", if97, fmt.Sprintf("Ts(%v MPa), K", r.mpa), value(float64(t.Kelvin()), err), r.k, 6e-7, 0, ""})
	}
	sub, err := thermo.FrostPressure(units.Kelvin(230).Celsius())
	all = append(all, check{"sublimation", r14, "p(230 K), MPa", value(float64(sub)/1e6, err), 8.94735e-6, 5e-12, 0, ""})
	for _, r := range []struct{ c, pa float64 }{{-20, 103.24}, {-5, 401.74}} {
		p, err := thermo.FrostPressure(units.Celsius(r.c))
		all = append(all, check{"sublimation", ashrae, fmt.Sprintf("over ice at %v C, Pa", r.c), value(float64(p), err), r.pa, 0.02, 0, ""})
	}
	h, err := thermo.SublimationHeat(0.01)
	all = append(all, check{"sublimation", ice06, "h'' - h_ice at the triple point, kJ/kg", value(h/1000, err), 2500.5 + 333.444254, 0.6, 0, ""})
	for _, r := range []struct{ k, rhof, rhog, hf, hg, rel float64 }{
		{273.16, 999.789, 0.00485426, 0.611786, 2500.5e3, 2e-5}, {373.1243, 958.365, 0.597586, 419.05e3, 2675.7e3, 2e-5},
	} {
		all = append(all, saturationRow(sr86, r.k, r.rhof, r.rhog, r.hf, r.hg, r.rel)...)
	}
	all = append(all, saturationRow(r95, 275, 999.887406, 0.00550664919, 7.75972202e3, 2504.28995e3, 5e-4)...)
	all = append(all, saturationRow(r95, 450, 890.341250, 4.81200360, 749.161585e3, 2774.41078e3, 5e-4)...)
	hot := saturationRow(r95, 625, 567.090385, 118.290280, 1686.26976e3, 2550.71625e3, 5e-4)
	all = append(all, hot[:4]...) // LatentHeat ends at 200 C
	l, err := thermo.LatentHeat(units.Fahrenheit(212).Celsius())
	return append(all, check{"saturation", handbook, "latent heat at 212 F, Btu/lb", value(l*0.45359237/float64(units.BTU), err), 970.3, 0.25, 0, ""})
}

func saturationRow(source string, k, rhof, rhog, hf, hg, rel float64) []check {
	c := units.Kelvin(k).Celsius()
	d, err1 := thermo.WaterDensity(c)
	s, err2 := thermo.SteamDensity(c)
	a, err3 := thermo.SaturatedLiquidEnthalpy(c)
	b, err4 := thermo.SaturatedSteamEnthalpy(c)
	at := func(what string) string { return fmt.Sprintf("%s at %v K", what, k) }
	return []check{
		{"saturation", source, at("rho'"), value(float64(d), err1), rhof, 0, rel, ""},
		{"saturation", source, at("rho''"), value(float64(s), err2), rhog, 0, rel, ""},
		{"saturation", source, at("h'"), value(a, err3), hf, 0, rel, ""},
		{"saturation", source, at("h''"), value(b, err4), hg, 0, rel, ""},
		{"saturation", source, at("h'' - h' against the latent heat"), latent(c), hg - hf, 0, rel, ""},
	}
}

func latent(c units.Celsius) func() (float64, error) {
	h, err := thermo.LatentHeat(c)
	return value(h, err)
}

// Region 1: nine printed digits. SR6-08 and Perry (NIST) hold the scientific formulation
// at 0.1 MPa and at saturation; IF97 follows it within 0.01 %, and between saturation and
// 0.101 MPa water is 5e-5 denser and its enthalpy up to 0.1 kJ/kg (0.002 kJ/mol) higher.
func publishedLiquid() []check {
	var all []check
	for _, r := range []struct{ k, mpa, v, h, cp float64 }{
		{300, 3, 0.00100215168, 115.331273, 4.17301218}, {300, 80, 0.000971180894, 184.142828, 4.01008987}, {500, 3, 0.00120241800, 975.542239, 4.65580682},
	} {
		v, h, cp, _ := thermo.Region1(r.k, r.mpa)
		at := func(what string) string { return fmt.Sprintf("%s at %v K, %v MPa", what, r.k, r.mpa) }
		all = append(all,
			check{"liquid-state", if97, at("v"), value(v, nil), r.v, 0, 5.1e-9, ""},
			check{"liquid-state", if97, at("h"), value(h/1000, nil), r.h, 0, 5.1e-9, ""},
			check{"liquid-state", if97, at("cp"), value(cp/1000, nil), r.cp, 0, 5.1e-9, ""})
	}
	for _, r := range []struct{ k, cp, rho, vt float64 }{{298.15, 4.18144618, 997.047013, 2.58054178e-7}, {375, 4.21774697, 957.009710, 7.94706623e-7}} {
		w, err := thermo.WaterAt(units.Kelvin(r.k).Celsius())
		at := func(what string) string { return fmt.Sprintf("%s at %v K, 0.1 MPa", what, r.k) }
		all = append(all,
			check{"liquid", sr6, at("cp"), value(w.SpecificHeat/1000, err), r.cp, 0, 5e-4, ""},
			check{"liquid", sr6, at("rho"), value(float64(w.Density), err), r.rho, 0, 2e-5, ""},
			check{"liquid", sr6, at("expansion"), value(w.Expansion, err), r.vt * r.rho, 0, 3e-3, ""})
	}
	for _, r := range perryRows {
		w, err := thermo.WaterAt(units.Kelvin(r.k).Celsius())
		at := func(what string) string { return fmt.Sprintf("%s at %v K", what, r.k) }
		const m = 0.018015268
		all = append(all,
			check{"liquid", perry, at("rho, mol/dm3"), value(float64(w.Density)/m/1000, err), r.rho, 0, 6e-5, ""},
			check{"liquid", perry, at("cp, kJ/mol·K"), value(w.SpecificHeat*m/1000, err), r.cp, 0, 6e-4, ""})
		h, err := thermo.SaturatedLiquidEnthalpy(units.Kelvin(r.k).Celsius())
		all = append(all, check{"saturation", perry, at("h', kJ/mol"), value(h*m/1000, err), r.h, 0, 5e-4, ""})
	}
	return all
}

// perryRows are saturated liquid: K, mol/dm3, kJ/mol, kJ/mol·K, mW/m·K, µPa·s.
var perryRows = []struct{ k, rho, h, cp, lambda, mu float64 }{
	{280, 55.501, 0.51877, 0.075688, 574.04, 1433.7},
	{300, 55.315, 2.0279, 0.075320, 610.28, 853.84},
	{320, 54.919, 3.5339, 0.075317, 639.71, 577.02},
	{340, 54.371, 5.0419, 0.075456, 660.55, 421.97},
	{360, 53.698, 6.5526, 0.075708, 673.76, 326.10},
	{380, 52.918, 8.0725, 0.076098, 681.00, 262.69},
	{400, 52.038, 9.6106, 0.076675, 683.6, 218.8},
}[:6]

// Release tables: as printed. SR6-08 viscosity and conductivity are simpler fits of the
// same releases (0.05 %; R15-11 includes an enhancement of up to 0.1 % that we leave out).
// Perry's conductivity is the formulation before R15-11, whose stated uncertainty below
// 100 C is 1 %.
func publishedTransport() []check {
	var all []check
	for _, r := range []struct{ rho, k, mu float64 }{{998, 298.15, 889.735100}, {1200, 298.15, 1437.649467}, {1000, 373.15, 307.883622}, {1, 433.15, 14.538324}, {1000, 433.15, 217.685358}} {
		all = append(all, check{"viscosity", r08, fmt.Sprintf("mu at %v kg/m3, %v K", r.rho, r.k), value(thermo.Viscosity(r.k, r.rho)*1e6, nil), r.mu, 6e-7, 0, ""})
	}
	for _, r := range []struct{ rho, k, l float64 }{{0, 298.15, 18.4341883}, {998, 298.15, 607.712868}, {1200, 298.15, 799.038144}, {0, 873.15, 79.1034659}} {
		all = append(all, check{"conductivity", r15, fmt.Sprintf("lambda at %v kg/m3, %v K", r.rho, r.k), value(thermo.Conductivity(r.k, r.rho)*1e3, nil), r.l, 6e-7, 0, ""})
	}
	for _, r := range []struct{ k, mu, l float64 }{{298.15, 889.996774, 0.606502308}, {375, 276.207245, 0.677913788}} {
		w, err := thermo.WaterAt(units.Kelvin(r.k).Celsius())
		all = append(all,
			check{"viscosity", sr6, fmt.Sprintf("mu at %v K", r.k), value(w.Viscosity*1e6, err), r.mu, 0, 5e-4, ""},
			check{"conductivity", sr6, fmt.Sprintf("lambda at %v K", r.k), value(w.Conductivity, err), r.l, 0, 1e-3, ""})
	}
	for _, r := range perryRows {
		w, err := thermo.WaterAt(units.Kelvin(r.k).Celsius())
		all = append(all,
			check{"viscosity", perry, fmt.Sprintf("mu at %v K", r.k), value(w.Viscosity*1e6, err), r.mu, 0, 1e-3, ""},
			check{"conductivity", perry, fmt.Sprintf("lambda at %v K", r.k), value(w.Conductivity*1e3, err), r.lambda, 0, 0.01, ""})
	}
	for _, r := range []struct{ c, mn float64 }{{10, 74.22}, {20, 72.74}, {50, 67.94}, {80, 62.67}, {100, 58.91}, {140, 50.86}} {
		all = append(all, check{"surface-tension", r1, fmt.Sprintf("at %v C, mN/m", r.c), value(thermo.SurfaceTension(r.c+273.15)*1e3, nil), r.mn, 0.0051, 0, ""})
	}
	for _, r := range []struct{ k, mpa, wave, n float64 }{{273.15, 0.1, 0.2265, 1.394527}, {273.15, 10, 0.2265, 1.396526}, {373.15, 1, 0.2265, 1.375622}, {373.15, 100, 0.2265, 1.391983}} {
		v, _, _, _ := thermo.Region1(r.k, r.mpa)
		// Density by IF97 instead of R6-95: 1e-5 of it is 4e-6 of the index.
		all = append(all, check{"index", r9, fmt.Sprintf("n at %v K, %v MPa, %v um", r.k, r.mpa, r.wave), value(thermo.WaterIndex(r.k, 1/v, r.wave), nil), r.n, 5e-6, 0, ""})
	}
	return all
}
