package predict

import (
	"fmt"
	"math"
	"strings"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/units"
)

// ChillQuestion holds the texts of the flags of `predict chill`; empty means not said.
type ChillQuestion struct {
	VesselChoice
	ProductChoice
	Volume, Mass, Depth string
	Count               string
	Means               string
	Profile             string
	Limits              []string
	Start, Air          string
	Ice, Water          string
	Film                string
	Shelf               string
	MachinePower        string
	Pass, Plates        string
	Units               string
}

// ChillFigures are the figures of a chill.
type ChillFigures struct {
	Profile     string        `json:"profile"`
	Verdict     string        `json:"verdict"` // meets, may_miss, misses
	MassKg      float64       `json:"mass_kg"`
	Volume      float64       `json:"volume_litres"`
	DepthMm     float64       `json:"depth_mm"`
	Stages      []StageFigure `json:"stages"`
	WorstMargin Minutes       `json:"worst_margin_minutes"` // negative is late; "late" is the cautious one
	Help        []Help        `json:"would_keep_the_limits"`
	Growth      *GrowthShort  `json:"growth,omitempty"`
}

// StageFigure is one limit.
type StageFigure struct {
	Name           string  `json:"name"`
	FromCelsius    float64 `json:"from_celsius"`
	ToCelsius      float64 `json:"to_celsius"`
	AllowedMinutes float64 `json:"allowed_minutes"`
	// TookMinutes from the first temperature to the second; null when not reached within seven days.
	TookMinutes Minutes `json:"took_minutes"`
	// AtMinutes counts from the start of the chill.
	AtMinutes     Minutes `json:"at_minutes"`
	MarginMinutes Minutes `json:"margin_minutes"`
}

// course of one side.
type courseOf struct {
	model  chill.Model
	stages []chill.StagePrediction
	margin time.Duration
	curve  []chill.State
}

func (r *reader) cooling(q ChillQuestion) cooling {
	word := r.choice("--means", q.Means, "", meansWords()...)
	if word == "" && q.Means == "" {
		r.fault("--means", "", "is missing: what cools; give one of %s", strings.Join(meansWords(), ", "))
	}
	var c cooling
	for _, m := range allMeans {
		if m.word == word {
			c.means = m
		}
	}
	c.vessel = r.vessel(q.VesselChoice, r.usualVessel(word))
	c.product = r.product(q.ProductChoice, "brown-stock")
	c.limits = r.limits(q.Profile, q.Limits)
	start, _ := r.quantity("--start", q.Start, bound{low: 20, high: 105, from: "20 C", to: "105 C", kind: "the temperature at the start", suchAs: "90C or 194F", dimension: units.DimensionTemperature, otherwise: "90 C", assumeName: "start", note: "--start; " + practice})
	c.start = units.Celsius(start)
	c.pass, c.plates = time.Hour, 40
	if word == "plate" {
		if d, given := r.duration("--pass", q.Pass, time.Minute, 24*time.Hour, "45min"); given {
			c.pass = d
		} else {
			r.assume("pass", span(c.pass)+" for the whole batch", "--pass; "+practice)
		}
		plates, given := r.number("--plates", q.Plates, 3, 2000, 40, "a number of plates", "40")
		c.plates = int(plates)
		if !given {
			r.assume("plates", fmt.Sprintf("%d of 0.1 m²", c.plates), "--plates; "+practice)
		}
	} else if q.Pass != "" || q.Plates != "" {
		r.fault("--pass", q.Pass+q.Plates, "--pass and --plates are for --means plate; leave them out")
	}
	if word == "jacket" && c.vessel.Kind != Kettle {
		r.fault("--means", q.Means, "needs a kettle; give --vessel kettle-100, or another of --means")
	}
	if c.vessel.Kind == Kettle && word != "jacket" && word != "plate" && word != "still-air" && word != "" {
		r.fault("--means", q.Means, "does not fit: %s stands where it stands; give --means jacket, plate or still-air, or another --vessel", c.vessel.the())
	}
	c.air = c.means.air
	b := bound{low: -45, high: 40, from: "-45 C", to: "40 C", kind: "the temperature of the " + orMedium(c.means.airNote), suchAs: c.means.airSuchAs, dimension: units.DimensionTemperature}
	if t, given := r.quantity("--air", q.Air, b); given {
		c.air = units.Celsius(t)
	} else if word != "ice-bath" && word != "" {
		cold, note := c.air, c.means.airNote
		r.assumeIn("cold side", func(s *Style) string { return s.Temperature(cold) + ", " + note }, "--air; "+practice)
	}
	c.contents(r, q)
	c.bath(r, q)
	film, given := r.number("--film", q.Film, 0.5, 5000, c.means.film, "a heat transfer coefficient in W/m²·K", trimmed(c.means.film))
	c.film = film
	if c.means.word == "ice-bath" && c.vessel.Kind == Container {
		c.means.film = 300
		if !given {
			c.film = 300
		}
	}
	if !given && word != "" {
		r.assume("heat transfer", trimmed(c.film)+" W/m²·K, 30 % up or down", "--film; "+practice)
	}
	c.oneFace = r.choice("--shelf", q.Shelf, "wire", "wire", "solid") == "solid"
	material, err := chill.MaterialOf(c.product.Composition, 30)
	r.check("--composition", q.Composition, err)
	c.material = material
	return c
}

func orMedium(note string) string {
	if note == "" {
		return "cold side"
	}
	return note
}

// usualVessel is taken when none is named.
func (r *reader) usualVessel(means string) string {
	switch means {
	case "blast":
		return "pan-65"
	case "jacket", "plate":
		return "kettle-100"
	default:
		return "stockpot-20"
	}
}

// contents reads how much is in each vessel, and how many there are.
func (c *cooling) contents(r *reader, q ChillQuestion) {
	if depth, given := r.quantity("--depth", q.Depth, bound{low: 0.004, high: 1.5, from: "4 mm", to: "1.5 m", kind: "the depth of the food", suchAs: "50mm or 2in", dimension: units.DimensionLength}); given {
		if q.Volume != "" || q.Mass != "" {
			r.fault("--depth", q.Depth, "give --depth, --volume or --mass, only one of them")
		}
		if units.Length(depth) > c.vessel.Height && !c.vessel.Flat {
			local := r.style
			local.settle("")
			r.fault("--depth", q.Depth, "is more than %s is high (%s)", c.vessel.the(), local.Length(c.vessel.Height))
		}
		if c.vessel.Flat { // a pouch of that thickness
			c.vessel.Fill *= units.Volume(units.Length(depth) / c.vessel.Height)
			c.vessel.Height = units.Length(depth)
		}
		v := c.vessel.VolumeAt(units.Length(depth))
		if c.vessel.Flat {
			v = c.vessel.Fill
		}
		q.Volume = fmt.Sprintf("%.6f L", v.Litres())
		seen := r.style
		c.mass, c.volume = r.contents(q.Volume, "", c.vessel, c.product, c.start, true)
		r.style = seen
	} else {
		c.mass, c.volume = r.contents(q.Volume, q.Mass, c.vessel, c.product, c.start, true)
	}
	count, _ := r.number("--count", q.Count, 1, 200, 1, "a number of vessels", "6")
	c.count = int(math.Round(count))
	if power, given := r.quantity("--machine-power", q.MachinePower, bound{low: 100, high: 500e3, from: "100 W", to: "500 kW", kind: "the cooling power of the machine", suchAs: "5kW", dimension: units.DimensionPower}); given {
		c.machine = units.Power(power)
		if c.vessel.Kind != Tray {
			r.fault("--machine-power", q.MachinePower, "is for pans; give --vessel pan-65 or pan-100")
		}
	}
	if c.count > 1 && (c.vessel.Kind != Tray || c.machine == 0) {
		r.fault("--count", q.Count, "matters only for pans that share a machine; give --machine-power such as 5kW as well, or leave it out")
	}
}

// bath reads ice and water of an ice bath.
func (c *cooling) bath(r *reader, q ChillQuestion) {
	b := bound{low: 0, high: 20000, from: "0 kg", to: "20000 kg", kind: "a mass of ice", suchAs: "20kg or 40lb", dimension: units.DimensionMass}
	ice, iceGiven := r.quantity("--ice", q.Ice, b)
	b.kind, b.suchAs = "a mass of water in the bath", "10kg"
	water, waterGiven := r.quantity("--water", q.Water, b)
	if c.means.word != "ice-bath" || c.vessel.Kind == Container {
		if iceGiven || waterGiven {
			r.fault("--ice", q.Ice, "is for pots and pans in an ice bath; leave it out, or give --means ice-bath")
		}
		return
	}
	c.ice, c.water, c.waterAt = units.Mass(ice), units.Mass(water), 15
	if !iceGiven {
		c.ice = 1.5 * c.mass
		ice := c.ice
		r.assumeIn("ice", func(s *Style) string { return s.Mass(ice) }, "--ice; half as much again as stock: "+practice)
	}
	if !waterGiven {
		c.water = c.mass / 2
		water := c.water
		r.assumeIn("water in the bath", func(s *Style) string { return s.Mass(water) + " at " + s.Temperature(15) }, "--water; "+practice)
	}
	r.assume("stirring", "stock and bath are stirred", "an unstirred pot takes far longer")
}

// Chill answers whether a cooling keeps its limits.
func Chill(q ChillQuestion) (*Answer, error) {
	r := &reader{}
	system := r.system(q.Units)
	c := r.cooling(q)
	if err := r.err(); err != nil {
		return nil, err
	}
	s := &r.style
	s.settle(system)
	var courses [3]courseOf
	for i, sd := range []side{early, likely, late} {
		m, err := c.model(sd)
		if err != nil {
			return nil, fmt.Errorf("compute the cooling: %w", err)
		}
		stages, margin, err := chill.Predict(m, c.limits)
		if err != nil {
			return nil, fmt.Errorf("compute the cooling: %w", err)
		}
		courses[i] = courseOf{model: m, stages: stages, margin: margin}
		err = courses[i].wait(c.air)
		if err != nil {
			return nil, fmt.Errorf("compute the cooling: %w", err)
		}
	}
	a := &Answer{Question: "chill", Assumptions: r.told(s), Cautions: c.cautions()}
	hours := c.horizon(courses)
	for i := range courses {
		err := courses[i].run(hours)
		if err != nil {
			return nil, fmt.Errorf("compute the course: %w", err)
		}
	}
	helps, err := c.helps(s)
	if err != nil {
		return nil, err
	}
	growth, err := c.growth(courses)
	if err != nil {
		return nil, err
	}
	c.fill(a, s, courses, helps, growth)
	a.Picture = c.picture(s, courses, growth)
	return a, nil
}

// horizon is how far the curves go: to the last limit by the late course, or to half as much again as is allowed.
func (c cooling) horizon(courses [3]courseOf) time.Duration {
	var most time.Duration
	for i := range c.limits.Stages {
		for _, one := range courses {
			p := one.stages[i]
			entered := p.At - p.Took
			if p.Reached {
				most = max(most, min(p.At, entered+4*p.Stage.Within))
			}
			most = max(most, min(entered, 48*time.Hour)+p.Stage.Within)
		}
	}
	return min(most+most/12, 14*24*time.Hour)
}

// patience is how long a limit is waited for that is missed.
const patience = 7 * 24 * time.Hour

// wait finds when limits are reached that are missed by far, so that a person learns how long it takes.
func (o *courseOf) wait(air units.Celsius) error {
	for i := range o.stages {
		p := &o.stages[i]
		if p.Reached || air >= p.Stage.To.Celsius() {
			continue
		}
		entered := time.Duration(0)
		if !p.Stage.FromFirst && o.model.State().Core > p.Stage.From.Celsius() {
			at, ok, err := chill.TimeTo(o.model, p.Stage.From.Celsius(), patience)
			if err != nil || !ok {
				return err
			}
			entered = at
		}
		at, ok, err := chill.TimeTo(o.model, p.Stage.To.Celsius(), patience)
		if err != nil || !ok {
			return err
		}
		p.Reached, p.At, p.Took, p.Margin = true, at, at-entered, p.Stage.Within-(at-entered)
		o.margin = min(o.margin, p.Margin)
	}
	return nil
}

const curvePoints = 180

func (o *courseOf) run(length time.Duration) error {
	m := o.model.Clone()
	o.curve = append(o.curve, m.State())
	for range curvePoints {
		st, err := m.Step(length / curvePoints)
		if err != nil {
			return err
		}
		o.curve = append(o.curve, st)
	}
	return nil
}

func (c cooling) cautions() []string {
	out := []string{chill.CautionSafety, chill.CautionModel}
	pot := c.vessel.Kind == Pot || c.vessel.Kind == Kettle
	stirred := c.means.word == "ice-bath" && c.vessel.Kind != Container || c.means.word == "jacket"
	switch {
	case c.means.word == "plate":
		return append(out, "The kettle is taken not to cool while the batch passes; the clock of the last litre starts when it leaves the kettle.")
	case stirred:
		out = append(out, chill.CautionStirring)
	default:
		out = append(out, chill.CautionStillStock)
	}
	if pot && !stirred {
		out = append(out, chill.CautionStratified)
	}
	if c.air < 0 {
		out = append(out, chill.CautionFrost)
	}
	if c.product.GelAt > 5 && (pot || stirred) {
		out = append(out, chill.CautionGel)
	}
	for _, st := range c.limits.Stages {
		if c.air >= st.To.Celsius() {
			out = append(out, chill.CautionAmbient)
			break
		}
	}
	return out
}

func (c cooling) verdict(courses [3]courseOf) string {
	switch {
	case courses[2].meets():
		return "meets"
	case courses[1].meets():
		return "may_miss"
	default:
		return "misses"
	}
}

func (o courseOf) meets() bool {
	for _, p := range o.stages {
		if !p.Reached {
			return false
		}
	}
	return o.margin >= 0
}

func (c cooling) fill(a *Answer, s *Style, courses [3]courseOf, helps []Help, growth *GrowthShort) {
	figures := ChillFigures{Profile: c.limits.Name, Verdict: c.verdict(courses), MassKg: *rounded(float64(c.mass), 2), Volume: *rounded(c.volume.Litres(), 2), DepthMm: *rounded(c.depth().Millimetres(), 0), Help: helps, Growth: growth}
	figures.WorstMargin = Minutes{Early: minutesOf(courses[0].margin), Likely: minutesOf(courses[1].margin), Late: minutesOf(courses[2].margin)}
	t := &a.Table
	t.Header, t.Right = []string{"", "ALLOWED", "LIKELY", "EARLY", "LATE", "MARGIN, LATE"}, make([]bool, 6)
	for i, st := range c.limits.Stages {
		figure := StageFigure{Name: st.Name, FromCelsius: *rounded(float64(st.From.Celsius()), 1), ToCelsius: *rounded(float64(st.To.Celsius()), 1), AllowedMinutes: st.Within.Minutes()}
		pick := func(of func(chill.StagePrediction) *float64) Minutes {
			return Minutes{Early: of(courses[0].stages[i]), Likely: of(courses[1].stages[i]), Late: of(courses[2].stages[i])}
		}
		figure.TookMinutes = pick(func(p chill.StagePrediction) *float64 { return minutesIf(p.Reached, p.Took) })
		figure.AtMinutes = pick(func(p chill.StagePrediction) *float64 { return minutesIf(p.Reached, p.At) })
		figure.MarginMinutes = pick(func(p chill.StagePrediction) *float64 { return minutesIf(p.Reached, p.Margin) })
		figures.Stages = append(figures.Stages, figure)
		margin := "never"
		if p := courses[2].stages[i]; p.Reached {
			margin = span(p.Margin)
			if p.Margin < 0 {
				margin = rough(-p.Margin, st.Within) + " too late"
			}
		}
		t.add(fmt.Sprintf("%s to %s", s.rule(st.From), s.rule(st.To)), span(st.Within), took(courses[1].stages[i]), took(courses[0].stages[i]), took(courses[2].stages[i]), margin)
	}
	for i, st := range c.limits.Stages {
		p := courses[1].stages[i]
		if p.Reached {
			t.add("from the start to "+s.rule(st.To), "", rough(p.At, st.Within), atIf(courses[0].stages[i]), atIf(courses[2].stages[i]))
		}
	}
	for _, h := range helps {
		l, cautious, _ := strings.Cut(h.text, "|")
		t.add(h.What+" that keeps the limits", "", l, "", cautious)
	}
	t.add("in the vessel", "", s.Volume(c.volume)+", "+s.Mass(c.mass)+", "+s.Length(c.depth())+" deep")
	if growth != nil {
		growth.rows(t)
		a.Cautions = append(a.Cautions, growth.Cautions...)
	}
	a.Figures = figures
	a.Sentence = c.sentence(s, courses, helps, figures.Verdict)
	for i, st := range courses[1].curve {
		a.Series = append(a.Series, Point{
			ElapsedMinutes: *rounded(st.Elapsed.Minutes(), 2), TemperatureCelsius: rounded(float64(st.Core), 2),
			EarlyTemperatureCelsius: rounded(float64(courses[0].curve[i].Core), 2), LateTemperatureCelsius: rounded(float64(courses[2].curve[i].Core), 2),
		})
	}
}

func took(p chill.StagePrediction) string {
	if !p.Reached {
		return "never"
	}
	return rough(p.Took, p.Stage.Within)
}

// rough writes a time to the minute near its limit, and as coarsely as it is known far beyond it.
func rough(d, limit time.Duration) string {
	if d < 2*limit {
		return span(d)
	}
	return about(d)
}

func atIf(p chill.StagePrediction) string {
	if !p.Reached {
		return "never"
	}
	return span(p.At)
}

// sentence gives the verdict, the limit that decides, and what would help.
func (c cooling) sentence(s *Style, courses [3]courseOf, helps []Help, verdict string) string {
	of := courses[1]
	if verdict == "may_miss" {
		of = courses[2]
	}
	worst := 0
	for i, p := range of.stages {
		if w := of.stages[worst]; w.Reached && (!p.Reached || p.Margin < w.Margin) {
			worst = i
		}
	}
	p := of.stages[worst]
	detail := fmt.Sprintf("%s to %s takes %s of %s allowed", s.rule(p.Stage.From), s.rule(p.Stage.To), took(p), span(p.Stage.Within))
	if !p.Reached {
		detail = fmt.Sprintf("%s is not reached within 7 days", s.rule(p.Stage.To))
	}
	if c.air >= p.Stage.To.Celsius() {
		detail = fmt.Sprintf("%s is never reached, the cold side at %s is not colder", s.rule(p.Stage.To), s.Temperature(c.air))
	}
	name := fmt.Sprintf("%s (%s)", c.limits.Name, strings.TrimSuffix(c.product.Title+" "+c.means.title, " "))
	var text string
	switch verdict {
	case "meets":
		text = fmt.Sprintf("It should keep the limits of %s: %s, at the late end %s.", name, detail, took(courses[2].stages[worst]))
	case "may_miss":
		text = fmt.Sprintf("It may miss the limits of %s: likely in time, but at the late end %s.", name, detail)
	default:
		text = fmt.Sprintf("It will likely miss the limits of %s: %s.", name, detail)
	}
	if verdict == "meets" {
		return text
	}
	for _, h := range helps {
		l, cautious, _ := strings.Cut(h.text, "|")
		switch {
		case h.Cautious != nil:
			return text + fmt.Sprintf(" To be on the safe side: %s %s.", h.What, cautious)
		case h.Likely != nil:
			return text + fmt.Sprintf(" It would be likely in time with: %s %s.", h.What, l)
		}
	}
	return text + " No amount in this vessel keeps them: choose something colder, shallower pans, or an ice bath with stirring."
}

func (c cooling) picture(s *Style, courses [3]courseOf, growth *GrowthShort) *Picture {
	p := &Picture{
		Title: "Chill: " + c.product.Title + " " + c.means.title, Footer: chill.CautionSafety,
		Subtitle: fmt.Sprintf("%s in %s, %s deep; limits: %s", s.Volume(c.volume), c.vessel.the(), s.Length(c.depth()), c.limits.Name),
		Y:        "core temperature (" + s.degreeUnit() + ")",
	}
	curve := Curve{Words: "likely", Colour: blue}
	band := &Band{Words: "range, early to late"}
	for i, st := range courses[1].curve {
		h := st.Elapsed.Hours()
		curve.Hours, curve.Y = append(curve.Hours, h), append(curve.Y, s.degrees(st.Core))
		band.Hours = append(band.Hours, h)
		band.Low, band.High = append(band.Low, s.degrees(courses[0].curve[i].Core)), append(band.High, s.degrees(courses[2].curve[i].Core))
	}
	p.Curves, p.Band = []Curve{curve}, band
	seen := map[string]bool{}
	for i, st := range c.limits.Stages {
		limit := s.rule(st.To)
		if !seen[limit] {
			p.Limits = append(p.Limits, Limit{Words: "limit " + limit, Y: s.degrees(st.To.Celsius())})
		}
		if from := s.rule(st.From); i == 0 && !st.FromFirst && st.From.Celsius() < c.start {
			p.Limits = append(p.Limits, Limit{Words: "clock starts at " + from, Y: s.degrees(st.From.Celsius())})
			seen[from] = true
		}
		seen[limit] = true
		pr := courses[1].stages[i]
		due := pr.At - pr.Took + st.Within
		if !pr.Reached {
			due = pr.At - 2*st.Within + st.Within
			if pr.Margin == -st.Within && pr.Took == 0 {
				continue
			}
		}
		if due > 0 && due <= courses[1].curve[curvePoints].Elapsed {
			mark := Mark{Hours: due.Hours(), Y: s.degrees(st.To.Celsius()), Cross: !pr.Reached || pr.Margin < 0}
			mark.Words = fmt.Sprintf("due at %s: met", span(due))
			if mark.Cross {
				mark.Words = fmt.Sprintf("due at %s: missed", span(due))
			}
			p.Marks = append(p.Marks, mark)
		}
	}
	if growth != nil {
		p.Lower = &Picture{Y: "growth (log10)", Low: 0, High: math.Max(1.3*growth.LimitLog10, 1.15*growth.CautiousLog10), Limits: []Limit{{Words: "limit " + trimmed(growth.LimitLog10) + " log10", Y: growth.LimitLog10}}}
		p.Lower.Curves = []Curve{{Words: "likely", Colour: blue, Hours: curve.Hours, Y: growth.likely}, {Words: "cautious", Colour: ink, Dashed: true, Hours: curve.Hours, Y: growth.upper}}
	}
	return p
}
