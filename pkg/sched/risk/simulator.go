package risk

import (
	"errors"
	"math"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/verify"
)

// ErrStopped is returned when Options.Stop ended a run.
var ErrStopped = errors.New("the simulation was stopped before it was complete")

// Simulator carries one plan out many times. It is not safe for concurrent use; make one per goroutine.
type Simulator struct {
	c   Case
	opt Options
	p   *program
	d   *draws
	run *run

	// Scratch: stamps of nodes and activities seen in a realisation, and what is stored.
	seen, named []int32
	mark        int32
	ev          []event
}

// New checks a case and prepares it. The error is a Faults with everything that is wrong, or sched.Faults for a faulty
// instance. The case must not be changed while the simulator is in use.
func New(c Case, o Options) (*Simulator, error) {
	if err := c.Instance.Validate(); err != nil {
		return nil, err
	}
	faults := o.fill(len(c.Instance.Activities))
	s := &Simulator{c: c, opt: o}
	p, err := compile(&s.c, o.Policy)
	if err != nil {
		return nil, join(faults, err)
	}
	s.p = p
	if s.d, err = newDraws(&s.c, p, &s.opt); err != nil {
		return nil, join(faults, err)
	}
	if len(faults) > 0 {
		return nil, faults
	}
	s.run = newRun(p, s.d)
	s.run.heedless = o.Heedless
	s.seen, s.named = make([]int32, len(p.nodes)), make([]int32, len(p.acts))
	return s, nil
}

func join(faults Faults, err error) error {
	var more Faults
	if errors.As(err, &more) {
		return append(faults, more...)
	}
	return err
}

// each plays the first samples realisations one after the other, drawn in rounds from the given number on.
func (s *Simulator) each(round, samples int, f func(i int)) error {
	for i := range samples {
		if s.opt.Stop != nil && i&15 == 0 && s.opt.Stop() {
			return ErrStopped
		}
		if i%RoundSize == 0 {
			s.d.round(round+i/RoundSize, min(RoundSize, samples-i))
		}
		s.d.load(i%RoundSize, s.run.dur)
		s.run.play()
		f(i)
	}
	return nil
}

// end is the end of an activity in the present realisation; what never ends counts as ending when the last calendar
// closes.
func (s *Simulator) end(a int32) int64 {
	if e := s.run.val[2*a+1]; e < sched.Forever {
		return e
	}
	return s.p.cap
}

// tardiness is the weighted tardiness of the present realisation.
func (s *Simulator) tardiness() float64 {
	sum := 0.0
	for i := range s.p.acts {
		if a := &s.p.acts[i]; a.weight > 0 {
			if l := s.end(int32(i)) - a.due; l > 0 {
				sum += float64(a.weight) * float64(l)
			}
		}
	}
	return sum
}

// overtime is the time at work in overtime, cleaning included.
func (s *Simulator) overtime() int64 {
	var sum int64
	for i := range s.p.acts {
		a, tm := &s.p.acts[i], &s.run.tm[i]
		for k := range 3 {
			if a.cal[k] != nil && a.d[k] > 0 && tm.e[k] < sched.Forever {
				sum += a.cal[k].overtime(tm.s[k], tm.e[k])
			}
		}
	}
	for i := range s.p.cleans {
		if c := &s.p.cleans[i]; c.attended && s.run.val[c.slot] < sched.Forever {
			sum += c.cal.overtime(s.run.val[c.slot]-c.d, s.run.val[c.slot])
		}
	}
	return sum
}

// standing is how long the middle of an activity went on because its attended end found nobody.
func (s *Simulator) standing(i int) int64 {
	tm := &s.run.tm[i]
	if s.p.acts[i].atomic || tm.b[2] >= sched.Forever {
		return 0
	}
	return tm.b[2] - tm.e[1]
}

// unwatched reports whether a prolonged middle ran into time in which its calendar does not allow it.
func (s *Simulator) unwatched(i int) bool {
	a, tm := &s.p.acts[i], &s.run.tm[i]
	n := s.standing(i)
	return n > 0 && a.cal[1] != nil && a.cal[1].openIn(tm.e[1], tm.b[2]) < n
}

// Realisation returns what happens in realisation i of the simulation: the instance with the durations that came about
// (a middle that went on for lack of people is that much longer) and the plan as it was carried out. verify.Check of
// the two finds only what the package comment says is not enforced. ok is false when some activity never ends.
func (s *Simulator) Realisation(i int) (in sched.Instance, plan sched.Plan, ok bool) {
	if i < 0 || i >= s.opt.Samples {
		return in, plan, false
	}
	first := i - i%RoundSize
	s.d.round(first/RoundSize, min(RoundSize, s.opt.Samples-first))
	s.d.load(i%RoundSize, s.run.dur)
	s.run.play()
	in = s.c.Instance
	in.Activities = append([]sched.Activity(nil), in.Activities...)
	for k := range in.Activities {
		s.realise(&in.Activities[k], k)
	}
	for k := range s.p.acts {
		a := &in.Activities[k]
		start, end := s.run.val[2*k], s.run.val[2*k+1]
		if end >= sched.Forever {
			return in, plan, false
		}
		in.Horizon.End = max(in.Horizon.End, end)
		as := sched.Assignment{Activity: a.Name, Order: a.Order, Mode: a.Modes[s.p.acts[k].mode].Name, Start: start, End: end, HeldUntil: end}
		for _, v := range s.p.acts[k].vessels {
			as.Vessels = append(as.Vessels, s.p.vessels[v].name)
		}
		plan.Assignments = append(plan.Assignments, as)
	}
	s.realiseHolds(&plan)
	for k := range s.p.nodes {
		n := &s.p.nodes[k]
		if n.kind != nodeClean {
			continue
		}
		c, as := &s.p.cleans[n.clean], &plan.Assignments[n.act]
		end := s.run.val[c.slot]
		as.Changes = append(as.Changes, sched.ChangeRun{
			Vessel: s.p.vessels[c.vessel].name, From: c.from, To: in.Activities[n.act].State, Start: end - c.d, End: end, Attended: c.attended,
		})
	}
	plan.Objective, ok = verify.Cost(in, plan)
	return in, plan, ok
}

func (s *Simulator) realiseHolds(plan *sched.Plan) {
	acts := indexOf(s.p.acts, func(a *act) string { return a.name })
	for _, h := range s.c.Instance.Holds {
		as := &plan.Assignments[acts[h.Activity]]
		as.HeldUntil = max(as.End, s.run.val[2*acts[h.Until]])
	}
}

// realise writes the durations that came about into activity k.
func (s *Simulator) realise(a *sched.Activity, k int) {
	p, tm := &s.p.acts[k], &s.run.tm[k]
	if p.fact {
		f := *a.Fixed
		if !p.sure {
			f.End = tm.e[2]
		}
		a.Fixed = &f
		return
	}
	a.Modes = append([]sched.Mode(nil), a.Modes...)
	m := &a.Modes[p.mode]
	m.Start, m.Middle, m.End = s.run.dur[3*k], s.run.dur[3*k+1], s.run.dur[3*k+2]
	if n := s.standing(k); n > 0 {
		if p.pausable[1] {
			n = p.cal[1].openIn(tm.e[1], tm.b[2])
		}
		m.Middle += n
	}
	if a.Fixed != nil {
		f := *a.Fixed
		f.Start = max(f.Start, tm.s[0])
		a.Fixed = &f
	}
}

// standardError is the error of a probability estimate: sqrt(p(1-p)/n), kept above zero for estimates
// of 0 and 1 by the half count of Jeffreys' prior.
func standardError(count, n int) float64 {
	p := (float64(count) + 0.5) / (float64(n) + 1)
	return math.Sqrt(p * (1 - p) / (float64(n) + 1))
}
