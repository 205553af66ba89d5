package planning_test

import (
	"errors"
	"slices"
	"sync"
	"testing"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/services/planning"
)

func (k *kitchen) release(p *planning.Plan) []*planning.Batch {
	k.t.Helper()
	_, batches, err := k.ReleasePlan(k.t.Context(), p.Name, p.Etag(), "manager", false)
	if err != nil {
		k.t.Fatal(err)
	}
	return batches
}

func TestReleasePublishesBatchesAndPurchases(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	o := k.order("pier", "o1", "2026-03-11", 30)
	plan, _ := k.plan("week", "2026-03-02", "2026-03-16")
	if _, dry, err := k.ReleasePlan(ctx, plan.Name, "", "manager", true); err != nil || dry[0].State != planning.BatchReleased {
		t.Fatalf("dry run: %v", err)
	}
	if p, _, err := k.Plan(ctx, plan.Name); err != nil || p.State != planning.PlanDraft {
		t.Fatalf("a dry run changed the plan: %+v, %v", p, err)
	}
	batches := k.release(plan)
	for _, b := range batches {
		saved, err := k.Batch(ctx, b.Name)
		if err != nil || saved.State != planning.BatchReleased {
			t.Errorf("%s: %+v, %v", b.Name, saved, err)
		}
	}
	if len(k.ledger.released) != len(batches) || len(k.ledger.purchases) != len(plan.Purchases) || len(plan.Purchases) == 0 {
		t.Errorf("%d batches and %d purchases published", len(k.ledger.released), len(k.ledger.purchases))
	}
	saved, err := k.Order(ctx, o.Name)
	if err != nil || saved.Lines[0].Planned == nil || *saved.Lines[0].Planned != 30 {
		t.Errorf("the order does not say what is covered: %+v, %v", saved.Lines[0], err)
	}
	if _, _, err := k.ReleasePlan(ctx, plan.Name, "", "manager", false); !errors.Is(err, apierr.Reason(planning.PlanNotDraft)) {
		t.Errorf("release twice: %v", err)
	}
	if err := k.DeletePlan(ctx, plan.Name, ""); !errors.Is(err, apierr.Reason(planning.PlanNotDraft)) {
		t.Errorf("delete a released plan: %v", err)
	}
}

func TestReplanKeepsWhatIsOnTheStove(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	k.order("pier", "o1", "2026-03-11", 30)
	first, _ := k.plan("first", "2026-03-02", "2026-03-16")
	batches := k.release(first)
	stock := find(t, batches, "brown-stock")
	// The bones of the first batch came and it is on the stove; the others are not begun.
	begun := stock[0]
	if err := k.RecordRunStarted(ctx, begun.Name, k.clock.Now()); err != nil {
		t.Fatal(err)
	}
	k.clock.Advance(24 * time.Hour)
	k.order("hill", "o2", "2026-03-12", 10)
	second, again := k.plan("second", "2026-03-03", "2026-03-17")
	if !slices.Equal(second.Firm, []string{begun.Name}) || second.Base != first.Name {
		t.Errorf("firm %v on %s", second.Firm, second.Base)
	}
	balanced(t, again, second.Purchases)
	var taken float64
	for _, b := range find(t, again, "demi-glace") {
		for _, in := range b.Inputs {
			for _, s := range in.Sources {
				if s.Batch == begun.Name {
					taken += kg(s.Mass)
				}
			}
		}
	}
	if taken <= 0 || taken > kg(begun.Planned)+1e-6 {
		t.Errorf("%g kg are taken from the batch on the stove, which gives %v", taken, begun.Planned)
	}
	k.ledger.kinds = nil
	k.release(second)
	old, oldBatches, err := k.Plan(ctx, first.Name)
	if err != nil || old.State != planning.PlanSuperseded {
		t.Fatalf("%+v, %v", old, err)
	}
	for _, b := range oldBatches {
		want := planning.BatchCancelled
		if b.Name == begun.Name {
			want = planning.BatchInProgress
		}
		if b.State != want {
			t.Errorf("%s is %s, want %s", b.Name, b.State, want)
		}
	}
	if len(k.ledger.cancelled) != len(oldBatches)-1 || !slices.Equal(k.ledger.kept, []string{begun.Name}) {
		t.Errorf("cancelled %v, kept %v", k.ledger.cancelled, k.ledger.kept)
	}
	if !slices.Contains(k.ledger.kinds, "plan.released") {
		t.Errorf("events %v", k.ledger.kinds)
	}
}

func TestOutdatedPlansAreNotReleased(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	k.order("pier", "o1", "2026-03-11", 30)
	base, _ := k.plan("base", "2026-03-02", "2026-03-16")
	rival, _ := k.plan("rival", "2026-03-02", "2026-03-16")
	batches := k.release(base)
	if _, _, err := k.ReleasePlan(ctx, rival.Name, "", "m", false); !errors.Is(err, apierr.Reason(planning.PlanOutdated)) {
		t.Errorf("computed before another was released: %v", err)
	}
	fresh, _ := k.plan("fresh", "2026-03-02", "2026-03-16")
	k.clock.Advance(time.Hour)
	last := batches[0]
	if err := k.RecordRunStarted(ctx, last.Name, k.clock.Now()); err != nil {
		t.Fatal(err)
	}
	if _, _, err := k.ReleasePlan(ctx, fresh.Name, "", "m", false); !errors.Is(err, apierr.Reason(planning.PlanOutdated)) {
		t.Errorf("a batch was begun since: %v", err)
	}
	for _, s := range last.Steps {
		if err := k.RecordRunFinished(ctx, last.Name, s.Step.ID, k.clock.Now(), k.clock.Now(), false); err != nil {
			t.Fatal(err)
		}
	}
	if _, _, err := k.ReleasePlan(ctx, fresh.Name, "", "m", false); !errors.Is(err, apierr.Reason(planning.PlanOutdated)) {
		t.Errorf("a batch was begun and finished since: %v", err)
	}
	if err := k.DeletePlan(ctx, fresh.Name, ""); err != nil {
		t.Errorf("delete a draft: %v", err)
	}
	if _, _, err := k.Plan(ctx, fresh.Name); !errors.Is(err, apierr.Reason(planning.PlanMissing)) {
		t.Errorf("deleted plan: %v", err)
	}
	k.clock.Set(time.Date(2026, 3, 16, 12, 0, 0, 0, time.UTC))
	if _, _, err := k.ReleasePlan(ctx, rival.Name, "", "m", false); !errors.Is(err, apierr.Reason(planning.PlanOutdated)) {
		t.Errorf("its last day is over: %v", err)
	}
}

func TestRunsMayBeReportedTwiceLateAndOutOfOrder(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	k.order("pier", "o1", "2026-03-11", 30)
	plan, _ := k.plan("week", "2026-03-02", "2026-03-16")
	b := find(t, k.release(plan), "demi-glace")[0] // reduce, finish, chill
	at := func(h int) time.Time { return monday.Add(time.Duration(h) * time.Hour) }
	state := func(want planning.BatchState) *planning.Batch {
		t.Helper()
		got, err := k.Batch(ctx, b.Name)
		if err != nil || got.State != want {
			t.Fatalf("state %s, want %s (%v)", got.State, want, err)
		}
		return got
	}
	finished := func(step string, start, end int) {
		t.Helper()
		for range 2 {
			if err := k.RecordRunFinished(ctx, b.Name, step, at(start), at(end), false); err != nil {
				t.Fatal(err)
			}
		}
	}
	finished("finish", 6, 7)
	state(planning.BatchInProgress)
	if _, err := k.CancelBatch(ctx, b.Name, "", "not needed"); !errors.Is(err, apierr.Reason(planning.BatchNotCancellable)) {
		t.Errorf("cancel a batch that has begun: %v", err)
	}
	finished("chill", 8, 11)
	state(planning.BatchDone)
	finished("reduce", 0, 5)
	if err := k.RecordRunStarted(ctx, b.Name, at(0)); err != nil {
		t.Fatal(err)
	}
	got := state(planning.BatchDone)
	if !got.StartTime.Equal(at(0)) || !got.FinishTime.Equal(at(11)) || !slices.Equal(got.FinishedSteps, []string{"chill", "finish", "reduce"}) {
		t.Errorf("%s to %s, %v", got.StartTime, got.FinishTime, got.FinishedSteps)
	}
	if err := k.RecordRunStarted(ctx, site+"/batches/none", at(0)); !errors.Is(err, apierr.Reason(planning.BatchMissing)) {
		t.Errorf("a run of an unknown batch must be kept for a person: %v", err)
	}
}

func TestABatchThatBeganAfterAllIsNotLost(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	k.order("pier", "o1", "2026-03-11", 30)
	plan, drafts := k.plan("week", "2026-03-02", "2026-03-16")
	if _, err := k.CancelBatch(ctx, drafts[0].Name, "", "never mind"); err != nil {
		t.Fatal(err)
	}
	if len(k.ledger.cancelled) != 0 {
		t.Error("a batch of a draft was announced as cancelled")
	}
	batches := k.release(plan)
	b, err := k.CancelBatch(ctx, batches[len(batches)-1].Name, "", "kettle is down")
	if err != nil || b.State != planning.BatchCancelled || b.CancelReason != "kettle is down" || len(k.ledger.cancelled) != 1 {
		t.Fatalf("%+v, %v, %v", b, err, k.ledger.cancelled)
	}
	if err := k.RecordRunStarted(ctx, b.Name, k.clock.Now()); err != nil {
		t.Fatal(err)
	}
	next, _ := k.plan("next", "2026-03-02", "2026-03-16")
	if !slices.Contains(next.Firm, b.Name) {
		t.Errorf("firm batches %v do not hold %s", next.Firm, b.Name)
	}
}

// Masses are rounded to the milligram when a batch is saved. A re-plan must not cook again for half a milligram.
func TestReplanOfAnUnchangedWeekAddsNothing(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	for i, n := range []int{30, 7, 11} {
		k.order("pier", []string{"a", "b", "c"}[i], planning.Date("2026-03-1"+[]string{"1", "2", "3"}[i]), n)
	}
	first, _ := k.plan("first", "2026-03-02", "2026-03-16")
	batches := k.release(first)
	packs := 0
	for _, b := range batches {
		if b.Product != "" {
			packs++
			continue
		}
		if err := k.RecordRunStarted(ctx, b.Name, k.clock.Now()); err != nil {
			t.Fatal(err)
		}
	}
	second, again := k.plan("second", "2026-03-02", "2026-03-16")
	if len(again) != packs || len(second.Purchases) != 0 || len(second.Shortages) != 0 {
		t.Errorf("%d batches instead of %d, %d purchases, shortages %+v", len(again), packs, len(second.Purchases), second.Shortages)
		for _, b := range again {
			t.Log(b.DisplayName)
		}
	}
	balanced(t, again, second.Purchases)
}

func TestOnlyOneOfTwoPlansIsReleased(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.order("pier", "o1", "2026-03-11", 30)
	plans := make([]*planning.Plan, 2)
	for i, id := range []string{"a", "b"} {
		plans[i], _ = k.plan(id, "2026-03-02", "2026-03-16")
	}
	errs := make([]error, len(plans))
	var all sync.WaitGroup
	for i, p := range plans {
		all.Go(func() { _, _, errs[i] = k.ReleasePlan(t.Context(), p.Name, "", "m", false) })
	}
	all.Wait()
	refused := 0
	for _, err := range errs {
		if errors.Is(err, apierr.Reason(planning.PlanOutdated)) {
			refused++
		} else if err != nil {
			t.Error(err)
		}
	}
	if refused != 1 {
		t.Errorf("%d of two plans were refused", refused)
	}
}
