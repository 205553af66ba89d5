package scheduling_test

import (
	"strings"
	"testing"
	"time"

	"rondeau.internal/services/scheduling"
)

func TestLatenessThatNobodyCanPlanAwayIsExplained(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	_, err := k.TakeVesselDown(t.Context(), scheduling.TakeDown{Name: site + "/vessels/kettle-2", Reason: "seal leaks", Actor: "rui", End: monday.Add(90 * time.Hour)})
	must(t, err)
	for _, b := range []string{"b1", "b2", "b3"} { // each is due before even one of them can be done
		k.planning.put(stock(b, 100, monday.Add(2*time.Hour)))
	}
	draft := k.solve(scheduling.Solve{Budget: 4000})
	if len(draft.Report.BoundReasons) == 0 || !strings.Contains(draft.Report.BoundReasons[0], "even in an empty kitchen") {
		t.Fatalf("bound reasons: %q", draft.Report.BoundReasons)
	}
	for _, text := range draft.Report.BoundReasons {
		readable(t, text)
	}
}
