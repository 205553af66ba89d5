package project

// rng is SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014): small and the
// same on every platform. The constants are the published ones, from memory.
type rng struct{ s uint64 }

func (r *rng) next() uint64 {
	r.s += 0x9e3779b97f4a7c15
	z := r.s
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// n returns a number in [0, n); n > 0.
func (r *rng) n(n int) int { return int(r.next() >> 33 % uint64(n)) }

// unit returns a number in [0, 1).
func (r *rng) unit() float64 { return float64(r.next()>>11) / (1 << 53) }
