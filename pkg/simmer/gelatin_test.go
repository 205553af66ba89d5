package simmer_test

import (
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/floats/scalar"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

// The kitchen ratio of 8 lb bones to a gallon, 20 % collagen, 20 % of it freed: 0.32 lb in a
// gallon, 3.8 % by hand (upper range). A stock of 2.5 % reduced to a quarter is a
// demi-glace of 10 %, to a tenth a glace of 25 % (McGee's figures agree).
func TestGelatinOfTheKitchenRatio(t *testing.T) {
	t.Parallel()
	g, err := simmer.Extraction{}.Extract(8*units.Pound, 95, 8*time.Hour)
	if err != nil || !scalar.EqualWithinRel(g.Likely.Pounds(), 0.32, 1e-3) {
		t.Fatalf("%v lb, %v", g.Likely.Pounds(), err)
	}
	stock, err := g.In(units.Mass(3.785 * 1.0))
	if err != nil || !scalar.EqualWithinAbs(100*stock.Likely, 3.8, 0.05) || stock.Low >= stock.Likely || stock.High <= stock.Likely {
		t.Errorf("%+v, %v", stock, err)
	}
	for _, c := range []struct {
		fraction float64
		want     simmer.GelStrength
	}{{0.005, simmer.NoGel}, {0.012, simmer.SoftGel}, {0.025, simmer.FirmGel}, {0.10, simmer.HardGel}, {0.25, simmer.Rubbery}} {
		if got, err := simmer.GelStrengthOf(c.fraction); err != nil || got != c.want || got.String() == "" {
			t.Errorf("%v: %v, %v", c.fraction, got, err)
		}
	}
}

func TestExtractionAgainstItsClosedForm(t *testing.T) {
	t.Parallel()
	e := simmer.Extraction{Collagen: 0.3, Rate: 0.05, Activation: 90e3, Spread: 1}
	g, err := e.Extract(10, 85, 5*time.Hour)
	k := 0.05 * math.Exp(-90e3/8.314462618*(1/358.15-1/368.15))
	if err != nil || !scalar.EqualWithinRel(float64(g.Likely), 3*(1-math.Exp(-5*k)), 1e-12) || g.Low != g.Likely || g.High != g.Likely {
		t.Errorf("%+v, %v", g, err)
	}
	// Along a kettle that warms: between the extraction at its coldest and its hottest.
	lidded := simmer.Kitchen()
	lidded.Cover = 1
	out, err := simmer.SimmerLoss(kettle100, simmer.Load{Liquid: 60, Bones: 25, Start: 20}, simmer.Duty{Hold: 95}, lidded, 13*time.Hour, simmer.Settings{Every: 2 * time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	g, err = simmer.Extraction{}.ExtractOver(25, out.Series)
	if err != nil {
		t.Fatal(err)
	}
	most, _ := simmer.Extraction{}.Extract(25, 95, 13*time.Hour)
	if g.Likely >= most.Likely || g.Likely < most.Likely*0.9 || !contains(g.Cautions, simmer.CautionLongExtraction) || g.Simmered >= 13*time.Hour {
		t.Errorf("%+v, at most %+v", g, most)
	}
	if k, err := (simmer.Extraction{}).RateAt(60); err != nil || k != 0 {
		t.Errorf("at 60 C: %v, %v", k, err)
	}
}

func TestBadExtractionsAreRefused(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	for _, f := range []func() (simmer.Gelatin, error){
		func() (simmer.Gelatin, error) { return simmer.Extraction{Collagen: 2}.Extract(1, 95, time.Hour) },
		func() (simmer.Gelatin, error) { return simmer.Extraction{Rate: nan}.Extract(1, 95, time.Hour) },
		func() (simmer.Gelatin, error) { return simmer.Extraction{}.Extract(-1, 95, time.Hour) },
		func() (simmer.Gelatin, error) {
			return simmer.Extraction{}.Extract(1, units.Celsius(nan), time.Hour)
		},
		func() (simmer.Gelatin, error) { return simmer.Extraction{}.Extract(1, 95, -time.Hour) },
		func() (simmer.Gelatin, error) { return simmer.Extraction{}.ExtractOver(1, nil) },
		func() (simmer.Gelatin, error) {
			return simmer.Extraction{}.ExtractOver(1, []simmer.State{{Elapsed: time.Hour, Temperature: 90}, {Temperature: 90}})
		},
	} {
		if g, err := f(); err == nil {
			t.Errorf("%+v must be refused", g)
		}
	}
	if _, err := (simmer.Gelatin{High: 5}).In(1); err == nil {
		t.Error("5 kg of gelatin in 1 kg of stock must be refused")
	}
	if _, err := simmer.GelStrengthOf(nan); err == nil {
		t.Error("NaN has no strength")
	}
}
