package planning

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"rondeau.internal/pkg/explode"
)

const (
	unlimitedKg = 1e9 // stands for "no upper limit" where a finite number is needed
	maxFits     = 64  // kept ranges; more would not change a plan that anybody could read
)

// fit is a range of batch sizes, in kilograms of output before yield, that a choice of vessels can make.
type fit struct {
	min, max float64
	vessels  []string // display names, one per limiting step
}

// fits returns the ranges of batch size for which every step finds a vessel of its classes, narrowed step by step from
// [least, most]; most 0 means no limit. Nil means that nothing limits the size. The problem text is empty when a batch
// is possible.
func fits(steps []Step, least, most float64, vessels map[string][]Vessel) (ranges []fit, problem string) {
	if most == 0 {
		most = unlimitedKg
	}
	ranges = []fit{{min: least, max: most}}
	for i := range steps {
		step := &steps[i]
		if len(step.VesselClasses) == 0 {
			continue
		}
		candidates, any := stepFits(step, vessels)
		if !any {
			return nil, fmt.Sprintf("step %q needs a vessel of class %s, and the kitchen has none: add one or change the step",
				step.DisplayName, strings.Join(step.VesselClasses, " or "))
		}
		var next []fit
		for _, r := range ranges {
			for _, c := range candidates {
				lo, hi := max(r.min, c.min), min(r.max, c.max)
				if lo <= hi && hi > 0 {
					next = append(next, fit{lo, hi, slices.Concat(r.vessels, c.vessels)})
				}
			}
		}
		if len(next) == 0 {
			return nil, fmt.Sprintf("no size of batch fits step %q (%s) together with the steps before it (%s): change the limits of the batch or the vessels",
				step.DisplayName, rangesText(candidates), rangesText(ranges))
		}
		ranges = prune(next)
	}
	if len(ranges) == 1 && ranges[0].min == 0 && ranges[0].max >= unlimitedKg {
		return nil, ""
	}
	return ranges, ""
}

// stepFits returns the range of batch size of each vessel that can do a step, and whether there is any vessel.
func stepFits(step *Step, vessels map[string][]Vessel) (out []fit, any bool) {
	for _, class := range step.VesselClasses {
		for _, v := range vessels[class] {
			any = true
			f := fit{max: unlimitedKg}
			if step.FillLitersPerKg > 0 {
				f.min = v.MinFillLiters / step.FillLitersPerKg
				if v.MaxFillLiters > 0 {
					f.max = v.MaxFillLiters / step.FillLitersPerKg
				}
			}
			if step.LoadKgPerKg > 0 && v.LoadCapacityKg > 0 {
				f.max = min(f.max, v.LoadCapacityKg/step.LoadKgPerKg)
			}
			if f.min <= f.max {
				f.vessels = []string{v.DisplayName}
				out = append(out, f)
			}
		}
	}
	return out, any
}

// prune drops ranges that lie inside another one, and all but the widest when there are very many.
func prune(ranges []fit) []fit {
	slices.SortStableFunc(ranges, func(a, b fit) int {
		if a.min != b.min {
			return cmp.Compare(a.min, b.min)
		}
		return cmp.Compare(b.max, a.max)
	})
	var out []fit
	reach := math.Inf(-1)
	for _, r := range ranges {
		if r.max > reach { // every range before begins no later, so one that reaches as far contains this one
			out = append(out, r)
			reach = r.max
		}
	}
	if len(out) > maxFits {
		out = out[len(out)-maxFits:]
	}
	return out
}

func rangesText(ranges []fit) string {
	texts := make([]string, 0, len(ranges))
	for _, r := range ranges {
		upper := "any"
		if r.max < unlimitedKg {
			upper = fmt.Sprintf("%.4g", r.max)
		}
		texts = append(texts, fmt.Sprintf("%.4g to %s kg", r.min, upper))
	}
	if len(texts) == 0 {
		return "no vessel can be filled right"
	}
	return strings.Join(texts, ", ")
}

// sizingVessels turns ranges in kilograms into candidates in units of unitKg kilograms.
func sizingVessels(ranges []fit, unitKg float64) []explode.Vessel {
	var out []explode.Vessel
	for _, r := range ranges {
		id := strings.Join(r.vessels, ", ")
		if id == "" {
			id = "any vessel"
		}
		out = append(out, explode.Vessel{ID: id, MinFill: r.min / unitKg, MaxFill: r.max / unitKg})
	}
	return out
}

// largestKg returns the largest batch that the ranges allow, or fallback when nothing limits it.
func largestKg(ranges []fit, fallback float64) float64 {
	largest := 0.0
	for _, r := range ranges {
		largest = max(largest, r.max)
	}
	if largest == 0 || largest >= unlimitedKg {
		return fallback
	}
	return largest
}
