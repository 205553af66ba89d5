package predict

import (
	"fmt"
	"math"
	"strings"
	"time"

	"rondeau.internal/pkg/microbe"
	"rondeau.internal/pkg/units"
)

// GrowthQuestion holds the texts of the flags of `predict growth`; empty means not said.
type GrowthQuestion struct {
	ProductChoice
	// History is the text of a CSV file and HistoryName its name; Schedule points or a name.
	History     []byte
	HistoryName string
	Schedule    string
	Category    string
	Cured       bool
	Limit       string // log10
	MaxGap      string
	Probe       string // tolerance of the probe, a temperature difference
	Units       string
}

// GrowthFigures are the figures of growth over a history.
type GrowthFigures struct {
	LikelyLog10    float64       `json:"likely_log10"`
	CautiousLog10  float64       `json:"cautious_log10"`
	LikelyTimes    *float64      `json:"likely_times"` // 10 to the power of the likely growth
	CautiousTimes  *float64      `json:"cautious_times"`
	LimitLog10     float64       `json:"limit_log10"`
	Verdict        string        `json:"verdict"` // met, not met, not decidable
	Reason         string        `json:"reason"`
	GrowingMinutes float64       `json:"growing_minutes"` // in the range of growth
	Readings       int           `json:"readings"`
	GapMinutes     float64       `json:"gap_minutes"`
	Gaps           []GapFigure   `json:"gaps"`
	InRange        bool          `json:"in_range_of_the_model"`
	OutOfRange     []string      `json:"out_of_range"`
	Models         []ModelFigure `json:"models"`
}

// GapFigure is a time in which nobody watched.
type GapFigure struct {
	FromMinutes   float64 `json:"from_minutes"`
	LengthMinutes float64 `json:"length_minutes"`
	LowCelsius    float64 `json:"low_celsius"`
	HighCelsius   float64 `json:"high_celsius"`
}

// ModelFigure is the growth by one published model.
type ModelFigure struct {
	Name        string  `json:"name"`
	GrowthLog10 float64 `json:"growth_log10"`
	Source      string  `json:"source"`
}

// GrowthShort is the growth along a computed chill.
type GrowthShort struct {
	LikelyLog10   float64  `json:"likely_log10"`
	CautiousLog10 float64  `json:"cautious_log10"`
	LimitLog10    float64  `json:"limit_log10"`
	Verdict       string   `json:"verdict"`
	Cautions      []string `json:"cautions"`
	likely, upper []float64
}

// category reads --category; the product decides what is not said.
func (r *reader) category(text string) microbe.Category {
	categories := map[string]microbe.Category{"stock": microbe.Stock, "beef": microbe.Beef, "pork": microbe.Pork, "poultry": microbe.Poultry}
	return categories[r.choice("--category", text, "stock", "stock", "beef", "pork", "poultry")]
}

func (p Product) microbe() microbe.Product { return microbe.Product{PH: p.PH, SaltPercent: p.Salt} }

// Growth answers what a history of temperatures lets grow.
func Growth(q GrowthQuestion) (*Answer, error) {
	r := &reader{}
	system := r.system(q.Units)
	product := r.product(q.ProductChoice, "brown-stock")
	food := product.microbe()
	food.Category, food.Cured = r.category(q.Category), q.Cured
	if q.PH == "" {
		r.assume("pH", trimmed(product.PH), "--ph; "+practice)
	}
	if q.Salt == "" {
		r.assume("salt", percent(product.Salt/100)+" of the water", "--salt; "+practice)
	}
	h := r.history(q)
	o := microbe.Options{Compare: true}
	limit, given := r.number("--limit", q.Limit, 0.1, 6, 1, "the growth that is acceptable in log10", "1")
	o.Limit = limit
	if !given {
		r.assume("limit", "1 log10, ten times as many", "--limit; USDA-FSIS Appendix B")
	}
	o.MaxGap, _ = r.duration("--max-gap", q.MaxGap, time.Minute, 24*time.Hour, "30min")
	switch tolerance, given := r.difference("--probe", q.Probe); {
	case given:
		o.ProbeTolerance = tolerance
	case h.exact:
		o.ProbeTolerance = 0.01
	default:
		r.assume("probe", "right within 1 C", "--probe; FDA Food Code 4-203.11")
	}
	if err := r.err(); err != nil {
		return nil, err
	}
	s := &r.style
	s.settle(system)
	got, err := microbe.Growth(h.readings, food, o)
	if err != nil {
		return nil, fmt.Errorf("compute the growth: %w", err)
	}
	a := &Answer{Question: "growth", Assumptions: r.told(s), Cautions: unique(append([]string{microbe.CautionSafety}, got.Cautions...))}
	for _, text := range got.Assumptions {
		a.Assumptions = append(a.Assumptions, Assumption{Name: "model", Value: text})
	}
	likelyCourse, upper, err := follow(h.readings, food, o)
	if err != nil {
		return nil, fmt.Errorf("follow the growth: %w", err)
	}
	fillGrowth(a, s, h, got, likelyCourse, upper)
	return a, nil
}

func (r *reader) history(q GrowthQuestion) history {
	switch {
	case len(q.History) > 0 && q.Schedule != "":
		r.fault("--history", q.HistoryName, "give --history or --schedule, not both")
	case q.HistoryName != "":
		readings, err := ParseHistory(q.History)
		if err != nil {
			r.fault("--history", q.HistoryName, "%v", err)
		}
		return history{readings: readings, name: "the history in " + q.HistoryName}
	case q.Schedule != "":
		return r.schedule(q.Schedule)
	default:
		r.fault("--schedule", "", "is missing; %s; or give a CSV file with --history", scheduleShape)
	}
	return history{}
}

// difference reads a difference of temperature.
func (r *reader) difference(flag, text string) (units.CelsiusDelta, bool) {
	if strings.TrimSpace(text) == "" {
		return 0, false
	}
	d, err := units.ParseTemperatureDelta(text)
	if err != nil || d < 0.01 || d > 5 {
		r.fault(flag, text, "give how far the probe may be off, from 0.01 C to 5 C, such as 1C or 2F")
	}
	return d, true
}

// follow gives likely and upper growth at each reading; gaps are taken in as the estimate does.
func follow(readings []microbe.Reading, food microbe.Product, o microbe.Options) (likelyCourse, upper []float64, err error) {
	t, err := microbe.NewTracker(food, o)
	if err != nil {
		return nil, nil, err
	}
	for _, one := range readings {
		err = t.Add(one.At, one.Temperature)
		if err != nil {
			return nil, nil, err
		}
		got := t.Result()
		likelyCourse, upper = append(likelyCourse, got.Likely), append(upper, got.Upper)
	}
	return likelyCourse, upper, nil
}

func logs(v float64) string { return fmt.Sprintf("%.2f log10", v) }

// times says a growth as a factor.
func times(v float64) string {
	f := math.Pow(10, v)
	switch {
	case f < 1.05:
		return "no growth to speak of"
	case f < 10:
		return "about " + fmt.Sprintf("%.1f", f) + " times as many"
	default:
		p := math.Pow(10, math.Floor(math.Log10(f))-1)
		return fmt.Sprintf("about %.0f times as many", math.Round(f/p)*p)
	}
}

func fillGrowth(a *Answer, s *Style, h history, got microbe.Result, likelyCourse, upper []float64) {
	figures := GrowthFigures{
		LikelyLog10: *rounded(got.Likely, 3), CautiousLog10: *rounded(got.Upper, 3), LimitLog10: got.Limit, Verdict: got.Verdict.String(), Reason: got.Reason,
		LikelyTimes: rounded(math.Pow(10, got.Likely), 1), CautiousTimes: rounded(math.Pow(10, got.Upper), 1),
		GrowingMinutes: *minutesOf(got.Growing), Readings: got.Readings, GapMinutes: *minutesOf(got.GapTime), InRange: got.InRange, OutOfRange: got.OutOfRange,
		Gaps: []GapFigure{}, Models: []ModelFigure{},
	}
	if figures.OutOfRange == nil {
		figures.OutOfRange = []string{}
	}
	for _, g := range got.Gaps {
		figures.Gaps = append(figures.Gaps, GapFigure{*minutesOf(g.From.Sub(got.From)), *minutesOf(g.Length()), *rounded(float64(g.Low), 1), *rounded(float64(g.High), 1)})
	}
	for _, m := range got.Models {
		figures.Models = append(figures.Models, ModelFigure{m.Model.Name, *rounded(m.Growth, 2), m.Model.String()})
	}
	a.Figures = figures
	verdict := map[microbe.Verdict]string{
		microbe.Met:          fmt.Sprintf("within the limit of %s even on the cautious side", trimmed(got.Limit)),
		microbe.NotMet:       fmt.Sprintf("above the limit of %s", trimmed(got.Limit)),
		microbe.NotDecidable: fmt.Sprintf("not decidable against the limit of %s", trimmed(got.Limit)),
	}[got.Verdict]
	a.Sentence = fmt.Sprintf("Clostridium perfringens grows by about %s, cautiously %s, over %s: %s.", logs(got.Likely), logs(got.Upper), h.name, verdict)
	t := &a.Table
	t.Header, t.Right = []string{"", "LIKELY", "CAUTIOUS", "LIMIT"}, make([]bool, 4)
	t.add("growth of C. perfringens", logs(got.Likely), logs(got.Upper), trimmed(got.Limit)+" log10")
	t.add("that is", times(got.Likely), times(got.Upper))
	a.note("criterion", got.Verdict.String()+": "+got.Reason)
	t.add("time where it grows", span(got.Growing)+" of "+span(got.To.Sub(got.From)))
	if !h.exact {
		t.add("readings", fmt.Sprint(got.Readings))
	}
	for i, g := range got.Gaps {
		if i == 5 {
			a.note("", fmt.Sprintf("and %d more gaps", len(got.Gaps)-5))
			break
		}
		a.note("gap", fmt.Sprintf("%s from %s on, taken as %s to %s", span(g.Length()), span(g.From.Sub(got.From)), s.Temperature(g.Low), s.Temperature(g.High)))
	}
	for _, m := range got.Models {
		t.add("by "+m.Model.Name, logs(m.Growth))
	}
	for _, text := range got.OutOfRange {
		a.note("outside the model", text)
	}
	thin := max(1, len(h.readings)/400)
	p := &Picture{Title: "Growth of Clostridium perfringens", Subtitle: a.Sentence, Footer: microbe.CautionSafety, Y: "food (" + s.degreeUnit() + ")"}
	p.Subtitle = fmt.Sprintf("likely %s, cautiously %s; limit %s log10: %s", logs(got.Likely), logs(got.Upper), trimmed(got.Limit), got.Verdict)
	food := Curve{Words: "food", Colour: ink}
	lower := &Picture{Y: "growth (log10)"}
	l, u := Curve{Words: "likely", Colour: blue}, Curve{Words: "cautious", Colour: ink, Dashed: true}
	for i, one := range h.readings {
		if i%thin != 0 && i != len(h.readings)-1 {
			continue
		}
		after := one.At.Sub(h.readings[0].At)
		food.Hours, food.Y = append(food.Hours, after.Hours()), append(food.Y, s.degrees(one.Temperature))
		l.Hours, l.Y = append(l.Hours, after.Hours()), append(l.Y, likelyCourse[i])
		u.Hours, u.Y = append(u.Hours, after.Hours()), append(u.Y, upper[i])
		a.Series = append(a.Series, Point{
			ElapsedMinutes: *rounded(after.Minutes(), 2), TemperatureCelsius: rounded(float64(one.Temperature), 2),
			LikelyGrowthLog10: rounded(likelyCourse[i], 4), CautiousGrowthLog10: rounded(upper[i], 4),
		})
	}
	p.Curves, lower.Curves = []Curve{food}, []Curve{l, u}
	p.Limits = growthRange(s, food.Y)
	lower.Limits = []Limit{{Words: "limit " + trimmed(got.Limit) + " log10", Y: got.Limit}}
	lower.Low, lower.High = 0, math.Max(1.3*got.Limit, 1.15*got.Upper)
	p.Lower = lower
	a.Picture = p
}

// growthRange are the temperatures between which it grows, as far as they lie in a picture.
func growthRange(s *Style, y []float64) []Limit {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range y {
		low, high = math.Min(low, v), math.Max(high, v)
	}
	set := microbe.SetFor(microbe.Stock)
	var out []Limit
	for _, one := range []struct {
		at    units.Celsius
		words string
	}{{set.Rate.Max, "grows below "}, {set.Rate.Min, "grows above "}} {
		if v := s.degrees(one.at); v >= low && v <= high {
			out = append(out, Limit{Words: one.words + s.Temperature(one.at), Y: v})
		}
	}
	return out
}

// growth along a computed chill: the likely estimate on the likely course, the larger upper one of the likely and the
// late course.
func (c cooling) growth(courses [3]courseOf) (*GrowthShort, error) {
	food := c.product.microbe()
	o := microbe.Options{ProbeTolerance: 0.01, MaxGap: 24 * time.Hour}
	run := func(curve []coursePoint) (microbe.Result, []float64, []float64, error) {
		var readings []microbe.Reading
		for _, p := range curve {
			readings = append(readings, microbe.Reading{At: zero.Add(p.at), Temperature: p.core})
		}
		got, err := microbe.Growth(readings, food, o)
		if err != nil {
			return got, nil, nil, err
		}
		l, u, err := follow(readings, food, o)
		return got, l, u, err
	}
	of, l, both, err := run(points(courses[1]))
	if err != nil {
		return nil, fmt.Errorf("compute the growth: %w", err)
	}
	slow, _, u, err := run(points(courses[2]))
	if err != nil {
		return nil, fmt.Errorf("compute the growth: %w", err)
	}
	for i := range u { // the late course comes later into the range of growth
		u[i] = math.Max(u[i], both[i])
	}
	upper := math.Max(slow.Upper, of.Upper)
	g := &GrowthShort{LikelyLog10: *rounded(of.Likely, 3), CautiousLog10: *rounded(upper, 3), LimitLog10: of.Limit, likely: l, upper: u}
	switch {
	case upper <= of.Limit:
		g.Verdict = microbe.Met.String()
	case of.Likely > of.Limit:
		g.Verdict = microbe.NotMet.String()
	default:
		g.Verdict = microbe.NotDecidable.String()
	}
	for _, text := range append(of.Cautions, slow.Cautions...) {
		if text != microbe.CautionSafety {
			g.Cautions = append(g.Cautions, text)
		}
	}
	g.Cautions = unique(g.Cautions)
	return g, nil
}

type coursePoint struct {
	at   time.Duration
	core units.Celsius
}

func points(o courseOf) []coursePoint {
	out := make([]coursePoint, len(o.curve))
	for i, st := range o.curve {
		out[i] = coursePoint{st.Elapsed, st.Core}
	}
	return out
}

func (g *GrowthShort) rows(t *Table) {
	t.add("growth of C. perfringens", trimmed(g.LimitLog10)+" log10", logs(g.LikelyLog10), "", logs(g.CautiousLog10), g.Verdict)
}

func (a *Answer) note(name, text string) { a.Notes = append(a.Notes, [2]string{name, text}) }

func unique(texts []string) []string {
	seen := map[string]bool{}
	out := []string{}
	for _, t := range texts {
		if !seen[t] {
			out = append(out, t)
		}
		seen[t] = true
	}
	return out
}
