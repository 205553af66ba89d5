package simmer

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"rondeau.internal/pkg/units"
)

// oneRun is a setup with readings of a wandering truth.
func oneRun(t testing.TB) (Setup, []Reading) {
	t.Helper()
	for seed := uint64(1); seed < 50; seed++ {
		rng := rand.New(rand.NewPCG(seed, 77))
		h := newTruth(rng, false)
		h.watched = byAll
		if seen, _, ok := h.run(rng, false); ok && len(seen) > 8 {
			return h.setup, seen
		}
	}
	t.Fatal("no run ends")
	return Setup{}, nil
}

func TestReadingsAreTakenInWithoutAllocation(t *testing.T) {
	s, seen := oneRun(t)
	tr, err := NewTracker(s)
	if err != nil {
		t.Fatal(err)
	}
	at := time.Duration(0)
	i := 0
	if n := testing.AllocsPerRun(50, func() {
		r := seen[i%len(seen)]
		i++
		at += 2 * time.Minute
		r.Elapsed = at
		if err := tr.Read(r); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("a reading allocates %v times", n)
	}
}

// The drift step is exact for a balance linear in temperature and of first order in the
// water it holds fixed: halving it halves the error, which at any length stays below 0.01 C
// in a bring-up of 40 minutes.
func TestMarchConverges(t *testing.T) {
	t.Parallel()
	s, _ := randomSetup(rand.New(rand.NewPCG(8, 8)))
	s.Load.Start = 20
	s.Duty = Duty{}
	p, err := newPlant(s.Vessel, s.Load, s.Duty, s.Conditions)
	if err != nil {
		t.Fatal(err)
	}
	d := drive{surface: 1, wall: 1, power: 1, hold: p.held.temp}
	const span = 2400.0
	reach := func(h float64) float64 {
		b := body{float64(s.Load.Liquid) * (1 - s.Load.Solids), 20, p.solids}
		for used := 0.0; used < span-1e-9; {
			used += p.drift(&b, &d, p.at(b.water), min(h, span-used))
		}
		return b.temp
	}
	a, b, c := reach(10), reach(5), reach(2.5)
	if order := math.Log2((a - b) / (b - c)); math.Abs(order-1) > 0.2 {
		t.Errorf("observed order %.2f", order)
	}
	for _, h := range []float64{600, 150, 40} {
		if off := math.Abs(reach(h) - c); off > 0.01 {
			t.Errorf("error %.4f C at steps of %g s", off, h)
		}
	}
}

// The eigenvectors rebuild the matrix, and refreshing without information draws from the
// prior whatever the particles were.
func TestRefreshingForgetsWhatNoReadingTold(t *testing.T) {
	t.Parallel()
	b := Uninformed()
	b.Correlation.PowerWall = 0.6
	a := b.covariance()
	before := a
	axes := eigen(&a)
	for i := range factors {
		for j := range factors {
			sum := 0.0
			for k := range factors {
				sum += axes[i][k] * a[k][k] * axes[j][k]
			}
			if math.Abs(sum-before[i][j]) > 1e-12 {
				t.Errorf("element %d %d came back as %g, was %g", i, j, sum, before[i][j])
			}
		}
	}
	c := cloud{now: make([]particle, 4000), rng: rand.New(rand.NewPCG(1, 1)), prior: b.mean()}
	for i := range c.now {
		c.now[i].factor = factorVector{0.9, 0.9, 0.9, 0.9}
	}
	var p probe
	p.prepare(b.covariance(), body{})
	c.refresh(&p)
	var mean factorVector
	var v factorMatrix
	for i := range c.now {
		for r := range factors {
			mean[r] += c.now[i].factor[r] / 4000
		}
	}
	for i := range c.now {
		f := &c.now[i].factor
		for r := range factors {
			for s := range factors {
				v[r][s] += (f[r] - mean[r]) * (f[s] - mean[s]) / 4000
			}
		}
	}
	got := beliefOf(mean, v)
	if math.Abs(got.Power.Log) > 0.02 || math.Abs(got.Power.Spread-b.Power.Spread) > 0.02 || math.Abs(got.Correlation.PowerWall-0.6) > 0.05 {
		t.Errorf("refreshed to %+v", got)
	}
}

// Whatever is read, there is an error or a finite forecast, and a belief that Check
// accepts.
func FuzzTracker(f *testing.F) {
	f.Add(int64(600e9), 0.2, uint8(0), 0.0, 0.5, int64(900e9))
	f.Add(int64(1200e9), 80.0, uint8(2), 0.4, 1.0, int64(0))
	f.Add(int64(1), 1e-300, uint8(3), 1e-9, 0.01, int64(1e15))
	f.Add(int64(3600e9), math.Inf(1), uint8(4), math.NaN(), -1.0, int64(-5))
	f.Fuzz(func(t *testing.T, at int64, value float64, which uint8, sigma, share float64, later int64) {
		s := Setup{
			Vessel: Vessel{Geometry: Geometry{Shape: Hemispherical, Diameter: 0.7, Height: 0.65}, Power: 30e3},
			Load:   Load{Liquid: 90, Solids: 0.04, Start: 80}, Conditions: Kitchen(), End: EndPoint{Mass: 60},
			Particles: 128, Horizon: 20 * time.Hour,
		}
		tr, err := NewTracker(s)
		if err != nil {
			t.Fatal(err)
		}
		r := Reading{Elapsed: time.Duration(at), Sigma: sigma}
		switch which % 5 {
		case 0:
			r.Level = units.Length(value)
		case 1:
			r.Volume = units.Volume(value)
		case 2:
			r.Mass = units.Mass(value)
		case 3:
			r.Solids = value
		default:
			r.Temperature = units.Celsius(value)
		}
		for range 3 {
			if tr.Read(r) != nil {
				break
			}
		}
		_ = tr.SetDuty(tr.Now(), Duty{PowerShare: share})
		_ = tr.Advance(time.Duration(later))
		got, err := tr.Finish(0)
		if err != nil {
			t.Fatal(err)
		}
		if err := got.Belief.Check(); err != nil {
			t.Fatalf("belief: %v", err)
		}
		for _, v := range []float64{float64(got.Liquid), float64(got.LiquidSpread), got.Evaporation, got.Reached, got.ByChance, got.Change.Chance, got.Change.Power, float64(got.Change.Hold)} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("not finite: %+v", got)
			}
		}
		if !(0 <= got.Early && got.Early <= got.Likely && got.Likely <= got.Late && got.Late <= s.Horizon) {
			t.Fatalf("interval %v %v %v", got.Early, got.Likely, got.Late)
		}
	})
}

func BenchmarkRead(b *testing.B) {
	s, seen := oneRun(b)
	b.ReportAllocs()
	var tr *Tracker
	i := len(seen)
	for b.Loop() {
		if i == len(seen) {
			b.StopTimer()
			i = 0
			var err error
			if tr, err = NewTracker(s); err != nil {
				b.Fatal(err)
			}
			b.StartTimer()
		}
		if err := tr.Read(seen[i]); err != nil {
			b.Fatal(err)
		}
		i++
	}
}

func BenchmarkFinish(b *testing.B) {
	s, seen := oneRun(b)
	tr, err := NewTracker(s)
	if err != nil {
		b.Fatal(err)
	}
	for _, r := range seen[:len(seen)/2] {
		if err := tr.Read(r); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		tr.finishes = tr.finishes[:0]
		if _, err := tr.Finish(0); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkNewTracker(b *testing.B) {
	s, _ := oneRun(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := NewTracker(s); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkReduceBelieving(b *testing.B) {
	s, _ := oneRun(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ReduceBelieving(s.Vessel, s.Load, s.Duty, s.Conditions, s.End, Settings{}, s.Prior, 0); err != nil {
			b.Fatal(err)
		}
	}
}
