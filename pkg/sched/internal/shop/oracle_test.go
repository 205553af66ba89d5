package shop

import (
	"math"
	"testing"
)

// tiny makes a random problem that can be solved by trying everything.
func tiny(r *rng, variant string) *Problem {
	p := &Problem{Resources: 3}
	jobs := 2 + r.n(2)
	for range jobs {
		job := Job{}
		if r.n(3) == 0 {
			job.Release = int64(r.n(6))
		}
		for range 2 + r.n(2) {
			var op Operation
			if r.n(6) == 0 {
				op.Release = int64(r.n(20))
			}
			modes := 1
			if variant == "flexible" || variant == "workers" || variant == "flexible late" {
				modes = 1 + r.n(2)
			}
			for range modes {
				m := Mode{Duration: int64(1 + r.n(9)), Resources: []int32{int32(r.n(3))}}
				if variant == "workers" {
					m.Resources = []int32{int32(r.n(2)), int32(2 + r.n(2))}
				}
				op.Modes = append(op.Modes, m)
			}
			job.Operations = append(job.Operations, op)
		}
		job.Due, job.Weight = int64(5+r.n(15)), int64(1+r.n(4))
		p.Jobs = append(p.Jobs, job)
	}
	switch variant {
	case "workers":
		p.Resources = 4
	case "late", "flexible late":
		p.Objective = WeightedTardiness
	case "operators":
		p.Operators = 2
	case "operators late":
		p.Operators, p.Objective = 2, WeightedTardiness
	case "blocking", "blocking pairs":
		p.Blocking = true
		for j := range p.Jobs { // each machine once
			for k := range p.Jobs[j].Operations {
				m := &p.Jobs[j].Operations[k].Modes[0]
				m.Resources[0] = int32((k*(1+j%2) + j) % 3)
				if variant == "blocking pairs" {
					m.Resources = append(m.Resources, int32(3+r.n(2)))
				}
			}
		}
		p.Resources = 5
	}
	return p
}

// exhaustive is the value of the best plan, found by placing the operations in every order and every mode, each as early
// as the ones before it allow. Every plan in which no operation can start earlier arises so.
type exhaustive struct {
	p         *Problem
	next      []int
	ready     []int64
	free      []int64
	operators []int64
	best      int64
}

func bruteForce(p *Problem) int64 {
	x := &exhaustive{
		p: p, next: make([]int, len(p.Jobs)), ready: make([]int64, len(p.Jobs)), free: make([]int64, p.Resources), best: math.MaxInt64,
		operators: make([]int64, max(1, p.Operators)),
	}
	for j := range p.Jobs {
		x.ready[j] = p.Jobs[j].Release
	}
	x.place()
	return x.best
}

func (x *exhaustive) place() {
	done := true
	for j := range x.p.Jobs {
		if x.next[j] == len(x.p.Jobs[j].Operations) {
			continue
		}
		done = false
		op := &x.p.Jobs[j].Operations[x.next[j]]
		for _, m := range op.Modes {
			at := max(x.ready[j], op.Release)
			for _, r := range m.Resources {
				at = max(at, x.free[r])
			}
			who := 0
			if x.p.Operators > 0 {
				for k := range x.operators {
					if x.operators[k] < x.operators[who] {
						who = k
					}
				}
				at = max(at, x.operators[who])
			}
			ready, operator := x.ready[j], x.operators[who]
			old := make([]int64, len(m.Resources))
			for i, r := range m.Resources {
				old[i] = x.free[r]
				x.free[r] = at + m.Duration
			}
			x.ready[j], x.operators[who] = at+m.Duration, at+m.Duration
			x.next[j]++
			x.place()
			x.next[j]--
			x.ready[j], x.operators[who] = ready, operator
			for i, r := range m.Resources {
				x.free[r] = old[i]
			}
		}
	}
	if !done {
		return
	}
	x.best = min(x.best, valueOf(x.p, x.ready))
}

// valueOf is the objective for the given ends of the jobs.
func valueOf(p *Problem, ends []int64) int64 {
	var v int64
	for j := range p.Jobs {
		if p.Objective == WeightedTardiness {
			v += p.Jobs[j].Weight * max(0, ends[j]-p.Jobs[j].Due)
		} else {
			v = max(v, ends[j])
		}
	}
	return v
}

// bruteForceBlocking tries all orders on the machines; a plan exists for an order if its inequalities have a solution.
func bruteForceBlocking(p *Problem) int64 {
	type op struct{ job, k int }
	on := make([][]op, p.Resources)
	for j := range p.Jobs {
		for k := range p.Jobs[j].Operations {
			for _, r := range p.Jobs[j].Operations[k].Modes[0].Resources {
				on[r] = append(on[r], op{j, k})
			}
		}
	}
	best := int64(math.MaxInt64)
	evaluate := func() {
		start := make([][]int64, len(p.Jobs))
		for j := range p.Jobs {
			start[j] = make([]int64, len(p.Jobs[j].Operations))
			for k := range start[j] {
				start[j][k] = p.Jobs[j].Operations[k].Release
			}
			start[j][0] = max(start[j][0], p.Jobs[j].Release)
		}
		dur := func(o op) int64 { return p.Jobs[o.job].Operations[o.k].Modes[0].Duration }
		for round := 0; ; round++ {
			changed := false
			raise := func(o op, t int64) {
				if start[o.job][o.k] < t {
					start[o.job][o.k] = t
					changed = true
				}
			}
			for j := range p.Jobs {
				for k := 1; k < len(start[j]); k++ {
					raise(op{j, k}, start[j][k-1]+dur(op{j, k - 1}))
				}
			}
			for _, seq := range on {
				for i := 1; i < len(seq); i++ {
					a := seq[i-1]
					if a.k+1 < len(start[a.job]) {
						raise(seq[i], start[a.job][a.k+1])
					} else {
						raise(seq[i], start[a.job][a.k]+dur(a))
					}
				}
			}
			if !changed {
				break
			}
			if round > 50 {
				return
			}
		}
		ends := make([]int64, len(p.Jobs))
		for j := range p.Jobs {
			k := len(start[j]) - 1
			ends[j] = start[j][k] + dur(op{j, k})
		}
		best = min(best, valueOf(p, ends))
	}
	var permute func(r, i int)
	permute = func(r, i int) {
		if r == len(on) {
			evaluate()
			return
		}
		if i >= len(on[r]) {
			permute(r+1, 0)
			return
		}
		for k := i; k < len(on[r]); k++ {
			on[r][i], on[r][k] = on[r][k], on[r][i]
			permute(r, i+1)
			on[r][i], on[r][k] = on[r][k], on[r][i]
		}
	}
	permute(0, 0)
	return best
}

var variants = []string{"job shop", "flexible", "workers", "operators", "late", "flexible late", "operators late", "blocking", "blocking pairs"}

func TestSmallProblemsAreSolvedToTheOptimum(t *testing.T) {
	t.Parallel()
	for _, variant := range variants {
		t.Run(variant, func(t *testing.T) {
			t.Parallel()
			r := rng{s: 7}
			for i := range 25 {
				p := tiny(&r, variant)
				if variant == "blocking pairs" {
					p.Jobs = p.Jobs[:2] // the orders to try are too many otherwise
				}
				want := int64(0)
				if p.Blocking {
					want = bruteForceBlocking(p)
				} else {
					want = bruteForce(p)
				}
				got, err := Solve(p, Options{Seed: uint64(i), Iterations: 3000})
				if err != nil {
					t.Fatal(err)
				}
				feasible(t, p, &got.Solution)
				if got.Value != want {
					t.Errorf("problem %d: %d, the optimum is %d (%+v)", i, got.Value, want, *p)
				}
				if got.Bound > want {
					t.Errorf("problem %d: bound %d above the optimum %d (%+v)", i, got.Bound, want, *p)
				}
			}
		})
	}
}

// feasible checks a plan against the definition of the problem, in the plainest way.
func feasible(t *testing.T, p *Problem, s *Solution) {
	t.Helper()
	type span struct{ from, to, held int64 }
	used := make([][]span, p.Resources)
	var all []span
	ends := make([]int64, len(p.Jobs))
	v := 0
	for j := range p.Jobs {
		ends[j] = p.Jobs[j].Release
		for k, op := range p.Jobs[j].Operations {
			m := op.Modes[s.Modes[v]]
			x := span{s.Starts[v], s.Starts[v] + m.Duration, s.Starts[v] + m.Duration}
			if x.from < max(ends[j], op.Release) {
				t.Fatalf("operation %d of job %d starts at %d, before %d", k, j, x.from, max(ends[j], op.Release))
			}
			ends[j] = x.to
			if p.Blocking && k+1 < len(p.Jobs[j].Operations) {
				x.held = s.Starts[v+1]
			}
			for _, r := range m.Resources {
				for _, y := range used[r] {
					if x.from < y.held && y.from < x.held {
						t.Fatalf("resource %d is used over %v and %v", r, x, y)
					}
				}
				used[r] = append(used[r], x)
			}
			all = append(all, x)
			v++
		}
	}
	for _, x := range all {
		n := 0
		for _, y := range all {
			if y.from <= x.from && x.from < y.to {
				n++
			}
		}
		if p.Operators > 0 && n > p.Operators {
			t.Fatalf("%d operations at %d for %d operators", n, x.from, p.Operators)
		}
	}
	if got := valueOf(p, ends); got != s.Value {
		t.Fatalf("stated value %d, it is %d", s.Value, got)
	}
}
