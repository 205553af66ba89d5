package foodsafety

import (
	"slices"
	"strings"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/units"
)

// newsDelay is how long after a deadline the service waits for a reading on its way before it counts the limit as not
// shown. It equals the tolerance for the clocks of devices.
const newsDelay = ClockTolerance

// Verdict is what is known about one limit.
type Verdict string

// The verdicts.
const (
	VerdictPending  Verdict = "PENDING"   // not reached, time left
	VerdictMet      Verdict = "MET"       // shown to be reached in time
	VerdictMissed   Verdict = "MISSED"    // shown not to be reached in time
	VerdictNotShown Verdict = "NOT_SHOWN" // the time is over and no reading shows it
)

// Judgement is what the readings of a chill say about its limits.
type Judgement struct {
	ClockStart  time.Time // zero while the food is above the start temperature
	Stages      []StageJudgement
	LongestGap  time.Duration // longest silence of a probe while the limits were not all met
	GapExceeded bool
	At          time.Time // moment of judging
	Summary     string
	Cautions    []string // of the judging of single probes, sorted
}

// StageJudgement is the judgement of one limit.
type StageJudgement struct {
	StageID     string
	DisplayName string
	Text        string
	Target      float64 // degrees of the rule
	Within      time.Duration
	Verdict     Verdict
	Deadline    time.Time // zero while the clock has not started
	MetTime     time.Time // first reading at or below after which none was above; zero while not met
	Elapsed     time.Duration
}

// Missed says that a limit was missed or not shown to be met.
func (j *Judgement) Missed() bool {
	return slices.ContainsFunc(j.Stages, func(s StageJudgement) bool {
		return s.Verdict == VerdictMissed || s.Verdict == VerdictNotShown
	})
}

// Met says that every limit was shown to be met in time.
func (j *Judgement) Met() bool {
	return len(j.Stages) > 0 && !slices.ContainsFunc(j.Stages, func(s StageJudgement) bool { return s.Verdict != VerdictMet })
}

// Judge says what samples in any order, up to the moment now, show about limits. Each probe is judged by package chill,
// and the slowest counts. Doubt counts against the food:
//
//   - The clock starts at the last sample at or above the start temperature before the first one below it; at the start
//     of the chill when the food was below already, or for longer than the profile's longest silence before it was seen
//     hot; at the last sample when longer silence than that follows it. The earliest start of any probe counts.
//
//   - A limit is met at the first sample at or below it after which no sample is above it again before the last limit
//     is reached. Samples after that no longer count: keeping food cold is another rule.
//
//   - Readings without a probe belong to the series of every probe.
//
//   - When the time is over and no sample shows that the limit was met, it is not shown, which counts as missed.
//
//   - A limit that a probe shows to be reached by a fall too fast for food, as of a probe that slipped into the air, is not
//     shown until a reading by hand confirms it.
//
// Neglected: how the temperature ran between two samples.
func Judge(p *LimitsProfile, start time.Time, samples []Sample, now time.Time) Judgement {
	return judge(p, start, time.Time{}, samples, now)
}

// judge is Judge with patience: until that moment a limit that no sample shows to be met is pending, because the
// samples of a chill that was entered late are still to come. What samples show to be missed is missed at once.
func judge(p *LimitsProfile, start, patience time.Time, samples []Sample, now time.Time) Judgement {
	all := series(samples)
	j := Judgement{At: now, Stages: make([]StageJudgement, len(p.Stages))}
	for i, s := range p.Stages {
		j.Stages[i] = StageJudgement{StageID: s.ID, DisplayName: s.DisplayName, Text: p.Text(s), Target: s.Target, Within: s.Within, Verdict: VerdictPending}
	}
	probes := make([]probeResult, 0, len(all))
	for _, list := range all {
		r := judgeSeries(p, start, list, now)
		j.Cautions = append(j.Cautions, r.cautions...)
		probes = append(probes, r)
		if !r.clock.IsZero() && (j.ClockStart.IsZero() || r.clock.Before(j.ClockStart)) {
			j.ClockStart = r.clock
		}
	}
	if len(all) == 0 && !now.Before(start) {
		j.ClockStart = start // nobody looked: the food may have been below at once
	}
	slices.Sort(j.Cautions)
	j.Cautions = slices.Compact(j.Cautions)
	for i := range j.Stages {
		j.weigh(i, probes)
		if j.Stages[i].Verdict == VerdictNotShown && !now.After(patience) {
			j.Stages[i].Verdict = VerdictPending
		}
	}
	until := j.Stages[len(j.Stages)-1].MetTime
	if until.IsZero() {
		until = now
	}
	j.LongestGap = longestGap(start, all, until)
	j.GapExceeded = j.LongestGap > p.MaxGap
	j.Summary = summary(&j)
	return j
}

// weigh judges one limit from what each probe shows and the common clock.
func (j *Judgement) weigh(i int, probes []probeResult) {
	s := &j.Stages[i]
	open, proven := len(probes) == 0, false
	for _, r := range probes {
		st := r.stages[i]
		open = open || st.Left.IsZero() || st.Unconfirmed
		proven = proven || st.Verdict == chill.Failed && st.Proven
		if st.Left.After(s.MetTime) {
			s.MetTime = st.Left
		}
	}
	if open {
		s.MetTime = time.Time{}
	}
	if j.ClockStart.IsZero() {
		return
	}
	s.Deadline = j.ClockStart.Add(s.Within)
	until := s.MetTime
	if open {
		until = j.At
	}
	s.Elapsed = max(0, until.Sub(j.ClockStart))
	switch {
	case proven:
		s.Verdict = VerdictMissed
	case !open && !s.MetTime.After(s.Deadline):
		s.Verdict = VerdictMet
	case !open: // the food passed the limit in a silence that the deadline lies in, or the probes disagree
		s.Verdict = VerdictNotShown
	case j.At.After(s.Deadline.Add(newsDelay)):
		s.Verdict = VerdictNotShown
	}
}

// probeResult is what one series shows.
type probeResult struct {
	clock    time.Time // zero while the food is above the start temperature
	stages   []chill.StageResult
	cautions []string
}

// judgeSeries judges the readings of one probe, which are in order and not empty.
func judgeSeries(p *LimitsProfile, start time.Time, list []Sample, now time.Time) probeResult {
	readings := make([]chill.Reading, len(list))
	for i, s := range list {
		readings[i] = reading(s)
	}
	began := start
	if list[0].At.Before(began) {
		began = list[0].At
	}
	limits := p.limits()
	hot := slices.IndexFunc(list, func(s Sample) bool { return !p.belowStart(s.Temperature) })
	if hot > 0 && list[hot].At.Sub(began) > p.MaxGap {
		// Package chill takes readings before the first hot one for a probe not yet in the food. For so long it may have
		// been in the food, so the clock runs from the start of the chill whatever came later.
		for i := range limits.Stages {
			limits.Stages[i].From = units.Temperature{Degrees: highestStart, Scale: p.Scale}
		}
	}
	last := list[len(list)-1].At
	at := now
	if at.Before(last) {
		at = last // the clocks of devices differ a little
	}
	judged, err := chill.Judge(limits, readings, chill.Options{Now: at, Began: began, MaxGap: p.MaxGap})
	if err != nil {
		// Limits and readings were checked before they were stored; if they cannot be judged, nothing is shown.
		return probeResult{clock: began, stages: make([]chill.StageResult, len(p.Stages)), cautions: []string{"The readings cannot be judged: " + err.Error()}}
	}
	r := probeResult{clock: judged.Stages[0].Entered, stages: judged.Stages, cautions: judged.Cautions}
	if r.clock.IsZero() && now.Sub(last) > p.MaxGap {
		r.clock = last
	}
	return r
}

// reading is a sample for package chill, which believes a fall that is too fast for food only when a hand confirms it.
func reading(s Sample) chill.Reading {
	return chill.Reading{At: s.At, Temperature: units.InCelsius(float64(s.Temperature)), ByHand: s.Probe == ""}
}

// highestStart is a start temperature, in degrees of either scale, that no reading reaches: every reading is below it.
const highestStart = 400

// limits are the limits of the profile for package chill.
func (p *LimitsProfile) limits() chill.Limits {
	l := chill.Limits{Name: p.DisplayName, Source: p.Source, Stages: make([]chill.Stage, len(p.Stages))}
	for i, s := range p.Stages {
		l.Stages[i] = chill.Stage{
			Name: s.ID, From: units.Temperature{Degrees: p.Start, Scale: p.Scale}, To: units.Temperature{Degrees: s.Target, Scale: p.Scale}, Within: s.Within,
		}
	}
	return l
}

// series sorts samples into one series per probe, each with the hand-held readings among its own; only hand-held ones
// make one series. A probe without samples has no series.
func series(samples []Sample) [][]Sample {
	byProbe := map[string][]Sample{}
	for _, s := range samples {
		byProbe[s.Probe] = append(byProbe[s.Probe], s)
	}
	byHand := byProbe[""]
	probes := make([]string, 0, len(byProbe))
	for probe := range byProbe {
		if probe != "" || len(byProbe) == 1 {
			probes = append(probes, probe)
		}
	}
	slices.Sort(probes)
	all := make([][]Sample, 0, len(probes))
	for _, probe := range probes {
		list := slices.Clone(byProbe[probe])
		if probe != "" {
			list = append(list, byHand...)
		}
		// At the same moment the warmer sample comes last, so that it is the one that counts.
		slices.SortStableFunc(list, func(a, b Sample) int {
			if c := a.At.Compare(b.At); c != 0 {
				return c
			}
			switch {
			case a.Temperature < b.Temperature:
				return -1
			case a.Temperature > b.Temperature:
				return 1
			}
			return 0
		})
		all = append(all, list)
	}
	return all
}

// longestGap is the longest silence of a series between the start of the chill and until.
func longestGap(start time.Time, all [][]Sample, until time.Time) time.Duration {
	longest := time.Duration(0)
	if len(all) == 0 {
		return max(0, until.Sub(start))
	}
	for _, list := range all {
		from := start
		for _, s := range list {
			if s.At.After(until) {
				break
			}
			longest = max(longest, s.At.Sub(from))
			from = s.At
		}
		longest = max(longest, until.Sub(from))
	}
	return longest
}

// summary puts the judgement in words.
func summary(j *Judgement) string {
	parts := make([]string, 0, len(j.Stages)+1)
	if j.ClockStart.IsZero() {
		parts = append(parts, "the clock has not started, the food is still above the start temperature")
	}
	for _, s := range j.Stages {
		switch s.Verdict {
		case VerdictMet:
			parts = append(parts, s.Text+": met after "+durationText(s.Elapsed))
		case VerdictMissed:
			if s.MetTime.IsZero() {
				parts = append(parts, s.Text+": missed, still above it after "+durationText(s.Elapsed))
			} else {
				parts = append(parts, s.Text+": missed, reached only after "+durationText(s.Elapsed))
			}
		case VerdictNotShown:
			parts = append(parts, s.Text+": no reading shows that it was met in time")
		default:
			if s.Deadline.IsZero() {
				parts = append(parts, s.Text+": not yet")
			} else {
				parts = append(parts, s.Text+": not yet, "+durationText(s.Deadline.Sub(j.At))+" left")
			}
		}
	}
	if j.GapExceeded {
		parts = append(parts, "watched too thinly, longest silence "+durationText(j.LongestGap))
	}
	return strings.Join(parts, "; ")
}
