package sched

import (
	"math"
	"slices"
)

// windowsTried bounds how many closed or down windows of one calendar or vessel are looked at.
const windowsTried = 6

// candidates lists what could be changed about the reasons of a core.
func (x *explainer) candidates(in, bare *Instance, core *Core) []candidate {
	var out []candidate
	named := map[string]bool{}
	for i := range core.Reasons {
		r := &core.Reasons[i]
		if x.opt.Keep[r.Subject] && r.Kind != ReasonCalendar {
			continue
		}
		switch r.Kind {
		case ReasonActivity, ReasonNoMode:
			named[r.Subject] = true
		case ReasonDeadline:
			out = append(out, x.later(in, r.Subject)...)
		case ReasonHorizon:
			out = append(out, candidate{
				most: endless(in) - in.Horizon.End, grain: x.opt.Grain,
				edits: func(n int64) []Edit { return []Edit{{Kind: EditHorizon, Subject: "horizon", By: n}} },
				spent: func(p *Plan) int64 { return lastEnd(p) - in.Horizon.End },
			})
		case ReasonRelease:
			out = append(out, x.earlier(in, r.Subject)...)
		case ReasonLongest:
			out = append(out, x.longer(in, bare, r)...)
		case ReasonCalendar:
			out = append(out, x.openings(bare, core, r.Subject)...)
		case ReasonDown:
			out = append(out, x.revivals(bare, core, r.Subject)...)
		case ReasonVessel:
			out = append(out, candidate{
				most: 1, grain: 1, edits: func(int64) []Edit { return []Edit{{Kind: EditVessel, Subject: r.Subject}} }, trim: whenUsed,
			})
		case ReasonCapacity:
			out = append(out, x.more(in, bare, r.Subject)...)
		case ReasonPin:
			out = append(out, candidate{most: 1, grain: 1, edits: func(int64) []Edit { return []Edit{{Kind: EditUnpin, Subject: r.Subject}} }})
		}
	}
	out = append(out, cancellations(bare)...)
	for i := range x.opt.Offers {
		o := &x.opt.Offers[i]
		if slices.ContainsFunc(o.Activities, func(m OfferModes) bool { return named[m.Activity] }) {
			out = append(out, candidate{most: 1, grain: 1, edits: func(int64) []Edit { return []Edit{{Kind: EditOffer, Subject: o.Name, Offer: o}} }})
		}
	}
	return out
}

// cancellations leave out one of the orders of a core.
func cancellations(bare *Instance) []candidate {
	var out []candidate
	var orders []string
	for i := range bare.Activities {
		if o := orderOf(&bare.Activities[i]); !slices.Contains(orders, o) {
			orders = append(orders, o)
			out = append(out, candidate{most: 1, grain: 1, edits: func(int64) []Edit { return []Edit{{Kind: EditOut, Subject: o}} }})
		}
	}
	return out
}

func lastEnd(p *Plan) int64 {
	end := int64(math.MinInt64)
	for i := range p.Assignments {
		end = max(end, p.Assignments[i].End)
	}
	return end
}

func (p *Plan) of(activity string) *Assignment {
	for i := range p.Assignments {
		if p.Assignments[i].Activity == activity {
			return &p.Assignments[i]
		}
	}
	return nil
}

func activityNamed(in *Instance, name string) *Activity {
	for i := range in.Activities {
		if in.Activities[i].Name == name {
			return &in.Activities[i]
		}
	}
	return nil
}

// later moves a deadline.
func (x *explainer) later(in *Instance, name string) []candidate {
	a := activityNamed(in, name)
	if a == nil || a.Deadline <= 0 || a.Deadline >= in.Horizon.End {
		return nil
	}
	deadline := a.Deadline
	return []candidate{{
		most: in.Horizon.End - deadline, grain: x.opt.Grain,
		edits: func(n int64) []Edit { return []Edit{{Kind: EditDeadline, Subject: name, By: n}} },
		spent: func(p *Plan) int64 {
			if as := p.of(name); as != nil {
				return as.End - deadline
			}
			return Forever
		},
	}}
}

// earlier moves a release.
func (x *explainer) earlier(in *Instance, name string) []candidate {
	a := activityNamed(in, name)
	earliest := max(in.Horizon.Start, x.opt.Earliest)
	if a == nil || a.Release <= earliest {
		return nil
	}
	release := a.Release
	return []candidate{{
		most: release - earliest, grain: x.opt.Grain,
		edits: func(n int64) []Edit { return []Edit{{Kind: EditRelease, Subject: name, By: n}} },
		spent: func(p *Plan) int64 {
			if as := p.of(name); as != nil {
				return release - as.Start
			}
			return Forever
		},
	}}
}

// longer moves a greatest lag that is not firm.
func (x *explainer) longer(in, bare *Instance, r *Reason) []candidate {
	at := -1
	var lag *Lag
	for i := range in.Lags {
		l := &in.Lags[i]
		if l.HasMax && l.From == r.Subject && l.To == r.Other && l.Max == r.Amount && at < 0 {
			at, lag = i, l
		}
	}
	if at < 0 || lag.Firm {
		return nil
	}
	return []candidate{{
		most: in.Horizon.End - in.Horizon.Start, grain: x.opt.Grain,
		edits: func(n int64) []Edit {
			return []Edit{{Kind: EditLag, Subject: lag.From, Other: lag.To, Lag: at, By: n, Was: lag.Max}}
		},
		spent: func(p *Plan) int64 {
			a, b := p.of(lag.From), p.of(lag.To)
			if a == nil || b == nil {
				return Forever
			}
			from, to := a.End, b.Start
			if lag.FromEdge == EdgeStart {
				from = a.Start
			}
			if lag.ToEdge == EdgeEnd {
				to = b.End
			}
			return to - from - lag.Max
		},
	}}
}

// stretches are the families of windows within a span: from its start on, up to its end.
func (x *explainer) stretches(s Span, edit func(Span) Edit) []candidate {
	s.Start = max(s.Start, x.opt.Earliest)
	length := s.End - s.Start
	if length <= 0 {
		return nil
	}
	return []candidate{
		{most: length, grain: min(x.opt.Grain, length), edits: func(n int64) []Edit { return []Edit{edit(Span{s.Start, min(s.Start+n, s.End)})} }},
		{most: length, grain: min(x.opt.Grain, length), edits: func(n int64) []Edit { return []Edit{edit(Span{max(s.End-n, s.Start), s.End})} }},
	}
}

// openings are hours in which a calendar could be open longer: those closed windows in which a plan would work that
// may ignore the calendar.
func (x *explainer) openings(bare *Instance, core *Core, name string) []candidate {
	plan, ok := x.planWithout(bare, core, ReasonCalendar, name)
	if !ok {
		return nil
	}
	calendars := []string{name}
	if x.opt.Keep[name] {
		calendars = nil
		for i := range bare.Calendars {
			c := bare.Calendars[i].Name
			if s, found := x.opt.Shifts[c]; found && !x.opt.Keep[c] && slices.Contains(s.Calendars, name) {
				calendars = append(calendars, c)
			}
		}
	}
	var out []candidate
	for _, c := range calendars {
		shift := x.opt.Shifts[c]
		edit := func(w Span) Edit {
			return Edit{Kind: EditOpen, Subject: c, Window: w, Opens: shift.Calendars, With: shift.Resources}
		}
		var all []Edit
		gaps := closedAtWork(bare, &plan, name, c)
		for _, g := range gaps[:min(len(gaps), windowsTried)] {
			out = append(out, x.stretches(g.closed, edit)...)
			all = append(all, edit(Span{max(g.closed.Start, x.opt.Earliest), g.closed.End}))
		}
		if len(all) > 1 {
			worked := func(edits []Edit, changed *Instance, p *Plan) []Edit { return whenOpen(edits, bare, p, name, c) }
			out = append(out, candidate{most: 1, grain: 1, edits: func(int64) []Edit { return all }, trim: worked})
		}
	}
	return out
}

// whenOpen narrows longer opening to the hours in which a plan works.
func whenOpen(edits []Edit, before *Instance, p *Plan, name, closed string) []Edit {
	var out []Edit
	for _, g := range closedAtWork(before, p, name, closed) {
		for _, e := range edits {
			if w := (Span{max(e.Window.Start, g.work.Start), min(e.Window.End, g.work.End)}); w.Start < w.End {
				e.Window = w
				out = append(out, e)
			}
		}
	}
	return out
}

// planWithout is a plan of a core without one of its reasons.
func (x *explainer) planWithout(bare *Instance, core *Core, kind ReasonKind, subject string) (Plan, bool) {
	limits := limitsOf(bare)
	var keep []int
	for i := range limits {
		if limits[i].Kind != kind || limits[i].Subject != subject {
			keep = append(keep, i)
		}
	}
	y := without(bare, limits, keep)
	if plan, ok := x.solve(&y, nil); ok {
		return plan, true
	}
	// The same calendar's crew may be a limit of its own: leave out everything that the core does not name.
	keep = nil
	for i := range limits {
		for k := range core.Reasons {
			if r := &core.Reasons[k]; r.Kind == limits[i].Kind && r.Subject == limits[i].Subject && r.Other == limits[i].Other &&
				(r.Kind != kind || r.Subject != subject) {
				keep = append(keep, i)
				break
			}
		}
	}
	y = without(bare, limits, keep)
	return x.solve(&y, nil)
}

// closedGap is a closed window of a calendar and the part of it in which a plan works.
type closedGap struct{ closed, work Span }

// closedAtWork lists the closed windows of calendar closed in which a plan does work that calendar name governs.
func closedAtWork(bare *Instance, plan *Plan, name, closed string) []closedGap {
	var spans []Span
	for i := range bare.Calendars {
		if bare.Calendars[i].Name == closed {
			for _, o := range bare.Calendars[i].Open {
				spans = append(spans, o.Span)
			}
		}
	}
	shut := subtractSpans([]Span{{bare.Horizon.Start, bare.Horizon.End}}, mergeSpans(spans))
	var out []closedGap
	for _, s := range shut {
		w := Span{s.End, s.Start}
		for i := range plan.Assignments {
			as := &plan.Assignments[i]
			a := activityNamed(bare, as.Activity)
			for k := 0; a != nil && k < len(a.Modes); k++ {
				if m := &a.Modes[k]; m.Name == as.Mode && (m.AttendedCalendar == name || m.UnattendedCalendar == name) && as.Start < s.End && s.Start < as.End {
					w.Start, w.End = min(w.Start, max(as.Start, s.Start)), max(w.End, min(as.End, s.End))
				}
			}
			for _, c := range as.Changes {
				if c.Attended && c.Start < s.End && s.Start < c.End {
					w.Start, w.End = min(w.Start, max(c.Start, s.Start)), max(w.End, min(c.End, s.End))
				}
			}
		}
		if w.Start < w.End {
			out = append(out, closedGap{s, w})
		}
	}
	return out
}

// revivals are hours in which a vessel that is down could be in service.
func (x *explainer) revivals(bare *Instance, core *Core, name string) []candidate {
	plan, ok := x.planWithout(bare, core, ReasonDown, name)
	if !ok {
		return nil
	}
	var out []candidate
	for i := range bare.Vessels {
		if bare.Vessels[i].Name != name {
			continue
		}
		for _, d := range mergeSpans(bare.Vessels[i].Down) {
			d = Span{max(d.Start, bare.Horizon.Start), min(d.End, bare.Horizon.End)}
			wanted := slices.ContainsFunc(plan.Assignments, func(as Assignment) bool {
				return slices.Contains(as.Vessels, name) && as.Start < d.End && d.Start < max(as.End, as.HeldUntil)
			})
			if wanted && len(out) < 2*windowsTried {
				out = append(out, x.stretches(d, func(w Span) Edit { return Edit{Kind: EditUp, Subject: name, Window: w} })...)
			}
		}
	}
	return out
}

// more raises a resource, first over the whole horizon.
func (x *explainer) more(in, bare *Instance, name string) []candidate {
	var all int64
	for i := range bare.Activities {
		most := int64(0)
		for k := range bare.Activities[i].Modes {
			var sum int64
			for _, n := range bare.Activities[i].Modes[k].Needs {
				if n.Resource == name {
					sum = min(sum+n.Amount, Forever)
				}
			}
			most = max(most, sum)
		}
		all = min(all+most, Forever)
	}
	for i := range bare.Stores {
		if bare.Stores[i].Resource == name {
			all = min(all+bare.Stores[i].Amount, Forever)
		}
	}
	for i := range bare.Setups {
		for _, n := range bare.Setups[i].Needs {
			if n.Resource == name {
				all = min(all+n.Amount*int64(len(bare.Vessels)), Forever)
			}
		}
	}
	if all == 0 {
		return nil
	}
	whole := Span{max(in.Horizon.Start, x.opt.Earliest), in.Horizon.End}
	return []candidate{{
		most: all, grain: 1, trim: whenOver,
		edits: func(n int64) []Edit { return []Edit{{Kind: EditCapacity, Subject: name, By: n, Window: whole}} },
	}}
}

// whenUsed says in which hours a plan uses an additional vessel.
func whenUsed(edits []Edit, changed *Instance, p *Plan) []Edit {
	out := slices.Clone(edits)
	added := changed.Vessels[len(changed.Vessels)-1].Name
	w := Span{Forever, 0}
	for i := range p.Assignments {
		if as := &p.Assignments[i]; slices.Contains(as.Vessels, added) {
			w.Start, w.End = min(w.Start, as.Start), max(w.End, as.HeldUntil)
		}
	}
	if w.Start < w.End {
		out[0].Window = w
	}
	return out
}

// taking is an amount of a resource that a plan takes over some time.
type taking struct {
	Span
	amount int64
}

// whenOver narrows more of a resource to the hours in which a plan takes more than there was.
func whenOver(edits []Edit, changed *Instance, p *Plan) []Edit {
	out := slices.Clone(edits)
	e := &out[0]
	r := slices.IndexFunc(changed.Resources, func(r Resource) bool { return r.Name == e.Subject })
	takes := takings(changed, int32(r), p)
	cuts := []int64{e.Window.Start}
	for _, t := range takes {
		cuts = append(cuts, t.Start, t.End)
	}
	for _, l := range changed.Resources[r].Levels {
		cuts = append(cuts, l.At)
	}
	slices.Sort(cuts)
	w := Span{Forever, -Forever}
	for i, t := range cuts {
		end := e.Window.End
		if i+1 < len(cuts) {
			end = min(end, cuts[i+1])
		}
		if t < e.Window.Start || t >= end {
			continue
		}
		var sum int64
		for _, x := range takes {
			if x.Start <= t && t < x.End {
				sum += x.amount
			}
		}
		if sum > capacityAt(&changed.Resources[r], t)-e.By { // then the added part is in use
			w.Start, w.End = min(w.Start, t), max(w.End, end)
		}
	}
	if w.Start < w.End {
		e.Window = w
	}
	return out
}

// takings lists what a plan takes of a resource.
func takings(in *Instance, r int32, p *Plan) []taking {
	c := compile(in)
	var out []taking
	add := func(s, e, amount int64) { out = append(out, taking{Span{s, e}, amount}) }
	for a := range c.acts {
		as := p.of(in.Activities[a].Name)
		if as == nil {
			continue
		}
		c.takings(int32(a), r, as, add)
		for _, ch := range as.Changes {
			v := slices.IndexFunc(in.Vessels, func(v Vessel) bool { return v.Name == ch.Vessel })
			if !ch.Attended || v < 0 || c.vessels[v].setup == nil {
				continue
			}
			for _, n := range c.vessels[v].setup.needs {
				if n.res == r {
					add(ch.Start, ch.End, n.add)
				}
			}
		}
	}
	for i := range c.stores {
		s := &c.stores[i]
		from := p.of(in.Activities[s.producer].Name)
		if s.res != r || from == nil {
			continue
		}
		until := s.until
		if s.consumer >= 0 {
			if to := p.of(in.Activities[s.consumer].Name); to != nil {
				until = to.Start
			}
		}
		add(from.End, until, s.amount)
	}
	return out
}

// takings calls add for what an assignment of activity a takes of resource r.
func (p *problem) takings(a, r int32, as *Assignment, add func(s, e, amount int64)) {
	for m := range p.acts[a].modes {
		if p.in.Activities[a].Modes[m].Name != as.Mode {
			continue
		}
		mode := &p.acts[a].modes[m]
		var tm timing
		if p.acts[a].fact {
			tm = mode.factTiming(p.in.Activities[a].Fixed.Start, p.in.Activities[a].Fixed.End)
		} else if mode.try(as.Start, &tm) != as.Start {
			continue
		}
		for i := range mode.dems {
			d := &mode.dems[i]
			if d.res != r {
				continue
			}
			switch {
			case d.kind == demHeld || p.acts[a].fact:
				add(tm.b[d.lo], tm.e[d.hi], d.add)
			case d.kind == demWork:
				mode.cal[d.lo].pieces(tm.s[d.lo], tm.e[d.lo], func(s, e int64) bool { add(s, e, d.add); return true })
			default:
				add(tm.s[d.lo], tm.e[d.hi], d.add)
			}
		}
	}
}
