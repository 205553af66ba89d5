package chill

import (
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// State of a cooling vessel, pan or load at one moment.
type State struct {
	Elapsed time.Duration
	// Core is the slowest point, Mean the average of the food.
	Core, Mean units.Celsius
	// Surroundings is the air, jacket or bath.
	Surroundings units.Celsius
	// Heat that leaves the food at this moment.
	Heat units.Power
	// Ice left, for models that have it.
	Ice units.Mass
}

// Model is a cooling simulator. A model is advanced by its caller and is not safe
// for concurrent use; Clone gives an independent copy at the same moment.
type Model interface {
	// State returns the present state.
	State() State
	// Step advances by dt, 0 to 31 days.
	Step(dt time.Duration) (State, error)
	// Clone copies the model.
	Clone() Model
}

const longestStep = 31 * 24 * time.Hour

func checkStep(dt time.Duration) error {
	if dt < 0 || dt > longestStep {
		return fmt.Errorf("step %v is outside 0 to %v", dt, longestStep)
	}
	return nil
}

// TimeTo returns how long from its present state the core of a model takes to
// reach a temperature, to a tenth of a second; false when it does not within the
// horizon. The model is not changed. The core is taken to pass the temperature
// once, in the direction from its present value.
func TimeTo(m Model, core units.Celsius, horizon time.Duration) (time.Duration, bool, error) {
	if err := core.Check(); err != nil {
		return 0, false, err
	}
	if err := checkStep(horizon); err != nil {
		return 0, false, err
	}
	run := m.Clone()
	down := run.State().Core > core
	passed := func(s State) bool {
		if down {
			return s.Core <= core
		}
		return s.Core >= core
	}
	if passed(run.State()) {
		return 0, true, nil
	}
	start := run.State().Elapsed
	for step := time.Minute; ; step = min(2*step, 4*time.Minute) {
		at := run.State().Elapsed - start
		step = min(step, horizon-at)
		if step <= 0 {
			return horizon, false, nil
		}
		try := run.Clone()
		s, err := try.Step(step)
		if err != nil {
			return 0, false, err
		}
		if !passed(s) {
			run = try
			continue
		}
		low, high := time.Duration(0), step
		for high-low > 100*time.Millisecond {
			mid := (low + high) / 2
			try = run.Clone()
			if s, err = try.Step(mid); err != nil {
				return 0, false, err
			}
			if passed(s) {
				high = mid
			} else {
				low = mid
			}
		}
		return at + high, true, nil
	}
}

// Material is what cools; take it from MaterialOf or give measured values.
type Material struct {
	Density      units.Density // kg/m3, 500 to 20 000
	SpecificHeat float64       // J/kg·K, 100 to 5000
	Conductivity float64       // W/m·K, 0.05 to 500
}

// MaterialOf takes the properties of a food at a temperature (Choi and Okos). For
// a chill, the middle of its range is a fair choice: 30 C.
func MaterialOf(c thermo.Composition, t units.Celsius) (Material, error) {
	p, err := c.At(t)
	if err != nil {
		return Material{}, err
	}
	return Material{Density: p.Density, SpecificHeat: p.SpecificHeat, Conductivity: p.Conductivity}, nil
}

// Check reports a property out of range.
func (m Material) Check() error {
	return first(
		within("density", float64(m.Density), 500, 20000, "kg/m3"),
		within("specific heat", m.SpecificHeat, 100, 5000, "J/kg K"),
		within("conductivity", m.Conductivity, 0.05, 500, "W/m K"),
	)
}

// Diffusivity in m2/s.
func (m Material) Diffusivity() float64 {
	return m.Conductivity / (float64(m.Density) * m.SpecificHeat)
}

func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func within(what string, v, low, high float64, unit string) error {
	if math.IsNaN(v) || v < low || v > high {
		return fmt.Errorf("%s %g %s is outside %g to %g %s", what, v, unit, low, high, unit)
	}
	return nil
}

func foodTemperature(what string, t units.Celsius) error {
	return within(what, float64(t), -60, 150, "C")
}
