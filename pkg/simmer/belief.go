package simmer

import (
	"errors"
	"fmt"
	"math"
)

// BeliefVersion is the version of the Belief struct that this package writes. Readers
// accept this one only; a later version will say how it reads an earlier one.
const BeliefVersion = 1

// Factor is a log-normal distribution of a positive factor.
type Factor struct {
	// Log is the mean of ln(factor), -2 to 2.
	Log float64 `json:"log"`
	// Spread is the standard deviation of ln(factor), 0.002 to 1.5.
	Spread float64 `json:"spread"`
}

// Median returns the median factor.
func (f Factor) Median() float64 { return math.Exp(f.Log) }

// At returns the factor z standard deviations from its median.
func (f Factor) At(z float64) float64 { return math.Exp(f.Log + z*f.Spread) }

func (f Factor) check(name string) error {
	return errors.Join(
		within("log of the "+name+" factor", f.Log, -2, 2, ""),
		within("spread of the "+name+" factor", f.Spread, minSpread, maxSpread, ""),
	)
}

const (
	minSpread = 0.002
	maxSpread = 1.5
	maxTies   = 0.999 // largest correlation of two factors
)

// The order of the factors in vectors and matrices.
const (
	iSurface = iota
	iPower
	iWall
	iMarks
	factors
)

// Belief is what is known of one vessel: four factors on what the physics and the
// vessel's data say, jointly log-normal. It is a plain struct that survives JSON; a
// foreign one is validated by Check. The zero value stands for Uninformed.
type Belief struct {
	// Version is BeliefVersion.
	Version int `json:"version"`
	// Surface multiplies Conditions.Activity: evaporation below the boil.
	Surface Factor `json:"surface"`
	// Power multiplies Vessel.Efficiency: evaporation at the boil, and heating.
	Power Factor `json:"power"`
	// Wall multiplies Vessel.WallLoss. At the boil a reading cannot tell more loss
	// from less power; Correlation.PowerWall carries that.
	Wall Factor `json:"wall"`
	// Marks is what a level or volume mark reads per unit of what is there; it is 1 for
	// true marks.
	Marks Factor `json:"marks"`
	// Correlation of the logarithms, each -0.999 to 0.999.
	Correlation Ties `json:"correlation"`
	// Readings believed and Runs learned from so far; information only.
	Readings int `json:"readings"`
	Runs     int `json:"runs"`
}

// Ties are the correlations between the logarithms of the factors.
type Ties struct {
	SurfacePower float64 `json:"surface_power"`
	SurfaceWall  float64 `json:"surface_wall"`
	SurfaceMarks float64 `json:"surface_marks"`
	PowerWall    float64 `json:"power_wall"`
	PowerMarks   float64 `json:"power_marks"`
	WallMarks    float64 `json:"wall_marks"`
}

// Uninformed is the belief about a vessel nobody has measured and whose class is not
// known: surface and power may be off by a factor of two either way, wall loss by
// nearly as much, marks by 4 % (two standard deviations each; chosen, no source).
func Uninformed() Belief {
	return Belief{
		Version: BeliefVersion,
		Surface: Factor{Spread: math.Ln2 / 2},
		Power:   Factor{Spread: math.Ln2 / 2},
		Wall:    Factor{Spread: 0.3},
		Marks:   Factor{Spread: 0.02},
	}
}

// Check reports the first fault of each field, or correlations that contradict each
// other. The zero value has none.
func (b Belief) Check() error {
	if b == (Belief{}) {
		return nil
	}
	if b.Version != BeliefVersion {
		return fmt.Errorf("belief version %d is not known, version %d is: export it again with the present release", b.Version, BeliefVersion)
	}
	errs := []error{
		b.Surface.check("surface"), b.Power.check("power"), b.Wall.check("wall"), b.Marks.check("marks"),
		within("count of readings", float64(b.Readings), 0, 1e9, ""),
		within("count of runs", float64(b.Runs), 0, 1e9, ""),
	}
	for _, c := range b.ties() {
		errs = append(errs, within("correlation "+c.name, *c.value, -maxTies, maxTies, ""))
	}
	if err := errors.Join(errs...); err != nil {
		return err
	}
	if _, ok := cholesky(b.covariance()); !ok {
		return errors.New("the correlations of the belief contradict each other (their matrix is not positive definite): take the belief from one source as a whole")
	}
	return nil
}

func (b Belief) normal() (Belief, error) {
	if b == (Belief{}) {
		return Uninformed(), nil
	}
	return b, b.Check()
}

type tie struct {
	name  string
	i, j  int
	value *float64
}

// ties lists the correlations of a copy of b with their places.
func (b *Belief) ties() [6]tie {
	c := &b.Correlation
	return [6]tie{
		{"surface-power", iSurface, iPower, &c.SurfacePower},
		{"surface-wall", iSurface, iWall, &c.SurfaceWall},
		{"surface-marks", iSurface, iMarks, &c.SurfaceMarks},
		{"power-wall", iPower, iWall, &c.PowerWall},
		{"power-marks", iPower, iMarks, &c.PowerMarks},
		{"wall-marks", iWall, iMarks, &c.WallMarks},
	}
}

func (b *Belief) parts() [factors]*Factor {
	return [factors]*Factor{&b.Surface, &b.Power, &b.Wall, &b.Marks}
}

type (
	factorVector [factors]float64
	factorMatrix [factors][factors]float64
)

func (b Belief) mean() (m factorVector) {
	for i, f := range b.parts() {
		m[i] = f.Log
	}
	return m
}

func (b Belief) covariance() (v factorMatrix) {
	p := b.parts()
	for i := range factors {
		v[i][i] = p[i].Spread * p[i].Spread
	}
	for _, t := range b.ties() {
		v[t.i][t.j] = *t.value * p[t.i].Spread * p[t.j].Spread
		v[t.j][t.i] = v[t.i][t.j]
	}
	return v
}

// beliefOf is the belief of a mean and a covariance, held within what Check accepts.
func beliefOf(mean factorVector, v factorMatrix) Belief {
	b := Belief{Version: BeliefVersion}
	p := b.parts()
	for i := range factors {
		p[i].Log = max(-2, min(2, mean[i]))
		p[i].Spread = max(minSpread, min(maxSpread, math.Sqrt(max(0, v[i][i]))))
	}
	for shrink := 1.0; ; shrink *= 0.9 {
		for _, t := range b.ties() {
			s := math.Sqrt(v[t.i][t.i] * v[t.j][t.j])
			*t.value = 0
			if s > 0 && shrink > 0.1 {
				*t.value = shrink * max(-0.99, min(0.99, v[t.i][t.j]/s))
			}
		}
		// Rounding, or a floor on a spread, can cost definiteness: shrink until it is back.
		if _, ok := cholesky(b.covariance()); ok {
			return b
		}
	}
}

// Forget returns the belief to start the next run with: yesterday's posterior b, moved
// a share of the way back to the prior (0 keeps b, 1 returns the prior), because
// vessels scale up, burners are cleaned and products differ. The two densities are pooled
// logarithmically,
//
//	p ~ b^(1-share) * prior^share
//
// so precisions and precision-weighted means add, and what was never measured stays as
// wide as the prior (logarithmic opinion pool; Genest and Zidek, Statistical Science
// 1, 1986; from memory). UsualForgetting is a usable share for daily runs.
func (b Belief) Forget(prior Belief, share float64) (Belief, error) {
	b, err := b.normal()
	if err != nil {
		return Belief{}, fmt.Errorf("posterior: %w", err)
	}
	if prior, err = prior.normal(); err != nil {
		return Belief{}, fmt.Errorf("prior: %w", err)
	}
	if err := within("share forgotten", share, 0, 1, ""); err != nil {
		return Belief{}, err
	}
	pb, pp := inverse(b.covariance()), inverse(prior.covariance())
	mb, mp := b.mean(), prior.mean()
	var precision factorMatrix
	var weighted, mean factorVector
	for i := range factors {
		for j := range factors {
			precision[i][j] = (1-share)*pb[i][j] + share*pp[i][j]
			weighted[i] += (1-share)*pb[i][j]*mb[j] + share*pp[i][j]*mp[j]
		}
	}
	v := inverse(precision)
	for i := range factors {
		for j := range factors {
			mean[i] += v[i][j] * weighted[j]
		}
	}
	out := beliefOf(mean, v)
	out.Readings, out.Runs = b.Readings, b.Runs
	return out, nil
}

// UsualForgetting is the share forgotten from one run to the next: after 7 runs without
// readings half of the precision gained is gone (chosen, no source).
const UsualForgetting = 0.1

// cholesky returns the lower triangle L with L·Lᵀ = v, or false when v is not positive
// definite.
func cholesky(v factorMatrix) (l factorMatrix, ok bool) {
	for i := range factors {
		for j := 0; j <= i; j++ {
			s := v[i][j]
			for k := range j {
				s -= l[i][k] * l[j][k]
			}
			if i != j {
				l[i][j] = s / l[j][j]
				continue
			}
			if !(s > 1e-9*v[i][i]) {
				return l, false
			}
			l[i][i] = math.Sqrt(s)
		}
	}
	return l, true
}

// inverse of a positive definite matrix, by its Cholesky factor.
func inverse(v factorMatrix) (out factorMatrix) {
	l, ok := cholesky(v)
	if !ok { // Check has refused it before; the diagonal alone keeps the result finite
		for i := range factors {
			out[i][i] = 1 / max(v[i][i], minSpread*minSpread)
		}
		return out
	}
	for c := range factors {
		var y factorVector
		for i := range factors {
			s := 0.0
			if i == c {
				s = 1
			}
			for k := range i {
				s -= l[i][k] * y[k]
			}
			y[i] = s / l[i][i]
		}
		for i := factors - 1; i >= 0; i-- {
			s := y[i]
			for k := i + 1; k < factors; k++ {
				s -= l[k][i] * out[k][c]
			}
			out[i][c] = s / l[i][i]
		}
	}
	return out
}
