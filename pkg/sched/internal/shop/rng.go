package shop

import "rondeau.internal/pkg/sched/internal/splitmix"

// rng is the state of a random sequence.
type rng struct{ s uint64 }

func (r *rng) next() uint64 { return splitmix.Next(&r.s) }

// n returns a number in [0, n); 0 < n < 2^31.
func (r *rng) n(n int) int { return int(r.next() >> 33 * uint64(n) >> 31) }

// unit returns a number in [0, 1).
func (r *rng) unit() float64 { return splitmix.Unit(r.next()) }
