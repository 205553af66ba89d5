package planning

import (
	"fmt"
	"math/bits"
	"time"
	_ "time/tzdata" // zones are known on machines without a zone database
)

// Date is a civil day, written YYYY-MM-DD. It sorts as text. The zero value is "no day".
type Date string

const dateLayout = "2006-01-02"

// ParseDate reads YYYY-MM-DD and refuses days that do not exist.
func ParseDate(text string) (Date, error) {
	t, err := time.Parse(dateLayout, text)
	if err != nil {
		return "", fmt.Errorf("%q is not a day: write the year, month and day as in 2026-03-29", text)
	}
	return Date(t.Format(dateLayout)), nil
}

// DateOf returns the civil day of a moment in a zone.
func DateOf(t time.Time, zone *time.Location) Date { return Date(t.In(zone).Format(dateLayout)) }

// noon is a moment of the day in UTC, for calculating with whole days: UTC has no daylight saving.
func (d Date) noon() time.Time {
	t, _ := time.Parse(dateLayout, string(d)) // a Date was parsed before
	return t.Add(12 * time.Hour)
}

// AddDays returns the day n days later.
func (d Date) AddDays(n int) Date { return Date(d.noon().AddDate(0, 0, n).Format(dateLayout)) }

// DaysUntil returns the number of days from d to e; negative when e is earlier.
func (d Date) DaysUntil(e Date) int { return int(e.noon().Sub(d.noon()) / (24 * time.Hour)) }

// Weekday returns the day of the week.
func (d Date) Weekday() time.Weekday { return d.noon().Weekday() }

// Weekdays is a set of days of the week; bit 0 is Sunday as in time.Weekday. The zero value means every day.
type Weekdays uint8

// Has says whether the set contains a day.
func (w Weekdays) Has(day time.Weekday) bool { return w == 0 || w&(1<<day) != 0 }

// Days lists the set from Monday to Sunday; empty for every day.
func (w Weekdays) Days() []time.Weekday {
	out := make([]time.Weekday, 0, bits.OnesCount8(uint8(w)))
	for i := range 7 {
		if day := time.Weekday((i + 1) % 7); w&(1<<day) != 0 {
			out = append(out, day)
		}
	}
	return out
}

// TimeOfDay is a local time in minutes after midnight, 0 to 1439.
type TimeOfDay int

// ParseTimeOfDay reads HH:MM.
func ParseTimeOfDay(text string) (TimeOfDay, error) {
	t, err := time.Parse("15:04", text)
	if err != nil || len(text) != 5 {
		return 0, fmt.Errorf("%q is not a time of day: write hours and minutes as in 06:30", text)
	}
	return TimeOfDay(t.Hour()*60 + t.Minute()), nil
}

// String returns HH:MM.
func (t TimeOfDay) String() string { return fmt.Sprintf("%02d:%02d", int(t)/60, int(t)%60) }

// Moment returns the moment at which the clocks of a zone show t on day d. Where clocks are put forward and never
// show it, it is the moment of the change; where they are put back and show it twice, it is the first of the two.
func Moment(d Date, t TimeOfDay, zone *time.Location) time.Time {
	wanted := d.noon().Add(-12 * time.Hour).Add(time.Duration(t) * time.Minute) // the clock face, read as UTC
	_, before := wanted.Add(-24 * time.Hour).In(zone).Zone()
	_, after := wanted.Add(24 * time.Hour).In(zone).Zone()
	first := wanted.Add(-time.Duration(max(before, after)) * time.Second)
	second := wanted.Add(-time.Duration(min(before, after)) * time.Second)
	for _, candidate := range []time.Time{first, second} {
		if showsFace(candidate.In(zone), wanted) {
			return candidate.UTC()
		}
	}
	change, _ := second.In(zone).ZoneBounds() // second lies after the change, first before it
	return change.UTC()
}

func showsFace(local, wanted time.Time) bool {
	return local.Day() == wanted.Day() && local.Hour() == wanted.Hour() && local.Minute() == wanted.Minute()
}

// startOfDay returns the first moment of a day.
func startOfDay(d Date, zone *time.Location) time.Time { return Moment(d, 0, zone) }
