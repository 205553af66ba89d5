package microbe

import (
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Target of a heat treatment: a decimal reduction time at a reference temperature, how it
// changes with temperature, and how much is asked for.
type Target struct {
	// ID is short and stable; Name is for people.
	ID, Name string
	// Reference temperature of D.
	Reference units.Celsius
	// D is the time for one decimal reduction at Reference.
	D time.Duration
	// ZBelow and ZAbove are the changes of temperature, K, for a tenfold change of D, below
	// and above Reference.
	ZBelow, ZAbove units.CelsiusDelta
	// Reductions asked for, log10.
	Reductions float64
	// Lowest is the temperature below which nothing is credited; Highest the one above
	// which no more than at Highest is credited.
	Lowest, Highest units.Celsius
	Source
	// Remark that belongs beside every use.
	Remark string
}

// Required is the time at Reference that gives the reductions asked for.
func (t Target) Required() time.Duration {
	return time.Duration(math.Round(t.Reductions * float64(t.D)))
}

// The usual targets of a kitchen that cooks and chills.
var (
	listeria = Target{
		ID: "listeria-6d", Name: "Listeria monocytogenes, 6 decimal reductions (70 C for 2 min)",
		Reference: 70, D: 20 * time.Second, ZBelow: 7.5, ZAbove: 7.5, Reductions: 6, Lowest: 55, Highest: 90,
		Source: Source{"70 C for 2 min: Mackey and Bratchell 1989, Lett Appl Microbiol 9:89, abstract", "zendy.io, 10.1111/j.1472-765x.1989.tb00298.x", Read},
		Remark: "z of 7.5 C from memory; published values are 5.6 to 7.5.",
	}
	coli = Target{
		ID: "e-coli-6d", Name: "Escherichia coli O157, 6 decimal reductions (70 C for 2 min, steeper below)",
		Reference: 70, D: 20 * time.Second, ZBelow: 6, ZAbove: 6, Reductions: 6, Lowest: 55, Highest: 90,
		Source: Source{"UK advisory committee on the microbiological safety of food, times at 60 and 65 C", "eurohaccp.blogspot.com/2015/09", Reproduced},
		Remark: "z of 6 C from memory; it gives the 93 min at 60 C and 14 min at 65 C that were read.",
	}
	nonProteolytic = Target{
		ID: "botulinum-np-6d", Name: "non-proteolytic Clostridium botulinum, 6 decimal reductions (90 C for 10 min), z 7 below",
		Reference: 90, D: 100 * time.Second, ZBelow: 7, ZAbove: 10, Reductions: 6, Lowest: 80, Highest: 100,
		Source: Source{"90 C for 10 min and z 7 C: Wachnicka, Stringer, Barker and Peck 2016, Appl Environ Microbiol 82", "docksci.com, abstract", Read},
		Remark: "z 7 C below 90 C gives less credit than the tables with z 9 C: the cautious convention. z 10 C above from the table. Foods with lysozyme need more.",
	}
	nonProteolyticTable = Target{
		ID: "botulinum-np-6d-table", Name: "non-proteolytic Clostridium botulinum, 6 decimal reductions (90 C for 10 min), UK table",
		Reference: 90, D: 100 * time.Second, ZBelow: 9, ZAbove: 10, Reductions: 6, Lowest: 80, Highest: 100,
		Source: Source{"Chilled Food Association, Best Practice Guidelines, 4th edition 2006, equivalent times", "vacuumpackingtraining.food.gov.uk/module3/section2", Reproduced},
		Remark: "z of 9 and 10 C follow from the table.",
	}
	proteolytic = Target{
		ID: "botulinum-f0-3", Name: "proteolytic Clostridium botulinum, F0 of 3 min at 121.1 C",
		Reference: 121.1, D: 15 * time.Second, ZBelow: 10, ZAbove: 10, Reductions: 12, Lowest: 100, Highest: 140,
		Source: Source{"classical D121 of 0.2 min and z of 10 C: Gaze and Brown 1988, Int J Food Sci Technol 23:373, abstract; F0 of 3 min common practice", "scilit.com/publications/b77fbce36725e0401996dae8dc0614da", Read},
		Remark: "12 reductions at a D of 0.25 min, which is longer than the classical 0.2 min.",
	}
)

// Targets returns the usual targets of heat treatment.
func Targets() []Target {
	return []Target{listeria, coli, nonProteolytic, nonProteolyticTable, proteolytic}
}

// TargetByID returns one of Targets.
func TargetByID(id string) (Target, error) {
	for _, t := range Targets() {
		if t.ID == id {
			return t, nil
		}
	}
	return Target{}, fmt.Errorf("heat treatment target %q is unknown: take one of the listed targets", id)
}

// Check reports a target whose numbers make no sense.
func (t Target) Check() error {
	switch {
	case t.Reference.Check() != nil || t.Reference < 30 || t.Reference > 200:
		return fmt.Errorf("target %q has a reference of %v C: it must be 30 to 200 C", t.ID, float64(t.Reference))
	case t.D < time.Millisecond || t.D > 1000*time.Hour:
		return fmt.Errorf("target %q has a D of %v: it must be 1 ms to 1000 h", t.ID, t.D)
	case !(t.ZBelow >= 1 && t.ZBelow <= 100 && t.ZAbove >= 1 && t.ZAbove <= 100):
		return fmt.Errorf("target %q has z of %v and %v C: they must be 1 to 100 C", t.ID, float64(t.ZBelow), float64(t.ZAbove))
	case !(t.Reductions > 0 && t.Reductions <= 30):
		return fmt.Errorf("target %q asks for %v decimal reductions: it must be above 0 to 30", t.ID, t.Reductions)
	case !(t.Lowest <= t.Reference && t.Reference <= t.Highest) || t.Lowest < 0 || t.Highest > 200:
		return fmt.Errorf("target %q credits %v to %v C: the reference of %v C must lie between them, and they within 0 to 200 C", t.ID, float64(t.Lowest), float64(t.Highest), float64(t.Reference))
	}
	return nil
}

// z at a temperature, K.
func (t *Target) z(at float64) float64 {
	if at < float64(t.Reference) {
		return float64(t.ZBelow)
	}
	return float64(t.ZAbove)
}

// LethalRate returns the minutes at Reference that one minute at a temperature is worth,
// 10^((T - Reference)/z); 0 below Lowest, and at Highest that of Highest.
func (t Target) LethalRate(at units.Celsius) float64 { return t.rate(float64(at)) }

func (t *Target) rate(at float64) float64 {
	if !(at >= float64(t.Lowest)) {
		return 0
	}
	at = min(at, float64(t.Highest))
	return math.Exp(math.Ln10 * (at - float64(t.Reference)) / t.z(at))
}

// TimeAt returns the time at a constant temperature that reaches the target. It is an
// error outside Lowest to Highest.
func (t Target) TimeAt(at units.Celsius) (time.Duration, error) {
	if err := t.Check(); err != nil {
		return 0, err
	}
	if !(at >= t.Lowest && at <= t.Highest) {
		return 0, fmt.Errorf("target %q holds from %v to %v: %v C is outside", t.ID, t.Lowest, t.Highest, float64(at))
	}
	d := float64(t.Required()) / t.rate(float64(at))
	if d > float64(longestHistory) {
		return 0, fmt.Errorf("target %q takes longer than 366 days at %v: cook hotter", t.ID, at)
	}
	return time.Duration(d), nil
}

// straight integrates the lethal rate over a piece with the temperature going straight,
// exactly, in the unit of hours.
func (t *Target) straight(from, to, hours float64) float64 {
	if from > to {
		from, to = to, from
	}
	if to < float64(t.Lowest) {
		return 0
	}
	if to-from < 1e-12 {
		return hours * t.rate(from)
	}
	total := 0.0
	cut := [...]float64{float64(t.Lowest), float64(t.Reference), float64(t.Highest), math.Inf(1)}
	at := from
	for _, c := range cut {
		end := min(to, c)
		if end <= at {
			continue
		}
		total += hours * (end - at) / (to - from) * t.meanRate(at, end)
		at = end
	}
	return total
}

// meanRate of a piece that does not cross Lowest, Reference or Highest.
func (t *Target) meanRate(from, to float64) float64 {
	mid := (from + to) / 2
	switch {
	case mid < float64(t.Lowest):
		return 0
	case mid > float64(t.Highest):
		return t.rate(float64(t.Highest))
	}
	z := t.z(mid)
	x := math.Ln10 * (to - from) / z
	start := math.Exp(math.Ln10 * (from - float64(t.Reference)) / z)
	if x < 1e-9 {
		return start
	}
	return start * math.Expm1(x) / x
}

// LethalityResult of a heat treatment.
type LethalityResult struct {
	Target Target
	// F is the time at Target.Reference that the history is worth, at the readings.
	F time.Duration
	// Proven is the same on the cautious side: the probe reads too high by its tolerance,
	// and in a gap the food had the lower of the two temperatures.
	Proven time.Duration
	// Reduction and ProvenReduction, log10.
	Reduction, ProvenReduction float64
	// Verdict on Target.Reductions: met when the cautious value reaches it, not met when the
	// likely one does not.
	Verdict Verdict
	// Hottest reading.
	Hottest units.Celsius
	Gaps    []Gap
	// Cautions to be shown with the result.
	Cautions []string
}

// CautionSpores belongs beside every lethality of a vegetative target.
const CautionSpores = "A cook that reaches this target leaves spores: chill as the plan says."

// Lethality sums what a history is worth against a target. Options.MaxGap and
// Options.ProbeTolerance are used; the other options are not.
func Lethality(history []Reading, target Target, o Options) (LethalityResult, error) {
	if err := target.Check(); err != nil {
		return LethalityResult{}, err
	}
	o, err := o.filled()
	if err != nil {
		return LethalityResult{}, err
	}
	if len(history) == 0 {
		return LethalityResult{}, fmt.Errorf("there are no readings: take them in the slowest part of the food while it is hot")
	}
	r := LethalityResult{Target: target, Cautions: []string{CautionSafety, CautionLimit}, Hottest: history[0].Temperature}
	if target.Reference < 100 {
		r.Cautions = append(r.Cautions, CautionSpores)
	}
	var likely, proven float64
	tolerance := float64(o.ProbeTolerance)
	if err := checkTemperature(1, history[0].Temperature); err != nil {
		return LethalityResult{}, err
	}
	var elapsed time.Duration
	for i, reading := range history[1:] {
		before := history[i]
		dt := reading.At.Sub(before.At)
		if err := checkNext(before.At, elapsed, i+1, reading.At, dt, reading.Temperature); err != nil {
			return LethalityResult{}, err
		}
		elapsed += dt
		r.Hottest = max(r.Hottest, reading.Temperature)
		from, to, hours := float64(before.Temperature), float64(reading.Temperature), float64(dt)*perHour
		likely += target.straight(from, to, hours)
		if dt > o.MaxGap {
			low := min(from, to)
			r.Gaps = append(r.Gaps, Gap{From: before.At, To: reading.At, Low: units.Celsius(low), High: units.Celsius(max(from, to))})
			proven += hours * target.rate(low-tolerance)
			continue
		}
		proven += target.straight(from-tolerance, to-tolerance, hours)
	}
	if len(r.Gaps) > 0 {
		r.Cautions = append(r.Cautions, "Readings have gaps: the food is taken to have had the lower of the two temperatures, less the probe tolerance.")
	}
	return r.finish(likely, proven)
}

func (r LethalityResult) finish(likely, proven float64) (LethalityResult, error) {
	// A long hold far above the reference is worth more than a Duration can say.
	const most = float64(math.MaxInt64) / float64(time.Hour) / 2
	r.F = time.Duration(min(likely, most) * float64(time.Hour))
	r.Proven = time.Duration(min(proven, most) * float64(time.Hour))
	each := float64(time.Hour) / float64(r.Target.D)
	r.Reduction, r.ProvenReduction = likely*each, proven*each
	if math.IsInf(r.Reduction, 0) || math.IsNaN(r.Reduction) {
		return LethalityResult{}, fmt.Errorf("the heat treatment is not a finite number: check the readings")
	}
	switch {
	case r.ProvenReduction >= r.Target.Reductions:
		r.Verdict = Met
	case r.Reduction < r.Target.Reductions:
		r.Verdict = NotMet
	default:
		r.Verdict = NotDecidable
	}
	return r, nil
}

// ZValue fits z, K, to decimal reduction times by least squares of log10 D over
// temperature. It needs two different temperatures and times above 0, falling with
// temperature.
func ZValue(at []units.Celsius, d []time.Duration) (units.CelsiusDelta, error) {
	if len(at) != len(d) || len(at) < 2 {
		return 0, fmt.Errorf("z needs as many temperatures (%d) as decimal reduction times (%d), at least two", len(at), len(d))
	}
	var meanT, meanL float64
	for i := range at {
		if err := at[i].Check(); err != nil {
			return 0, fmt.Errorf("temperature %d: %w", i+1, err)
		}
		if d[i] <= 0 || at[i] > 1000 {
			return 0, fmt.Errorf("point %d (%v C, %v) is not usable: the time must be above 0 and the temperature at most 1000 C", i+1, float64(at[i]), d[i])
		}
		meanT += float64(at[i]) / float64(len(at))
		meanL += math.Log10(float64(d[i])) / float64(len(at))
	}
	var tt, tl float64
	for i := range at {
		x := float64(at[i]) - meanT
		tt += x * x
		tl += x * (math.Log10(float64(d[i])) - meanL)
	}
	if tt < 1e-9 || tl >= 0 {
		return 0, fmt.Errorf("decimal reduction times must fall with rising temperature over at least two temperatures")
	}
	z := -tt / tl
	if z > 1e6 {
		return 0, fmt.Errorf("decimal reduction times hardly change with temperature: z of %.3g C is not usable", z)
	}
	return units.CelsiusDelta(z), nil
}
