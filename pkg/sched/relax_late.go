package sched

import (
	"fmt"
	"slices"
)

// ExplainLate says what would bring a late activity of a plan in time. It first asks for a plan in which the activity
// is in time and nobody else is later than now; then why there is none and which changes would make one. If it can be in
// time at the cost of others, one remedy is an EditPromise. Possible says that a plan exists in which nobody pays, which
// the search had missed: it is then the plan of the only remedy. Remedies are measured by solves that begin from the
// plan. For an activity that has started there are none: only its facts can change.
func ExplainLate(in Instance, plan Plan, activity string, opt ExplainOptions) (Explanation, error) {
	if err := in.Validate(); err != nil {
		return Explanation{}, err
	}
	a := activityNamed(&in, activity)
	if a == nil || a.DueWeight <= 0 {
		return Explanation{}, fmt.Errorf("activity %q does not exist or has no due time: name a late activity of the plan", activity)
	}
	if a.Fixed != nil && a.Fixed.Started {
		return Explanation{}, nil
	}
	late := Forever
	if as := plan.of(activity); as != nil {
		late = as.End - a.Due
	}
	x := newExplainer(opt)
	own := Edit{Kind: EditPromise, Subject: activity}
	punctual, err := in.Apply(own)
	if err != nil {
		return Explanation{}, err
	}
	calm := deepCopy(&punctual)
	for i := range calm.Activities {
		b := &calm.Activities[i]
		as := plan.of(b.Name)
		if b.Name == activity || b.DueWeight <= 0 || as == nil {
			continue
		}
		now := max(b.Due, as.End, 1)
		if b.Deadline <= 0 || b.Deadline > now {
			b.Deadline = now
		}
	}
	warm := &plan
	about := []Conflict{{Kind: ConflictWindow, Activities: []string{activity}}} // where to look first
	if found, rep, err := x.try(&calm, warm); err != nil {
		return Explanation{}, err
	} else if len(found.Assignments) > 0 {
		out := Explanation{Possible: true, Remedies: []Remedy{{Edits: []Edit{own}, Verified: true, Plan: found}}}
		x.finishLate(&in, &out, own, late)
		return out, nil
	} else if first, hard, err := x.try(&punctual, warm); err != nil {
		return Explanation{}, err
	} else if len(first.Assignments) > 0 {
		out := x.explain(&calm, append(about, rep.Conflicts...), warm)
		out.Remedies = append(out.Remedies, Remedy{Edits: []Edit{own}, Verified: true, Plan: first})
		x.finishLate(&in, &out, own, late)
		return out, nil
	} else {
		out := x.explain(&punctual, append(about, hard.Conflicts...), warm)
		x.finishLate(&in, &out, own, late)
		return out, nil
	}
}

// try solves with the budget of a measurement.
func (x *explainer) try(in *Instance, warm *Plan) (Plan, Report, error) {
	found := false
	return Solve(*in, Options{
		Seed: x.opt.Seed, Iterations: x.opt.Measure, Warm: warm, Incumbent: func(Plan, Report) { found = true },
		Stop: func() bool { return found || x.opt.Stop != nil && x.opt.Stop() },
	})
}

// finishLate measures remedies of a late activity on the instance itself, held to be in time.
func (x *explainer) finishLate(in *Instance, out *Explanation, own Edit, late int64) {
	base, err := in.Apply(own)
	if err != nil {
		return
	}
	// A deadline of its own that is no earlier than where it ends now is no remedy, nor is not making it, or what it is made
	// of.
	out.Remedies = slices.DeleteFunc(out.Remedies, func(r Remedy) bool {
		if slices.ContainsFunc(r.Edits, func(e Edit) bool { return e.Kind == EditDeadline && e.Subject == own.Subject && e.By >= late }) {
			return true
		}
		changed, err := in.Apply(r.Edits...)
		return err == nil && activityNamed(&changed, own.Subject) == nil
	})
	x.measure(&base, out, nil)
}
