package scheduling

import (
	"fmt"
	"sort"
	"time"

	"rondeau.internal/pkg/apierr"
)

// Meta is what every stored resource has.
type Meta struct {
	UID        string
	Version    int64
	CreateTime time.Time
	UpdateTime time.Time
}

// Calendar says when something is open: people on shift, or the hours in which work may go on unattended.
type Calendar struct {
	Name        string
	Meta        `json:"-"`
	DisplayName string
	// TimeZone is an IANA name.
	TimeZone   string
	Shifts     []Shift
	Exceptions []DayException
}

// Shift is one span of open time that returns every week. Minutes count from midnight; an End at or before Start lies
// on the next day.
type Shift struct {
	Weekday    time.Weekday
	Start, End int // minutes, 0 to 1440
	Overtime   bool
}

// DayException replaces the shifts of one civil day, "YYYY-MM-DD".
type DayException struct {
	Date  string
	Spans []ClockSpan
	Note  string
}

// ClockSpan is a span of open time within a day, as Shift.
type ClockSpan struct {
	Start, End int
	Overtime   bool
}

// OpenSpan is a half-open span of time in which a calendar is open.
type OpenSpan struct {
	Start, End time.Time
	Overtime   bool
}

// Check reports every fault of the calendar.
func (c Calendar) Check() error {
	err := apierr.InvalidArgument(CalendarInvalid, "calendar %s cannot be used as it is; correct the fields named", c.Name).With("calendar", c.Name)
	if c.TimeZone == "" || c.TimeZone == "Local" {
		err.WithViolation("calendar.time_zone", "must be an IANA zone such as Europe/Lisbon")
	} else if _, zoneErr := time.LoadLocation(c.TimeZone); zoneErr != nil {
		err.WithViolation("calendar.time_zone", "%q is no IANA zone; write it like Europe/Lisbon", c.TimeZone)
	}
	for i, s := range c.Shifts {
		if s.Start == s.End {
			err.WithViolation(fmt.Sprintf("calendar.weekly_shifts[%d]", i), "begins and ends at the same time; write 00:00 to 24:00 for a whole day")
		}
	}
	seen := map[string]bool{}
	for i, e := range c.Exceptions {
		field := fmt.Sprintf("calendar.exceptions[%d]", i)
		if _, dateErr := time.Parse(time.DateOnly, e.Date); dateErr != nil {
			err.WithViolation(field+".exception_date", "%q is no day; write it like 2026-12-24", e.Date)
		}
		if seen[e.Date] {
			err.WithViolation(field+".exception_date", "%s stands twice; put all its spans into one entry", e.Date)
		}
		seen[e.Date] = true
		for j, s := range e.Spans {
			if s.Start == s.End {
				err.WithViolation(fmt.Sprintf("%s.spans[%d]", field, j), "begins and ends at the same time; leave the spans out for a closed day")
			}
		}
	}
	if len(err.Violations) > 0 {
		return err
	}
	return nil
}

// Open lists the open time of the calendar within [from, to), ordered by start. Spans may touch or overlap where shifts
// do. Clock times that a change to summer time skips are read as the moment after the gap, as time.Date does.
func (c Calendar) Open(from, to time.Time) ([]OpenSpan, error) {
	zone, err := time.LoadLocation(c.TimeZone)
	if err != nil {
		return nil, fmt.Errorf("time zone of calendar %s: %w", c.Name, err)
	}
	exceptions := map[string]DayException{}
	for _, e := range c.Exceptions {
		exceptions[e.Date] = e
	}
	var spans []OpenSpan
	local := from.In(zone)
	day := time.Date(local.Year(), local.Month(), local.Day()-1, 12, 0, 0, 0, zone) // a shift of yesterday may reach into today
	for ; ; day = day.AddDate(0, 0, 1) {
		if midnight(day, 0).After(to) {
			break
		}
		for _, s := range c.spansOf(day, exceptions) {
			start, end := midnight(day, s.Start), midnight(day, s.End)
			if s.End <= s.Start {
				end = midnight(day.AddDate(0, 0, 1), s.End)
			}
			start, end = latest(start, from), earliest(end, to)
			if start.Before(end) {
				spans = append(spans, OpenSpan{Start: start.UTC(), End: end.UTC(), Overtime: s.Overtime})
			}
		}
	}
	sort.SliceStable(spans, func(i, j int) bool { return spans[i].Start.Before(spans[j].Start) })
	return spans, nil
}

func (c Calendar) spansOf(day time.Time, exceptions map[string]DayException) []ClockSpan {
	if e, found := exceptions[day.Format(time.DateOnly)]; found {
		return e.Spans
	}
	var spans []ClockSpan
	for _, s := range c.Shifts {
		if s.Weekday == day.Weekday() {
			spans = append(spans, ClockSpan{Start: s.Start, End: s.End, Overtime: s.Overtime})
		}
	}
	return spans
}

// midnight is the moment of a day at so many minutes of its clock.
func midnight(day time.Time, minutes int) time.Time {
	return time.Date(day.Year(), day.Month(), day.Day(), minutes/60, minutes%60, 0, 0, day.Location())
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earliest(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}
