package sched

import "slices"

// ReasonKind names what a Reason is about.
type ReasonKind string

// The kinds of reason. The first two are steps to do, the others limits.
const (
	ReasonActivity ReasonKind = "activity"      // Subject has to be done; Other is its order
	ReasonNoMode   ReasonKind = "no-mode"       // Subject has to be done and no vessel can do it
	ReasonDeadline ReasonKind = "deadline"      // Subject must have ended by Window.End
	ReasonHorizon  ReasonKind = "horizon"       // everything must have ended by Window.End
	ReasonLongest  ReasonKind = "longest-wait"  // at most Amount between Subject and Other
	ReasonShortest ReasonKind = "shortest-wait" // at least Amount between Subject and Other
	ReasonCalendar ReasonKind = "calendar"      // Subject is closed at times
	ReasonDown     ReasonKind = "vessel-down"   // Subject is out of service at times
	ReasonVessel   ReasonKind = "vessel"        // Subject serves one activity at a time
	ReasonCapacity ReasonKind = "capacity"      // there is only so much of Subject
	ReasonRelease  ReasonKind = "release"       // Subject may not begin before Window.Start
	ReasonPin      ReasonKind = "pin"           // Subject is pinned to begin at Window.Start
	ReasonHold     ReasonKind = "hold"          // the vessel of Subject stays occupied until Other begins
	ReasonStore    ReasonKind = "store"         // what Subject makes is stored until Other begins
	ReasonCleaning ReasonKind = "cleaning"      // Subject is cleaned between materials
	ReasonLink     ReasonKind = "link"          // Subject and Other go together in some modes only
)

// Reason is one thing without which the conflict would not be there.
type Reason struct {
	Kind    ReasonKind
	Subject string // activity, order, calendar, vessel or resource
	Other   string // the activity at the other end of a lag, hold, store or link
	Amount  int64  // of time or of a resource
	Window  Span   // a deadline is its End, a release its Start
	// Needed is true when a plan was found for the conflict without this one thing: it is proved to be part of it.
	Needed bool
	// Message says it in plain words and engine units.
	Message string
	at      int // index of the lag, hold, store, link or activity
}

// Core is a set of reasons that are impossible together.
type Core struct {
	Reasons []Reason
	// Proved: the reasons together make every plan impossible, whatever else there is. Without it they are only what
	// stood in the way most often.
	Proved bool
	// Minimal: each reason was proved to be needed, so the conflict is gone when any one of them is dropped.
	Minimal bool
}

// Explanation says why an instance has no plan, or none in which an order is in time, and what would help.
type Explanation struct {
	// Possible is true when there is a plan after all: nothing stands in the way, or the search had only missed it.
	Possible bool
	// Core is the first conflict; Further are those that remain when it is removed in the cheapest way.
	Core    Core
	Further []Core
	// Remedies are what was found to help, the cheapest first. Those that were only computed, not verified, come last.
	Remedies []Remedy
	// Stopped is true when the budget of solves or ExplainOptions.Stop ended the search for remedies early.
	Stopped bool
}

// ExplainOptions steer Explain and ExplainLate. The zero value is usable. The answer depends only on the instance and
// these options unless Stop ends the work.
type ExplainOptions struct {
	Seed uint64
	// Iterations of each solve that asks whether a changed instance has a plan; default 60.
	Iterations int
	// Measure is the iterations of the solve that says what the plan of a remedy costs; default 200.
	Measure int
	// Solves and Tests bound the number of such solves (default 600) and of attempts to prove infeasibility (400).
	Solves, Tests int
	// Nodes bounds each exact search for a proof; default 2000.
	Nodes int
	// Grain is the unit in which amounts of time are offered (5 minutes, say); default 1.
	Grain int64
	// Most is the number of remedies that are measured and answered; default 6.
	Most int
	// Prices order the remedies; nil means DefaultPrices of 3600 time units per hour.
	Prices Prices
	// Offers are alternatives that only the caller knows: smaller batches, vessels that would have to be approved.
	Offers []Offer
	// Shifts say what opens together with a calendar.
	Shifts map[string]Shift
	// Earliest is the moment before which nothing can be changed any more (now); zero means the start of the horizon.
	Earliest int64
	// Keep lists calendars, resources and vessels that cannot be changed; no remedy touches them.
	Keep map[string]bool
	// Stop is polled often; true ends the work with what was found until then.
	Stop func() bool
}

// Shift says what goes with longer opening of a calendar: other calendars that open with it (the kitchen is staffed when
// any crew is), and resources of which more is there then (the heads of the crew).
type Shift struct {
	Calendars []string
	Resources []Need
}

func (o ExplainOptions) withDefaults() ExplainOptions {
	set := func(p *int, v int) {
		if *p <= 0 {
			*p = v
		}
	}
	set(&o.Iterations, 60)
	set(&o.Measure, 200)
	set(&o.Solves, 600)
	set(&o.Tests, 400)
	set(&o.Nodes, refuteNodes)
	set(&o.Most, 6)
	o.Grain = max(o.Grain, 1)
	if o.Prices == nil {
		o.Prices = DefaultPrices(3600)
	}
	return o
}

// explainer does the work of Explain with a budget.
type explainer struct {
	opt     ExplainOptions
	solves  int // left
	tests   int
	stopped bool
}

func (x *explainer) halted() bool {
	if !x.stopped && (x.solves <= 0 || x.opt.Stop != nil && x.opt.Stop()) {
		x.stopped = true
	}
	return x.stopped
}

// impossible reports whether the engine proves that an instance has no plan: by propagation, energy, or complete search
// through decisions when it is small.
func (x *explainer) impossible(in *Instance) bool {
	if x.tests <= 0 || x.opt.Stop != nil && x.opt.Stop() {
		return false
	}
	x.tests--
	if len(in.Activities) == 0 {
		return false
	}
	p := compile(in)
	w, conflicts := p.impossible()
	if len(conflicts) > 0 {
		return true
	}
	d := newDecoder(p)
	p.lowerBound(w, p.urgency())
	if f, ok := d.placeFixed(); !ok && !p.cleans(f.act) {
		return true
	}
	return len(p.overloads(w)) > 0 || p.refutes(x.opt.Nodes, x.opt.Stop)
}

// solve asks for any plan of an instance.
func (x *explainer) solve(in *Instance, warm *Plan) (Plan, bool) {
	if x.halted() {
		return Plan{}, false
	}
	x.solves--
	found := false
	if warm == nil {
		warm = &Plan{} // the search that shops get runs on two goroutines and may end with either's plan
	}
	plan, _, err := Solve(*in, Options{
		Seed: x.opt.Seed, Iterations: x.opt.Iterations, Warm: warm, Incumbent: func(Plan, Report) { found = true },
		Stop: func() bool { return found || x.opt.Stop != nil && x.opt.Stop() },
	})
	return plan, err == nil && len(plan.Assignments) > 0
}

// needed finds a smallest subset of n things that is refuted, by QuickXplain (Junker, AAAI 2004, from memory): of things
// early in the order it keeps rather than of late ones. All n together must be refuted.
func needed(n int, refuted func(keep []int) bool) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	if refuted(nil) {
		return nil
	}
	out := quickXplain(nil, false, all, refuted)
	slices.Sort(out)
	return out
}

func quickXplain(background []int, added bool, set []int, refuted func([]int) bool) []int {
	if added && refuted(background) || len(set) == 0 {
		return nil
	}
	if len(set) == 1 {
		return set
	}
	first, second := set[:len(set)/2], set[len(set)/2:]
	d2 := quickXplain(append(slices.Clone(background), first...), true, second, refuted)
	d1 := quickXplain(append(slices.Clone(background), d2...), len(d2) > 0, first, refuted)
	return append(slices.Clone(d1), d2...)
}

// orderOf is the order of an activity; one without an order stands for itself.
func orderOf(a *Activity) string {
	if a.Order != "" {
		return a.Order
	}
	return a.Name
}

// some is what is left of an instance with some of its activities; ties between others vanish.
func some(in *Instance, keep func(*Activity) bool) Instance {
	out := *in
	out.Activities, out.Lags, out.Holds, out.Stores, out.Links = nil, nil, nil, nil, nil
	in2 := map[string]bool{}
	for i := range in.Activities {
		if keep(&in.Activities[i]) {
			in2[in.Activities[i].Name] = true
			out.Activities = append(out.Activities, in.Activities[i])
		}
	}
	for _, l := range in.Lags {
		if in2[l.From] && in2[l.To] {
			out.Lags = append(out.Lags, l)
		}
	}
	for _, h := range in.Holds {
		if in2[h.Activity] && in2[h.Until] {
			out.Holds = append(out.Holds, h)
		}
	}
	for _, s := range in.Stores {
		if in2[s.Producer] && (s.Consumer == "" || in2[s.Consumer]) {
			out.Stores = append(out.Stores, s)
		}
	}
	for _, l := range in.Links {
		if in2[l.First] && in2[l.Second] {
			out.Links = append(out.Links, l)
		}
	}
	return out
}

// core finds a minimal conflict of an instance that is refuted, or for which no plan was found (conflicts then say what
// stood in the way). bare is the instance with nothing but what the core names.
func (x *explainer) core(in *Instance, conflicts []Conflict) (c Core, bare Instance) {
	seed, ok := x.seed(in, conflicts)
	if !ok {
		return unproved(in, conflicts), *in
	}
	small := x.fewest(seed)
	limits := limitsOf(&small)
	keep := needed(len(limits), func(keep []int) bool {
		y := without(&small, limits, keep)
		return x.impossible(&y)
	})
	c.Proved = true
	c.Reasons = append(c.Reasons, things(&small)...)
	var rest []Reason
	for _, k := range keep {
		rest = append(rest, limits[k])
	}
	x.proveNeeded(&small, limits, keep, &c, rest)
	// A vessel whose windows or cleaning count stays one vessel, so that what is changed about it is changed for all.
	for i := range limits {
		if limits[i].Kind == ReasonVessel && slices.ContainsFunc(rest, func(r Reason) bool {
			return r.Subject == limits[i].Subject && (r.Kind == ReasonDown || r.Kind == ReasonCleaning)
		}) && !slices.Contains(keep, i) {
			keep = append(keep, i)
		}
	}
	return c, without(&small, limits, keep)
}

// proveNeeded looks for a plan without each member of a core.
func (x *explainer) proveNeeded(small *Instance, limits []Reason, keep []int, c *Core, rest []Reason) {
	bare := without(small, limits, keep)
	c.Minimal = true
	for i := range c.Reasons {
		r := &c.Reasons[i]
		y := some(&bare, func(a *Activity) bool {
			return a.Name != r.Subject
		})
		r.Needed = len(y.Activities) == 0
		if !r.Needed {
			_, r.Needed = x.solve(&y, nil)
		}
		c.Minimal = c.Minimal && r.Needed
	}
	for i := range rest {
		less := slices.Delete(slices.Clone(keep), i, i+1)
		y := without(small, limits, less)
		_, rest[i].Needed = x.solve(&y, nil)
		c.Minimal = c.Minimal && rest[i].Needed
	}
	c.Reasons = append(c.Reasons, rest...)
}

// things are the activities as reasons.
func things(in *Instance) []Reason {
	var out []Reason
	for i := range in.Activities {
		a := &in.Activities[i]
		r := Reason{Kind: ReasonActivity, Subject: a.Name, Other: a.Order, Message: a.Name + " has to be done"}
		switch {
		case len(a.Modes) == 0:
			r.Kind, r.Message = ReasonNoMode, "no vessel can do "+a.Name
			for k, f := range a.Refusals {
				r.Message += map[bool]string{true: ": ", false: "; "}[k == 0] + f.Vessel + " " + f.Reason
			}
		case a.Fixed != nil && a.Fixed.Started:
			r.Message = a.Name + " has begun"
		}
		out = append(out, r)
	}
	return out
}

// seed finds a part of the instance that is refuted and not too large: the orders that a proved conflict names, or the
// order that failed most often with those that compete with it, or everything.
func (x *explainer) seed(in *Instance, conflicts []Conflict) (Instance, bool) {
	named := map[string]bool{}
	for _, c := range conflicts {
		if !c.Proved {
			continue
		}
		clear(named)
		for _, n := range c.Activities {
			named[n] = true
		}
		y := some(in, func(a *Activity) bool { return named[a.Name] })
		if len(y.Activities) > 0 && x.impossible(&y) {
			return y, true
		}
	}
	if x.impossible(in) {
		return *in, true
	}
	for _, c := range conflicts {
		if len(c.Activities) == 0 {
			continue
		}
		rivals := rivals(in, c.Activities[0])
		for n := 1; n <= len(rivals); n++ {
			if n > 4 && n%2 > 0 && n < len(rivals) {
				continue
			}
			clear(named)
			for _, o := range rivals[:n] {
				named[o] = true
			}
			y := some(in, func(a *Activity) bool { return named[orderOf(a)] })
			if len(y.Activities) > refuteLimit || x.tests <= 0 {
				break
			}
			if x.impossible(&y) {
				return y, true
			}
		}
	}
	return Instance{}, false
}

// fewest drops orders, then activities, that the refutation does not need.
func (x *explainer) fewest(in Instance) Instance {
	var orders []string
	for i := range in.Activities {
		if o := orderOf(&in.Activities[i]); !slices.Contains(orders, o) {
			orders = append(orders, o)
		}
	}
	among := func(names []string, key func(*Activity) string) Instance {
		keep := needed(len(names), func(keep []int) bool {
			in2 := map[string]bool{}
			for _, k := range keep {
				in2[names[k]] = true
			}
			y := some(&in, func(a *Activity) bool { return in2[key(a)] })
			return x.impossible(&y)
		})
		in2 := map[string]bool{}
		for _, k := range keep {
			in2[names[k]] = true
		}
		return some(&in, func(a *Activity) bool { return in2[key(a)] })
	}
	in = among(orders, orderOf)
	var acts []string
	for i := range in.Activities {
		acts = append(acts, in.Activities[i].Name)
	}
	return among(acts, func(a *Activity) string { return a.Name })
}

// rivals lists orders, first that of an activity, then those that compete with it for vessels and resources, those with
// the most in common first.
func rivals(in *Instance, activity string) []string {
	uses := map[string]map[string]bool{}
	var orders []string
	mine := ""
	for i := range in.Activities {
		a := &in.Activities[i]
		o := orderOf(a)
		if a.Name == activity {
			mine = o
		}
		if uses[o] == nil {
			uses[o] = map[string]bool{}
			orders = append(orders, o)
		}
		for k := range a.Modes {
			for _, u := range a.Modes[k].Uses {
				uses[o][u.Vessel] = true
			}
			for _, n := range a.Modes[k].Needs {
				uses[o]["/"+n.Resource] = true
			}
		}
	}
	count := func(o string) int {
		n := 0
		for k := range uses[o] {
			if uses[mine][k] {
				n++
			}
		}
		if o == mine {
			n += 1 << 20
		}
		return n
	}
	slices.SortStableFunc(orders, func(a, b string) int { return count(b) - count(a) })
	for i, o := range orders {
		if count(o) == 0 {
			return orders[:i]
		}
	}
	return orders[:min(len(orders), 12)]
}

// unproved turns what stood in the way most often into a core.
func unproved(in *Instance, conflicts []Conflict) Core {
	var c Core
	seen := map[[2]string]bool{}
	add := func(r Reason) {
		if k := [2]string{string(r.Kind), r.Subject}; !seen[k] {
			seen[k] = true
			c.Reasons = append(c.Reasons, r)
		}
	}
	for _, f := range conflicts {
		for _, a := range f.Activities {
			add(Reason{Kind: ReasonActivity, Subject: a, Message: f.Message})
		}
		for _, v := range f.Vessels {
			add(Reason{Kind: ReasonVessel, Subject: v, Message: v + " serves one activity at a time"})
		}
		for _, r := range f.Resources {
			add(Reason{Kind: ReasonCapacity, Subject: r, Message: "there is only so much of " + r})
		}
		for _, k := range f.Calendars {
			add(Reason{Kind: ReasonCalendar, Subject: k, Message: k + " is closed at times"})
		}
	}
	acts := map[string]bool{}
	for _, r := range c.Reasons {
		acts[r.Subject] = acts[r.Subject] || r.Kind == ReasonActivity
	}
	near := some(in, func(a *Activity) bool { return acts[a.Name] })
	for _, r := range limitsOf(&near) {
		switch r.Kind {
		case ReasonDeadline, ReasonHorizon, ReasonLongest, ReasonDown, ReasonRelease, ReasonPin:
			add(r)
		}
	}
	return c
}
