package sched_test

import (
	"testing"

	"rondeau.internal/pkg/sched"
)

// What an explanation says must be true: checked by complete enumeration.
func TestExplanationsAgainstCompleteEnumeration(t *testing.T) {
	t.Parallel()
	impossible, proved, minimal, remedied, remedies, least := 0, 0, 0, 0, 0, 0
	for seed := range uint64(60) {
		in := whole(seed)
		if enumerate(in).found {
			continue
		}
		impossible++
		out := explain(t, in, sched.ExplainOptions{})
		if out.Possible {
			t.Errorf("%s: said to be possible", in.Name)
			continue
		}
		if out.Core.Proved {
			proved++
			checkCore(t, in, out.Core)
		}
		if out.Core.Minimal {
			minimal++
		}
		verified := 0
		for _, r := range out.Remedies {
			if r.Verified {
				verified++
			}
			if e := r.Edits[0]; r.Least && len(r.Edits) == 1 && e.By > 0 {
				least++
				e.By--
				less, err := in.Apply(e)
				if err != nil {
					t.Fatal(err)
				}
				if enumerate(less).found {
					t.Errorf("%s: %s is said to be the least, but less is enough", in.Name, r.Message)
				}
			}
		}
		remedies += verified
		if verified > 0 {
			remedied++
		} else {
			t.Logf("%s: nothing helps\n%s", in.Name, told(out))
		}
	}
	// As found: all conflicts proved and minimal. Two thirds can be helped; most others are started activities against each other.
	if proved < impossible || minimal < impossible || 100*remedied < 60*impossible || least == 0 {
		t.Errorf("of %d, %d proved, %d minimal, %d helped, %d least", impossible, proved, minimal, remedied, least)
	}
	t.Logf("%d impossible, %d conflicts proved, %d of them minimal; %d helped, by %d remedies, %d of which are proved to be the least",
		impossible, proved, minimal, remedied, remedies, least)
}

// checkCore compares a proved conflict with complete enumeration where that is possible, and the engine where not.
func checkCore(t *testing.T, in sched.Instance, c sched.Core) {
	t.Helper()
	found := func(y sched.Instance) bool {
		if y.Horizon.End > 16 {
			plan, _ := mustSolve(t, y, sched.Options{Iterations: 200})
			return len(plan.Assignments) > 0
		}
		return enumerate(y).found
	}
	if found(sched.CoreInstance(in, c, -1)) {
		t.Errorf("%s: the conflict %v is possible", in.Name, reasons(c))
	}
	for i, r := range c.Reasons {
		y := sched.CoreInstance(in, c, i)
		if r.Needed && len(y.Activities) > 0 && !found(y) {
			t.Errorf("%s: %v is impossible without %s %s too", in.Name, reasons(c), r.Kind, r.Subject)
		}
	}
}
