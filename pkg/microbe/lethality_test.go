package microbe

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/units"
)

func target(t testing.TB, id string) Target {
	t.Helper()
	got, err := TargetByID(id)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestLethalityIsTheIntegralOfTheLethalRate(t *testing.T) {
	t.Parallel()
	for _, target := range Targets() {
		for _, span := range [][2]float64{{20, 130}, {130, 20}, {71, 71}, {69.9, 70.1}, {89, 91}, {50, 60}, {95, 150}, {121, 121.0000001}} {
			want := composite(func(x float64) float64 {
				return target.rate(span[0] + (span[1]-span[0])*x)
			}, 0, 1, 30000)
			if got := target.straight(span[0], span[1], 1); math.Abs(got-want) > 2e-4*want+1e-12 {
				t.Errorf("%s from %g to %g C: %.9g, quadrature %.9g", target.ID, span[0], span[1], got, want)
			}
		}
	}
}

// With one z and no bounds in the way the integral has a closed form.
func TestLethalityOfALineInClosedForm(t *testing.T) {
	t.Parallel()
	h := corners(0, 60, 0.5, 75, 1, 60)
	r, err := Lethality(h, target(t, "listeria-6d"), Options{ProbeTolerance: 1e-9})
	if err != nil {
		t.Fatal(err)
	}
	z := 7.5 / math.Ln10
	want := 2 * 30 * z / 15 * (math.Exp(5/z) - math.Exp(-10/z)) // minutes
	if got := r.F.Minutes(); math.Abs(got-want) > 1e-6*want {
		t.Errorf("F %.6f min, want %.6f", got, want)
	}
	if math.Abs(r.Reduction-3*r.F.Minutes()) > 1e-6*r.Reduction {
		t.Errorf("reduction %.6f, want three a minute", r.Reduction)
	}
}

func TestLethalityVerdicts(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		at   units.Celsius
		held time.Duration
		id   string
		want Verdict
	}{
		{"three minutes at 70 C by a probe within 1 C are met", 70, 3 * time.Minute, "listeria-6d", Met},
		{"two minutes at 70 C are not decidable with a probe within 1 C", 70, 2 * time.Minute, "listeria-6d", NotDecidable},
		{"one minute is not enough", 70, time.Minute, "listeria-6d", NotMet},
		{"a long hold below the range is worth nothing", 50, 48 * time.Hour, "listeria-6d", NotMet},
		{"a simmer of an hour does not sterilise", 99, time.Hour, "botulinum-f0-3", NotMet},
		{"a simmer of an hour reaches the chilled-food target", 95, time.Hour, "botulinum-np-6d", Met},
	} {
		h := []Reading{{day, c.at}, {day.Add(c.held / 2), c.at}, {day.Add(c.held), c.at}}
		r, err := Lethality(h, target(t, c.id), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if r.Verdict != c.want {
			t.Errorf("%s: %v (reductions %.2f, proven %.2f)", c.name, r.Verdict, r.Reduction, r.ProvenReduction)
		}
		if r.Cautions[0] != CautionSafety {
			t.Errorf("%s: no safety caution", c.name)
		}
	}
}

func TestLethalityOnTheCautiousSide(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 8))
	for range 200 {
		h := corners(0, 20, 1+r.Float64(), 60+35*r.Float64(), 4, 20)
		shifted := make([]Reading, len(h))
		for i := range h {
			shifted[i] = Reading{h[i].At, h[i].Temperature - units.Celsius(r.Float64())}
		}
		for _, target := range Targets() {
			said, err := Lethality(h, target, Options{})
			if err != nil {
				t.Fatal(err)
			}
			real, err := Lethality(shifted, target, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if said.Proven > real.F+time.Nanosecond || said.Proven > said.F {
				t.Fatalf("%s: proven %v, true %v, likely %v", target.ID, said.Proven, real.F, said.F)
			}
			from := 1 + r.IntN(len(h)-12)
			holed, err := Lethality(append(append([]Reading{}, h[:from]...), h[from+8:]...), target, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if len(holed.Gaps) != 1 {
				t.Fatalf("%d gaps, want 1", len(holed.Gaps))
			}
		}
	}
	// A gap counts as the lower of its ends.
	hot := []Reading{{day, 80}, {day.Add(time.Hour), 71}, {day.Add(61 * time.Minute), 20}}
	got, err := Lethality(hot, target(t, "listeria-6d"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got.Proven < time.Hour || got.Proven > 61*time.Minute {
		t.Errorf("an hour's gap from 80 to 71 C by a probe within 1 C is worth %v, want an hour at 70 C and a little", got.Proven)
	}
}

func TestLethalityRefusesNonsense(t *testing.T) {
	t.Parallel()
	good := []Reading{{day, 70}, {day.Add(time.Minute), 70}}
	if _, err := Lethality(nil, listeria, Options{}); err == nil || !strings.Contains(err.Error(), "no readings") {
		t.Errorf("no readings: %v", err)
	}
	if _, err := Lethality([]Reading{good[1], good[0]}, listeria, Options{}); err == nil {
		t.Error("back in time: accepted")
	}
	for name, change := range map[string]func(*Target){
		"z":         func(t *Target) { t.ZBelow = 0 },
		"D":         func(t *Target) { t.D = 0 },
		"reference": func(t *Target) { t.Reference = units.Celsius(math.NaN()) },
		"range":     func(t *Target) { t.Lowest = 80 },
		"asks":      func(t *Target) { t.Reductions = math.Inf(1) },
	} {
		bad := listeria
		change(&bad)
		if _, err := Lethality(good, bad, Options{}); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if _, err := TargetByID("none"); err == nil {
		t.Error("unknown target accepted")
	}
	for _, at := range []units.Celsius{54, 91, units.Celsius(math.NaN())} {
		if _, err := listeria.TimeAt(at); err == nil {
			t.Errorf("time at %v accepted", at)
		}
	}
	if _, err := AppendixA(129.9, false); err == nil {
		t.Error("a temperature below the table was accepted")
	}
	if _, err := AppendixA(units.Fahrenheit(math.Inf(1)), false); err == nil {
		t.Error("an infinite temperature was accepted")
	}
	if _, err := ZValue([]units.Celsius{60, 60}, []time.Duration{1, 2}); err == nil {
		t.Error("z from one temperature was accepted")
	}
	if _, err := ZValue([]units.Celsius{60}, nil); err == nil {
		t.Error("z from nothing was accepted")
	}
}

func TestSchedulesAsHistories(t *testing.T) {
	t.Parallel()
	for _, s := range Stabilizations() {
		h, err := s.History(day, 5*time.Minute)
		if s.ID == "fsis-standard" {
			if err == nil {
				t.Error("the performance standard has no schedule")
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		last := h[len(h)-1]
		end := s.Points[len(s.Points)-1]
		if last.At.Sub(day) != end.Within || last.Temperature != end.At.Celsius() {
			t.Errorf("%s ends at %v, %v", s.ID, last.At.Sub(day), last.Temperature)
		}
		r, err := Growth(h, Product{PH: 6.2, SaltPercent: 0.5}, Options{Began: day})
		if err != nil {
			t.Fatal(err)
		}
		// The schedules for uncured food stay at or below the standard by the likely value.
		if s.ID != "fsis-cured" && r.Likely > 1 {
			t.Errorf("%s: likely growth %.2f log10", s.ID, r.Likely)
		}
		if s.ID == "fsis-cured" && r.Verdict != NotMet {
			t.Errorf("%s on uncured stock: %v (%.2f)", s.ID, r.Verdict, r.Likely)
		}
	}
}

func TestHoldOfTheFSISTable(t *testing.T) {
	t.Parallel()
	steady := func(f float64, minutes ...float64) []Reading {
		var h []Reading
		for _, m := range minutes {
			h = append(h, Reading{day.Add(time.Duration(m * float64(time.Minute))), units.Fahrenheit(f).Celsius()})
		}
		return h
	}
	for _, c := range []struct {
		name    string
		history []Reading
		seven   bool
		want    Verdict
		row     units.Fahrenheit
	}{
		{"150 F for 20 min, less 1 C, holds 148 F for 107 s", steady(150, 0, 10, 20), false, Met, 148},
		{"145 F for exactly 4 min is not decidable with a probe within 1 C", steady(145, 0, 2, 4), false, NotDecidable, 145},
		{"145 F for 3 min is not met", steady(145, 0, 3), false, NotMet, 0},
		{"136 F for 29 min is met for neither column with the tolerance", steady(136, 0, 15, 29), true, NotMet, 0},
		{"one reading of 165 F is met at once", steady(165, 0), false, Met, 158},
		{"a gap is not a hold", steady(140, 0, 60), false, NotMet, 0},
		{"a dip breaks a hold", append(steady(145, 0, 3), Reading{day.Add(4 * time.Minute), 50}, Reading{day.Add(5 * time.Minute), units.Fahrenheit(145).Celsius()}, Reading{day.Add(7 * time.Minute), units.Fahrenheit(145).Celsius()}), false, NotMet, 0},
	} {
		r, err := HoldAppendixA(c.history, c.seven, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if r.Verdict != c.want || r.Row.At != c.row {
			t.Errorf("%s: %v, row %v, held %v", c.name, r.Verdict, r.Row.At, r.Held)
		}
	}
	if _, err := HoldAppendixA(nil, false, Options{}); err == nil {
		t.Error("no readings: accepted")
	}
}
