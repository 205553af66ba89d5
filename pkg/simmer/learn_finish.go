package simmer

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"rondeau.internal/pkg/units"
)

// Cautions of a run under way. Callers show them as they are.
const (
	CautionFewReadings  = "Fewer than three readings are believed: the forecast rests on what is usual of such vessels; weigh, dip or take the Brix again."
	CautionDisagree     = "More than a third of the readings are not believed: check the vessel's measures, the load and how readings are taken."
	CautionUnlike       = "The vessel behaves far from what was believed of it: look at the flame, the lid and the fat on top, and check its measures."
	CautionUnreachable  = "The end point is unlikely to be reached in the time looked at: more heat, a wider vessel or a smaller batch is needed."
	CautionLateOpen     = "The late end of the forecast lies beyond the time looked at."
	CautionHeatOff      = "The heat is said to be off: nothing more is counted on being reduced than what leaves while it cools."
	cautionChangeFormat = "The heat seems to have been changed untold, about %v after the start (between %v and %v): look at the burner and record its setting."
)

// DefaultCoverage of an interval: 8 of 10 cases.
const DefaultCoverage = 0.8

// Finish is what is known of the end of a run. Times count from the start of the run.
type Finish struct {
	// Now is the moment the forecast is made for.
	Now time.Duration
	// Likely is the median; Early and Late hold the finish with the Coverage, the same
	// chance being left on both sides. They are at most the horizon.
	Early, Likely, Late time.Duration
	Coverage            float64
	// Reached is the chance to reach an end within the horizon, 0 to 1.
	Reached float64
	// By is the end point that most likely comes first, ByChance how likely among those
	// reached.
	By       Target
	ByChance float64
	// Liquid now, mass and its standard deviation, and the evaporation in the next
	// minutes, kg/s (medians).
	Liquid, LiquidSpread units.Mass
	Evaporation          float64
	Belief               Belief
	Doubted              []Doubt
	Change               Change
	Cautions             []string
}

// finishing is a value with a weight; for finish times the end met first too.
type finishing struct {
	at, weight float64
	by         Target
}

func order(f []finishing) {
	slices.SortFunc(f, func(a, b finishing) int { return cmp.Compare(a.at, b.at) })
}

// quantile of ordered values, interpolated between the middles of their weights.
func quantile(f []finishing, p float64) float64 {
	total := 0.0
	for _, x := range f {
		total += x.weight
	}
	want := p * total
	sum, before, at := 0.0, 0.0, f[0].at
	for i, x := range f {
		middle := sum + x.weight/2
		if middle >= want {
			if i == 0 || math.IsInf(x.at, 0) || middle <= before {
				return x.at
			}
			return at + (x.at-at)*(want-before)/(middle-before)
		}
		sum += x.weight
		before, at = middle, x.at
	}
	return f[len(f)-1].at
}

// errNoEnd is returned when a finish is asked of a run without one.
var errNoEnd = errors.New("the run has no end point: give a volume, a mass, a solids fraction or a temperature to reach")

// forecast runs every particle to the end, with drift and untold changes still to come.
// It has its own random numbers: asking for a forecast does not change later ones.
func (t *Tracker) forecast() error {
	if t.cloud.end == nil {
		return errNoEnd
	}
	if len(t.finishes) > 0 {
		return nil
	}
	t.source.Seed(t.setup.Seed^0x9e3779b97f4a7c15, uint64(len(t.seen))+uint64(t.last))
	tiny := 1e-4 / float64(len(t.cloud.now))
	for i := range t.cloud.now {
		q := t.cloud.now[i]
		if q.weight < tiny {
			continue
		}
		at, by := t.finishOf(&q)
		t.finishes = append(t.finishes, finishing{at, q.weight, by})
	}
	order(t.finishes)
	return nil
}

// finishOf one particle, seconds from the start; infinite when the horizon comes first.
func (t *Tracker) finishOf(q *particle) (float64, Target) {
	c := &t.cloud
	horizon := t.setup.Horizon.Seconds()
	b := body{q.water, q.temp, q.solids}
	if left, by := c.plant.left(&b, c.end); left <= 0 {
		if q.crossed >= 0 {
			return q.crossed, by
		}
		return c.clock, by
	}
	q.crossed = -1
	next := math.Inf(1) // the next untold change
	if !c.off {
		next = c.clock + t.future.ExpFloat64()/c.hazard
	}
	for from, dt := c.clock, 600.0; from < horizon; dt = min(1.3*dt, 7200) {
		to := min(from+dt, min(horizon, next))
		c.run(q, from, to, t.future)
		if q.crossed >= 0 {
			b = body{q.water, q.temp, q.solids}
			return q.crossed, c.nearest(&b)
		}
		if q.water <= c.plant.low {
			break // dry
		}
		if from = to; from >= next {
			c.change(q, from, t.future)
			next = from + t.future.ExpFloat64()/c.hazard
		}
	}
	return math.Inf(1), NoTarget
}

// nearest end of a body that is at, or just past, one.
func (c *cloud) nearest(b *body) Target {
	_, by := c.plant.left(b, c.end)
	return by
}

// Finish forecasts the end of the run with an interval of the coverage asked, 0.1 to 0.99; 0
// means DefaultCoverage.
func (t *Tracker) Finish(coverage float64) (Finish, error) {
	if coverage == 0 {
		coverage = DefaultCoverage
	}
	if err := within("coverage", coverage, 0.1, 0.99, ""); err != nil {
		return Finish{}, err
	}
	if err := t.forecast(); err != nil {
		return Finish{}, err
	}
	at := func(p float64) time.Duration {
		return seconds(min(quantile(t.finishes, p), t.setup.Horizon.Seconds()))
	}
	f := Finish{
		Now: t.last, Coverage: coverage,
		Early: at((1 - coverage) / 2), Likely: at(0.5), Late: at((1 + coverage) / 2),
		Belief: t.Belief(), Doubted: t.Doubted(), Change: t.Change(),
	}
	var total float64
	var by [TimeTarget + 1]float64
	for _, x := range t.finishes {
		total += x.weight
		if !math.IsInf(x.at, 0) {
			f.Reached += x.weight
			by[x.by] += x.weight
		}
	}
	for i, w := range by {
		if w > f.ByChance {
			f.By, f.ByChance = Target(i), w
		}
	}
	if f.Reached > 0 {
		f.ByChance = min(f.ByChance/f.Reached, 1)
	}
	f.Reached = min(f.Reached/total, 1)
	t.present(&f)
	f.Cautions = t.cautions(&f)
	return f, nil
}

// present fills what is in the vessel now.
func (t *Tracker) present(f *Finish) {
	c := &t.cloud
	var mean, square, rate float64
	for i := range c.now {
		q := &c.now[i]
		m := q.water + q.solids
		mean += q.weight * m
		square += q.weight * m * m
		b, d := body{q.water, q.temp, m - q.water}, c.drive(q)
		const soon = 60.0
		c.plant.march(&b, &d, soon, nil)
		rate += q.weight * (q.water - b.water) / soon
	}
	f.Liquid = units.Mass(mean)
	f.LiquidSpread = units.Mass(math.Sqrt(max(0, square-mean*mean)))
	f.Evaporation = rate
}

// DoneBy returns the chance that the run is finished at a moment since the start.
func (t *Tracker) DoneBy(at time.Duration) (float64, error) {
	if at < 0 || at > t.setup.Horizon {
		return 0, fmt.Errorf("time %v is outside 0 to the horizon of %v", at, t.setup.Horizon)
	}
	if err := t.forecast(); err != nil {
		return 0, err
	}
	var sum, total float64
	for _, x := range t.finishes {
		total += x.weight
		if x.at <= at.Seconds() {
			sum += x.weight
		}
	}
	return min(sum/total, 1), nil
}

func (t *Tracker) cautions(f *Finish) []string {
	var out []string
	add := func(when bool, text string) {
		if when {
			out = append(out, text)
		}
	}
	believed := len(t.seen) - len(f.Doubted)
	add(believed < 3, CautionFewReadings)
	add(3*len(f.Doubted) > len(t.seen), CautionDisagree)
	if f.Change.Noticed() {
		m := func(d time.Duration) time.Duration { return d.Round(time.Minute) }
		add(true, fmt.Sprintf(cautionChangeFormat, m(f.Change.Likely), m(f.Change.Early), m(f.Change.Late)))
	}
	prior, now := t.setup.Prior.parts(), f.Belief.parts()
	unlike := false
	for i := range prior {
		unlike = unlike || math.Abs(now[i].Log-prior[i].Log) > 2.5*prior[i].Spread
	}
	add(unlike, CautionUnlike)
	add(f.Reached < 0.5, CautionUnreachable)
	add(f.Reached >= 0.5 && f.Late >= t.setup.Horizon, CautionLateOpen)
	add(t.cloud.off, CautionHeatOff)
	add(t.cloud.hold < t.cloud.plant.boil-1e-9 && believed < 3, CautionExtrapolated)
	add(t.setup.End.Solids >= 0.25, CautionScorch)
	add(t.cloud.hold < 57 || t.cloud.off, CautionHotHolding)
	return out
}
