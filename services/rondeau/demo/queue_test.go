package demo

import (
	"context"
	"slices"
	"testing"
	"time"

	"rondeau.internal/services/rondeau/kitchen"
)

func TestEventsHappenInOrderOfTimeThenOfAdding(t *testing.T) {
	t.Parallel()
	var q queue
	base := time.Unix(0, 0)
	for _, e := range []struct {
		after time.Duration
		name  string
	}{{2, "c"}, {1, "a"}, {2, "d"}, {1, "b"}, {0, "first"}} {
		q.add(base.Add(e.after*time.Minute), e.name, func(context.Context) error { return nil })
	}
	got := ""
	for {
		e, ok := q.next()
		if !ok {
			break
		}
		got += e.name + " "
	}
	if got != "first a b c d " {
		t.Errorf("events happened in the order %q", got)
	}
}

func TestADrawDependsOnItsNameAndSeedAlone(t *testing.T) {
	t.Parallel()
	a, b := draws(1), draws(2)
	if a.between("x", 0, 1) != a.between("x", 0, 1) {
		t.Error("the same name gave two values")
	}
	if a.between("x", 0, 1) == a.between("y", 0, 1) || a.between("x", 0, 1) == b.between("x", 0, 1) {
		t.Error("another name or another seed gave the same value")
	}
}

func TestTheKitchenFileIsSoundAndLargeEnough(t *testing.T) {
	t.Parallel()
	file, err := kitchen.Parse("quayside.yaml", Kitchen())
	if err != nil {
		t.Fatal(err)
	}
	count := map[string]int{}
	formulas := map[string]bool{}
	for _, entry := range file.Entries {
		count[entry.Kind()]++
		formulas[entry.ID()] = formulas[entry.ID()] || entry.Kind() == "formulas"
	}
	for kind, least := range map[string]int{"outlets": 8, "formulas": 10, "vessels": 12, "crews": 2, "products": 9, "probes": 2} {
		if count[kind] < least {
			t.Errorf("%d %s, want at least %d", count[kind], kind, least)
		}
	}
	for _, d := range menu {
		if file.Site != "" && !slices.ContainsFunc(file.Entries, func(e *kitchen.Entry) bool { return e.Kind() == "products" && e.ID() == d.product }) {
			t.Errorf("the outlets order %s, which is no product of the kitchen", d.product)
		}
	}
	for _, id := range []string{"brown-veal-stock", "remouillage", "demi-glace", "glace-de-viande", "chicken-stock", "fish-fumet", "vegetable-stock", "veloute", "espagnole", "tomato-sauce"} {
		if !formulas[id] {
			t.Errorf("the formula of %s is missing", id)
		}
	}
}
