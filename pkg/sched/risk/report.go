package risk

import (
	"fmt"
	"math"
	"slices"
)

// Caution goes with every display of a lag that may be broken, or of material that stands until people come.
const Caution = "A greatest lag that may be broken, and a step that stands until people come, are material that waits hot or warm " +
	"longer than it should: reality does not wait for the plan. " +
	"These probabilities support and do not replace the validated HACCP plan, the local code and the qualified person."

// Report says what became of the plan over all realisations. Slices are in the order of the instance. Moments and
// times are in the unit of the instance.
type Report struct {
	Samples int
	Policy  Policy
	// Quantiles are those of Options, in whose order Ends lists them.
	Quantiles []float64
	// Tardiness is the sum of DueWeight times the time by which activities end late; Overtime as in sched.Objective.
	Tardiness, Overtime Mean
	// AllOnTime is the probability that nothing with a due time is late.
	AllOnTime  Probability
	Activities []ActivityRisk
	Orders     []OrderRisk
	Lags       []LagRisk
	Vessels    []VesselRisk
	Resources  []ResourceRisk
	// Drivers are the uncertainties that go with tardiness more than chance explains, the strongest first.
	Drivers []Driver
	// Caution is the text of the constant; not empty when a lag is watched or something stands.
	Caution string

	orderEnds [][]int64 // sorted
}

// Probability is an estimate between 0 and 1. StandardError is that of independent draws; Latin hypercube sampling does
// as well or (mostly) better (Owen, Annals of Statistics 25, 1997, p. 1541: variance at most n/(n-1) times that of
// independent draws; from memory). It is above zero even where nothing (or everything) was counted.
type Probability struct {
	Value, StandardError float64
}

func probability(count, n int) Probability {
	return Probability{Value: float64(count) / float64(n), StandardError: standardError(count, n)}
}

// Mean is an estimate of an expectation with its standard error (of independent draws).
type Mean struct {
	Value, StandardError float64
}

// Ends is the distribution of a moment. Quantiles are the least drawn moments by which at least that share of the
// realisations has ended. What never ends counts as ending when the last calendar closes.
type Ends struct {
	Mean, SD  float64
	Quantiles []int64
}

// ActivityRisk is what became of one activity.
type ActivityRisk struct {
	Activity, Order          string
	PlannedStart, PlannedEnd int64
	End                      Ends
	// HasDue, and then Due, OnTime (end at or before Due) and Tardiness (expected, weighted).
	HasDue    bool
	Due       int64
	OnTime    Probability
	Tardiness Mean
	// Slips: starts later than planned by more than Options.Tolerance. Delay is the expected time by which it starts late.
	Slips Probability
	Delay float64
	// Standing: the unattended middle goes on because nobody is there to end it; StandingTime is its mean where it does.
	// Unwatched: that runs into time in which unattended work is not allowed.
	Standing     Probability
	StandingTime float64
	Unwatched    Probability
	// Unfinished: no calendar, vessel or resource ever permits it, or what it waits for.
	Unfinished Probability
	// Criticality is the share of realisations in which it is on a chain that makes something late.
	Criticality float64
	// Sensitivity is the correlation, -1 to 1, of its drawn duration with the tardiness of the plan; zero when nothing is
	// late or its duration is certain. Below Report.Noise it may be chance.
	Sensitivity float64
}

// OrderRisk is what became of one order: of the last of its activities to end.
type OrderRisk struct {
	Order string
	End   Ends
	// HasDue: some activity of it has a due time. OnTime: all of them are met.
	HasDue    bool
	OnTime    Probability
	Tardiness Mean
	// Causes of lateness, the most frequent first.
	Causes []Cause
}

// LagRisk is what became of a lag that has a greatest time, or of a least lag that is only observed.
type LagRisk struct {
	// Index in Instance.Lags, and what stands there.
	Index         int
	From, To, Why string
	// Broken: longer than Max, or shorter than an observed Min. Excess is the mean by which it is, where it is.
	Broken Probability
	Excess float64
	// Lag is the distribution of the time between.
	Lag Ends
}

// VesselRisk is what became of one vessel.
type VesselRisk struct {
	Vessel string
	// Slips: at least one of its starts slips. SlippingShare is the expected share of its starts that do.
	Slips         Probability
	SlippingShare float64
	// Blocked: something is still in it when it is to be down.
	Blocked Probability
}

// ResourceRisk is how often a limit is exceeded: by stores (a shelf too full), or by what lasts longer than foreseen.
type ResourceRisk struct {
	Resource string
	Exceeded Probability
}

// DriverKind says what a driver is.
type DriverKind string

// The kinds of driver.
const (
	DriverActivity DriverKind = "activity"
	DriverVessel   DriverKind = "vessel"
	DriverOrder    DriverKind = "order"
	DriverYield    DriverKind = "yield"
)

// Driver is an uncertainty that goes with tardiness.
type Driver struct {
	Kind DriverKind
	Name string
	// Correlation with the weighted tardiness; its square is the share of the variance that a straight line explains.
	Correlation float64
}

// Noise is the size of a correlation that chance alone exceeds in about one case of twenty.
func (r *Report) Noise() float64 { return min(1, 2/math.Sqrt(float64(r.Samples))) }

// Promise is the earliest moment by which an order is done with the given probability, for telling outlets.
type Promise struct {
	Order       string
	Probability float64
	// Moment is the quantile of the realisations. Safe is later: with a confidence of 95 % the true quantile is not
	// after it, whatever the shape of the distribution (an order statistic whose rank is a quantile of the binomial
	// distribution, for independent draws). Both know only the uncertainties in the Case.
	Moment, Safe int64
}

// DoneBy is the probability that an order has ended at a moment, and whether the instance has the order.
func (r *Report) DoneBy(order string, at int64) (Probability, bool) {
	k := slices.IndexFunc(r.Orders, func(o OrderRisk) bool { return o.Order == order })
	if k < 0 {
		return Probability{}, false
	}
	n, _ := slices.BinarySearch(r.orderEnds[k], at+1)
	return probability(n, len(r.orderEnds[k])), true
}

// Promise answers for one order.
func (r *Report) Promise(order string, p float64) (Promise, error) {
	if !(p > 0 && p < 1) {
		return Promise{}, fmt.Errorf("promise for order %q: the probability %v must lie between 0 and 1", order, p)
	}
	k := slices.IndexFunc(r.Orders, func(o OrderRisk) bool { return o.Order == order })
	if k < 0 {
		return Promise{}, fmt.Errorf("promise for order %q: the instance has no such order", order)
	}
	ends := r.orderEnds[k]
	rank := safeRank(len(ends), p)
	if rank > len(ends) {
		return Promise{}, fmt.Errorf("promise for order %q: %d samples are too few for a probability of %v, take %.0f", order, len(ends), p, math.Ceil(3/(1-p)))
	}
	return Promise{Order: order, Probability: p, Moment: quantile(ends, p), Safe: ends[rank-1]}, nil
}

// safeRank is the least rank r of n independent draws such that the r-th smallest is at or above the p-quantile with a
// confidence of 95 %: P(Bin(n, p) < r) >= 0.95. It is n+1 when n draws do not suffice.
func safeRank(n int, p float64) int {
	lgN, _ := math.Lgamma(float64(n) + 1)
	tail := 0.0
	for k := n; k >= 0; k-- {
		a, _ := math.Lgamma(float64(k) + 1)
		b, _ := math.Lgamma(float64(n-k) + 1)
		tail += math.Exp(lgN - a - b + float64(k)*math.Log(p) + float64(n-k)*math.Log1p(-p))
		if tail > 0.05 {
			return k + 1
		}
	}
	return 0
}

// quantile of ascending values: the least one that at least the share p does not exceed.
func quantile(sorted []int64, p float64) int64 {
	k := int(math.Ceil(p*float64(len(sorted))-1e-9)) - 1
	return sorted[max(0, min(len(sorted)-1, k))]
}

// ends sorts the values and describes them.
func ends(values []int64, quantiles []float64) Ends {
	slices.Sort(values)
	base, sum, squares := values[0], 0.0, 0.0
	for _, v := range values {
		x := float64(v - base)
		sum += x
		squares += x * x
	}
	n := float64(len(values))
	e := Ends{Mean: float64(base) + sum/n}
	if n > 1 {
		e.SD = math.Sqrt(max(0, squares-sum*sum/n) / (n - 1))
	}
	for _, q := range quantiles {
		e.Quantiles = append(e.Quantiles, quantile(values, q))
	}
	return e
}

// sums estimates a mean.
type sums struct{ x, xx float64 }

func (s *sums) add(x float64) { s.x += x; s.xx += x * x }

func (s *sums) mean(n int) Mean {
	m := s.x / float64(n)
	if n < 2 {
		return Mean{Value: m}
	}
	v := max(0, s.xx-s.x*m) / float64(n-1)
	return Mean{Value: m, StandardError: math.Sqrt(v / float64(n))}
}
