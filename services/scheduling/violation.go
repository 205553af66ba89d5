package scheduling

import (
	"fmt"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/sched/verify"
)

// mostViolations is how many broken rules an error lists.
const mostViolations = 50

// broken says which rules of the kitchen a schedule breaks, one violation each.
func (x *instance) broken(name string, violations []verify.Violation) error {
	err := apierr.FailedPrecondition(ScheduleBroken, "%s breaks %d rules of the kitchen as it is now, the first: %s Compute a new schedule",
		name, len(violations), x.violation(violations[0])).With("schedule", name)
	for i, v := range violations {
		if i == mostViolations {
			err.WithViolation(name, "and %d more", len(violations)-i)
			break
		}
		err.WithViolation(name, "%s", x.violation(v))
	}
	return err
}

// violation says in the manager's words what is wrong.
func (x *instance) violation(v verify.Violation) string {
	what, other := "A step", "another step"
	if len(v.Activities) > 0 {
		what = x.stepWords(v.Activities[0])
	}
	if len(v.Activities) > 1 {
		other = x.stepWords(v.Activities[1])
	}
	vessel := v.Vessel
	if known := x.vessels[v.Vessel]; known != nil {
		vessel = known.DisplayName
	}
	switch v.Kind {
	case verify.Missing:
		return what + " is not placed."
	case verify.Mode:
		return what + " cannot be done any more in the vessel or by the crew that it was given."
	case verify.Fixed:
		return what + " has begun at another time or in another vessel."
	case verify.Horizon:
		return what + " lies outside the time of the schedule."
	case verify.Release:
		return what + " would begin before it may."
	case verify.Calendar:
		return what + " lies outside the shifts, or takes another time than it was given."
	case verify.Lag:
		return fmt.Sprintf("The wait between %s and %s is not what the formula allows.", what, other)
	case verify.Hold, verify.Store:
		return fmt.Sprintf("%s would begin before %s has ended, or the vessel is not kept until then.", other, what)
	case verify.Overlap:
		return fmt.Sprintf("%s and %s would be in %s at the same time.", what, other, vessel)
	case verify.Down:
		return fmt.Sprintf("%s is planned into %s, which is out of service then.", what, vessel)
	case verify.Cleaning:
		return fmt.Sprintf("%s is not cleaned as it must be before %s.", vessel, what)
	case verify.Capacity:
		return fmt.Sprintf("There is not enough of %s while %s is under way.", x.resourceWords(v.Resource), what)
	case verify.Link:
		return fmt.Sprintf("%s and %s must be done in the same vessel.", what, other)
	}
	return fmt.Sprintf("%s breaks a rule (%s).", what, v.Kind)
}

func (x *instance) resourceWords(name string) string {
	if c := x.crews[name]; c != nil {
		return "the people of " + c.DisplayName
	}
	if v := x.vessels[name]; v != nil {
		return "the room in " + v.DisplayName
	}
	if name == "" {
		return "something"
	}
	return "the kitchen's " + name
}
