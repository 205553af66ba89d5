package simmer

import "math"

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
	tolerance = 1e-7  // relative to the scale of each component
	longest   = 600.0 // s; keeps events and mode changes from being stepped over
	shortest  = 1e-6  // s
	dryWater  = 0.01  // kg
)

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
	scale := vector{100, math.Max(1, k.y[1]), 1e6, 1e6}
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
// located to a millisecond. It reports whether the event happened.
func (k *Kettle) advance(span float64, event func(*Kettle, vector) float64) (bool, error) {
	end := k.clock + span
	h := math.Min(60, span)
	for k.clock < end-1e-9 {
		if k.dry(k.y) {
			return false, ErrDry
		}
		h = math.Min(h, math.Min(longest, end-k.clock))
		y, e := k.try(h)
		if e > tolerance && h > shortest {
			h *= math.Max(0.2, 0.9*math.Pow(tolerance/e, 0.2))
			continue
		}
		stop := func(y vector) bool {
			return k.dry(y) || k.crossed(y) || (event != nil && event(k, y) <= 0)
		}
		used := h
		if stop(y) {
			used, y = k.bisect(h, stop)
		}
		k.y, k.clock = y, k.clock+used
		k.worst += e
		k.steps++
		if event != nil && event(k, y) <= 0 {
			k.settle()
			return true, nil
		}
		k.afterStep()
		if e < tolerance/32 {
			h *= 2
		}
	}
	return false, nil
}

// bisect finds the shortest step, within a millisecond, at whose end stop holds.
func (k *Kettle) bisect(h float64, stop func(vector) bool) (float64, vector) {
	low, high := 0.0, h
	y, _ := k.try(h)
	for high-low > 1e-3 {
		mid := (low + high) / 2
		m, _ := k.try(mid)
		if stop(m) {
			high, y = mid, m
		} else {
			low = mid
		}
	}
	return high, y
}

// crossed reports whether the temperature went through the one to hold.
func (k *Kettle) crossed(y vector) bool {
	hold := float64(k.duty.Hold)
	switch k.mode {
	case Heating:
		return y[0] >= hold && k.y[0] < hold
	case Cooling:
		return !k.duty.Off && y[0] <= hold && k.y[0] > hold
	default:
		return false
	}
}

func (k *Kettle) dry(y vector) bool {
	return y[1] <= dryWater || k.solids >= MaxSolids*(y[1]+k.solids)
}

// afterStep moves to the mode that belongs to the new state. A temperature that
// has just reached the one to hold is set to it: the bisection ends within a
// millisecond of it.
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
