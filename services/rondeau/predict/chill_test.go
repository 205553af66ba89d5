package predict

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

func chilled(t *testing.T, q ChillQuestion) (*Answer, ChillFigures) {
	t.Helper()
	a, err := Chill(q)
	if err != nil {
		t.Fatal(err)
	}
	f, ok := a.Figures.(ChillFigures)
	if !ok {
		t.Fatalf("%T", a.Figures)
	}
	return a, f
}

func TestVerdictsAgreeWithTheMargins(t *testing.T) {
	t.Parallel()
	for _, means := range []string{"ice-bath", "blast", "walk-in", "still-air"} {
		for _, vessel := range []string{"stockpot-20", "pan-65", "container-1", "pouch-500"} {
			for _, product := range []string{"thin-stock", "glace"} {
				t.Run(means+" "+vessel+" "+product, func(t *testing.T) {
					t.Parallel()
					a, f := chilled(t, ChillQuestion{Means: means, VesselChoice: VesselChoice{Vessel: vessel}, ProductChoice: ProductChoice{Product: product}})
					met := func(of func(Minutes) *float64) bool {
						for _, s := range f.Stages {
							if m := of(s.MarginMinutes); m == nil || *m < 0 {
								return false
							}
						}
						return true
					}
					likelyMet, lateMet := met(func(m Minutes) *float64 { return m.Likely }), met(func(m Minutes) *float64 { return m.Late })
					want, word := "misses", "will likely miss"
					switch {
					case lateMet:
						want, word = "meets", "should keep"
					case likelyMet:
						want, word = "may_miss", "may miss"
					}
					if f.Verdict != want || !strings.Contains(a.Sentence, word) {
						t.Errorf("%s, want %s: %s", f.Verdict, want, a.Sentence)
					}
					if !contains(a.Cautions, "does not replace the validated HACCP plan") {
						t.Errorf("no caution of safety in %q", a.Cautions)
					}
					for _, p := range a.Series {
						if *p.EarlyTemperatureCelsius > *p.TemperatureCelsius+0.2 || *p.TemperatureCelsius > *p.LateTemperatureCelsius+0.2 {
							t.Fatalf("at %v min the late course is colder: %v, %v, %v", p.ElapsedMinutes, *p.EarlyTemperatureCelsius, *p.TemperatureCelsius, *p.LateTemperatureCelsius)
						}
					}
				})
			}
		}
	}
}

func contains(texts []string, part string) bool {
	for _, one := range texts {
		if strings.Contains(one, part) {
			return true
		}
	}
	return false
}

// What an inverse question answers must hold when it is asked forwards, and just not hold a little beyond.
func TestWhatWouldHelpHelps(t *testing.T) {
	t.Parallel()
	worst := func(q ChillQuestion) float64 {
		_, f := chilled(t, q)
		if f.WorstMargin.Likely == nil {
			return math.Inf(-1)
		}
		return *f.WorstMargin.Likely
	}
	pan := ChillQuestion{Means: "blast", VesselChoice: VesselChoice{Vessel: "pan-100"}, ProductChoice: ProductChoice{Product: "demi-glace"}, Profile: "uk", Air: "-5C"}
	_, f := chilled(t, pan)
	if len(f.Help) < 2 || f.Help[0].What != "deepest layer" || f.Help[0].Likely == nil || *f.Help[0].Cautious >= *f.Help[0].Likely {
		t.Fatalf("%+v", f.Help)
	}
	depth := func(mm float64) ChillQuestion {
		q := pan
		q.Depth = fmt.Sprintf("%.2fmm", mm)
		return q
	}
	if m := worst(depth(*f.Help[0].Likely * 0.99)); m < 0 {
		t.Errorf("at %.1f mm the margin is %v min", *f.Help[0].Likely, m)
	}
	if m := worst(depth(*f.Help[0].Likely * 1.03)); m >= 0 {
		t.Errorf("3 %% deeper than %.1f mm the margin is still %v min", *f.Help[0].Likely, m)
	}
	bath := ChillQuestion{Means: "ice-bath", VesselChoice: VesselChoice{Vessel: "stockpot-20"}, Volume: "16L"}
	_, f = chilled(t, bath)
	ice := func(kg float64) ChillQuestion {
		q := bath
		q.Ice = fmt.Sprintf("%.3fkg", kg)
		return q
	}
	if len(f.Help) == 0 || f.Help[0].What != "least ice" || f.Help[0].Likely == nil {
		t.Fatalf("%+v", f.Help)
	}
	if good, bad := worst(ice(*f.Help[0].Likely*1.01)), worst(ice(*f.Help[0].Likely*0.97)); good < 0 || bad >= 0 {
		t.Errorf("with %.2f kg of ice %v min, with 3 %% less %v min", *f.Help[0].Likely, good, bad)
	}
	pot := ChillQuestion{Means: "walk-in", VesselChoice: VesselChoice{Vessel: "stockpot-20"}, ProductChoice: ProductChoice{Product: "thin-stock"}}
	_, f = chilled(t, pot)
	most := f.Help[0]
	fill := func(l float64) ChillQuestion {
		q := pot
		q.Volume = fmt.Sprintf("%.4fL", l)
		return q
	}
	if good, bad := worst(fill(*most.Likely*0.99)), worst(fill(*most.Likely*1.03)); good < 0 || bad >= 0 {
		t.Errorf("with %.2f L %v min, with 3 %% more %v min", *most.Likely, good, bad)
	}
}

// A five-gallon pot left in a walk-in takes a day or more to 41 F: commonly quoted as 24 to 36 h, from memory, weak.
func TestAPotInTheWalkInTakesAboutADay(t *testing.T) {
	t.Parallel()
	a, f := chilled(t, ChillQuestion{Means: "walk-in", VesselChoice: VesselChoice{Vessel: "stockpot-20"}, Air: "38F"})
	last := f.Stages[len(f.Stages)-1]
	if h := *last.AtMinutes.Likely / 60; h < 18 || h > 42 {
		t.Errorf("%.1f h", h)
	}
	if f.Verdict != "misses" || f.Growth == nil || f.Growth.Verdict != "not met" || f.Growth.LikelyLog10 < 1 {
		t.Errorf("%s, growth %+v", a.Sentence, f.Growth)
	}
}

// Ice that melts in an ideal bath: m·cp·dT/334 kJ/kg, 1.03 kg for each kg of stock from 95 to 5 C when the melt water ends
// at 5 C. A bath with half as much water at 15 C needs more, but not twice as much.
func TestIceIsNotFarFromTheHeatBalance(t *testing.T) {
	t.Parallel()
	_, f := chilled(t, ChillQuestion{Means: "ice-bath", VesselChoice: VesselChoice{Vessel: "stockpot-20"}, Mass: "15kg", Start: "95C", Water: "0kg"})
	perKg := *f.Help[0].Likely / f.MassKg
	if perKg < 0.95 || perKg > 1.3 {
		t.Errorf("%.2f kg of ice for each kg", perKg)
	}
}

func TestSurroundingsThatAreTooWarmNeverDo(t *testing.T) {
	t.Parallel()
	a, f := chilled(t, ChillQuestion{Means: "still-air", VesselChoice: VesselChoice{Vessel: "pan-65"}})
	last := f.Stages[len(f.Stages)-1]
	if f.Verdict != "misses" || last.TookMinutes.Likely != nil || !contains(a.Cautions, "cannot be reached") || !strings.Contains(a.Sentence, "is never reached, the cold side at 20 °C is not colder") {
		t.Errorf("%s: %+v, %q", f.Verdict, last, a.Cautions)
	}
}

func TestEveryProfileIsJudged(t *testing.T) {
	t.Parallel()
	for _, profile := range []string{"food-code", "food-code-ambient", "fsis", "uk", "fsanz"} {
		_, f := chilled(t, ChillQuestion{Means: "ice-bath", Profile: profile, Ice: "40kg"})
		if len(f.Stages) == 0 || f.Profile == "" {
			t.Errorf("%s: %+v", profile, f)
		}
	}
	_, f := chilled(t, ChillQuestion{Means: "blast", Limits: []string{"60C,21C,2h", "60C,5C,6h"}})
	if len(f.Stages) != 2 || f.Stages[1].AllowedMinutes != 360 || f.Stages[0].ToCelsius != 21 {
		t.Errorf("%+v", f.Stages)
	}
}

func TestPansShareTheMachine(t *testing.T) {
	t.Parallel()
	q := ChillQuestion{Means: "blast", VesselChoice: VesselChoice{Vessel: "pan-65"}, MachinePower: "4kW"}
	at := func(count string) float64 {
		one := q
		one.Count = count
		_, f := chilled(t, one)
		return *f.Stages[1].TookMinutes.Likely
	}
	if few, many := at("2"), at("20"); many < 1.3*few {
		t.Errorf("2 pans %v min, 20 pans %v min", few, many)
	}
}

func TestAPlateCoolerIsQuickOnceItPasses(t *testing.T) {
	t.Parallel()
	_, f := chilled(t, ChillQuestion{Means: "plate", Pass: "45min"})
	if f.Verdict != "meets" || *f.Stages[1].AtMinutes.Likely < 45 || *f.Stages[1].AtMinutes.Likely > 46 {
		t.Errorf("%+v", f)
	}
}
