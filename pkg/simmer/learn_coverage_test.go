package simmer

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"rondeau.internal/pkg/units"
)

// The hidden truth: the full Kettle, cut into pieces of ten minutes between which surface
// and power wander, with factors, load and marks drawn from the belief, and with a third
// of the runs changed once in their heat.
type truth struct {
	setup   Setup // as the tracker sees it
	vessel  Vessel
	cond    Conditions
	load    Load
	duty    Duty
	marks   float64
	sigma   [5]float64
	change  changeKind
	at      time.Duration // of the change
	after   Duty          // told
	factor  float64       // real power share over the one told, after the change
	watched watched
}

type changeKind int

const (
	unchanged changeKind = iota
	told
	untold
	changeKinds
)

// watched is the kind of readings of a run.
type watched int

const (
	byLevel watched = iota
	byVolume
	byMass
	bySolids
	byAll
	watchedKinds
)

var (
	changeNames  = [...]string{"unchanged", "told", "untold"}
	watchedNames = [...]string{"level", "volume", "mass", "solids", "mixed"}
)

// misfit makes the truth worse than the tracker believes: factors 1.5 times, wander twice
// as wide.
type misfit bool

func newTruth(rng *rand.Rand, wide misfit) truth {
	between := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	s, typical := randomSetup(rng)
	s.Prior = typical.Prior
	spread := 1.0
	if wide {
		spread = 1.5
	}
	if s.Duty.Hold == 0 {
		s.Duty.PowerShare = 0.74
		s.Vessel.Power /= 0.74
	}
	draw := func(f Factor) float64 { return math.Exp(f.Log + spread*f.Spread*rng.NormFloat64()) }
	h := truth{setup: s, vessel: s.Vessel, cond: s.Conditions, load: s.Load, duty: s.Duty, factor: 1}
	h.cond.Activity = Activity(math.Min(draw(s.Prior.Surface), 2.9))
	h.vessel.Power = units.Power(float64(s.Vessel.Power) * draw(s.Prior.Power))
	h.vessel.WallLoss *= draw(s.Prior.Wall)
	h.marks = draw(s.Prior.Marks)
	h.load.Liquid *= units.Mass(math.Exp(0.01 * rng.NormFloat64()))
	h.load.Solids *= math.Exp(0.03 * rng.NormFloat64())
	h.load.Start += units.Celsius(rng.NormFloat64())
	h.watched = watched(rng.IntN(int(watchedKinds)))
	h.sigma = [5]float64{
		float64(UsualLevelError), UsualVolumeError * float64(s.Load.Liquid) / 960, UsualMassError * float64(s.Load.Liquid),
		UsualSolidsError, UsualTemperatureError,
	}
	if rng.IntN(3) > 0 {
		return h
	}
	h.change = told
	if rng.IntN(2) == 0 {
		h.change = untold
	}
	h.after = h.duty
	down := rng.Float64() < 0.75
	switch {
	case h.duty.Hold == 0 && down:
		h.after.PowerShare *= between(0.5, 0.85)
	case h.duty.Hold == 0:
		h.after.PowerShare *= between(1.1, 1.35)
	case down:
		h.after.Hold -= units.Celsius(between(2, 9))
	default:
		h.after.Hold += units.Celsius(between(1, 1.9))
	}
	if h.duty.Hold == 0 {
		h.factor = math.Exp(toldSpread * rng.NormFloat64())
	}
	return h
}

// reading of a state, with noise and, one time in twenty, a slip.
func (h *truth) reading(rng *rand.Rand, s State) Reading {
	k := kind(h.watched)
	if h.watched == byAll {
		k = kind(rng.IntN(5))
	}
	off := h.sigma[k] * rng.NormFloat64()
	slip := 1.0
	if rng.Float64() < 0.05 {
		slip = 1 + 0.1 + 0.4*rng.Float64()
		if rng.IntN(2) == 0 {
			slip = 1 / slip
		}
	}
	read := func(v float64) float64 { return math.Max(1e-6, v*slip+off) }
	r := Reading{Elapsed: s.Elapsed}
	switch k {
	case levelKind:
		r.Level = units.Length(read(float64(s.Level) * h.marks))
	case volumeKind:
		r.Volume = units.Volume(read(float64(s.Volume) * h.marks))
	case massKind:
		r.Mass = units.Mass(read(float64(s.Liquid)))
	case solidsKind:
		r.Solids = read(s.Solids)
	default:
		r.Temperature = units.Celsius(read(float64(s.Temperature)))
	}
	return r
}

// run lives the truth and returns all readings and the true finish; false when it does
// not end.
func (h *truth) run(rng *rand.Rand, wide misfit) ([]Reading, time.Duration, bool) {
	plain, err := Reduce(h.vessel, h.load, h.duty, h.cond, h.setup.End, Settings{})
	if err != nil || !plain.Reached || plain.Time < 20*time.Minute {
		return nil, 0, false
	}
	if h.change != unchanged {
		h.at = time.Duration((0.05 + 0.9*rng.Float64()) * float64(plain.Time))
	}
	wander := 0.02 * math.Sqrt(1.0/6)
	if wide {
		wander *= 2
	}
	gap := func() time.Duration { return time.Duration((0.3 + 1.4*rng.Float64()) / 30 * float64(plain.Time)) }
	var seen []Reading
	const slice = 10 * time.Minute
	clock, nextRead, nextSlice := time.Duration(0), gap(), slice
	load, duty, vessel, cond := h.load, h.duty, h.vessel, h.cond
	changed := h.change == unchanged
	for clock < 96*time.Hour {
		to := min(nextRead, nextSlice)
		if !changed {
			to = min(to, h.at)
		}
		out, err := Reduce(vessel, load, duty, cond, h.setup.End, Settings{Horizon: max(to-clock, time.Microsecond)})
		if err != nil {
			return nil, 0, false
		}
		if out.Reached {
			return seen, clock + out.Time, true
		}
		clock = to
		load.Liquid, load.Solids, load.Start = out.Final.Liquid, out.Final.Solids, out.Final.Temperature
		if clock == nextRead {
			out.Final.Elapsed = clock
			seen = append(seen, h.reading(rng, out.Final))
			nextRead += gap()
		}
		if clock == nextSlice {
			nextSlice += slice
			vessel.Power *= units.Power(math.Exp(wander * rng.NormFloat64()))
			cond.Activity = min(cond.Activity*Activity(math.Exp(wander*rng.NormFloat64())), 3)
		}
		if !changed && clock == h.at {
			changed = true
			duty = h.after
			vessel.Power *= units.Power(h.factor)
			duty.PowerShare = math.Min(duty.PowerShare, 1)
		}
	}
	return nil, 0, false
}

// verdict of one simulated run.
type verdict struct {
	covered, early bool
	miss           float64 // |likely - true| over the true total time
	width          float64 // late - early over the true total time
	change         changeKind
	pastHalf       bool // the change came after the forecast
	boil           bool
	watched        watched
	noticed        bool
}

// simulate lives one run and forecasts it at half of its true time.
func simulate(seed uint64, wide misfit) (verdict, error) {
	rng := rand.New(rand.NewPCG(seed, 77))
	for range 50 {
		h := newTruth(rng, wide)
		seen, end, ok := h.run(rng, wide)
		if !ok {
			continue
		}
		t, err := NewTracker(h.setup)
		if err != nil {
			return verdict{}, err
		}
		half := end / 2
		toldYet := false
		tell := func(by time.Duration) error {
			if h.change != told || toldYet || h.at > by {
				return nil
			}
			toldYet = true
			return t.SetDuty(h.at, h.after)
		}
		for _, r := range seen {
			if r.Elapsed > half {
				break
			}
			if err := tell(r.Elapsed); err != nil {
				return verdict{}, err
			}
			if err := t.Read(r); err != nil {
				return verdict{}, err
			}
		}
		if err := tell(half); err != nil {
			return verdict{}, err
		}
		if err := t.Advance(half); err != nil {
			return verdict{}, err
		}
		f, err := t.Finish(0)
		if err != nil {
			return verdict{}, err
		}
		total := float64(end)
		return verdict{
			covered: f.Early <= end && end <= f.Late, early: end < f.Early,
			miss: math.Abs(float64(f.Likely)-total) / total, width: float64(f.Late-f.Early) / total,
			change: h.change, pastHalf: h.change != unchanged && h.at > half, boil: h.duty.Hold == 0, watched: h.watched,
			noticed: f.Change.Noticed(),
		}, nil
	}
	return verdict{}, fmt.Errorf("seed %d: no run ends", seed)
}

// tally of a group of runs.
type tally struct {
	runs, covered, early, noticed int
	misses, widths                []float64
}

func (t *tally) add(v verdict) {
	t.runs++
	if v.covered {
		t.covered++
	}
	if v.early {
		t.early++
	}
	if v.noticed {
		t.noticed++
	}
	t.misses = append(t.misses, v.miss)
	t.widths = append(t.widths, v.width)
}

func middle(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	x = slices.Sorted(slices.Values(x))
	return x[len(x)/2]
}

func (t *tally) coverage() float64 { return float64(t.covered) / float64(t.runs) }

func (t *tally) String() string {
	return fmt.Sprintf("%4d runs, covered %.1f %% (earlier %.1f %%), median miss %.2f %%, median width %.1f %%, change noticed %.0f %%",
		t.runs, 100*t.coverage(), 100*float64(t.early)/float64(t.runs), 100*middle(t.misses), 100*middle(t.widths), 100*float64(t.noticed)/float64(t.runs))
}

// documented compares a group with its row in learn_doc.go. A particle filter draws, and a
// last digit elsewhere changes its draws: a share may differ by two and a half standard
// errors of a sample of that size, a median by as many times 5 % of itself at 100 runs.
func (t *tally) documented(tb testing.TB, name string) {
	tb.Helper()
	data, err := os.ReadFile("learn_doc.go")
	if err != nil {
		tb.Fatal(err)
	}
	_, row, found := strings.Cut(string(data), "\n//\t"+name+"  ")
	row, _, _ = strings.Cut(row, "\n")
	var runs int
	var covered, miss, width float64
	if _, err := fmt.Sscan(row, &runs, &covered, &miss, &width); !found || err != nil {
		tb.Errorf("learn_doc.go has no row %q (%v)", name, err)
		return
	}
	n := float64(t.runs)
	share, median := 2.5*0.4/math.Sqrt(n), math.Max(0.05, 2.5*0.5/math.Sqrt(n))
	if math.Abs(float64(runs)/n-1) > 0.05 || math.Abs(covered/100-t.coverage()) > share+0.0005 ||
		math.Abs(miss-100*middle(t.misses)) > median*miss || math.Abs(width-100*middle(t.widths)) > median*width {
		tb.Errorf("learn_doc.go says of %q: %d %.1f %.1f %.1f, measured %v", name, runs, covered, miss, width, t)
	}
}

// simulateMany runs seeds 1 to n on two goroutines; results are in the order of seeds.
func simulateMany(t *testing.T, n int, wide misfit) []verdict {
	t.Helper()
	out := make([]verdict, n)
	errs := make([]error, n)
	var wg sync.WaitGroup
	for part := range 2 {
		wg.Go(func() {
			for i := part; i < n; i += 2 {
				out[i], errs[i] = simulate(uint64(i+1), wide)
			}
		})
	}
	wg.Wait()
	for i, err := range errs {
		if err != nil {
			t.Fatalf("run %d: %v", i, err)
		}
	}
	return out
}

// At half of the true time, the interval of 80 % holds the true finish in 75 to 85 % of a
// thousand runs, and the median miss is below 5 % of the total time.
func TestIntervalsHoldTheTruth(t *testing.T) {
	t.Parallel()
	n := 1000
	if testing.Short() {
		n = 200
	}
	var all tally
	groups := map[string]*tally{}
	into := func(name string, v verdict) {
		if groups[name] == nil {
			groups[name] = &tally{}
		}
		groups[name].add(v)
	}
	for _, v := range simulateMany(t, n, false) {
		all.add(v)
		name := changeNames[v.change]
		if v.change != unchanged {
			name += map[bool]string{true: ", after the forecast", false: ", before the forecast"}[v.pastHalf]
		}
		into("change: "+name, v)
		into("read: "+watchedNames[v.watched], v)
		into(map[bool]string{true: "duty: boil", false: "duty: below the boil"}[v.boil], v)
	}
	groups["all"] = &all
	for _, name := range slices.Sorted(maps.Keys(groups)) {
		t.Logf("%-36s %v", name, groups[name])
		if !testing.Short() {
			groups[name].documented(t, name)
		}
	}
	slack := 0.05
	if testing.Short() {
		slack = 0.09
	}
	if c := all.coverage(); math.Abs(c-0.8) > slack {
		t.Errorf("the 80 %% interval covers %.1f %%", 100*c)
	}
	if m := middle(all.misses); m >= 0.05 {
		t.Errorf("median miss %.2f %%", 100*m)
	}
}

// The same with a truth that is wider than the tracker believes.
func TestIntervalsUnderAWiderTruth(t *testing.T) {
	t.Parallel()
	n := 150
	if testing.Short() {
		n = 50
	}
	var all tally
	for _, v := range simulateMany(t, n, true) {
		all.add(v)
	}
	t.Logf("%-36s %v", "wider truth", &all)
	if !testing.Short() {
		all.documented(t, "wider truth")
	}
	if c := all.coverage(); c < 0.65 {
		t.Errorf("the 80 %% interval covers %.1f %%", 100*c)
	}
}
