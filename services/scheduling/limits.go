package scheduling

import (
	"math"

	"rondeau.internal/pkg/sched"
)

// KitchenLimits is what all vessels of a site share, and what its manager thinks of as a good schedule.
type KitchenLimits struct {
	Name string
	Meta `json:"-"`
	// ElectricPowerWatts and SteamPowerWatts may be drawn at once; 0 means no limit.
	ElectricPowerWatts float64
	SteamPowerWatts    float64
	// UnattendedCalendar governs unattended work; empty means always.
	UnattendedCalendar string
	// AirTemperatureCelsius in the kitchen.
	AirTemperatureCelsius float64
	Weights               Weights
}

// Weights of the parts of a schedule's cost; nil takes the default of sched.DefaultWeights.
type Weights struct {
	Overtime, Energy, Freshness, Change, Makespan *int64
	// Lateness counts when there is a schedule that people follow already; 0 puts lateness first then too.
	Lateness *int64
}

// calmLateness is what a second of lateness weighs beside DefaultWeights when a schedule is computed against another one:
// as much as three seconds of overtime, or as moving one step by twelve seconds (chosen, no source). Lateness before
// everything would move most of the steps of a week for the gain of a minute.
const calmLateness = 60

// DefaultAirTemperatureCelsius of a kitchen that has not stated one (common practice, no source).
const DefaultAirTemperatureCelsius = 22

// DefaultLimits are those of a site that has stated none.
func DefaultLimits(site string) KitchenLimits {
	return KitchenLimits{Name: site + "/kitchenLimits", AirTemperatureCelsius: DefaultAirTemperatureCelsius}
}

// Check reports a reference out of the site.
func (l KitchenLimits) Check() error {
	return sameSite(l.Name, "kitchen_limits.unattended_calendar", l.UnattendedCalendar)
}

// weights of the engine; against says that there is a schedule that people follow.
func (l KitchenLimits) weights(against bool) sched.Weights {
	w := sched.DefaultWeights()
	if against {
		w.Blend = calmLateness
	}
	set := func(to *int64, from *int64) {
		if from != nil {
			*to = *from
		}
	}
	set(&w.Overtime, l.Weights.Overtime)
	set(&w.Energy, l.Weights.Energy)
	set(&w.Freshness, l.Weights.Freshness)
	set(&w.Change, l.Weights.Change)
	set(&w.Makespan, l.Weights.Makespan)
	if against {
		set(&w.Blend, l.Weights.Lateness)
	}
	return w
}

// wholeUnits rounds a physical amount up to a whole number for the engine.
func wholeUnits(x float64) int64 {
	if x <= 0 || math.IsNaN(x) {
		return 0
	}
	return int64(math.Ceil(min(x, 1e12)))
}
