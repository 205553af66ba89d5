package planning

import (
	"testing"
	"time"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// Offsets and dates of the changes are those of the IANA time zone database: Europe/Paris goes from +01:00 to +02:00 at
// 2026-03-29 01:00 UTC and back at 2026-10-25 01:00 UTC (Directive 2000/84/EC: last Sunday of March and October, 01:00
// UTC); America/New_York on 2026-03-08 and 2026-11-01 at 02:00 local (US Energy Policy Act of 2005).
func TestMoment(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, zone, day, clock, want string
	}{
		{"an ordinary winter morning", "Europe/Paris", "2026-01-15", "06:00", "2026-01-15T05:00:00Z"},
		{"the morning after clocks went forward", "Europe/Paris", "2026-03-29", "06:00", "2026-03-29T04:00:00Z"},
		{"a time that clocks skip is the moment of the change", "Europe/Paris", "2026-03-29", "02:30", "2026-03-29T01:00:00Z"},
		{"the last minute before the skip", "Europe/Paris", "2026-03-29", "01:59", "2026-03-29T00:59:00Z"},
		{"a time shown twice is the first", "Europe/Paris", "2026-10-25", "02:30", "2026-10-25T00:30:00Z"},
		{"the morning after clocks went back", "Europe/Paris", "2026-10-25", "06:00", "2026-10-25T05:00:00Z"},
		{"skipped time west of Greenwich", "America/New_York", "2026-03-08", "02:15", "2026-03-08T07:00:00Z"},
		{"doubled time west of Greenwich", "America/New_York", "2026-11-01", "01:30", "2026-11-01T05:30:00Z"},
		{"a zone without changes", "Asia/Tokyo", "2026-03-29", "02:30", "2026-03-28T17:30:00Z"},
		{"a half-hour change", "Australia/Lord_Howe", "2026-04-05", "01:45", "2026-04-04T14:45:00Z"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			clock, err := ParseTimeOfDay(c.clock)
			if err != nil {
				t.Fatal(err)
			}
			if got := Moment(Date(c.day), clock, zone(t, c.zone)).Format(time.RFC3339); got != c.want {
				t.Errorf("got %s, want %s", got, c.want)
			}
		})
	}
}

func TestDatesCountCivilDaysAcrossDaylightSaving(t *testing.T) {
	t.Parallel()
	if got := Date("2026-03-28").AddDays(2); got != "2026-03-30" {
		t.Errorf("got %s", got)
	}
	if got := Date("2026-10-24").DaysUntil("2026-10-26"); got != 2 {
		t.Errorf("got %d", got)
	}
	if got := Date("2028-02-28").AddDays(1); got != "2028-02-29" {
		t.Errorf("got %s", got)
	}
	if got := Date("2026-03-29").Weekday(); got != time.Sunday {
		t.Errorf("got %s", got)
	}
}

func TestParseRefusesWhatIsNotADayOrTime(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"2026-02-29", "2026-13-01", "26-01-01", "", "2026-1-1"} {
		if d, err := ParseDate(text); err == nil {
			t.Errorf("%q was read as %s", text, d)
		}
	}
	for _, text := range []string{"24:00", "6:00", "06:60", ""} {
		if d, err := ParseTimeOfDay(text); err == nil {
			t.Errorf("%q was read as %s", text, d)
		}
	}
}
