package scheduling

import (
	"fmt"
	"strings"

	"rondeau.internal/pkg/sched"
)

// boundReasons says in the words of the kitchen why no schedule can be less late than the bound.
func (x *instance) boundReasons(reasons []sched.BoundReason) []string {
	var out []string
	for _, r := range reasons {
		switch {
		case r.Kind == sched.WaitLag && r.Cost > 0:
			out = append(out, "some batches would be late even in an empty kitchen: deliveries, durations, waits and shifts alone take longer than until they are due.")
		case r.Kind == sched.WaitVessel:
			out = append(out, x.scarce(x.allVessels(r.Vessels), r))
		case r.Kind == sched.WaitResource:
			out = append(out, x.scarce(x.resourceWords(strings.TrimSuffix(r.Resource, onShift)), r))
		}
	}
	return out
}

func (x *instance) scarce(what string, r sched.BoundReason) string {
	text := fmt.Sprintf("more work asks for %s than can be done there, most of all from %s to %s", what, x.when(x.from(r.From)), x.when(x.from(r.To)))
	if r.Cost > 0 {
		return text + "; that alone makes batches late."
	}
	return text + "; together with the rest that makes batches late."
}

// allVessels names vessels that share work, the many in short.
func (x *instance) allVessels(names []string) string {
	words := make([]string, 0, len(names))
	for _, name := range names {
		if v := x.vessels[name]; v != nil {
			words = append(words, v.DisplayName)
		}
	}
	if n := len(words); n > 4 {
		return fmt.Sprintf("%s and %d vessels like it", words[0], n-1)
	}
	return strings.Join(words, ", ")
}
