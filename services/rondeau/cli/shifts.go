package cli

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/services/rondeau/board"
)

// staffed are the times in which a crew of the kitchen is on shift, joined where they touch.
func (a *app) staffed(ctx context.Context, from, to time.Time) ([]board.Span, error) {
	client, err := a.scheduling()
	if err != nil {
		return nil, err
	}
	crews, err := pages(0, func(token string) ([]*schedulingpb.Crew, string, error) {
		page, err := client.ListCrews(ctx, &schedulingpb.ListCrewsRequest{Parent: a.siteName(), PageSize: 200, PageToken: token})
		return page.GetCrews(), page.GetNextPageToken(), err
	})
	if err != nil {
		return nil, err
	}
	used := map[string]bool{}
	for _, c := range crews {
		if c.GetActive() {
			used[c.GetCalendar()] = true
		}
	}
	calendars, err := pages(0, func(token string) ([]*schedulingpb.Calendar, string, error) {
		page, err := client.ListCalendars(ctx, &schedulingpb.ListCalendarsRequest{Parent: a.siteName(), PageSize: 200, PageToken: token})
		return page.GetCalendars(), page.GetNextPageToken(), err
	})
	if err != nil {
		return nil, err
	}
	var spans []board.Span
	for _, c := range calendars {
		if !used[c.GetName()] {
			continue
		}
		open, err := openTimes(c, from, to)
		if err != nil {
			return nil, err
		}
		spans = append(spans, open...)
	}
	return join(spans), nil
}

// openTimes are the shifts of a calendar that touch a span of time. A shift that ends at or before its start ends on the
// next day; an exception replaces the shifts of its day.
func openTimes(c *schedulingpb.Calendar, from, to time.Time) ([]board.Span, error) {
	zone, err := time.LoadLocation(c.GetTimeZone())
	if err != nil {
		return nil, fmt.Errorf("time zone of calendar %s: %w", c.GetName(), err)
	}
	exceptions := map[string]*schedulingpb.Calendar_DayException{}
	for _, e := range c.GetExceptions() {
		exceptions[e.GetExceptionDate()] = e
	}
	var out []board.Span
	first := from.In(zone).AddDate(0, 0, -1)
	for day := time.Date(first.Year(), first.Month(), first.Day(), 12, 0, 0, 0, zone); day.Before(to.AddDate(0, 0, 1)); day = day.AddDate(0, 0, 1) {
		var clocks [][2]string
		if e := exceptions[day.Format(time.DateOnly)]; e != nil {
			for _, s := range e.GetSpans() {
				clocks = append(clocks, [2]string{s.GetStartClock(), s.GetEndClock()})
			}
		} else {
			for _, s := range c.GetWeeklyShifts() {
				if int(s.GetWeekday())%7 == int(day.Weekday()) { // Monday is 1 in both, Sunday 7 and 0
					clocks = append(clocks, [2]string{s.GetStartClock(), s.GetEndClock()})
				}
			}
		}
		for _, k := range clocks {
			start, end := onDay(day, k[0]), onDay(day, k[1])
			if !end.After(start) {
				end = onDay(day.AddDate(0, 0, 1), k[1])
			}
			if end.After(from) && start.Before(to) {
				out = append(out, board.Span{Start: start, End: end})
			}
		}
	}
	return out, nil
}

// onDay is the moment of a day at a clock time "14:30".
func onDay(day time.Time, clock string) time.Time {
	hour, minute, _ := strings.Cut(clock, ":")
	h, _ := strconv.Atoi(hour)   // the service has checked it
	m, _ := strconv.Atoi(minute) // the service has checked it
	return time.Date(day.Year(), day.Month(), day.Day(), h, m, 0, 0, day.Location())
}

// join sorts spans and makes one of those that overlap or touch.
func join(spans []board.Span) []board.Span {
	slices.SortFunc(spans, func(x, y board.Span) int { return x.Start.Compare(y.Start) })
	var out []board.Span
	for _, s := range spans {
		if n := len(out); n > 0 && !s.Start.After(out[n-1].End) {
			if s.End.After(out[n-1].End) {
				out[n-1].End = s.End
			}
			continue
		}
		out = append(out, s)
	}
	return out
}
