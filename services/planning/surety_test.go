package planning_test

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"rondeau.internal/services/planning"
)

// Finishes implements planning.Scheduling.
func (l *line) Finishes(_ context.Context, _ string, questions []planning.FinishQuestion) ([]planning.Finish, error) {
	l.finishAsked = questions
	if l.untold {
		return nil, errors.New("connection refused")
	}
	out := make([]planning.Finish, len(questions))
	for i, q := range questions {
		if p, known := l.sure[q.Batch]; known {
			out[i] = planning.Finish{Known: true, Probability: p}
		} else {
			out[i] = planning.Finish{Refusal: "it is not placed"}
		}
	}
	return out, nil
}

// A promise that needs batches is as sure as these, the surest first; probabilities of those needed are multiplied.
func TestAPromiseIsAsSureAsTheBatchesItNeeds(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	k.stock.stock[item("demi-pack")] = planning.Stock{Lots: []planning.StockLot{{Lot: site + "/lots/a", Containers: 12}}}
	check := func(day planning.Date) *planning.Availability {
		t.Helper()
		a, err := k.CheckAvailability(ctx, outlet("pier"), product("demi-1kg"), day)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	if a := check("2026-03-12"); a.Promised != 12 || !a.Surety.Known || a.Surety.Probability != 1 || a.Surety.Basis != "The stock suffices." {
		t.Errorf("from stock: %+v", a)
	}
	if len(k.line.finishAsked) != 0 {
		t.Errorf("asked %+v for what is in stock", k.line.finishAsked)
	}
	k.order("hill", "more", "2026-03-12", 30)
	plan, _ := k.plan("week", "2026-03-02", "2026-03-16")
	if _, _, err := k.ReleasePlan(ctx, plan.Name, "", "manager", false); err != nil {
		t.Fatal(err)
	}
	k.stock.stock[item("demi-pack")] = planning.Stock{Lots: []planning.StockLot{{Lot: site + "/lots/a", Containers: 20}}} // somebody counted again
	a := check("2026-03-13")
	if a.Planned == 0 || a.Promised == 0 {
		t.Fatalf("after the plan: %+v", a)
	}
	if a.Surety.Known || !strings.Contains(a.Surety.Basis, "it is not placed") || !strings.Contains(a.Surety.Basis, "the plan alone") {
		t.Errorf("of a batch without a place: %+v", a.Surety)
	}
	asked := k.line.finishAsked
	k.line.sure = map[string]float64{}
	want := 1.0
	for i, q := range asked {
		k.line.sure[q.Batch] = 0.9 - 0.1*float64(i)
		want *= k.line.sure[q.Batch]
		if q.By.IsZero() || !q.By.Equal(asked[0].By) {
			t.Errorf("asked for %s by %s", q.Batch, q.By)
		}
	}
	// All that is planned is taken or promised, so that every batch is needed.
	a = check("2026-03-13")
	if !a.Surety.Known || math.Abs(a.Surety.Probability-want) > 1e-12 || !strings.Contains(a.Surety.Basis, "%") {
		t.Errorf("%d batches: %+v, want %v", len(asked), a.Surety, want)
	}
	k.line.untold = true
	if b := check("2026-03-13"); b.Promised != a.Promised || b.Surety.Known || !strings.Contains(b.Surety.Basis, "does not answer") {
		t.Errorf("without scheduling: %+v", b)
	}
}
