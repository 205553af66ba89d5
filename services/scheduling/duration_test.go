package scheduling

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/thermo"
)

func minutes(d time.Duration) float64 { return d.Minutes() }

// The core of a slab follows one term of the series once Fo > 0.2: theta = C1 exp(-zeta^2 Fo), with zeta = 0.8603 and C1 =
// 1.1191 at Biot 1 (Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, table 5.1; from memory).
func TestPansInAirFollowTheOneTermSolutionOfTheTextbook(t *testing.T) {
	t.Parallel()
	material, err := chill.MaterialOf(thermo.LeanStock, 30)
	if err != nil {
		t.Fatal(err)
	}
	const half = 0.025
	v := Vessel{Name: "sites/a/vessels/blast", DisplayName: "Blast chiller", Active: true, Cooling: &Cooling{
		Method: CoolingAir, MediumTemperatureCelsius: -2, HeatTransfer: material.Conductivity / half, PanDepthMeters: 2 * half,
	}}
	s := Step{ID: "chill", LoadKg: 40, Attendance: AttendNone, Duration: DurationModel{Chill: &ChillModel{TargetCelsius: 5, StartCelsius: 80}}}
	got := newEstimator(SiteFacts{}, DefaultLimits("sites/a")).estimate(s, &v)
	theta := (5.0 - -2) / (80.0 - -2)
	fourier := math.Log(1.1191/theta) / (0.8603 * 0.8603)
	want := fourier * half * half / material.Diffusivity() / 60
	if fourier < 0.2 {
		t.Fatalf("Fo %.2f is out of range", fourier)
	}
	if math.Abs(minutes(got.Total())-want) > 0.02*want+1 { // the estimate is rounded up to a minute; the solution is good to 2 %
		t.Errorf("%.0f min, the textbook says %.1f min (%s)", minutes(got.Total()), want, got.Basis)
	}
}

// At 100 degC the heat of vaporisation is 2256.5 kJ/kg (IAPWS-IF97 steam tables, from memory) and water takes 4.2 kJ/kg
// K. No pan can be faster than its heat pays for; losses of wall and surface make it somewhat slower.
func TestAReductionTakesTheTimeThatItsHeatPaysFor(t *testing.T) {
	t.Parallel()
	v := Vessel{
		Name: "sites/a/vessels/pan", DisplayName: "Pan", Active: true, PowerWatts: 20000, Efficiency: 0.5,
		Shape: Shape{Kind: ShapePan, Length: 0.9, Width: 0.6, Height: 0.2},
	}
	s := Step{ID: "reduce", Kind: KindReduce, FillLiters: 60, Attendance: AttendNone, Duration: DurationModel{Reduce: &ReduceModel{MassFraction: 0.5, StartCelsius: 80}}}
	got := newEstimator(SiteFacts{}, DefaultLimits("sites/a")).estimate(s, &v)
	mass := 60 * 0.9718 // kg; water at 80 degC, CRC Handbook, from memory
	least := (mass*4.2*20 + mass/2*2256.5) / 10 / 60
	if m := minutes(got.Total()); m < least || m > 1.35*least {
		t.Errorf("%.0f min, the heat alone needs %.0f min (%s)", m, least, got.Basis)
	}
	high := newEstimator(SiteFacts{AltitudeMeters: 2500}, DefaultLimits("sites/a")).estimate(s, &v)
	if high.Total() >= got.Total() {
		t.Errorf("at 2500 m, where water boils cooler, it takes %v instead of %v", high.Total(), got.Total())
	}
	wide := v
	wide.PowerWatts = 40000
	if twice := newEstimator(SiteFacts{}, DefaultLimits("sites/a")).estimate(s, &wide); twice.Total() > got.Total()*6/10 {
		t.Errorf("twice the heat takes %v instead of %v", twice.Total(), got.Total())
	}
}

func TestStepsAreRefusedOrFallBackToThePlanInWords(t *testing.T) {
	t.Parallel()
	e := newEstimator(SiteFacts{}, DefaultLimits("sites/a"))
	weak := Vessel{Name: "weak", DisplayName: "Stock pot", Active: true, PowerWatts: 1500, Efficiency: 0.4, Shape: Shape{Kind: ShapeCylinder, Diameter: 0.6, Height: 0.6}}
	reduce := Step{ID: "reduce", FillLiters: 120, Attendance: AttendNone, Duration: DurationModel{Reduce: &ReduceModel{MassFraction: 0.05, StartCelsius: 10}}, Planned: time.Hour}
	if got := e.estimate(reduce, &weak); !strings.Contains(got.Refusal, "do not reduce 120 L") {
		t.Errorf("refusal %q, basis %q", got.Refusal, got.Basis)
	}
	shapeless := weak
	shapeless.Name, shapeless.Shape = "shapeless", Shape{}
	if got := e.estimate(reduce, &shapeless); got.Total() != time.Hour || !strings.Contains(got.Basis, "the shape of Stock pot is not known") {
		t.Errorf("%v: %s", got.Total(), got.Basis)
	}
	reduce.Planned = 0 // another question, so nothing remembered answers it
	if got := e.estimate(reduce, &shapeless); !strings.Contains(got.Refusal, "cannot be computed") {
		t.Errorf("refusal %q", got.Refusal)
	}
	warm := Vessel{Name: "warm", DisplayName: "Walk-in", Active: true, Cooling: &Cooling{Method: CoolingAir, MediumTemperatureCelsius: 4, HeatTransfer: 10}}
	chillStep := Step{ID: "chill", LoadKg: 10, Duration: DurationModel{Chill: &ChillModel{TargetCelsius: 3, StartCelsius: 90}}}
	if got := e.estimate(chillStep, &warm); !strings.Contains(got.Refusal, "is at 4 degC and cannot cool to 3 degC") {
		t.Errorf("refusal %q", got.Refusal)
	}
	filler := Vessel{Name: "filler", DisplayName: "Filler", Active: true, SpeedFactor: 2}
	rate := Step{ID: "portion", OutputKg: 100, CrewCount: 1, Setup: 10 * time.Minute, Duration: DurationModel{RateKgPerHour: 50}}
	if got := e.estimate(rate, &filler); got.Start != 70*time.Minute || got.Middle != 0 {
		t.Errorf("100 kg at twice 50 kg/h with 10 min of set-up: %+v", got)
	}
}

func TestFreezingTakesLongerInThickerPacksAndIsBoundByPower(t *testing.T) {
	t.Parallel()
	e := newEstimator(SiteFacts{}, DefaultLimits("sites/a"))
	v := Vessel{Name: "v", DisplayName: "Freezer", Active: true, Cooling: &Cooling{Method: CoolingAir, MediumTemperatureCelsius: -35, HeatTransfer: 25}}
	step := func(depth float64) Step {
		return Step{ID: "freeze", Kind: KindFreeze, LoadKg: 100, Attendance: AttendNone, Duration: DurationModel{Chill: &ChillModel{TargetCelsius: -18, StartCelsius: 4, DepthMeters: depth}}}
	}
	thin, thick := e.estimate(step(0.02), &v), e.estimate(step(0.04), &v)
	if thin.Refusal != "" || thick.Total() <= thin.Total() {
		t.Fatalf("thin %+v, thick %+v", thin, thick)
	}
	v.Name, v.Cooling.PowerWatts = "w", 2000
	// 100 kg of stock of 95 % water: at least the ice's heat, 333.55 kJ/kg (CRC Handbook, from memory), through 2 kW.
	least := time.Duration(100 * 0.9 * 333.55 / 2 * float64(time.Second))
	if slow := e.estimate(step(0.02), &v); slow.Total() < least || !strings.Contains(slow.Basis, "bound by cooling power") {
		t.Errorf("%v, the ice alone needs %v: %s", slow.Total(), least, slow.Basis)
	}
}

func TestAThinLayerInAWidePanIsKeptCovered(t *testing.T) {
	t.Parallel()
	e := newEstimator(SiteFacts{}, DefaultLimits("sites/a"))
	pan := Vessel{
		Name: "pan", DisplayName: "Pan", Active: true, HeatSource: HeatElectric, PowerWatts: 18000, Efficiency: 0.8,
		Shape: Shape{Kind: ShapePan, Length: 1.1, Width: 0.65, Height: 0.24},
	}
	target := 94.0
	step := func(liters float64, hold time.Duration) Step {
		return Step{ID: "simmer", Kind: KindSimmer, FillLiters: liters, Duration: DurationModel{Simmer: &SimmerModel{Hold: hold, StartCelsius: 20, TargetCelsius: &target}}}
	}
	// 0.715 m2 at 94 degC gives off about 8 to 14 kg/h (package simmer compares with published tanks): 12 L last an hour or
	// so, and days under a lid that lets 5 % out.
	if got := e.estimate(step(12, 4*time.Hour), &pan); got.Refusal != "" || !strings.Contains(got.Basis, "keep it covered") {
		t.Errorf("12 L for 4 h: %+v", got)
	}
	if got := e.estimate(step(120, 4*time.Hour), &pan); got.Refusal != "" || strings.Contains(got.Basis, "keep it covered") {
		t.Errorf("120 L for 4 h: %+v", got)
	}
	if got := e.estimate(step(5, 40*time.Hour), &pan); !strings.Contains(got.Refusal, "boil dry") {
		t.Errorf("5 L for 40 h: %+v", got)
	}
}

func TestCleaningBetweenMaterials(t *testing.T) {
	t.Parallel()
	c := Cleaning{Default: 20 * time.Minute, Attended: true, Changes: []CleaningChange{
		{From: "fish", To: "*", Duration: time.Hour, Attended: true},
		{From: "*", To: "fish", Duration: 5 * time.Minute},
		{From: "fish", To: "stock", Duration: 90 * time.Minute, Attended: true},
	}}
	for _, tc := range []struct {
		from, to string
		want     time.Duration
		attended bool
	}{
		{"stock", "stock", 0, false},
		{"stock", "sauce", 20 * time.Minute, true},
		{"fish", "sauce", time.Hour, true},
		{"stock", "fish", 5 * time.Minute, false},
		{"fish", "stock", 90 * time.Minute, true},
		{"stock+CELERY", "stock", 20 * time.Minute, true},       // an allergen must not be carried over
		{"stock", "stock+CELERY", 0, false},                     // towards more allergens nothing is carried over
		{"stock+CELERY", "fish+CELERY", 5 * time.Minute, false}, // the pair as stated
		{"stock+CELERY", "fish", 20 * time.Minute, true},        // at least the default
	} {
		if got, attended := c.change(tc.from, tc.to); got != tc.want || attended != tc.attended {
			t.Errorf("%s to %s: %v attended %v, want %v %v", tc.from, tc.to, got, attended, tc.want, tc.attended)
		}
	}
}

// Summer time ends on the last Sunday of October at 01:00 UTC (Directive 2000/84/EC): 25 October 2026. A night shift from
// 22:00 to 06:00 in Lisbon is nine hours long then.
func TestShiftsFollowTheClockOfTheKitchen(t *testing.T) {
	t.Parallel()
	c := Calendar{Name: "sites/a/calendars/night", TimeZone: "Europe/Lisbon", Exceptions: []DayException{{Date: "2026-10-26"}}}
	for day := time.Sunday; day <= time.Saturday; day++ {
		c.Shifts = append(c.Shifts, Shift{Weekday: day, Start: 22 * 60, End: 6 * 60, Overtime: day == time.Sunday})
	}
	if err := c.Check(); err != nil {
		t.Fatal(err)
	}
	open, err := c.Open(time.Date(2026, 10, 24, 12, 0, 0, 0, time.UTC), time.Date(2026, 10, 28, 0, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, s := range open {
		got = append(got, fmt.Sprintf("%s %gh %v", s.Start.Format("02 15:04"), s.End.Sub(s.Start).Hours(), s.Overtime))
	}
	want := "24 21:00 9h false|25 22:00 8h true|27 22:00 2h false" // Monday the 26th is closed; the last is cut off
	if s := strings.Join(got, "|"); s != want {
		t.Errorf("open %s, want %s", s, want)
	}
}

func TestAbsencesLowerTheHeadcount(t *testing.T) {
	t.Parallel()
	at := func(h int) time.Time { return time.Date(2026, 11, 23, h, 0, 0, 0, time.UTC) }
	c := Crew{Headcount: 3, Absences: []Absence{{Start: at(5), End: at(10), Headcount: 1}, {Start: at(8), End: at(12), Headcount: 2}}}
	first, changes := c.levels(at(6))
	if got := fmt.Sprint(first, changes); got != fmt.Sprint(2, []headcountLevel{{at(8), 0}, {at(10), 1}, {at(12), 3}}) {
		t.Errorf("levels %s", got)
	}
}
