package microbe

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/units"
)

// published is one value of a source against one of this package.
type published struct {
	topic, source, what  string
	got, want, tolerance float64
	unit, why            string
	// miss is the reason when the value is outside the tolerance.
	miss string
}

// The topics, as doc.go names them.
const (
	topicBotulinum  = "equivalents, non-proteolytic botulinum"
	topicVegetative = "equivalents, vegetative cells"
	topicZ          = "lethal rate and z values"
	topicAppendixA  = "FSIS Appendix A look-up"
	topicIsothermal = "growth at constant temperature"
	topicCooling    = "growth during cooling"
)

func publishedValues(t *testing.T) []published {
	t.Helper()
	rows := botulinumRows(t)
	rows = append(rows, vegetativeRows(t)...)
	rows = append(rows, zRows(t)...)
	rows = append(rows, appendixRows(t)...)
	return append(rows, isothermalRows(t)...)
}

// vacuumpackingtraining.food.gov.uk/module3/section2 (read), from the Chilled Food
// Association guidelines 2006.
func botulinumRows(t *testing.T) []published {
	table := target(t, "botulinum-np-6d-table")
	var out []published
	for i, text := range strings.Fields("129.0 100.0 77.0 60.0 46.0 36.0 28.0 22.0 17.0 13.0 10.0 7.9 6.3 5.0 4.0 3.2 2.5 2.0 1.6 1.3 1.0") {
		want, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		at := units.Celsius(80 + i)
		got, err := table.TimeAt(at)
		if err != nil {
			t.Fatal(err)
		}
		tolerance, why := 0.5, "rounded to a minute"
		if want < 10 {
			tolerance, why = 0.05, "rounded to a tenth"
		}
		out = append(out, published{topic: topicBotulinum, source: "UK vacuum packing training, table", what: fmt.Sprintf("time at %v", at), got: got.Minutes(), want: want, tolerance: tolerance, unit: "min", why: why})
	}
	return out
}

func vegetativeRows(t *testing.T) []published {
	var out []published
	minutes := func(id string, at units.Celsius) float64 {
		got, err := target(t, id).TimeAt(at)
		if err != nil {
			t.Fatal(err)
		}
		return got.Minutes()
	}
	// safeworkers.co.uk, eurohaccp.blogspot.com, hr-cl.com (read): the same five values.
	for _, r := range []struct {
		at              units.Celsius
		want, tolerance float64
		why             string
	}{
		{60, 45, 2.5, "rounded to 5 min"},
		{65, 10, 2.5, "rounded to 5 min"},
		{70, 2, 1e-9, "the definition"},
		{75, 0.5, 5.0 / 60, "rounded to 10 s"},
		{80, 0.1, 0.5 / 60, "rounded to 1 s"},
	} {
		out = append(out, published{topic: topicVegetative, source: "UK Food Standards Agency, as reproduced at safeworkers.co.uk", what: fmt.Sprintf("time at %v", r.at), got: minutes("listeria-6d", r.at), want: r.want, tolerance: r.tolerance, unit: "min", why: r.why})
	}
	// eurohaccp.blogspot.com/2015/09 (read), of the committee's report.
	for at, want := range map[units.Celsius]float64{60: 93, 65: 14} {
		out = append(out, published{topic: topicVegetative, source: "UK advisory committee, E. coli, as reproduced at eurohaccp.blogspot.com", what: fmt.Sprintf("time at %v", at), got: minutes("e-coli-6d", at), want: want, tolerance: 0.5, unit: "min", why: "rounded to a minute"})
	}
	return out
}

func zRows(t *testing.T) []published {
	fit := func(at []units.Celsius, minutes ...float64) float64 {
		d := make([]time.Duration, len(minutes))
		for i, m := range minutes {
			d[i] = time.Duration(m * float64(time.Minute))
		}
		z, err := ZValue(at, d)
		if err != nil {
			t.Fatal(err)
		}
		return float64(z)
	}
	f0 := target(t, "botulinum-f0-3")
	f0.Reference = 121.11
	hot := []units.Celsius{57.5, 60, 62.5, 65}
	canned := []units.Celsius{115.6, 110.0, 104.4}
	grape := "Clostridium perfringens cells in sous vide beef, abstract read at discovery.researcher.life (grape seed extract)"
	tomato := "Odlaug and Pflug 1977, Appl Environ Microbiol 34:23, abstract read at scribd.com 259337475"
	return []published{
		{topic: topicZ, source: "dairyscience.info, F value of a thermal process, worked example (read)", what: "lethal rate at 110 C, reference 121.11 C, z 10", got: f0.LethalRate(110), want: 0.077, tolerance: 0.0005, why: "three decimals"},
		{topic: topicZ, source: grape, what: "z, no extract, from D 67.11, 17.15, 4.02, 1.62 min", got: fit(hot, 67.11, 17.15, 4.02, 1.62), want: 4.56, tolerance: 0.005, unit: "C", why: "upper end of the published range of 4.41 to 4.56"},
		{topic: topicZ, source: grape, what: "z, 1 % extract, from D 62.89, 13.70, 3.47, 1.46 min", got: fit(hot, 62.89, 13.70, 3.47, 1.46), want: 4.485, tolerance: 0.08, unit: "C", why: "inside the published range of 4.41 to 4.56"},
		{topic: topicZ, source: tomato, what: "z of C. botulinum in tomato juice from D 0.4, 1.6, 6.0 min", got: fit(canned, 0.4, 1.6, 6.0), want: 9.4, tolerance: 0.43, unit: "C", why: "D of 0.4 min is rounded to a tenth: 12 % of D is 0.43 of z"},
		{topic: topicZ, source: tomato, what: "z of C. botulinum in phosphate buffer from D 1.3, 4.4, 17.6 min", got: fit(canned, 1.3, 4.4, 17.6), want: 9.9, tolerance: 0.15, unit: "C", why: "D of 1.3 min is rounded to a tenth"},
		{
			topic: topicZ, source: "Bradshaw and others 1985, J Food Prot 48:743, abstract (read)", what: "z of Listeria in milk from D 1683.7 s at 52.2 C and 0.7 s at 74.4 C",
			got: fit([]units.Celsius{52.2, 74.4}, 1683.7/60, 0.7/60), want: 6.3, tolerance: 0.12, unit: "C", why: "D of 0.7 s is rounded to a tenth: 7 % of D is 0.06 of z",
			miss: "the abstract gives two of the seven D values; the published z rests on all of them",
		},
	}
}

// appendixText is the table as rhosey.com/usda_cooking_guideline.htm prints it (read):
// F, C, time for 6.5 and for 7 decimal reductions.
const appendixText = `130 54.4 112 min. 121 min. 131 55.0 89 min. 97 min. 132 55.6 71 min. 77 min.
133 56.1 56 min. 62 min. 134 56.7 45 min. 47 min. 135 57.2 36 min. 37 min. 136 57.8 28 min. 32 min.
137 58.4 23 min. 24 min. 138 58.9 18 min. 19 min. 139 59.5 15 min. 15 min. 140 60.0 12 min. 12 min.
141 60.6 9 min. 10 min. 142 61.1 8 min. 8 min. 143 61.7 6 min. 6 min. 144 62.2 5 min. 5 min.
145 62.8 4 min. 4 min. 146 63.3 169 sec. 182 sec. 147 63.9 134 sec. 144 sec. 148 64.4 107 sec. 115 sec.
149 65.0 85 sec. 91 sec. 150 65.6 67 sec. 72 sec. 151 66.1 54 sec. 58 sec. 152 66.7 43 sec. 46 sec.
153 67.2 34 sec. 37 sec. 154 67.8 27 sec. 29 sec. 155 68.3 22 sec. 23 sec. 156 68.9 17 sec. 19 sec.
157 69.4 14 sec. 15 sec. 158 70.0 0 sec. 0 sec. 159 70.6 0 sec. 0 sec. 160 71.1 0 sec. 0 sec.`

func appendixRows(t *testing.T) []published {
	f := strings.Fields(appendixText)
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	var out []published
	for ; len(f) >= 6; f = f[6:] {
		at := units.Fahrenheit(number(f[0]))
		for i, seven := range []bool{false, true} {
			want := number(f[2+2*i])
			if f[3+2*i] == "min." {
				want *= 60
			}
			got, err := AppendixA(at, seven)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, published{topic: topicAppendixA, source: "FSIS Appendix A, 1999, as reproduced at rhosey.com", what: fmt.Sprintf("time at %v, seven %v", at, seven), got: got.Seconds(), want: want, unit: "s", why: "a look-up"})
		}
	}
	return out
}

func isothermalRows(t *testing.T) []published {
	grow := func(c Category, salt, initial float64, at units.Celsius, hours float64) float64 {
		r, err := Growth(corners(0, float64(at), hours, float64(at)), Product{Category: c, PH: 6.2, SaltPercent: salt}, Options{InitialLog: initial})
		if err != nil {
			t.Fatal(err)
		}
		return r.Likely
	}
	row := func(source, what string, got, want, tolerance float64, why, miss string) published {
		return published{topic: topicIsothermal, source: source, what: what, got: got, want: want, tolerance: tolerance, unit: "log10", why: why, miss: miss}
	}
	june := "Juneja, Marmer and Miller 1994, J Food Prot 57:393, vacuum-packed cooked beef, abstract (read)"
	turkey := "Juneja and others 1996, cooked turkey under vacuum, abstract (read)"
	chicken := "Juneja and others 2006, sous vide chicken with 1 % salt, abstract (read)"
	chili := "Blankenship and others 1988, Appl Environ Microbiol 54:1104, chili, abstract (read)"
	cured := "Juneja, Novak, Marks and Gombas 2001, no growth from spores at 12 C for 3 weeks, abstract (read)"
	atLeast := func(v, bound float64) float64 { return max(v, bound) - v + bound } // the bound when it is passed
	half := "half a log10, the spread of counts"
	return []published{
		row(june, "28 C, 12 h: above 7, from 3", atLeast(grow(Beef, 0.5, 3, 28, 12), 4), 4, within, half, ""),
		row(june, "37 C, 12 h: above 7, from 3", atLeast(grow(Beef, 0.5, 3, 37, 12), 4), 4, within, half, ""),
		row(june, "42 C, 12 h: above 7, from 3", atLeast(grow(Beef, 0.5, 3, 42, 12), 4), 4, within, half, ""),
		row(june, "4 C: no growth", grow(Beef, 0.5, 3, 4, 500), 0, 0, "none is none", ""),
		row(june, "8 C: no growth", grow(Beef, 0.5, 3, 8, 500), 0, 0, "none is none", ""),
		row(june, "12 C: no growth", grow(Beef, 0.5, 3, 12, 500), 0, 0, "none is none", ""),
		row(cured, "12 C, 3 weeks: no growth", grow(Stock, 0.5, 2.5, 12, 504), 0, 0, "none is none", ""),
		row(june, "28 C, 6 h: no growth", grow(Beef, 0.5, 3, 28, 6), 0, within, half, "from refrigerated food; the lag of spores that come out of the cold is longer"),
		row(turkey, "28 C, 9 h: about 7, from 3", grow(Poultry, 0.5, 3, 28, 9), 4, within, half, "sampled at intervals: the model has 7.9 after 9 h and passed 7 after 8 h"),
		row(chicken, "19 C, 9.5 h: no growth", grow(Poultry, 1, 2.5, 19, 9.5), 0, within, half, ""),
		row(chicken, "25 C, 6 h: no growth", grow(Poultry, 1, 2.5, 25, 6), 0, within, half, "from food chilled on ice after cooking; the lag after the cold is longer"),
		row(chicken, "25 C, 7 h: 2 to 3", grow(Poultry, 1, 2.5, 25, 7), 2.5, 1, "half the range and half a log10", ""),
		row(chili, "26.7 C, 6 h: no growth", grow(Stock, 0.5, 2.5, 26.7, 6), 0, within, half, "chili: tomato and spice, pH not stated in the abstract"),
		row(chili, "32.2 C, 6 h: growth", atLeast(grow(Stock, 0.5, 2.5, 32.2, 6), 0.5), 0.5, 0.25, "seen as growth by 6 h", ""),
	}
}

// unitsOfTheRecords backs the reading of the square-root records as log10 per hour: the
// published generation times are nearer to it than to natural logarithms.
func TestGenerationTimesSupportTheUnitOfTheRate(t *testing.T) {
	t.Parallel()
	// Labbe and Huang 1995, J Food Prot 58:1303, abstract read at bionumbers 105469 and
	// 105473: shortest generation times in autoclaved ground beef.
	for at, minutes := range map[units.Celsius]float64{41: 7.1, 43: 6.6, 46: 9.2} {
		rate := math.Ln2 / minutes * 60
		for _, m := range []RateModel{uncuredBeef, uncuredChicken, uncuredPork} {
			c, err := m.Curve(Product{})
			if err != nil {
				t.Fatal(err)
			}
			tenfold, natural := c.Rate(at), c.Rate(at)/math.Ln10
			if math.Abs(math.Log(tenfold/rate)) > math.Abs(math.Log(natural/rate)) {
				t.Errorf("%s at %v: %.2f or %.2f 1/h, published %.2f", m.ID, at, tenfold, natural, rate)
			}
		}
	}
	// The optimum of Le Marc's rate lies with the others: 43.5 and 46.4 (braised beef, roasted
	// chicken), 45.3 C (Huang 2015, Int J Food Microbiol 195:20, abstract read at pubag.nal.usda.gov 61114).
	c, err := leMarc.Curve(Product{})
	if err != nil {
		t.Fatal(err)
	}
	if c.Opt < 43.5 || c.Opt > 46.4 {
		t.Errorf("optimum %.2f C", c.Opt)
	}
}

func TestPublishedValues(t *testing.T) {
	t.Parallel()
	missed := 0
	for _, p := range publishedValues(t) {
		off := math.Abs(p.got - p.want)
		switch {
		case off > p.tolerance && p.miss == "":
			t.Errorf("%s: %s: %.4g %s, published %.4g +- %.2g (%s)", p.source, p.what, p.got, p.unit, p.want, p.tolerance, p.why)
		case off <= p.tolerance && p.miss != "":
			t.Errorf("%s: %s: listed as missed (%s) but within the tolerance", p.source, p.what, p.miss)
		case p.miss != "":
			missed++
		}
	}
	if missed != 5 {
		t.Errorf("%d values are missed, recorded 5", missed)
	}
}

// TestTableInDocumentation keeps the table of doc.go honest: as many checks as there are,
// and no smaller worst deviation than measured.
func TestTableInDocumentation(t *testing.T) {
	t.Parallel()
	type line struct {
		checks int
		worst  float64
	}
	measured := map[string]line{}
	add := func(topic string, off float64) {
		l := measured[topic]
		measured[topic] = line{l.checks + 1, max(l.worst, off)}
	}
	for _, p := range publishedValues(t) {
		add(p.topic, math.Abs(p.got-p.want))
	}
	for _, c := range coolings() {
		add(topicCooling, math.Abs(c.off(c.estimate(t).Likely)))
	}
	file, err := os.Open("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	seen := map[string]bool{}
	for lines := bufio.NewScanner(file); lines.Scan(); {
		cells := strings.Split(strings.TrimPrefix(lines.Text(), "//"), "|")
		if len(cells) != 5 {
			continue
		}
		m, known := measured[strings.TrimSpace(cells[0])]
		if !known {
			continue
		}
		seen[strings.TrimSpace(cells[0])] = true
		var checks int
		var worst float64
		if _, err := fmt.Sscanf(strings.TrimSpace(cells[3])+" "+strings.TrimSpace(cells[4]), "%d %g", &checks, &worst); err != nil {
			t.Errorf("%q: %v", lines.Text(), err)
		}
		if checks != m.checks || worst < m.worst || worst > m.worst*1.05+0.01 {
			t.Errorf("%s: doc.go says %d checks, worst %g; measured %d, %.4g", strings.TrimSpace(cells[0]), checks, worst, m.checks, m.worst)
		}
	}
	for topic, m := range measured {
		if !seen[topic] {
			t.Errorf("%s is not in the table of doc.go (%d checks, worst %.4g)", topic, m.checks, m.worst)
		}
	}
}
