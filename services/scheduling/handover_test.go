package scheduling_test

import (
	"strings"
	"testing"
	"time"

	"rondeau.internal/services/scheduling"
)

// A ten-hour simmer that somebody lights and somebody draws off fits neither of two eight-hour shifts, but both together:
// the early crew begins it and the late crew ends it, each on its own shift.
func TestAStepLongerThanAShiftIsHandedOverToTheNext(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	shift := func(name string, start, end int) string {
		c := scheduling.Calendar{Name: site + "/calendars/" + name, DisplayName: name, TimeZone: "Europe/Lisbon"}
		for day := time.Sunday; day <= time.Saturday; day++ {
			c.Shifts = append(c.Shifts, scheduling.Shift{Weekday: day, Start: start, End: end})
		}
		_, err := k.CreateCalendar(t.Context(), c)
		must(t, err)
		return c.Name
	}
	early, late := shift("early", 5*60, 13*60+30), shift("late", 13*60, 21*60+30)
	_, err := k.UpdateCrew(t.Context(), site+"/crews/cooks", "", func(c scheduling.Crew) (scheduling.Crew, error) { c.Calendar = early; return c, nil })
	must(t, err)
	_, err = k.CreateCrew(t.Context(), scheduling.Crew{Name: site + "/crews/evening", DisplayName: "Evening", Headcount: 2, Calendar: late, Active: true})
	must(t, err)
	long := stock("b1", 100, monday.Add(48*time.Hour))
	long.Steps[0].Duration.Simmer.Hold = 10 * time.Hour
	long.Steps = long.Steps[:1]
	k.planning.put(long)

	draft := k.solve(scheduling.Solve{})
	simmer := place(t, draft, "b1", "simmer")
	if simmer.Crew != site+"/crews/cooks" || simmer.FinishCrew != site+"/crews/evening" {
		t.Fatalf("begun by %q, ended by %q", simmer.Crew, simmer.FinishCrew)
	}
	if len(simmer.Attended) != 2 {
		t.Fatalf("attended in %v", simmer.Attended)
	}
	// Lisbon is on UTC in November.
	day := monday.Truncate(24 * time.Hour).Add(time.Duration(simmer.Start.Day()-monday.Day()) * 24 * time.Hour)
	begin, end := simmer.Attended[0], simmer.Attended[1]
	if begin.Start.Before(day.Add(5*time.Hour)) || begin.End.After(day.Add(13*time.Hour+30*time.Minute)) {
		t.Errorf("begun from %v to %v, outside the early shift", begin.Start, begin.End)
	}
	if end.Start.Before(day.Add(13*time.Hour)) || end.End.After(day.Add(21*time.Hour+30*time.Minute)) {
		t.Errorf("ended from %v to %v, outside the late shift", end.Start, end.End)
	}
	k.publish(draft)

	// Without the late crew there is no such schedule, and the reason speaks of shifts.
	_, err = k.UpdateCrew(t.Context(), site+"/crews/evening", "", func(c scheduling.Crew) (scheduling.Crew, error) { c.Active = false; return c, nil })
	must(t, err)
	none := k.solve(scheduling.Solve{})
	if len(none.Assignments) != 0 || len(none.Report.Conflicts) != 1 {
		t.Fatalf("placed %d steps, said %+v", len(none.Assignments), none.Report)
	}
	text := none.Report.Conflicts[0].Text
	for _, part := range []string{"Simmer of", "cannot end within the shift that begins it", "open time"} {
		if !strings.Contains(text, part) || strings.Contains(text, "sites/") {
			t.Errorf("does not say %q: %s", part, text)
		}
	}
}

// A step that fits into no shift is the only one that is named, although the steps before and after it, which must follow
// without delay, find no place with it either.
func TestOnlyTheStepThatFitsIntoNoShiftIsNamed(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	b := stock("b1", 100, monday.Add(48*time.Hour))
	b.Steps[1].Duration, b.Steps[1].Attendance = scheduling.DurationModel{Fixed: ptr(17 * time.Hour)}, scheduling.AttendWhole
	k.planning.put(b)
	draft := k.solve(scheduling.Solve{Budget: 50})
	if len(draft.Report.Conflicts) != 1 {
		t.Fatalf("%d conflicts: %+v", len(draft.Report.Conflicts), draft.Report.Conflicts)
	}
	c := draft.Report.Conflicts[0]
	for i, step := range b.Steps {
		if named := strings.Contains(c.Text, step.DisplayName+" of"); named != (i == 1) {
			t.Errorf("%s named: %v: %s", step.DisplayName, named, c.Text)
		}
	}
	if !c.Proved || !strings.Contains(c.Text, "17 h") {
		t.Errorf("proved %v: %s", c.Proved, c.Text)
	}
}
