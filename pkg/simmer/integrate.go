package simmer

import (
	"errors"
	"math"
)

// Dormand and Prince 1980, the 5(4) pair; a is the lower triangle, e the
// difference between the two solutions.
var (
	dpA = [7][6]float64{
		{},
		{1.0 / 5},
		{3.0 / 40, 9.0 / 40},
		{44.0 / 45, -56.0 / 15, 32.0 / 9},
		{19372.0 / 6561, -25360.0 / 2187, 64448.0 / 6561, -212.0 / 729},
		{9017.0 / 3168, -355.0 / 33, 46732.0 / 5247, 49.0 / 176, -5103.0 / 18656},
		{35.0 / 384, 0, 500.0 / 1113, 125.0 / 192, -2187.0 / 6784, 11.0 / 84},
	}
	dpE = [7]float64{
		35.0/384 - 5179.0/57600, 0, 500.0/1113 - 7571.0/16695, 125.0/192 - 393.0/640,
		-2187.0/6784 + 92097.0/339200, 11.0/84 - 187.0/2100, -1.0 / 40,
	}
)

const (
	tolerance = 1e-7   // relative to the scale of each component
	longest   = 1800.0 // s; keeps events from being stepped over and back
	shortest  = 1e-6   // s; also how closely events are located
	dryWater  = 0.01   // kg
	mostSteps = 2_000_000
)

// ErrUnsettled is returned when a run needs more steps than any kettle should: the
// contents are far too little for the power or the surface.
var ErrUnsettled = errors.New("the forecast does not settle: the contents are too little for this power and surface")

// try makes one step of h seconds from k.y without changing k, and returns the
// new vector and the error relative to the scale.
func (k *Kettle) try(h float64) (vector, float64) {
	var s [7]vector
	y := k.y
	for i := range s {
		y = k.y
		for j := range i {
			if a := dpA[i][j]; a != 0 {
				for n := range y {
					y[n] += h * a * s[j][n]
				}
			}
		}
		s[i], _ = k.flows(y)
	}
	// The last stage's argument is the fifth-order solution.
	worst := 0.0
	scale := vector{100, math.Max(1, k.y[1]), 1e6, 1e6, 1e6}
	for n := range y {
		e := 0.0
		for i := range s {
			e += dpE[i] * s[i][n]
		}
		if n >= 2 {
			scale[n] = math.Max(scale[n], math.Abs(y[n]))
		}
		worst = math.Max(worst, math.Abs(h*e)/scale[n])
	}
	return y, worst
}

// advance integrates for span seconds or until event turns non-positive. event
// must be positive at the start, may be nil, and sees the vector; the crossing is
// located to a microsecond. It reports whether the event happened.
func (k *Kettle) advance(span float64, event func(*Kettle, vector) float64) (bool, error) {
	end := k.clock + span
	h := math.Min(60, span)
	for first := k.steps; k.clock < end-1e-9; {
		if k.steps-first > mostSteps {
			return false, ErrUnsettled
		}
		if k.dry(k.y) {
			return false, ErrDry
		}
		h = math.Min(h, math.Min(longest, end-k.clock))
		y, e := k.try(h)
		if e > k.tol && h > shortest {
			h *= math.Max(0.2, 0.9*math.Pow(k.tol/e, 0.2))
			continue
		}
		used := h
		if after := k.margin(y, event); after <= 0 {
			used, y = k.locate(h, after, y, event)
		}
		k.y, k.clock = y, k.clock+used
		k.worst += e
		k.steps++
		happened := event != nil && event(k, y) <= 0
		k.afterStep()
		if happened {
			return true, nil
		}
		h *= math.Min(5, math.Max(0.5, 0.9*math.Pow(k.tol/math.Max(e, 1e-16), 0.2)))
	}
	return false, nil
}

// margin is positive while a step may go on: above dryness and the largest solids, short
// of the temperature to hold, able to hold it, short of the event. It is continuous.
func (k *Kettle) margin(y vector, event func(*Kettle, vector) float64) float64 {
	m := math.Min(y[1]-dryWater, MaxSolids*(y[1]+k.solids)-k.solids)
	hold := float64(k.duty.Hold)
	switch k.mode {
	case Heating:
		if k.y[0] < hold {
			m = math.Min(m, hold-y[0])
		}
	case Cooling:
		if !k.duty.Off && k.y[0] > hold {
			m = math.Min(m, y[0]-hold)
		}
	default:
		b := k.weigh(y, true)
		m = math.Min(m, b.supply-b.need())
	}
	if event != nil {
		m = math.Min(m, event(k, y))
	}
	return m
}

// locate finds the shortest step, within a microsecond, at whose end margin is not
// positive, by false position with the Illinois change (Dowell and Jarratt 1971, from
// memory). h is such a step, with its end y and the margin there.
func (k *Kettle) locate(h, after float64, y vector, event func(*Kettle, vector) float64) (float64, vector) {
	low, high := 0.0, h
	before := k.margin(k.y, event)
	if before <= 0 { // at the limit already: bisection alone
		before = -after
	}
	kept := 0 // end kept by the last steps: negative the low one
	for i := 0; high-low > shortest && i < 200; i++ {
		mid := low + (high-low)*before/(before-after)
		if i%4 == 3 || !(mid > low && mid < high) {
			mid = (low + high) / 2
		}
		// Half a resolution inside, so that a root at an end closes the bracket.
		mid = math.Max(low+shortest/2, math.Min(mid, high-shortest/2))
		m, _ := k.try(mid)
		if f := k.margin(m, event); f <= 0 {
			high, after, y = mid, f, m
			if kept < 0 {
				before /= 2
			}
			kept = -1
		} else {
			low, before = mid, f
			if kept > 0 {
				after /= 2
			}
			kept = 1
		}
	}
	return high, y
}

func (k *Kettle) dry(y vector) bool {
	return y[1] <= dryWater || k.solids >= MaxSolids*(y[1]+k.solids)
}

// afterStep moves to the mode that belongs to the new state. A temperature that
// has just reached the one to hold is set to it: locate ends within a microsecond of it.
func (k *Kettle) afterStep() {
	hold := float64(k.duty.Hold)
	switch k.mode {
	case Heating:
		if k.y[0] >= hold {
			k.y[0] = hold
		}
	case Cooling:
		if !k.duty.Off && k.y[0] <= hold {
			k.y[0] = hold
		}
	}
	k.settle()
}
