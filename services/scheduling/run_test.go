package scheduling_test

import (
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/services/scheduling"
)

// cooking is a kitchen with a published schedule of b1 and b2.
func cooking(t *testing.T) *kitchen {
	t.Helper()
	return newKitchen(t).cooking()
}

func (k *kitchen) cooking() *kitchen {
	k.t.Helper()
	k.planning.put(stock("b1", 100, monday.Add(72*time.Hour)))
	k.planning.put(stock("b2", 100, monday.Add(72*time.Hour)))
	k.publish(k.solve(scheduling.Solve{}))
	k.facts.said = nil
	return k
}

func (k *kitchen) start(batch, step, vessel string) scheduling.Run {
	k.t.Helper()
	c := scheduling.StartRun{Name: runOf(batch, step), Actor: "rui"}
	if vessel != "" {
		c.Vessel = site + "/vessels/" + vessel
	}
	r, err := k.StartRun(k.t.Context(), c)
	must(k.t, err)
	return r
}

func (k *kitchen) finish(batch, step string) scheduling.Run {
	k.t.Helper()
	r, err := k.FinishRun(k.t.Context(), scheduling.FinishRun{Name: runOf(batch, step), Actor: "rui"})
	must(k.t, err)
	return r
}

func TestABatchIsCookedStepByStep(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, k *kitchen) { cookStepByStep(t, k.cooking()) })
}

func cookStepByStep(t *testing.T, k *kitchen) {
	t.Helper()
	k.planning.down = true // runs are recorded all the same
	r := k.start("b1", "simmer", "kettle-1")
	if r.Operator != "rui" || r.Forecast == nil || ids(r.Next) != "reduce,chill" {
		t.Errorf("started: %+v", r)
	}
	v, err := k.Vessel(t.Context(), site+"/vessels/kettle-1")
	must(t, err)
	if v.MaterialState != "stock" || ids(v.Running) != "simmer" {
		t.Errorf("vessel: %q %v", v.MaterialState, v.Running)
	}
	k.clock.Advance(5 * time.Hour)
	k.finish("b1", "simmer")
	k.clock.Advance(10 * time.Minute)
	k.start("b1", "reduce", "pan")
	k.clock.Advance(2 * time.Hour)
	mass := 30.0
	finished, err := k.FinishRun(t.Context(), scheduling.FinishRun{Name: runOf("b1", "reduce"), Outputs: []scheduling.Output{{MassKg: &mass}}, Note: "glossy", Actor: "eva"})
	must(t, err)
	if *finished.Outputs[0].MassKg != 30 || finished.FinishRecorder != "eva" || finished.StartRecorder != "rui" {
		t.Errorf("finished: %+v", finished)
	}
	k.start("b1", "chill", "")
	k.clock.Advance(time.Hour)
	k.finish("b1", "chill")
	want := "simmer started in kettle-1 by rui|simmer finished, batch finished false|reduce started in pan by rui|" +
		"reduce finished, batch finished false|chill started in blast by rui|chill finished, batch finished true"
	if got := strings.Join(k.facts.said, "|"); got != want {
		t.Errorf("said %s", got)
	}
}

func TestStartsThatCannotBeAreRefused(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, k *kitchen) { startInVain(t, k.cooking()) })
}

func startInVain(t *testing.T, k *kitchen) {
	t.Helper()
	try := func(c scheduling.StartRun) error {
		_, err := k.StartRun(t.Context(), c)
		return err
	}
	refused(t, try(scheduling.StartRun{Name: runOf("b9", "simmer")}), scheduling.RunMissing)
	refused(t, try(scheduling.StartRun{Name: runOf("b1", "simmer"), Start: monday.Add(3 * time.Minute)}), scheduling.TimeImplausible, "in the future")
	refused(t, try(scheduling.StartRun{Name: runOf("b1", "simmer"), Etag: "v9"}), scheduling.EtagMismatch, "read it again")
	refused(t, try(scheduling.StartRun{Name: runOf("b1", "reduce")}), scheduling.PreviousStepNotFinished, "Simmer", "late entries are welcome")
	refused(t, try(scheduling.StartRun{Name: runOf("b1", "simmer"), Vessel: site + "/vessels/pan"}), scheduling.VesselUnsuitable, "holds 90 L")
	refused(t, try(scheduling.StartRun{Name: runOf("b1", "simmer"), Vessel: site + "/vessels/none"}), scheduling.VesselMissing)
	refused(t, try(scheduling.StartRun{Name: runOf("b1", "simmer"), Vessel: "sites/other/vessels/kettle-1"}), scheduling.Malformed, "another site")
	_, err := k.TakeVesselDown(t.Context(), scheduling.TakeDown{Name: site + "/vessels/kettle-1", Reason: "no water", Actor: "rui"})
	must(t, err)
	refused(t, try(scheduling.StartRun{Name: runOf("b1", "simmer"), Vessel: site + "/vessels/kettle-1"}), scheduling.VesselDown, "no water")
	k.start("b1", "simmer", "kettle-2")
	refused(t, try(scheduling.StartRun{Name: runOf("b1", "simmer")}), scheduling.RunNotPlanned, "running already", "rui")
	refused(t, try(scheduling.StartRun{Name: runOf("b2", "simmer"), Vessel: site + "/vessels/kettle-2"}), scheduling.VesselOccupied, runOf("b1", "simmer"))
	k.clock.Advance(time.Hour)
	k.finish("b1", "simmer")
	// A late entry may not overlap what was recorded.
	refused(t, try(scheduling.StartRun{Name: runOf("b2", "simmer"), Vessel: site + "/vessels/kettle-2", Start: monday.Add(30 * time.Minute)}), scheduling.VesselOccupied, "occupied by")
	_, err = k.FinishRun(t.Context(), scheduling.FinishRun{Name: runOf("b2", "simmer")})
	refused(t, err, scheduling.RunNotRunning, "record its start first")
	_, err = k.FinishRun(t.Context(), scheduling.FinishRun{Name: runOf("b1", "simmer")})
	refused(t, err, scheduling.RunNotRunning, "finished already")
}

func TestOfCooksWhoStartTwoRunsInOneKettleOneWins(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, k *kitchen) { startTwoAtOnce(t, k.cooking()) })
}

func startTwoAtOnce(t *testing.T, k *kitchen) {
	t.Helper()
	var wait sync.WaitGroup
	errs := make([]error, 2)
	for i, batch := range []string{"b1", "b2"} {
		wait.Add(1)
		go func() {
			defer wait.Done()
			_, errs[i] = k.StartRun(t.Context(), scheduling.StartRun{Name: runOf(batch, "simmer"), Vessel: site + "/vessels/kettle-1", Actor: batch})
		}()
	}
	wait.Wait()
	if (errs[0] == nil) == (errs[1] == nil) {
		t.Fatalf("both or none: %v, %v", errs[0], errs[1])
	}
	for _, err := range errs {
		if err != nil && apierr.ReasonOf(err) != scheduling.VesselOccupied {
			t.Errorf("refused with %v", err)
		}
	}
}

func TestLateEntriesAndLongWaitsAreNoted(t *testing.T) {
	t.Parallel()
	k := cooking(t)
	k.clock.Advance(8 * time.Hour)
	r, err := k.StartRun(t.Context(), scheduling.StartRun{Name: runOf("b1", "simmer"), Vessel: site + "/vessels/kettle-2", Start: monday, Actor: "rui"})
	must(t, err)
	if !strings.Contains(strings.Join(r.Notices, "|"), "late entry: the start was recorded 8 h after") {
		t.Errorf("notices: %v", r.Notices)
	}
	_, err = k.FinishRun(t.Context(), scheduling.FinishRun{Name: r.Name, Finish: monday.Add(-time.Hour)})
	refused(t, err, scheduling.TimeImplausible, "before it was started")
	f, err := k.FinishRun(t.Context(), scheduling.FinishRun{Name: r.Name, Finish: monday.Add(5 * time.Hour), Actor: "rui"})
	must(t, err)
	if !f.Finish.Equal(monday.Add(5*time.Hour)) || !f.FinishRecord.Equal(monday.Add(8*time.Hour)) {
		t.Errorf("finished %v, recorded %v", f.Finish, f.FinishRecord)
	}
	next := k.start("b1", "reduce", "")
	if text := strings.Join(next.Notices, "|"); !strings.Contains(text, "waited 3 h after Simmer; the formula allows 1 h: tell the safety lead") {
		t.Errorf("notices: %v", text)
	}
}

func TestAnAbortedStepIsPlannedAgainAsANewRun(t *testing.T) {
	t.Parallel()
	k := cooking(t)
	k.start("b1", "simmer", "kettle-1")
	k.clock.Advance(time.Hour)
	_, err := k.AbortRun(t.Context(), scheduling.AbortRun{Name: runOf("b1", "simmer"), Reason: "scorched", Actor: "rui"})
	must(t, err)
	_, err = k.StartRun(t.Context(), scheduling.StartRun{Name: runOf("b1", "reduce")})
	refused(t, err, scheduling.PreviousStepNotFinished, "ABORTED")
	published := k.publish(k.solve(scheduling.Solve{}))
	a := place(t, published, "b1", "simmer")
	if a.Run != runOf("b1", "simmer")+"-2" || a.Start.Before(k.clock.Now()) {
		t.Errorf("planned again as %s at %v", a.Run, a.Start)
	}
	r, err := k.Run(t.Context(), a.Run)
	must(t, err)
	if r.State != scheduling.RunPlanned || r.StepID != "simmer" {
		t.Errorf("new run: %+v", r)
	}
}

func TestACancelledBatchTakesItsPlannedRunsBack(t *testing.T) {
	t.Parallel()
	k := cooking(t)
	k.start("b1", "simmer", "kettle-1")
	for range 2 { // the news may come twice
		must(t, k.BatchCancelled(t.Context(), site+"/batches/b1", site+"/plans/week", "outlet closed"))
		must(t, k.BatchCancelled(t.Context(), site+"/batches/b2", site+"/plans/week", "outlet closed"))
	}
	must(t, k.BatchCancelled(t.Context(), site+"/batches/unknown", site+"/plans/week", "before its time"))
	r, err := k.Run(t.Context(), runOf("b2", "simmer"))
	must(t, err)
	if r.State != scheduling.RunCancelled || !strings.Contains(r.AbortReason, "outlet closed") {
		t.Errorf("b2: %+v", r)
	}
	r, err = k.Run(t.Context(), runOf("b1", "simmer"))
	must(t, err)
	if r.State != scheduling.RunRunning || len(r.Notices) == 0 || strings.Count(strings.Join(r.Notices, "|"), "outlet closed") != 1 {
		t.Errorf("b1: %s %v", r.State, r.Notices)
	}
}

func TestAReplacedPlanTakesItsRunsBackButForKeptBatches(t *testing.T) {
	t.Parallel()
	k := cooking(t)
	must(t, k.PlanReleased(t.Context(), site+"/plans/next", site+"/plans/week", []string{site + "/batches/b2"}))
	must(t, k.PlanReleased(t.Context(), site+"/plans/next", site+"/plans/week", []string{site + "/batches/b2"}))
	for batch, want := range map[string]scheduling.RunState{"b1": scheduling.RunCancelled, "b2": scheduling.RunPlanned} {
		r, err := k.Run(t.Context(), runOf(batch, "simmer"))
		must(t, err)
		if r.State != want {
			t.Errorf("%s is %s", batch, r.State)
		}
	}
}

func (k *kitchen) measure(run string, kind scheduling.MeasurementKind, value float64, at time.Time) (scheduling.Measurement, error) {
	return k.RecordMeasurement(k.t.Context(), scheduling.Measurement{
		Run: run, Name: run + "/measurements/" + strings.ToLower(strings.ReplaceAll(string(kind), "_", "-")) + at.Format("-150405"), Kind: kind, Value: value,
		ObserveTime: at, Recorder: "rui",
	})
}

// reducing is a kitchen in which b1 has been reducing in the wide pan since the returned moment.
func reducing(t *testing.T) (*kitchen, time.Time, string) {
	t.Helper()
	k := cooking(t)
	k.start("b1", "simmer", "kettle-1")
	k.clock.Advance(5 * time.Hour)
	k.finish("b1", "simmer")
	k.start("b1", "reduce", "pan")
	k.facts.said = nil
	return k, k.clock.Now(), runOf("b1", "reduce")
}

func TestTheForecastOfAReductionFollowsWhatIsMeasured(t *testing.T) {
	t.Parallel()
	k, begin, run := reducing(t)
	before, err := k.ForecastRun(t.Context(), run)
	must(t, err)
	// A pan that loses 6 kg/h from 58 kg: 30 kg, half of the filling (60 L at 90 degC weigh 58 kg, so 29 kg), after 29/6 h.
	start := 58.0
	for i := range 5 {
		at := begin.Add(time.Duration(i) * 15 * time.Minute)
		k.clock.Set(at)
		_, err := k.measure(run, scheduling.MeasureMassKg, start-6*at.Sub(begin).Hours(), at)
		must(t, err)
	}
	after, err := k.ForecastRun(t.Context(), run)
	must(t, err)
	if after.Expected.Sub(before.Expected) < time.Hour {
		t.Errorf("a slow pan moved the forecast from %v to %v only", before.Expected, after.Expected)
	}
	if !after.Earliest.Before(after.Expected) || !after.Latest.After(after.Expected) || after.Coverage != 0.8 {
		t.Errorf("interval %v to %v around %v", after.Earliest, after.Latest, after.Expected)
	}
	hours := after.Expected.Sub(begin).Hours()
	if math.Abs(hours-29.0/6) > 0.75 {
		t.Errorf("finish after %.2f h, a straight line through the measurements says %.2f h", hours, 29.0/6)
	}
	r, err := k.Run(t.Context(), run)
	must(t, err)
	if r.Summary.Count != 5 || *r.Summary.MassKg != 52 {
		t.Errorf("summary: %+v", r.Summary)
	}
	changed := 0
	for _, said := range k.facts.said {
		if strings.HasPrefix(said, "forecast of reduce changed") {
			changed++
		}
	}
	if changed == 0 || changed > 5 {
		t.Errorf("%d changes told: %v", changed, k.facts.said)
	}
	if !strings.Contains(strings.Join(after.Notices, "|"), "far less than the vessel's heat should give") {
		t.Errorf("notices %v; basis: %s", after.Notices, after.Basis)
	}
	if !strings.Contains(after.Basis, "5 measurements of this run") {
		t.Errorf("basis: %s", after.Basis)
	}
}

func TestAFinishedReductionTeachesItsVessel(t *testing.T) {
	t.Parallel()
	k, begin, run := reducing(t)
	name := must1(k.Run(t.Context(), run)).Vessel
	for i := range 5 {
		at := begin.Add(time.Duration(i) * 15 * time.Minute)
		k.clock.Set(at)
		_, err := k.measure(run, scheduling.MeasureMassKg, 58-6*at.Sub(begin).Hours(), at)
		must(t, err)
	}
	if v := must1(k.Vessel(t.Context(), name)); v.Learned != nil {
		t.Fatalf("learned before the finish: %+v", v.Learned)
	}
	k.clock.Set(begin.Add(5 * time.Hour))
	k.finish("b1", "reduce")
	v := must1(k.Vessel(t.Context(), name))
	if v.Learned == nil || v.Learned.Run != run || v.Learned.Belief.Readings != 5 {
		t.Fatalf("learned %+v", v.Learned)
	}
	if median, low, high := v.Learned.Heat(); median > 0.9 || low >= median || high <= median {
		t.Errorf("a slow pan is believed to have %.2f (%.2f to %.2f) of its heat", median, low, high)
	}
	rename := func(v scheduling.Vessel) (scheduling.Vessel, error) { v.DisplayName = "Old pan"; return v, nil }
	if v := must1(k.UpdateVessel(t.Context(), name, "", rename)); v.Learned == nil {
		t.Error("a new name made what was learned forgotten")
	}
	repaired := func(v scheduling.Vessel) (scheduling.Vessel, error) { v.PowerWatts *= 1.5; return v, nil }
	must1(k.UpdateVessel(t.Context(), name, "", repaired))
	if v := must1(k.Vessel(t.Context(), name)); v.Learned != nil {
		t.Errorf("with another burner it is still believed that %s", v.Learned.Words())
	}
}

func TestAReachedTargetIsSaid(t *testing.T) {
	t.Parallel()
	k, begin, run := reducing(t)
	k.clock.Set(begin.Add(2 * time.Hour))
	_, err := k.measure(run, scheduling.MeasureBrixDegrees, 10.1, k.clock.Now())
	must(t, err)
	f, err := k.ForecastRun(t.Context(), run)
	must(t, err)
	if !strings.Contains(strings.Join(f.Notices, "|"), "the target is reached") {
		t.Errorf("forecast %+v", f)
	}
}

func TestTheHoldOfASimmerCountsFromTheMeasuredTemperature(t *testing.T) {
	t.Parallel()
	k := cooking(t)
	k.start("b1", "simmer", "kettle-1")
	run := runOf("b1", "simmer")
	k.clock.Advance(30 * time.Minute)
	_, err := k.measure(run, scheduling.MeasureTemperatureCelsius, 40, k.clock.Now())
	must(t, err)
	cold, err := k.ForecastRun(t.Context(), run)
	must(t, err)
	if !strings.Contains(cold.Basis, "40.0 degC measured") {
		t.Errorf("basis: %s", cold.Basis)
	}
	hot := k.clock.Advance(90 * time.Minute)
	_, err = k.measure(run, scheduling.MeasureTemperatureCelsius, 99.2, hot)
	must(t, err)
	f, err := k.ForecastRun(t.Context(), run)
	must(t, err)
	if !f.Expected.Equal(hot.Add(4 * time.Hour)) {
		t.Errorf("expected %v, the hold ends %v", f.Expected, hot.Add(4*time.Hour))
	}
	if at := hot.UTC().Format(time.RFC3339); !strings.Contains(f.Basis, at) { // a whole moment, which a client can write in its zone
		t.Errorf("basis %q does not tell the moment %s", f.Basis, at)
	}
}

func TestMeasurementsThatCannotBeAreRefused(t *testing.T) {
	t.Parallel()
	k, begin, run := reducing(t)
	_, err := k.measure(run, scheduling.MeasureMassKg, 50, begin.Add(time.Hour))
	refused(t, err, scheduling.TimeImplausible, "in the future")
	_, err = k.measure(run, scheduling.MeasureMassKg, 50, begin.Add(-time.Hour))
	refused(t, err, scheduling.TimeImplausible, "outside the run")
	_, err = k.measure(run, scheduling.MeasureVolumeLiters, 200, begin)
	refused(t, err, scheduling.MeasurementImplausible, "Wide pan")
	_, err = k.measure(run, scheduling.MeasureLevelMeters, 0.3, begin)
	refused(t, err, scheduling.MeasurementImplausible, "above the brim")
	_, err = k.measure(runOf("b1", "chill"), scheduling.MeasureTemperatureCelsius, 5, begin)
	refused(t, err, scheduling.RunNotRunning, "has not been started")
	first, err := k.measure(run, scheduling.MeasureMassKg, 57, begin)
	must(t, err)
	again, err := k.measure(run, scheduling.MeasureMassKg, 57, begin)
	must(t, err)
	if first.UID != again.UID {
		t.Errorf("the same measurement was written twice")
	}
	_, err = k.RecordMeasurement(t.Context(), scheduling.Measurement{Run: run, Name: first.Name, Kind: first.Kind, Value: 56, ObserveTime: begin})
	refused(t, err, scheduling.MeasurementExists)
	_, err = k.ForecastRun(t.Context(), runOf("b1", "simmer"))
	refused(t, err, scheduling.ForecastNotPossible, "FINISHED")
}

func TestASharedVesselCarriesNoMoreThanItsCapacity(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	for _, name := range []string{"b1", "b2"} {
		k.planning.put(scheduling.Batch{
			Name: site + "/batches/" + name, DisplayName: name, State: scheduling.BatchReleased, Due: monday.Add(100 * time.Hour), Weight: 1,
			Steps: []scheduling.Step{{
				ID: "hold", DisplayName: "Set", Kind: scheduling.KindHold, VesselClasses: []string{"walk-in"}, Attendance: scheduling.AttendNone, UnattendedAllowed: true,
				LoadKg: 60, Duration: scheduling.DurationModel{Fixed: ptr(12 * time.Hour)},
			}},
		})
	}
	published := k.publish(k.solve(scheduling.Solve{}))
	first, second := place(t, published, "b1", "hold"), place(t, published, "b2", "hold")
	if first.Start.Before(second.End) && second.Start.Before(first.End) {
		t.Errorf("120 kg in a walk-in of 100 kg: %v and %v", first.Start, second.Start)
	}
	k.start("b1", "hold", "")
	_, err := k.StartRun(t.Context(), scheduling.StartRun{Name: runOf("b2", "hold"), Actor: "rui"})
	refused(t, err, scheduling.VesselOccupied, "carries 100 kg and would have to carry 120 kg")
}

func TestDownWindowsAreReportedOnceAndEnd(t *testing.T) {
	t.Parallel()
	k := cooking(t)
	name := site + "/vessels/kettle-1"
	_, err := k.TakeVesselDown(t.Context(), scheduling.TakeDown{Name: name, Reason: "x", Start: monday, End: monday.Add(-time.Hour)})
	refused(t, err, scheduling.WindowInvalid, "ends before it begins")
	_, err = k.BringVesselUp(t.Context(), scheduling.BringUp{Name: name})
	refused(t, err, scheduling.VesselNotDown)
	v, err := k.TakeVesselDown(t.Context(), scheduling.TakeDown{Name: name, Reason: "burner", Actor: "rui"})
	must(t, err)
	_, err = k.TakeVesselDown(t.Context(), scheduling.TakeDown{Name: name, Reason: "again", Actor: "eva"})
	refused(t, err, scheduling.VesselDown, "burner")
	_, err = k.BringVesselUp(t.Context(), scheduling.BringUp{Name: name, Etag: scheduling.Etag(v.Version - 1)})
	refused(t, err, scheduling.EtagMismatch)
	k.clock.Advance(time.Hour)
	v, err = k.BringVesselUp(t.Context(), scheduling.BringUp{Name: name, Etag: scheduling.Etag(v.Version), Actor: "eva"})
	must(t, err)
	if _, down := v.DownAt(k.clock.Now()); down || len(v.Down) != 1 || !v.Down[0].End.Equal(k.clock.Now()) {
		t.Errorf("windows: %+v", v.Down)
	}
	if !strings.HasPrefix(k.facts.said[0], "kettle-1 down: burner, planned") || k.facts.said[1] != "kettle-1 up" {
		t.Errorf("said %v", k.facts.said)
	}
}

func TestALateEntryMayLieBeforeALaterRunOfTheVessel(t *testing.T) {
	t.Parallel()
	k := cooking(t)
	k.clock.Advance(5 * time.Hour)
	k.start("b2", "simmer", "kettle-1") // since 11:00
	r, err := k.StartRun(t.Context(), scheduling.StartRun{Name: runOf("b1", "simmer"), Vessel: site + "/vessels/kettle-1", Start: monday, Actor: "rui"})
	must(t, err)
	if !r.OutBy.Equal(monday.Add(5 * time.Hour)) {
		t.Errorf("out by %v", r.OutBy)
	}
	k.clock.Advance(time.Hour)
	_, err = k.FinishRun(t.Context(), scheduling.FinishRun{Name: r.Name, Actor: "rui"})
	refused(t, err, scheduling.VesselOccupied, "really out of it", runOf("b2", "simmer"))
	_, err = k.FinishRun(t.Context(), scheduling.FinishRun{Name: r.Name, Finish: monday.Add(290 * time.Minute), Actor: "rui"})
	must(t, err)
}

func TestAnOverdueRunIsToldByTheClock(t *testing.T) {
	t.Parallel()
	k := cooking(t)
	r := k.start("b1", "simmer", "kettle-1")
	k.facts.said = nil
	k.clock.Set(r.Forecast.Expected.Add(4 * time.Minute))
	if told, err := k.WatchOverdue(t.Context()); told != 0 || err != nil {
		t.Fatalf("told %d, %v", told, err)
	}
	k.clock.Set(r.Forecast.Expected.Add(20 * time.Minute))
	for want := range []int{1, 0} { // once, then not again until it is overdue again
		if told, err := k.WatchOverdue(t.Context()); told != 1-want || err != nil {
			t.Fatalf("told %d, %v", told, err)
		}
	}
	if len(k.facts.said) != 1 || !strings.HasPrefix(k.facts.said[0], "forecast of simmer changed, delays") {
		t.Errorf("said %v", k.facts.said)
	}
	late, err := k.Run(t.Context(), r.Name)
	must(t, err)
	if !strings.Contains(strings.Join(late.Forecast.Notices, "|"), "overdue: the finish was expected 20 min ago") || !late.Forecast.Expected.After(k.clock.Now()) {
		t.Errorf("forecast: %+v", late.Forecast)
	}
	// What comes next is planned after it.
	second := k.solve(scheduling.Solve{})
	if a := place(t, second, "b1", "reduce"); a.Start.Before(late.Forecast.Expected) {
		t.Errorf("the reduction begins %v, the simmer ends %v", a.Start, late.Forecast.Expected)
	}
}

func TestAVesselIsKeptFreeWhileARunOfACancelledBatchIsInIt(t *testing.T) {
	t.Parallel()
	k := cooking(t)
	r := k.start("b1", "simmer", "kettle-1")
	must(t, k.BatchCancelled(t.Context(), site+"/batches/b1", site+"/plans/week", "outlet closed"))
	_, err := k.TakeVesselDown(t.Context(), scheduling.TakeDown{Name: site + "/vessels/kettle-2", Reason: "burner", Actor: "rui"})
	must(t, err)
	k.clock.Advance(time.Minute)
	published := k.publish(k.solve(scheduling.Solve{}))
	if a := place(t, published, "b2", "simmer"); a.Vessel != r.Vessel || a.Start.Before(r.Forecast.Expected) {
		t.Errorf("b2 is planned into %s at %v; b1 is in it until %v", a.Vessel, a.Start, r.Forecast.Expected)
	}
}
