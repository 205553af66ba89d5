// Package storetest is the contract that every store of planning must keep.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/services/planning"
)

const site = "sites/quai"

var at = time.Date(2026, 3, 2, 7, 0, 0, 123000, time.UTC)

func meta(name string) planning.Meta {
	return planning.Meta{Name: name, UID: "00000000-0000-4000-8000-000000000001", Version: 1, CreateTime: at, UpdateTime: at}
}

// Run runs the suite; open gives a fresh, migrated store.
func Run(t *testing.T, open func(t *testing.T) planning.Store) {
	for _, c := range []struct {
		name string
		test func(t *testing.T, s planning.Store)
	}{
		{"what is written is read back", readBack},
		{"a missing resource is named", missing},
		{"a stale version is refused and changes nothing", stale},
		{"a failed transaction leaves nothing behind", rollback},
		{"names are taken once, and case counts", taken},
		{"pages do not skip or repeat while rows are added", paging},
		{"filters select and refuse", filters},
		{"orders are listed by day and confirmed by time", orders},
		{"one plan is in force and one formula makes an item", singletons},
		{"versions are listed by number", versions},
		{"batches go with their plan", batches},
		{"two writers do not overwrite each other", concurrent},
	} {
		t.Run(c.name, func(t *testing.T) { c.test(t, open(t)) })
	}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func wantReason(t *testing.T, err error, reason string) {
	t.Helper()
	if !errors.Is(err, apierr.Reason(reason)) {
		t.Errorf("want %s, got %v", reason, err)
	}
}

// insert adds one resource of a table in a transaction of its own.
func insert[T any](t *testing.T, s planning.Store, table planning.Table[T], value *T) {
	t.Helper()
	must(t, s.InTx(t.Context(), func(ctx context.Context) error { return table.Insert(ctx, value) }))
}

func kitchen(t *testing.T, s planning.Store) {
	t.Helper()
	insert(t, s, s.Sites(), &planning.Site{Meta: meta(site), DisplayName: "Quai", TimeZone: "Europe/Paris"})
	insert(t, s, s.Outlets(), outlet("pier", true))
	insert(t, s, s.Products(), product("demi"))
}

func outlet(id string, active bool) *planning.Outlet {
	return &planning.Outlet{Meta: meta(site + "/outlets/" + id), DisplayName: "Bistro " + id, Active: active}
}

func product(id string) *planning.Product {
	return &planning.Product{Meta: meta(site + "/products/" + id), DisplayName: id, Item: site + "/items/" + id, SourceItem: site + "/items/bulk", NetMassKg: 1, Active: true}
}

func order(id string, day planning.Date) *planning.Order {
	return &planning.Order{
		Meta: meta(site + "/outlets/pier/orders/" + id), DispatchDate: day, State: planning.OrderPlaced, CutOffTime: at.Add(time.Hour),
		Lines: []planning.OrderLine{{Product: site + "/products/demi", Count: 3}},
	}
}

func readBack(t *testing.T, s planning.Store) {
	kitchen(t, s)
	ctx := t.Context()
	cut := 36 * time.Hour
	celsius := 93.5
	dispatch := planning.TimeOfDay(390)
	o := &planning.Outlet{Meta: meta(site + "/outlets/hill"), DisplayName: "Bistro «Höhe» 上", CutOff: &cut, DispatchTime: &dispatch, Weekdays: 0b0010010, Active: true, Priority: 7}
	insert(t, s, s.Outlets(), o)
	got, err := s.Outlets().Get(ctx, o.Name)
	must(t, err)
	if got.DisplayName != o.DisplayName || *got.CutOff != cut || *got.DispatchTime != dispatch || got.Weekdays != o.Weekdays || got.Meta != o.Meta {
		t.Errorf("got %+v, want %+v", got, o)
	}
	insert(t, s, s.Formulas(), &planning.Formula{Meta: meta(site + "/formulas/stock"), State: planning.FormulaDraft, OutputItem: site + "/items/stock"})
	v := &planning.FormulaVersion{
		Meta: meta(site + "/formulas/stock/versions/1"), State: planning.FormulaDraft, BaseOutputKg: 60.000001,
		Steps: []planning.Step{{ID: "simmer", Simmer: &planning.SimmerModel{Hold: 8 * time.Hour, TargetCelsius: &celsius}}},
	}
	insert(t, s, s.FormulaVersions(), v)
	read, err := s.FormulaVersions().Get(ctx, v.Name)
	must(t, err)
	if read.BaseOutputKg != v.BaseOutputKg || *read.Steps[0].Simmer.TargetCelsius != celsius || read.Steps[0].Simmer.StartCelsius != nil {
		t.Errorf("got %+v", read)
	}
	o.DisplayName = "Bistro Hill"
	must(t, s.InTx(ctx, func(ctx context.Context) error { return s.Outlets().Update(ctx, o) }))
	if o.Version != 2 {
		t.Errorf("the version after an update is %d", o.Version)
	}
	if got, err = s.Outlets().Get(ctx, o.Name); err != nil || got.DisplayName != "Bistro Hill" || got.Version != 2 {
		t.Errorf("got %+v, %v", got, err)
	}
}

func missing(t *testing.T, s planning.Store) {
	ctx := t.Context()
	_, err := s.Sites().Get(ctx, site)
	wantReason(t, err, planning.SiteMissing)
	_, err = s.Batches().Get(ctx, site+"/batches/none")
	wantReason(t, err, planning.BatchMissing)
	if plan, err := s.ReleasedPlan(ctx, site); plan != nil || err != nil {
		t.Errorf("a plan in force of nothing: %v, %v", plan, err)
	}
	if err := s.InTx(ctx, func(ctx context.Context) error { return s.Outlets().Insert(ctx, outlet("pier", true)) }); err == nil {
		t.Error("an outlet of a site that does not exist was kept")
	}
}

func stale(t *testing.T, s planning.Store) {
	kitchen(t, s)
	ctx := t.Context()
	first, err := s.Outlets().Get(ctx, site+"/outlets/pier")
	must(t, err)
	second, err := s.Outlets().Get(ctx, site+"/outlets/pier")
	must(t, err)
	first.DisplayName, second.DisplayName = "first", "second"
	must(t, s.InTx(ctx, func(ctx context.Context) error { return s.Outlets().Update(ctx, first) }))
	wantReason(t, s.InTx(ctx, func(ctx context.Context) error { return s.Outlets().Update(ctx, second) }), planning.EtagMismatch)
	if got, err := s.Outlets().Get(ctx, first.Name); err != nil || got.DisplayName != "first" {
		t.Errorf("got %+v, %v", got, err)
	}
}

func rollback(t *testing.T, s planning.Store) {
	kitchen(t, s)
	ctx := t.Context()
	failure := errors.New("the gas is off")
	err := s.InTx(ctx, func(ctx context.Context) error {
		if err := s.Orders().Insert(ctx, order("o1", "2026-03-05")); err != nil {
			return err
		}
		if _, err := s.Orders().Get(ctx, order("o1", "").Name); err != nil {
			t.Errorf("a transaction does not see its own writes: %v", err)
		}
		return failure
	})
	if !errors.Is(err, failure) {
		t.Errorf("got %v", err)
	}
	_, err = s.Orders().Get(ctx, order("o1", "").Name)
	wantReason(t, err, planning.OrderMissing)
}

func taken(t *testing.T, s planning.Store) {
	kitchen(t, s)
	ctx := t.Context()
	wantReason(t, s.InTx(ctx, func(ctx context.Context) error { return s.Outlets().Insert(ctx, outlet("pier", true)) }), planning.NameTaken)
	insert(t, s, s.Outlets(), outlet("PIER", true))
	twin := product("twin")
	twin.Item = site + "/items/demi"
	wantReason(t, s.InTx(ctx, func(ctx context.Context) error { return s.Products().Insert(ctx, twin) }), planning.ItemTaken)
	insert(t, s, s.Pars(), &planning.Par{Meta: meta(site + "/pars/a"), Product: site + "/products/demi", Count: 1})
	insert(t, s, s.Pars(), &planning.Par{Meta: meta(site + "/pars/b"), Product: site + "/products/demi", Outlet: site + "/outlets/pier", Count: 1})
	again := &planning.Par{Meta: meta(site + "/pars/c"), Product: site + "/products/demi", Count: 2}
	wantReason(t, s.InTx(ctx, func(ctx context.Context) error { return s.Pars().Insert(ctx, again) }), planning.ParTaken)
}

func paging(t *testing.T, s planning.Store) {
	kitchen(t, s)
	for i := range 7 {
		insert(t, s, s.Outlets(), outlet(fmt.Sprintf("o%d", i), true))
	}
	var seen []string
	q := planning.Query{Parent: site, Limit: 3}
	for {
		page, err := s.Outlets().List(t.Context(), q)
		must(t, err)
		if len(page) == 0 {
			break
		}
		for _, o := range page {
			seen = append(seen, o.Name)
		}
		q.After = []string{page[len(page)-1].Name}
		if len(seen) == 3 {
			insert(t, s, s.Outlets(), outlet("a-before", true)) // behind the reader: not seen, and moves nothing
			insert(t, s, s.Outlets(), outlet("o35", true))      // ahead of the reader: seen
		}
	}
	if len(seen) != 9 {
		t.Errorf("saw %v", seen)
	}
	for i := 1; i < len(seen); i++ {
		if seen[i] <= seen[i-1] {
			t.Errorf("%s comes after %s", seen[i], seen[i-1])
		}
	}
	_, err := s.Orders().List(t.Context(), planning.Query{Parent: site + "/outlets/-", Limit: 3, After: []string{"one"}})
	wantReason(t, err, planning.FieldInvalid)
	_, err = s.Batches().List(t.Context(), planning.Query{Parent: site, Limit: 3, After: []string{"not a number", "x"}})
	wantReason(t, err, planning.FieldInvalid)
}

func filters(t *testing.T, s planning.Store) {
	kitchen(t, s)
	insert(t, s, s.Outlets(), outlet("gone", false))
	list := func(filter string) int {
		t.Helper()
		found, err := s.Outlets().List(t.Context(), planning.Query{Parent: site, Filter: filter, Limit: 10})
		must(t, err)
		return len(found)
	}
	if list("active = true") != 1 || list("active = false") != 1 || list(`display_name = "Bistro gone"`) != 1 || list("") != 2 {
		t.Error("the filters select something else")
	}
	for _, filter := range []string{"doc = 1", "active > true", "site = x", "active = true)"} {
		if _, err := s.Outlets().List(t.Context(), planning.Query{Parent: site, Filter: filter, Limit: 10}); apierr.KindOf(err) != apierr.KindInvalidArgument {
			t.Errorf("%s: %v", filter, err)
		}
	}
}

func orders(t *testing.T, s planning.Store) {
	kitchen(t, s)
	ctx := t.Context()
	insert(t, s, s.Outlets(), outlet("hill", true))
	for _, o := range []*planning.Order{order("b", "2026-03-05"), order("a", "2026-03-06"), order("c", "2026-03-04")} {
		insert(t, s, s.Orders(), o)
	}
	shipped := order("shipped", "2026-03-05")
	shipped.Lines[0].Shipped, shipped.State = 3, planning.OrderShipped
	insert(t, s, s.Orders(), shipped)
	open, err := s.OpenOrders(ctx, site, "2026-03-05", "2026-03-07")
	must(t, err)
	if len(open) != 2 || open[0].Name != order("b", "").Name || open[1].Name != order("a", "").Name {
		t.Errorf("open orders %v", open)
	}
	count := func(parent, filter string, now time.Time) int {
		t.Helper()
		found, err := s.Orders().List(ctx, planning.Query{Parent: parent, Filter: filter, Limit: 10, Now: now})
		must(t, err)
		return len(found)
	}
	wild := site + "/outlets/-"
	if count(wild, `state = PLACED`, at) != 3 || count(wild, `state = "CONFIRMED"`, at) != 0 {
		t.Error("before the cut-off")
	}
	if count(wild, `state = "PLACED"`, at.Add(time.Hour)) != 0 || count(wild, `state = "CONFIRMED"`, at.Add(time.Hour)) != 3 {
		t.Error("at the cut-off")
	}
	if _, err := s.Orders().List(ctx, planning.Query{Parent: wild, Filter: "state = SENT", Limit: 10, Now: at}); apierr.KindOf(err) != apierr.KindInvalidArgument {
		t.Errorf("a state that does not exist: %v", err)
	}
	if count(site+"/outlets/hill", "", at) != 0 || count(site+"/outlets/pier", `dispatch_date >= "2026-03-05" AND state != "SHIPPED"`, at) != 2 {
		t.Error("by outlet and day")
	}
}

func plan(id string, state planning.PlanState, created time.Time) *planning.Plan {
	p := &planning.Plan{Meta: meta(site + "/plans/" + id), Start: "2026-03-02", End: "2026-03-09", State: state}
	p.CreateTime = created
	return p
}

func singletons(t *testing.T, s planning.Store) {
	kitchen(t, s)
	ctx := t.Context()
	insert(t, s, s.Plans(), plan("one", planning.PlanReleased, at))
	insert(t, s, s.Plans(), plan("two", planning.PlanDraft, at.Add(time.Second)))
	two, err := s.Plans().Get(ctx, site+"/plans/two")
	must(t, err)
	two.State = planning.PlanReleased
	if err := s.InTx(ctx, func(ctx context.Context) error { return s.Plans().Update(ctx, two) }); err == nil {
		t.Error("two plans are in force")
	}
	if p, err := s.ReleasedPlan(ctx, site); err != nil || p.Name != site+"/plans/one" {
		t.Errorf("the plan in force is %+v, %v", p, err)
	}
	list, err := s.Plans().List(ctx, planning.Query{Parent: site, Limit: 1})
	if err != nil || list[0].Name != site+"/plans/two" {
		t.Errorf("the newest is first: %v, %v", list, err)
	}
	for _, id := range []string{"a", "b"} {
		insert(t, s, s.Formulas(), &planning.Formula{Meta: meta(site + "/formulas/" + id), State: planning.FormulaDraft, OutputItem: site + "/items/stock"})
	}
	approve := func(id string) error {
		f, err := s.Formulas().Get(ctx, site+"/formulas/"+id)
		must(t, err)
		f.State = planning.FormulaApproved
		return s.InTx(ctx, func(ctx context.Context) error { return s.Formulas().Update(ctx, f) })
	}
	must(t, approve("a"))
	wantReason(t, approve("b"), planning.OutputItemTaken)
}

func versions(t *testing.T, s planning.Store) {
	kitchen(t, s)
	ctx := t.Context()
	insert(t, s, s.Formulas(), &planning.Formula{Meta: meta(site + "/formulas/stock"), State: planning.FormulaDraft})
	for i := 1; i <= 11; i++ {
		insert(t, s, s.FormulaVersions(), &planning.FormulaVersion{Meta: meta(fmt.Sprintf("%s/formulas/stock/versions/%d", site, i)), State: planning.FormulaOut})
	}
	got, err := s.FormulaVersions().List(ctx, planning.Query{Parent: site + "/formulas/stock", Limit: 20, After: []string{site + "/formulas/stock", "9"}})
	if err != nil || len(got) != 2 || got[1].Name != site+"/formulas/stock/versions/11" {
		t.Errorf("after 9 come %v, %v", got, err)
	}
	if got, err = s.FormulaVersions().List(ctx, planning.Query{Parent: site + "/formulas/-", Limit: 20}); err != nil || len(got) != 11 {
		t.Errorf("of all formulas: %d, %v", len(got), err)
	}
}

func batches(t *testing.T, s planning.Store) {
	kitchen(t, s)
	ctx := t.Context()
	insert(t, s, s.Plans(), plan("p", planning.PlanDraft, at))
	for i, state := range []planning.BatchState{planning.BatchPlanned, planning.BatchInProgress} {
		insert(t, s, s.Batches(), &planning.Batch{
			Meta: meta(fmt.Sprintf("%s/batches/b%d", site, i)), Plan: site + "/plans/p", State: state, Nominal: 1_000_001, Planned: 900_000,
			Due: at.Add(-time.Duration(i) * time.Hour), OutputItem: site + "/items/stock",
		})
	}
	own, err := s.PlanBatches(ctx, site+"/plans/p")
	if err != nil || len(own) != 2 || own[0].Name != site+"/batches/b1" || own[0].Nominal != 1_000_001 {
		t.Errorf("by due time: %v, %v", own, err)
	}
	running, err := s.BatchesInProgress(ctx, site)
	if err != nil || len(running) != 1 || running[0].Name != site+"/batches/b1" {
		t.Errorf("in progress: %v, %v", running, err)
	}
	found, err := s.Batches().List(ctx, planning.Query{Parent: site, Limit: 5, Filter: `state = "PLANNED" AND due_time > "2026-03-02T06:30:00Z" AND plan = "sites/quai/plans/p"`})
	if err != nil || len(found) != 1 {
		t.Errorf("filtered: %v, %v", found, err)
	}
	must(t, s.InTx(ctx, func(ctx context.Context) error { return s.DeletePlan(ctx, site+"/plans/p") }))
	_, err = s.Batches().Get(ctx, site+"/batches/b0")
	wantReason(t, err, planning.BatchMissing)
	_, err = s.Plans().Get(ctx, site+"/plans/p")
	wantReason(t, err, planning.PlanMissing)
}

func concurrent(t *testing.T, s planning.Store) {
	kitchen(t, s)
	insert(t, s, s.Orders(), order("o", "2026-03-05"))
	const writers, rounds = 4, 5
	var all sync.WaitGroup
	for range writers {
		all.Go(func() {
			for range rounds {
				err := s.InTx(t.Context(), func(ctx context.Context) error {
					o, err := s.Orders().Get(ctx, order("o", "").Name)
					if err != nil {
						return err
					}
					o.Lines[0].Shipped++
					return s.Orders().Update(ctx, o)
				})
				if err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	if o, err := s.Orders().Get(t.Context(), order("o", "").Name); err != nil || o.Lines[0].Shipped != writers*rounds {
		t.Errorf("%d of %d counted, %v", o.Lines[0].Shipped, writers*rounds, err)
	}
}
