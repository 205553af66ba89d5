package predict

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/floats/scalar"

	"rondeau.internal/pkg/units"
)

// one gives the only fault of a question.
func one(t *testing.T, err error) *Fault {
	t.Helper()
	var faults Faults
	if !errors.As(err, &faults) || len(faults) == 0 {
		t.Fatalf("got %v, want faults", err)
	}
	return faults[0]
}

func TestMistakesNameFlagValueBoundAndExample(t *testing.T) {
	t.Parallel()
	reduce := func(change func(*ReduceQuestion)) error {
		q := ReduceQuestion{Volume: "3.8L", To: "0.6L"}
		change(&q)
		_, err := Reduce(q)
		return err
	}
	cool := func(change func(*ChillQuestion)) error {
		q := ChillQuestion{Means: "blast"}
		change(&q)
		_, err := Chill(q)
		return err
	}
	for _, c := range []struct {
		name string
		err  error
		flag string
		says []string
	}{
		{"a volume in an unknown unit", reduce(func(q *ReduceQuestion) { q.Volume = "4 stone" }), "--volume", []string{`"4 stone"`, `unit "stone" is unknown`, "0.05 L", "3.8L"}},
		{"a volume without a unit", reduce(func(q *ReduceQuestion) { q.Volume = "3.8" }), "--volume", []string{"has no unit", "1gal"}},
		{"a mass for a volume", reduce(func(q *ReduceQuestion) { q.Volume = "4kg" }), "--volume", []string{"this is a mass", "3.8L"}},
		{"an ambiguous unit", reduce(func(q *ReduceQuestion) { q.Volume = "4c" }), "--volume", []string{"cup", "3.8L"}},
		{"a decimal comma", reduce(func(q *ReduceQuestion) { q.Volume = "3,8L" }), "--volume", []string{"comma", "point"}},
		{"a negative volume", reduce(func(q *ReduceQuestion) { q.Volume = "-3L" }), "--volume", []string{"out of range", "0.05 L"}},
		{"an absurd volume", reduce(func(q *ReduceQuestion) { q.Volume = "900000L" }), "--volume", []string{"out of range", "20000 L"}},
		{"no volume", reduce(func(q *ReduceQuestion) { q.Volume = "" }), "--volume", []string{"missing", "7.69 L"}},
		{"more than the vessel holds", reduce(func(q *ReduceQuestion) { q.Volume = "3gal" }), "--volume", []string{"does not fit", "2.03 gal"}},
		{"both volume and mass", reduce(func(q *ReduceQuestion) { q.Mass = "3kg" }), "--volume", []string{"not both"}},
		{"no goal", reduce(func(q *ReduceQuestion) { q.To = "" }), "--to", []string{"missing", "1/5"}},
		{"a goal above the start", reduce(func(q *ReduceQuestion) { q.To = "4L" }), "--to", []string{"not less", "3.8 L"}},
		{"a goal that would burn", reduce(func(q *ReduceQuestion) { q.To = "20mL" }), "--to", []string{"70 %", "burns", "the least is"}},
		{"a goal in percent", reduce(func(q *ReduceQuestion) { q.To = "50%" }), "--to", []string{"1/2", "50Brix"}},
		{"a fraction above one", reduce(func(q *ReduceQuestion) { q.To = "5/4" }), "--to", []string{"1/5"}},
		{"a goal thinner than the start", reduce(func(q *ReduceQuestion) { q.To = "2Brix" }), "--to", []string{"not thicker", "3 %"}},
		{"a goal that is a length", reduce(func(q *ReduceQuestion) { q.To = "2cm" }), "--to", []string{"length", "0.6 L"}},
		{"hotter than the boil", reduce(func(q *ReduceQuestion) { q.Heat = "240F" }), "--heat", []string{"boils at 100.0 C", "93C"}},
		{"a heat that is no heat", reduce(func(q *ReduceQuestion) { q.Heat = "low" }), "--heat", []string{"simmer", "60%"}},
		{"no such vessel", reduce(func(q *ReduceQuestion) { q.Vessel = "houshold" }), "--vessel", []string{"household?", "own"}},
		{"an own vessel without measures", reduce(func(q *ReduceQuestion) { q.Vessel = "own" }), "--vessel", []string{"--diameter 30cm"}},
		{"a vessel of both shapes", reduce(func(q *ReduceQuestion) { q.Diameter, q.Length = "20cm", "30cm" }), "--diameter", []string{"--width"}},
		{"a pan without heat", reduce(func(q *ReduceQuestion) { q.Vessel = "pan-100" }), "--power", []string{"no heat of its own", "5kW"}},
		{"a power in hours", reduce(func(q *ReduceQuestion) { q.Power = "3h" }), "--power", []string{"this is a time", "18 kW"}},
		{"a lid that is none", reduce(func(q *ReduceQuestion) { q.Lid = "ajar" }), "--lid", []string{"half", "30%"}},
		{"a composition of 90 percent", reduce(func(q *ReduceQuestion) { q.Composition = "water=90" }), "--composition", []string{"water=90,protein=6"}},
		{"an altitude of space", reduce(func(q *ReduceQuestion) { q.Altitude = "400000ft" }), "--altitude", []string{"5000 m", "5280 ft"}},
		{"a look that is not understood", reduce(func(q *ReduceQuestion) { q.Seen = []string{"3.2L"} }), "--seen", []string{"1h30min=3.2L"}},
		{"no means", cool(func(q *ChillQuestion) { q.Means = "" }), "--means", []string{"ice-bath", "walk-in"}},
		{"half a word of a means", cool(func(q *ChillQuestion) { q.Means = "ice" }), "--means", []string{"ice-bath?"}},
		{"a kettle in the blast chiller", cool(func(q *ChillQuestion) { q.Vessel = "kettle-100" }), "--means", []string{"jacket"}},
		{"deeper than the pan", cool(func(q *ChillQuestion) { q.Depth = "4in" }), "--depth", []string{"2.44 in"}},
		{"ice for air", cool(func(q *ChillQuestion) { q.Ice = "5kg" }), "--ice", []string{"ice-bath"}},
		{"a limit of two parts", cool(func(q *ChillQuestion) { q.Limits = []string{"60C,5C"} }), "--limit", []string{"60C,21C,2h"}},
		{"a limit that warms", cool(func(q *ChillQuestion) { q.Limits = []string{"5C,60C,2h"} }), "--limit", []string{"must cool"}},
		{"own limits that are not given", cool(func(q *ChillQuestion) { q.Profile = "own" }), "--limit", []string{"60C,21C,2h"}},
		{"limits beside a profile", cool(func(q *ChillQuestion) { q.Profile, q.Limits = "uk", []string{"60C,5C,2h"} }), "--limit", []string{"leave out"}},
		{"a kelvin too many", cool(func(q *ChillQuestion) { q.Start = "363F" }), "--start", []string{"105 C", "194F"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			f := one(t, c.err)
			if f.Flag != c.flag {
				t.Errorf("flag %s, want %s: %v", f.Flag, c.flag, f)
			}
			for _, want := range c.says {
				if !strings.Contains(f.Error(), want) {
					t.Errorf("%q does not say %q", f.Error(), want)
				}
			}
		})
	}
}

func TestAllMistakesAreToldAtOnce(t *testing.T) {
	t.Parallel()
	_, err := Reduce(ReduceQuestion{Volume: "3stone", To: "9 miles", VesselChoice: VesselChoice{Power: "3 L"}, Room: Room{Humidity: "wet"}})
	var faults Faults
	if !errors.As(err, &faults) || len(faults) < 3 {
		t.Fatalf("%v", err)
	}
	if len(faults.Unwrap()) != len(faults) || strings.Count(faults.Error(), "\n") != len(faults)-1 {
		t.Errorf("%q", faults.Error())
	}
}

func TestKitchenUnitsAreRead(t *testing.T) {
	t.Parallel()
	wide := func(d units.Dimension) bound {
		return bound{low: -1e9, high: 1e9, from: "a", to: "b", kind: "a quantity", suchAs: "c", dimension: d}
	}
	for _, c := range []struct {
		text string
		want float64
		d    units.Dimension
	}{
		{"3.8L", 3.8e-3, units.DimensionVolume},
		{"500mL", 0.5e-3, units.DimensionVolume},
		{"1gal", 3.785411784e-3, units.DimensionVolume}, // NIST Handbook 44, appendix C
		{"8 qt", 7.570823568e-3, units.DimensionVolume},
		{"2 cups", 0.473176473e-3, units.DimensionVolume},
		{"1 1/2 gal", 5.678117676e-3, units.DimensionVolume},
		{"4kg", 4, units.DimensionMass},
		{"250 g", 0.25, units.DimensionMass},
		{"10lb", 4.5359237, units.DimensionMass},
		{"8oz", 0.22679618, units.DimensionMass},
		{"60cm", 0.6, units.DimensionLength},
		{"65 mm", 0.065, units.DimensionLength},
		{"24in", 0.6096, units.DimensionLength},
		{"2 ft", 0.6096, units.DimensionLength},
		{"165F", 73.8889, units.DimensionTemperature},
		{"4 °C", 4, units.DimensionTemperature},
		{"-18C", -18, units.DimensionTemperature},
		{"18kW", 18000, units.DimensionPower},
		{"60000BTU/h", 17584.26, units.DimensionPower},
		{"1.5bar", 150000, units.DimensionPressure},
		{"22psi", 151684.66, units.DimensionPressure},
	} {
		r := &reader{}
		got, given := r.quantity("--x", c.text, wide(c.d))
		if !given || len(r.faults) > 0 || !scalar.EqualWithinAbsOrRel(got, c.want, 1e-4, 1e-6) {
			t.Errorf("%s: %v, %v; want %v", c.text, got, r.faults, c.want)
		}
	}
	r := &reader{}
	if d, _ := r.duration("--x", "2h30m", time.Second, 24*time.Hour, "1h"); d != 0 && d != 150*time.Minute {
		t.Errorf("2h30m: %v", d)
	}
	if d, _ := (&reader{}).duration("--x", "2h30min", time.Second, 24*time.Hour, "1h"); d != 150*time.Minute {
		t.Errorf("2h30min: %v", d)
	}
	for text, want := range map[string]float64{"12%": 0.12, "12 %": 0.12, "12Brix": 0.12, "12 °Bx": 0.12, "12 ° Brix": 0.12, "0.5 percent": 0.005} {
		if got, ok := percentage(text); !ok || !scalar.EqualWithinAbs(got, want, 1e-12) {
			t.Errorf("%s: %v", text, got)
		}
	}
	for _, text := range []string{"12", "NaN%", "%", "x Brix", ""} {
		if got, ok := percentage(text); ok {
			t.Errorf("%q was read as %v", text, got)
		}
	}
}

func TestAnswersComeInTheUnitsOfTheQuestion(t *testing.T) {
	t.Parallel()
	a, err := Reduce(ReduceQuestion{VesselChoice: VesselChoice{Vessel: "rondeau-60"}, Volume: "10gal", To: "1/5", Heat: "200F"})
	if err != nil {
		t.Fatal(err)
	}
	text := sheet(a)
	for _, want := range []string{"2 gal", "lb", "BTU"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	for _, never := range []string{" L", " kg", "°C"} {
		if strings.Contains(text, never) {
			t.Errorf("%q in\n%s", never, text)
		}
	}
	a, err = Reduce(ReduceQuestion{VesselChoice: VesselChoice{Vessel: "rondeau-60"}, Volume: "10gal", To: "1/5", Heat: "200F", Units: "metric"})
	if err != nil {
		t.Fatal(err)
	}
	if text := sheet(a); strings.Contains(text, "gal") || !strings.Contains(text, "7.57 L") {
		t.Errorf("metric asked for:\n%s", text)
	}
}

// sheet is sentence, table and assumptions as text.
func sheet(a *Answer) string {
	var b strings.Builder
	b.WriteString(a.Sentence + "\n")
	for _, line := range a.Table.Lines {
		b.WriteString(strings.Join(line, " | ") + "\n")
	}
	for _, one := range a.Notes {
		b.WriteString(one[0] + ": " + one[1] + "\n")
	}
	for _, one := range a.Assumptions {
		b.WriteString(one.Name + ": " + one.Value + "\n")
	}
	return b.String()
}

func TestWords(t *testing.T) {
	t.Parallel()
	for d, want := range map[time.Duration]string{
		340 * time.Minute: "5 h 40 min", 3 * time.Hour: "3 h", 7 * time.Minute: "7 min", 20 * time.Second: "under 1 min", -90 * time.Minute: "-1 h 30 min",
	} {
		if got := span(d); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
	for v, want := range map[float64]string{0.6: "0.6", 1234.4: "1230", 0.001234: "0.00123", 0: "0", 100: "100", 19.95: "20", math.NaN(): "0"} {
		if got := trimmed(v); got != want {
			t.Errorf("%v: %q, want %q", v, got, want)
		}
	}
	s := Style{}
	s.settle("metric")
	if got := s.Volume(0.138e-3) + s.Volume(2e-3) + s.Temperature(-0.02) + s.Length(0.05); got != "138 mL"+"2 L"+"0 °C"+"5 cm" {
		t.Error(got)
	}
	s.settle("us")
	if got := s.Mass(0.02) + s.Temperature(-18); got != "0.705 oz"+"-0.4 °F" {
		t.Error(got)
	}
}

func FuzzReduceNeverPanics(f *testing.F) {
	for _, seed := range [][4]string{{"3.8L", "0.6L", "95C", "15C"}, {"1gal", "1/5", "boil", ""}, {"2kg", "50Brix", "60%", "60F"}, {"½ gal", "half", "-3", "NaN"}, {"1e9L", "0/0", "°", "%"}} {
		f.Add(seed[0], seed[1], seed[2], seed[3])
	}
	f.Fuzz(func(t *testing.T, volume, to, heat, start string) {
		a, err := Reduce(ReduceQuestion{Volume: volume, To: to, Heat: heat, Start: start})
		if err == nil && (a.Sentence == "" || strings.Contains(sheet(a), "NaN") || strings.Contains(sheet(a), "Inf")) {
			t.Errorf("%q %q %q %q: %s", volume, to, heat, start, sheet(a))
		}
	})
}
