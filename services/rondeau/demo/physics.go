package demo

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/chill"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// nature knows what really happens in the vessels. Its coefficients differ from the nominal ones that the kitchen's
// services plan with, by factors that are chosen for the story, no source.
type nature struct {
	draws    draws
	room     units.Celsius
	altitude float64
}

// sample is the state of a heated vessel at a moment after the start.
type sample struct {
	after       time.Duration
	celsius     float64
	liquidKg    float64
	levelMeters float64
	solids      float64 // mass fraction
}

// heating is how a run in a heated vessel really goes.
type heating struct {
	duration     time.Duration
	reached      time.Duration // moment at which the temperature of the step was reached
	evaporatedKg float64
	finalKg      float64
	samples      []sample // every samplePeriod, the last at the end
}

const (
	samplePeriod  = 5 * time.Minute
	longestHeat   = 36 * time.Hour
	longestChill  = 14 * time.Hour
	brothSolids   = 0.025 // soluble solids of a stock before it is reduced; common practice, no source
	stockHumidity = 0.55
)

// vessel is the heated vessel as it really is. Kettles on steam lose little of their nominal heat to scale and valves,
// pans on gas and tired elements more.
func (n nature) vessel(v *schedulingpb.Vessel) (simmer.Vessel, error) {
	out := simmer.Vessel{Power: units.Power(v.GetPowerWatts()), Efficiency: v.GetEfficiency()}
	if out.Efficiency == 0 {
		out.Efficiency = simmer.DefaultEfficiency
	}
	low, high := 0.90, 0.99
	if v.GetHeatSource() != schedulingpb.Vessel_STEAM {
		low, high = 0.74, 0.86
	}
	out.Efficiency *= n.draws.between("heat of "+idOf(v.GetName()), low, high)
	out.WallLoss = n.draws.between("wall of "+idOf(v.GetName()), 6, 12)
	switch s := v.GetShape().(type) {
	case *schedulingpb.Vessel_Cylinder_:
		out.Geometry = simmer.Geometry{Shape: simmer.Cylinder, Diameter: units.Length(s.Cylinder.GetDiameterMeters()), Height: units.Length(s.Cylinder.GetHeightMeters())}
	case *schedulingpb.Vessel_Hemisphere_:
		d := s.Hemisphere.GetDiameterMeters()
		out.Geometry = simmer.Geometry{Shape: simmer.Hemispherical, Diameter: units.Length(d), Height: units.Length(d/2 + s.Hemisphere.GetWallHeightMeters())}
	case *schedulingpb.Vessel_Pan_:
		out.Geometry = simmer.Geometry{Shape: simmer.Pan, Length: units.Length(s.Pan.GetLengthMeters()), Width: units.Length(s.Pan.GetWidthMeters()), Height: units.Length(s.Pan.GetDepthMeters())}
	default:
		return out, fmt.Errorf("the shape of %s is not known", v.GetName())
	}
	return out, nil
}

func (n nature) conditions(cover float64) simmer.Conditions {
	c := simmer.Kitchen()
	c.Room, c.Altitude, c.Humidity, c.Cover = n.room, n.altitude, stockHumidity, cover
	return c
}

// simmer brings a load up and holds it. cover is the share of the surface under the lid.
func (n nature) simmer(v *schedulingpb.Vessel, loadKg, startCelsius, targetCelsius float64, hold time.Duration, cover float64) (heating, error) {
	vessel, err := n.vessel(v)
	if err != nil {
		return heating{}, err
	}
	load := simmer.Load{Liquid: units.Mass(loadKg), Start: units.Celsius(startCelsius)}
	kettle, err := simmer.NewKettle(vessel, load, simmer.Duty{Hold: units.Celsius(targetCelsius)}, n.conditions(cover))
	if err != nil {
		return heating{}, fmt.Errorf("simmer in %s: %w", v.GetName(), err)
	}
	target := math.Min(targetCelsius, float64(kettle.BoilingPoint())) - 0.5
	out := heating{samples: []sample{sampleOf(kettle.State())}, reached: -1}
	for {
		state, err := kettle.Step(samplePeriod)
		if err != nil {
			return heating{}, fmt.Errorf("simmer in %s: %w", v.GetName(), err)
		}
		out.samples = append(out.samples, sampleOf(state))
		if out.reached < 0 && float64(state.Temperature) >= target {
			out.reached = state.Elapsed
		}
		if out.reached >= 0 && state.Elapsed >= out.reached+hold || state.Elapsed > longestHeat {
			out.duration, out.finalKg, out.evaporatedKg = state.Elapsed, float64(state.Liquid), float64(state.Evaporated)
			return out, nil
		}
	}
}

// reduce boils a liquid down to a mass.
func (n nature) reduce(v *schedulingpb.Vessel, loadKg, startCelsius, stopKg float64) (heating, error) {
	vessel, err := n.vessel(v)
	if err != nil {
		return heating{}, err
	}
	load := simmer.Load{Liquid: units.Mass(loadKg), Solids: brothSolids, Start: units.Celsius(startCelsius)}
	kettle, err := simmer.NewKettle(vessel, load, simmer.Duty{}, n.conditions(0))
	if err != nil {
		return heating{}, fmt.Errorf("reduce in %s: %w", v.GetName(), err)
	}
	out := heating{samples: []sample{sampleOf(kettle.State())}, reached: -1}
	for {
		before := kettle.State()
		step := samplePeriod
		if before.Evaporation > 0 { // end on the minute at which the mass is reached
			left := time.Duration((float64(before.Liquid) - stopKg) / before.Evaporation * float64(time.Second))
			step = max(time.Minute, min(step, left.Round(time.Minute)))
		}
		state, err := kettle.Step(step)
		if err != nil && !errors.Is(err, simmer.ErrDry) {
			return heating{}, fmt.Errorf("reduce in %s: %w", v.GetName(), err)
		}
		out.samples = append(out.samples, sampleOf(state))
		if out.reached < 0 && state.Temperature >= kettle.BoilingPoint()-1 {
			out.reached = state.Elapsed
		}
		if float64(state.Liquid) <= stopKg || err != nil || state.Elapsed > longestHeat {
			out.duration, out.finalKg, out.evaporatedKg = state.Elapsed, float64(state.Liquid), float64(state.Evaporated)
			return out, nil
		}
	}
}

func sampleOf(s simmer.State) sample {
	return sample{
		after: s.Elapsed, celsius: float64(s.Temperature), liquidKg: float64(s.Liquid), levelMeters: float64(s.Level), solids: s.Solids,
	}
}

// at is the sample nearest before a moment.
func (h heating) at(after time.Duration) sample {
	out := h.samples[0]
	for _, s := range h.samples {
		if s.after <= after {
			out = s
		}
	}
	return out
}

// trouble is what is wrong with a chiller.
type trouble struct{ words string }

// cooling is the temperature of the slowest point, every samplePeriod from the start.
func (n nature) cooling(v *schedulingpb.Vessel, key string, loadKg, depth, startCelsius float64, bad bool) ([]float64, *trouble, error) {
	c := v.GetCooling()
	if c == nil {
		return nil, nil, fmt.Errorf("how %s cools is not known", v.GetName())
	}
	material, err := chill.MaterialOf(thermo.LeanStock, 30)
	if err != nil {
		return nil, nil, err
	}
	film := c.GetHeatTransferWattsPerSquareMeterKelvin() * n.draws.between("film of "+key, 0.86, 1.04)
	medium := units.Celsius(c.GetMediumTemperatureCelsius() + n.draws.between("medium of "+key, -0.3, 0.6))
	var wrong *trouble
	var model chill.Model
	if c.GetMethod() == schedulingpb.Vessel_Cooling_AIR {
		if depth == 0 {
			depth = c.GetPanDepthMeters()
		}
		if bad {
			depth, film = depth*2.2, film*0.45
			wrong = &trouble{fmt.Sprintf("pans filled %.0f mm deep and the door of %s not shut", depth*1000, v.GetDisplayName())}
		}
		area := loadKg / float64(material.Density) / depth
		count := int(math.Ceil(area / panSquareMeters))
		model, err = chill.NewChiller(chill.Blast{Air: medium, Power: units.Power(c.GetCoolingPowerWatts()), Loads: []chill.Pans{{
			Count: count, Depth: units.Length(depth), Area: units.Area(area / float64(count)), Material: material,
			Film: film, Start: units.Celsius(startCelsius),
		}}})
	} else {
		area := wetted(v, loadKg/float64(material.Density), c.GetWettedAreaSquareMeters())
		if bad { // the time constant that a failed coolant pump leaves
			film = loadKg * material.SpecificHeat / (area * failedTime.Seconds())
			wrong = &trouble{fmt.Sprintf("the coolant pump of %s runs at a fraction of its flow", v.GetDisplayName())}
		}
		model, err = chill.NewStirred(chill.Vat{
			Mass: units.Mass(loadKg), SpecificHeat: material.SpecificHeat, Coefficient: film, Area: units.Area(area),
			Jacket: medium, Room: n.room, Start: units.Celsius(startCelsius),
		})
	}
	if err != nil {
		return nil, nil, fmt.Errorf("chill in %s: %w", v.GetName(), err)
	}
	curve := []float64{float64(model.State().Core)}
	for after := samplePeriod; after <= longestChill; after += samplePeriod {
		state, err := model.Step(samplePeriod)
		if err != nil {
			return nil, nil, fmt.Errorf("chill in %s: %w", v.GetName(), err)
		}
		curve = append(curve, float64(state.Core))
	}
	return curve, wrong, nil
}

// wetted is the part of a jacket that a filling in cubic metres really touches: the bottom and the wall up to the level.
func wetted(v *schedulingpb.Vessel, cubic, jacket float64) float64 {
	d := v.GetCylinder().GetDiameterMeters()
	if d == 0 {
		return jacket
	}
	bottom := math.Pi * d * d / 4
	return math.Min(jacket, bottom+math.Pi*d*cubic/bottom)
}

const (
	// panSquareMeters is the face of one full-size food pan, 530 mm by 325 mm (EN 631-1, from memory).
	panSquareMeters = 0.53 * 0.325
	// failedTime is the time constant of a tank whose coolant hardly flows (chosen, no source).
	failedTime = 3 * time.Hour
)
