package shop

import "sync"

// round returns how many moves workers make between two exchanges: about a tenth of a second's worth.
func round(c *inst) int64 { return max(500, 2_000_000/int64(c.n*c.slots)) }

// Solve searches for a good plan. It returns an error only if the problem is invalid or outside what the engine does.
func Solve(p *Problem, o Options) (Result, error) {
	if err := p.Validate(); err != nil {
		return Result{}, err
	}
	c, err := compile(p)
	if err != nil {
		return Result{}, err
	}
	if o.Iterations <= 0 {
		o.Iterations = DefaultIterations
	}
	if c.n == 0 {
		return Result{Solution: Solution{Starts: []int64{}, Modes: []int32{}}}, nil
	}
	s := &search{c: c, o: &o}
	s.res.Bound = lowerBound(c)
	s.res.Value = -1
	var warm *plan
	if o.Start != nil {
		if warm, err = c.warmPlan(o.Start); err != nil {
			return Result{}, err
		}
	}
	for k := range max(1, o.Workers) {
		s.workers = append(s.workers, newWorker(p, c, o.Seed*1000003+uint64(k)*7919+1, &o, s.res.Bound))
	}
	for _, w := range s.workers {
		w.warm = warm
	}
	s.run()
	return s.res, nil
}

// search is the state of Solve.
type search struct {
	c       *inst
	o       *Options
	workers []*worker
	res     Result
	g       *graph
	b       *blockMoves
}

func (s *search) run() {
	ok := make([]bool, len(s.workers))
	for at := int64(0); at < s.o.Iterations; {
		if at == 0 {
			at = 1 // a first plan at once
		} else {
			at = min(s.o.Iterations, at+round(s.c))
		}
		var wg sync.WaitGroup
		for k := 1; k < len(s.workers); k++ {
			wg.Go(func() { ok[k] = s.workers[k].advance(at) })
		}
		ok[0] = s.workers[0].advance(at)
		wg.Wait()
		done := s.collect()
		for _, b := range ok {
			s.res.Stopped = s.res.Stopped || !b
		}
		if done || s.res.Stopped {
			return
		}
		s.exchange()
	}
}

// collect takes over the best plan of all workers; it reports whether that is optimal.
func (s *search) collect() bool {
	s.res.Iterations = 0
	var from *worker
	for _, w := range s.workers {
		s.res.Iterations += w.used
		if w.best.value >= 0 && (s.res.Value < 0 || w.best.value < s.res.Value) {
			s.res.Value = w.best.value
			from = w
		}
	}
	if from != nil {
		s.res.BestAt = from.bestAt
		s.res.Solution = s.solution(&from.best)
		if s.o.OnImprove != nil {
			s.o.OnImprove(s.solution(&from.best))
		}
	}
	return s.res.Value >= 0 && s.res.Value <= s.res.Bound
}

// solution turns a plan into starts and modes of the problem.
func (s *search) solution(p *plan) Solution {
	out := Solution{Value: p.value, Starts: make([]int64, s.c.n), Modes: make([]int32, s.c.n)}
	for v := range s.c.n {
		out.Modes[v] = s.c.modeGiven[p.mode[v]]
	}
	if s.c.blocking {
		if s.b == nil {
			s.b = newBlockMoves(s.c, 0)
		}
		s.b.load(p)
		for v := range s.c.n {
			out.Starts[v] = int64(s.b.s[v])
		}
		return out
	}
	if s.g == nil {
		s.g = newGraph(s.c)
	}
	s.g.build(p.mode, p.ord)
	for v := range s.c.n {
		out.Starts[v] = int64(s.g.e[v] - s.g.v[v].d)
	}
	return out
}

// exchange gives each worker the best plan of its neighbour.
func (s *search) exchange() {
	n := len(s.workers)
	if n == 1 {
		return
	}
	for k, w := range s.workers {
		x := s.workers[(k+1)%n]
		switch {
		case x.best.value < 0:
		case w.c.blocking:
			if x.best.value < w.best.value {
				copyPlan(&w.best, &x.best) // the next cycle begins there
				w.bestAt = x.bestAt
			}
		case len(w.pool.plans) == w.pool.size:
			w.pool.add(w.c, &x.best)
		}
	}
}
