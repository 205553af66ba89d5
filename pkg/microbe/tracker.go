package microbe

import (
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Reading of a probe in the slowest part of the food.
type Reading struct {
	At          time.Time
	Temperature units.Celsius
}

// Options of an estimate. The zero value is usable.
type Options struct {
	// MaxGap is the longest time between two readings that counts as watched; 0 means
	// 30 min. A longer one is a gap.
	MaxGap time.Duration
	// ProbeTolerance is how far the probe may be off; 0 means 1 C (FDA Food Code 4-203.11,
	// thermometers for food). Use a small number for an exact history, as in tests.
	ProbeTolerance units.CelsiusDelta
	// Began is when the food left the heat, at or above the range of growth; used when the
	// first reading is below it. Zero means not known.
	Began time.Time
	// InitialLog is the number of spores per gram, log10, -3 to 6; 0 means 2.5, as in the
	// challenge studies. It matters only near the ceiling.
	InitialLog float64
	// Limit is the growth that is acceptable, log10; 0 means 1 (FSIS).
	Limit float64
	// Compare adds the growth by every published model to the result of Growth; see Spread.
	Compare bool
}

const (
	defaultGap       = 30 * time.Minute
	defaultTolerance = 1.0
	defaultInitial   = 2.5
	defaultLimit     = 1.0
	longestHistory   = 366 * 24 * time.Hour
	// hotStart is the first temperature, C, from which the start of the history counts as
	// watched: the upper end of the data of the models.
	hotStart = 52.0
)

func (o Options) filled() (Options, error) {
	if o.MaxGap == 0 {
		o.MaxGap = defaultGap
	}
	if o.ProbeTolerance == 0 {
		o.ProbeTolerance = defaultTolerance
	}
	if o.InitialLog == 0 {
		o.InitialLog = defaultInitial
	}
	if o.Limit == 0 {
		o.Limit = defaultLimit
	}
	switch {
	case o.MaxGap < 0 || o.MaxGap > 24*time.Hour:
		return o, fmt.Errorf("longest gap %v is outside 0 to 24 h", o.MaxGap)
	case !(o.ProbeTolerance > 0 && o.ProbeTolerance <= 10):
		return o, fmt.Errorf("probe tolerance %v C is outside 0 to 10 C", float64(o.ProbeTolerance))
	case !(o.InitialLog >= -3 && o.InitialLog <= 6):
		return o, fmt.Errorf("initial number of %v log10 per gram is outside -3 to 6", o.InitialLog)
	case !(o.Limit > 0 && o.Limit <= 6):
		return o, fmt.Errorf("growth limit of %v log10 is outside 0 to 6", o.Limit)
	}
	return o, nil
}

// Tracker follows the growth of Clostridium perfringens reading by reading, for example
// during a chill. Its fields are its whole state: it can be stored as JSON, read back and
// continued. It allocates nothing in Add. It is not safe for concurrent use.
type Tracker struct {
	Product Product
	Options Options
	// Likely is the estimate at the readings; Cautious the one at the temperature that grows
	// most within the tolerance of the probe and in gaps, from which the upper value is formed.
	Likely, Cautious Accumulation
	// First and Latest reading taken in.
	First, Latest Reading
	// Count of readings and the time they span.
	Count   int
	Elapsed time.Duration
	// GapCount and GapTime sum the gaps; LongestGap is the longest.
	GapCount   int
	GapTime    time.Duration
	LongestGap Gap
	// StartUnknown when the first reading was below the range where growth begins and
	// nobody said when the food left the heat.
	StartUnknown bool
	// Growing is the time spent between the least and the greatest temperature for growth.
	Growing time.Duration
}

// Gap in a history: nobody watched the food.
type Gap struct {
	From, To time.Time
	// Low and High bound the temperature that was assumed.
	Low, High units.Celsius
}

// Length of the gap.
func (g Gap) Length() time.Duration { return g.To.Sub(g.From) }

// NewTracker starts an estimate. It is an error when the product or the options are
// outside their bounds.
func NewTracker(p Product, o Options) (Tracker, error) {
	o, err := o.filled()
	if err != nil {
		return Tracker{}, err
	}
	w, err := p.within()
	if err != nil {
		return Tracker{}, err
	}
	set := SetFor(p.Category)
	likely, err := set.Rate.curve(w)
	if err != nil {
		return Tracker{}, err
	}
	return Tracker{
		Product:  p,
		Options:  o,
		Likely:   Accumulation{Curve: likely, H0: set.H0, Room: (set.Ceiling - o.InitialLog) * math.Ln10},
		Cautious: Accumulation{Curve: likely, H0: set.H0, Room: (cautiousCeiling - o.InitialLog) * math.Ln10, Tolerance: float64(o.ProbeTolerance)},
	}, nil
}

// Check reports a tracker that was not started, or whose stored state was damaged. Call it
// after reading a state back.
func (t *Tracker) Check() error {
	if _, err := t.Options.filled(); err != nil {
		return fmt.Errorf("stored growth estimate: %w", err)
	}
	fresh, err := NewTracker(t.Product, t.Options)
	if err != nil {
		return fmt.Errorf("stored growth estimate: %w", err)
	}
	for _, pair := range [][2]Accumulation{{t.Likely, fresh.Likely}, {t.Cautious, fresh.Cautious}} {
		got, want := pair[0], pair[1]
		work, last := got.Work, got.Last
		got.Work, got.Last, want.Work, want.Last = 0, 0, 0, 0
		if got != want {
			return fmt.Errorf("stored growth estimate: its model is not the one of its product and options: start again from the readings")
		}
		const most = 1e9 // a year at the fastest rate is below 1e5
		if !(work >= 0 && work < most && last > -most && last < most) {
			return fmt.Errorf("stored growth estimate: work of %v is outside 0 to %g: start again from the readings", work, float64(most))
		}
	}
	for _, r := range []Reading{t.First, t.Latest} {
		if t.Count > 0 {
			if err := checkTemperature(t.Count, r.Temperature); err != nil {
				return fmt.Errorf("stored growth estimate: %w", err)
			}
		}
	}
	if t.Count < 0 || t.Elapsed < 0 || t.Elapsed > longestHistory || t.GapTime < 0 || t.Growing < 0 {
		return fmt.Errorf("stored growth estimate: %d readings over %v: start again from the readings", t.Count, t.Elapsed)
	}
	return nil
}

// upper returns the larger of two estimates, log10: the rate at its one-sided 95 % with
// the likely lag, and the likely rate with the cautious lag. With an unknown start the lag
// is taken as over.
func (t *Tracker) upper() float64 {
	c := t.Cautious
	fast := c.Work * (1 + oneSided95*RateVariation)
	if t.StartUnknown {
		return primary(fast, 0, c.Room) / math.Ln10
	}
	return max(primary(fast, c.H0, c.Room), primary(c.Work, min(CautiousH0, c.H0), c.Room)) / math.Ln10
}

// Add takes in the next reading. It is an error, and changes nothing, when the reading is
// not later than the one before, or its temperature is not one of food (-60 to 300 C).
func (t *Tracker) Add(at time.Time, temperature units.Celsius) error {
	if t.Likely.Curve.Form == 0 {
		return fmt.Errorf("this tracker was not started: take it from NewTracker")
	}
	if t.Count == 0 {
		if err := checkTemperature(1, temperature); err != nil {
			return err
		}
		return t.start(at, temperature)
	}
	dt := at.Sub(t.Latest.At)
	if err := checkNext(t.Latest.At, t.Elapsed, t.Count, at, dt, temperature); err != nil {
		return err
	}
	from, to, hours := float64(t.Latest.Temperature), float64(temperature), float64(dt)*perHour
	t.Likely.straight(from, to, hours)
	if dt > t.Options.MaxGap {
		t.gap(Gap{From: t.Latest.At, To: at, Low: min(t.Latest.Temperature, temperature), High: max(t.Latest.Temperature, temperature)})
		t.Cautious.held(from, to, hours)
	} else {
		t.Cautious.straight(from, to, hours)
	}
	t.Growing += timeBetween(&t.Likely.Curve, from, to, dt)
	t.Latest = Reading{at, temperature}
	t.Elapsed += dt
	t.Count++
	return nil
}

// perHour turns nanoseconds into hours.
const perHour = 1 / float64(time.Hour)

func checkTemperature(number int, temperature units.Celsius) error {
	if !(temperature >= -60 && temperature <= 300) {
		return fmt.Errorf("reading %d: %v C is outside -60 to 300 C: check the probe", number, float64(temperature))
	}
	return nil
}

// checkNext reports a reading that cannot follow count others that span elapsed, the
// latest of them dt before.
func checkNext(latest time.Time, elapsed time.Duration, count int, at time.Time, dt time.Duration, temperature units.Celsius) error {
	if temperature >= -60 && temperature <= 300 && dt > 0 && dt <= longestHistory-elapsed {
		return nil
	}
	if err := checkTemperature(count+1, temperature); err != nil {
		return err
	}
	switch {
	case dt < 0:
		return fmt.Errorf("reading %d (%s) is before reading %d (%s): sort readings by time", count+1, stamp(at), count, stamp(latest))
	case dt == 0:
		return fmt.Errorf("reading %d has the time of reading %d (%s): keep one of them, the one that was in the food", count+1, count, stamp(at))
	default:
		return fmt.Errorf("reading %d (%s) is more than 366 days after the first: start a new history", count+1, stamp(at))
	}
}

func (t *Tracker) start(at time.Time, temperature units.Celsius) error {
	began := t.Options.Began
	if began.After(at) {
		return fmt.Errorf("reading 1 (%s) is before the food left the heat (%s): correct one of them", stamp(at), stamp(began))
	}
	if !began.IsZero() && at.Sub(began) > longestHistory {
		return fmt.Errorf("reading 1 (%s) is more than 366 days after the food left the heat (%s)", stamp(at), stamp(began))
	}
	t.Likely.begin(float64(temperature))
	t.Cautious.begin(float64(temperature))
	t.First, t.Latest, t.Count = Reading{at, temperature}, Reading{at, temperature}, 1
	if temperature >= hotStart {
		return nil
	}
	if began.IsZero() {
		// How long the food was warm before is not known: no credit for a lag.
		t.StartUnknown = true
		return nil
	}
	dt := at.Sub(began)
	if dt > 0 {
		hot := units.Celsius(t.Likely.Curve.Max)
		t.gap(Gap{From: began, To: at, Low: temperature, High: hot})
		t.Likely.begin(float64(hot))
		t.Likely.straight(float64(hot), float64(temperature), dt.Hours())
		t.Cautious.held(float64(hot), float64(temperature), dt.Hours())
		t.Growing += timeBetween(&t.Likely.Curve, float64(hot), float64(temperature), dt)
	}
	return nil
}

func (t *Tracker) gap(g Gap) {
	t.GapCount++
	t.GapTime += g.Length()
	if g.Length() > t.LongestGap.Length() {
		t.LongestGap = g
	}
}

// timeBetween returns the part of a straight piece inside the range of growth.
func timeBetween(c *Curve, from, to float64, dt time.Duration) time.Duration {
	low, high := from, to
	if low > high {
		low, high = high, low
	}
	if low > c.Min && high < c.Max {
		return dt
	}
	if high == low {
		return 0
	}
	inside := min(high, c.Max) - max(low, c.Min)
	if inside <= 0 {
		return 0
	}
	return time.Duration(float64(dt) * (inside / (high - low)))
}

func stamp(t time.Time) string { return t.Format(time.RFC3339) }
