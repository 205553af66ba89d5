package foodsafety_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"rondeau.internal/pkg/units"
	"rondeau.internal/services/foodsafety"
)

const (
	p1     = site + "/probes/p1"
	vessel = site + "/vessels/blast-1"
	run    = batch + "/runs/chill"
)

func (k *kitchen) probe(id string, p foodsafety.Probe) *foodsafety.Probe {
	k.t.Helper()
	if p.DisplayName == "" {
		p.DisplayName = id
	}
	return ok[*foodsafety.Probe](k.t)(k.CreateProbe(k.lead(), site, id, p))
}

func TestIntakeCountsEveryReadingOnce(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.probe("p1", foodsafety.Probe{CalibrationOffset: -0.5})
	k.probe("off", foodsafety.Probe{Disabled: true})
	k.probe("idle", foodsafety.Probe{})
	c := ok[*foodsafety.Chill](t)(k.StartChill(k.cook(), site, foodsafety.NewChill{ID: "c1", Batch: batch, Probes: []string{p1}}))
	k.clock.Advance(10 * time.Minute)
	at := func(d time.Duration) time.Time { return noon.Add(d) }
	in := ok[*foodsafety.Intake](t)(k.RecordReadings(k.cook(), site, []foodsafety.NewReading{
		{Probe: p1, ObserveTime: at(2 * time.Minute), Temperature: 80},
		{Probe: p1, ObserveTime: at(time.Minute), Temperature: 82}, // out of order
		{Probe: p1, ObserveTime: at(time.Minute), Temperature: 82}, // twice
		{Probe: p1, ObserveTime: at(time.Minute), Temperature: 81}, // twice, otherwise
		{Probe: p1, ObserveTime: at(3 * time.Minute), Temperature: 151},
		{Probe: p1, ObserveTime: at(3 * time.Minute), Temperature: units.Celsius(math.NaN())},
		{Probe: p1, ObserveTime: at(13 * time.Minute), Temperature: 79},
		{Probe: p1, ObserveTime: at(12 * time.Minute), Temperature: 79}, // two minutes ahead is tolerated
		{Probe: p1, ObserveTime: at(-31 * time.Minute), Temperature: 90, Chill: c.Name},
		{Probe: site + "/probes/off", ObserveTime: at(0), Temperature: 90, Chill: c.Name},
		{Probe: site + "/probes/none", ObserveTime: at(0), Temperature: 90, Chill: c.Name},
		{Probe: site + "/probes/idle", ObserveTime: at(0), Temperature: 90},
		{Chill: site + "/chills/none", ObserveTime: at(0), Temperature: 90},
		{ObserveTime: at(0), Temperature: 90},
		{Chill: "sites/other/chills/c", ObserveTime: at(0), Temperature: 90},
	}, 100))
	var reasons []string
	for _, r := range in.Refusals {
		reasons = append(reasons, r.Err.Reason)
	}
	want := []string{
		foodsafety.ReadingConflict, foodsafety.ReadingOutOfRange, foodsafety.ReadingOutOfRange, foodsafety.TimeInFuture,
		foodsafety.ReadingBeforeChill, foodsafety.ProbeDisabled, foodsafety.ProbeMissing, foodsafety.ChillNotFoundForProbe,
		foodsafety.ChillMissing, foodsafety.FieldInvalid, foodsafety.SiteMismatch,
	}
	if !slices.Equal(reasons, want) || in.Refusals[0].Index != 103 {
		t.Errorf("refusals %v from %d, want %v from 103", reasons, in.Refusals[0].Index, want)
	}
	if in.Accepted != 3 || in.Duplicates != 1 {
		t.Errorf("accepted %d, duplicates %d", in.Accepted, in.Duplicates)
	}
	list, more, err := k.ListReadings(k.cook(), c.Name, nil, 2)
	if err != nil || !more || len(list) != 2 {
		t.Fatalf("%v, %v, %v", list, more, err)
	}
	if r := list[0]; r.Measured != 82 || r.Judged != 81.5 || !r.Late || r.Recorder != "ada" || !r.ObserveTime.Equal(at(time.Minute)) {
		t.Errorf("first reading %+v", r)
	}
	rest, more, err := k.ListReadings(k.cook(), c.Name, []string{"1772452920000000", p1}, 2)
	if err != nil || more || len(rest) != 1 || rest[0].Late {
		t.Errorf("second page %+v, %v, %v", rest, more, err)
	}
	_, err = k.RecordReading(t.Context(), foodsafety.NewReading{Chill: c.Name, Temperature: 80})
	wantReason(t, err, foodsafety.CallerUnknown)
}

func TestProbeWatchesOneChillAtATime(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.probe("p1", foodsafety.Probe{Vessel: vessel})
	first := ok[*foodsafety.Chill](t)(k.StartChill(k.cook(), site, foodsafety.NewChill{ID: "c1", Batch: batch, Vessel: vessel}))
	if !slices.Equal(first.Probes, []string{p1}) {
		t.Fatalf("the probe of the vessel must watch: %v", first.Probes)
	}
	_, err := k.StartChill(k.cook(), site, foodsafety.NewChill{ID: "c2", Batch: batch, Probes: []string{p1}})
	wantReason(t, err, foodsafety.ProbeBusy)
	_, err = k.StartChill(k.cook(), site, foodsafety.NewChill{ID: "c1", Batch: batch})
	wantReason(t, err, foodsafety.ChillExists)
	// A chill that failed gives the probe up to the next one, and keeps the readings of its own time.
	k.clock.Advance(3 * time.Hour)
	if _, err := k.WatchClock(t.Context()); err != nil {
		t.Fatal(err)
	}
	k.clock.Advance(time.Hour)
	second := ok[*foodsafety.Chill](t)(k.StartChill(k.cook(), site, foodsafety.NewChill{ID: "c2", Batch: batch, Probes: []string{p1}}))
	k.clock.Advance(time.Minute)
	in := ok[*foodsafety.Intake](t)(k.RecordReadings(k.cook(), site, []foodsafety.NewReading{
		{Probe: p1, Temperature: 70}, {Probe: p1, ObserveTime: noon.Add(time.Hour), Temperature: 60},
	}, 0))
	if in.Accepted != 2 || !slices.Equal(in.Touched, []string{first.Name, second.Name}) {
		t.Errorf("intake %+v", in)
	}
}

func TestASecondChillOfARunGetsANumber(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	begin := func() (*foodsafety.Chill, error) {
		return k.StartChill(k.cook(), site, foodsafety.NewChill{Batch: batch, Run: run})
	}
	first := ok[*foodsafety.Chill](t)(begin())
	_, err := begin()
	wantReason(t, err, foodsafety.ChillExists)
	k.clock.Advance(3 * time.Hour)
	if _, err := k.WatchClock(t.Context()); err != nil {
		t.Fatal(err)
	}
	second := ok[*foodsafety.Chill](t)(begin())
	if second.Name != first.Name+"-2" {
		t.Errorf("%s after %s", second.Name, first.Name)
	}
}

func TestFinishIsRefusedWhileWarm(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	c := k.start("c1")
	k.read(c.Name, 140)
	k.clock.Advance(30 * time.Minute)
	k.read(c.Name, 90)
	_, err := k.FinishChill(k.cook(), c.Name, time.Time{}, "")
	if e := wantReason(t, err, foodsafety.ChillNotCold); len(e.Violations) != 2 {
		t.Errorf("both limits are open: %v", e.Violations)
	}
	_, err = k.FinishChill(k.cook(), c.Name, k.clock.Now().Add(3*time.Minute), "")
	wantReason(t, err, foodsafety.TimeInFuture)
	_, err = k.FinishChill(k.cook(), c.Name, time.Time{}, "v99")
	wantReason(t, err, foodsafety.EtagMismatch)
	c = ok[*foodsafety.Chill](t)(k.AbandonChill(k.lead(), c.Name, "wrong batch", ""))
	if c.State != foodsafety.ChillAbandoned {
		t.Error(c.State)
	}
	_, err = k.FinishChill(k.cook(), c.Name, time.Time{}, "")
	wantReason(t, err, foodsafety.ChillStateWrong)
	_, err = k.RecordReading(k.cook(), foodsafety.NewReading{Chill: c.Name, Temperature: 30})
	wantReason(t, err, foodsafety.ChillStateWrong)
}

func TestNewsOfRunsStartAndFinishChills(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.probe("p1", foodsafety.Probe{Vessel: vessel})
	fact := foodsafety.RunFact{Run: run, Batch: batch, Vessel: vessel, Chill: true, Profile: "uk-cook-chill-1989", People: []string{"ben", "ada"}, Time: noon}
	for range 2 { // twice changes nothing
		if err := k.RunStarted(t.Context(), fact); err != nil {
			t.Fatal(err)
		}
	}
	if err := k.RunStarted(t.Context(), foodsafety.RunFact{Run: batch + "/runs/simmer", Batch: batch, People: []string{"cem"}, Time: noon}); err != nil {
		t.Fatal(err)
	}
	list, _, err := k.ListChills(k.cook(), foodsafety.Page{Site: site, Limit: 10})
	if err != nil || len(list) != 1 {
		t.Fatalf("%d chills, %v", len(list), err)
	}
	c := list[0]
	if c.Name != site+"/chills/brown-stock-7-chill" || c.Starter != "ben" || c.Profile != site+"/limitsProfiles/uk-cook-chill-1989" || !slices.Equal(c.Probes, []string{p1}) {
		t.Errorf("chill %+v", c)
	}
	// The cook takes it over with the limits that are used here.
	taken := ok[*foodsafety.Chill](t)(k.StartChill(k.cook(), site, foodsafety.NewChill{Batch: batch, Run: run, Profile: site + "/limitsProfiles/us-food-code-2022", StartTime: noon.Add(-time.Minute)}))
	if taken.Name != c.Name || taken.Starter != "ada" || taken.Limits.Start != 135 || !taken.StartTime.Equal(noon.Add(-time.Minute)) {
		t.Errorf("taken over %+v", taken)
	}
	k.cool(c.Name)
	finished := fact
	finished.Time = k.clock.Now()
	for range 2 {
		if err := k.RunFinished(t.Context(), finished); err != nil {
			t.Fatal(err)
		}
	}
	got := ok[*foodsafety.Chill](t)(k.GetChill(k.cook(), c.Name))
	if got.State != foodsafety.ChillPassed || !slices.Equal(got.Recorders, []string{"ada", "ben"}) {
		t.Errorf("%s by %v: %s", got.State, got.Recorders, got.Judgement.Summary)
	}
	// Who cooked may not release either.
	k.produce()
	_, err = k.ReleaseLot(k.as("cem", "safety_lead"), foodsafety.ReleaseRequest{Lot: bulk})
	wantReason(t, err, foodsafety.SecondPersonRequired)
	ok[*foodsafety.Release](t)(k.ReleaseLot(k.lead(), foodsafety.ReleaseRequest{Lot: bulk}))
}

func TestNewsOfAFinishedRunDoesNotPassWarmFood(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	fact := foodsafety.RunFact{Run: run, Batch: batch, Chill: true, Profile: "unknown-profile", People: []string{"ben"}, Time: noon}
	if err := k.RunStarted(t.Context(), fact); err != nil {
		t.Fatal(err)
	}
	name := site + "/chills/brown-stock-7-chill"
	k.clock.Advance(20 * time.Minute)
	k.read(name, 120)
	fact.Time = k.clock.Now()
	if err := k.RunFinished(t.Context(), fact); err != nil {
		t.Fatal(err)
	}
	c := ok[*foodsafety.Chill](t)(k.GetChill(k.cook(), name))
	if c.State != foodsafety.ChillInProgress || c.Profile != site+"/limitsProfiles/us-food-code-2022" {
		t.Errorf("%s by %s", c.State, c.Profile)
	}
	// A run that is given up leaves a measured chill alone.
	if err := k.RunAborted(t.Context(), fact); err != nil {
		t.Fatal(err)
	}
	if c = ok[*foodsafety.Chill](t)(k.GetChill(k.cook(), name)); c.State != foodsafety.ChillInProgress {
		t.Error(c.State)
	}
	other := foodsafety.RunFact{Run: batch + "/runs/chill-2", Batch: batch, Chill: true, Time: k.clock.Now(), Reason: "chiller broke"}
	if err := k.RunStarted(t.Context(), other); err != nil {
		t.Fatal(err)
	}
	if err := k.RunAborted(t.Context(), other); err != nil {
		t.Fatal(err)
	}
	if c = ok[*foodsafety.Chill](t)(k.GetChill(k.cook(), name+"-2")); c.State != foodsafety.ChillAbandoned {
		t.Error(c.State)
	}
}

func TestRejectedWarmLineBecomesADeviation(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	warm, limit := 9.5, 5.0
	line := foodsafety.RejectedLine{Delivery: site + "/deliveries/d1", LineID: "l1", Item: site + "/items/bones", Supplier: site + "/suppliers/s", Reason: "too warm", Receiver: "rob", Temperature: &warm, Limit: &limit, ReceiveTime: noon}
	for range 2 {
		if err := k.LineRejected(t.Context(), line); err != nil {
			t.Fatal(err)
		}
	}
	line.LineID, line.Limit = "l2", nil // torn bag: no limit was missed
	if err := k.LineRejected(t.Context(), line); err != nil {
		t.Fatal(err)
	}
	list, _, err := k.ListDeviations(k.lead(), foodsafety.Page{Site: site, Limit: 10})
	if err != nil || len(list) != 1 || list[0].Kind != foodsafety.DeviationReceivingTemperature {
		t.Fatalf("%+v, %v", list, err)
	}
}

func TestEveryDecisionIsInTheAuditTrail(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.produce()
	c := k.start("c1")
	k.clock.Advance(3 * time.Hour)
	if _, err := k.WatchClock(t.Context()); err != nil {
		t.Fatal(err)
	}
	c = ok[*foodsafety.Chill](t)(k.GetChill(k.cook(), c.Name))
	ok[*foodsafety.Deviation](t)(k.RecordCorrectiveAction(k.lead(), c.Deviation, "was cold", foodsafety.DecisionAccept, ""))
	ok[*foodsafety.Deviation](t)(k.CloseDeviation(k.lead2(), c.Deviation, "", ""))
	ok[*foodsafety.Hold](t)(k.LiftHold(k.lead(), k.status(bulk).Holds[0], "see deviation", ""))
	ok[*foodsafety.Release](t)(k.ReleaseLot(k.lead(), foodsafety.ReleaseRequest{Lot: bulk}))
	list, more, err := k.ListSafetyRecords(k.lead(), foodsafety.Page{Site: site, Limit: 100})
	if err != nil || more {
		t.Fatal(err, more)
	}
	var got []string
	for i, r := range list {
		got = append(got, r.Action+" by "+r.Actor)
		if i > 0 && r.Sequence <= list[i-1].Sequence {
			t.Errorf("sequence %d after %d", r.Sequence, list[i-1].Sequence)
		}
		if r.NewValue == "" {
			t.Errorf("%s has no value", r.Action)
		}
	}
	want := []string{
		"limits_profile.created by foodsafety", "chill.started by ada", "deviation.opened by foodsafety", "hold.placed by foodsafety",
		"chill.failed by foodsafety", "deviation.action_recorded by lea", "deviation.closed by mia", "hold.lifted by lea", "lot.released by lea",
	}
	if !slices.Equal(got, want) {
		t.Errorf("trail %v, want %v", got, want)
	}
}
