package foodsafety

import (
	"math"
	"slices"
	"testing"
	"time"

	"rondeau.internal/pkg/microbe"
	"rondeau.internal/pkg/units"
)

// cooled is what a probe sees of food that cools exponentially from 60 C to a surrounding of 3 C.
func cooled(probe string, from time.Time, rate float64, hours float64) []Sample {
	var out []Sample
	for m := 0.0; m <= hours*60; m += 5 {
		out = append(out, Sample{Probe: probe, At: from.Add(time.Duration(m) * time.Minute), Temperature: units.Celsius(3 + 57*math.Exp(-rate*m/60))})
	}
	return out
}

func TestGrowthIsThatOfTheSlowestProbe(t *testing.T) {
	noon := time.Date(2026, 3, 16, 12, 0, 0, 0, time.UTC)
	c := &Chill{Name: "sites/s/chills/c", StartTime: noon, Limits: LimitsProfile{MaxGap: DefaultMaxGap}}
	quick, slow := cooled("a", noon, 0.9, 8), cooled("b", noon, 0.2, 18)
	both, err := estimateGrowth(c, append(slices.Clone(quick), slow...), microbe.Product{SaltPercent: -1}, noon)
	if err != nil {
		t.Fatal(err)
	}
	alone, err := estimateGrowth(c, quick, microbe.Product{SaltPercent: -1}, noon)
	if err != nil {
		t.Fatal(err)
	}
	if both.Probe != "b" || both.Upper <= alone.Upper {
		t.Errorf("probe %q grew %.2f, the quick one alone %.2f", both.Probe, both.Upper, alone.Upper)
	}
	// A pot that takes 18 h from 60 C to 4 C: published coolings of 54 to 7 C in 18 h grew 1.5 to 6.2 log10 (the series
	// that package microbe lists).
	if both.Verdict != microbe.NotMet || both.Likely < 1.5 {
		t.Errorf("a pot left for a night: %.2f log10, %s", both.Likely, both.Verdict)
	}
	if alone.Verdict != microbe.Met {
		t.Errorf("a quick chill: upper %.2f log10, %s", alone.Upper, alone.Verdict)
	}
}

func TestGrowthWithoutReadingsIsNotDecidable(t *testing.T) {
	g, err := estimateGrowth(&Chill{Name: "c"}, nil, microbe.Product{}, time.Now())
	if err != nil || g.Verdict != microbe.NotDecidable || !slices.Contains(g.Cautions, microbe.CautionSafety) {
		t.Errorf("got %+v, %v", g, err)
	}
}

func TestGrowthTakesTheWarmerOfTwoReadingsOfOneMoment(t *testing.T) {
	at := time.Date(2026, 3, 16, 12, 0, 0, 0, time.UTC)
	h := historyOf([]Sample{{Probe: "a", At: at, Temperature: 40}, {At: at, Temperature: 44}, {Probe: "a", At: at.Add(time.Minute), Temperature: 39}})
	if len(h) != 2 || h[0].Temperature != 44 {
		t.Errorf("got %v", h)
	}
}
