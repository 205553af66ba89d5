package foodsafety

import (
	"math"
	"math/rand"
	"slices"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/units"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func usFoodCode(t *testing.T) *LimitsProfile {
	t.Helper()
	for _, p := range BuiltInProfiles() {
		if p.Name == USFoodCodeProfile {
			p.Name = "sites/test/limitsProfiles/" + p.Name
			if err := p.validate(); err != nil {
				t.Fatal(err)
			}
			return &p
		}
	}
	t.Fatal("the US Food Code profile is missing")
	return nil
}

// at is a sample so long after noon, in degrees Fahrenheit.
func at(after time.Duration, fahrenheit float64) Sample {
	return Sample{Probe: "p", At: noon.Add(after), Temperature: units.Fahrenheit(fahrenheit).Celsius()}
}

func celsiusAt(after time.Duration, c units.Celsius) Sample {
	return Sample{Probe: "p", At: noon.Add(after), Temperature: c}
}

func verdicts(j Judgement) string {
	list := make([]string, len(j.Stages))
	for i, s := range j.Stages {
		list[i] = string(s.Verdict)
	}
	return strings.Join(list, " ")
}

const (
	h = time.Hour
	m = time.Minute
)

// FDA Food Code 2022, 3-501.14(A): within 2 hours from 135 F to 70 F, and within a total of 6 hours from 135 F to 41 F
// or less; the times count from 135 F. Rows say what that text asks for.
func TestFoodCodeCooling(t *testing.T) {
	t.Parallel()
	p := usFoodCode(t)
	for _, c := range []struct {
		name    string
		samples []Sample
		now     time.Duration
		want    string
	}{
		{"each limit at its last moment", []Sample{at(0, 135), at(m, 134), at(2*h-m, 71), at(2*h, 70), at(6*h-m, 42), at(6*h, 41)}, 6 * h, "MET MET"},
		{"a fast first stage leaves more than four hours for the second", []Sample{at(0, 135), at(m, 130), at(h, 70), at(5*h+50*m, 41)}, 6 * h, "MET MET"},
		{"one tenth of a degree above at two hours, shown by a later reading too", []Sample{at(0, 135), at(m, 134), at(2*h, 70.1), at(2*h+2*m, 70.1)}, 2*h + 2*m, "MISSED PENDING"},
		{"above at two hours and below at the next reading, so nobody knows", []Sample{at(0, 135), at(m, 134), at(2*h-m, 71), at(2*h+m, 69)}, 2*h + m, "NOT_SHOWN PENDING"},
		{"six hours in all, not two and four", []Sample{at(0, 135), at(m, 134), at(h, 70), at(6*h+2*m, 42), at(6*h+3*m, 41)}, 6*h + 3*m, "MET MISSED"},
		{"the first stage missed and the second met", []Sample{at(0, 135), at(m, 134), at(2*h+10*m, 80), at(3*h, 70), at(5*h, 41)}, 6 * h, "MISSED MET"},
		{"still hot, the clock has not started", []Sample{at(0, 200), at(10*m, 160)}, 12 * m, "PENDING PENDING"},
		{"cold before the first reading", []Sample{at(20*m, 40)}, h, "MET MET"},
		{"time left", []Sample{at(0, 140), at(10*m, 130)}, 20 * m, "PENDING PENDING"},
		{"warm again after 70 F within the chill", []Sample{at(0, 135), at(m, 134), at(h, 69), at(3*h, 75), at(3*h+10*m, 69)}, 4 * h, "MISSED PENDING"},
		{"the probe pulled out after the food was cold", []Sample{at(0, 135), at(m, 134), at(h, 69), at(4*h, 41), at(4*h+m, 72), at(7*h, 72)}, 7 * h, "MET MET"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			j := Judge(p, noon, c.samples, noon.Add(c.now))
			if got := verdicts(j); got != c.want {
				t.Errorf("got %s, want %s: %s", got, c.want, j.Summary)
			}
		})
	}
}

// A probe that slips out of the food shows cold air within a minute, which no pan of food does (common practice, no source).
func TestAProbeThatSlippedIntoTheAirProvesNothing(t *testing.T) {
	t.Parallel()
	p := usFoodCode(t)
	slipped := []Sample{celsiusAt(0, 60), celsiusAt(5*m, 56), celsiusAt(6*m, 4), celsiusAt(15*m, 4), celsiusAt(25*m, 4)}
	if j := Judge(p, noon, slipped, noon.Add(26*m)); j.Met() {
		t.Errorf("a probe in the air: %s: %s", verdicts(j), j.Summary)
	}
	if j := Judge(p, noon, slipped, noon.Add(7*h)); !j.Missed() {
		t.Errorf("six hours later nothing has shown that the food is cold: %s", verdicts(j))
	}
	confirmed := append(slices.Clone(slipped), Sample{At: noon.Add(30 * m), Temperature: 4})
	if j := Judge(p, noon, confirmed, noon.Add(31*m)); !j.Met() {
		t.Errorf("a hand-held probe confirms it: %s: %s", verdicts(j), j.Summary)
	}
}

// The rule is written in degrees Fahrenheit. Its rounded pairs 57, 21 and 5 C are not what is compared with: 57 C is
// 134.6 F and the clock runs; 21.1 C is 69.98 F and meets 70 F; 21.2 C is 70.16 F and does not; 5 C is 41 F exactly.
// Conversions by F = C x 9/5 + 32, exact.
func TestLimitsAreComparedInTheUnitOfTheRule(t *testing.T) {
	t.Parallel()
	p := usFoodCode(t)
	for _, c := range []struct {
		name    string
		samples []Sample
		clock   time.Time
		want    string
	}{
		{"57.0 C is below 135 F", []Sample{celsiusAt(0, 60), celsiusAt(5*m, 57), celsiusAt(10*m, 56)}, noon, "PENDING PENDING"},
		{"57.3 C is above 135 F", []Sample{celsiusAt(0, 60), celsiusAt(5*m, 57.3), celsiusAt(10*m, 56)}, noon.Add(5 * m), "PENDING PENDING"},
		{"515/9 C is 135 F", []Sample{celsiusAt(5*m, units.Celsius(515.0/9)), celsiusAt(10*m, 56)}, noon.Add(5 * m), "PENDING PENDING"},
		{"21.1 C meets 70 F", []Sample{celsiusAt(0, 60), celsiusAt(m, 50), celsiusAt(10*m, 21.1)}, noon, "MET PENDING"},
		{"190/9 C meets 70 F", []Sample{celsiusAt(0, 60), celsiusAt(m, 50), celsiusAt(10*m, units.Celsius(190.0/9))}, noon, "MET PENDING"},
		{"21.2 C does not meet 70 F", []Sample{celsiusAt(0, 60), celsiusAt(m, 50), celsiusAt(10*m, 21.2)}, noon, "PENDING PENDING"},
		{"5 C meets 41 F", []Sample{celsiusAt(0, 60), celsiusAt(4*m, 40), celsiusAt(7*m, 20), celsiusAt(10*m, 5)}, noon, "MET MET"},
		{"5.1 C does not meet 41 F", []Sample{celsiusAt(0, 60), celsiusAt(4*m, 40), celsiusAt(7*m, 20), celsiusAt(10*m, 5.1)}, noon, "MET PENDING"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			j := Judge(p, noon, c.samples, noon.Add(12*m))
			if got := verdicts(j); got != c.want || !j.ClockStart.Equal(c.clock) {
				t.Errorf("got %s from %v, want %s from %v", got, j.ClockStart, c.want, c.clock)
			}
		})
	}
}

// newton is a history T = Ta + (57.222 - Ta) exp(-k t), sampled every minute from a sample at 135 F on.
func newton(ambient, k float64, until time.Duration) []Sample {
	var list []Sample
	for d := time.Duration(0); d <= until; d += m {
		list = append(list, celsiusAt(d, units.Celsius(ambient+(515.0/9-ambient)*math.Exp(-k*d.Hours()))))
	}
	return list
}

// Smallest rate k in 1/h with which Newton cooling from 135 F meets each stage, computed apart from this package from
// k = ln((T0 - Ta)/(T - Ta))/t: surroundings 0 C: 0.499 and 0.406; 2 C: 0.531 and 0.485; 3 C: 0.548 and 0.550; 4 C:
// 0.567 and 0.662.
func TestNewtonCoolingHistories(t *testing.T) {
	t.Parallel()
	p := usFoodCode(t)
	for _, c := range []struct {
		ambient, k float64
		want       string
	}{
		{0, 0.510, "MET MET"},
		{0, 0.490, "MISSED MET"},
		{0, 0.395, "MISSED MISSED"},
		{2, 0.545, "MET MET"},
		{2, 0.515, "MISSED MET"},
		{2, 0.475, "MISSED MISSED"},
		{3, 0.560, "MET MET"},
		{3, 0.538, "MISSED MISSED"},
		{4, 0.680, "MET MET"},
		{4, 0.600, "MET MISSED"},
		{4, 0.550, "MISSED MISSED"},
	} {
		j := Judge(p, noon, newton(c.ambient, c.k, 8*h), noon.Add(8*h))
		if got := verdicts(j); got != c.want {
			t.Errorf("surroundings %g C, k %g: got %s, want %s: %s", c.ambient, c.k, got, c.want, j.Summary)
		}
	}
}

// Sample cooling profile of the USDA-ARS pathogen-modelling page (C. botulinum, cooked chicken), hourly from 54.59 C. By
// the Food Code it fails both stages: 38.94 C after two hours, 19.89 C after six.
func TestPublishedSlowCoolingFails(t *testing.T) {
	t.Parallel()
	temperatures := []units.Celsius{54.59, 45.99, 38.94, 32.92, 27.86, 23.43, 19.89, 16.71, 14.14, 11.94, 10.13, 8.48, 7.21}
	var samples []Sample
	for i, c := range temperatures {
		samples = append(samples, celsiusAt(time.Duration(i)*h, c))
	}
	j := Judge(usFoodCode(t), noon, samples, noon.Add(12*h))
	if got := verdicts(j); got != "MISSED MISSED" {
		t.Errorf("got %s: %s", got, j.Summary)
	}
	if !j.GapExceeded || j.LongestGap != h {
		t.Errorf("hourly readings leave gaps of an hour, got %v", j.LongestGap)
	}
}

func TestDoubtCountsAgainstTheFood(t *testing.T) {
	t.Parallel()
	p := usFoodCode(t)
	byHand := func(after time.Duration, f float64) Sample { s := at(after, f); s.Probe = ""; return s }
	other := func(after time.Duration, f float64) Sample { s := at(after, f); s.Probe = "q"; return s }
	for _, c := range []struct {
		name    string
		samples []Sample
		now     time.Duration
		want    string
	}{
		{"no reading at all: the clock runs from the start of the chill", nil, 2*h + 3*m, "NOT_SHOWN PENDING"},
		{"no reading at all, news may be on its way", nil, 2*h + m, "PENDING PENDING"},
		{"silence across the deadline", []Sample{at(0, 140), at(m, 130), at(h, 90)}, 2*h + 3*m, "NOT_SHOWN PENDING"},
		{"silence after a hot reading: it may have cooled at once", []Sample{at(0, 150)}, 2*h + 3*m, "NOT_SHOWN PENDING"},
		{"first reading below the start: the clock ran from the start of the chill", []Sample{at(h, 100), at(2*h+m, 69)}, 2*h + 3*m, "NOT_SHOWN PENDING"},
		{"the slowest probe counts", []Sample{at(0, 135), at(m, 134), at(h, 69), other(0, 135), other(m, 134), other(2*h+5*m, 71)}, 2*h + 5*m, "MISSED PENDING"},
		{"a probe that fell silent while warm", []Sample{at(0, 135), at(m, 134), at(h, 69), other(0, 135), other(m, 134), other(h, 80)}, 2*h + 3*m, "NOT_SHOWN PENDING"},
		{"a reading by hand ends the silence of a probe", []Sample{at(0, 135), at(m, 134), at(h, 80), byHand(h+30*m, 68)}, 2*h + 3*m, "MET PENDING"},
		{"a warm reading by hand counts for every probe", []Sample{at(0, 135), at(m, 134), at(h, 69), byHand(2*h+10*m, 75), at(2*h+11*m, 68)}, 3 * h, "MISSED PENDING"},
		{"warm for an hour, then reheated in place: the clock does not begin again", []Sample{at(0, 100), at(h, 90), at(h+10*m, 165), at(h+20*m, 130), at(2*h+30*m, 60)}, 2*h + 30*m, "NOT_SHOWN PENDING"},
		{"the probe in air for some minutes before it was put in", []Sample{at(0, 72), at(5*m, 180), at(30*m, 136), at(31*m, 134), at(2*h+20*m, 70)}, 3 * h, "MET PENDING"},
		{"two temperatures at one moment: the warmer", []Sample{at(0, 135), at(m, 134), at(h, 69), at(h, 71)}, h, "PENDING PENDING"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			j := Judge(p, noon, c.samples, noon.Add(c.now))
			if got := verdicts(j); got != c.want {
				t.Errorf("got %s, want %s: %s", got, c.want, j.Summary)
			}
		})
	}
}

func TestALateEntryHasTimeToShowItsReadings(t *testing.T) {
	t.Parallel()
	p := usFoodCode(t)
	entered := noon.Add(8 * h)
	patience := entered.Add(DefaultMaxGap)
	half := []Sample{at(0, 135), at(m, 134), at(h, 70)}
	if got := verdicts(judge(p, noon, patience, half, entered)); got != "MET PENDING" {
		t.Errorf("while readings come: %s", got)
	}
	if got := verdicts(judge(p, noon, patience, half, patience.Add(time.Second))); got != "MET NOT_SHOWN" {
		t.Errorf("when none came: %s", got)
	}
	missed := append(half, at(6*h+2*m, 50))
	if got := verdicts(judge(p, noon, patience, missed, entered)); got != "MET MISSED" {
		t.Errorf("what is shown to be missed is missed at once: %s", got)
	}
}

// The judgement must not depend on the order in which readings arrive.
func TestOrderOfArrivalDoesNotMatter(t *testing.T) {
	t.Parallel()
	p := usFoodCode(t)
	samples := newton(2, 0.53, 7*h)
	want := Judge(p, noon, samples, noon.Add(7*h))
	random := rand.New(rand.NewSource(1))
	for range 20 {
		random.Shuffle(len(samples), func(i, j int) { samples[i], samples[j] = samples[j], samples[i] })
		got := Judge(p, noon, samples, noon.Add(7*h))
		if got.Summary != want.Summary || !got.ClockStart.Equal(want.ClockStart) || verdicts(got) != verdicts(want) {
			t.Fatalf("got %s, want %s", got.Summary, want.Summary)
		}
	}
}

// Leaving out readings may turn a limit that was met into one that is not, never the other way round.
func TestFewerReadingsNeverHelp(t *testing.T) {
	t.Parallel()
	p := usFoodCode(t)
	random := rand.New(rand.NewSource(2))
	for range 300 {
		ambient, k := 1+3*random.Float64(), 0.45+0.25*random.Float64()
		full := newton(ambient, k, 8*h)
		whole := Judge(p, noon, full, noon.Add(8*h))
		var thinned []Sample
		for _, s := range full {
			if random.Intn(20) == 0 {
				thinned = append(thinned, s)
			}
		}
		thin := Judge(p, noon, thinned, noon.Add(8*h))
		for i := range whole.Stages {
			if whole.Stages[i].Verdict != VerdictMet && thin.Stages[i].Verdict == VerdictMet {
				t.Fatalf("surroundings %g, k %g: %s with all readings, %s with few", ambient, k, whole.Summary, thin.Summary)
			}
		}
	}
}

func TestForecastOfNewtonCooling(t *testing.T) {
	t.Parallel()
	p := usFoodCode(t)
	// Surroundings 37 F as the forecast takes them; k from the table of the Newton test, so the crossings are known:
	// t = ln((T0 - Ta)/(T - Ta))/k.
	ambient := float64(units.Fahrenheit(37).Celsius())
	for _, c := range []struct {
		k      float64
		atRisk string
	}{{0.65, ""}, {0.50, "to-70f"}} {
		samples := newton(ambient, c.k, 40*m)
		now := noon.Add(40 * m)
		f := Predict(p, samples, Judge(p, noon, samples, now))
		if f == nil || len(f.Stages) != 2 {
			t.Fatalf("k %g: no forecast of two stages: %+v", c.k, f)
		}
		for i, target := range []float64{190.0 / 9, 5} {
			want := noon.Add(time.Duration(math.Log((515.0/9-ambient)/(target-ambient)) / c.k * float64(h)))
			if d := f.Stages[i].Likely.Sub(want).Abs(); d > 30*time.Second {
				t.Errorf("k %g, stage %d: expected %v, want %v", c.k, i, f.Stages[i].Likely, want)
			}
		}
		risk := ""
		if st := f.firstAtRisk(); st != nil {
			risk = st.StageID
		}
		if risk != c.atRisk {
			t.Errorf("k %g: at risk %q, want %q", c.k, risk, c.atRisk)
		}
	}
	if f := Predict(p, nil, Judge(p, noon, nil, noon)); f != nil {
		t.Errorf("a forecast without readings: %+v", f)
	}
	early := newton(ambient, 0.3, 5*m)
	if f := Predict(p, early, Judge(p, noon, early, noon.Add(5*m))); f.AtRisk() {
		t.Error("five minutes of readings are too few for a warning")
	}
}

func TestProfilesAreChecked(t *testing.T) {
	t.Parallel()
	good := func() LimitsProfile {
		return LimitsProfile{
			DisplayName: "Own", Source: "HACCP plan 3", Scale: units.ScaleCelsius, Start: 60,
			Stages: []LimitStage{{ID: "a", Target: 21, Within: 2 * h}, {ID: "b", Target: 5, Within: 6 * h}},
		}
	}
	p := good()
	if err := p.validate(); err != nil || p.MaxGap != DefaultMaxGap {
		t.Fatalf("a good profile: %v, gap %v", err, p.MaxGap)
	}
	for name, spoil := range map[string]func(*LimitsProfile){
		"no stages":           func(p *LimitsProfile) { p.Stages = nil },
		"target above start":  func(p *LimitsProfile) { p.Stages[0].Target = 61 },
		"targets rise":        func(p *LimitsProfile) { p.Stages[1].Target = 30 },
		"times fall":          func(p *LimitsProfile) { p.Stages[1].Within = h },
		"same id":             func(p *LimitsProfile) { p.Stages[1].ID = "a" },
		"no source":           func(p *LimitsProfile) { p.Source = "" },
		"no name":             func(p *LimitsProfile) { p.DisplayName = "" },
		"kelvin":              func(p *LimitsProfile) { p.Scale = units.ScaleKelvin },
		"not a number":        func(p *LimitsProfile) { p.Start = math.NaN() },
		"absurd":              func(p *LimitsProfile) { p.Stages[1].Target = -200 },
		"a month":             func(p *LimitsProfile) { p.Stages[1].Within = 31 * 24 * h },
		"silence of two days": func(p *LimitsProfile) { p.MaxGap = 48 * h },
	} {
		p := good()
		spoil(&p)
		if p.validate() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}
