package scheduling

import (
	"fmt"
	"math"
	"sort"
	"time"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/risk"
	"rondeau.internal/pkg/simmer"
)

// Standard deviations of the logarithm of the real over the planned time, where neither physics nor runs say more.
// Common practice, no source: work by hand ends within about 30 % of its plan nine times in ten, a machine on a timer
// within about 15 %.
const (
	handSigma  = 0.18
	timerSigma = 0.09
	// leastSigma is what is left of any step that people begin and end.
	leastSigma = 0.03
)

// coolingShare is how much more or less heat leaves a cooling load than computed, in 8 of 10 cases (common practice, no
// source; the bench commands assume the same).
const coolingShare = 0.3

// eightOfTen is the standard normal quantile of 0.9: between its negative and it lie 8 of 10 cases.
const eightOfTen = 1.2816

// leaning is the distribution of a step's real over its planned working time: log-normal, and the part of it that all
// steps in a vessel share because its heat is what it is.
type leaning struct {
	median, sigma float64
	// power is the exponent with which time follows the vessel's lack of heat; 0 where heat plays no part.
	power float64
	runs  int
	basis string
}

// own is what is left of the spread beside the vessel's common part.
func (l leaning) own(heat float64) float64 {
	common := l.power * heat
	return math.Sqrt(math.Max(l.sigma*l.sigma-common*common, leastSigma*leastSigma))
}

// heatSpread is how uncertain the heat of a vessel is, as a standard deviation of the logarithm.
func (v Vessel) heatSpread() float64 {
	if v.Shared() || v.PowerWatts <= 0 {
		return 0
	}
	return v.prior().Power.Spread
}

// leaning says how far a step in a vessel may be off its planned time.
func (e *estimator) leaning(s Step, v *Vessel, paces map[paceKey]Pace) leaning {
	key := fmt.Sprintf("%s|%v|%v|%v|%v|%v|%v|%v", s.Kind, s.FillLiters, s.mass(), s.OutputKg, s.Planned, s.Attendance, s.Duration.key(), vesselName(v))
	if l, found := e.leanings[key]; found {
		return l
	}
	l := e.assumed(s, v)
	if s.Duration.Reduce == nil {
		if p := paces[paceKey{s.Kind, classOf(v)}]; p.Runs > 0 {
			l.median, l.sigma = p.posterior(l.median, l.sigma)
			l.runs = p.Runs
			l.basis = counted(p.Runs, "finished run") + ", before them " + l.basis
		}
	}
	e.leanings[key] = l
	return l
}

// assumed is what is known before any run of the kind.
func (e *estimator) assumed(s Step, v *Vessel) leaning {
	if v != nil {
		planned := e.working(s, v).duration
		switch d := s.Duration; {
		case planned <= 0:
		case d.Reduce != nil:
			if l, ok := e.reductionLeaning(s, *v, planned); ok {
				return l
			}
		case d.Simmer != nil && planned > d.Simmer.Hold:
			return simmerLeaning(*v, planned, d.Simmer.Hold)
		case d.Chill != nil:
			if l, ok := e.chillLeaning(s, *v, planned); ok {
				return l
			}
		}
	}
	if s.Attendance == AttendWhole || s.Duration.RateKgPerHour > 0 {
		return leaning{median: 1, sigma: handSigma, basis: "work by hand (common practice, no source)"}
	}
	return leaning{median: 1, sigma: timerSigma, basis: "a timed step (common practice, no source)"}
}

// reductionLeaning takes what is believed of the vessel through the physics of the reduction.
func (e *estimator) reductionLeaning(s Step, v Vessel, planned time.Duration) (leaning, bool) {
	setup, _, err := e.reduction(s, v)
	if err != nil {
		return leaning{}, false
	}
	t, err := simmer.NewTracker(setup)
	if err != nil {
		return leaning{}, false
	}
	f, err := t.Finish(reductionCoverage)
	if err != nil || f.Reached < 0.95 || f.Early <= 0 || f.Late <= f.Early {
		return leaning{}, false
	}
	heat := setup.Prior.Power.Spread
	takes := func(z float64) float64 {
		b := setup.Prior
		b.Power.Log += z * heat
		kettle, conditions, err := b.Apply(setup.Vessel, setup.Conditions)
		if err != nil {
			return 0
		}
		out, err := simmer.Reduce(kettle, setup.Load, setup.Duty, conditions, setup.End, simmer.Settings{})
		if err != nil || !out.Reached {
			return 0
		}
		return out.Time.Seconds()
	}
	l := leaning{
		median: float64(f.Likely) / float64(planned), sigma: math.Log(float64(f.Late)/float64(f.Early)) / (2 * eightOfTen), power: 1,
		basis: "the vessel's data",
	}
	if weak, strong := takes(-1), takes(1); weak > strong && strong > 0 {
		l.power = math.Min(math.Log(weak/strong)/(2*heat), 4)
	}
	if v.Learned != nil {
		l.runs, l.basis = v.Learned.Belief.Runs, v.Learned.Words()
	}
	return l, true
}

// simmerLeaning: the bring-up follows the heat of the vessel, the hold is what it is.
func simmerLeaning(v Vessel, planned, hold time.Duration) leaning {
	up := float64(planned-hold) / float64(planned)
	heat := v.prior().Power
	l := leaning{
		median: up/heat.Median() + 1 - up, power: up,
		basis: "the heat of the vessel in the bring-up, the hold of the formula",
	}
	l.sigma = math.Hypot(up*heat.Spread, leastSigma)
	return l
}

// chillLeaning lets more and less heat out of the load.
func (e *estimator) chillLeaning(s Step, v Vessel, planned time.Duration) (leaning, bool) {
	if v.Cooling == nil {
		return leaning{}, false
	}
	takes := func(share float64) float64 {
		c := *v.Cooling
		c.HeatTransfer *= share
		c.PowerWatts *= share
		other := v
		other.Cooling = &c
		w, err := e.chill(s, other)
		if err != nil || w.refusal != "" {
			return planned.Seconds() / share
		}
		return w.duration.Seconds()
	}
	slow, fast := takes(1-coolingShare), takes(1+coolingShare)
	if fast <= 0 || slow <= fast {
		return leaning{}, false
	}
	return leaning{
		median: 1, sigma: math.Max(math.Log(slow/fast)/(2*eightOfTen), leastSigma),
		basis: "30 % more and less heat transfer in 8 of 10 chills (common practice, no source)",
	}, true
}

// paceKey finds a pace.
type paceKey struct {
	kind  StepKind
	class string
}

// spreads turns what is known into the words of the engine, and says what it was.
func (x *instance) spreads(paces map[paceKey]Pace) ([]risk.Spread, []risk.Common, []SpreadOutlook) {
	var out []risk.Spread
	told := map[paceKey]*SpreadOutlook{}
	heated := map[string]float64{}
	for i := range x.Activities {
		a := &x.Activities[i]
		it := x.items[a.Name]
		if it.run != nil {
			if s, ok := x.running(a, it, paces); ok {
				out = append(out, s)
			}
			continue
		}
		c := it.modes[x.modes[a.Name]]
		l := x.memory.leaning(*it.step, c.vessel, paces)
		heat := 0.0
		if c.vessel != nil && l.power > 0 {
			if heat = math.Min(c.vessel.heatSpread(), 1.5); heat > 0 {
				heated[c.vessel.Name] = heat
			}
		}
		out = append(out, placed(a.Name, *it.step, c.estimate, l, heat))
		tell(told, *it.step, c.vessel, l)
	}
	var commons []risk.Common
	for name, sigma := range heated {
		commons = append(commons, risk.Common{Name: name, Sigma: sigma})
	}
	sort.Slice(commons, func(i, j int) bool { return commons[i].Name < commons[j].Name })
	return out, commons, toldInOrder(told)
}

// placed puts a leaning onto the phases of a step: what is uncertain of the working time falls on the middle, or on the
// start of a step without one; set-up is certain, attended ends are work by hand.
func placed(activity string, s Step, e Estimate, l leaning, heat float64) risk.Spread {
	out := risk.Spread{Activity: activity, IgnoreVessel: heat <= 0, IgnoreOrder: true}
	working := e.Total() - roundUp(s.Setup)
	carrier := e.Middle
	if carrier == 0 {
		carrier = e.Start
	}
	if working <= 0 || carrier <= 0 {
		return out
	}
	share := float64(working) / float64(carrier)
	median := bounded(1+(l.median-1)*share, 0.05, 20)
	steep := bounded(l.median*share/median, 0, 10)
	phase := risk.Phase{Factor: risk.LogNormal(median, math.Min(l.own(heat)*steep, 1.5))}
	if heat > 0 {
		out.VesselPower = bounded(l.power*steep, 0.001, 4)
	}
	if e.Middle == 0 {
		out.Start = phase
		return out
	}
	out.Middle = phase
	byHand := risk.Phase{Factor: risk.LogNormal(1, handSigma)}
	if e.Start > 0 {
		out.Start = byHand
	}
	if e.End > 0 {
		out.End = byHand
	}
	return out
}

func bounded(v, low, high float64) float64 { return math.Max(low, math.Min(high, v)) }

// running is the spread of what is left of a started step: that of its forecast, or else of its kind. A forecast that time
// has overtaken says nothing any more.
func (x *instance) running(a *sched.Activity, it *item, paces map[paceKey]Pace) (risk.Spread, bool) {
	left := float64(a.Fixed.End - max(a.Fixed.Start, x.Horizon.Start))
	if it.run.State != RunRunning || left < 1 {
		return risk.Spread{}, false
	}
	out := risk.Spread{Activity: a.Name, IgnoreVessel: true, IgnoreOrder: true}
	now := x.from(x.Horizon.Start)
	if f := it.run.Forecast; f != nil && f.Coverage > 0 && f.Coverage < 1 && f.Latest.After(latest(f.Earliest, now.Add(overdueAllowance))) {
		low := bounded(f.Earliest.Sub(now).Seconds()/left, 0.1, 50)
		high := bounded(f.Latest.Sub(now).Seconds()/left, low, 50)
		if factor, err := risk.LogNormalInterval(low, high, f.Coverage); err == nil {
			out.Middle = risk.Phase{Factor: factor}
			return out, true
		}
	}
	l := x.memory.leaning(*it.step, x.vessels[it.run.Vessel], paces)
	sigma := math.Min(l.sigma*float64(a.Fixed.End-a.Fixed.Start)/left, 1)
	out.Middle = risk.Phase{Factor: risk.LogNormal(1, math.Max(sigma, leastSigma))}
	return out, true
}

func tell(told map[paceKey]*SpreadOutlook, s Step, v *Vessel, l leaning) {
	key := paceKey{s.Kind, classOf(v)}
	t := told[key]
	if t == nil {
		t = &SpreadOutlook{Kind: s.Kind, VesselClass: key.class, Basis: l.basis, Runs: l.runs}
		told[key] = t
	}
	if l.runs > t.Runs {
		t.Runs, t.Basis = l.runs, l.basis
	}
	t.Steps++
	n := float64(t.Steps)
	low, high := l.median*math.Exp(-eightOfTen*l.sigma), l.median*math.Exp(eightOfTen*l.sigma)
	t.P10 += (low - t.P10) / n
	t.P50 += (l.median - t.P50) / n
	t.P90 += (high - t.P90) / n
}

func toldInOrder(told map[paceKey]*SpreadOutlook) []SpreadOutlook {
	out := make([]SpreadOutlook, 0, len(told))
	for _, t := range told {
		out = append(out, *t)
	}
	sort.Slice(out, func(i, j int) bool {
		if out[i].Kind != out[j].Kind {
			return out[i].Kind < out[j].Kind
		}
		return out[i].VesselClass < out[j].VesselClass
	})
	return out
}
