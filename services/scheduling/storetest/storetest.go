// Package storetest is the contract that every Store of scheduling must keep.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/services/scheduling"
)

// noon is the moment at which everything in the suite begins.
var noon = time.Date(2026, 11, 24, 12, 0, 0, 0, time.UTC)

const site = "sites/quay"

func meta(version int64) scheduling.Meta {
	return scheduling.Meta{UID: fmt.Sprintf("uid-%d", version), Version: version, CreateTime: noon, UpdateTime: noon.Add(time.Duration(version) * time.Second)}
}

// Vessel makes an active vessel of the suite's site.
func Vessel(id string, capacityKg float64) scheduling.Vessel {
	return scheduling.Vessel{
		Name: site + "/vessels/" + id, Meta: meta(1), DisplayName: id, Class: "kettle", LoadCapacityKg: capacityKg, Active: true,
		Cleaning: &scheduling.Cleaning{Default: 20 * time.Minute, Changes: []scheduling.CleaningChange{{From: "*", To: "fish", Duration: time.Hour}}},
	}
}

func run(batch, step, vessel string, start, finish time.Time) scheduling.Run {
	r := scheduling.Run{
		Name: site + "/batches/" + batch + "/runs/" + step, Meta: meta(1), Batch: site + "/batches/" + batch, StepID: step,
		State: scheduling.RunPlanned, Vessel: site + "/vessels/" + vessel, PlannedStart: noon, PlannedEnd: noon.Add(time.Hour),
		Step: scheduling.Step{ID: step, Kind: scheduling.KindSimmer},
	}
	if !start.IsZero() {
		r.State, r.Start = scheduling.RunRunning, start
	}
	if !finish.IsZero() {
		r.State, r.Finish = scheduling.RunFinished, finish
	}
	return r
}

func one(string) bool    { return true }
func shared(string) bool { return false }

// Run runs the suite; open answers a Store over a fresh, migrated database.
func Run(t *testing.T, open func(t *testing.T) scheduling.Store) {
	for name, test := range map[string]func(t *testing.T, s scheduling.Store){
		"an outlook is wanted until it is made for all that has happened": outlooks,
		"outlooks are wanted of what is followed, and not of what was":    outlooksInOrder,
		"outlooks wanted at the same time are all counted":                outlooksAtOnce,
		"paces are kept by site, kind and class":                          paces,
		"masters are kept as they were written":                           masters,
		"a stale version is refused":                                      stale,
		"names that differ in case only are different":                    letterCase,
		"lists page by key while rows are added":                          paging,
		"a failed transaction leaves nothing behind":                      rollback,
		"a vessel carries one run at a time":                              oneRunAtATime,
		"a vessel carries one run at a time also in hindsight":            hindsight,
		"a shared vessel carries several runs":                            sharedVessel,
		"of two runs started at the same moment one wins":                 race,
		"a step has one open run":                                         oneOpenRun,
		"one schedule of a site is published":                             onePublished,
		"a cancelled batch stays cancelled":                               cancelledStays,
		"batches with begun runs are open until they are done":            openBatches,
		"measurements are listed by moment and kept":                      measurements,
		"operations that wait or were abandoned can be claimed":           claimable,
		"the limits of a site are written once and then changed":          limits,
		"a problem is kept with the operation and the schedule":           problems,
		"the material of a vessel changes without a new version":          material,
		"what a vessel has shown is kept":                                 belief,
		"runs of a state are listed by planned start":                     states,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			test(t, open(t))
		})
	}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func want(t *testing.T, err, kind error) {
	t.Helper()
	if !errors.Is(err, kind) {
		t.Fatalf("got %v, want %v", err, kind)
	}
}

func write(t *testing.T, s scheduling.Store, fn func(ctx context.Context) error) error {
	t.Helper()
	return s.InTx(t.Context(), fn)
}

func insertVessels(t *testing.T, s scheduling.Store, vessels ...scheduling.Vessel) {
	t.Helper()
	must(t, write(t, s, func(ctx context.Context) error {
		for _, v := range vessels {
			if err := s.InsertVessel(ctx, v); err != nil {
				return err
			}
		}
		return nil
	}))
}

// put inserts a run and, when it has begun, its stay in its vessel.
func put(ctx context.Context, s scheduling.Store, r scheduling.Run, exclusive func(string) bool) error {
	planned := r
	planned.State, planned.Start, planned.Finish = scheduling.RunPlanned, time.Time{}, time.Time{}
	if err := s.InsertRun(ctx, planned); err != nil {
		return err
	}
	if r.State == scheduling.RunPlanned {
		return nil
	}
	r.Meta = meta(2)
	return s.UpdateRun(ctx, r, exclusive)
}

func masters(t *testing.T, s scheduling.Store) {
	calendar := scheduling.Calendar{
		Name: site + "/calendars/day", Meta: meta(1), DisplayName: "Day", TimeZone: "Europe/Lisbon",
		Shifts:     []scheduling.Shift{{Weekday: time.Monday, Start: 360, End: 840, Overtime: true}},
		Exceptions: []scheduling.DayException{{Date: "2026-12-25", Note: "closed"}},
	}
	crew := scheduling.Crew{
		Name: site + "/crews/early", Meta: meta(1), DisplayName: "Early", Headcount: 3, Calendar: calendar.Name, Active: true,
		Absences: []scheduling.Absence{{Start: noon, End: noon.Add(time.Hour), Headcount: 1}},
	}
	vessel := Vessel("kettle-1", 0)
	vessel.Down = []scheduling.DownWindow{{Start: noon, Reason: "seal", Reporter: "ines"}}
	must(t, write(t, s, func(ctx context.Context) error {
		return errors.Join(s.InsertCalendar(ctx, calendar), s.InsertCrew(ctx, crew), s.InsertVessel(ctx, vessel))
	}))
	gotCalendar, err := s.GetCalendar(t.Context(), calendar.Name)
	must(t, err)
	if gotCalendar.Shifts[0] != calendar.Shifts[0] || gotCalendar.Exceptions[0].Note != "closed" || gotCalendar.UID != "uid-1" {
		t.Errorf("calendar came back as %+v", gotCalendar)
	}
	gotCrew, err := s.GetCrew(t.Context(), crew.Name)
	must(t, err)
	if gotCrew.Headcount != 3 || !gotCrew.Absences[0].End.Equal(noon.Add(time.Hour)) || !gotCrew.Active {
		t.Errorf("crew came back as %+v", gotCrew)
	}
	gotVessel, err := s.GetVessel(t.Context(), vessel.Name)
	must(t, err)
	if gotVessel.Cleaning.Changes[0] != vessel.Cleaning.Changes[0] || !gotVessel.Down[0].End.IsZero() || gotVessel.Down[0].Reason != "seal" {
		t.Errorf("vessel came back as %+v", gotVessel)
	}
	if !gotVessel.CreateTime.Equal(noon) || gotVessel.Version != 1 {
		t.Errorf("vessel came back with %+v", gotVessel.Meta)
	}
	_, err = s.GetVessel(t.Context(), site+"/vessels/none")
	want(t, err, scheduling.ErrNotFound)
	want(t, write(t, s, func(ctx context.Context) error { return s.InsertCrew(ctx, crew) }), scheduling.ErrExists)
}

func stale(t *testing.T, s scheduling.Store) {
	v := Vessel("kettle-1", 0)
	insertVessels(t, s, v)
	v.Meta, v.DisplayName = meta(2), "second"
	must(t, write(t, s, func(ctx context.Context) error { return s.UpdateVessel(ctx, v) }))
	v.DisplayName = "third"
	want(t, write(t, s, func(ctx context.Context) error { return s.UpdateVessel(ctx, v) }), scheduling.ErrStale)
	got, err := s.GetVessel(t.Context(), v.Name)
	must(t, err)
	if got.DisplayName != "second" || got.Version != 2 {
		t.Errorf("got %q at version %d", got.DisplayName, got.Version)
	}
}

func letterCase(t *testing.T, s scheduling.Store) {
	insertVessels(t, s, Vessel("kettle", 0), Vessel("Kettle", 0))
	got, err := s.GetVessel(t.Context(), site+"/vessels/Kettle")
	must(t, err)
	if got.DisplayName != "Kettle" {
		t.Errorf("got %q", got.DisplayName)
	}
}

func paging(t *testing.T, s scheduling.Store) {
	must(t, write(t, s, func(ctx context.Context) error {
		for i := range 5 {
			r := run(fmt.Sprintf("b%d", i), "simmer", "kettle", time.Time{}, time.Time{})
			r.PlannedStart = noon.Add(time.Duration(i/2) * time.Hour) // two share a moment
			if err := s.InsertRun(ctx, r); err != nil {
				return err
			}
		}
		return nil
	}))
	var names []string
	q := scheduling.ListQuery{Parent: site + "/batches/-", Limit: 2}
	for {
		page, err := s.ListRuns(t.Context(), q)
		must(t, err)
		for _, r := range page {
			names = append(names, r.StepID+r.Batch[len(r.Batch)-1:])
		}
		if len(page) < 2 {
			break
		}
		last := page[len(page)-1]
		q.After = []string{fmt.Sprint(last.PlannedStart.UnixMicro()), last.Name}
		if len(names) == 2 { // a row before the position does not disturb
			early := run("a0", "simmer", "kettle", time.Time{}, time.Time{})
			must(t, write(t, s, func(ctx context.Context) error { return s.InsertRun(ctx, early) }))
		}
	}
	if got := fmt.Sprint(names); got != "[simmer0 simmer1 simmer2 simmer3 simmer4]" {
		t.Errorf("paged through %s", got)
	}
	batch, err := s.ListRuns(t.Context(), scheduling.ListQuery{Parent: site + "/batches/b3", Limit: 10})
	must(t, err)
	if len(batch) != 1 {
		t.Errorf("a batch lists %d runs", len(batch))
	}
}

func rollback(t *testing.T, s scheduling.Store) {
	broken := errors.New("changed my mind")
	want(t, write(t, s, func(ctx context.Context) error {
		must(t, s.InsertVessel(ctx, Vessel("kettle-1", 0)))
		return broken
	}), broken)
	_, err := s.GetVessel(t.Context(), site+"/vessels/kettle-1")
	want(t, err, scheduling.ErrNotFound)
}

func oneRunAtATime(t *testing.T, s scheduling.Store) {
	insertVessels(t, s, Vessel("kettle-1", 0))
	must(t, write(t, s, func(ctx context.Context) error {
		return put(ctx, s, run("b1", "simmer", "kettle-1", noon, time.Time{}), one)
	}))
	second := run("b2", "simmer", "kettle-1", noon.Add(time.Hour), time.Time{})
	want(t, write(t, s, func(ctx context.Context) error { return put(ctx, s, second, one) }), scheduling.ErrOccupied)
	v, err := s.GetVessel(t.Context(), site+"/vessels/kettle-1")
	must(t, err)
	if fmt.Sprint(v.Running) != "[sites/quay/batches/b1/runs/simmer]" {
		t.Errorf("in the vessel: %v", v.Running)
	}
	first := run("b1", "simmer", "kettle-1", noon, noon.Add(time.Hour))
	first.Meta = meta(3)
	must(t, write(t, s, func(ctx context.Context) error { return s.UpdateRun(ctx, first, one) }))
	must(t, write(t, s, func(ctx context.Context) error { return put(ctx, s, second, one) })) // from the very moment on
}

func hindsight(t *testing.T, s scheduling.Store) {
	insertVessels(t, s, Vessel("kettle-1", 0))
	must(t, write(t, s, func(ctx context.Context) error {
		return put(ctx, s, run("b1", "simmer", "kettle-1", noon, noon.Add(2*time.Hour)), one)
	}))
	late := run("b2", "simmer", "kettle-1", noon.Add(time.Hour), noon.Add(3*time.Hour))
	want(t, write(t, s, func(ctx context.Context) error { return put(ctx, s, late, one) }), scheduling.ErrOccupied)
	before := run("b3", "simmer", "kettle-1", noon.Add(-time.Hour), noon)
	must(t, write(t, s, func(ctx context.Context) error { return put(ctx, s, before, one) }))
	found, err := s.Occupants(t.Context(), site+"/vessels/kettle-1", noon.Add(time.Minute), noon.Add(time.Hour))
	must(t, err)
	if len(found) != 1 || found[0].Run != site+"/batches/b1/runs/simmer" || !found[0].End.Equal(noon.Add(2*time.Hour)) {
		t.Errorf("occupants: %+v", found)
	}
}

func sharedVessel(t *testing.T, s scheduling.Store) {
	insertVessels(t, s, Vessel("walk-in", 400))
	must(t, write(t, s, func(ctx context.Context) error {
		return errors.Join(
			put(ctx, s, run("b1", "hold", "walk-in", noon, time.Time{}), shared),
			put(ctx, s, run("b2", "hold", "walk-in", noon, time.Time{}), shared))
	}))
	found, err := s.Occupants(t.Context(), site+"/vessels/walk-in", noon, time.Time{})
	must(t, err)
	if len(found) != 2 || !found[0].End.IsZero() {
		t.Errorf("occupants: %+v", found)
	}
}

func race(t *testing.T, s scheduling.Store) {
	insertVessels(t, s, Vessel("kettle-1", 0))
	const cooks = 6
	for i := range cooks {
		must(t, write(t, s, func(ctx context.Context) error {
			return s.InsertRun(ctx, run(fmt.Sprintf("b%d", i), "simmer", "kettle-1", time.Time{}, time.Time{}))
		}))
	}
	var wait sync.WaitGroup
	results := make([]error, cooks)
	for i := range cooks {
		wait.Add(1)
		go func() {
			defer wait.Done()
			r := run(fmt.Sprintf("b%d", i), "simmer", "kettle-1", noon.Add(time.Duration(i)*time.Minute), time.Time{})
			r.Meta = meta(2)
			results[i] = s.InTx(t.Context(), func(ctx context.Context) error { return s.UpdateRun(ctx, r, one) })
		}()
	}
	wait.Wait()
	won := 0
	for _, err := range results {
		if err == nil {
			won++
			continue
		}
		want(t, err, scheduling.ErrOccupied)
	}
	if won != 1 {
		t.Errorf("%d cooks took the vessel", won)
	}
}

func oneOpenRun(t *testing.T, s scheduling.Store) {
	first := run("b1", "simmer", "kettle-1", time.Time{}, time.Time{})
	second := first
	second.Name += "-2"
	must(t, write(t, s, func(ctx context.Context) error { return s.InsertRun(ctx, first) }))
	want(t, write(t, s, func(ctx context.Context) error { return s.InsertRun(ctx, second) }), scheduling.ErrExists)
	first.State, first.Meta = scheduling.RunCancelled, meta(2)
	must(t, write(t, s, func(ctx context.Context) error { return s.UpdateRun(ctx, first, nil) }))
	must(t, write(t, s, func(ctx context.Context) error { return s.InsertRun(ctx, second) }))
}

func schedule(id string, state scheduling.ScheduleState) scheduling.Schedule {
	return scheduling.Schedule{
		Name: site + "/schedules/" + id, Meta: meta(1), Plan: site + "/plans/p1", State: state, Start: noon, End: noon.Add(time.Hour),
		Assignments: []scheduling.Assignment{{Batch: site + "/batches/b1", StepID: "simmer", Start: noon, End: noon.Add(time.Hour)}},
		Report:      scheduling.Report{Status: scheduling.StatusOptimal, Summary: "fine"},
	}
}

func onePublished(t *testing.T, s scheduling.Store) {
	first, second := schedule("s1", scheduling.SchedulePublished), schedule("s2", scheduling.ScheduleDraft)
	second.CreateTime = noon.Add(time.Minute)
	must(t, write(t, s, func(ctx context.Context) error {
		return errors.Join(s.InsertSchedule(ctx, first, scheduling.Problem{}), s.InsertSchedule(ctx, second, scheduling.Problem{}))
	}))
	second.State, second.Meta = scheduling.SchedulePublished, meta(2)
	want(t, write(t, s, func(ctx context.Context) error { return s.UpdateSchedule(ctx, second) }), scheduling.ErrAnotherPublished)
	first.State, first.Meta = scheduling.ScheduleSuperseded, meta(2)
	must(t, write(t, s, func(ctx context.Context) error {
		return errors.Join(s.UpdateSchedule(ctx, first), s.UpdateSchedule(ctx, second))
	}))
	got, err := s.PublishedSchedule(t.Context(), site)
	must(t, err)
	if got.Name != second.Name || len(got.Assignments) != 1 || got.Report.Summary != "fine" {
		t.Errorf("published: %+v", got)
	}
	_, err = s.PublishedSchedule(t.Context(), "sites/other")
	want(t, err, scheduling.ErrNotFound)
	list, err := s.ListSchedules(t.Context(), scheduling.ListQuery{Parent: site, Limit: 10}, false)
	must(t, err)
	if len(list) != 2 || list[0].Name != second.Name || len(list[0].Assignments) != 0 {
		t.Errorf("listed: %+v", list)
	}
}

func cancelledStays(t *testing.T, s scheduling.Store) {
	b := scheduling.Batch{Name: site + "/batches/b1", State: scheduling.BatchCancelled}
	must(t, write(t, s, func(ctx context.Context) error { return s.PutBatch(ctx, b) }))
	b.State, b.DisplayName = scheduling.BatchReleased, "Brown stock"
	must(t, write(t, s, func(ctx context.Context) error { return s.PutBatch(ctx, b) }))
	got, err := s.GetBatch(t.Context(), b.Name)
	must(t, err)
	if got.State != scheduling.BatchCancelled || got.DisplayName != "Brown stock" {
		t.Errorf("got %+v", got)
	}
}

func openBatches(t *testing.T, s scheduling.Store) {
	insertVessels(t, s, Vessel("kettle-1", 0))
	must(t, write(t, s, func(ctx context.Context) error {
		for id, state := range map[string]scheduling.BatchState{"b1": scheduling.BatchInProgress, "b2": scheduling.BatchReleased, "b3": scheduling.BatchDone} {
			if err := s.PutBatch(ctx, scheduling.Batch{Name: site + "/batches/" + id, State: state}); err != nil {
				return err
			}
		}
		return errors.Join(
			put(ctx, s, run("b1", "simmer", "kettle-1", noon, noon.Add(time.Hour)), one),
			put(ctx, s, run("b2", "simmer", "kettle-1", time.Time{}, time.Time{}), one),
			put(ctx, s, run("b3", "simmer", "kettle-1", noon.Add(time.Hour), noon.Add(2*time.Hour)), one))
	}))
	got, err := s.OpenBatches(t.Context(), site)
	must(t, err)
	if len(got) != 1 || got[0].Name != site+"/batches/b1" {
		t.Errorf("open: %+v", got)
	}
}

func measurements(t *testing.T, s scheduling.Store) {
	r := run("b1", "simmer", "kettle-1", time.Time{}, time.Time{})
	must(t, write(t, s, func(ctx context.Context) error {
		if err := s.InsertRun(ctx, r); err != nil {
			return err
		}
		for i, minute := range []int{30, 10, 20} {
			m := scheduling.Measurement{
				Name: fmt.Sprintf("%s/measurements/m%d", r.Name, i), Run: r.Name, Meta: meta(1), Kind: scheduling.MeasureMassKg, Value: float64(minute),
				ObserveTime: noon.Add(time.Duration(minute) * time.Minute), RecordTime: noon.Add(time.Hour), Operator: "rui", Recorder: "rui",
			}
			if err := s.InsertMeasurement(ctx, m); err != nil {
				return err
			}
		}
		return nil
	}))
	got, err := s.ListMeasurements(t.Context(), scheduling.ListQuery{Parent: r.Name, Limit: 10})
	must(t, err)
	if len(got) != 3 || got[0].Value != 10 || got[2].Value != 30 || !got[0].LateEntry() {
		t.Errorf("listed: %+v", got)
	}
	want(t, write(t, s, func(ctx context.Context) error { return s.InsertMeasurement(ctx, got[0]) }), scheduling.ErrExists)
}

func claimable(t *testing.T, s scheduling.Store) {
	must(t, write(t, s, func(ctx context.Context) error {
		for i, o := range []scheduling.Operation{
			{Stage: scheduling.StageWaiting},
			{Stage: scheduling.StageSolving, LeaseOwner: "w1", LeaseUntil: noon.Add(-time.Minute)},
			{Stage: scheduling.StageSolving, LeaseOwner: "w1", LeaseUntil: noon.Add(time.Minute)},
			{Stage: scheduling.StageFinished},
		} {
			o.Name, o.Meta = fmt.Sprintf("%s/operations/o%d", site, i), meta(1)
			o.CreateTime = noon.Add(time.Duration(i) * time.Second)
			if err := s.InsertOperation(ctx, o, scheduling.Problem{Site: site}); err != nil {
				return err
			}
		}
		return nil
	}))
	got, err := s.ClaimableOperations(t.Context(), noon)
	must(t, err)
	if len(got) != 2 || got[0].Name != site+"/operations/o0" || got[1].LeaseOwner != "w1" {
		t.Errorf("claimable: %+v", got)
	}
	list, err := s.ListOperations(t.Context(), scheduling.ListQuery{Parent: site, Limit: 2})
	must(t, err)
	if len(list) != 2 || list[0].Name != site+"/operations/o3" {
		t.Errorf("listed: %+v", list)
	}
}

func limits(t *testing.T, s scheduling.Store) {
	l := scheduling.DefaultLimits(site)
	l.Meta, l.ElectricPowerWatts = meta(1), 40000
	_, err := s.GetLimits(t.Context(), l.Name)
	want(t, err, scheduling.ErrNotFound)
	must(t, write(t, s, func(ctx context.Context) error { return s.PutLimits(ctx, l) }))
	l.Meta, l.ElectricPowerWatts = meta(2), 50000
	must(t, write(t, s, func(ctx context.Context) error { return s.PutLimits(ctx, l) }))
	want(t, write(t, s, func(ctx context.Context) error { return s.PutLimits(ctx, l) }), scheduling.ErrStale)
	got, err := s.GetLimits(t.Context(), l.Name)
	must(t, err)
	if got.ElectricPowerWatts != 50000 || got.AirTemperatureCelsius != scheduling.DefaultAirTemperatureCelsius {
		t.Errorf("got %+v", got)
	}
}

func problems(t *testing.T, s scheduling.Store) {
	hold := 8 * time.Hour
	p := scheduling.Problem{
		Site: site, Start: noon, Budget: 7, Batches: []scheduling.Batch{{Name: site + "/batches/b1", Steps: []scheduling.Step{
			{ID: "simmer", MaxWait: &hold, Duration: scheduling.DurationModel{Simmer: &scheduling.SimmerModel{Hold: hold}}},
		}}},
	}
	o := scheduling.Operation{Name: site + "/operations/o1", Meta: meta(1), Stage: scheduling.StageWaiting}
	c := schedule("s1", scheduling.ScheduleDraft)
	must(t, write(t, s, func(ctx context.Context) error {
		return errors.Join(s.InsertOperation(ctx, o, p), s.InsertSchedule(ctx, c, p))
	}))
	for _, read := range []func() (scheduling.Problem, error){
		func() (scheduling.Problem, error) { return s.OperationProblem(t.Context(), o.Name) },
		func() (scheduling.Problem, error) { return s.ScheduleProblem(t.Context(), c.Name) },
	} {
		got, err := read()
		must(t, err)
		if got.Budget != 7 || !got.Start.Equal(noon) || got.Batches[0].Steps[0].Duration.Simmer.Hold != hold || *got.Batches[0].Steps[0].MaxWait != hold {
			t.Errorf("got %+v", got)
		}
	}
}

func material(t *testing.T, s scheduling.Store) {
	v := Vessel("kettle-1", 0)
	insertVessels(t, s, v)
	must(t, write(t, s, func(ctx context.Context) error { return s.SetVesselMaterial(ctx, v.Name, "fish") }))
	got, err := s.GetVessel(t.Context(), v.Name)
	must(t, err)
	if got.MaterialState != "fish" || got.Version != 1 {
		t.Errorf("got %q at version %d", got.MaterialState, got.Version)
	}
	v.Meta = meta(2)
	must(t, write(t, s, func(ctx context.Context) error { return s.UpdateVessel(ctx, v) }))
	list, err := s.ListVessels(t.Context(), scheduling.ListQuery{Parent: site, Limit: 5})
	must(t, err)
	if len(list) != 1 || list[0].MaterialState != "fish" {
		t.Errorf("listed %+v", list)
	}
}

func belief(t *testing.T, s scheduling.Store) {
	v := Vessel("kettle-1", 0)
	insertVessels(t, s, v)
	typical, err := simmer.TypicalOf(simmer.SteamKettle)
	must(t, err)
	learned := scheduling.Learned{Belief: typical.Prior, Run: "sites/a/batches/b1/runs/reduce", UpdateTime: noon}
	must(t, write(t, s, func(ctx context.Context) error { return s.SetVesselBelief(ctx, v.Name, &learned) }))
	v.Meta = meta(2)
	must(t, write(t, s, func(ctx context.Context) error { return s.UpdateVessel(ctx, v) }))
	got, err := s.GetVessel(t.Context(), v.Name)
	must(t, err)
	list, err := s.ListVessels(t.Context(), scheduling.ListQuery{Parent: site, Limit: 5})
	must(t, err)
	for _, x := range append(list, got) {
		if x.Learned == nil || x.Learned.Belief != learned.Belief || x.Learned.Run != learned.Run || !x.Learned.UpdateTime.Equal(noon) || x.Version != 2 {
			t.Errorf("got %+v at version %d", x.Learned, x.Version)
		}
	}
	must(t, write(t, s, func(ctx context.Context) error { return s.SetVesselBelief(ctx, v.Name, nil) }))
	got, err = s.GetVessel(t.Context(), v.Name)
	must(t, err)
	if got.Learned != nil {
		t.Errorf("%+v was to be forgotten", got.Learned)
	}
}

func states(t *testing.T, s scheduling.Store) {
	early, late := run("b2", "simmer", "kettle-1", time.Time{}, time.Time{}), run("b1", "simmer", "kettle-1", time.Time{}, time.Time{})
	late.PlannedStart = noon.Add(time.Hour)
	gone := run("b3", "simmer", "kettle-1", time.Time{}, time.Time{})
	gone.State = scheduling.RunCancelled
	must(t, write(t, s, func(ctx context.Context) error {
		return errors.Join(s.InsertRun(ctx, late), s.InsertRun(ctx, early), s.InsertRun(ctx, gone))
	}))
	got, err := s.RunsInState(t.Context(), site, scheduling.RunPlanned)
	must(t, err)
	if len(got) != 2 || got[0].Name != early.Name || got[1].Name != late.Name {
		t.Errorf("got %+v", got)
	}
}
