package demo

import (
	"context"
	"testing"
	"time"
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
