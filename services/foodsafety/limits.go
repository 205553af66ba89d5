package foodsafety

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/units"
)

// Built-in limits profiles.
const (
	USFoodCodeProfile  = "us-food-code-2022"
	UKCookChillProfile = "uk-cook-chill-1989"
)

// DefaultMaxGap is the longest silence between readings that a profile allows when it states none. Common practice, no
// source.
const DefaultMaxGap = 15 * time.Minute

// rounding is the difference, in degrees of the rule, below which a converted reading counts as equal to a limit. It
// covers the binary rounding of a conversion (about 1e-14) and nothing that a thermometer can show.
const rounding = 1e-9

// LimitsProfile holds cooling limits in the scale of the rule that they come from.
type LimitsProfile struct {
	Name        string
	UID         string
	DisplayName string
	Source      string
	Unconfirmed bool // written from memory of the source
	Scale       units.Scale
	Start       float64 // degrees; the clock starts when the food falls below it
	Stages      []LimitStage
	MaxGap      time.Duration
	BuiltIn     bool
	CreateTime  time.Time
	UpdateTime  time.Time
	Version     int64
}

// LimitStage is one limit: at or below Target within Within from the start of the clock.
type LimitStage struct {
	ID          string
	DisplayName string
	Target      float64 // degrees of the profile's scale
	Within      time.Duration
	PrintedPair string // the rule's own rounded figure in the other scale, for display only
}

// Etag is the version as seen by callers.
func (p *LimitsProfile) Etag() string { return etagOf(p.Version) }

func etagOf(version int64) string { return "v" + strconv.FormatInt(version, 10) }

// Degrees converts a temperature to the scale of the profile.
func (p *LimitsProfile) Degrees(c units.Celsius) float64 {
	return units.InCelsius(float64(c)).In(p.Scale).Degrees
}

// Celsius converts degrees of the profile's scale, exactly.
func (p *LimitsProfile) Celsius(degrees float64) units.Celsius {
	return units.Temperature{Degrees: degrees, Scale: p.Scale}.Celsius()
}

// belowStart says that the clock runs at this temperature.
func (p *LimitsProfile) belowStart(c units.Celsius) bool { return p.Degrees(c) < p.Start-rounding }

// Text writes a stage as the rule does, with the exact value in degrees Celsius beside it.
func (p *LimitsProfile) Text(s LimitStage) string {
	t := units.Temperature{Degrees: s.Target, Scale: p.Scale}
	within := " within " + durationText(s.Within)
	if p.Scale == units.ScaleCelsius {
		return t.String() + within
	}
	return fmt.Sprintf("%s (%s)%s", t, t.Celsius(), within)
}

// durationText drops the zero parts: "2h", "1h30m", "90s" stays "1m30s".
func durationText(d time.Duration) string {
	d = d.Round(time.Second)
	if d == 0 {
		return "0m"
	}
	text := ""
	if h := d / time.Hour; h != 0 {
		text += strconv.FormatInt(int64(h), 10) + "h"
	}
	if m := d % time.Hour / time.Minute; m != 0 {
		text += strconv.FormatInt(int64(m), 10) + "m"
	}
	if s := d % time.Minute / time.Second; s != 0 {
		text += strconv.FormatInt(int64(s), 10) + "s"
	}
	return text
}

// validate checks the limits and fills the defaults.
func (p *LimitsProfile) validate() error {
	if p.DisplayName == "" {
		return invalidField(LimitsProfileInvalid, "limits_profile.display_name", "give the profile a name")
	}
	if p.Source == "" {
		return invalidField(LimitsProfileInvalid, "limits_profile.source", "say where the limits come from: title, edition, section")
	}
	if p.Scale != units.ScaleCelsius && p.Scale != units.ScaleFahrenheit {
		return invalidField(LimitsProfileInvalid, "limits_profile.scale", "the limits must be in degrees Celsius or Fahrenheit")
	}
	if err := checkDegrees("limits_profile.start_degrees", p.Start); err != nil {
		return err
	}
	if p.MaxGap == 0 {
		p.MaxGap = DefaultMaxGap
	}
	if p.MaxGap < 0 || p.MaxGap > 24*time.Hour {
		return invalidField(LimitsProfileInvalid, "limits_profile.max_gap_duration", "the longest silence must be above 0 and at most 24h")
	}
	if len(p.Stages) == 0 || len(p.Stages) > 8 {
		return invalidField(LimitsProfileInvalid, "limits_profile.stages", "a profile needs 1 to 8 limits, not %d", len(p.Stages))
	}
	seen := map[string]bool{}
	above, before := p.Start, time.Duration(0)
	for i, s := range p.Stages {
		field := fmt.Sprintf("limits_profile.stages[%d]", i)
		if !idPattern.MatchString(s.ID) || seen[s.ID] {
			return invalidField(LimitsProfileInvalid, field+".stage_id", "the stage id %q must be new and made of lower-case letters, digits and hyphens", s.ID)
		}
		seen[s.ID] = true
		if err := checkDegrees(field+".target_degrees", s.Target); err != nil {
			return err
		}
		if s.Target >= above {
			return invalidField(LimitsProfileInvalid, field+".target_degrees", "the target %g must lie below %g", s.Target, above)
		}
		if s.Within <= before || s.Within > 7*24*time.Hour {
			return invalidField(LimitsProfileInvalid, field+".within_duration", "the time %s must be longer than %s and at most 7 days; it counts from the start of the clock", durationText(s.Within), durationText(before))
		}
		above, before = s.Target, s.Within
	}
	return nil
}

func checkDegrees(field string, v float64) error {
	if math.IsNaN(v) || v < -60 || v > 300 {
		return invalidField(LimitsProfileInvalid, field, "the temperature %g must lie between -60 and 300 degrees", v)
	}
	return nil
}

// Cautions is what a person must know who relies on the profile.
func (p *LimitsProfile) Cautions() []string {
	list := Cautions()
	if p.Unconfirmed {
		list = append(list, "The figures of this profile were written from memory of "+p.Source+"; a qualified person must confirm them against the source before use.")
	}
	return list
}

// Cautions is what every judgement, release and check carries.
func Cautions() []string {
	return []string{
		chill.CautionSafety,
		"A probe shows the food at its tip only; place it in the part that cools last. Readings are judged with the correction of the calibration; the accuracy of the probe is not added.",
	}
}

// BuiltInProfiles are the profiles that the system brings along, without site and times.
func BuiltInProfiles() []LimitsProfile {
	return []LimitsProfile{
		{
			// FDA Food Code 2022, 3-501.14(A): cooked TCS food within 2 hours from 135 F (57 C) to 70 F (21 C), and within
			// a total of 6 hours from 135 F (57 C) to 41 F (5 C) or less. Both times count from 135 F.
			Name:        USFoodCodeProfile,
			DisplayName: "Cooked food, two-stage cooling (US Food Code)",
			Source:      "FDA Food Code 2022, section 3-501.14(A)",
			Scale:       units.ScaleFahrenheit,
			Start:       135,
			Stages: []LimitStage{
				{ID: "to-70f", DisplayName: "135 F to 70 F", Target: 70, Within: 2 * time.Hour, PrintedPair: "21 C"},
				{ID: "to-41f", DisplayName: "135 F to 41 F in all", Target: 41, Within: 6 * time.Hour, PrintedPair: "5 C"},
			},
			MaxGap: DefaultMaxGap, BuiltIn: true,
		},
		{
			// Department of Health cook-chill guideline 1989: 70 C to 3 C within 90 minutes. From memory, unconfirmed; the
			// rule that chilling begins within 30 minutes of cooking is not judged here.
			Name:        UKCookChillProfile,
			DisplayName: "Cook-chill, blast chiller (UK guideline)",
			Source:      "UK Department of Health, Chilled and Frozen: Guidelines on Cook-Chill and Cook-Freeze Catering Systems, 1989",
			Unconfirmed: true,
			Scale:       units.ScaleCelsius,
			Start:       70,
			Stages:      []LimitStage{{ID: "to-3c", DisplayName: "70 C to 3 C", Target: 3, Within: 90 * time.Minute}},
			MaxGap:      DefaultMaxGap, BuiltIn: true,
		},
	}
}
