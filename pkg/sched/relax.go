package sched

import (
	"fmt"
	"slices"
)

// EditKind names a kind of change to an instance.
type EditKind string

// The kinds of edit. Cleaning, least waiting times, firm greatest ones and the order of steps are never offered: they are
// the process and its safety.
const (
	EditDeadline EditKind = "deadline-later"  // Subject (an activity) may end By later
	EditHorizon  EditKind = "horizon-later"   // the horizon ends By later
	EditRelease  EditKind = "release-earlier" // Subject may begin By earlier
	EditLag      EditKind = "wait-longer"     // By more may pass between Subject and Other (Instance.Lags[Lag])
	EditOpen     EditKind = "calendar-open"   // calendar Subject is open in Window, as overtime
	EditUp       EditKind = "vessel-up"       // vessel Subject is in service in Window
	EditVessel   EditKind = "vessel-more"     // there is one more vessel like Subject
	EditCapacity EditKind = "capacity-more"   // there is By more of resource Subject in Window
	EditUnpin    EditKind = "unpin"           // Subject need not begin where it is pinned
	EditOffer    EditKind = "offer"           // an Offer of the caller, named Subject, is taken
	EditPromise  EditKind = "promise"         // Subject must be in time, at the cost of others
	EditOut      EditKind = "order-out"       // order Subject and what needs it are not made; nothing of them may have begun
)

// Edit is one change to an Instance, as data: Apply makes it.
type Edit struct {
	Kind    EditKind
	Subject string
	Other   string
	Lag     int
	Was     int64 // EditLag: the greatest time that is changed; where another lag stands at Lag, it is found by this
	By      int64
	Window  Span
	// Opens and With are what goes with EditOpen: other calendars and resources (see Shift).
	Opens []string
	With  []Need
	// Offer of an EditOffer.
	Offer *Offer
}

// Offer is an alternative that the caller can vouch for, such as two smaller batches or a vessel that would have to be
// approved. Taking it gives activities other modes.
type Offer struct {
	Name       string
	Activities []OfferModes
	// Cost in the unit of Prices, in place of a price.
	Cost int64
}

// OfferModes are the modes that an Offer gives one activity.
type OfferModes struct {
	Activity string
	Modes    []Mode
	// Instead replaces the activity's modes; otherwise they are added.
	Instead bool
}

// Price is what a kind of edit costs: Once, and Per unit of time (for EditCapacity, of time times amount).
type Price struct{ Once, Per int64 }

// Prices order remedies: they say which change a manager would rather make. They are data, to be replaced by the
// kitchen's own.
type Prices map[EditKind]Price

// DefaultPrices are a house choice for a clock of so many time units per hour (common practice, no source): overtime by
// somebody who is there costs less than a broken promise of the same length, a longer wait of the material more than
// that, and what needs somebody else's consent or money (a repair hurried, a delivery, another vessel) most.
func DefaultPrices(hour int64) Prices {
	return Prices{
		EditPromise: {Once: hour / 4}, EditUnpin: {Once: hour / 2}, EditOpen: {Once: hour / 2, Per: 2}, EditCapacity: {Once: hour / 2, Per: 2},
		EditDeadline: {Once: hour, Per: 3}, EditHorizon: {Once: hour, Per: 3}, EditLag: {Once: hour, Per: 4},
		EditRelease: {Once: 2 * hour, Per: 2}, EditUp: {Once: 2 * hour, Per: 3}, EditVessel: {Once: 12 * hour}, EditOut: {Once: 48 * hour},
	}
}

// priceLimit keeps sums of prices inside int64.
const priceLimit = int64(1) << 50

// Of is the price of one edit.
func (p Prices) Of(e *Edit) int64 {
	if e.Kind == EditOffer {
		return max(0, min(e.Offer.Cost, priceLimit))
	}
	units := float64(e.By)
	if e.Kind == EditOpen || e.Kind == EditUp {
		units = float64(e.Window.End - e.Window.Start)
	}
	if e.Kind == EditCapacity {
		units *= float64(e.Window.End - e.Window.Start)
	}
	return int64(max(0, min(float64(p[e.Kind].Once)+float64(p[e.Kind].Per)*units, float64(priceLimit))))
}

// Remedy is a set of edits that makes a plan possible, or an order punctual.
type Remedy struct {
	Edits []Edit
	// Verified: a plan of the changed instance was found; Plan and Objective are that plan and its cost. Otherwise the
	// remedy only follows from the reasons.
	Verified  bool
	Plan      Plan
	Objective Objective
	// Least: it was proved that the next smaller amount (by ExplainOptions.Grain) of the one edit does not do.
	Least bool
	// Price by ExplainOptions.Prices.
	Price int64
	// Message says in plain words and engine units what to change.
	Message string
}

// Apply returns a copy of the instance with the edits made. The error names an edit that does not fit the instance.
func (in Instance) Apply(edits ...Edit) (Instance, error) {
	out := deepCopy(&in)
	for i := range edits {
		if err := edits[i].apply(&out); err != nil {
			return Instance{}, fmt.Errorf("edit %d (%s %s): %w", i, edits[i].Kind, edits[i].Subject, err)
		}
	}
	return out, nil
}

func (e *Edit) apply(out *Instance) error {
	if e.By < 0 || e.By > Forever || e.Window.End < e.Window.Start || !inRange(e.Window.Start, e.Window.End) {
		return fmt.Errorf("its amount %d or window [%d, %d) is out of range", e.By, e.Window.Start, e.Window.End)
	}
	switch e.Kind {
	case EditDeadline, EditRelease, EditUnpin, EditPromise:
		return e.applyActivity(out)
	case EditHorizon:
		out.Horizon.End = min(out.Horizon.End+e.By, Forever)
	case EditLag:
		fits := func(l Lag) bool { return l.HasMax && l.From == e.Subject && l.To == e.Other && l.Max == e.Was }
		at := e.Lag
		if at < 0 || at >= len(out.Lags) || !fits(out.Lags[at]) {
			at = slices.IndexFunc(out.Lags, fits) // a part of the instance is looked at
		}
		if at < 0 {
			return fmt.Errorf("there is no greatest time of %d between %q and %q", e.Was, e.Subject, e.Other)
		}
		out.Lags[at].Max = min(out.Lags[at].Max+e.By, Forever)
	case EditOpen:
		for i, name := range append([]string{e.Subject}, e.Opens...) {
			if err := open(out, name, e.Window, i == 0); err != nil {
				return err
			}
		}
		for _, n := range e.With {
			if err := raise(out, n.Resource, e.Window, n.Amount); err != nil {
				return err
			}
		}
	case EditCapacity:
		return raise(out, e.Subject, e.Window, e.By)
	case EditUp, EditVessel:
		i := slices.IndexFunc(out.Vessels, func(v Vessel) bool { return v.Name == e.Subject })
		if i < 0 {
			return fmt.Errorf("there is no vessel %q", e.Subject)
		}
		if e.Kind == EditUp {
			out.Vessels[i].Down = subtractSpans(mergeSpans(out.Vessels[i].Down), []Span{e.Window})
			return nil
		}
		oneMore(out, i)
	case EditOffer:
		return e.applyOffer(out)
	case EditOut:
		return leaveOut(out, e.Subject)
	default:
		return fmt.Errorf("there is no such kind of edit")
	}
	return nil
}

func (e *Edit) applyActivity(out *Instance) error {
	i := slices.IndexFunc(out.Activities, func(a Activity) bool { return a.Name == e.Subject })
	if i < 0 {
		return fmt.Errorf("there is no activity %q", e.Subject)
	}
	a := &out.Activities[i]
	switch e.Kind {
	case EditDeadline:
		if a.Deadline > 0 {
			a.Deadline = min(a.Deadline+e.By, Forever)
		}
	case EditRelease:
		a.Release = max(0, a.Release-e.By)
	case EditPromise:
		a.Deadline = promise(a)
	default:
		if a.Fixed != nil && a.Fixed.Started {
			return fmt.Errorf("it has begun and stays where it is")
		}
		a.Fixed = nil
	}
	return nil
}

// leaveOut takes an order and all that comes after something of it out of an instance.
func leaveOut(out *Instance, order string) error {
	gone := map[string]bool{order: true}
	of := map[string]string{}
	for i := range out.Activities {
		of[out.Activities[i].Name] = orderOf(&out.Activities[i])
	}
	for changed := true; changed; {
		changed = false
		after := func(from, to string) {
			if gone[of[from]] && !gone[of[to]] {
				gone[of[to]], changed = true, true
			}
		}
		for i := range out.Lags {
			after(out.Lags[i].From, out.Lags[i].To)
		}
		for _, h := range out.Holds {
			after(h.Activity, h.Until)
		}
		for _, s := range out.Stores {
			if s.Consumer != "" {
				after(s.Producer, s.Consumer)
			}
		}
	}
	for i := range out.Activities {
		if a := &out.Activities[i]; gone[orderOf(a)] && a.Fixed != nil && a.Fixed.Started {
			return fmt.Errorf("%s has begun", a.Name)
		}
	}
	rest := some(out, func(a *Activity) bool { return !gone[orderOf(a)] })
	if len(rest.Activities) == len(out.Activities) {
		return fmt.Errorf("there is no order %q", order)
	}
	*out = rest
	return nil
}

// promise is the deadline that makes an activity punctual.
func promise(a *Activity) int64 {
	if a.Deadline > 0 {
		return min(a.Deadline, max(a.Due, 1))
	}
	return max(a.Due, 1)
}

func (e *Edit) applyOffer(out *Instance) error {
	if e.Offer == nil {
		return fmt.Errorf("it has no offer")
	}
	for _, o := range e.Offer.Activities {
		i := slices.IndexFunc(out.Activities, func(a Activity) bool { return a.Name == o.Activity })
		if i < 0 {
			continue // a part of the instance is looked at
		}
		if o.Instead {
			out.Activities[i].Modes = nil
		}
		out.Activities[i].Modes = append(slices.Clip(out.Activities[i].Modes), o.Modes...)
	}
	return nil
}

// open opens a calendar in a window; what opens with it is no overtime of its own.
func open(out *Instance, name string, w Span, overtime bool) error {
	i := slices.IndexFunc(out.Calendars, func(c Calendar) bool { return c.Name == name })
	if i < 0 {
		return fmt.Errorf("there is no calendar %q", name)
	}
	if w.Start < w.End {
		out.Calendars[i].Open = append(slices.Clip(out.Calendars[i].Open), Open{Span: w, Overtime: overtime})
	}
	return nil
}

// raise makes more of a resource in a window.
func raise(out *Instance, name string, w Span, by int64) error {
	i := slices.IndexFunc(out.Resources, func(r Resource) bool { return r.Name == name })
	if i < 0 {
		return fmt.Errorf("there is no resource %q", name)
	}
	r := &out.Resources[i]
	cuts := []int64{w.Start, w.End}
	for _, l := range r.Levels {
		cuts = append(cuts, l.At)
	}
	slices.Sort(cuts)
	was := *r
	r.Levels = nil
	for _, t := range slices.Compact(cuts) {
		c := capacityAt(&was, t)
		if w.Start <= t && t < w.End {
			c = min(c+by, Forever)
		}
		r.Levels = append(r.Levels, Level{At: t, Capacity: c})
	}
	return nil
}

func capacityAt(r *Resource, t int64) int64 {
	c := r.Capacity
	for _, l := range r.Levels {
		if l.At <= t {
			c = l.Capacity
		}
	}
	return c
}

// oneMore adds a vessel like that at index v, empty and clean, and a mode in it beside each mode in v.
func oneMore(out *Instance, v int) {
	name := out.Vessels[v].Name
	other := name + " (one more)"
	for slices.ContainsFunc(out.Vessels, func(w Vessel) bool { return w.Name == other }) {
		other += "'"
	}
	out.Vessels = append(out.Vessels, Vessel{Name: other, Setup: out.Vessels[v].Setup})
	added := map[[2]string]string{}
	for i := range out.Activities {
		a := &out.Activities[i]
		if a.Fixed != nil && a.Fixed.Started {
			continue
		}
		for _, m := range a.Modes {
			k := slices.IndexFunc(m.Uses, func(u Use) bool { return u.Vessel == name })
			if k < 0 {
				continue
			}
			twin := m
			twin.Uses = slices.Clone(m.Uses)
			twin.Uses[k].Vessel = other
			for twin.Name = m.Name + " (" + other + ")"; a.hasMode(twin.Name); {
				twin.Name += "'"
			}
			added[[2]string{a.Name, m.Name}] = twin.Name
			a.Modes = append(a.Modes, twin)
		}
	}
	for i := range out.Links {
		l := &out.Links[i]
		l.Pairs = slices.Clip(l.Pairs)
		for _, pair := range l.Pairs {
			x, first := added[[2]string{l.First, pair[0]}]
			y, second := added[[2]string{l.Second, pair[1]}]
			switch {
			case first && second:
				l.Pairs = append(l.Pairs, [2]string{x, y})
			case first:
				l.Pairs = append(l.Pairs, [2]string{x, pair[1]})
			case second:
				l.Pairs = append(l.Pairs, [2]string{pair[0], y})
			}
		}
	}
}

// words says in plain words and engine units what an edit changes.
func (e *Edit) words() string {
	switch e.Kind {
	case EditDeadline:
		return fmt.Sprintf("let %s end %d later", e.Subject, e.By)
	case EditHorizon:
		return fmt.Sprintf("let the horizon end %d later", e.By)
	case EditRelease:
		return fmt.Sprintf("let %s begin %d earlier", e.Subject, e.By)
	case EditLag:
		return fmt.Sprintf("let %d more pass between %s and %s", e.By, e.Subject, e.Other)
	case EditOpen:
		return fmt.Sprintf("open %s in [%d, %d)", e.Subject, e.Window.Start, e.Window.End)
	case EditUp:
		return fmt.Sprintf("have %s in service in [%d, %d)", e.Subject, e.Window.Start, e.Window.End)
	case EditVessel:
		text := fmt.Sprintf("have one more vessel like %s", e.Subject)
		if e.Window.Start < e.Window.End {
			text += fmt.Sprintf(" in [%d, %d)", e.Window.Start, e.Window.End)
		}
		return text
	case EditCapacity:
		return fmt.Sprintf("have %d more of %s in [%d, %d)", e.By, e.Subject, e.Window.Start, e.Window.End)
	case EditUnpin:
		return fmt.Sprintf("release %s from its pinned start", e.Subject)
	case EditOut:
		return fmt.Sprintf("leave out %s and what needs it", e.Subject)
	case EditPromise:
		return fmt.Sprintf("let %s go before others", e.Subject)
	}
	return e.Subject
}
