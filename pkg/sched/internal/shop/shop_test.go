package shop

import (
	"reflect"
	"sync/atomic"
	"testing"
)

// middling makes a random problem of a size at which the search does not find the optimum at once.
func middling(r *rng, variant string) *Problem {
	p := &Problem{Resources: 6}
	for range 8 {
		job := Job{Weight: int64(1 + r.n(4)), Due: int64(60 + r.n(120)), Release: int64(r.n(20))}
		perm := []int32{0, 1, 2, 3, 4, 5}
		for i := range perm {
			k := i + r.n(len(perm)-i)
			perm[i], perm[k] = perm[k], perm[i]
		}
		for _, m := range perm {
			op := Operation{Modes: []Mode{{Resources: []int32{m}, Duration: int64(1 + r.n(30))}}}
			switch variant {
			case "flexible", "flexible late":
				op.Modes = append(op.Modes, Mode{Resources: []int32{(m + 1) % 6}, Duration: int64(1 + r.n(30))})
			case "workers":
				op.Modes[0].Resources = []int32{m % 3, 3}
				for w := range 2 {
					op.Modes = append(op.Modes, Mode{Resources: []int32{(m + 1) % 3, int32(4 + w)}, Duration: int64(1 + r.n(30))})
				}
			}
			job.Operations = append(job.Operations, op)
		}
		p.Jobs = append(p.Jobs, job)
	}
	switch variant {
	case "late", "flexible late":
		p.Objective = WeightedTardiness
	case "operators":
		p.Operators = 4
	case "operators late":
		p.Operators, p.Objective = 4, WeightedTardiness
	case "blocking":
		p.Blocking = true
	case "blocking pairs":
		p.Blocking, p.Resources = true, 8
		for j := range p.Jobs {
			for k := range p.Jobs[j].Operations {
				m := &p.Jobs[j].Operations[k].Modes[0]
				m.Resources = append(m.Resources, int32(6+r.n(2)))
			}
		}
	}
	return p
}

func solve(t *testing.T, p *Problem, o Options) Result {
	t.Helper()
	r, err := Solve(p, o)
	if err != nil {
		t.Fatal(err)
	}
	feasible(t, p, &r.Solution)
	if r.Bound > r.Value {
		t.Fatalf("bound %d above value %d", r.Bound, r.Value)
	}
	return r
}

func TestTheSameSeedAndBudgetGiveTheSamePlan(t *testing.T) {
	t.Parallel()
	for _, variant := range variants {
		r := rng{s: 3}
		p := middling(&r, variant)
		for _, workers := range []int{1, 2} {
			o := Options{Seed: 5, Iterations: 2500, Workers: workers}
			a, b := solve(t, p, o), solve(t, p, o)
			if !reflect.DeepEqual(a, b) {
				t.Errorf("%s with %d workers: %+v and %+v", variant, workers, a, b)
			}
		}
	}
}

func TestLargerBudgetsAreNotWorse(t *testing.T) {
	t.Parallel()
	for _, variant := range variants {
		r := rng{s: 4}
		p := middling(&r, variant)
		last := int64(never)
		for _, n := range []int64{1, 4000, 12000} {
			// The length of the first cycle of annealing depends on the budget below 500,000 moves, so the deadline cuts.
			var asked atomic.Int64
			o := Options{Seed: 1, Iterations: 1 << 40, Deadline: func() bool { return asked.Add(1) > n/64 }}
			got := solve(t, p, o)
			if got.Value > last {
				t.Errorf("%s: %d after %d moves, %d before", variant, got.Value, n, last)
			}
			if !got.Stopped && !got.Optimal() {
				t.Errorf("%s: the search ended by itself without proof", variant)
			}
			last = got.Value
		}
	}
}

// Doubling all times doubles the optimum; the order in which jobs are listed does not matter; more choice does not make
// it worse. The optima of these small problems are reached, which the test against brute force shows.
func TestRelatedProblemsHaveRelatedOptima(t *testing.T) {
	t.Parallel()
	for _, variant := range variants {
		r := rng{s: 11}
		for i := range 5 {
			p := tiny(&r, variant)
			o := Options{Seed: uint64(i), Iterations: 5000}
			base := solve(t, p, o).Value

			double := *p
			double.Jobs = nil
			turned := *p
			turned.Jobs = nil
			for j := range p.Jobs {
				job := p.Jobs[j]
				turned.Jobs = append([]Job{job}, turned.Jobs...)
				job.Release, job.Due = 2*job.Release, 2*job.Due
				job.Operations = nil
				for _, op := range p.Jobs[j].Operations {
					x := Operation{Release: 2 * op.Release}
					for _, m := range op.Modes {
						x.Modes = append(x.Modes, Mode{Resources: m.Resources, Duration: 2 * m.Duration})
					}
					job.Operations = append(job.Operations, x)
				}
				double.Jobs = append(double.Jobs, job)
			}
			if v := solve(t, &double, o).Value; v != 2*base {
				t.Errorf("%s %d: %d, with all times doubled %d", variant, i, base, v)
			}
			if v := solve(t, &turned, o).Value; v != base {
				t.Errorf("%s %d: %d, with the jobs in reverse %d", variant, i, base, v)
			}
			if p.Blocking {
				continue
			}
			more := *p
			more.Resources++
			more.Jobs = append([]Job(nil), p.Jobs...)
			op := p.Jobs[0].Operations[0]
			extra := Mode{Resources: append([]int32(nil), op.Modes[0].Resources...), Duration: op.Modes[0].Duration}
			extra.Resources[0] = int32(p.Resources)
			more.Jobs[0].Operations = append([]Operation{{Release: op.Release, Modes: append(append([]Mode(nil), op.Modes...), extra)}}, p.Jobs[0].Operations[1:]...)
			if v := solve(t, &more, o).Value; v > base {
				t.Errorf("%s %d: %d, with one more resource %d", variant, i, base, v)
			}
		}
	}
}

// After any sequence of moves the paths, which are mended locally, are those of a graph built anew, and the order is
// still topological. The value of every candidate move was exact.
func TestMovesKeepThePathsRight(t *testing.T) {
	t.Parallel()
	for _, variant := range []string{"job shop", "flexible", "workers", "operators"} {
		for seed := range uint64(6) {
			movesKeepThePathsRight(t, variant, seed)
		}
	}
}

func movesKeepThePathsRight(t *testing.T, variant string, seed uint64) {
	t.Helper()
	r := rng{s: 21}
	p := middling(&r, variant)
	c, err := compile(p)
	if err != nil {
		t.Fatal(err)
	}
	s := newTabu(c, 9+seed)
	cons := newConstructor(c)
	cons.make(&r, anyOrder, 1)
	s.g.build(cons.mode, cons.ord)
	s.begin()
	fresh := newGraph(c)
	for i := range 500 {
		if i%2 == 0 {
			if !s.step() {
				t.Fatal("stuck")
			}
			continue
		}
		s.criticalPath()
		s.pick = choice{value: never}
		for _, u := range s.path {
			s.consider(u)
		}
		pick := s.pick
		if pick.value == never {
			continue
		}
		if !s.g.apply(&pick.move) {
			t.Fatalf("%s move %d: the move closes a cycle", variant, i)
		}
		if pick.value != s.g.span {
			t.Fatalf("%s move %d: expected %d, got %d", variant, i, pick.value, s.g.span)
		}
		for k, u := range s.g.ord {
			if s.g.rank[u] != int32(k) {
				t.Fatal("rank and order differ")
			}
			nd := &s.g.v[u]
			for _, x := range append([]int32{nd.jp}, nd.mp[:]...) {
				if x != s.g.none() && s.g.rank[x] >= int32(k) {
					t.Fatalf("%s move %d: %d is before its predecessor %d", variant, i, u, x)
				}
			}
		}
		fresh.build(s.g.mode, s.g.ord)
		for v := range c.n {
			if fresh.e[v] != s.g.e[v] || fresh.f[v] != s.g.f[v] || fresh.v[v] != s.g.v[v] {
				t.Fatalf("%s move %d: operation %d has end %d, tail %d; anew %d, %d", variant, i, v, s.g.e[v], s.g.f[v], fresh.e[v], fresh.f[v])
			}
		}
		if fresh.span != s.g.span {
			t.Fatal("makespan differs")
		}
	}
}

// Every proposal in the blocking plan that is carried out leaves a feasible plan, and undoing it restores the old one.
func TestBlockingMovesStayFeasible(t *testing.T) {
	t.Parallel()
	r := rng{s: 31}
	for _, variant := range []string{"blocking", "blocking pairs"} {
		p := middling(&r, variant)
		blockingWalk(t, &r, p)
	}
}

func blockingWalk(t *testing.T, r *rng, p *Problem) {
	t.Helper()
	c, err := compile(p)
	if err != nil {
		t.Fatal(err)
	}
	b := newBlockMoves(c, 2)
	cons := newConstructor(c)
	cons.make(r, anyOrder, 1)
	cons.oneByOne()
	value := b.load(&plan{mode: cons.mode, ord: cons.ord})
	done := 0
	for i := range 3000 {
		before := append([]int32(nil), b.s[:c.n]...)
		links := append([]node(nil), b.g.v...)
		v, ok := b.propose(int64(never))
		if !ok || i%3 == 0 {
			if ok {
				b.undo()
			}
			if !reflect.DeepEqual(before, b.s[:c.n]) || !reflect.DeepEqual(links[:c.n], b.g.v[:c.n]) {
				t.Fatalf("proposal %d was not undone", i)
			}
			continue
		}
		done++
		s := Solution{Value: v, Modes: make([]int32, c.n)}
		for u := range c.n {
			s.Starts = append(s.Starts, int64(b.s[u]))
		}
		feasible(t, p, &s)
		value = v
	}
	if done < 700 || value <= 0 {
		t.Errorf("only %d proposals were carried out", done)
	}
}

// Turning round one pair of a blocking plan never fails for want of feasibility: the closure is complete.
func TestBlockingClosureIsComplete(t *testing.T) {
	t.Parallel()
	r := rng{s: 41}
	for range 60 {
		p := tiny(&r, []string{"blocking", "blocking pairs"}[r.n(2)])
		c, err := compile(p)
		if err != nil {
			t.Fatal(err)
		}
		b := newBlockMoves(c, r.next())
		cons := newConstructor(c)
		cons.make(&r, anyOrder, 1)
		cons.oneByOne()
		b.load(&plan{mode: cons.mode, ord: cons.ord})
		for range 100 {
			v, ok := b.pick()
			if !ok {
				break
			}
			b.moved = b.moved[:0]
			if r.n(2) == 0 {
				b.pullBefore(v, b.via[v])
			} else {
				b.pushBehind(b.via[v], v)
			}
			if !b.schedule(never) {
				t.Fatal("a move closed a cycle")
			}
		}
	}
}

func TestAGivenPlanIsTheWorstThatCanCome(t *testing.T) {
	t.Parallel()
	for _, variant := range variants {
		r := rng{s: 51}
		p := middling(&r, variant)
		good := solve(t, p, Options{Seed: 1, Iterations: 4000})
		again := solve(t, p, Options{Seed: 2, Iterations: 1, Start: &good.Solution})
		if again.Value > good.Value {
			t.Errorf("%s: begun with %d, ended with %d", variant, good.Value, again.Value)
		}
	}
}

// A plan to begin with that takes the slow mode of one machine is left for the fast one.
func TestModesOnTheSameResourceAreCompared(t *testing.T) {
	t.Parallel()
	p := &Problem{Resources: 1}
	for range 3 {
		p.Jobs = append(p.Jobs, Job{Operations: []Operation{{Modes: []Mode{
			{Resources: []int32{0}, Duration: 9}, {Resources: []int32{0}, Duration: 4},
		}}}})
	}
	got := solve(t, p, Options{Iterations: 50, Start: &Solution{Starts: []int64{0, 9, 18}, Modes: make([]int32, 3)}})
	if got.Value != 12 || !got.Optimal() {
		t.Errorf("%d, bound %d; 12 is best", got.Value, got.Bound)
	}
}

func TestImprovementsAreReportedInOrder(t *testing.T) {
	t.Parallel()
	r := rng{s: 61}
	p := middling(&r, "job shop")
	var seen []int64
	got := solve(t, p, Options{Iterations: 200000, Workers: 2, OnImprove: func(s Solution) {
		feasible(t, p, &s)
		seen = append(seen, s.Value)
	}})
	if len(seen) == 0 || seen[len(seen)-1] != got.Value {
		t.Fatalf("told about %v, ended with %d", seen, got.Value)
	}
	for i := 1; i < len(seen); i++ {
		if seen[i] >= seen[i-1] {
			t.Errorf("told about %v", seen)
		}
	}
}

func TestFaultyProblemsAreRefused(t *testing.T) {
	t.Parallel()
	op := func(d int64, res ...int32) Operation { return Operation{Modes: []Mode{{Resources: res, Duration: d}}} }
	for name, p := range map[string]*Problem{
		"unknown resource":    {Resources: 1, Jobs: []Job{{Operations: []Operation{op(1, 1)}}}},
		"resource twice":      {Resources: 1, Jobs: []Job{{Operations: []Operation{op(1, 0, 0)}}}},
		"negative duration":   {Resources: 1, Jobs: []Job{{Operations: []Operation{op(-1, 0)}}}},
		"negative release":    {Resources: 1, Jobs: []Job{{Release: -1}}},
		"no mode":             {Resources: 1, Jobs: []Job{{Operations: []Operation{{}}}}},
		"times too long":      {Resources: 1, Jobs: []Job{{Operations: []Operation{op(1<<30, 0), op(1, 0)}}}},
		"too many resources":  {Resources: 5, Jobs: []Job{{Operations: []Operation{op(1, 0, 1, 2, 3, 4)}}}},
		"blocking with modes": {Resources: 1, Blocking: true, Jobs: []Job{{Operations: []Operation{{Modes: make([]Mode, 2)}}}}},
	} {
		if _, err := Solve(p, Options{Iterations: 1}); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestEmptyAndTrivialProblems(t *testing.T) {
	t.Parallel()
	for name, p := range map[string]*Problem{
		"nothing":           {},
		"jobs without work": {Jobs: make([]Job, 3)},
		"no resources":      {Jobs: []Job{{Release: 3, Operations: []Operation{{Modes: []Mode{{Duration: 4}}}, {Modes: []Mode{{}}}}}}},
		"zero durations":    {Resources: 1, Jobs: []Job{{Operations: []Operation{{Modes: []Mode{{Resources: []int32{0}}}}}}}},
	} {
		for _, objective := range []Objective{Makespan, WeightedTardiness} {
			q := *p
			q.Objective = objective
			r := solve(t, &q, Options{Iterations: 50})
			if !r.Optimal() {
				t.Errorf("%s: %d, bound %d", name, r.Value, r.Bound)
			}
		}
	}
}
