package simmer

import (
	"errors"
	"fmt"
)

// Phase is one part of a reduction: what the cook sets, and until when. A reduction in two
// phases boils hard until a solids fraction and goes on gently to the end.
type Phase struct {
	Duty  Duty
	Until EndPoint
}

// maxPhases that ReducePhases takes.
const maxPhases = 20

// ReducePhases runs the phases one after the other on the same contents and returns the
// whole and each phase. It ends with the phase that does not reach its end within the
// horizon, which counts for all phases together; Reached and By are those of the last
// phase run. An error in a phase comes with what was reached before.
func ReducePhases(v Vessel, l Load, phases []Phase, c Conditions, s Settings) (whole Outcome, parts []Outcome, err error) {
	if len(phases) == 0 {
		return Outcome{}, nil, errors.New("there are no phases: give at least one")
	}
	if len(phases) > maxPhases {
		return Outcome{}, nil, fmt.Errorf("%d phases are more than %d", len(phases), maxPhases)
	}
	if s, err = s.normal(); err != nil {
		return Outcome{}, nil, err
	}
	k, err := NewKettle(v, l, phases[0].Duty, c)
	if err != nil {
		return Outcome{}, nil, fmt.Errorf("phase 1: %w", err)
	}
	whole.First = k.State()
	parts = make([]Outcome, 0, len(phases))
	for i, p := range phases {
		if err = k.SetDuty(p.Duty); err != nil {
			return whole, parts, fmt.Errorf("phase %d: %w", i+1, err)
		}
		part, err := k.reduce(p.Until, s)
		if err != nil {
			return whole, parts, fmt.Errorf("phase %d: %w", i+1, err)
		}
		parts = append(parts, part)
		whole.append(part)
		s.Horizon -= part.Time
		if !part.Reached || s.Horizon <= 0 {
			break
		}
	}
	return whole, parts, nil
}

// append joins a later outcome to an earlier one.
func (o *Outcome) append(p Outcome) {
	o.Time += p.Time
	o.Reached, o.By, o.Final = p.Reached, p.By, p.Final
	o.Lost += p.Lost
	o.Evaporated += p.Evaporated
	if n := len(o.Series); n > 0 && len(p.Series) > 0 && o.Series[n-1].Elapsed == p.Series[0].Elapsed {
		o.Series = o.Series[:n-1] // the state at the change, under the new duty
	}
	o.Series = append(o.Series, p.Series...)
	o.Steps += p.Steps
	o.ErrorEstimate += p.ErrorEstimate
	o.Assumptions = union(o.Assumptions, p.Assumptions)
	o.Cautions = union(o.Cautions, p.Cautions)
}

func union(list, more []string) []string {
	for _, m := range more {
		known := false
		for _, l := range list {
			known = known || l == m
		}
		if !known {
			list = append(list, m)
		}
	}
	return list
}
