package microbe

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/units"
)

// rungeKutta is the classical fourth-order method on the two differential equations of
// Baranyi and Roberts as they are printed; it shares nothing with the exact solution.
func rungeKutta(rate func(float64) float64, at func(float64) float64, hours, h0, room float64, steps int) float64 {
	q, y := 1/(math.Exp(h0)-1), 0.0
	derivative := func(t, q, y float64) (dq, dy float64) {
		mu := rate(at(t))
		return mu * q, mu * q / (1 + q) * (1 - math.Exp(y-room))
	}
	h := hours / float64(steps)
	for i := range steps {
		t := float64(i) * h
		q1, y1 := derivative(t, q, y)
		q2, y2 := derivative(t+h/2, q+h/2*q1, y+h/2*y1)
		q3, y3 := derivative(t+h/2, q+h/2*q2, y+h/2*y2)
		q4, y4 := derivative(t+h, q+h*q3, y+h*y3)
		q += h / 6 * (q1 + 2*q2 + 2*q3 + q4)
		y += h / 6 * (y1 + 2*y2 + 2*y3 + y4)
	}
	return y / math.Ln10
}

func allCurves(t testing.TB) map[string]Curve {
	t.Helper()
	out := map[string]Curve{}
	for _, m := range RateModels() {
		c, err := m.Curve(Product{PH: 6.2, SaltPercent: 0.5})
		if err != nil {
			t.Fatal(err)
		}
		out[m.ID] = c
	}
	return out
}

func TestExactSolutionAgreesWithRungeKuttaAtFourthOrder(t *testing.T) {
	t.Parallel()
	for id, c := range allCurves(t) {
		// Inside the range of growth, where the rate is smooth.
		const from, to, hours, h0, room = 48.0, 20.0, 5.0, 4.4, 9.0
		line := func(t float64) float64 { return from + (to-from)*t/hours }
		rate := func(at float64) float64 { return c.Rate(units.Celsius(at)) }
		a := Accumulation{Curve: c, H0: h0, Room: room}
		a.begin(from)
		a.straight(from, to, hours)
		exact := a.Growth()
		coarse := math.Abs(rungeKutta(rate, line, hours, h0, room, 200) - exact)
		fine := math.Abs(rungeKutta(rate, line, hours, h0, room, 400) - exact)
		if order := math.Log2(coarse / fine); order < 3.85 || order > 4.15 {
			t.Errorf("%s: Runge-Kutta converges to the exact solution with order %.2f (errors %.2g, %.2g), want about 4", id, order, coarse, fine)
		}
		if best := rungeKutta(rate, line, hours, h0, room, 20000); math.Abs(best-exact) > 1e-10 {
			t.Errorf("%s: exact %.12f, Runge-Kutta with 20000 steps %.12f", id, exact, best)
		}
	}
}

// Regression values of the primary model with Le Marc's rate at pH 6.2 and 0.5 % salt,
// computed once by an independent stepwise program (arithmetic only, no publication).
func TestRegressionValuesOfCoolings(t *testing.T) {
	t.Parallel()
	curve := allCurves(t)["le-marc"]
	grow := func(h []Reading, h0, room float64) float64 {
		a := Accumulation{Curve: curve, H0: h0, Room: room * math.Ln10}
		a.begin(float64(h[0].Temperature))
		for i := 1; i < len(h); i++ {
			a.straight(float64(h[i-1].Temperature), float64(h[i].Temperature), h[i].At.Sub(h[i-1].At).Hours())
		}
		return a.Growth()
	}
	for _, c := range []struct {
		name    string
		history []Reading
		room    float64
		cautious,
		typical float64
	}{
		{"exponential 6.5 h", exponential(54.4, 7.2, 6.5), 5.5, 1.63, 1.26},
		{"exponential 9 h", exponential(54.4, 7.2, 9), 5.5, 2.83, 2.44},
		{"exponential 12 h", exponential(54.4, 7.2, 12), 5.5, 4.26, 3.88},
		{"exponential 15 h", exponential(54.4, 7.2, 15), 5.5, 5.30, 5.11},
		{"exponential 18 h", exponential(54.4, 7.2, 18), 5.5, 5.49, 5.48},
		{"exponential 21 h", exponential(54.4, 7.2, 21), 5.5, 5.50, 5.50},
		{"Food Code limit", corners(0, 57, 2, 21.1, 6, 5), 7, 0.75, 0.46},
		{"Appendix B option 1", corners(0, 54.4, 1.5, 26.7, 6.5, 4.4), 7, 0.99, 0.66},
		{"straight 6 h", corners(0, 48.9, 6, 12.8), 7, 3.80, 3.41},
		{"first phase 1 h", corners(0, 48.9, 1, 26.7, 6, 12.8, 11, 4.4), 7, 0.83, 0.52},
		{"first phase 1.5 h", corners(0, 48.9, 1.5, 26.7, 6.5, 12.8, 11.5, 4.4), 7, 1.44, 1.07},
		{"first phase 2 h", corners(0, 48.9, 2, 26.7, 7, 12.8, 12, 4.4), 7, 2.09, 1.70},
		{"first phase 3 h", corners(0, 48.9, 3, 26.7, 8, 12.8, 13, 4.4), 7, 3.40, 3.01},
		{"isothermal 45 C, 3 h", corners(0, 45, 3, 45), 7, 3.77, 3.38},
		{"slow pot", corners(0, 60, 8, 21, 20, 5), 7, 6.33, 6.00},
	} {
		if got := grow(c.history, 3.5, c.room); math.Abs(got-c.cautious) > 0.0051 {
			t.Errorf("%s, lag 3.5: %.4f, want %.2f", c.name, got, c.cautious)
		}
		if got := grow(c.history, 4.4, c.room); math.Abs(got-c.typical) > 0.0051 {
			t.Errorf("%s, lag 4.4: %.4f, want %.2f", c.name, got, c.typical)
		}
	}
	for at, want := range map[units.Celsius]float64{15: 0.049, 20: 0.373, 25: 0.979, 30: 1.819, 35: 2.788, 37: 3.170, 40: 3.674, 43: 4.007, 45: 4.062, 47: 3.917, 50: 3.146, 52: 2.108, 12.2: 0, 4: 0, 54.47: 0, 60: 0} {
		if got := curve.Rate(at); math.Abs(got-want) > 0.00051 {
			t.Errorf("rate at %v: %.4f 1/h, want %.3f", at, got, want)
		}
	}
}

// composite is Gauss-Legendre with three points on many pieces.
func composite(f func(float64) float64, from, to float64, pieces int) float64 {
	x := math.Sqrt(0.6)
	h := (to - from) / float64(pieces)
	sum := 0.0
	for i := range pieces {
		mid := from + (float64(i)+0.5)*h
		sum += h / 2 * (5*f(mid-h/2*x) + 8*f(mid) + 5*f(mid+h/2*x)) / 9
	}
	return sum
}

func TestPrimitivesAreIntegralsOfTheRates(t *testing.T) {
	t.Parallel()
	for id, c := range allCurves(t) {
		for _, tolerance := range []float64{0, 1, 2.5} {
			rate := func(at float64) float64 { return c.cautiousRate(at, at, tolerance) }
			for _, span := range [][2]float64{{-5, 70}, {15, 30}, {40, 48}, {11, 13}, {51, 56}, {20, 20.01}} {
				want := composite(rate, span[0], span[1], 20000)
				got := c.cautiousPrimitive(span[1], tolerance) - c.cautiousPrimitive(span[0], tolerance)
				if math.Abs(got-want) > 1e-6*max(1, want) {
					t.Errorf("%s, tolerance %g, %v: primitive %.9f, quadrature %.9f", id, tolerance, span, got, want)
				}
			}
		}
		if peak := c.Rate(units.Celsius(c.Opt)); math.Abs(peak-c.Peak) > 1e-9 || c.Rate(units.Celsius(c.Opt-0.1)) >= peak || c.Rate(units.Celsius(c.Opt+0.1)) >= peak {
			t.Errorf("%s: %.2f C is not the peak", id, c.Opt)
		}
	}
}

func TestPrimaryModelIsStableAtItsEnds(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ work, h0, room, want, tolerance float64 }{
		{0, 4, 10, 0, 0},
		{1e-12, 4, 10, 1e-12 * math.Exp(-4) * -math.Expm1(-10), 1e-22}, // y rises as q0/(1+q0)·mu·t·(1 - exp(y0-ymax))
		{1e6, 4, 10, 10, 1e-12}, // the ceiling
		{8, 0, 1e3, 8, 1e-12},   // no lag, no ceiling
		{20, 4, 1e3, 16, 1e-6},  // after the lag, no ceiling
		{4, 4, 1e3, math.Log(2 - math.Exp(-4)), 1e-12},
		{5.0000001, 4, 1e3, 5.0000001 - 4 + math.Log1p((1-math.Exp(-4))*math.Exp(-1.0000001)), 1e-12},
	} {
		if got := primary(c.work, c.h0, c.room); math.Abs(got-c.want) > c.tolerance {
			t.Errorf("work %g, lag %g, room %g: %.15g, want %.15g", c.work, c.h0, c.room, got, c.want)
		}
	}
	before := 0.0
	for work := 0.0; work < 60; work += 0.01 {
		y := primary(work, 4.4, 12)
		if y < before || y > 12 || math.IsNaN(y) {
			t.Fatalf("work %g: %g after %g", work, y, before)
		}
		before = y
	}
}

// random makes a history of a cooling with noise, uneven intervals and a gap now and then.
func random(r *rand.Rand, n int) []Reading {
	at, c := day, 40+30*r.Float64()
	out := make([]Reading, n)
	for i := range out {
		out[i] = Reading{at, units.Celsius(c)}
		step := time.Duration(1+r.IntN(600)) * time.Second
		if r.IntN(30) == 0 {
			step += time.Duration(r.IntN(5)) * time.Hour
		}
		at = at.Add(step)
		c = 3 + (c-3)*math.Exp(-0.4*step.Hours()) + r.NormFloat64()*0.3
	}
	return out
}

func TestStreamEqualsBatchAlsoAfterStorage(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	for range 50 {
		h := random(r, 20+r.IntN(200))
		p := Product{Category: Category(r.IntN(4)), PH: 5 + 2*r.Float64(), SaltPercent: 3 * r.Float64()}
		o := Options{Began: day.Add(-time.Hour)}
		batch, err := Growth(h, p, o)
		if err != nil {
			t.Fatal(err)
		}
		tracker, err := NewTracker(p, o)
		if err != nil {
			t.Fatal(err)
		}
		for i, reading := range h {
			if i == len(h)/2 {
				stored, err := json.Marshal(tracker)
				if err != nil {
					t.Fatal(err)
				}
				tracker = Tracker{}
				if err := json.Unmarshal(stored, &tracker); err != nil {
					t.Fatal(err)
				}
				if err := tracker.Check(); err != nil {
					t.Fatal(err)
				}
			}
			if err := tracker.Add(reading.At, reading.Temperature); err != nil {
				t.Fatal(err)
			}
		}
		stream := tracker.Result()
		if stream.Likely != batch.Likely || stream.Upper != batch.Upper || stream.Verdict != batch.Verdict || stream.GapTime != batch.GapTime || len(stream.Gaps) > len(batch.Gaps) {
			t.Fatalf("stream %+v, batch %+v", stream, batch)
		}
	}
}

func TestUpperIsNeverBelowLikelyAndGapsOnlyAdd(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 4))
	for range 300 {
		h := random(r, 60)
		p := Product{Category: Category(r.IntN(4))}
		full, err := Growth(h, p, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if full.Upper < full.Likely {
			t.Fatalf("upper %g below likely %g", full.Upper, full.Likely)
		}
		// Taking readings out of the middle of a monotone cooling must not lower the upper value.
		cooling := corners(0, 56, 1+3*r.Float64(), 25, 6+6*r.Float64(), 4)
		whole, err := Growth(cooling, p, Options{})
		if err != nil {
			t.Fatal(err)
		}
		from := 1 + r.IntN(len(cooling)-20)
		holed := append(append([]Reading{}, cooling[:from]...), cooling[from+7+r.IntN(10):]...)
		part, err := Growth(holed, p, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if part.Upper < whole.Upper-1e-12 {
			t.Fatalf("upper %g with a gap, %g without", part.Upper, whole.Upper)
		}
		if len(part.Gaps) != 1 {
			t.Fatalf("%d gaps, want 1: %+v", len(part.Gaps), part.Gaps)
		}
		// A wider tolerance of the probe cannot lower it either.
		wide, err := Growth(h, p, Options{ProbeTolerance: 2})
		if err != nil {
			t.Fatal(err)
		}
		if wide.Upper < full.Upper-1e-12 {
			t.Fatalf("upper %g within 2 C, %g within 1 C", wide.Upper, full.Upper)
		}
	}
}

func TestAShiftedHistoryWithinTheToleranceStaysBelowTheUpperValue(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(5, 6))
	for range 200 {
		h := corners(0, 56, 1+3*r.Float64(), 25, 6+6*r.Float64(), 4)
		shifted := make([]Reading, len(h))
		for i := range h {
			shifted[i] = Reading{h[i].At, h[i].Temperature + units.Celsius(2*r.Float64()-1)}
		}
		said, err := Growth(h, Product{}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		real, err := Growth(shifted, Product{}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if real.Likely > said.Upper {
			t.Fatalf("likely %g of the shifted history is above the upper value %g", real.Likely, said.Upper)
		}
	}
}

func TestNothingGrowsOutsideTheRange(t *testing.T) {
	t.Parallel()
	for _, h := range [][]Reading{corners(0, 12, 500, 12), corners(0, 3, 20, 4), corners(0, 60, 20, 60)} {
		r, err := Growth(h, Product{}, Options{ProbeTolerance: 0.1, Began: day})
		if err != nil {
			t.Fatal(err)
		}
		if r.Likely != 0 || r.Upper != 0 {
			t.Errorf("at %v: likely %g, upper %g", h[0].Temperature, r.Likely, r.Upper)
		}
	}
}

func TestSlowerCoolingGrowsMore(t *testing.T) {
	t.Parallel()
	for c := Stock; c <= Poultry; c++ {
		before := -1.0
		for hours := 2.0; hours < 30; hours += 0.5 {
			r, err := Growth(exponential(54.4, 7.2, hours), Product{Category: c}, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if r.Likely < before {
				t.Errorf("%v: %g h grows %g, less than a faster cooling", c, hours, r.Likely)
			}
			before = r.Likely
		}
	}
}

func TestVerdicts(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		history []Reading
		product Product
		options Options
		want    Verdict
		caution string
	}{
		{"a blast chill is within the limit", corners(0, 70, 1.5, 3), Product{}, Options{}, Met, CautionSafety},
		{"a slow pot is not", corners(0, 60, 8, 21, 20, 5), Product{}, Options{}, NotMet, CautionLimit},
		{"two and a half hours through the range are not decidable", corners(0, 57, 2.5, 21, 6, 5), Product{}, Options{}, NotDecidable, CautionModel},
		{"an unknown start is not decidable", corners(0, 40, 0.2, 10), Product{}, Options{}, NotDecidable, CautionStart},
		{"the same with the start known", corners(0, 40, 0.2, 10), Product{}, Options{Began: day.Add(-10 * time.Minute)}, Met, CautionGaps},
		{"food still warm is not decidable", corners(0, 57, 0.5, 30), Product{}, Options{}, NotDecidable, CautionGrowing},
		{"a gap through the range is not decidable", []Reading{{day, 60}, {day.Add(2 * time.Hour), 5}}, Product{}, Options{}, NotDecidable, CautionGaps},
		{"a cold history says nothing about the start", corners(0, 4, 5, 4), Product{}, Options{}, NotDecidable, CautionStart},
		{"one reading says nothing", []Reading{{day, 60}}, Product{}, Options{}, NotDecidable, CautionFewReadings},
		{"nitrite is not credited", corners(0, 70, 1.5, 3), Product{Cured: true}, Options{}, Met, CautionCured},
	} {
		r, err := Growth(c.history, c.product, c.options)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if r.Verdict != c.want {
			t.Errorf("%s: %v (%s; likely %.2f, upper %.2f), want %v", c.name, r.Verdict, r.Reason, r.Likely, r.Upper, c.want)
		}
		if !strings.Contains(strings.Join(r.Cautions, "\n"), c.caution) {
			t.Errorf("%s: caution %q is missing", c.name, c.caution)
		}
		for _, always := range []string{CautionSafety, CautionModel, CautionLimit, CautionBotulinum} {
			if !strings.Contains(strings.Join(r.Cautions, "\n"), always) {
				t.Errorf("%s: caution %q is missing", c.name, always)
			}
		}
	}
}

func TestAGapIsFilledWithTheTemperatureThatGrowsMost(t *testing.T) {
	t.Parallel()
	c := allCurves(t)["le-marc"]
	h := []Reading{{day, 60}, {day.Add(10 * time.Minute), 55}, {day.Add(70 * time.Minute), 20}, {day.Add(80 * time.Minute), 5}}
	tracker, err := NewTracker(Product{PH: 6.2, SaltPercent: 0.5}, Options{ProbeTolerance: 1e-9})
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range h {
		if err := tracker.Add(r.At, r.Temperature); err != nil {
			t.Fatal(err)
		}
		if i == 2 {
			// One hour that spans the optimum is one hour at the optimum.
			if got := tracker.Cautious.Work; math.Abs(got-c.Peak-composite(func(x float64) float64 { return c.Rate(units.Celsius(x)) }, 55, 60, 100)/5/6) > 1e-6 {
				t.Errorf("work %.6f, want %.6f", got, c.Peak)
			}
		}
	}
	r := tracker.Result()
	if len(r.Gaps) != 1 || r.Gaps[0].Low != 20 || r.Gaps[0].High != 55 || r.GapTime != time.Hour {
		t.Errorf("gaps %+v, %v", r.Gaps, r.GapTime)
	}
}

func TestInputsOutsideTheRangeAreMovedToFasterGrowth(t *testing.T) {
	t.Parallel()
	rate := func(p Product) float64 {
		c, err := leMarc.Curve(p)
		if err != nil {
			t.Fatalf("%+v: %v", p, err)
		}
		return c.Peak
	}
	ordinary := Product{PH: 6, SaltPercent: 1}
	for _, c := range []struct {
		name    string
		product Product
		atLeast float64
		noted   bool
	}{
		{"unknown pH", Product{SaltPercent: 1}, rate(Product{PH: 6.25, SaltPercent: 1}), true},
		{"neutral", Product{PH: 7, SaltPercent: 1}, rate(Product{PH: 6.25, SaltPercent: 1}), false},
		{"acid", Product{PH: 4.5, SaltPercent: 1}, rate(Product{PH: 5, SaltPercent: 1}), true},
		{"very salty", Product{PH: 6, SaltPercent: 8}, rate(Product{PH: 6, SaltPercent: 4}), true},
		{"no salt", Product{PH: 6}, rate(Product{PH: 6, SaltPercent: 0.5}), true},
		{"unknown salt", Product{PH: 6, SaltPercent: -1}, rate(Product{PH: 6, SaltPercent: 0.5}), true},
		{"dry", Product{PH: 6, WaterActivity: 0.9}, rate(Product{PH: 6, SaltPercent: 4}), true},
		{"in range", ordinary, rate(ordinary), false},
	} {
		if got := rate(c.product); got < c.atLeast {
			t.Errorf("%s: %.3f 1/h, want at least %.3f", c.name, got, c.atLeast)
		}
		r, err := Growth(corners(0, 60, 3, 4), c.product, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if r.InRange == c.noted || (len(r.OutOfRange) > 0) != c.noted {
			t.Errorf("%s: in range %v, %q", c.name, r.InRange, r.OutOfRange)
		}
	}
}

func TestBadInputIsRefusedWithWhatToDo(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	for _, c := range []struct {
		name    string
		history []Reading
		product Product
		options Options
		want    string
	}{
		{"none", nil, Product{}, Options{}, "no readings"},
		{"back in time", []Reading{{day, 60}, {day.Add(-time.Second), 50}}, Product{}, Options{}, "sort readings"},
		{"twice", []Reading{{day, 60}, {day, 60}}, Product{}, Options{}, "keep one"},
		{"not a number", []Reading{{day, units.Celsius(nan)}}, Product{}, Options{}, "check the probe"},
		{"too hot", []Reading{{day, 301}}, Product{}, Options{}, "-60 to 300"},
		{"years", []Reading{{day, 60}, {day.AddDate(2, 0, 0), 5}}, Product{}, Options{}, "366 days"},
		{"before the start", []Reading{{day, 60}}, Product{}, Options{Began: day.Add(time.Hour)}, "left the heat"},
		{"pH", []Reading{{day, 60}}, Product{PH: 15}, Options{}, "pH 15"},
		{"pH not a number", []Reading{{day, 60}}, Product{PH: nan}, Options{}, "pH NaN"},
		{"salt", []Reading{{day, 60}}, Product{SaltPercent: 40}, Options{}, "salt 40"},
		{"water activity", []Reading{{day, 60}}, Product{WaterActivity: 1.2}, Options{}, "water activity 1.2"},
		{"category", []Reading{{day, 60}}, Product{Category: 9}, Options{}, "category 9"},
		{"gap", []Reading{{day, 60}}, Product{}, Options{MaxGap: -1}, "longest gap"},
		{"tolerance", []Reading{{day, 60}}, Product{}, Options{ProbeTolerance: 20}, "tolerance 20"},
		{"number", []Reading{{day, 60}}, Product{}, Options{InitialLog: 9}, "initial number"},
		{"limit", []Reading{{day, 60}}, Product{}, Options{Limit: nan}, "growth limit"},
	} {
		_, err := Growth(c.history, c.product, c.options)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %q", c.name, err, c.want)
		}
	}
	var unstarted Tracker
	if err := unstarted.Add(day, 20); err == nil {
		t.Error("a tracker that was not started took a reading")
	}
	tracker, err := NewTracker(Product{}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := tracker.Add(day, 60); err != nil {
		t.Fatal(err)
	}
	before := tracker
	if tracker.Add(day, 50) == nil || tracker != before {
		t.Error("a refused reading changed the tracker")
	}
}

func TestADamagedStateIsRefused(t *testing.T) {
	t.Parallel()
	for name, damage := range map[string]func(*Tracker){
		"nothing there": func(t *Tracker) { *t = Tracker{} },
		"other model":   func(t *Tracker) { t.Likely.Curve.Max = 40 },
		"other product": func(t *Tracker) { t.Product.PH = 5 },
		"no lag":        func(t *Tracker) { t.Cautious.H0 = 0 },
		"work":          func(t *Tracker) { t.Likely.Work = -1 },
		"not a number":  func(t *Tracker) { t.Cautious.Work = math.NaN() },
		"temperature":   func(t *Tracker) { t.Latest.Temperature = 1000 },
		"count":         func(t *Tracker) { t.Count = -1 },
	} {
		tracker, err := NewTracker(Product{}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if err := tracker.Add(day, 60); err != nil {
			t.Fatal(err)
		}
		if err := tracker.Check(); err != nil {
			t.Fatal(err)
		}
		damage(&tracker)
		if err := tracker.Check(); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func TestModelsWithNonsenseAreRefused(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*RateModel){
		"no form":       func(m *RateModel) { m.Form = 0 },
		"upside down":   func(m *RateModel) { m.Min = 60 },
		"no scale":      func(m *RateModel) { m.Scale = 0 },
		"steep":         func(m *RateModel) { m.Shape = 100 },
		"not a number":  func(m *RateModel) { m.Scale = math.NaN() },
		"negative lag":  func(m *RateModel) { m.H0 = -1 },
		"wet":           func(m *RateModel) { m.WaterActivityMin = 1.5 },
		"optimum":       func(m *RateModel) { m.Form, m.Peak, m.Opt = Cardinal, 1, 5 },
		"two peaks":     func(m *RateModel) { m.Form, m.Peak, m.Opt = Cardinal, 1, 20 },
		"grows nowhere": func(m *RateModel) { m.WaterActivityMin = 0.9999 },
	} {
		m := leMarc
		change(&m)
		if _, err := m.Curve(Product{PH: 6, SaltPercent: 1}); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	for _, m := range RateModels() {
		if m.Citation == "" || m.Where == "" {
			t.Errorf("%s has no source", m.ID)
		}
	}
}

func TestSpreadShowsEveryPublishedModel(t *testing.T) {
	t.Parallel()
	r, err := Growth(exponential(54.4, 7.2, 9), Product{Category: Beef, PH: 6.2, SaltPercent: 0.5}, Options{Compare: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Models) != len(RateModels()) {
		t.Fatalf("%d models, want %d", len(r.Models), len(RateModels()))
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, m := range r.Models {
		low, high = min(low, m.Growth), max(high, m.Growth)
	}
	if low > r.Likely || high < r.Likely || high-low < 1 {
		t.Errorf("models from %.2f to %.2f, likely %.2f", low, high, r.Likely)
	}
}

func TestAddAllocatesNothing(t *testing.T) {
	tracker, err := NewTracker(Product{}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	at := day
	if n := testing.AllocsPerRun(1000, func() {
		at = at.Add(time.Second)
		if err := tracker.Add(at, 40); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%g allocations in a reading, want 0", n)
	}
}
