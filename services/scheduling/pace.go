package scheduling

import (
	"context"
	"errors"
	"math"
	"time"
)

// Pace is what finished runs have shown of one kind of step in one class of vessel: ln(real time / planned time), where
// the planned time is what the step was counted with in the vessel that it was really done in.
type Pace struct {
	Site        string
	Kind        StepKind
	VesselClass string // empty for work at a table
	Runs        int
	MeanLog     float64
	SquareSum   float64 // of deviations from the mean
}

// mostPaceRuns is how many runs count: older ones fade as new ones come, since people and machines change (chosen, no
// source).
const mostPaceRuns = 50

// add takes a ratio in (Welford's recurrence, Technometrics 4, 1962; from memory).
func (p *Pace) add(log float64) {
	if p.Runs >= mostPaceRuns {
		p.SquareSum *= float64(mostPaceRuns-1) / float64(p.Runs)
		p.Runs = mostPaceRuns - 1
	}
	p.Runs++
	before := log - p.MeanLog
	p.MeanLog += before / float64(p.Runs)
	p.SquareSum += before * (log - p.MeanLog)
}

// Weight of what is assumed before the first run, in runs: of the mean, and of the spread. Chosen, no source: a handful of
// runs begin to tell, a dozen outweigh the assumption.
const (
	assumedMeanRuns   = 3.0
	assumedSpreadRuns = 5.0
)

// posterior puts what was seen to what is assumed: a log-normal ratio of the given median and standard deviation of the
// logarithm. It is the conjugate update of a normal distribution with both parameters unknown, and the spread is that of
// the next run (Gelman and others, Bayesian Data Analysis, section 3.3; from memory). Without runs it is what is assumed.
func (p Pace) posterior(median, sigma float64) (float64, float64) {
	if p.Runs == 0 || sigma <= 0 {
		return median, sigma
	}
	n, mu := float64(p.Runs), math.Log(median)
	k := assumedMeanRuns + n
	off := p.MeanLog - mu
	sum := assumedSpreadRuns*sigma*sigma + p.SquareSum + assumedMeanRuns*n/k*off*off
	next := (1 + 1/k) / (1 + 1/assumedMeanRuns)
	return math.Exp((assumedMeanRuns*mu + n*p.MeanLog) / k), math.Sqrt(sum / (assumedSpreadRuns + n) * next)
}

// believable bounds of a ratio: beyond them somebody forgot to record a start or a finish, or the step was another one
// (chosen, no source).
const (
	leastRatio = 0.2
	mostRatio  = 5.0
)

// learnPace keeps what a finished run has shown about its kind of step. Reductions teach their vessel instead. A step that
// was planned with a pause, over a night, says nothing about its pace.
func (s *Service) learnPace(ctx context.Context, r Run) error {
	ratio, class, known, err := s.paceOf(ctx, r)
	if err != nil || !known {
		return err
	}
	p, err := s.store.GetPace(ctx, siteOf(r.Name), r.Step.Kind, class)
	if errors.Is(err, ErrNotFound) {
		p, err = Pace{Site: siteOf(r.Name), Kind: r.Step.Kind, VesselClass: class}, nil
	}
	if err != nil {
		return err
	}
	p.add(math.Log(ratio))
	return s.store.PutPace(ctx, p)
}

// paceOf is the real time of a run as a share of what it should take in its vessel.
func (s *Service) paceOf(ctx context.Context, r Run) (ratio float64, class string, known bool, err error) {
	if r.Step.Duration.Reduce != nil || r.Step.Duration == (DurationModel{}) {
		return 0, "", false, nil
	}
	var v *Vessel
	if r.Vessel != "" {
		found, err := s.store.GetVessel(ctx, r.Vessel)
		if errors.Is(err, ErrNotFound) {
			return 0, "", false, nil
		}
		if err != nil {
			return 0, "", false, err
		}
		v, class = &found, found.Class
	}
	limits, err := s.Limits(ctx, siteOf(r.Name)+"/kitchenLimits")
	if err != nil {
		return 0, "", false, err
	}
	estimate := newEstimator(r.Site, limits).estimate(r.Step, v)
	if estimate.Refusal != "" {
		return 0, "", false, nil
	}
	paused := (r.Step.Interruptible || r.Step.Kind.waits()) && r.PlannedEnd.Sub(r.PlannedStart) > estimate.Total()+time.Minute
	ratio = float64(r.Finish.Sub(r.Start)) / float64(estimate.Total())
	return ratio, class, !paused && ratio >= leastRatio && ratio <= mostRatio, nil
}
