package storetest

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"rondeau.internal/services/scheduling"
)

func draft(id string, version int64) scheduling.Schedule {
	return scheduling.Schedule{Name: site + "/schedules/" + id, Meta: meta(version), State: scheduling.ScheduleDraft, Start: noon, End: noon}
}

func within(t *testing.T, s scheduling.Store, fn func(ctx context.Context) error) {
	t.Helper()
	must(t, s.InTx(t.Context(), fn))
}

func insert(t *testing.T, s scheduling.Store, c scheduling.Schedule) {
	t.Helper()
	within(t, s, func(ctx context.Context) error { return s.InsertSchedule(ctx, c, scheduling.Problem{}) })
}

func wanted(t *testing.T, s scheduling.Store) []scheduling.WantedOutlook {
	t.Helper()
	list, err := s.WantedOutlooks(t.Context())
	must(t, err)
	return list
}

func request(t *testing.T, s scheduling.Store, schedule string) {
	t.Helper()
	within(t, s, func(ctx context.Context) error { return s.RequestOutlook(ctx, schedule) })
}

func outlooks(t *testing.T, s scheduling.Store) {
	ctx := t.Context()
	c := draft("a", 1)
	insert(t, s, c)
	if _, err := s.GetOutlook(ctx, c.Name); !errors.Is(err, scheduling.ErrNotFound) {
		t.Errorf("before it was asked for: %v", err)
	}
	request(t, s, c.Name)
	if _, err := s.GetOutlook(ctx, c.Name); !errors.Is(err, scheduling.ErrNotFound) {
		t.Errorf("before it was made: %v", err)
	}
	list := wanted(t, s)
	if len(list) != 1 || list[0].Schedule != c.Name {
		t.Fatalf("wanted %+v", list)
	}
	request(t, s, c.Name) // something happens while it is made
	o := scheduling.Outlook{
		Schedule: c.Name, At: noon, Samples: 1000, AllOnTime: 0.25, Summary: "not sure",
		Batches: []scheduling.BatchOutlook{{Batch: site + "/batches/b", Due: noon, OnTime: 0.5, Finish50: noon, Causes: []scheduling.Cause{{Kind: scheduling.CauseStep, Share: 1, Text: "late"}}}},
	}
	within(t, s, func(ctx context.Context) error { return s.PutOutlook(ctx, o, list[0].Wanted) })
	read, err := s.GetOutlook(ctx, c.Name)
	must(t, err)
	if !read.Outdated || !read.At.Equal(noon) || read.AllOnTime != 0.25 || len(read.Batches) != 1 || read.Batches[0].Causes[0].Text != "late" {
		t.Errorf("read %+v", read)
	}
	list = wanted(t, s)
	if len(list) != 1 {
		t.Fatalf("wanted %+v", list)
	}
	o.Summary = "newer"
	within(t, s, func(ctx context.Context) error { return s.PutOutlook(ctx, o, list[0].Wanted) })
	o.Summary = "older"
	within(t, s, func(ctx context.Context) error { return s.PutOutlook(ctx, o, list[0].Wanted-1) }) // a slow one comes last
	if read, err = s.GetOutlook(ctx, c.Name); err != nil || read.Outdated || read.Summary != "newer" {
		t.Errorf("read %+v, %v", read, err)
	}
	if list = wanted(t, s); len(list) != 0 {
		t.Errorf("wanted %+v", list)
	}
	old := func(before time.Time) int64 {
		t.Helper()
		var n int64
		within(t, s, func(ctx context.Context) error {
			var err error
			n, err = s.RequestOldOutlooks(ctx, before)
			return err
		})
		return n
	}
	if n := old(noon.Add(time.Hour)); n != 0 {
		t.Errorf("%d outlooks of a draft grow old", n)
	}
	c.State, c.Version = scheduling.SchedulePublished, 2
	within(t, s, func(ctx context.Context) error { return s.UpdateSchedule(ctx, c) })
	if n := old(noon); n != 0 {
		t.Errorf("%d outlooks are old at once", n)
	}
	if n := old(noon.Add(time.Second)); n != 1 {
		t.Errorf("%d outlooks are old", n)
	}
	if n := old(noon.Add(time.Hour)); n != 0 || len(wanted(t, s)) != 1 {
		t.Errorf("%d outlooks are asked for twice", n)
	}
}

func outlooksInOrder(t *testing.T, s scheduling.Store) {
	published := func(ctx context.Context) error { return s.RequestPublishedOutlook(ctx, site) }
	within(t, s, published) // nothing is published
	old, followed, next := draft("old", 1), draft("followed", 1), draft("next", 1)
	for _, c := range []scheduling.Schedule{old, followed, next} {
		insert(t, s, c)
	}
	request(t, s, old.Name)
	request(t, s, next.Name)
	old.State, old.Version = scheduling.ScheduleSuperseded, 2
	within(t, s, func(ctx context.Context) error { return s.UpdateSchedule(ctx, old) })
	followed.State, followed.Version = scheduling.SchedulePublished, 2
	within(t, s, func(ctx context.Context) error { return s.UpdateSchedule(ctx, followed) })
	within(t, s, published)
	list := wanted(t, s)
	if len(list) != 2 || list[0].Schedule != followed.Name || list[1].Schedule != next.Name {
		t.Errorf("wanted %+v", list)
	}
}

func outlooksAtOnce(t *testing.T, s scheduling.Store) {
	c := draft("a", 1)
	insert(t, s, c)
	var group sync.WaitGroup
	faults := make([]error, 8)
	for i := range faults {
		group.Add(1)
		go func() {
			defer group.Done()
			faults[i] = s.InTx(t.Context(), func(ctx context.Context) error { return s.RequestOutlook(ctx, c.Name) })
		}()
	}
	group.Wait()
	for _, err := range faults {
		must(t, err)
	}
	if list := wanted(t, s); len(list) != 1 || list[0].Wanted != 8 {
		t.Errorf("wanted %+v", list)
	}
}

func paces(t *testing.T, s scheduling.Store) {
	ctx := t.Context()
	if _, err := s.GetPace(ctx, site, scheduling.KindChill, "walk-in"); !errors.Is(err, scheduling.ErrNotFound) {
		t.Errorf("before the first run: %v", err)
	}
	want := []scheduling.Pace{
		{Site: site, Kind: scheduling.KindChill, VesselClass: "walk-in", Runs: 3, MeanLog: -0.25, SquareSum: 0.125},
		{Site: site, Kind: scheduling.KindPortion, Runs: 1, MeanLog: 0.5},
	}
	other := scheduling.Pace{Site: "sites/other", Kind: scheduling.KindChill, VesselClass: "walk-in", Runs: 9, MeanLog: 1, SquareSum: 2}
	for _, p := range append(want, other) {
		p.Runs++
		within(t, s, func(ctx context.Context) error { return s.PutPace(ctx, p) })
		p.Runs--
		within(t, s, func(ctx context.Context) error { return s.PutPace(ctx, p) }) // replaces
	}
	got, err := s.ListPaces(ctx, site)
	must(t, err)
	if len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("got %+v", got)
	}
	if p, err := s.GetPace(ctx, site, scheduling.KindPortion, ""); err != nil || p != want[1] {
		t.Errorf("got %+v, %v", p, err)
	}
}
