package planning

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"
)

// stepTimes are the times of steps by the physics of the kitchen's vessels, by stepKey.
type stepTimes map[string]StepTime

func stepKey(owner, step string) string { return owner + "/steps/" + step }

// physical says whether the vessel decides how long the step takes.
func (s *Step) physical() bool { return s.Simmer != nil || s.Reduce != nil || s.Chill != nil }

// of returns the time of a step of a formula version or product, if its physics are known.
func (t stepTimes) of(owner string, s *Step) (StepTime, bool) {
	found := t[stepKey(owner, s.ID)]
	return found, s.physical() && found.Possible && found.Shortest > 0 && found.Longest >= found.Shortest
}

// duration returns the time that planning counts for a step at a batch of outputKg, set-up and waits not included. Which vessel
// the step gets is for the schedule to say, so it is the middle between the fastest and the slowest; a simmer never takes less than
// its hold. Without physics the formula's own time counts.
func (t stepTimes) duration(owner string, s *Step, outputKg float64) time.Duration {
	found, known := t.of(owner, s)
	if !known {
		return s.duration(outputKg)
	}
	middle := (found.Shortest + (found.Longest-found.Shortest)/2).Round(time.Minute)
	if s.Simmer != nil {
		middle = max(middle, s.Simmer.Hold)
	}
	return min(middle, maxStepHours*time.Hour)
}

// sum returns set-up, steps and least waits from the first step to the end of the last.
func (t stepTimes) sum(owner string, steps []Step, outputKg float64) time.Duration {
	var sum time.Duration
	for i := range steps {
		sum += steps[i].Setup + t.duration(owner, &steps[i], outputKg)
		if i < len(steps)-1 {
			sum += steps[i].MinWait
		}
	}
	return sum
}

// gatherStepTimes asks scheduling once how long the steps take that physics decide. A plan is worth more than exact times: when
// there is no answer, the times typed in the formulas count, and the plan says so.
func (s *Service) gatherStepTimes(ctx context.Context, f *facts) {
	questions := f.stepQuestions()
	if len(questions) == 0 {
		return
	}
	times, err := s.scheduling.StepTimes(ctx, f.site.Name, questions)
	f.times, f.untimed = times, err != nil
}

// stepQuestions asks for every physical step of the plan's formulas and products: of formulas at their base output, of products at
// their largest batch, both brought to a size that the vessels can make.
func (f *facts) stepQuestions() []StepQuestion {
	var out []StepQuestion
	add := func(owner string, steps []Step, least, most, wanted float64) {
		ranges, _ := fits(steps, least, most, f.vessels) // a size that fits nowhere is reported when the network is built
		outputKg := min(nearestKg(ranges, wanted), maxBatchKg)
		for i := range steps {
			if s := &steps[i]; s.physical() && len(s.VesselClasses) > 0 {
				out = append(out, StepQuestion{
					Key: stepKey(owner, s.ID), Step: s, FillLiters: s.FillLitersPerKg * outputKg, LoadKg: s.LoadKgPerKg * outputKg, OutputKg: outputKg,
				})
			}
		}
	}
	for _, v := range f.versions {
		add(v.Name, v.Steps, v.MinBatchKg, v.MaxBatchKg, v.BaseOutputKg)
	}
	for _, p := range f.products {
		if !f.planned(p) {
			continue
		}
		least, most := float64(max(p.MinBatch, 1))*p.NetMassKg, float64(p.MaxBatch)*p.NetMassKg
		ranges, _ := fits(p.Steps, least, most, f.vessels)
		add(p.Name, p.Steps, least, most, largestKg(ranges, max(least, most)))
	}
	return out
}

// nearestKg returns the size of batch nearest to the wanted one that the ranges allow.
func nearestKg(ranges []fit, wanted float64) float64 {
	nearest, distance := wanted, math.Inf(1)
	for _, r := range ranges {
		size := min(max(wanted, r.min), r.max)
		if d := math.Abs(size - wanted); d < distance {
			nearest, distance = size, d
		}
	}
	return nearest
}

// noteStepTimes tells which typed times no vessel can keep, and when the physics are not known at all.
func (b *problem) noteStepTimes() {
	if b.f.untimed {
		b.note("scheduling does not say how long steps take in the vessels: the durations typed in the formulas are counted. Plan again when it answers")
		return
	}
	for _, v := range b.f.versions {
		b.noteTooShort(v.Name, b.f.formulas[v.Name], "formula", v.Steps)
	}
	for _, p := range b.f.products {
		if b.f.planned(p) {
			b.noteTooShort(p.Name, p.DisplayName, "product", p.Steps)
		}
	}
}

func (b *problem) noteTooShort(owner, title, kind string, steps []Step) {
	for i := range steps {
		s := &steps[i]
		found, known := b.f.times.of(owner, s)
		if !known || s.PlanningDuration == nil || *s.PlanningDuration <= 0 || *s.PlanningDuration >= found.Shortest {
			continue
		}
		why := ""
		if found.Basis != "" {
			why = " (slowest: " + found.Basis + ")"
		}
		b.note("%s of %s takes %s in the vessels there are and the plan counts %s; its %s counts %s: correct the %s%s",
			s.DisplayName, title, spread(found.Shortest, found.Longest), lasting(b.f.times.duration(owner, s, 0)), kind, lasting(*s.PlanningDuration), kind, why)
	}
}

// spread writes a span of durations; one when both read the same.
func spread(shortest, longest time.Duration) string {
	from, to := lasting(shortest), lasting(longest)
	if from == to {
		return from
	}
	return from + " to " + to
}

// lasting writes a duration as people say it: "45 min", "6 h 30 min", "2 d 4 h 5 min".
func lasting(d time.Duration) string {
	minutes := int(d.Round(time.Minute) / time.Minute)
	var parts []string
	for _, unit := range []struct {
		minutes int
		name    string
	}{{24 * 60, "d"}, {60, "h"}, {1, "min"}} {
		if n := minutes / unit.minutes; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, unit.name))
			minutes %= unit.minutes
		}
	}
	if len(parts) == 0 {
		return "less than 1 min"
	}
	return strings.Join(parts, " ")
}
