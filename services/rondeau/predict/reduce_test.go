package predict

import (
	"testing"

	"gonum.org/v1/gonum/floats/scalar"
)

func reduced(t *testing.T, q ReduceQuestion) ReduceFigures {
	t.Helper()
	a, err := Reduce(q)
	if err != nil {
		t.Fatal(err)
	}
	f, ok := a.Figures.(ReduceFigures)
	if !ok {
		t.Fatalf("%T", a.Figures)
	}
	return f
}

// Common practice, no source: a gallon in a household pot at a very gentle simmer takes about six hours to come down to
// half a litre or a little more, not two.
func TestTheHouseholdPotTakesAboutSixHours(t *testing.T) {
	t.Parallel()
	f := reduced(t, ReduceQuestion{VesselChoice: VesselChoice{Vessel: "household"}, Volume: "3.8L", To: "0.6L", Heat: "gentle"})
	if likely := *f.TimeMinutes.Likely / 60; likely < 5 || likely > 7 {
		t.Errorf("%.2f h, want about 6", likely)
	}
	if !(*f.TimeMinutes.Early < *f.TimeMinutes.Likely && *f.TimeMinutes.Likely < *f.TimeMinutes.Late) {
		t.Errorf("%v, %v, %v", *f.TimeMinutes.Early, *f.TimeMinutes.Likely, *f.TimeMinutes.Late)
	}
	if !scalar.EqualWithinAbs(f.EndVolumeLitres, 0.6, 0.001) || !scalar.EqualWithinAbs(f.StartMassKg-f.EndMassKg, f.WaterLostKg, 0.002) {
		t.Errorf("%+v", f)
	}
}

func TestGoalsThatMeanTheSameGiveTheSame(t *testing.T) {
	t.Parallel()
	base := ReduceQuestion{VesselChoice: VesselChoice{Vessel: "stockpot-40"}, Volume: "30L", Heat: "93C"}
	ask := func(to string) ReduceFigures {
		q := base
		q.To = to
		return reduced(t, q)
	}
	volume := ask("6L")
	for _, to := range []string{"1/5", "a fifth", "6000 mL"} {
		if got := ask(to); !scalar.EqualWithinRel(*got.TimeMinutes.Likely, *volume.TimeMinutes.Likely, 1e-3) {
			t.Errorf("to %s: %v min, to 6L: %v", to, *got.TimeMinutes.Likely, *volume.TimeMinutes.Likely)
		}
	}
	solids := ask("12Brix")
	// The solids stay: 3 % of the start.
	if !scalar.EqualWithinAbs(solids.EndMassKg*0.12, solids.StartMassKg*0.03, 0.005) {
		t.Errorf("%+v", solids)
	}
}

func TestDirectionsOfAReduction(t *testing.T) {
	t.Parallel()
	base := ReduceQuestion{VesselChoice: VesselChoice{Vessel: "stockpot-40"}, Volume: "30L", To: "15L", Heat: "93C"}
	at := func(change func(*ReduceQuestion)) float64 {
		q := base
		change(&q)
		return *reduced(t, q).TimeMinutes.Likely
	}
	plain := at(func(*ReduceQuestion) {})
	for name, c := range map[string]struct {
		longer bool
		change func(*ReduceQuestion)
	}{
		"a lid on half":        {true, func(q *ReduceQuestion) { q.Lid = "half" }},
		"a cold start":         {true, func(q *ReduceQuestion) { q.Start = "15C" }},
		"a cooler simmer":      {true, func(q *ReduceQuestion) { q.Heat = "88C" }},
		"less to be left":      {true, func(q *ReduceQuestion) { q.To = "10L" }},
		"a wider vessel":       {false, func(q *ReduceQuestion) { q.Diameter = "50cm" }},
		"a boil":               {false, func(q *ReduceQuestion) { q.Heat = "boil" }},
		"a draught":            {false, func(q *ReduceQuestion) { q.Air = "fan" }},
		"a quarter left of it": {true, func(q *ReduceQuestion) { q.To = "quarter" }},
	} {
		if got := at(c.change); got > plain != c.longer {
			t.Errorf("%s: %.0f min, plain %.0f min", name, got, plain)
		}
	}
}

func TestLooksNarrowTheRange(t *testing.T) {
	t.Parallel()
	q := ReduceQuestion{VesselChoice: VesselChoice{Vessel: "stockpot-40"}, Volume: "30L", To: "15L", Heat: "95C"}
	before := reduced(t, q)
	slow := *before.TimeMinutes.Likely * 1.4 // the vessel that is looked at loses 30 % less
	q.Seen = []string{atShare(slow, 0.2, 27), atShare(slow, 0.4, 24), atShare(slow, 0.6, 21)}
	after := reduced(t, q)
	width := func(m Minutes) float64 { return *m.Late - *m.Early }
	if width(after.TimeMinutes) > 0.7*width(before.TimeMinutes) {
		t.Errorf("before %v to %v, after %v to %v", *before.TimeMinutes.Early, *before.TimeMinutes.Late, *after.TimeMinutes.Early, *after.TimeMinutes.Late)
	}
	if !scalar.EqualWithinRel(*after.TimeMinutes.Likely, slow, 0.12) || *after.VesselFactor >= 1.1 || after.RemainingMinutes == nil {
		t.Errorf("%v min with factor %v, want about %v min", *after.TimeMinutes.Likely, *after.VesselFactor, slow)
	}
	if got := *after.TimeMinutes.Likely - *after.SeenUntilMinutes; !scalar.EqualWithinAbs(got, *after.RemainingMinutes.Likely, 0.2) {
		t.Errorf("%v more, want %v", *after.RemainingMinutes.Likely, got)
	}
}

func TestTheScorchLimitIsToldWhenItIsPassed(t *testing.T) {
	t.Parallel()
	q := ReduceQuestion{VesselChoice: VesselChoice{Vessel: "rondeau-60"}, ProductChoice: ProductChoice{Product: "brown-stock"}, Volume: "30L", To: "40Brix"}
	f := reduced(t, q)
	if f.ScorchMinutes.Likely == nil || *f.ScorchMinutes.Likely >= *f.TimeMinutes.Likely || *f.ScorchMinutes.Likely < *f.TimeMinutes.Likely/2 {
		t.Errorf("%+v", f.ScorchMinutes)
	}
	q.To = "15Brix"
	if f := reduced(t, q); f.ScorchMinutes.Likely != nil {
		t.Errorf("at 15 Brix: %v", *f.ScorchMinutes.Likely)
	}
	q.ScorchAt = "10%"
	if f := reduced(t, q); f.ScorchMinutes.Likely == nil {
		t.Error("a scorch limit of 10 % is passed at 15 Brix")
	}
}

func TestALargeKettleNeedsNoMoreThanItsSteamPaysFor(t *testing.T) {
	t.Parallel()
	f := reduced(t, ReduceQuestion{VesselChoice: VesselChoice{Vessel: "kettle-100", Efficiency: "100%"}, Volume: "80L", To: "40L", Heat: "boil"})
	// 24 kW over 2.257 MJ/kg (steam tables at 100 C) is 38.3 kg/h at most.
	if f.EvaporationKgPerHour > 38.3 || f.EvaporationKgPerHour < 25 {
		t.Errorf("%v kg/h", f.EvaporationKgPerHour)
	}
	if f.EnergyPurchasedKWh < f.EnergyContentsKWh-0.01 {
		t.Errorf("%v kWh paid for, %v used", f.EnergyPurchasedKWh, f.EnergyContentsKWh)
	}
}

func TestHeating(t *testing.T) {
	t.Parallel()
	ask := func(q HeatQuestion) HeatFigures {
		a, err := Heat(q)
		if err != nil {
			t.Fatal(err)
		}
		return a.Figures.(HeatFigures)
	}
	f := ask(HeatQuestion{VesselChoice: VesselChoice{Vessel: "stockpot-20", Efficiency: "40%"}, Volume: "18L", Start: "15C", To: "95C"})
	// Without losses: 18 kg x 4.19 kJ/kg K x 80 K over 9 kW x 0.4, 28 min (and the steel of the pot).
	if *f.TimeMinutes.Likely < 28 || *f.TimeMinutes.Likely > 37 {
		t.Errorf("%v min", *f.TimeMinutes.Likely)
	}
	if half := ask(HeatQuestion{VesselChoice: VesselChoice{Vessel: "stockpot-20", Efficiency: "40%"}, Volume: "18L", Start: "15C", To: "95C", Share: "50%"}); *half.TimeMinutes.Likely < 2*(*f.TimeMinutes.Likely) {
		t.Errorf("half the power: %v min", *half.TimeMinutes.Likely)
	}
	if never := ask(HeatQuestion{VesselChoice: VesselChoice{Vessel: "rondeau-60", Power: "1kW"}, Volume: "40L", To: "95C"}); never.Reached || never.TimeMinutes.Likely != nil {
		t.Errorf("1 kW: %+v", never)
	}
	_, err := Heat(HeatQuestion{Volume: "18L", To: "10C", Start: "15C"})
	if f := one(t, err); f.Flag != "--to" {
		t.Error(f)
	}
}

// atShare is what a vessel that comes from 30 L to 15 L in a time has left after a share of it.
func atShare(minutes, share, litres float64) string {
	return trimmed(minutes*share) + "min=" + trimmed(litres) + "L"
}
