package microbe

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/units"
)

// cooling is a published cooling experiment without an antimicrobial.
type cooling struct {
	series   string
	category Category
	salt     float64 // g/100 mL; 0.5 where not stated
	pH       float64 // 6.2 where not stated (0)
	initial  float64 // log10 spores per gram
	profile  []Reading
	what     string
	// observed increase, log10. When censored, the source only gives a bound: low and
	// high, one of them infinite.
	observed  float64
	censored  bool
	low, high float64
}

var day = time.Date(2024, 3, 4, 6, 0, 0, 0, time.UTC)

// exponential is what this literature calls so: the Celsius temperature falls by the
// same factor in equal times.
func exponential(from, to, hours float64) []Reading {
	n := int(hours*12 + 0.5)
	out := make([]Reading, n+1)
	for i := range out {
		share := float64(i) / float64(n)
		out[i] = Reading{day.Add(time.Duration(share * hours * float64(time.Hour))), units.Celsius(from * math.Pow(to/from, share))}
	}
	return out
}

// corners is straight between (hours, C) pairs, read every 5 min.
func corners(points ...float64) []Reading {
	out := []Reading{{day.Add(time.Duration(points[0] * float64(time.Hour))), units.Celsius(points[1])}}
	for i := 2; i < len(points); i += 2 {
		t0, c0, t1, c1 := points[i-2], points[i-1], points[i], points[i+1]
		n := int((t1-t0)*12 + 0.5)
		for k := 1; k <= n; k++ {
			share := float64(k) / float64(n)
			out = append(out, Reading{day.Add(time.Duration((t0 + share*(t1-t0)) * float64(time.Hour))), units.Celsius(c0 + share*(c1-c0))})
		}
	}
	return out
}

func series(name string, c Category, salt, initial, end float64, pairs ...float64) []cooling {
	var out []cooling
	for i := 0; i < len(pairs); i += 2 {
		out = append(out, cooling{
			series: name, category: c, salt: salt, initial: initial, profile: exponential(54.4, end, pairs[i]),
			what: fmt.Sprintf("%g h", pairs[i]), observed: pairs[i+1],
		})
	}
	return out
}

// Series names; each with the place where its abstract was read.
const (
	velugoti   = "Velugoti 2020 LWT 109074, non-cured pork"                                      // values from the abstract, as reproduced in a compilation
	lactate    = "injected pork without lactate, abstract, discovery.researcher.life 10645711"   // read
	valenzuela = "Valenzuela-Martinez 2010 JFP 73:470, turkey roast, 1.5 % salt, PMID 20202331"  // read
	june06beef = "Juneja 2006 J Food Sci 71(6), ground beef, digitalcommons.unl.edu 38"          // read
	june06turk = "Juneja 2006 J Food Sci 71(6), ground turkey, digitalcommons.unl.edu 38"        // read
	carvacrol  = "Juneja 2006 JFP 69:1546, ground beef 75 % lean, abstract, it.alljournals.cn"   // read
	thippBeef  = "Thippareddi 2003 JFP 66:376, roast beef 0.85 % salt, hdl 2097/581"             // read
	thippPork  = "Thippareddi 2003 JFP 66:376, injected pork 0.85 % salt, hdl 2097/581"          // read
	junThipp   = "Juneja and Thippareddi 2004, ground turkey 0.85 % salt, abstract"              // read; final counts less 2.8
	danler     = "Danler 2003, cooked beef and pork, 54.4-26.6 C 2 h, -4.4 C 5 h, alljournals"   // read
	king       = "King 2015 JFP 78:946, uncured turkey 1.2 % salt, iifiir.org 138423"            // read
	deJong     = "de Jong 2004 JFP 67:352, pea soup, 50-15 C straight, PMID 14968969"            // read
	phosphate  = "phosphate and pork types 2010 JFP 73(5), control, PMID 20501039"               // read
	marquez    = "Marquez-Gonzalez 2012 JFP 75:682, non-cured pork, meridian.allenpress.com"     // read
	june94     = "Juneja, Snyder, Cygnarowicz-Provost 1994 JFP 57:1063, ground beef"             // read
	roasts     = "four cooling methods 2006 JFP 69(1), turkey roasts, krex.k-state.edu 2097/861" // read
	glassSalt  = "Glass 2022, turkey, pH and salt, iastatedigitalpress.com/mmb 17650"            // read
	glassVin   = "Glass 2022, turkey 1.5 % salt, iastatedigitalpress.com/mmb 17657"              // read
	steele     = "Steele and Wright 2001, turkey breast, agris.fao.org 65de43340f3e94b9e5cca4cd" // read
	liBeef     = "Li 2012 J Food Sci 77:M598, roast beef 2 % salt, PMID 23163907"                // read
	zaika      = "Zaika 2003, ground beef below 2 % salt, litmetric.com 14503712"                // read
	shigehisa  = "1985 Jpn J Vet Sci 47:259, ground beef, straight cooling, scilit.com"          // read
	kalinowski = "Kalinowski 2003, uncured turkey chilled for 6 h, mendeley.com bcc099b7"        // read; taken as 48.9-12.8 C, the guideline of that time
	kennedy    = "Kennedy 2012, uncured turkey, straight from 71.1 to 4 C, iafp.confex.com 2424" // read; the start is that of the cook
	acidified  = "Juneja 2013 JFP 76, ground beef with vinegar, zhixidata.com 866578937"         // read
	unstated   = 0.5                                                                             // salt where the abstract gives none
)

func coolings() []cooling {
	var c []cooling
	add := func(s ...cooling) { c = append(c, s...) }
	add(series(velugoti, Pork, unstated, 2.75, 7.2, 6.5, 0.52, 9, 1.53, 12, 4.45, 15, 4.81, 18, 5.83, 21, 6.98)...)
	add(series(lactate, Pork, unstated, 2.25, 7.2, 6.5, 0.49, 9, 2.40, 12, 4.02, 15, 5.03, 18, 6.24, 21, 6.30)...)
	add(series(valenzuela, Poultry, 1.5, 2.3, 4.0, 6.5, 0.51, 9, 2.29, 12, 3.51, 15, 4.79, 18, 5.55, 21, 5.93)...)
	add(series(june06beef, Beef, unstated, 2.5, 7.2, 12, 4.21, 15, 4.51, 18, 5.03, 21, 4.70)...)
	add(series(june06turk, Poultry, unstated, 2.5, 7.2, 12, 5.27, 15, 4.52, 18, 5.11, 21, 5.38)...)
	add(series(carvacrol, Beef, unstated, 2.8, 7.2, 12, 3.18, 15, 4.64, 18, 4.76, 21, 5.04)...)
	add(series(thippBeef, Beef, 0.85, 2.5, 7.2, 18, 1.51, 21, 5.27)...)
	add(series(thippPork, Pork, 0.85, 2.5, 7.2, 18, 3.70, 21, 4.41)...)
	add(series(junThipp, Poultry, 0.85, 2.8, 7.2, 15, 3.80, 18, 4.78, 21, 5.15)...)
	quick := corners(0, 54.4, 2, 26.6, 7, 4.4)
	add(cooling{series: danler, category: Beef, salt: unstated, initial: 2.5, profile: quick, what: "beef, 2 h + 5 h", observed: 0.52},
		cooling{series: danler, category: Pork, salt: unstated, initial: 2.5, profile: quick, what: "pork, 2 h + 5 h", observed: 0.68},
		cooling{series: king, category: Poultry, salt: 1.2, initial: 2.5, profile: corners(0, 54.4, 5, 26.7, 15, 7.2), what: "5 h + 10 h", observed: 4.6},
		cooling{series: deJong, category: Stock, salt: unstated, initial: 2.5, profile: corners(0, 50, 3, 15), what: "3 h", observed: 1.0})
	for _, p := range []struct {
		what string
		grew float64
	}{{"normal, 21 h", 5.95}, {"pale, 21 h", 4.73}, {"dark, 21 h", 5.95}} {
		add(cooling{series: phosphate, category: Pork, salt: 1.0, initial: 2.25, profile: exponential(54.4, 4, 21), what: p.what, observed: p.grew})
	}
	add(cooling{series: marquez, category: Pork, salt: unstated, initial: 2.5, profile: exponential(54.4, 7.2, 20), what: "20 h", observed: 2.8},
		cooling{series: june94, category: Beef, salt: unstated, initial: 1.5, profile: exponential(54.4, 7.2, 18), what: "18 h", observed: 4.5},
		cooling{series: roasts, category: Poultry, salt: unstated, initial: 1, profile: corners(0, 57, 2.27, 21, 8.6, 5), what: "quarters, 2.27 + 6.33 h", observed: 0},
		cooling{series: roasts, category: Poultry, salt: unstated, initial: 1, profile: corners(0, 57, 8.71, 21, 28.16, 5), what: "three in a bag, 8.71 + 19.45 h", observed: 4.0})
	add(cooling{series: kalinowski, category: Poultry, salt: unstated, initial: 2.5, profile: exponential(48.9, 12.8, 6), what: "first trial", observed: 2.25},
		cooling{series: kalinowski, category: Poultry, salt: unstated, initial: 2.5, profile: exponential(48.9, 12.8, 6), what: "second trial", observed: 2.44},
		cooling{series: kennedy, category: Poultry, salt: unstated, initial: 3, profile: corners(0, 71.1, 10, 4), what: "10-hour protocol", observed: 3.5},
		cooling{series: kennedy, category: Poultry, salt: unstated, initial: 3, profile: corners(0, 71.1, 12, 4), what: "12-hour protocol", observed: 4.7})
	return append(c, bounds()...)
}

// Found and left out: cured products (the models know no nitrite); roast beef with 1 and
// 1.5 % salt of Li and others 2012 (the abstract does not say after how many hours it grew 1.1 and
// 2.2); two of the four cooling methods (the second stage is not given); scrapple, and the
// turkey of Peterson (the abstracts are cut before the numbers).

// bounds are the experiments whose abstract gives no number but "less than" or "more than".
func bounds() []cooling {
	inf := math.Inf(1)
	var c []cooling
	add := func(series, what string, cat Category, salt, initial, low, high float64, profile []Reading) {
		c = append(c, cooling{series: series, what: what, category: cat, salt: salt, initial: initial, profile: profile, censored: true, low: low, high: high})
	}
	phases := func(first float64) []Reading {
		return corners(0, 48.9, first, 26.7, first+5, 12.8, first+10, 4.4)
	}
	for _, salt := range []float64{1.2, 1.5, 1.8} { // the pH of 5.8 to 6.6 has no effect on the likely poultry model
		add(glassSalt, fmt.Sprintf("first phase 1 h, %.1f %%", salt), Poultry, salt, 3, -inf, 1, phases(1))
	}
	add(glassVin, "first phase 2 h", Poultry, 1.5, 2.5, 1.5, inf, phases(2))
	add(glassVin, "first phase 5 h", Poultry, 1.5, 2.5, 6, inf, phases(5))
	add(steele, "6 h", Poultry, unstated, 2.5, -inf, 1, exponential(48.9, 12.8, 6))
	add(steele, "8 h", Poultry, unstated, 2.5, -inf, 1, exponential(48.9, 12.8, 8))
	add(liBeef, "6.5 h", Beef, 2, 2.75, -inf, 1, exponential(54.4, 4.4, 6.5))
	add(liBeef, "9 h", Beef, 2, 2.75, -inf, 1, exponential(54.4, 4.4, 9))
	add(phosphate, "control, 6.5 h", Pork, 1, 2.25, -inf, 1, exponential(54.4, 4, 6.5))
	add(june94, "15 h", Beef, unstated, 1.5, -inf, 1, exponential(54.4, 7.2, 15))
	add(zaika, "15 h", Beef, 1, 3, 3, inf, exponential(54.4, 8.5, 15))
	add(zaika, "18 h", Beef, 1, 3, 5, inf, exponential(54.4, 8.5, 18))
	add(zaika, "21 h", Beef, 1, 3, 5, inf, exponential(54.4, 8.5, 21))
	add(shigehisa, "25 K/h", Beef, unstated, 2.5, -inf, 0.3, corners(0, 60, 1.8, 15))
	add(shigehisa, "15 K/h", Beef, unstated, 2.5, -inf, 0.3, corners(0, 60, 3, 15))
	add(shigehisa, "10 K/h", Beef, unstated, 2.5, -inf, 1, corners(0, 60, 4.5, 15))
	c = append(c, cooling{series: acidified, what: "pH 5.5, 21 h", category: Beef, salt: unstated, pH: 5.5, initial: 2, profile: exponential(54.4, 7.2, 21), censored: true, low: -inf})
	add(deJong, "open pan, 5 h", Stock, unstated, 2.5, 1, inf, corners(0, 50, 5, 15))
	return c
}

func (c cooling) name() string { return c.series + ", " + c.what }

func (c cooling) estimate(t *testing.T) Result {
	t.Helper()
	pH := c.pH
	if pH == 0 {
		pH = 6.2
	}
	r, err := Growth(c.profile, Product{Category: c.category, PH: pH, SaltPercent: c.salt}, Options{InitialLog: c.initial, Began: day, ProbeTolerance: 0.01})
	if err != nil {
		t.Fatalf("%s: %v", c.name(), err)
	}
	return r
}

// off is how far a value is from what was observed, outside the bound if there is one.
func (c cooling) off(v float64) float64 {
	if !c.censored {
		return v - c.observed
	}
	return v - min(max(v, c.low), c.high)
}

// within is the zone that the acceptance asks for, log10.
const within = 0.5

// missed lists every experiment whose likely growth is off by more than 0.5, with the reason.
var missed = map[string]string{
	velugoti + ", 9 h":                          "used to calibrate the lag: the other pork series grew 0.9 more in the same time",
	velugoti + ", 12 h":                         "used to calibrate the lag: the rise from 9 to 12 h (2.9) is steeper than any published rate gives",
	velugoti + ", 21 h":                         "final count near 9.7 log10, above every other ceiling seen (7.6 to 8.6)",
	lactate + ", 6.5 h":                         "used to calibrate the lag; off by 0.53, on the safe side",
	june06beef + ", 12 h":                       "same laboratory, other beef, same cooling: 3.18 and 4.21; the prediction lies between",
	june06turk + ", 15 h":                       "the series does not rise from 12 h (5.27) to 15 h (4.52): scatter",
	june06turk + ", 18 h":                       "ceiling of this turkey 0.3 below that of the category",
	thippBeef + ", 18 h":                        "1.51 at 18 h and 5.27 at 21 h: no model of temperature alone gives both; phosphate in the brine",
	thippPork + ", 18 h":                        "phosphate in the brine, to which the models are blind",
	thippPork + ", 21 h":                        "phosphate in the brine, to which the models are blind",
	junThipp + ", 15 h":                         "phosphate in the brine, to which the models are blind",
	junThipp + ", 18 h":                         "phosphate in the brine, to which the models are blind",
	king + ", 5 h + 10 h":                       "final count of 7.1, below the ceiling of the category",
	phosphate + ", normal, 21 h":                "salt slows the model more than this pork",
	phosphate + ", pale, 21 h":                  "pale pork has a lower pH; not stated, 6.2 taken",
	phosphate + ", dark, 21 h":                  "salt slows the model more than this pork; dark pork has a higher pH",
	marquez + ", 20 h":                          "heated at 4 K/h before: it had grown by then, and the increase is counted from there",
	june94 + ", 18 h":                           "an early study far below the later ones of the same laboratory",
	june94 + ", 15 h":                           "minimal growth up to 15 h: far below the later studies of the same laboratory (4.5 to 5.3)",
	roasts + ", quarters, 2.27 + 6.33 h":        "the temperature is that of the middle, the count that of the whole roast",
	roasts + ", three in a bag, 8.71 + 19.45 h": "the temperature is that of the middle, the count that of the whole roast",
	steele + ", 6 h":                            "deli breast: formulation not stated; such products carry salt and phosphate",
	steele + ", 8 h":                            "deli breast: formulation not stated; such products carry salt and phosphate",
	kalinowski + ", first trial":                "another laboratory than the one below 1 log10 in the same cooling; the shape of the cooling is assumed",
	kennedy + ", 10-hour protocol":              "off by 0.76, on the safe side; the temperature at the start is assumed",
	acidified + ", pH 5.5, 21 h":                "acidified with vinegar: the acid itself inhibits, not only the pH",
	shigehisa + ", 10 K/h":                      "off by 0.55, on the safe side",
}

// usedInSets are the numbers from which a parameter of the likely sets was taken.
func usedInSets(c cooling) bool {
	hours := c.profile[len(c.profile)-1].At.Sub(day).Hours()
	switch c.series {
	case velugoti:
		return hours <= 12.1
	case lactate:
		return hours <= 12.1 || hours > 20
	case valenzuela, june06beef:
		return hours > 20
	}
	return false
}

// The shares below are what the models reach. The aim was 80 % within 0.5; it is not
// reached, and TestLaboratoriesThemselvesDifferByMore shows why.
func TestPublishedCoolingsWithinHalfALog(t *testing.T) {
	t.Parallel()
	var numbers, numbersHit, bounded, boundedHit, fresh, freshHit, zone int
	for _, c := range coolings() {
		off := c.off(c.estimate(t).Likely)
		hit := math.Abs(off) <= within
		reason, listed := missed[c.name()]
		switch {
		case hit && listed:
			t.Errorf("%s is listed as missed (%s) but off by only %.2f: take it off the list", c.name(), reason, off)
		case !hit && !listed:
			t.Errorf("%s is off by %.2f log10 and not listed as missed", c.name(), off)
		}
		count := func(n, h *int) {
			*n++
			if hit {
				*h++
			}
		}
		if c.censored {
			count(&bounded, &boundedHit)
			continue
		}
		count(&numbers, &numbersHit)
		if !usedInSets(c) {
			count(&fresh, &freshHit)
		}
		// The acceptable prediction zone of this literature: at most 0.5 too little, 1.0 too
		// much (used for example by Juneja and others 2019, J Food Sci, Bacillus cereus in
		// pasta, abstract read at scribd.com 660324121).
		if off >= -0.5 && off <= 1.0 {
			zone++
		}
	}
	got := [...]int{numbers, numbersHit, bounded, boundedHit, fresh, freshHit, zone}
	want := [...]int{52, 30, 19, 14, 43, 24, 37}
	if got != want {
		t.Errorf("numbers, within 0.5; bounds, within 0.5; numbers not used in the sets, within 0.5; within -0.5 to +1.0 = %v, recorded %v", got, want)
	}
	doc, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Join(strings.Fields(strings.ReplaceAll(string(doc), "//", "")), " ")
	for _, sentence := range []string{
		fmt.Sprintf("in %d of %d experiments with a number, and in %d of %d with a bound: %d of %d.", numbersHit, numbers, boundedHit, bounded, numbersHit+boundedHit, numbers+bounded),
		fmt.Sprintf("Of the %d numbers from which no parameter was taken it is %d.", fresh, freshHit),
		fmt.Sprintf("the zone of this literature, it is %d of %d.", zone, numbers),
	} {
		if !strings.Contains(text, sentence) {
			t.Errorf("doc.go does not say %q", sentence)
		}
	}
}

// A model of temperature alone gives one value for one cooling. Even the best value for
// each cooling time, chosen with the results in hand, brings fewer than 80 % of the experiments
// in exponential cooling within 0.5. What is left is in the foods, as far as pH, salt and
// phosphate were stated, which most abstracts do not, and in the laboratories.
func TestLaboratoriesThemselvesDifferByMore(t *testing.T) {
	t.Parallel()
	groups := map[int][]float64{}
	total := 0
	for _, c := range coolings() {
		if c.censored || !strings.HasSuffix(c.what, " h") || strings.ContainsAny(c.what, "+") || c.profile[0].Temperature != 54.4 {
			continue
		}
		hours := int(c.profile[len(c.profile)-1].At.Sub(day).Hours() + 0.1)
		groups[hours] = append(groups[hours], c.observed)
		total++
	}
	best := 0
	for _, values := range groups {
		most := 0
		for _, from := range values {
			n := 0
			for _, v := range values {
				if v >= from && v <= from+2*within {
					n++
				}
			}
			most = max(most, n)
		}
		best += most
	}
	if total != 42 || best != 29 {
		t.Errorf("best choice of one value for each cooling time reaches %d of %d, recorded 29 of 42", best, total)
	}
	if float64(best) >= 0.8*float64(total) {
		t.Errorf("80 %% is within reach: %d of %d", best, total)
	}
}

// The upper value is there to be above what happens.
func TestUpperValueCoversPublishedCoolings(t *testing.T) {
	t.Parallel()
	above := map[string]bool{velugoti + ", 21 h": true} // final count near 9.7, above the cautious ceiling of 9
	for _, c := range coolings() {
		r := c.estimate(t)
		grew := c.observed
		if c.censored {
			grew = c.low
		}
		if r.Upper < grew != above[c.name()] {
			t.Errorf("%s: upper value %.2f, observed %.2f", c.name(), r.Upper, grew)
		}
		if grew > r.Limit && r.Verdict == Met {
			t.Errorf("%s: criterion met by the model, observed %.2f", c.name(), grew)
		}
	}
}

func TestCalibratedLagIsTheLeastSquaresFit(t *testing.T) {
	t.Parallel()
	var fed []Tracker
	var observed []float64
	for _, c := range coolings() {
		hours := c.profile[len(c.profile)-1].At.Sub(day).Hours()
		if c.series != velugoti && c.series != lactate || hours > 12.1 {
			continue
		}
		tracker, err := NewTracker(Product{Category: Pork, PH: 6.2, SaltPercent: c.salt}, Options{InitialLog: c.initial})
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range c.profile {
			if err := tracker.Add(r.At, r.Temperature); err != nil {
				t.Fatal(err)
			}
		}
		fed, observed = append(fed, tracker), append(observed, c.observed)
	}
	if len(fed) != 6 {
		t.Fatalf("%d experiments, want 6", len(fed))
	}
	sum := func(h0 float64) float64 {
		total := 0.0
		for i := range fed {
			fed[i].Likely.H0 = h0
			off := fed[i].Likely.Growth() - observed[i]
			total += off * off
		}
		return total
	}
	best := 3.0
	for h0 := 3.0; h0 < 8; h0 += 0.01 {
		if sum(h0) < sum(best) {
			best = h0
		}
	}
	if math.Abs(best-calibratedH0) > 0.006 { // the step is 0.01
		t.Errorf("least squares lag work %.2f, used %.2f", best, calibratedH0)
	}
}
