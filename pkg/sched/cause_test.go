package sched_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"rondeau.internal/pkg/sched"
)

// attended is an activity that somebody of a calendar begins and ends and that goes on by itself in between.
func attended(name, calendar string, start, middle, end int64) sched.Activity {
	return sched.Activity{Name: name, Modes: []sched.Mode{{Name: "by hand", Start: start, Middle: middle, End: end, AttendedCalendar: calendar}}}
}

func calendar(name string, spans ...int64) sched.Calendar {
	c := crew(spans...)
	c.Name = name
	return c
}

// tight ties activities into a chain with little time between one and the next.
func tight(limit int64, names ...string) []sched.Lag {
	var out []sched.Lag
	for i := 1; i < len(names); i++ {
		out = append(out, sched.Lag{From: names[i-1], To: names[i], Max: limit, HasMax: true, Why: "it must stay hot"})
	}
	return out
}

func TestOnlyTheFewestStepsThatHaveNoPlaceAreNamed(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		in      func() sched.Instance
		kind    sched.ConflictKind
		named   [][]string // activities of each conflict
		message []string   // in the first one
	}{
		{"a step that ends outside the shift that begins it, not its neighbours", func() sched.Instance {
			in := problem(attended("roast", "crew", 2, 0, 0), attended("simmer", "crew", 1, 10, 1), attended("chill", "crew", 1, 2, 1))
			in.Calendars = []sched.Calendar{crew(0, 8, 24, 32, 48, 56)}
			in.Lags = tight(3, "roast", "simmer", "chill")
			return in
		}, sched.ConflictCalendar, [][]string{{"simmer"}}, []string{"simmer (12)", "cannot end", "crew"}},
		{"each of two steps that are longer than every shift", func() sched.Instance {
			in := problem(attended("bone", "crew", 9, 0, 0), attended("roast", "crew", 2, 0, 0), attended("sieve", "crew", 10, 0, 0))
			in.Calendars = []sched.Calendar{crew(0, 8, 24, 32)}
			in.Lags = tight(3, "bone", "roast", "sieve")
			return in
		}, sched.ConflictCalendar, [][]string{{"bone"}, {"sieve"}}, []string{"9 of open time in one go", "8 at most"}},
		{"a step whose first shift comes after the schedule", func() sched.Instance {
			in := problem(attended("roast", "crew", 2, 0, 0), attended("pack", "packers", 2, 0, 0))
			in.Calendars = []sched.Calendar{crew(0, 8), calendar("packers", 120, 128)}
			in.Lags = tight(300, "roast", "pack")
			return in
		}, sched.ConflictCalendar, [][]string{{"pack"}}, []string{"from 120 on"}},
		{"a step that can pause, but not until all its work is done", func() sched.Instance {
			in := problem(attended("roast", "crew", 2, 0, 0), attended("peel", "crew", 17, 0, 0))
			in.Activities[1].Modes[0].Pausable = sched.InStart
			in.Calendars = []sched.Calendar{crew(0, 8, 24, 32)}
			in.Lags = tight(100, "roast", "peel")
			return in
		}, sched.ConflictCalendar, [][]string{{"peel"}}, []string{"17 of open time", "only 16 left"}},
		{"two crews that never meet, not the steps before and after", func() sched.Instance {
			in := problem(attended("roast", "early", 1, 0, 0), attended("draw", "early", 2, 0, 0), attended("pack", "late", 2, 0, 0), attended("store", "late", 1, 0, 0))
			in.Calendars = []sched.Calendar{calendar("early", 0, 6, 24, 30, 48, 54), calendar("late", 12, 18, 36, 42)}
			in.Lags = tight(3, "roast", "draw", "pack", "store")
			return in
		}, sched.ConflictCalendar, [][]string{{"draw", "pack"}}, []string{"draw, pack", "early, late"}},
		{"three steps of which any two could follow each other", func() sched.Instance {
			in := problem(attended("roast", "early", 2, 0, 0), step("draw", "kettle", 2), step("cool", "chiller", 6), attended("pack", "late", 2, 0, 0), step("store", "pot", 1))
			in.Activities[1].Modes[0].Middle, in.Activities[1].Modes[0].Start, in.Activities[1].Modes[0].AttendedCalendar = 0, 2, "early"
			in.Calendars = []sched.Calendar{calendar("early", 0, 4, 24, 28), calendar("late", 20, 23, 44, 47)}
			in.Lags = tight(5, "roast", "draw", "cool", "pack", "store")
			in.Lags[1].Max, in.Lags[2].Max = 1, 1
			return in
		}, sched.ConflictCalendar, [][]string{{"draw", "cool", "pack"}}, []string{"draw, cool, pack"}},
		{"too much work before the end of the schedule is not a matter of shifts", func() sched.Instance {
			in := problem(step("a", "kettle", 40), step("b", "pot", 40), step("c", "chiller", 40), step("d", "chiller", 40))
			in.Lags = []sched.Lag{{From: "a", To: "b"}, {From: "b", To: "c"}, {From: "c", To: "d"}}
			return in
		}, sched.ConflictWindow, [][]string{{"c", "b", "a"}}, []string{"c can end at 120", "20 after the end of the horizon", "because of b, a"}},
		{"a step that misses its deadline by itself, not the one after it", func() sched.Instance {
			in := problem(step("a", "kettle", 10), step("b", "pot", 5))
			in.Activities[0].Deadline, in.Activities[1].Deadline = 8, 12
			in.Lags = []sched.Lag{{From: "a", To: "b"}}
			return in
		}, sched.ConflictWindow, [][]string{{"a"}}, []string{"a can end at 10 at the earliest, 2 after its deadline"}},
		{"a step that is pinned where it misses its deadline", func() sched.Instance {
			in := problem(step("a", "kettle", 10), step("b", "pot", 5))
			in.Activities[0].Deadline, in.Activities[0].Fixed = 12, &sched.Fixed{Mode: "kettle", Start: 5}
			in.Lags = []sched.Lag{{From: "a", To: "b"}}
			return in
		}, sched.ConflictFixed, [][]string{{"a"}}, []string{"pinned to start at 5", "ends at 15", "3 after its deadline"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, rep := mustSolve(t, c.in(), sched.Options{Iterations: 50})
			if rep.Status != sched.StatusInfeasible || len(rep.Conflicts) == 0 {
				t.Fatalf("%v: %+v", rep.Status, rep.Conflicts)
			}
			var named [][]string
			for _, x := range rep.Conflicts {
				named = append(named, x.Activities)
				if x.Kind != c.kind || !x.Proved || len(x.Relaxations) == 0 {
					t.Errorf("%q, proved %v, %d relaxations: %s", x.Kind, x.Proved, len(x.Relaxations), x.Message)
				}
			}
			if fmt.Sprint(named) != fmt.Sprint(c.named) {
				t.Errorf("named %v, want %v: %+v", named, c.named, rep.Conflicts)
			}
			for _, m := range c.message {
				if !strings.Contains(rep.Conflicts[0].Message, m) {
					t.Errorf("the message does not say %q: %s", m, rep.Conflicts[0].Message)
				}
			}
		})
	}
}

// What a conflict names must be impossible by itself, and possible without any one of its steps.
func TestEachNamedStepIsNeededForTheConflict(t *testing.T) {
	t.Parallel()
	sizes := map[int]int{}
	for seed := range uint64(400) {
		in := randomChains(rand.New(rand.NewPCG(seed, 7)))
		_, rep := mustSolve(t, in, sched.Options{Iterations: 1})
		if rep.Status != sched.StatusInfeasible {
			continue
		}
		single := slices.ContainsFunc(in.Activities, func(a sched.Activity) bool {
			_, alone := mustSolve(t, only(in, []string{a.Name}), sched.Options{Iterations: 1})
			return alone.Status == sched.StatusInfeasible
		})
		for _, x := range rep.Conflicts {
			if x.Kind == sched.ConflictLags {
				continue // a contradiction of lags names all of its circle
			}
			sizes[len(x.Activities)]++
			if single && len(x.Activities) > 1 {
				t.Errorf("seed %d: a step is impossible by itself, but named are %v", seed, x.Activities)
			}
			if _, alone := mustSolve(t, only(in, x.Activities), sched.Options{Iterations: 1}); alone.Status != sched.StatusInfeasible {
				t.Errorf("seed %d: %v is %v by itself: %s", seed, x.Activities, alone.Status, x.Message)
			}
			for i := range x.Activities {
				less := slices.Delete(slices.Clone(x.Activities), i, i+1)
				if _, without := mustSolve(t, only(in, less), sched.Options{Iterations: 1}); without.Status == sched.StatusInfeasible {
					t.Errorf("seed %d: %v is impossible without %s too: %s", seed, x.Activities, x.Activities[i], x.Message)
				}
			}
		}
	}
	t.Logf("conflicts by number of steps: %v", sizes)
	for n := 1; n <= 3; n++ {
		if sizes[n] == 0 {
			t.Errorf("no conflict of %d steps among the instances", n)
		}
	}
}

// randomChains has steps in three crews' shifts, tied by greatest lags into chains and a ring, and no vessels.
func randomChains(r *rand.Rand) sched.Instance {
	in := sched.Instance{Name: "chains", Horizon: sched.Span{End: 240}}
	for c := range 3 {
		start := r.Int64N(12)
		cal := sched.Calendar{Name: fmt.Sprint("crew", c)}
		for day := range int64(9) {
			cal.Open = append(cal.Open, sched.Open{Span: sched.Span{Start: 24*day + start, End: 24*day + start + 7 + r.Int64N(4)}})
		}
		in.Calendars = append(in.Calendars, cal)
	}
	for i := range 8 {
		a := attended(fmt.Sprint("s", i), in.Calendars[r.IntN(3)].Name, 1+r.Int64N(5), r.Int64N(5), r.Int64N(4))
		if r.IntN(25) == 0 {
			a.Modes[0].Start += 9
		}
		in.Activities = append(in.Activities, a)
		if i%4 > 0 {
			in.Lags = append(in.Lags, sched.Lag{From: fmt.Sprint("s", i-1), To: a.Name, Max: r.Int64N(14), HasMax: true})
		}
	}
	if r.IntN(2) == 0 {
		in.Lags = append(in.Lags, sched.Lag{From: "s0", To: "s3", Max: 20 + r.Int64N(30), HasMax: true})
	}
	return in
}

// only is what is left of an instance with some of its activities.
func only(in sched.Instance, names []string) sched.Instance {
	out := in
	out.Activities, out.Lags = nil, nil
	for _, a := range in.Activities {
		if slices.Contains(names, a.Name) {
			out.Activities = append(out.Activities, a)
		}
	}
	for _, l := range in.Lags {
		if slices.Contains(names, l.From) && slices.Contains(names, l.To) {
			out.Lags = append(out.Lags, l)
		}
	}
	return out
}
