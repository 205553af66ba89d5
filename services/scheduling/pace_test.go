package scheduling

import (
	"math"
	"testing"
)

// The recurrence gives the mean and the sum of squares of the definition; without runs nothing is changed.
func TestAPaceSumsUpWhatWasSeen(t *testing.T) {
	t.Parallel()
	var p Pace
	if median, sigma := p.posterior(1.2, 0.3); median != 1.2 || sigma != 0.3 {
		t.Errorf("without runs %v, %v", median, sigma)
	}
	seen := []float64{0.1, -0.2, 0.4, 0.05, 0.3}
	mean, squares := 0.0, 0.0
	for _, x := range seen {
		p.add(x)
		mean += x / float64(len(seen))
	}
	for _, x := range seen {
		squares += (x - mean) * (x - mean)
	}
	if p.Runs != len(seen) || math.Abs(p.MeanLog-mean) > 1e-12 || math.Abs(p.SquareSum-squares) > 1e-12 {
		t.Errorf("got %+v, want mean %v and squares %v", p, mean, squares)
	}
}

// With many runs the posterior is what was seen; and what was seen long ago fades.
func TestAPaceForgetsWhatWasLongAgo(t *testing.T) {
	t.Parallel()
	var p Pace
	for i := range 400 {
		p.add(0.5 + 0.1*float64(1-i%2*2))
	}
	if p.Runs != mostPaceRuns || math.Abs(p.MeanLog-0.5) > 0.01 {
		t.Errorf("got %+v", p)
	}
	median, sigma := p.posterior(1, 0.18)
	if math.Abs(math.Log(median)-0.5*50/53) > 0.01 || sigma < 0.09 || sigma > 0.16 {
		t.Errorf("after many runs %v, %v", median, sigma)
	}
	for range 150 {
		p.add(0)
	}
	if math.Abs(p.MeanLog) > 0.03 {
		t.Errorf("after as many others %+v", p)
	}
}
