package sched

import "slices"

// CoreInstance is what is left of an instance when only the reasons of a core count, without one of them (-1: all).
func CoreInstance(in Instance, c Core, drop int) Instance {
	named := map[string]bool{}
	for i, r := range c.Reasons {
		if (r.Kind == ReasonActivity || r.Kind == ReasonNoMode) && i != drop {
			named[r.Subject] = true
		}
	}
	small := some(&in, func(a *Activity) bool { return named[a.Name] })
	limits := limitsOf(&small)
	var keep []int
	for i := range limits {
		if slices.ContainsFunc(c.Reasons, func(r Reason) bool {
			l := &limits[i]
			return r.Kind == l.Kind && r.Subject == l.Subject && r.Other == l.Other && r.Amount == l.Amount && r.Message == l.Message &&
				(drop < 0 || r.Message != c.Reasons[drop].Message)
		}) {
			keep = append(keep, i)
		}
	}
	return without(&small, limits, keep)
}
