package planning

import (
	"fmt"
	"time"

	"rondeau.internal/pkg/apierr"
)

// searchDays is how far ahead the next open dispatch day is looked for: beyond the longest cut-off of 14 days and a
// week without dispatch.
const searchDays = 60

// dispatchMoment returns when goods leave for an outlet on a day.
func dispatchMoment(site *Site, outlet *Outlet, day Date) time.Time {
	return Moment(day, outlet.dispatchTime(), site.Zone())
}

// cutOffMoment returns the moment at which orders for a dispatch day close. The duration is elapsed time: with clocks
// changed in between, 24 hours before 06:00 is 05:00 or 07:00 on the day before.
func cutOffMoment(site *Site, outlet *Outlet, day Date) time.Time {
	cutOff := site.cutOff()
	if outlet.CutOff != nil {
		cutOff = *outlet.CutOff
	}
	return dispatchMoment(site, outlet, day).Add(-cutOff)
}

// nextOpenDay returns the first dispatch day of an outlet whose orders are open at a moment; empty when there is none in
// the next weeks.
func nextOpenDay(site *Site, outlet *Outlet, now time.Time) Date {
	day := DateOf(now, site.Zone())
	for range searchDays {
		if outlet.Weekdays.Has(day.Weekday()) && now.Before(cutOffMoment(site, outlet, day)) {
			return day
		}
		day = day.AddDays(1)
	}
	return ""
}

// checkOpen refuses a dispatch day that is no dispatch day or whose cut-off has passed, and names the next open one.
func checkOpen(site *Site, outlet *Outlet, day Date, now time.Time) error {
	next := nextOpenDay(site, outlet, now)
	hint := "no dispatch day is open in the next weeks"
	if next != "" {
		hint = fmt.Sprintf("the next dispatch day open is %s %s, until %s", next.Weekday(), next, localText(cutOffMoment(site, outlet, next), site.Zone()))
	}
	if !outlet.Weekdays.Has(day.Weekday()) {
		return apierr.FailedPrecondition(NotADispatchDay, "%s gets no dispatch on %s %s; %s", outlet.Name, day.Weekday(), day, hint).
			With("outlet", outlet.Name).With("dispatch_date", string(day)).With("next_dispatch_date", string(next))
	}
	cutOff := cutOffMoment(site, outlet, day)
	if !now.Before(cutOff) {
		return closedError(outlet.Name, day, cutOff, site, next, hint)
	}
	return nil
}

func closedError(subject string, day Date, cutOff time.Time, site *Site, next Date, hint string) error {
	return apierr.FailedPrecondition(OrderAfterCutOff, "orders of %s for dispatch on %s closed at %s; %s", subject, day, localText(cutOff, site.Zone()), hint).
		With("outlet", subject).With("dispatch_date", string(day)).With("cut_off_time", cutOff.Format(time.RFC3339)).
		With("next_dispatch_date", string(next))
}

// localText writes a moment as the kitchen's clocks show it.
func localText(t time.Time, zone *time.Location) string {
	return t.In(zone).Format("2006-01-02 15:04 MST")
}
