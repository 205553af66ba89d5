package chill

import (
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// StageOutlook is what is to be expected of one stage: when its limit will be
// reached, when it must be, and how likely that is.
type StageOutlook struct {
	Stage Stage
	Crossing
	// Entered is when the clock of the stage started, on the cautious side; zero while the
	// food is above From. Then Deadline is counted from the likely crossing of From.
	Entered, Deadline time.Time
	// Margin is Deadline less Likely, negative when it is expected late; LeastMargin is
	// Deadline less Late. Both are 0 where Likely or Late is not known.
	Margin, LeastMargin time.Duration
	// Chance that the limit is reached by its deadline, 0 to 1; from the same spread as
	// Early and Late. 1 or 0 for one that was reached, in time or not.
	Chance float64
	// AtRisk: Chance is below a half.
	AtRisk bool
}

// Outlook is a live forecast of a cooling against its limits.
type Outlook struct {
	Stages []StageOutlook
	// Surroundings as stated (then one temperature) or estimated.
	Surroundings Surroundings
	Estimated    bool
	Rate         float64 // 1/h
	Points       int
	Cautions     []string
}

// CautionEstimatedAmbient says where the surroundings come from.
const CautionEstimatedAmbient = "The surroundings are estimated from the readings themselves; state the temperature of the air or bath for a better forecast."

// Foresee joins Forecast and the clocks of Judge: for each stage the crossing with its
// interval, the deadline of the clock that started, the margin and the chance to make
// it. Options.Ambient nil means that the surroundings are estimated from the readings
// (EstimateSurroundings), which is an error while they do not tell. Options.Now is not
// used: a forecast starts at the last reading. Options.GelBelow tells that the food is
// left still and sets there: what follows is then taken to pass more slowly.
func Foresee(l Limits, readings []Reading, o Options) (Outlook, error) {
	var v Outlook
	err := ForeseeInto(&v, l, readings, o)
	return v, err
}

// ForeseeInto is Foresee into an Outlook whose slices are used again. On an error v is
// empty but for its slices.
func ForeseeInto(v *Outlook, l Limits, readings []Reading, o Options) error {
	*v = Outlook{Stages: v.Stages[:0], Cautions: v.Cautions[:0]}
	if err := first(l.Check(), checkReadings(readings), within("fastest cooling", o.Fastest, 0, 1000, "K/min")); err != nil {
		return err
	}
	used := readings[leadIn(l, readings):]
	cool, coldest := cooling(l, used)
	c := cautions{list: v.Cautions}
	c.add(CautionSafety)
	c.add(CautionModel)
	if o.Ambient != nil {
		if err := foodTemperature("ambient temperature", *o.Ambient); err != nil {
			return err
		}
		v.Surroundings = Surroundings{Likely: *o.Ambient, Low: *o.Ambient - ambientSpread, High: *o.Ambient + ambientSpread}
	} else {
		s, err := EstimateSurroundings(cool)
		if err != nil {
			return err
		}
		v.Surroundings, v.Estimated = s, true
		c.add(CautionEstimatedAmbient)
	}
	s := v.Surroundings
	f, err := fitAll(cool, float64(s.Likely), float64(s.Low), float64(s.High))
	if err != nil {
		*v = Outlook{Stages: v.Stages[:0], Cautions: v.Cautions[:0]}
		return err
	}
	if len(cool) < 4 {
		c.add(CautionFewPoints)
	}
	if o.GelBelow != nil {
		if err := within("gel temperature", float64(*o.GelBelow), 0, 60, "C"); err != nil {
			*v = Outlook{Stages: v.Stages[:0], Cautions: v.Cautions[:0]}
			return err
		}
		f.gel = float64(*o.GelBelow)
	}
	v.Rate, v.Points = f.main.k*3600, f.points
	run := used
	last := l.Stages[len(l.Stages)-1].To
	if f.coldest = coldest; coldest <= last.Celsius()+closeTo {
		if end := finish(used, last, o.Fastest); end >= 0 {
			run = used[:end+1]
		}
	}
	for i := range l.Stages {
		v.Stages = append(v.Stages, f.outlook(&l.Stages[i], run, cool, o, &c))
		if to := float64(l.Stages[i].To.Celsius()); to < max(f.gel, usualGel) && f.now > usualGel {
			c.add(CautionGel)
		}
	}
	v.Cautions = c.list
	return nil
}

func (f *fits) outlook(s *Stage, run, cool []Reading, o Options, c *cautions) StageOutlook {
	x := StageOutlook{Stage: *s, Crossing: f.crossing(s.To, cool, c)}
	start, unknown, _ := entry(*s, run, o)
	if unknown {
		c.add(CautionStart)
	}
	if start.IsZero() {
		// Above From: the clock will start when the line says, the stage takes what the
		// line says.
		from, ok := f.main.when(float64(s.From.Celsius()), 0)
		if !ok {
			x.AtRisk = x.Never
			return x
		}
		x.Deadline = f.at(from).Add(s.Within)
	} else {
		x.Entered, x.Deadline = start, start.Add(s.Within)
	}
	switch {
	case x.Reached:
		x.Margin = x.Deadline.Sub(x.Likely)
		x.LeastMargin = x.Margin
		if x.Margin >= 0 {
			x.Chance = 1
		}
	case x.Never:
	default:
		x.Margin = x.Deadline.Sub(x.Likely)
		if !x.Open {
			x.LeastMargin = x.Deadline.Sub(x.Late)
		}
		x.Chance = f.chance(float64(s.To.Celsius()), x.Deadline.Sub(f.last).Seconds())
	}
	x.AtRisk = x.Chance < 0.5
	return x
}

// chance is the probability of being at or below a temperature some seconds after the
// last reading: a normal distribution around what the main line says there, with the
// spread of its prediction and of the other lines.
func (f *fits) chance(goal, t float64) float64 {
	if t <= 0 {
		return 0 // the last reading is above the goal and the time is over
	}
	if goal < f.gel { // what comes after setting passes more slowly
		set := f.sets()
		if t > set {
			t = set + (t-set)/gelSlower
		}
	}
	predict := func(l *line) float64 { return l.ambient + math.Exp(l.a-l.k*(t-l.origin)) }
	at := predict(&f.main)
	sd := math.Sqrt(f.main.spread(t)) * (at - f.main.ambient)
	far := 0.0
	for i := range f.count {
		far = math.Max(far, math.Abs(predict(&f.others[i])-at))
	}
	sd = math.Hypot(sd, far/sigmas)
	if sd < 1e-9 {
		sd = 1e-9
	}
	p := 0.5 * math.Erfc((at-goal)/sd/math.Sqrt2)
	if math.IsNaN(p) {
		return 0
	}
	return p
}

// ReachesBy returns the chance, 0 to 1, that the food is at or below a temperature at a
// moment, by the spread of Foresee. It is 1 when a reading shows it, and an error when
// the readings carry no forecast.
func ReachesBy(readings []Reading, ambient, to units.Celsius, at time.Time) (float64, error) {
	if err := first(checkReadings(readings), foodTemperature("ambient temperature", ambient), foodTemperature("limit", to)); err != nil {
		return 0, err
	}
	seen := fits{coldest: to}
	if i := seen.reached(readings, units.InCelsius(float64(to))); i >= 0 {
		if readings[i].At.After(at) {
			return 0, nil
		}
		return 1, nil
	}
	a := float64(ambient)
	f, err := fitAll(readings, a, a-ambientSpread, a+ambientSpread)
	if err != nil {
		return 0, err
	}
	return f.chance(float64(to), at.Sub(f.last).Seconds()), nil
}
