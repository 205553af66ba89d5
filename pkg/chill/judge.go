package chill

import (
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Reading of a probe in the food.
type Reading struct {
	At          time.Time
	Temperature units.Temperature
	// ByHand: a person put a thermometer into the food for this reading. It is believed
	// however much it differs from the one before, and it confirms a jump of a probe that
	// stays in.
	ByHand bool
}

// Verdict on a stage or a chill.
type Verdict uint8

// The verdicts, in the order of their weight.
const (
	// Passed: the limit was met, read on the cautious side.
	Passed Verdict = iota
	// Pending: still within the time, nothing speaks against it.
	Pending
	// AtRisk: still within the time, but the forecast or the clock says it will be
	// missed, or the start of the clock is not known.
	AtRisk
	// Failed: the time is over, or the readings do not show that the limit was met.
	Failed
)

// String returns the English words.
func (v Verdict) String() string {
	switch v {
	case Passed:
		return "passed"
	case Pending:
		return "pending"
	case AtRisk:
		return "at risk"
	default:
		return "failed"
	}
}

// Options of a judgement. The zero value is usable.
type Options struct {
	// Now is the moment of the judgement; zero means the last reading.
	Now time.Time
	// Began is when the food left the heat, used when no reading is hot enough to
	// start the clock; zero means unknown.
	Began time.Time
	// Ambient of the surroundings lets the forecast decide what is at risk.
	Ambient *units.Celsius
	// GelBelow is where the food sets when it is left still, 0 to 60 C; nil for stirred
	// food and what does not set. Only Foresee uses it.
	GelBelow *units.Celsius
	// Fastest is the quickest cooling that the means of cooling can make, K/min, 0 to
	// 1000; 0 means 10, which stock in a vessel does not reach (in an ice bath about 3). A
	// plate cooler and ice as an ingredient are faster: give it for them, or take a
	// reading by hand.
	Fastest float64
	// MaxGap between readings that is not reported; 0 means 30 min.
	MaxGap time.Duration
}

// StageResult is the judgement of one stage.
type StageResult struct {
	Stage   Stage
	Verdict Verdict
	// Proven is false when Failed or AtRisk rests on readings too far apart, or on an
	// unknown start, to tell for certain.
	Proven bool
	// Unconfirmed: the readings show the limit met, in time, but it rests on a fall that
	// Options.Fastest does not allow, as of a probe that came out of the food. The verdict
	// is AtRisk until a reading by hand confirms it; it is not a pass, however long the
	// probe stays cold.
	Unconfirmed bool
	// Entered is the earliest moment at which the food can have fallen below From;
	// zero when it has not.
	Entered time.Time
	// Left is the latest moment at which the food can have reached To; zero when it
	// has not.
	Left time.Time
	// Deadline is Entered plus the time allowed.
	Deadline time.Time
	// Elapsed from Entered to Left, or to now.
	Elapsed time.Duration
	// Margin is the time allowed less Elapsed; negative is late.
	Margin time.Duration
}

// Gap between two readings, or from the last one to now.
type Gap struct{ From, To time.Time }

// Judgement of a measured cooling.
type Judgement struct {
	Verdict Verdict
	Stages  []StageResult
	// Finished is when the last limit was reached; later readings do not count.
	Finished time.Time
	// Ignored readings at the start, before the probe was in hot food.
	Ignored int
	// Gaps longer than Options.MaxGap while the chill ran.
	Gaps []Gap
	// Cautions to be shown with the verdict.
	Cautions []string
}

// sameTemperature absorbs the rounding of unit conversions, in degrees.
const sameTemperature = 1e-9

// probeJump is faster than food in a vessel cools, K/min (chosen; stock in an ice
// bath reaches about 3): the default of Options.Fastest.
const probeJump = 10.0

// Judge evaluates readings against limits. It is a pure function of its arguments.
// Readings must be in order of time. Entering a stage is taken as early as the
// readings allow (at the last one not below From), leaving as late (at the first
// one at or below To after which none is above it again before the chill ends). The
// comparison is made in the unit of the rule.
func Judge(l Limits, readings []Reading, o Options) (Judgement, error) {
	if err := l.Check(); err != nil {
		return Judgement{}, err
	}
	if err := checkReadings(readings); err != nil {
		return Judgement{}, err
	}
	if o.MaxGap == 0 {
		o.MaxGap = 30 * time.Minute
	}
	if o.MaxGap < 0 {
		return Judgement{}, fmt.Errorf("longest gap %v is negative", o.MaxGap)
	}
	if err := within("fastest cooling", o.Fastest, 0, 1000, "K/min"); err != nil {
		return Judgement{}, err
	}
	if last := readings[len(readings)-1].At; o.Now.IsZero() {
		o.Now = last
	} else if o.Now.Before(last) {
		return Judgement{}, fmt.Errorf("now (%v) is before the last reading (%v)", o.Now, last)
	}
	var j Judgement
	caution := newCautions()
	caution.add(CautionSafety)

	j.Ignored = leadIn(l, readings)
	used := readings[j.Ignored:]
	run := used
	lastStage := l.Stages[len(l.Stages)-1]
	if end := finish(used, lastStage.To, o.Fastest); end >= 0 {
		j.Finished = used[end].At
		run = used[:end+1]
	}
	for _, s := range l.Stages {
		r := judgeStage(s, run, used, o, caution)
		j.Stages = append(j.Stages, r)
		j.Verdict = max(j.Verdict, r.Verdict)
	}
	j.Gaps = gaps(run, o, !j.Finished.IsZero())
	if len(j.Gaps) > 0 {
		caution.add(CautionGap)
	}
	if jumps(run, o.Fastest) {
		caution.add(CautionJump)
	}
	if o.Ambient != nil {
		if err := foodTemperature("ambient temperature", *o.Ambient); err != nil {
			return Judgement{}, err
		}
		j.apply(l, run, o, caution)
	}
	j.Cautions = caution.list
	return j, nil
}

// apply lets the forecast raise pending stages to at risk.
func (j *Judgement) apply(l Limits, run []Reading, o Options, caution *cautions) {
	open := false
	for _, s := range j.Stages {
		open = open || s.Verdict == Pending
	}
	if !open {
		return
	}
	f, err := Forecast(run, *o.Ambient, l)
	if err != nil { // too few readings to say anything
		caution.add(CautionFewPoints)
		return
	}
	for i := range j.Stages {
		s := &j.Stages[i]
		if s.Verdict != Pending || s.Entered.IsZero() {
			continue
		}
		if c := f.Crossings[i]; c.Never || c.Likely.After(s.Deadline) {
			s.Verdict = AtRisk
			j.Verdict = max(j.Verdict, AtRisk)
		}
	}
	for _, c := range f.Cautions {
		caution.add(c)
	}
}

func checkReadings(readings []Reading) error {
	if len(readings) == 0 {
		return fmt.Errorf("there are no readings: take the first one before the food falls below the first limit")
	}
	for i := range readings {
		r := &readings[i]
		// The usual reading passes in one comparison; the others get their reason.
		if c := r.Temperature.Celsius(); !(c >= -60 && c <= 300) || r.Temperature.Scale > units.ScaleKelvin {
			if err := r.Temperature.Check(); err != nil {
				return fmt.Errorf("reading %d: %w", i+1, err)
			}
			return fmt.Errorf("reading %d: %v is outside -60 to 300 C", i+1, r.Temperature)
		}
		if i > 0 && r.At.Before(readings[i-1].At) {
			return fmt.Errorf("reading %d (%v) is before reading %d (%v): sort readings by time", i+1, r.At, i, readings[i-1].At)
		}
	}
	return nil
}

// probeSettles is how long a probe may read cold before it sits in the hot food
// (chosen). A longer cold start means that the food itself was cooler.
const probeSettles = 15 * time.Minute

// leadIn counts readings before the first one at or above the first From, when they
// last no longer than probeSettles: the probe was not yet in the food. Otherwise none
// is ignored.
func leadIn(l Limits, readings []Reading) int {
	if l.Stages[0].FromFirst {
		return 0
	}
	from := l.Stages[0].From
	for i, r := range readings {
		if r.At.Sub(readings[0].At) > probeSettles {
			return 0
		}
		if !below(r, from) {
			return i
		}
	}
	return 0
}

// below compares in the unit of the limit.
func below(r Reading, limit units.Temperature) bool {
	return r.Temperature.In(limit.Scale).Degrees < limit.Degrees-sameTemperature
}

func above(r Reading, limit units.Temperature) bool {
	return r.Temperature.In(limit.Scale).Degrees > limit.Degrees+sameTemperature
}

func firstAtOrBelow(readings []Reading, limit units.Temperature) int {
	for i, r := range readings {
		if !above(r, limit) {
			return i
		}
	}
	return -1
}

// finish returns the reading that ends the chill: the first at or below the last
// limit. One that got there faster than food can does not count when the next reading is
// above the limit again: the probe was out of the food.
func finish(readings []Reading, limit units.Temperature, fastest float64) int {
	for i, r := range readings {
		if above(r, limit) {
			continue
		}
		if i > 0 && jump(readings[i-1], r, fastest) && i+1 < len(readings) && above(readings[i+1], limit) {
			continue
		}
		return i
	}
	return -1
}

// judgeStage judges one stage by the readings of the chill; all goes on after its end.
func judgeStage(s Stage, run, all []Reading, o Options, caution *cautions) StageResult {
	r := StageResult{Stage: s, Verdict: Pending, Proven: true, Margin: s.Within}
	start, unknown, latestStart := entry(s, run, o)
	if start.IsZero() {
		// Still hot at the last reading. When that is longer ago than the whole time
		// allowed, nobody knows where the food is.
		if o.Now.Sub(run[len(run)-1].At) > s.Within {
			r.Verdict, r.Proven = AtRisk, false
		}
		return r
	}
	r.Entered, r.Deadline = start, start.Add(s.Within)
	left, before := exit(s, run, caution)
	if left < 0 {
		r.Elapsed = o.Now.Sub(start)
		r.Margin = s.Within - r.Elapsed
		switch {
		case r.Elapsed > s.Within:
			r.Verdict = Failed
			// Proven when even the latest start is too long before the last reading
			// above the limit; a reading may simply be missing.
			r.Proven = !unknown && run[len(run)-1].At.Sub(latestStart) > s.Within
		case unknown, r.Elapsed*4 > s.Within*3 && o.Ambient == nil:
			r.Verdict = AtRisk
		}
	} else {
		jumped := before >= 0 && jump(run[before], run[left], o.Fastest)
		r.Left = run[left].At
		if i := confirmation(all, left, s.To); jumped && i >= 0 {
			jumped, r.Left = false, all[i].At
		}
		r.Elapsed = r.Left.Sub(start)
		r.Margin = s.Within - r.Elapsed
		switch {
		case r.Elapsed > s.Within:
			r.Verdict = Failed
			r.Proven = !unknown && before >= 0 && run[before].At.Sub(latestStart) > s.Within
		case unknown:
			r.Verdict = AtRisk
		case jumped:
			// The reading that would prove the limit is not believable by itself.
			r.Verdict, r.Proven, r.Unconfirmed = AtRisk, false, true
		default:
			r.Verdict = Passed
		}
	}
	if unknown {
		caution.add(CautionStart)
		// The clock ran before the first reading: what is late by it is surely late.
		r.Proven = r.Verdict == Failed && (left < 0 || before >= 0 && run[before].At.Sub(start) > s.Within)
	}
	return r
}

// confirmation is the first reading by hand after a jump to or below a limit, with
// none above the limit in between; -1 when there is none.
func confirmation(all []Reading, jumped int, limit units.Temperature) int {
	for i := jumped; i < len(all) && !above(all[i], limit); i++ {
		if all[i].ByHand {
			return i
		}
	}
	return -1
}

// entry returns the earliest start of the clock, whether it is unknown, and the
// latest start that the readings allow.
func entry(s Stage, run []Reading, o Options) (start time.Time, unknown bool, latest time.Time) {
	if s.FromFirst {
		return run[0].At, false, run[0].At
	}
	for i, r := range run {
		if !below(r, s.From) {
			continue
		}
		if i > 0 {
			return run[i-1].At, false, r.At
		}
		if !o.Began.IsZero() && !o.Began.After(r.At) {
			return o.Began, false, r.At
		}
		return r.At, true, r.At
	}
	return time.Time{}, false, time.Time{}
}

// exit returns the index of the first reading at or below To after the last one
// above it, and the index of that last one; -1 where there is none.
func exit(s Stage, run []Reading, caution *cautions) (left, before int) {
	before = -1
	for i, r := range run {
		if above(r, s.To) {
			before = i
		}
	}
	if f := firstAtOrBelow(run, s.To); f >= 0 && f < before {
		caution.add(CautionRebound)
	}
	if before == len(run)-1 {
		return -1, before
	}
	return before + 1, before
}

func gaps(run []Reading, o Options, finished bool) []Gap {
	var g []Gap
	for i := 1; i < len(run); i++ {
		if run[i].At.Sub(run[i-1].At) > o.MaxGap {
			g = append(g, Gap{run[i-1].At, run[i].At})
		}
	}
	if last := run[len(run)-1].At; !finished && o.Now.Sub(last) > o.MaxGap {
		g = append(g, Gap{last, o.Now})
	}
	return g
}

func jumps(run []Reading, fastest float64) bool {
	for i := 1; i < len(run); i++ {
		if jump(run[i-1], run[i], fastest) {
			return true
		}
	}
	return false
}

// jump reports a change faster than food can make. Two readings in one second may
// differ by the resolution and noise of the probe.
func jump(a, b Reading, fastest float64) bool {
	if fastest == 0 {
		fastest = probeJump
	}
	d := math.Abs(float64(b.Temperature.Celsius() - a.Temperature.Celsius()))
	return !b.ByHand && d > 2+fastest*b.At.Sub(a.At).Minutes()
}

// cautions collects each text once, in order.
type cautions struct{ list []string }

func newCautions() *cautions { return &cautions{} }

func (c *cautions) add(s string) {
	for _, have := range c.list {
		if have == s {
			return
		}
	}
	c.list = append(c.list, s)
}
