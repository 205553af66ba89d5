package scheduling_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"rondeau.internal/services/scheduling"
)

func TestAScheduleIsComputedPublishedAndBecomesRuns(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.planning.put(stock("b1", 100, monday.Add(48*time.Hour)))
	k.planning.put(stock("b2", 80, monday.Add(48*time.Hour)))
	draft := k.solve(scheduling.Solve{Plan: site + "/plans/week"})
	if len(draft.Assignments) != 6 || len(draft.Report.Late) != 0 {
		t.Fatalf("placed %d steps, report %+v", len(draft.Assignments), draft.Report)
	}
	simmer, reduce := place(t, draft, "b1", "simmer"), place(t, draft, "b1", "reduce")
	if !strings.Contains(simmer.Basis, "to bring 100 L from 10") || simmer.End.Sub(simmer.Start) < 4*time.Hour {
		t.Errorf("simmer takes %v: %s", simmer.End.Sub(simmer.Start), simmer.Basis)
	}
	if wait := reduce.Start.Sub(simmer.End); wait < 0 || wait > time.Hour {
		t.Errorf("the reduction begins %v after the simmer", wait)
	}
	if !simmer.HeldUntil.Equal(reduce.Start) {
		t.Errorf("the kettle is held until %v, the reduction begins %v", simmer.HeldUntil, reduce.Start)
	}
	published := k.publish(draft)
	if published.State != scheduling.SchedulePublished || published.Publisher != "ines" {
		t.Errorf("published: %s by %s", published.State, published.Publisher)
	}
	runs, err := k.Runs(t.Context(), scheduling.ListQuery{Parent: site + "/batches/-", Limit: 20})
	must(t, err)
	if len(runs) != 6 || runs[0].State != scheduling.RunPlanned || runs[0].Step.Duration.Simmer == nil {
		t.Fatalf("%d runs, the first %+v", len(runs), runs[0])
	}
	_, err = k.PublishSchedule(t.Context(), scheduling.Publish{Name: draft.Name})
	refused(t, err, scheduling.ScheduleNotDraft, "compute a new schedule")
	if got := k.facts.said; len(got) != 1 || got[0] != "schedule published, superseding false" {
		t.Errorf("said %v", got)
	}
}

func TestTheSameDataSeedAndBudgetGiveTheSameSchedule(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	for _, b := range []string{"b1", "b2", "b3"} {
		k.planning.put(stock(b, 90, monday.Add(20*time.Hour)))
	}
	first := k.solve(scheduling.Solve{Seed: 7})
	second := k.solve(scheduling.Solve{Seed: 7})
	for i, a := range first.Assignments {
		b := second.Assignments[i]
		if a.Batch != b.Batch || a.Mode != b.Mode || !a.Start.Equal(b.Start) {
			t.Fatalf("step %d is %s %v in one and %s %v in the other", i, a.Mode, a.Start, b.Mode, b.Start)
		}
	}
}

func TestLateBatchesAreExplainedInTheWordsOfTheKitchen(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	_, err := k.TakeVesselDown(t.Context(), scheduling.TakeDown{Name: site + "/vessels/kettle-2", Reason: "seal leaks", Actor: "rui"})
	must(t, err)
	for _, b := range []string{"b1", "b2"} {
		k.planning.put(stock(b, 100, monday.Add(14*time.Hour)))
	}
	draft := k.solve(scheduling.Solve{})
	if len(draft.Report.Late) == 0 {
		t.Fatalf("nothing is late: %+v", draft.Report)
	}
	late := draft.Report.Late[0]
	text := strings.Join(late.Reasons, " ")
	if strings.Contains(text, "sites/") || strings.Contains(text, " / ") {
		t.Errorf("names of the machine: %s", text)
	}
	for _, word := range []string{"Brown stock", "Its longest step is"} {
		if !strings.Contains(text, word) {
			t.Errorf("%q does not say %q", text, word)
		}
	}
	if !strings.Contains(draft.Report.Summary, "late") {
		t.Errorf("summary: %s", draft.Report.Summary)
	}
	t.Log(draft.Report.Summary, late.Reasons)
}

func TestABatchThatFitsNoVesselSaysWhy(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.planning.put(stock("b1", 140, monday.Add(48*time.Hour)))
	draft := k.solve(scheduling.Solve{})
	if draft.Report.Status != scheduling.StatusInfeasible || len(draft.Assignments) != 0 {
		t.Fatalf("report: %+v", draft.Report)
	}
	if text := draft.Report.Conflicts[0].Text; !strings.Contains(text, "Kettle 1 holds 120 L, the batch fills 140 L") {
		t.Errorf("conflict: %s", text)
	}
	_, err := k.PublishSchedule(t.Context(), scheduling.Publish{Name: draft.Name})
	refused(t, err, scheduling.ScheduleEmpty, "Kettle 1 holds 120 L")
}

func TestNothingToScheduleAndPlanningDownAreSaidAtOnce(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	_, err := k.SolveSchedule(t.Context(), scheduling.Solve{Site: site})
	refused(t, err, scheduling.NoBatches, "release a plan")
	b := stock("b1", 100, monday)
	b.State = scheduling.BatchPlanned
	k.planning.put(b)
	_, err = k.SolveSchedule(t.Context(), scheduling.Solve{Site: site, Batches: []string{b.Name}})
	refused(t, err, scheduling.BatchNotReleased, "release its plan first")
	k.planning.down = true
	_, err = k.SolveSchedule(t.Context(), scheduling.Solve{Site: site})
	refused(t, err, scheduling.PlanningUnavailable)
}

func TestAScheduleThatNoLongerFitsTheKitchenIsNotPublished(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.planning.put(stock("b1", 100, monday.Add(48*time.Hour)))
	draft := k.solve(scheduling.Solve{})
	used := place(t, draft, "b1", "simmer").Vessel
	_, err := k.TakeVesselDown(t.Context(), scheduling.TakeDown{Name: used, Reason: "no steam", Actor: "rui"})
	must(t, err)
	_, err = k.PublishSchedule(t.Context(), scheduling.Publish{Name: draft.Name})
	refused(t, err, scheduling.ScheduleBroken, "Simmer of Brown stock b1 is planned into Kettle", "out of service then")
	_, err = k.BringVesselUp(t.Context(), scheduling.BringUp{Name: used, Actor: "rui"})
	must(t, err)
	_, err = k.PublishSchedule(t.Context(), scheduling.Publish{Name: draft.Name, ValidateOnly: true})
	must(t, err)
	must(t, k.BatchCancelled(t.Context(), site+"/batches/b1", site+"/plans/week", "outlet closed"))
	_, err = k.PublishSchedule(t.Context(), scheduling.Publish{Name: draft.Name})
	refused(t, err, scheduling.ScheduleOutdated, "Brown stock b1 was cancelled")
}

func TestADraftThatLayTooLongIsOutdated(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.planning.put(stock("b1", 100, monday.Add(48*time.Hour)))
	draft := k.solve(scheduling.Solve{})
	k.clock.Advance(5 * time.Hour)
	_, err := k.PublishSchedule(t.Context(), scheduling.Publish{Name: draft.Name})
	refused(t, err, scheduling.ScheduleOutdated, "should have begun")
}

func TestReplanningKeepsWhatHasBegunAndMovesOffABrokenKettle(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.planning.put(stock("b1", 100, monday.Add(72*time.Hour)))
	k.planning.put(stock("b2", 100, monday.Add(72*time.Hour)))
	first := k.publish(k.solve(scheduling.Solve{}))
	simmer := place(t, first, "b1", "simmer")
	k.clock.Set(simmer.Start)
	started, err := k.StartRun(t.Context(), scheduling.StartRun{Name: runOf("b1", "simmer"), Actor: "rui"})
	must(t, err)
	// The other kettle fails for a day; b2 has to wait for the first one or for the repair.
	other := site + "/vessels/kettle-1"
	if started.Vessel == other {
		other = site + "/vessels/kettle-2"
	}
	k.clock.Advance(10 * time.Minute)
	if place(t, first, "b2", "simmer").Start.Before(k.clock.Now()) {
		t.Log("b2 should have begun as well; it is late now")
	}
	down := k.clock.Now()
	_, err = k.TakeVesselDown(t.Context(), scheduling.TakeDown{Name: other, Reason: "burner", End: down.Add(24 * time.Hour), Actor: "rui"})
	must(t, err)
	second := k.solve(scheduling.Solve{})
	fact := place(t, second, "b1", "simmer")
	if !fact.Started || !fact.Start.Equal(started.Start) || fact.Vessel != started.Vessel {
		t.Errorf("what had begun moved: %+v", fact)
	}
	moved := place(t, second, "b2", "simmer")
	if moved.Vessel == other && moved.Start.Before(down.Add(24*time.Hour)) {
		t.Errorf("b2 simmers in the broken kettle at %v", moved.Start)
	}
	if moved.PreviousStart.IsZero() || second.Reference != first.Name {
		t.Errorf("the published schedule is not the reference: %+v", moved)
	}
	published := k.publish(second)
	again, err := k.Schedule(t.Context(), first.Name)
	must(t, err)
	if again.State != scheduling.ScheduleSuperseded {
		t.Errorf("the first schedule is %s", again.State)
	}
	r, err := k.Run(t.Context(), runOf("b2", "simmer"))
	must(t, err)
	if r.Schedule != published.Name || !r.PlannedStart.Equal(moved.Start) {
		t.Errorf("the run was not moved: %+v", r)
	}
	kept, err := k.Run(t.Context(), runOf("b1", "simmer"))
	must(t, err)
	if kept.State != scheduling.RunRunning || kept.Schedule != first.Name {
		t.Errorf("the running run changed: %s of %s", kept.State, kept.Schedule)
	}
}

func TestADraftSurvivesTheStartOfOneOfItsSteps(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.planning.put(stock("b1", 100, monday.Add(48*time.Hour)))
	k.publish(k.solve(scheduling.Solve{}))
	draft := k.solve(scheduling.Solve{})
	k.clock.Set(place(t, draft, "b1", "simmer").Start.Add(time.Minute))
	_, err := k.StartRun(t.Context(), scheduling.StartRun{Name: runOf("b1", "simmer"), Start: place(t, draft, "b1", "simmer").Start, Actor: "rui"})
	must(t, err)
	published := k.publish(draft)
	if a := place(t, published, "b1", "simmer"); !a.Started || a.Run != runOf("b1", "simmer") {
		t.Errorf("the started step is %+v", a)
	}
}

func TestAnAbandonedComputationIsTakenUpAndGivenUpAfterThreeCrashes(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.planning.put(stock("b1", 100, monday.Add(48*time.Hour)))
	op, err := k.SolveSchedule(t.Context(), scheduling.Solve{Site: site, Budget: 50})
	must(t, err)
	crash := func(attempts int) {
		must(t, k.store.InTx(t.Context(), func(ctx context.Context) error {
			o, err := k.store.GetOperation(ctx, op.Name)
			if err != nil {
				return err
			}
			o.Stage, o.LeaseOwner, o.LeaseUntil, o.Attempts = scheduling.StageSolving, "gone", monday.Add(-time.Hour), attempts
			o.Version++
			return k.store.UpdateOperation(ctx, o)
		}))
	}
	crash(1)
	if draft := k.work(op); len(draft.Assignments) != 3 {
		t.Errorf("the second attempt placed %d steps", len(draft.Assignments))
	}
	o, err := k.Operation(t.Context(), op.Name)
	must(t, err)
	if o.Attempts != 2 {
		t.Errorf("%d attempts", o.Attempts)
	}

	op, err = k.SolveSchedule(t.Context(), scheduling.Solve{Site: site, Budget: 50})
	must(t, err)
	crash(3)
	ctx, stop := context.WithTimeout(t.Context(), 20*time.Second)
	defer stop()
	go func() {
		_ = scheduling.NewWorker(k.Service, scheduling.WorkerTiming{Poll: 10 * time.Millisecond}).Run(ctx)
	}()
	o, err = k.WaitOperation(ctx, op.Name, 15*time.Second)
	must(t, err)
	if o.Stage != scheduling.StageFailed || o.ErrorReason != scheduling.SolveInterrupted || !strings.Contains(o.ErrorText, "interrupted 3 times") {
		t.Errorf("ended %s: %s", o.Stage, o.ErrorText)
	}
}

func TestACancelledComputationKeepsItsBestSchedule(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	for _, b := range []string{"b1", "b2", "b3", "b4", "b5", "b6"} {
		k.planning.put(stock(b, 100, monday.Add(16*time.Hour)))
	}
	op, err := k.SolveSchedule(t.Context(), scheduling.Solve{Site: site, Budget: 1000000, MaxDuration: time.Hour})
	must(t, err)
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	defer stop()
	go func() {
		_ = scheduling.NewWorker(k.Service, scheduling.WorkerTiming{Poll: 10 * time.Millisecond, Report: 20 * time.Millisecond}).Run(ctx)
	}()
	for {
		o, err := k.WaitOperation(ctx, op.Name, 50*time.Millisecond)
		must(t, err)
		if o.Best != nil || o.Done() {
			break
		}
	}
	_, err = k.CancelOperation(ctx, op.Name)
	must(t, err)
	o, err := k.WaitOperation(ctx, op.Name, 30*time.Second)
	must(t, err)
	if o.Stage != scheduling.StageCancelled || o.Schedule == "" || o.ErrorReason != scheduling.SolveCancelled {
		t.Fatalf("ended %s: %s", o.Stage, o.ErrorText)
	}
	kept, err := k.Schedule(t.Context(), o.Schedule)
	must(t, err)
	if len(kept.Assignments) != 18 {
		t.Errorf("kept %d steps", len(kept.Assignments))
	}
}

func TestAnOrderlyStopGivesTheComputationBack(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	for _, b := range []string{"b1", "b2", "b3", "b4"} {
		k.planning.put(stock(b, 100, monday.Add(16*time.Hour)))
	}
	op, err := k.SolveSchedule(t.Context(), scheduling.Solve{Site: site, Budget: 1000000, MaxDuration: 2 * time.Second})
	must(t, err)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		ended <- scheduling.NewWorker(k.Service, scheduling.WorkerTiming{Poll: 10 * time.Millisecond, Report: 20 * time.Millisecond}).Run(ctx)
	}()
	for {
		o, err := k.WaitOperation(t.Context(), op.Name, 50*time.Millisecond)
		must(t, err)
		if o.Best != nil {
			break
		}
	}
	stop()
	must(t, <-ended)
	o, err := k.Operation(t.Context(), op.Name)
	must(t, err)
	if o.Stage != scheduling.StageWaiting || len(o.Warm) != 12 || o.Attempts != 0 {
		t.Fatalf("after the stop: %s with %d places, %d attempts", o.Stage, len(o.Warm), o.Attempts)
	}
	if draft := k.work(op); len(draft.Assignments) != 12 || !draft.Report.Stopped {
		t.Errorf("after the restart: %+v", draft.Report)
	}
}

func TestConflictsSpeakOfTheKitchenAndSayWhatWouldHelp(t *testing.T) {
	t.Parallel()
	hours := func(b *scheduling.Batch, i int, d time.Duration) {
		b.Steps[i].Duration, b.Steps[i].Attendance = scheduling.DurationModel{Fixed: ptr(d)}, scheduling.AttendWhole
	}
	for name, spoil := range map[string]func(b *scheduling.Batch){
		"no shift is long enough":        func(b *scheduling.Batch) { hours(b, 1, 17*time.Hour) },
		"more people than the crew has":  func(b *scheduling.Batch) { b.Steps[1].CrewCount = 4 },
		"a wait shorter than it must be": func(b *scheduling.Batch) { hours(b, 0, 15*time.Hour); hours(b, 1, 15*time.Hour) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := newKitchen(t)
			b := stock("b1", 100, monday.Add(48*time.Hour))
			spoil(&b)
			k.planning.put(b)
			draft := k.solve(scheduling.Solve{Budget: 50})
			if len(draft.Assignments) != 0 || len(draft.Report.Conflicts) == 0 {
				t.Fatalf("report: %+v", draft.Report)
			}
			for _, c := range draft.Report.Conflicts {
				text := c.Text + " " + strings.Join(c.Relaxations, " ")
				if strings.Contains(text, "sites/") || strings.Contains(text, " / ") {
					t.Errorf("names of the machine: %s", text)
				}
				t.Log(c.Kind, c.Proved, text)
			}
		})
	}
}

// The benchmark is a week of 40 batches on two kettles, a pan and a chiller: problem, physics and 300 plans.
func BenchmarkAWeekOfFortyBatches(b *testing.B) {
	k := newKitchen(b)
	for i := range 40 {
		k.planning.put(stock(fmt.Sprintf("b%02d", i), 60+float64(i%6)*10, monday.Add(time.Duration(24+3*i)*time.Hour)))
	}
	for b.Loop() {
		k.solve(scheduling.Solve{Budget: 300})
	}
}
