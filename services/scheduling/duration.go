package scheduling

import (
	"errors"
	"fmt"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

// Estimate is how long one step takes in one vessel, or why it cannot be done there.
type Estimate struct {
	StepID string
	Vessel string
	// Start is attended, Middle is not, End is attended.
	Start, Middle, End time.Duration
	Basis              string
	// Refusal says why the vessel cannot do the step; empty when it can.
	Refusal string
	// EnergyWh is the heat put in.
	EnergyWh float64
}

// Total is the whole duration.
func (e Estimate) Total() time.Duration { return e.Start + e.Middle + e.End }

// estimator computes durations for one kitchen. It keeps what it has computed, since many batches ask the same.
type estimator struct {
	site   SiteFacts
	limits KitchenLimits
	known  map[string]working
	// leanings are what is known of the spread, for outlooks.
	leanings map[string]leaning
}

// working is the time at work without set-up.
type working struct {
	duration time.Duration
	basis    string
	refusal  string
}

func newEstimator(site SiteFacts, limits KitchenLimits) *estimator {
	return &estimator{site: site, limits: limits, known: map[string]working{}, leanings: map[string]leaning{}}
}

// estimate says how long a step takes in a vessel; a nil vessel is work at a table.
func (e *estimator) estimate(s Step, v *Vessel) Estimate {
	out := Estimate{StepID: s.ID}
	if v != nil {
		out.Vessel = v.Name
		if out.Refusal = fits(s, *v); out.Refusal != "" {
			return out
		}
	}
	w := e.working(s, v)
	if w.refusal != "" {
		out.Refusal = w.refusal
		return out
	}
	out.Basis = w.basis
	total := max(roundUp(w.duration), time.Minute)
	switch {
	case s.Attendance == AttendNone || s.CrewCount == 0:
		out.Middle = roundUp(s.Setup) + total
	case s.Attendance == AttendStarts && s.AttendedStart+s.AttendedEnd < total:
		out.Start = roundUp(s.Setup) + roundUp(s.AttendedStart)
		out.End = roundUp(s.AttendedEnd)
		out.Middle = max(total-roundUp(s.AttendedStart)-out.End, 0)
	default:
		out.Start = roundUp(s.Setup) + total
	}
	if v != nil && heats(s.Kind) {
		out.EnergyWh = v.PowerWatts * total.Hours()
	}
	return out
}

func heats(k StepKind) bool {
	switch k {
	case KindRoast, KindBrown, KindSimmer, KindReduce, KindBlend, KindHold, KindSeason:
		return true
	}
	return false
}

// fits says why a step does not fit into a vessel, or "".
func fits(s Step, v Vessel) string {
	switch {
	case !v.Active:
		return "is retired"
	case v.MaxFillLiters > 0 && s.FillLiters > v.MaxFillLiters*1.000001:
		return fmt.Sprintf("holds %.0f L, the batch fills %.0f L", v.MaxFillLiters, s.FillLiters)
	case s.FillLiters > 0 && s.FillLiters < v.MinFillLiters*0.999999:
		return fmt.Sprintf("needs at least %.0f L, the batch fills %.0f L", v.MinFillLiters, s.FillLiters)
	case v.Shared() && s.mass() > v.LoadCapacityKg*1.000001:
		return fmt.Sprintf("carries %.0f kg, the batch weighs %.0f kg", v.LoadCapacityKg, s.mass())
	}
	return ""
}

func (e *estimator) working(s Step, v *Vessel) working {
	key := fmt.Sprintf("%s|%v|%v|%v|%v|%v|%v", s.Kind, s.FillLiters, s.mass(), s.OutputKg, s.Planned, s.Duration.key(), vesselName(v))
	if w, found := e.known[key]; found {
		return w
	}
	w := e.compute(s, v)
	e.known[key] = w
	return w
}

func vesselName(v *Vessel) string {
	if v == nil {
		return ""
	}
	return v.Name
}

func (d DurationModel) key() string {
	switch {
	case d.Fixed != nil:
		return fmt.Sprint("fixed", *d.Fixed)
	case d.Simmer != nil:
		target := -1.0
		if d.Simmer.TargetCelsius != nil {
			target = *d.Simmer.TargetCelsius
		}
		return fmt.Sprint("simmer", d.Simmer.Hold, d.Simmer.StartCelsius, target)
	case d.Reduce != nil:
		return fmt.Sprint("reduce", *d.Reduce)
	case d.Chill != nil:
		return fmt.Sprint("chill", *d.Chill)
	}
	return fmt.Sprint("rate", d.RateKgPerHour)
}

func (e *estimator) compute(s Step, v *Vessel) working {
	d := s.Duration
	if d.Fixed != nil {
		return working{duration: *d.Fixed, basis: "fixed by the formula: " + span(*d.Fixed)}
	}
	if model := e.physics(d); model != nil {
		return e.orPlanned(s, v, model)
	}
	rate := d.RateKgPerHour
	if v != nil && v.SpeedFactor > 0 {
		rate *= v.SpeedFactor
	}
	if rate <= 0 {
		return working{refusal: "the step states no rate"}
	}
	took := time.Duration(s.OutputKg / rate * float64(time.Hour))
	return working{duration: took, basis: fmt.Sprintf("%.1f kg at %.1f kg/h", s.OutputKg, rate)}
}

// orPlanned runs a physical model, and takes planning's estimate where the data do not suffice for it.
func (e *estimator) orPlanned(s Step, v *Vessel, model func(Step, Vessel) (working, error)) working {
	why := "work at a table"
	if v != nil {
		w, err := model(s, *v)
		if err == nil {
			return w
		}
		why = err.Error()
	}
	if s.Planned <= 0 {
		return working{refusal: "its duration cannot be computed (" + why + ") and the formula states no planning duration"}
	}
	return working{duration: s.Planned, basis: fmt.Sprintf("planning's estimate of %s, because: %s", span(s.Planned), why)}
}

// hotVessel describes a vessel to the simmer model.
func hotVessel(v Vessel) (simmer.Vessel, error) {
	if v.Shape.Kind == ShapeNone {
		return simmer.Vessel{}, fmt.Errorf("the shape of %s is not known", v.DisplayName)
	}
	if v.PowerWatts <= 0 {
		return simmer.Vessel{}, fmt.Errorf("the heat input of %s is not known", v.DisplayName)
	}
	return simmer.Vessel{Geometry: v.Shape.geometry(), Power: units.Power(v.PowerWatts), Efficiency: v.Efficiency}, nil
}

func (s Shape) geometry() simmer.Geometry {
	switch s.Kind {
	case ShapeHemisphere:
		return simmer.Geometry{Shape: simmer.Hemispherical, Diameter: units.Length(s.Diameter), Height: units.Length(s.Diameter/2 + s.Height)}
	case ShapePan:
		return simmer.Geometry{Shape: simmer.Pan, Length: units.Length(s.Length), Width: units.Length(s.Width), Height: units.Length(s.Height)}
	}
	return simmer.Geometry{Shape: simmer.Cylinder, Diameter: units.Length(s.Diameter), Height: units.Length(s.Height)}
}

func (e *estimator) conditions(lidded bool) simmer.Conditions {
	c := simmer.Kitchen()
	c.Room = units.Celsius(e.limits.AirTemperatureCelsius)
	c.Altitude = e.site.AltitudeMeters
	if lidded {
		c.Cover = 1
	}
	return c
}

// filling is the load of a step: its liters as liquid with the given solids fraction at the given temperature. Bones
// take part of that room but store less heat than the water they displace, so bring-up is somewhat overestimated.
func filling(s Step, solids, celsius float64) (simmer.Load, error) {
	if s.FillLiters <= 0 {
		return simmer.Load{}, fmt.Errorf("the formula does not say how far step %s fills the vessel", s.ID)
	}
	m, err := simmer.LiquidMass(units.Volume(s.FillLiters)*units.Litre, solids, units.Celsius(max(celsius, 0)))
	if err != nil {
		return simmer.Load{}, err
	}
	return simmer.Load{Liquid: m, Solids: solids, Start: units.Celsius(max(celsius, -1))}, nil
}

func (e *estimator) simmer(s Step, v Vessel) (working, error) {
	model := *s.Duration.Simmer
	hot, err := hotVessel(v)
	if err != nil {
		return working{}, err
	}
	load, err := filling(s, 0, model.StartCelsius)
	if err != nil {
		return working{}, err
	}
	conditions := e.conditions(v.Lidded)
	kettle, err := simmer.NewKettle(hot, load, simmer.Duty{}, conditions)
	if err != nil {
		return working{}, err
	}
	// Half a kelvin below the boil counts as there: the last of it is approached without end.
	target := kettle.BoilingPoint() - 0.5
	if model.TargetCelsius != nil && units.Celsius(*model.TargetCelsius) < target {
		target = units.Celsius(*model.TargetCelsius)
	}
	up, err := simmer.BringUp(hot, load, conditions, target, simmer.Settings{Horizon: 48 * time.Hour})
	if err != nil {
		return working{}, err
	}
	if !up.Reached {
		return working{refusal: fmt.Sprintf("its %.1f kW bring %.0f L to %.0f degC only, %.0f degC are needed",
			v.PowerWatts/1000, s.FillLiters, float64(up.Final.Temperature), float64(target))}, nil
	}
	basis := fmt.Sprintf("%s to bring %.0f L from %.0f to %.0f degC with %.1f kW, then %s at temperature",
		span(up.Time), s.FillLiters, float64(load.Start), float64(target), v.PowerWatts/1000, span(model.Hold))
	switch open, closed := e.boilsDry(hot, load, target, model.Hold, 0), e.boilsDry(hot, load, target, model.Hold, 1); {
	case closed:
		return working{refusal: fmt.Sprintf("%.0f L would boil dry in it within %s, even under a lid", s.FillLiters, span(model.Hold))}, nil
	case open && !v.Lidded:
		basis += "; keep it covered: open, it would boil dry"
	}
	return working{duration: up.Time + model.Hold, basis: basis}, nil
}

// boilsDry says whether nothing liquid is left of a load after it was held at a temperature under so much of a lid.
func (e *estimator) boilsDry(hot simmer.Vessel, load simmer.Load, at units.Celsius, hold time.Duration, cover float64) bool {
	conditions := e.conditions(false)
	conditions.Cover, load.Start = cover, at
	_, err := simmer.SimmerLoss(hot, load, simmer.Duty{Hold: at}, conditions, hold, simmer.Settings{})
	return errors.Is(err, simmer.ErrDry)
}

// endPoint is where a reduction of a filling stops.
func (m ReduceModel) endPoint(start units.Mass) (simmer.EndPoint, string) {
	if m.TargetBrix > 0 {
		return simmer.EndPoint{Solids: m.TargetBrix / 100}, fmt.Sprintf("%.0f degrees Brix", m.TargetBrix)
	}
	left := start * units.Mass(m.MassFraction)
	return simmer.EndPoint{Mass: left}, fmt.Sprintf("%.1f kg", left.Kilograms())
}

func (e *estimator) reduce(s Step, v Vessel) (working, error) {
	setup, words, err := e.reduction(s, v)
	if err != nil {
		return working{}, err
	}
	if v.Learned != nil {
		if setup.Vessel, setup.Conditions, err = v.Learned.Belief.Apply(setup.Vessel, setup.Conditions); err != nil {
			return working{}, err
		}
	}
	out, err := simmer.Reduce(setup.Vessel, setup.Load, setup.Duty, setup.Conditions, setup.End, simmer.Settings{})
	if err != nil {
		return working{}, err
	}
	if !out.Reached {
		return working{refusal: fmt.Sprintf("its %.1f kW do not reduce %.0f L to %s within %s", v.PowerWatts/1000, s.FillLiters, words, span(out.Time))}, nil
	}
	basis := fmt.Sprintf("reduces %.0f L to %s in %s with %.1f kW, %.1f kg of water boiled off",
		s.FillLiters, words, span(out.Time), v.PowerWatts/1000, out.Evaporated.Kilograms())
	if v.Learned != nil {
		basis += "; " + v.Learned.Words()
	}
	return working{duration: out.Time, basis: basis}, nil
}

// roundUp rounds up to whole minutes: schedules are read by people.
func roundUp(d time.Duration) time.Duration {
	if r := d % time.Minute; r > 0 {
		return d + time.Minute - r
	}
	return max(d, 0)
}
