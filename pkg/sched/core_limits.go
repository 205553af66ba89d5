package sched

import (
	"fmt"
	"slices"
)

// limitsOf lists the limits of an instance that can be dropped, those first that an explanation should rather name: what
// a manager can move before what the process or safety asks for.
func limitsOf(in *Instance) []Reason {
	var out []Reason
	add := func(kind ReasonKind, subject, other string, at int, amount int64, w Span, format string, args ...any) {
		out = append(out, Reason{Kind: kind, Subject: subject, Other: other, at: at, Amount: amount, Window: w, Message: fmt.Sprintf(format, args...)})
	}
	eachActivity(in, func(i int, a *Activity) {
		if a.Deadline > 0 && a.Deadline <= in.Horizon.End {
			add(ReasonDeadline, a.Name, "", i, 0, Span{0, a.Deadline}, "%s must have ended by %d", a.Name, a.Deadline)
		}
	})
	add(ReasonHorizon, "horizon", "", 0, 0, in.Horizon, "everything must have ended by %d", in.Horizon.End)
	for i := range in.Lags {
		if l := &in.Lags[i]; l.HasMax {
			add(ReasonLongest, l.From, l.To, i, l.Max, Span{}, "at most %d may pass between %s and %s%s", l.Max, l.From, l.To, why(l))
		}
	}
	usedC, usedV, usedR := used(in)
	for i := range in.Calendars {
		if c := &in.Calendars[i]; usedC[c.Name] {
			add(ReasonCalendar, c.Name, "", i, 0, Span{}, "%s is closed at times", c.Name)
		}
	}
	for i := range in.Vessels {
		if v := &in.Vessels[i]; usedV[v.Name] > 0 && len(v.Down) > 0 {
			add(ReasonDown, v.Name, "", i, 0, v.Down[0], "%s is out of service at times, first in [%d, %d)", v.Name, v.Down[0].Start, v.Down[0].End)
		}
	}
	for i := range in.Vessels {
		if v := &in.Vessels[i]; usedV[v.Name] > 1 {
			add(ReasonVessel, v.Name, "", i, 1, Span{}, "%s serves one activity at a time", v.Name)
		}
	}
	for i := range in.Resources {
		if r := &in.Resources[i]; usedR[r.Name] {
			add(ReasonCapacity, r.Name, "", i, mostOf(r), Span{}, "there are at most %d of %s", mostOf(r), r.Name)
		}
	}
	eachActivity(in, func(i int, a *Activity) {
		if a.Release > in.Horizon.Start {
			add(ReasonRelease, a.Name, "", i, 0, Span{a.Release, 0}, "%s may not begin before %d", a.Name, a.Release)
		}
	})
	eachActivity(in, func(i int, a *Activity) {
		if a.Fixed != nil && !a.Fixed.Started {
			add(ReasonPin, a.Name, "", i, 0, Span{a.Fixed.Start, 0}, "%s is pinned to begin at %d", a.Name, a.Fixed.Start)
		}
	})
	for i, h := range in.Holds {
		add(ReasonHold, h.Activity, h.Until, i, 0, Span{}, "the vessel of %s stays occupied until %s begins", h.Activity, h.Until)
	}
	for i, s := range in.Stores {
		add(ReasonStore, s.Producer, s.Consumer, i, s.Amount, Span{}, "what %s makes takes %d of %s until it is used", s.Producer, s.Amount, s.Resource)
	}
	for i := range in.Vessels {
		if v := &in.Vessels[i]; usedV[v.Name] > 0 && v.Setup != "" {
			add(ReasonCleaning, v.Name, "", i, 0, Span{}, "%s is cleaned between materials", v.Name)
		}
	}
	for i := range in.Lags {
		if l := &in.Lags[i]; l.Min > 0 {
			add(ReasonShortest, l.From, l.To, i, l.Min, Span{}, "at least %d must pass between %s and %s%s", l.Min, l.From, l.To, why(l))
		}
	}
	for i, l := range in.Links {
		add(ReasonLink, l.First, l.Second, i, 0, Span{}, "%s and %s go together in some modes only", l.First, l.Second)
	}
	return out
}

func eachActivity(in *Instance, f func(int, *Activity)) {
	for i := range in.Activities {
		if a := &in.Activities[i]; a.Fixed == nil || !a.Fixed.Started {
			f(i, a)
		}
	}
}

func why(l *Lag) string {
	if l.Why == "" {
		return ""
	}
	return " (" + l.Why + ")"
}

func mostOf(r *Resource) int64 {
	most := r.Capacity
	for _, l := range r.Levels {
		most = max(most, l.Capacity)
	}
	return most
}

// used lists what the activities of an instance can use: calendars, vessels (by how many activities), resources.
func used(in *Instance) (calendars map[string]bool, vessels map[string]int, resources map[string]bool) {
	calendars, vessels, resources = map[string]bool{}, map[string]int{}, map[string]bool{}
	setups := map[string]bool{}
	for i := range in.Activities {
		a := &in.Activities[i]
		mine := map[string]bool{}
		for k := range a.Modes {
			m := &a.Modes[k]
			if m.Start+m.End > 0 {
				calendars[m.AttendedCalendar] = true
			}
			if m.Middle > 0 {
				calendars[m.UnattendedCalendar] = true
			}
			for _, u := range m.Uses {
				mine[u.Vessel] = true
			}
			for _, n := range m.Needs {
				resources[n.Resource] = true
			}
		}
		for v := range mine {
			vessels[v]++
		}
	}
	for i := range in.Stores {
		resources[in.Stores[i].Resource] = true
	}
	for i := range in.Vessels {
		if vessels[in.Vessels[i].Name] > 0 {
			setups[in.Vessels[i].Setup] = true
		}
	}
	for i := range in.Setups {
		if s := &in.Setups[i]; setups[s.Name] {
			calendars[s.Calendar] = true
			for _, n := range s.Needs {
				resources[n.Resource] = true
			}
		}
	}
	delete(calendars, "")
	return calendars, vessels, resources
}

// deepCopy copies what changes of limits touch.
func deepCopy(in *Instance) Instance {
	out := *in
	out.Vessels = slices.Clone(in.Vessels)
	out.Calendars = slices.Clone(in.Calendars)
	out.Resources = slices.Clone(in.Resources)
	out.Setups = slices.Clone(in.Setups)
	out.Activities = slices.Clone(in.Activities)
	out.Lags = slices.Clone(in.Lags)
	out.Holds = slices.Clone(in.Holds)
	out.Stores = slices.Clone(in.Stores)
	out.Links = slices.Clone(in.Links)
	for i := range out.Activities {
		out.Activities[i].Modes = slices.Clone(out.Activities[i].Modes)
	}
	return out
}

// without drops the limits of an instance that are not kept. Every plan of the instance is a plan of the result, up to
// the names of vessels.
func without(in *Instance, limits []Reason, keep []int) Instance {
	out := deepCopy(in)
	out.Weights = Weights{Makespan: 1}
	for i := range out.Activities {
		out.Activities[i].Due, out.Activities[i].DueWeight, out.Activities[i].Previous = 0, 0, nil
	}
	var holds, stores, links []int
	for i := range limits {
		if slices.Contains(keep, i) {
			continue
		}
		r := &limits[i]
		switch r.Kind {
		case ReasonDeadline:
			out.Activities[r.at].Deadline = 0
		case ReasonRelease:
			out.Activities[r.at].Release = 0
		case ReasonPin:
			out.Activities[r.at].Fixed = nil
		case ReasonHorizon:
			out.Horizon.End = endless(in)
		case ReasonLongest:
			out.Lags[r.at].HasMax = false
		case ReasonShortest:
			out.Lags[r.at].Min = 0
		case ReasonCalendar:
			dropCalendar(&out, r.Subject)
		case ReasonDown:
			out.Vessels[r.at].Down = nil
		case ReasonCleaning:
			out.Vessels[r.at].Setup, out.Vessels[r.at].State = "", ""
		case ReasonCapacity:
			out.Resources[r.at].Capacity, out.Resources[r.at].Levels = Forever, nil
		case ReasonHold:
			holds = append(holds, r.at)
		case ReasonStore:
			stores = append(stores, r.at)
		case ReasonLink:
			links = append(links, r.at)
		}
	}
	for i := range limits {
		if limits[i].Kind == ReasonVessel && !slices.Contains(keep, i) {
			oneEach(&out, limits[i].at)
		}
	}
	for k, h := range in.Holds {
		if slices.Contains(holds, k) {
			out.Lags = append(out.Lags, Lag{From: h.Activity, To: h.Until})
		}
	}
	for k, s := range in.Stores {
		if slices.Contains(stores, k) && s.Consumer != "" {
			out.Lags = append(out.Lags, Lag{From: s.Producer, To: s.Consumer})
		}
	}
	out.Holds = omit(out.Holds, holds)
	out.Stores = omit(out.Stores, stores)
	out.Links = omit(out.Links, links)
	return out
}

func omit[T any](items []T, at []int) []T {
	var out []T
	for i := range items {
		if !slices.Contains(at, i) {
			out = append(out, items[i])
		}
	}
	return out
}

// endless is an end of the horizon that leaves time for everything one after the other.
func endless(in *Instance) int64 {
	end := in.Horizon.End
	for i := range in.Activities {
		longest := int64(0)
		for k := range in.Activities[i].Modes {
			m := &in.Activities[i].Modes[k]
			longest = max(longest, m.Start+m.Middle+m.End)
		}
		end = max(end, in.Activities[i].Release) + longest
	}
	for i := range in.Lags {
		end += max(0, in.Lags[i].Min)
	}
	for i := range in.Calendars {
		for _, o := range in.Calendars[i].Open {
			end = max(end, o.End)
		}
	}
	for i := range in.Vessels {
		for _, d := range in.Vessels[i].Down {
			end = max(end, min(d.End, 4*in.Horizon.End))
		}
	}
	return min(2*end-in.Horizon.Start, Forever)
}

func dropCalendar(out *Instance, name string) {
	for i := range out.Activities {
		for k := range out.Activities[i].Modes {
			m := &out.Activities[i].Modes[k]
			if m.AttendedCalendar == name {
				m.AttendedCalendar = ""
			}
			if m.UnattendedCalendar == name {
				m.UnattendedCalendar = ""
			}
		}
	}
	for i := range out.Setups {
		if out.Setups[i].Calendar == name {
			out.Setups[i].Calendar = ""
		}
	}
}

// oneEach gives every activity a vessel of its own that is like the one at index v.
func oneEach(out *Instance, v int) {
	name := out.Vessels[v].Name
	for i := range out.Activities {
		a := &out.Activities[i]
		own := ""
		for k := range a.Modes {
			m := &a.Modes[k]
			for j := range m.Uses {
				if m.Uses[j].Vessel != name {
					continue
				}
				if own == "" {
					own = name + " for " + a.Name
					w := out.Vessels[v]
					w.Name = own
					out.Vessels = append(out.Vessels, w)
				}
				m.Uses = slices.Clone(m.Uses)
				m.Uses[j].Vessel = own
			}
		}
	}
}
