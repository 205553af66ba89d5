package project

import (
	"slices"
	"testing"
)

func TestJustifyingKeepsAScheduleRightAndNeverLengthensIt(t *testing.T) {
	t.Parallel()
	r := &rng{61}
	for k := range 300 {
		p := randomProblem(r, 12, false, false)
		if k%3 == 0 { // activities that may overlap
			for i := range p.Lags {
				p.Lags[i].Min = int32(r.n(3))
			}
		}
		horizon := int32(freeHorizon(p))
		if k%5 == 0 {
			horizon += 400 // sorted by comparison
		}
		in := newInstance(p, horizon)
		if in == nil || !in.regular {
			t.Fatalf("problem %d: %+v is not regular", k, p)
		}
		pop := newPopulation(in, uint64(k))
		list, starts := make([]int32, in.n), make([]int32, in.n)
		pop.seedList(list, k, 0.5)
		end := pop.b.forward(list, starts, in.horizon)
		if b := broken(p, starts); b != "" || end != makespanOf(p, starts) {
			t.Fatalf("problem %d %+v: %v breaks %q", k, p, starts, b)
		}
		now := pop.b.justify(list, starts, end)
		if b := broken(p, starts); b != "" || now > end || now != makespanOf(p, starts) {
			t.Fatalf("problem %d %+v: %d after %d, %v breaks %q", k, p, now, end, starts, b)
		}
		if !slices.IsSortedFunc(list, func(i, j int32) int { return int(starts[i] - starts[j]) }) {
			t.Fatalf("problem %d: %v is not in the order of %v", k, list, starts)
		}
	}
}

func TestChildrenRespectTheLags(t *testing.T) {
	t.Parallel()
	p := project(6, 40)
	pop := newPopulation(newInstance(p, int32(freeHorizon(p))), 1)
	for range 1500 {
		pop.step()
		for k, i := range pop.child.list {
			for _, l := range p.Lags {
				if l.To == i && !slices.Contains(pop.child.list[:k], l.From) {
					t.Fatalf("%d comes before %d in %v", i, l.From, pop.child.list)
				}
			}
		}
	}
	for _, m := range pop.members {
		if b := broken(p, m.starts); b != "" || m.end != makespanOf(p, m.starts) {
			t.Fatalf("member %v breaks %q", m.starts, b)
		}
	}
	if len(pop.members) < 20 || broken(p, pop.best.starts) != "" {
		t.Fatalf("%d members", len(pop.members))
	}
}

func BenchmarkSchedules(b *testing.B) {
	p := project(3, 120)
	pop := newPopulation(newInstance(p, int32(freeHorizon(p))), 1)
	for b.Loop() {
		pop.step()
	}
	b.ReportMetric(float64(pop.built)/b.Elapsed().Seconds(), "schedules/s")
}

func BenchmarkConflicts(b *testing.B) {
	p := project(8, 90)
	for i := range p.Capacities {
		p.Capacities[i] = 14 // hard to prove
	}
	best, err := Solve(p, Options{Iterations: 20000})
	if err != nil {
		b.Fatal(err)
	}
	in := newInstance(p, max(best.Bound, best.Makespan-1))
	e := newEngine(in, nil, engineOptions{pairs: true})
	starts := make([]int32, in.n)
	for b.Loop() {
		switch e.search(limits{conflicts: 1, ticks: 1 << 40}, starts) {
		case found:
			e.bound(p.makespan(starts) - 1)
		case exhausted:
			e = newEngine(in, nil, engineOptions{pairs: true})
		}
	}
}

func TestAMemberThatIsBetteredBecomesNobodysTwinAndStaysASchedule(t *testing.T) {
	t.Parallel()
	p := project(6, 40)
	pop := newPopulation(newInstance(p, int32(freeHorizon(p))), 1)
	for range 300 {
		pop.step()
	}
	for a := range pop.members {
		for b := range pop.members {
			copy(pop.child.starts, pop.members[a].starts)
			pop.insert(&pop.members[b])
		}
	}
	for _, m := range pop.members {
		if m.end != makespanOf(p, m.starts) {
			t.Fatalf("a member says that it ends at %d and ends at %d", m.end, makespanOf(p, m.starts))
		}
	}
}
