package units_test

import (
	"errors"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/floats/scalar"

	"rondeau.internal/pkg/units"
)

// Exact values: NIST Handbook 44 Appendix C and UCUM definitions (gal = 231 in3,
// in = 2.54 cm, lb = 7000 gr, gr = 64.79891 mg, BTU_IT = 1055.05585262 J).
func TestCustomaryUnitsAreTheExactOnes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ text, want string }{
		{"1 gal", "0.003785411784"},
		{"1 qt", "0.000946352946"},
		{"1 pt", "0.000473176473"},
		{"1 cup", "0.0002365882365"},
		{"1 fl oz", "0.0000295735295625"},
		{"1 tbsp", "0.00001478676478125"},
		{"1 tsp", "0.00000492892159375"},
		{"1 lb", "0.45359237"},
		{"1 oz", "0.028349523125"},
		{"1 BTU", "1055.05585262"},
		{"1 in", "0.0254"},
	} {
		r, _ := new(big.Rat).SetString(c.want)
		want, _ := r.Float64()
		q, err := units.ParseQuantity(c.text)
		if err != nil {
			t.Fatal(err)
		}
		if got := q.Unit.Factor(); got != want { // correctly rounded, so equal to the bit
			t.Errorf("%s: factor %v, want %v", c.text, got, want)
		}
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"gallon", float64(units.USGallon), 0.003785411784},
		{"teaspoon", float64(units.USTeaspoon), 0.00000492892159375},
		{"pound", float64(units.Pound), 0.45359237},
		{"ounce", float64(units.Ounce), 0.028349523125},
		// 6894.757293168 Pa: lbf/in2 from exact g, in, lb (NIST SP 811 prints 6.894 757 E+03).
		{"psi", float64(units.PSI), 6894.757293168361},
	} {
		if !scalar.EqualWithinRel(c.got, c.want, 1e-15) {
			t.Errorf("%s constant = %v, want %v", c.name, c.got, c.want)
		}
	}
}

func TestExactTemperatureVectors(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ f, c float64 }{
		{32, 0},
		{41, 5},
		{70, 190.0 / 9},
		{135, 515.0 / 9},
		{140, 60},
		{165, 665.0 / 9},
		{212, 100},
		{0, -160.0 / 9},
		{-40, -40},
	} {
		if got := units.Fahrenheit(c.f).Celsius(); float64(got) != c.c {
			t.Errorf("%v F = %v C, want %v", c.f, float64(got), c.c)
		}
		if got := units.Celsius(c.c).Fahrenheit(); !scalar.EqualWithinAbs(float64(got), c.f, 1e-12) {
			t.Errorf("%v C = %v F, want %v", c.c, float64(got), c.f)
		}
	}
	if got := units.FahrenheitDelta(65).Celsius(); !scalar.EqualWithinAbs(float64(got), 325.0/9, 1e-13) {
		t.Errorf("a difference of 65 F deg = %v C deg, want 325/9", float64(got))
	}
	if got := units.CelsiusDelta(325.0 / 9).Fahrenheit(); !scalar.EqualWithinAbs(float64(got), 65, 1e-13) {
		t.Errorf("a difference of 325/9 C deg = %v F deg, want 65", float64(got))
	}
	if units.InFahrenheit(135).In(units.ScaleFahrenheit).Degrees != 135 {
		t.Error("a temperature read in its own scale must not change")
	}
	if units.InFahrenheit(135).Celsius() == units.InCelsius(57.2).Celsius() {
		t.Error("135 F must not equal 57.2 C")
	}
}

func TestTemperatureRoundTripOnTheTenthDegreeGrid(t *testing.T) {
	t.Parallel()
	for i := -4000; i <= 4000; i++ {
		f := float64(i) / 10
		back := units.Fahrenheit(f).Celsius().Fahrenheit()
		if !scalar.EqualWithinAbs(float64(back), f, 1e-12) {
			t.Fatalf("%v F came back as %v", f, float64(back))
		}
		k := units.Celsius(f / 2).Kelvin().Celsius()
		if !scalar.EqualWithinAbs(float64(k), f/2, 1e-12) {
			t.Fatalf("%v C came back through K as %v", f/2, float64(k))
		}
	}
}

func TestParseKitchenText(t *testing.T) {
	t.Parallel()
	mass := func(s string, want units.Mass) {
		t.Helper()
		got, err := units.ParseMass(s)
		if err != nil || !scalar.EqualWithinAbsOrRel(float64(got), float64(want), 1e-15, 1e-15) {
			t.Errorf("ParseMass(%q) = %v, %v; want %v", s, float64(got), err, float64(want))
		}
	}
	volume := func(s string, want units.Volume) {
		t.Helper()
		got, err := units.ParseVolume(s)
		if err != nil || !scalar.EqualWithinAbsOrRel(float64(got), float64(want), 1e-15, 1e-15) {
			t.Errorf("ParseVolume(%q) = %v, %v; want %v", s, float64(got), err, float64(want))
		}
	}
	mass("4.5kg", 4.5)
	mass("10 lb", 4.5359237)
	mass("  250 Grams ", 0.25)
	mass("1 1/2 oz", 1.5*units.Ounce)
	mass("2 t", 2000)
	volume("1.5 gal", 1.5*units.USGallon)
	volume("20 L", 0.02)
	volume("½ tsp", units.USTeaspoon/2)
	volume("2½ cups", 2.5*units.USCup)
	volume("4 fl oz", 4*units.USFluidOunce)
	if got, err := units.ParsePower("18 kW"); err != nil || got != 18*units.Kilowatt {
		t.Errorf("18 kW = %v, %v", got, err)
	}
	for _, c := range []struct {
		text string
		want units.Temperature
	}{
		{"135F", units.InFahrenheit(135)},
		{"57.2 C", units.InCelsius(57.2)},
		{"-18 °C", units.InCelsius(-18)},
		{"41 deg F", units.InFahrenheit(41)},
		{"300 K", units.Temperature{Degrees: 300, Scale: units.ScaleKelvin}},
	} {
		if got, err := units.ParseTemperature(c.text); err != nil || got != c.want {
			t.Errorf("ParseTemperature(%q) = %v, %v; want %v", c.text, got, err, c.want)
		}
	}
	for _, c := range []struct {
		text string
		want time.Duration
	}{
		{"90min", 90 * time.Minute},
		{"1.5 h", 90 * time.Minute},
		{"1h30min", 90 * time.Minute},
		{"6 hours", 6 * time.Hour},
		{"2 days 3 h", 51 * time.Hour},
	} {
		if got, err := units.ParseDuration(c.text); err != nil || got != c.want {
			t.Errorf("ParseDuration(%q) = %v, %v; want %v", c.text, got, err, c.want)
		}
	}
	if got, err := units.ParseTemperatureDelta("65 F"); err != nil || !scalar.EqualWithinAbs(float64(got), 325.0/9, 1e-13) {
		t.Errorf("delta 65 F = %v, %v", got, err)
	}
}

func TestParseRefusesWhatIsUnclear(t *testing.T) {
	t.Parallel()
	for _, s := range []string{
		"", "kg", "4.5", "4,5 kg", "1,000 g", "1e3 kg", "NaN kg", "Inf kg", "1/0 kg", "1 2 kg", "1.5 1/2 kg", "--4 kg",
		"4 stone", "10 c", "1 T", "10 gr", "1//2 kg", "/2 kg", "1/ kg", "1 1/2 1/2 kg", "1234567890123456789012345 kg", "-4 kg", "4 L",
	} {
		if m, err := units.ParseMass(s); err == nil {
			t.Errorf("ParseMass(%q) = %v, want an error", s, m)
		}
	}
	for _, s := range []string{"-300 C", "-460 F", "-1 K", "20 L"} {
		if v, err := units.ParseTemperature(s); err == nil {
			t.Errorf("ParseTemperature(%q) = %v, want an error", s, v)
		}
	}
	for _, s := range []string{"", "h", "-1 h", "1 h 2", "3 kg", "999999999999 d"} {
		if v, err := units.ParseDuration(s); err == nil {
			t.Errorf("ParseDuration(%q) = %v, want an error", s, v)
		}
	}
}

// Codes seen in published copies of Recommendation 20: KGM, GRM, LTR, MLT, MTQ,
// CMQ, CEL, KEL, JOU, KWH, SEC, MIN, HUR, BAR, H87, C62, GLL, QTL, PTL, OZA, LBR, ONZ.
func TestRec20CodesForEvents(t *testing.T) {
	t.Parallel()
	for code, dim := range map[string]units.Dimension{
		"KGM": units.DimensionMass, "GRM": units.DimensionMass, "LBR": units.DimensionMass, "ONZ": units.DimensionMass,
		"LTR": units.DimensionVolume, "MLT": units.DimensionVolume, "MTQ": units.DimensionVolume, "CMQ": units.DimensionVolume,
		"GLL": units.DimensionVolume, "QTL": units.DimensionVolume, "PTL": units.DimensionVolume, "OZA": units.DimensionVolume,
		"CEL": units.DimensionTemperature, "KEL": units.DimensionTemperature, "FAH": units.DimensionTemperature,
		"JOU": units.DimensionEnergy, "KWH": units.DimensionEnergy, "SEC": units.DimensionTime, "MIN": units.DimensionTime,
		"HUR": units.DimensionTime, "BAR": units.DimensionPressure, "H87": units.DimensionCount, "C62": units.DimensionCount,
	} {
		u, ok := units.ByRec20(code)
		if !ok || u.Dimension != dim || u.Rec20 != code {
			t.Errorf("ByRec20(%s) = %+v, %v", code, u, ok)
		}
	}
	if u, ok := units.ByRec20("QT"); !ok || u.Rec20 != "QTL" {
		t.Error("QT is deprecated in favour of QTL")
	}
	if _, ok := units.ByRec20("Cel"); ok {
		t.Error("UCUM's Cel is not a Recommendation 20 code")
	}
	if u, ok := units.ByUCUM("Cel"); !ok || u.Rec20 != "CEL" {
		t.Error("UCUM Cel is the unit CEL")
	}
	seen := map[string]bool{}
	for _, code := range units.Rec20Codes() {
		if seen[code] || len(code) < 2 || len(code) > 3 { // EPCIS 2.0: ^[A-Z0-9]{2,3}$
			t.Errorf("code %q", code)
		}
		seen[code] = true
	}
}

func TestMilligramsConserve(t *testing.T) {
	t.Parallel()
	if g, err := units.Mass(4.5).Milligrams(); err != nil || g != 4_500_000 {
		t.Errorf("4.5 kg = %d mg, %v", g, err)
	}
	for _, bad := range []units.Mass{units.Mass(math.NaN()), units.Mass(math.Inf(1)), -1, 1e13} {
		if g, err := bad.Milligrams(); err == nil {
			t.Errorf("%v kg = %v, want an error", float64(bad), g)
		}
	}
	if _, err := units.Mass(1e13).Milligrams(); !errors.Is(err, units.ErrOverflow) {
		t.Errorf("too large: %v", err)
	}
	big := units.Milligrams(math.MaxInt64)
	if _, err := big.Add(1); !errors.Is(err, units.ErrOverflow) {
		t.Errorf("MaxInt64 + 1: %v", err)
	}
	if _, err := units.Milligrams(1).Sub(2); !errors.Is(err, units.ErrNegative) {
		t.Errorf("1 - 2: %v", err)
	}
	mg, exact, err := units.ParseMilligrams("1 lb")
	if err != nil || exact || mg != 453592 {
		t.Errorf("1 lb = %d mg, exact %v, %v; want 453592, rounded", mg, exact, err)
	}
	mg, exact, err = units.ParseMilligrams("100 lb") // 45.359237 kg, whole milligrams
	if err != nil || !exact || mg != 45_359_237 {
		t.Errorf("100 lb = %d mg, exact %v, %v", mg, exact, err)
	}
	if s := units.Milligrams(-1_500_000).String(); s != "-1.500000 kg" {
		t.Errorf("String = %s", s)
	}
}

func TestApportionKeepsTheTotal(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	for range 500 {
		total := units.Milligrams(rng.Int64N(math.MaxInt64))
		weights := make([]int64, 1+rng.IntN(9))
		for i := range weights {
			weights[i] = rng.Int64N(1000)
		}
		weights[0]++
		parts, err := total.Apportion(weights)
		if err != nil {
			t.Fatal(err)
		}
		var sum units.Milligrams
		for i, p := range parts {
			ideal := float64(total) * float64(weights[i]) / float64(sumOf(weights))
			if !scalar.EqualWithinAbsOrRel(float64(p), ideal, 1, 1e-14) {
				t.Fatalf("part %d = %d, ideal %g", i, p, ideal)
			}
			if sum, err = sum.Add(p); err != nil {
				t.Fatal(err)
			}
		}
		if sum != total {
			t.Fatalf("parts add up to %d, not %d", sum, total)
		}
	}
	if _, err := units.Milligrams(5).Apportion(nil); err == nil {
		t.Error("no weights must be an error")
	}
}

func sumOf(w []int64) (s int64) {
	for _, v := range w {
		s += v
	}
	return s
}

func TestMassRoundTripsThroughMilligrams(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 4))
	for range 1000 {
		g := units.Milligrams(rng.Int64N(1e15))
		back, err := g.Mass().Milligrams()
		if err != nil || back != g {
			t.Fatalf("%d mg came back as %d, %v", g, back, err)
		}
	}
}

func TestVolumeAndMassMeetOnlyThroughADensity(t *testing.T) {
	t.Parallel()
	v, err := units.VolumeOf(units.MassOf(20*units.Litre, 1010), 1010)
	if err != nil || !scalar.EqualWithinRel(v.Litres(), 20, 1e-15) {
		t.Errorf("20 L came back as %v, %v", v, err)
	}
	for _, d := range []units.Density{0, -1, units.Density(math.NaN()), units.Density(math.Inf(1))} {
		if _, err := units.VolumeOf(1, d); err == nil {
			t.Errorf("density %v must be refused", float64(d))
		}
	}
}

func FuzzParseQuantity(f *testing.F) {
	for _, s := range []string{"4.5kg", "10 lb", "1.5 gal", "135F", "57.2 C", "20 L", "18 kW", "1 1/2 cup", "½ tsp", "-18 °C", "1h30min", "1/0 g", ".", "1. kg"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if q, err := units.ParseQuantity(s); err == nil {
			if v := q.Value(); math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%q gave %v", s, v)
			}
			if _, known := units.ByRec20(q.Unit.Rec20); !known {
				t.Errorf("%q gave unit %q", s, q.Unit.Rec20)
			}
		}
		if m, err := units.ParseMass(s); err == nil && m.Check() != nil {
			t.Errorf("ParseMass(%q) = %v", s, m)
		}
		if d, err := units.ParseDuration(s); err == nil && d < 0 {
			t.Errorf("ParseDuration(%q) = %v", s, d)
		}
		if c, err := units.ParseTemperature(s); err == nil && c.Check() != nil {
			t.Errorf("ParseTemperature(%q) = %v", s, c)
		}
	})
}
