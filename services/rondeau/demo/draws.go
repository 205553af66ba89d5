package demo

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// draws makes the random numbers of the story. Each thing that is drawn has its own stream, named by what it is for, so
// that one more draw somewhere does not change the rest of the week.
type draws uint64

func (d draws) stream(key string) *rand.Rand {
	h := fnv.New64a()
	_, _ = h.Write([]byte(key)) // a hash takes everything
	return rand.New(rand.NewPCG(uint64(d), h.Sum64()))
}

// between draws evenly from [low, high).
func (d draws) between(key string, low, high float64) float64 {
	return low + (high-low)*d.stream(key).Float64()
}

// normal draws from a normal distribution, cut at three standard deviations.
func (d draws) normal(key string, mean, deviation float64) float64 {
	return mean + deviation*cut(d.stream(key).NormFloat64())
}

func cut(z float64) float64 { return math.Max(-3, math.Min(3, z)) }

// whole draws a whole number from low to high, both included.
func (d draws) whole(key string, low, high int) int { return low + d.stream(key).IntN(high-low+1) }

// grams rounds a mass in kilograms to what a kitchen scale shows.
func grams(kg float64) float64 { return math.Round(kg*1000) / 1000 }

// tenth rounds to one decimal, as a thermometer shows.
func tenth(x float64) float64 { return math.Round(x*10) / 10 }
