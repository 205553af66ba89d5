package scheduling

import (
	"fmt"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/units"
)

// forecastChill follows the temperatures measured: the difference to the air or bath falls as an exponential. It serves
// the plan; whether a chill meets its limits is judged by the food safety service.
func forecastChill(f *Forecast, r Run, v Vessel, measurements []Measurement) bool {
	model := *r.Step.Duration.Chill
	if v.Cooling == nil || model.TargetCelsius < float64(stockFreezesAt) {
		return false
	}
	var readings []chill.Reading
	for _, m := range measurements {
		if m.Kind == MeasureTemperatureCelsius {
			readings = append(readings, chill.Reading{At: m.ObserveTime, Temperature: units.InCelsius(m.Value)})
		}
	}
	if len(readings) < 2 {
		return false
	}
	projection, err := chill.Forecast(readings, units.Celsius(v.Cooling.MediumTemperatureCelsius), chill.Limits{
		Name: r.Step.DisplayName, Source: "target of the formula",
		Stages: []chill.Stage{{Name: "target", From: units.InCelsius(model.StartCelsius), To: units.InCelsius(model.TargetCelsius), Within: chillHorizon}},
	})
	if err != nil || len(projection.Crossings) == 0 {
		return false
	}
	x := projection.Crossings[0]
	if x.Never {
		f.Notices = append(f.Notices, "it is not cooling towards its target: check the chiller, tell the safety lead")
		return false
	}
	f.Expected, f.Earliest, f.Latest, f.Coverage = x.Likely, x.Early, x.Late, 0.95
	if x.Open {
		f.Latest = x.Likely.Add(24 * time.Hour)
		f.Coverage = 0
		f.Notices = append(f.Notices, "how late it may become cannot be said yet: measure more often")
	}
	f.Basis = fmt.Sprintf("%d temperatures fall at a rate of %.2f per hour towards %.0f degC", projection.Points, projection.Rate, v.Cooling.MediumTemperatureCelsius)
	f.Notices = append(f.Notices, projection.Cautions...)
	return true
}
