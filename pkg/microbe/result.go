package microbe

import (
	"fmt"
	"math"
	"time"
)

// Verdict on a growth criterion.
type Verdict uint8

// The verdicts.
const (
	// NotDecidable: the likely growth is within the limit and the upper value is not, or
	// the history does not tell enough. The critical limit and the person decide.
	NotDecidable Verdict = iota
	// Met: the upper value is within the limit.
	Met
	// NotMet: the likely growth is above the limit.
	NotMet
)

// String returns the words of the trade.
func (v Verdict) String() string {
	switch v {
	case Met:
		return "met"
	case NotMet:
		return "not met"
	default:
		return "not decidable"
	}
}

// Cautions that results carry; callers show them as they are.
const (
	// CautionSafety belongs on every page, command and report that shows a growth or a lethality.
	CautionSafety       = "This supports and does not replace the validated HACCP plan, the local code and the qualified person."
	CautionModel        = "Predicted growth is not a count: laboratories that cooled alike differ by more than 1 log10."
	CautionLimit        = "A critical limit that was missed stays missed, whatever growth is predicted."
	CautionBotulinum    = "Clostridium botulinum, Bacillus cereus and other bacteria are not covered."
	CautionGaps         = "Readings have gaps: for the upper value the food is taken to have been at the temperature between its neighbours that grows most."
	CautionStart        = "When the food left the heat is not known and the first reading is already where growth happens: growth before it is not counted, and the upper value has no lag."
	CautionGrowing      = "The last reading is where growth happens: growth goes on and is not counted."
	CautionFewReadings  = "Fewer than two readings: nothing can be said about growth."
	CautionCured        = "Nitrite and other antimicrobials slow growth; the models know none and give no credit."
	CautionExtrapolated = "The food is outside the range of the model and was moved into it on the cautious side."
)

// Result of an estimate of growth. It informs the person who decides and overrules no
// critical limit.
type Result struct {
	// Likely and Upper increase of Clostridium perfringens, log10 per gram.
	Likely, Upper float64
	// Formed says how the two values came about.
	Formed string
	// Limit that was applied, log10, and the Verdict on it with its reason.
	Limit   float64
	Verdict Verdict
	Reason  string
	// InRange is false when the food is outside the range of the model; OutOfRange says by
	// what, and what was taken instead.
	InRange    bool
	OutOfRange []string
	// Gaps that were filled on the cautious side, in order; a Tracker keeps the longest.
	Gaps    []Gap
	GapTime time.Duration
	// From and To bound the history, Readings counts it, Growing is the time in the range of growth.
	From, To time.Time
	Readings int
	Growing  time.Duration
	// Models holds the growth by every published model, when Options.Compare asks for it.
	Models []ModelGrowth
	// Used names the models of Likely and Upper with their sources.
	Used []string
	// Cautions and Assumptions to be shown with the result.
	Cautions, Assumptions []string
}

// ModelGrowth is the growth by one published model.
type ModelGrowth struct {
	Model RateModel
	// H0 that was used, and whether the source gives it.
	H0        float64
	Published bool
	// Growth, log10 per gram.
	Growth float64
}

// Result returns the estimate up to the latest reading.
func (t *Tracker) Result() Result {
	r := Result{
		Likely: t.Likely.Growth(), Upper: t.upper(), Limit: t.Options.Limit,
		From: t.First.At, To: t.Latest.At, Readings: t.Count, Growing: t.Growing, GapTime: t.GapTime, InRange: true,
	}
	r.Upper = max(r.Upper, r.Likely)
	if t.GapCount > 0 {
		r.Gaps = []Gap{t.LongestGap}
	}
	r.Cautions = []string{CautionSafety, CautionModel, CautionLimit, CautionBotulinum}
	r.describe(t)
	r.judge(t)
	return r
}

func (r *Result) describe(t *Tracker) {
	set := SetFor(t.Product.Category)
	r.Used = []string{
		"primary model: Baranyi and Roberts 1994, Int J Food Microbiol 23:277 (from memory)",
		"rate, likely value: " + set.Rate.Name + ": " + set.Rate.Source.String(),
		fmt.Sprintf("lag work %.2f: %s", set.H0, set.LagSource),
		fmt.Sprintf("ceiling %.2f log10 per gram: %s", set.Ceiling, set.CeilingSource),
	}
	r.Formed = fmt.Sprintf("Likely: %s model at the readings, straight between them. Upper: the same at the temperature within %.1f C of the readings that grows most, with the rate raised by %.0f %% (one-sided 95 %% of a variation of %.0f %% between coolings) or the lag work lowered to %.1f, whichever grows more.",
		set.Rate.Name, t.Cautious.Tolerance, 100*oneSided95*RateVariation, 100*RateVariation, CautiousH0)
	r.Assumptions = []string{
		fmt.Sprintf("spores are germination-ready after cooking; %.1f log10 per gram at the start", t.Options.InitialLog),
		"the probe is in the slowest part of the food",
		"no kill is credited above the range of growth, no death in the cold",
	}
	if set.Rate.PHMin == 0 {
		r.Assumptions = append(r.Assumptions, "the rate of this category knows neither pH nor salt")
	}
	if w, err := t.Product.within(); err == nil && len(w.notes) > 0 {
		r.InRange, r.OutOfRange = false, w.notes
		r.Cautions = append(r.Cautions, CautionExtrapolated)
	}
	if t.Product.Cured {
		r.Cautions = append(r.Cautions, CautionCured)
	}
}

// judge sets the verdict, on the cautious side.
func (r *Result) judge(t *Tracker) {
	growing := t.Count > 0 && t.Cautious.Curve.cautiousRate(float64(t.Latest.Temperature), float64(t.Latest.Temperature), t.Cautious.Tolerance) > 0
	if t.GapCount > 0 {
		r.Cautions = append(r.Cautions, CautionGaps)
	}
	if t.StartUnknown {
		r.Cautions = append(r.Cautions, CautionStart)
	}
	if growing {
		r.Cautions = append(r.Cautions, CautionGrowing)
	}
	if t.Count < 2 && t.GapCount == 0 {
		r.Cautions = append(r.Cautions, CautionFewReadings)
	}
	switch {
	case r.Likely > r.Limit:
		r.Verdict, r.Reason = NotMet, fmt.Sprintf("likely growth of %.2f log10 is above the limit of %.2f", r.Likely, r.Limit)
	case t.Count < 2 && t.GapCount == 0:
		r.Verdict, r.Reason = NotDecidable, "there are fewer than two readings"
	case t.StartUnknown:
		r.Verdict, r.Reason = NotDecidable, "how long the food was warm before the first reading is not known"
	case r.Upper > r.Limit:
		r.Verdict, r.Reason = NotDecidable, fmt.Sprintf("likely growth of %.2f log10 is within the limit of %.2f, the upper value of %.2f is not: the critical limit and the qualified person decide", r.Likely, r.Limit, r.Upper)
	case growing:
		r.Verdict, r.Reason = NotDecidable, "the food is still where growth happens"
	default:
		r.Verdict, r.Reason = Met, fmt.Sprintf("the upper value of %.2f log10 is within the limit of %.2f", r.Upper, r.Limit)
	}
}

// Growth estimates the growth of Clostridium perfringens over a history. Readings must be
// in order of time, each at its own moment; the temperature is taken as straight between
// them. It is a pure function of its arguments and the same as a Tracker fed with the
// readings, with every gap listed.
func Growth(history []Reading, p Product, o Options) (Result, error) {
	t, err := NewTracker(p, o)
	if err != nil {
		return Result{}, err
	}
	if len(history) == 0 {
		return Result{}, fmt.Errorf("there are no readings: take the first one when the food leaves the heat")
	}
	var gaps []Gap
	for _, reading := range history {
		before := t.GapCount
		last := t.Latest
		if err := t.Add(reading.At, reading.Temperature); err != nil {
			return Result{}, err
		}
		if t.GapCount == before {
			continue
		}
		if t.Count == 1 {
			gaps = append(gaps, t.LongestGap)
			continue
		}
		gaps = append(gaps, Gap{From: last.At, To: reading.At, Low: min(last.Temperature, reading.Temperature), High: max(last.Temperature, reading.Temperature)})
	}
	r := t.Result()
	r.Gaps = gaps
	if o.Compare {
		o.Compare = false
		if r.Models, err = Spread(history, p, o); err != nil {
			return Result{}, err
		}
	}
	if math.IsNaN(r.Likely) || math.IsNaN(r.Upper) || math.IsInf(r.Upper, 0) {
		return Result{}, fmt.Errorf("growth is not a finite number: check the readings")
	}
	return r, nil
}

// Spread returns the growth over a history by every published secondary model, at the
// readings as they are, so that a person sees how far the models are apart. A model
// whose source gives no lag is used with the lag work of the category's likely set: the
// fast cardinal models then grow too soon, see their remarks. The ceiling is that of the
// category.
func Spread(history []Reading, p Product, o Options) ([]ModelGrowth, error) {
	o, err := o.filled()
	if err != nil {
		return nil, err
	}
	o.Compare = false
	if _, err := Growth(history, p, o); err != nil { // the same checks
		return nil, err
	}
	w, err := p.within()
	if err != nil {
		return nil, err
	}
	set := SetFor(p.Category)
	var out []ModelGrowth
	for _, m := range RateModels() {
		c, err := m.curve(w)
		if err != nil {
			return nil, err
		}
		h0, published := m.H0, m.H0 > 0
		if !published {
			h0 = set.H0
		}
		a := Accumulation{Curve: c, H0: h0, Room: (set.Ceiling - o.InitialLog) * math.Ln10}
		a.begin(float64(history[0].Temperature))
		for i := 1; i < len(history); i++ {
			a.straight(float64(history[i-1].Temperature), float64(history[i].Temperature), history[i].At.Sub(history[i-1].At).Hours())
		}
		out = append(out, ModelGrowth{Model: m, H0: h0, Published: published, Growth: a.Growth()})
	}
	return out, nil
}
