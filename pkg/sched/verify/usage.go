package verify

import (
	"fmt"
	"sort"

	"rondeau.internal/pkg/sched"
)

// stay is one occupation of a vessel.
type stay struct {
	e          *entry
	start, rel int64
	kept       bool
}

// vessels checks overlaps, unavailability and cleaning of every vessel.
func (c *checker) vessels() {
	stays := map[string][]stay{}
	for _, e := range c.entries {
		for _, u := range e.mode.Uses {
			s := stay{e: e, start: e.as.Start, rel: e.as.End, kept: e.hold != "" && !u.FreeAtEnd}
			if s.kept {
				s.rel = e.until
			}
			stays[u.Vessel] = append(stays[u.Vessel], s)
		}
	}
	for i := range c.in.Vessels {
		v := &c.in.Vessels[i]
		list := stays[v.Name]
		sort.SliceStable(list, func(i, j int) bool { return list[i].start < list[j].start })
		c.overlaps(v, list)
		for k := range list {
			if list[k].e.fact {
				continue
			}
			for _, d := range v.Down {
				if list[k].start < d.End && d.Start < list[k].rel {
					c.inVessel(Down, v.Name, []string{list[k].e.in.Name}, "%s is in %s in [%d, %d), which is down in [%d, %d)",
						list[k].e.in.Name, v.Name, list[k].start, list[k].rel, d.Start, d.End)
				}
			}
			c.cleaning(v, list, k)
		}
		for k := range list {
			if list[k].e.fact && len(changesIn(list[k].e, v.Name)) > 0 {
				c.inVessel(Cleaning, v.Name, []string{list[k].e.in.Name}, "%s has already started; no cleaning is planned before it", list[k].e.in.Name)
			}
		}
	}
	for _, e := range c.entries {
		for _, ch := range e.as.Changes {
			if !uses(e.mode, ch.Vessel) {
				c.inVessel(Cleaning, ch.Vessel, []string{e.in.Name}, "%s cleans %s, which it does not use", e.in.Name, ch.Vessel)
			}
		}
	}
}

func uses(m *sched.Mode, vessel string) bool {
	for _, u := range m.Uses {
		if u.Vessel == vessel {
			return true
		}
	}
	return false
}

func (c *checker) inVessel(kind Kind, vessel string, acts []string, format string, args ...any) {
	c.out = append(c.out, Violation{Kind: kind, Activities: acts, Vessel: vessel, Message: fmt.Sprintf(format, args...)})
}

func (c *checker) overlaps(v *sched.Vessel, list []stay) {
	for i := range list {
		for j := i + 1; j < len(list); j++ {
			a, b := list[i], list[j]
			if a.e.fact && b.e.fact {
				continue
			}
			if a.start < b.rel && b.start < a.rel {
				c.inVessel(Overlap, v.Name, []string{a.e.in.Name, b.e.in.Name}, "%s [%d, %d) and %s [%d, %d) are both in %s",
					a.e.in.Name, a.start, a.rel, b.e.in.Name, b.start, b.rel, v.Name)
			}
		}
	}
}

func changesIn(e *entry, vessel string) []sched.ChangeRun {
	var out []sched.ChangeRun
	for _, ch := range e.as.Changes {
		if ch.Vessel == vessel {
			out = append(out, ch)
		}
	}
	return out
}

// cleaning checks the change before the k-th stay in v.
func (c *checker) cleaning(v *sched.Vessel, list []stay, k int) {
	b := list[k]
	runs := changesIn(b.e, v.Name)
	names := []string{b.e.in.Name}
	var need sched.Change
	from, free := v.State, c.in.Horizon.Start
	exempt := false
	if k > 0 {
		a := list[k-1]
		from = a.e.in.State
		names = append(names, a.e.in.Name)
		exempt = a.kept && a.e.hold == b.e.in.Name
		for _, x := range list[:k] {
			free = max(free, x.rel)
		}
	}
	if v.Setup != "" && from != "" && !exempt {
		need = cell(c.setup(v.Setup), from, b.e.in.State)
	}
	if need.Duration == 0 {
		if len(runs) > 0 {
			c.inVessel(Cleaning, v.Name, names, "%s plans a cleaning of %s that is not needed", b.e.in.Name, v.Name)
		}
		return
	}
	if len(runs) != 1 {
		c.inVessel(Cleaning, v.Name, names, "%s needs %s cleaned from %s once before it, the plan does so %d times", b.e.in.Name, v.Name, from, len(runs))
		return
	}
	r := runs[0]
	if r.From != from || r.To != b.e.in.State || r.Attended != need.Attended {
		c.inVessel(Cleaning, v.Name, names, "the cleaning of %s before %s must be from %s to %s", v.Name, b.e.in.Name, from, b.e.in.State)
	}
	if r.End-r.Start != need.Duration {
		c.inVessel(Cleaning, v.Name, names, "the cleaning of %s before %s takes %d, not %d", v.Name, b.e.in.Name, need.Duration, r.End-r.Start)
	}
	if r.Start < free || r.End > b.start {
		c.inVessel(Cleaning, v.Name, names, "the cleaning [%d, %d) of %s must lie between %d and %d", r.Start, r.End, v.Name, free, b.start)
	}
	for _, d := range v.Down {
		if r.Start < d.End && d.Start < r.End {
			c.inVessel(Cleaning, v.Name, names, "%s is cleaned in [%d, %d) while it is down", v.Name, r.Start, r.End)
		}
	}
	if h := c.hours[c.setup(v.Setup).Calendar]; need.Attended && h != nil && h.openIn(r.Start, r.End) != r.End-r.Start {
		c.inVessel(Cleaning, v.Name, names, "the cleaning [%d, %d) of %s needs people when nobody is on shift", r.Start, r.End, v.Name)
	}
}

func cell(s *sched.Setup, from, to string) sched.Change {
	for i := range s.States {
		for j := range s.States {
			if s.States[i] == from && s.States[j] == to {
				return s.Change[i][j]
			}
		}
	}
	return sched.Change{}
}

// demand is a load on a resource over [start, end).
type demand struct {
	who        string
	start, end int64
	amount     int64
	fact       bool
}

// capacities sums the demands at every moment at which something changes.
func (c *checker) capacities() {
	all := map[string][]demand{}
	add := func(res string, d demand) {
		if d.amount > 0 && d.start < d.end {
			all[res] = append(all[res], d)
		}
	}
	for _, e := range c.entries {
		for _, n := range e.mode.Needs {
			c.needDemands(e, n, add)
		}
		for _, ch := range e.as.Changes {
			v := c.vessel(ch.Vessel)
			if v == nil || !ch.Attended {
				continue
			}
			for _, n := range c.setup(v.Setup).Needs {
				add(n.Resource, demand{e.in.Name, ch.Start, ch.End, n.Amount, false})
			}
		}
	}
	for _, s := range c.in.Stores {
		p := c.byName[s.Producer]
		until := s.Until
		if until == 0 {
			until = c.in.Horizon.End
		}
		if s.Consumer != "" {
			until = c.byName[s.Consumer].as.Start
		}
		add(s.Resource, demand{s.Producer, p.as.End, until, s.Amount, p.fact})
	}
	for i := range c.in.Resources {
		c.sweep(&c.in.Resources[i], all[c.in.Resources[i].Name])
	}
}

// needDemands lists when a need of a mode is present.
func (c *checker) needDemands(e *entry, n sched.Need, add func(string, demand)) {
	for k, ph := range e.phases {
		if n.During != 0 && n.During&(1<<k) == 0 || ph.work == 0 {
			continue
		}
		switch {
		case n.WhilePaused || e.fact:
			add(n.Resource, demand{e.in.Name, ph.wait, ph.end, n.Amount, e.fact})
		case !ph.pausable:
			add(n.Resource, demand{e.in.Name, ph.start, ph.end, n.Amount, false})
		default:
			for _, p := range c.hours[c.calendarOf(e, k)].pieces {
				add(n.Resource, demand{e.in.Name, max(ph.start, p.start), min(ph.end, p.end), n.Amount, false})
			}
		}
	}
}

// sweep finds moments of overload to which something that is still planned contributes.
func (c *checker) sweep(r *sched.Resource, ds []demand) {
	var cuts []int64
	for _, d := range ds {
		cuts = append(cuts, d.start)
	}
	for _, l := range r.Levels {
		cuts = append(cuts, l.At)
	}
	sort.Slice(cuts, func(i, j int) bool { return cuts[i] < cuts[j] })
	sort.SliceStable(ds, func(i, j int) bool { return ds[i].start < ds[j].start })
	var active []demand
	next := 0
	for i, t := range cuts {
		if i > 0 && cuts[i-1] == t {
			continue
		}
		still := active[:0]
		for _, d := range active {
			if d.end > t {
				still = append(still, d)
			}
		}
		active = still
		for next < len(ds) && ds[next].start <= t {
			if ds[next].end > t {
				active = append(active, ds[next])
			}
			next++
		}
		var load int64
		var who []string
		planned := false
		for _, d := range active {
			load += d.amount
			planned = planned || !d.fact
			who = append(who, d.who)
		}
		if most := capacityAt(r, t); planned && load > most {
			c.out = append(c.out, Violation{
				Kind: Capacity, Activities: who, Resource: r.Name,
				Message: fmt.Sprintf("at %d %d of %s are taken, %d exist", t, load, r.Name, most),
			})
		}
	}
}

func capacityAt(r *sched.Resource, t int64) int64 {
	most := r.Capacity
	for _, l := range r.Levels {
		if l.At <= t {
			most = l.Capacity
		}
	}
	return most
}
