package project

import (
	"errors"
	"reflect"
	"slices"
	"testing"
)

func mustSolve(t *testing.T, p *Problem, o Options) Result {
	t.Helper()
	res, err := Solve(p, o)
	if err != nil {
		t.Fatal(err)
	}
	if res.Starts != nil {
		if b := broken(p, res.Starts); b != "" {
			t.Fatalf("schedule %v of %+v breaks a %s", res.Starts, p, b)
		}
		if m := makespanOf(p, res.Starts); m != res.Makespan || res.Bound > m {
			t.Fatalf("makespan %d is given as %d with a bound of %d", m, res.Makespan, res.Bound)
		}
	}
	return res
}

func TestSolveAgreesWithTryingEverything(t *testing.T) {
	t.Parallel()
	r := &rng{3}
	for k := range 1000 {
		p := randomProblem(r, 3+r.n(4), k%2 > 0, k%4 == 0)
		p.Horizon = int32(min(freeHorizon(p), 14))
		want := bruteForce(p, p.Horizon)
		res := mustSolve(t, p, Options{Seed: uint64(k), Workers: 1 + k%2})
		switch {
		case want < 0 && res.Status != Infeasible, want >= 0 && (res.Status != Optimal || res.Makespan != want || res.Bound != want):
			t.Fatalf("problem %d %+v: %+v, trying everything finds %d", k, p, res, want)
		}
	}
}

func TestWithoutAHorizonNothingShorterIsMissed(t *testing.T) {
	t.Parallel()
	r := &rng{31}
	for k := range 400 {
		p := randomProblem(r, 3+r.n(3), k%2 > 0, false)
		want := bruteForce(p, 16)
		res := mustSolve(t, p, Options{})
		if want >= 0 && res.Makespan != want || want < 0 && res.Starts != nil && res.Makespan <= 16 {
			t.Fatalf("problem %d %+v: %+v, trying everything finds %d", k, p, res, want)
		}
	}
}

// project makes a larger regular problem.
func project(seed uint64, n int) *Problem {
	r := &rng{seed}
	p := &Problem{Capacities: []int32{9, 11, 10, 12, 8}}
	for i := range n {
		p.Durations = append(p.Durations, int32(1+r.n(9)))
		row := make([]int32, 5)
		for k := range row {
			if r.n(2) == 0 {
				row[k] = int32(r.n(7))
			}
		}
		p.Demands = append(p.Demands, row)
		for range 2 {
			if i > 0 {
				j := max(0, i-1-r.n(8))
				p.Lags = append(p.Lags, Lag{int32(j), int32(i), p.Durations[j]})
			}
		}
	}
	return p
}

func TestTheResultDependsOnSeedAndBudgetOnly(t *testing.T) {
	t.Parallel()
	p := project(4, 60)
	greatest := project(4, 40)
	for i := range int32(20) {
		greatest.Lags = append(greatest.Lags, Lag{i + 5, i, -25})
	}
	for _, p := range []*Problem{p, greatest} {
		var first Result
		for k, workers := range []int{1, 2, 1, 2} {
			res := mustSolve(t, p, Options{Seed: 9, Iterations: 8000, Workers: workers})
			if k == 0 {
				first = res
			} else if !reflect.DeepEqual(first, res) {
				t.Fatalf("%d workers: %+v, before %+v", workers, res, first)
			}
		}
		if first.Starts == nil {
			t.Fatal("no schedule")
		}
	}
}

func TestBetterSchedulesAreReportedInOrder(t *testing.T) {
	t.Parallel()
	p := project(11, 50)
	last := int32(1 << 30)
	res := mustSolve(t, p, Options{Iterations: 5000, OnImprove: func(s []int32, m int32) {
		if b := broken(p, s); b != "" || m >= last || m != makespanOf(p, s) {
			t.Errorf("%d after %d, breaks %q", m, last, b)
		}
		last = m
		clear(s)
	}})
	if last != res.Makespan {
		t.Errorf("the last report is %d, the result %d", last, res.Makespan)
	}
}

func TestAWarmStartIsNotLost(t *testing.T) {
	t.Parallel()
	p := project(12, 50)
	good := mustSolve(t, p, Options{Iterations: 20000})
	again := mustSolve(t, p, Options{Iterations: 1, Start: good.Starts})
	if again.Makespan > good.Makespan {
		t.Errorf("%d after a start with %d", again.Makespan, good.Makespan)
	}
	faulty := slices.Clone(good.Starts)
	faulty[7] = 0
	mustSolve(t, p, Options{Iterations: 1, Start: faulty})
}

func TestTheDeadlineEndsTheSearch(t *testing.T) {
	t.Parallel()
	res := mustSolve(t, project(13, 80), Options{Iterations: 1 << 40, Deadline: func() bool { return true }})
	if !res.Stopped || res.Starts == nil {
		t.Errorf("stopped %v with %v", res.Stopped, res.Starts)
	}
}

func TestLongerTimesLengthenTheScheduleInProportion(t *testing.T) {
	t.Parallel()
	r := &rng{41}
	for k := range 60 {
		p := randomProblem(r, 8, k%2 == 0, false)
		q := *p
		q.Durations, q.Lags = slices.Clone(p.Durations), slices.Clone(p.Lags)
		for i := range q.Durations {
			q.Durations[i] *= 7
		}
		for i := range q.Lags {
			q.Lags[i].Min *= 7
		}
		a, b := mustSolve(t, p, Options{}), mustSolve(t, &q, Options{})
		if a.Status != b.Status || 7*a.Makespan != b.Makespan {
			t.Fatalf("problem %d %+v: %d, seven times longer %d", k, p, a.Makespan, b.Makespan)
		}
	}
}

func TestOrderAndDirectionDoNotMatter(t *testing.T) {
	t.Parallel()
	r := &rng{43}
	for k := range 60 {
		p := randomProblem(r, 8, k%2 == 0, false)
		n := int32(len(p.Durations))
		turned, back := &Problem{Capacities: p.Capacities}, &Problem{Durations: p.Durations, Demands: p.Demands, Capacities: p.Capacities}
		for i := range n {
			turned.Durations = append(turned.Durations, p.Durations[n-1-i])
			turned.Demands = append(turned.Demands, p.Demands[n-1-i])
		}
		for _, l := range p.Lags {
			turned.Lags = append(turned.Lags, Lag{n - 1 - l.From, n - 1 - l.To, l.Min})
			// With start' = -start - duration: start'(From) - start'(To) = start(To) - start(From) + d(To) - d(From).
			back.Lags = append(back.Lags, Lag{l.To, l.From, l.Min + p.Durations[l.To] - p.Durations[l.From]})
		}
		a := mustSolve(t, p, Options{})
		for name, q := range map[string]*Problem{"numbered backwards": turned, "running backwards": back} {
			if b := mustSolve(t, q, Options{}); a.Status != b.Status || a.Makespan != b.Makespan {
				t.Fatalf("problem %d %+v: %d, %s %d", k, p, a.Makespan, name, b.Makespan)
			}
		}
	}
}

func TestManyResourcesAndLargeAmounts(t *testing.T) {
	t.Parallel()
	p := project(15, 30)
	want := mustSolve(t, p, Options{Iterations: 1 << 20})
	q := *p
	q.Capacities = slices.Clone(p.Capacities)
	q.Demands = nil
	for k := range q.Capacities {
		q.Capacities[k] *= 100000
	}
	for _, row := range p.Demands {
		row = slices.Clone(row)
		for k := range row {
			row[k] *= 100000
		}
		q.Demands = append(q.Demands, row)
	}
	if got := mustSolve(t, &q, Options{Iterations: 1 << 20}); got.Makespan != want.Makespan || got.Status != Optimal {
		t.Errorf("%+v, in small units %+v", got, want)
	}
}

func TestConflictsAreNamed(t *testing.T) {
	t.Parallel()
	lags := &Problem{
		Durations: []int32{2, 3, 1, 1}, Demands: [][]int32{{1}, {1}, {1}, {1}}, Capacities: []int32{9},
		Lags: []Lag{{0, 3, 1}, {0, 1, 2}, {1, 2, 3}, {2, 0, -4}},
	}
	res := mustSolve(t, lags, Options{})
	got := slices.Sorted(slices.Values(res.Conflict.Lags))
	if res.Status != Infeasible || !slices.Equal(got, []int32{1, 2, 3}) || res.Conflict.Resource != -1 {
		t.Errorf("%+v", res)
	}
	tight := &Problem{
		Durations: []int32{2, 3}, Demands: [][]int32{{1}, {4}}, Capacities: []int32{3},
	}
	res = mustSolve(t, tight, Options{})
	if res.Status != Infeasible || res.Conflict.Resource != 0 || !slices.Equal(res.Conflict.Activities, []int32{1}) {
		t.Errorf("%+v", res)
	}
	late := &Problem{
		Durations: []int32{2, 3}, Demands: [][]int32{{1}, {1}}, Capacities: []int32{3}, Lags: []Lag{{0, 1, 2}},
		Deadlines: []int32{-1, 4},
	}
	res = mustSolve(t, late, Options{})
	if res.Status != Infeasible || !slices.Equal(res.Conflict.Lags, []int32{0}) {
		t.Errorf("%+v", res)
	}
}

func TestFaultyProblemsAreRefused(t *testing.T) {
	t.Parallel()
	good := func() *Problem {
		return &Problem{Durations: []int32{1, 2}, Demands: [][]int32{{1}, {1}}, Capacities: []int32{1}}
	}
	for name, spoil := range map[string]func(p *Problem){
		"demands missing":     func(p *Problem) { p.Demands = p.Demands[:1] },
		"demand row short":    func(p *Problem) { p.Demands[0] = nil },
		"negative duration":   func(p *Problem) { p.Durations[0] = -1 },
		"negative demand":     func(p *Problem) { p.Demands[1][0] = -1 },
		"negative capacity":   func(p *Problem) { p.Capacities[0] = -1 },
		"lag to nowhere":      func(p *Problem) { p.Lags = []Lag{{0, 2, 1}} },
		"huge lag":            func(p *Problem) { p.Lags = []Lag{{0, 1, 1 << 30}} },
		"releases missing":    func(p *Problem) { p.Releases = []int32{1} },
		"negative release":    func(p *Problem) { p.Releases = []int32{1, -1} },
		"deadlines missing":   func(p *Problem) { p.Deadlines = []int32{1} },
		"huge deadline":       func(p *Problem) { p.Deadlines = []int32{1, 1 << 30} },
		"levels missing":      func(p *Problem) { p.Levels = [][]Level{nil, nil} },
		"levels out of order": func(p *Problem) { p.Levels = [][]Level{{{3, 1}, {3, 2}}} },
		"negative horizon":    func(p *Problem) { p.Horizon = -1 },
	} {
		p := good()
		spoil(p)
		if _, err := Solve(p, Options{}); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	long := good()
	long.Durations[0] = TimeLimit
	if _, err := Solve(long, Options{}); !errors.Is(err, ErrTooLong) {
		t.Errorf("a horizon of %d: %v", TimeLimit, err)
	}
	if res := mustSolve(t, &Problem{}, Options{}); res.Status != Optimal {
		t.Errorf("an empty project: %+v", res)
	}
}
