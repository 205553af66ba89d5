package chill

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// Section of a plate cooler: one coolant in counter-current.
type Section struct {
	// UA is coefficient times area, W/K, up to 1e6; 0 means that it is taken from the
	// plates: (Plates - 2)·PlateArea·Coefficient, the two end plates passing no heat.
	UA          float64
	Plates      int
	PlateArea   units.Area // of one plate, 0.005 to 5 m2
	Coefficient float64    // W/m2·K, 50 to 1e4: thin stock against water 2000 to 4000 (from memory, weak)
	// Coolant flow in kg/s, up to 1000, its specific heat in J/kg·K (0 means water; 30 %
	// glycol about 3700, from memory) and its temperature where it comes in.
	Coolant     float64
	CoolantHeat float64
	CoolantIn   units.Celsius
}

// conductance returns UA.
func (s Section) conductance() (float64, error) {
	if s.UA != 0 {
		return s.UA, within("UA of the section", s.UA, 0.1, 1e6, "W/K")
	}
	if err := first(
		within("number of plates", float64(s.Plates), 3, 2000, ""),
		within("plate area", float64(s.PlateArea), 0.005, 5, "m2"),
		within("coefficient", s.Coefficient, 50, 1e4, "W/m2 K"),
	); err != nil {
		return 0, err
	}
	return float64(s.Plates-2) * float64(s.PlateArea) * s.Coefficient, nil
}

// PlateCooler is a plate heat exchanger for one pass of a batch, with its sections in
// the order in which the food meets them: tap water first, then ice water or glycol.
type PlateCooler struct {
	Flow         float64       // food, kg/s, 0.001 to 100
	SpecificHeat float64       // J/kg·K
	Start        units.Celsius // food in, 0 to 105 C
	Sections     []Section     // 1 to 4
	Batch        units.Mass    // what is to pass
	// Residence of the food between the plates; 0 means 5 s.
	Residence time.Duration
}

// SectionResult tells what one section does.
type SectionResult struct {
	NTU, CapacityRatio, Effectiveness float64
	In, Out, CoolantOut               units.Celsius
	Duty                              units.Power
}

// PlateCooling tells what a plate cooler does.
type PlateCooling struct {
	Sections []SectionResult
	Outlet   units.Celsius
	Duty     units.Power
	// Pass is the time until the whole batch has gone through.
	Pass time.Duration
}

// CounterflowEffectiveness returns the effectiveness of a counter-current exchanger:
// (1 - exp(-NTU·(1 - C)))/(1 - C·exp(-NTU·(1 - C))), NTU/(1 + NTU) at C 1 (Kays and
// London; Incropera equation 11.29). NTU 0 to 100, C 0 to 1.
func CounterflowEffectiveness(ntu, capacityRatio float64) (float64, error) {
	if err := first(within("NTU", ntu, 0, 100, ""), within("capacity ratio", capacityRatio, 0, 1, "")); err != nil {
		return 0, err
	}
	return counterflow(ntu, capacityRatio), nil
}

func counterflow(ntu, c float64) float64 {
	// With z = NTU·(1 - C) and u = 1 - exp(-z): u/(u + (1 - C)·exp(-z)); near C 1 both
	// vanish together, and NTU/(1 + NTU) is their limit.
	z := ntu * (1 - c)
	if z < 1e-9 {
		return ntu / (1 + ntu)
	}
	u := -math.Expm1(-z)
	return u / (u + (1-c)*math.Exp(-z))
}

// CounterflowNTU is the inverse: the NTU that an effectiveness needs. It is an error
// at 1 and above.
func CounterflowNTU(effectiveness, capacityRatio float64) (float64, error) {
	if err := first(within("effectiveness", effectiveness, 0, 1-1e-9, ""), within("capacity ratio", capacityRatio, 0, 1, "")); err != nil {
		return 0, err
	}
	e, c := effectiveness, capacityRatio
	if 1-c < 1e-9 {
		return e / (1 - e), nil
	}
	return math.Log1p(e*(1-c)/(1-e)) / (1 - c), nil
}

// Run computes the steady outlet, by effectiveness and NTU section by section. It
// neglects heat from the room, the warm-up of the plates, and fat or gelatin that
// coats them: a coolant below 15 C on rich stock coats.
func (p PlateCooler) Run() (PlateCooling, error) {
	if err := first(
		within("food flow", p.Flow, 0.001, 100, "kg/s"),
		within("specific heat", p.SpecificHeat, 500, 5000, "J/kg K"),
		within("start temperature", float64(p.Start), 0, 105, "C"),
		within("batch", float64(p.Batch), 0.01, 1e5, "kg"),
	); err != nil {
		return PlateCooling{}, err
	}
	if len(p.Sections) < 1 || len(p.Sections) > 4 {
		return PlateCooling{}, fmt.Errorf("a plate cooler needs 1 to 4 sections, got %d", len(p.Sections))
	}
	if p.Residence < 0 || p.Residence > time.Hour {
		return PlateCooling{}, fmt.Errorf("residence %v is outside 0 to 1 h", p.Residence)
	}
	r := PlateCooling{Sections: make([]SectionResult, 0, len(p.Sections)), Outlet: p.Start}
	for i, s := range p.Sections {
		one, err := s.cool(p.Flow*p.SpecificHeat, r.Outlet)
		if err != nil {
			return PlateCooling{}, fmt.Errorf("section %d: %w", i+1, err)
		}
		r.Sections = append(r.Sections, one)
		r.Outlet = one.Out
		r.Duty += one.Duty
	}
	r.Pass = time.Duration(float64(p.Batch) / p.Flow * float64(time.Second))
	if r.Pass > longestStep {
		return PlateCooling{}, fmt.Errorf("the batch takes %v to pass: more flow is needed", r.Pass)
	}
	return r, nil
}

func (s Section) cool(food float64, in units.Celsius) (SectionResult, error) {
	if s.CoolantHeat == 0 {
		s.CoolantHeat = thermo.SpecificHeatWater
	}
	if err := first(
		within("coolant flow", s.Coolant, 1e-4, 1000, "kg/s"),
		within("specific heat of the coolant", s.CoolantHeat, 1000, 5000, "J/kg K"),
		within("coolant temperature", float64(s.CoolantIn), -40, 60, "C"),
	); err != nil {
		return SectionResult{}, err
	}
	ua, err := s.conductance()
	if err != nil {
		return SectionResult{}, err
	}
	coolant := s.Coolant * s.CoolantHeat
	least, most := min(food, coolant), max(food, coolant)
	r := SectionResult{In: in, NTU: ua / least, CapacityRatio: least / most}
	r.Effectiveness = counterflow(r.NTU, r.CapacityRatio)
	q := r.Effectiveness * least * float64(in-s.CoolantIn)
	r.Duty = units.Power(q)
	r.Out = in - units.Celsius(q/food)
	r.CoolantOut = s.CoolantIn + units.Celsius(q/coolant)
	if r.Out < -0.4 {
		return SectionResult{}, fmt.Errorf("the food would leave at %.1f C and freeze on the plates: warmer coolant or less of it", float64(r.Out))
	}
	return r, nil
}

// PlatesNeeded returns the UA, W/K, with which one section brings the food from p.Start
// to a temperature; UA and plates of the section are ignored. It is an error when no
// area does: then the coolant is too warm or too little.
func (p PlateCooler) PlatesNeeded(s Section, to units.Celsius) (float64, error) {
	if s.CoolantHeat == 0 {
		s.CoolantHeat = thermo.SpecificHeatWater
	}
	food, coolant := p.Flow*p.SpecificHeat, s.Coolant*s.CoolantHeat
	if err := first(
		within("food heat flow", food, 0.5, 5e5, "W/K"),
		within("coolant heat flow", coolant, 0.1, 5e6, "W/K"),
		within("start temperature", float64(p.Start), 0, 105, "C"),
		within("coolant temperature", float64(s.CoolantIn), -40, float64(p.Start)-0.1, "C"),
		within("end temperature", float64(to), -0.4, float64(p.Start), "C"),
	); err != nil {
		return 0, err
	}
	least, most := min(food, coolant), max(food, coolant)
	e := food * float64(p.Start-to) / (least * float64(p.Start-s.CoolantIn))
	ntu, err := CounterflowNTU(e, least/most)
	if err != nil {
		return 0, errors.New("no number of plates does it: more or colder coolant is needed")
	}
	return ntu * least, nil
}

// PlateRun is the model of a batch that passes a plate cooler, seen from its slowest
// part: the last litre, which waits in the kettle at the start temperature until the
// rest has gone and then passes within the residence time. Mean is that of kettle and
// receiver together. The kettle is taken not to cool meanwhile; a batch that waits
// below the first limit has its clock running. Create it with NewPlateRun.
type PlateRun struct {
	p       PlateCooler
	r       PlateCooling
	elapsed time.Duration
}

// NewPlateRun checks a plate cooler and returns its model at time 0.
func NewPlateRun(p PlateCooler) (*PlateRun, error) {
	if p.Residence == 0 {
		p.Residence = 5 * time.Second
	}
	r, err := p.Run()
	if err != nil {
		return nil, err
	}
	return &PlateRun{p: p, r: r}, nil
}

// Cooling returns the steady result.
func (m *PlateRun) Cooling() PlateCooling {
	r := m.r
	r.Sections = append([]SectionResult(nil), r.Sections...)
	return r
}

// State implements Model.
func (m *PlateRun) State() State {
	in, out := m.p.Start, m.r.Outlet
	s := State{Elapsed: m.elapsed, Core: in, Surroundings: m.p.Sections[len(m.p.Sections)-1].CoolantIn}
	done := 1.0
	if m.elapsed < m.r.Pass {
		done = m.elapsed.Seconds() / m.r.Pass.Seconds()
		s.Heat = m.r.Duty
	}
	s.Mean = in + (out-in)*units.Celsius(done)
	if late := m.elapsed - m.r.Pass; late > 0 {
		x := min(1, late.Seconds()/m.p.Residence.Seconds())
		s.Core = in + (out-in)*units.Celsius(x)
	}
	return s
}

// Step implements Model.
func (m *PlateRun) Step(dt time.Duration) (State, error) {
	if err := checkStep(dt); err != nil {
		return m.State(), err
	}
	m.elapsed += dt
	return m.State(), nil
}

// Clone implements Model.
func (m *PlateRun) Clone() Model {
	c := *m
	return &c
}
