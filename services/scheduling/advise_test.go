package scheduling_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"rondeau.internal/services/scheduling"
)

// readable asserts that a text is in the words of the kitchen.
func readable(t *testing.T, text string) {
	t.Helper()
	if strings.Contains(text, "sites/") || strings.Contains(text, " / ") || strings.Contains(text, "%!") || strings.Contains(text, "on shift on shift") {
		t.Errorf("words of the machine: %s", text)
	}
}

func remedyOf(list []scheduling.Remedy, kind scheduling.RemedyKind) *scheduling.Remedy {
	for i := range list {
		if list[i].Verified && len(list[i].Changes) == 1 && list[i].Changes[0].Kind == kind {
			return &list[i]
		}
	}
	return nil
}

func TestABatchThatIsTooLargeIsOfferedSmaller(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.planning.put(stock("b1", 140, monday.Add(48*time.Hour)))
	draft := k.solve(scheduling.Solve{})
	c := draft.Report.Conflicts[0]
	if draft.Report.Status != scheduling.StatusInfeasible || !c.Proved || !c.Minimal {
		t.Errorf("%+v", draft.Report)
	}
	r := remedyOf(c.Remedies, scheduling.RemedySmallerBatch)
	if r == nil || r.Changes[0].Fraction != 0.85 || r.Changes[0].Batch != site+"/batches/b1" { // 120 L of 140 L
		t.Fatalf("%+v", c.Remedies)
	}
	if !strings.Contains(draft.Report.Summary, "Smallest changes that make it possible: make Brown stock b1 with 85 %") {
		t.Errorf("summary: %s", draft.Report.Summary)
	}
	readable(t, draft.Report.Summary)
}

func TestAnImpossibleWaitIsHelpedByOvertimeOrALongerWait(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	b := stock("b1", 100, monday.Add(48*time.Hour))
	for i := range 2 { // each fits into the day from 06:00 to 22:00, but not one an hour after the other
		b.Steps[i].Duration, b.Steps[i].Attendance = scheduling.DurationModel{Fixed: ptr(15 * time.Hour)}, scheduling.AttendWhole
	}
	k.planning.put(b)
	draft := k.solve(scheduling.Solve{Budget: 50})
	c := draft.Report.Conflicts[0]
	readable(t, draft.Report.Summary)
	// By hand: the simmer ends at 21:00 and the reduction begins at 06:00 at best, or one hour later than each other's
	// shift allows: 9 h apart from the day's hours. The simmer may wait until 22:00 - 15 h = 07:00, so 8 h is the least.
	wait := remedyOf(c.Remedies, scheduling.RemedyLongerWait)
	if wait == nil || wait.Changes[0].Amount != 7*time.Hour || !wait.Least || wait.Changes[0].StepID != "simmer" || wait.Changes[0].NextStepID != "reduce" {
		t.Errorf("longer wait: %+v", wait)
	}
	over := remedyOf(c.Remedies, scheduling.RemedyOvertime)
	if over == nil || over.Changes[0].End.Sub(over.Changes[0].Start) != 7*time.Hour || over.Changes[0].Calendar != site+"/calendars/day" || over.Overtime == 0 {
		t.Errorf("overtime: %+v", over)
	}
}

func TestALateBatchIsToldWhatWouldBringItInTime(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	_, err := k.TakeVesselDown(t.Context(), scheduling.TakeDown{Name: site + "/vessels/kettle-2", Reason: "seal leaks", Actor: "rui", End: monday.Add(40 * time.Hour)})
	must(t, err)
	for _, b := range []string{"b1", "b2"} {
		k.planning.put(stock(b, 100, monday.Add(14*time.Hour)))
	}
	draft := k.solve(scheduling.Solve{})
	if len(draft.Report.Late) != 1 {
		t.Fatalf("%+v", draft.Report)
	}
	late := draft.Report.Late[0]
	back := remedyOf(late.Remedies, scheduling.RemedyVesselBack)
	if back == nil || back.Changes[0].Vessel != site+"/vessels/kettle-2" || back.LateBatches != 0 || !strings.Contains(back.Text, "Kettle 2 in service on Mon 23 Nov 06:00-") {
		t.Errorf("vessel back: %+v in %+v", back, late.Remedies)
	}
	other := remedyOf(late.Remedies, scheduling.RemedyLaterDispatch)
	if other == nil || other.Changes[0].Batch == late.Batch || other.LateBatches != 1 {
		t.Errorf("later dispatch of the other: %+v", other)
	}
	for _, r := range late.Remedies {
		readable(t, r.Text)
		if slices.ContainsFunc(r.Changes, func(c scheduling.RemedyChange) bool {
			return c.Kind == scheduling.RemedyLeaveOut && c.Batch == late.Batch
		}) {
			t.Error("not to make the late batch is called a remedy")
		}
	}
	reason := late.Reasons[len(late.Reasons)-1]
	readable(t, reason)
	for _, words := range []string{"Impossible together: ", "needs Kettle 1 or Kettle 2 for 5 h", "before Mon 23 Nov 20:00", "Kettle 2 is out of service", "one batch at a time"} {
		if !strings.Contains(reason, words) {
			t.Errorf("does not say %q: %s", words, reason)
		}
	}
	t.Log(reason)
}

func TestThreeBatchesBeforeTheEndOfTheScheduleAreImpossibleTogether(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	for _, b := range []string{"b1", "b2", "b3"} {
		k.planning.put(stock(b, 100, monday.Add(14*time.Hour)))
	}
	draft := k.solve(scheduling.Solve{End: monday.Add(14 * time.Hour), Budget: 60})
	if len(draft.Assignments) != 0 {
		t.Fatalf("placed: %+v", draft.Report)
	}
	c := draft.Report.Conflicts[0]
	readable(t, c.Text)
	if draft.Report.Status != scheduling.StatusInfeasible || !c.Proved || !c.Minimal || len(c.Batches) == 0 {
		t.Errorf("%+v", c)
	}
	if r := remedyOf(c.Remedies, scheduling.RemedyLaterEnd); r == nil || r.Changes[0].Amount <= 0 || r.Changes[0].Amount > 2*time.Hour {
		t.Errorf("later end: %+v of %+v", r, c.Remedies)
	}
	t.Log(draft.Report.Summary)
}
