package kitchengen

import (
	"math/rand/v2"
	"slices"
	"strings"

	"rondeau.internal/pkg/sched"
)

// Disturbance is what goes wrong in a kitchen that already follows a plan.
type Disturbance string

// The disturbances.
const (
	// Nothing has happened; time has passed.
	Nothing Disturbance = "nothing"
	// VesselDown takes an empty kettle that the plan needs soon away for 6 to 14 hours.
	VesselDown Disturbance = "vessel-down"
	// LateRun lets something that is running end 1 to 4 hours late.
	LateRun Disturbance = "late-run"
	// ShortDelivery delays the bones of three batches by 4 to 20 hours and makes two others smaller.
	ShortDelivery Disturbance = "short-delivery"
	// UrgentOrder adds a batch that is wanted within little more than the time that it takes.
	UrgentOrder Disturbance = "urgent-order"
	// CrewMissing sends two cooks home for 8 hours.
	CrewMissing Disturbance = "crew-missing"
)

// Disturbances lists what can happen, other than nothing.
func Disturbances() []Disturbance {
	return []Disturbance{VesselDown, LateRun, ShortDelivery, UrgentOrder, CrewMissing}
}

// Disturb returns the instance as it is some time after a plan for it was published: what the plan begins before now is a
// fact, and one thing is not as it was meant to be. The same arguments give the same result.
func Disturb(in sched.Instance, published sched.Plan, what Disturbance, seed uint64) (out sched.Instance, now int64) {
	d := disturber{r: rand.New(rand.NewPCG(seed, 0x64697374757262)), plan: published, out: in}
	d.out.Activities = slices.Clone(in.Activities)
	last := int64(0)
	for i := range in.Activities {
		last = max(last, in.Activities[i].Release)
	}
	d.now = (last/day*3/10)*day + day + d.minutes(7*60, 18*60)
	for i, as := range published.Assignments {
		if as.Start < d.now {
			d.out.Activities[i].Fixed = &sched.Fixed{Mode: as.Mode, Start: as.Start, Started: true, End: as.End}
		}
	}
	d.soften()
	switch what {
	case VesselDown:
		d.vesselDown()
	case LateRun:
		d.lateRun()
	case ShortDelivery:
		d.shortDelivery()
	case UrgentOrder:
		d.urgentOrder()
	case CrewMissing:
		d.crewMissing()
	}
	return d.out, d.now
}

// soften turns the greatest time after something that has begun into a cost: it must go on, if too late.
func (d *disturber) soften() {
	started := map[string]bool{}
	for i := range d.out.Activities {
		if a := &d.out.Activities[i]; a.Fixed != nil {
			started[a.Name] = true
		}
	}
	d.out.Lags = slices.Clone(d.out.Lags)
	for i := range d.out.Lags {
		if l := &d.out.Lags[i]; l.HasMax && started[l.From] && !started[l.To] {
			l.Fresh, l.FreshWeight, l.HasMax = l.Max, overwait, false
		}
	}
}

// overwait is the cost of each second by which what has begun waits too long; high beside sched.DefaultWeights.
const overwait = 50

type disturber struct {
	r    *rand.Rand
	plan sched.Plan
	out  sched.Instance
	now  int64
}

// minutes returns a multiple of five minutes in [lo, hi] minutes, in seconds.
func (d *disturber) minutes(lo, hi int64) int64 { return (lo/5 + d.r.Int64N((hi-lo)/5+1)) * 5 * minute }

// next lists the activities whose name ends so and that the plan begins between two moments, by their start.
func (d *disturber) next(name string, from, to int64) []int {
	var out []int
	for i, as := range d.plan.Assignments {
		if strings.HasSuffix(as.Activity, name) && from <= as.Start && as.Start < to {
			out = append(out, i)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int { return int(d.plan.Assignments[a].Start - d.plan.Assignments[b].Start) })
	return out
}

func (d *disturber) vesselDown() {
	full := map[string]bool{} // what is in them could not be moved in this model
	for _, as := range d.plan.Assignments {
		if as.Start < d.now && as.HeldUntil > d.now {
			for _, v := range as.Vessels {
				full[v] = true
			}
		}
	}
	soon := slices.DeleteFunc(d.next("/simmer", d.now, sched.Forever), func(i int) bool { return full[d.plan.Assignments[i].Vessels[0]] })
	if len(soon) == 0 {
		return
	}
	name := d.plan.Assignments[soon[d.r.IntN(min(8, len(soon)))]].Vessels[0]
	down := sched.Span{Start: d.now, End: d.now + d.minutes(6*60, 14*60)}
	d.out.Vessels = slices.Clone(d.out.Vessels)
	for i := range d.out.Vessels {
		if v := &d.out.Vessels[i]; v.Name == name {
			v.Down = append(slices.Clone(v.Down), down)
		}
	}
}

func (d *disturber) lateRun() {
	var running []int
	for i, as := range d.plan.Assignments {
		if as.Start < d.now && as.End > d.now && as.End-as.Start > hour {
			running = append(running, i)
		}
	}
	if len(running) == 0 {
		return
	}
	f := d.out.Activities[running[d.r.IntN(len(running))]].Fixed
	f.End += d.minutes(60, 240)
}

func (d *disturber) shortDelivery() {
	waiting := d.next("/roast", d.now, sched.Forever)
	waiting = waiting[:min(len(waiting), 12)]
	d.r.Shuffle(len(waiting), func(i, j int) { waiting[i], waiting[j] = waiting[j], waiting[i] })
	for k, i := range waiting {
		switch {
		case k < 3: // the bones come later
			d.out.Activities[i].Release = d.plan.Assignments[i].Start + d.minutes(4*60, 20*60)
		case k < 5: // there are fewer of them, so that less water has to be heated and evaporated
			order := d.out.Activities[i].Order
			for j := range d.out.Activities {
				if a := &d.out.Activities[j]; a.Order == order {
					a.Modes = slices.Clone(a.Modes)
					for m := range a.Modes {
						a.Modes[m].Middle = a.Modes[m].Middle * 2 / 3
					}
				}
			}
		}
	}
}

// urgentOrder copies a batch that has not begun under another name.
func (d *disturber) urgentOrder() {
	waiting := d.next("/roast", d.now, sched.Forever)
	if len(waiting) == 0 {
		return
	}
	const urgent = "urgent"
	old := d.out.Activities[waiting[d.r.IntN(len(waiting))]].Order
	other := func(name string) (string, bool) {
		step, ours := strings.CutPrefix(name, old+"/")
		return urgent + "/" + step, ours
	}
	for _, a := range d.out.Activities {
		name, ours := other(a.Name)
		if !ours {
			continue
		}
		a.Name, a.Order, a.Fixed = name, urgent, nil
		if a.Release > 0 {
			a.Release = d.now
		}
		if a.DueWeight > 0 {
			a.Due, a.DueWeight = d.now+d.minutes(22*60, 30*60), 8
		}
		d.out.Activities = append(d.out.Activities, a)
	}
	d.copyTies(other)
}

// copyTies ties the activities of the urgent order as those of the batch that it was copied from.
func (d *disturber) copyTies(other func(string) (string, bool)) {
	d.out.Lags, d.out.Holds = slices.Clone(d.out.Lags), slices.Clone(d.out.Holds)
	d.out.Stores, d.out.Links = slices.Clone(d.out.Stores), slices.Clone(d.out.Links)
	for _, l := range d.out.Lags {
		if from, ours := other(l.From); ours {
			l.From = from
			l.To, _ = other(l.To)
			d.out.Lags = append(d.out.Lags, l)
		}
	}
	for _, h := range d.out.Holds {
		if from, ours := other(h.Activity); ours {
			until, _ := other(h.Until)
			d.out.Holds = append(d.out.Holds, sched.Hold{Activity: from, Until: until})
		}
	}
	for _, s := range d.out.Stores {
		if from, ours := other(s.Producer); ours {
			s.Producer = from
			s.Consumer, _ = other(s.Consumer)
			d.out.Stores = append(d.out.Stores, s)
		}
	}
	for _, l := range d.out.Links {
		if from, ours := other(l.First); ours {
			l.First = from
			l.Second, _ = other(l.Second)
			d.out.Links = append(d.out.Links, l)
		}
	}
}

func (d *disturber) crewMissing() {
	d.out.Resources = slices.Clone(d.out.Resources)
	for i := range d.out.Resources {
		if r := &d.out.Resources[i]; r.Name == "heads" {
			r.Levels = fewer(r.Levels, sched.Span{Start: d.now, End: d.now + 8*hour}, 2)
		}
	}
}

// fewer lowers the levels within a span by so much, to one at least where there was somebody.
func fewer(levels []sched.Level, span sched.Span, by int64) []sched.Level {
	at := func(t int64) int64 {
		c := int64(0)
		for _, l := range levels {
			if l.At <= t {
				c = l.Capacity
			}
		}
		return c
	}
	lower := func(c int64) int64 { return max(min(c, 1), c-by) }
	var out []sched.Level
	for _, l := range levels {
		if l.At < span.Start {
			out = append(out, l)
		}
	}
	out = append(out, sched.Level{At: span.Start, Capacity: lower(at(span.Start))})
	for _, l := range levels {
		if l.At > span.Start && l.At < span.End {
			out = append(out, sched.Level{At: l.At, Capacity: lower(l.Capacity)})
		}
	}
	out = append(out, sched.Level{At: span.End, Capacity: at(span.End)})
	for _, l := range levels {
		if l.At > span.End {
			out = append(out, l)
		}
	}
	return out
}
