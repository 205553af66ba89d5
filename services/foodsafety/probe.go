package foodsafety

import (
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Probe watches the temperature of food.
type Probe struct {
	Name              string
	UID               string
	DisplayName       string
	DeviceID          string
	Vessel            string // resource name; "" for a probe that is carried about
	CalibrationDate   string // civil day, "" when never calibrated
	CalibrationOffset units.CelsiusDelta
	Accuracy          units.CelsiusDelta // plus or minus; 0 when not stated
	Disabled          bool
	CreateTime        time.Time
	UpdateTime        time.Time
	Version           int64
}

// Etag is the version as seen by callers.
func (p *Probe) Etag() string { return etagOf(p.Version) }

func (p *Probe) validate(now time.Time) error {
	if p.DisplayName == "" {
		return invalidField(ProbeInvalid, "probe.display_name", "give the probe a name")
	}
	if err := sameSite(SiteOf(p.Name), "probe.vessel", p.Vessel); err != nil {
		return err
	}
	if off := float64(p.CalibrationOffset); math.IsNaN(off) || math.Abs(off) > 5 {
		return invalidField(ProbeInvalid, "probe.calibration_offset_kelvins", "a correction of %g K is too large; repair or replace a probe that is wrong by more than 5 K", off)
	}
	if acc := float64(p.Accuracy); math.IsNaN(acc) || acc < 0 || acc > 5 {
		return invalidField(ProbeInvalid, "probe.accuracy_kelvins", "the accuracy must lie between 0 and 5 K, not %g", acc)
	}
	if p.CalibrationDate != "" {
		day, err := time.Parse(time.DateOnly, p.CalibrationDate)
		if err != nil {
			return invalidField(ProbeInvalid, "probe.calibration_date", "%q is not a day; write it as 2026-01-31", p.CalibrationDate)
		}
		if day.After(now.Add(24 * time.Hour)) { // a site may be a day ahead of UTC
			return invalidField(ProbeInvalid, "probe.calibration_date", "the calibration day %s lies in the future", p.CalibrationDate)
		}
	}
	return nil
}
