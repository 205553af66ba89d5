package predict

import (
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/floats/scalar"
)

func grown(t *testing.T, q GrowthQuestion) (*Answer, GrowthFigures) {
	t.Helper()
	a, err := Growth(q)
	if err != nil {
		t.Fatal(err)
	}
	return a, a.Figures.(GrowthFigures)
}

func TestSchedulesOfRulesStayWithinOneLog(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"food-code", "fsis", "uk", "fsanz"} {
		a, f := grown(t, GrowthQuestion{Schedule: name})
		// USDA-FSIS Appendix B: its option 1 is meant to allow at most 1 log10.
		if f.LikelyLog10 > 1 || f.Verdict == "not met" {
			t.Errorf("%s: %s", name, a.Sentence)
		}
	}
}

func TestAHistoryIsTheSameAsItsSchedule(t *testing.T) {
	t.Parallel()
	var minutes, hours, moments strings.Builder
	minutes.WriteString("\ufeffminutes,temperature_c\n")
	hours.WriteString("Elapsed (hours);Core temp (°F)\n")
	moments.WriteString("time\tprobe\ttemperature\n")
	start := time.Date(2031, 3, 4, 18, 0, 0, 0, time.UTC)
	for m := 0; m <= 360; m += 15 {
		c := 57 - 36*float64(m)/120
		if m > 120 {
			c = 21 - 16*float64(m-120)/240
		}
		minutes.WriteString(trimmedLong(float64(m)) + "," + trimmedLong(c) + "\n")
		hours.WriteString(trimmedLong(float64(m)/60) + ";" + trimmedLong(c*1.8+32) + "\n")
		moments.WriteString(start.Add(time.Duration(m)*time.Minute).Format(time.RFC3339) + "\t7\t" + trimmedLong(c) + " C\n")
	}
	_, want := grown(t, GrowthQuestion{Schedule: "57C@0,21C@2h,5C@6h"})
	for name, text := range map[string]string{"minutes": minutes.String(), "hours": hours.String(), "moments": moments.String()} {
		_, got := grown(t, GrowthQuestion{History: []byte(text), HistoryName: name, Probe: "0.01C"})
		if !scalar.EqualWithinAbs(got.LikelyLog10, want.LikelyLog10, 0.005) || !scalar.EqualWithinAbs(got.CautiousLog10, want.CautiousLog10, 0.01) || len(got.Gaps) != 0 {
			t.Errorf("%s: %v and %v, want %v and %v; gaps %v", name, got.LikelyLog10, got.CautiousLog10, want.LikelyLog10, want.CautiousLog10, got.Gaps)
		}
	}
}

func trimmedLong(v float64) string {
	return strings.TrimRight(strings.TrimRight(floatText(v), "0"), ".")
}

func TestGapsAreTakenOnTheCautiousSideAndListed(t *testing.T) {
	t.Parallel()
	text := "minutes,temperature_f\n0,150\n20,135\n40,120\n60,110\n170,70\n190,65\n210,60\n"
	a, gappy := grown(t, GrowthQuestion{History: []byte(text), HistoryName: "readings.csv"})
	if len(gappy.Gaps) != 1 || gappy.GapMinutes != 110 || gappy.Gaps[0].FromMinutes != 60 || !strings.Contains(sheet(a), "1 h 50 min from 1 h on") {
		t.Errorf("%+v\n%s", gappy.Gaps, sheet(a))
	}
	_, watched := grown(t, GrowthQuestion{History: []byte(text), HistoryName: "readings.csv", MaxGap: "3h"})
	if len(watched.Gaps) != 0 || watched.CautiousLog10 >= gappy.CautiousLog10 || !scalar.EqualWithinAbs(watched.LikelyLog10, gappy.LikelyLog10, 0.5) {
		t.Errorf("watched %v, with a gap %v", watched.CautiousLog10, gappy.CautiousLog10)
	}
}

func TestSourAndSaltyFoodsGrowLess(t *testing.T) {
	t.Parallel()
	at := func(ph, salt string) float64 {
		_, f := grown(t, GrowthQuestion{Schedule: "57C@0,21C@4h,5C@10h", ProductChoice: ProductChoice{PH: ph, Salt: salt}})
		return f.LikelyLog10
	}
	plain := at("6.2", "0.5%")
	if sour, salty := at("5.4", "0.5%"), at("6.2", "3%"); sour >= plain || salty >= plain {
		t.Errorf("plain %v, sour %v, salty %v", plain, sour, salty)
	}
}

func TestMistakesInAHistoryNameTheLine(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, text, says string }{
		{"empty", "", "header"},
		{"no header", "0,57\n10,50\n", "no column for time"},
		{"no temperature", "minutes,ph\n0,6\n", "no column for temperature"},
		{"no scale", "minutes,temperature\n0,57\n10,50\n", "line 2: the temperature \"57\" has no scale"},
		{"a word for a number", "minutes,temperature_c\n0,57\n10,lost\n", "line 3: the temperature \"lost\" is not a number"},
		{"backwards", "minutes,temperature_c\n0,57\n10,50\n5,45\n", "line 4: its time \"5\" is not later"},
		{"a bad moment", "time,temperature_c\nyesterday,57\n", "line 2: the time \"yesterday\" is not understood"},
		{"one reading", "minutes,temperature_c\n0,57\n", "at least two"},
		{"a short line", "minutes,temperature_c\n0,57\n10\n", "line 3 has 1 columns"},
		{"Fahrenheit called Celsius", "minutes,temperature_c\n0,180\n10,170\n", "is the scale in the header right?"},
		{"a time that is negative", "minutes,temperature_c\n-5,57\n", "0 to a year"},
		{"NaN", "minutes,temperature_c\n0,NaN\n10,50\n", "not one of food"},
		{"a time of NaN", "minutes,temperature_c\nNaN,57\n10,50\n", "is not a number from 0"},
	} {
		_, err := ParseHistory([]byte(c.text))
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.name, err, c.says)
		}
	}
	for _, text := range []string{"57@0,5C@3h", "57C@0", "57C@0,5C@0", "57C@2h,21C@1h", "900C@0,5C@3h", "tomorrow", "57C@0,5C@900000h"} {
		_, err := Growth(GrowthQuestion{Schedule: text})
		if f := one(t, err); f.Flag != "--schedule" || !strings.Contains(f.Problem, "57C@0,21C@2h,5C@6h") {
			t.Errorf("%s: %v", text, f)
		}
	}
}

func FuzzParseHistory(f *testing.F) {
	f.Add([]byte("minutes,temperature_c\n0,57\n10,50\n"))
	f.Add([]byte("time;core (°F)\n2031-03-04T18:00:00Z;135\n2031-03-04T18:10:00Z;130\n"))
	f.Add([]byte("h\tc\n\"0\n"))
	f.Add([]byte("time,temp\n1e300,1e300\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		readings, err := ParseHistory(text)
		if err != nil {
			return
		}
		for i, r := range readings {
			if !(r.Temperature >= -60 && r.Temperature <= 150) || i > 0 && !r.At.After(readings[i-1].At) {
				t.Fatalf("reading %d: %+v", i, r)
			}
		}
	})
}
