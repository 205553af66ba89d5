package sched

// Stability weighs calm in Replan against the other parts of the objective.
type Stability struct {
	// MoveWeight is the cost of each unit of time by which a start moves; ModeWeight that of another mode.
	MoveWeight, ModeWeight int64
	// Frozen pins activities of the published plan that start within this time after now (people have begun to prepare
	// them); zero pins none. A pin that the instance no longer permits makes the problem infeasible, and the report
	// says so.
	Frozen int64
}

// Follow returns a copy of the instance prepared for a new plan at the moment now: activities that are not fixed may
// not start before now, and are tied to their place in the published plan by the stability weights (kept where the
// instance already names a previous place). Started activities are given by the caller as Fixed with Started.
func Follow(in Instance, published Plan, now int64, st Stability) Instance {
	out := in
	out.Activities = append([]Activity(nil), in.Activities...)
	place := make(map[string]*Assignment, len(published.Assignments))
	for i := range published.Assignments {
		place[published.Assignments[i].Activity] = &published.Assignments[i]
	}
	for i := range out.Activities {
		a := &out.Activities[i]
		if a.Fixed != nil {
			continue
		}
		a.Release = max(a.Release, now)
		as := place[a.Name]
		if as == nil {
			continue
		}
		if a.Previous == nil {
			a.Previous = &Previous{Mode: as.Mode, Start: as.Start, MoveWeight: st.MoveWeight, ModeWeight: st.ModeWeight}
		}
		if st.Frozen > 0 && as.Start >= now && as.Start < now+st.Frozen && a.hasMode(as.Mode) {
			a.Fixed = &Fixed{Mode: as.Mode, Start: as.Start}
		}
	}
	return out
}

func (a *Activity) hasMode(name string) bool {
	for i := range a.Modes {
		if a.Modes[i].Name == name {
			return true
		}
	}
	return false
}

// Replan makes a new plan at the moment now, close to the published one: Solve on Follow, beginning from the published
// plan, so that the first answer comes after one pass. The instance carries the disturbances: vessels down, longer
// durations, later releases, started activities. A window that is down only before now needs no mention.
func Replan(in Instance, published Plan, now int64, st Stability, opt Options) (Plan, Report, error) {
	if opt.Warm == nil {
		opt.Warm = &published
	}
	return Solve(Follow(in, published, now, st), opt)
}
