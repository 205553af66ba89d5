// Package splitmix is the generator of the searches: SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom
// number generators", OOPSLA 2014), small and the same on every platform. The constants are the published ones, from
// memory. It is not for secrets.
package splitmix

// Next moves the state on and returns 64 random bits.
func Next(state *uint64) uint64 {
	*state += 0x9e3779b97f4a7c15
	z := *state
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// Unit turns random bits into a number in [0, 1).
func Unit(bits uint64) float64 { return float64(bits>>11) / (1 << 53) }
