// Package storetest is the contract that every store of the food-safety service must pass.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"sync"
	"testing"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/foodsafety"
)

const (
	site  = "sites/test"
	other = "sites/other"
	batch = site + "/batches/b1"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 123000, time.UTC)

// Run runs the contract; newStore gives a fresh, empty, migrated store.
func Run(t *testing.T, newStore func(t *testing.T) foodsafety.Store) {
	for _, c := range []struct {
		name string
		run  func(t *testing.T, s foodsafety.Store)
	}{
		{"profiles come back as they were stored", profiles},
		{"probes come back as they were stored", probes},
		{"chills come back and know their probes", chills},
		{"readings are stored once", readings},
		{"deviations keep every corrective action", deviations},
		{"holds and releases", holdsAndReleases},
		{"lots and their inputs", lots},
		{"the audit trail grows", records},
		{"an error undoes everything", rollback},
		{"pages do not lose or repeat under writes", paging},
		{"one of two concurrent updates wins", concurrent},
		{"names differ by case", nameCase},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			c.run(t, newStore(t))
		})
	}
}

func tx(t *testing.T, s foodsafety.Store, fn func(ctx context.Context) error) {
	t.Helper()
	if err := s.InTx(t.Context(), fn); err != nil {
		t.Fatal(err)
	}
}

func want(t *testing.T, err error, reason string) {
	t.Helper()
	if !errors.Is(err, apierr.Reason(reason)) {
		t.Errorf("got %v, want reason %s", err, reason)
	}
}

func same(t *testing.T, got, wanted any) {
	t.Helper()
	if !reflect.DeepEqual(got, wanted) {
		t.Errorf("got  %+v\nwant %+v", got, wanted)
	}
}

func profiles(t *testing.T, s foodsafety.Store) {
	p := foodsafety.BuiltInProfiles()[0]
	p.Name, p.UID, p.CreateTime, p.UpdateTime, p.Version = site+"/limitsProfiles/us", "u", noon, noon, 1
	tx(t, s, func(ctx context.Context) error { return s.InsertProfile(ctx, &p) })
	got, err := s.GetProfile(t.Context(), p.Name)
	if err != nil {
		t.Fatal(err)
	}
	same(t, *got, p)
	want(t, s.InTx(t.Context(), func(ctx context.Context) error { return s.InsertProfile(ctx, &p) }), foodsafety.LimitsProfileExists)
	missing := p
	missing.UID = "another"
	for _, c := range []struct {
		name string
		want bool
	}{{p.Name, false}, {site + "/limitsProfiles/zz", true}} {
		missing.Name = c.name
		tx(t, s, func(ctx context.Context) error {
			inserted, err := s.InsertMissingProfile(ctx, &missing)
			if inserted != c.want {
				t.Errorf("%s inserted: %v", c.name, inserted)
			}
			return err
		})
	}
	if got, err = s.GetProfile(t.Context(), p.Name); err != nil || got.UID != p.UID {
		t.Errorf("a taken name was written again: %+v, %v", got, err)
	}
	p.Version, p.DisplayName = 2, "changed"
	tx(t, s, func(ctx context.Context) error { return s.UpdateProfile(ctx, &p) })
	want(t, s.InTx(t.Context(), func(ctx context.Context) error { return s.UpdateProfile(ctx, &p) }), foodsafety.EtagMismatch)
	_, err = s.GetProfile(t.Context(), site+"/limitsProfiles/none")
	want(t, err, foodsafety.LimitsProfileMissing)
	list, err := s.ListProfiles(t.Context(), foodsafety.Page{Site: site, Limit: 10})
	if err != nil || len(list) != 2 || list[0].DisplayName != "changed" {
		t.Errorf("%v, %v", list, err)
	}
	if list, err = s.ListProfiles(t.Context(), foodsafety.Page{Site: other, Limit: 10}); err != nil || len(list) != 0 {
		t.Errorf("another site: %v, %v", list, err)
	}
}

func probes(t *testing.T, s foodsafety.Store) {
	p := foodsafety.Probe{
		Name: site + "/probes/p", UID: "u", DisplayName: "P", DeviceID: "d", Vessel: site + "/vessels/v", CalibrationDate: "2026-01-02",
		CalibrationOffset: -0.3, Accuracy: 0.5, CreateTime: noon, UpdateTime: noon, Version: 1,
	}
	tx(t, s, func(ctx context.Context) error { return s.InsertProbe(ctx, &p) })
	got, err := s.GetProbe(t.Context(), p.Name)
	if err != nil {
		t.Fatal(err)
	}
	same(t, *got, p)
	want(t, s.InTx(t.Context(), func(ctx context.Context) error { return s.InsertProbe(ctx, &p) }), foodsafety.ProbeExists)
	fixed, err := s.ProbesOfVessel(t.Context(), p.Vessel)
	if err != nil || len(fixed) != 1 {
		t.Errorf("%v, %v", fixed, err)
	}
	p.Version, p.Disabled = 2, true
	tx(t, s, func(ctx context.Context) error { return s.UpdateProbe(ctx, &p) })
	if fixed, err = s.ProbesOfVessel(t.Context(), p.Vessel); err != nil || len(fixed) != 0 {
		t.Errorf("a disabled probe watches nothing: %v, %v", fixed, err)
	}
	_, err = s.GetProbe(t.Context(), site+"/probes/none")
	want(t, err, foodsafety.ProbeMissing)
}

// Chill is a chill in progress for tests.
func Chill(id string, start time.Time, probes ...string) *foodsafety.Chill {
	p := foodsafety.BuiltInProfiles()[0]
	p.Name = site + "/limitsProfiles/" + p.Name
	c := &foodsafety.Chill{
		Name: site + "/chills/" + id, UID: "u-" + id, Batch: batch, Run: batch + "/runs/" + id, Vessel: site + "/vessels/v", Profile: p.Name, Limits: p,
		Probes: probes, StartTime: start, State: foodsafety.ChillInProgress, Starter: "ada", Recorders: []string{"ada"}, CreateTime: noon, UpdateTime: noon, Version: 1,
	}
	c.Judgement = foodsafety.Judge(&c.Limits, start, nil, start)
	return c
}

func chills(t *testing.T, s foodsafety.Store) {
	p1, p2 := site+"/probes/p1", site+"/probes/p2"
	c := Chill("c1", noon, p1, p2)
	tx(t, s, func(ctx context.Context) error { return s.InsertChill(ctx, c) })
	got, err := s.GetChill(t.Context(), c.Name)
	if err != nil {
		t.Fatal(err)
	}
	same(t, got, c)
	want(t, s.InTx(t.Context(), func(ctx context.Context) error { return s.InsertChill(ctx, Chill("c1", noon)) }), foodsafety.ChillExists)
	want(t, s.InTx(t.Context(), func(ctx context.Context) error { return s.InsertChill(ctx, Chill("c2", noon, p2)) }), foodsafety.ProbeBusy)
	if _, err := s.GetChill(t.Context(), site+"/chills/c2"); !errors.Is(err, apierr.Reason(foodsafety.ChillMissing)) {
		t.Errorf("the refused chill is there: %v", err)
	}
	at := func(probe string, after time.Duration, wanted string) {
		t.Helper()
		name, err := s.ChillAtProbe(t.Context(), probe, noon.Add(after), 30*time.Minute)
		if err != nil || name != wanted {
			t.Errorf("%s after %v: %q, %v, want %q", probe, after, name, err, wanted)
		}
	}
	at(p1, time.Hour, c.Name)
	at(p1, -30*time.Minute, c.Name)
	at(p1, -31*time.Minute, "")
	at(site+"/probes/p3", 0, "")
	c.Version, c.State, c.FinishTime = 2, foodsafety.ChillPassed, noon.Add(2*time.Hour)
	tx(t, s, func(ctx context.Context) error { return s.UpdateChill(ctx, c) })
	next := Chill("c2", noon.Add(4*time.Hour), p1)
	tx(t, s, func(ctx context.Context) error { return s.InsertChill(ctx, next) })
	at(p1, time.Hour, c.Name)
	at(p1, 3*time.Hour, "")
	at(p1, 5*time.Hour, next.Name)
	if name, err := s.ChillWatchedBy(t.Context(), p2); err != nil || name != "" {
		t.Errorf("a passed chill gives its probes up: %q, %v", name, err)
	}
	if name, err := s.ChillWatchedBy(t.Context(), p1); err != nil || name != next.Name {
		t.Errorf("%q, %v", name, err)
	}
	for what, list := range map[string]func() ([]foodsafety.Chill, error){
		"progress": func() ([]foodsafety.Chill, error) { return s.ChillsInProgress(t.Context()) },
		"run":      func() ([]foodsafety.Chill, error) { return s.ChillsOfRun(t.Context(), next.Run) },
	} {
		if got, err := list(); err != nil || len(got) != 1 || got[0].Name != next.Name {
			t.Errorf("%s: %v, %v", what, got, err)
		}
	}
	if got, err := s.ChillsOfBatch(t.Context(), batch); err != nil || len(got) != 2 {
		t.Errorf("%d of the batch, %v", len(got), err)
	}
}

func readings(t *testing.T, s foodsafety.Store) {
	c := Chill("c1", noon)
	tx(t, s, func(ctx context.Context) error { return s.InsertChill(ctx, c) })
	reading := func(probe string, after time.Duration, celsius units.Celsius) *foodsafety.Reading {
		at := noon.Add(after)
		return &foodsafety.Reading{
			Name: foodsafety.ReadingName(c.Name, probe, at), Chill: c.Name, Probe: probe, ObserveTime: at, RecordTime: noon.Add(time.Hour),
			Measured: celsius, Judged: celsius + 0.1, Recorder: "ada", Late: true, Note: "n",
		}
	}
	list := []*foodsafety.Reading{reading("", 0, 60.123456789), reading(site+"/probes/a", time.Minute, 59), reading(site+"/probes/b", time.Minute, 58), reading("", 2*time.Minute, -3)}
	tx(t, s, func(ctx context.Context) error {
		again := *list[0]
		again.Measured = 1
		backward := slices.Clone(list)
		slices.Reverse(backward)
		backward = append(backward, &again)
		if added, err := s.InsertReadings(ctx, backward); err != nil || !slices.Equal(added, []bool{true, true, true, true, false}) {
			return fmt.Errorf("first time: %v, %w", added, err)
		}
		if added, err := s.InsertReadings(ctx, []*foodsafety.Reading{&again}); err != nil || !slices.Equal(added, []bool{false}) {
			return fmt.Errorf("stored twice: %v, %w", added, err)
		}
		added, err := s.InsertReadings(ctx, nil)
		if err != nil || len(added) != 0 {
			return fmt.Errorf("none: %v, %w", added, err)
		}
		return nil
	})
	got, err := s.GetReading(t.Context(), c.Name, "", noon)
	if err != nil {
		t.Fatal(err)
	}
	same(t, got, list[0])
	all, err := s.Readings(t.Context(), c.Name)
	if err != nil || len(all) != len(list) {
		t.Fatalf("%d readings, %v", len(all), err)
	}
	for i := range all {
		same(t, &all[i], list[i])
	}
	page, err := s.ListReadings(t.Context(), c.Name, []string{fmt.Sprint(noon.Add(time.Minute).UnixMicro()), site + "/probes/a"}, 1)
	if err != nil || len(page) != 1 || page[0].Name != list[2].Name {
		t.Errorf("%v, %v", page, err)
	}
	if _, err := s.ListReadings(t.Context(), c.Name, []string{"x", ""}, 1); err == nil {
		t.Error("a wrong cursor was accepted")
	}
}

func deviations(t *testing.T, s foodsafety.Store) {
	d := &foodsafety.Deviation{
		Name: site + "/deviations/d", UID: "u", Kind: foodsafety.DeviationManual, Subjects: []string{batch, site + "/lots/l"}, Description: "text",
		State: foodsafety.DeviationOpen, Actions: []foodsafety.CorrectiveAction{}, Opener: "ada", OpenTime: noon, CreateTime: noon, UpdateTime: noon, Version: 1,
	}
	tx(t, s, func(ctx context.Context) error { return s.InsertDeviation(ctx, d) })
	got, err := s.GetDeviation(t.Context(), d.Name)
	if err != nil {
		t.Fatal(err)
	}
	same(t, got, d)
	want(t, s.InTx(t.Context(), func(ctx context.Context) error { return s.InsertDeviation(ctx, d) }), foodsafety.DeviationExists)
	for i, actor := range []string{"ada", "bo"} {
		d.Version++
		d.State = foodsafety.DeviationActionTaken
		d.Actions = append(d.Actions, foodsafety.CorrectiveAction{Text: "did", Decision: foodsafety.DecisionAccept, Actor: actor, RecordTime: noon.Add(time.Duration(i) * time.Minute)})
		tx(t, s, func(ctx context.Context) error { return s.UpdateDeviation(ctx, d) })
	}
	for _, subject := range d.Subjects {
		list, err := s.DeviationsOf(t.Context(), subject)
		if err != nil || len(list) != 1 {
			t.Fatalf("%v, %v", list, err)
		}
		same(t, &list[0], d)
	}
	_, err = s.GetDeviation(t.Context(), site+"/deviations/none")
	want(t, err, foodsafety.DeviationMissing)
}

func holdsAndReleases(t *testing.T, s foodsafety.Store) {
	h := &foodsafety.Hold{
		Name: site + "/holds/h", UID: "u", Subject: batch, Reason: "r", State: foodsafety.HoldPlaced, Placer: "ada", PlaceTime: noon, Sequence: 7,
		CreateTime: noon, UpdateTime: noon, Version: 1,
	}
	tx(t, s, func(ctx context.Context) error { return s.InsertHold(ctx, h) })
	want(t, s.InTx(t.Context(), func(ctx context.Context) error { return s.InsertHold(ctx, h) }), foodsafety.HoldExists)
	lifted := *h
	lifted.Version, lifted.State, lifted.Lifter, lifted.LiftTime = 2, foodsafety.HoldLifted, "ada", noon
	if err := s.InTx(t.Context(), func(ctx context.Context) error { return s.UpdateHold(ctx, &lifted) }); err == nil {
		t.Error("the database let one person place and lift a hold")
	}
	lifted.Lifter = "bo"
	tx(t, s, func(ctx context.Context) error { return s.UpdateHold(ctx, &lifted) })
	list, err := s.HoldsOn(t.Context(), batch)
	if err != nil || len(list) != 1 {
		t.Fatalf("%v, %v", list, err)
	}
	same(t, list[0], lifted)
	_, err = s.GetHold(t.Context(), site+"/holds/none")
	want(t, err, foodsafety.HoldMissing)

	lot := site + "/lots/l"
	if r, err := s.LatestRelease(t.Context(), lot); err != nil || r != nil {
		t.Errorf("%v, %v", r, err)
	}
	for i := range 2 {
		r := &foodsafety.Release{Name: fmt.Sprintf("%s/releases/r%d", site, i), UID: "u", Lot: lot, Batch: batch, Signer: "lea", SignTime: noon, Sequence: int64(10 - i), RecordMakers: []string{"ada"}}
		tx(t, s, func(ctx context.Context) error { return s.InsertRelease(ctx, r) })
	}
	r, err := s.LatestRelease(t.Context(), lot)
	if err != nil || r == nil || r.Sequence != 10 {
		t.Errorf("%+v, %v", r, err)
	}
	_, err = s.GetRelease(t.Context(), site+"/releases/none")
	want(t, err, foodsafety.ReleaseMissing)
	page, err := s.ListReleases(t.Context(), foodsafety.Page{Site: site, Limit: 10, Descending: true})
	if err != nil || len(page) != 2 || page[0].Name != site+"/releases/r1" {
		t.Errorf("%v, %v", page, err)
	}
}

func lots(t *testing.T, s foodsafety.Store) {
	l := &foodsafety.Lot{Name: site + "/lots/l", Item: "i", Batch: batch, Inputs: []string{site + "/lots/a", site + "/lots/b"}, CreateTime: noon}
	for range 2 {
		tx(t, s, func(ctx context.Context) error {
			return errors.Join(s.PutLot(ctx, l), s.AddBatchInput(ctx, batch, site+"/lots/a"), s.AddBatchPerson(ctx, batch, "ada"))
		})
	}
	got, err := s.GetLot(t.Context(), l.Name)
	if err != nil {
		t.Fatal(err)
	}
	same(t, got, l)
	if got, err := s.GetLot(t.Context(), site+"/lots/none"); err != nil || got != nil {
		t.Errorf("%v, %v", got, err)
	}
	if list, err := s.BatchInputs(t.Context(), batch); err != nil || !slices.Equal(list, []string{site + "/lots/a"}) {
		t.Errorf("%v, %v", list, err)
	}
	if list, err := s.BatchPeople(t.Context(), batch); err != nil || !slices.Equal(list, []string{"ada"}) {
		t.Errorf("%v, %v", list, err)
	}
}

func record(i int) *foodsafety.Record {
	return &foodsafety.Record{Site: site, Resource: fmt.Sprintf("%s/holds/h%d", site, i), Action: "hold.placed", Actor: "ada", ActorRole: "cook", RecordTime: noon, OldValue: "", NewValue: "{}", Reason: "r"}
}

func records(t *testing.T, s foodsafety.Store) {
	var stored []foodsafety.Record
	for i := range 3 {
		r := record(i)
		tx(t, s, func(ctx context.Context) error { return s.AppendRecord(ctx, r) })
		if i > 0 && r.Sequence <= stored[i-1].Sequence {
			t.Errorf("sequence %d after %d", r.Sequence, stored[i-1].Sequence)
		}
		stored = append(stored, *r)
	}
	list, err := s.ListRecords(t.Context(), foodsafety.Page{Site: site, Limit: 10, Cursor: []string{stored[0].Cursor()}})
	if err != nil {
		t.Fatal(err)
	}
	same(t, list, stored[1:])
}

func rollback(t *testing.T, s foodsafety.Store) {
	broken := errors.New("broken")
	err := s.InTx(t.Context(), func(ctx context.Context) error {
		if err := errors.Join(s.InsertChill(ctx, Chill("c1", noon, site+"/probes/p")), s.AppendRecord(ctx, record(1))); err != nil {
			return err
		}
		return broken
	})
	if !errors.Is(err, broken) {
		t.Fatal(err)
	}
	_, err = s.GetChill(t.Context(), site+"/chills/c1")
	want(t, err, foodsafety.ChillMissing)
	if list, err := s.ListRecords(t.Context(), foodsafety.Page{Site: site, Limit: 10}); err != nil || len(list) != 0 {
		t.Errorf("%v, %v", list, err)
	}
}

func paging(t *testing.T, s foodsafety.Store) {
	insert := func(i int) {
		tx(t, s, func(ctx context.Context) error {
			return s.InsertChill(ctx, Chill(fmt.Sprintf("c%02d", i), noon.Add(time.Duration(i/3)*time.Minute)))
		})
	}
	for i := range 10 {
		insert(i)
	}
	var seen []string
	var cursor []string
	for page := 0; ; page++ {
		list, err := s.ListChills(t.Context(), foodsafety.Page{Site: site, Cursor: cursor, Limit: 4})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range list {
			seen = append(seen, c.Name)
			cursor = []string{fmt.Sprint(c.StartTime.UnixMicro()), c.Name}
		}
		if len(list) < 4 {
			break
		}
		insert(20 + page) // later than all
	}
	if !slices.IsSorted(seen) || len(slices.Compact(slices.Clone(seen))) != len(seen) || len(seen) < 10 {
		t.Errorf("seen %v", seen)
	}
	if _, err := s.ListChills(t.Context(), foodsafety.Page{Site: site, Cursor: []string{"x", "y"}, Limit: 4}); err == nil {
		t.Error("a wrong cursor was accepted")
	}
}

// concurrent lets people add their action to one deviation at the same time, as the use cases do: read, change, write.
func concurrent(t *testing.T, s foodsafety.Store) {
	d := &foodsafety.Deviation{
		Name: site + "/deviations/d", UID: "u", Kind: foodsafety.DeviationManual, Subjects: []string{batch}, Description: "text", State: foodsafety.DeviationOpen,
		Opener: "ada", OpenTime: noon, CreateTime: noon, UpdateTime: noon, Version: 1,
	}
	tx(t, s, func(ctx context.Context) error { return s.InsertDeviation(ctx, d) })
	const people = 8
	var wg sync.WaitGroup
	for i := range people {
		wg.Go(func() {
			err := s.InTx(t.Context(), func(ctx context.Context) error {
				d, err := s.GetDeviation(ctx, d.Name)
				if err != nil {
					return err
				}
				d.Version++
				d.State = foodsafety.DeviationActionTaken
				d.Actions = append(d.Actions, foodsafety.CorrectiveAction{Text: "did", Decision: foodsafety.DecisionNoteOnly, Actor: fmt.Sprint(i), RecordTime: noon})
				return s.UpdateDeviation(ctx, d)
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	got, err := s.GetDeviation(t.Context(), d.Name)
	if err != nil || len(got.Actions) != people || got.Version != people+1 {
		t.Errorf("%d actions at version %d, %v", len(got.Actions), got.Version, err)
	}
}

func nameCase(t *testing.T, s foodsafety.Store) {
	lower, upper := Chill("c", noon), Chill("C", noon)
	tx(t, s, func(ctx context.Context) error {
		return errors.Join(s.InsertChill(ctx, lower), s.InsertChill(ctx, upper))
	})
	got, err := s.GetChill(t.Context(), upper.Name)
	if err != nil || got.UID != upper.UID {
		t.Errorf("%+v, %v", got, err)
	}
}
