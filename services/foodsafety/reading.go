package foodsafety

import (
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

const (
	// ClockTolerance is how far in the future a recorded time may lie: the clocks of devices differ a little.
	ClockTolerance = 2 * time.Minute
	// LateAfter is the age at which a reading is marked as a late entry. Common practice, no source.
	LateAfter = 5 * time.Minute
	// earlyReading is how long before the start of a chill a reading may be measured and still belong to it.
	earlyReading = 30 * time.Minute

	minReading units.Celsius = -60
	maxReading units.Celsius = 150
)

// Reading is one temperature of the food in a chill. It is never changed.
type Reading struct {
	Name        string
	Chill       string
	Probe       string // "" for a thermometer held by hand
	ObserveTime time.Time
	RecordTime  time.Time
	Measured    units.Celsius
	Judged      units.Celsius // Measured plus the correction of the probe
	Recorder    string
	Late        bool
	Note        string
}

// ReadingName is the resource name of a reading, given by moment and probe, so that the same reading always has the same name.
func ReadingName(chill, probe string, at time.Time) string {
	id := fmt.Sprintf("%d", at.UnixMicro())
	if probe != "" {
		id += "-" + idOf(probe)
	}
	return chill + "/readings/" + id
}

// checkReading checks what needs no stored data.
func checkReading(measured units.Celsius, at, now time.Time) error {
	if v := float64(measured); math.IsNaN(v) || measured < minReading || measured > maxReading {
		return apierr.InvalidArgument(ReadingOutOfRange, "%.1f C is outside of %.0f to %.0f C, which no probe in food shows; check the probe and its cable", v, float64(minReading), float64(maxReading)).
			With("temperature_celsius", fmt.Sprint(v)).WithViolation("reading.temperature_celsius", "must lie between %g and %g", float64(minReading), float64(maxReading))
	}
	return checkNotFuture("reading.observe_time", at, now)
}

// checkNotFuture refuses a recorded time more than ClockTolerance ahead of now.
func checkNotFuture(field string, at, now time.Time) error {
	if at.After(now.Add(ClockTolerance)) {
		return invalidField(TimeInFuture, field, "%s lies %s in the future; set the clock of the device", at.Format(time.RFC3339), durationText(at.Sub(now))).
			With("time", at.Format(time.RFC3339Nano))
	}
	return nil
}
