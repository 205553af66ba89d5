package chill

import (
	"math"
	"sort"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// Substance holds what conduction needs to know of a food: enthalpy, conductivity
// and their integral over temperature, above and below freezing. It is immutable
// and may be shared. Create it with FoodSubstance, PhaseSubstance or
// ConstantSubstance.
//
// Enthalpy is in J/kg, 0 at the freezing point still unfrozen (at 0 C for a constant
// substance). The Kirchhoff integral phi = integral of k dT, W/m, is 0 there too, so
// that the flux between two points is the difference of phi over their distance
// whatever the conductivity does between them.
type Substance struct {
	density  float64
	freezing float64 // C; -Inf when the substance does not freeze
	cold     table   // enthalpy below 0
	warm     table   // enthalpy from 0 up
}

// table is a function of enthalpy on equal steps, linear between and beyond.
type table struct {
	low, perStep float64 // enthalpy of the first node; nodes per J/kg
	nodes        []node
}

type node struct{ t, phi, k float64 }

// seek returns the node below an enthalpy and how far it lies towards the next.
func (b *table) seek(h float64) (i int, f float64) {
	x := (h - b.low) * b.perStep
	i = min(max(int(x), 0), len(b.nodes)-2)
	return i, x - float64(i)
}

func (s *Substance) branch(h float64) *table {
	if h < 0 {
		return &s.cold
	}
	return &s.warm
}

// temperature and conductivity at an enthalpy.
func (s *Substance) at(h float64) (t, k float64) {
	b := s.branch(h)
	i, f := b.seek(h)
	p, q := &b.nodes[i], &b.nodes[i+1]
	return p.t + f*(q.t-p.t), p.k + math.Max(0, math.Min(1, f))*(q.k-p.k)
}

// Temperature returns the temperature at an enthalpy of -2e6 to 2e6 J/kg.
func (s *Substance) Temperature(enthalpy float64) (units.Celsius, error) {
	if err := within("enthalpy", enthalpy, -2e6, 2e6, "J/kg"); err != nil {
		return 0, err
	}
	t, _ := s.at(enthalpy)
	return units.Celsius(t), nil
}

// Enthalpy returns the enthalpy at a temperature of -60 to 150 C, J/kg. At the
// freezing point itself it is 0, unfrozen.
func (s *Substance) Enthalpy(t units.Celsius) (float64, error) {
	if err := foodTemperature("temperature", t); err != nil {
		return 0, err
	}
	return s.enthalpy(float64(t)), nil
}

func (s *Substance) enthalpy(t float64) float64 {
	b := &s.warm
	if t < s.freezing {
		b = &s.cold
	}
	n := len(b.nodes)
	i := sort.Search(n, func(i int) bool { return b.nodes[i].t > t }) - 1
	i = min(max(i, 0), n-2)
	p, q := &b.nodes[i], &b.nodes[i+1]
	f := 0.0
	if q.t > p.t {
		f = (t - p.t) / (q.t - p.t)
	}
	return b.low + (float64(i)+f)/b.perStep
}

// Conductivity at a temperature of -60 to 150 C, W/m·K.
func (s *Substance) Conductivity(t units.Celsius) (float64, error) {
	h, err := s.Enthalpy(t)
	if err != nil {
		return 0, err
	}
	_, k := s.at(h)
	return k, nil
}

// Density in kg/m3; one value for all temperatures, so that mass is kept.
func (s *Substance) Density() units.Density { return units.Density(s.density) }

// FreezingPoint returns the initial freezing point; false for a substance that does
// not freeze.
func (s *Substance) FreezingPoint() (units.Celsius, bool) {
	if math.IsInf(s.freezing, -1) {
		return 0, false
	}
	return units.Celsius(s.freezing), true
}

// ConstantSubstance is a material of constant properties that does not freeze.
func ConstantSubstance(m Material) (*Substance, error) {
	if err := m.Check(); err != nil {
		return nil, err
	}
	c, k := m.SpecificHeat, m.Conductivity
	line := table{low: 0, perStep: 0.01 / c, nodes: []node{{0, 0, k}, {100, 100 * k, k}}}
	return &Substance{density: float64(m.Density), freezing: math.Inf(-1), cold: line, warm: line}, nil
}

// Phases describes a food by constants of its two phases, the form in which data for
// freezing times are published.
type Phases struct {
	Density                  units.Density // 500 to 2000 kg/m3
	HeatUnfrozen, HeatFrozen float64       // specific heats, 500 to 5000 J/kg·K
	Latent                   float64       // heat of freezing of the food, 1e4 to 4e5 J/kg
	Unfrozen, Frozen         float64       // conductivities, 0.1 to 5 W/m·K
	FreezingAt               units.Celsius // -10 to -0.05 C
	// Sharp: all freezes at FreezingAt (the assumption of Plank); otherwise the share
	// of ice is 1 - Tf/T (dilute solution), and heat and conductivity of the rest go
	// with it.
	Sharp bool
}

// PhaseSubstance builds a substance from constants of its phases. With ice y = 1 -
// Tf/T (T in C): H = -L·y + cf·(T - Tf) + (cu - cf)·Tf·ln(T/Tf), k = kf + (ku - kf)·Tf/T.
func PhaseSubstance(p Phases) (*Substance, error) {
	if err := first(
		within("density", float64(p.Density), 500, 2000, "kg/m3"),
		within("unfrozen specific heat", p.HeatUnfrozen, 500, 5000, "J/kg K"),
		within("frozen specific heat", p.HeatFrozen, 500, 5000, "J/kg K"),
		within("heat of freezing", p.Latent, 1e4, 4e5, "J/kg"),
		within("unfrozen conductivity", p.Unfrozen, 0.1, 5, "W/m K"),
		within("frozen conductivity", p.Frozen, 0.1, 5, "W/m K"),
		within("freezing point", float64(p.FreezingAt), -10, -0.05, "C"),
	); err != nil {
		return nil, err
	}
	tf := float64(p.FreezingAt)
	s := &Substance{density: float64(p.Density), freezing: tf}
	cold := []sample{{tf, 0, p.Unfrozen}}
	if p.Sharp {
		cold[0].k = p.Frozen
		cold = append(cold, sample{tf, -p.Latent, p.Frozen}, sample{lowest, -p.Latent + p.HeatFrozen*(lowest-tf), p.Frozen})
	} else {
		for _, t := range belowFreezing(tf, lowest) {
			r := tf / t
			h := -p.Latent*(1-r) + p.HeatFrozen*(t-tf) + (p.HeatUnfrozen-p.HeatFrozen)*tf*math.Log(t/tf)
			cold = append(cold, sample{t, h, p.Frozen + (p.Unfrozen-p.Frozen)*r})
		}
	}
	// A step that divides the heat of freezing keeps the end of a sharp plateau on a
	// node.
	s.cold = resample(cold, p.Latent/math.Ceil(p.Latent/coldStep))
	warm := []sample{{tf, 0, p.Unfrozen}, {tf + 100, 100 * p.HeatUnfrozen, p.Unfrozen}}
	s.warm = resample(warm, 100*p.HeatUnfrozen)
	return s, nil
}

// FoodSubstance builds a substance from a composition and its initial freezing point,
// -10 to -0.05 C, by thermo.FoodTable: component equations of Choi and Okos, ice of Miles (the
// dilute solution), conductivities in parallel. Below -45 C it is extrapolated. The density is
// that of the unfrozen food at 20 C: a pan is filled before it freezes.
func FoodSubstance(c thermo.Composition, freezing units.Celsius) (*Substance, error) {
	if err := within("freezing point", float64(freezing), -10, -0.05, "C"); err != nil {
		return nil, err
	}
	food, err := thermo.NewFoodTable(c, freezing, thermo.TableSettings{})
	if err != nil {
		return nil, err
	}
	room, err := food.At(20)
	if err != nil {
		return nil, err
	}
	edge, err := food.At(freezing)
	if err != nil {
		return nil, err
	}
	tf := float64(freezing)
	s := &Substance{density: float64(room.Density), freezing: tf}
	take := func(to *[]sample, ts []float64) error {
		*to = append(*to, sample{tf, 0, edge.Conductivity})
		for _, t := range ts {
			p, err := food.At(units.Celsius(t))
			if err != nil {
				return err
			}
			*to = append(*to, sample{t, p.Enthalpy - edge.Enthalpy, p.Conductivity})
		}
		return nil
	}
	above := []float64{tf / 2}
	for t := 0.0; t <= 150; t += 2 {
		above = append(above, t)
	}
	var cold, warm []sample
	if err := take(&cold, belowFreezing(tf, -45)); err != nil {
		return nil, err
	}
	if err := take(&warm, above); err != nil {
		return nil, err
	}
	s.cold, s.warm = resample(cold, coldStep), resample(warm, warmStep)
	return s, nil
}

const (
	lowest   = -60.0 // C, where the tables of PhaseSubstance end
	coldStep = 500.0 // J/kg, about 1e-3 K near the freezing point, 0.25 K far below
	warmStep = 1000.0
)

type sample struct{ t, h, k float64 }

// belowFreezing returns temperatures from just below tf down to low, in distances
// that grow by a constant ratio.
func belowFreezing(tf, low float64) []float64 {
	const n, nearest = 700, 2e-4
	ratio := math.Pow((tf-low)/nearest, 1.0/(n-1))
	ts := make([]float64, n)
	d := nearest
	for i := range ts {
		ts[i] = tf - d
		d *= ratio
	}
	ts[n-1] = low
	return ts
}

// resample turns samples that begin at enthalpy 0 and go one way, up or down, into a
// table of equal steps. phi follows by the trapezoidal rule.
func resample(in []sample, step float64) table {
	end := in[len(in)-1].h
	n := max(int(math.Ceil(math.Abs(end)/step-1e-9)), 1) + 1
	sign := math.Copysign(1, end)
	out := make([]node, n)
	phi, j := 0.0, 0
	for i := range out {
		h := sign * step * float64(i)
		for j < len(in)-2 && sign*in[j+1].h <= sign*h {
			phi += (in[j+1].t - in[j].t) * (in[j+1].k + in[j].k) / 2
			j++
		}
		a, b := in[j], in[j+1]
		f := (h - a.h) / (b.h - a.h)
		t, k := a.t+f*(b.t-a.t), a.k+f*(b.k-a.k)
		out[i] = node{t, phi + (t-a.t)*(k+a.k)/2, k}
	}
	if sign > 0 {
		return table{low: 0, perStep: 1 / step, nodes: out}
	}
	for i, k := 0, n-1; i < k; i, k = i+1, k-1 {
		out[i], out[k] = out[k], out[i]
	}
	return table{low: -step * float64(n-1), perStep: 1 / step, nodes: out}
}
