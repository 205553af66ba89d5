package explode

import "math"

// relTol is the relative difference below which two quantities count as equal. It covers the
// rounding of sums of millions of float64 demands, and is far below what a scale resolves.
const relTol = 1e-9

// size is a batch to make: nominal output and candidate vessel, -1 for none.
type size struct {
	nominal float64
	vessel  int
}

func roundUp(q, multiple float64) float64 {
	if multiple == 0 {
		return q
	}
	return math.Ceil(q/multiple-relTol) * multiple
}

func roundDown(q, multiple float64) float64 {
	if multiple == 0 {
		return q
	}
	return math.Floor(q/multiple+relTol) * multiple
}

// bounds returns the least and greatest batch that vessel v takes under these rules.
func (s *Sizing) bounds(v Vessel) (lo, hi float64, ok bool) {
	if s.Fixed > 0 {
		return s.Fixed, s.Fixed, v.MinFill <= s.Fixed && s.Fixed <= v.MaxFill
	}
	lo = roundUp(max(v.MinFill, s.Minimum), s.Multiple)
	hi = roundDown(v.MaxFill, s.Multiple)
	return lo, hi, lo <= hi && hi > 0
}

// largest returns the greatest batch any vessel takes and that vessel; +Inf and -1 without vessels.
func (s *Sizing) largest() (float64, int) {
	if len(s.Vessels) == 0 {
		if s.Fixed > 0 {
			return s.Fixed, -1
		}
		return math.Inf(1), -1
	}
	best, at := 0.0, -1
	for i, v := range s.Vessels {
		if _, hi, ok := s.bounds(v); ok && hi > best {
			best, at = hi, i
		}
	}
	return best, at
}

// one returns the batch of at least need with the least surplus; need must not be above largest.
func (s *Sizing) one(need float64) size {
	if len(s.Vessels) == 0 {
		if s.Fixed > 0 {
			return size{s.Fixed, -1}
		}
		return size{roundUp(max(need, s.Minimum), s.Multiple), -1}
	}
	best, bestHi := size{vessel: -1}, 0.0
	for i, v := range s.Vessels {
		lo, hi, ok := s.bounds(v)
		if !ok || need > hi*(1+relTol) {
			continue
		}
		q := min(max(lo, roundUp(need, s.Multiple)), hi)
		if best.vessel < 0 || q < best.nominal || (q == best.nominal && hi < bestHi) {
			best, bestHi = size{q, i}, hi
		}
	}
	return best
}

// atMost returns the largest batch not above have, nominal 0 when nothing takes so little.
func (s *Sizing) atMost(have float64) size {
	limit := have * (1 + relTol) // a lower mark or multiple missed by rounding counts as reached
	if len(s.Vessels) == 0 {
		q := roundDown(have, s.Multiple)
		if s.Fixed > 0 {
			q = s.Fixed
		}
		if q > limit || q < s.Minimum/(1+relTol) {
			q = 0
		}
		return size{q, -1}
	}
	best := size{vessel: -1}
	for i, v := range s.Vessels {
		lo, hi, ok := s.bounds(v)
		if !ok || lo > limit {
			continue
		}
		if q := min(hi, max(lo, roundDown(have, s.Multiple))); q > best.nominal {
			best = size{q, i}
		}
	}
	return best
}

// count returns how many batches split gives.
func (s *Sizing) count(need float64) float64 {
	hi, _ := s.largest()
	return max(1, math.Ceil(need/hi-relTol))
}

// split divides a need into the fewest batches. All but the last fill the largest vessel; when
// what remains is less than any vessel's minimum, the batch before gives some up.
func (s *Sizing) split(need float64) []size {
	hi, at := s.largest()
	k := int(s.count(need))
	out := make([]size, 0, k)
	for range k - 1 {
		out = append(out, size{hi, at})
		need -= hi
	}
	last := s.one(min(max(need, 0), hi))
	out = append(out, last)
	surplus := roundDown(last.nominal-need, s.Multiple)
	if k == 1 || surplus <= 0 || s.Fixed > 0 {
		return out
	}
	lo := s.Minimum
	if at >= 0 {
		lo, _, _ = s.bounds(s.Vessels[at])
	}
	if hi-surplus >= lo {
		out[k-2].nominal = hi - surplus
	}
	return out
}
