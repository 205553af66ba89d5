package scheduling

import (
	"context"
	"fmt"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
)

// Question asks how long a step takes that belongs to no batch yet. Of the step, classes of vessel, a physical duration
// model and the sizes matter.
type Question struct {
	// Key finds the answer; no two questions of a call share one.
	Key  string
	Step Step
}

// StepTime is how long a step takes over all vessels that can do it, without set-up, in whole minutes.
type StepTime struct {
	Key      string
	Possible bool
	// Shortest and Longest are 0 when it is not possible.
	Shortest, Longest time.Duration
	// Basis says how Longest came about.
	Basis string
	// Refusal says why no vessel can do it; empty when one can.
	Refusal string
}

// EstimateStepTimes answers for steps without a batch, in the order of the questions: by the physics of the vessels and
// what runs have shown of them. Vessels that are down count, because a plan is made for weeks; retired ones do not. Where
// the physics are not known the answer is that it is not possible, never what somebody typed.
func (s *Service) EstimateStepTimes(ctx context.Context, site string, questions []Question) ([]StepTime, error) {
	if err := checkQuestions(questions); err != nil {
		return nil, err
	}
	facts, err := s.planning.Site(ctx, site)
	if err != nil {
		return nil, err
	}
	var vessels []Vessel
	var limits KitchenLimits
	err = s.store.InReadTx(ctx, func(ctx context.Context) error {
		var err error
		if vessels, err = s.store.ListVessels(ctx, ListQuery{Parent: site, Limit: everything}); err != nil {
			return err
		}
		limits, err = s.Limits(ctx, site+"/kitchenLimits")
		return err
	})
	if err != nil {
		return nil, err
	}
	e := newEstimator(facts, limits)
	out := make([]StepTime, 0, len(questions))
	for _, q := range questions {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("estimate step times: %w", err)
		}
		answer := e.over(q.Step, vessels)
		answer.Key = q.Key
		out = append(out, answer)
	}
	return out, nil
}

func checkQuestions(questions []Question) error {
	err := apierr.InvalidArgument(Malformed, "the steps cannot be estimated as they are; correct the fields named").With("field", "steps")
	first := map[string]int{}
	for i, q := range questions {
		field := fmt.Sprintf("steps[%d]", i)
		if at, seen := first[q.Key]; seen {
			err.WithViolation(field+".key", "%q is the key of steps[%d] already: give each step its own", q.Key, at)
		}
		first[q.Key] = i
	}
	if len(err.Violations) > 0 {
		return err
	}
	return nil
}

// over is the span of times of a step over the vessels of its classes.
func (e *estimator) over(s Step, vessels []Vessel) StepTime {
	var out StepTime
	var refusals []string
	for i := range vessels {
		v := &vessels[i]
		if !contains(s.VesselClasses, v.Class) {
			continue
		}
		w := e.physical(s, *v)
		if w.refusal != "" {
			refusals = append(refusals, v.DisplayName+": "+w.refusal)
			continue
		}
		took := max(roundUp(w.duration), time.Minute)
		if !out.Possible || took < out.Shortest {
			out.Shortest = took
		}
		if took > out.Longest {
			out.Longest, out.Basis = took, w.basis
		}
		out.Possible = true
	}
	switch {
	case out.Possible:
	case len(refusals) == 0:
		out.Refusal = "the kitchen has no vessel of class " + strings.Join(s.VesselClasses, " or ")
	default:
		out.Refusal = strings.Join(refusals, "; ")
	}
	return out
}

// physical is the time of a step by the physics of a vessel alone.
func (e *estimator) physical(s Step, v Vessel) working {
	if why := fits(s, v); why != "" {
		return working{refusal: why}
	}
	model := e.physics(s.Duration)
	if model == nil {
		return working{refusal: "no physics decide how long the step takes"}
	}
	w, err := model(s, v)
	if err != nil {
		return working{refusal: err.Error()}
	}
	return w
}

// physics is the model that decides a duration, or nil.
func (e *estimator) physics(d DurationModel) func(Step, Vessel) (working, error) {
	switch {
	case d.Simmer != nil:
		return e.simmer
	case d.Reduce != nil:
		return e.reduce
	case d.Chill != nil:
		return e.chill
	}
	return nil
}
