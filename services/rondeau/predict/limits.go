package predict

import (
	"strings"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/units"
)

// profiles by the word of --profile.
var profiles = []struct {
	word string
	of   func() chill.Limits
}{
	{"food-code", chill.FoodCode2022},
	{"food-code-ambient", chill.FoodCodeAmbient},
	{"fsis", chill.FSISOption1},
	{"uk", chill.UKCookChill},
	{"fsanz", chill.FSANZ},
}

// ProfileWords are the words of --profile. The caller owns the slice.
func ProfileWords() []string {
	words := make([]string, 0, len(profiles)+1)
	for _, p := range profiles {
		words = append(words, p.word)
	}
	return append(words, Own)
}

// limits reads --profile and --limit.
func (r *reader) limits(profile string, own []string) chill.Limits {
	if profile == "" && len(own) > 0 {
		profile = Own
	}
	word := r.choice("--profile", profile, "food-code", ProfileWords()...)
	if word == Own {
		return r.ownLimits(own)
	}
	if len(own) > 0 {
		r.fault("--limit", own[0], "is for --profile own; leave out --profile or --limit")
	}
	for _, p := range profiles {
		if p.word == word {
			l := p.of()
			if profile == "" {
				r.assume("profile", l.Name, "--profile; "+l.Source)
			} else {
				r.assume("limits", l.Name, l.Source)
			}
			return l
		}
	}
	return chill.FoodCode2022()
}

func (r *reader) ownLimits(own []string) chill.Limits {
	const shape = "give from, to and the time allowed, such as 60C,21C,2h"
	l := chill.Limits{Name: "your own limits", Source: "as given"}
	if len(own) == 0 {
		r.fault("--limit", "", "is missing for --profile own; %s", shape)
		return l
	}
	for _, text := range own {
		parts := strings.Split(text, ",")
		if len(parts) != 3 {
			r.fault("--limit", text, "is not understood; %s", shape)
			return l
		}
		from, errFrom := units.ParseTemperature(parts[0])
		to, errTo := units.ParseTemperature(parts[1])
		within, errWithin := units.ParseDuration(parts[2])
		if errFrom != nil || errTo != nil || errWithin != nil {
			r.fault("--limit", text, "is not understood; %s", shape)
			return l
		}
		l.Stages = append(l.Stages, chill.Stage{Name: from.String() + " to " + to.String(), From: from, To: to, Within: within})
		if from.Celsius() > 100 || to.Celsius() < -40 || within > 14*24*time.Hour {
			r.fault("--limit", text, "is out of range: temperatures from -40 C to 100 C, times up to 14 days; %s", shape)
			return l
		}
	}
	if err := l.Check(); err != nil {
		r.fault("--limit", strings.Join(own, " "), "%v", err)
	}
	return l
}
