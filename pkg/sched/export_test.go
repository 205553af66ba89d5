package sched

import (
	"fmt"
	"reflect"
	"slices"
)

// ForceRebuild makes Solve search by taking out and placing anew, however small the problem.
func ForceRebuild(o Options) Options {
	o.rebuildAlways = true
	return o
}

// rebuilderFor makes a rebuilder that holds a first plan; nil when there is none.
func rebuilderFor(in *Instance, seed uint64) (*rebuilder, error) {
	p := compile(in)
	w, conflicts := p.impossible()
	if len(conflicts) > 0 {
		return nil, nil
	}
	s := &searcher{p: p, opt: &Options{}, d: newDecoder(p), keys: p.urgency(), why: tally{}, budget: 60, tell: func(bool) {}}
	s.r.s = seed
	s.bound = p.lowerBound(w, s.keys)
	if _, ok := s.d.placeFixed(); !ok {
		return nil, nil
	}
	s.construct()
	if s.best == nil {
		return nil, nil
	}
	r := s.newRebuilder(s.best, seed)
	if r == nil {
		return nil, fmt.Errorf("%s: a plan cannot be read back", in.Name)
	}
	return r, nil
}

// CheckRebuilding makes steps on a plan of the instance and compares, after each, what the rebuilder knows with what can
// be worked out from the plan alone. It returns the best plan; none if the instance has no first plan.
func CheckRebuilding(in Instance, seed uint64, steps int) (Plan, error) {
	r, err := rebuilderFor(&in, seed)
	if r == nil {
		return Plan{}, err
	}
	for k := range steps {
		before := pictureOf(r.d.s)
		limit := r.cost
		if k%3 == 0 { // anything goes
			limit = Objective{First: Forever, Rest: Forever}
		}
		kept := r.step(&limit)
		if err := r.agrees(); err != nil {
			return Plan{}, fmt.Errorf("%s, step %d: %w", in.Name, k, err)
		}
		if after := pictureOf(r.d.s); !kept && !reflect.DeepEqual(before, after) {
			return Plan{}, fmt.Errorf("%s, step %d: stepping back left\n%+v of\n%+v", in.Name, k, after, before)
		}
		if kept {
			if err := r.readsBack(); err != nil {
				return Plan{}, fmt.Errorf("%s, step %d: %w", in.Name, k, err)
			}
		}
	}
	return r.kept.s.plan(r.least), nil
}

// agrees compares running sums and sets with what they stand for.
func (r *rebuilder) agrees() error {
	if got := r.d.objective(); got != r.cost {
		return fmt.Errorf("the cost is said to be %+v but is %+v", r.cost, got)
	}
	var extra int64
	for v := range r.d.s.occ {
		for i := range r.d.s.occ[v] {
			if x := &r.d.s.occ[v][i]; x.attended {
				extra += r.p.vessels[v].setup.cal.overtime(x.cfrom, x.cto)
			}
		}
	}
	if extra != r.d.s.extra {
		return fmt.Errorf("overtime of cleaning is said to be %d but is %d", r.d.s.extra, extra)
	}
	for a := range r.p.acts {
		c := &r.p.acts[a]
		if late := c.weight > 0 && !c.fixed && r.d.s.pl[a].end > c.due; late != slices.Contains(r.late.list, int32(a)) {
			return fmt.Errorf("%s is late: %v, which is not known", r.p.name(int32(a)), late)
		}
		if r.d.s.pl[a].end > r.d.s.pl[r.last].end {
			return fmt.Errorf("%s ends after what is said to end last", r.p.name(int32(a)))
		}
	}
	return nil
}

// readsBack compares the state with one that is built anew from the plan.
func (r *rebuilder) readsBack() error {
	d := newDecoder(r.p)
	d.placeFixed()
	if out, f := d.decode(r.d.s.solution(r.cost).geno, nil); out != decoded {
		return fmt.Errorf("the plan cannot be read back: %v at %+v", out, f)
	}
	if a, b := pictureOf(d.s), pictureOf(r.d.s); !reflect.DeepEqual(a, b) {
		return fmt.Errorf("the plan read back is\n%+v, not\n%+v", a, b)
	}
	return nil
}

// Stepper makes a plan of the instance and returns a function that makes one step on it.
func Stepper(in Instance, seed uint64) (step func(), err error) {
	r, err := rebuilderFor(&in, seed)
	if r == nil {
		return nil, fmt.Errorf("%s: no first plan (%w)", in.Name, err)
	}
	return func() {
		limit := r.cost
		r.step(&limit)
	}, nil
}
