package units

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"strconv"
)

// Milligrams is an integer mass for balances that must add up exactly: what
// leaves one lot is what reaches the other, to the last unit. The range of int64
// is about 9.2 million tonnes.
type Milligrams int64

// Errors of exact mass arithmetic; match them with errors.Is.
var (
	// ErrOverflow means that a result does not fit into 64 bits.
	ErrOverflow = errors.New("mass is too large to be counted in milligrams")
	// ErrNegative means that more was taken than was there.
	ErrNegative = errors.New("mass would become negative")
)

// Milligrams rounds to the nearest milligram, ties to even. Negative, NaN,
// infinite and too large masses are errors.
func (m Mass) Milligrams() (Milligrams, error) {
	if err := m.Check(); err != nil {
		return 0, err
	}
	// A float64 times 1e6 can be off by half a unit of the last place, which
	// exceeds a milligram only above 4500 tonnes; the rational product is exact.
	r := new(big.Rat)
	r.SetFloat64(float64(m))
	r.Mul(r, big.NewRat(1_000_000, 1))
	return ratToMilligrams(r)
}

// Mass returns the value in kilograms, rounded once to float64.
func (g Milligrams) Mass() Mass { return Mass(float64(g) / 1e6) }

// Add returns g + o, or ErrOverflow.
func (g Milligrams) Add(o Milligrams) (Milligrams, error) {
	s := g + o
	if (o > 0 && s < g) || (o < 0 && s > g) {
		return 0, fmt.Errorf("%v + %v: %w", g, o, ErrOverflow)
	}
	return s, nil
}

// Sub returns g - o, or ErrNegative when o exceeds g.
func (g Milligrams) Sub(o Milligrams) (Milligrams, error) {
	if o > g {
		return 0, fmt.Errorf("%v - %v: %w", g, o, ErrNegative)
	}
	if o < 0 {
		return 0, fmt.Errorf("subtract %v: %w", o, ErrNegative)
	}
	return g - o, nil
}

// Apportion splits g in proportion to the weights so that the parts add up to g
// exactly (largest remainder first, ties by position). Weights must be
// non-negative and not all zero, g must not be negative.
func (g Milligrams) Apportion(weights []int64) ([]Milligrams, error) {
	if g < 0 {
		return nil, fmt.Errorf("apportion %v: %w", g, ErrNegative)
	}
	sum := new(big.Int)
	for i, w := range weights {
		if w < 0 {
			return nil, fmt.Errorf("weight %d is %d: weights must not be negative", i, w)
		}
		sum.Add(sum, big.NewInt(w))
	}
	if sum.Sign() == 0 {
		return nil, errors.New("apportion needs at least one weight above 0")
	}
	parts := make([]Milligrams, len(weights))
	remainders := make([]*big.Int, len(weights))
	left := g
	for i, w := range weights {
		q, r := new(big.Int), new(big.Int)
		q.DivMod(new(big.Int).Mul(big.NewInt(int64(g)), big.NewInt(w)), sum, r)
		parts[i] = Milligrams(q.Int64())
		remainders[i] = r
		left -= parts[i]
	}
	for ; left > 0; left-- {
		best := 0
		for i, r := range remainders {
			if r.Cmp(remainders[best]) > 0 {
				best = i
			}
		}
		parts[best]++
		remainders[best] = big.NewInt(-1)
	}
	return parts, nil
}

// String formats exactly, in kilograms: "4.500000 kg".
func (g Milligrams) String() string {
	sign := ""
	u := uint64(g)
	if g < 0 {
		sign, u = "-", uint64(-(g+1))+1
	}
	frac := strconv.FormatUint(u%1_000_000, 10)
	for len(frac) < 6 {
		frac = "0" + frac
	}
	return sign + strconv.FormatUint(u/1_000_000, 10) + "." + frac + " kg"
}

// ratToMilligrams rounds half to even.
func ratToMilligrams(mg *big.Rat) (Milligrams, error) {
	n := roundHalfEven(mg)
	if !n.IsInt64() || n.Int64() == math.MinInt64 {
		return 0, ErrOverflow
	}
	return Milligrams(n.Int64()), nil
}

func roundHalfEven(r *big.Rat) *big.Int {
	q, rem := new(big.Int), new(big.Int)
	q.DivMod(r.Num(), r.Denom(), rem) // Euclidean: 0 <= rem < denom
	twice := rem.Lsh(rem, 1)
	switch c := twice.Cmp(r.Denom()); {
	case c > 0, c == 0 && q.Bit(0) == 1:
		q.Add(q, big.NewInt(1))
	}
	return q
}
