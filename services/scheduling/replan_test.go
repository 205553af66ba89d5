package scheduling_test

import (
	"fmt"
	"testing"
	"time"

	"rondeau.internal/services/scheduling"
)

// moved counts the steps of a schedule that are not where the one before had them.
func moved(s scheduling.Schedule) int {
	n := 0
	for _, a := range s.Assignments {
		if !a.PreviousStart.IsZero() && (!a.PreviousStart.Equal(a.Start) || a.PreviousVessel != a.Vessel) {
			n++
		}
	}
	return n
}

func TestAgainstAPublishedScheduleTheRestStaysWhereItIs(t *testing.T) {
	t.Parallel()
	replanned := func(lateness int64) scheduling.Schedule {
		k := newKitchen(t)
		_, err := k.UpdateLimits(t.Context(), site+"/kitchenLimits", "", func(l scheduling.KitchenLimits) (scheduling.KitchenLimits, error) {
			l.Weights.Lateness = &lateness
			return l, nil
		})
		must(t, err)
		for i := range 9 { // more than two kettles do in time
			k.planning.put(stock(fmt.Sprintf("b%d", i+1), float64(40+7*(i*5%9)), monday.Add(time.Duration(14+3*(i*4%9))*time.Hour)))
		}
		k.publish(k.solve(scheduling.Solve{Budget: 1}))
		_, err = k.TakeVesselDown(t.Context(), scheduling.TakeDown{Name: site + "/vessels/kettle-1", Reason: "seal leaks", Actor: "rui", End: monday.Add(3 * time.Hour)})
		must(t, err)
		return k.solve(scheduling.Solve{Budget: 1500})
	}
	strict, calm := replanned(0), replanned(10)
	// Lateness first takes every minute there is; weighed, it may cost minutes and must leave more where it was.
	if calm.Report.Cost.Tardiness < strict.Report.Cost.Tardiness {
		t.Errorf("lateness weighed %d, lateness first %d", calm.Report.Cost.Tardiness, strict.Report.Cost.Tardiness)
	}
	if moved(calm) >= moved(strict) || moved(calm) == 0 {
		t.Errorf("%d steps moved with lateness weighed, %d with lateness first", moved(calm), moved(strict))
	}
	if calm.Report.Cost.Change >= strict.Report.Cost.Change {
		t.Errorf("change costs %d with lateness weighed, %d with lateness first", calm.Report.Cost.Change, strict.Report.Cost.Change)
	}
}
