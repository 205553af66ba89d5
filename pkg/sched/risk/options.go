package risk

import (
	"fmt"

	"rondeau.internal/pkg/sched"
)

// Policy says when an activity may begin.
type Policy uint8

// The policies.
const (
	// PolicyPlanned: never before the planned start, like a railway.
	PolicyPlanned Policy = iota
	// PolicyEarly: as early as everything else permits. Greatest lags suffer, since material may be ready long before
	// what takes it; with scarce resources an early step may now and then be in the way of another.
	PolicyEarly
)

// Sampling says how the draws are spread over the unit cube.
type Sampling uint8

// The samplings.
const (
	// SamplingLatin is Latin hypercube sampling in rounds of RoundSize: every duration has one draw in each of
	// RoundSize equally likely intervals (McKay, Beckman and Conover, Technometrics 21, 1979; from memory).
	SamplingLatin Sampling = iota
	// SamplingIndependent draws independently.
	SamplingIndependent
)

// RoundSize is how many realisations are drawn at once.
const RoundSize = 500

// Options steer the simulation. The zero value is usable.
type Options struct {
	// Seed of the draws.
	Seed uint64
	// Samples is the number of realisations, 1 to 1,000,000; zero means DefaultSamples. Samples times activities may be
	// at most 20 million.
	Samples  int
	Policy   Policy
	Sampling Sampling
	// Heedless begins each step as soon as it can. Otherwise a step is not begun while what must follow it within a
	// greatest lag foreseeably cannot (its kettle is occupied for hours yet, nobody will be on shift), unless a greatest
	// lag that it is under itself demands it. Steps that run are then expected to take as long as planned.
	Heedless bool
	// Quantiles of ends to report, each in (0, 1); nil means 0.05, 0.5, 0.8, 0.95.
	Quantiles []float64
	// Tolerance is by how much a start may be later than planned without counting as a slip; >= 0.
	Tolerance int64
	// Stop is polled between realisations; true ends the run with ErrStopped. Nil: never.
	Stop func() bool
}

// DefaultSamples is the number of realisations of Options that name none.
const DefaultSamples = 1000

const (
	mostSamples = 1_000_000
	mostCells   = 20_000_000
)

func (o *Options) fill(activities int) Faults {
	var f Faults
	if o.Samples == 0 {
		o.Samples = DefaultSamples
	}
	if o.Samples < 1 || o.Samples > mostSamples || o.Samples*activities > mostCells {
		f = append(f, fmt.Sprintf("%d samples of %d activities: give 1 to %d samples, and at most %d samples times activities", o.Samples, activities, mostSamples, mostCells))
	}
	if o.Policy > PolicyEarly {
		f = append(f, fmt.Sprintf("policy %d does not exist", o.Policy))
	}
	if o.Sampling > SamplingIndependent {
		f = append(f, fmt.Sprintf("sampling %d does not exist", o.Sampling))
	}
	if o.Quantiles == nil {
		o.Quantiles = []float64{0.05, 0.5, 0.8, 0.95}
	}
	for _, q := range o.Quantiles {
		if !(q > 0 && q < 1) {
			f = append(f, fmt.Sprintf("quantile %v must lie between 0 and 1", q))
		}
	}
	if o.Tolerance < 0 || o.Tolerance > sched.Forever {
		f = append(f, fmt.Sprintf("tolerance %d of a slip must not be negative", o.Tolerance))
	}
	return f
}
