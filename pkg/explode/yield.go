package explode

import "math"

// Distribution is the shape of a yield.
type Distribution uint8

// The distributions.
const (
	// TruncatedNormal is a normal distribution cut off at 0 and at twice its mean. Being symmetric
	// its mean is Mean and a service level of 0.5 plans exactly with the mean. SD is that of the
	// normal before the cut.
	TruncatedNormal Distribution = iota
	// Lognormal has mean Mean and standard deviation SD. It is skewed: a service level of
	// 0.5 plans with the median, Mean/sqrt(1+(SD/Mean)²), below the mean.
	Lognormal
)

// Yield is the fraction of a batch's nominal output that is really obtained, as a
// random variable. The zero value is exactly 1.
type Yield struct {
	// Mean is the expected fraction, 0 < Mean ≤ 100. Zero means 1.
	Mean float64
	// SD is the standard deviation, 0 ≤ SD ≤ Mean.
	SD float64
	// Service is the probability with which a batch must give at least what was
	// planned, 0 < Service < 1. Zero means 0.5.
	Service      float64
	Distribution Distribution
}

// Expected returns the mean fraction.
func (y Yield) Expected() float64 {
	if y.Mean == 0 {
		return 1
	}
	return y.Mean
}

// Planned returns the fraction f for which P(yield ≥ f) is the service level.
//
// Truncated normal, with m the mean, s the standard deviation, p the service
// level and Φ the standard normal distribution function:
//
//	f = m + s·Φ⁻¹(Φ(-m/s) + (1-p)·(1 - 2Φ(-m/s)))
//
// Lognormal, with v = ln(1+(s/m)²):
//
//	f = m·exp(-v/2 + √v·Φ⁻¹(1-p))
//
// The yield must be valid (see the fields); Solve checks that.
func (y Yield) Planned() float64 {
	m, p := y.Expected(), y.Service
	if p == 0 {
		p = 0.5
	}
	if y.SD == 0 {
		return m
	}
	if y.Distribution == Lognormal {
		v := math.Log1p((y.SD / m) * (y.SD / m))
		return m * math.Exp(-v/2+math.Sqrt(v)*quantile(1-p))
	}
	if p == 0.5 {
		return m
	}
	tail := 0.5 * math.Erfc(m/y.SD/math.Sqrt2)
	f := m + y.SD*quantile(tail+(1-p)*(1-2*tail))
	// The quantile of a probability next to 0 or 1 can leave the cut by rounding.
	return min(max(f, 0), 2*m)
}

// quantile is the inverse of the standard normal distribution function.
func quantile(q float64) float64 { return math.Sqrt2 * math.Erfinv(2*q-1) }
